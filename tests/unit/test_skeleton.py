"""Skeletons: parents first, forward chains, look-ups, side tags."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rigkit import frames, rotation
from rigkit.skeleton import Joint, Skeleton, other_side, planar_chain, side_of

CLOSE = {"rtol": 0, "atol": 1e-12}
numbers = st.floats(-3, 3, allow_subnormal=False)
turns = st.builds(rotation.matrix_from_vector, arrays(float, 3, elements=numbers))


def at(x, y, z):
    return frames.frame(origin=[x, y, z])


def legs():
    """A pelvis with two legs, given in a muddled order."""
    return Skeleton(
        [
            Joint("L_ankle", "L_knee", at(0, -0.4, 0)),
            Joint("R_knee", "R_hip", at(0, -0.4, 0)),
            Joint("pelvis", None, at(0, 0.9, 0)),
            Joint("L_hip", "pelvis", at(0.1, 0, 0)),
            Joint("R_ankle", "R_knee", at(0, -0.4, 0)),
            Joint("L_knee", "L_hip", at(0, -0.4, 0)),
            Joint("R_hip", "pelvis", at(-0.1, 0, 0)),
        ]
    )


# Building


def test_parents_come_before_children_whatever_the_order_given():
    skeleton = legs()
    assert len(skeleton) == 7
    assert (skeleton.parents < np.arange(7)).all()
    assert skeleton.names[0] == "pelvis"
    assert [skeleton.parent(name) for name in skeleton.names][1:] == [
        skeleton.names[i] for i in skeleton.parents[1:]
    ]


@given(st.integers(1, 12), st.randoms(use_true_random=False))
def test_any_shuffle_of_any_tree_is_put_in_order(n, random):
    joints = [
        Joint(f"j{i}", None if i == 0 else f"j{random.randrange(i)}", np.eye(4)) for i in range(n)
    ]
    parent = {joint.name: joint.parent for joint in joints}
    random.shuffle(joints)
    skeleton = Skeleton(joints)
    assert (skeleton.parents < np.arange(n)).all()
    assert {name: skeleton.parent(name) for name in skeleton.names} == parent


def test_several_roots_are_fine():
    skeleton = Skeleton([Joint("a", None, at(1, 0, 0)), Joint("b", None, at(2, 0, 0))])
    assert skeleton.parents.tolist() == [-1, -1]
    assert skeleton.rest_world[:, 0, 3].tolist() == [1, 2]


@pytest.mark.parametrize(
    ("joints", "message"),
    [
        ([], "at least one joint; got none"),
        ([("a", None), ("a", None)], "different names; got a more than once"),
        ([("a", "b")], r"missing parent or a cycle at a \(parent b\)"),
        ([("a", "a")], r"cycle at a \(parent a\)"),
        (
            [("root", None), ("a", "c"), ("b", "a"), ("c", "b")],
            r"cycle at a \(parent c\), b \(parent a\), c \(parent b\)",
        ),
    ],
)
def test_joints_that_hang_from_no_root_are_refused_by_name(joints, message):
    with pytest.raises(ValueError, match="`joints` must .*" + message):
        Skeleton(Joint(name, parent, np.eye(4)) for name, parent in joints)


@pytest.mark.parametrize(
    "rest", [2 * np.eye(4), np.eye(3), np.full((4, 4), np.nan), np.stack([np.eye(4)] * 2)]
)
def test_a_rest_frame_that_is_none_is_refused_by_its_joint(rest):
    with pytest.raises(ValueError, match="`rest of hip` must"):
        Skeleton([Joint("hip", None, rest)])


def test_from_world_finds_the_local_rest_frames():
    skeleton = legs()
    world = dict(zip(skeleton.names, skeleton.rest_world, strict=True))
    again = Skeleton.from_world(world, {name: skeleton.parent(name) for name in skeleton.names})
    assert again.names == skeleton.names
    assert np.allclose(again.rest_local, skeleton.rest_local, **CLOSE)


def test_from_world_names_what_is_wrong():
    with pytest.raises(ValueError, match="`parents` must name a parent"):
        Skeleton.from_world({"a": np.eye(4)}, {})
    with pytest.raises(ValueError, match="`parents` must name a parent"):
        Skeleton.from_world({"a": np.eye(4)}, {"a": "b"})
    with pytest.raises(ValueError, match="`world of b` must"):
        Skeleton.from_world({"a": np.eye(4), "b": 2 * np.eye(4)}, {"a": None, "b": "a"})


# Looking up


def test_parents_children_and_all_below():
    skeleton = legs()
    assert skeleton.parent("pelvis") is None
    assert skeleton.parent("L_knee") == "L_hip"
    assert skeleton.children("pelvis") == ("L_hip", "R_hip")
    assert skeleton.children("L_ankle") == ()
    assert skeleton.below("R_hip") == ("R_knee", "R_ankle")
    assert set(skeleton.below("pelvis")) == set(skeleton.names) - {"pelvis"}


def test_chains_run_down_from_start_to_end():
    skeleton = legs()
    assert skeleton.chain("L_hip", "L_ankle") == ("L_hip", "L_knee", "L_ankle")
    assert skeleton.chain("pelvis", "R_knee") == ("pelvis", "R_hip", "R_knee")
    assert skeleton.chain("L_knee", "L_knee") == ("L_knee",)


@pytest.mark.parametrize(
    ("start", "end"), [("L_ankle", "L_hip"), ("L_hip", "R_ankle"), ("L_hip", "pelvis")]
)
def test_a_chain_must_lead_down(start, end):
    with pytest.raises(
        ValueError, match=f"`end` must hang below '{start}'; got '{end}', whose root is 'pelvis'"
    ):
        legs().chain(start, end)


@pytest.mark.parametrize(
    "look_up",
    [
        lambda s: s.index("L_toe"),
        lambda s: s.parent("L_toe"),
        lambda s: s.children("L_toe"),
        lambda s: s.below("L_toe"),
        lambda s: s.chain("L_toe", "L_ankle"),
        lambda s: s.chain("L_hip", "L_toe"),
        lambda s: s.pose({"L_toe": np.eye(3)}),
        lambda s: s.pose(shifts={"L_toe": [0, 0, 0]}),
        lambda s: s.origins(s.rest_world, ["L_toe"]),
    ],
)
def test_an_unknown_joint_is_refused_with_the_names_there_are(look_up):
    with pytest.raises(
        ValueError, match=r"^Unknown joint 'L_toe'; this skeleton has pelvis, L_hip"
    ):
        look_up(legs())


# Posing


def test_a_skeleton_left_alone_rests():
    skeleton = legs()
    assert np.array_equal(skeleton.pose(), skeleton.rest_world)
    assert skeleton.origins(skeleton.pose(), ["L_ankle"]).tolist() == [[0.1, pytest.approx(0.1), 0]]


def test_a_knee_flexed_by_hand():
    """A positive quarter turn about +X takes the hanging shank backward."""
    skeleton = legs()
    world = skeleton.pose({"L_knee": rotation.matrix_about("x", np.pi / 2)})
    assert np.allclose(
        skeleton.origins(world, ["L_knee", "L_ankle"]), [[0.1, 0.5, 0], [0.1, 0.5, -0.4]], **CLOSE
    )


@given(
    st.fixed_dictionaries(dict.fromkeys(("pelvis", "L_hip", "L_knee"), turns)),
    arrays(float, 3, elements=numbers),
)
def test_bones_keep_their_length_and_only_joints_below_move(pose, shift):
    skeleton = legs()
    at_rest = skeleton.origins(skeleton.rest_world)
    world = skeleton.pose(pose, {"pelvis": shift})
    moved = skeleton.origins(world)
    child = skeleton.parents >= 0
    for joints in (at_rest, moved):
        bones = joints[child] - joints[skeleton.parents[child]]
        assert np.allclose(np.linalg.norm(bones, axis=-1), [0.1, 0.1, 0.4, 0.4, 0.4, 0.4], **CLOSE)
    assert np.allclose(moved[0], at_rest[0] + shift, **CLOSE)
    one = skeleton.pose({"L_hip": pose["L_hip"]})
    still = [
        skeleton.index(name)
        for name in skeleton.names
        if name not in ("L_hip", *skeleton.below("L_hip"))
    ]
    assert np.array_equal(one[still], skeleton.rest_world[still])


@given(st.fixed_dictionaries(dict.fromkeys(("pelvis", "L_hip", "R_knee"), turns)))
def test_local_and_world_undo_each_other(pose):
    skeleton = legs()
    world = skeleton.pose(pose)
    local = skeleton.local(world)
    assert np.allclose(skeleton.world(local), world, **CLOSE)
    knee = skeleton.index("R_knee")
    assert np.allclose(
        local[knee], skeleton.rest_local[knee] @ frames.frame(pose["R_knee"]), **CLOSE
    )


def test_a_batch_of_poses_is_a_loop():
    skeleton = legs()
    rng = np.random.default_rng(3)
    hips = rotation.matrix_from_vector(rng.normal(size=(4, 1, 3)))
    knees = rotation.matrix_about("x", rng.normal(size=5))
    shifts = rng.normal(size=(4, 5, 3))
    world = skeleton.pose({"L_hip": hips, "L_knee": knees}, {"pelvis": shifts})
    assert world.shape == (4, 5, 7, 4, 4)
    assert skeleton.origins(world, ["L_ankle", "R_ankle"]).shape == (4, 5, 2, 3)
    local = skeleton.local(world)
    for i, j in np.ndindex(4, 5):
        one = skeleton.pose({"L_hip": hips[i, 0], "L_knee": knees[j]}, {"pelvis": shifts[i, j]})
        assert np.allclose(world[i, j], one, **CLOSE)
        assert np.allclose(local[i, j], skeleton.local(one), **CLOSE)
        assert np.allclose(skeleton.world(local[i, j]), skeleton.world(local)[i, j], **CLOSE)


def test_whole_numbers_and_lists_are_floats():
    skeleton = Skeleton(
        [Joint("a", None, np.eye(4, dtype=int).tolist()), Joint("b", "a", at(0, -1, 0).astype(int))]
    )
    quarter = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    world = skeleton.pose({"a": quarter}, {"a": [1, 2, 3]})
    assert world.dtype == np.float64
    assert skeleton.origins(world.astype(int).tolist()).tolist() == [[1, 2, 3], [1, 2, 2]]
    assert np.array_equal(
        skeleton.world(skeleton.rest_local.astype(int).tolist()), skeleton.rest_world
    )


def test_posing_leaves_the_rest_pose_alone():
    skeleton = legs()
    before = skeleton.rest_local.copy(), skeleton.rest_world.copy()
    skeleton.pose({"pelvis": rotation.matrix_about("y", 1)}, {"pelvis": [1, 1, 1]})
    skeleton.world(skeleton.rest_local)
    skeleton.local(skeleton.rest_world)
    assert np.array_equal(skeleton.rest_local, before[0])
    assert np.array_equal(skeleton.rest_world, before[1])


def test_turns_and_shifts_are_refused_by_their_joint():
    skeleton = legs()
    with pytest.raises(ValueError, match="`turn of L_hip` must be a rotation matrix"):
        skeleton.pose({"L_hip": 2 * np.eye(3)})
    with pytest.raises(ValueError, match="`shift of pelvis` must be finite"):
        skeleton.pose(shifts={"pelvis": [0, np.nan, 0]})
    with pytest.raises(ValueError, match=r"`turn of L_hip` \(2,\), `shift of pelvis` \(3,\)"):
        skeleton.pose({"L_hip": [np.eye(3)] * 2}, {"pelvis": np.zeros((3, 3))})


# The flat chain


@pytest.mark.parametrize(
    ("angles", "end"),
    [
        ([0, 0], [5, 0]),
        ([np.pi / 2, 0], [0, 5]),
        ([np.pi, 0], [-5, 0]),
        ([-np.pi / 2, 0], [0, -5]),
        ([0, np.pi / 2], [3, 2]),
        ([0, -np.pi / 2], [3, -2]),
        ([0, np.pi], [1, 0]),
    ],
)
def test_a_flat_chain_straight_folded_and_in_every_quadrant(angles, end):
    joints = planar_chain(angles, [3, 2])
    assert joints.shape == (3, 2)
    assert np.allclose(joints[-1], end, **CLOSE)


@given(
    arrays(float, 4, elements=numbers),
    arrays(float, 4, elements=st.floats(0.01, 3)),
    arrays(float, 2, elements=numbers),
)
def test_a_flat_chain_keeps_its_lengths_and_angles(angles, lengths, start):
    joints = planar_chain(angles, lengths, start)
    bones = np.diff(joints, axis=0)
    assert np.array_equal(joints[0], start)
    assert np.allclose(np.linalg.norm(bones, axis=-1), lengths, **CLOSE)
    heading = np.arctan2(bones[:, 1], bones[:, 0])
    assert np.allclose(np.exp(1j * heading), np.exp(1j * np.cumsum(angles)), rtol=0, atol=1e-11)


def test_a_batch_of_flat_chains_is_a_loop_and_whole_numbers_are_floats():
    angles = np.random.default_rng(2).integers(-3, 4, (4, 1, 3))
    lengths = np.array([[1, 2, 3], [2, 1, 1]])
    joints = planar_chain(angles, lengths, [1, 2])
    assert joints.shape == (4, 2, 4, 2)
    assert np.array_equal(joints, planar_chain(angles.tolist(), lengths.astype(float), (1.0, 2.0)))
    for i, j in np.ndindex(4, 2):
        assert np.array_equal(joints[i, j], planar_chain(angles[i, 0], lengths[j], [1, 2]))


def test_each_bone_has_an_angle_and_a_length_above_zero():
    with pytest.raises(
        ValueError, match="`lengths` must be as many as `angles`; got 3 lengths and 2 angles"
    ):
        planar_chain([0, 0], [1, 1, 1])
    with pytest.raises(ValueError, match="`lengths` must be above zero"):
        planar_chain([0, 0], [1, 0])


# Side tags


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("L_BALL", "R_BALL"),
        ("R_ROLLER", "L_ROLLER"),
        ("L_hip_L_R_", "R_hip_L_R_"),
        ("R_L_bow", "L_L_bow"),
        ("L_", "R_"),
        ("L_heel_L", "R_heel_L"),
    ],
)
def test_changing_sides_touches_only_the_tag(name, other):
    assert other_side(name) == other
    assert other_side(other) == name
    assert side_of(name) == name[:2]


@pytest.mark.parametrize(
    "name", ["pelvis", "LEG", "Roller", "BALL_L_", "l_hip", "xL_hip", "L", "R-hip", ""]
)
def test_a_letter_is_no_side_tag(name):
    assert side_of(name) is None
    with pytest.raises(
        ValueError, match=f"`name` must begin with a side tag, L_ or R_; got '{name}'"
    ):
        other_side(name)


@given(st.sampled_from(["L_", "R_"]), st.text("LR_lrab", max_size=8))
def test_changed_twice_is_the_same_name(tag, rest):
    assert other_side(other_side(tag + rest)) == tag + rest
    assert other_side(tag + rest)[2:] == rest
