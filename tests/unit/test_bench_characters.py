"""Eight characters on the bench: each can be finished, and none with another's leg.

The heron has three bones a leg; it is asked the same, but for what is true of people alone.
"""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.path import Path
from numpy.testing import assert_allclose, assert_array_equal
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from rigkit import gltf, inspection, mesh, places, puppets
from rigkit import skin as skinning
from rigkit.bench import build, measure
from rigkit.bench.chain import THREE_BONES, TWO_BONES, chain_of
from rigkit.bench.measure import done, note
from rigkit.bench.state import STEPS, State, shape_mark
from rigkit.leg import LegRig
from rigkit.placement import swap_side
from tests.unit.legs_on_the_bench import behind, left_out, moved, painted_in_two, pole, put, sound

each_character = pytest.mark.parametrize("name", puppets.CAST)
HERON = puppets.get("heron")


def wrong(state, step):
    return [each.name for each in measure.measure(state, step) if not each.right]


def value(state, step, start):
    (found,) = [each.value for each in measure.measure(state, step) if each.name.startswith(start)]
    return found


def swap(names):
    return [names.index(swap_side(name)) for name in names]


# --- all of them ---


@each_character
def test_a_sound_leg_is_right_at_every_step_and_its_file_passes(name, tmp_path):
    state = sound(name)
    assert done(state) == {step: "given" for step in STEPS if step < "12"} | {"12": "done"}
    assert [wrong(state, step) for step in STEPS] == [[]] * len(STEPS)
    path = tmp_path / "leg.glb"
    gltf.write(build.asset(state), path)
    report = inspection.inspect(path)
    assert report.passed
    assert [each.rule for each in report.findings if each.status == "finding"] == []
    assert State.read(json.dumps(gltf.read(path).extras[build.EXTRAS]), name) == state


@each_character
@pytest.mark.parametrize("step", [step for step in STEPS if step != "12"])
def test_a_bare_leg_is_right_at_no_step(name, step):
    assert wrong(State.bare(name), step)


@pytest.mark.parametrize("theirs", puppets.CAST)
@pytest.mark.parametrize("mine", ["Tamsin", "Jory", "heron"])
def test_a_leg_copied_from_another_character_fails_by_its_own_skin(mine, theirs):
    """Even where the name and the mark in it were changed by hand."""
    if mine == theirs:
        return
    text = sound(theirs).json()
    with pytest.raises(ValueError, match="got another character"):
        State.read(text, mine)
    told = json.loads(text) | {"puppet": mine, "shape": shape_mark(puppets.get(mine))}
    if chain_of(mine) is not chain_of(theirs):
        with pytest.raises(ValueError, match="`joints_mm` must map all of"):
            State.read(json.dumps(told), mine)
        return
    copied = State.read(json.dumps(told), mine)
    assert wrong(copied, "01")


@settings(deadline=None, max_examples=40)
@given(
    st.sampled_from(sorted(puppets.CAST)),
    st.data(),
    st.sampled_from([step for step in STEPS if step < "12"]),
)
@pytest.mark.filterwarnings("error")
def test_wherever_joints_are_dragged_there_are_numbers_or_one_sentence(name, data, step):
    state = sound(name)
    far = st.tuples(*[st.integers(-300, 300)] * 3)
    moves = data.draw(st.dictionaries(st.sampled_from(state.chain.joints), far, max_size=3))
    for joint, move in moves.items():
        state = moved(state, joint, *move)
    try:
        found = measure.measure(state, step)
    except ValueError as refused:
        sentence = str(refused)
    else:
        sentence = "."
        assert not any(np.isnan(each.value) for each in found)
    assert sentence.endswith(".")


@settings(deadline=None, max_examples=25)
@given(st.sampled_from(sorted(puppets.CAST)), st.data())
def test_a_few_millimetres_do_no_harm_and_centimetres_show(name, data):
    """A hand need not place joints to the millimetre; far off, at least one number says so."""
    state = sound(name)
    joint = data.draw(st.sampled_from(state.chain.hinges[:-1]))
    way = np.array(data.draw(st.sampled_from([(1, 0, 0), (-1, 0, 0), (0, 0, 1), (0, 0, -1)])))
    assert wrong(moved(state, joint, *(2 * way)), "01") == []
    assert wrong(moved(state, joint, *(40 * way)), "01") != []


# --- the two sides of a skin that are no mirror images ---


@each_character
def test_the_right_leg_s_weights_are_the_left_one_s_at_the_nearest_place(name):
    """Nearest vertices are found by scipy's tree; a place's weights lie among those around it."""
    state = sound(name)
    surface, table = build.skin(name), build.weights(state)
    names = build.skeleton(state).names
    right = np.flatnonzero(surface.vertices[:, 0] < 0)
    left = np.flatnonzero(surface.vertices[:, 0] >= 0)
    there, index = cKDTree(surface.vertices[left]).query(surface.vertices[right] * [-1, 1, 1])
    indptr, indices = mesh.neighbours(surface.triangles)
    theirs = table[:, swap(names)]
    found = build.other_side(state.puppet)
    assert (found.distance[right] <= there + 1e-12).all()
    for vertex, nearest in list(zip(right, left[index], strict=True))[::7]:
        ring = [nearest, *indices[indptr[nearest] : indptr[nearest + 1]]]
        rings = np.unique(np.concatenate([indices[indptr[v] : indptr[v + 1]] for v in ring]))
        around = theirs[rings]
        assert (table[vertex] >= around.min(axis=0) - 1e-9).all()
        assert (table[vertex] <= around.max(axis=0) + 1e-9).all()


@each_character
def test_mirroring_by_place_keeps_sums_sides_and_four_joints(name):
    state = painted_in_two(sound(name)) if name != "heron" else sound(name)
    table, names = build.weights(state), build.skeleton(state).names
    mirrored = skinning.mirror_weights_by_place(table, build.other_side(state.puppet), swap(names))
    assert_allclose(table.sum(axis=1), 1, atol=1e-9)
    assert_allclose(mirrored.sum(axis=1), 1, atol=1e-9)
    assert (mirrored >= 0).all()
    assert (table > 0).sum(axis=1).max() <= 4
    assert (mirrored > 0).sum(axis=1).max() <= 4
    x = build.skin(name).vertices[:, 0]
    own_left = [i for i, each in enumerate(names) if each.startswith("L_")]
    assert table[np.ix_(x < 0, own_left)].max() < 1e-12
    assert value(state, "09", "left and right") == pytest.approx(0, abs=1e-12)


def test_on_an_exact_mirror_image_mirroring_by_place_is_that_by_partner():
    surface, rig = mesh.puppet_mesh("heron", 900), LegRig.from_puppet("heron", 0)
    table = skinning.bind(surface, rig, "heron")
    names = list(rig.skeleton.names)
    by_partner = skinning.mirror_weights(table, mesh.mirror_index(surface.vertices), swap(names))
    by_place = skinning.mirror_weights_by_place(table, places.mirrored_places(surface), swap(names))
    assert_allclose(by_place, by_partner, atol=1e-6)


def test_mirroring_by_place_there_and_back_is_near_what_it_was():
    """Not exact: each way mixes three vertices. It shows where weights step, below the ball."""
    state = sound("Maren")
    table, names = build.weights(state), build.skeleton(state).names
    there = build.other_side(state.puppet)
    twice = table
    for _ in range(2):
        twice = skinning.mirror_weights_by_place(twice, there, swap(names))
    off = np.abs(twice - table).max(axis=1)
    ball = np.linalg.norm(np.abs(build.skin("Maren").vertices) - state.metres()["ball"], axis=-1)
    assert 0.05 < off[ball < 0.03].max() < 0.3
    assert off[ball >= 0.03].max() < 0.05
    even = np.isclose(table.max(axis=1), 1) & np.isclose(twice.max(axis=1), 1)
    assert even.sum() > 1000
    assert_allclose(twice[even], table[even], atol=2e-5)


def test_weights_that_differ_between_the_sides_are_told_by_how_much():
    state = sound("Ulf")
    table, names = build.weights(state).copy(), list(build.skeleton(state).names)
    vertices = build.skin("Ulf").vertices
    knee = state.metres()["knee"] * [-1, 1, 1]
    vertex = np.linalg.norm(vertices - knee - [0, 0, 0.06], axis=1).argmin()
    hip, shank = names.index("R_hip"), names.index("R_knee")
    given_away = 0.3 * table[vertex, hip]
    assert given_away > 0.05
    table[vertex, [hip, shank]] += [-given_away, given_away]
    (number,) = [m for m in measure.of_weights(state, table) if m.name.startswith("left and right")]
    assert number.value == pytest.approx(given_away)
    assert not number.right
    far = 100 * build.other_side(state.puppet).distance.max()
    assert f"up to {far:.1f} cm off" in number.because


def test_paint_goes_to_the_right_leg_of_a_skin_with_other_vertices():
    state = sound("Maren")
    painted = painted_in_two(state)
    before, after = build.weights(state), build.weights(painted)
    right = build.skin("Maren").vertices[:, 0] < 0
    changed = np.abs(after - before).max(axis=1) > 0.1
    assert changed[right].sum() > 50
    assert changed[~right].sum() > 50


# --- the heron ---


def test_the_chain_is_the_rig_s_own():
    for name in puppets.CAST:
        rig, chain = LegRig.from_puppet(name), chain_of(name)
        assert chain.hinges == rig.chain
        assert {"L_" + joint for joint in chain.joints} <= set(rig.skeleton.names)
        assert chain.way == puppets.get(name).knee_side
        assert list(chain.parents) == list(chain.joints)
    assert chain_of(HERON) is THREE_BONES
    assert chain_of("Ulf") is TWO_BONES


def test_its_skeleton_and_rig_are_the_kit_s_own():
    own, kit = build.skeleton(sound("heron")), LegRig.from_puppet("heron", 5).skeleton
    assert own.names == kit.names
    assert [own.parent(name) for name in own.names] == [kit.parent(name) for name in kit.names]
    assert_allclose(own.rest_world, kit.rest_world, rtol=0, atol=3e-3)  # rounded to mm
    rig = build.rig(sound("heron"))
    assert rig.chain == ("hip", "knee", "ankle", "foot")
    lowered = rig.pose({"pelvis": {"shift_y": -0.2}})
    assert lowered["L_ankle"][2, 3] < rig.skeleton.rest_world[rig.skeleton.index("L_ankle"), 2, 3]


# Mistakes by name: the step that shows them, what makes them, the first words of what is wrong.
MISTAKES = {
    "the hip in the belly": ("01", lambda s: moved(s, "hip", z=40), ["hip from"]),
    "the knee off": (
        "01",
        lambda s: moved(s, "knee", z=22),
        ["knee off", "knee on the way", "skin"],
    ),
    "the ankle off": ("01", lambda s: moved(s, "ankle", x=13), ["ankle off", "ankle on the way"]),
    "the ankle beside": ("01", lambda s: moved(s, "ankle", x=9), ["ankle beside"]),
    "the ankle too high": ("01", lambda s: moved(s, "ankle", y=70), ["ankle from the height"]),
    "the foot in the heel": (
        "01",
        lambda s: moved(s, "foot", z=-30),
        ["foot off", "foot on the way"],
    ),
    "the foot too high": ("01", lambda s: moved(s, "foot", y=40), ["foot above"]),
    "the ball below the foot": ("01", lambda s: moved(s, "ball", z=-50), ["ball along"]),
    "a loose foot": (
        "02",
        lambda s: left_out(s, "parents", "foot"),
        ["joints that", "joints left behind"],
    ),
    "a hinge aslant": ("03", lambda s: s.changed(hinge_deg={"foot": 9}), ["hinge off"]),
    "an opposite mirror": (
        "03",
        lambda s: s.changed(mirror="opposite bend"),
        ["right axes", "feet apart"],
    ),
    "a forward chain": ("04", lambda s: s.changed(inverse=False), ["foot slips"]),
    "no soft reach": ("05", lambda s: s.changed(soft_mm=0), ["ankle at its fastest"]),
    "bent like a knee": (
        "06",
        lambda s: moved(s, "ankle", z=2 * (173 - s.joints_mm["ankle"][2])),
        ["bend at rest, backward"],
    ),
    "the pole in front": (
        "07",
        lambda s: pole(s, z=900),
        ["ankle jumps", "pole behind"],
    ),
    "the pivot on the floor": (
        "08",
        lambda s: put(s, "pivots_mm", L_foot=s.outlines_mm["L_foot"]),
        ["foot's pivot from the foot joint"],
    ),
    "a torn crease": ("09", lambda s: s.changed(softness=0.35), ["longest stretch"]),
    "the pelvis too high": (
        "10",
        lambda s: put(s, "pelvis", drop_mm=-40),
        ["foot slides", "pelvis below"],
    ),
    "the toe's pivot beyond": (
        "11",
        lambda s: put(s, "sole_mm", toe=s.sole_mm["toe"] + 15),
        ["sole off"],
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_its_mistakes_are_found_where_they_show(mistake):
    step, make, starts = MISTAKES[mistake]
    found = wrong(make(sound("heron")), step)
    for start in starts:
        assert any(name.startswith(start) for name in found), (start, found)


def test_its_hip_is_told_from_its_skin_alone():
    """By hand: a quarter of the breadth, two fifths of the way up, the middle of the trunk there.

    The middle is the mean of a grid's points within the outline.
    """
    (place,) = measure.hip_places(HERON)
    x, y, _ = build.skin("heron").vertices.T
    crotch = y[x == 0].min()
    assert place[0] == pytest.approx((x[y > crotch].max() - x[y > crotch].min()) / 4)
    assert place[1] == pytest.approx(crotch + 0.4 * (y.max() - crotch))
    surface = build.skin("heron")
    cut = mesh.section(surface.vertices, surface.side("L_"), place, (0, 1, 0)).outline[:, [0, 2]]
    grid = np.stack(np.meshgrid(np.linspace(0, 0.2, 401), np.linspace(-0.2, 0.3, 1001)), axis=-1)
    inside = grid.reshape(-1, 2)[Path(cut).contains_points(grid.reshape(-1, 2))]
    assert place[2] == pytest.approx(inside[:, 1].mean(), abs=0.001)
    hip = sound("heron").metres()["hip"]
    assert value(sound("heron"), "01", "hip from") == pytest.approx(
        100 * np.linalg.norm(place - hip)
    )


def test_its_foot_is_held_to_the_middle_of_the_metatarsus_above_it():
    state = moved(sound("heron"), "foot", x=4, z=5)
    at = measure.cut_point(state, "foot")
    foot, ankle = (state.metres()[name] for name in ("foot", "ankle"))
    assert np.linalg.norm(at - foot) == pytest.approx(0.05)
    assert np.linalg.norm(np.cross(at - foot, ankle - foot)) == pytest.approx(0, abs=1e-12)
    cut = measure.section(state, "foot")
    assert (cut.outline - at) @ (ankle - foot) == pytest.approx(0, abs=1e-9)
    assert value(state, "01", "foot off") == pytest.approx(100 * np.linalg.norm(at - cut.middle))
    assert measure.section(state, "ankle").outline[:, 1].mean() == pytest.approx(0.49, abs=0.01)


@pytest.mark.parametrize("z", [120, 140, 160])
def test_its_bend_is_the_angle_between_shank_and_metatarsus(z):
    state = sound("heron")
    state = moved(state, "ankle", z=z - state.joints_mm["ankle"][2])
    knee, ankle, foot = (state.metres()[name] for name in ("knee", "ankle", "foot"))
    a, b = ankle - knee, foot - ankle
    angle = np.degrees(np.arccos(a @ b / (np.linalg.norm(a) * np.linalg.norm(b))))
    assert value(state, "06", "bend at rest, backward") == pytest.approx(angle)
    assert value(behind_the_line(state), "06", "bend at rest") < 0


def behind_the_line(state):
    """The ankle as far on the other side of the line from knee to foot."""
    knee, ankle, foot = (state.metres()[name] for name in ("knee", "ankle", "foot"))
    share = (ankle[1] - knee[1]) / (foot[1] - knee[1])
    line = 1000 * (knee + share * (foot - knee))[2]
    return moved(state, "ankle", z=round(2 * (line - 1000 * ankle[2])))


def test_its_metatarsus_is_turned_forward_about_the_ankle_to_measure_its_skin():
    """Turned by hand: the foot comes up in front, as no knee's does."""
    state = sound("heron")
    names = build.skeleton(state).names
    motions = measure.bent_motions(state, names)
    ankle, foot = (state.metres()[name] for name in ("ankle", "foot"))
    turn = Rotation.from_rotvec([-np.pi / 2, 0, 0])
    wanted = ankle + turn.apply(foot - ankle)
    moved_by = motions[names.index("L_foot")]
    assert_allclose(moved_by[:3, :3] @ foot + moved_by[:3, 3], wanted, atol=1e-9)
    assert wanted[2] > ankle[2] + 0.4
    assert_array_equal(motions[names.index("L_knee")], np.eye(4))


def test_human_rules_are_left_out_and_said_to_be():
    names = {step: [m.name for m in measure.measure(sound("heron"), step)] for step in STEPS}
    assert not any("five published rules" in name for name in names["01"])
    assert not any("human" in name for name in names["10"])
    assert "people" in note(sound("heron"), "01")
    assert "human" in note(sound("heron"), "10")
    assert all(note(sound(name), step) == "" for name in ("Tamsin", "Ulf") for step in STEPS)
    assert not any("knee at its fastest" in name for name in names["05"])


def test_limits_that_are_shares_of_the_leg_are_of_all_three_bones():
    """As the inspection reads them of the very file."""
    state = sound("heron")
    rules = {rule.id: rule for rule in inspection.RULES}
    whole = sum(HERON.bones)
    for step, start, rule in (
        ("01", "ankle beside", "knee-in-plane"),
        ("03", "right side", "sides-mirror"),
        ("10", "foot slides", "foot-slide"),
    ):
        (number,) = [m for m in measure.measure(state, step) if m.name.startswith(start)]
        assert number.high == pytest.approx(rules[rule].limit * whole, rel=2e-3)


def test_its_walk_is_that_of_its_own_three_bones():
    state = moved(sound("heron"), "ankle", y=15)
    own = build.own_puppet(state)
    places = [state.metres()[name] for name in state.chain.hinges]
    assert own.bones == pytest.approx(np.linalg.norm(np.diff(places, axis=0), axis=-1))
    walk = build.planted_walk(state)
    assert walk.slide_cm.max() < 1e-6
    for upper, lower, bone in zip(
        state.chain.hinges[:-1], state.chain.hinges[1:], own.bones, strict=True
    ):
        assert np.linalg.norm(walk[lower] - walk[upper], axis=-1) == pytest.approx(bone)


def test_a_leg_that_bends_like_a_knee_is_refused_in_the_rig_s_words():
    with pytest.raises(ValueError, match="`L_ankle` must be placed so that the leg bends backward"):
        measure.measure(behind_the_line(sound("heron")), "04")
    with pytest.raises(ValueError, match="`L_knee` must be placed so that the leg bends forward"):
        measure.measure(behind(sound("Ulf")), "04")
