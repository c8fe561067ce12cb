"""Stage 2: files to submissions, one for each learner and lesson, and what is in none of them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rigkit.homework import catalogue
from rigkit.marking.assign import Assigned, assign, lesson_of, lesson_of_place
from rigkit.marking.collect import Collected
from rigkit.marking.entry import Learner
from rigkit.marking.roster import Roster
from rigkit.marking.submission import RIGS, File, Problem, Stray, Submission, digest_of, is_rig

__all__ = ["Placed", "place"]

_Key = tuple[str, str]  # learner's id and lesson
_BOOKS = (".ipynb", ".zip")


@dataclass(frozen=True)
class Placed:
    """The submissions of a class, in order of learner and lesson, and the files in none.

    Where `cut`, not everything was looked at: nobody can be said to have handed in nothing.
    """

    submissions: tuple[Submission, ...]
    strays: tuple[Stray, ...]
    cut: bool = False

    def due(self, marked: Mapping[_Key, str]) -> list[Submission]:
        """The submissions to mark, of those whose digest was marked before by their key."""
        return [
            one
            for one in self.submissions
            if (
                one.key not in marked
                if one.untold
                else not one.digest or marked.get(one.key) != one.digest
            )
        ]

    def withdrawn(self, unmarked: Mapping[_Key, str]) -> set[_Key]:
        """The keys, of those not marked before with their digest, that nothing is behind any more.

        The file has become somebody's, or its learner hands in the lessons of now without it.
        """
        keys = {one.key for one in self.submissions}
        who, lessons = {who for who, _ in keys}, {lesson for _, lesson in keys}
        found = {one.notebook.digest for one in self.submissions if one.notebook}
        return {
            key
            for key, digest in unmarked.items()
            if key not in keys and (digest in found or (key[0] in who and key[1] in lessons))
        }


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
    open_ = _open(assigned, keys, lessons)
    submissions += [_unmarked(learners[who], lesson, what) for (who, lesson), what in open_.items()]
    used = {one.place for what in open_.values() for one in what}
    cut = {problem.place for problem in collected.problems if problem.cut}
    cut -= {problem.place for theirs in assigned.problems.values() for problem in theirs}
    return Placed(tuple(submissions), tuple(_strays(assigned, collected, used)), bool(cut))


def _submission(assigned: Assigned, learner: Learner, lesson: str) -> Submission:
    """One learner's files for one lesson."""
    key = learner.id, lesson
    file, rigs = assigned.of.get(key), assigned.rigs.get(key, {})
    rivals = assigned.rivals.get(key, ())
    asks = any(
        question.kind == "file" and name not in rigs
        for name, question in catalogue.questions_of(lesson).items()
    )
    rig_problem = _lost(assigned, learner, RIGS) if asks else ""
    return Submission(
        learner,
        lesson,
        (file or next(iter(rigs.values()))).place,
        _digest(file, rivals, rigs, rig_problem),
        file,
        rigs,
        (*assigned.notes.get(key, ()), *_beside(assigned, key, file)),
        "" if file else _lost(assigned, learner, _BOOKS),
        rig_problem,
        rivals=rivals,
    )


def _lost(assigned: Assigned, learner: Learner, endings: tuple[str, ...]) -> str:
    """The files of some endings that a learner handed in and that cannot be read, and why."""
    return " ".join(
        f"{problem.place}: {problem.why}"
        for problem in assigned.problems.get(learner.id, ())
        if problem.place.casefold().endswith(endings)
    )


def _beside(assigned: Assigned, key: _Key, file: File | None) -> Iterator[str]:
    """Sentences on other files for a lesson that may be a learner's and were not marked."""
    who, lesson = key
    for problem in assigned.problems.get(who, ()) if file else ():
        if problem.cut:
            yield f"Not all that was handed in was read. {problem.place}: {problem.why}"
        elif problem.place.casefold().endswith(_BOOKS) and lesson_of_place(problem.place) == lesson:
            yield f"{problem.place} was handed in too, and cannot be read. {problem.why}"
    for aside in assigned.ambiguous:
        if who in aside.learners and lesson_of(aside.file) in (None, lesson):
            yield f"{aside.file.place} may be theirs too, and was not marked. {aside.why}"


def _digest(
    file: File | None, rivals: Sequence[File], rigs: Mapping[str, File], rig_problem: str
) -> str:
    """The notebook's digest; with other files, that of all digests; empty with nothing to read."""
    own = file.digest if file else ""
    if not rivals and not rigs and not rig_problem:
        return own
    others = sorted(rival.digest for rival in rivals)
    of_rigs = (f"{name} {rig.digest}" for name, rig in sorted(rigs.items()))
    return digest_of("\n".join([own, *others, *of_rigs, rig_problem]).encode())


@dataclass(frozen=True)
class _Unmarked:
    """A file that cannot be marked as it is: of whom it may be, of which lesson, and why."""

    who: str
    lesson: str | None
    place: str
    why: str
    digest: str = ""


def _open(
    assigned: Assigned, keys: Sequence[_Key], lessons: Sequence[str]
) -> dict[_Key, list[_Unmarked]]:
    """The files of those who have handed in something for a lesson, but nothing to mark.

    A file whose lesson cannot be told counts in each in which its learner has nothing else.
    """
    there = {who for who, _ in keys}
    files = [
        *(
            _Unmarked(who, _lesson_of(problem), problem.place, problem.why)
            for who, problems in assigned.problems.items()
            for problem in problems
            if problem.cut
            or problem.lesson
            or who not in there
            or problem.place.casefold().endswith(_BOOKS)
        ),
        *(
            _Unmarked(who, lesson_of(aside.file), aside.file.place, aside.why, aside.file.digest)
            for aside in (*assigned.ambiguous, *assigned.unplaced)
            for who in aside.learners
            if who not in there or not aside.file.is_rig
        ),
    ]
    known = {*lessons} or {
        lesson for lesson in (*(key[1] for key in keys), *(one.lesson for one in files)) if lesson
    }
    found: dict[_Key, list[_Unmarked]] = {}
    told = {*keys, *((one.who, one.lesson) for one in files)}
    for one in files:
        maybe = [lesson for lesson in sorted(known) if (one.who, lesson) not in told]
        for lesson in [one.lesson] if one.lesson else maybe:
            if (one.who, lesson) not in keys and lesson in known:
                found.setdefault((one.who, lesson), []).append(one)
    return dict(sorted(found.items()))


def _lesson_of(problem: Problem) -> str | None:
    """The lesson that a file which cannot be read must have been meant for."""
    return problem.lesson or lesson_of_place(problem.place)


def _unmarked(learner: Learner, lesson: str, files: Sequence[_Unmarked]) -> Submission:
    """The submission of a learner with nothing to mark in a lesson; all its files are told."""
    first, *others = files
    why = " ".join([first.why, *(f"{one.place}: {one.why}" for one in others)])
    return Submission(
        learner, lesson, first.place, first.digest, problem=why, untold=bool(first.digest)
    )


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
            yield Stray(problem.place, problem.why, problem.cut or problem.place not in beside)
    for aside in assigned.unasked:
        yield Stray(aside.file.place, aside.why, matters=False)
    for aside in (*assigned.unplaced, *assigned.ambiguous):
        yield Stray(aside.file.place, aside.why)
