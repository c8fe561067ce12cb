"""The outcome of a rule, and of one rule in several animations."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import floor, isfinite, log10
from typing import Any

from rigkit import _format
from rigkit.inspection.rule import NOWHERE, Draw, Part, Where
from rigkit.page import plain
from rigkit.stage import Picture

FINDING, LEFT_OUT, PASS, UNMEASURED = "finding", "left out", "pass", "not measured"
STATUSES = (FINDING, LEFT_OUT, PASS, UNMEASURED)  # of several, the first is that of their rule
LONGEST_NAME = 80
_ONE = {"loose joints": "loose joint", "names": "name", "joints": "joint", "vertices": "vertex"}


@dataclass(frozen=True)
class Finding(_format.NotebookDisplay):
    """The outcome of one rule.

    Attributes
    ----------
    rule, title : str
    about : str
        The animation; "" for the rest pose.
    status : {"finding", "left out", "pass", "not measured"}
    severity : {"serious", "moderate", "slight"}
    number : float or None
    unit, sense, limit, because
        As in `Rule`; `limit` is the threshold that counted.
    said : str
        What was measured, in a sentence; or why nothing was.
    parts : tuple of (str, float)
    why, todo : str
    draw : callable or None
    reason : str
        Why it was left out; else "".
    where : Where
        What was worst: joints, vertices, a moment.
    """

    rule: str
    title: str
    about: str
    status: str
    severity: str
    number: float | None
    unit: str
    sense: str
    limit: float
    because: str
    said: str
    parts: tuple[Part, ...]
    why: str
    todo: str
    draw: Draw | None = None
    reason: str = ""
    where: Where = NOWHERE

    def __repr__(self) -> str:
        about = f" in {_format.name(self.about)}" if self.about else ""
        return _format.line(
            self,
            f"{self.rule}{about}",
            self.severity if self.status == FINDING else self.status,
            "" if self.number is None else self.measured,
            plain(self.said),
        )

    @property
    def picture(self) -> Picture | None:
        """The picture of it, a `stage.Picture`; None where there is none."""
        return None if self.draw is None else self.draw("goal" if self.status == PASS else "miss")

    @property
    def measured(self) -> str:
        """The number beside its limit: "1.8 cm (at most 0.5 cm)"."""
        return UNMEASURED if self.number is None else f"{self.amount} ({self.limit_beside})"

    @property
    def amount(self) -> str:
        """The number with its unit, to the digits that matter beside its limit: "1.8 cm"."""
        return UNMEASURED if self.number is None else amount(self.number, self.limit, self.unit)

    def amount_of(self, number: float) -> str:
        """Return one of the numbers of its parts, said as `amount` is.

        Parameters
        ----------
        number : float

        Returns
        -------
        str
        """
        return amount(number, self.limit, self.unit)

    @property
    def bound(self) -> str:
        """The limit with its unit: "at most 0.5 cm"."""
        return f"{self.sense} {_with_unit(f'{self.limit:g}', self.limit, self.unit)}"

    @property
    def limit_beside(self) -> str:
        """The limit as it stands beside the number, which has said of what it is a share."""
        return f"{self.sense} {self.limit:g} %" if self.unit.startswith("% of") else self.bound

    @property
    def badness(self) -> float:
        """The number as it is ranked: the worse, the greater."""
        if self.number is None or self.number != self.number:
            return float("-inf")
        return self.number if self.sense == "at most" else -self.number

    @property
    def brief(self) -> str:
        """The first statement of `said`: what was worst, and when."""
        return re.split(r"; |\. (?=[A-Z])", self.said, maxsplit=1)[0].rstrip(".")

    def ranked_parts(self) -> list[Part]:
        """Return what was measured one by one, the worst first.

        Returns
        -------
        list[Part]
        """
        if self.sense == "at most":
            return sorted(self.parts, key=lambda part: -abs(part[1]))
        return sorted(self.parts, key=lambda part: part[1])

    def data(self) -> dict[str, Any]:
        """Return it as JSON's kinds of values: all fields but `draw` and `where`.

        Returns
        -------
        dict[str, Any]
        """
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        del values["draw"], values["where"]
        parts = [{"what": what, "number": finite(number)} for what, number in self.parts]
        return values | {"number": finite(self.number), "parts": parts}


@dataclass(frozen=True)
class Group:
    """Findings of one rule and one status: a single one, or one for each animation.

    Attributes
    ----------
    findings : tuple of Finding
        The worst first.
    of : int
        The animations that the rule was asked about, whatever came of it.
    """

    findings: tuple[Finding, ...]
    of: int

    @property
    def worst(self) -> Finding:
        """The worst of them."""
        return self.findings[0]

    @property
    def others(self) -> tuple[Finding, ...]:
        """All but the worst."""
        return self.findings[1:]

    @property
    def scope(self) -> str:
        """The animations in words: "", "in 'walk'" or "in 5 of 76 animations"."""
        if not self.others:
            return f"in '{plain(self.worst.about, LONGEST_NAME)}'" if self.worst.about else ""
        count = len(self.findings)
        return (
            f"in all {count} animations"
            if count == self.of
            else f"in {count} of {self.of} animations"
        )


def grouped(findings: Sequence[Finding], status: str) -> list[Group]:
    """Return the findings of a status by rule, in the order of the rules.

    Parameters
    ----------
    findings : sequence of Finding
    status : {"finding", "left out", "pass", "not measured"}

    Returns
    -------
    list of Group
    """
    rules: dict[str, list[Finding]] = {}
    for finding in findings:
        rules.setdefault(finding.rule, []).append(finding)
    groups = []
    for asked in rules.values():
        found = sorted(
            (finding for finding in asked if finding.status == status),
            key=lambda finding: -finding.badness,
        )
        if found:
            groups.append(Group(tuple(found), len(asked)))
    return groups


def amount(number: float, limit: float, unit: str) -> str:
    """Say a number with its unit, to the digits that matter beside its limit.

    It is rounded to a hundredth of the limit's power of ten and to three digits, but not so far
    that it seems to lie on a limit that it does not lie on.

    Examples
    --------
    >>> amount(12.64, 2.0, "cm"), amount(0.0208, 2.0, "cm"), amount(0.5004, 0.5, "cm")
    ('12.6 cm', 'under 0.1 cm', '0.5004 cm')
    """
    if not isfinite(number):
        return "beyond all bounds"
    size = abs(number)
    if size <= 1e-9 * max(abs(limit), 1.0):
        return _with_unit("0", 0.0, unit)
    step = floor(log10(abs(limit))) - 1 if limit else -3
    step = min(0, max(step, floor(log10(size)) - 2))
    if size < 0.5 * 10.0**step:
        return f"under {_with_unit(_digits(10.0**step, step), 10.0**step, unit)}"
    for finer in range(step, step - 4, -1):
        step = finer
        if abs(round(number, -step) - limit) > 1e-12 or abs(number - limit) < 1e-12:
            break
    return _with_unit(_digits(number, step), round(number, -step), unit)


def _digits(number: float, step: int) -> str:
    text = f"{number:,.{-step}f}".replace("-", "−")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _with_unit(text: str, number: float, unit: str) -> str:
    unit = _ONE.get(unit, unit) if number == 1 else unit
    return text + (unit if unit.startswith("°") or not unit else f" {unit}")


def finite(number: float | None) -> float | None:
    """Return a number as JSON can hold it: None where it is beyond all bounds."""
    return float(number) if number is not None and isfinite(number) else None
