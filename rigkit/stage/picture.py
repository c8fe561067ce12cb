"""Pictures: what a notebook, a panel, a report or a page shows of them; several side by side."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from html import escape
from typing import Any

from rigkit._types import ArrayLike, Floats
from rigkit.stage.inks import CARD_STYLE, INKS, LEAST_TEXT, STYLE, TEXT
from rigkit.stage.markup import words

CARD = 14  # px around a picture on its card


class Picture:
    """Something drawn: it shows itself in a notebook, and gives its markup to pages.

    Attributes
    ----------
    title, desc : str
        Its name and its text alternative.
    width, height : int
        The size it is drawn at [px]; a narrower place makes it smaller.
    """

    def __init__(self, title: str, desc: str, width: int, height: int) -> None:
        self.title, self.desc, self.width, self.height = title, desc, width, height

    def __repr__(self) -> str:
        return f"{type(self).__name__}, {self.width} × {self.height} px: {self._words()}"

    @property
    def seen_from(self) -> str:
        """The side it is seen from, in words such as "from above"; "" where there is none."""
        return ""

    def place(self, point: ArrayLike) -> Floats:
        """Return where a point lies in the picture.

        Parameters
        ----------
        point : array_like

        Returns
        -------
        ndarray, shape (2,)
            From the left and from the top [px].

        Raises
        ------
        ValueError
            If this picture has no such places, or the point is none.
        """
        raise ValueError(f"`point` must lie in a stage or a plot; this is a {type(self).__name__}.")

    def svg(self, style: bool = True) -> str:
        """Return one `<svg>` that follows the page's theme.

        Parameters
        ----------
        style : bool
            If False the page must hold `STYLE` already.

        Returns
        -------
        str
        """
        return self._wrap(_style(style))

    def html(self, style: bool = True) -> str:
        """Return the markup for a page: as `svg`, save that views in a row wrap.

        Parameters
        ----------
        style : bool
            If False the page must hold `STYLE` already.

        Returns
        -------
        str
        """
        return self.svg(style)

    def card(self) -> str:
        """Return a standalone SVG file on a light card, for viewers that see no page's theme.

        Returns
        -------
        str
        """
        card = (
            f'<style>{CARD_STYLE}</style><rect x="{-CARD}" y="{-CARD}" width="100%" height="100%"'
            f' rx="8" fill="{INKS["paper"][0]}"/>'
        )
        return self._wrap(card, margin=CARD)

    def _wrap(self, first: str, extra: str = "", margin: int = 0) -> str:
        width, height = self.width + 2 * margin, self.height + 2 * margin
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="rig" viewBox="{-margin} {-margin}'
            f' {width} {height}" width="{width}" height="{height}" role="img"{extra}>'
            f"<title>{words(self.title)}</title><desc>{words(self.desc)}</desc>"
            f"{first}{self._inner()}</svg>"
        )

    def _inner(self) -> str:
        raise NotImplementedError

    def _words(self) -> str:
        return f"{_sentence(self.title)} {self.desc}"

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        # A notebook that is not trusted yet loses <svg> and <style> from its HTML, but keeps inline
        # styles and images. So the live drawing is hidden until the style sheet is there to show
        # it, and the card stands in until then.
        card = self.card()
        image = f"data:image/svg+xml;base64,{b64encode(card.encode()).decode()}"
        html = (
            "<div><style>.rig-live{display:block!important}.rig-still{display:none!important}"
            f'</style><div class="rig-live" style="display:none">{self.html()}</div>'
            f'<img class="rig-still" alt="{escape(self._words())}" src="{image}"></div>'
        )
        return {"text/plain": self._words(), "text/html": html, "image/svg+xml": card}


class Row(Picture):
    """Views side by side; made by `row`.

    Parameters
    ----------
    pictures : sequence of Picture
    title : str
    """

    GAP = 16

    def __init__(self, pictures: Sequence[Picture], title: str) -> None:
        self.pictures = pictures
        super().__init__(
            title,
            " ".join(f"{_sentence(p.title)} {_sentence(p.desc)}" for p in pictures),
            sum(p.width for p in pictures) + self.GAP * (len(pictures) - 1),
            max(p.height for p in pictures),
        )

    def html(self, style: bool = True) -> str:
        views = "".join(
            p._wrap(
                "",
                f' style="flex:1 1 {p.width * LEAST_TEXT / TEXT:.0f}px;'
                f'max-width:min(100%,{p.width}px)"',
            )
            for p in self.pictures
        )
        return (
            f'<div class="rig-row" role="group" aria-label="{escape(self.title)}">'
            f"{_style(style)}{views}</div>"
        )

    def _inner(self) -> str:
        inner, x = [], 0
        for p in self.pictures:
            inner.append(
                f'<svg x="{x}" y="{self.height - p.height}" width="{p.width}" height="{p.height}" '
                f'viewBox="0 0 {p.width} {p.height}">{p._inner()}</svg>'
            )
            x += p.width + self.GAP
        return "".join(inner)


def row(*pictures: Picture, title: str | None = None) -> Row:
    """Join pictures side by side; they wrap where there is little room and are never cut off.

    Parameters
    ----------
    *pictures : Picture
        Stages or plots. Two of width 400 fit side by side in a window of 1280 px beside a file
        browser.
    title : str, optional
        Its name for a screen reader; the pictures' own titles by default.

    Returns
    -------
    Row

    Raises
    ------
    ValueError
        For no pictures, or anything else among them.
    """
    if not pictures or not all(isinstance(p, Picture) for p in pictures):
        raise ValueError(
            f"`pictures` must be stages or plots; got {pictures!r}. Give at least one."
        )
    return Row(pictures, title or "; ".join(p.title for p in pictures))


def _style(wanted: bool) -> str:
    return f"<style>{STYLE}</style>" if wanted else ""


def _sentence(text: str) -> str:
    return text if not text or text.endswith((".", "?", "!")) else text + "."
