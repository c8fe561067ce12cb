"""A report as a page of its own, and as a card in a notebook: its templates with their styles.

The templates ask the report for what they show; names in it are a stranger's, and made harmless.
This module loads Jinja, so nothing that runs in the jail imports it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from markupsafe import Markup

from rigkit import stage, templates

MEANINGS = {
    "serious": "the rig breaks",
    "moderate": "it moves or looks wrong",
    "slight": "harder to work with",
}
_FOLDER = Path(templates.__file__).parent / "data" / "templates" / "inspection"


class Scene(Protocol):
    """A rig that a page shows to turn and to play, as `rigkit.view` makes it."""

    style: str
    script: str

    def markup(self) -> str:
        """Return its part of the page."""
        ...


def page(report: object, against: object = None, scene: Scene | None = None) -> str:
    """Return a report as a page, complete in itself, for light and dark.

    It holds a script only for the rig that can be turned, and reads as well where none runs.

    Parameters
    ----------
    report : Report
    against : Comparison, optional
        With an earlier file.
    scene : Scene, optional

    Returns
    -------
    str
    """
    return templates.render(
        "inspection/page.html",
        report=report,
        against=against,
        scene=scene,
        meanings=MEANINGS,
        style=Markup(STYLE + (scene.style if scene else "")),
        script=Markup(scene.script if scene else ""),
    )


def overview(rows: Sequence[object], headline: str) -> str:
    """Return the page of several reports, with a row for each file.

    Parameters
    ----------
    rows : sequence of Row
    headline : str
        All of them in one sentence.

    Returns
    -------
    str
    """
    return templates.render(
        "inspection/many.html",
        rows=rows,
        headline=headline,
        meanings=MEANINGS,
        style=Markup(STYLE),
    )


def card(report: object) -> str:
    """Return a report for a notebook: what was found with its pictures, the rest folded away.

    Parameters
    ----------
    report : Report

    Returns
    -------
    str
    """
    return templates.render("inspection/card.html", report=report, style=Markup(CARD_STYLE))


def _variables(dark: bool) -> str:
    """The inks of the page's style sheet in one theme."""
    inks = {name: pair[dark] for name, pair in stage.INKS.items()}
    paper, edge, middle = (
        ("#16191d", "#3a4149", "#f0c34a") if dark else ("#ffffff", "#d5dade", "#8a5a00")
    )
    colours = {
        "page": paper,
        "rig-paper": paper,
        "ground": inks["floor"],
        "edge": edge,
        "ink": inks["ink"],
        "soft": inks["soft-text"],
        "link": inks["inverse-text"],
        "good": inks["goal-text"],
        "serious": inks["miss-text"],
        "moderate": inks["forward-text"],
        "slight": middle,
        "font": stage.FONT,
    }
    return ":root{" + "".join(f"--{name}:{value};" for name, value in colours.items()) + "}"


STYLE = (
    f"{_variables(dark=False)}@media screen and (prefers-color-scheme:dark)"
    f"{{{_variables(dark=True)}}}{stage.STYLE}{(_FOLDER / 'page.css').read_text('utf-8')}"
)
CARD_STYLE = stage.STYLE + (_FOLDER / "card.css").read_text("utf-8")
