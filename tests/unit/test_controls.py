from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import controls as ct
from rigkit import frames as fr
from rigkit import rotation

seeds = st.integers(0, 2**32 - 1).map(np.random.default_rng)
whats = st.sampled_from(ct.FOLLOWS)
quick = settings(max_examples=40, deadline=None)


@pytest.fixture
def rng():
    return np.random.default_rng(0)


def random_frame(rng, *shape):
    return fr.frame(
        rotation.matrix_from_vector(rng.normal(size=(*shape, 3))), rng.normal(size=(*shape, 3))
    )


def random_values(rng, *shape):
    return {channel: rng.uniform(-0.7, 0.7, size=shape) for channel in ct.CHANNELS}


def three(rng, **foot):
    """A pelvis, a lantern that may follow, and a foot."""
    return {
        "pelvis": ct.Control("pelvis", random_frame(rng)),
        "foot": ct.Control("foot", random_frame(rng)),
        "lantern": ct.Control("lantern", random_frame(rng), pivot=rng.normal(size=3), **foot),
    }


# --- rest, pivot, outline ---


@quick
@given(seeds, whats)
def test_everything_reads_zero_at_rest(rng, what):
    rig = three(rng, follows=(ct.Follow("pelvis", what, 0.3), ct.Follow("foot", "both", 0.5)))
    worlds = ct.pose(rig.values())
    for name, control in rig.items():
        np.testing.assert_allclose(worlds[name], control.rest, atol=1e-12)
        np.testing.assert_allclose(
            list(ct.values_at(control, worlds[name]).values()), 0, atol=1e-12
        )


@quick
@given(seeds)
def test_values_read_back_what_was_posed(rng):
    control, values = three(rng)["lantern"], random_values(rng, 3)
    world = ct.pose([control], {"lantern": values})["lantern"]
    back = ct.values_at(control, world)
    for channel in ct.CHANNELS:
        np.testing.assert_allclose(back[channel], values[channel], atol=1e-12)


def test_turning_leaves_the_pivot_and_shifting_moves_along_rest_axes(rng):
    control = three(rng)["lantern"]
    turned = ct.pose([control], {"lantern": {"turn_x": 0.4, "turn_y": -1, "turn_z": 2}})["lantern"]
    np.testing.assert_allclose(
        fr.apply(turned, control.pivot), fr.apply(control.rest, control.pivot), atol=1e-14
    )
    shifted = ct.pose([control], {"lantern": {"shift_y": 0.2}})["lantern"]
    np.testing.assert_allclose(
        shifted[:3, 3], control.rest[:3, 3] + 0.2 * control.rest[:3, 1], atol=1e-14
    )


def test_turns_are_the_named_euler_order(rng):
    x, y, z = rng.normal(size=3)
    world = ct.pose([ct.Control("hip")], {"hip": {"turn_x": x, "turn_y": y, "turn_z": z}})["hip"]
    np.testing.assert_allclose(
        world[:3, :3], rotation.matrix_from_euler([x, z, y], ct.TURN_ORDER), atol=1e-15
    )


# --- follow ---


@quick
@given(seeds)
def test_parent_and_follow_keep_the_gap(rng):
    values = {"pelvis": random_values(rng, 4)}
    for way in ({"parent": "pelvis"}, {"follows": (ct.Follow("pelvis"),)}):
        rig = three(rng, **way)
        worlds = ct.pose(rig.values(), values)
        gap = fr.relative(rig["pelvis"].rest, rig["lantern"].rest)
        np.testing.assert_allclose(
            fr.relative(worlds["pelvis"], worlds["lantern"]), np.tile(gap, (4, 1, 1)), atol=1e-12
        )


@quick
@given(seeds)
def test_following_position_only_and_turn_only(rng):
    rig = three(rng, follows=(ct.Follow("pelvis", "position"),))
    worlds = ct.pose(rig.values(), {"pelvis": random_values(rng)})
    np.testing.assert_allclose(worlds["lantern"][:3, :3], rig["lantern"].rest[:3, :3], atol=1e-12)
    np.testing.assert_allclose(
        worlds["lantern"][:3, 3] - worlds["pelvis"][:3, 3],
        rig["lantern"].rest[:3, 3] - rig["pelvis"].rest[:3, 3],
        atol=1e-12,
    )
    rig = three(rng, follows=(ct.Follow("pelvis", "turn"),))
    worlds = ct.pose(rig.values(), {"pelvis": random_values(rng)})
    np.testing.assert_allclose(worlds["lantern"][:3, 3], rig["lantern"].rest[:3, 3], atol=1e-12)
    np.testing.assert_allclose(
        fr.relative(worlds["pelvis"], worlds["lantern"])[:3, :3],
        fr.relative(rig["pelvis"].rest, rig["lantern"].rest)[:3, :3],
        atol=1e-12,
    )


@quick
@given(seeds)
def test_position_from_one_and_turn_from_another(rng):
    rig = three(rng, follows=(ct.Follow("pelvis", "position"), ct.Follow("foot", "turn")))
    values = {"pelvis": random_values(rng), "foot": random_values(rng)}
    worlds = ct.pose(rig.values(), values)
    only = {}
    for leader, what in (("pelvis", "position"), ("foot", "turn")):
        alone = replace(rig["lantern"], follows=(ct.Follow(leader, what),))
        only[what] = ct.pose([rig["pelvis"], rig["foot"], alone], values)["lantern"]
    np.testing.assert_allclose(worlds["lantern"][:3, 3], only["position"][:3, 3], atol=1e-12)
    np.testing.assert_allclose(worlds["lantern"][:3, :3], only["turn"][:3, :3], atol=1e-12)


@quick
@given(seeds, st.floats(0, 1))
def test_two_leaders_share_by_weight(rng, share):
    rig = three(rng)
    rig["lantern"] = ct.Control(
        "lantern",
        np.eye(4),
        follows=(ct.Follow("pelvis", weight=1 - share), ct.Follow("foot", weight=share)),
    )
    rig["pelvis"], rig["foot"] = ct.Control("pelvis"), ct.Control("foot")
    worlds = ct.pose(
        rig.values(), {"pelvis": {"shift_x": 1.0}, "foot": {"shift_z": 2.0, "turn_y": 1.2}}
    )
    turn = rotation.vector_from_matrix(worlds["lantern"][:3, :3])
    np.testing.assert_allclose(
        turn, [0, 1.2 * share, 0], atol=1e-12
    )  # half the weight, half the angle
    np.testing.assert_allclose(worlds["lantern"][:3, 3], [1 - share, 0, 2 * share], atol=1e-12)


def test_weights_may_change_over_frames_and_the_rest_stays():
    weight = np.array([0, 0.25, 1])
    follower = ct.Control("lantern", follows=(ct.Follow("pelvis", weight=weight),))
    worlds = ct.pose([ct.Control("pelvis"), follower], {"pelvis": {"shift_y": 1.0, "turn_z": 1.0}})
    np.testing.assert_allclose(worlds["lantern"][:, :3, 3], np.outer(weight, [0, 1, 0]), atol=1e-12)
    np.testing.assert_allclose(
        rotation.rotation_angle(worlds["lantern"][:, :3, :3]), weight, atol=1e-12
    )


def test_leaders_half_a_turn_apart_give_a_finite_answer():
    half = (ct.Follow("a", weight=0.5), ct.Follow("b", weight=0.5))
    rig = [ct.Control("a"), ct.Control("b"), ct.Control("lantern", follows=half)]
    for off in (0, 1e-9, -1e-9):
        world = ct.pose(rig, {"b": {"turn_y": np.pi + off}})["lantern"]
        assert rotation.rotation_angle(world[:3, :3]) == pytest.approx(np.pi / 2, abs=1e-6)


def test_following_something_outside(rng):
    joint = random_frame(rng, 3)
    control = ct.Control("lantern", fr.frame(origin=[1, 1, 1]))
    gap = ct.offset_to(joint[0], control.rest)
    held = replace(control, follows=(ct.Follow("L_hand", offset=gap),))
    worlds = ct.pose([held], outside={"L_hand": joint})
    assert set(worlds) == {"lantern"}
    np.testing.assert_allclose(worlds["lantern"][0], control.rest, atol=1e-12)
    np.testing.assert_allclose(worlds["lantern"], joint @ gap, atol=1e-14)
    with pytest.raises(ValueError, match=r"outside with a gap; got 'L_hand'"):
        ct.pose([replace(control, follows=(ct.Follow("L_hand"),))], outside={"L_hand": joint})


def test_a_chain_of_followers_in_any_order(rng):
    rig = [
        ct.Control("toe", fr.frame(origin=[0, 0, 3]), parent="ball"),
        ct.Control("ball", fr.frame(origin=[0, 0, 2]), parent="heel"),
        ct.Control("heel", fr.frame(origin=[0, 0, 1])),
    ]
    assert [c.name for c in ct.topological_order(rig)] == ["heel", "ball", "toe"]
    worlds = ct.pose(rig, {"heel": {"turn_x": -np.pi / 2}, "ball": {"shift_x": 1.0}})
    np.testing.assert_allclose(worlds["toe"][:3, 3], [1, 2, 1], atol=1e-15)


# --- switch ---


def test_what_a_control_carries_is_what_moves_with_it(rng):
    control, follow = ct.Control, ct.Follow
    rig = [
        control("lamp", random_frame(rng), parent="hand"),
        control("barge", random_frame(rng)),
        control(
            "hand",
            random_frame(rng),
            follows=[follow("pelvis", "position", 0.5), follow("barge", weight=0.5)],
        ),
        control("pelvis", random_frame(rng)),
        control("foot", random_frame(rng), follows=[follow("barge", weight=0)]),
        control("knee", random_frame(rng), follows=[follow("pelvis", "turn")]),
    ]
    for name in ("barge", "pelvis", "hand", "lamp", "foot", "knee"):
        moved = ct.pose(rig, {name: random_values(rng)})
        seen = {c.name for c in rig if not np.allclose(moved[c.name], c.rest, atol=1e-9)}
        assert {*ct.dependents(rig, name), name} == seen
    assert ct.dependents(rig, "pelvis") in (
        ("hand", "lamp", "knee"),
        ("hand", "knee", "lamp"),
        ("knee", "hand", "lamp"),
    )
    assert ct.dependents(rig, "lamp") == ()


def test_what_is_followed_outside_does_not_count(rng):
    rig = [
        ct.Control("foot", follows=[ct.Follow("joint", offset=random_frame(rng))]),
        ct.Control("toe", parent="foot"),
    ]
    assert ct.dependents(rig, "foot") == ("toe",)
    with pytest.raises(ValueError, match=r"^Unknown control 'joint'; this rig has foot, toe"):
        ct.dependents(rig, "joint")


@quick
@given(seeds, whats, st.floats(0, 1))
def test_switching_makes_no_jump(rng, what, weight):
    rig = three(rng, parent="pelvis")
    values = {name: random_values(rng) for name in rig}
    before = ct.pose(rig.values(), values)
    for follows in (
        "foot",
        ct.Follow("foot", what, weight),
        (),
        (ct.Follow("foot", what, weight), ct.Follow("pelvis", "both", 1 - weight)),
    ):
        new = ct.switch(rig["lantern"], follows, before, values["lantern"])
        after = ct.pose([rig["pelvis"], rig["foot"], new], values)
        np.testing.assert_allclose(after["lantern"], before["lantern"], atol=1e-12)
        np.testing.assert_array_equal(after["pelvis"], before["pelvis"])


def test_after_a_switch_the_new_leader_leads(rng):
    rig = three(rng, parent="pelvis")
    values = {name: random_values(rng) for name in rig}
    before = ct.pose(rig.values(), values)
    new = ct.switch(rig["lantern"], "foot", before, values["lantern"])
    values["pelvis"], values["foot"] = random_values(rng), random_values(rng)
    after = ct.pose([rig["pelvis"], rig["foot"], new], values)
    np.testing.assert_allclose(
        fr.relative(after["foot"], after["lantern"]),
        fr.relative(before["foot"], before["lantern"]),
        atol=1e-12,
    )
    with pytest.raises(ValueError, match="frame of pelvis"):
        ct.switch(new, "pelvis", {"lantern": np.eye(4)})


# --- lock, limit, batch, order ---


def test_locked_and_limited_channels():
    control = ct.Control("knee", locked=("shift_x",), limits={"turn_x": (0, 2)})
    values = {"shift_x": 3, "turn_x": [-1, 1, 5], "turn_y": 0.3}
    held = ct.clamp_values(control, values)
    np.testing.assert_array_equal(held["shift_x"], 0)
    np.testing.assert_array_equal(held["turn_x"], [0, 1, 2])
    np.testing.assert_array_equal(held["turn_y"], 0.3)
    free = ct.Control("knee")
    np.testing.assert_array_equal(
        ct.pose([control], {"knee": values})["knee"], ct.pose([free], {"knee": held})["knee"]
    )


@quick
@given(seeds)
def test_batch_equals_loop(rng):
    rig = three(rng, follows=(ct.Follow("pelvis", "both", 0.3), ct.Follow("foot", "turn", 0.6)))
    values = {name: random_values(rng, 5) for name in rig}
    together = ct.pose(rig.values(), values)
    for i in range(5):
        one = ct.pose(
            rig.values(),
            {name: {c: v[i] for c, v in group.items()} for name, group in values.items()},
        )
        for name in rig:
            np.testing.assert_allclose(one[name], together[name][i], atol=1e-14)


def test_integers_equal_floats_and_inputs_are_left_alone():
    values = {"a": {"shift_x": 1, "turn_z": [1, 2]}}
    world = ct.pose([ct.Control("a", pivot=(1, 0, 0))], values)["a"]
    same = ct.pose(
        [ct.Control("a", pivot=[1.0, 0.0, 0.0])],
        {"a": {"shift_x": 1.0, "turn_z": np.array([1.0, 2.0])}},
    )["a"]
    np.testing.assert_array_equal(world, same)
    assert values == {"a": {"shift_x": 1, "turn_z": [1, 2]}}


@pytest.mark.parametrize("number", [int, float, np.float32, np.int64])
def test_a_single_number_of_any_type_is_read_without_arrays(monkeypatch, number):
    lever, values = ct.Control("a"), {"a": {"shift_x": number(2), "turn_y": number(1)}}
    wanted = ct.pose([lever], {"a": {"shift_x": [2.0], "turn_y": [1.0]}})["a"][0]
    monkeypatch.setattr(ct._check, "numbers", None)
    np.testing.assert_array_equal(ct._pose([lever], ct._values([lever], values), {})["a"], wanted)


def test_circles_are_refused_by_name():
    a, b, c = (
        ct.Control(n, follows=(ct.Follow(m),)) for n, m in (("a", "b"), ("b", "c"), ("c", "a"))
    )
    with pytest.raises(ValueError, match="circle; got a → b → c → a"):
        ct.pose([a, b, c])
    with pytest.raises(ValueError, match="circle; got b → b"):
        ct.pose([ct.Control("b", parent="b")])


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: ct.pose([]), "at least one"),
        (lambda: ct.pose([ct.Control("a"), ct.Control("a")]), "a more than once"),
        (lambda: ct.pose([ct.Control("a")], outside={"a": np.eye(4)}), "a more than once"),
        (lambda: ct.pose([ct.Control("a", parent="b")]), "got 'b'"),
        (lambda: ct.pose([ct.Control("a")], {"b": {}}), "Unknown control 'b'.*; this rig has a"),
        (lambda: ct.pose([ct.Control("a")], {"a": {"lift": 1}}), "Unknown channel 'lift' of `a`"),
        (lambda: ct.with_offsets([ct.Control("a", parent="b")]), "got none to 'b'"),
        (lambda: ct.pose([ct.Control("a")], {"a": [0] * 6}), "mapping of channels"),
        (lambda: ct.pose([ct.Control("a")], {"a": {"turn_x": np.nan}}), "a turn_x"),
        (
            lambda: ct.pose([ct.Control("a")], {"a": {"turn_x": [1, 2], "turn_y": [1, 2, 3]}}),
            "broadcast",
        ),
        (
            lambda: ct.pose(
                [ct.Control("a"), ct.Control("b")],
                {"a": {"turn_x": [1, 2]}, "b": {"turn_x": [1, 2, 3]}},
            ),
            "broadcast",
        ),
        (lambda: ct.Control("a", rest=np.ones((4, 4))), "rest"),
        (lambda: ct.Control("a", outline=[0, 0, 0]), "outline"),
        (lambda: ct.Control("a", pivot="ankle"), "pivot"),
        (
            lambda: ct.Control("a", locked=("lift",)),
            "Unknown channel 'lift' of `a`; there are shift_x",
        ),
        (lambda: ct.Control("a", limits={"turn_x": (1, 2)}), "must hold zero"),
        (lambda: ct.Control("a", parent="b", follows=(ct.Follow("c"),)), "not both"),
        (lambda: ct.Follow("a", "all"), "what"),
        (lambda: ct.Follow("a", weight=1.5), "weight"),
        (
            lambda: ct.pose(
                [ct.Control("a"), ct.Control("b", follows=(ct.Follow("a", weight=0.8),) * 2)]
            ),
            "at most 1",
        ),
    ],
)
def test_bad_input_is_refused_by_name(build, message):
    with pytest.raises(ValueError, match=message):
        build()


# --- keys ---


def test_between_keys_the_keyed_frames_keep_their_values_and_the_rest_lies_on_straight_lines(rng):
    values = {
        "pelvis": {"shift_y": rng.normal(size=13)},
        "L_foot": {"roll": rng.normal(size=(13, 2)), "toe": 0.3},
    }
    keys = [0, 4, 5, 12]
    held = ct.interpolate_keys(values, keys)
    np.testing.assert_array_equal(
        held["pelvis"]["shift_y"][keys], values["pelvis"]["shift_y"][keys]
    )
    for column in range(2):
        roll = values["L_foot"]["roll"][:, column]
        np.testing.assert_allclose(
            held["L_foot"]["roll"][:, column], np.interp(range(13), keys, roll[keys]), atol=1e-15
        )
    assert held["L_foot"]["toe"] == 0.3


def test_with_every_frame_keyed_nothing_changes(rng):
    values = rng.normal(size=9)
    held = ct.interpolate_keys({"pelvis": {"shift_x": values}}, range(9))
    np.testing.assert_array_equal(held["pelvis"]["shift_x"], values)


@pytest.mark.parametrize(
    "keys", [[0], [1, 4], [0, 2, 2, 4], [0, 4, 2], [0, 1.5, 4], [[0, 4]], [0, 3], [0, 5]]
)
def test_keys_that_do_not_rise_from_the_first_frame_to_the_last_are_refused(keys):
    with pytest.raises(ValueError, match="`keys` must"):
        ct.interpolate_keys({"pelvis": {"shift_y": np.zeros(5)}}, keys)


@pytest.mark.parametrize(
    ("values", "keys"),
    [
        ([0, 0, 0, 0, 0], 0),
        ([0.2, 0.2, 0.2], 1),
        ([0, 1, 2, 3], 2),
        ([0, -1, -2, -1, 0], 3),
        ([0, 1, 1, 1, 4], 4),
        ([0, 1, 4, 9, 16], 5),
        (0.0, 0),
        (0.5, 1),
        ([3], 1),
        ([0, 1], 2),
    ],
)
def test_keys_are_counted_where_a_value_leaves_the_straight_line(values, keys):
    assert ct.count_keys({"pelvis": {"shift_y": values}}) == keys


@quick
@given(seeds)
def test_straight_lines_through_the_counted_keys_give_the_values_back(rng):
    values = np.repeat(rng.normal(size=6), rng.integers(1, 5, 6))
    corners = [0, *(np.flatnonzero(np.abs(np.diff(values, 2)) > ct.SAME) + 1), len(values) - 1]
    assert ct.count_keys({"pelvis": {"turn_y": values}}) == len(corners)
    held = ct.interpolate_keys({"pelvis": {"turn_y": values}}, corners)
    np.testing.assert_allclose(held["pelvis"]["turn_y"], values, atol=1e-12)


@pytest.mark.parametrize("values", [[1, 2], {"pelvis": [1, 2]}, "pelvis", None])
@pytest.mark.parametrize(
    "function", [lambda values: ct.interpolate_keys(values, [0, 1]), ct.count_keys]
)
def test_values_over_frames_must_be_a_mapping_of_mappings(function, values):
    with pytest.raises(ValueError, match="`values` must be a mapping"):
        function(values)


def test_more_than_one_number_a_frame_cannot_be_counted():
    with pytest.raises(ValueError, match="`pelvis shift_y` must have one number a frame"):
        ct.count_keys({"pelvis": {"shift_y": np.zeros((4, 2))}})


def test_a_control_given_another_rest_goes_there():
    here = ct.Control("here", fr.frame(origin=[1, 0, 0]))
    there = replace(here, rest=fr.frame(origin=[2, 0, 0]))
    np.testing.assert_array_equal(ct.pose([there])["here"], there.rest)
