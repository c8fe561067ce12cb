"""A rig in a notebook: an anywidget that draws what `view` sends."""

from __future__ import annotations

from importlib import resources
from typing import Any
from uuid import uuid4

import anywidget
import traitlets

from rigkit.stage import STYLE

_DATA = resources.files("rigkit") / "data"


class ViewWidget(anywidget.AnyWidget):
    """A rig in a page of a notebook.

    Parameters
    ----------
    head : dict
    packed, turns : bytes
        As of `View.head`, `View.packed` and `View.turns`.
    still : str
        As of `View.still`.

    Attributes
    ----------
    marked : dict
        The `joints` and `vertices` that are marked.
    """

    _esm = "".join((_DATA / name).read_text(encoding="utf-8") for name in ("common.js", "view.js"))
    _css = STYLE + "".join(
        (_DATA / f"{name}.css").read_text(encoding="utf-8") for name in ("panel", "view")
    )
    head = traitlets.Dict().tag(sync=True)
    packed = traitlets.Bytes().tag(sync=True)
    turns = traitlets.Bytes().tag(sync=True)
    still = traitlets.Unicode().tag(sync=True)
    marked = traitlets.Dict().tag(sync=True)

    def __init__(self, head: dict[str, Any], packed: bytes, turns: bytes, still: str) -> None:
        name = uuid4().hex  # known to the page too, which asks for the whole model by it
        head = head | {"model": name}
        super().__init__(model_id=name, head=head, packed=packed, turns=turns, still=still)
