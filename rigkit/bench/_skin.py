"""Step 09 of the bench: how soft the first weights are, and the brush over them."""

from __future__ import annotations

from html import escape
from typing import Any

from rigkit.bench._desk import Desk

SOFTNESS = (0.2, 4.0, 0.05)  # radii of the limb: least, most, step


class _Kept:
    """The painted weights of a bench, with its own history: what a brush keeps to."""

    def __init__(self, bench: Desk) -> None:
        self.bench = bench

    @property
    def painted(self) -> str:
        """The text that is kept now."""
        return self.bench.state.painted

    @property
    def can_undo(self) -> bool:
        """True if there is a step to undo."""
        return self.bench.book.can_undo

    @property
    def can_redo(self) -> bool:
        """True if there is an undone step to do again."""
        return self.bench.book.can_redo

    def keep(self, painted: str) -> None:
        """Keep another text: one step."""
        self.bench.take(self.bench.state.changed(painted=painted), shown=True)

    def undo(self) -> None:
        """Go back by a step."""
        self.bench.history("undo", "painted")

    def redo(self) -> None:
        """Do the last undone step again."""
        self.bench.history("redo", "painted")


def widget(bench: Desk) -> Any:
    """The softness of the first weights to set, and the brush."""
    from ipywidgets import HTML, FloatSlider, VBox

    from rigkit.bench.brush import Brush

    state = bench.state
    try:
        brush = Brush(state, _Kept(bench), back=False)  # the bench has its own buttons
    except ValueError as problem:
        return HTML(f"<p><strong>No skin can be bound yet.</strong> {escape(str(problem))}</p>")
    least, most, step = SOFTNESS
    soft = FloatSlider(
        value=state.softness,
        min=min(least, state.softness),
        max=max(most, state.softness),
        step=step,
        description="Softness",
        continuous_update=False,
        layout={"width": "100%", "max_width": "560px"},
    )
    bench.repaint = brush.show
    about = HTML(
        "<p style=\"margin: 0; line-height: 1.4\">First the softness, at every joint: over how many radii of the limb the skin passes"
        " from one bone to the next. Then the brush, about the knee.</p>"
    )
    soft.observe(lambda change: bench.take(bench.state.changed(softness=change["new"])), "value")
    return VBox([about, soft, brush])
