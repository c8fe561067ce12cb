"""The leg from the bench as homework: twelve questions, a step each, answered by one file.

The bench asks them and shows its numbers while a leg is made; here stands what a mark says of them.
"""

from collections.abc import Mapping
from typing import Any

from rigkit.bench import misconceptions
from rigkit.bench._views import value_of
from rigkit.bench.marking import BenchMarks, StepMark
from rigkit.bench.measure import Measured
from rigkit.bench.steps import TITLES
from rigkit.homework import checking
from rigkit.homework.checking import Outcome
from rigkit.homework.question import YOUR_LEG, Case, Misconception, Question, Verdict
from rigkit.scenes.words import capital

GIVEN = "the kit filled this step in, so it does not count as done. Do it by hand to make it yours."
UNTOUCHED = "nothing of this step is done yet."


def _judge(inputs: Case, output: Mapping[str, Any]) -> Verdict:
    """The verdict on a step: `output` holds its `StepMark`, and a file has no inputs."""
    mark: StepMark = output["step"]
    measured = {capital(each.name): _in_words(each) for each in mark.numbers}
    return Verdict(mark.score, _sentence(mark), measured)


def _in_words(number: Measured) -> str:
    return f"{value_of(number)} ({number.limit}) {'✓' if number.right else '✗'}"


def _sentence(mark: StepMark) -> str:
    if mark.given:
        return GIVEN
    if mark.why:
        return mark.why
    if mark.right:
        return "every number is within its limits."
    if not mark.touched:
        return UNTOUCHED
    if mark.misconception:
        return f"{mark.said}. {mark.misconception.hint}"
    first, *others = (each for each in mark.numbers if not each.right)
    more = f" {len(others)} more {'is' if len(others) == 1 else 'are'} out too." if others else ""
    limit = f", where {first.limit} is right" if first.high != 0 else ""
    return f"{first.name}: {value_of(first)}{limit}. {first.todo}{more}"


def _question(step: str, title: str) -> Question:
    wrong = tuple(
        Misconception(each.name, each.measured, f"{each.sentence}.", whole=True)
        for each in misconceptions.MISCONCEPTIONS
        if each.step == step
    )
    return Question(YOUR_LEG, step, title, "bench", {}, lambda *_: [], _judge, wrong)


QUESTIONS = tuple(_question(step, title) for step, title in TITLES.items())
_BY_STEP = {question.name: question for question in QUESTIONS}


def outcome(mark: StepMark) -> Outcome:
    """The outcome of one step.

    Parameters
    ----------
    mark : StepMark

    Returns
    -------
    Outcome
    """
    question = _BY_STEP[mark.step]
    verdict = question.judge({}, {"step": mark})
    found = None if mark.given else mark.misconception
    return Outcome(
        question.id,
        _word(mark),
        verdict.score,
        verdict.sentence,
        measured=verdict.measured,
        misconception=found.name if found else None,
    )


def _word(mark: StepMark) -> str:
    if mark.given or not (mark.touched or mark.right or mark.why):
        return checking.BLANK
    return checking.word_for(mark.score, mark.score == 1)


def text(marks: BenchMarks) -> str:
    """The marks in lines, for a terminal.

    Parameters
    ----------
    marks : BenchMarks

    Returns
    -------
    str
    """
    outcomes = [outcome(mark) for mark in marks.steps.values()]
    right = sum(each.score == 1 for each in outcomes)
    whose = f"{marks.state.puppet.name}'s leg from the bench"
    lines = [f"{whose}: {right} of {len(outcomes)} steps are right."]
    if marks.differences:
        lines += [f"  Not what its state makes: {each}" for each in marks.differences]
        lines.append("  So only its inspection can be marked. Write the file anew on the bench.")
        outcomes = outcomes[-1:]
    for each in outcomes:
        name = each.question.rpartition("/")[2]
        said = "" if each.score == 1 else f" {each.sentence[:1].upper()}{each.sentence[1:]}"
        lines.append(f"  {name} {TITLES[name]}: {each.word}, {each.score:.0%}.{said}")
    return "\n".join(lines) + "\n"
