"""Lesson 03's judges measure: what is no frame is not called a turned one."""

import numpy as np
import pytest

from rigkit.homework import open_homework, questions
from tests.homework.solved import outcome_of


@pytest.mark.parametrize(
    ("axes", "says"),
    [
        (1.3 * np.eye(3), "square to each other"),
        (np.diag([-1.0, 1.0, 1.0]), "square to each other"),
        (np.diag([-1.0, -1.0, 1.0]), "it has turned"),
    ],
    ids=["too-long", "left-handed", "turned"],
)
def test_axes_that_are_no_frames_are_told_from_turned_ones(axes, says):
    def keep_ankle(knee, ankle, new_knee):
        kept = np.linalg.inv(new_knee) @ knee @ ankle
        kept[:3, :3] = kept[:3, :3] @ axes
        return kept

    outcome = outcome_of(questions("03")["keep_ankle"], keep_ankle)
    assert says in outcome.sentence
    assert outcome.score == 0.5


def by_half_turn(frame, kind):
    """All axes reversed is a half turn about x; the other kinds turn that about one axis more."""
    more = {"same bend": [1, -1, -1], "same numbers": [1, 1, 1], "reflection": [-1, -1, 1]}[kind]
    turned = np.diag([1.0, -1.0, -1.0]) @ frame[:3, :3] @ np.diag(more)
    return np.vstack([np.column_stack([turned, frame[:3, 3] * [-1, 1, 1]]), [0, 0, 0, 1]])


def by_house_holder(frame, kind):
    """A reflection matrix on the left, one for the frame's own axes on the right, nested lists."""
    own = {"same bend": [-1, 1, 1], "same numbers": [-1, -1, -1], "reflection": [1, 1, -1]}[kind]
    across = np.eye(4) - 2 * np.outer([1, 0, 0, 0], [1, 0, 0, 0])
    return (across @ frame @ np.diag([*own, 1])).tolist()


def by_rotation_vector(turns_deg, kind):
    """Signs by what a reflection does to a rotation vector, times those of the frame's axes."""
    own = {"same bend": [-1, 1, 1], "same numbers": [-1, -1, -1], "reflection": [1, 1, -1]}[kind]
    return [-sign * float(turn) for sign, turn in zip(own, turns_deg, strict=True)]


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("mirror_frame", by_half_turn),
        ("mirror_frame", by_house_holder),
        ("right_numbers", by_rotation_vector),
        ("right_numbers", lambda *mine: np.array(by_rotation_vector(*mine)) - 360),
    ],
    ids=["half-turn", "two-reflections", "rotation-vector", "a-turn-less"],
)
@pytest.mark.parametrize("learner", ["ada", "learner-07", "learner-12"])
def test_right_by_another_way(name, answer, learner):
    assert outcome_of(questions("03")[name], answer, learner).word == "Right"


X, Y, Z = np.diag([-1.0, 1, 1]), np.diag([1.0, -1, 1]), np.diag([1.0, 1, -1])


@pytest.mark.parametrize(
    "axes",
    [
        lambda turn, kind: X @ turn,  # left-handed
        lambda turn, kind: turn,
        lambda turn, kind: -turn,
        lambda turn, kind: X @ turn @ Y,  # right-handed, of no kind that is asked for
        lambda turn, kind: X @ turn @ X @ Y,  # two negated: left-handed again
        lambda turn, kind: X @ turn @ X,
        lambda turn, kind: X @ turn @ Z,
        lambda turn, kind: turn @ X @ Y,
        lambda turn, kind: (X @ turn @ X).T,
        lambda turn, kind: np.abs(turn),
        lambda turn, kind: Z @ turn @ (X if kind == "same bend" else Z),
    ],
)
def test_a_frame_of_the_wrong_kind_is_not_right(axes):
    def mirror_frame(frame, kind):
        answer = frame * np.array([[-1], [1], [1], [1]])
        answer[:3, :3] = axes(frame[:3, :3], kind)
        return answer

    assert outcome_of(questions("03")["mirror_frame"], mirror_frame).score < 0.6


@pytest.mark.parametrize("signs", [(a, b, c) for a in (1, -1) for b in (1, -1) for c in (1, -1)])
def test_no_one_rule_of_signs_suits_all_kinds(signs):
    question = questions("03")["right_numbers"]
    assert outcome_of(question, lambda turns, kind: np.multiply(signs, turns)).score < 0.6


@pytest.mark.parametrize("learner", ["ada", "learner-07", "learner-12"])
def test_old_and_new_knee_exchanged_carry_the_ankle_by_twice_the_turn(learner):
    question = questions("03")["keep_ankle"]
    exchanged = next(each for each in question.misconceptions if each.name == "the wrong way round")
    assert "twice the turn" in exchanged.sentence
    for case in open_homework("03", learner).cases(question, 1):
        knee, ankle, new_knee = case.values()
        turn = new_knee @ np.linalg.inv(knee)  # of the knee, in the world
        carried = new_knee @ exchanged.answer(knee, ankle, new_knee)
        assert np.allclose(carried, turn @ turn @ knee @ ankle)
