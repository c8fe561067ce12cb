"""One submission, from the bytes of its files to an entry: read it, draw its cases, run it in the
jail, weigh it.

The learner's code runs in the jail alone. So does the inspection of each rig file, in a run of its
own without that code. The cases are drawn and the answers weighed out here, from copies of our own.
"""

import threading
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import rigkit
from rigkit.homework import catalogue, checking, notebook
from rigkit.homework.question import Question
from rigkit.marking import submissions
from rigkit.marking.entry import FINISHED, NOT_STARTED, Entry, Learner
from rigkit.marking.jail import Call, Jail, Request, Run
from rigkit.marking.record import now

CUT_SHORT = {
    "time limit": "The notebook was still running when its time was up",
    "memory": "The notebook asked for more memory than one may have",
    "output limit": "The notebook printed more than one may",
    "stopped early": "The notebook's own code ended its run",
}
Case = dict[str, Any]  # JSON data: what a question is asked with
Record = dict[str, Any]  # and what came of asking

INSPECTION = 10.0  # seconds; a rig of 50,000 vertices takes a fraction of one
NOT_INSPECTED = {
    "time limit": "took longer than it may; export fewer vertices, joints or animations",
    "memory": "asked for more memory than it may; export fewer vertices, joints or animations",
}
_weighing = (
    threading.Lock()
)  # a wrong model that prints is kept quiet by swapping stdout, one thread at a time


@dataclass(frozen=True)
class Rig:
    """A rig file to inspect: where it lay, its SHA-256, its bytes."""

    place: str
    digest: str
    data: bytes


@dataclass(frozen=True)
class Submission:
    """One learner's homework to mark, complete: the same marks come of it on any machine.

    Attributes
    ----------
    learner : Learner
    lesson : str
    place, digest : str
        Where it lay, and its SHA-256; see `Entry`.
    data : bytes or None
        The notebook's; None where only rig files were handed in.
    seed : str
        The secret that its cases are drawn from.
    problem : str
        Why its bytes cannot be had, where they cannot.
    notes : tuple of str
        What a teacher should know of how it came to be this file.
    rigs : Mapping of str to Rig
        By the name of the question each is for.
    rig_problem : str
        Why another rig file cannot be read, where one cannot.
    """

    learner: Learner
    lesson: str
    place: str
    digest: str
    data: bytes | None
    seed: str
    problem: str = ""
    notes: tuple[str, ...] = ()
    rigs: Mapping[str, Rig] = field(default_factory=dict)
    rig_problem: str = ""


def mark_one(submission: Submission, jail: Jail) -> Entry:
    """The entry of one submission; never an error, whatever is in the file.

    Parameters
    ----------
    submission : Submission
    jail : Jail
        Open, and found sound by its self-test.

    Returns
    -------
    Entry
        Without overrides. Not marked where the file cannot be read, the jail did not start, or
        weighing failed by a fault of ours.
    """
    if submission.problem:
        return _entry(submission, marked=False, end="", why=submission.problem)
    try:
        read = (
            submissions.NOTHING
            if submission.data is None
            else submissions.read_notebook(submission.data)
        )
    except submissions.Unreadable as why:
        return _entry(submission, marked=False, end="", why=str(why))
    try:
        return _marked(submission, read, jail)
    except Exception as fault:
        return _entry(
            submission,
            marked=False,
            end="",
            why=f"Marking it failed by a fault of the kit: {fault!r:.300}",
        )


def ran_out_of_time(entry: Entry) -> bool:
    """Whether a clock cost an answer: then it is due a second run, with the machine to itself."""
    ends = [entry.end, *(rig["end"] for rig in entry.about.get("rigs", {}).values())]
    return "time limit" in ends or any(
        count.get("stopped") for count in entry.about.get("counts", {}).values()
    )


def _marked(submission: Submission, read: submissions.Notebook, jail: Jail) -> Entry:
    questions = catalogue.questions(submission.lesson)
    homework = notebook.Homework(questions, _student(submission.learner, read.claimed))
    cases = {
        name: _cases(homework, question, submission.seed) for name, question in questions.items()
    }
    run = jail.run(_request(read, homework, cases))
    inspections = {
        name: jail.run(_inspection(name, submission.rigs[name]))
        for name, question in questions.items()
        if question.kind == "file" and name in submission.rigs
    }
    about = _about(submission, homework, run, inspections)
    for each in (run, *inspections.values()):
        if each.end == NOT_STARTED:
            return _entry(
                submission,
                marked=False,
                end=each.end,
                about=about,
                why=f"The jail did not start: {each.about.get('why', 'it did not say why')}",
            )
    answers = {
        name: _answers(inspections.get(name, run), name, len(cases[name])) for name in questions
    }
    with _weighing:
        outcomes = tuple(
            _outcome_of_file(
                question, cases[name], answers[name], inspections.get(name), submission, read
            )
            if question.kind == "file"
            else _outcome(question, cases[name], answers[name], run)
            for name, question in questions.items()
        )
    about["counts"] = {
        name: _counts(outcome, answers[name])
        for name, outcome in zip(questions, outcomes, strict=True)
    }
    flags = [
        *_of_the_name(submission.learner, read.claimed, homework, outcomes, answers),
        *_of_the_run(run, outcomes),
        *_of_the_rigs(submission, inspections, answers),
    ]
    why = "" if run.end == FINISHED else f"{_cut_short(run)}; answers given before that count."
    return _entry(submission, end=run.end, why=why, outcomes=outcomes, flags=flags, about=about)


def _entry(submission: Submission, flags: Iterable[str] = (), **found: Any) -> Entry:
    return Entry(
        submission.learner,
        submission.lesson,
        submission.place,
        submission.digest,
        time=now(),
        flags=(*submission.notes, *flags),
        **found,
    )


def _student(learner: Learner, claimed: str | None) -> str:
    """The name that the learner's own numbers hang on: the one they typed, if it is theirs, else
    their id."""
    return claimed.strip() if claimed and _is_theirs(learner, claimed) else learner.id


def _is_theirs(learner: Learner, claimed: str) -> bool:
    return claimed.strip().casefold() in {
        name.strip().casefold() for name in (learner.id, learner.name, *learner.also)
    }


def _cases(homework: notebook.Homework, question: Question, seed: str) -> list[Case]:
    """The one case of a value or a file is the learner's own; a function's are drawn from the
    secret seed."""
    if question.kind != "function":
        return homework.cases(question, attempt=0)
    return checking.draw(question, homework.character, checking.generator(seed, question.id))


def _request(
    read: submissions.Notebook, homework: notebook.Homework, cases: Mapping[str, list[Case]]
) -> Request:
    calls = tuple(
        Call(name, question.kind, cases[name] if question.kind == "function" else [])
        for name, question in homework.questions.items()
        if question.kind != "file"
    )
    shown = {
        name: (homework.cases(question, attempt=0) if question.kind == "function" else cases[name])[
            0
        ]
        for name, question in homework.questions.items()
    }
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


def _inspection(name: str, rig: Rig) -> Request:
    return Request((), (Call(name, "file", [], INSPECTION, rig.data),), {})


def _answers(run: Run, name: str, cases: int) -> list[Record]:
    """The records of one question, as many as there are cases, or none."""
    records = list(run.records.get(name, ()))
    if records and run.end != FINISHED:
        records += [{"end": "stopped", "seconds": None}] * (cases - len(records))
    return records


def _outcome(
    question: Question, cases: list[Case], records: Sequence[Record], run: Run
) -> checking.Outcome:
    if not records:
        why = "it never ran" if run.end == FINISHED else "the run was cut short before it"
        return checking.Outcome(
            question.id, checking.NOT_YET, 0.0, f"no answer came: {why}.", cases=len(cases)
        )
    outcome = checking.score_answers(question, cases, records)
    if outcome.word == checking.BLANK:
        failed = _failed(run)
        return replace(
            outcome,
            sentence=(
                f"there is no answer in `{question.name}`; {failed}."
                if failed
                else "no answer was handed in."
            ),
        )
    return outcome


def _outcome_of_file(
    question: Question,
    cases: list[Case],
    records: Sequence[Record],
    run: Run | None,
    submission: Submission,
    read: submissions.Notebook,
) -> checking.Outcome:
    """The outcome of a rig file; `run` is that of its inspection, None where there is no file."""
    word, why = checking.NOT_YET, ""
    if run is None and submission.rig_problem:
        why = f"the rig file cannot be read. {submission.rig_problem}"
    elif run is None:
        named = read.names.get(question.name)
        word, why = (
            checking.BLANK,
            "no rig file was handed in" + (f"; the notebook names `{named}`." if named else "."),
        )
    elif _not_inspected(run, records):
        why = f"the inspection of your rig file {_not_inspected(run, records)}."
    return (
        checking.Outcome(question.id, word, 0.0, why, cases=len(cases))
        if why
        else checking.score_answers(question, cases, records)
    )


def _not_inspected(run: Run, records: Sequence[Record]) -> str:
    """What became of an inspection that did not come to its end, in words; empty where it did."""
    record = records[0] if records else {"end": "nothing"}
    if "out" in record or record["end"] == "unreadable":
        return ""
    end = "time limit" if record["end"] == "stopped" else run.end
    return NOT_INSPECTED.get(
        end, f"stopped with {record['type']}" if record["end"] == "raised" else "ended early"
    )


def _failed(run: Run) -> str:
    """The first cell that stopped, in words; empty if none did."""
    for number, cell in enumerate(run.cells, start=1):
        if not cell.get("ok"):
            line = f" in line {cell['line']}" if cell.get("line") else ""
            return f"code cell {number} stopped with {cell.get('error')}{line}"
    return ""


def _cut_short(run: Run) -> str:
    return CUT_SHORT[run.end] + (f" (signal {run.signal})" if run.signal else "")


def _of_the_run(run: Run, outcomes: Sequence[checking.Outcome]) -> Iterator[str]:
    if run.end != FINISHED:
        yield f"{_cut_short(run)}."
    failed = _failed(run)
    if failed and any(outcome.score < 1 for outcome in outcomes):
        yield f"Not every cell ran: {failed}."


def _of_the_rigs(
    submission: Submission, inspections: Mapping[str, Run], answers: Mapping[str, Sequence[Record]]
) -> Iterator[str]:
    if submission.rig_problem:
        yield f"A rig file cannot be read. {submission.rig_problem}"
    for name, run in inspections.items():
        if _not_inspected(run, answers[name]):
            yield (
                f"The inspection of {submission.rigs[name].place}"
                f" {_not_inspected(run, answers[name])}."
            )


def _of_the_name(
    learner: Learner,
    claimed: str | None,
    homework: notebook.Homework,
    outcomes: Sequence[checking.Outcome],
    answers: Mapping[str, Sequence[Record]],
) -> Iterator[str]:
    """What to say when a notebook is made out to somebody else: whose numbers were taken, and what
    would fit theirs."""
    if not claimed or _is_theirs(learner, claimed):
        return
    yield (
        f'The notebook is made out to "{claimed.strip():.80}"; the numbers of {learner.id} were'
        " taken."
    )
    theirs = notebook.Homework(homework.questions, claimed.strip())
    for (name, question), outcome in zip(homework.questions.items(), outcomes, strict=True):
        if question.kind != "function" and outcome.score < 1 and answers[name]:
            with _weighing:
                as_claimed = checking.score_answers(
                    question, theirs.cases(question, 0), answers[name]
                )
            if as_claimed.score == 1:
                yield f'{question.id} would be right for "{claimed.strip():.80}".'


def _counts(outcome: checking.Outcome, records: Sequence[Record]) -> dict[str, int]:
    ends = Counter(record.get("end", "answered") for record in records)
    counts = {
        "right": outcome.right,
        "wrong": ends.pop("answered", 0) - outcome.right,
        **ends,
        "missing": outcome.cases - len(records),
    }
    return {what: count for what, count in counts.items() if count}


def _about(
    submission: Submission, homework: notebook.Homework, run: Run, inspections: Mapping[str, Run]
) -> dict[str, Any]:
    answers = dict(run.records)
    for inspection in inspections.values():
        answers |= inspection.records
    about = {
        "seed": submission.seed,
        "student": homework.student,
        "rigkit": rigkit.__version__,
        "jail": run.about,
        "signal": run.signal,
        "wall": run.wall,
        "cpu": run.cpu,
        "bytes_out": run.bytes_out,
        "cut": run.cut,
        "cells": list(run.cells),
        "answers": answers,
        "printed": run.printed,
    }
    rigs = {
        name: {
            "file": submission.rigs[name].place,
            "digest": submission.rigs[name].digest,
            "end": run.end,
            "signal": run.signal,
            "wall": run.wall,
            "cpu": run.cpu,
        }
        for name, run in inspections.items()
    }
    return about | ({"rigs": rigs} if rigs else {})


def better(first: Entry, second: Entry) -> Entry:
    """The entry to keep of two runs of one submission, the second if they are worth the same; it
    tells of both."""
    kept = second if second.marked and (second.score or 0) >= (first.score or 0) else first
    runs = [{"end": entry.end, "wall": entry.about.get("wall")} for entry in (first, second)]
    return replace(kept, about={**kept.about, "runs": runs})
