"""A rule of the inspection: one number, its limit, why it matters and what to do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import isclose, isfinite, isnan, nan
from typing import NamedTuple

from rigkit import _format
from rigkit.stage import Picture

# The rig breaks; it moves or looks wrong; it is harder to work with.
SEVERITIES = ("serious", "moderate", "slight")
Part = tuple[str, float]  # one thing that was measured: its name and its number
Draw = Callable[[str], Picture]  # a picture, from the ink of its number
Measure = Callable[..., "Outcome"]  # from a Subject, and a Motion where it moves
CRAFT = "common practice, no source"
CHOSEN = "our choice"
SHARE = "% of the leg"
ALIKE = 1e-6  # numbers that differ by less, relatively, are equally bad


@dataclass(frozen=True)
class Rule(_format.NotebookDisplay):
    """A rule of the inspection.

    Attributes
    ----------
    id : str
        Words, such as "sides-mirror".
    title : str
        What a rig that passes does, as a sentence.
    fault : str
        What is wrong with one that does not, as a sentence.
    unit : str
        Of its number; "" for a count.
    sense : {"at most", "at least"}
        On which side of the limit a rig passes.
    limit : float
        Its threshold, unless another is given.
    because : str
        Why this threshold; with its source, or that there is none.
    why : str
        Why it matters.
    todo : str
        What to do when it does not pass.
    severity : {"serious", "moderate", "slight"}
    measure : callable
        From a Subject, for a rule that needs "moves" from a Subject and a Motion, to a Measured or
        Unmeasured.
    needs : tuple of {"both", "skin", "moves"}
        Both legs, a skin, an animation: without it the rule cannot apply.
    """

    id: str
    title: str
    fault: str
    unit: str
    sense: str
    limit: float
    because: str
    why: str
    todo: str
    severity: str
    measure: Measure
    needs: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return _format.line(
            self,
            self.id,
            self.title,
            f"{self.sense} {self.limit:g} {self.unit}".rstrip(),
            self.severity,
        )


def rule(
    id: str,
    title: str,
    *,
    fault: str,
    limit: tuple[str, float, str],
    severity: str,
    needs: tuple[str, ...] = (),
    because: str,
    why: str,
    todo: str,
) -> Callable[[Measure], Rule]:
    """Make a `Rule` of the function below that measures its number.

    Parameters
    ----------
    id, title, fault, severity, needs, because, why, todo
        As in `Rule`.
    limit : tuple of (str, float, str)
        Sense, limit and unit, such as ("at most", 0.5, "cm").

    Returns
    -------
    callable
        Takes the function, gives the rule.
    """
    sense, number, unit = limit
    return lambda measure: Rule(
        id, title, fault, unit, sense, number, because, why, todo, severity, measure, needs
    )


class Where(NamedTuple):
    """The place of a finding on the rig.

    Attributes
    ----------
    joints : tuple of int
        Nodes.
    vertices : tuple of int
        Places in the subject's surface.
    seconds : float or None
        The moment of the animation; None where the rest pose is meant, or all of it.
    """

    joints: tuple[int, ...] = ()
    vertices: tuple[int, ...] = ()
    seconds: float | None = None


NOWHERE = Where()


@dataclass(frozen=True)
class Measured:
    """A rule's measurement.

    Attributes
    ----------
    number : float
        In the rule's unit; the worst of what was measured.
    said : str
        It in a sentence.
    parts : tuple of (str, float)
        What was measured one by one.
    draw : callable, optional
        Gives the picture, from the ink of its number: "miss" or "goal".
    todo : str
        What to do in this case, where that is not what the rule says.
    where : Where
        What was worst.
    """

    number: float
    said: str
    parts: tuple[Part, ...] = ()
    draw: Draw | None = None
    todo: str = ""
    where: Where = NOWHERE


@dataclass(frozen=True)
class Unmeasured:
    """The reason why a rule could not apply."""

    reason: str


Outcome = Measured | Unmeasured


def cm(metres: float) -> str:
    """Return a length for a sentence, in centimetres with the digits it deserves."""
    number = 100 * abs(metres)
    if number < 0.1:
        return "under 0.1 cm" if number >= 1e-4 else "0 cm"
    return f"{number:.1f} cm" if number < 9.95 else f"{number:.0f} cm"


def worst(parts: Sequence[Part], largest: bool = True) -> Part:
    """Return the name and the number of the worst of (name, number) pairs.

    Of those that are alike the first counts, so list what is nearest to the pelvis first.

    Raises
    ------
    ValueError
        For a number that is none.
    """
    if any(isnan(number) for _, number in parts):
        raise ValueError("one is not a number")
    most = (max if largest else min)(number for _, number in parts)
    return next(part for part in parts if part[1] == most or isclose(part[1], most, rel_tol=ALIKE))


def limits(rules: Sequence[Rule], thresholds: Mapping[str, float]) -> dict[str, float]:
    """Return each rule's limit: its own, or the one that is set.

    Raises
    ------
    ValueError
        For a rule there is not, or a limit that is no number.
    """
    found = {rule.id: rule.limit for rule in rules}
    for name, value in dict(thresholds).items():
        if name not in found:
            raise ValueError(f"`thresholds` must name rules ({', '.join(found)}); got {name!r}.")
        try:
            found[name] = float(value)
        except (TypeError, ValueError):
            found[name] = nan
        if not isfinite(found[name]):
            raise ValueError(f"`thresholds[{name!r}]` must be a number; got {value!r}.")
    return found
