"""The public surface as a newcomer meets it: names, docstrings, examples; and short functions."""

import ast
import doctest
import inspect
import io
import re
import tokenize
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

import rigkit

ROOT = Path(rigkit.__file__).parent
SOURCES = {path.relative_to(ROOT).as_posix(): path for path in sorted(ROOT.rglob("*.py"))}
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
FIRST_WORDS = ("What", "Whether", "Which", "Who", "Whose", "Where", "When", "How", "Why")
EXPANSIONS = ("Protocol", "SupportsArray", "HasArray", "NestedSequence", "_Buffer")
LONGEST, DEEPEST, FEWEST_EXAMPLES = 40, 3, 60

each_module = pytest.mark.parametrize("name", rigkit.__all__)


def module_of(name):
    return import_module(f"rigkit.{name}")


def defined(module):
    """Names of the public functions and classes that a module, or its package, defines."""
    return {
        name
        for name, thing in vars(module).items()
        if (inspect.isfunction(thing) or inspect.isclass(thing))
        and not name.startswith("_")
        and (thing.__module__ or "").startswith(module.__name__)
    }


def public(module):
    """All public callables of a module by name: functions, classes, their public methods."""
    for name in getattr(module, "__all__", defined(module)):
        thing = getattr(module, name)
        if inspect.isfunction(thing) or inspect.isclass(thing):
            yield name, thing
        if inspect.isclass(thing):
            for own, member in vars(thing).items():
                method = getattr(member, "__func__", member)
                if inspect.isfunction(method) and not own.startswith("_"):
                    yield f"{name}.{own}", method


def sections(thing):
    """The numpydoc sections of a docstring."""
    return set(re.findall(r"^(\w[\w ]*)\n-{3,}$", inspect.getdoc(thing) or "", re.MULTILINE))


def parameters(thing):
    return [name for name in inspect.signature(thing).parameters if name not in ("self", "cls")]


# --- names ----


@each_module
def test_a_module_gives_out_what_it_defines_and_shows_nothing_else(name):
    module = module_of(name)
    assert defined(module) - set(module.__all__) == set()
    assert [name for name in module.__all__ if not hasattr(module, name)] == []
    assert len(module.__all__) == len(set(module.__all__))
    assert dir(module) == sorted(module.__all__)


@each_module
def test_a_tooltip_reads_names_of_types_not_their_expansion(name):
    shown = {what: str(inspect.signature(thing)) for what, thing in public(module_of(name))}
    assert [what for what, text in shown.items() if any(e in text for e in EXPANSIONS)] == []


# --- docstrings ----


@each_module
def test_a_docstring_says_what_goes_in_and_comes_out(name):
    faults = []
    for what, thing in public(module_of(name)):
        heads = sections(thing)
        if parameters(thing) and not heads & {"Parameters", "Attributes"}:
            faults.append(f"{what}: Parameters")
        gives = inspect.signature(thing).return_annotation not in (None, "None", "NoReturn")
        if inspect.isfunction(thing) and gives and not heads & {"Returns", "Yields"}:
            faults.append(f"{what}: Returns")
    assert faults == []


@each_module
def test_a_docstring_starts_with_a_line_that_says_what_it_is(name):
    first = {
        what: (inspect.getdoc(thing) or "").partition("\n\n")[0]
        for what, thing in public(module_of(name))
    }
    assert [what for what, text in first.items() if not text or "\n" in text] == []
    assert [what for what, text in first.items() if text.split()[0] in FIRST_WORDS] == []


def test_every_docstring_starts_with_a_verb_or_a_noun():
    kinds = ast.Module | ast.ClassDef | FUNCTION
    faults = []
    for name, path in SOURCES.items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            text = ast.get_docstring(node) if isinstance(node, kinds) else None
            if text and text.split()[0] in FIRST_WORDS:
                faults.append(f"{name}: {text.splitlines()[0]}")
    assert faults == []


# --- examples ----


def failed(module):
    """The number of false examples in a module's docstrings."""
    return doctest.testmod(module, optionflags=FLAGS).failed


@pytest.mark.parametrize("name", [n for n, path in SOURCES.items() if ">>>" in path.read_text()])
def test_examples_are_true(name):
    name = name.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    assert failed(import_module(f"rigkit.{name}")) == 0


def test_a_false_example_would_be_noticed(capsys):
    module = ModuleType("false_example")
    module.__doc__ = ">>> 1 + 1\n2\n>>> 1 + 2\n4\n"
    assert failed(module) == 1
    assert "Expected:\n    4\nGot:\n    3\n" in capsys.readouterr().out


def test_what_is_met_first_has_examples():
    shown = {
        f"{name}.{what}"
        for name in rigkit.__all__
        for what, thing in public(module_of(name))
        if "Examples" in sections(thing) and ">>>" in thing.__doc__
    }
    assert len(shown) >= FEWEST_EXAMPLES


# --- short functions ----

FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef
BLOCK = ast.If | ast.For | ast.While | ast.With | ast.Try | ast.Match
NO_CODE = tuple(
    getattr(tokenize, name)
    for name in ("COMMENT", "NL", "NEWLINE", "INDENT", "DEDENT", "ENDMARKER")
)


def functions():
    """Every function of the library: its place, its tree, the lines of its file that hold code."""
    for name, path in SOURCES.items():
        source = path.read_text(encoding="utf-8")
        nodes = list(ast.walk(ast.parse(source)))
        code = lines_of_code(source, nodes)
        for node in nodes:
            if isinstance(node, FUNCTION):
                yield f"{name}:{node.lineno} {node.name}", node, code


def lines_of_code(source, nodes):
    """The numbers of the lines that hold code: no docstring, comment or blank line."""
    lines = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in NO_CODE:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in nodes:
        if isinstance(node, FUNCTION | ast.ClassDef) and ast.get_docstring(node) is not None:
            lines.difference_update(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    return lines


def depth(node, above=0):
    """The deepest nesting of statements below a node; an elif is no deeper than its if."""
    deepest = above
    for child in ast.iter_child_nodes(node):
        elif_ = isinstance(node, ast.If) and isinstance(child, ast.If) and node.orelse == [child]
        if not isinstance(child, FUNCTION | ast.ClassDef):
            deepest = max(deepest, depth(child, above + (isinstance(child, BLOCK) and not elif_)))
    return deepest


def test_no_function_is_longer_than_a_screen():
    long = {}
    for place, node, code in functions():
        count = len(code.intersection(range(node.lineno, node.end_lineno + 1)))
        if count > LONGEST:
            long[place] = count
    assert long == {}


def test_no_function_is_nested_deeply():
    assert [place for place, node, _ in functions() if depth(node) > DEEPEST] == []


@pytest.mark.parametrize(
    ("source", "lines", "deepest"),
    [
        ("def f():\n    return 1", 2, 0),
        ('def f():\n    """Words\n\n    on lines."""\n\n    # a comment\n    return 1', 2, 0),
        ("def f(\n    x,\n):\n    return (\n        x\n    )", 6, 0),
        ("def f(x):\n    if x:\n        pass\n    elif 1:\n        pass", 5, 1),
        ("def f(x):\n    for _ in x:\n        if x:\n            pass", 4, 2),
        ("def f(x):\n    if x:\n        pass\n    else:\n        for _ in x:\n            x", 6, 2),
        ("def f():\n    if 1:\n        def g():\n            if 2:\n                pass", 5, 1),
    ],
)
def test_lines_and_depth_are_counted(source, lines, deepest):
    nodes = list(ast.walk(ast.parse(source)))
    function = next(node for node in nodes if isinstance(node, FUNCTION))
    assert (len(lines_of_code(source, nodes)), depth(function)) == (lines, deepest)
