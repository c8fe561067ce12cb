"""The function that makes the display of each class, and what a notebook gets of it."""

from collections.abc import Iterable
from functools import singledispatch
from typing import Any

from rigkit.stage import Picture

Piece = Picture | str  # a picture, or HTML
# what an object made by hand, of whatever it was, may raise when it is drawn
_ODD = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError)


def bundle(thing: object) -> dict[str, str]:
    """Return an object in the forms a notebook asks for.

    Parameters
    ----------
    thing : object
        Of a class registered with `show`.

    Returns
    -------
    dict of str to str
        By MIME type; plain text alone for what can neither be drawn nor put in a table.
    """
    words = repr(thing)
    try:
        pieces = list(show(thing))
    except _ODD:
        return {"text/plain": words}
    pictures = [piece for piece in pieces if isinstance(piece, Picture)]
    html = "".join(
        piece._repr_mimebundle_()["text/html"] if isinstance(piece, Picture) else piece
        for piece in pieces
    )
    card = {"image/svg+xml": pictures[0].card()} if pictures else {}
    return {"text/plain": words, "text/html": f"<div>{html}</div>", **card}


@singledispatch
def show(thing: Any) -> Iterable[Piece]:
    """Yield the pictures and tables of an object; each class registers its own function here.

    Parameters
    ----------
    thing : object

    Returns
    -------
    iterable of Picture or str
        Pictures, and HTML.

    Raises
    ------
    TypeError
        For an object of a class without a display.
    """
    raise TypeError(f"`thing` must be of a class with a display; got {type(thing).__name__}.")
