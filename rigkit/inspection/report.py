"""The result of an inspection, as an object, as text, as JSON and as a page.

The JSON (schema 2; names are never taken away or given another meaning, only added):

    {"rigkit_inspection": 2,
     "file": str, "passed": bool, "inspected": bool,
     "counts": {"finding": int, "left out": int, "pass": int, "not measured": int},
     "taken": {"certainty": 0…1, "why": str, "animal": bool, "animal_why": str,
               "pairs": [{"name": str, "hips": [str]}],
               "up": [x, y, z], "up_why": str, "forward": …, "forward_why": …, "metres": float,
               "metres_why": …, "pelvis": str or null, "helpers": [str], "joints": [{"side": "left"
               or "right", "part": str, "name": str, "certainty": 0…1, "why": str}]},
     "notes": [str], "remarks": [str],
     "left_out": [{"rule": str, "about": str, "number": float or null, "reason": str}],
     "findings": [{"rule": str, "title": str, "about": str,
                   "status": "finding", "left out", "pass" or "not measured",
                   "severity": "serious", "moderate" or "slight", "number": float or null, "unit":
                   str, "sense": "at most" or "at least", "limit": float, "because": str, "said":
                   str, "parts": [{"what": str, "number": float or null}], "why": str, "todo":
                   str, "reason": str}]}

A number is null where nothing was measured, or where it is beyond all bounds. `about` is the
animation's name, "" for the rest pose; `counts` are those of the entries of `findings`, one for
each rule and each animation that it was asked about. `inspected` is false for a file without legs,
of which nothing could be measured. `pairs` are the pairs of legs there are, where there are
several. The command adds "against" (see `compare`) where it compares, and where it inspects several
files it prints a list of such objects; one for a file that cannot be read has "file" and "error".
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rigkit._types import Floats
from rigkit.inspection import text as texts
from rigkit.inspection.finding import (
    FINDING,
    LEFT_OUT,
    LONGEST_NAME,
    PASS,
    STATUSES,
    UNMEASURED,
    Finding,
    Group,
    finite,
    grouped,
)
from rigkit.inspection.legs import UNITS, Legs
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.rule import SEVERITIES
from rigkit.inspection.subject import Subject
from rigkit.inspection.tree import AXES
from rigkit.page import plain
from rigkit.stage import Picture

if TYPE_CHECKING:
    from rigkit.inspection.view import Scene

SCHEMA = 2
LOOKED_FOR = (
    "Looked for: chains of hip, knee and ankle that hang down and, where there are two, mirror "
    "each other. If there are such, name them: --map left.hip=NAME, --map left.knee=NAME and so on."
)


@dataclass(frozen=True)
class Report:
    """An inspection's findings; it shows itself in a notebook.

    Attributes
    ----------
    file : str
    legs : Legs
        What was taken for what; places in `names`.
    names : tuple of str
        Of all nodes.
    findings : tuple of Finding
        One for each rule, or for each rule and animation, in the order of the rules.
    notes : tuple of str
        What the file held that was not read, or not measured to its end.
    remarks : tuple of str
        Sentences on the whole rig, said once.
    draw : callable or None
        Gives the picture that the report opens with.
    subject : Subject or None
        The rig itself.
    """

    file: str
    legs: Legs
    names: tuple[str, ...]
    findings: tuple[Finding, ...]
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    draw: Callable[[], Picture] | None = None
    subject: Subject | None = None

    @property
    def picture(self) -> Picture | None:
        """The rig from the front and from the side, its legs' joints named; None without legs."""
        return None if self.draw is None else self.draw()

    @property
    def inspected(self) -> bool:
        """True if there are legs to measure."""
        return bool(self.legs.legs)

    @property
    def passed(self) -> bool:
        """True if no rule that could be measured found anything."""
        return not self.of(FINDING)

    def of(self, status: str) -> list[Finding]:
        """Return the findings of a status, the serious ones first.

        Parameters
        ----------
        status : {"finding", "left out", "pass", "not measured"}

        Returns
        -------
        list of Finding
        """
        return sorted(
            (finding for finding in self.findings if finding.status == status),
            key=lambda finding: SEVERITIES.index(finding.severity) if status == FINDING else 0,
        )

    def __getitem__(self, rule: str) -> Finding:
        """Return a rule's finding, of several animations the first that does not pass.

        Parameters
        ----------
        rule : str
            Its id, such as "sides-mirror".

        Returns
        -------
        Finding

        Raises
        ------
        KeyError
            For a rule there is not.
        """
        found = [finding for finding in self.findings if finding.rule == rule]
        if not found:
            raise KeyError(rule)
        return min(found, key=lambda finding: finding.status != FINDING)

    def groups(self, status: str) -> list[Group]:
        """Return the findings of a status by rule, the serious ones first.

        Parameters
        ----------
        status : {"finding", "left out", "pass", "not measured"}

        Returns
        -------
        list of Group
        """
        return sorted(
            grouped(self.findings, status),
            key=lambda group: SEVERITIES.index(group.worst.severity) if status == FINDING else 0,
        )

    def counts(self) -> dict[str, int]:
        """Return the number of rules of each status: that of a rule is the worst it has.

        Returns
        -------
        dict of str to int
        """
        rules: dict[str, str] = {}
        for finding in self.findings:
            known = rules.get(finding.rule, UNMEASURED)
            rules[finding.rule] = min(known, finding.status, key=STATUSES.index)
        return {status: list(rules.values()).count(status) for status in STATUSES}

    def severities(self) -> dict[str, int]:
        """Return the number of rules of each severity that found something.

        Returns
        -------
        dict of str to int
        """
        found = [group.worst.severity for group in self.groups(FINDING)]
        return {severity: found.count(severity) for severity in SEVERITIES}

    @property
    def headline(self) -> str:
        """The whole report in one sentence."""
        if not self.inspected:
            return "Nothing to inspect: no legs were found"
        count = self.counts()
        found = count[FINDING]
        tail = [f"{count[PASS]} pass"]
        tail += [f"{count[LEFT_OUT]} left out"] * (count[LEFT_OUT] > 0)
        tail += [f"{count[UNMEASURED]} could not be measured"] * (count[UNMEASURED] > 0)
        said = f"{found} finding{'s' * (found != 1)}" if found else "No findings"
        return f"{said}; {', '.join(tail)}"

    def taken(self) -> tuple[str, ...]:
        """Return the joints taken for the legs, the axes and the unit, as lines of text.

        Returns
        -------
        tuple[str, ...]
        """
        legs = self.legs
        if not legs.legs:
            return (f"No legs were found: {legs.because['legs']}.", LOOKED_FOR)
        lines = [f"Legs, {100 * legs.certainty:.0f} % certain: {legs.because['legs']}."]
        if legs.pelvis is not None:
            lines.append(f"pelvis: {self.name(legs.pelvis)}")
        for side, leg in legs.legs.items():
            joints = ", ".join(f"{part} {self.name(node)}" for part, node in leg.joints.items())
            lines.append(f"{SIDE_WORDS[side]}: {joints}")
        if legs.helpers:
            more = f" and {len(legs.helpers) - 8} more" if len(legs.helpers) > 8 else ""
            lines.append(
                f"no part of the legs: {', '.join(map(self.name, legs.helpers[:8]))}{more}"
            )
        return (*lines, *self.whose(), *self.axes_and_unit())

    def whose(self) -> tuple[str, ...]:
        """Return what is not as with a person's two legs, as lines of text.

        Returns
        -------
        tuple[str, ...]
        """
        because = self.legs.because
        lines = []
        if because.get("pairs"):
            lines.append(f"{because['pairs']}; take another with --pair NAME")
        if self.legs.animal:
            why = f" ({because['animal']})" if because.get("animal") else ""
            lines.append(f"an animal's legs{why}: what holds for people alone is not asked of them")
        return tuple(lines)

    def axes_and_unit(self) -> tuple[str, ...]:
        """Return the file's axes and unit as lines of text.

        Returns
        -------
        tuple[str, ...]
        """
        legs = self.legs
        lines = [
            f"up {axis_name(legs.up)} ({legs.because['up']}); facing {axis_name(legs.forward)} "
            f"({legs.because['forward']})",
            f"in {_unit_name(legs.metres)} ({legs.because['metres']})",
        ]
        if self.file.lower().endswith(".bvh"):
            return (*lines, "a BVH file does not say its unit: lengths in it are as right as that")
        if legs.up @ AXES["+y"] < 0.99:
            lines.append("glTF says that up is +Y: other programs will show this rig lying down")
        if legs.metres != 1:
            lines.append(
                "glTF says that a unit is a metre: other programs will show this rig in another"
                " size"
            )
        return tuple(lines)

    def name(self, node: int) -> str:
        """Return a node's name, made harmless and short.

        Parameters
        ----------
        node : int
            Its place in `names`.

        Returns
        -------
        str
        """
        return plain(self.names[node], LONGEST_NAME)

    def text(self, width: int = 100) -> str:
        """Return the report for a terminal.

        Parameters
        ----------
        width : int
            The longest line, in letters.

        Returns
        -------
        str
        """
        return texts.of_report(self, width)

    def unmeasured(self) -> dict[str, list[Group]]:
        """Return the rules that could not apply, by the reason.

        Returns
        -------
        dict of str to list of Group
        """
        reasons: dict[str, list[Finding]] = {}
        for finding in self.of(UNMEASURED):
            reasons.setdefault(finding.said, []).append(finding)
        asked = Counter(finding.rule for finding in self.findings)
        return {
            reason: [
                Group(group.findings, asked[group.worst.rule])
                for group in grouped(found, UNMEASURED)
            ]
            for reason, found in reasons.items()
        }

    def joints(self) -> list[dict[str, Any]]:
        """Return the legs' joints as JSON's kinds of values; see this module's docstring.

        Returns
        -------
        list[dict[str, Any]]
        """
        return [
            {
                "side": SIDE_WORDS[side],
                "part": part,
                "name": self.names[node],
                "certainty": leg.certainty[part],
                "why": leg.why[part],
            }
            for side, leg in self.legs.legs.items()
            for part, node in leg.joints.items()
        ]

    def pairs(self) -> list[dict[str, Any]]:
        """Return the pairs of legs there are, where there are several.

        Returns
        -------
        list[dict[str, Any]]
        """
        return [{"name": pair.name, "hips": list(pair.hips)} for pair in self.legs.pairs]

    def data(self) -> dict[str, Any]:
        """Return the report as JSON's kinds of values; see this module's docstring.

        Returns
        -------
        dict[str, Any]
        """
        legs = self.legs
        reasons = ("legs", "animal", "up", "forward", "metres")
        because = {key: legs.because.get(key, "") for key in reasons}
        return {
            "rigkit_inspection": SCHEMA,
            "file": self.file,
            "passed": self.passed,
            "inspected": self.inspected,
            "counts": {status: len(self.of(status)) for status in STATUSES},
            "taken": {
                "certainty": legs.certainty,
                "why": because["legs"],
                "animal": legs.animal,
                "animal_why": because["animal"],
                "pairs": self.pairs(),
                "up": _floats(legs.up),
                "up_why": because["up"],
                "forward": _floats(legs.forward),
                "forward_why": because["forward"],
                "metres": float(legs.metres),
                "metres_why": because["metres"],
                "pelvis": None if legs.pelvis is None else self.names[legs.pelvis],
                "helpers": [self.names[node] for node in legs.helpers],
                "joints": self.joints(),
            },
            "notes": list(self.notes),
            "remarks": list(self.remarks),
            "left_out": [
                {
                    "rule": finding.rule,
                    "about": finding.about,
                    "number": finite(finding.number),
                    "reason": finding.reason,
                }
                for finding in self.of(LEFT_OUT)
            ],
            "findings": [finding.data() for finding in self.findings],
        }

    def json(self) -> str:
        """Return `data` as text: JSON with nothing in it but ASCII.

        Returns
        -------
        str
        """
        return json.dumps(self.data(), indent=1, allow_nan=False) + "\n"

    def html(self, against: object = None, scene: Scene | None = None) -> str:
        """Return the report as a page of its own.

        Parameters
        ----------
        against : Comparison, optional
            With an earlier file.
        scene : Scene, optional
            The rig to turn and to play; without, the page holds no script.

        Returns
        -------
        str
        """
        from rigkit.inspection import view  # Jinja is not in the jail

        return view.page(self, against, scene)

    def __repr__(self) -> str:
        return self.text().rstrip()

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        from rigkit.inspection import view

        return {"text/plain": repr(self), "text/html": view.card(self)}


def axis_name(direction: Floats) -> str:
    """Return "+Y" for one of a file's own axes, else the direction's three numbers."""
    for name, axis in AXES.items():
        if axis @ direction > 1 - 1e-9:
            return name.upper()
    return "(" + ", ".join(f"{number:.2f}" for number in direction) + ")"


def _unit_name(metres: float) -> str:
    return next(
        (name for name, size in UNITS.items() if abs(size / metres - 1) < 1e-6),
        f"units of {metres:g} m",
    )


def _floats(values: Iterable[float]) -> list[float]:
    return [round(float(value), 9) + 0.0 for value in values]
