"""The worth of one learner's homework: measured, corrected, or neither."""

from rigkit.homework import catalogue
from rigkit.homework.checking import Outcome
from rigkit.marking.entry import Entry, Learner, Override

WHO = Learner("p-01", "Wren Lamplighter")
IDS = [question.id for question in catalogue.questions("06").values()]


def corrected(ids, score):
    return tuple(Override(one, score, "looked at by hand", "2026-01-01T00:00:00Z") for one in ids)


def test_a_correction_stands_in_place_of_what_was_measured():
    outcomes = tuple(Outcome(one, "Not yet", 0.0, "measured.") for one in IDS)
    entry = Entry(WHO, "06", outcomes=outcomes, overrides=corrected(IDS[:1], 1.0))
    assert entry.score == 1 / len(IDS)
    assert entry.scores[IDS[0]] == 1


def test_what_was_not_marked_has_no_score_until_each_question_was_corrected():
    assert Entry(WHO, "06", marked=False).score is None
    assert Entry(WHO, "06", marked=False, overrides=corrected(IDS[:-1], 1.0)).score is None
    assert Entry(WHO, "06", marked=False, overrides=corrected(IDS, 0.5)).score == 0.5
