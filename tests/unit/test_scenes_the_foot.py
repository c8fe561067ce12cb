"""Lesson 11's words, measured: what carries, what follows, and what pivots put wrong cost."""

import numpy as np
import pytest

from rigkit import foot, gait
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.scenes import the_foot as scene

TAMSIN = PUPPETS["Tamsin"]
SOLE = foot.of_puppet(TAMSIN)
ROLL_DEG = np.linspace(-16, 50, 200)
RIGHT, HIGH, ORDER = scene.WIRINGS


def roll(roll_deg):
    return foot.roll(SOLE, np.radians(roll_deg))


@pytest.mark.parametrize("name", sorted(PUPPETS))
def test_a_foot_hung_from_its_three_pivots_rolls_as_the_library_says(name):
    roll_deg = np.linspace(-90, 90, 181)
    pose = foot.roll(foot.of_puppet(PUPPETS[name]), np.radians(roll_deg))
    points = scene.rolled(PUPPETS[name], roll_deg)
    for i, part in enumerate(("ankle", "heel", "ball", "toe")):
        np.testing.assert_allclose(points[:, i], getattr(pose, part), atol=1e-12)


def test_every_wiring_reads_zero_at_rest_and_looks_right():
    for wiring in scene.WIRINGS:
        np.testing.assert_allclose(
            scene.rolled(TAMSIN, 0, wiring),
            [SOLE.ankle, SOLE.heel, SOLE.ball, SOLE.toe],
            atol=1e-15,
        )
    for name in (RIGHT, HIGH):
        assert [one.name for one in scene.pivots(TAMSIN, name)] == ["heel", "toe", "ball"]


@pytest.mark.parametrize(
    ("roll_deg", "heights", "moved"),
    [
        (-16, (0.0, 5.3, 7.1), 2.6),
        (0, (0.0, 0.0, 0.0), 0.0),
        (25, (8.1, 0.0, 0.0), 6.2),
        (40, (12.6, 0.3, 0.0), 10.0),
        (50, (15.9, 1.1, 0.0), 12.9),
    ],
)
def test_the_readout_says_how_high_each_point_is_and_how_far_the_ankle_went(
    roll_deg, heights, moved
):
    words = scene.rolling(TAMSIN, roll_deg, 40)[1]
    for name, height in zip(foot.PIVOTS, heights, strict=True):
        assert f"{name} <b>{height} cm</b>" in words
    assert f"ankle has gone <b>{moved} cm</b>" in words


@pytest.mark.parametrize(
    ("roll_deg", "said"),
    [
        (-16, "about the <b>heel"),
        (0, "<b>flat"),
        (28, "about the <b>ball"),
        (29, "<b>from ball to toe"),
        (51, "<b>from ball to toe"),
        (52, "about the <b>toe"),
    ],
)
def test_the_readout_names_what_the_foot_turns_about(roll_deg, said):
    assert said in scene.rolling(TAMSIN, roll_deg, 40)[1]
    _, ball, toe = np.degrees(foot.turns(np.radians(roll_deg)))
    assert (ball > 1e-9 and toe > 1e-9) == ("from ball" in said or roll_deg == 52)


def test_where_ball_and_toe_share():
    before, after = (np.degrees(foot.turns(np.radians(40 + d))) for d in (-0.01, 0.01))
    assert (after - before)[1:].tolist() == pytest.approx([0.01, 0.01], rel=1e-3)  # half each
    assert 1000 * roll(40).ball[1] == pytest.approx(3, abs=0.5)  # over the floor
    assert np.degrees(foot.turns(np.radians(52))).tolist() == pytest.approx([0, 40, 12])


def test_a_roll_and_the_turns_beside_it_are_added():
    said = {
        values: scene.turning(TAMSIN, *values)[1]
        for values in ((25, 0, 0, 0), (0, 0, 25, 0), (0, 0, 0, 50), (15, -10, 0, 0))
    }
    by_roll, by_ball, on_tip, both = said.values()
    assert "ball +25°, tip 0°. The ankle has gone <b>6.2 cm</b>" in by_roll
    assert by_roll.split("Added up")[1] == by_ball.split("Added up")[1]
    for words in (by_roll, by_ball, on_tip):
        assert "<b>on the floor</b>" in words
    assert "<b>3.3 cm over the floor</b>" in both
    for wrong in ((0, 10, 0, 0), (0, 0, -10, 0), (0, 0, 0, -10)):  # the other way round
        assert "in the floor" in scene.turning(TAMSIN, *wrong)[1]


def test_the_four_moments_say_what_they_show():
    picture = scene.four_moments(TAMSIN)
    for said in (
        "rolled by minus 16 degrees, on the heel, ankle 8.1",
        "flat, ankle 6.6",
        "on the ball, ankle 11.3",
        "on the toe, ankle 15.1",
    ):
        assert said in picture.desc


def test_when_each_pivot_carries_in_a_step():
    step = scene.stance(TAMSIN)
    pivots = roll(step.roll_deg).pivot
    assert [np.flatnonzero(pivots == name)[[0, -1]].tolist() for name in foot.PIVOTS] == [
        [0, 12],
        [13, 56],
        [57, 58],
    ]
    assert step.roll_deg[[0, -1]].tolist() == pytest.approx([-16, 50], abs=0.5)
    flat = np.flatnonzero(np.abs(step.roll_deg) < 2)
    assert flat.tolist() == list(range(6, 39))
    assert np.diff(step.roll_deg).argmax() >= 56  # it rolls fastest on the toe


def test_the_step_is_that_of_the_planted_walk():
    walk = gait.plant(gait.walk(TAMSIN, frames=100, cycles=1))
    points = scene.stepped(TAMSIN, RIGHT)[0]
    spot = walk["ankle"][0, 0, 2] - points[0, 0, 0]
    for i, joint in enumerate(("ankle", "heel", "ball", "toe")):
        np.testing.assert_allclose(
            points[:, i] + [spot, 0], walk[joint][:59, 0][:, [2, 1]], atol=1e-9
        )


@pytest.mark.parametrize(
    ("about", "slide", "depth"),
    [
        ("heel", 9.2, 19.8),
        ("ball", 0.7, 5.3),
        ("toe", 1.0, 7.1),
        ("ankle", 11.8, 8.5),
        (None, 0.0, 0.0),
    ],
)
def test_one_fixed_point_is_not_enough(about, slide, depth):
    points = (
        scene.rolled(TAMSIN, ROLL_DEG)
        if about is None
        else (
            scene.ankle_held(TAMSIN, ROLL_DEG)
            if about == "ankle"
            else scene.about_one(TAMSIN, about, ROLL_DEG)
        )
    )
    assert scene.slide_cm(points)[-1] == pytest.approx(slide, abs=0.05)
    assert -scene.lowest_cm(points).min() == pytest.approx(depth, abs=0.05)


def test_what_a_jump_between_pivots_costs():
    ball, toe = (scene.about_one(TAMSIN, name, 20) for name in ("ball", "toe"))
    assert 100 * np.linalg.norm(toe[0] - ball[0]) == pytest.approx(2.3, abs=0.05)
    both = scene.hung(TAMSIN, {"heel": np.radians(-10), "ball": np.radians(15)})
    assert scene.lowest_cm(both) == pytest.approx(3.3, abs=0.05)


@pytest.mark.parametrize(("roll_deg", "before", "after"), [(0, -1.1, 2.2), (40, 1.0, 2.1)])
def test_the_ankles_speed_changes_where_a_pivot_is_handed_over_at_once(roll_deg, before, after):
    near = np.radians([roll_deg - 1, roll_deg, roll_deg + 1])
    up = 1000 * np.diff(foot.roll(SOLE, near, ease=0).ankle[:, 1])
    assert up.tolist() == pytest.approx([before, after], abs=0.05)


def test_without_sharing_the_ankles_speed_would_jump_by_the_toes_times_the_turn():
    walk = gait.walk(TAMSIN, frames=4000, cycles=1)
    down = np.flatnonzero(~walk.stance[:, 0])[0]
    angle, frame = -walk.foot_pitch[:down, 0], walk.times[1] - walk.times[0]
    jumps = {}
    for ease in (0.0, foot.EASE):
        velocity = np.diff(foot.roll(SOLE, angle, ease=ease).ankle, axis=0) / frame
        around = slice(np.flatnonzero(angle > foot.BALL_LIMIT)[0] - 3, None)
        change = np.linalg.norm(velocity[2:] - velocity[:-2], axis=-1)[around][:5]
        jumps[ease] = change.max()
    at = np.flatnonzero(angle > foot.BALL_LIMIT)[0]
    by_hand = (SOLE.toe - SOLE.ball)[0] * (angle[at] - angle[at - 1]) / frame
    assert by_hand == pytest.approx(0.56, abs=0.03)  # half a metre a second, as the lesson says
    assert jumps[0.0] == pytest.approx(by_hand, rel=0.1)
    assert jumps[foot.EASE] < 0.1 * by_hand


def test_what_the_ankle_does_not_give_the_foot_must():
    for roll_deg in (-25, 10, 40, 65):
        held, right = scene.ankle_held(TAMSIN, roll_deg), scene.rolled(TAMSIN, roll_deg)
        moved = right[0] - SOLE.ankle
        np.testing.assert_allclose(held - right, np.tile(-moved, (4, 1)), atol=1e-12)
    assert (100 * (scene.ankle_held(TAMSIN, 25)[2] - SOLE.ball)).tolist() == pytest.approx(
        [-4.0, -4.7], abs=0.05
    )
    words = scene.ankle_following(TAMSIN, 25)[1]
    assert (
        "ankle moves by <b>6.2 cm</b>, the foot is 0.0 cm off its place, its lowest point on the"
        " floor" in words
    )
    assert (
        "<b>0.0 cm</b>, the foot is 6.2 cm off its place, its lowest point 4.7 cm in the floor"
        in words
    )


def test_the_rig_rolls_alike_and_its_knee_pays():
    rig = LegRig.from_puppet(TAMSIN)
    flat, up = rig.pose(), rig.pose({"L_foot": {"roll": np.radians(25)}})
    moved = {
        name: 100 * np.linalg.norm((up.world - flat.world)[rig.skeleton.index(name), :3, 3])
        for name in ("L_ankle", "L_ball", "L_toe")
    }
    assert moved == pytest.approx({"L_ankle": 6.20, "L_ball": 0, "L_toe": 0}, abs=0.005)
    assert np.degrees(up.flexion[0] - flat.flexion[0]) == pytest.approx(34, abs=0.5)
    np.testing.assert_array_equal(up.controls["L_foot"], flat.controls["L_foot"])


@pytest.mark.parametrize(
    ("wiring", "slide", "low", "high"),
    [(RIGHT, 0.0, 0.0, 0.0), (HIGH, 6.8, 0.0, 2.3), (ORDER, 1.5, -4.2, 0.0)],
)
def test_two_numbers_tell_what_is_wrong_with_the_pivots(wiring, slide, low, high):
    _, slid, lowest = scene.stepped(TAMSIN, wiring)
    assert (slid[-1], lowest.min(), lowest.max()) == pytest.approx((slide, low, high), abs=0.05)


def test_too_high_slides_by_a_pendulum_and_the_wrong_order_sinks_by_the_toes():
    slid = scene.stepped(TAMSIN, HIGH)[1]
    strike = np.radians(scene.stance(TAMSIN).roll_deg[0])
    assert slid[13] == pytest.approx(1.8, abs=0.05)
    assert 100 * TAMSIN.ankle_height * np.sin(-strike) == pytest.approx(1.8, abs=0.05)
    toes = 100 * (SOLE.toe - SOLE.ball)[0]
    assert scene.lowest_cm(scene.rolled(TAMSIN, 60, ORDER)) == pytest.approx(
        -toes * np.sin(np.radians(40))
    )
    on_heel = ROLL_DEG[ROLL_DEG <= 0]
    np.testing.assert_allclose(
        scene.rolled(TAMSIN, on_heel, ORDER), scene.rolled(TAMSIN, on_heel), atol=1e-12
    )


def test_a_foot_in_the_air_is_lifted_by_its_deepest_point():
    points = scene.turned_in_air(TAMSIN, 10, 30)
    assert (100 * points[:, 1]).tolist() == pytest.approx([10.0, 7.5, -2.1, -5.4], abs=0.05)
    clamped = np.maximum(points, [-1, 0])
    assert 100 * np.linalg.norm(points[3] - points[1]) == pytest.approx(25.8, abs=0.05)
    assert 100 * np.linalg.norm(clamped[3] - clamped[1]) == pytest.approx(23.6, abs=0.05)
    assert "5.4 cm in the floor" in scene.lifted(TAMSIN, 10, 30).desc


@pytest.mark.parametrize("name", sorted(PUPPETS))
def test_ankle_and_heel_are_taken_where_the_hung_foot_has_them(name):
    puppet = PUPPETS[name]
    ankle, heel = scene.goal_panel(puppet).grips
    for roll_deg in (-30.0, -5.0, 0.0, 20.0, 70.0):
        rolled, held = scene.rolled(puppet, roll_deg), scene.ankle_held(puppet, roll_deg)
        np.testing.assert_allclose(ankle.at(roll_deg=roll_deg), rolled[0], atol=1e-12)
        np.testing.assert_allclose(heel.at(roll_deg=roll_deg), held[1], atol=1e-12)
