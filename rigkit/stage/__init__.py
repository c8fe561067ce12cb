"""The picture of a rig: a small SVG scene in a flat view, with fixed limits and its number in it.

A stage takes points in metres and gives SVG text.
"""

from rigkit.stage.inks import FONT, INKS, KINDS, STYLE
from rigkit.stage.picture import Picture, Row, row
from rigkit.stage.scene import CHAINS, VIEWS, Stage, framed

__all__ = [
    "Stage",
    "framed",
    "Picture",
    "Row",
    "row",
    "VIEWS",
    "CHAINS",
    "KINDS",
    "INKS",
    "STYLE",
    "FONT",
]


def __dir__() -> list[str]:
    return __all__
