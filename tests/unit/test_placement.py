from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from rigkit import frames as fr
from rigkit import placement, rotation
from rigkit.skeleton import Skeleton

STRAIGHT = np.array([[0.1, 0.9, 0.0], [0.1, 0.5, 0.0], [0.1, 0.1, 0.0]])
BENT = np.array([[0.1, 0.9, 0.0], [0.1, 0.5, 0.05], [0.1, 0.1, 0.0]])

vectors = st.lists(st.floats(-1, 1), min_size=3, max_size=3).map(np.array)
seeds = st.integers(0, 2**32 - 1).map(np.random.default_rng)
quick = settings(max_examples=40, deadline=None)


@pytest.fixture
def rng():
    return np.random.default_rng(0)


def random_turns(rng, *shape):
    return rotation.matrix_from_vector(rng.normal(size=(*shape, 3)))


def two_legs(rng=None):
    names = ["hip", "knee", "ankle"]
    world, parents = {"pelvis": fr.frame(origin=[0, 1, 0])}, {"pelvis": None}
    turns = np.broadcast_to(np.eye(3), (3, 3, 3)) if rng is None else random_turns(rng, 3)
    for above, name, turn, place in zip(
        ["pelvis", "L_hip", "L_knee"], names, turns, BENT, strict=True
    ):
        world[f"L_{name}"], parents[f"L_{name}"] = fr.frame(turn, place), above
    return placement.mirror_skeleton(Skeleton.from_world(world, parents))


# --- orient_chain ---


def test_a_straight_leg_facing_forward_is_not_turned():
    frames = placement.orient_chain(STRAIGHT)
    np.testing.assert_array_equal(frames[:, :3, :3], np.broadcast_to(np.eye(3), (3, 3, 3)))
    np.testing.assert_array_equal(frames[:, :3, 3], STRAIGHT)


def test_y_points_up_each_bone_and_x_is_the_normal_of_the_bend_plane(rng):
    for _ in range(20):
        points = rng.normal(size=(3, 3))
        frames = placement.orient_chain(points, forward=rng.normal(size=3))
        bones = np.diff(points, axis=0)
        normal = np.cross(*bones)
        np.testing.assert_allclose(np.cross(frames[:2, :3, 1], -bones), 0, atol=1e-14)
        assert (np.sum(frames[:2, :3, 1] * bones, axis=-1) < 0).all()
        np.testing.assert_allclose(
            frames[:, :3, 0], np.broadcast_to(normal / np.linalg.norm(normal), (3, 3)), atol=1e-12
        )
        np.testing.assert_array_equal(frames[2, :3, :3], frames[1, :3, :3])


def test_positive_turn_about_the_hinge_flexes_the_knee():
    _hip, knee, ankle = placement.orient_chain(BENT)
    before = rotation.angle_between(BENT[1] - BENT[0], BENT[2] - BENT[1])
    shank = fr.rotate_vectors(
        knee @ fr.frame(rotation.matrix_about("x", 0.3)) @ fr.invert(knee),
        ankle[:3, 3] - knee[:3, 3],
    )
    assert rotation.angle_between(BENT[1] - BENT[0], shank) == pytest.approx(before + 0.3)
    assert shank[2] < (BENT[2] - BENT[1])[2]  # the shank goes backward


def test_a_bend_to_the_other_side_is_told_by_bends():
    heron = np.array([[0, 1.2, 0], [0, 1.0, 0.05], [0, 0.5, -0.3], [0, 0.03, 0.0]])
    frames = placement.orient_chain(heron, knee_direction=(1, -1))
    np.testing.assert_allclose(frames[:, :3, 0], np.tile([1, 0, 0], (4, 1)), atol=1e-15)
    against = placement.orient_chain(heron)
    np.testing.assert_allclose(against[2, :3, 0], [-1, 0, 0], atol=1e-15)


def test_two_joints_take_their_hinge_from_forward():
    frames = placement.orient_chain(STRAIGHT[:2], forward=[0, 1, 1])
    np.testing.assert_allclose(frames[:, :3, :3], np.broadcast_to(np.eye(3), (2, 3, 3)), atol=1e-15)


def test_forward_counts_only_below_the_least_bend():
    sideways = STRAIGHT.copy()
    sideways[1, 0] += 0.4 * np.tan(np.radians(0.6))  # a bend of 1.2 degrees
    for forward in ([0, 0, 1], [1, 0, 1], [-1, 0, 0.2]):
        np.testing.assert_allclose(
            placement.orient_chain(sideways, forward)[1, :3, 0], [0, 0, -1], atol=1e-14
        )
    half_way = placement.orient_chain(sideways, least_bend_deg=5)[1, :3, 0]
    assert 0.1 < half_way[0] < 0.99


@quick
@given(seeds, st.floats(0.05, 20), st.floats(0.01, 30))
def test_the_hinge_is_the_stated_sum(rng, bend_deg, least_deg):
    turn = rotation.matrix_from_vector(rng.normal(size=3))
    upper, axis, forward = (
        turn @ [0, -1, 0],
        turn @ [1, 0, 0],
        turn @ [0.5, 0.1, 1] / np.linalg.norm([0.5, 0.1, 1]),
    )
    lower = rotation.matrix_about(axis, np.radians(bend_deg)) @ upper
    frames = placement.orient_chain(
        np.cumsum([[0, 1, 0], 0.4 * upper, 0.3 * lower], axis=0),
        7 * forward,
        least_bend_deg=least_deg,
    )
    least = np.sin(np.radians(least_deg))
    share = max(0, 1 - np.sin(np.radians(bend_deg)) / least) ** 2
    wanted = np.cross(upper, lower) + least * share * np.cross(forward, lower)
    np.testing.assert_allclose(frames[1, :3, 0], wanted / np.linalg.norm(wanted), atol=1e-9)


@quick
@given(seeds, st.floats(0, 2 * np.pi))
def test_the_hinge_is_continuous_through_straight(rng, heading):
    # Bends from 3 degrees down to none, all around: the smaller the steps, the smaller the hinge's
    # steps.
    heading = heading + np.array([0.0, 1e-4])
    offsets = 0.2 * np.tan(np.radians(np.linspace(0, 3, 400)))[:, None]
    points = np.tile(STRAIGHT, (400, 2, 1, 1))
    points[..., 1, 0] += offsets * np.sin(heading)
    points[..., 1, 2] += offsets * np.cos(heading)
    hinges = placement.orient_chain(points)[:, :, 1, :3, 0]
    toward_back = np.cos(heading[0]) < -0.9  # where the one jump lies
    if not toward_back:
        assert rotation.angle_between(hinges[1:, 0], hinges[:-1, 0]).max() < 0.1
        assert rotation.angle_between(hinges[:, 0], hinges[:, 1]).max() < 2e-3
    np.testing.assert_allclose(hinges[0, 0], [1, 0, 0], atol=1e-12)


@pytest.mark.parametrize("offset", [0, 1e-15, 1e-12, 1e-9, -1e-9])
@pytest.mark.parametrize("axis", [0, 2])
def test_straight_and_almost_straight_agree(offset, axis):
    points = STRAIGHT.copy()
    points[1, axis] += offset
    np.testing.assert_allclose(
        placement.orient_chain(points)[:, :3, :3], np.broadcast_to(np.eye(3), (3, 3, 3)), atol=1e-6
    )


def test_folded_leg_has_finite_frames():
    frames = placement.orient_chain([[0, 1, 0], [0, 0.5, 0], [0, 0.9, 0]])
    np.testing.assert_allclose(
        frames[:, :3, :3] @ np.swapaxes(frames[:, :3, :3], -1, -2),
        np.broadcast_to(np.eye(3), (3, 3, 3)),
        atol=1e-14,
    )


def test_the_one_jump_is_finite():
    share = (3 - np.sqrt(5)) / 2  # where t = (1 − t)²
    sine = share * np.sin(np.radians(1))
    upper, lower = np.array([0.0, -0.4, 0.0]), 0.4 * np.array([0.0, -np.sqrt(1 - sine**2), sine])
    points = np.cumsum([[0, 1, 0], upper, lower], axis=0)
    assert np.isfinite(placement.orient_chain(points)).all()


def test_orient_chain_batch_equals_loop(rng):
    points = rng.normal(size=(5, 2, 4, 3))
    forward = rng.normal(size=(2, 3))
    together = placement.orient_chain(points, forward, knee_direction=(1, -1))
    for i in range(5):
        for j in range(2):
            np.testing.assert_allclose(
                placement.orient_chain(points[i, j], forward[j], knee_direction=(1, -1)),
                together[i, j],
                atol=1e-14,
            )


def test_integers_and_lists_equal_floats():
    np.testing.assert_array_equal(
        placement.orient_chain([[0, 2, 0], [0, 1, 1], [0, 0, 0]], (0, 0, 1)),
        placement.orient_chain(np.array([[0, 2, 0], [0, 1, 1], [0, 0, 0]], float)),
    )
    assert placement.skin_slide([0, 0, 1], 1) == placement.skin_slide(np.array([0.0, 0, 1]), 1.0)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"points": [[0, 0, 0], [0, 0, 0]]}, "neighbouring joint centres"),
        ({"points": [[0, 0, 0]]}, "at least two"),
        ({"points": STRAIGHT, "forward": (0, 1, 0)}, "runs along it"),
        ({"points": STRAIGHT, "knee_direction": 2}, "knee_direction"),
        ({"points": STRAIGHT, "knee_direction": (1, 1)}, "knee_direction"),
        ({"points": STRAIGHT, "least_bend_deg": 0}, "least_bend_deg"),
        ({"points": STRAIGHT, "least_bend_deg": 90}, "least_bend_deg"),
        ({"points": STRAIGHT, "least_bend_deg": [1, 2]}, "least_bend_deg"),
        ({"points": STRAIGHT * np.nan}, "points"),
        ({"points": "knee"}, "points"),
    ],
)
def test_orient_chain_refuses(arguments, message):
    with pytest.raises(ValueError, match=message):
        placement.orient_chain(**arguments)


SIGNED = [sign + axis for axis in "xyz" for sign in ("", "-")]
NAMINGS = [(child, hinge) for child in SIGNED for hinge in SIGNED if child[-1] != hinge[-1]]


def unit(axis):
    return (-1 if axis.startswith("-") else 1) * np.eye(3)["xyz".index(axis[-1])]


@pytest.mark.parametrize(("child", "hinge"), NAMINGS)
def test_the_axes_of_a_chain_may_be_named_otherwise(child, hinge, rng):
    points = np.cumsum(rng.normal(size=(3, 4, 3)), axis=-2)
    ours = placement.orient_chain(points)
    theirs = placement.orient_chain(points, child_axis=child, hinge_axis=hinge)
    np.testing.assert_array_equal(theirs[..., 3], ours[..., 3])
    bones = np.diff(points, axis=-2)
    bones /= np.linalg.norm(bones, axis=-1, keepdims=True)
    turns = theirs[..., :3, :3]
    np.testing.assert_allclose(turns[:, :-1] @ unit(child), bones, atol=1e-12)
    np.testing.assert_allclose(turns @ unit(hinge), ours[..., :3, 0], atol=1e-12)
    axis, off = fr.axis_toward(theirs[:, :-1], points[:, 1:])
    assert (axis == child).all()
    assert off.max() < 1e-7
    for turn, bone, x in zip(turns[0], bones[0], ours[0, :, :3, 0], strict=False):
        fitted, _ = Rotation.align_vectors([bone, x], [unit(child), unit(hinge)])
        np.testing.assert_allclose(turn, fitted.as_matrix(), atol=1e-7)


def test_one_axis_cannot_be_both():
    with pytest.raises(ValueError, match="`hinge_axis` must be another axis than `child_axis`"):
        placement.orient_chain(BENT, child_axis="y", hinge_axis="-y")
    with pytest.raises(ValueError, match="`child_axis` must be one of 'x', '-x'"):
        placement.orient_chain(BENT, child_axis="w")


# --- reorient, mirror, rename ---


@quick
@given(seeds)
def test_reorienting_moves_no_joint_and_turns_no_other(rng):
    skeleton = two_legs(rng)
    turned = placement.reorient(
        skeleton, {"L_hip": random_turns(rng), "R_knee": fr.frame(random_turns(rng))}
    )
    np.testing.assert_allclose(
        turned.rest_world[:, :3, 3], skeleton.rest_world[:, :3, 3], atol=1e-14
    )
    same = [i for i, name in enumerate(skeleton.names) if name not in ("L_hip", "R_knee")]
    np.testing.assert_allclose(turned.rest_world[same], skeleton.rest_world[same], atol=1e-14)
    assert turned.names == skeleton.names
    assert not np.allclose(
        turned.rest_world[turned.index("L_hip")], skeleton.rest_world[skeleton.index("L_hip")]
    )


def test_reorient_to_the_frames_of_orient_chain(rng):
    skeleton = two_legs(rng)
    chain = skeleton.chain("L_hip", "L_ankle")
    frames = placement.orient_chain(skeleton.origins(skeleton.rest_world, chain))
    turned = placement.reorient(skeleton, dict(zip(chain, frames, strict=True)))
    np.testing.assert_allclose(
        turned.rest_world[[turned.index(name) for name in chain]], frames, atol=1e-14
    )


def test_reorient_refuses_a_stranger_and_a_reflection():
    with pytest.raises(ValueError, match="L_toe"):
        placement.reorient(two_legs(), {"L_toe": np.eye(3)})
    with pytest.raises(ValueError, match="turn of L_hip"):
        placement.reorient(two_legs(), {"L_hip": -np.eye(3)})


@quick
@given(seeds, st.sampled_from(sorted(placement.MIRROR_KINDS)))
def test_mirrored_twice_is_the_same(rng, kind):
    world = {
        "pelvis": fr.frame(random_turns(rng), [0, 1, 0]),
        "L_hip": fr.frame(random_turns(rng), rng.normal(size=3)),
    }
    normal, through = rng.normal(size=(2, 3))
    once = placement.mirror_chain(world, kind, normal, through)
    assert set(once) == {"pelvis", "R_hip"}
    twice = placement.mirror_chain(once, kind, normal, through)
    for name, frame in world.items():
        np.testing.assert_allclose(twice[name], frame, atol=1e-12)
    turns = random_turns(rng, 4)
    np.testing.assert_array_equal(
        placement.mirror_rotations(placement.mirror_rotations(turns, kind), kind), turns
    )


@quick
@given(seeds, st.sampled_from(sorted(placement.MIRROR_KINDS)))
def test_mirrored_turns_make_the_mirrored_motion(rng, kind):
    left = fr.frame(random_turns(rng), rng.normal(size=3))
    right = placement.mirror_chain({"L_hip": left}, kind)["R_hip"]
    turn = random_turns(rng)
    moved = left @ fr.frame(turn)
    np.testing.assert_allclose(
        right @ fr.frame(placement.mirror_rotations(turn, kind)),
        placement.mirror_chain({"L_hip": moved}, kind)["R_hip"],
        atol=1e-12,
    )


@pytest.mark.parametrize(
    ("kind", "signs"),
    [("same bend", (1, -1, -1)), ("same numbers", (1, 1, 1)), ("reflection", (-1, -1, 1))],
)
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_what_a_mirrored_frame_does_to_each_turn(kind, signs, axis):
    turn = rotation.matrix_about(np.eye(3)[axis], 0.4)
    np.testing.assert_allclose(
        placement.mirror_rotations(turn, kind),
        rotation.matrix_about(np.eye(3)[axis], signs[axis] * 0.4),
        atol=1e-15,
    )


@quick
@given(seeds)
def test_the_same_numbers_on_both_sides_make_a_mirrored_pose(rng):
    legs = placement.mirror_skeleton(two_legs(rng), kind="same numbers")
    turns = {name: random_turns(rng, 5) for name in legs.names if name.startswith("L_")}
    both = turns | {placement.swap_side(name): turn for name, turn in turns.items()}
    world = legs.pose(both)
    error = placement.mirror_error(legs, world, kind="same numbers")
    assert error.cm.shape == (5, 3)
    assert error.cm.max() < 1e-10
    assert error.deg.max() < 1e-5
    # Another formula: origins alone, reflected by hand.
    left, right = (
        legs.origins(world, [tag + name for name in ("hip", "knee", "ankle")])
        for tag in ("L_", "R_")
    )
    np.testing.assert_allclose(right, left * [-1, 1, 1], atol=1e-12)


@quick
@given(seeds)
def test_all_axes_reversed_by_scipys_rotations(rng):
    turn = Rotation.random(rng=rng)
    left = {"L_hip": fr.frame(turn.as_matrix(), rng.normal(size=3))}
    right = placement.mirror_chain(left, "same numbers")["R_hip"]
    # A half turn about the plane's normal is the reflection of all three axes, each reversed.
    half = Rotation.from_rotvec([np.pi, 0, 0])
    np.testing.assert_allclose(right[:3, :3], (half * turn).as_matrix(), atol=1e-12)


def test_positive_flexion_on_each_kind_of_right_knee():
    left = dict(zip(["L_hip", "L_knee", "L_ankle"], placement.orient_chain(BENT), strict=True))
    shank = {}
    for kind in placement.MIRROR_KINDS:
        right = placement.mirror_chain(left, kind)
        knee, ankle = right["R_knee"], right["R_ankle"]
        turn = knee @ fr.frame(rotation.matrix_about("x", 0.3)) @ fr.invert(knee)
        shank[kind] = fr.apply(turn, ankle[:3, 3])[2] - ankle[2, 3]
        up = -1 if kind == "same numbers" else 1  # of the three, its y runs down the bone
        np.testing.assert_allclose(right["R_hip"][:3, 1], up * left["L_hip"][:3, 1], atol=1e-15)
    assert max(shank["same bend"], shank["same numbers"]) < 0  # backward: flexed
    assert shank["reflection"] > 0  # forward: bent the wrong way


def test_mirror_skeleton_pairs_all_joints_and_copies_either_way(rng):
    legs = two_legs(rng)
    assert set(legs.names) == {
        "pelvis",
        *(f"{s}_{n}" for s in "LR" for n in ("hip", "knee", "ankle")),
    }
    assert legs.parent("R_hip") == "pelvis"
    assert legs.parent("R_ankle") == "R_knee"
    back = placement.mirror_skeleton(legs, side="R_")
    for name in legs.names:
        np.testing.assert_allclose(
            back.rest_world[back.index(name)], legs.rest_world[legs.index(name)], atol=1e-14
        )
    with pytest.raises(ValueError, match="tag that joints carry"):
        placement.mirror_skeleton(Skeleton.from_world({"pelvis": np.eye(4)}, {"pelvis": None}))


@pytest.mark.parametrize(
    ("name", "swapped"),
    [
        ("L_hip", "R_hip"),
        ("R_Leg_L_", "L_Leg_L_"),
        ("pelvis", "pelvis"),
        ("HALL_ROPE", "HALL_ROPE"),
        ("Lower_leg", "Lower_leg"),
        ("R_L_R", "L_L_R"),
        ("l_hip", "l_hip"),
    ],
)
def test_swapping_sides_touches_no_letter_inside_words(name, swapped):
    assert placement.swap_side(name) == swapped


def test_rename_keeps_places_and_parents(rng):
    legs = two_legs(rng)
    swapped = placement.rename(legs, {name: placement.swap_side(name) for name in legs.names})
    assert swapped.parent("R_knee") == "R_hip"
    for name in legs.names:
        np.testing.assert_allclose(
            swapped.rest_world[swapped.index(placement.swap_side(name))],
            legs.rest_world[legs.index(name)],
            atol=1e-14,
        )
    with pytest.raises(ValueError, match="L_knee more than once"):
        placement.rename(legs, {"L_hip": "L_knee"})
    with pytest.raises(ValueError, match="L_toe"):
        placement.rename(legs, {"L_toe": "L_tip"})


# --- mirror_error ---


@quick
@given(seeds)
def test_mirror_error_of_a_mirrored_skeleton_is_zero(rng):
    error = placement.mirror_error(two_legs(rng))
    assert error.cm.max() < 1e-12
    assert error.deg.max() < 1e-5


def test_mirror_error_names_the_worst_joints(rng):
    legs = two_legs(rng)
    world = np.tile(legs.rest_world, (4, 1, 1, 1))
    world[1, legs.index("R_knee"), :3, 3] += [0.03, 0, 0.04]
    world[2, legs.index("R_ankle")] = world[2, legs.index("R_ankle")] @ fr.frame(
        rotation.matrix_about("z", 0.2)
    )
    error = placement.mirror_error(legs, world)
    assert error.farthest == "R_knee"
    assert error.most_turned == "R_ankle"
    assert error.cm.shape == error.deg.shape == (4, 3)
    assert error.cm[1, error.names.index("R_knee")] == pytest.approx(5.0)
    assert error.deg[2, error.names.index("R_ankle")] == pytest.approx(np.degrees(0.2))
    for i in range(4):
        np.testing.assert_allclose(
            placement.mirror_error(legs, world[i]).cm, error.cm[i], atol=1e-12
        )


def test_mirror_error_sees_the_wrong_kind_of_frame():
    assert placement.mirror_error(two_legs(), kind="reflection").deg == pytest.approx(180)


def test_mirror_error_refuses_a_joint_alone():
    legs = two_legs()
    lame = placement.rename(legs, {"R_ankle": "R_peg"})
    with pytest.raises(ValueError, match="no partner for L_ankle, R_peg"):
        placement.mirror_error(lame)
    with pytest.raises(ValueError, match="no tagged joint"):
        placement.mirror_error(Skeleton.from_world({"pelvis": np.eye(4)}, {"pelvis": None}))


# --- from motion ---


def swung(rng, centre, markers, frames=40, most=0.5):
    turns = rotation.matrix_from_vector(rng.normal(size=(frames, 3)) * most)
    return centre + np.einsum("fij,kj->fki", turns, markers)


def bent(point, axis, markers, angles):
    return point + np.einsum("fij,kj->fki", rotation.matrix_about(axis, angles), markers)


@quick
@given(seeds, st.integers(1, 4))
def test_sphere_fit_finds_the_centre_exactly(rng, count):
    centre, markers = rng.normal(size=3), rng.uniform(0.1, 0.4, size=(count, 3))
    found = placement.centre_of_rotation(swung(rng, centre, markers))
    np.testing.assert_allclose(found.centre, centre, atol=1e-9)
    np.testing.assert_allclose(found.radii, np.linalg.norm(markers, axis=-1), atol=1e-9)
    assert found.residual < 1e-10


@quick
@given(seeds, st.integers(1, 4))
def test_axis_fit_finds_the_hinge_exactly(rng, count):
    point, axis, markers = (
        rng.normal(size=3),
        rng.normal(size=3),
        rng.uniform(0.1, 0.4, size=(count, 3)),
    )
    axis /= np.linalg.norm(axis)
    markers = markers + 0.3 * np.cross(axis, [0.3, 1, 0])  # off the axis
    found = placement.hinge_axis_from_motion(
        bent(point, axis, markers, np.linspace(0, 1.2, 30)), toward=axis
    )
    np.testing.assert_allclose(found.axis, axis, atol=1e-8)
    np.testing.assert_allclose(np.cross(found.point - point, axis), 0, atol=1e-8)
    np.testing.assert_allclose(
        found.radii, np.linalg.norm(np.cross(axis, markers), axis=-1), atol=1e-8
    )
    assert found.residual < 1e-10


def test_noise_shows_in_residual_and_error(rng):
    markers = np.array([[0.05, -0.2, 0.1], [-0.05, -0.3, 0.1], [0.1, -0.35, 0.0]])
    clean = swung(rng, np.zeros(3), markers, frames=200, most=0.3)
    found = placement.centre_of_rotation(clean + rng.normal(size=clean.shape) * 0.002)
    assert 0.0018 < found.residual < 0.0022  # one direction in three, each with 2 mm
    assert np.linalg.norm(found.centre) < 4 * found.error
    small = swung(rng, np.zeros(3), markers, frames=200, most=0.05)
    assert (
        placement.centre_of_rotation(small + rng.normal(size=small.shape) * 0.002).error
        > 3 * found.error
    )


def test_a_centre_missed_on_a_short_arc_has_an_error_that_says_so(rng):
    swing = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    half = np.radians(5) / 2  # a marker 30 cm below the joint moves by 2.6 cm
    turns = rotation.matrix_about("z", half * np.sin(2 * swing) / 2) @ rotation.matrix_about(
        "x", half * np.cos(swing)
    )
    seen = (turns @ [0, -0.3, 0.06])[:, None] + rng.normal(size=(50, 60, 1, 3)) * 0.002
    found = placement.centre_of_rotation(seen)
    miss = np.linalg.norm(found.centre, axis=-1)
    assert np.median(miss) > 0.15
    assert np.count_nonzero(miss > 3 * found.error) <= 2
    assert np.isfinite(found.centre).all()


@pytest.mark.parametrize("markers", [[[0, -0.3, 0.06]], [[0, -0.3, 0], [0.1, -0.2, 0.1]]])
def test_noise_alone_and_a_hinge_with_noise_tell_no_centre(rng, markers):
    markers = np.array(markers)
    still = np.broadcast_to(markers, (60, *markers.shape))
    hinge = bent(np.zeros(3), [1, 0, 0], markers, np.linspace(0, 1, 60))
    for motion in (still, hinge):
        found = placement.centre_of_rotation(motion + rng.normal(size=(20, *motion.shape)) * 0.002)
        assert np.isinf(found.error).mean() >= 0.95


def test_as_many_unknowns_as_distances_leave_the_error_open(rng):
    markers = swung(rng, np.zeros(3), rng.uniform(0.1, 0.4, size=(1, 3)), frames=5)
    assert np.isinf(placement.centre_of_rotation(markers[:4]).error)
    assert placement.centre_of_rotation(markers).error < 1e-9


def test_markers_all_round_the_joint_have_an_error_as_good_as_any(rng):
    around = 0.2 * np.concatenate([np.eye(3), -np.eye(3)])  # their mean place is the joint itself
    clean = swung(rng, np.zeros(3), around)
    found = placement.centre_of_rotation(clean + rng.normal(size=clean.shape) * 0.001)
    assert np.linalg.norm(found.centre) < 3 * found.error
    assert found.error < 0.001


def one_miss(value, slope):
    """Misses of one marker in one frame, by one unknown, as `_gauss_newton` takes them."""

    def misses(_, at):
        return value(at)[..., None], slope(at)[..., None, None], None

    return misses


def test_a_step_that_overshoots_is_taken_back():
    # Newton's steps toward the zero of the arc tangent run away from beyond 1.39.
    misses = one_miss(np.arctan, lambda x: 1 / (1 + x**2))
    start = np.array([[0.1], [3.0], [-50.0]])
    at, settled = placement._gauss_newton(misses, None, start, np.add)
    np.testing.assert_allclose(at, 0, atol=1e-12)
    assert settled.all()


def test_steps_without_an_end_are_said_not_to_settle(rng, monkeypatch):
    endless = one_miss(lambda x: np.exp(-x), lambda x: -np.exp(-x))
    assert not placement._gauss_newton(endless, None, np.zeros((2, 1)), np.add)[1].any()
    motion = swung(rng, np.zeros(3), np.array([[0.1, 0.2, 0.3]]))
    motion += rng.normal(size=motion.shape) * 0.001
    assert np.isfinite(placement.centre_of_rotation(motion).error)
    stopped = partial(placement._gauss_newton, most=0)
    monkeypatch.setattr(placement, "_gauss_newton", stopped)
    assert np.isinf(placement.centre_of_rotation(motion).error)


def test_an_error_as_large_as_the_radius_is_infinite():
    # The centre is least certain along z, straight out from a marker 0.3 m away.
    slope = 0.01 * np.concatenate([np.eye(3), np.eye(3)])[:, None] * [100, 100, 1]
    radii, away = np.full((6, 1), 0.3), np.full((6, 1, 3), [0, 0, 0.3])
    certainty = 0.01 * np.sqrt(2)
    for share, said in ((0.5, 0.3), (0.99, 29.7), (1.0, np.inf), (1.5, np.inf)):
        variance = np.array((share * 0.3 * certainty) ** 2)
        found = placement._centre_error(variance, slope, radii, away)
        assert found == pytest.approx(said)


def test_fits_batch_equals_loop(rng):
    markers = rng.uniform(0.1, 0.4, size=(2, 3))
    swings = np.stack([swung(rng, rng.normal(size=3), markers) for _ in range(4)])
    swings += rng.normal(size=swings.shape) * 0.001
    hinges = np.stack(
        [bent(rng.normal(size=3), [1, 0.1, 0], markers, np.linspace(0, 1, 20)) for _ in range(4)]
    )
    hinges += rng.normal(size=hinges.shape) * 0.001
    balls, axes = placement.centre_of_rotation(swings), placement.hinge_axis_from_motion(hinges)
    for i in range(4):
        one, axis = (
            placement.centre_of_rotation(swings[i]),
            placement.hinge_axis_from_motion(hinges[i]),
        )
        np.testing.assert_allclose(one.centre, balls.centre[i], atol=1e-10)
        np.testing.assert_allclose(one.error, balls.error[i], atol=1e-10)
        np.testing.assert_allclose(axis.axis, axes.axis[i], atol=1e-10)
        np.testing.assert_allclose(axis.point, axes.point[i], atol=1e-10)
        np.testing.assert_allclose(axis.residual, axes.residual[i], atol=1e-10)


def test_axis_sense_follows_toward(rng):
    motion = bent(
        np.zeros(3), [1, 0.2, 0], rng.uniform(0.1, 0.4, size=(2, 3)), np.linspace(0, 1, 20)
    )
    left, right = (
        placement.hinge_axis_from_motion(motion, toward=t).axis for t in ([1, 0, 0], [-1, 0, 0])
    )
    np.testing.assert_array_equal(left, -right)
    assert left[0] > 0


def test_a_marker_on_the_axis_does_no_harm():
    on_and_off = np.array([[0.2, 0.0, 0.0], [0.0, 0.3, 0.0]])
    motion = bent(np.zeros(3), [1, 0, 0], on_and_off, np.linspace(0, 1, 20))
    found = placement.hinge_axis_from_motion(motion)
    np.testing.assert_allclose(found.axis, [1, 0, 0], atol=1e-9)
    np.testing.assert_allclose(found.radii, [0, 0.3], atol=1e-9)


@pytest.mark.parametrize("fit", [placement.centre_of_rotation, placement.hinge_axis_from_motion])
def test_fits_refuse_what_says_nothing(fit):
    still = np.tile([[0.1, 0.2, 0.3], [0.2, 0.2, 0.3]], (10, 1, 1))
    line = still + np.linspace(0, 1, 10)[:, None, None] * [1, 2, 3]
    with pytest.raises(ValueError, match="stand still"):
        fit(still)
    with pytest.raises(ValueError, match="only shift"):
        fit(line)
    with pytest.raises(ValueError, match=r"one plane|along a line"):
        fit(line[:, :1])
    with pytest.raises(ValueError, match="at least 4 frames"):
        fit(line[:3])
    with pytest.raises(ValueError, match="markers"):
        fit(np.zeros((5, 3)))


def test_sphere_fit_refuses_a_hinge_motion():
    motion = bent(
        np.zeros(3), [1, 0.2, 0.1], np.array([[0.1, 0.3, 0], [0, 0.2, 0.2]]), np.linspace(0, 1, 20)
    )
    with pytest.raises(ValueError, match="one plane"):
        placement.centre_of_rotation(motion)


# --- skin_slide ---


@quick
@given(vectors, vectors, st.floats(-7, 7), seeds)
def test_skin_slide_is_the_distance_between_the_two_turns(offset, axis, angle, rng):
    axis = axis + np.array([0.0, 0.0, 2.0])
    points, turn = rng.normal(size=(5, 3)), rotation.matrix_about(axis, angle)
    true, placed = points @ turn.T, (points - offset) @ turn.T + offset
    np.testing.assert_allclose(
        np.linalg.norm(placed - true, axis=-1),
        np.full(5, placement.skin_slide(offset, angle, axis)),
        atol=1e-12,
    )


def test_skin_slide_values_and_batch():
    assert placement.skin_slide([0.5, 0, 0.03], np.pi / 3) == pytest.approx(
        0.03
    )  # along the axis does not count
    assert placement.skin_slide([0, 0.02, 0], np.pi) == pytest.approx(0.04)
    assert placement.skin_slide([0, 0.02, 0], 2 * np.pi) == pytest.approx(0, abs=1e-15)
    assert placement.skin_slide(np.ones((4, 1, 3)), np.ones(5)).shape == (4, 5)
    with pytest.raises(ValueError, match="broadcast"):
        placement.skin_slide(np.ones((4, 3)), np.ones(5))
