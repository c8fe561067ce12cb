"""Notebook displays of the library's objects: a picture where one can be drawn, and a small table.

showing.py      the function that holds one for each class, and what a notebook gets of it
tables.py       tables, their rows from the fields of a class and their meaning from its docstring
formats.py      values in words
drawing.py      what several pictures share
legs.py, bodies.py, placements.py, rigs.py, walks.py, files.py, inspected.py   the classes

`rigkit` names `bundle` to a notebook that runs; this package loads when the first object is shown.
Plain text is the object's own `repr`; it stands alone where neither can be made.
"""

from rigkit.display import bodies, files, inspected, legs, placements, rigs, walks  # noqa: F401
from rigkit.display.showing import bundle, show
from rigkit.display.tables import folded, table

__all__ = ["bundle", "show", "table", "folded"]


def __dir__() -> list[str]:
    return __all__
