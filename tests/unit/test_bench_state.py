"""The state of a leg on the bench: bounds, JSON, sound starts."""

import base64
import copy
import hashlib
import json
import pickle
import zlib
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import puppets
from rigkit.bench import painting
from rigkit.bench.chain import chain_of
from rigkit.bench.state import CONTROLS, JOINTS, MIRRORS, STEPS, State, shape_mark
from rigkit.leg import LegRig

MINE = puppets.personal(np.random.default_rng(3))
WALKERS = [*puppets.CAST, MINE]
each_walker = pytest.mark.parametrize("puppet", WALKERS, ids=lambda p: getattr(p, "name", p))
TAMSIN = State.bare("Tamsin")

mm = st.integers(-3000, 3000)
places = st.tuples(mm, mm, mm)
tenths = st.integers(-1800, 1800).map(lambda n: n / 10)
some = st.sampled_from


@st.composite
def states(draw):
    """A state with anything in it that a state may have."""
    numbers = draw(st.lists(st.integers(0, 4000), max_size=20, unique=True))
    puppet = puppets.get(draw(some(["Tamsin", "Pip", "heron"])))
    joints, hinges = chain_of(puppet).joints, chain_of(puppet).hinges
    return State(
        puppet,
        joints_mm={name: draw(places) for name in joints},
        parents=draw(st.dictionaries(some(joints), st.just("pelvis"))),
        turns_deg=draw(st.dictionaries(some(joints), tenths)),
        hinge_deg=draw(st.dictionaries(some(hinges), tenths)),
        mirror=draw(some(MIRRORS)),
        plane_mm=draw(st.integers(-500, 500)),
        inverse=draw(st.booleans()),
        soft_mm=draw(st.integers(0, 200)),
        pole_mm=draw(places),
        follows=draw(st.dictionaries(some(CONTROLS[1:]), st.just("pelvis"))),
        pivots_mm={name: draw(places) for name in CONTROLS[:2]},
        outlines_mm={name: draw(places) for name in CONTROLS[:2]},
        softness=draw(st.integers(2, 160)) / 20,
        painted=painting.pack_painted(numbers, np.linspace(0, 1, len(numbers))),
        pelvis={"drop_mm": draw(st.integers(-300, 300)), "sway_mm": draw(st.integers(0, 300))},
        sole_mm={name: draw(st.integers(-1000, 1000)) for name in ("heel", "ball", "toe")},
        given=draw(st.lists(some(list(STEPS)))),
        kept=draw(
            st.dictionaries(st.text(max_size=60), st.text(min_size=1).map(lambda t: t + "."))
        ),
    )


# --- JSON ---


@settings(deadline=None, max_examples=60)
@given(states())
def test_a_state_comes_back_from_its_json_as_it_was(state):
    again = State.read(state.json(), state.puppet)
    assert again == state
    assert hash(again) == hash(state)
    assert again.json() == state.json()


@each_walker
def test_the_json_is_small_plain_and_says_whose_it_is(puppet):
    state = State.bare(puppet).with_sound("12")
    told = json.loads(state.json())
    assert len(state.json()) < 1000
    assert list(told)[:3] == ["bench", "puppet", "shape"]
    assert (told["bench"], told["puppet"]) == (2, state.puppet.name)
    assert told["joints_mm"]["hip"] == list(state.joints_mm["hip"])


def test_a_state_is_copied_and_pickled_whole():
    state = State.bare(MINE).with_sound("07")
    for again in (copy.deepcopy(state), copy.copy(state), pickle.loads(pickle.dumps(state))):
        assert again == state
        assert again.puppet == MINE


def told(**changes):
    """The JSON of a sound leg with some of it changed, or left out where None."""
    whole = json.loads(TAMSIN.with_sound("12").json()) | changes
    return json.dumps({key: value for key, value in whole.items() if value is not None})


JOINTS_MM = {name: [80, 500, 0] for name in JOINTS}
ODD = [
    ("", "must be JSON"),
    ("leg", "must be JSON"),
    ("[" * 5000, "must be JSON"),
    (b"\xff\xfe{", "must be JSON"),
    ("{}", "a leg from the bench"),
    ("[1]", "must be a JSON object"),
    ('{"bench": true}', "a leg from the bench"),
    (None, "must be JSON text"),
    (" " * 10_000_000, "at most 100,000 bytes; got 10,000,000"),
    (told(bench=3), "version 2 or older; got version 3"),
    (told(bench="1"), "a leg from the bench"),
    (told(puppet="Odo"), "a leg of 'Tamsin'.*another character, 'Odo'"),
    (told(shape="00000000"), "another character, one of the same name"),
    (told(softness=None), "got no softness"),
    (told(glow=1), "unknown 'glow'"),
    (told(soft_mm=201), r"`soft_mm` must be a whole number from 0 to 200 mm; got 201"),
    (told(soft_mm=1.5), r"`soft_mm` must be a whole number"),
    (told(soft_mm=True), r"`soft_mm` must be a whole number"),
    (told(inverse=1), r"`inverse` must be true or false; got 1"),
    (told(mirror="both"), r"`mirror` must be one of 'same bend', 'opposite bend'; got 'both'"),
    (told(softness=9), r"`softness` must be a number from 0.1 to 8"),
    (told(pole_mm=[1, 2]), r"`pole_mm` must be \(left, up, forward\)"),
    (told(pole_mm=[1, 2, 3001]), r"`pole_mm\[2\]` must be .* from -3000 to 3000 mm"),
    (told(pole_mm="abc"), r"`pole_mm` must be \(left"),
    (told(joints_mm={"hip": [1, 2, 3]}), "all of hip, knee, ankle, ball, toe"),
    (told(joints_mm=JOINTS_MM | {"knee": [0, None, 0]}), r"`joints_mm\['knee'\]\[1\]`"),
    (told(parents={"knee": "ankle", "ankle": "knee"}), "knee → ankle → knee"),
    (told(parents={"knee": "toes"}), r"`parents\['knee'\]` must be one of"),
    (told(parents={"elbow": "hip"}), "some of hip, knee"),
    (told(follows={"L_foot": "L_foot"}), "L_foot → L_foot"),
    (told(hinge_deg={"knee": 200}), r"`hinge_deg\['knee'\]` must be a number from -180 to 180 °"),
    (told(pelvis={"drop_mm": 0, "sway_mm": -1}), r"`pelvis\['sway_mm'\]` must be .* from 0 to 300"),
    (told(given=["13"]), r"`given` must be steps from '01' to '12'"),
    (told(given="01"), r"`given` must be steps"),
    (told(kept={"human-range": " "}), "a reason of 1 to 500 letters"),
    (told(kept={"human-range": 5}), "`kept` must map rules to reasons"),
    (told(painted="A" * 30_001), "`painted` must be text of at most 30,000 letters; got 30,001"),
    (told(painted=7), "`painted` must be text"),
    (told(painted="nothing"), "base64"),
    (told().replace('"soft_mm": 12', '"soft_mm": NaN'), "NaN is no number"),
    (told().replace('"soft_mm": 12', '"soft_mm": 1e999'), "`soft_mm` must be"),
]


@pytest.mark.parametrize(("text", "sentence"), ODD, ids=[sentence for _, sentence in ODD])
def test_what_is_no_leg_is_refused_in_a_sentence(text, sentence):
    with pytest.raises(ValueError, match=sentence) as refused:
        State.read(text, "Tamsin")
    assert len(str(refused.value)) < 400
    assert str(refused.value).endswith(".")


def test_more_painted_vertices_than_a_hand_paints_are_refused():
    many = np.arange(5001)
    packed = zlib.compress(many.astype("<u2").tobytes() + bytes(5001))
    text = base64.b64encode(packed).decode()
    with pytest.raises(ValueError, match="5,000"):
        State.read(told(painted=text), "Tamsin")


def test_another_skin_of_the_same_name_is_another_character():
    other = puppets.personal(np.random.default_rng(4))
    assert (other.name, shape_mark(other)) != (MINE.name, shape_mark(MINE))
    with pytest.raises(ValueError, match="another character, one of the same name"):
        State.read(State.bare(MINE).json(), other)


@pytest.mark.parametrize("name", sorted(puppets.CAST))
def test_each_character_of_the_cast_has_a_skin_and_a_mark_of_its_own(name):
    told = State.bare(name).json()
    others = [puppets.get(other) for other in puppets.CAST if other != name]
    assert shape_mark(puppets.get(name)) not in map(shape_mark, others)
    assert State.read(told, name).puppet is puppets.CAST[name]  # by its name alone
    for other in others:
        with pytest.raises(ValueError, match=f"got another character, '{name}'"):
            State.read(told, other)


def test_a_leg_of_the_first_version_is_read_as_it_was():
    """Its mark was of measures alone: of the eight numbers, in order, to six digits."""
    pip = (
        State.bare("Pip")
        .with_sound("09")
        .changed(painted=painting.pack_painted([700, 900], [0.2, 1.0]))
    )
    numbers = (0.27, 0.25, 0.06, 0.23, 0.06, 0.11, 0.18)
    mark = hashlib.sha256(" ".join(f"{n:.6f}" for n in numbers).encode()).hexdigest()[:8]
    first = json.loads(pip.json()) | {"bench": 1, "shape": mark}
    assert State.read(json.dumps(first), "Pip") == pip
    with pytest.raises(ValueError, match="another character, one of the same name"):
        State.read(json.dumps(first | {"bench": 2}), "Pip")
    with pytest.raises(ValueError, match="another character, one of the same name"):
        State.read(json.dumps(first | {"shape": shape_mark(pip.puppet)}), "Pip")


# --- one state and the next ---


def test_a_state_does_not_change():
    with pytest.raises(FrozenInstanceError):
        TAMSIN.soft_mm = 3
    with pytest.raises(TypeError):
        TAMSIN.joints_mm["hip"] = (0, 0, 0)


def test_what_a_learner_changes_is_not_given_any_more():
    sound = TAMSIN.with_sound("12")
    assert sound.given == tuple(step for step in STEPS if step < "12")
    assert "05" not in sound.changed(soft_mm=20).given
    assert sound.changed(soft_mm=sound.soft_mm).given == sound.given
    knee, hip = ({name: (80, 700, 5)} for name in ("knee", "hip"))
    assert set(sound.given) - set(sound.changed(joints_mm=sound.joints_mm | knee).given) == {"06"}
    assert set(sound.given) - set(sound.changed(joints_mm=sound.joints_mm | hip).given) == {"01"}
    assert sound.changed(soft_mm=20, given=("05",)).given == ("05",)


def test_every_field_belongs_to_a_step():
    fields = {name for names in STEPS.values() for name in names}
    told_of = set(json.loads(TAMSIN.json())) - {"bench", "puppet", "shape", "given"}
    assert fields == told_of


@pytest.mark.parametrize("step", STEPS)
def test_a_sound_start_fills_in_the_steps_before_and_no_other(step):
    start, whole = TAMSIN.with_sound(step), TAMSIN.with_sound("12")
    before = {name for each in STEPS if each < step for name in STEPS[each]}
    for name in {name for names in STEPS.values() for name in names}:
        assert getattr(start, name) == getattr(whole if name in before else TAMSIN, name)


def test_the_first_step_fills_in_all_joints_but_the_one_that_bends():
    heron = State.bare("heron")
    for bare in (TAMSIN, heron):
        sound, bend = bare.with_sound("12").joints_mm, bare.chain.bend
        first, sixth = bare.filled_in("01"), bare.filled_in("06")
        assert first.joints_mm == dict(sound) | {bend: bare.joints_mm[bend]}
        assert sixth.joints_mm == dict(bare.joints_mm) | {bend: sound[bend]}
        assert (first.given, sixth.given) == (("01",), ("06",))
        assert first.filled_in("06") == bare.with_sound("02")
    assert TAMSIN.filled_in("05").joints_mm == TAMSIN.joints_mm
    assert TAMSIN.filled_in() == TAMSIN


@each_walker
def test_a_sound_leg_stands_where_the_kit_s_own_rig_does(puppet):
    rest = LegRig.from_puppet(puppet, 5).skeleton
    for name, place in State.bare(puppet).with_sound("12").joints_mm.items():
        assert np.abs(rest.rest_world[rest.index("L_" + name), :3, 3] * 1000 - place).max() <= 0.51


def put_foot(state):
    return state.changed(joints_mm=dict(state.joints_mm) | {"foot": (80, 50, 0)})


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (lambda: put_foot(TAMSIN), "`joints_mm` must map all of hip, knee, ankle, ball, toe"),
        (
            lambda: State.bare("heron").changed(hinge_deg={"toe": 1}),
            "some of hip, knee, ankle, foot",
        ),
        (lambda: State.bare("Bo"), "`puppet` must be a Puppet"),
        (lambda: TAMSIN.filled_in("01", "1"), "`steps` must be one of '01'"),
        (lambda: TAMSIN.with_sound("00"), "`step` must be one of '01'"),
        (lambda: TAMSIN.changed(knee=1), "unknown field knee; a state has given, joints_mm"),
        (lambda: TAMSIN.changed(soft_mm="5"), "`soft_mm` must be a whole number"),
        (lambda: TAMSIN.changed(softness=float("nan")), "`softness` must be a number"),
    ],
)
def test_what_a_state_cannot_have_is_refused(wrong, sentence):
    with pytest.raises(ValueError, match=sentence):
        wrong()


def test_numbers_are_kept_as_fine_as_they_are_told():
    state = TAMSIN.changed(hinge_deg={"knee": 3.14159}, softness=1.23456, soft_mm=np.int64(4))
    assert (state.hinge_deg["knee"], state.softness, state.soft_mm) == (3.1, 1.25, 4)
    assert type(state.soft_mm) is int
