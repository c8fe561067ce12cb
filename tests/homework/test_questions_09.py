"""Lesson 09's judges measure: what is right by another way is right too."""

import numpy as np
import pytest

from rigkit import rotation, skin
from rigkit.homework import open_homework, questions, questions_09
from tests.homework.solved import outcome_of

QUESTIONS = questions("09")
LEARNERS = ("ada", "learner-07", "learner-12")


def ramp(heights, radius):
    return np.clip((1 - heights / (1.4 * radius)) / 2, 0, 1)


def cosine(heights, radius):
    return (1 + np.cos(np.pi * np.clip((heights / (1.6 * radius) + 1) / 2, 0, 1))) / 2


def sigmoid(heights, radius):
    return 1 / (1 + np.exp(2.2 * heights / radius))


def last_of_equals(weights):
    kept = np.zeros(6)
    strongest = np.argsort(weights, kind="stable")[-4:]
    kept[strongest] = weights[strongest]
    return list(kept / kept.sum())


def blended_matrix(points, share, rest, posed):
    matrix = np.einsum(
        "pj,jab->pab", np.stack([1 - share, share], axis=-1), posed @ np.linalg.inv(rest)
    )
    return [(m @ [*p, 1])[:3] for m, p in zip(matrix, points, strict=True)]


def other_sign(first, second, share):
    total = (1 - share) * np.sign(first @ second) * first + share * second
    return -total / np.linalg.norm(total)


def twisted_the_other_way(twist_deg, least_percent):
    largest = np.degrees(2 * np.arccos(least_percent / 100))
    return -largest, np.ceil(twist_deg / largest)


@pytest.mark.parametrize("learner", LEARNERS)
@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("knee_weights", ramp),
        ("knee_weights", cosine),
        ("knee_weights", sigmoid),
        ("four_weights", last_of_equals),
        ("pose_skin", blended_matrix),
        ("blend_turns", other_sign),
        ("twist_joints", twisted_the_other_way),
    ],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_right_by_another_way(name, answer, learner):
    assert outcome_of(QUESTIONS[name], answer, learner).word == "Right"


@pytest.mark.parametrize("learner", LEARNERS)
@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("knee_weights", lambda heights, radius: 0.9 * ramp(heights, radius), "three radii above"),
        (
            "knee_weights",
            lambda heights, radius: ramp(heights - 0.3 * radius, radius),
            "at the joint itself",
        ),
        (
            "knee_weights",
            lambda heights, radius: np.clip((1 - heights / (2.5 * radius)) / 2, 0, 1),
            "too much volume",
        ),
        (
            "knee_weights",
            lambda heights, radius: np.clip((1 - heights / (0.6 * radius)) / 2, 0, 1),
            "stretched too far",
        ),
        (
            "four_weights",
            lambda weights: -last_of_equals(weights)[0] + np.array(last_of_equals(weights)),
            "add to one",
        ),
        ("four_weights", lambda weights: 2 * np.array(last_of_equals(weights)), "runs ahead"),
        ("blend_turns", lambda first, second, share: 0 * first, "no length"),
        (
            "volume_lost",
            lambda radius_cm, bend_deg: (
                "about twice",
                np.multiply(questions_09._lost_cm3(radius_cm, np.radians(bend_deg)), [1.3, 1]),
            ),
            "one of your volumes is not",
        ),
    ],
)
def test_what_is_wrong_is_said(name, answer, says, learner):
    outcome = outcome_of(QUESTIONS[name], answer, learner)
    assert outcome.score < 1
    assert says in outcome.sentence


def test_volumes_in_whole_cubic_centimetres_are_near_enough_and_two_beside_them_are_not():
    limb = {"radius_cm": 3.9, "bend_deg": 70.0}
    lost = np.array(questions_09._lost_cm3(limb["radius_cm"], np.radians(limb["bend_deg"])))
    # so small a limb that rounding is more than 1 %
    assert (np.abs(lost - lost.round()) > 0.01 * lost).any()

    def score(yours):
        output = {"finding": questions_09._finding(lost), "lost": yours}
        return QUESTIONS["volume_lost"].judge(limb, output).score

    assert score(lost.round()) == 1
    assert score(lost - [2, 0]) < 1
    assert score(lost + [0, 2]) < 1


def first_four(weights):
    kept = weights * [1, 1, 1, 1, 0, 0]
    return kept / kept.sum()


@pytest.mark.filterwarnings(
    "ignore:invalid value"
)  # as in a learner's notebook, where the first four are all zero
def test_the_first_four_are_recognised_even_where_they_are_all_zero():
    learners = [f"learner-{n:02d}" for n in range(10)]
    assert any(
        not case["weights"][:4].any()
        for learner in learners
        for case in map(arrays, open_homework("09", learner).cases(QUESTIONS["four_weights"], 1))
    )
    assert {
        outcome_of(QUESTIONS["four_weights"], first_four, learner).misconception
        for learner in learners
    } == {"first four"}


def arrays(case):
    return {name: np.array(value) for name, value in case.items()}


def test_the_limits_of_a_knee_leave_room_for_more_than_one_answer():
    heights = 0.05 * np.linspace(4, -4, questions_09.RINGS)
    fits = []
    for reach in (0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.6):
        stretch, lost, _ = questions_09._bent_limb(
            heights, 0.05, questions_09._smooth(heights, 0.05 * reach)
        )
        fits.append(stretch <= questions_09.MOST_STRETCH and lost <= questions_09.MOST_LOST)
    assert fits == [False, False, True, True, True, True, True, True, False, False]


def test_a_blended_turn_is_the_library_s():
    first, second = rotation.unit_quaternion([[1, 2, 3, 4], [-2, 1, 0, 1]])
    turned = questions_09._blended_turn(first, second, 0.3)
    wanted = rotation.matrix_from_quaternion(other_sign(first, second, 0.3))
    np.testing.assert_allclose(turned, wanted, atol=1e-12)
    np.testing.assert_allclose(questions_09._blended_turn(first, -second, 0.3), wanted, atol=1e-12)


def test_a_twist_s_limit_is_where_the_radius_is_as_asked_for():
    for least in (82.0, 90.0, 96.0):
        angle = np.radians(questions_09._largest_deg(least))
        assert skin.blend_radius(0.5, angle) == pytest.approx(least / 100)
