"""Step 12 of the bench: the very file and its page, its inspection, what is kept for a reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from itertools import count
from pathlib import Path
from typing import Any

from rigkit._files import write_whole
from rigkit.bench import build, showing
from rigkit.bench._desk import Desk
from rigkit.bench._views import numbers, sentence
from rigkit.bench.measure import done, inspected
from rigkit.bench.state import State
from rigkit.bench.steps import TITLES
from rigkit.inspection import Finding

__all__ = ["button", "missing", "widget", "write", "write_page"]


def __dir__() -> list[str]:
    return __all__


def write(state: State, beside: Path) -> Path:
    """Write the state's .glb beside the learner's own file; what is there is never written over.

    Parameters
    ----------
    state : State
    beside : Path
        Such as "my-leg.json": the name is my-leg.glb, or my-leg-2.glb if that is taken.

    Returns
    -------
    Path
        The file, which may have been there with the same bytes.

    Raises
    ------
    ValueError
        As `build.bytes_of`.
    OSError
        If it cannot be written.
    """
    data = build.bytes_of(state)
    for path in _names(beside, ".glb"):
        try:
            write_whole(path, data, replace=False)
        except FileExistsError:
            if path.read_bytes() != data:
                continue
        return path
    raise AssertionError("numbers do not end")


def write_page(state: State, rig: Path) -> Path:
    """Write the leg's own page beside its .glb; what the kit did not write is never written over.

    Parameters
    ----------
    state : State
    rig : Path
        As `write` gives it, such as "my-leg.glb": the name is my-leg.html, or my-leg-2.html if
        something else is there.

    Returns
    -------
    Path

    Raises
    ------
    ValueError
        As `build.bytes_of`.
    OSError
        If it cannot be written.
    """
    path = next(path for path in _names(rig, ".html") if showing.may_write(path))
    showing.write(state, path)
    return path


def _names(beside: Path, suffix: str) -> Iterator[Path]:
    """A file's name with another suffix, then with numbers from 2 on."""
    yield beside.with_suffix(suffix)
    for number in count(2):
        yield beside.with_name(f"{beside.stem}-{number}{suffix}")


def missing(state: State) -> str:
    """Return which step comes first where no file can be made yet, and what is not right there.

    Parameters
    ----------
    state : State

    Returns
    -------
    str
        Markup; "" if no step before can say.

    Examples
    --------
    >>> from rigkit.bench import sign_off
    >>> from rigkit.bench.state import State
    >>> sign_off.missing(State.bare("Pip").with_sound("02"))[:54]
    'Step 02, What hangs from what, comes first. Joints tha'
    """
    loose = any(joint not in state.parents for joint in state.chain.joints)
    open_steps = [step for step, how in done(state).items() if how == "open" and step < "12"]
    for step in ["02"] if loose else open_steps:
        try:
            said = sentence(numbers(state, step))
        except ValueError:  # a later step says why
            continue
        return f"Step {step}, {TITLES[step]}, comes first. {said}"
    return ""


def widget(bench: Desk) -> Any:
    """Return what is shown of the step: the report, findings to keep, and the file to write.

    Parameters
    ----------
    bench : Desk

    Returns
    -------
    ipywidgets.Widget
    """
    from ipywidgets import HTML, VBox

    try:
        found = inspected(bench.state)
    except ValueError as problem:
        words = missing(bench.state) or escape(str(problem))
        return HTML(f"<p><strong>There is no file yet.</strong> {words}</p>")
    said = HTML()
    parts = [HTML(found._repr_mimebundle_()["text/html"])]
    slight = [f for f in found.of("finding") if f.severity == "slight"]
    if slight:
        parts.append(_keeping(bench, slight))
    parts += [button("Write the file", lambda: _written(bench, said)), said]
    return VBox(parts)


def _keeping(bench: Desk, slight: list[Finding]) -> Any:
    """A slight finding to choose, and a reason to keep it for."""
    from ipywidgets import Dropdown, HBox, Text

    rule = Dropdown(description="Keep", options=[(f.title, f.rule) for f in slight])
    reason = Text(description="because", value=bench.state.kept.get(rule.value, ""))

    def keep() -> None:
        if reason.value.strip():
            kept = {**bench.state.kept, rule.value: reason.value.strip()}
            bench.take(bench.state.changed(kept=kept))

    box = HBox([rule, reason, button("Keep it for this reason", keep)])
    box.layout.flex_flow = "row wrap"
    return box


def _written(bench: Desk, said: Any) -> None:
    try:
        rig = write(bench.state, bench.path)
    except OSError as problem:
        said.value = f"<p>It could not be written: {escape(str(problem))}</p>"
        return
    try:
        page = write_page(bench.state, rig)
        more = f"<strong>{escape(page.name)}</strong> is its page to show, which any browser opens."
    except OSError as problem:
        more = f"Its page could not be written: {escape(str(problem))}"
    said.value = f"<p>Written: <strong>{escape(rig.name)}</strong>, the rig. {more}</p>"


def button(name: str, pressed: Callable[[], object]) -> Any:
    """Return a native button as wide as its words.

    Parameters
    ----------
    name : str
    pressed : callable

    Returns
    -------
    ipywidgets.Button
    """
    from ipywidgets import Button

    button = Button(description=name, layout={"width": "auto"})
    button.on_click(lambda _: pressed())
    return button
