"""What lesson 10 asks: starts that tell nothing, states that tell, and answers by other ways."""

import re

import numpy as np
import pytest

from rigkit import gait
from rigkit.puppets import PUPPETS
from rigkit.scenes import a_walk as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))


def options(panel, **values):
    return panel.frame(**values)["found"]["right"]


@pytest.mark.parametrize(
    ("panel", "told"),
    [
        (scene.slide_guess(TAMSIN), {"percent": 58}),
        (scene.pelvis_guess(TAMSIN), {"path": "level, low"}),
        (scene.sway_guess(TAMSIN), {"sway": 100, "rotation": 100, "obliquity": 100}),
        (scene.pop_guess(PIP), {"raised_cm": 0.5}),
    ],
    ids=lambda each: each.ask.name if hasattr(each, "ask") else "",
)
def test_a_start_tells_nothing_and_what_is_to_be_done_tells(panel, told):
    assert panel.shown["found"] is None
    assert panel.frame(**told)["found"]["right"]
    for control in told:
        assert panel.frame(**{**told, control: panel.values[control]})["found"] is None


def test_the_start_of_the_slide_shows_no_slide():
    panel = scene.slide_guess(TAMSIN)
    assert "slid <b>0.0 cm</b>; right foot down." in panel.readout
    assert "12.4 cm" not in panel.readout + panel.picture + panel.title
    assert panel.frame(percent=58, legs="feet planted")["found"] is None


def test_a_foot_leaves_when_its_contact_ends():
    found = scene.footfalls_guess(TAMSIN).shown["found"]
    heights = scene.stride(TAMSIN).walk.points[100:200, 0, -3:, 1].min(axis=-1)
    assert found["right"] == np.flatnonzero(heights > 1e-6)[0] - 1 == 59  # the last on the floor
    assert "for 9 % each time" in found["words"]  # 59 − 50


def test_the_slide_is_the_way_of_the_lowest_point():
    """Without the contacts: the lowest point of the sole of each frame, followed to the next."""
    walk = gait.walk(TAMSIN, frames=1000, cycles=1)
    sole = walk.points[: round(0.59 * 1000), 0, -3:]
    lowest = sole[:-1, :, 1].argmin(axis=1)
    steps = np.diff(sole[:, :, 2], axis=0)[np.arange(len(lowest)), lowest]
    words = scene.slide_guess(TAMSIN).frame(percent=58)["found"]["words"]
    assert float(re.search(r"<b>([\d.]+) cm", words)[1]) == pytest.approx(
        100 * np.abs(steps).sum(), abs=0.3
    )
    assert "9 % of the stride's length" in words
    assert options(scene.slide_guess(TAMSIN), percent=58) == ["5 to 20 cm"]


def test_a_correction_that_stops_makes_a_jump_of_itself():
    found = scene.jump_guess(TAMSIN).shown["found"]
    assert found["right"] == ["by about 2 cm"]
    before, after = scene.published(TAMSIN)["ankle"], scene.stride(TAMSIN).walk["ankle"]
    jump = 100 * (after - before)[159, 0, 2]  # solved, not asked for
    assert f"<b>{jump:.1f} cm</b>" in found["words"]


def test_a_low_pelvis_does_no_harm_but_to_the_knee():
    panel = scene.pelvis_guess(TAMSIN)
    found = panel.frame(path="level, low")["found"]
    assert found["right"] == ["the standing knee stays bent"]
    walk = scene.carried(TAMSIN, 65, "level, low").walk
    hip, knee, ankle = (walk[f"L_{joint}"][115:146] for joint in ("hip", "knee", "ankle"))
    thigh, shank = knee - hip, ankle - knee
    cosine = (thigh * shank).sum(-1) / np.prod(np.linalg.norm([thigh, shank], axis=-1), axis=0)
    assert f"<b>{np.degrees(np.arccos(cosine)).min():.0f}°</b>" in found["words"]
    assert "14" not in panel.readout


def test_planted_feet_do_not_notice_a_pelvis():
    found = scene.sway_guess(TAMSIN).frame(sway=100, rotation=100, obliquity=100)["found"]
    assert found["right"] == ["not at all"]
    assert "swayed by 5.0 cm, turned by 8.8° and dropped by 8.3°" in found["words"]


def test_half_a_centimetre_is_seen_at_the_knee():
    panel = scene.pop_guess(PIP)
    assert "no pop" in panel.readout
    found = panel.frame(percent=45, raised_cm=0.5)["found"]
    assert found["right"] == ["a knee snaps"]
    walk = scene.raised(PIP, 0.5).walk
    speeds = np.degrees(np.abs(np.diff(walk.bend[100:201], axis=0))) / walk.times[1]
    near = walk.bend[100:200] < np.radians(20)
    assert f"<b>{speeds[near].max():.0f}°" in found["words"]


@pytest.mark.parametrize("stance", [55, 60, 65, 70])
def test_both_feet_are_down_for_what_is_over_a_half_twice(stance):
    assert scene.both_down(stance) == pytest.approx(2 * (stance - 50), abs=0.2)
    check = scene.both_check(stance).ask
    assert check.reply(2 * (stance - 50))[0]


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (15, "That is one time"),
        (35, "in the air"),
        (65, "alone or not"),
        (18, "This one leaves at 65 %"),
        (130, "How long does the first"),
        (0, "How long does the first"),
        (50, "How long does the first"),
        (29, "Right"),
        (30.9, "Right"),
        (31.5, "How long does the first"),
    ],
)
def test_a_time_on_both_feet_is_met_by_what_it_misunderstands(answer, said):
    right, words = scene.both_check().ask.reply(answer)
    assert right == (said == "Right")
    assert right or said in words


def test_a_foot_that_slides_to_and_fro():
    # Of the toe's own way over the floor: what goes ahead less what goes back is first to last.
    cm = scene.slide_measures(PIP)
    walk = gait.walk(PIP, frames=1000, cycles=1)
    down = np.flatnonzero(walk.stance[:1000, 0])
    toe = walk["L_toe"][down[0] : down[-1] + 1, 2]
    steps = 100 * np.diff(toe)
    assert abs(steps[steps > 0].sum() + steps[steps < 0].sum()) == pytest.approx(
        cm["first to last"]
    )
    assert walk.slide_cm[0] == pytest.approx(cm["along the floor"], abs=0.05)
    pelvis = 100 * 1000 * walk.speed * walk.times[1] * 0.59  # a foot that stands goes back as far
    assert cm["from the hips"] == pytest.approx(pelvis, rel=0.15)
    assert cm["first to last"] < cm["along the floor"] < cm["ankle, planted"]
    check = scene.to_and_fro_check(PIP).ask
    assert [check.reply(each)[0] for each in check.answer] == [True, False, False, False]


def test_a_lower_pelvis_costs_a_planted_leg_nothing_but_angles():
    seen = scene.lowered(TAMSIN, 1.0)
    assert seen.slide_cm < 1e-3
    assert abs(seen.deep_cm) < 1e-6
    # The law of cosines, for the leg whose knee turned furthest.
    path = gait.pelvis_path(scene.published(TAMSIN))
    bends = []
    for down in (0.0, 0.01):
        walk = gait.plant(scene.published(TAMSIN), path - [0, down, 0])
        far = np.linalg.norm(walk["ankle"] - walk["hip"], axis=-1)[100:201]
        thigh, shank = TAMSIN.bones
        cosine = (far**2 - thigh**2 - shank**2) / (2 * thigh * shank)
        bends.append(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
    assert np.abs(bends[1] - bends[0]).max() == pytest.approx(seen.knee_deg, abs=0.1)
    check = scene.lowered_check(TAMSIN).ask
    assert [check.reply(each)[0] for each in check.answer] == [False, False, True]


def test_the_leg_that_allows_less_decides():
    check = scene.decides_check(ODO).ask
    walk = scene.published(ODO)
    ankle, hip = gait.foot_goals(walk)[130], walk["hip"][130]
    away = ankle - hip
    straight = 0.9985 * sum(ODO.bones)
    allowed = ankle[:, 1] + np.sqrt(straight**2 - away[:, 0] ** 2 - away[:, 2] ** 2)
    allowed = 100 * (allowed - (hip[:, 1] - walk.pelvis[130, 1]))
    assert check.reply(allowed.min())[0]
    assert "other one would be too short" in check.reply(allowed.max())[1]
    assert "Half way" in check.reply(allowed.mean())[1]
    assert check.reply(allowed.sum())[1] == check.hint
