"""Values of a glTF file's JSON, each of the kind it must be, or a sentence that says which is not and where."""

import numpy as np

LARGEST_FLOAT = float(np.finfo(np.float32).max)


def item(found, field, number, where):
    """The object at place `number` of the list `field`, which `where` refers to."""
    entries = items(found, field, "JSON")
    if not is_whole(number) or not 0 <= number < len(entries):
        raise ValueError(f"{where}: must be a place in `{field}`, which has {len(entries)}; got {short(number)}.")
    if not isinstance(entries[number], dict):
        raise ValueError(f"{field}[{number}]: must be an object; got {short(entries[number])}.")
    return entries[number]


def items(entry, field, where):
    """A list, empty where it is left out."""
    return _typed(entry, field, where, list, "a list", [])


def fields(entry, field, where):
    """An object, empty where it is left out."""
    return _typed(entry, field, where, dict, "an object", {})


def text(entry, field, where, default=""):
    """Text."""
    return _typed(entry, field, where, str, "text", default)


def flag(entry, field, where):
    """True or false; false where it is left out."""
    return _typed(entry, field, where, bool, "true or false", False)


def integer(entry, field, where, least=0, most=2**53, default=None):
    """A whole number; required unless a default is given."""
    value = _or_default(entry, field, default)
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if not is_whole(value) or not least <= value <= most:
        span = f"of at least {least}" if most == 2**53 else f"from {least} to {most}"
        raise ValueError(f"{where}: `{field}` must be a whole number {span}; got {short(value)}.")
    return value


def choice(entry, field, where, options, default=None):
    """One of `options`; required unless a default is given."""
    value = _or_default(entry, field, default)
    if isinstance(value, list | dict) or value not in options:
        raise ValueError(f"{where}: `{field}` must be one of {', '.join(map(str, options))}; got {short(value)}.")
    return value


def numbers(entry, field, where, size):
    """So many finite numbers; None where they are left out."""
    value = entry.get(field)
    if value is None:
        return None
    good = isinstance(value, list) and len(value) == size and all(
        isinstance(x, int | float) and not isinstance(x, bool) and abs(x) <= LARGEST_FLOAT for x in value)
    if not good:
        raise ValueError(f"{where}: `{field}` must be {size} finite numbers; got {short(value)}.")
    return np.array(value, dtype=np.float64)


def _or_default(entry, field, default):
    value = entry.get(field)
    return default if value is None else value


def _typed(entry, field, where, kind, what, default):
    value = _or_default(entry, field, default)
    if value is not default and not isinstance(value, kind):
        raise ValueError(f"{where}: `{field}` must be {what}; got {short(value)}.")
    return value


def is_whole(value):
    """Whether a value is an integer, which true is not."""
    return isinstance(value, int) and not isinstance(value, bool)


def short(value):
    """A value of any size in a few words."""
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    if value is None:
        return "nothing"
    if is_whole(value) and abs(value) > 2**64:
        return "a huge number"
    return repr(value[:60] if isinstance(value, str) else value)
