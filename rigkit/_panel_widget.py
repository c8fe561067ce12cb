"""A panel in a notebook: an anywidget that answers a page's questions with frames."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import resources
from typing import Any
from uuid import uuid4

import anywidget
import traitlets

from rigkit.stage import STYLE

_ANSWER = {"kind": str, "name": str, "said": (str, int, float, list), "right": bool}
_HISTORY = {"kind": str, "way": str, "values": dict}
_DATA = resources.files("rigkit") / "data"


class PanelWidget(anywidget.AnyWidget):
    """A panel in a page.

    A page asks {"n": number, "page": name, "values": values, "ahead": bool}. The answer is a frame
    with that number and name: the trait `frame`, so that every page sees it, or a message where a
    page only looks ahead and nothing of the panel's own moves.

    Parameters
    ----------
    head : dict
        As of `Panel.head`.
    frame : dict
        As of `Panel.frame`.
    answer : callable
        `answer(values, ahead)` gives the frame at some values; if not `ahead`, the panel moves.
    keep : callable
        `keep(kind, name, said, right)` keeps an answer to what the panel asks; a page tells it as
        {"kind": "guess" or "check", "name": name, "said": answer, "right": bool}.
    history : callable, optional
        `history("undo")` or `history("redo")`, which a page asks for as {"kind": "history",
        "way": way, "values": values}; its values are the panel's before that.
    """

    # One module, since a page gets no other: small tools, what is asked, the panel that shows it.
    _esm = "".join(
        (_DATA / name).read_text(encoding="utf-8") for name in ("common.js", "ask.js", "panel.js")
    )
    _css = STYLE + (_DATA / "panel.css").read_text(encoding="utf-8")
    head = traitlets.Dict().tag(sync=True)
    frame = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        head: dict[str, Any],
        frame: dict[str, Any],
        answer: Callable[[Mapping[str, Any], bool], dict[str, Any]],
        keep: Callable[[str, str, Any, bool], object],
        history: Callable[[str], object] | None = None,
    ) -> None:
        self._answer, self._keep, self._history = answer, keep, history
        name = uuid4().hex  # known to the page too, which asks for the whole model by it
        super().__init__(
            model_id=name, head=head | {"model": name}, frame=frame | {"n": 0, "page": ""}
        )
        self.on_msg(self._asked)

    def show(self, frame: Mapping[str, Any]) -> None:
        """Show a frame in every page.

        Parameters
        ----------
        frame : mapping
            As of `Panel.frame`.
        """
        self.frame = {**frame, "n": self.frame["n"] + 1, "page": ""}

    def _asked(self, widget: Any, question: Any, buffers: Any) -> None:
        if _has(question, _ANSWER) and question["kind"] in ("guess", "check"):
            self._keep(*(question[key] for key in _ANSWER))
        if self._history and _has(question, _HISTORY) and question["way"] in ("undo", "redo"):
            self.show(self._answer(question["values"], False))
            self._history(question["way"])
        if not _has(question, {"n": int, "page": str, "values": dict, "ahead": bool}):
            return
        about = {"n": question["n"], "page": question["page"]}
        try:
            answer = self._answer(question["values"], question["ahead"])
        except Exception as fault:
            self._reply(_fault(question["values"], fault) | about, True)
            raise  # to be seen in the notebook's log
        self._reply(answer | about, question["ahead"])

    def _reply(self, frame: dict[str, Any], ahead: bool) -> None:
        if ahead:
            self.send({"frame": frame})
        else:
            self.frame = frame


def _has(message: Any, wanted: Mapping[str, Any]) -> bool:
    return isinstance(message, dict) and all(
        isinstance(message.get(name), kind) for name, kind in wanted.items()
    )


def _fault(values: Mapping[str, Any], fault: Exception) -> dict[str, Any]:
    said = f"The kit failed here, and the last picture stays: {type(fault).__name__}: {fault}"
    return {"values": dict(values), "fault": said}
