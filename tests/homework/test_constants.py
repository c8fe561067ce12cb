"""An answer that never looks at its inputs earns at most a quarter of a question."""

import itertools
from collections import Counter

import numpy as np
import pytest

from rigkit.homework import calling, checking
from rigkit.homework.question import WORDS
from tests.homework.solved import ASKED_FOR_NUMBERS, LEARNERS, cases_of, named

MOST = 0.25
ALIKE = 4  # learners whose right answers are tried on everyone


def right_answers(question, answers):
    """The right answers of a few learners, each a list of its parts as JSON data."""
    rights = []
    for learner in LEARNERS[:ALIKE]:
        # one function answers everyone's cases, a value only its own learner's
        whose = LEARNERS[0] if question.kind == "function" else learner
        given = answers[question.lesson, whose][question.name]
        for case in cases_of(question, learner):
            out = given(*calling.arguments(case)) if question.kind == "function" else given
            parts = checking.parse_answer(question.returns, calling.plain_data(out))
            rights.append([calling.plain_data(part) for part in parts.values()])
    return rights


def guesses(shape, right):
    """What is tried for one part: its options, or 0, 1, -1 and the commonest right answers."""
    kinds = {repr(part): part for part in right}
    common = [kinds[text] for text, _ in Counter(map(repr, right)).most_common(3)]
    if shape == WORDS:
        return [[], *common]
    if shape and isinstance(shape[0], str):
        return list(shape)
    return [*(np.full(shape, number).tolist() for number in (0.0, 1.0, -1.0)), *common]


def constants(question, rights):
    """All mixes of the parts' guesses, and the commonest right answers as a whole."""
    parts = zip(*rights, strict=True)
    mixed = itertools.product(*map(guesses, question.returns.values(), parts))
    whole = {repr(right): right for right in rights}
    common = [whole[text] for text, _ in Counter(map(repr, rights)).most_common(3)]
    return [*map(list, mixed), *common]


def earned(question, cases, parts):
    """The mean score of one answer to all cases."""
    output = checking.parse_answer(question.returns, parts if len(parts) > 1 else parts[0])
    with np.errstate(all="ignore"):
        scores = [
            question.judge(dict(zip(case, calling.arguments(case), strict=True)), output).score
            for case in cases
        ]
    return float(np.mean(scores))


@pytest.mark.parametrize("question", ASKED_FOR_NUMBERS, ids=named)
def test_no_constant_answer_earns_more_than_a_quarter(question, answers):
    everyones = LEARNERS if question.kind == "value" else LEARNERS[:ALIKE]
    cases = [case for learner in everyones for case in cases_of(question, learner)]
    for parts in constants(question, right_answers(question, answers)):
        share = earned(question, cases, parts)
        assert share <= MOST, f"{share:.0%} for {parts!r:.200}"
