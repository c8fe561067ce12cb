"""Step 09 of the bench: how soft the first weights are, and the brush over them."""

from __future__ import annotations

from html import escape
from typing import Any

from rigkit.bench._desk import Desk
from rigkit.panels import Panel, Slider

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
    from ipywidgets import HTML, Box, VBox

    try:
        brush = _brush(bench)
    except ValueError as problem:
        return HTML(f"<p><strong>No skin can be bound yet.</strong> {escape(str(problem))}</p>")
    place = Box([brush], layout={"overflow": "visible"})

    def bind() -> None:
        (before,) = place.children
        place.children = [_brush(bench)]  # another limb; what is moved by the keyboard stays
        before.close()

    def moved(change: Any) -> None:
        softness = change["new"].get("values", {}).get("softness", bench.state.softness)
        if softness != bench.state.softness:
            bench.move(bench.state.changed(softness=softness), bind)

    panel = softness_panel(bench.state.softness)
    panel.history = bench.history
    panel.widget.observe(moved, "frame")
    return VBox([panel.widget, place])


def _brush(bench: Desk) -> Any:
    from rigkit.bench.brush import Brush

    brush = Brush(bench.state, _Kept(bench), back=False)  # the bench has its own buttons
    bench.repaint = brush.show
    return brush


def softness_panel(softness: float) -> Panel:
    """A slider of how widely the first weights blend."""
    least, most, step = SOFTNESS
    low, high = min(least, softness), max(most, softness)
    return Panel(
        "First: how soft is the skin at every joint?",
        [Slider("softness", "Softness", low, high, step, softness, "radii")],
        lambda softness: ("", _said(softness)),
        size=600,
    )


def _said(softness: float) -> str:
    return (
        f"The skin passes from one bone to the next over <b>{softness:g} radii</b> of the limb."
        " The brush below changes that about the knee."
    )
