"""Stage 2: files to submissions, one for each learner and lesson, and what is in none of them."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rigkit.homework import catalogue
from rigkit.marking.assign import Assigned, assign, lesson_of_place
from rigkit.marking.collect import Collected
from rigkit.marking.entry import Learner
from rigkit.marking.roster import Roster
from rigkit.marking.submission import RIGS, File, Stray, Submission, digest_of, is_rig

__all__ = ["Placed", "place"]


@dataclass(frozen=True)
class Placed:
    """The submissions of a class, in order of learner and lesson, and the files in none."""

    submissions: tuple[Submission, ...]
    strays: tuple[Stray, ...]

    def due(self, marked: Mapping[tuple[str, str], str]) -> list[Submission]:
        """The submissions to mark, of those whose digest was marked before by their key."""
        return [
            one for one in self.submissions if not one.digest or marked.get(one.key) != one.digest
        ]


def place(
    collected: Collected, roster: Roster | None = None, lessons: Sequence[str] = ()
) -> Placed:
    """Make submissions of what was collected.

    Parameters
    ----------
    collected : Collected
    roster : Roster, optional
        Without one, the files' places name the learners: see `assign`.
    lessons : sequence of str
        Only these; all, if empty.

    Returns
    -------
    Placed
    """
    assigned = assign(collected.files, roster, collected.problems)
    learners = {learner.id: learner for learner in assigned.learners}
    keys = sorted({*assigned.of, *assigned.rigs})
    submissions = [
        _submission(assigned, learners[who], lesson)
        for who, lesson in keys
        if not lessons or lesson in lessons
    ]
    submissions += _unreadable(assigned, learners, keys, lessons)
    used = {submission.place for submission in submissions}
    return Placed(tuple(submissions), tuple(_strays(assigned, collected, used)))


def _submission(assigned: Assigned, learner: Learner, lesson: str) -> Submission:
    """One learner's files for one lesson."""
    key = learner.id, lesson
    file, rigs = assigned.of.get(key), assigned.rigs.get(key, {})
    asks = any(
        question.kind == "file" and name not in rigs
        for name, question in catalogue.questions(lesson).items()
    )
    rig_problem = _lost(assigned, learner, RIGS) if asks else ""
    return Submission(
        learner,
        lesson,
        (file or next(iter(rigs.values()))).place,
        _digest(file, rigs, rig_problem),
        file,
        rigs,
        assigned.notes.get(key, ()),
        "" if file else _lost(assigned, learner, (".ipynb", ".zip")),
        rig_problem,
    )


def _lost(assigned: Assigned, learner: Learner, endings: tuple[str, ...]) -> str:
    """The first file of some endings that a learner handed in and that cannot be read, and why."""
    return next(
        (
            f"{problem.place}: {problem.why}"
            for problem in assigned.problems.get(learner.id, ())
            if problem.place.casefold().endswith(endings)
        ),
        "",
    )


def _digest(file: File | None, rigs: Mapping[str, File], rig_problem: str) -> str:
    """The notebook's digest; with rig files, that of all digests; empty with nothing to read."""
    own = file.digest if file else ""
    if not rigs and not rig_problem:
        return own
    of_rigs = (f"{name} {rig.digest}" for name, rig in sorted(rigs.items()))
    return digest_of("\n".join([own, *of_rigs, rig_problem]).encode())


def _unreadable(
    assigned: Assigned,
    learners: Mapping[str, Learner],
    keys: Iterable[tuple[str, str]],
    lessons: Sequence[str],
) -> Iterator[Submission]:
    """The submissions of learners with no file that can be read, where the lesson can be told."""
    there, known = {who for who, _ in keys}, {*lessons} or {lesson for _, lesson in keys}
    only = next(iter(known)) if len(known) == 1 else None
    for who, (problem, *_) in assigned.problems.items():
        lesson = lesson_of_place(problem.place) or only
        if who not in there and lesson and (not lessons or lesson in lessons):
            yield Submission(learners[who], lesson, problem.place, problem=problem.why)


def _strays(assigned: Assigned, collected: Collected, used: set[str]) -> Iterator[Stray]:
    """The files in no submission; what lies beside a notebook does not matter for marks."""
    beside = {
        problem.place
        for who, _ in assigned.of
        for problem in assigned.problems.get(who, ())
        if not is_rig(problem.place)
    }
    for problem in collected.problems:
        if problem.place not in used:
            yield Stray(problem.place, problem.why, problem.place not in beside)
    for aside in assigned.unasked:
        yield Stray(aside.file.place, aside.why, matters=False)
    for aside in (*assigned.unplaced, *assigned.ambiguous):
        yield Stray(aside.file.place, aside.why)
