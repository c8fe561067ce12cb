"""The command `rigkit inspect`: one file or many, what is printed, which pages are written."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from rigkit import _files, course, gltf, inspection
from rigkit.bench import marking
from rigkit.homework import your_leg
from rigkit.inspection import fix, leave_out, view
from rigkit.inspection.compare import Comparison, compare
from rigkit.inspection.finding import FINDING
from rigkit.inspection.report import Report
from rigkit.inspection.rule import SEVERITIES, limits
from rigkit.inspection.text import of_rows
from rigkit.page import plain
from rigkit.view import View
from rigkit.view import view as view_of

DONE, FOUND, REFUSED = 0, 1, 2
KINDS = (".glb", ".gltf", ".vrm", ".bvh")  # files that a folder is searched for
INDEX = "index.html"
MARK = b"<title>Inspection of "  # in the head of each of our pages


@dataclass(frozen=True)
class Row:
    """A file of several, in short.

    Attributes
    ----------
    path : Path
    name, page : str
        As it is told; the file name of its page, "" without one.
    problem : str
        Why it could not be read; else "".
    inspected : bool
    legs : str
    certainty : float
    severities : dict of str to int
        Of rules that found something.
    worst : str
        The first of its findings, in short.
    data : dict
        The whole report as JSON's kinds of values.
    """

    path: Path
    name: str
    page: str = ""
    problem: str = ""
    inspected: bool = False
    legs: str = ""
    certainty: float = 0.0
    severities: dict[str, int] = field(default_factory=dict)
    worst: str = ""
    data: dict[str, Any] = field(default_factory=dict)


def inspect(arguments: argparse.Namespace) -> int:
    """Inspect what the command line says.

    Parameters
    ----------
    arguments : Namespace
        As `rigkit inspect` parses them.

    Returns
    -------
    int
        The exit status: 0 if nothing was found, 1 if there are findings, 2 if a file of several
        could not be read.

    Raises
    ------
    ValueError
        For wrong use, or a file that cannot be read as a rig.
    OSError
        For a file that cannot be read or written.
    """
    limits(inspection.RULES, dict(arguments.threshold))  # refused once, not file by file
    rules = [rule.id for rule in inspection.RULES]
    entries = leave_out.read(arguments.leave_out, rules) if arguments.leave_out else ()
    if arguments.write_leave_out and arguments.write_leave_out.exists():
        raise ValueError(
            f"{arguments.write_leave_out} is there already. Give another name with "
            "--write-leave-out."
        )
    files = _files_of(arguments.files)
    work = _Work(arguments, entries)
    if len(files) == 1 and not arguments.files[0].is_dir():
        status = _one(files[0], work)
    else:
        _refuse_for_many(arguments)
        status = _many(files, work)
    work.tell_unused()
    if arguments.write_leave_out:
        text = leave_out.HEAD + work.list
        _files.write_whole(arguments.write_leave_out, text.encode(), replace=False)
    return status


class _Work:
    """The work that is asked for, and what has been found so far."""

    def __init__(self, arguments: argparse.Namespace, entries: Sequence[leave_out.Entry]) -> None:
        self.arguments, self.entries = arguments, entries
        self.used: set[leave_out.Entry] = set()
        self.list = ""  # of what was found, to leave out
        self.worst = len(SEVERITIES)  # the place of the worst severity that was found

    def report(self, path: Path, mapping: dict[str, str] | None = None) -> Report:
        """Inspect a file, and leave out what the list says."""
        with open(path, "rb"):
            pass  # a file that is not there is said to be so, in the words of this command
        arguments = self.arguments
        mapping = dict(arguments.map) if mapping is None else mapping
        found = inspection.inspect(path, mapping, dict(arguments.threshold), arguments.pair)
        report, used = leave_out.apply(found, self.entries)
        self.used |= used
        return report

    def count(self, report: Report) -> None:
        """Count what was found, for the exit status and the list."""
        for finding in report.of(FINDING):
            self.worst = min(self.worst, SEVERITIES.index(finding.severity))
        self.list += leave_out.write(report)

    def tell_unused(self) -> None:
        """Say which entries of the list left nothing out."""
        for entry in self.entries:
            if entry not in self.used:
                where = f"{self.arguments.leave_out}, line {entry.line}"
                said = f"rigkit inspect: {where}: nothing was found to leave out for {entry}."
                print(plain(said), file=sys.stderr)

    @property
    def status(self) -> int:
        return FOUND if self.worst <= SEVERITIES.index(self.arguments.fail_on) else DONE


def _one(path: Path, work: _Work) -> int:
    arguments = work.arguments
    if arguments.html:
        _check_page(arguments.html)
    report, against = _with_comparison(path, work)
    work.count(report)
    if arguments.html:
        course.write_whole(arguments.html, report.html(against, _scene(report)).encode())
    if arguments.json:
        data = report.data() | ({"against": against.data()} if against else {})
        _print_json(data)
    else:
        print(report.text() + (f"\n{against.text()}" if against else "") + _of_bench(path), end="")
    return work.status


def _of_bench(path: Path) -> str:
    """The marks of a leg from the bench, as marking gives them; "" for any other file."""
    data = path.read_bytes() if path.suffix.lower() == ".glb" else b""
    if not marking.holds(data):
        return ""
    try:
        return "\n" + your_leg.text(marking.mark(data))
    except ValueError as why:
        return f"\nThe steps of the bench cannot be marked: {why}\n"


def _with_comparison(path: Path, work: _Work) -> tuple[Report, Comparison | None]:
    """The report on a file, and what changed: since an earlier one, or by what was put right."""
    arguments = work.arguments
    if arguments.fix and arguments.against:
        raise ValueError("Give one of --against and --fix at a time.")
    report = work.report(path)
    if arguments.against:
        return report, compare(work.report(arguments.against), report)
    if arguments.fix:
        mapping = dict(arguments.map)
        done = fix.fix(path, arguments.fix, mapping, arguments.pair)
        fixed = work.report(arguments.fix, _renamed(mapping, report, arguments.fix))
        return fixed, compare(report, fixed, tuple(done))
    return report, None


def _renamed(mapping: dict[str, str], report: Report, out: Path) -> dict[str, str]:
    """The corrections, with the names that joints have got in the file that was put right."""
    nodes = gltf.read(out).nodes
    names = {old: node.name or old for old, node in zip(report.names, nodes, strict=False)}
    return {part: names.get(name, name) for part, name in mapping.items()}


def _scene(report: Report) -> View | None:
    """The rig to turn and to play in the page of its report; None for one too odd to be drawn."""
    try:
        return view_of(report)
    except (ValueError, np.linalg.LinAlgError):
        return None


# Many files.


def _files_of(paths: Sequence[Path]) -> list[Path]:
    """The files that are named, and those in folders that are named, each once."""
    files: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            files[path] = None
            continue
        inside = [
            each
            for each in sorted(path.rglob("*"))
            if each.suffix.lower() in KINDS and each.is_file()
        ]
        if not inside:
            raise ValueError(f"{path} must hold rigs ({', '.join(KINDS)}); there are none in it.")
        files |= dict.fromkeys(inside)
    return list(files)


def _refuse_for_many(arguments: argparse.Namespace) -> None:
    for option in ("against", "fix"):
        if getattr(arguments, option):
            raise ValueError(f"--{option} needs one FILE. Give one at a time.")
    if arguments.html and arguments.html.exists() and not arguments.html.is_dir():
        raise ValueError(
            f"--html must be a folder for several files; {arguments.html} is none. Give another."
        )


def _many(files: Sequence[Path], work: _Work) -> int:
    arguments = work.arguments
    told = _told(files)
    folder = arguments.html
    pages = _page_names(told) if folder else [""] * len(files)
    if folder:
        folder.mkdir(parents=True, exist_ok=True)
        for page in [*pages, INDEX]:
            _check_page(folder / page)
    rows = []
    try:
        for count, (path, name, page) in enumerate(zip(files, told, pages, strict=True)):
            _progress(f"{count} of {len(files)} files, now {name}")
            rows.append(_row(path, name, page, work))
    finally:
        _progress("")
    headline = _headline(rows)
    if folder:
        course.write_whole(folder / INDEX, view.overview(rows, headline).encode())
    if arguments.json:
        _print_json([row.data for row in rows])
    else:
        print(of_rows(rows, headline), end="")
        if folder:
            print(f"\n{folder / INDEX}: this table, with a page for each file")
    return REFUSED if any(row.problem for row in rows) else work.status


def _row(path: Path, name: str, page: str, work: _Work) -> Row:
    try:
        report = work.report(path)
    except OSError as problem:
        return _unread(path, name, course.describe_os_error(problem))
    except ValueError as problem:
        return _unread(path, name, str(problem).removeprefix(f"Cannot read {path.name!r}: "))
    report = replace(report, file=name)
    work.count(report)
    if page:
        course.write_whole(work.arguments.html / page, report.html(scene=_scene(report)).encode())
    groups, legs = report.groups(FINDING), report.legs
    first = groups[0].worst if groups else None
    return Row(
        path,
        name,
        page,
        inspected=report.inspected,
        legs=_legs_in_words(report),
        certainty=legs.certainty,
        severities=report.severities(),
        worst=f"{first.rule}, {first.amount}" if first else "",
        data=report.data(),
    )


def _unread(path: Path, name: str, problem: str) -> Row:
    return Row(path, name, problem=problem, data={"file": name, "error": problem})


def _legs_in_words(report: Report) -> str:
    """The legs that were found, by the names of their hips."""
    hips = [report.name(leg.joints["hip"]) for leg in report.legs.legs.values()]
    return " and ".join(hips) or "no legs"


def _headline(rows: Sequence[Row]) -> str:
    counts = {
        "with findings": sum(bool(row.worst) for row in rows),
        "without": sum(row.inspected and not row.worst for row in rows),
        "without legs": sum(not row.inspected and not row.problem for row in rows),
        "could not be read": sum(bool(row.problem) for row in rows),
    }
    return ", ".join(f"{count} {what}" for what, count in counts.items() if count)


def _told(files: Sequence[Path]) -> list[str]:
    """The files' names, below the folder that holds them all."""
    shared = os.path.commonpath([path.absolute().parent for path in files])
    return [path.absolute().relative_to(shared).as_posix() for path in files]


def _page_names(told: Sequence[str]) -> list[str]:
    """A page's name for each file: its own; with its folder and its kind where others have it."""
    short = [f"{Path(name).stem}.html" for name in told]
    taken = [name.casefold() for name in [*short, INDEX]]
    names: list[str] = []
    used = {INDEX}
    for name, page in zip(told, short, strict=True):
        if taken.count(page.casefold()) > 1:
            page = f"{name.replace('/', '-')}.html"
        while page.casefold() in used:
            page = f"_{page}"
        used.add(page.casefold())
        names.append(page)
    return names


def _check_page(path: Path) -> None:
    """Refuse to write over anything but an earlier report."""
    if path.is_file():
        with open(path, "rb") as file:
            if MARK in file.read(2000):
                return
    if path.exists():
        raise ValueError(
            f"{path} is there already, and is no report. Give another name with --html."
        )


def _progress(text: str) -> None:
    """Say how far it is, in place, where a person watches."""
    if sys.stderr.isatty():
        print(f"\r{plain(text, 120)}\x1b[K", end="", file=sys.stderr, flush=True)


def _print_json(data: object) -> None:
    print(json.dumps(data, indent=1, allow_nan=False))
