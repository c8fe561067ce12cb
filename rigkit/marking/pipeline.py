"""A whole class from one command: collect → place → run → judge → record → report."""

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, replace
from itertools import groupby
from multiprocessing.pool import ThreadPool
from pathlib import Path
from typing import Any

from rigkit.homework import catalogue
from rigkit.homework.notebook import plain_name
from rigkit.marking import class_page, learner_page, likeness, report, tables
from rigkit.marking import plan as plans
from rigkit.marking import roster as rosters
from rigkit.marking.anonymous import KEY, Mask, mask_of
from rigkit.marking.cluster import Cluster
from rigkit.marking.collect import collect
from rigkit.marking.entry import Entry, Learner, Terms
from rigkit.marking.jail import Jail, open_jail
from rigkit.marking.judge import best, better, judge, not_marked, ran_out_of_time
from rigkit.marking.leg_file import mark_leg
from rigkit.marking.notebook_file import read_notebook
from rigkit.marking.place import Placed, place
from rigkit.marking.record import RECORD, Record, sole
from rigkit.marking.run import run, student_of
from rigkit.marking.site import SiteError, imported
from rigkit.marking.submission import File, Submission, UnreadableError
from rigkit.marking.summary import Clock, Progress, Summary
from rigkit.marking.task import Done, Task, finish
from rigkit.marking.workers import Workers, how_many

__all__ = ["MADE", "mark_class", "mark_submission", "mark_task"]

MADE = (
    class_page.NAME,
    learner_page.FOLDER,
    *tables.NAMES,
    KEY,
)  # beside the record, anew each time


def mark_class(
    path: str | Path,
    out: str | Path,
    roster: str | Path | None = None,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    lessons: Sequence[str] = (),
    anew: bool = False,
    jail: str = "bwrap",
    allowed: Sequence[str] = (),
    school: Mapping[str, str] | None = None,
    columns: Mapping[str, str] | None = None,
    plan: str | Path | None = None,
    decimal_comma: bool | None = None,
    anonymous: bool | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Summary:
    """Mark all that is due in a class's submissions, and bring the folder `out` up to date.

    Parameters
    ----------
    path, out : path-like
        A folder or zip of submissions; the folder of results.
    roster : path-like, optional
        The class list; without one that of the last run counts, or else each file's place
        names a learner.
    workers : int, optional
        The number of processes; as many as fit, if not given.
    cluster : str, optional
        The address of a dask.distributed scheduler to use instead.
    lessons : sequence of str
        Only these; all, if empty.
    anew : bool
        Mark those again whose file has not changed: with the same seed, so to the same marks.
    jail : str
        The kind.
    allowed : sequence of str
        Packages beside the kit's own that learners' code may import.
    school : mapping of str to str, optional
        Ids and days that only the school's own system knows, for its tables: see `tables.write`.
        Kept for later runs.
    columns : mapping of str to str, optional
        The heads of the roster's columns, in words that are not known: see `roster.read`.
    plan : path-like, optional
        What is asked, its worth and when it is due: see `plan.read`. Kept for later runs, lesson by
        lesson.
    decimal_comma : bool, optional
        Of `grades.csv`: see `tables.write`. Kept for later runs.
    anonymous : bool, optional
        True for pages and tables by number, and a key beside them. Kept for later runs.
    progress : callable, optional
        Called with a `Progress` after each submission.

    Returns
    -------
    Summary

    Raises
    ------
    ValueError
        Wrong use: a path, a roster, a plan, a lesson, or a folder `out` that cannot be one.
    RecordError, JailError, ClusterError, OSError
        Something is in the way; what is recorded until then stays.
    """
    began, out = time.monotonic(), Path(out)
    lessons = tuple(_lesson(lesson) for lesson in lessons)
    tables.check_school(school or {})
    planned = plans.read(plan) if plan is not None else {}
    _check_allowed(allowed)
    listed = _listed(roster, out, columns or {})
    collected = collect(path, **({"learners": len(listed)} if listed else {}))
    _make_folder(out, Path(path))
    with sole(out), Record(out / RECORD) as record, ThreadPool(1) as beside:
        _set(record, school or {}, planned, decimal_comma=decimal_comma, anonymous=anonymous)
        placed = place(collected, listed, lessons)
        mask = _mask(record, out, placed, listed or ())
        # while workers do the rest
        alike = beside.apply_async(_alike, [placed.submissions, record.plan()])
        due = placed.due({} if anew else _as_now(placed, record))
        if due:
            clock = Clock(len(due), progress)
            with _executor(jail, cluster, workers, len(due), allowed) as executor:
                _mark_due(record, out, due, executor, clock, mask)
        found = _found(record, placed, listed or (), lessons, alike.get())
        record.add_run(record.last_run() | found)
        reported = report.write_all(record, out, anew=bool(planned))
        return Summary.of(out, placed, due, reported, time.monotonic() - began)


def mark_submission(submission: Submission, jail: Jail, terms: Terms | None = None) -> Entry:
    """The entry of one submission: run → judge; never an error, whatever is in the file.

    Parameters
    ----------
    submission : Submission
        Loaded.
    jail : Jail
        Open, and found sound by its self-test.
    terms : Terms, optional
        What is asked; all of the lesson, if not given.

    Returns
    -------
    Entry
        Without overrides. Not marked where the file cannot be read, the jail did not start, or
        judging failed by a fault of ours.
    """
    terms = terms or Terms()
    return best([_mark_one(each, jail, terms) for each in submission.each])


def _mark_one(submission: Submission, jail: Jail, terms: Terms) -> Entry:
    if submission.problem:
        return not_marked(submission, submission.problem)
    try:
        if submission.lesson == catalogue.YOUR_LEG:
            return mark_leg(submission, jail, terms)
        return judge(run(submission, jail, terms))
    except UnreadableError as why:
        return not_marked(submission, str(why))
    except Exception as fault:
        return not_marked(submission, f"Marking it failed by a fault of the kit: {fault!r:.300}")


def mark_task(task: Task, jail: Jail) -> Done:
    """Mark one learner's submissions in `jail`, and make the page: the work of one worker."""
    entries = [
        mark_submission(submission, jail, task.plan.get(submission.lesson))
        for submission in task.submissions
    ]
    return finish(task, entries)


def _mark_due(
    record: Record,
    out: Path,
    due: Sequence[Submission],
    executor: Workers | Cluster,
    clock: Clock,
    mask: Mask | None,
) -> None:
    for done in _marked(record, due, executor):
        _keep(record, out, done, mask)
        clock.tick(len(done.entries))


def _marked(
    record: Record, due: Sequence[Submission], executor: Workers | Cluster
) -> Iterator[Done]:
    """Mark what is due, learner by learner.

    Whom a clock cut short comes a second time at the end, one by one, with the machine to
    themselves.
    """
    theirs: dict[str, list[Submission]] = {}
    for submission in due:
        theirs.setdefault(submission.learner.id, []).append(submission)
    late = []
    for done in executor.each(_task(record, submissions) for submissions in theirs.values()):
        if any(map(ran_out_of_time, done.entries)):
            late.append(done)
        else:
            yield done
    for first in late:
        task = _task(record, theirs[first.learner.id])
        for second in executor.each([task]):
            entries = [better(*pair) for pair in zip(first.entries, second.entries, strict=True)]
            yield finish(task, entries)


def _set(
    record: Record, school: Mapping[str, str], planned: Mapping[str, Terms], **switches: bool | None
) -> None:
    """Keep what a teacher set, at once, beside what was set before: it counts from now on."""
    found = record.last_run()
    plan = {lesson: asdict(terms) for lesson, terms in planned.items()}
    given = {"school": dict(school), "plan": plan}
    new = {name: found.get(name, {}) | value for name, value in given.items() if value}
    new |= {name: value for name, value in switches.items() if value is not None}
    if new:
        record.add_run(found | new)


def _task(record: Record, submissions: Sequence[Submission]) -> Task:
    """The task of one learner's submissions, with what the record knows of their other lessons."""
    learner, due = submissions[0].learner, {submission.lesson for submission in submissions}
    known = list(record.entries(learner=learner.id))
    return Task(
        learner,
        tuple(one.loaded(record.seed(*one.key, one.digest)) for one in submissions),
        tuple(entry for entry in known if entry.lesson not in due),
        {entry.lesson: entry.overrides for entry in known},
        record.plan(),
    )


def _keep(record: Record, out: Path, done: Done, mask: Mask | None) -> None:
    """Keep the page first, then the entries: cut between the two, the same work is done again.

    Behind a mask the page is made of the entries, as all are at the end of each run. Submissions
    that cannot be marked are tried each time; where that fails as before, there is nothing new to
    keep.
    """
    new = [entry for entry in done.entries if entry.marked or not record.tells(entry)]
    if new and not mask:
        learner_page.write_html(done.learner, done.page, out)
    for entry in new:
        record.add(entry)
    if new and mask:
        report.write_page(record, done.learner, out, mask)


def _mask(record: Record, out: Path, placed: Placed, listed: Iterable[Learner]) -> Mask | None:
    """The mask of an anonymous class, whose pages by name are gone from now on."""
    mask = mask_of(record, [*listed, *(one.learner for one in placed.submissions)])
    if mask and any(learner_page.is_there(each, out) for each in mask.people):
        report.write_all(record, out)
    return mask


def _found(
    record: Record,
    placed: Placed,
    listed: Iterable[Learner],
    lessons: Sequence[str],
    alike: Iterable[likeness.Group],
) -> dict[str, Any]:
    """The facts of a run that later ones, pages and tables need."""
    return {
        "lessons": lessons or sorted({one.lesson for one in placed.submissions}),
        "learners": [asdict(learner) for learner in listed],
        "withdrawn": _withdrawn(record, placed),
        "cut": placed.cut,
        "problems": [[stray.place, stray.why] for stray in placed.strays],
        "groups": [asdict(group) for group in alike],
    }


def _check_allowed(allowed: Sequence[str]) -> None:
    for package in allowed:
        try:
            imported(package)
        except SiteError as why:
            raise ValueError(str(why)) from None


def _as_now(placed: Placed, record: Record) -> dict[tuple[str, str], str]:
    """The digests that were marked, of those that would be asked the same today.

    Their learner's numbers change where the roster gets the name that is typed in a notebook, and
    what is asked where a plan does.
    """
    before, due = record.students(), record.asked_otherwise()
    now = {
        one.key: student_of(one.learner, one.notebook.claimed)
        for one in placed.submissions
        if one.notebook
    }
    return {
        key: digest
        for key, digest in record.marked().items()
        if plain_name(before.get(key) or "") == plain_name(now.get(key) or before.get(key) or "")
        and key not in due
    }


def _withdrawn(record: Record, placed: Placed) -> list[list[str]]:
    """Return (learner's id, lesson) of what could not be marked and is over, also from before.

    It is no mark that is taken back: see `Placed.withdrawn`.
    """
    before = {(who, lesson) for who, lesson in record.last_run().get("withdrawn", ())}
    found = before | placed.withdrawn(record.unmarked())
    return sorted(map(list, found - {one.key for one in placed.submissions}))


def _executor(
    jail: str, cluster: str | None, workers: int | None, due: int, allowed: Sequence[str]
) -> Workers | Cluster:
    if cluster:
        return Cluster(cluster, jail, mark_task, tuple(allowed))
    opened = open_jail(jail, allowed=allowed)
    opened.self_test()
    return Workers(opened, min(workers or how_many(), due), mark_task)


def _alike(submissions: Iterable[Submission], plan: Mapping[str, Terms]) -> list[likeness.Group]:
    """The groups of submissions that are alike, lesson by lesson."""
    found = []
    by_lesson = sorted(submissions, key=lambda submission: submission.lesson)
    for lesson, group in groupby(by_lesson, key=lambda submission: submission.lesson):
        several = list(group)
        rigs = ((one.learner.id, rig.digest) for one in several for rig in _rigs(one))
        known = plan.get(lesson, Terms()).known(lesson)
        for alike in (*likeness.groups(_cells(several), known), *likeness.same_rigs(rigs)):
            found.append(replace(alike, lesson=lesson))
    return found


def _rigs(submission: Submission) -> tuple[File, ...]:
    """The rig files of a submission; a leg from the bench is one."""
    leg = submission.notebook if submission.lesson == catalogue.YOUR_LEG else None
    return (*submission.rigs.values(), *([leg] if leg else []))


def _cells(submissions: Iterable[Submission]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """(learner's id, code cells) of each notebook that can be read."""
    for submission in submissions:
        if submission.notebook:
            with suppress(UnreadableError):
                yield submission.learner.id, read_notebook(submission.notebook.data).cells


def _listed(
    roster: str | Path | None, out: Path, columns: Mapping[str, str]
) -> rosters.Roster | None:
    """The roster given, or else the one that the last run into `out` had."""
    if roster is not None or not (out / RECORD).is_file():
        return rosters.read(roster, columns) if roster is not None else None
    with Record(out / RECORD, create=False) as record:
        kept = record.learners()
    return rosters.Roster(kept) if kept else None


def _lesson(lesson: str) -> str:
    return next(iter(catalogue.questions_of(lesson).values())).lesson


def _make_folder(out: Path, path: Path) -> None:
    if out.exists() and not out.is_dir():
        raise ValueError(f"{out} is a file. Choose a folder for the results.")
    theirs = [name for name in MADE if (out / name).exists()] if not (out / RECORD).exists() else []
    if theirs:
        raise ValueError(
            f"{out} holds no record of marks, but a {theirs[0]}, which would be written over."
            " Choose another folder for the results."
        )
    if out.resolve().is_relative_to(path.resolve()):
        raise ValueError(
            f"{out} lies in {path}: results would be taken for submissions. Choose a folder"
            " outside."
        )
    out.mkdir(parents=True, exist_ok=True)
