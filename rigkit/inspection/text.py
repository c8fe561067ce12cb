"""A report, a comparison and a table of files as text for a terminal.

What is said stands in modules that use this one, so its types are not named here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill
from typing import Any

from rigkit.inspection.finding import FINDING, LEFT_OUT, LONGEST_NAME, PASS, Finding, Group
from rigkit.page import plain

INDENT = " " * 4
FEW = 4  # so many further animations are told one by one


def of_report(report: Any, width: int) -> str:
    """Return a report for a terminal.

    Parameters
    ----------
    report : Report
    width : int
        The longest line, in letters.

    Returns
    -------
    str
    """
    about = f"{plain(report.file, 200)}: " if report.file else ""
    lines = [f"{about}{report.headline}.", ""]
    taken = [*report.taken(), *map(plain, report.remarks)]
    if report.notes:
        taken.append(f"Not read: {' '.join(map(plain, report.notes))}")
    lines += [fill(line, width, subsequent_indent=INDENT) for line in taken]
    for group in report.groups(FINDING):
        lines += ["", _heading(group), *_paragraphs(group, width)]
    for title, items in _lists(report):
        lines += ["", f"{title}:"] if items else []
        lines += [fill(f"  {item}", width, subsequent_indent=" " * 6) for item in items]
    return "\n".join(lines) + "\n"


def _heading(group: Group) -> str:
    worst = group.worst
    scope = f" {group.scope}" if group.scope else ""
    at_worst = ", at worst" if group.others else ""
    return f"{worst.severity.upper()}  {worst.rule}{scope}{at_worst}  {worst.measured}"


def _paragraphs(group: Group, width: int) -> Iterator[str]:
    worst = group.worst
    where = f"In {quoted(worst)}: " if group.others else ""
    said = f"{worst.title}. {where}{plain(worst.said)}"
    for text in (said, f"Why: {worst.why}", f"Do: {worst.todo}"):
        yield fill(text, width, initial_indent=INDENT, subsequent_indent=INDENT)
    others = group.others
    few = others if len(others) <= FEW + 1 else others[:FEW]
    more = [f"{quoted(other)}, {other.amount}: {plain(other.brief)}" for other in few]
    if len(few) < len(others):
        rest = others[len(few) :]
        more.append(f"and in {len(rest)} more animations, {span(rest)}")
    for line in more:
        yield fill(line, width, initial_indent=INDENT, subsequent_indent=INDENT + "  ")


def span(findings: Sequence[Finding]) -> str:
    """Return the numbers of several findings, worst first, as "2.1 to 9.4 cm"."""
    first, last = findings[-1].amount, findings[0].amount
    if first == last:
        return first
    return f"{first.removesuffix(f' {findings[0].unit}')} to {last}"


def quoted(finding: Finding) -> str:
    """Return an animation's name in quotes."""
    return f"'{plain(finding.about, LONGEST_NAME)}'"


def _lists(report: Any) -> Iterator[tuple[str, list[str]]]:
    yield (
        "Left out",
        [
            f"{rule_in(finding)}, {finding.amount}: {plain(finding.reason)}"
            for finding in report.of(LEFT_OUT)
        ],
    )
    yield "Passed", [_passed(group) for group in report.groups(PASS)]
    if report.inspected:  # else the reason is the same for all, and stands above
        yield (
            "Not measured",
            [
                f"{plain(why)} {', '.join(map(_names, groups))}"
                for why, groups in report.unmeasured().items()
            ],
        )


def _passed(group: Group) -> str:
    worst = group.worst
    if not group.others:
        return f"{_names(group)}  {worst.measured}: {plain(worst.said)}"
    return f"{_names(group)}, at worst  {worst.measured}, in {quoted(worst)}: {plain(worst.said)}"


def _names(group: Group) -> str:
    return f"{group.worst.rule} {group.scope}".rstrip()


def rule_in(finding: Finding) -> str:
    """Return a rule's id, with the animation it was asked about."""
    return finding.rule + (f" in {quoted(finding)}" if finding.about else "")


def of_comparison(comparison: Any, width: int) -> str:
    """Return a comparison for a terminal.

    Parameters
    ----------
    comparison : Comparison
    width : int
        The longest line, in letters.

    Returns
    -------
    str
    """
    lines = [f"Since {plain(comparison.file, 200) or 'the earlier file'}: {comparison.headline}."]
    lines += [f"- {plain(sentence)}" for sentence in comparison.done]
    lines += [f"{change.kind.upper()}  {_change(change)}" for change in comparison.changes]
    return "\n".join(fill(line, width, subsequent_indent=INDENT) for line in lines) + "\n"


def _change(change: Any) -> str:
    found = change.finding
    now = "the animation is gone" if change.new is None else change.now
    was = "the animation is new" if change.old is None else f"was {change.before}"
    return f"{rule_in(found)} ({found.severity})  {now}, {was}"


def of_rows(rows: Sequence[Any], headline: str, width: int = 100) -> str:
    """Return a table of several files.

    Parameters
    ----------
    rows : sequence of Row
    headline : str
        All of them in one sentence.
    width : int
        The longest line, in letters, but for the names of files.

    Returns
    -------
    str
    """
    cells = [_cells(row) for row in rows]
    head = ("file", "certain", "serious", "moderate", "slight", "legs; the worst finding")
    wide = [max(len(row[i]) for row in [head, *cells]) for i in range(5)]
    lines = []
    for row in [head, *cells]:
        numbers = [text.rjust(size) for text, size in zip(row[1:5], wide[1:], strict=True)]
        first = "  ".join([row[0].ljust(wide[0]), *numbers])
        lines.append(f"{first}  {row[5]}".rstrip())
    files = f"{len(rows)} file{'s' * (len(rows) != 1)}"
    return "\n".join([f"{files}: {headline}.", "", *lines]) + "\n"


def _cells(row: Any) -> tuple[str, ...]:
    name = plain(row.name, LONGEST_NAME)
    if row.problem:
        return (name, "", "", "", "", f"could not be read: {plain(row.problem)}")
    if not row.inspected:
        return (name, "", "", "", "", row.legs)
    severities = [str(count) for count in row.severities.values()]
    worst = f"; {row.worst}" if row.worst else ""
    return (name, f"{100 * row.certainty:.0f} %", *severities, f"{row.legs}{worst}")
