"""A formula in a character's measures, such as "100 * (thigh + shank)": read as data, never run.

All numbers are floats, so that no power of powers grows without end: it overflows at once.
"""

import ast
import math
import operator
from collections.abc import Callable, Mapping
from typing import Any

from rigkit.puppets import Puppet

__all__ = ["FUNCTIONS", "MEASURES", "Formula", "FormulaError", "measures"]

MEASURES = (
    "stature",
    "thigh",
    "shank",
    "leg_length",
    "hip_height",
    "hip_width",
    "ankle_height",
    "foot_length",
    "heel_length",
    "ball_length",
)
MOST_CHARACTERS, DEEPEST = 200, 20

_OPERATORS: dict[type, Callable[..., Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
}
FUNCTIONS: dict[str, tuple[Callable[..., float], int]] = {  # with the number of their values
    **{
        name: (getattr(math, name), 1)
        for name in ("sqrt", "sin", "cos", "tan", "asin", "acos", "atan", "radians", "degrees")
    },
    "atan2": (math.atan2, 2),
    "abs": (abs, 1),
    "min": (min, 0),  # of two or more
    "max": (max, 0),
}


class FormulaError(ValueError):
    """A text that is no formula, or one that has no number for a character; the text says why."""


def measures(character: Puppet) -> dict[str, float]:
    """Return a character's measures by name, in metres."""
    return {name: float(getattr(character, name)) for name in MEASURES}


class Formula:
    """A number, or a formula in a character's measures.

    Parameters
    ----------
    said : float or str
        As a teacher gives it.

    Attributes
    ----------
    measures : tuple of str
        The names of those in it, in the order of `MEASURES`.

    Raises
    ------
    FormulaError
        It is none.
    """

    def __init__(self, said: float | str) -> None:
        self.said = said
        self._tree = _parsed(said) if isinstance(said, str) else ast.Constant(said)
        names = set(_names(self._tree))
        self.measures = tuple(name for name in MEASURES if name in names)

    def __repr__(self) -> str:
        return f"Formula {self.said}"

    def __call__(self, known: Mapping[str, float]) -> float:
        """Return its value for some measures.

        Parameters
        ----------
        known : mapping of str to float
            Metres, by name.

        Returns
        -------
        float

        Raises
        ------
        FormulaError
            It has none: a division by zero, a root of less than zero, a number without end.
        """
        try:
            value = _value(self._tree, known)
        except ZeroDivisionError:
            raise FormulaError("divides by zero") from None
        except OverflowError:
            raise FormulaError("gives a number too large to be one") from None
        except ValueError:
            raise FormulaError("takes a function of a number out of its range") from None
        if isinstance(value, complex) or not math.isfinite(value):
            raise FormulaError("gives what is no finite number")
        return float(value)


def _parsed(text: str) -> ast.expr:
    """The syntax tree of a formula, each node of which is allowed."""
    if len(text) > MOST_CHARACTERS:
        raise FormulaError(f"may have {MOST_CHARACTERS} characters; it has {len(text):,}")
    try:
        tree = ast.parse(text.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise FormulaError("cannot be read as a formula") from None
    _check(tree)
    return tree


def _check(node: ast.AST, depth: int = 0) -> None:
    """Refuse whatever is not arithmetic, a measure or a function that is known."""
    if depth > DEEPEST:
        raise FormulaError("is nested too deeply")
    match node:
        case ast.Constant(value=int() | float() as number) if not isinstance(number, bool):
            return
        case ast.Name(id=name) if name == "pi" or name in MEASURES:
            return
        case ast.Name(id=name):
            raise FormulaError(f"has {name!r}, which is none of {', '.join(MEASURES)}")
        case ast.BinOp(op=op, left=left, right=right) if type(op) in _OPERATORS:
            parts = [left, right]
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _OPERATORS:
            parts = [operand]
        case ast.Call(func=ast.Name(id=name), args=parts, keywords=[]) if name in FUNCTIONS:
            count = FUNCTIONS[name][1]
            if len(parts) != count if count else len(parts) < 2:
                raise FormulaError(f"gives {name} {len(parts)} values; it takes {count or 'two'}")
        case _:
            raise FormulaError(
                "may have numbers, measures, + - * / ** and parentheses, pi, and"
                f" {', '.join(FUNCTIONS)}, and nothing else"
            )
    for part in parts:
        _check(part, depth + 1)


def _names(tree: ast.expr) -> list[str]:
    return [node.id for node in ast.walk(tree) if isinstance(node, ast.Name)]


def _value(node: ast.AST, known: Mapping[str, float]) -> Any:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id=name):
            return math.pi if name == "pi" else known[name]
        case ast.BinOp(op=op, left=left, right=right):
            return _OPERATORS[type(op)](_value(left, known), _value(right, known))
        case ast.UnaryOp(op=op, operand=operand):
            return _OPERATORS[type(op)](_value(operand, known))
        case ast.Call(func=ast.Name(id=name), args=parts):
            return FUNCTIONS[name][0](*(_value(part, known) for part in parts))
    raise AssertionError(node)  # checked before
