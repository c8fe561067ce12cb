"""The numbers that lesson 04 says in words, and the scenes with arithmetic of their own."""

import numpy as np
import pytest

from rigkit import gait
from rigkit.controls import count_keys, interpolate_keys
from rigkit.homework import questions_04
from rigkit.puppets import PUPPETS
from rigkit.scenes import forward_and_inverse as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))
WALKERS = pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP], ids=lambda puppet: puppet.name)


def knee_deg(lowered_cm):
    rig = scene.standing(TAMSIN)
    return np.degrees(rig.angles(rig.pose({"pelvis": {"shift_y": -lowered_cm / 100}})).knee[..., 0])


def bent_deg(joints):
    thigh, shank = np.diff(joints[:, :3], axis=1).swapaxes(0, 1)
    cosine = (
        np.sum(thigh * shank, axis=-1)
        / np.linalg.norm(thigh, axis=-1)
        / np.linalg.norm(shank, axis=-1)
    )
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def test_a_forward_foot_copies_the_pelvis_and_an_inverse_one_stays_within_reach():
    rig = scene.standing(TAMSIN)
    pose = rig.pose({"pelvis": {"shift_x": 0.10, "shift_y": -0.13}}, scene.MIXED)
    np.testing.assert_allclose(scene.slip_cm(rig, pose), [16.4, 0.0], atol=0.05)
    assert "cm" not in scene.opening(TAMSIN).desc  # it asks, and gives nothing away
    too_far = rig.pose({"pelvis": {"shift_x": 0.20}}, scene.MIXED)
    np.testing.assert_allclose(scene.slip_cm(rig, too_far), [20.0, 2.4], atol=0.05)
    ankle_y = too_far.world[[rig.skeleton.index(name) for name in ("L_ankle", "R_ankle")], 1, 3]
    assert ankle_y[1] > ankle_y[0]  # the right foot comes off the floor


def test_hip_and_knee_alike_is_37_cm_off_and_nearly_is_nearly():
    panel = scene.hand_panel(TAMSIN)
    panel.set(**panel.presets["Hip and knee alike"])
    assert "36.9 cm" in panel.readout
    panel.set(**panel.presets["Nearly"])
    assert "1.7 cm" in panel.readout
    assert "toes down" in panel.readout


@WALKERS
def test_the_angles_of_the_inverse_leg_put_a_forward_foot_back_by_hand(puppet):
    rig = scene.standing(puppet)
    found = rig.angles(rig.pose({"pelvis": {"shift_y": -0.13}}))
    hip, knee, ankle = np.degrees([found.hip[0, 0], found.knee[0], found.ankle[0, 0]])
    assert "The foot is back." in scene.by_hand(puppet, 13.0, hip, knee, ankle)[1]
    assert "The foot is back." not in scene.by_hand(puppet, 13.0, hip, knee, 0.0)[1]


def test_the_first_centimetre_costs_18_degrees_and_the_thirteenth_3():
    np.testing.assert_allclose(np.diff(knee_deg(np.arange(14)))[[0, 12]].round(), [18, 3])
    desc = scene.turns_plot(TAMSIN).desc
    assert (
        f"{knee_deg(1):.0f} degrees in the first centimetre, {knee_deg(13):.0f} in thirteen" in desc
    )


@WALKERS
def test_a_crouch_takes_3_values_or_153_and_right_poses_sink_a_quarter_of_the_drop_between(puppet):
    rig, crouch = scene.standing(puppet), scene.crouch(13)
    angles = scene.forward_values(rig, rig.pose(crouch))
    assert (count_keys(crouch), count_keys(crouch | angles)) == (3, 153)
    assert scene.keyed_slip_cm(puppet, 13, 12) == pytest.approx(13 / 4, rel=0.05)
    assert scene.keyed_slip_cm(puppet, 13, 1) == pytest.approx(0, abs=1e-6)
    slips = [scene.keyed_slip_cm(puppet, 13, every) for every in (12, 6, 4, 2)]
    np.testing.assert_allclose(slips, [3.2, 1.6, 1.1, 0.5], atol=0.06)


def test_the_crouch_shown_is_the_crouch_counted():
    for every, joints in scene.crouches(TAMSIN).items():
        off = 100 * np.linalg.norm(joints[:, :, 2] - joints[:1, :, 2], axis=-1)
        np.testing.assert_allclose(off[::every], 0, atol=1e-6)
        np.testing.assert_allclose(
            off.max(axis=0), [scene.keyed_slip_cm(TAMSIN, 13, every), 0], atol=1e-6
        )
    assert "3.2 cm" in scene.crouching(TAMSIN, 6, "12")[1]


def test_easing_pelvis_and_angles_alike_changes_when_a_foot_is_off_and_not_how_far():
    rig = scene.standing(TAMSIN)
    bottom = scene.forward_values(rig, rig.pose({"pelvis": {"shift_y": -0.13}}))
    even = np.linspace(0, 1, 2001)

    def farthest(share):
        values = {"pelvis": {"shift_y": -0.13 * share}}
        values |= {
            name: {"turn_x": share * channels["turn_x"]} for name, channels in bottom.items()
        }
        return scene.slip_cm(rig, rig.pose(values, inverse=False)).max()

    assert farthest(even**2 * (3 - 2 * even)) == pytest.approx(farthest(even), rel=1e-3)


@WALKERS
def test_the_question_and_the_scene_measure_the_same_slip(puppet):
    for every in (12, 4, 3):
        ours = questions_04._keyed_slip_cm(puppet.thigh, puppet.shank, 15.0, every)
        assert ours == pytest.approx(scene.keyed_slip_cm(puppet, 15.0, every), abs=1e-6)


@WALKERS
def test_a_planted_walk_slides_by_nothing_and_forward_legs_copy_it_with_every_frame_keyed(puppet):
    walks = scene.walks(puppet)
    assert np.nanmax(walks["planted"][1]) < 1e-3
    np.testing.assert_allclose(walks["every frame"][0], walks["planted"][0], atol=1e-6)
    most = [walks[name][2] for name in ("every frame", "every 2nd", "every 4th", "as published")]
    assert most[0] < 1e-3 < most[1] < most[2]
    assert most[3] == pytest.approx(gait.walk(puppet, frames=1000).slide_cm[0], abs=0.02)
    assert np.nanmax(walks["as published"][1]) < most[3]  # it slides on after the last frame


def test_the_numbers_of_tamsins_walk():
    walks = scene.walks(TAMSIN)
    assert walks["as published"][2] == pytest.approx(12.4, abs=0.05)
    assert walks["every 2nd"][2] == pytest.approx(5.1, abs=0.05)
    rig, walk = scene.standing(TAMSIN), gait.walk(TAMSIN, frames=24, cycles=1)
    assert np.mean(~walk.stance) > 1 / 3
    values = gait.control_values(gait.plant(walk), rig)
    angles = scene.forward_values(rig, rig.pose(values))
    feet = {name: channels for name, channels in values.items() if name != "pelvis"}
    assert (count_keys(feet), count_keys(angles)) == (150, 389)


def test_the_fastest_knee_of_tamsins_published_walk():
    # In 1000 pictures a stride, and on the published curve itself, scaled to her step.
    walk = gait.walk(TAMSIN, frames=1000, cycles=1)
    knee = np.degrees(np.abs(np.diff(walk.knee, axis=0)) / np.diff(walk.times)[:, None])
    assert knee.max() == pytest.approx(321, abs=0.5)
    percent = np.linspace(0, 100, 20_001)
    step = walk.step_length / gait.leg_height(TAMSIN)
    curve = np.degrees(gait.joint_angles(percent, "knee", relative_step=step))
    rate = np.abs(np.gradient(curve, percent / 100 * walk.times[-1]))
    assert rate.max() == pytest.approx(321, abs=0.5)


def test_a_kick_keyed_as_a_place_cuts_the_corner_by_20_cm_and_folds_the_knee():
    forward, inverse = scene.kicks(TAMSIN)
    assert scene.cut_cm(TAMSIN) == pytest.approx(19.5, abs=0.05)
    assert "20 centimetres inside" in scene.kick(TAMSIN).title
    assert bent_deg(forward).max() < 1e-4
    assert bent_deg(inverse).max() == pytest.approx(80, abs=0.5)
    np.testing.assert_allclose(forward[[0, -1]], inverse[[0, -1]], atol=1e-7)
    straight = questions_04._cut_cm(TAMSIN.leg_length, 20, 60)
    assert scene.cut_cm(TAMSIN) == pytest.approx(straight, abs=1e-6)


@WALKERS
def test_each_chain_has_jobs_in_which_the_other_is_off(puppet):
    for job, (forward, inverse) in scene.jobs(puppet).items():
        right, wrong = (inverse, forward) if job in ("crouch", "step") else (forward, inverse)
        assert right < 1e-3 < 2 < wrong


def test_a_forgotten_match_drops_the_foot_13_cm_in_one_frame_and_a_match_moves_nothing():
    for name, drop, turn in (("forgotten", 13.0, 64.8), ("matched", 0.0, 0.0)):
        joints, bent = scene.switches(TAMSIN)[name]
        step = 100 * np.diff(joints[:, 1, 2], axis=0)
        assert -step[scene.SWITCH - 1, 1] == pytest.approx(drop, abs=0.05)
        assert abs(np.diff(bent)[scene.SWITCH - 1]) == pytest.approx(turn, abs=0.05)
        assert (
            joints[scene.SWITCH :, 1, 2, 1] >= joints[scene.SWITCH, 1, 2, 1] - 1e-9
        ).all()  # then it only rises
    assert 24 * np.diff(scene.switches(TAMSIN)["forgotten"][1])[scene.SWITCH - 1] == pytest.approx(
        -1556, abs=0.5
    )


def test_a_slide_is_counted_from_where_the_foot_came_down():
    walk = gait.walk(TAMSIN, frames=24, cycles=2)
    slid = scene.slid_cm(walk.points, walk.stance)
    assert (np.isnan(slid) == ~walk.stance).all()
    for frame, side in gait.foot_strikes(walk.stance):
        assert slid[frame, side] == 0
    steps = gait.foot_slide_cm(walk.points[:, :, 3:], walk.stance)
    off = gait.toe_offs(walk.stance)
    first, second = (frame for frame, side in off if side == 0)
    assert slid[second - 1, 0] == pytest.approx(steps[first + 1 : second, 0].sum())


def test_keyed_forward_values_differ_from_the_walk_only_between_keys():
    rig = scene.standing(PIP)
    values = gait.control_values(gait.plant(gait.walk(PIP, frames=24, cycles=1)), rig)
    pose = rig.pose(values)
    keyed = interpolate_keys(scene.forward_values(rig, pose), range(0, 25, 4))
    again = rig.pose(keyed | {"pelvis": values["pelvis"]}, inverse=False)
    off = np.linalg.norm((again.world - pose.world)[..., :3, 3], axis=-1).max(axis=-1)
    np.testing.assert_allclose(off[::4], 0, atol=1e-7)
    assert off.max() > 0.01
