"""What lesson 11 asks: starts that tell nothing, states that tell, and answers by other ways."""

import numpy as np
import pytest

from rigkit import foot
from rigkit.puppets import PUPPETS
from rigkit.scenes import the_foot as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))


def turned(way, degrees):
    """A way (forward, up) turned with the heel up, as a complex number times a unit one."""
    made = complex(*way) * np.exp(-1j * np.radians(degrees))
    return np.array([made.real, made.imag])


@pytest.mark.parametrize(
    ("panel", "told"),
    [
        (scene.ankle_guess(TAMSIN), {"roll_deg": 25}),
        (scene.follow_guess(TAMSIN), {"roll_deg": 25}),
        (scene.pivots_guess(TAMSIN), {"percent": 52, "wiring": "too high"}),
        (scene.turning_guess(TAMSIN), {"roll_deg": 0, "tip_deg": -5}),
    ],
    ids=lambda each: each.ask.name if hasattr(each, "ask") else "",
)
def test_a_start_tells_nothing_and_what_is_to_be_done_tells(panel, told):
    assert panel.shown["found"] is None
    assert panel.frame(**told)["found"]["right"]
    for control in told:
        assert panel.frame(**{**told, control: panel.values[control]})["found"] is None


def test_the_opening_measures_nothing():
    picture = scene.opening(TAMSIN)
    assert " cm" not in picture.svg()
    for pivot in foot.PIVOTS:
        assert f"on the {pivot}" not in picture.svg()


def test_an_ankle_goes_round_the_ball():
    panel = scene.ankle_guess(TAMSIN)
    sole = foot.of_puppet(TAMSIN)
    way = sole.ankle - sole.ball
    chord = 100 * np.linalg.norm(turned(way, 25) - way)
    found = panel.frame(roll_deg=25)["found"]
    assert found["right"] == pytest.approx(chord) == panel.frame(roll_deg=60)["found"]["right"]
    assert f"<b>{chord:.1f} cm</b>, round the ball, 14.3 cm away" in found["words"]
    assert panel.frame(roll_deg=25, limit_deg=10)["found"] is None  # that ball is not the pivot


def test_a_foot_whose_ankle_is_held_goes_down_by_what_the_ankle_should_rise():
    sole = foot.of_puppet(TAMSIN)
    way = sole.ankle - sole.ball
    gone = 100 * (turned(way, 25) - way)
    found = scene.follow_guess(TAMSIN).frame(roll_deg=25)["found"]
    assert found["right"] == ["sinks into the floor"]
    assert f"<b>{gone[1]:.1f} cm in the floor</b>" in found["words"]
    assert f"{np.hypot(*gone):.1f} cm off" in found["words"]


@pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP], ids=lambda puppet: puppet.name)
def test_at_the_strike_it_sinks_as_well(puppet):
    check = scene.held_check(puppet).ask
    sole = foot.of_puppet(puppet)
    heel = sole.ankle + turned(sole.heel - sole.ankle, -16)
    assert heel[1] < 0
    assert [check.reply(each)[0] for each in check.answer] == [False, True, False]
    for each in check.answer:
        assert f"{-100 * heel[1]:.1f} cm" in check.reply(each)[1]


def test_pivots_that_are_too_high_slide_and_do_not_sink():
    found = scene.pivots_guess(TAMSIN).frame(percent=58, wiring="too high")["found"]
    assert found["right"] == ["it slides along the floor"]
    assert "<b>6.8 cm</b>" in found["words"]
    assert "below 0.0 cm" in found["words"]


def test_a_roll_never_pushes_the_foot_into_the_floor_and_each_turn_can():
    panel = scene.turning_guess(TAMSIN)
    found = panel.frame(roll_deg=0, heel_deg=10)["found"]
    assert found["right"] == ["only the three turns"]
    sole = foot.of_puppet(TAMSIN)
    long, toes = (100 * (sole.toe - each)[0] for each in (sole.heel, sole.ball))
    # 30° about one end of the sole put the other end in; about the ball, all that is behind it.
    deep = [0.5 * long, 0.5 * (long - toes), 0.5 * long]
    for cm, pivot in zip(deep, foot.PIVOTS, strict=True):
        assert f"{cm:.1f} cm ({pivot})" in found["words"]
    assert panel.frame(roll_deg=0, heel_deg=-10)["found"] is None  # the way it is meant to turn


def test_a_foot_in_the_air_is_in_the_floor():
    found = scene.lifted_guess(TAMSIN).shown["found"]
    sole = foot.of_puppet(TAMSIN)
    toe = 10 + 100 * turned(sole.toe - sole.ankle, 30)[1]
    assert found["right"] == ["in the floor"]
    assert f"<b>{-toe:.1f} cm in the floor</b>" in found["words"]


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (2.36, "Right"),
        (2.3, "Right"),
        (3.5, "about the ball"),
        (4.7, "half the turn"),
        (1.2, "twice the radius"),
        (16.8, "degrees for radians"),
        (0, "stays where the foot turns about it"),
        (8.5, "Which point carries"),
        (12.5, "Which point carries"),
        (0.024, "stays where the foot turns about it"),  # in metres
        (30, "Which point carries"),
    ],
)
def test_a_way_round_the_heel_is_met_by_what_it_misunderstands(answer, said):
    sole = foot.of_puppet(PIP)
    way = sole.ankle - sole.heel
    check = scene.strike_check(PIP).ask
    assert check.right == pytest.approx(100 * np.linalg.norm(turned(way, -16) - way))
    right, words = check.reply(answer)
    assert right == (said == "Right")
    assert right or said in words


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (10.09, "Right"),
        (10.0, "Right"),
        (0.8, "The sign"),
        (12.5, "changed places"),
        (10.65, "lean"),
        (7.4, "how far behind"),
        (4.5, "degrees for radians"),
        (6, "Which goes with the cosine"),
        (17, "Which goes with the cosine"),
        (-0.8, "Which goes with the cosine"),
        (0.1, "Which goes with the cosine"),
    ],
)
def test_a_turn_in_the_plane_is_met_by_what_it_misunderstands(answer, said):
    check = scene.turn_check(PIP).ask
    assert check.right == pytest.approx(turned((-11, 6), 25)[1])
    right, words = check.reply(answer)
    assert right == (said == "Right")
    assert right or said in words


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (3.86, "Right"),
        (3.9, "Right"),
        (5.2, "whole roll"),
        (4.6, "Down goes with the sine"),
        (2.05, "toe's own share"),
        (0, "right order"),
        (6, "Down by what"),
        (4.47, "Down by what"),
        (9, "Down by what"),
        (0.04, "right order"),
    ],
)
def test_a_sunk_toe_is_met_by_what_it_misunderstands(answer, said):
    check = scene.order_check(PIP).ask
    assert check.right == pytest.approx(-turned((6, 0), 40)[1])
    right, words = check.reply(answer)
    assert right == (said == "Right")
    assert right or said in words
