"""Values that a program keeps with a file for itself: those that JSON has, and not too many."""

from collections.abc import Mapping

import numpy as np

from rigkit.gltf.fields import is_whole, short

MAX_SIZE, MAX_DEPTH = 2**18, 32  # letters and values; within each other
LARGEST_WHOLE = 2**53 - 1  # beyond it other programs lose digits (RFC 8259, section 6)


def json_object(name: str, value: object) -> dict[str, object]:
    """Return a copy of a mapping as JSON holds it: text, numbers, lists and mappings of these.

    Parameters
    ----------
    name : str
        The argument's, for a refusal.
    value : mapping of str to JSON values
        Tuples become lists.

    Returns
    -------
    dict

    Raises
    ------
    ValueError
        For what JSON does not have, and for more than `MAX_SIZE` letters and values.
    """
    if not isinstance(value, Mapping):
        raise ValueError(f"`{name}` must be a mapping of names to values; got {short(value)}.")
    return _Copy(name).mapping(name, value, 1)


class _Copy:
    def __init__(self, name: str) -> None:
        self.name, self.size = name, 0

    def mapping(self, at: str, value: Mapping[object, object], depth: int) -> dict[str, object]:
        self._count(1, depth)
        copy: dict[str, object] = {}
        for key, each in value.items():
            here = f"{at}[{short(key)}]"
            copy[self._text(here, key)] = self._value(here, each, depth + 1)
        return copy

    def _value(self, at: str, value: object, depth: int) -> object:
        if isinstance(value, str):
            return self._text(at, value)
        if isinstance(value, Mapping):
            return self.mapping(at, value, depth)
        self._count(1, depth)
        if isinstance(value, list | tuple):
            return [self._value(f"{at}[{i}]", each, depth + 1) for i, each in enumerate(value)]
        if value is None or isinstance(value, bool):
            return value
        if is_whole(value) and abs(value) <= LARGEST_WHOLE:
            return int(value)
        if isinstance(value, float) and np.isfinite(value):
            return float(value)
        raise ValueError(
            f"`{at}` must be text, a finite number, true, false, None, a list or a mapping; got"
            f" {short(value)}."
        )

    def _text(self, at: str, value: object) -> str:
        if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise ValueError(f"`{at}` must have text for a name or value; got {short(value)}.")
        self._count(1 + len(value), 1)
        return value

    def _count(self, size: int, depth: int) -> None:
        self.size += size
        if depth > MAX_DEPTH or self.size > MAX_SIZE:
            raise ValueError(
                f"`{self.name}` must be at most {MAX_SIZE} letters and values, {MAX_DEPTH} within"
                " each other; got more. Keep what is large in a file of its own."
            )
