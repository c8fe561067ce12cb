"""Strangers' text made harmless, for pages that show it."""

import re
from html import escape

__all__ = ["plain", "safe"]

MOST = 4096  # bytes of a text

_GONE = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f]")
_SPACES = re.compile("[\\s\x85\u2028\u2029]+")
# Surrogates, controls of the direction of writing, marks of byte order, and what is no character at
# all.
_STRANGE = re.compile(
    "[\ud800-\udfff\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ufeff\ufdd0-\ufdef"
    + "".join(chr(0x10000 * plane + last) for plane in range(17) for last in (0xFFFE, 0xFFFF))
    + "]"
)
_MARK = "[\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f]"
_PILED = re.compile(f"({_MARK}{{3}}){_MARK}+")


def __dir__() -> list[str]:
    return __all__


def plain(text: object, most: int = MOST) -> str:
    """Make a stranger's text harmless: on one line, without controls or what misleads the eye.

    Parameters
    ----------
    text : object
        Taken as `str` gives it.
    most : int
        The bytes, in UTF-8, to which it is cut.

    Returns
    -------
    str
        Not HTML yet: `safe` escapes it too.
    """
    text = _SPACES.sub(" ", _GONE.sub("", str(text)[: 4 * most]))
    text = _PILED.sub(r"\1", _STRANGE.sub("\ufffd", text)).strip()
    data = text.encode()
    return text if len(data) <= most else data[:most].decode(errors="ignore").rstrip() + "…"


def safe(text: object, most: int = MOST) -> str:
    """Make a stranger's text harmless HTML.

    Parameters
    ----------
    text, most
        As for `plain`.

    Returns
    -------
    str
    """
    return escape(plain(text, most))
