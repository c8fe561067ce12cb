"""Stage 4: a submission's answers, scored: its entry.

The answers are scored out here, from copies of our own, and never in the jail.
"""

import re
import threading
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import dropwhile
from typing import Any

import rigkit
from rigkit.homework import checking, notebook
from rigkit.homework.question import Question
from rigkit.marking import cell_words
from rigkit.marking.calls import CaseRecord, Run
from rigkit.marking.entry import FINISHED, NOT_STARTED, Entry
from rigkit.marking.record import now
from rigkit.marking.run import Answers, is_theirs
from rigkit.marking.submission import Submission

__all__ = [
    "best",
    "better",
    "facts_of",
    "judge",
    "measures",
    "not_inspected",
    "not_marked",
    "ran_out_of_time",
]

CUT_SHORT = {
    "time limit": "The notebook was still running when its time was up",
    "memory": "The notebook asked for more memory than one may have",
    "output limit": "The notebook printed more than one may",
    "file limit": "The notebook made more files than one may",
    "stopped early": "The notebook's own code ended its run",
}
NOT_INSPECTED = {
    "time limit": "took longer than it may; export fewer vertices, joints or animations",
    "memory": "asked for more memory than it may; export fewer vertices, joints or animations",
}
_WANTS = ("NameError", "ImportError", "ModuleNotFoundError", "FileNotFoundError")
_DECIMAL_COMMA = re.compile(r"\d,\d")
# a wrong model that prints is kept quiet by swapping stdout, one thread at a time
_scoring = threading.Lock()


def judge(answers: Answers) -> Entry:
    """Return the entry of one submission, from its answers.

    Parameters
    ----------
    answers : Answers

    Returns
    -------
    Entry
        Without overrides. Not marked where the jail did not start.
    """
    for run in answers.runs:
        if run.end == NOT_STARTED:
            why = f"The jail did not start: {run.about.get('why', 'it did not say why')}"
            return not_marked(answers.submission, why, run.end, _about(answers))
    records = {name: answers.records(name) for name in answers.homework.questions}
    with _scoring:
        outcomes = tuple(
            _outcome_of_file(answers, question, records[name])
            if question.kind == "file"
            else _outcome(answers, question, records[name])
            for name, question in answers.homework.questions.items()
        )
    counts = {
        name: _counts(outcome, records[name])
        for name, outcome in zip(records, outcomes, strict=True)
    }
    run = answers.run
    return Entry(
        **facts_of(answers.submission),
        end=run.end,
        why="" if run.end == FINISHED else f"{_cut_short(run)}; answers given before that count.",
        outcomes=outcomes,
        flags=(
            *answers.submission.notes,
            *_flags_of_name(answers, outcomes, records),
            *_flags_of_run(answers, outcomes, records),
            *_flags_of_rigs(answers, records),
        ),
        about=_about(answers) | {"counts": counts},
    )


def not_marked(
    submission: Submission, why: str, end: str = "", about: Mapping[str, Any] | None = None
) -> Entry:
    """Return the entry of a submission that could not be marked, which is no zero.

    Parameters
    ----------
    submission : Submission
    why : str
        A sentence.
    end : str
        The end of its run, where it had one.
    about : Mapping, optional
        See `Entry`.

    Returns
    -------
    Entry
    """
    return Entry(
        **facts_of(submission),
        marked=False,
        end=end,
        why=why,
        flags=submission.notes,
        about=about or {},
    )


def facts_of(submission: Submission) -> dict[str, Any]:
    """The fields of an entry that say what it is of, and when it was made."""
    return {
        "learner": submission.learner,
        "lesson": submission.lesson,
        "file": submission.place,
        "digest": submission.digest,
        "time": now(),
        "handed_in": submission.handed_in,
    }


def ran_out_of_time(entry: Entry) -> bool:
    """True if a clock cost an answer: a second run is due, with the machine to itself."""
    ends = [entry.end, *(rig["end"] for rig in entry.about.get("rigs", {}).values())]
    ends += [cell.get("left out") for cell in entry.about.get("cells", ())]
    return "time limit" in ends or any(
        count.get("stopped") for count in entry.about.get("counts", {}).values()
    )


def best(entries: Sequence[Entry]) -> Entry:
    """Return the best of the entries of one submission, which says so where there are several."""
    kept = max(entries, key=lambda entry: (entry.marked, entry.score or 0))
    if len(entries) == 1:
        return kept
    scores = ", ".join(
        f"{entry.file}: {f'{100 * entry.score:.0f} %' if entry.score is not None else entry.why}"
        for entry in entries
    )
    return replace(kept, flags=(*kept.flags, f"{kept.file} counts ({scores})."))


def better(first: Entry, second: Entry) -> Entry:
    """The entry of two runs: of the second only the answers that a clock cost in the first.

    It tells of both.
    """
    runs = [{"end": entry.end, "wall": entry.about.get("wall")} for entry in (first, second)]
    if not (first.marked and second.marked):
        kept = second if second.marked else first
        return replace(kept, about={**kept.about, "runs": runs})
    before = {one.question: one for one in first.outcomes}
    kept_first = {name for name in before if not _cost_by_clock(first, name)}
    outcomes = tuple(
        before[one.question] if one.question in kept_first else one for one in second.outcomes
    )
    counts = dict(second.about.get("counts", {}))
    names = {one.rpartition("/")[2] for one in kept_first}
    counts |= {name: of for name, of in first.about.get("counts", {}).items() if name in names}
    about = {**second.about, "counts": counts, "runs": runs}
    return replace(second, outcomes=outcomes, about=about)


def _cost_by_clock(entry: Entry, question: str) -> bool:
    """True if a clock is why a question has no answer, or not all of it."""
    name, about = question.rpartition("/")[2], entry.about
    count = about.get("counts", {}).get(name, {})
    ends = [cell.get("left out") for cell in about.get("cells", ())]
    late = about.get("rigs", {}).get(name, {}).get("end") == "time limit"
    cut = entry.end == "time limit" or "time limit" in ends
    missed = count.get("missing") or count.get("blank")
    return bool(late or count.get("stopped") or (cut and missed))


def _outcome(
    answers: Answers, question: Question, records: Sequence[CaseRecord]
) -> checking.Outcome:
    cases = answers.cases[question.name]
    if not records:
        why = "it never ran" if answers.run.end == FINISHED else "the run was cut short before it"
        return checking.Outcome(
            question.id, checking.NOT_YET, 0.0, f"no answer came: {why}.", cases=len(cases)
        )
    outcome = checking.score_answers(question, cases, records)
    if outcome.word != checking.BLANK:
        return outcome
    if failed := _failed_for(answers, question.name):
        return replace(outcome, word=checking.NOT_YET, sentence=f"could not be run: {failed}.")
    failed = _failed(answers)
    sentence = (
        f"there is no answer in `{question.name}`; {failed}."
        if failed
        else "no answer was handed in."
    )
    return replace(outcome, sentence=sentence)


def _outcome_of_file(
    answers: Answers, question: Question, records: Sequence[CaseRecord]
) -> checking.Outcome:
    """The outcome of a rig file, from the run of its inspection."""
    run, cases = answers.inspections.get(question.name), answers.cases[question.name]
    named = answers.notebook.names.get(question.name)
    word, why = checking.NOT_YET, ""
    if run and not_inspected(run, records):
        why = f"the inspection of your rig file {not_inspected(run, records)}."
    elif run is None and answers.submission.rig_problem:
        why = f"the rig file cannot be read. {answers.submission.rig_problem}"
    elif run is None:
        word = checking.BLANK
        why = "no rig file was handed in" + (f"; the notebook names `{named}`." if named else ".")
    if why:
        return checking.Outcome(question.id, word, 0.0, why, cases=len(cases))
    return checking.score_answers(question, cases, records)


def not_inspected(run: Run, records: Sequence[CaseRecord]) -> str:
    """The end of an inspection that was cut short, in words; empty for any other."""
    record = records[0] if records else {"end": "nothing"}
    if "out" in record or record["end"] == "unreadable":
        return ""
    end = "time limit" if record["end"] == "stopped" else run.end
    return NOT_INSPECTED.get(
        end, f"stopped with {record['type']}" if record["end"] == "raised" else "ended early"
    )


def _failed(answers: Answers) -> str:
    """The first cell that stopped, in words; empty if none did."""
    return cell_words.first_stopped(
        answers.notebook, answers.run.cells, tuple(answers.homework.questions)
    )


def _failed_for(answers: Answers, question: str) -> str:
    """The reason why the cell for a question did not run, in words; empty if it did."""
    names, cells = tuple(answers.homework.questions), answers.run.cells
    number = cell_words.cell_of(answers.notebook, question, names)
    if number is None or number >= len(cells):
        return ""
    cell, source = cells[number], answers.notebook.cells[number]
    stopped = cell_words.stopped(cell)
    if cell.get("error") == "SyntaxError" and _DECIMAL_COMMA.search(_line_of(source, cell)):
        stopped += "; Python writes decimals with a point, such as 0.5"
    return stopped and f"its cell {stopped}"


def _line_of(source: str, cell: Mapping[str, Any]) -> str:
    """The line of a cell that it stopped in."""
    return dict(enumerate(source.split("\n"), 1)).get(cell.get("line") or 0, "")


def _cut_short(run: Run) -> str:
    return CUT_SHORT[run.end] + (f" (signal {run.signal})" if run.signal else "")


def _flags_of_run(
    answers: Answers,
    outcomes: Sequence[checking.Outcome],
    records: Mapping[str, Sequence[CaseRecord]],
) -> Iterator[str]:
    run, lost = answers.run, any(outcome.score < 1 for outcome in outcomes)
    if run.end != FINISHED:
        yield f"{_cut_short(run)}."
    yield from _done_otherwise(answers, lost and _misses_skipped(run, records))
    failed = _failed(answers)
    if failed and lost:
        yield f"Not every cell ran: {failed}."


def _misses_skipped(run: Run, records: Mapping[str, Sequence[CaseRecord]]) -> bool:
    """True if something may have failed for want of what a skipped line was to bring.

    Its own cell, or a later one or an answer that found a name, a module or a file missing.
    """
    cells = [*dropwhile(lambda cell: "skipped" not in cell, run.cells)]
    later = [*cells, *(record for found in records.values() for record in found)]
    wants = any(one.get("error", one.get("type")) in _WANTS for one in later)
    return bool(cells) and (wants or any("skipped" in one and "ok" not in one for one in cells))


def _done_otherwise(answers: Answers, skipped: bool = True) -> Iterator[str]:
    """Sentences on what was run otherwise than it stands in the notebook."""
    if answers.opening:
        yield "The notebook has no opening cell that runs: the exercise's own was run first."
    names = tuple(answers.homework.questions)
    yield from cell_words.done_otherwise(answers.notebook, answers.run.cells, names, skipped)


def _flags_of_rigs(answers: Answers, records: Mapping[str, Sequence[CaseRecord]]) -> Iterator[str]:
    if answers.submission.rig_problem:
        yield f"A rig file cannot be read. {answers.submission.rig_problem}"
    for name, run in answers.inspections.items():
        if not_inspected(run, records[name]):
            place = answers.submission.rigs[name].place
            yield f"The inspection of {place} {not_inspected(run, records[name])}."


def _flags_of_name(
    answers: Answers,
    outcomes: Sequence[checking.Outcome],
    records: Mapping[str, Sequence[CaseRecord]],
) -> Iterator[str]:
    """Flags for a notebook made out to somebody else: whose numbers counted, what fits theirs."""
    learner, claimed = answers.submission.learner, (answers.notebook.claimed or "").strip()
    if not claimed or is_theirs(learner, claimed):
        return
    yield f'The notebook is made out to "{claimed:.80}"; the numbers of {learner.id} were taken.'
    questions = answers.homework.questions
    theirs = notebook.Homework(questions, claimed)
    for (name, question), outcome in zip(questions.items(), outcomes, strict=True):
        if question.kind != "function" and outcome.score < 1 and records[name]:
            with _scoring:
                as_claimed = checking.score_answers(
                    question, theirs.cases(question, 0), records[name]
                )
            if as_claimed.score == 1:
                yield f'{question.id} would be right for "{claimed:.80}".'


def _counts(outcome: checking.Outcome, records: Sequence[CaseRecord]) -> dict[str, int]:
    ends = Counter(record.get("end", "answered") for record in records)
    counts = {
        "right": outcome.right,
        "wrong": ends.pop("answered", 0) - outcome.right,
        **ends,
        "missing": outcome.cases - len(records),
    }
    return {what: count for what, count in counts.items() if count}


def _about(answers: Answers) -> dict[str, Any]:
    """The private part of an entry."""
    run, inspections = answers.run, answers.inspections
    records = dict(run.records)
    for inspection in inspections.values():
        records |= inspection.records
    about = {
        "seed": answers.submission.seed,
        "student": answers.homework.student,
        "asked": dict(answers.asked),
        "rigkit": rigkit.__version__,
        "jail": run.about,
        **measures(run),
        "bytes_out": run.bytes_out,
        "cut": run.cut,
        "cells": list(run.cells),
        "answers": records,
        "printed": run.printed,
    }
    rigs = {
        name: {"file": rig.place, "digest": rig.digest, "end": run.end, **measures(run)}
        for name, run in inspections.items()
        for rig in [answers.submission.rigs[name]]
    }
    failed = _failed(answers)
    told = [*_done_otherwise(answers), *([f"{failed[0].upper()}{failed[1:]}."] if failed else [])]
    return (
        about
        | ({"told": list(dict.fromkeys(told))} if told else {})
        | ({"rigs": rigs} if rigs else {})
    )


def measures(run: Run) -> dict[str, Any]:
    return {"signal": run.signal, "wall": run.wall, "cpu": run.cpu}
