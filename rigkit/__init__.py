"""rigkit: the maths of rigging a character's legs, for lessons and for tools.

`import rigkit` costs next to nothing: each module loads when first used, and the maths needs NumPy
only.
"""

import sys
from importlib import import_module

__all__ = [
    "rotation",
    "frames",
    "body",
    "puppets",
    "skeleton",
    "placement",
    "two_bone",
    "bend",
    "solvers",
    "controls",
    "leg",
    "foot",
    "mesh",
    "skin",
    "gait",
    "gltf",
    "export",
    "stage",
    "inspection",
    "view",
    "plots",
    "panels",
    "course",
    "words",
    "homework",
]

# type checkers take this name for true; importing it from `typing` would cost more than all else
TYPE_CHECKING = False
if TYPE_CHECKING:
    from types import ModuleType

    from rigkit import (
        bend,
        body,
        controls,
        course,
        export,
        foot,
        frames,
        gait,
        gltf,
        homework,
        inspection,
        leg,
        mesh,
        panels,
        placement,
        plots,
        puppets,
        rotation,
        skeleton,
        skin,
        solvers,
        stage,
        two_bone,
        view,
        words,
    )

    __version__: str
else:  # a type checker that saw this would take every misspelt module for one that loads

    def __getattr__(name: str) -> "ModuleType | str":
        if name in __all__:
            return import_module(f"rigkit.{name}")
        if name == "__version__":
            return _version()
        raise AttributeError(f"module 'rigkit' has no attribute {name!r}")


def _show_in_notebooks() -> None:
    """Let a notebook that runs show our objects.

    `display`, which draws them, loads when it shows the first.
    """
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    formatter = getattr(shell, "display_formatter", None)
    if formatter is not None:
        formatter.mimebundle_formatter.for_type_by_name(
            "rigkit._format",
            "NotebookDisplay",
            lambda thing: import_module("rigkit.display").bundle(thing),
        )


def __dir__() -> list[str]:
    return sorted({*globals(), "__version__", *__all__})


def _version() -> str:
    from importlib.metadata import (
        PackageNotFoundError,
        version,
    )  # here, because it is slow to import

    try:
        return version("rigkit")
    except PackageNotFoundError:  # run from a folder that was never installed
        return "0+unknown"


_show_in_notebooks()
