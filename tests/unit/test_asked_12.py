"""What lesson 12 asks: starts that tell nothing, states that tell, and answers by other ways."""

import numpy as np
import pytest

from rigkit import faults, inspection
from rigkit.puppets import PUPPETS
from rigkit.scenes import sign_off as scene

TAMSIN = PUPPETS["Tamsin"]


def places(asset, *names):
    """Where joints stand at rest, in metres."""
    found = [node.name for node in asset.nodes]
    return asset.rest_world()[[found.index(name) for name in names], :3, 3]


@pytest.mark.parametrize(
    ("panel", "told"),
    [
        (scene.case_guess(TAMSIN), {"frame": scene.MOVING}),
        (scene.late_guess(TAMSIN), {"back_mm": 20.0, "bound": scene.BEFORE}),
    ],
    ids=lambda each: each.ask.name if hasattr(each, "ask") else "",
)
def test_a_start_tells_nothing_and_what_is_to_be_done_tells(panel, told):
    assert panel.shown["found"] is None
    assert panel.frame(**told)["found"]["right"]
    for control in told:
        assert panel.frame(**{**told, control: panel.values[control]})["found"] is None


def test_the_starts_show_no_fault():
    assert scene.case_guess(TAMSIN).values == {"number": 1, "frame": 0, "inspected": "not yet"}
    assert "No finding: this rig passes" in scene.late_guess(TAMSIN).readout


def test_the_opening_shows_two_rigs_that_look_alike():
    sound, broken = faults.sound(TAMSIN), scene.broken(TAMSIN, 1)[0]
    np.testing.assert_allclose(
        *(each.skin_points(len(each.nodes) - 1, each.rest_world()) for each in (sound, broken)),
        atol=1e-9,
    )
    picture = scene.opening(TAMSIN)
    assert "behind" not in picture.title + picture.desc
    assert "moving" not in picture.title + picture.desc


def test_a_foot_hung_from_the_pelvis_stays_under_it():
    """By the hierarchy: no joint that turns in the step is above it."""
    asset = scene.broken(TAMSIN, 1)[0]
    names = [node.name for node in asset.nodes]
    above, at = [], asset.nodes[names.index("L_ankle")].parent
    while at is not None:
        above.append(names[at])
        at = asset.nodes[at].parent
    assert not set(above) & set(scene.STEP_DEG)
    found = scene.case_guess(TAMSIN).frame(frame=scene.MOVING)["found"]
    assert found["right"] == ["stays where it was"]
    assert "<b>0 cm</b>" in found["words"]


def test_a_sound_foot_goes_as_far_as_hip_and_knee_take_it():
    """The ankle under the pelvis, in the side view: two turns of two bones by hand."""
    hip, knee, ankle = places(faults.sound(TAMSIN), "L_hip", "L_knee", "L_ankle")[:, [2, 1]]

    def turned(way, degrees):  # toes up, seen from the right
        made = complex(*way) * np.exp(1j * np.radians(degrees))
        return np.array([made.real, made.imag])

    swing, bent = -scene.STEP_DEG["L_hip"][0], -scene.STEP_DEG["L_knee"][0]
    moved = hip + turned(knee - hip, swing) + turned(ankle - knee, swing + bent)
    words = scene.case_guess(TAMSIN).frame(frame=scene.MOVING)["found"]["words"]
    assert f"has gone {100 * np.linalg.norm(moved - ankle):.0f} cm" in words


def test_only_a_goal_notices_straight_legs():
    check = scene.straight_check(TAMSIN).ask
    assert [check.reply(each)[0] for each in check.answer] == [False, True, False]
    assert "bent by 50°, the sound one by 55°" in check.reply(check.answer[0])[1]
    hip, knee, ankle = places(scene.broken(TAMSIN, 3)[0], "L_hip", "L_knee", "L_ankle")
    assert np.linalg.norm(np.cross(knee - hip, ankle - knee)) < 1e-6  # one line, no plane


def test_a_knee_4_mm_back_differs_in_its_bend_before_it_differs_in_place():
    check = scene.first_check(TAMSIN).ask
    assert [check.reply(each)[0] for each in check.answer] == [False, True, False]
    hip, knee, ankle = places(faults.sound(TAMSIN), "R_hip", "R_knee", "R_ankle")
    bends = []
    for at in (knee, knee - [0, 0, 0.004]):
        thigh, shank = at - hip, ankle - at
        cosine = thigh @ shank / np.linalg.norm(thigh) / np.linalg.norm(shank)
        bends.append(np.degrees(np.arccos(cosine)))
    assert f"measures {bends[0] - bends[1]:.1f}°; up to 1° is" in check.reply(check.right)[1]
    assert "limits stand in the card above" in check.question
    share = 0.4 / (TAMSIN.leg_length)  # 4 mm of the leg, percent
    assert f"measures {share:.2f} % of the leg; up to 0.6 %" in check.reply(check.answer[0])[1]
    for each in (check.answer[0], check.answer[2]):
        assert check.reply(each)[1].endswith("is allowed. So it is within its limit.")


def test_one_deed_has_one_finding_or_four():
    found = scene.late_guess(TAMSIN).frame(back_mm=20.0, bound=scene.BEFORE)["found"]
    late = faults.knee_back(TAMSIN, back_mm=20, bound=faults.BEFORE)
    assert [each.rule for each in inspection.inspect(late).of("finding")] == ["inverse-bind"]
    assert found["right"] == ["one"]
    again = inspection.inspect(faults.bound_again(late)).of("finding")
    assert len(again) == 4
    check = scene.anew_check(TAMSIN).ask
    assert [check.reply(each)[0] for each in check.answer] == [False, False, False, True]
    for finding in again:
        assert f"<code>{finding.rule}</code>" in check.reply("four or more")[1]


def test_what_a_sound_rig_measures():
    report = inspection.inspect(faults.sound(TAMSIN))
    assert report.passed
    hip, knee, ankle = places(faults.sound(TAMSIN), "L_hip", "L_knee", "L_ankle")
    thigh, shank = knee - hip, ankle - knee
    cosine = thigh @ shank / np.linalg.norm(thigh) / np.linalg.norm(shank)
    assert report["preset-bend"].number == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-3)
    assert report["preset-bend"].measured.startswith("5°")
    assert report["joint-in-section"].measured.startswith("5 %")
