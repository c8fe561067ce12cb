"""The picture that walks, at the top of README.md: its moments are those of the walk, it is still
where less motion is wanted, and it is one small file of styles alone."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rigkit import foot, gait, puppets
from rigkit.stage import INKS
from tests.pictures import walking

SVG = "{http://www.w3.org/2000/svg}"
TAMSIN = puppets.PUPPETS["Tamsin"]
FRAMES = walking.FRAMES
TEXT = walking.svg()
STYLE = re.search(r"<style>(.*)</style>", TEXT)[1]
MOST_BYTES = 60_000
PX = 0.6  # two numbers to a tenth of a pixel, and a bone seen a little from its end


@pytest.fixture(scope="module", params=["f", "i"], ids=["forward", "inverse"])
def walker(request):
    """A walker's letter in the picture, and its walk."""
    walk = gait.walk(TAMSIN, frames=FRAMES, cycles=2)
    return request.param, walk if request.param == "f" else gait.plant(walk)


def keyframes(name):
    """The times, in shares, and the moves of a rule: px to the right and down, radians."""
    body = re.search(rf"@keyframes {name}\{{((?:[^{{}}]+\{{[^{{}}]*\}})+)\}}", STYLE)[1]
    found = re.findall(
        r"([\d.]+)%\{transform:translate\((.+?)px,(.+?)px\)(?:rotate\((.+?)deg\))?", body
    )
    values = np.array([[float(number or 0) for number in step] for step in found])
    return values[:, 0] / 100, values[:, 1:3], np.radians(values[:, 3])


def carried(name, point):
    """A point of a part, in px from where the part turns, in each keyframe."""
    _, moved, turn = keyframes(name)
    x, y = point
    sine, cosine = np.sin(turn), np.cos(turn)
    return moved + np.stack([cosine * x - sine * y, sine * x + cosine * y], axis=-1)


def seen(walk, joint, side):
    """A joint in px from the floor below the hips, in each keyframe of the second stride."""
    frames = FRAMES + np.arange(0, FRAMES + 1, FRAMES // walking.KEYS)
    ahead = walk[joint][frames, side, 2] - walk.pelvis[frames, 2]
    return walking.SCALE * np.stack([ahead, -walk[joint][frames, side, 1]], axis=-1)


@pytest.mark.parametrize("side", [0, 1], ids=["left", "right"])
def test_each_keyframe_is_a_moment_of_the_walk(walker, side):
    letter, walk = walker
    sole = foot.of_puppet(TAMSIN)
    points = (
        ("thigh", "hip", (0, 0)),
        ("thigh", "knee", (0, -TAMSIN.thigh)),
        ("shank", "ankle", (0, -TAMSIN.shank)),
        ("foot", "heel", sole.heel - sole.ball),
        ("foot", "ankle", sole.ankle - sole.ball),
        ("toe", "toe", sole.toe - sole.ball),
    )
    for part, joint, point in points:
        drawn = carried(f"{letter}-{part}", walking.SCALE * np.multiply(point, [1, -1]))
        if side:  # the same keyframes, half a stride late
            drawn = np.roll(drawn[:-1], walking.KEYS // 2, axis=0)
        meant = seen(walk, joint, side)[: len(drawn)]
        assert np.abs(drawn - meant).max() < PX, (part, joint)


def test_a_stride_has_evenly_spaced_keyframes_and_ends_as_it_begins(walker):
    letter, _ = walker
    for part in ("body", "thigh", "shank", "foot", "toe"):
        times, moved, turn = keyframes(f"{letter}-{part}")
        assert len(times) > 24
        assert np.diff(times) == pytest.approx(1 / walking.KEYS, abs=1e-4)
        assert moved[0] == pytest.approx(moved[-1], abs=0.11)
        assert turn[0] == pytest.approx(turn[-1], abs=2e-3)


def test_a_planted_foot_moves_with_the_floor_and_a_forward_one_does_not():
    times, floor, _ = keyframes("floor")
    stride = walking.SCALE * 2 * gait.walk(TAMSIN, frames=FRAMES).step_length
    assert times.tolist() == [0, 1]
    assert floor[:, 0] == pytest.approx([0, -stride], abs=0.051)
    for letter, slides in (("i", False), ("f", True)):
        flat = slice(10, 24)  # keyframes: a fifth of the stride to a half, the ball is down
        _, ball, _ = keyframes(f"{letter}-foot")
        steps = np.diff(ball[flat, 0]) + stride / walking.KEYS
        assert (np.abs(steps.sum()) > 1) == slides
        assert (np.abs(steps).max() < 0.11) != slides


def test_the_bar_grows_to_what_the_foot_slides():
    walk = gait.walk(TAMSIN, frames=FRAMES, cycles=2)
    found = re.search(r"@keyframes bar\{(.+?\})\}", STYLE)[1]
    shares = [float(share) for share in re.findall(r"scale\(([\d.]+),1\)", found)]
    assert shares[0] == 0
    assert np.all(np.diff(shares) >= 0)
    (width,) = set(re.findall(r'rig-miss" y="14" width="([\d.]+)"', TEXT))
    slid = gait.foot_slide_cm(walk.points[:, :, 3:], walk.stance)[FRAMES : 2 * FRAMES, 0].sum()
    assert float(width) == pytest.approx(walking.SCALE * slid / 100, abs=0.3)
    assert f">{slid:.0f} cm<" in TEXT


def test_it_is_well_formed_small_and_holds_styles_alone():
    root = ET.fromstring(TEXT)
    assert root.get("role") == "img"
    assert len(root.findtext(f"{SVG}desc")) > 100
    assert len(TEXT.encode()) <= MOST_BYTES
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "style", "rect", "g", "path", "circle", "text"}
    names = {name for element in root.iter() for name in element.attrib}
    assert not [name for name in names if name.startswith("on") or "href" in name]
    assert not re.search(r"url\(|@import|https?:", TEXT.replace(SVG[1:-1], ""))


def test_nothing_moves_for_who_wants_less_motion_and_all_parts_have_a_place_then():
    rest, moving = STYLE.split("@media (prefers-reduced-motion:no-preference){")
    assert "animation" not in rest
    assert "animation" in moving
    assert moving.count("{") + 1 == moving.count("}")  # the rest of the sheet lies inside the rule
    moved = [each for each in ET.fromstring(TEXT).iter() if "m" in each.get("class", "").split()]
    assert len(moved) > 30
    assert not [
        each.attrib
        for each in moved
        if not each.get("transform") and each.get("class") != "m floor"
    ]


def test_the_still_moment_is_one_of_the_walk(walker):
    letter, _ = walker
    moment = round(walking.STILL * walking.KEYS)
    for late in ("", " r"):
        for part in ("thigh", "shank", "foot", "toe"):
            _, moved, _ = keyframes(f"{letter}-{part}")
            still = re.search(
                rf'class="m {letter}-{part}{late}" transform="translate\((.+?) (.+?)\)', TEXT
            )
            shown = moved[moment - walking.KEYS // 2 if late else moment]
            assert [float(still[1]), float(still[2])] == pytest.approx(shown)


def test_it_has_the_inks_of_both_themes():
    light, dark = STYLE.split("@media screen and (prefers-color-scheme:dark){")
    for name in ("paper", "ink", "forward", "inverse", "goal"):
        assert f"--{name}:" in light
        assert INKS[name][0] in light
        assert f"--{name}:{INKS[name][1]};" in dark
