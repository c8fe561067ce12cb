"""Trunks and heads: where they are, how they turn, and that they lie behind what matters."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rigkit import gait, mesh
from rigkit.puppets import CAST, PUPPETS
from rigkit.scenes import bodies, filmstrip, forward_and_inverse
from rigkit.stage import Stage

SVG = "{http://www.w3.org/2000/svg}"
TAMSIN = PUPPETS["Tamsin"]
PEOPLE = [PUPPETS[name] for name in ("Tamsin", "Odo", "Pip")]


def drawn(puppet, view="front", lift=(0.0, 0.0, 0.0), **options):
    """Each solid's outline in metres, the left hip lifted from level ones; a list of arrays."""
    stage = Stage(view, (-1, -1), (1, 1), width=2000, **options)
    hips = bodies.level_hips(puppet, [0.0, 0.0, 0.0])
    hips[0] += lift
    bodies.draw_body(stage, puppet, hips)
    skins = ET.fromstring(stage.svg()).findall(f".//{SVG}path[@class='rig-skin rig-soft']")
    return [
        np.array(re.findall(r"([-\d.]+) ([-\d.]+)", path.get("d")), float) / [1000, -1000] + [-1, 1]
        for path in skins
    ]


@pytest.mark.parametrize("puppet", PEOPLE, ids=lambda puppet: puppet.name)
@pytest.mark.parametrize("view", ["front", "side"])
def test_a_head_ends_at_the_puppets_stature(puppet, view):
    _, head, *_ = drawn(puppet, view)
    assert head[:, 1].max() == pytest.approx(puppet.stature - puppet.hip_height, abs=0.01)


def test_a_trunks_shares_are_those_of_the_table():
    # Drillis and Contini 1966, as in Winter 2009, figure 4.1: shoulders 0.818 high and 0.259 broad,
    # pelvis 0.191 broad; a grown person, so all of them for Tamsin's own stature
    trunk = drawn(TAMSIN)[0]
    shoulders = (0.818 * 1.70 - TAMSIN.hip_height, 0.259 * 1.70)
    broad = np.ptp(trunk[trunk[:, 1] > 0.3, 0])
    assert broad == pytest.approx(shoulders[1], abs=0.005)
    widest = trunk[trunk[:, 0].argmax(), 1]
    assert shoulders[0] - 0.08 < widest < shoulders[0]
    assert np.ptp(trunk[trunk[:, 1] < 0.1, 0]) == pytest.approx(0.191 * 1.70, abs=0.005)


def test_a_trunk_turns_with_the_hips_and_its_shoulders_and_head_stay():
    level, tilted = drawn(TAMSIN), drawn(TAMSIN, lift=(0.0, 0.02, 0.0))
    angle = np.arctan2(0.02, TAMSIN.hip_width)
    low = tilted[0][tilted[0][:, 1] < 0.0]  # the lower border
    across, up = low[np.argsort(low[:, 0])].T
    right, left = np.interp([-0.13, 0.13], across, up)
    assert np.arctan2(left - right, 0.26) == pytest.approx(angle, abs=0.03)
    raised = np.array([0.0, 0.01])  # the middle of the hips
    for part, (one, other) in enumerate(zip(level, tilted, strict=True)):
        high = 0.4 if part == 0 else -1
        assert np.ptp(other[other[:, 1] > high, 0]) == pytest.approx(
            np.ptp(one[one[:, 1] > high, 0]), abs=2e-3
        )
        assert other[:, 1].max() == pytest.approx(one[:, 1].max() + raised[1], abs=2e-3)


def test_a_trunk_from_the_front_is_narrower_where_the_hips_turn_away():
    ahead = np.array([-TAMSIN.hip_width / 2, 0.0, TAMSIN.hip_width / 2])  # by 45 degrees
    straight, turned = drawn(TAMSIN)[0], drawn(TAMSIN, lift=ahead)[0]
    low = [np.ptp(trunk[trunk[:, 1] < 0.05, 0]) for trunk in (straight, turned)]
    assert low[1] < 0.9 * low[0]


@pytest.mark.parametrize("puppet", CAST.values(), ids=lambda puppet: puppet.name)
def test_all_solids_are_closed_and_face_outward(puppet):
    solids, _ = bodies._solids(puppet)
    assert len(solids) > 2  # a trunk, a head, and what tells who it is
    for solid in solids:
        assert len(mesh.open_edges(solid.triangles)) == 0
        assert mesh.volume(solid.vertices, solid.triangles) > 0
        assert np.isfinite(solid.vertices).all()
        assert solid.vertices[:, 1].max() <= bodies.height(puppet)


def test_everybody_carries_something_else_and_a_learners_own_puppet_nothing():
    shapes = {puppet.name: len(bodies._solids(puppet)[0]) for puppet in PEOPLE}
    assert shapes == {"Tamsin": 4, "Odo": 3, "Pip": 6}
    carried = [bodies._solids(puppet)[0][2:] for puppet in CAST.values()]
    sizes = {tuple(np.ptp(solid.vertices, axis=0).round(3)) for (solid, *_) in carried}
    assert len(sizes) == 8
    from rigkit import puppets

    mine = puppets.personal(np.random.default_rng(3))
    assert len(bodies._solids(mine)[0]) == 2


def test_what_is_above_the_view_is_cut_off_and_legs_and_words_lie_on_top():
    stage = forward_and_inverse.opening(TAMSIN).pictures[0]
    root = ET.fromstring(stage.svg())
    shapes = [element for element in root if element.tag != f"{SVG}style"]
    (first, *_, last) = [i for i, each in enumerate(shapes) if each.tag == f"{SVG}svg"]
    bones = [i for i, each in enumerate(shapes) if "rig-bone" in each.get("class", "")]
    assert first < last < min(bones)
    for i in (first, last):
        top, height = float(shapes[i].get("y")), float(shapes[i].get("height"))
        assert top + height == stage.height
        assert top >= 34  # below the title


@pytest.mark.parametrize("name", PUPPETS)
def test_a_filmstrip_holds_each_walker_whole_and_in_its_place(name):
    walk = gait.plant(gait.walk(PUPPETS[name], frames=100, cycles=2))
    frames = [100 + percent for percent in filmstrip.EIGHT]
    strip = filmstrip.filmstrip(walk, frames, [("0 %", "contact")] * 8, "Eight moments")
    rings = [
        (float(ring.get("cx")), float(ring.get("cy")))
        for ring in ET.fromstring(strip.svg()).iter(f"{SVG}circle")
    ]
    joints = len(PUPPETS[name].bones) + 1
    assert len(rings) == 8 * 2 * joints
    hips = np.array(rings).reshape(8, 2, joints, 2)[:, :, -1]
    middles = hips.mean(axis=1)[:, 0]
    assert np.diff(middles) == pytest.approx(np.diff(middles)[0], abs=0.2)
    outlines = re.findall(r'class="rig-(?:bone|skin)[^"]*" d="([^"]+)"', strip.svg())
    across = [float(x) for d in outlines for x in re.findall(r"[ML]([-\d.]+) ", d)]
    assert min(across) > 0
    assert max(across) < strip.width


def test_a_filmstrip_without_words_is_without_words():
    walk = gait.walk(TAMSIN, frames=100, cycles=2)
    strip = filmstrip.filmstrip(walk, [100, 150], kind="forward")
    texts = {text.text for text in ET.fromstring(strip.svg()).iter(f"{SVG}text")}
    assert texts == {"L", "R", "forward"}
