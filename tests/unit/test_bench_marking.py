"""The bench's file marked: what is right in it, what is not its state's, what is refused."""

import copy
import dataclasses
import json
import struct
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import gltf, puppets
from rigkit.bench import build, marking, measure, painting
from rigkit.bench.state import CONTROLS, HINGES, JOINTS, MIRRORS, STEPS, State
from rigkit.gltf import container
from tests.unit.legs_on_the_bench import MINE, MISTAKES, WALKERS, moved, name_of, put, sound
from tests.unit.test_bench_misconceptions import MODELS

each_walker = pytest.mark.parametrize("puppet", WALKERS, ids=name_of)
# Of such a leg no rig or walk, so no file, can be made.
NO_FILE = {"the leg on the other side", "the knee behind the line", "measured from the heel"}


def by_hand(puppet="Tamsin"):
    """A sound leg of somebody's own hand: nothing given, and not where the kit has it."""
    state = moved(moved(sound(puppet), "toe", z=-1), "ball", z=-2)
    return moved(state, "knee", z=1).changed(given=())


@cache
def file_of(state):
    return build.bytes_of(state)


def of_asset(asset):
    """The bytes of an asset's file."""
    with tempfile.TemporaryDirectory() as folder:
        gltf.write(asset, Path(folder, "leg.glb"), as_is=True)
        return Path(folder, "leg.glb").read_bytes()


def document(data):
    """A .glb's JSON, and its data."""
    size = struct.unpack_from("<I", data, 12)[0]
    return json.loads(data[20 : 20 + size]), data[20 + size + 8 :]


def as_file(told, binary, **how):
    text = json.dumps(told, **how).encode()
    return container.join([(b"JSON", text), (container.BIN, binary)])


def telling(data, **changes):
    """The same file with other entries in its state; None takes one out."""
    told, binary = document(data)
    state = told["asset"]["extras"][build.EXTRAS]
    for name, value in changes.items():
        state.pop(name, None) if value is None else state.update({name: value})
    return as_file(told, binary)


def scores(marks):
    return {step: mark.score for step, mark in marks.steps.items()}


# --- what is right ---


@each_walker
def test_a_leg_made_by_hand_is_right_in_every_step(puppet):
    found = marking.mark(file_of(by_hand(puppet)), own=(MINE,))
    assert found.state == by_hand(puppet)
    assert found.differences == found.notes == ()
    assert scores(found) == dict.fromkeys(STEPS, 1.0)
    assert repr(found).endswith("12 of 12 steps, as its state makes it")


def outward():
    """A leg whose foot points outward, bent in that plane."""
    state = by_hand()
    state = put(state, "joints_mm", ball=(90, 0, 125), toe=(93, 0, 191))
    left, up, forward = state.pole_mm
    return state.changed(pole_mm=(left + round(0.04 * forward), up, forward))


def painted():
    """A leg with one vertex painted to the weight that it nearly had."""
    state = by_hand()
    names = build.skeleton(state).names
    table, at = build.weights(state), names.index("L_knee")
    left = build.skin("Tamsin").vertices[:, 0] > 0.02
    among = left & (table[:, at] > 0.2) & (table[:, at] < 0.8)
    vertices = np.flatnonzero(among)[:20]
    return state.changed(painted=painting.pack_painted(vertices, table[vertices, at]))


ODD = {
    "a foot that points outward": (outward, set(STEPS)),
    "painted": (painted, set(STEPS)),
    "less soft": (lambda: by_hand().changed(softness=1.5), set(STEPS)),
    "the pole far out": (lambda: by_hand().changed(pole_mm=(85, 484, 1500)), {"07"}),
    "the knee goes with the foot": (lambda: put(by_hand(), "follows", L_knee="L_foot"), {"08"}),
    "a reason for nothing": (lambda: by_hand().changed(kept={"foot-slide": "so be it"}), {"12"}),
    "another order": (
        lambda: by_hand().changed(parents=dict(reversed(by_hand().chain.parents.items()))),
        {"02"},
    ),
}


@pytest.mark.parametrize("name", ODD)
def test_what_is_right_in_an_odd_form_is_right(name):
    make, steps = ODD[name]
    found = marking.mark(file_of(make()))
    assert found.differences == ()
    assert {step: found.steps[step].score for step in sorted(steps)} == dict.fromkeys(steps, 1.0)


def test_how_a_file_is_written_does_not_matter():
    data = file_of(by_hand())
    told, binary = document(data)
    told["asset"]["generator"] = "by hand"
    told["asset"]["extras"] = dict(reversed(told["asset"]["extras"].items()))
    asset = gltf.read(data)
    nodes = [dataclasses.replace(node, rotation=-node.rotation) for node in asset.nodes]
    nudged = [
        dataclasses.replace(node, translation=node.translation + 2e-6) for node in asset.nodes
    ]
    for other in (
        as_file(told, binary, indent=2),
        of_asset(dataclasses.replace(asset, nodes=nodes)),
        of_asset(dataclasses.replace(asset, nodes=nudged)),
        of_asset(other_clip(asset, negated, every=True)),
    ):
        assert other != data
        assert marking.mark(other).differences == ()


# --- what is wrong ---


@pytest.mark.parametrize("name", MODELS)
def test_the_file_of_a_wrong_model_is_marked_by_its_numbers(name):
    step, make = MODELS[name]
    state = make(by_hand())
    if name in NO_FILE:
        with pytest.raises(ValueError, match="must be"):
            file_of(state)
        mark = marking.of_state(state)[step]
    else:
        found = marking.mark(file_of(state))
        assert found.differences == ()
        mark = found.steps[step]
    right = [number.right for number in measure.measure(state, step)]
    assert mark.score == sum(right) / len(right) < 1
    assert mark.misconception.name == name
    assert name in repr(mark)


@pytest.mark.parametrize("name", sorted(MISTAKES.keys() - {"a loose knee"}))
def test_every_named_mistake_costs_something(name):
    step, make, _ = MISTAKES[name]
    assert marking.of_state(make(by_hand()))[step].score < 1


def test_what_is_given_does_not_count():
    state = by_hand().with_sound("05")
    found = marking.mark(file_of(state))
    given_ = {step for step, mark in found.steps.items() if mark.given}
    assert given_ == {"01", "02", "03", "04", "06"}  # with the joints comes their bend
    given_ = [mark for mark in found.steps.values() if mark.given]
    assert all(mark.right and mark.score == 0 and mark.misconception is None for mark in given_)
    assert found.notes == ()


def test_a_step_left_as_it_was_earns_nothing_unless_it_is_right_so():
    bare = State.bare("Tamsin")
    state = by_hand().changed(soft_mm=bare.soft_mm, sole_mm=bare.sole_mm, hinge_deg=bare.hinge_deg)
    state = state.changed(mirror=bare.mirror, plane_mm=bare.plane_mm)
    found = marking.of_state(state)
    for step in ("03", "05", "11"):
        assert (found[step].touched, found[step].score) == (False, 0)
        assert any(each.right for each in found[step].numbers) or step == "03"
        assert found[step].misconception is None
    assert not marking.of_state(bare)["06"].touched
    chosen = marking.of_state(state.changed(inverse=False, softness=bare.softness))
    assert chosen["04"].misconception.name == "a forward chain"
    assert chosen["09"].misconception.name == "a torn crease"


def test_the_kit_s_own_joints_without_a_word_are_told_to_the_teacher():
    (said,) = marking.mark(file_of(sound().changed(given=()))).notes
    assert said.startswith("5 of 5 joints stand to the millimetre where")
    (said,) = marking.mark(file_of(moved(sound(), "knee", z=1).changed(given=()))).notes
    assert said.startswith("4 of 5 joints")
    assert marking.mark(file_of(sound())).notes == ()


def test_a_step_that_cannot_be_measured_says_why():
    state = put(by_hand(), "joints_mm", toe=by_hand().joints_mm["ankle"])
    found = marking.of_state(state)
    why = {step: mark.why for step, mark in found.items() if mark.why}
    assert why
    assert all(said.startswith("it cannot be measured: `") for said in why.values())
    assert all(found[step].score == 0 for step in why)


# --- what is not the state's own ---


def with_node(asset, called, **changes):
    nodes = [
        dataclasses.replace(node, **{key: make(node) for key, make in changes.items()})
        if node.name == called
        else node
        for node in asset.nodes
    ]
    return dataclasses.replace(asset, nodes=nodes)


def with_mesh(asset, **changes):
    return dataclasses.replace(asset, meshes=[dataclasses.replace(asset.meshes[0], **changes)])


def shifted(asset):
    skin = asset.skins[0]
    bind = skin.inverse_bind.copy()
    bind[2, 0, 3] += 0.002
    return dataclasses.replace(asset, skins=[dataclasses.replace(skin, inverse_bind=bind)])


def weighted(asset):
    weights = asset.meshes[0].weights.copy()
    row = np.flatnonzero((weights[:, 0] > 0.3) & (weights[:, 1] > 0.3))[0]
    weights[row, :2] += (0.05, -0.05)
    return with_mesh(asset, weights=weights)


def bulged(asset):
    positions = asset.meshes[0].positions.copy()
    positions[100, 2] += 0.003
    return with_mesh(asset, positions=positions)


def other_clip(asset, change, every=False):
    walk = asset.animations[0]
    channels = [change(each) if every or i == 3 else each for i, each in enumerate(walk.channels)]
    return dataclasses.replace(asset, animations=[dataclasses.replace(walk, channels=channels)])


def negated(channel):
    """The same turns by the other of the two quaternions that each has."""
    if channel.path != "rotation":
        return channel
    return dataclasses.replace(channel, values=-channel.values)


def kicked(channel):
    values = channel.values.copy()
    values[4] = np.roll(values[4], 1)
    return dataclasses.replace(channel, values=values)


TAMPERED = {
    "a joint moved": (
        lambda a: with_node(a, "L_knee", translation=lambda n: n.translation + [0, 0.01, 0]),
        "the joint 'L_knee' stands 10.0 mm elsewhere",
    ),
    "a joint turned": (
        lambda a: with_node(a, "R_toe", rotation=lambda n: [0, np.sin(0.1), 0, np.cos(0.1)]),
        "the joint 'R_toe' is turned or scaled; its matrix is off by 0.19",
    ),
    "a joint scaled": (
        lambda a: with_node(a, "R_toe", scale=lambda n: [1, 1, 1.1]),
        "the joint 'R_toe' is turned or scaled; its matrix is off by 0.1",
    ),
    "a joint renamed": (
        lambda a: with_node(a, "L_knee", name=lambda n: "<b>L_knee</b>"),
        "'<b>L_knee</b>' below 'L_hip', where 'L_knee' belongs below 'L_hip'",
    ),
    "a joint hung elsewhere": (
        lambda a: with_node(a, "L_toe", parent=lambda n: None),
        "'L_toe' below nothing, where 'L_toe' belongs below 'L_ball'",
    ),
    "a node more": (
        lambda a: dataclasses.replace(a, nodes=[*a.nodes, gltf.Node("prop")]),
        "13 nodes, where there should be 12",
    ),
    "bound elsewhere": (shifted, "an inverse bind matrix is off by 0.0020"),
    "other weights": (weighted, "the weights of 1 vertex are others, by up to 0.050"),
    "a vertex moved": (bulged, "1 vertex of the given skin moved, by up to 3.0 mm"),
    "a hole in the skin": (
        lambda a: with_mesh(a, triangles=a.meshes[0].triangles[:-1]),
        "the skin is not the one that was given: it has other triangles",
    ),
    "no walk": (
        lambda a: dataclasses.replace(a, animations=[]),
        "it has 1 skins, 1 meshes and 0 animations; its state makes 1 skins, 1 meshes and 1 an",
    ),
    "a walk under another name": (
        lambda a: dataclasses.replace(
            a, animations=[dataclasses.replace(a.animations[0], name="run")]
        ),
        "the walk moves other joints, or has another name",
    ),
    "other keys": (lambda a: other_clip(a, kicked), "the walk has other keys, off by up to"),
    "keys at other times": (
        lambda a: other_clip(a, lambda c: dataclasses.replace(c, times=c.times + 0.01)),
        "the walk has keys at other times",
    ),
}


@pytest.mark.parametrize("name", TAMPERED)
def test_what_was_changed_in_the_file_is_told_and_only_its_inspection_is_marked(name):
    change, said = TAMPERED[name]
    found = marking.mark(of_asset(change(gltf.read(file_of(by_hand())))))
    assert said in " ".join(found.differences)
    assert all(mark.score == 0 and mark.why for step, mark in found.steps.items() if step != "12")
    assert found.differences[0] in found.steps["07"].why
    assert found.steps["12"].numbers or "inspected" in found.steps["12"].why


def test_the_other_way_round_a_better_state_beside_a_worse_rig_is_told():
    wrong = MODELS["the hip at the trochanter"][1](by_hand())
    data = telling(file_of(wrong), joints_mm=dict(by_hand().joints_mm))
    found = marking.mark(data)
    assert found.differences[0] == "the joint 'L_hip' stands 60.0 mm elsewhere."
    assert any(said.startswith("the weights of") for said in found.differences)
    assert sum(scores(found).values()) == scores(found)["12"] < 1


def test_a_state_whose_steps_are_claimed_is_believed_in_nothing():
    wrong = MODELS["a bent hose"][1](by_hand())
    honest = scores(marking.mark(file_of(wrong)))
    assert honest["09"] < 1
    for claim in ({"done": list(STEPS)}, {"score": 1}, {"numbers": {"09": [1]}}):
        with pytest.raises(ValueError, match="every field once; got the unknown"):
            marking.mark(telling(file_of(wrong), **claim))
    kept = telling(file_of(wrong), kept=dict.fromkeys(("knee-volume", "knee-flip"), "so be it"))
    assert scores(marking.mark(kept))["09"] == honest["09"]


def test_a_reason_keeps_slight_findings_and_no_others():
    findings = [
        {"status": "finding", "severity": severity, "rule": rule, "title": "A", "todo": "B."}
        for severity, rule in (
            ("serious", "a"),
            ("moderate", "b"),
            ("slight", "c"),
            ("slight", "d"),
        )
    ]
    heavy, slight = measure.signed_off(findings, dict.fromkeys("abc", "so be it"))
    assert (heavy.value, slight.value) == (2, 1)
    assert slight.todo == "A: B."


def test_the_state_of_another_character_fails_by_its_own_skin():
    data = file_of(by_hand())
    odo = puppets.get("Odo")
    other = telling(data, puppet="Odo", shape=marking.shape_mark(odo))
    found = marking.mark(other)
    assert "the skin is not the one that was given" in " ".join(found.differences)
    assert "the skin is not the one that was given" in " ".join(found.differences)
    copied = State.read(
        by_hand()
        .json()
        .replace("Tamsin", "Odo")
        .replace(marking.shape_mark(puppets.get("Tamsin")), marking.shape_mark(odo)),
        "Odo",
    )
    rebuilt = marking.mark(file_of(copied))
    assert rebuilt.differences == ()
    assert rebuilt.steps["01"].score < 1
    with pytest.raises(ValueError, match="another character, one of the same name"):
        marking.mark(telling(data, shape="00000000"))


def test_one_s_own_character_is_known_by_its_shape():
    data = file_of(by_hand(MINE))
    with pytest.raises(ValueError, match=r"one of Tamsin, Odo, Pip; its state says 'your puppet'"):
        marking.mark(data)
    someone = puppets.personal(np.random.default_rng(4))
    assert marking.mark(data, own=(someone, MINE)).state.puppet == MINE
    with pytest.raises(ValueError, match="Joints would lie elsewhere in another skin"):
        marking.mark(data, own=(someone,))


def test_a_file_that_cannot_be_inspected_says_so():
    def refuse(_):
        raise ValueError("too large.")

    moved_ = of_asset(TAMPERED["a joint moved"][0](gltf.read(file_of(by_hand()))))
    found = marking.mark(moved_, inspect=refuse)
    assert found.steps["12"].why == "it cannot be inspected: too large."


def test_what_is_the_state_s_own_is_not_inspected_a_second_time():
    marking.mark(file_of(by_hand()), inspect=lambda _: pytest.fail("inspected"))


# --- what is refused ---


def no_extras(data):
    told, binary = document(data)
    del told["asset"]["extras"]
    return as_file(told, binary)


def instead(value):
    def make(data):
        told, binary = document(data)
        told["asset"]["extras"][build.EXTRAS] = value
        return as_file(told, binary)

    return make


REFUSED = {
    "nothing": (lambda d: b"", "The file is no .glb. Hand in the file that the last step"),
    "the bench's history": (lambda d: b'{"bench_book": 1}', "The file is no .glb. Hand in"),
    "cut short": (lambda d: d[:1000], "The file cannot be read: the header says"),
    "broken JSON": (lambda d: d.replace(b'{"asset"', b'{"asset;'), "The file cannot be read: JSON"),
    "10 MB more": (lambda d: d + bytes(10**7), "The file has more than 2,097,152 bytes"),
    "no extras": (no_extras, "The file holds no state of the bench"),
    "a list": (instead([1, 2]), "its state says None"),
    "text": (instead("Tamsin"), "its state says None"),
    "nobody's": (instead({"bench": 1, "puppet": "Bo"}), "its state says 'Bo'"),
    "three bones": (lambda d: telling(d, puppet="heron"), "its state says 'heron'"),
    "newer": (lambda d: telling(d, bench=3), "it must be of version 2 or older; got version 3"),
    "no version": (lambda d: telling(d, bench="1"), "it must be a leg from the bench"),
    "an unknown key": (lambda d: telling(d, ease=1), "got the unknown 'ease'"),
    "a key missing": (lambda d: telling(d, soft_mm=None), "got no soft_mm"),
    "too far": (lambda d: telling(d, plane_mm=501), "`plane_mm` must be a whole number from -500"),
    "no number": (lambda d: telling(d, softness="2"), "`softness` must be a number"),
    "a truth": (lambda d: telling(d, soft_mm=True), "`soft_mm` must be a whole number"),
    "a circle": (lambda d: telling(d, parents={"hip": "hip"}), "must not go in a circle"),
    "no paint": (lambda d: telling(d, painted="A" * 500), "`painted` must be text as"),
    "too much paint": (lambda d: telling(d, painted="A" * 40_000), "at most 30,000 letters"),
    "no reason": (lambda d: telling(d, kept={"a": " "}), "must be a reason of 1 to 500 letters"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_leg_is_refused_in_a_sentence(name):
    make, said = REFUSED[name]
    with pytest.raises(ValueError, match=r"\w") as refusal:
        marking.mark(make(file_of(by_hand())))
    text = str(refusal.value)
    assert said in text
    assert "`text`" not in text
    assert len(text) < 400
    assert text.endswith((".", ").", "?"))


def test_a_file_of_the_bench_is_known_by_its_state_s_name_alone():
    data = file_of(by_hand())
    assert marking.holds(data)
    assert marking.holds(telling(data, bench=9))
    for other in (b"", b"glTF", no_extras(data), b'{"rigkit_bench": 1}', data[1:]):
        assert not marking.holds(other)
    assert len(data) < marking.MOST_BYTES / 5


# --- whatever a state says ---

MILLIMETRES = st.integers(-3000, 3000) | st.integers(-300, 1000)
PLACES = st.tuples(MILLIMETRES, MILLIMETRES, MILLIMETRES)
DEGREES = st.floats(-180, 180)
FIELDS = {
    "joints_mm": st.fixed_dictionaries(dict.fromkeys(JOINTS, PLACES)),
    "parents": st.dictionaries(st.sampled_from(JOINTS), st.sampled_from(("pelvis", *JOINTS))),
    "turns_deg": st.dictionaries(st.sampled_from(JOINTS), DEGREES),
    "hinge_deg": st.dictionaries(st.sampled_from(HINGES), DEGREES),
    "mirror": st.sampled_from(MIRRORS),
    "plane_mm": st.integers(-500, 500),
    "inverse": st.booleans(),
    "soft_mm": st.integers(0, 200),
    "pole_mm": PLACES,
    "follows": st.dictionaries(st.sampled_from(CONTROLS), st.sampled_from(CONTROLS)),
    "pivots_mm": st.fixed_dictionaries({"pelvis": PLACES, "L_foot": PLACES}),
    "outlines_mm": st.fixed_dictionaries({"pelvis": PLACES, "L_foot": PLACES}),
    "softness": st.floats(0.1, 8),
    "pelvis": st.fixed_dictionaries(
        {"drop_mm": st.integers(-300, 300), "sway_mm": st.integers(0, 300)}
    ),
    "sole_mm": st.fixed_dictionaries(
        dict.fromkeys(("heel", "ball", "toe"), st.integers(-1000, 1000))
    ),
    "given": st.lists(st.sampled_from(sorted(STEPS))),
}
CHANGES = st.lists(st.sampled_from(sorted(FIELDS)), min_size=1, max_size=4, unique=True).flatmap(
    lambda names: st.fixed_dictionaries({name: FIELDS[name] for name in names})
)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(("Tamsin", "Pip")), CHANGES)
def test_any_state_gets_marks_or_a_reason(puppet, changes):
    try:
        state = by_hand(puppet).changed(**changes)
    except ValueError:
        return  # a circle
    found = marking.of_state(state)
    assert list(found) == list(STEPS)
    for mark in found.values():
        assert 0 <= mark.score <= 1
        assert bool(mark.numbers) != bool(mark.why)
        assert not (mark.right and mark.misconception)
    try:
        data = build.bytes_of(state)
    except ValueError:
        return  # no file can be made of it
    marks = marking.mark(data)
    assert marks.differences == ()
    assert marks.steps == found


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_damage_is_a_refusal_or_a_difference(data):
    whole = file_of(by_hand())
    size = struct.unpack_from("<I", whole, 12)[0]
    at = data.draw(st.integers(0, size + 20) | st.integers(0, len(whole) - 1))
    broken = bytearray(whole)
    broken[at : at + 4] = data.draw(st.binary(min_size=4, max_size=4))
    try:
        found = marking.mark(bytes(broken), inspect=lambda _: [])
    except ValueError:
        return
    assert list(found.steps) == list(STEPS)


def test_a_copy_of_a_state_is_marked_alike_each_time():
    state = copy.copy(by_hand())
    assert marking.mark(file_of(state)).steps == marking.mark(file_of(by_hand())).steps
