"""A whole class from one command: who is due, marking shared out, the record kept, and all that is
made from it."""

import hashlib
import math
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from rigkit import course
from rigkit.homework import catalogue
from rigkit.homework.question import Question
from rigkit.marking import class_page, likeness, page, report, results, submissions, tables
from rigkit.marking import roster as rosters
from rigkit.marking.cluster import Cluster
from rigkit.marking.entry import FINISHED, Entry, Learner
from rigkit.marking.jail import open_jail
from rigkit.marking.marker import Rig, Submission, better, ran_out_of_time
from rigkit.marking.record import Record, sole
from rigkit.marking.workers import Done, Task, Workers, done, how_many

RECORD = "results.sqlite"
MADE = (class_page.NAME, report.FOLDER, *tables.NAMES)  # beside the record, and anew each time
MOST_LINES = 20  # of a list in a summary


@dataclass(frozen=True)
class Progress:
    """How far a run of marking is."""

    done: int
    total: int
    seconds: float

    @property
    def rate(self) -> float:
        """Submissions a second."""
        return self.done / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float | None:
        """Seconds to go, at the rate so far; None before there is one."""
        return (self.total - self.done) / self.rate if self.done else None

    def __str__(self) -> str:
        left = "" if self.left is None else f", {_duration(self.left)} left"
        return f"{self.done:,} of {self.total:,} marked, {self.rate:.1f} a second{left}"


@dataclass(frozen=True)
class Summary:
    """What one run of marking came to.

    Attributes
    ----------
    out : Path
    marked, already : int
        Submissions marked now, and those left as they were because they have not changed.
    not_marked : tuple of (str, str)
        The file, and why.
    look, unjailed : int
        How many of all entries a teacher should look at, and how many were run without a jail.
    missing : tuple of (str, Learner)
        The lesson, and who has handed in nothing.
    seconds : float
    """

    out: Path
    marked: int
    already: int
    not_marked: tuple[tuple[str, str], ...]
    look: int
    missing: tuple[tuple[str, Learner], ...]
    unjailed: int
    seconds: float

    def __str__(self) -> str:
        lines = [f"{self.marked:,} marked in {self.seconds:.0f} s."]
        if self.already:
            lines.append(
                f"{self.already:,} unchanged since they were marked, and left as they were."
            )
        if self.not_marked:
            lines += [f"{len(self.not_marked):,} not marked:", *_shortened(self.not_marked)]
        if self.missing:
            names = ", ".join(
                f"{page.plain(learner.name or learner.id)} ({lesson})"
                for lesson, learner in self.missing[:MOST_LINES]
            )
            lines.append(
                f"{len(self.missing):,} missing:"
                f" {names}{', …' if len(self.missing) > MOST_LINES else ''}."
            )
        if self.look:
            lines.append(f"{self.look:,} to look at; the class page says why.")
        if self.unjailed:
            lines.append(f"{self.unjailed:,} run UNJAILED; each page says so.")
        return "\n".join([*lines, f"Class page: {self.out / class_page.NAME}"])

    @property
    def data(self) -> dict[str, Any]:
        """The same as JSON data."""
        return {
            "marked": self.marked,
            "already_marked": self.already,
            "not_marked": [{"file": file, "why": why} for file, why in self.not_marked],
            "to_look_at": self.look,
            "missing": [
                {"lesson": lesson, "learner": learner.id} for lesson, learner in self.missing
            ],
            "unjailed": self.unjailed,
            "seconds": round(self.seconds, 2),
            "results": str(self.out),
            "class_page": str(self.out / class_page.NAME),
        }


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
    school: Mapping[str, str] | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Summary:
    """Mark all that is due in a folder or zip of submissions, and bring everything in the folder
    `out` up to date.

    Parameters
    ----------
    path, out : path-like
    roster : path-like, optional
        Who is in the class; without one that of the last run counts, or else each file's place
        names a learner.
    workers : int, optional
        How many processes; as many as fit, if not given.
    cluster : str, optional
        The address of a dask.distributed scheduler to use instead.
    lessons : sequence of str
        Only these; all, if empty.
    anew : bool
        Whether to mark those again whose file has not changed: with the same seed, so to the same
        marks.
    jail : str
        The kind.
    school : mapping of str to str, optional
        What only the school's own system knows, for its tables: see `tables.write`. Kept for later
        runs.
    progress : callable, optional
        Called with a `Progress` after each submission.

    Returns
    -------
    Summary

    Raises
    ------
    ValueError
        Wrong use: a path, a roster, a lesson, or a folder `out` that cannot be one.
    RecordError, NoJail, ClusterError, OSError
        Something is in the way; what is recorded until then stays.
    """
    began, out = time.monotonic(), Path(out)
    lessons = tuple(_lesson(lesson) for lesson in lessons)
    tables.check_school(school or {})
    listed = _listed(roster, out)
    handed_in = submissions.collect(path, **({"learners": len(listed)} if listed else {}))
    _make_folder(out, Path(path))
    with sole(out), Record(out / RECORD) as record:
        placed = rosters.place(handed_in.files, listed, handed_in.problems)
        work, strays = _sorted(placed, handed_in.problems, lessons)
        marked = {} if anew else record.marked()
        due = {
            key: item
            for key, item in work.items()
            if not item.digest or marked.get(key) != item.digest
        }
        if due:
            with _hands(jail, cluster, workers, len(due)) as hands:
                _mark(record, out, due, hands, _Clock(len(due), progress))
        record.add_run(
            {
                "school": record.last_run().get("school", {}) | dict(school or {}),
                "lessons": lessons or sorted({lesson for _, lesson in work}),
                "learners": [asdict(learner) for learner in listed or ()],
                "problems": [[stray.place, stray.why] for stray in strays],
                "groups": [{"lesson": lesson, **asdict(group)} for lesson, group in _alike(work)],
            }
        )
        return _summary(record, out, work, due, strays, time.monotonic() - began)


def _listed(roster: str | Path | None, out: Path) -> rosters.Roster | None:
    """Who is in the class: the roster given, or else the one that the last run into `out` had."""
    if roster is not None or not (out / RECORD).is_file():
        return rosters.read(roster) if roster is not None else None
    with Record(out / RECORD, create=False) as record:
        kept = record.learners()
    return rosters.Roster(kept) if kept else None


def correct(
    out: str | Path, learner: str, question: str, score: float | str, reason: str | None
) -> Entry:
    """Put a teacher's score in place of a measured one, and bring that learner's page and the
    class's up to date.

    Parameters
    ----------
    out : path-like
        The folder of results.
    learner : str
        Their id or name.
    question : str
        Its id, such as "06/solve_leg".
    score : float
        0 to 1.
    reason : str

    Returns
    -------
    Entry
        With the correction.

    Raises
    ------
    ValueError
        No such learner, question or score, or no reason.
    """
    out = Path(out)
    score = _score(score)
    lesson = _question(question).lesson
    reason = (reason or "").strip()
    if not reason:
        raise ValueError('A correction needs a reason: --reason "…".')
    with Record(out / RECORD, create=False) as record, sole(out):
        who = _one_learner(record, learner, lesson)
        record.override(who.id, question, score, reason)
        write_all(record, out)
        return next(entry for entry in record.entries(learner=who.id) if entry.lesson == lesson)


def write_all(record: Record, out: Path) -> tuple[list[Entry], list[tuple[str, Learner]]]:
    """Make the tables, the class page, and the learners' pages that are corrected or not there,
    from the record.

    Returns what the class page shows: the entries, in short, and who is missing.
    """
    found, learners = record.last_run(), record.learners()
    entries = list(record.entries(brief=True))
    missing = _missing(entries, learners, found.get("lessons", ()))
    groups = [SimpleNamespace(**group) for group in found.get("groups", ())]
    problems = [SimpleNamespace(place=place, why=why) for place, why in found.get("problems", ())]
    for entry in entries:
        path = out / report.FOLDER / report.name_of_file(entry.learner)
        if (
            entry.overrides or not path.is_file() or path.stat().st_size == 0
        ):  # a power cut can leave a page empty
            report.write(entry.learner, list(record.entries(learner=entry.learner.id)), out)
    tables.write(entries, learners, out, found.get("school"))
    class_page.write(entries, out, groups=groups, missing=missing, problems=problems)
    results.hand_notebook(out)
    return entries, missing


@dataclass(frozen=True)
class _Item:
    """What one learner handed in for one lesson: a notebook, rig files, or a sentence on why there
    is neither."""

    learner: Learner
    place: str
    file: submissions.File | None
    notes: tuple[str, ...] = ()
    problem: str = ""
    rigs: Mapping[str, submissions.File] = field(default_factory=dict)
    rig_problem: str = ""

    @property
    def digest(self) -> str:
        """The notebook's; with rig files, that of all digests; empty where there is nothing to
        read."""
        own = self.file.digest if self.file else ""
        if not self.rigs and not self.rig_problem:
            return own
        lines = [
            own,
            *(f"{name} {file.digest}" for name, file in sorted(self.rigs.items())),
            self.rig_problem,
        ]
        return hashlib.sha256("\n".join(lines).encode()).hexdigest()


@dataclass(frozen=True)
class _Stray:
    """Something that is not marked; whether it stands in the way of anybody's marks."""

    place: str
    why: str
    matters: bool


def _sorted(
    placed: rosters.Placed, problems: Iterable[submissions.Problem], lessons: Sequence[str]
) -> tuple[dict[tuple[str, str], _Item], list[_Stray]]:
    """What there is to mark, as `_Item` by (learner's id, lesson), and all else."""
    learners = {learner.id: learner for learner in placed.learners}
    keys = sorted({*placed.of, *placed.rigs})
    work = {
        key: _item(placed, learners[key[0]], key)
        for key in keys
        if not lessons or key[1] in lessons
    }
    there, known = {who for who, _ in keys}, {*lessons} or {lesson for _, lesson in keys}
    for who, theirs in placed.problems.items():
        problem = theirs[0]
        lesson = rosters.lesson_of_place(problem.place) or (
            next(iter(known)) if len(known) == 1 else None
        )
        if who not in there and lesson and (not lessons or lesson in lessons):
            work[who, lesson] = _Item(learners[who], problem.place, None, problem=problem.why)
    used = {item.place for item in work.values()}
    beside = {
        problem.place
        for who, _ in placed.of
        for problem in placed.problems.get(who, ())
        if not submissions.is_rig(problem.place)
    }
    return work, [
        *(
            _Stray(problem.place, problem.why, problem.place not in beside)
            for problem in problems
            if problem.place not in used
        ),
        *(_Stray(aside.file.place, aside.why, False) for aside in placed.unasked),
        *(
            _Stray(aside.file.place, aside.why, True)
            for aside in (*placed.unplaced, *placed.ambiguous)
        ),
    ]


def _item(placed: rosters.Placed, learner: Learner, key: tuple[str, str]) -> _Item:
    """One learner's files for one lesson. What else of theirs cannot be read may be what is missing
    here."""

    def lost(*endings: str) -> str:
        return next(
            (
                f"{problem.place}: {problem.why}"
                for problem in placed.problems.get(learner.id, ())
                if problem.place.casefold().endswith(endings)
            ),
            "",
        )

    file, rigs = placed.of.get(key), placed.rigs.get(key, {})
    asks = any(
        question.kind == "file" and name not in rigs
        for name, question in catalogue.questions(key[1]).items()
    )
    return _Item(
        learner,
        (file or next(iter(rigs.values()))).place,
        file,
        placed.notes.get(key, ()),
        "" if file else lost(".ipynb", ".zip"),
        rigs,
        lost(*submissions.RIGS) if asks else "",
    )


class _Clock:
    """Counts submissions, and tells whoever asked."""

    def __init__(self, total: int, tell: Callable[[Progress], None] | None) -> None:
        self._done, self._total, self._tell, self._began = 0, total, tell, time.monotonic()

    def tick(self, count: int) -> None:
        self._done += count
        if self._tell:
            self._tell(Progress(self._done, self._total, time.monotonic() - self._began))


def _hands(jail: str, cluster: str | None, workers: int | None, due: int) -> Workers | Cluster:
    if cluster:
        return Cluster(cluster, jail)
    opened = open_jail(jail)
    opened.self_test()
    return Workers(opened, min(workers or how_many(), due))


def _mark(
    record: Record,
    out: Path,
    due: Mapping[tuple[str, str], "_Item"],
    hands: Workers | Cluster,
    clock: _Clock,
) -> None:
    """Mark what is due; whom a clock cut short a second time at the end, one by one, with the
    machine to themselves."""
    late, theirs = [], _by_learner(due)
    for found in hands.each(_task(record, items) for items in theirs.values()):
        if any(map(ran_out_of_time, found.entries)):
            late.append(found)
        else:
            _keep(record, out, found, clock)
    for first in late:
        task = _task(record, theirs[first.learner.id])
        for second in hands.each([task]):
            entries = [better(*pair) for pair in zip(first.entries, second.entries, strict=True)]
            _keep(record, out, done(task, entries), clock)


def _keep(record: Record, out: Path, found: Done, clock: _Clock) -> None:
    """The page first, then the record: cut between the two, the same work is done again, to the
    same page.

    What cannot be marked is tried each time; where it fails as before, there is nothing new to
    keep.
    """
    new = [entry for entry in found.entries if entry.marked or not record.tells(entry)]
    if new:
        course.write_whole(
            out / report.FOLDER / report.name_of_file(found.learner), found.page.encode()
        )
    for entry in new:
        record.add(entry)
    clock.tick(len(found.entries))


def _task(record: Record, items: Mapping[str, "_Item"]) -> Task:
    """The task of one learner's items, by lesson."""
    learner = next(iter(items.values())).learner
    known = {entry.lesson: entry for entry in record.entries(learner=learner.id)}
    return Task(
        learner,
        tuple(_submission(record, lesson, item) for lesson, item in items.items()),
        tuple(entry for lesson, entry in known.items() if lesson not in items),
        {lesson: entry.overrides for lesson, entry in known.items()},
    )


def _submission(record: Record, lesson: str, item: "_Item") -> Submission:
    data, rigs, problem = None, {}, item.problem
    try:
        data = item.file.data if item.file else None
        rigs = {name: Rig(file.place, file.digest, file.data) for name, file in item.rigs.items()}
    except submissions.Unreadable as why:
        problem = str(why)
    seed = record.seed(item.learner.id, lesson, item.digest)
    return Submission(
        item.learner,
        lesson,
        item.place,
        item.digest,
        data,
        seed,
        problem,
        item.notes,
        rigs,
        item.rig_problem,
    )


def _duration(seconds: float) -> str:
    minutes = math.ceil(seconds / 60)
    return (
        f"{seconds:.0f} s"
        if seconds < 100
        else f"{minutes} min"
        if minutes < 100
        else f"{minutes / 60:.1f} h"
    )


def _shortened(lines: Sequence[tuple[str, str]]) -> Iterator[str]:
    for file, why in lines[:MOST_LINES]:
        yield f"  {page.plain(file)}: {page.plain(why)}"
    if len(lines) > MOST_LINES:
        yield f"  and {len(lines) - MOST_LINES:,} more; the class page lists them"


def _by_learner(due: Mapping[tuple[str, str], "_Item"]) -> dict[str, dict[str, "_Item"]]:
    theirs: dict[str, dict[str, _Item]] = {}
    for (learner, lesson), item in due.items():
        theirs.setdefault(learner, {})[lesson] = item
    return theirs


def _alike(work: Mapping[tuple[str, str], "_Item"]) -> Iterator[tuple[str, likeness.Group]]:
    """(lesson, group) of submissions that are alike."""
    for lesson in sorted({lesson for _, lesson in work}):
        rigs = (
            (who, file.digest)
            for (who, of), item in work.items()
            if of == lesson
            for file in item.rigs.values()
        )
        for group in (*likeness.groups(_read(work, lesson)), *likeness.same_rigs(rigs)):
            yield lesson, group


def _read(
    work: Mapping[tuple[str, str], "_Item"], lesson: str
) -> Iterator[tuple[str, tuple[str, ...]]]:
    for (learner, of), item in work.items():
        if of == lesson and item.file is not None:
            with suppress(submissions.Unreadable):
                yield learner, submissions.read_notebook(item.file.data).cells


def _summary(
    record: Record,
    out: Path,
    work: Mapping[tuple[str, str], "_Item"],
    due: Mapping[tuple[str, str], "_Item"],
    strays: Sequence["_Stray"],
    seconds: float,
) -> Summary:
    entries, missing = write_all(record, out)
    mine = [entry for entry in entries if (entry.learner.id, entry.lesson) in work]
    failed = [(entry.file, entry.why) for entry in mine if not entry.marked]
    marked = sum(entry.marked for entry in mine if (entry.learner.id, entry.lesson) in due)
    return Summary(
        out,
        marked,
        len(work) - len(due),
        (*failed, *((stray.place, stray.why) for stray in strays if stray.matters)),
        sum(needs_a_look(entry) for entry in entries),
        tuple(missing),
        sum(page.is_unjailed(entry.about) for entry in entries),
        seconds,
    )


def needs_a_look(entry: Entry) -> bool:
    """Whether a teacher should open this one."""
    return not entry.marked or entry.end != FINISHED or bool(entry.flags)


def _missing(
    entries: Iterable[Entry], learners: Iterable[Learner], lessons: Iterable[str]
) -> list[tuple[str, Learner]]:
    there = {(entry.lesson, entry.learner.id) for entry in entries}
    return [
        (lesson, learner)
        for lesson in sorted({*lessons, *(entry.lesson for entry in entries)})
        for learner in learners
        if (lesson, learner.id) not in there
    ]


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


def _lesson(lesson: str) -> str:
    return next(iter(catalogue.questions(lesson).values())).lesson


def _question(text: str) -> Question:
    lesson, _, name = text.partition("/")
    if lesson not in catalogue.lessons():
        raise ValueError(
            f"No question is called {text!r}. Give the lesson with it, such as 06/solve_leg."
        )
    questions = catalogue.questions(lesson)
    if name not in questions:
        raise ValueError(
            f"No question is called {text!r}. Lesson {lesson} has "
            f"{', '.join(question.id for question in questions.values())}."
        )
    return questions[name]


def _score(score: float | str) -> float:
    try:
        number = float(score)
    except (TypeError, ValueError):
        number = math.nan
    if not 0 <= number <= 1:
        raise ValueError(f"A score must be a number from 0 to 1; got {score!r}.")
    return number


def _one_learner(record: Record, text: str, lesson: str) -> Learner:
    """The learner of an id, or of a name that only one has, among those with homework in a
    lesson."""
    there = [entry.learner for entry in record.entries(brief=True) if entry.lesson == lesson]
    for same in (
        lambda learner: learner.id == text,
        lambda learner: learner.name.casefold() == text.casefold(),
    ):
        found = [learner for learner in there if same(learner)]
        if len(found) == 1:
            return found[0]
    raise ValueError(
        f"{text!r} is {'the name of several' if found else 'nobody'} with homework in lesson"
        f" {lesson} here. Give an id, as in grades.csv."
    )
