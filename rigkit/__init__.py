"""rigkit: the maths of rigging a character's legs, for lessons and for tools.

`import rigkit` loads NumPy and nothing else; drawing and widgets load when first used.
"""

from importlib import import_module
from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("rigkit")
except PackageNotFoundError:  # run from a folder that was never installed
    __version__ = "0+unknown"

_MODULES = ("rotation", "frames", "body", "puppets", "skeleton", "placement", "two_bone", "bend", "solvers",
            "controls", "leg", "foot", "skin", "gait", "stage", "plots", "panels", "homework", "course")

__all__ = list(_MODULES)


def __getattr__(name):
    if name in _MODULES:
        return import_module(f"rigkit.{name}")
    raise AttributeError(f"module 'rigkit' has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), *_MODULES])
