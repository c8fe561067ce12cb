from contextlib import nullcontext
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import controls as ct
from rigkit import foot as ft
from rigkit import frames as fr
from rigkit import leg, placement
from rigkit.puppets import PUPPETS

seeds = st.integers(0, 2**32 - 1).map(np.random.default_rng)
names = st.sampled_from(sorted(PUPPETS))
few = settings(max_examples=25, deadline=None)


@pytest.fixture
def rng():
    return np.random.default_rng(0)


@cache
def rig_of(name, bend=5.0, soft=0.0):
    return leg.LegRig.from_puppet(PUPPETS[name], bend, soft)


def tamsin_centres():
    rig = rig_of("Tamsin")
    at = dict(zip(rig.skeleton.names, rig.skeleton.rest_world[:, :3, 3], strict=True))
    centres = {name: place for name, place in at.items() if name.startswith("L_")}
    return centres | {"L_heel": [centres["L_ankle"][0], 0, -0.06]}


def forward_values(rig, rng, *shape, bent=0.01):
    """Random values for forward legs, their bend joints `bent` to 2 radians from straight."""
    values = {"pelvis": {channel: rng.uniform(-0.4, 0.4, shape) for channel in ct.CHANNELS}}
    for control in rig.controls:
        if control.name.endswith("_turn"):
            free = [c for c in ct.CHANNELS[3:] if c not in control.locked]
            values[control.name] = {c: rng.uniform(-1, 1, shape) for c in free}
            if control.limits:
                low, high = control.limits["turn_x"]
                side = 1 if high > -low else -1
                straight = low if side > 0 else high
                values[control.name]["turn_x"] = straight + side * rng.uniform(bent, 2, shape)
    return values


def inverse_values(rig, rng, *shape):
    values = {"pelvis": {channel: rng.uniform(-0.2, 0.2, shape) for channel in ct.CHANNELS}}
    for tag in ("L_", "R_"):
        values[tag + "foot"] = {
            c: rng.uniform(-0.5, 0.5, shape) for c in (*ct.CHANNELS, *leg.FOOT_CHANNELS)
        }
        values[tag + "knee"] = {c: rng.uniform(-0.3, 0.3, shape) for c in ct.CHANNELS[:3]}
        if len(rig.chain) == 4:
            values[tag + "hip_turn"] = {c: rng.uniform(-0.3, 0.3, shape) for c in ct.CHANNELS[3:]}
    return values


def bone_lengths(rig, world):
    child = np.flatnonzero(rig.skeleton.parents >= 0)
    places = world[..., :3, 3]
    return np.linalg.norm(
        places[..., child, :] - places[..., rig.skeleton.parents[child], :], axis=-1
    )


def at(rig, pose, name):
    return pose.world[..., rig.skeleton.index(name), :3, 3]


# --- rest ---


@pytest.mark.parametrize("name", sorted(PUPPETS))
@pytest.mark.parametrize("bend", [0, 1e-9, 1e-3, 5, 40, 90])
def test_everything_is_at_rest_when_all_reads_zero(name, bend):
    rig = rig_of(name, bend)
    for inverse in (True, False):
        pose = rig.pose(inverse=inverse)
        # an almost straight leg's angles are ill-conditioned
        rounding = 1e-12 if bend >= 1 or not inverse else 1e-7
        assert_allclose(pose.world, rig.skeleton.rest_world, atol=rounding)
        assert pose.miss.max() < 1e-12
        assert pose.guided.all()
        assert_allclose(pose.flexion, np.radians(bend), atol=rounding)
        for group in rig.match(pose).values():
            for value in group.values():
                assert_allclose(value, 0, atol=rounding)


@pytest.mark.parametrize("name", sorted(PUPPETS))
def test_a_puppet_stands_on_the_floor_with_its_own_bones(name):
    puppet, rig = PUPPETS[name], rig_of(name)
    places = rig.skeleton.origins(rig.skeleton.rest_world, ["L_" + joint for joint in rig.chain])
    assert_allclose(np.linalg.norm(np.diff(places, axis=0), axis=-1), puppet.bones, atol=1e-12)
    assert places[-1, 1] == pytest.approx(puppet.ankle_height)
    # the end straight below where the two bones begin
    assert places[-3, 2] == pytest.approx(places[-1, 2], abs=1e-12)
    assert np.sign(places[-2, 2] - places[-1, 2]) == puppet.knee_side
    assert rig.skeleton.origins(rig.skeleton.rest_world, ["L_toe"])[0, 1] == pytest.approx(
        0, abs=1e-12
    )
    assert placement.mirror_error(rig.skeleton).cm.max() < 1e-12


def test_hinge_axes_are_left_in_a_leg_that_faces_forward():
    for name in PUPPETS:
        frames = rig_of(name).skeleton.rest_world
        assert_allclose(frames[:, :3, 0], np.tile([1, 0, 0], (len(frames), 1)), atol=1e-12)


def test_rig_from_left_centres_is_the_puppets_rig():
    rig, same = rig_of("Tamsin"), leg.LegRig(tamsin_centres())
    assert same.skeleton.names == rig.skeleton.names
    assert_allclose(same.skeleton.rest_world, rig.skeleton.rest_world, atol=1e-12)


def test_the_heron_carries_its_thigh_sixty_degrees_forward():
    pose = rig_of("heron").pose()
    _, up, ahead = (pose["L_knee"] - pose["L_hip"])[:3, 3]
    assert np.degrees(np.arctan2(ahead, -up)) == pytest.approx(60)


@pytest.mark.parametrize(("off", "stands"), [(-59, True), (59, True), (61, False), (-61, False)])
def test_a_leg_may_bend_up_to_sixty_degrees_off_forward(off, stands):
    centres, turn = tamsin_centres(), np.radians(off)
    middle = (centres["L_hip"] + centres["L_ankle"]) / 2
    centres["L_knee"] = middle + 0.05 * np.array([np.sin(turn), 0, np.cos(turn)])
    with nullcontext() if stands else pytest.raises(ValueError, match="`L_knee` must be placed"):
        leg.LegRig(centres)


def test_toed_out_feet_turn_about_their_own_length():
    centres = tamsin_centres()
    out = np.radians(20)
    for name in ("heel", "ball", "toe"):
        x, y, z = centres["L_" + name] - centres["L_ankle"] * [1, 0, 1]
        centres["L_" + name] = centres["L_ankle"] * [1, 0, 1] + [
            x + z * np.sin(out),
            y,
            z * np.cos(out),
        ]
    rig = leg.LegRig(centres)
    assert_allclose(rig.pose().world, rig.skeleton.rest_world, atol=1e-12)
    rolled = rig.pose({"L_foot": {"roll": 0.3}})
    assert_allclose(at(rig, rolled, "L_toe"), centres["L_toe"], atol=1e-12)


# --- forward and inverse ---


def test_lowering_the_pelvis_sinks_a_forward_leg_and_bends_an_inverse_one():
    rig = rig_of("Tamsin")
    lower = {"pelvis": {"shift_y": -0.1}}
    pose = rig.pose(lower, inverse={"L_": False, "R_": True})
    rest = rig.pose()
    assert_allclose(at(rig, pose, "L_toe") - at(rig, rest, "L_toe"), [0, -0.1, 0], atol=1e-12)
    assert_allclose(at(rig, pose, "R_toe"), at(rig, rest, "R_toe"), atol=1e-12)
    assert pose.flexion[1] > 0.5 > pose.flexion[0]


@few
@given(names, seeds)
def test_bones_keep_their_length_whatever_is_asked(name, rng):
    rig = rig_of(name)
    values = inverse_values(rig, rng, 20)
    values["L_foot"]["shift_y"] *= 6  # out of reach, far and near
    for pose in (rig.pose(values), rig.pose(forward_values(rig, rng, 20), inverse=False)):
        assert_allclose(
            bone_lengths(rig, pose.world),
            np.tile(bone_lengths(rig, rig.skeleton.rest_world), (20, 1)),
            atol=1e-9,
        )
        turns = pose.world[..., :3, :3]
        assert_allclose(
            np.swapaxes(turns, -1, -2) @ turns, np.broadcast_to(np.eye(3), turns.shape), atol=1e-9
        )
        assert (np.linalg.det(turns) > 0).all()


@few
@given(names, seeds)
def test_the_end_is_on_its_goal_or_misses_by_what_is_said(name, rng):
    rig = rig_of(name)
    values = inverse_values(rig, rng, 20)
    for tag in ("L_", "R_"):
        values[tag + "foot"] |= dict.fromkeys(("heel", "ball", "tip"), 0.0)
    pose = rig.pose(values)
    for side, tag in enumerate(("L_", "R_")):
        ankle = ft.roll(rig._feet[side, side + 1], values[tag + "foot"]["roll"][:, None]).ankle[
            :, 0
        ]
        goal = fr.apply(
            pose.controls[tag + "foot"],
            np.stack([0 * ankle[:, 0], ankle[:, 1], ankle[:, 0]], axis=-1),
        )
        assert_allclose(
            np.linalg.norm(at(rig, pose, tag + rig.chain[-1]) - goal, axis=-1),
            pose.miss[:, side],
            atol=1e-9,
        )


@few
@given(names, seeds, st.sampled_from([(True, False), (False, True), (False, False)]))
def test_forward_to_inverse_makes_no_jump(name, rng, inverse):
    rig = rig_of(name)
    inverse = dict(zip(("L_", "R_"), inverse, strict=True))
    before = rig.pose(forward_values(rig, rng, 6), inverse=inverse)
    matched = rig.match(before)
    for chains in (True, False, inverse):
        after = rig.pose(matched, inverse=chains)
        assert_allclose(after.world, before.world, atol=1e-9)
        assert after.miss.max() < 1e-9


@few
@given(names, seeds)
def test_inverse_to_forward_makes_no_jump(name, rng):
    rig = rig_of(name)
    before = rig.pose(inverse_values(rig, rng, 6))
    clear = (before.flexion > 1e-3).all(axis=-1) & (before.flexion < 3.1).all(axis=-1)
    matched = rig.match(before)
    for chains in (False, True, {"L_": True, "R_": False}):
        after = rig.pose(matched, inverse=chains)
        assert_allclose(after.world[clear], before.world[clear], atol=1e-9)
        assert_allclose(after.world, before.world, atol=1e-6)


@pytest.mark.parametrize("name", ["Tamsin", "heron"])
@pytest.mark.parametrize("flexion", [0.0, 1e-9, 1e-6, np.pi - 1e-6])
def test_straight_and_folded_legs_change_chains_too(name, flexion):
    rig = rig_of(name)
    bend = rig.chain[-2] + "_turn"
    value = rig._way * (flexion - rig._rest_flexion)
    before = rig.pose(
        {tag + bend: {"turn_x": v} for tag, v in zip(("L_", "R_"), value, strict=True)},
        inverse=False,
    )
    assert_allclose(before.flexion, flexion, atol=1e-12)
    after = rig.pose(rig.match(before))
    assert_allclose(after.world, before.world, atol=2e-7)


@few
@given(seeds)
def test_matching_undoes_soft_reach(rng):
    rig = rig_of("Tamsin", soft=0.05)
    before = rig.pose(forward_values(rig, rng, 10, bent=0.02), inverse=False)
    matched = rig.match(before)
    assert_allclose(rig.pose(matched).world, before.world, atol=1e-9)
    reach = rig.pose({"pelvis": {"shift_y": np.linspace(0, 0.3, 50)}})
    assert (np.diff(reach.flexion[:, 0]) < 0).all()  # always a little further, never straight
    assert reach.flexion.min() > 0


def test_chains_may_change_from_frame_to_frame(rng):
    rig = rig_of("Tamsin")
    values = rig.match(rig.pose(forward_values(rig, rng), inverse=False))
    values["pelvis"]["shift_y"] = values["pelvis"]["shift_y"] + np.linspace(0, -0.1, 5)
    which = {"L_": np.array([True, True, False, False, True]), "R_": np.array([False])}
    mixed = rig.pose(values, which)
    for chain in (True, False):
        alone = rig.pose(values, chain)
        left = [rig.skeleton.index("L_" + part) for part in (*rig.chain, "ball", "toe")]
        frames = which["L_"] == chain
        assert_allclose(mixed.world[frames][:, left], alone.world[frames][:, left], atol=1e-12)


# --- the knee's side ---


def test_the_knee_turns_toward_its_control():
    rig = rig_of("Tamsin")
    crouch = {"pelvis": {"shift_y": -0.2}, "L_knee": {"shift_x": 0.5}}
    pose, straight = rig.pose(crouch), rig.pose({"pelvis": {"shift_y": -0.2}})
    assert at(rig, pose, "L_knee")[0] > at(rig, straight, "L_knee")[0] + 0.05
    assert_allclose(at(rig, pose, "R_knee"), at(rig, straight, "R_knee"), atol=1e-12)


def test_the_heron_bends_backward_and_its_thigh_is_posed_by_its_hip():
    rig = rig_of("heron")
    crouch = rig.pose({"pelvis": {"shift_y": -0.2}})
    assert at(rig, crouch, "L_ankle")[2] < at(rig, rig.pose(), "L_ankle")[2] - 0.1
    assert_allclose(at(rig, crouch, "L_foot"), at(rig, rig.pose(), "L_foot"), atol=1e-12)
    lifted = rig.pose({"pelvis": {"shift_y": -0.2}, "L_hip_turn": {"turn_x": -0.4}})
    assert at(rig, lifted, "L_knee")[1] > at(rig, crouch, "L_knee")[1] + 0.05
    assert_allclose(at(rig, lifted, "L_foot"), at(rig, crouch, "L_foot"), atol=1e-12)


@pytest.mark.parametrize("off", [0, 1e-9, -1e-9])
def test_a_pole_on_the_line_is_said_and_stays_finite(off):
    rig = rig_of("Tamsin")
    hip, pole = (
        rig.pose().world[rig.skeleton.index("L_hip"), :3, 3],
        rig.pose().controls["L_knee"][:3, 3],
    )
    shift = dict(zip(ct.CHANNELS[:3], hip + [0, 0.3, off] - pole, strict=True))
    pose = rig.pose({"L_knee": shift})
    assert pose.guided.tolist() == [False, True]
    assert_allclose(pose.world, rig.skeleton.rest_world, atol=1e-6)  # the preset bend's side


# --- the foot ---


@few
@given(names, st.floats(-1.5, 1.5))
def test_rolling_keeps_the_pivot_and_nothing_sinks(name, roll):
    rig = rig_of(name, 30.0)
    pose = rig.pose({tag + "foot": {"roll": roll} for tag in ("L_", "R_")})
    heel = rig.skeleton.rest_world[rig.skeleton.index("L_" + rig.chain[-1])]
    heel = fr.apply(fr.invert(heel), rig._sole[0, 1] + heel[:3, 3] - rig._sole[0, 0])
    end = pose.world[rig.skeleton.index("L_" + rig.chain[-1])]
    if pose.miss[0] < 1e-9:
        for place in (at(rig, pose, "L_toe"), at(rig, pose, "L_ball"), fr.apply(end, heel)):
            assert place[1] > -1e-9
        # where ball and toe share the roll, only the toe's tip stays
        shared = roll > ft.BALL_LIMIT - ft.EASE
        pivot = "L_toe" if shared else "L_ball" if roll >= 0 else None
        still = at(rig, pose, pivot) if pivot else fr.apply(end, heel)
        before = (
            at(rig, rig.pose(), pivot)
            if pivot
            else fr.apply(rig.skeleton.rest_world[rig.skeleton.index("L_" + rig.chain[-1])], heel)
        )
        assert_allclose(still, before, atol=1e-9)


def test_toe_bends_at_the_ball_and_roll_is_limited():
    rig = rig_of("Tamsin")
    pose = rig.pose({"L_foot": {"toe": -0.5}})
    assert at(rig, pose, "L_toe")[1] > 0.02
    assert_allclose(at(rig, pose, "L_ball"), at(rig, rig.pose(), "L_ball"), atol=1e-12)
    assert_array_equal(
        rig.pose({"L_foot": {"roll": 99.0}}).world, rig.pose({"L_foot": {"roll": np.pi / 2}}).world
    )


@few
@given(names, st.floats(-1.5, 1.5))
def test_the_three_turns_of_a_roll_may_be_given_one_by_one(name, roll):
    rig = rig_of(name, 30.0)
    turns = dict(zip(("heel", "ball", "tip"), ft.turns(roll), strict=True))
    assert_allclose(
        rig.pose({"R_foot": turns}).world, rig.pose({"R_foot": {"roll": roll}}).world, atol=1e-12
    )


@few
@given(names, seeds)
def test_a_foots_turns_are_those_of_pivots_hung_from_each_other(name, rng):
    rig = rig_of(name, 40.0)
    heel, ball, tip = turns = rng.uniform(-0.3, 0.3, (3, 6))
    roll = rng.uniform(-0.5, 0.9, 6)
    given = {"roll": roll} | dict(zip(("heel", "ball", "tip"), turns, strict=True))
    pose = rig.pose({"L_foot": given | {"shift_y": 0.1, "turn_y": 0.3}})
    points = dict(zip(ft.PIVOTS, rig._sole[0, 1:], strict=True))
    order = ("heel", "toe", "ball")
    chain = [
        ct.Control(one, pivot=points[one], parent=leader)
        for one, leader in zip(order, (None, *order), strict=False)
    ]
    summed = dict(zip(ft.PIVOTS, np.add(ft.turns(roll), [heel, ball, tip]), strict=True))
    worlds = ct.pose(chain, {one: {"turn_x": turn} for one, turn in summed.items()})
    inside = pose.miss[:, 0] < 1e-9
    for joint, point in (("L_" + rig.chain[-1], rig._sole[0, 0]), ("L_ball", points["ball"])):
        wanted = fr.apply(pose.controls["L_foot"], fr.apply(worlds["ball"], point))
        assert_allclose(pose[joint][inside, :3, 3], wanted[inside], atol=1e-9)


# --- both sides, batches ---


@few
@given(names, seeds)
def test_mirrored_values_make_a_mirrored_pose(name, rng):
    rig = rig_of(name)
    signs = dict(zip(ct.CHANNELS, (-1, 1, 1, 1, -1, -1), strict=True))
    for values, inverse in ((inverse_values(rig, rng), True), (forward_values(rig, rng), False)):
        values["pelvis"] = {
            channel: v for channel, v in values["pelvis"].items() if signs[channel] > 0
        }
        for control in [name for name in values if name.startswith("L_")]:
            values["R_" + control[2:]] = {
                c: signs.get(c, 1) * v for c, v in values[control].items()
            }
        error = placement.mirror_error(rig.skeleton, rig.pose(values, inverse).world)
        assert error.cm.max() < 1e-7
        assert error.deg.max() < 1e-4


@few
@given(names, seeds)
def test_batch_equals_loop(name, rng):
    rig = rig_of(name)
    values = inverse_values(rig, rng, 2, 3) | {
        name: v for name, v in forward_values(rig, rng, 3).items() if name.endswith("_turn")
    }
    which = {"L_": rng.random((2, 3)) < 0.5}
    together = rig.pose(values, which)
    assert together.world.shape == (2, 3, len(rig.skeleton), 4, 4)
    for i in np.ndindex(2, 3):
        one = rig.pose(
            {n: {c: v[i[-v.ndim :]] for c, v in group.items()} for n, group in values.items()},
            {"L_": which["L_"][i]},
        )
        for part in ("world", "miss", "flexion"):
            assert_allclose(getattr(one, part), getattr(together, part)[i], atol=1e-9)
        assert_array_equal(one.guided, together.guided[i])


def test_integers_and_lists_equal_floats():
    rig = rig_of("Tamsin")
    assert_array_equal(
        rig.pose({"L_foot": {"turn_x": [0, 1], "roll": 1}}).world,
        rig.pose({"L_foot": {"turn_x": np.array([0.0, 1.0]), "roll": 1.0}}).world,
    )


# --- controls of one's own ---


def test_a_knee_control_may_follow_the_foot_without_a_jump(rng):
    rig = rig_of("Tamsin")
    values = inverse_values(rig, rng)
    before = rig.pose(values)
    knee = next(control for control in rig.controls if control.name == "L_knee")
    other = rig.with_controls(ct.switch(knee, "L_foot", before.controls, values["L_knee"]))
    assert_allclose(other.pose(values).world, before.world, atol=1e-9)
    values["L_foot"]["turn_y"] += 0.7
    moved = other.pose(values).controls["L_knee"] - rig.pose(values).controls["L_knee"]
    assert np.linalg.norm(moved[:3, 3]) > 0.1
    before = other.pose(forward_values(rig, rng), inverse=False)
    assert_allclose(other.pose(other.match(before)).world, before.world, atol=1e-9)
    # The first rig is as it was.
    assert_array_equal(rig.pose().world, rig_of("Tamsin").pose().world)


def test_a_knee_control_may_follow_the_thigh_of_a_forward_leg():
    rig = rig_of("Tamsin")
    knee = next(control for control in rig.controls if control.name == "L_knee")
    other = rig.with_controls(replace(knee, parent="R_hip_turn"))
    pose = other.pose({"R_hip_turn": {"turn_y": 0.5}})
    gap = fr.relative(rig.skeleton.rest_world[rig.skeleton.index("R_hip")], knee.rest)
    assert_allclose(
        fr.relative(pose.controls["R_hip_turn"], pose.controls["L_knee"]), gap, atol=1e-12
    )
    assert np.linalg.norm(pose.controls["L_knee"][:3, 3] - knee.rest[:3, 3]) > 0.1


def test_with_controls_refuses_strangers_and_circles():
    rig = rig_of("Tamsin")
    with pytest.raises(
        ValueError, match="unknown control 'tail' in `changed`; this rig has pelvis, L_foot"
    ):
        rig.with_controls(ct.Control("tail"))
    with pytest.raises(ValueError, match="circle"):
        rig.with_controls(ct.Control("pelvis", parent="L_knee"))


# --- joints by name, poses by place ---


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
@pytest.mark.parametrize("name", ["Tamsin", "heron"])
def test_a_pose_gives_its_joints_by_name(name, shape, rng):
    rig = rig_of(name)
    pose = rig.pose(inverse_values(rig, rng, *shape))
    for i, joint in enumerate(rig.skeleton.names):
        assert_array_equal(pose[joint], pose.world[..., i, :, :])
    with pytest.raises(ValueError, match="unknown joint 'knee'; there are pelvis, L_hip, R_hip"):
        pose["knee"]


@pytest.mark.parametrize("key", [0, -1, slice(1, None), (1, 2), (slice(None), 0), [1, 0], ...])
def test_a_part_of_a_batch_is_that_of_its_arrays(key, rng):
    rig = rig_of("Tamsin")
    pose = rig.pose(inverse_values(rig, rng, 2, 3), {"L_": True, "R_": False})
    part = pose[key]
    for field in ("world", "flexion", "miss", "guided"):
        assert_array_equal(getattr(part, field), getattr(pose, field)[key])
    for control, frames in pose.controls.items():
        assert_array_equal(part.controls[control], frames[key])
    assert_allclose(rig.match(part)["pelvis"]["shift_x"], part["pelvis"][..., 0, 3])
    assert part.names == pose.names
    assert len(list(pose)) == 2


def test_angles_are_given_by_name(rng):
    hip, knee, ankle = np.split(rng.uniform(-1, 1, (4, 2, 7)), (3, 4), axis=-1)
    angles = leg.LegAngles(hip, knee[..., 0], ankle)
    for side, tag in enumerate(("L_", "R_")):
        assert_array_equal(angles[tag + "hip"], hip[:, side])
        assert_array_equal(angles[tag + "knee"], knee[:, side, 0])
        assert_array_equal(angles[tag + "ankle"], ankle[:, side])
    with pytest.raises(ValueError, match="unknown joint 'L_toe'; there are L_hip, L_knee, L_ankle"):
        angles["L_toe"]


def test_there_is_no_entry_beyond_a_batch_and_none_in_a_single_pose():
    rig = rig_of("Tamsin")
    one, three = rig.pose(), rig.pose({"pelvis": {"shift_y": [0, -0.1, -0.2]}})
    for record, wrong in ((one, 0), (three, 3), (three, -4), (three, (0, 0))):
        with pytest.raises(IndexError):
            record[wrong]


# --- anatomical angles ---


@few
@given(seeds, st.sampled_from(["Tamsin", "Odo", "Pip"]))
def test_angles_go_out_and_come_back(rng, name):
    rig = rig_of(name)
    angles = leg.LegAngles(
        rng.uniform(-1, 1, (4, 2, 3)), rng.uniform(0.1, 2, (4, 2)), rng.uniform(-1, 1, (4, 2, 3))
    )
    pose = rig.pose(rig.values_from_angles(angles), inverse=False)
    read = rig.angles(pose)
    for part in ("hip", "knee", "ankle"):
        assert_allclose(getattr(read, part), getattr(angles, part), atol=1e-9)
    assert_allclose(pose.flexion, angles.knee, atol=1e-9)


def test_each_angle_does_what_it_is_called():
    rig = rig_of("Tamsin")

    def moved(**angles):
        pose = rig.pose(rig.values_from_angles(leg.LegAngles(**angles)), inverse=False)
        return pose.world[rig._at]  # left, right

    straight = moved()
    assert_allclose(straight[:, 0, :3, :3], np.tile(np.eye(3), (2, 1, 1)), atol=1e-12)
    flexed = moved(hip=[[0.3, 0, 0]] * 2, knee=[0.0, 0.3])
    assert (flexed[:, 1, 2, 3] > straight[:, 1, 2, 3] + 0.1).all()  # both knees forward
    assert flexed[1, 2, 2, 3] < flexed[0, 2, 2, 3] - 0.1  # the bent one's ankle further back
    apart = moved(hip=[[0, 0.3, 0]] * 2)
    assert apart[0, 2, 0, 3] > straight[0, 2, 0, 3] + 0.1
    assert apart[1, 2, 0, 3] < straight[1, 2, 0, 3] - 0.1
    inward = moved(hip=[[0, 0, 0.3]] * 2)
    assert inward[0, -1, 0, 3] < straight[0, -1, 0, 3] - 0.02
    assert inward[1, -1, 0, 3] > straight[1, -1, 0, 3] + 0.02
    toes_up = moved(ankle=[[0.3, 0, 0]] * 2)
    assert (toes_up[:, -1, 1, 3] > straight[:, -1, 1, 3] + 0.02).all()


def test_angles_are_for_two_bones():
    rig = rig_of("heron")
    for ask in (lambda: rig.angles(rig.pose()), lambda: rig.values_from_angles(leg.LegAngles())):
        with pytest.raises(ValueError, match="legs of 3"):
            ask()


# --- bad input ---


def changed(**changes):
    return {
        name: place for name, place in (tamsin_centres() | changes).items() if place is not None
    }


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: leg.LegRig("Tamsin"), "centres"),
        (
            lambda: leg.LegRig(changed(L_knee=None)),
            "no L_knee in `centres`; a rig has L_ankle, L_ball",
        ),
        (lambda: leg.LegRig(changed(L_tail=[0, 0, 0])), "unknown L_tail in `centres`"),
        (
            lambda: leg.LegRig(changed(R_hip=[0, 0, 0])),
            "no R_ankle, R_ball, R_heel, R_knee, R_toe in `centres`",
        ),
        (lambda: leg.LegRig(changed(L_knee=[0.085, 0.5, np.nan])), "L_knee"),
        (lambda: leg.LegRig(changed(L_knee=[[0.085, 0.5, 0]] * 2)), "one point"),
        (
            lambda: leg.LegRig(changed(L_knee=[0.085, 0.5, -0.05])),
            "bends forward; got a bend 180° off",
        ),
        (lambda: leg.LegRig(changed(L_knee=[0.185, 0.5, 0.0])), "bends forward; got a bend"),
        (lambda: leg.LegRig(changed(L_toe=[0.085, 0.1, 0.2])), "toe"),
        (lambda: leg.LegRig(changed(L_toe=[0.085, 0, -0.2])), "forward"),
        (lambda: leg.LegRig.from_puppet("tamsin"), "puppet"),
        (lambda: leg.LegRig.from_puppet(PUPPETS["Tamsin"], -5), "preset_bend_deg"),
        (lambda: leg.LegRig(tamsin_centres(), soft=-0.1), "soft"),
        (lambda: rig_of("Tamsin").pose({"L_hand": {}}), "Unknown control 'L_hand'"),
        (lambda: rig_of("Tamsin").pose({"L_foot": {"lift": 1}}), "Unknown channel 'lift'"),
        (lambda: rig_of("Tamsin").pose({"L_foot": 1}), "mapping of channels"),
        (lambda: rig_of("Tamsin").pose({"L_foot": {"roll": np.nan}}), "L_foot roll"),
        (lambda: rig_of("Tamsin").pose({"L_knee": {"roll": 0}}), "Unknown channel 'roll'"),
        (
            lambda: rig_of("Tamsin").pose(
                {"L_foot": {"roll": [1, 2]}, "pelvis": {"turn_x": [1, 2, 3]}}
            ),
            "broadcast",
        ),
        (lambda: rig_of("Tamsin").pose(inverse="left"), "inverse"),
        (lambda: rig_of("Tamsin").pose(inverse={"left": True}), "inverse"),
        (lambda: rig_of("Tamsin").pose(inverse={"L_": 1}), "inverse"),
        (lambda: leg.LegAngles(knee=[np.inf, 0]), "knee"),
    ],
)
def test_bad_input_is_refused_by_name(build, message):
    with pytest.raises(ValueError, match=message):
        build()
