"""A list of findings that do not count, each with its reason, in a file that people write.

    [[leave-out]]
    rule = "foot-slide"              # this rule; without a rule, all
    animation = "Swim"               # in this animation; without one, wherever it is found
    file = "heron.glb"               # in this file; without one, in all that are inspected
    up-to = 12                       # as long as its number is no worse than this, in its own unit
    reason = "there is no floor here"

`reason` is needed, and `rule` or `animation`; `up-to` needs `rule`.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rigkit.inspection.finding import FINDING, LEFT_OUT, LONGEST_NAME, Finding
from rigkit.inspection.report import Report
from rigkit.page import plain

TABLE = "leave-out"
KEYS = ("rule", "animation", "file", "up-to", "reason")
HEAD = f"""\
# What an inspection need not tell, each with its reason: rigkit inspect FILE --{TABLE} LIST
# Write a reason between each pair of quotes, and take away what should be told.
"""


@dataclass(frozen=True)
class Entry:
    """One thing to leave out.

    Attributes
    ----------
    line : int
        Where it stands in its file.
    reason : str
    rule, animation, file : str
        "" for all.
    up_to : float or None
        The worst number that is left out.
    """

    line: int
    reason: str
    rule: str = ""
    animation: str = ""
    file: str = ""
    up_to: float | None = None

    def __str__(self) -> str:
        rule = self.rule or "all rules"
        bound = "" if self.up_to is None else f" up to {self.up_to:g}"
        where = f" in '{self.animation}'" if self.animation else ""
        return f"{rule}{bound}{where}{f' of {self.file}' if self.file else ''}"

    def meets(self, finding: Finding, file: str) -> bool:
        """Say if it leaves out a finding in a file.

        Parameters
        ----------
        finding : Finding
        file : str

        Returns
        -------
        bool
        """
        if finding.status != FINDING or (self.rule or finding.rule) != finding.rule:
            return False
        if (self.file or file) != file:
            return False
        if self.animation and self.animation not in (finding.about, _name(finding.about)):
            return False
        return self.up_to is None or replace(finding, number=self.up_to).badness >= finding.badness


def apply(report: Report, entries: Sequence[Entry]) -> tuple[Report, set[Entry]]:
    """Leave out what a list says.

    Parameters
    ----------
    report : Report
    entries : sequence of Entry
        Of several for one finding the first counts.

    Returns
    -------
    report : Report
    used : set of Entry
        Those that left something out.
    """
    findings, used = [], set()
    for finding in report.findings:
        entry = next((each for each in entries if each.meets(finding, report.file)), None)
        if entry:
            used.add(entry)
            finding = replace(finding, status=LEFT_OUT, reason=entry.reason)
        findings.append(finding)
    return replace(report, findings=tuple(findings)), used


def read(path: Path, rules: Iterable[str]) -> tuple[Entry, ...]:
    """Read a list.

    Parameters
    ----------
    path : Path
    rules : iterable of str
        The ids there are.

    Returns
    -------
    tuple of Entry

    Raises
    ------
    ValueError
        For what is no list; the text says the line and what would do.
    OSError
        If it cannot be read.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
        found = tomllib.loads(text)
    except UnicodeDecodeError:
        raise ValueError(f"{path} must be text in UTF-8. Save it as that.") from None
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{path} must be TOML, a list of [[{TABLE}]]: {error}.") from None
    tables = found.get(TABLE, [])
    wrong = [key for key in found if key != TABLE]
    if wrong or not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
        what = wrong[0] if wrong else TABLE
        raise ValueError(f"{path} must hold nothing but [[{TABLE}]] tables; got {plain(what)!r}.")
    heads = re.finditer(rf"^[ \t]*\[\[[ \t]*[\"']?{TABLE}[\"']?[ \t]*\]\]", text, re.MULTILINE)
    lines = [text.count("\n", 0, head.start()) + 1 for head in heads]
    lines = lines if len(lines) == len(tables) else [1] * len(tables)  # written in another way
    known = tuple(rules)
    return tuple(
        _entry(table, line, f"{path}, line {line}", known)
        for table, line in zip(tables, lines, strict=True)
    )


def _entry(table: Mapping[str, Any], line: int, where: str, rules: Sequence[str]) -> Entry:
    for key, value in table.items():
        if key not in KEYS:
            raise ValueError(f"{where}: no such key: {plain(key)!r}. There are {', '.join(KEYS)}.")
        if key == "up-to":
            good = isinstance(value, int | float) and not isinstance(value, bool)
            if not good or value != value:
                raise ValueError(f"{where}: `up-to` must be a number; got {plain(value)!r}.")
        elif not isinstance(value, str):
            raise ValueError(f'{where}: `{key}` must stand in quotes: {key} = "…".')
    rule, animation = table.get("rule", ""), table.get("animation", "")
    if rule and rule not in rules:
        raise ValueError(f"{where}: no such rule: {plain(rule)!r}. There are {', '.join(rules)}.")
    if not rule and (not animation or "up-to" in table):
        needed = "`rule`" if "up-to" in table else "`rule` or `animation`"
        raise ValueError(f"{where}: {needed} must say what is left out.")
    if not table.get("reason", "").strip():
        raise ValueError(f'{where}: `reason` must say why: reason = "no floor here".')
    up_to = float(table["up-to"]) if "up-to" in table else None
    return Entry(line, table["reason"], rule, animation, table.get("file", ""), up_to)


def write(report: Report) -> str:
    """Return the entries of a list for all that was found, with the reasons to fill in.

    Parameters
    ----------
    report : Report

    Returns
    -------
    str
    """
    parts = []
    for finding in report.of(FINDING):
        values = {"rule": finding.rule, "animation": _name(finding.about), "file": report.file}
        lines = [f"{key} = {_quoted(text)}" for key, text in values.items() if text]
        measured = f"# {plain(finding.measured)}"
        parts.append("\n".join([f"\n[[{TABLE}]]", *lines, measured, 'reason = ""\n']))
    return "".join(parts)


def _name(animation: str) -> str:
    return plain(animation, LONGEST_NAME)


def _quoted(text: str) -> str:
    text = plain(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"'
