"""A brush for the skin about the knee, in a notebook: the page paints, the kernel measures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from html import escape
from importlib import resources
from typing import Any, Protocol
from uuid import uuid4

import anywidget
import numpy as np
import traitlets

from rigkit._types import Floats, Ints
from rigkit.bench import build, measure, painting
from rigkit.bench.measure import Measured
from rigkit.bench.painting import Limb, carriers
from rigkit.bench.state import State
from rigkit.skeleton import Skeleton
from rigkit.stage import STYLE

__all__ = ["Brush", "History", "Painted"]

FORM = 1  # of what is said between kernel and page; data/brush.js names its own
TITLE = "Who carries the skin about the knee, thigh or shank?"
DEEPEST = 200  # steps that can be undone
_KINDS = ("measure", "keep", "undo", "redo")
_DATA = resources.files("rigkit") / "data"


def __dir__() -> list[str]:
    return __all__


class Painted(Protocol):
    """A place that keeps painted weights, as text of `painting.pack_painted`, with a way back."""

    @property
    def painted(self) -> str:
        """The text that is kept now."""

    @property
    def can_undo(self) -> bool:
        """True if there is a step to undo."""

    @property
    def can_redo(self) -> bool:
        """True if there is an undone step to do again."""

    def keep(self, painted: str) -> None:
        """Keep another text: one step."""

    def undo(self) -> None:
        """Go back by a step."""

    def redo(self) -> None:
        """Do the last undone step again."""


class History:
    """Painted weights with the last 200 steps, kept for as long as the kernel runs.

    Parameters
    ----------
    painted : str
        What it begins with.

    Examples
    --------
    >>> from rigkit.bench.brush import History
    >>> history = History()
    >>> history.keep("one")
    >>> history.undo()
    >>> history.painted, history.can_undo, history.can_redo
    ('', False, True)
    """

    def __init__(self, painted: str = "") -> None:
        self.painted = painted
        self._before: list[str] = []
        self._after: list[str] = []

    @property
    def can_undo(self) -> bool:
        """True if there is a step to undo."""
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        """True if there is an undone step to do again."""
        return bool(self._after)

    def keep(self, painted: str) -> None:
        """Keep another text: one step.

        Parameters
        ----------
        painted : str
        """
        self._before = [*self._before, self.painted][-DEEPEST:]
        self._after.clear()
        self.painted = painted

    def undo(self) -> None:
        """Go back by a step, if there is one."""
        if self._before:
            self._after.append(self.painted)
            self.painted = self._before.pop()

    def redo(self) -> None:
        """Do the last undone step again, if there is one."""
        if self._after:
            self._before.append(self.painted)
            self.painted = self._after.pop()


class Brush(anywidget.AnyWidget):
    """A brush in a page: the left leg at rest, to be painted, and the same bent by 90°.

    A page paints and bends by itself, with the limb it got once. It asks with shares as a buffer,
    {"kind": kind, "n": number, "page": name}; kinds are "measure", "keep", "undo" and "redo". The
    answer is a frame with that number and name: a message where it was only measured, else the
    trait `frame`, so that every page sees it. A frame whose shares differ from those of the page
    that asked has "moved".

    Parameters
    ----------
    state : State
        Whose ninth step it is.
    kept : Painted, optional
        Where painted weights are kept; left out, a `History` that begins with the state's.
    back : bool
        True for buttons of its own to undo and redo; Ctrl-Z goes back either way.

    Attributes
    ----------
    painted : str
        What is painted and kept; see `painting.pack_painted`.
    limb : painting.Limb

    Raises
    ------
    ValueError
        If the state's joints make no leg that could be measured.
    """

    # One module, since a page gets no other.
    _esm = "".join(
        (_DATA / name).read_text(encoding="utf-8")
        for name in ("common.js", "painting.js", "brush.js")
    )
    _css = STYLE + "".join(
        (_DATA / name).read_text(encoding="utf-8") for name in ("panel.css", "brush.css")
    )
    head = traitlets.Dict().tag(sync=True)
    sent_limb = traitlets.Dict().tag(sync=True)
    frame = traitlets.Dict().tag(sync=True)

    def __init__(self, state: State, kept: Painted | None = None, back: bool = True) -> None:
        self._state = state.changed(painted="")
        self._kept = History(state.painted) if kept is None else kept
        skeleton, weights = build.skeleton(state), build.weights(self._state)
        self.limb = painting.limb_about_knee(skeleton, build.skin(state.puppet), weights)
        motions = measure.bent_motions(state, skeleton.names)
        thigh, shank = (motions[skeleton.index(name)] for name in carriers(skeleton)[:2])
        rest = _moved_by_others(skeleton, self.limb, weights, motions)
        name = uuid4().hex  # known to the page too, which asks for the whole model by it
        super().__init__(
            model_id=name,
            head=_head(self.limb, thigh, shank) | {"model": name, "back": back},
            sent_limb=_arrays(self.limb, rest),
            frame=self._frame({"n": 0, "page": ""}, True),
        )
        self.on_msg(self._asked)

    @property
    def painted(self) -> str:
        """The text of what is painted and kept; see `painting.pack_painted`."""
        return self._kept.painted

    def show(self) -> None:
        """Show what is kept now in every page, once it was changed from elsewhere."""
        self.frame = self._frame({"n": self.frame["n"] + 1, "page": ""}, True)

    def _asked(self, widget: Any, question: Any, buffers: Sequence[Any]) -> None:
        if not _is_question(question):
            return
        about = {"n": question["n"], "page": question["page"]}
        try:
            self._answer(question["kind"], buffers, about)
        except ValueError as fault:
            self.send({"frame": about | {"fault": f"Check: {fault}"}})
        except Exception as fault:
            self.send({"frame": about | {"fault": f"The kit failed here: {fault!r}"}})
            raise  # to be seen in the notebook's log

    def _answer(self, kind: str, buffers: Sequence[Any], about: dict[str, Any]) -> None:
        if kind == "measure":
            self.send({"frame": about | self._numbers(self._read(buffers))})
        elif kind == "keep":
            painted = self._read(buffers)
            if painted != self.painted:
                self._kept.keep(painted)
            self.frame = self._frame(about, False)
        else:
            getattr(self._kept, kind)()
            self.frame = self._frame(about, True)

    def _read(self, buffers: Sequence[Any]) -> str:
        data = bytes(buffers[0]) if buffers else b""
        if len(data) != 4 * len(self.limb.numbers):
            raise ValueError(
                f"`shares` must be {len(self.limb.numbers)} numbers; got {len(data)} bytes."
            )
        return self.limb.pack(np.frombuffer(data, "<f4"), self.painted)

    def _frame(self, about: dict[str, Any], moved: bool) -> dict[str, Any]:
        """All that a page shows of what is kept."""
        shares = self.limb.unpack(self.painted)
        steps = {"undo": self._kept.can_undo, "redo": self._kept.can_redo}
        shown = {"shares": _bytes(shares, "<f4"), "moved": moved}
        return about | shown | steps | self._numbers(self.painted)

    def _numbers(self, painted: str) -> dict[str, Any]:
        numbers = measure.measure(self._state.changed(painted=painted), "09")
        rows = [
            {"name": each.name, "said": _said(each), "limit": each.limit, "right": each.right}
            for each in numbers
        ]
        note = escape(measure.note(self._state, "09"))
        return {"words": f"{_words(numbers)} {note}".strip(), "numbers": rows}


def _words(numbers: Sequence[Measured]) -> str:
    """The sentence with the number that matters, as markup: the first that is not right."""
    wrong = next((each for each in numbers if not each.right), None)
    shown = wrong or numbers[0]
    said = f"{escape(shown.name[:1].upper() + shown.name[1:])}: <b>{escape(_said(shown))}</b>"
    if wrong is None:
        return f"{said}, {escape(shown.limit)}. All numbers of this step are right."
    return f"{said}, {escape(shown.limit)}. {escape(shown.todo)}"


def _said(number: Measured) -> str:
    """A number with its unit, rounded so far that it lies within its limits as the number does."""
    places = 2 if number.value < 10 else 0
    while replace(number, value=round(number.value, places)).right != number.right and places < 9:
        places += 1
    value = f"{number.value:.{places}f}"
    return f"{value.rstrip('0').rstrip('.') if places else value} {number.unit}".strip()


def _is_question(message: Any) -> bool:
    wanted = {"kind": str, "n": int, "page": str}
    return (
        isinstance(message, dict)
        and all(isinstance(message.get(name), kind) for name, kind in wanted.items())
        and message["kind"] in _KINDS
    )


def _head(limb: Limb, thigh: Floats, shank: Floats) -> dict[str, Any]:
    """The limb as a page knows it, beside its arrays; the two joints' matrices when it is bent."""
    return {
        "form": FORM,
        "title": TITLE,
        "sizes": _sizes(limb.radius),
        "limb": {
            "knee": limb.knee.tolist(),
            "radius": limb.radius,
            "thigh": thigh[:3].tolist(),
            "shank": shank[:3].tolist(),
            "views": {name: list(toward) for name, toward in painting.VIEWS.items()},
            "facing": painting.FACING,
            "passes": painting.PASSES,
        },
    }


def _sizes(radius: float) -> dict[str, float]:
    """The slider of the brush's size, in cm: up to twice the knee's radius."""
    step = 0.5
    return {
        "low": step,
        "high": step * round(200 * radius / step),
        "step": step,
        "start": step * round(80 * radius / step),
    }


def _moved_by_others(skeleton: Skeleton, limb: Limb, weights: Floats, motions: Floats) -> Floats:
    """The part that all other weights add to each vertex of a bent limb, shape (k, 3)."""
    weights = weights[limb.numbers]
    both = [skeleton.index(name) for name in carriers(skeleton)[:2]]
    weights[:, both] *= limb.pair[:, None] == 0
    points = np.concatenate([limb.points, np.ones((len(limb.points), 1))], axis=-1)
    return np.einsum("kj,jab,kb->ka", weights, motions[:, :3], points)


def _arrays(limb: Limb, rest: Floats) -> dict[str, bytes]:
    """The limb's arrays as a page gets them, once."""
    indptr, indices = limb.around
    return {
        "points": _bytes(limb.points, "<f4"),
        "normals": _bytes(limb.normals, "<f4"),
        "pair": _bytes(limb.pair, "<f4"),
        "rest": _bytes(rest, "<f4"),
        "smoothing": _bytes(painting.smoothing_amounts(limb), "<f4"),
        "triangles": _bytes(limb.triangles, "<u4"),
        "indptr": _bytes(indptr, "<u4"),
        "indices": _bytes(indices, "<u4"),
    }


def _bytes(array: Floats | Ints, kind: str) -> bytes:
    return np.ascontiguousarray(array, kind).tobytes()
