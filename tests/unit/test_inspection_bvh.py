"""BVH files made by hand: what is read of them, and what is refused in one sentence."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from rigkit import inspection
from rigkit.inspection import bvh

LEG = """HIERARCHY
ROOT Hips
{
  OFFSET 0 90 0
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT Left Hip {
    OFFSET 10 -5 0
    CHANNELS 3 Zrotation Xrotation Yrotation
    JOINT LeftKnee
    {
      OFFSET 0 -40 0
      CHANNELS 1 Xrotation
      End Site
      {
        OFFSET 0 -40 0
      }
    }
  }
}
MOTION
Frames: 2
Frame Time: 0.5
0 0 0 0 0 0  0 0 0  0
1 2 3 90 0 0  0 -90 0  90
"""


def world(asset, time):
    return asset.pose_world(0, time)[..., :3, 3]


def test_a_leg_by_hand():
    asset = bvh.read(LEG.encode())
    assert [node.name for node in asset.nodes] == ["Hips", "Left Hip", "LeftKnee", "LeftKnee end"]
    assert asset.parents.tolist() == [-1, 0, 1, 2]
    assert asset.notes == ()
    assert asset.animations[0].duration == 0.5
    rest = [[0, 90, 0], [10, 85, 0], [10, 45, 0], [10, 5, 0]]
    assert_allclose(asset.rest_world()[:, :3, 3], rest, atol=1e-12)
    assert_allclose(world(asset, 0), rest, atol=1e-12)
    # The root turns +x to +y; its thigh, which hung down, swings forward, as −90° about x has it,
    # and the shank back by as much, so it hangs as the root's down does: along +x.
    expected = np.cumsum([[1, 92, 3], [5, 10, 0], [0, 0, 40], [40, 0, 0]], axis=0)
    assert_allclose(world(asset, 0.5), expected, atol=1e-12)


@pytest.mark.parametrize(
    ("change", "same"),
    [
        (lambda text: text.replace("\n", "\r\n"), True),
        (lambda text: "\ufeff" + text, True),
        (lambda text: text.upper().replace("LEFT HIP", "Left Hip"), True),
        (lambda text: text.replace("Frames: 2", "Frames:\t2").replace("  ", "\t"), True),
        (lambda text: text.replace("0.5\n0 0 0", "5e-1\n-0.0 +0 0e0"), True),
        (lambda text: text + "0 0 0 0 0 0 0 0 0 0\n", True),
        (lambda text: text.replace("OFFSET 0 90 0", "OFFSET 0 80 0"), False),
    ],
)
def test_ways_to_write_the_same(change, same):
    asset = bvh.read(change(LEG).encode())
    first = world(bvh.read(LEG.encode()), [0, 0.2, 0.5])
    assert np.allclose(world(asset, [0, 0.2, 0.5]), first) == same


def test_more_frames_than_it_says_are_noted():
    (note,) = bvh.read((LEG + "0 0 0 0 0 0 0 0 0 0\n").encode()).notes
    assert "more frames than it says" in note


def test_positions_below_the_root_are_read_as_keeps_the_bones_length():
    for place in ("10 -5 0.5", "0 0 0.5"):  # whole, and as what is added to the offset
        text = LEG.replace("CHANNELS 3 Z", "CHANNELS 6 Xposition Yposition Zposition Z")
        text = text.replace("0 0 0 0 0 0  0 0 0  0", f"0 0 0 0 0 0  {place} 0 0 0  0")
        text = text.replace("1 2 3 90 0 0  0", f"1 2 3 90 0 0  {place} 0")
        assert_allclose(world(bvh.read(text.encode()), 0)[1], [10, 85, 0.5], atol=1e-12)


def test_two_roots_and_no_motion():
    text = LEG.replace("MOTION", "ROOT prop\n{\nOFFSET 1 2 3\nCHANNELS 0\n}\nMOTION")
    assert bvh.read(text.encode()).parents.tolist() == [-1, 0, 1, 2, -1]
    still = LEG[: LEG.index("Frames")] + "Frames: 0\nFrame Time: 0.5\n"
    assert bvh.read(still.encode()).animations == ()


def replaced(old, new):
    return LEG.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "must begin with HIERARCHY"),
        ("glTF", "must begin with HIERARCHY"),
        ("HIERARCHY", "no line MOTION"),
        (LEG[:200], "no line MOTION"),
        ("HIERARCHY\nMOTION\nFrames: 0\nFrame Time: 1\n", "line 2: there must be a ROOT; got none"),
        (replaced("ROOT", "RUT"), "line 2: ROOT, JOINT, End Site, OFFSET, CHANNELS or a brace"),
        (replaced("ROOT Hips\n{", "ROOT Hips"), "line 3: a brace { must follow a joint's name"),
        (replaced("{", "{ {"), "line 3: a brace { must follow a joint's name; got another"),
        (replaced("}\nMOTION", "\nMOTION"), "a brace } must close each joint"),
        (replaced("}\nMOTION", "} }\nMOTION"), "line 19: a brace"),
        (replaced("JOINT LeftKnee", "ROOT LeftKnee"), "line 9: ROOT must stand outside all braces"),
        (replaced("ROOT", "JOINT"), "line 2: JOINT must stand within the braces of another joint"),
        (replaced("OFFSET 0 90 0", ""), "line 19: each joint must have an OFFSET; got none"),
        (replaced("OFFSET 0 90 0", "OFFSET 0 90"), "one OFFSET must have three finite numbers"),
        (replaced("OFFSET 0 90 0", "OFFSET 0 nan 0"), "one OFFSET must have three finite numbers"),
        (replaced("OFFSET 0 90 0", "OFFSET 0 1e99 0"), "one OFFSET must have three finite"),
        (replaced("OFFSET 0 90 0", "OFFSET 1 1 1\nOFFSET 1 1 1"), "line 5: one OFFSET must"),
        (replaced("CHANNELS 1 X", "CHANNELS 2 X"), "line 12: one CHANNELS must name as many as it"),
        (replaced("CHANNELS 1 X", "CHANNELS 1 Xscale X"), "line 12: one CHANNELS"),
        (replaced("CHANNELS 1 X", "CHANNELS 2 Xrotation X"), "got 2 names for 2"),
        (replaced("CHANNELS 1", "CHANNELS 99999999999"), "line 12: ROOT, JOINT"),
        (replaced("Frames: 2", ""), "after MOTION must follow the lines `Frames:`"),
        (replaced("Frames: 2", "Frames: -2"), "`Frames:` must be a whole number; got '-2'"),
        (replaced("Frames: 2", "Frames: 2.5"), "`Frames:` must be a whole number; got '2.5'"),
        (
            replaced("Frames: 2", "Frames: 3"),
            "each of the 3 frames must have 10 numbers, 30 in all",
        ),
        (replaced("Frames: 2", "Frames: 999999999999"), "got 20. The file may be cut short"),
        (replaced("0.5", "0"), "`Frame Time:` must be a number of seconds above zero; got '0'"),
        (replaced("0.5", "inf"), "`Frame Time:` must be a number of seconds"),
        (replaced("0.5", "-0.5"), "above zero; got '-0.5'"),
        (replaced("0.5", "1e39"), "above zero; got '1e39'"),
        (replaced("1 2 3", "1 2"), "got 19. The file may be cut short"),
        (replaced("1 2 3", "1 2 3 4"), "got 21. The file may be cut short"),
        (replaced("1 2 3", "1 x 3"), "the frames must be numbers alone"),
        (replaced("1 2 3", "1 nan 3"), "frame 2: its numbers must be finite; got nan"),
        (replaced("1 2 3", "1 1e400 3"), "frame 2: its numbers must be finite; got inf"),
        (replaced("0 0 0 0 0 0  0 0 0  0", "0 0 \0 0 0 0 0 0 0 0"), "numbers alone"),
    ],
)
def test_bad_files_are_refused(text, why):
    with pytest.raises(ValueError, match=r"^Cannot read what was given: ") as problem:
        bvh.read(text.encode())
    said = str(problem.value)
    assert why in said
    assert "\n" not in said
    assert len(said) < 400


def test_what_is_no_file_is_refused(tmp_path):
    (tmp_path / "folder.bvh").mkdir()
    for name in ("folder.bvh", "missing.bvh", "x" * 5000):
        with pytest.raises(ValueError, match=r"^Cannot read "):
            bvh.read(tmp_path / name)


# What much could be made of, and whether it is read.
BOMBS = {
    "braces": ("HIERARCHY\n" + "{" * 500_000 + "\nMOTION\n", False),
    "joints": ("HIERARCHY\n" + "ROOT a{OFFSET 0 0 0\n}" * 40_000 + "\nMOTION\n", False),
    "deep": (
        "HIERARCHY\n" + "ROOT a{OFFSET 0 0 0\n" + "JOINT a{OFFSET 0 0 0\n" * 5000
        + "}" * 5001 + "\nMOTION\nFrames: 0\nFrame Time: 1\n",
        True,
    ),
    "spaces": ("HIERARCHY" + " " * 1_000_000 + "\nMOTION\n", False),
    "names": ("HIERARCHY\nROOT " + "a" * 1_000_000 + "\nMOTION\n", False),
    "channels": ("HIERARCHY\nROOT a{OFFSET 0 0 0\nCHANNELS 9 " + "Xrotation " * 90_000, False),
    "numbers": (LEG[: LEG.index("0 0 0 0")] + "1 " * 1_000_000, True),
    "frames": (
        LEG[: LEG.index("Frames")]
        + "Frames: 50000\nFrame Time: 1\n"
        + "0 0 0 0 0 0 0 0 0 0\n" * 50_000,
        True,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BOMBS)
def test_little_takes_little(name):
    text, may_be_read = BOMBS[name]
    data = text.encode()
    tracemalloc.start()
    try:
        if may_be_read:
            bvh.read(data)
        else:
            with pytest.raises(ValueError, match=r"^Cannot read "):
                bvh.read(data)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < max(16 * len(data), 2**25)


@settings(max_examples=2000, deadline=None, derandomize=True, database=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(LEG) - 1),
            st.integers(0, 30),
            st.one_of(
                st.sampled_from(
                    ["", "{", "}", "\n", "nan", "-", "1e999", "9" * 30, "MOTION\n", "OFFSET 0 0 0",
                     "End Site {", "JOINT x {", "CHANNELS 1 Xrotation", "Frames: 3", "\0", "é"]
                ),
                st.text(max_size=4),
            ),
        ),
        min_size=1,
        max_size=4,
    )
)  # fmt: skip
def test_files_changed_by_chance_are_read_or_refused(changes):
    text = LEG
    for at, cut, put in changes:
        text = text[:at] + put + text[at + cut :]
    try:
        asset = bvh.read(text.encode("utf-8", errors="surrogatepass"))
    except ValueError as problem:
        said = str(problem)
    else:
        said = posed(asset)
    assert len(said) < 400


def posed(asset):
    """Nothing, if all that was read can be posed."""
    for animation in asset.animations:
        assert np.isfinite(asset.pose_world(animation, [0, animation.duration])).all()
    return ""


# --- in an inspection

TWO = LEG.replace("Left Hip", "LeftHip").replace("End Site", "JOINT LeftFoot")


def both_legs():
    """A walk on the spot: both knees bend in turn."""
    start, end = TWO.index("  JOINT LeftHip"), TWO.index("}\nMOTION")
    leg = TWO[start:end].replace("OFFSET 0 -40 0\n      }", "OFFSET 0 -40 0\nCHANNELS 0\n      }")
    other = leg.replace("Left", "Right").replace("OFFSET 10", "OFFSET -10")
    rows = [
        f"0 0 0 0 0 0  0 0 0 {50 * max(0, np.sin(t)):.3f}  0 0 0 {50 * max(0, -np.sin(t)):.3f}"
        for t in np.linspace(0, 2 * np.pi, 41)
    ]
    motion = "MOTION\nFrames: 41\nFrame Time: 0.05\n" + "\n".join(rows) + "\n"
    return TWO[:start] + leg + other + "}\n" + motion


def test_a_motion_is_inspected_for_what_needs_no_rig(tmp_path):
    (tmp_path / "walk.bvh").write_text(both_legs())
    report = inspection.inspect(tmp_path / "walk.bvh")
    names = [[report.names[i] for i in leg.joints.values()] for leg in report.legs.legs.values()]
    assert names[0][:3] == ["LeftHip", "LeftKnee", "LeftFoot"]
    assert report.legs.metres == 0.01
    assert report["human-range"].status == "pass"
    assert report["knee-flip"].status == "pass"
    assert report["preset-bend"].said == (
        "A BVH file holds a motion, not how a rig is built or rests."
    )
    assert report["weights-sum"].status == "not measured"
    assert "glTF" not in report.text()
    assert inspection.inspect(both_legs().encode()).legs.certainty == report.legs.certainty
