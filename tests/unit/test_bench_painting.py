"""The brush of the bench: what it paints, how that is kept, what is measured after it."""

import base64
import zlib
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.sparse import coo_array
from scipy.spatial import cKDTree

import rigkit
from rigkit import mesh, skin
from rigkit.bench import build, measure, painting
from rigkit.bench.brush import FORM, Brush, History, _said
from rigkit.bench.state import State
from rigkit.stage import INKS
from tests.contrast import SHAPE, contrast, luminance

TORN = 0.35  # softness of a blend


@pytest.fixture(scope="module")
def bound():
    """Tamsin's skeleton and skin, with weights that tear it."""
    state = State.bare("Tamsin").with_sound("12").changed(softness=TORN)
    skeleton, surface = build.skeleton(state), build.skin("Tamsin")
    weights = build.weights(state)
    return SimpleNamespace(state=state, skeleton=skeleton, surface=surface, weights=weights)


@pytest.fixture(scope="module")
def limb(bound):
    return painting.limb_about_knee(bound.skeleton, bound.surface, bound.weights)


# --- falloff ----


def test_the_falloff_has_the_values_of_its_formula():
    # 1 - 3r² + 2r³ by hand: 1 - 3/16 + 2/64, 1 - 3/4 + 2/8, 1 - 27/16 + 54/64
    assert_array_equal(painting.falloff([0, 0.25, 0.5, 0.75, 1.0]), [1, 0.84375, 0.5, 0.15625, 0.0])


@given(st.floats(0, 3), st.floats(0, 3))
def test_the_falloff_never_rises(one, other):
    near, far = sorted((one, other))
    assert 1 >= painting.falloff(near) >= painting.falloff(far) >= 0


# --- the limb ----


def test_a_limb_is_the_left_legs_alone_and_knows_its_pair(bound, limb):
    names = bound.skeleton.names
    weights = bound.weights[limb.numbers]
    assert (limb.points[:, 0] > 0).all()
    assert_allclose(limb.points, bound.surface.vertices[limb.numbers])
    assert_allclose(
        limb.pair * limb.shares, weights[:, names.index("L_knee")] * (limb.pair > 0), atol=1e-15
    )
    assert_allclose(
        limb.pair * (1 - limb.shares),
        weights[:, names.index("L_hip")] * (limb.pair > 0),
        atol=1e-15,
    )
    assert limb.radius == pytest.approx(0.051, abs=0.001)


def test_neither_the_midplane_nor_what_has_four_joints_already_is_painted():
    state = State.bare("Pip").with_sound("12")  # her legs are so short that the crotch is near
    skeleton, surface = build.skeleton(state), build.skin("Pip")
    weights = build.weights(state)
    limb = painting.limb_about_knee(skeleton, surface, weights)
    busy = limb.numbers[limb.pair > 0][:5]
    weights[busy] = 0.0
    four = [skeleton.index(name) for name in ("pelvis", "L_hip", "L_ankle", "L_ball")]
    weights[np.ix_(busy, four)] = 0.25
    limb = painting.limb_about_knee(skeleton, surface, weights)
    middle = limb.points[:, 0] == 0
    assert middle.any()
    assert (limb.pair[middle] == 0).all()
    assert (limb.pair[np.isin(limb.numbers, busy)] == 0).all()


def test_normals_point_out_of_the_limb(limb):
    assert_allclose(np.linalg.norm(limb.normals, axis=-1), 1)
    middle = limb.points * [0, 1, 0] + limb.knee * [1, 0, 1]
    about = np.abs(limb.points[:, 1] - limb.knee[1]) < limb.radius
    assert (((limb.points - middle) * limb.normals).sum(axis=-1)[about] > 0).all()


def test_neighbours_are_those_along_edges(limb):
    a, b, c = limb.triangles.T
    edges = np.concatenate([[a, b], [b, c], [c, a]], axis=1)
    edges = edges[:, (limb.pair[edges] > 0).all(axis=0)]
    count = len(limb.numbers)
    table = coo_array((np.ones(edges.shape[1]), edges), shape=(count, count)).tocsr()
    expected = (table + table.T) > 0
    indptr, indices = limb.around
    assert_array_equal(np.diff(indptr), np.diff(expected.indptr))
    for i in range(0, count, 37):
        assert set(indices[indptr[i] : indptr[i + 1]]) == set(
            expected.indices[expected.indptr[i] : expected.indptr[i + 1]]
        )


# --- what a brush takes hold of ----


@pytest.mark.parametrize("view", painting.VIEWS)
def test_what_a_brush_goes_through_is_what_its_circle_covers(limb, view):
    flat = {"outside": (2, -1), "inside": (2, 1), "front": (0, 1)}  # axis and sense to the right
    axis, sense = flat[view]
    seen = np.stack([sense * (limb.points - limb.knee)[:, axis], limb.points[:, 1]], axis=-1)
    at, size = np.array([0.02, -0.03]), 0.04
    amounts = painting.touched(limb, view, at, size, 1.0, "through")
    inside = cKDTree(seen).query_ball_point(at + [0, limb.knee[1]], size * (1 - 1e-9))
    assert set(np.flatnonzero(amounts)) == set(inside)
    assert len(inside) > 20


@pytest.mark.parametrize("view", painting.VIEWS)
def test_what_looks_away_is_not_touched_from_this_side(limb, view):
    here = painting.touched(limb, view, (0, 0), 0.08, 0.7)
    through = painting.touched(limb, view, (0, 0), 0.08, 0.7, "through")
    away = limb.normals @ painting.VIEWS[view] <= 0
    assert (through[away] > 0).any()
    assert (here[away] == 0).all()
    assert (here <= through).all()
    facing = limb.normals @ painting.VIEWS[view] >= painting.FACING
    assert_allclose(here[facing], through[facing])
    assert through.max() <= 0.7


@given(
    at=st.tuples(st.floats(-0.1, 0.1), st.floats(-0.2, 0.2)),
    size=st.floats(0.005, 0.1),
    strength=st.floats(0, 1),
    tool=st.sampled_from(painting.TOOLS),
    view=st.sampled_from(list(painting.VIEWS)),
    reach=st.sampled_from(painting.REACHES),
)
def test_a_dab_keeps_sums_the_other_leg_and_every_other_joint(
    bound, limb, at, size, strength, tool, view, reach
):
    amounts = painting.touched(limb, view, at, size, strength, reach)
    shares = painting.dab(limb, limb.shares, amounts, tool)
    assert ((shares >= 0) & (shares <= 1)).all()
    if tool != "smooth":
        assert ((shares - limb.shares) * (1 if tool == "shank" else -1) >= 0).all()
    painted = painting.paint(bound.skeleton, bound.weights, limb.pack(shares))
    assert_allclose(painted.sum(axis=-1), bound.weights.sum(axis=-1), atol=1e-12)
    pair = [bound.skeleton.index(name) for name in painting.carriers(bound.skeleton)[:2]]
    others = np.delete(np.arange(len(bound.skeleton)), pair)
    assert_array_equal(painted[:, others], bound.weights[:, others])
    right = bound.surface.vertices[:, 0] <= 0
    assert_array_equal(painted[right], bound.weights[right])
    assert (painted > 0).sum(axis=-1).max() <= 4


def test_giving_mixes_as_its_rule_says(limb):
    # (.6, .3, .1), a = .2 given to the second: (.48, .44, .08); here of two: (.6, .4) -> (.48, .52)
    shares = np.full(len(limb.numbers), 0.4)
    amounts = np.full(len(limb.numbers), 0.2)
    assert_allclose(painting.dab(limb, shares, amounts, "shank"), 0.52)
    assert_allclose(painting.dab(limb, shares, amounts, "thigh"), 0.32)


def test_smoothing_goes_toward_the_mean_of_neighbours(limb):
    indptr, indices = limb.around
    rows = np.repeat(np.arange(len(limb.numbers)), np.diff(indptr))
    table = coo_array((np.ones(len(indices)), (rows, indices)))
    count = np.maximum(table.sum(axis=1), 1)
    means = np.where(np.diff(indptr) > 0, table @ limb.shares / count, limb.shares)
    amounts = np.linspace(0, 1, len(limb.numbers))
    expected = (1 - amounts) * limb.shares + amounts * means
    assert_allclose(painting.dab(limb, limb.shares, amounts, "smooth"), expected, atol=1e-12)


def test_dabs_of_many_shares_at_once_are_those_of_each(limb):
    shares = np.stack([limb.shares, 1 - limb.shares, 0 * limb.shares + 0.3])
    amounts = painting.touched(limb, "outside", [(0, 0), (0.01, 0.03), (0, -0.05)], 0.05, 0.5)
    for tool in painting.TOOLS:
        together = painting.dab(limb, shares, amounts, tool)
        each = [
            painting.dab(limb, one, much, tool) for one, much in zip(shares, amounts, strict=True)
        ]
        assert_allclose(together, each, atol=1e-12)


def test_smoothing_all_around_mends_a_torn_knee_in_four_presses(bound, limb):
    shares, stretches = limb.shares, []
    for _ in range(4):
        shares = painting.smooth_around(limb, shares)
        state = bound.state.changed(painted=limb.pack(shares))
        stretches.append(measure.measure(state, "09")[0].value)
    assert stretches == sorted(stretches, reverse=True)
    assert stretches[0] > 1.6 > stretches[-1]


# --- how it is kept ----


@given(
    st.dictionaries(st.integers(0, 2**16 - 1), st.integers(0, 255), max_size=400).map(
        lambda steps: sorted(steps.items())
    )
)
def test_what_is_packed_comes_back(steps):
    numbers, shares = [n for n, _ in steps], [step / 255 for _, step in steps]
    text = painting.pack_painted(numbers, shares)
    again = painting.unpack_painted(text, 2**16)
    assert_array_equal(again[0], numbers)
    assert_allclose(again[1], shares, atol=1e-15)
    assert painting.pack_painted(*again) == text
    assert text.isascii()


def test_what_is_packed_can_be_read_by_what_the_format_says():
    # base64 (RFC 4648) of zlib's (RFC 1950), by hand: two numbers of 16 bits, low byte first, then
    # two steps of 255
    text = painting.pack_painted([300, 7], [1.0, 0.2])
    assert zlib.decompress(base64.b64decode(text)) == bytes([7, 0, 44, 1, 51, 255])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "got None"),
        ("$$$$", "not base64"),
        ("eNp", "not base64"),
        (base64.b64encode(b"plain").decode(), "cannot be inflated"),
        (base64.b64encode(zlib.compress(b"\0" * 12)[:-3]).decode(), "cut short"),
        (base64.b64encode(zlib.compress(b"\0" * 3) + b"more").decode(), "after its end"),
        (base64.b64encode(zlib.compress(b"\0" * 4)).decode(), "4 bytes"),
        (base64.b64encode(zlib.compress(b"")).decode(), "0 bytes"),
        (base64.b64encode(zlib.compress(b"\0" * 10**7)).decode(), "more than 5,000 vertices"),
        (base64.b64encode(zlib.compress(b"\1\0\1\0\5\5")).decode(), "comes twice"),
        (base64.b64encode(zlib.compress(b"\xff\xff\5")).decode(), "a skin that has 4,955"),
    ],
)
def test_text_that_is_none_is_refused(text, said):
    with pytest.raises(ValueError, match=said):
        painting.unpack_painted(text, 4955)


@pytest.mark.parametrize(
    ("numbers", "shares", "said"),
    [
        ([1, 1], [0.5, 0.5], "comes twice"),
        ([70000], [0.5], "65,536"),
        ([-1], [0.5], "counted from 0"),
        ([1.5], [0.5], "whole"),
        ([1], [1.5], "from 0 to 1"),
        ([1], [np.nan], "finite"),
        ([1, 2], [0.5], "shape"),
        (np.arange(5001), np.zeros(5001), "at most 5,000"),
    ],
)
def test_what_cannot_be_packed_is_refused(numbers, shares, said):
    with pytest.raises(ValueError, match=said):
        painting.pack_painted(numbers, shares)


def test_a_limb_keeps_only_what_was_changed(bound, limb):
    assert limb.pack(limb.shares) == ""
    assert_array_equal(limb.unpack(""), limb.shares)
    amounts = painting.touched(limb, "outside", (0, 0.04), 0.03, 1.0)
    shares = painting.dab(limb, limb.shares, amounts, "shank")
    text = limb.pack(shares)
    assert_allclose(limb.unpack(text), shares, atol=0.5 / 255 + 1e-12)
    changed = limb.unpack(text) != limb.shares
    assert 10 < changed.sum() <= (amounts > 0).sum()
    painted = painting.paint(bound.skeleton, bound.weights, text)
    assert set(np.flatnonzero((painted != bound.weights).any(axis=-1))) == set(
        limb.numbers[changed]
    )


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda limb: limb.pack([0.5]), "shape"),
        (lambda limb: painting.dab(limb, limb.shares, limb.shares, "rub"), "'thigh', 'shank'"),
        (lambda limb: painting.dab(limb, limb.shares, limb.shares + 1, "thigh"), "`amounts`"),
        (lambda limb: painting.touched(limb, "back", (0, 0), 1, 1), "`view`"),
        (lambda limb: painting.touched(limb, "front", (0, 0), 0, 1), "`size`"),
        (lambda limb: painting.touched(limb, "front", (0, 0), 1, 2), "`strength`"),
        (lambda limb: painting.touched(limb, "front", (0, 0), 1, 1, "far"), "`reach`"),
        (lambda limb: painting.falloff(-1), "zero or more"),
    ],
)
def test_bad_input_is_refused_by_its_name(limb, call, said):
    with pytest.raises(ValueError, match=said):
        call(limb)


def test_of_a_leg_of_three_bones_shank_and_metatarsus_share_the_skin_about_the_ankle():
    state = State.bare("heron").with_sound("12")
    skeleton, weights = build.skeleton(state), build.weights(state)
    limb = painting.limb_about_knee(skeleton, build.skin("heron"), weights)
    assert limb.knee == pytest.approx(np.array(state.joints_mm["ankle"]) / 1000)
    knee, ankle = (weights[limb.numbers, skeleton.index(name)] for name in ("L_knee", "L_ankle"))
    can = limb.pair > 0
    assert_allclose(limb.pair[can], (knee + ankle)[can])
    assert_allclose((limb.shares * limb.pair)[can], ankle[can])
    assert limb.shares[limb.points[:, 1] < limb.knee[1] - 0.15].min() == 1
    painted = painting.paint(skeleton, weights, limb.pack(1 - limb.shares))
    assert_allclose(painted[limb.numbers, skeleton.index("L_knee")][can], ankle[can], atol=3e-3)


def test_weights_of_another_skin_are_refused(bound):
    with pytest.raises(ValueError, match="`weights`"):
        painting.limb_about_knee(bound.skeleton, bound.surface, bound.weights[:-1])
    with pytest.raises(ValueError, match="`surface`"):
        painting.limb_about_knee(bound.skeleton, None, bound.weights)


# --- the widget, without a page ----


@pytest.fixture
def brush(bound):
    brush = Brush(bound.state)
    brush.sent = []
    brush.send = lambda content, buffers=None: brush.sent.append(content["frame"])
    return brush


def ask(brush, kind, shares=None, n=1):
    buffers = [] if shares is None else [np.asarray(shares, "<f4").tobytes()]
    brush._asked(brush, {"kind": kind, "n": n, "page": "mine"}, buffers)


def smoothed(brush, times=1):
    shares = brush.limb.shares
    for _ in range(times):
        shares = painting.smooth_around(brush.limb, shares)
    return shares


def test_a_measure_answers_by_message_and_keeps_nothing(brush):
    before = brush.frame
    ask(brush, "measure", smoothed(brush, 4), n=7)
    assert brush.frame is before
    assert brush.painted == ""
    (frame,) = brush.sent
    assert (frame["n"], frame["page"]) == (7, "mine")
    (stretch,) = [row for row in frame["numbers"] if row["name"].startswith("longest")]
    assert stretch["said"].startswith("1.4")
    wrong = [row["name"] for row in frame["numbers"] if not row["right"]]
    assert wrong == ["weight that changes along a short edge"]  # far from the brush
    assert "Raise the softness" in frame["words"]
    assert "shares" not in frame


def test_a_stroke_is_kept_undone_and_done_again(brush):
    one, two = smoothed(brush), smoothed(brush, 2)
    ask(brush, "keep", one, 1)
    ask(brush, "keep", two, 2)
    assert (brush.frame["undo"], brush.frame["redo"], brush.frame["moved"]) == (True, False, False)
    kept = brush.painted
    ask(brush, "undo", n=3)
    assert brush.frame["moved"]
    assert_allclose(np.frombuffer(brush.frame["shares"], "<f4"), one, atol=0.002)
    ask(brush, "undo", n=4)
    assert_allclose(np.frombuffer(brush.frame["shares"], "<f4"), brush.limb.shares, atol=1e-7)
    ask(brush, "undo", n=5)
    assert (brush.frame["n"], brush.frame["undo"]) == (5, False)
    ask(brush, "redo", n=6)
    ask(brush, "redo", n=7)
    assert brush.painted == kept
    assert brush.frame["redo"] is False


def test_nothing_new_is_no_step(brush):
    ask(brush, "keep", brush.limb.shares)
    assert brush.frame["undo"] is False


def test_what_a_page_says_wrong_changes_nothing_and_is_answered(brush):
    for shares, said in (
        ([0.5], "`shares` must be"),
        (np.full_like(brush.limb.shares, np.nan), "finite"),
        (brush.limb.shares + 2, "from 0 to 1"),
    ):
        ask(brush, "keep", shares)
        assert said in brush.sent[-1]["fault"]
    brush._asked(brush, {"kind": "drop", "n": 1, "page": ""}, [])
    brush._asked(brush, "nonsense", [])
    assert (brush.painted, brush.frame["undo"], len(brush.sent)) == ("", False, 3)


def test_a_fault_of_the_kit_is_said_and_raised(brush):
    brush._kept.undo = None  # no function to call
    with pytest.raises(TypeError):
        ask(brush, "undo")
    assert "The kit failed here: TypeError" in brush.sent[-1]["fault"]


def test_what_is_kept_elsewhere_is_shown(bound, brush):
    kept = History(brush.limb.pack(smoothed(brush)))
    other = Brush(bound.state, kept)
    assert_allclose(np.frombuffer(other.frame["shares"], "<f4"), smoothed(brush), atol=0.002)
    kept.keep("")
    other.show()
    assert_allclose(np.frombuffer(other.frame["shares"], "<f4"), brush.limb.shares, atol=1e-7)
    assert other.frame["undo"]


def test_a_history_is_so_many_steps_deep():
    history = History()
    for number in range(250):
        history.keep(str(number))
    steps = 0
    while history.can_undo:
        history.undo()
        steps += 1
    assert (steps, history.painted) == (200, "49")


def test_what_a_page_blends_is_the_librarys_blend(bound, brush):
    # the page's own sum, p ((1 - s) T + s S) x + rest, done here from what it is sent
    limb, sent = brush.head["limb"], brush.sent_limb
    points, rest = (np.frombuffer(sent[name], "<f4").reshape(-1, 3) for name in ("points", "rest"))
    pair = np.frombuffer(sent["pair"], "<f4")[:, None]
    share = np.frombuffer(brush.frame["shares"], "<f4")[:, None]
    one = np.concatenate([points, np.ones((len(points), 1))], axis=-1)
    thigh, shank = (one @ np.transpose(limb[name]) for name in ("thigh", "shank"))
    motions = measure.bent_motions(bound.state, bound.skeleton.names)
    whole = skin.linear_blend(bound.surface.vertices, bound.weights, motions)
    ours = pair * ((1 - share) * thigh + share * shank) + rest
    assert_allclose(ours, whole[brush.limb.numbers], atol=1e-6)
    assert np.frombuffer(sent["triangles"], "<u4").max() == len(points) - 1


def test_paint_beyond_the_limb_stays(bound, limb):
    beyond = np.setdiff1d(np.arange(4000), limb.numbers)[:3]
    before = painting.pack_painted(beyond, [0.2, 0.4, 0.6])
    numbers, shares = painting.unpack_painted(limb.pack(limb.shares, before), 5000)
    assert_array_equal(numbers, beyond)
    assert_allclose(shares, [0.2, 0.4, 0.6])


def test_a_torn_knee_says_so_first_and_a_number_at_its_limit_shows_on_its_side(bound, brush):
    assert brush.frame["words"] == (
        "Longest stretch of an edge, bent by 90°: <b>2.98 times</b>, 1.6 times at most. Smooth the"
        " weights around the knee."
    )
    number = measure.Measured("it", 1.6004, "times", None, 1.6, "Mend it.")
    assert _said(number) == "1.6004 times"
    assert [_said(replace(number, value=value)) for value in (1.5996, 3.0, 92.33)] == [
        "1.6 times",
        "3 times",
        "92 times",
    ]


@pytest.mark.parametrize("dark", [0, 1])
def test_lines_are_seen_on_the_inks_of_thigh_and_shank(dark):
    # data/brush.js draws them in the darker one of ink and paper
    line = min((INKS["ink"][dark], INKS["paper"][dark]), key=luminance)
    for name in ("forward", "inverse"):
        assert contrast(line, INKS[name][dark]) >= SHAPE, name


def test_page_and_kernel_know_one_form():
    script = (Path(rigkit.__file__).parent / "data" / "brush.js").read_text(encoding="utf-8")
    assert f"const FORM = {FORM};" in script


def test_all_that_a_page_gets_at_once_is_small(brush):
    assert sum(map(len, brush.sent_limb.values())) < 150_000
    assert mesh.open_edges(brush.limb.triangles).size  # a piece of the skin, not all of it
