import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import export, gltf, inspection, rotation, skin
from rigkit.inspection.motion_rules import anatomical_angles
from rigkit.inspection.subject import Subject
from rigkit.leg import LegAngles, LegRig
from rigkit.puppets import PUPPETS
from tests.unit import rigs
from tests.unit.bodies import NAMINGS, TURNS, WITH_SIDES

RULES = [rule.id for rule in inspection.RULES]


def accused(report):
    return {finding.rule for finding in report.findings if finding.status == "finding"}


def test_every_rule_is_broken_by_one_rig():
    assert sorted(rigs.BROKEN) == sorted(RULES)


@pytest.mark.parametrize("rule", rigs.BROKEN)
def test_a_rig_that_breaks_only_this_rule_is_caught(rule):
    report = inspection.inspect(rigs.BROKEN[rule]())
    assert accused(report) == {rule}
    assert not [finding for finding in report.findings if "made sense of" in finding.said]


LEG = sum(rigs.TAMSIN.bones)
# With both knees 8 mm farther out, and so a hair longer.
LEG_ASIDE = sum(np.hypot(bone, 0.008) for bone in rigs.TAMSIN.bones)
# What each broken rig was made with, worked out by hand: rule to number and tolerance.
MADE_WITH = {
    "chain-unbroken": (2, 0),
    "names-say-sides": (1, 0),
    "sides-mirror": (100 * 0.01 / LEG, 1e-6),
    "sides-turn": (10, 1e-6),
    "preset-bend": (0, 1e-6),
    "hinge-square": (10, 1e-3),
    "knee-in-plane": (100 * 0.008 / LEG_ASIDE, 1e-6),
    "rest-reads-zero": (4, 1e-6),
    "scale-one": (20, 1e-6),
    "no-negative-scale": (1, 0),
    "inverse-bind": (100 * 0.03 / LEG, 1e-6),
    "weights-sum": (0.05, 1e-9),
    "weights-at-most": (5, 0),
    "weights-missing": (5, 0),
    "weights-negative": (1, 0),
    "weights-jump": (100, 1e-6),
    "joint-count": (257, 0),
    # 0.12 m/s for as long as the longest stance that counted
    "foot-slide": (100 * 0.12 * 33 / 60 / LEG, 0.1),
    "through-floor": (100 * 0.04 / LEG, 0.01),
    "bone-length": (8, 1e-6),
    "loop-closes": (100 * 0.015 / LEG, 1e-6),
    "human-range": (150 + 2.5 - 120, 0.1),  # the thigh of a leg bent by 5° leans forward by 2.5°
}


@pytest.mark.parametrize("rule", MADE_WITH)
def test_the_number_is_what_the_rig_was_made_with(rule):
    number, tolerance = MADE_WITH[rule]
    assert inspection.inspect(rigs.BROKEN[rule]())[rule].number == pytest.approx(
        number, abs=tolerance
    )


def test_a_bend_to_the_wrong_side_is_negative_and_said_to_be():
    asset = rigs.rebuilt(rigs.shifted((0, 0, -0.036), "L_knee", "R_knee"))
    bend = inspection.inspect(asset)["preset-bend"]
    assert bend.status == "finding"
    assert bend.number == pytest.approx(-5, abs=0.2)
    assert "wrong way, backward" in bend.said


def test_off_centre_is_told_in_centimetres_too():
    found = inspection.inspect(rigs.BROKEN["joint-in-section"]())["joint-in-section"]
    kept = inspection.inspect(rigs.clean())["joint-in-section"]
    in_cm = [float(each.said.split(" is ")[1].split(" cm")[0]) for each in (found, kept)]
    assert sum(in_cm) == pytest.approx(
        2.5, abs=0.1
    )  # the knee was moved by 2.5 cm, across the middle


def clean_of(report):
    assert accused(report) == set(), report.text()
    assert not [finding for finding in report.findings if "made sense of" in finding.said]
    return report


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=PUPPETS)
def test_a_clean_rig_passes_every_rule(puppet):
    report = clean_of(inspection.inspect(rigs.walk(puppet=puppet)))
    assert [finding.rule for finding in report.findings] == RULES
    silent = [finding.rule for finding in report.of("not measured")]
    of_people = ["knee-in-plane", "hip-centre", "ground-speed", "human-range"]
    assert silent == (of_people if puppet.name == "heron" else ["ground-speed"])
    assert all(finding.number is not None for finding in report.of("pass"))


@pytest.mark.parametrize("naming", WITH_SIDES)
def test_a_clean_rig_passes_whatever_it_is_called(naming):
    clean_of(inspection.inspect(rigs.named(rigs.clean(), NAMINGS[naming])))


@pytest.mark.parametrize("naming", ["no side", "numbers only", "empty"])
def test_names_that_do_not_say_their_side_are_all_that_is_accused(naming):
    assert accused(inspection.inspect(rigs.named(rigs.clean(), NAMINGS[naming]))) == {
        "names-say-sides"
    }


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("scale", [1.0, 0.01, 100.0])
@pytest.mark.parametrize("name", ["Tamsin", "heron"])
def test_a_clean_rig_passes_on_any_axes_in_any_unit(turn, scale, name):
    walk = rigs.walk(puppet=PUPPETS[name])
    here, there = (
        inspection.inspect(asset) for asset in (walk, rigs.under(walk, TURNS[turn], scale))
    )
    clean_of(there)
    if scale == 1:  # no unit to guess: the same numbers to the last digits that matter
        for one, other in zip(here.findings, there.findings, strict=True):
            assert (one.number or 0) == pytest.approx(other.number or 0, abs=0.01, rel=1e-6), (
                one.rule
            )


@pytest.mark.parametrize("name", PUPPETS)
@pytest.mark.parametrize(
    "axes", ["world", "y down the bone", "x along the bone", "same numbers", "reflection"]
)
def test_a_clean_rig_passes_whichever_axes_run_along_its_bones(name, axes):
    clean_of(inspection.inspect(rigs.with_axes(PUPPETS[name], axes)))


@pytest.mark.parametrize("naming", ["ours", "vrm", "with numbers"])
def test_helper_joints_are_left_alone(naming):
    report = clean_of(inspection.inspect(rigs.with_helpers(NAMINGS[naming])))
    assert len(report.legs.helpers) == 4


def test_a_walk_on_the_spot_does_not_slide():
    report = clean_of(inspection.inspect(rigs.walk(rigs.on_the_spot)))
    assert "on the spot" in report["foot-slide"].said
    assert report["foot-slide"].number < 0.5


def test_a_thing_of_another_kind_is_not_measured_and_says_why():
    said = {
        finding.rule: finding.said
        for finding in inspection.inspect(rigs.clean()).of("not measured")
    }
    assert set(said) == {rule.id for rule in inspection.RULES if "moves" in rule.needs}
    assert set(said.values()) == {"The file holds no animation."}
    bare = replace(rigs.clean(), nodes=rigs.clean().nodes[:-1], skins=(), meshes=())
    said = {
        finding.rule: finding.said
        for finding in clean_of(inspection.inspect(bare)).of("not measured")
    }
    assert said["weights-sum"] == said["knee-volume"] == "No skin moves with the joints."


def test_one_leg_is_inspected_by_itself():
    asset = rigs.renamed(
        rigs.clean(), lambda name: f"feather_{len(name)}" if name.startswith("R_") else name
    )
    report = inspection.inspect(asset)
    assert report.legs.legs.keys() == {"L"}
    assert report["sides-mirror"].said == "There is only one leg."
    assert report["preset-bend"].status == "pass"


def test_a_straight_leg_that_stands_still_is_near_full_reach():
    still = gltf.Animation(
        "still", [gltf.Channel(0, "translation", [0.0, 1.0], np.tile([0, 0.9, 0], (2, 1)))]
    )
    found = inspection.inspect(replace(rigs.straight(), animations=[still]))["extension-pop"]
    assert found.said == "Near full reach no leg changes the speed at which it bends."


def test_a_long_animation_is_said_to_be_measured_in_part():
    long = gltf.Animation(
        "parade", [gltf.Channel(0, "translation", [0.0, 150.0], np.tile([0, 0.9, 0], (2, 1)))]
    )
    report = inspection.inspect(replace(rigs.clean(), animations=[long]))
    assert report.notes == ("The animation 'parade' is not read beyond its first 100 s.",)
    assert "Not read: The animation 'parade' is not read beyond its first 100 s." in report.text()


def test_what_only_hangs_on_a_leg_may_have_a_scale_of_its_own():
    """A shin guard, one for both sides, on the right by its mirror image: no joint hangs below
    it."""
    asset = rigs.clean()
    guard = gltf.Mesh("guard", np.eye(3) * 0.1, [(0, 1, 2)])
    hung = [
        gltf.Node("guard", rigs.place(asset, tag + "knee"), scale=scale, mesh=1)
        for tag, scale in (("L_", (1.2, 1.2, 1.2)), ("R_", (-1.2, 1.2, 1.2)))
    ]
    clean_of(
        inspection.inspect(
            replace(asset, nodes=[*asset.nodes, *hung], meshes=[*asset.meshes, guard])
        )
    )


def test_a_plate_before_the_knees_has_no_middle_of_the_limb():
    asset = rigs.clean()
    (mesh,) = asset.meshes
    before = mesh.triangles[(mesh.positions[mesh.triangles, 2] > 0).all(axis=-1)]
    found = inspection.inspect(replace(asset, meshes=[replace(mesh, triangles=before)]))[
        "joint-in-section"
    ]
    assert found.said == "No skin lies around the legs' joints."


def test_half_a_turn_hidden_in_the_scale_is_no_mirror_image():
    asset = rigs.bound_again(rigs.with_nodes(rigs.clean(), R_hip={"scale": (-1, 1, -1)}))
    assert inspection.inspect(asset)["no-negative-scale"].said == "R_hip has a negative scale."


def test_a_vertex_of_no_triangle_counts_for_nothing():
    asset = rigs.clean()
    (mesh,) = asset.meshes
    beyond = [
        np.concatenate([table, row])
        for table, row in (
            (mesh.positions, [[0, -3, 0]]),
            (mesh.joints, [[0, 0, 0, 0]]),
            (mesh.weights, [[0, 0, 0, 0]]),
            (mesh.normals, [[0, 1, 0]]),
        )
    ]
    more = gltf.Mesh(mesh.name, beyond[0], mesh.triangles, beyond[1], beyond[2], beyond[3])
    report = clean_of(inspection.inspect(replace(asset, meshes=[more])))
    assert report["weights-missing"].number == 0


def test_every_animation_is_inspected_by_itself():
    walk, slide = rigs.walk(), rigs.walk(rigs.carried)
    (other,) = slide.animations
    both = replace(walk, animations=[*walk.animations, replace(other, name="skating")])
    slides = [
        finding for finding in inspection.inspect(both).findings if finding.rule == "foot-slide"
    ]
    assert [(finding.about, finding.status) for finding in slides] == [
        ("walk", "pass"),
        ("skating", "finding"),
    ]


@pytest.mark.parametrize("rule", RULES)
def test_a_limit_can_be_set(rule):
    found = inspection.inspect(rigs.BROKEN[rule]())[rule]
    limit = found.number + (1e-6 if found.sense == "at most" else -1e-6)
    eased = inspection.inspect(rigs.BROKEN[rule](), thresholds={rule: limit})
    assert eased[rule].status == "pass"
    assert eased[rule].limit == limit


@pytest.mark.parametrize(
    ("thresholds", "said"),
    [
        ({"sides": 1}, "must name rules \\(legs-found, "),
        ({"sides-mirror": "wide"}, "must be a number; got 'wide'"),
        ({"sides-mirror": float("nan")}, "must be a number"),
    ],
)
def test_a_limit_of_nothing_is_refused(thresholds, said):
    with pytest.raises(ValueError, match=said):
        inspection.inspect(rigs.clean(), thresholds=thresholds)


def test_every_rule_says_all_it_should():
    for rule in inspection.RULES:
        assert rule.severity in ("serious", "moderate", "slight")
        assert rule.sense in ("at most", "at least")
        assert all((rule.title, rule.because, rule.why, rule.todo)), rule.id
        assert any(
            word in rule.because
            for word in (
                "common practice, no source",
                "our choice",
                "glTF 2.0",
                "derived",
                "published",
            )
        ), rule.id


finite = st.floats(-2, 2, allow_nan=False)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_no_skeleton_is_too_weird(data):
    count = data.draw(st.integers(0, 12))
    words = st.sampled_from(
        ["", "L_hip", "R_hip", "left_knee", "R_ankle", "foot.l", "toe", "spine", "\x00<b>", "𝕃"]
    )
    nodes = [
        gltf.Node(
            data.draw(words),
            None if i == 0 else data.draw(st.one_of(st.none(), st.integers(0, i - 1))),
            data.draw(st.tuples(finite, finite, finite)),
            rotation.quaternion_from_vector(data.draw(st.tuples(finite, finite, finite))),
            data.draw(
                st.sampled_from([(1, 1, 1), (0, 1, 1), (-1, 1, 1), (0, 0, 0), (1e-9, 1, 1e9)])
            ),
        )
        for i in range(count)
    ]
    skins, meshes = (), ()
    if count > 2 and data.draw(st.booleans()):
        matrices = np.stack([np.eye(4) * data.draw(st.sampled_from([1, 0, -1]))] * count)
        skins = (gltf.Skin("s", np.arange(count), matrices),)
        positions = np.array([data.draw(st.tuples(finite, finite, finite)) for _ in range(6)])
        joints = np.array(
            [[data.draw(st.integers(0, count - 1)) for _ in range(4)] for _ in range(6)]
        )
        shares = st.sampled_from([(1, 0, 0, 0), (0, 0, 0, 0), (0.5, 0.5, 0, 0)])
        weights = np.array([data.draw(shares) for _ in range(6)])
        meshes = (gltf.Mesh("m", positions, [(0, 1, 2), (3, 4, 5), (0, 2, 4)], joints, weights),)
        nodes.append(gltf.Node("mesh", mesh=0, skin=0))
    animations = ()
    if nodes and data.draw(st.booleans()):
        node = data.draw(st.integers(0, len(nodes) - 1))
        channel = gltf.Channel(node, "translation", [0.0, 0.5], [(0, 0, 0), (1, 0, 0)])
        animations = (gltf.Animation("a", [channel]),)
    report = inspection.inspect(gltf.Asset(nodes, skins, meshes, animations))
    assert report.text()
    assert json.loads(report.json())
    assert "<script" not in report.html()


def test_a_real_skeleton_with_parts_turned_to_nothing_is_not_too_weird():
    for node in range(11):
        for fields in (
            {"scale": (0, 0, 0)},
            {"scale": (1, 0, 1)},
            {"translation": (0, 0, 0)},
            {"translation": (1e9, 0, 0)},
        ):
            asset = rigs.clean()
            nodes = [
                replace(each, **fields) if i == node else each for i, each in enumerate(asset.nodes)
            ]
            assert inspection.inspect(replace(asset, nodes=nodes)).html()


def test_a_knee_moved_far_aside_keeps_its_hinge():
    hinge = inspection.inspect(rigs.rebuilt(rigs.shifted((0.04, 0, 0), "R_knee")))["hinge-square"]
    assert hinge.status == "finding"
    assert hinge.said.startswith("The x axis of R_knee")
    assert hinge.number == pytest.approx(
        65.1, abs=1
    )  # the arctangent of 4 cm aside to the 1.86 cm of the preset bend


# --- what single lines decide


def two_frames_of(angles):
    """Tamsin in two equal frames of joint angles, as an asset; her rig is straight at rest."""
    rig = LegRig.from_puppet(rigs.TAMSIN)
    values = rig.values_from_angles(angles)
    still = {
        control: {channel: np.broadcast_to(value, 2) for channel, value in channels.items()}
        for control, channels in values.items()
    }
    posed = rig.pose(still, False)
    surface = skin.rig_skin(rig, rigs.TAMSIN, rigs.VERTICES)
    return export.rig_asset(rig.skeleton, *surface, {"still": ([0.0, 0.5], posed.world)})


def test_joint_angles_have_the_signs_of_anatomy():
    """Flexion, abduction and internal rotation are positive on both sides, dorsiflexion too."""
    hip = [[0.3, 0.2, 0.1], [-0.2, 0.15, -0.12]]
    wanted = LegAngles(hip, [0.6, 0.9], [[0.2, 0, 0], [-0.3, 0, 0]])
    subject = Subject(two_frames_of(wanted))
    (motion,) = subject.motions()
    for i, side in enumerate("LR"):
        found = anatomical_angles(subject, side, motion)
        expected = {
            "hip": wanted.hip[i, 0],
            "hip_abduction": wanted.hip[i, 1],
            "hip_rotation": wanted.hip[i, 2],
            "knee": wanted.knee[i],
            "ankle": wanted.ankle[i, 0],
        }
        for joint, angle in expected.items():
            assert found[joint] == pytest.approx(angle, abs=1e-6), (side, joint)


@pytest.mark.parametrize(("x", "where"), [(0.002, None), (-0.004, None), (-0.03, "3.0 cm")])
def test_a_joint_may_lie_a_hundredth_of_the_leg_beyond_the_middle(x, where):
    def toe_at(world):
        world["L_toe"][0, 3] = x

    said = inspection.inspect(rigs.rebuilt(toe_at))["names-say-sides"].said
    assert ("lies on the body's" in said) == (where is not None)
    assert where is None or f"“L_toe” lies on the body's right, {where} from the middle" in said


@pytest.mark.parametrize(("aside", "word"), [(0.01, "outward"), (-0.01, "inward")])
@pytest.mark.parametrize(("side", "sign"), [("L", 1), ("R", -1)])
def test_a_knee_beside_the_plane_is_said_to_be_outward_or_inward(side, sign, aside, word):
    asset = rigs.rebuilt(rigs.shifted((aside, 0, 0), f"{side}_knee"))
    finding = inspection.inspect(asset)["knee-in-plane"]
    assert finding.said.endswith(f", {word}.")
    assert dict(finding.parts)[{"L": "left", "R": "right"}[side]] == pytest.approx(
        100 * aside / LEG, rel=0.02
    )


def test_a_scale_above_the_legs_is_said_to_change_units():
    small = inspection.inspect(rigs.under(rigs.clean(), scale=0.01))["scale-one"]
    assert small.said.endswith(" A scale of 0.01 at or above pelvis changes units, evenly.")
    assert "changes units" not in inspection.inspect(rigs.clean())["scale-one"].said


@pytest.mark.parametrize("cm", [0.9, 3.0])
def test_a_joint_bound_elsewhere_does_not_silence_the_skin(cm):
    asset = rigs.clean()
    (each,) = asset.skins
    bind = each.inverse_bind.copy()
    bind[rigs.place(asset, "L_ball"), 2, 3] += cm / 100
    torn = replace(asset, skins=[replace(each, inverse_bind=bind)])
    report = inspection.inspect(torn)
    for rule in ("knee-volume", "joint-in-section"):
        assert report[rule].number is not None, rule
    doubled = inspection.inspect(torn, {"metres": 2})["inverse-bind"]
    assert doubled.number == pytest.approx(cm / LEG, abs=1e-3)
    assert f"it stood {2 * cm:.1f} cm from" in doubled.said


@pytest.mark.parametrize(("x", "astray"), [(-0.03, True), (-0.01, False)])
def test_skin_within_a_fiftieth_of_the_leg_from_the_middle_goes_with_both_legs(x, astray):
    asset = rigs.clean()
    (mesh,) = asset.meshes
    positions, joints, weights = (
        table.copy() for table in (mesh.positions, mesh.joints, mesh.weights)
    )
    calf = int(np.linalg.norm(positions - [-0.09, 0.25, 0], axis=-1).argmin())
    positions[calf, 0] = x
    joints[calf], weights[calf] = 0, 0
    joints[calf, :2] = rigs.place(asset, "R_knee"), rigs.place(asset, "L_knee")
    weights[calf, :2] = 0.8, 0.2
    stray = replace(mesh, positions=positions, joints=joints, weights=weights)
    finding = inspection.inspect(replace(asset, meshes=[stray]))["weights-own-side"]
    assert (finding.number > 0) == astray


@pytest.mark.parametrize(("high", "near"), [(-0.035, False), (-0.006, True)])
def test_a_leg_is_near_full_reach_from_a_hundredth_on(high, near):
    sinking = {"pelvis": {"shift_y": rigs.step_at(1.0, -0.1, high)}}
    finding = inspection.inspect(rigs.standing(sinking))["extension-pop"]
    assert (finding.number > 0) == near
    assert finding.said.startswith("Near full reach" if near else "No leg comes near full reach")


def test_a_knee_that_turns_slowly_is_measured_over_a_tenth_of_a_second():
    """A pole that swings by 2.2 radians in 0.2 s: half of that in a tenth."""
    found = inspection.inspect(rigs.flipping(seconds=0.2))["knee-flip"]
    assert found.number == pytest.approx(np.degrees(2.2) / 2, abs=6)
