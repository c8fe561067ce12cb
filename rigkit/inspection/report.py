"""The result of an inspection, as an object, as text, as JSON and as a page.

The JSON (schema 2; names are never taken away or given another meaning, only added):

    {"rigkit_inspection": 2,
     "file": str, "passed": bool, "counts": {"finding": int, "pass": int, "not measured": int},
     "taken": {"certainty": 0…1, "why": str,
               "up": [x, y, z], "up_why": str, "forward": …, "forward_why": …, "metres": float,
               "metres_why": …, "pelvis": str or null, "helpers": [str], "joints": [{"side": "left"
               or "right", "part": str, "name": str, "certainty": 0…1, "why": str}]},
     "notes": [str], "remarks": [str], "findings": [{"rule": str, "title": str, "about": str,
                   "status": "finding", "pass" or "not measured",
                   "severity": "serious", "moderate" or "slight", "number": float or null, "unit":
                   str, "sense": "at most" or "at least", "limit": float, "because": str, "said":
                   str, "parts": [{"what": str, "number": float or null}], "why": str, "todo":
                   str}]}

A number is null where nothing was measured, or where it is beyond all bounds. `about` is the
animation's name, "" for the rest pose.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from textwrap import fill
from typing import Any

import numpy as np

from rigkit import _format
from rigkit._types import Floats
from rigkit.inspection.legs import UNITS, Legs
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.rule import SEVERITIES, Draw, Part
from rigkit.inspection.tree import AXES
from rigkit.page import plain
from rigkit.stage import Picture

FINDING, PASS, UNMEASURED = "finding", "pass", "not measured"
SCHEMA = 2
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
    status : {"finding", "pass", "not measured"}
    severity : {"serious", "moderate", "slight"}
    number : float or None
    unit, sense, limit, because
        As in `Rule`; `limit` is the threshold that counted.
    said : str
        What was measured, in a sentence; or why nothing was.
    parts : tuple of (str, float)
    why, todo : str
    draw : callable or None
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
        return UNMEASURED if self.number is None else f"{self.amount} ({self.bound})"

    @property
    def amount(self) -> str:
        """The number with its unit: "1.8 cm"."""
        return UNMEASURED if self.number is None else _amount(self.number, self.unit)

    @property
    def bound(self) -> str:
        """The limit with its unit: "at most 0.5 cm"."""
        return f"{self.sense} {_amount(self.limit, self.unit)}"

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
        """Return it as JSON's kinds of values: all fields but `draw`.

        Returns
        -------
        dict[str, Any]
        """
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        del values["draw"]
        parts = [{"what": what, "number": _finite(number)} for what, number in self.parts]
        return values | {"number": _finite(self.number), "parts": parts}


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
    """

    file: str
    legs: Legs
    names: tuple[str, ...]
    findings: tuple[Finding, ...]
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """True if no rule that could be measured found anything."""
        return not self.of(FINDING)

    def of(self, status: str) -> list[Finding]:
        """Return the findings of a status, the serious ones first.

        Parameters
        ----------
        status : {"finding", "pass", "not measured"}

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

    @property
    def headline(self) -> str:
        """The whole report in one sentence."""
        found, passed, silent = (len(self.of(status)) for status in (FINDING, PASS, UNMEASURED))
        tail = f"{passed} pass" + (f", {silent} could not be measured" if silent else "")
        return f"{found} finding{'s' * (found != 1)}; {tail}" if found else f"No findings; {tail}"

    def taken(self) -> tuple[str, ...]:
        """Return the joints taken for the legs, the axes and the unit, as lines of text.

        Returns
        -------
        tuple[str, ...]
        """
        legs = self.legs
        if not legs.legs:
            return (f"No legs were found: {legs.because['legs']}.",)
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
        return (*lines, *self.axes_and_unit())

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
        about = f"{plain(self.file, 200)}: " if self.file else ""
        indent = " " * 4
        lines = [f"{about}{self.headline}.", ""]
        notes = (f"Not read: {plain(note)}" for note in self.notes)
        lines += [fill(line, width, subsequent_indent=indent) for line in (*self.taken(), *notes)]
        for finding in self.of(FINDING):
            lines += ["", f"{finding.severity.upper()}  {_heading(finding)}  {finding.measured}"]
            lines += [
                fill(plain(text), width, initial_indent=indent, subsequent_indent=indent)
                for text in (finding.said, f"Why: {finding.why}", f"Do: {finding.todo}")
            ]
        passed = [
            f"{_heading(each)}  {each.measured}: {plain(each.said)}" for each in self.of(PASS)
        ]
        silent = [
            f"{plain(why)} {', '.join(map(_heading, found))}"
            for why, found in self.unmeasured().items()
        ]
        for title, items in (("Passed", passed), ("Not measured", silent)):
            lines += ["", f"{title}:"] if items else []
            lines += [fill(f"  {item}", width, subsequent_indent=" " * 6) for item in items]
        return "\n".join(lines) + "\n"

    def unmeasured(self) -> dict[str, list[Finding]]:
        """Return the findings of rules that could not apply, by the reason.

        Returns
        -------
        dict[str, list[Finding]]
        """
        groups: dict[str, list[Finding]] = {}
        for finding in self.of(UNMEASURED):
            groups.setdefault(finding.said, []).append(finding)
        return groups

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

    def data(self) -> dict[str, Any]:
        """Return the report as JSON's kinds of values; see this module's docstring.

        Returns
        -------
        dict[str, Any]
        """
        legs = self.legs
        because = {key: legs.because.get(key, "") for key in ("legs", "up", "forward", "metres")}
        return {
            "rigkit_inspection": SCHEMA,
            "file": self.file,
            "passed": self.passed,
            "counts": {status: len(self.of(status)) for status in (FINDING, PASS, UNMEASURED)},
            "taken": {
                "certainty": legs.certainty,
                "why": because["legs"],
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
            "findings": [finding.data() for finding in self.findings],
        }

    def json(self) -> str:
        """Return `data` as text: JSON with nothing in it but ASCII.

        Returns
        -------
        str
        """
        return json.dumps(self.data(), indent=1, allow_nan=False) + "\n"

    def html(self) -> str:
        """Return the report as a page of its own.

        Returns
        -------
        str
        """
        from rigkit.inspection import view  # Jinja is not in the jail

        return view.page(self)

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


def _amount(number: float, unit: str) -> str:
    if not np.isfinite(number):
        return "beyond all bounds"
    number = round(number, 4) + 0.0
    text = f"{number:.3g}" if abs(number) < 1000 else f"{number:,.0f}"
    unit = _ONE.get(unit, unit) if number == 1 else unit
    text = text.replace("-", "−") if "e" not in text else text
    return text + (unit if unit.startswith("°") or not unit else f" {unit}")


def _heading(finding: Finding) -> str:
    return finding.rule + (f" in {plain(finding.about, LONGEST_NAME)!r}" if finding.about else "")


def _floats(values: Iterable[float]) -> list[float]:
    return [round(float(value), 9) + 0.0 for value in values]


def _finite(number: float | None) -> float | None:
    return float(number) if number is not None and np.isfinite(number) else None
