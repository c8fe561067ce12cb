"""Values of a glTF file's JSON, each of the kind it must be, or a sentence that says where not."""

from collections.abc import Collection
from typing import TypeGuard, TypeVar

import numpy as np

from rigkit._types import Floats

LARGEST_FLOAT = float(np.finfo(np.float32).max)

Entry = dict[str, object]  # an object of the JSON; a stranger wrote what is in it
Kind = TypeVar("Kind")
Option = TypeVar("Option", int, str)


def item(found: Entry, field: str, number: object, where: str) -> Entry:
    """Return the object at place `number` of the list `field`, which `where` refers to."""
    i = place(found, field, number, where)
    entry = items(found, field, "JSON")[i]
    if not isinstance(entry, dict):
        raise ValueError(f"{field}[{i}]: must be an object; got {short(entry)}.")
    return entry


def place(found: Entry, field: str, number: object, where: str) -> int:
    """Return `number` as a place in the list `field`, which `where` refers to."""
    count = len(items(found, field, "JSON"))
    if not is_whole(number) or not 0 <= number < count:
        raise ValueError(
            f"{where}: must be a place in `{field}`, which has {count}; got {short(number)}."
        )
    return number


def items(entry: Entry, field: str, where: str) -> list[object]:
    """Return a list, empty where it is left out."""
    return _typed(entry, field, where, list, "a list", [])


def fields(entry: Entry, field: str, where: str) -> Entry:
    """Return an object, empty where it is left out."""
    return _typed(entry, field, where, dict, "an object", {})


def text(entry: Entry, field: str, where: str) -> str:
    """Return text, "" where it is left out."""
    return _typed(entry, field, where, str, "text", "")


def flag(entry: Entry, field: str, where: str) -> bool:
    """Return true or false; false where it is left out."""
    return _typed(entry, field, where, bool, "true or false", False)


def integer(
    entry: Entry,
    field: str,
    where: str,
    least: int = 0,
    most: int = 2**53,
    default: int | None = None,
) -> int:
    """Return a whole number; required unless a default is given."""
    value = _or_default(entry, field, default)
    if not is_whole(value) or not least <= value <= most:
        span = f"of at least {least}" if most == 2**53 else f"from {least} to {most}"
        raise ValueError(f"{where}: `{field}` must be a whole number {span}; got {short(value)}.")
    return value


def choice(
    entry: Entry, field: str, where: str, options: Collection[Option], default: Option | None = None
) -> Option:
    """Return one of `options`; required unless a default is given."""
    value = _or_default(entry, field, default)
    for option in options:
        if option == value and not isinstance(value, bool):
            return option
    raise ValueError(
        f"{where}: `{field}` must be one of {', '.join(map(str, options))}; got {short(value)}."
    )


def numbers(entry: Entry, field: str, where: str, size: int) -> Floats | None:
    """Return so many finite numbers; None where they are left out."""
    value = entry.get(field)
    if value is None:
        return None
    good = (
        isinstance(value, list)
        and len(value) == size
        and all(
            isinstance(x, int | float) and not isinstance(x, bool) and abs(x) <= LARGEST_FLOAT
            for x in value
        )
    )
    if not good:
        raise ValueError(f"{where}: `{field}` must be {size} finite numbers; got {short(value)}.")
    return np.array(value, dtype=np.float64)


def _or_default(entry: Entry, field: str, default: object) -> object:
    value = entry.get(field)
    return default if value is None else value


def _typed(
    entry: Entry, field: str, where: str, kind: type[Kind], what: str, default: Kind
) -> Kind:
    value = entry.get(field)
    if value is None:
        return default
    if not isinstance(value, kind):
        raise ValueError(f"{where}: `{field}` must be {what}; got {short(value)}.")
    return value


def is_whole(value: object) -> TypeGuard[int]:
    """Return True if a value is an integer, which true is not."""
    return isinstance(value, int) and not isinstance(value, bool)


def short(value: object) -> str:
    """Return a value of any size in a few words."""
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    if value is None:
        return "nothing"
    if is_whole(value) and abs(value) > 2**64:
        return "a huge number"
    return repr(value[:60] if isinstance(value, str) else value)
