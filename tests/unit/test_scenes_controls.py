"""Lesson 08's words, measured: pivots, gaps, what a pelvis carries, a goal with its own keys."""

import numpy as np
import pytest

from rigkit import controls as ct
from rigkit.puppets import PUPPETS
from rigkit.scenes import controls as scene

TAMSIN = PUPPETS["Tamsin"]
STAY, HANG = scene.HANGING
STEP = {
    "pelvis": {"shift_y": -0.08, "turn_y": np.radians(-12)},
    "L_foot": {"shift_y": 0.15, "shift_z": 0.25, "turn_x": np.radians(-25)},
}


def test_the_opening_shows_five_controls_and_five_numbers():
    picture = scene.opening(TAMSIN)
    assert "right in a step that five numbers make" in picture.title
    assert all(name in picture.svg() for name in scene.TOUCHED)


@pytest.mark.parametrize("name", ["Tamsin", "Pip"])
def test_five_numbers_make_a_step_for_the_short_as_well(name):
    assert scene.rig(PUPPETS[name]).pose(STEP).miss.max() < 1e-9


@pytest.mark.parametrize(
    ("pivot", "up", "out"),
    [(scene.PIVOTS[0], 0.0, 0.0), (scene.PIVOTS[1], 3.4, 0.0), (scene.PIVOTS[2], 4.8, 4.9)],
)
def test_only_a_pivot_at_the_ankle_keeps_the_ankle(pivot, up, out):
    assert scene.ankle_moved_cm(TAMSIN, pivot, toes_up_deg=30) == pytest.approx(up, abs=0.05)
    assert scene.ankle_moved_cm(TAMSIN, pivot, turned_out_deg=45) == pytest.approx(out, abs=0.05)


@pytest.mark.parametrize("pivot", scene.PIVOTS)
def test_the_ankle_moves_along_a_chord_around_the_pivot(pivot):
    radius = np.linalg.norm(scene.pivots(TAMSIN)[scene.PIVOTS[0]] - scene.pivots(TAMSIN)[pivot])
    for degrees in (-40.0, 10.0, 40.0):
        chord = 200 * radius * np.sin(np.radians(abs(degrees)) / 2)
        assert scene.ankle_moved_cm(TAMSIN, pivot, toes_up_deg=degrees) == pytest.approx(
            chord, abs=1e-9
        )
        assert f"<b>{chord:.1f} cm</b>" in scene.turned(TAMSIN, pivot, degrees, 0.0)[1]


@pytest.mark.parametrize(
    ("gap", "moved", "off", "aside"),
    [
        ("kept", (10.0, 15.0, 0.0), 0.0, 0.0),
        ("kept", (20.0, 20.0, 25.0), 0.0, 0.0),
        ("lost", (0.0, 0.0, 0.0), 32.3, 0.0),
        ("along the world's axes", (10.0, 15.0, 0.0), 0.0, 0.0),
        ("along the world's axes", (10.0, 15.0, 20.0), 11.2, 20.0),
    ],
)
def test_a_foot_stays_on_its_mark_when_the_gap_is_kept(gap, moved, off, aside):
    words = scene.boarded(TAMSIN, gap, *moved)[1]
    assert f"<b>{off:.1f} cm</b> from its mark" in words
    assert f"turned <b>{aside:.1f}°</b>" in words


def test_a_boat_that_takes_the_foot_out_of_reach_is_said():
    assert "too short" in scene.boarded(TAMSIN, "lost", 20.0, 20.0, -25.0)[1]
    assert "too short" not in scene.boarded(TAMSIN, "kept", 10.0, 15.0, 20.0)[1]


def test_what_the_pelvis_carries_depends_on_what_the_feet_follow():
    assert set(scene.carried(TAMSIN, STAY)) == {"L_knee", "R_knee"}
    assert set(scene.carried(TAMSIN, HANG)) == {"L_foot", "L_knee", "R_foot", "R_knee"}
    crouch = scene.crouch(13.0, 40.0)
    for feet, moved in ((STAY, 0.0), (HANG, 14.2)):
        found = scene.moved_cm(TAMSIN, feet, crouch)
        assert found["L_foot"].max() == pytest.approx(moved, abs=0.05)
        assert {name for name, cm in found.items() if cm.max() > 1e-9} == {
            *scene.carried(TAMSIN, feet),
            "pelvis",
        }


def test_legs_whose_feet_hang_from_the_pelvis_do_not_bend():
    hanging, standing = (
        scene.hanging(TAMSIN, feet).pose(scene.crouch(13.0, 0.0)).flexion for feet in (HANG, STAY)
    )
    assert np.ptp(hanging) < 1e-6
    assert np.ptp(standing) > 0.9


@pytest.mark.parametrize(("turned", "keys", "slip"), [(0.0, 6, 0.0), (40.0, 112, 0.5)])
def test_what_it_costs_to_put_hanging_feet_back(turned, keys, slip):
    crouch = scene.crouch(13.0, turned)
    feet = scene.staying_values(TAMSIN, crouch)
    rig, rest = scene.hanging(TAMSIN, HANG), scene.control(TAMSIN, "L_foot").rest
    assert ct.count_keys(feet) == keys
    assert np.allclose(rig.pose(crouch | feet).controls["L_foot"], rest)
    keyed = rig.pose(crouch | ct.interpolate_keys(feet, (0, 12, 24))).controls["L_foot"]
    assert 100 * np.linalg.norm((keyed - rest)[:, :3, 3], axis=-1).max() == pytest.approx(
        slip, abs=0.05
    )


@pytest.mark.parametrize(("share", "apart"), [(1.0, 0.0), (0.5, 10.0), (0.0, 20.0)])
def test_a_keyed_goal_and_its_follow_share_the_foot(share, apart):
    assert scene.apart_cm(TAMSIN, share, 60.0)[[0, 12, 24]] == pytest.approx(
        [0.0, apart / 2, apart]
    )
    assert scene.apart_cm(TAMSIN, share, scene.KEYED_CM).max() < 1e-9
    pose, _ = scene.stepped(TAMSIN, share, 60.0)
    assert pose.miss.max() < 1e-9
    words = scene.stepping(TAMSIN, 24, 100 * share, 60.0)[1]
    assert f"the foot {60 - apart:.1f} cm: <b>{apart:.1f} cm</b> apart" in words


@pytest.mark.parametrize("pivot", scene.PIVOTS[1:])
def test_both_views_of_a_turned_foot_say_one_number(pivot):
    views = scene.turned(TAMSIN, pivot, 30.0, 45.0)[0].pictures
    moved = float(scene.ankle_moved_cm(TAMSIN, pivot, 30.0, 45.0))
    assert all(f"{moved:.1f} cm" in view.svg() for view in views)
