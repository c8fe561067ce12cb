"""The numbers that lesson 12 says in words, and that each of its ten rigs is broken in one way
only."""

import numpy as np
import pytest

from rigkit import bend, faults, inspection, placement
from rigkit.puppets import PUPPETS
from rigkit.scenes import sign_off as scene

TAMSIN, ODO = PUPPETS["Tamsin"], PUPPETS["Odo"]
NUMBERS = range(1, 11)


def accused(report):
    return [finding.rule for finding in report.of("finding")]


def findings(asset, *arguments):
    return accused(inspection.inspect(asset, *arguments))


def test_there_are_as_many_rules_as_the_lesson_says():
    assert len(inspection.RULES) == 34


@pytest.mark.parametrize("number", NUMBERS)
def test_each_of_the_ten_is_found_by_one_rule_and_was_sound_before(number):
    fault = scene.FAULTS[number - 1]
    _, report = scene.broken(TAMSIN, number)
    assert accused(report) == [fault.rule]
    assert findings(fault.before(TAMSIN)) == []


def test_each_of_the_ten_is_of_another_rule():
    assert len({fault.rule for fault in scene.FAULTS}) == len(scene.FAULTS) == 10


def test_what_the_faults_say_of_themselves_is_what_is_measured():
    numbers = {
        scene.FAULTS[n - 1].rule: scene.broken(TAMSIN, n)[1][scene.FAULTS[n - 1].rule].number
        for n in NUMBERS
    }
    assert numbers["hinge-square"] == pytest.approx(15)
    assert numbers["rest-reads-zero"] == pytest.approx(8, abs=1e-3)
    assert 0.05 < numbers["weights-sum"] < 0.1  # one weight below a tenth was dropped
    before, after = (faults.sound(TAMSIN), faults.knees_at_the_front(TAMSIN))
    knee = [node.name for node in before.nodes].index("L_knee")
    assert after.rest_world()[knee, 2, 3] - before.rest_world()[knee, 2, 3] == pytest.approx(0.03)


def largest_difference(number, pose):
    """By how many centimetres the skin of one of the ten differs most from the sound one's."""
    fault, (asset, _) = scene.FAULTS[number - 1], scene.broken(TAMSIN, number)
    points = []
    for each in (asset, fault.before(TAMSIN)):
        world = scene._posed(TAMSIN, each, pose, False)
        points.append(each.skin_points(len(each.nodes) - 1, world))
    return 100 * np.linalg.norm(points[0] - points[1], axis=-1).max()


@pytest.mark.parametrize(
    ("pose", "shown"), [(scene.AT_REST, {3, 4, 9}), (scene.MOVING, {1, 2, 3, 4, 5, 6, 8, 9})]
)
def test_which_of_the_ten_a_skin_shows(pose, shown):
    """Rig 3's skin was made for another rest pose; at rest rig 8 shows by its joints only, and 7
    and 10 by none."""
    assert {number for number in NUMBERS if largest_difference(number, pose) > 1.0} == shown


def test_moving_rig_3_looks_nearly_as_the_sound_one_does():
    asset, _ = scene.broken(TAMSIN, 3)
    names = [node.name for node in asset.nodes]
    leg = [names.index(f"L_{part}") for part in faults.PARTS[:3]]
    bends = [
        np.degrees(bend.measure_bend(scene.stepping(each)[leg, :3, 3]).angle)
        for each in (asset, faults.sound(TAMSIN))
    ]
    assert bends == pytest.approx([50, 55], abs=0.01)


def test_a_knee_2_cm_back_after_binding_is_found_by_one_rule_and_bound_anew_by_four():
    late = faults.knee_back(TAMSIN, 20, faults.BEFORE)
    report = inspection.inspect(late)
    assert accused(report) == ["inverse-bind"]
    assert "stood 2.0 cm from where it is" in report["inverse-bind"].said
    again = inspection.inspect(faults.bound_again(late))
    assert accused(again) == ["sides-mirror", "preset-bend", "bends-alike", "joint-in-section"]
    assert again["preset-bend"].number == pytest.approx(-0.5, abs=0.05)
    shares = [report["inverse-bind"].number, again["sides-mirror"].number]
    assert shares == pytest.approx([2 / sum(TAMSIN.bones)] * 2, rel=2e-3)
    assert again["bends-alike"].number == pytest.approx(5.5, abs=0.05)
    assert findings(faults.knee_back(TAMSIN, 0, faults.BEFORE)) == []


@pytest.mark.parametrize(
    ("back_mm", "found"),
    [
        (3.5, []),
        (4.0, ["bends-alike"]),
        (4.9, ["bends-alike"]),
        (5.5, ["sides-mirror", "bends-alike"]),
    ],
)
def test_a_knee_back_is_found_by_its_angle_before_its_distance(back_mm, found):
    assert findings(faults.knee_back(TAMSIN, back_mm)) == found
    if back_mm == 4.0:
        assert inspection.inspect(faults.knee_back(TAMSIN, 4.0))[
            "bends-alike"
        ].number == pytest.approx(1.1, abs=0.05)


def test_the_moments_of_the_panel_show_what_their_names_say():
    panel = scene.how_large_panel(TAMSIN)
    said = {}
    for name, values in panel.presets.items():
        panel.set(**values)
        said[name] = panel.readout
    assert "No finding: this rig passes" in said["Too small to find"]
    assert "joint-in-section" in said["2 cm, then bound"]
    assert "inverse-bind" in said["Bound, then 2 cm"]
    assert "3 findings: sides-mirror, sides-turn, hinge-square." in said["Unsteady hand"]
    assert "4 findings" in said["Strict, steady hand"]


def test_a_hand_that_places_both_sides_is_accused():
    shares = [
        scene.accused(TAMSIN, hand, (0.5, 1, 2), np.random.default_rng(12))
        for hand in (0.25, 0.5, 1.0, 2.0)
    ]
    rng = np.random.default_rng(12)
    reports = [
        inspection.inspect(faults.placed_by_hand(TAMSIN, 0.5, rng), scene.STANDING, scene.limits(2))
        for _ in range(20)
    ]
    assert shares[1][2] == np.mean([not report.passed for report in reports])
    assert shares[0][0] == 0
    assert shares[3][1:].tolist() == [1, 1]
    assert 0.5 < shares[3][0] < 1
    assert (np.diff(shares, axis=0) >= 0).all()
    assert (np.diff(shares, axis=1) >= 0).all()


def test_the_hand_is_accused_of_its_axes_first():
    rng = np.random.default_rng(12)
    found = [findings(faults.placed_by_hand(TAMSIN, 0.5, rng)) for _ in range(25)]
    assert all("sides-turn" in rules for rules in found if rules)
    assert any(found)
    knee = faults.sound(TAMSIN).rest_world()[[1, 3], 2, 3]
    assert 100 * (knee[1] - knee[0]) == pytest.approx(1.8, abs=0.05)
    assert np.degrees(np.arctan2(0.1, 1.8)) == pytest.approx(3, abs=0.5)


@pytest.mark.parametrize(("cm", "slide"), [(2, 2.8), (5, 7.1), (8, 11.3)])
def test_knees_too_high_pass_and_their_skin_slides(cm, slide):
    high = faults.knees_too_high(TAMSIN, cm)
    assert findings(high) == []
    moved = np.linalg.norm(
        high.rest_world()[:, :3, 3] - faults.sound(TAMSIN).rest_world()[:, :3, 3], axis=-1
    )
    assert np.sort(moved)[-2:] == pytest.approx([cm / 100] * 2)
    assert 100 * placement.skin_slide([0, cm / 100, 0], np.pi / 2) == pytest.approx(slide, abs=0.05)


def test_odos_rig_is_taken_wrong_until_both_knees_are_named():
    strange = faults.ship_named(ODO)
    report = inspection.inspect(strange)
    assert report.legs.certainty == pytest.approx(0.73, abs=0.005)
    assert report.name(report.legs.legs["L"].joints["knee"]) == "spar1"
    assert report["preset-bend"].number == pytest.approx(3.6, abs=0.05)
    one, both = {"left.knee": "boom1"}, {"left.knee": "boom1", "right.knee": "boom2"}
    assert findings(strange, one) == [
        "sides-mirror",
        "bends-alike",
        "weights-alike",
        "names-say-sides",
    ]
    assert inspection.inspect(strange, one)["sides-mirror"].said.startswith(
        "Farthest off is the knee: spar2 stands 16 cm from"
    )
    assert findings(strange, both) == ["names-say-sides"]
    assert inspection.inspect(strange, both)["preset-bend"].number == pytest.approx(5)


@pytest.mark.parametrize(
    "puppet",
    [puppet for puppet in PUPPETS.values() if len(puppet.bones) == 2],
    ids=lambda puppet: puppet.name,
)
def test_a_rig_that_is_rebuilt_without_a_change_is_the_same(puppet):
    before, after = faults.sound(puppet), faults.rebuilt(puppet)
    np.testing.assert_allclose(after.rest_world(), before.rest_world(), atol=1e-12)
    np.testing.assert_allclose(
        after.skins[0].inverse_bind, before.skins[0].inverse_bind, atol=1e-12
    )
    assert findings(after) == []


def test_the_knee_joint_is_taken_where_the_rig_has_it():
    (knee,) = scene.how_large_panel(TAMSIN).grips
    asset = faults.placed_by_hand(TAMSIN, 2.0, np.random.default_rng(12), 7.5, scene.BEFORE)
    names = [node.name for node in asset.nodes]
    place = asset.rest_world()[names.index("R_knee"), :3, 3]
    found = knee.at(back_mm=7.5, hand_mm=2.0, strictness=1.0, bound=scene.BEFORE)
    np.testing.assert_allclose(found, place, atol=1e-12)


@pytest.mark.parametrize("frame", range(0, scene.FRAMES + 1, 6))
def test_a_sound_rig_has_a_foot_on_the_floor_in_every_frame(frame):
    asset = faults.sound(TAMSIN)
    skin = asset.skin_points(len(asset.nodes) - 1, scene._posed(TAMSIN, asset, frame, False))
    standing = asset.skin_points(len(asset.nodes) - 1, asset.rest_world())
    assert skin[:, 1].min() == pytest.approx(standing[:, 1].min(), abs=1e-9)


def test_the_foot_that_stays_behind_is_in_the_floor():
    """Hung from the pelvis, it sinks with the body."""
    asset, report = scene.broken(TAMSIN, 1)
    foot = report.legs.legs["L"].joints["ankle"]
    world = scene._posed(TAMSIN, asset, scene.MOVING, False)
    assert world[foot, 1, 3] < asset.rest_world()[foot, 1, 3] - 0.02


def drawn(number, frame):
    return scene.case(TAMSIN, number, frame, scene.NOT_YET)[0].pictures[0].svg()


@pytest.mark.parametrize("number", NUMBERS)
def test_each_of_the_ten_moves_when_it_is_played(number):
    panel = scene.case_panel(TAMSIN)
    assert panel.play == "frame"
    assert drawn(number, 12) != drawn(number, 26)


def test_between_two_frames_rig_7_slides_and_rig_10_snaps():
    """At 24 frames a second; a walker's planted foot stays, a sound knee turns evenly."""
    moved, turned = [], []
    for make in (faults.feet_carried_along, lambda who: faults.feet_carried_along(who, 0.0)):
        asset = make(TAMSIN)
        toe = [node.name for node in asset.nodes].index("L_ball")
        places = [scene._posed(TAMSIN, asset, n, True)[toe, 2, 3] for n in range(scene.FRAMES)]
        moved.append(np.abs(np.diff(places)).min())
    for rise in (0.022, 0.0):
        asset = faults.rising_out_of_reach(TAMSIN, rise)
        leg = [[node.name for node in asset.nodes].index(f"L_{part}") for part in faults.PARTS[:3]]
        flexed = [
            bend.measure_bend(scene._posed(TAMSIN, asset, n, True)[leg, :3, 3]).angle
            for n in range(scene.FRAMES)
        ]
        turned.append(np.degrees(np.abs(np.diff(flexed)).max()))
    assert moved[0] > 0.004 > 0.001 > moved[1]
    assert turned[0] > 10 > 1 > turned[1]
