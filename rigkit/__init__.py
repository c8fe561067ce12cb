"""rigkit: the maths of rigging a character's legs, for lessons and for tools.

`import rigkit` costs next to nothing: each module loads when first used, and the maths needs NumPy only.
"""

from importlib import import_module

_MODULES = ("rotation", "frames", "body", "puppets", "skeleton", "placement", "two_bone", "bend", "solvers",
            "controls", "leg", "foot", "mesh", "skin", "gait", "gltf", "export", "stage", "inspection", "plots",
            "panels", "course", "homework")

__all__ = list(_MODULES)


def __getattr__(name):
    if name in _MODULES:
        return import_module(f"rigkit.{name}")
    if name == "__version__":
        return _version()
    raise AttributeError(f"module 'rigkit' has no attribute {name!r}")


def __dir__():
    return sorted([*globals(), "__version__", *_MODULES])


def _version():
    from importlib.metadata import PackageNotFoundError, version  # here, because it is slow to import

    try:
        return version("rigkit")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "0+unknown"
