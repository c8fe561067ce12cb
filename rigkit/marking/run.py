"""Stage 3: a submission's answers, from runs in the jail.

The learner's code runs in the jail alone. So does the inspection of each rig file, in a run of its
own without that code. The cases are drawn here.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property

from rigkit import course
from rigkit.homework import checking
from rigkit.homework.notebook import Homework, plain_name
from rigkit.homework.question import Question
from rigkit.marking.attempts import run_through
from rigkit.marking.calls import Call, Case, CaseRecord, Request, Run
from rigkit.marking.entry import FINISHED, Learner, Terms
from rigkit.marking.jail import Jail
from rigkit.marking.notebook_file import NOTHING, Notebook, opens, read_notebook
from rigkit.marking.submission import Submission

__all__ = ["Answers", "inspection", "is_theirs", "run", "student_of"]

INSPECTION = 10.0  # seconds; a rig of 50,000 vertices takes a fraction of one


@dataclass(frozen=True)
class Answers:
    """All that came of running one submission.

    Attributes
    ----------
    submission : Submission
    notebook : Notebook
    homework : Homework
        The questions as the learner had them.
    cases : Mapping of str to list of dict
        The cases of each question, by its name.
    run : Run
        Of the notebook.
    inspections : Mapping of str to Run
        Of the rig files, by question's name.
    asked : Mapping of str to str
        What was asked: see `Terms.asked`.
    opening : str
        The exercise's own opening cell, where it was run first because the notebook has none.
    """

    submission: Submission
    notebook: Notebook
    homework: Homework
    cases: Mapping[str, list[Case]]
    run: Run
    inspections: Mapping[str, Run]
    asked: Mapping[str, str]
    opening: str = ""

    @property
    def runs(self) -> tuple[Run, ...]:
        """The run of the notebook, and those of its inspections."""
        return (self.run, *self.inspections.values())

    def records(self, name: str) -> Sequence[CaseRecord]:
        """The records of one question, as many as there are cases, or none."""
        run = self.inspections.get(name, self.run)
        records = [self._named(record) for record in run.records.get(name, ())]
        if records and run.end != FINISHED:
            records += [{"end": "stopped", "seconds": None}] * (
                len(self.cases[name]) - len(records)
            )
        return records

    def _named(self, record: CaseRecord) -> CaseRecord:
        """A record that says what name was missing, where that is a word of the notebook's own."""
        if "name" not in record:
            return record
        name, missing = record["name"], record["type"] != "NameError"
        said = f"`{name}` {'cannot be imported here' if missing else 'is not known'}"
        known = all(map(self.words.__contains__, name.split(".")))
        return {**record, "message": said if known else ""}

    @cached_property
    def words(self) -> frozenset[str]:
        """The words of the notebook's code."""
        return frozenset(word for cell in self.notebook.cells for word in re.findall(r"\w+", cell))


def run(submission: Submission, jail: Jail, terms: Terms) -> Answers:
    """Run one submission's notebook, and inspect its rig files.

    Parameters
    ----------
    submission : Submission
        Loaded.
    jail : Jail
        Open, and found sound by its self-test.
    terms : Terms
        They say what is asked.

    Returns
    -------
    Answers

    Raises
    ------
    UnreadableError
        The notebook is none.
    """
    read = read_notebook(submission.notebook.data) if submission.notebook else NOTHING
    questions = terms.questions(submission.lesson)
    homework = Homework(questions, student_of(submission.learner, read.claimed))
    cases = {
        name: _cases(homework, question, submission.seed) for name, question in questions.items()
    }
    request = _request(read, homework, cases, terms.known(submission.lesson))
    opening = "" if opens(read.cells) else _opening(read, submission.lesson)
    ran = _run_notebook(request, opening, jail)
    if not opening and _did_not_open(read, ran):
        opening = _opening(read, submission.lesson)
        ran = _run_notebook(request, opening, jail)
    inspections = {
        name: jail.run(inspection(name, submission.rigs[name].data))
        for name, question in questions.items()
        if question.kind == "file" and name in submission.rigs
    }
    asked = terms.asked(submission.lesson)
    return Answers(submission, read, homework, cases, ran, inspections, asked, opening)


def _opening(read: Notebook, lesson: str) -> str:
    """The exercise's own opening cell, for a notebook without one that runs."""
    exercise = course.lesson(lesson).exercise if read.cells else None
    cells = read_notebook(exercise.read_bytes()).cells if exercise else ()
    return next((cell for cell in cells if opens([cell])), "")


def _did_not_open(read: Notebook, ran: Run) -> bool:
    """True if no cell that opens the homework ran to its end."""
    opening = [cell for source, cell in zip(read.cells, ran.cells, strict=False) if opens([source])]
    return bool(opening) and not any(cell.get("ok") for cell in opening)


def _run_notebook(request: Request, opening: str, jail: Jail) -> Run:
    if not opening:
        return run_through(request, jail)
    ran = run_through(replace(request, cells=(opening, *request.cells)), jail)
    return replace(ran, cells=ran.cells[1:])


def is_theirs(learner: Learner, claimed: str) -> bool:
    """True if a name typed in a notebook is one of the learner's own."""
    return plain_name(claimed) in map(plain_name, (learner.id, learner.name, *learner.also))


def student_of(learner: Learner, claimed: str | None) -> str:
    """The name that the learner's numbers hang on, as the list has it.

    It is the one typed in the notebook, if it is theirs, else the id.
    """
    own = {plain_name(name): name for name in (*learner.also[::-1], learner.name, learner.id)}
    return own.get(plain_name(claimed or ""), learner.id)


def _cases(homework: Homework, question: Question, seed: str) -> list[Case]:
    """The cases of a question: a function's are drawn from the secret seed.

    The one case of a value or a file is the learner's own.
    """
    if question.kind != "function":
        return homework.cases(question, attempt=0)
    return checking.draw(question, homework.character, checking.generator(seed, question.id))


def _request(
    read: Notebook,
    homework: Homework,
    cases: Mapping[str, list[Case]],
    known: Mapping[str, Question],
) -> Request:
    """The request of a notebook; also cells on a question that is not asked find its numbers."""
    calls = tuple(
        Call(name, question.kind, cases[name] if question.kind == "function" else [])
        for name, question in homework.questions.items()
        if question.kind != "file"
    )
    shown = {name: homework.cases(question, attempt=0)[0] for name, question in known.items()}
    return Request(
        read.cells,
        calls,
        {
            "lesson": homework.lesson,
            "student": homework.student,
            "inputs": shown,
            "character": asdict(homework.character),
        },
    )


def inspection(name: str, data: bytes) -> Request:
    """The request to inspect a rig file's bytes, for a question of this name."""
    return Request((), (Call(name, "file", [], INSPECTION, data),), {})
