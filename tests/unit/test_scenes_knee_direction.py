"""Lesson 07's words, measured: circles, signs, pops, distances, squats, and the flip."""

import numpy as np
import pytest

from rigkit import two_bone
from rigkit.puppets import PUPPETS
from rigkit.scenes import knee_direction as scene

TAMSIN, ODO = PUPPETS["Tamsin"], PUPPETS["Odo"]
FEET = {"turned out": (0.0, 30.0), "wide and out": (20.0, 30.0), "turned in": (0.0, -20.0)}


def squatting(follows, apart_cm, turned_deg, walked_cm=0.0, **knees):
    rig = scene.rig(TAMSIN, follows)
    return rig.pose(scene.squat_values(30.0, apart_cm, turned_deg, walked_cm) | knees)


@pytest.mark.parametrize(
    ("left", "ahead", "up", "says"),
    [
        (20.0, 50.0, 0.0, "<b>−21.8°</b>, the knee <b>8.5 cm</b>"),
        (20.0, 50.0, 40.0, "<b>−21.8°</b>, the knee <b>8.5 cm</b>"),
        (20.0, 15.0, 0.0, "<b>−53.1°</b>"),
        (0.0, -30.0, 0.0, "180.0°</b>"),
        (0.0, 0.0, 0.0, "on the line"),
    ],
)
def test_a_dragged_pole_moves_the_knee_on_its_circle(left, ahead, up, says):
    picture, words = scene.turned(TAMSIN, left, ahead, up)
    assert says in words
    assert ("pole on the line" in picture.svg()) == (left == ahead == 0)


def test_bent_legs_have_their_bones_and_stand_on_their_foot():
    for puppet in (TAMSIN, ODO):
        for degrees in (0.0, 5.0, 80.0):
            points = scene.bent(puppet, degrees)
            assert np.linalg.norm(np.diff(points, axis=0), axis=-1) == pytest.approx(puppet.bones)
            assert points[2, 1] == puppet.ankle_height
            flexion = scene.solved(puppet, points[0], points[2]).flexion
            assert np.degrees(flexion) == pytest.approx(degrees, abs=1e-6)


def test_a_pole_straight_ahead_of_a_turned_out_knee_pops_little_at_rest_and_much_in_a_crouch():
    hip, knee, ankle = scene.bent(TAMSIN, 5.0)
    aside = knee - hip
    assert 100 * np.hypot(aside[0], aside[2]) == pytest.approx(1.8, abs=0.05)
    pole, low = knee + [0, 0, 0.83], hip - [0, 0.13, 0]
    pop = np.linalg.norm(scene.solved(TAMSIN, hip, ankle, pole).knee - knee)
    meant = scene.solved(TAMSIN, low, ankle, swivel=-np.radians(15)).knee
    off = np.linalg.norm(scene.solved(TAMSIN, low, ankle, pole).knee - meant)
    assert [100 * pop, 100 * off] == pytest.approx([0.5, 5.7], abs=0.05)


def test_taking_over_in_the_plane_moves_nothing_at_any_distance():
    for distance_cm in (5.0, 60.0):
        assert (
            "turns by <b>0.0°</b> and jumps by <b>0.0 cm</b>"
            in scene.take_over(TAMSIN, 60.0, scene.PLACED[0], 0.0, distance_cm)[1]
        )


def test_the_same_error_counts_more_near_the_line():
    assert scene.turn_per_cm(TAMSIN, 5.0, [0.05, 0.83]) == pytest.approx([8.3, 0.7], abs=0.05)
    assert scene.turn_per_cm(TAMSIN, 60.0, 0.05) < 3


def test_odos_middle_is_not_beside_his_knee():
    hip, knee, ankle = scene.bent(ODO, 5.0, 0.0)
    way = knee - (hip + ankle) / 2
    pole = knee + 0.8 * way / np.linalg.norm(way)
    assert pole[1] - hip[1] == pytest.approx(0.35, abs=0.005)
    assert 100 * np.hypot(*(pole - hip)[[0, 2]]) == pytest.approx(18, abs=0.5)


@pytest.mark.parametrize(
    ("follows", "feet", "apart", "outside"),
    [
        ("nothing", "turned out", 17.0, -16.0),
        ("nothing", "wide and out", 34.2, -25.1),
        ("the pelvis", "turned out", 17.0, -16.0),
        ("the feet", "turned out", 49.1, 0.0),
        ("the feet", "wide and out", 70.8, -6.3),
        ("the feet", "turned in", -4.9, 0.0),
    ],
)
def test_knees_in_a_squat(follows, feet, apart, outside):
    found = scene.knees(TAMSIN, squatting(follows, *FEET[feet]))
    assert found[0] == pytest.approx(apart, abs=0.05)
    assert found[1] == pytest.approx([outside, outside], abs=0.05)
    words = scene.squat(TAMSIN, 12, *FEET[feet], 0.0, follows)[1]
    assert (f"crossed by {-apart:.1f} cm" if apart < 0 else f"{apart:.1f} cm apart") in words


@pytest.mark.parametrize(("frame", "down"), [(0, 0.0), (6, 15.0), (12, 30.0), (24, 0.0)])
def test_a_squat_goes_down_and_up_again(frame, down):
    assert scene.squat(TAMSIN, frame, 0.0, 0.0, 0.0, "nothing")[1].startswith(
        f"Pelvis {down:.1f} cm down"
    )


def test_wide_knees_need_controls_a_little_more_than_20_cm_out():
    def outside(out):
        pose = squatting("the feet", 20.0, 30.0, L_knee={"shift_x": out}, R_knee={"shift_x": -out})
        return scene.knees(TAMSIN, pose)[1]

    assert (outside(0.20) < 0).all()
    assert (outside(0.25) > 0).all()


def over_the_toes(down_cm, apart_cm):
    """Swivels that put the left knee over its toes, degrees, by the circle's own equation."""
    pose = scene.rig(TAMSIN, "the feet").pose(scene.squat_values(down_cm, apart_cm, 30.0))
    hip, _, ankle, toe = scene.legs(TAMSIN, pose)[0]
    thigh, shank = TAMSIN.bones
    way, far = ankle - hip, np.linalg.norm(ankle - hip)
    along = (thigh**2 - shank**2 + far**2) / (2 * far)
    line, radius = way / far, np.sqrt(thigh**2 - along**2)
    front = np.array([0, 0, 1.0]) - line[2] * line
    front /= np.linalg.norm(front)
    aside = np.cross((toe - ankle) * [1, 0, 1], [0, 1, 0])
    # offset = c + radius (a cos + b sin): zero where cos(swivel - atan2(b, a)) = -c / (radius r)
    a, b = front @ aside, np.cross(line, front) @ aside
    cosine = -((hip + along * line - ankle) @ aside) / (radius * np.hypot(a, b))
    if abs(cosine) > 1:
        return ()
    return np.degrees(np.arctan2(b, a) + np.arccos(cosine) * np.array([1, -1]))


def test_a_computed_swivel_puts_wide_knees_over_their_toes_another_at_each_height():
    for down_cm, swivel_deg in ((10.0, -62.2), (20.0, -52.1), (30.0, -49.1)):
        assert min(abs(over_the_toes(down_cm, 20.0) - swivel_deg)) < 0.1
        pose = scene.rig(TAMSIN, "the feet").pose(scene.squat_values(down_cm, 20.0, 30.0))
        hip, _, ankle, toe = scene.legs(TAMSIN, pose)[0]
        solved = scene.solved(TAMSIN, hip, ankle, swivel=np.radians(swivel_deg))
        assert abs(two_bone.knee_toe_offset(solved.knee, ankle, toe)) < 0.0005
    assert over_the_toes(20.0, 40.0) == ()


def test_whoever_walks_past_their_poles_has_knees_that_point_backward():
    for follows, walked_cm in (("nothing", 0.0), ("the pelvis", 105.0), ("the feet", 105.0)):
        assert not scene.backward(TAMSIN, squatting(follows, 0.0, 0.0, walked_cm)).any()
    assert scene.backward(TAMSIN, squatting("nothing", 0.0, 0.0, 105.0)).all()
    assert "point backward" in scene.squat(TAMSIN, 12, 0.0, 0.0, 105.0, "nothing")[1]


def test_every_ankle_of_the_kick_is_on_its_goal_and_the_pole_guides_every_frame():
    pose, turned = scene.kick(TAMSIN, 0.0, 0.0)
    assert pose.reached.all()
    assert pose.guided.all()
    assert turned[24] == pytest.approx(0, abs=1e-6)
    assert turned[25] == pytest.approx(180)


@pytest.mark.parametrize(
    ("aside_cm", "higher_cm", "fastest", "end"),
    [(0.0, 0.0, 180, 180), (3.0, 0.0, 72, 177), (20.0, 0.0, 15, 161), (0.0, 70.0, 0, 0)],
)
def test_a_pole_to_the_side_spreads_the_half_turn_and_a_high_one_avoids_it(
    aside_cm, higher_cm, fastest, end
):
    _, turned = scene.kick(TAMSIN, aside_cm, higher_cm)
    steps = [
        float(
            scene.kicking(TAMSIN, frame, aside_cm, higher_cm)[1]
            .split("turned <b>")[1]
            .split("°")[0]
        )
        for frame in (24, 25, 26)
    ]
    assert max(steps) == pytest.approx(fastest, abs=0.6)
    assert turned[-1] == pytest.approx(end, abs=0.6)
    assert ("flipped" in scene.kicking(TAMSIN, 25, aside_cm, higher_cm)[1]) == (fastest > 90)


def test_on_the_line_itself_the_knee_keeps_to_its_preset_side():
    hip, _ = scene.lowered(TAMSIN, 0.0)
    pole = scene.kick_pole(TAMSIN)
    way = (pole - hip) / np.linalg.norm(pole - hip)
    pose = two_bone.solve(hip, hip + 0.9 * TAMSIN.leg_length * way, *TAMSIN.bones, pole)
    assert not pose.guided
    assert pose.hinge[0] == pytest.approx(1)
