"""Rules on motions and on the skeleton: what they are recomputed by, and what leaves them alone."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import export, frames, gait, gltf, inspection, rotation, skin
from rigkit.inspection import motion_rules, pictures, skeleton_rules, stance
from rigkit.inspection import rule as rules
from rigkit.inspection.subject import Subject
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from tests.unit import rigs

LEG = sum(rigs.TAMSIN.bones)
LOW = {"pelvis": {"shift_y": lambda times: 0 * times - 0.12}}


OURS = {each.id for each in (*skeleton_rules.RULES, *motion_rules.RULES)}


def numbers(asset):
    return {
        (finding.rule, finding.about): finding.number
        for finding in inspection.inspect(asset).findings
        if finding.rule in OURS
    }


def agree(one, other, tolerance=2e-3):
    assert one.keys() == other.keys()
    for key, number in one.items():
        if number is None or other[key] is None:
            assert number == other[key], key
        else:
            assert other[key] == pytest.approx(number, rel=tolerance, abs=tolerance), key


# --- what changes no number


@cache
def broken(rule):
    return rigs.BROKEN[rule]()


@cache
def numbers_of_broken(rule):
    return numbers(broken(rule))


@pytest.mark.parametrize("name", PUPPETS)
def test_a_doll_a_quarter_the_size_reads_the_same(name):
    walk = rigs.walk(puppet=PUPPETS[name])
    agree(numbers(walk), numbers(rigs.under(walk, scale=0.25)), 1e-6)


@settings(max_examples=25, deadline=None)
@given(
    rule=st.sampled_from([rule for rule in rigs.BROKEN if rule != "legs-found"]),
    scale=st.floats(0.2, 3),
    quarters=st.integers(0, 3),
    mirror=st.booleans(),
)
def test_no_number_changes_with_size_with_heading_or_in_a_mirror(rule, scale, quarters, mirror):
    """By quarter turns: what stands askew shows by the file's own axes, near which it faces."""
    asset = rigs.mirrored(broken(rule)) if mirror else broken(rule)
    turn = rotation.matrix_about("y", quarters * np.pi / 2)
    agree(numbers_of_broken(rule), numbers(rigs.under(asset, turn, scale)))


# --- where feet stand


def footing_of(asset):
    subject = Subject(asset)
    (motion,) = subject.motions()
    return subject, motion, stance.footing(subject, motion)


def test_a_foot_whose_floor_is_higher_than_the_other_s_stands_too():
    """By 3 cm it stands on something, by 8 cm it is held in the air."""
    for up, sides in ((0.03, {"L", "R"}), (0.08, {"L"})):
        raised = {"R_foot": {"shift_y": lambda times, up=up: 0 * times + up}}
        subject, _, found = footing_of(rigs.standing(LOW | raised))
        assert {side for side, _, _ in found.runs} == sides
        assert found.floors["R"] - found.floors["L"] == pytest.approx(up if up < 0.05 else 0)
        assert subject.length == pytest.approx(LEG)


def test_a_walk_stands_as_often_as_it_was_planned_to():
    _, motion, found = footing_of(rigs.walk())
    walked = gait.plant(gait.walk(rigs.TAMSIN))
    assert not found.on_the_spot
    for i, side in enumerate("LR"):
        down = np.interp(motion.times, walked.times, walked.stance[:, i]) == 1
        assert not (found.stances[side] & ~down).any()  # trimmed, so only while it is down
        assert found.stances[side].sum() > 0.75 * down.sum()


def test_the_ground_passes_a_walk_on_the_spot_at_the_speed_it_was_carried_with():
    """The speed is that of the pelvis' path, which the walk was robbed of."""
    _, _, found = footing_of(rigs.walk(rigs.on_the_spot))
    walked = gait.plant(gait.walk(rigs.TAMSIN))
    speed = (walked.pelvis[-1, 2] - walked.pelvis[0, 2]) / walked.times[-1]
    assert found.ground == pytest.approx([0, 0, -speed], abs=5e-3)


def circling(way):
    """A foot that goes round in the side view, 1.3 m/s at its lowest."""
    return {
        "shift_y": lambda times: 0.1 * (1 - np.cos(4 * np.pi * times)),
        "shift_z": lambda times: way * 0.1 * np.sin(4 * np.pi * times),
    }


trembling = {"shift_z": lambda times: 0.05 * np.sin(20 * times)}


@pytest.mark.parametrize(
    ("seconds", "feet", "said"),
    [
        (0.08, ({}, {}), "It lasts 0.08 s, too short for a foot to stand."),
        (
            2.0,
            (circling(1), circling(-1)),
            "No foot stands in it: where they are lowest the feet move at 1",
        ),
        (2.0, (trembling, trembling), "No foot stands in it: none stays at its lowest, and slow"),
    ],
)
def test_a_motion_in_which_no_foot_stands_says_why(seconds, feet, said):
    moves = dict(zip(("L_foot", "R_foot"), feet, strict=True))
    low = {"pelvis": {"shift_y": lambda times: 0 * times - 0.2}}
    report = inspection.inspect(rigs.standing(low | moves, seconds, int(60 * seconds) + 1))
    assert report["foot-slide"].said.startswith(said)
    for rule in ("ground-speed", "through-floor"):
        assert report[rule].status == "not measured"


def test_feet_that_slide_along_with_the_body_are_not_on_the_spot():
    def fast(world, times):
        world[..., 2, 3] += 0.4 * times[:, None]
        return world

    asset = rigs.walk(fast)
    assert not footing_of(asset)[2].on_the_spot
    found = inspection.inspect(asset)["foot-slide"]
    assert found.number == pytest.approx(100 * 0.4 * 33 / 60 / LEG, rel=0.05)


# --- numbers, each by another formula


def test_steps_are_as_long_as_the_library_measures_slides():
    rng = np.random.default_rng(5)
    path = rng.integers(-3, 4, (40, 5, 3)) / 100
    slides = gait.foot_slide_cm(path, np.ones(40, bool))[1:]
    assert 100 * np.linalg.norm(stance.steps(path), axis=-1) == pytest.approx(slides)


def test_a_foot_that_trembles_slides_no_farther_than_it_gets_away():
    """By 5 mm to and fro, twice a second: 4 cm of path in all."""
    trembles = {"L_foot": {"shift_z": lambda times: 0.005 * np.sin(4 * np.pi * times)}}
    found = inspection.inspect(rigs.standing(LOW | trembles))["foot-slide"]
    assert found.status == "pass"
    assert dict(found.parts)["left foot, 0.05 to 1.95 s"] == pytest.approx(
        100 * 0.005 * (1 + np.sin(0.2 * np.pi)) / LEG, abs=0.02
    )


def test_ground_thrown_back_passes_faster_by_as_much():
    """1.5 cm in a tenth of a second, upon the 0.5 m/s of the walk."""
    found = inspection.inspect(rigs.BROKEN["ground-speed"]())["ground-speed"]
    assert found.number == pytest.approx(100 * (0.015 / 0.1) / rigs.SLOW, abs=4)
    assert found.said.startswith("The ground passes at 0.5 m/s on the whole")


def test_hips_are_compared_with_a_quarter_of_their_breadth():
    asset = rigs.wide_hips()
    (mesh,) = asset.meshes
    x, y, _ = mesh.positions.T
    hip = asset.rest_world()[rigs.place(asset, "L_hip"), :3, 3]
    breadth = np.ptp(x[(y > hip[1] - 0.1 * LEG) & (y < hip[1] + 0.02 * LEG)])
    found = inspection.inspect(asset)["hip-centre"]
    assert found.number == pytest.approx(100 * abs(breadth / 4 - hip[0]) / LEG, abs=1e-6)


def test_hips_in_a_robe_or_of_a_bird_are_not_measured():
    asset = rigs.clean()
    (mesh,) = asset.meshes
    robe = replace(mesh, positions=mesh.positions * [3, 1, 1])
    found = inspection.inspect(replace(asset, meshes=[robe]))["hip-centre"]
    assert "tells nothing of the bones in it" in found.said
    bird = inspection.inspect(rigs.clean(PUPPETS["heron"]))
    assert bird["hip-centre"].said == "These are not a person's legs."
    assert bird["knee-in-plane"].status == "not measured"
    assert bird["sides-mirror"].status == bird["preset-bend"].status == "pass"


def test_a_loop_whose_speed_jumps_at_its_seam_does_not_close():
    """Half a sine: it ends where it began, going the other way; twice the speed in a tenth of a
    second."""
    sway = {"pelvis": {"shift_x": lambda times: 0.1 * np.sin(np.pi * times / 2)}}
    sway["pelvis"] |= LOW["pelvis"]
    found = inspection.inspect(rigs.standing(sway))["loop-closes"]
    speed, inside = 0.1 * np.pi / 2, 0.1 * (np.pi / 2) ** 2 / 60
    assert found.number == pytest.approx(100 * 0.1 * (2 * speed - 2 * inside) / LEG, rel=0.02)
    assert "changes its speed by 0.31 m/s at once" in found.said
    open_end = rigs.standing({"pelvis": {"shift_x": lambda times: 0.1 * times} | LOW["pelvis"]})
    said = inspection.inspect(open_end)["loop-closes"].said
    assert said == "It does not seem to be a loop: it ends 20 cm from where it began."


def test_a_motion_that_happens_to_end_near_where_it_began_is_no_loop():
    """1.5 cm off, at rest at both ends: neither near for its 20 cm nor a key too few."""

    def sway(times):
        return 0.2 * np.sin(np.pi * times / 2) ** 2 + 0.0075 * (1 - np.cos(np.pi * times / 2))

    found = inspection.inspect(rigs.standing({"pelvis": LOW["pelvis"] | {"shift_x": sway}}))
    assert found["loop-closes"].said.startswith("It does not seem to be a loop: it ends 1.5 cm")


def test_a_seat_below_the_floor_is_as_deep_as_its_skin():
    down = 0.95
    asset = rigs.standing({"pelvis": {"shift_y": lambda times: -down * np.sin(np.pi * times / 2)}})
    (mesh,) = asset.meshes
    owner = np.take_along_axis(mesh.joints, mesh.weights.argmax(axis=1)[:, None], axis=1)[:, 0]
    seat = mesh.positions[owner == rigs.place(asset, "pelvis"), 1].min()
    parts = dict(inspection.inspect(asset)["through-floor"].parts)
    assert parts["pelvis"] == pytest.approx(100 * (down - seat) / LEG, abs=0.1)


def test_a_snap_is_many_times_what_published_knees_do_near_full_reach():
    """Schwartz 2008 by `gait.joint_angles`, at the pace of people of Tamsin's legs; sampled as an
    inspection does, from smooth curves and from 24 keys a second."""
    stride = 2 / gait.pace(LEG).cadence
    times = np.arange(0, 3 * stride, 1 / 60)
    largest = []
    for shift in np.linspace(0, 1 / 24, 20):
        keys = np.arange(0, 3.2 * stride, 1 / 24) + shift - 1 / 24
        for read in (
            lambda t: gait.joint_angles(100 * (t / stride % 1), "knee"),
            lambda t, keys=keys: np.interp(
                t, keys, gait.joint_angles(100 * (keys / stride % 1), "knee")
            ),
        ):
            bend = np.degrees(read(times + shift))
            near = np.cos(np.radians(bend) / 2) >= 0.99
            largest.append((60 * np.abs(np.diff(bend, 2)))[near[1:-1]].max())
    smooth, keyed = max(largest[::2]), max(largest[1::2])
    assert smooth == pytest.approx(100, abs=3)
    assert keyed == pytest.approx(215, abs=3)
    rule = next(rule for rule in inspection.RULES if rule.id == "extension-pop")
    assert "by up to 100 (Schwartz 2008, computed), by 215 where" in rule.because
    assert rule.limit > 2 * keyed


def test_a_kick_that_eases_into_straight_is_no_snap_and_one_that_stops_dead_is():
    ease = {"smooth": lambda s: s * s * (3 - 2 * s), "dead": lambda s: s}
    for name, way in ease.items():

        def bend(times, way=way):
            return np.radians(100) * (1 - way(np.clip((times - 0.5) / 0.15, 0, 1)))

        kick = rigs.standing(
            {"L_knee_turn": {"turn_x": bend}},
            inverse={"L_": np.array(False), "R_": np.array(False)},
        )
        found = inspection.inspect(kick)["extension-pop"]
        assert (found.status == "pass") == (name == "smooth"), found.said
    assert found.number == pytest.approx(100 / 0.15, rel=0.02)
    assert found.said.endswith("at once from straightening at 667° a second to staying as it is.")


def test_a_knee_that_passes_through_straight_at_one_speed_is_no_snap():
    """From 100° to as much the wrong way in half a second."""
    rig = LegRig.from_puppet(rigs.TAMSIN)
    times = np.linspace(0, 0.5, 31)
    world = np.repeat(np.stack(rig.skeleton.rest_world)[None], len(times), axis=0)
    knee = world[0, rig.skeleton.index("L_knee"), :3, 3]
    about, back = frames.frame(origin=knee), frames.frame(origin=-knee)
    turns = rotation.matrix_about("x", np.radians(100 - 400 * times))
    for part in ("knee", "ankle", "ball", "toe"):
        joint = rig.skeleton.index(f"L_{part}")
        world[:, joint] = about @ frames.frame(turns) @ back @ world[:, joint]
    surface = skin.rig_skin(rig, rigs.TAMSIN, rigs.VERTICES)
    asset = export.rig_asset(rig.skeleton, *surface, {"through": (times, world)})
    assert inspection.inspect(asset)["extension-pop"].number == pytest.approx(0, abs=1)


def test_a_bird_s_leg_may_bend_either_way_and_must_bend():
    heron = PUPPETS["heron"]
    for ahead, way in ((0.08, "forward"), (-0.02, "backward")):
        moved = rigs.shifted((0, 0, ahead), "L_ankle", "R_ankle")
        bend = inspection.inspect(rigs.rebuilt(moved, puppet=heron))["preset-bend"]
        assert bend.status == "pass", bend.said
        assert f"bent {way} at the ankle" in bend.said
    straight = inspection.inspect(rigs.clean(heron, preset_bend_deg=0.0))["preset-bend"]
    assert straight.status == "finding"


def test_a_joint_turned_since_it_was_bound_is_drawn_beside_its_bound_axes(monkeypatch):
    drawn = []
    monkeypatch.setattr(pictures, "axes", lambda *given: drawn.append(given))
    inspection.inspect(rigs.BROKEN["rest-reads-zero"]())["rest-reads-zero"].draw("miss")
    *_, bound, said, now = drawn[0]
    assert said == "4.0°"
    assert np.degrees(rotation.vector_from_matrix(bound.T @ now)) == pytest.approx([4, 0, 0])


def test_a_bend_to_the_wrong_side_is_drawn_with_its_sign_and_the_sound_leg_not_in_red():
    asset = rigs.rebuilt(rigs.shifted((0, 0, -0.036), "R_knee"))
    drawn = inspection.inspect(asset)["preset-bend"].picture.svg()
    assert [text in drawn for text in ("rig-miss rig-number", ">−4.9°<", ">5.0°<")] == [True] * 3
    assert drawn.count("rig-miss rig-number") == 1


# --- sentences


@pytest.mark.parametrize(
    ("metres", "said"),
    [(0, "0 cm"), (0.0004, "under 0.1 cm"), (-0.0123, "1.2 cm"), (0.0996, "10 cm"), (1, "100 cm")],
)
def test_a_length_is_said_with_the_digits_it_deserves(metres, said):
    assert rules.cm(metres) == said


def test_numbers_that_are_none_are_no_measure():
    with pytest.raises(ValueError, match="not a number"):
        rules.worst([("a", 1.0), ("b", float("nan"))])


def test_no_number_is_said_of_what_fits():
    report = inspection.inspect(rigs.walk())
    for rule in ("sides-mirror", "rest-reads-zero", "inverse-bind", "scale-one", "bone-length"):
        assert not any(letter.isdigit() for letter in report[rule].said), rule


@pytest.mark.filterwarnings("error")
def test_legs_whose_joints_all_lie_in_one_place_have_no_bones_to_keep():
    parts = "hip", "knee", "ankle"
    legs = [
        gltf.Node(f"{tag}_{part}", 3 * side + i if i else 0, (0 if i else 0.1 - 0.2 * side, 0, 0))
        for side, tag in enumerate("LR")
        for i, part in enumerate(parts)
    ]
    moved = gltf.Channel(2, "translation", [0.0, 0.5], [(0, 0, 0), (0, -0.1, 0)])
    asset = gltf.Asset([gltf.Node("pelvis"), *legs], animations=(gltf.Animation("pull", (moved,)),))
    mapping = {
        f"{side}.{part}": f"{side[0].upper()}_{part}"
        for side in ("left", "right")
        for part in parts
    }
    finding = inspection.inspect(asset, mapping)["bone-length"]
    assert finding.status == "not measured"
    assert "too close together" in finding.said
