"""Wrong models of a leg, each built on the bench and told by measuring what was built."""

import re
from itertools import pairwise

import numpy as np
import pytest

from rigkit import puppets
from rigkit.bench import build, measure, misconceptions
from rigkit.bench.misconceptions import MISCONCEPTIONS, found
from rigkit.bench.state import HINGES, STEPS, State
from tests.unit.legs_on_the_bench import (
    MISTAKES,
    WALKERS,
    moved,
    name_of,
    painted_in_two,
    pole,
    put,
    sound,
)

TAMSIN = puppets.PUPPETS["Tamsin"]
each_walker = pytest.mark.parametrize("puppet", WALKERS, ids=name_of)


def reversed_chain(state):
    below = ("hip", "knee", "ankle", "ball", "toe")
    return state.changed(parents=dict(pairwise(below)) | {"toe": "pelvis"})


def on_the_right(state):
    return state.changed(joints_mm={n: (-x, y, z) for n, (x, y, z) in state.joints_mm.items()})


def from_the_heel(state):
    heel = state.sole_mm["heel"]
    return state.changed(sole_mm={name: z - heel for name, z in state.sole_mm.items()})


def mistake(name):
    step, make, _ = MISTAKES[name]
    return step, make


# By name: the step it is of, and what who follows it makes of a sound leg.
MODELS = {
    "the leg on the other side": ("01", on_the_right),
    "the hip at the trochanter": mistake("the hip at the trochanter"),
    "the hip at the crest": ("01", lambda s: moved(s, "hip", y=80)),
    "the knee at the kneecap": mistake("the knee at the front of the skin"),
    "the ankle in the sole": mistake("the ankle in the sole"),
    "the knee at the hem": mistake("the knee at the hem"),
    "the ankle at the slimmest": mistake("the ankle at the slimmest"),
    "the ball at the arch": mistake("the ball below the ankle"),
    "the ball at the tips": ("01", lambda s: moved(s, "ball", z=50)),
    "all from the pelvis": ("02", lambda s: put(s, "parents", knee="pelvis", ankle="pelvis")),
    "upside down": ("02", reversed_chain),
    "past a joint": mistake("the ankle hung from the hip"),
    "a joint left turned": mistake("a hip left turned"),
    "mirrored across the wrong plane": mistake("mirrored across the wrong plane"),
    "mirrored to bend the other way": mistake("mirrored to bend the other way"),
    "a hinge backward": mistake("a hinge backward"),
    "a hinge along the bone": ("03", lambda s: s.changed(hinge_deg={"knee": 90})),
    "a forward chain": mistake("a forward chain"),
    "eased too late": mistake("hardly soft"),
    "eased too early": mistake("too soft"),
    "the knee behind the line": mistake("the knee behind the line"),
    "a straight leg": mistake("a straight leg"),
    "a crouch for a bend": mistake("a leg bent far"),
    "the pole behind": mistake("the pole behind"),
    "the pole in the knee": mistake("the pole in the knee"),
    "the pole beside": mistake("the pole beside"),
    "the pivot at the outline": mistake("the pivot at the outline"),
    "a pivot off its joint": ("08", lambda s: put(s, "pivots_mm", L_foot=(85, 30, -60))),
    "the pelvis about the floor": mistake("the pelvis's pivot on the floor"),
    "the outline in the air": mistake("the foot's outline at the ankle"),
    "a foot that is carried": mistake("a foot's control that follows"),
    "a pole that stays": mistake("a pole that stays"),
    "a torn crease": mistake("a torn crease"),
    "a bent hose": mistake("a hose"),
    "feet not planted": mistake("feet not planted"),
    "the pelvis too high": mistake("the pelvis too high"),
    "a walk in a crouch": mistake("the pelvis too low"),
    "no weight on the foot": mistake("no sway"),
    "a swagger": ("10", lambda s: put(s, "pelvis", sway_mm=290)),
    "measured from the heel": ("11", from_the_heel),
    "a pivot inside the sole": mistake("the heel's pivot inside"),
    "a pivot beyond the sole": mistake("the heel's pivot outside"),
    "the ball's pivot elsewhere": mistake("the ball's pivot behind"),
}
OTHER_FORMS = {  # the same models, made in another way
    "the hip at the trochanter": lambda s: moved(s, "hip", x=45, y=-20, z=10),
    "the ankle at the slimmest": lambda s: moved(s, "ankle", y=70),
    "the ball at the arch": lambda s: moved(s, "ball", z=-30),
    "upside down": lambda s: put(s, "parents", ankle="ball", ball="hip", toe="ankle"),
    "past a joint": lambda s: put(s, "parents", ball="knee"),
    "a joint left turned": lambda s: s.changed(turns_deg={"knee": -4.5, "toe": 0.6}),
    "mirrored across the wrong plane": lambda s: s.changed(plane_mm=-60),
    "a hinge along the bone": lambda s: s.changed(hinge_deg={"ankle": -90}),
    "the pole behind": lambda s: pole(s, z=-20),
    "the pole beside": lambda s: pole(s, x=-300),
    "a torn crease": painted_in_two,
    "a pivot inside the sole": lambda s: put(s, "sole_mm", toe=s.sole_mm["toe"] - 25),
    "a pivot beyond the sole": lambda s: put(s, "sole_mm", toe=s.sole_mm["toe"] + 15),
    "the ball's pivot elsewhere": lambda s: put(s, "sole_mm", ball=s.sole_mm["ball"] + 20),
}


def test_every_model_is_tried():
    assert list(MODELS) == [each.name for each in MISCONCEPTIONS]
    assert [step for step, _ in MODELS.values()] == [each.step for each in MISCONCEPTIONS]
    assert {each.step for each in MISCONCEPTIONS} == set(STEPS) - {"12"}


@each_walker
@pytest.mark.parametrize("name", MODELS)
def test_whoever_follows_a_model_is_told_which(name, puppet):
    step, make = MODELS[name]
    state = make(sound(puppet))
    assert not all(each.right for each in measure.measure(state, step))
    model, said = found(state, step)
    assert (model.name, model.step) == (name, step)
    assert re.search(r"\d|hangs? from", said)


@pytest.mark.parametrize("name", OTHER_FORMS)
def test_a_model_is_told_in_another_form_too(name):
    step, _ = MODELS[name]
    model, _ = found(OTHER_FORMS[name](sound()), step)
    assert model.name == name


@each_walker
@pytest.mark.parametrize("step", STEPS)
def test_a_sound_leg_shows_no_model(step, puppet):
    for each in MISCONCEPTIONS:
        if each.step == step:
            assert each.measured(sound(puppet)) == "", each.name


def test_a_step_that_is_off_in_no_known_way_shows_none():
    for name in ("the toe short of the tip", "the knee beside the line", "the ball in the air"):
        assert found(MISTAKES[name][1](sound()), "01") is None
    assert found(sound().changed(hinge_deg={"knee": -8}), "03") is None


# --- what is said, reckoned anew from the places alone ---


def number_in(said):
    return float(re.search(r"[\d.]+", said).group())


def test_the_knee_behind_the_line_is_told_by_its_distance():
    state = MODELS["the knee behind the line"][1](sound())
    hip, knee, ankle = (np.array(state.joints_mm[name]) / 10 for name in HINGES)
    aside = np.linalg.norm(np.cross(ankle - hip, knee - hip)) / np.linalg.norm(ankle - hip)
    assert number_in(found(state, "06")[1]) == pytest.approx(aside, abs=0.05)


def test_the_hip_is_told_by_its_way_out():
    state = MODELS["the hip at the trochanter"][1](sound())
    out = state.joints_mm["hip"][0] / 10 - 100 * measure.hip_places(TAMSIN)[:, 0].mean()
    assert number_in(found(state, "01")[1]) == pytest.approx(out, abs=0.05)


@pytest.mark.parametrize(("plane_mm", "side"), [(40, "left"), (-40, "right")])
def test_the_plane_of_the_mirror_is_told_by_its_side(plane_mm, side):
    _, said = found(sound().changed(plane_mm=plane_mm), "03")
    assert said == f"the plane of the mirror stands 4.0 cm to the {side} of the middle of the body"


def test_what_is_not_zero_is_not_told_as_zero():
    assert misconceptions._cm(0.0002) == "0.02 cm"
    assert misconceptions._cm(0.0) == "0.0 cm"
    assert misconceptions._cm(-0.012) == "1.2 cm"


def test_the_pivot_is_told_by_its_distance_from_the_ankle():
    state = MODELS["the pivot at the outline"][1](sound())
    away = np.subtract(state.pivots_mm["L_foot"], state.joints_mm["ankle"])
    assert number_in(found(state, "08")[1]) == pytest.approx(np.linalg.norm(away) / 10, abs=0.05)


def test_the_pivots_measured_from_the_heel_are_told_by_the_heel_s_length():
    said = found(from_the_heel(sound()), "11")[1]
    tail = -measure.sole_ends(TAMSIN)[0][2] + sound().joints_mm["ankle"][2] / 1000
    assert number_in(said.partition("about")[2]) == pytest.approx(100 * tail, abs=0.3)


# --- what is read ---


def test_a_hint_and_a_sentence_are_short_and_say_no_number_that_would_do():
    for each in MISCONCEPTIONS:
        assert 20 < len(each.hint) <= 100, each.hint
        assert each.hint[0].isupper()
        assert each.hint[-1] in ".?"
        assert not re.search(r"\d", each.hint)
        assert 40 < len(each.sentence) <= 95, each.sentence
        assert each.sentence[0].islower()
        assert each.name in repr(each)


def test_names_are_each_one_s_own():
    assert len(MODELS) == len(MISCONCEPTIONS)


def test_a_leg_that_cannot_be_measured_is_refused():
    state = State.bare("Pip")
    state = put(state, "joints_mm", knee=state.joints_mm["hip"])
    with pytest.raises(ValueError, match="in one place"):
        found(state, "06")


def test_a_given_skin_is_not_changed():
    before = build.skin("Tamsin").vertices.copy()
    for step, make in MODELS.values():
        found(make(sound()), step)
    assert (build.skin("Tamsin").vertices == before).all()
