"""Imports: what they load, and that data flows one way.

A module imports only what stands above it in DEVELOPERS.md.
"""

import ast
import importlib
import inspect
import re
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import rigkit

FOLDER = Path(rigkit.__file__).parent
NOTEBOOK = ["matplotlib", "ipywidgets", "anywidget", "IPython"]


def documented_order():
    """The modules as DEVELOPERS.md lists them, one to a line or more: "      mesh.py, skin.py  what
    they do"."""
    house = (
        (FOLDER.parent / "DEVELOPERS.md")
        .read_text(encoding="utf-8")
        .split("    rigkit/\n")[1]
        .split("\n\n")[0]
    )
    names = [line.strip().split("  ")[0] for line in house.splitlines()]
    return re.findall(r"(\w+)(?:\.py|/)", " ".join(names))


ORDER = [*documented_order(), "__main__"]
MATHS = ORDER[: ORDER.index("export") + 1]


def written():
    """The modules and packages of rigkit that exist, but for its own `__init__`."""
    return sorted(
        path.stem
        for path in FOLDER.iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists()) and path.stem != "__init__"
    )


def loaded_by(code):
    """The notebook's libraries, and NumPy, that a new Python loads when it runs `code`."""
    code += (
        f"\nimport sys\nprint(*(name for name in {[*NOTEBOOK, 'numpy']} if name in sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent
    )
    return done.stdout.split()


def files(module):
    path = FOLDER / f"{module}.py"
    return [path] if path.exists() else sorted((FOLDER / module).rglob("*.py"))


def imports(path):
    """The full names a file imports, wherever in it: "numpy", "rigkit.frames", …"""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively; say rigkit in full"
            yield from (
                [f"rigkit.{alias.name}" for alias in node.names]
                if node.module == "rigkit"
                else [node.module]
            )


def defined_in(module, thing):
    """True if a function or class is defined in a module, or in a module of a package."""
    return f"{getattr(thing, '__module__', None)}.".startswith(f"rigkit.{module}.")


def test_import_rigkit_loads_nothing_heavy():
    assert loaded_by("import rigkit") == []


def test_the_check_would_notice():
    assert loaded_by("import matplotlib") == ["matplotlib", "numpy"]


def test_the_maths_loads_numpy_and_nothing_of_the_notebook():
    modules = [name for name in MATHS if name in written()]
    assert loaded_by("\n".join(f"import rigkit.{name}" for name in modules)) == ["numpy"]


def test_modules_load_when_first_used():
    assert loaded_by("import rigkit\nrigkit.skeleton.planar_chain([0], [1])") == ["numpy"]
    assert set(rigkit.__all__) <= set(dir(rigkit))
    assert rigkit.__version__[0].isdigit()
    with pytest.raises(AttributeError, match="module 'rigkit' has no attribute 'knees'"):
        _ = rigkit.knees


def test_every_module_has_its_place_in_the_order():
    assert set(written()) - set(ORDER) == set()
    assert len(ORDER) == len(set(ORDER))


@pytest.mark.parametrize("module", written())
def test_a_module_imports_only_what_stands_before_it(module):
    before = ORDER[: ORDER.index(module)]
    for path in files(module):
        ours = {name.split(".")[1] for name in imports(path) if name.startswith("rigkit.")}
        after = ours - {*before, "__version__"} - ({module} if path.parent != FOLDER else set())
        assert not after, (
            f"{path.relative_to(FOLDER)} imports {after}, which should not stand before {module}"
        )


PACKAGES = [name for name in written() if (FOLDER / name).is_dir()]


def imports_within(package):
    """Each module of a package with those of the same package that it imports, wherever in it.

    The package's own `__init__` is one of them: taking one of its names is to import it.
    """
    folder = FOLDER / package
    modules = {
        ".".join(path.relative_to(FOLDER.parent).with_suffix("").parts): path
        for path in sorted(folder.rglob("*.py"))
        if path.parent == folder or (path.parent / "__init__.py").exists()
    }
    modules = {name.removesuffix(".__init__"): path for name, path in modules.items()}
    return {name: {*taken(path, modules)} - {name} for name, path in modules.items()}


def taken(path, modules):
    """The modules, of some, that a file imports."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in modules)
        elif isinstance(node, ast.ImportFrom):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            yield from (name if name in modules else node.module for name in names)


@pytest.mark.parametrize("package", PACKAGES)
def test_no_modules_of_a_package_import_each_other_in_a_circle(package):
    within = imports_within(package)
    graph = {name: imported & set(within) for name, imported in within.items()}
    assert circle(graph) == []


def circle(graph):
    """The modules of one circle; none, if there is an order in which they can be read."""
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        return error.args[1]
    return []


def test_a_circle_would_be_noticed():
    assert circle({"a": {"b"}, "b": {"c"}, "c": set()}) == []
    assert set(circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})) == {"a", "b", "c"}
    pipeline = FOLDER / "marking" / "pipeline.py"
    assert {*taken(pipeline, ["rigkit.marking.place"])} >= {"rigkit.marking.place"}


@pytest.mark.parametrize("module", [name for name in MATHS if name in written()])
def test_the_maths_imports_numpy_and_the_standard_library_only(module):
    for path in files(module):
        roots = {name.split(".")[0] for name in imports(path)}
        assert roots <= {*sys.stdlib_module_names, "numpy", "rigkit"}


def test_developers_md_lists_the_public_surface():
    page = (FOLDER.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", page, re.MULTILINE))
    assert "two_bone" in listed
    for module, names in listed.items():
        assert names.split(", ") == public(module), module


def public(module):
    """The names a module defines, in its order, or a package gives out."""
    if not (FOLDER / f"{module}.py").exists():
        return importlib.import_module(f"rigkit.{module}").__all__
    body = ast.parse((FOLDER / f"{module}.py").read_text(encoding="utf-8")).body
    return [
        node.name
        for node in body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name[0] != "_"
    ]


OURS = ["rotation", "frames", "body", "puppets", "skeleton", "placement", "two_bone", "bend"]


@pytest.mark.parametrize("module", [*OURS, "solvers", "controls"])
def test_a_tooltip_names_types_and_says_parameters_and_returns(module):
    shown = importlib.import_module(f"rigkit.{module}")
    for name in public(module):
        thing = getattr(shown, name)
        assert "HasArray" not in str(inspect.signature(thing)), name
        if inspect.isfunction(thing):
            page = inspect.getdoc(thing)
            assert "\nReturns\n-------\n" in page, name
            for parameter in inspect.signature(thing).parameters:
                assert re.search(rf"^(?:\w+, )*{parameter}(?:, \w+)*(?: : .+)?$", page, re.M), name
