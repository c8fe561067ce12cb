"""Stages: what a picture of a rig says, that it can be read everywhere, and that it is the same
everywhere."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigkit import mesh
from rigkit.stage import INKS, STYLE, VIEWS, Stage, framed, outlines, row
from rigkit.stage.inks import LEAST_TEXT, TEXT
from rigkit.stage.labels import EDGE, Label, boxed, overlap, text_width, touches
from rigkit.stage.markup import number
from tests.unit.processes import printed_by

SVG = "{http://www.w3.org/2000/svg}"
LEG = [[0.1, 0.93, 0.0], [0.11, 0.5, 0.05], [0.1, 0.08, 0.0]]


def full(view="side", leg=LEG, **options):
    """A stage with one of everything."""
    leg = np.asarray(leg)
    stage = Stage(view, (-0.6, -0.2), (0.6, 1.1), "A leg stands", width=430, **options).floor()
    stage.skin(leg + [0.0, 0.0, 0.05]).ghost(leg).foot(
        leg[2], leg[2] - [0, 0.08, 0.06], leg[2] + [0, -0.08, 0.19]
    )
    stage.chain(leg, "forward", "L", ("hip", "knee", "ankle")).chain(
        leg * [-1, 1, 1], "inverse", "R"
    )
    stage.goal(leg[2]).pole(leg[1] + [0, 0, 0.3], knee=leg[1]).control(
        leg + [0.0, 0.05, 0.05], "pelvis"
    )
    stage.measure(leg[2], leg[0], "85.0 cm", "plain", offset=40).arc(leg[1], leg[0], leg[2], "12°")
    return stage.note(leg[0], "a note").arrow(leg[0], leg[1], "bone axis").path(leg).dots(leg)


def parts(picture, name):
    return ET.fromstring(picture.svg()).iter(SVG + name)


def classes(picture):
    return [element.get("class", "") for element in ET.fromstring(picture.svg()).iter()]


def paths(picture, marks=""):
    """The paths of the shapes that have a class, or of all."""
    return [path.get("d") for path in parts(picture, "path") if marks in path.get("class")]


def words(picture):
    return [text.text for text in parts(picture, "text")]


def square(view="side", **options):
    """A stage of two metres each way, at 200 px a metre; the origin lies at (200, 200)."""
    return Stage(view, (-1, -1), (1, 1), width=400, **options)


# Inks


def test_both_themes_have_the_same_inks_with_fallbacks_in_the_style_sheet():
    for name, pair in INKS.items():
        for ink in pair:
            assert re.search(
                rf"--{name}:var\(--rig-{name},(var\(--jp-layout-color0,)?{ink}\)", STYLE
            )
    assert 'body[data-jp-theme-light="false"] .rig{' in STYLE
    assert (
        "@media screen and (prefers-color-scheme:dark){body:not([data-jp-theme-light]) .rig{"
        in STYLE
    )


def test_a_card_keeps_its_light_inks_whatever_the_page():
    card = full().card()
    ET.fromstring(card)
    assert "prefers-color-scheme" not in card
    assert "jp-" not in card
    assert INKS["forward"][0] in card
    assert INKS["forward"][1] not in card


# Markup


@pytest.mark.parametrize("view", VIEWS)
def test_markup_is_xml_with_a_role_a_title_and_a_description(view):
    root = ET.fromstring(full(view).svg())
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == [SVG + "title", SVG + "desc"]
    assert root[0].text == "A leg stands"
    assert "85.0 cm" in root[1].text
    assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"


def test_words_with_markup_in_them_are_words():
    stage = Stage(title="a < b & c", desc='"<&>"').note((0, 0.5), "<script>")
    assert words(stage) == ["a < b & c", "<script>"]
    assert ET.fromstring(row(stage, stage, title='"<&>"').html()).get("aria-label") == '"<&>"'


def test_a_description_may_be_given():
    assert Stage(desc="What it shows.").note((0, 0), "x").desc == "What it shows."
    assert Stage("front").note((0, 0), "x").desc == "Front view: x."


def test_a_picture_without_a_title_still_has_a_name():
    assert next(parts(Stage("top"), "title")).text == "Top view"
    assert words(Stage("top")) == []


def test_integers_lists_and_arrays_draw_the_same():
    def drawn(p):
        return Stage().chain(p).ghost(p).measure(p[0], p[1], "1 m").goal(p[1]).svg()

    ints, floats = [[0, 1, 0], [0, 0, 0]], np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 0.0]])
    assert drawn(ints) == drawn(floats) == drawn(floats.tolist()) == drawn(tuple(map(tuple, ints)))


def test_the_same_rig_is_the_same_text_in_another_process():
    code = "from tests.unit.test_stage import full; print(ascii(full().svg()))"
    assert printed_by(code) == ascii(full().svg())


def test_rounding_noise_does_not_change_the_text():
    leg = np.array(LEG)
    assert full(leg=leg).svg() == full(leg=leg + 1e-13).svg() == full(leg=leg - 1e-13).svg()


@given(st.floats(-1e4, 1e4))
def test_numbers_have_one_decimal_and_never_a_negative_zero(value):
    text = number(value)
    assert text != "-0"
    assert re.fullmatch(r"-?\d+(\.\d)?", text)
    assert float(text) == pytest.approx(value, abs=0.051)


def test_a_halfway_number_rounds_up_whatever_its_last_bit():
    assert {number(0.25 + noise) for noise in (-1e-12, 0, 1e-12)} == {"0.3"}
    assert number(-1e-9) == "0"
    assert (number(2e5), number(-1e9)) == ("100000", "-100000")  # far outside of any picture


def test_no_markup_holds_a_negative_zero():
    assert not re.search(r"-0(?![.\d])", full().card().replace("0 0 0 1", ""))


# Views


def dot_at(view, point, **options):
    """The picture's place of a point, px right of and above the centre, at 100 px per metre."""
    stage = Stage(view, (-2, -2), (2, 2), width=400, **options).dots([point])
    dot = next(parts(stage, "circle"))
    return float(dot.get("cx")) - 200, 200 - float(dot.get("cy"))


@pytest.mark.parametrize(
    ("view", "options", "x", "y", "z"),
    [
        ("side", {}, (0, 0), (0, 100), (100, 0)),
        ("front", {}, (100, 0), (0, 100), (0, 0)),
        ("top", {}, (100, 0), (0, 0), (0, -100)),
        ("turntable", {}, (100, 0), (0, 100), (0, 0)),
        # from the character's right: the side view
        ("turntable", {"yaw_deg": -90}, (0, 0), (0, 100), (100, 0)),
        ("turntable", {"yaw_deg": 90}, (0, 0), (0, 100), (-100, 0)),
        # straight down: the top view
        ("turntable", {"pitch_deg": 90}, (100, 0), (0, 0), (0, -100)),
        ("turntable", {"pitch_deg": 30}, (100, 0), (0, 86.6), (0, -50)),
        # what is near lies lower
        ("turntable", {"yaw_deg": 90, "pitch_deg": 30}, (0, -50), (0, 86.6), (-100, 0)),
    ],
)
def test_where_the_axes_lie(view, options, x, y, z):
    assert dot_at(view, (1, 0, 0), **options) == pytest.approx(x, abs=0.1)
    assert dot_at(view, (0, 1, 0), **options) == pytest.approx(y, abs=0.1)
    assert dot_at(view, (0, 0, 1), **options) == pytest.approx(z, abs=0.1)


def test_flat_points_lie_right_and_up_in_every_view():
    for view in VIEWS:
        assert dot_at(view, (1, 0.5)) == pytest.approx((100, 50), abs=0.1)


def test_limits_are_fixed_whatever_is_drawn():
    near, far = (Stage().dots([(0, 0.5), point]) for point in ((0.1, 0.5), (50, 50)))
    assert ET.fromstring(near.svg()).get("viewBox") == ET.fromstring(far.svg()).get("viewBox")
    assert next(parts(near, "circle")).attrib == next(parts(far, "circle")).attrib


# What is drawn


def test_kind_is_told_by_hue_and_side_by_letter_and_outline():
    left, right = (Stage().chain(LEG, "inverse", side) for side in "LR")
    assert (words(left), words(right)) == (["L"], ["R"])
    assert "rig-bone rig-inverse" in classes(left)
    assert "rig-bone rig-inverse rig-dashed" in classes(right)
    assert words(Stage().chain(LEG)) == []


def test_a_bone_tapers_toward_its_far_joint():
    (bone,) = paths(square().chain([(0, 0.5), (0, -0.5)]), "rig-bone")
    radii = [float(r) for r in re.findall(r"A(\S+)", bone)]
    assert radii[0] > radii[1] > 0


def test_a_chain_to_the_tenth_of_a_pixel():
    stage = square().chain([(0, 0.5), (0, 0), (0, -0.5)], side="L")
    assert paths(stage) == [
        "M188 100A12 12 0 0 1 212 100L207.2 200A7.2 7.2 0 0 1 192.8 200Z",
        "M190.4 200A9.6 9.6 0 0 1 209.6 200L205.8 300A5.8 5.8 0 0 1 194.2 300Z",
    ]
    rings = [(ring.get("cy"), ring.get("r")) for ring in parts(stage, "circle")]
    assert rings == [("300", "8"), ("200", "8"), ("100", "12")]
    assert next(parts(stage, "text")).get("y") == "105.5"


def test_a_level_foot_to_the_tenth_of_a_pixel():
    side, front = (paths(square(view).foot((0, 0.08), height=0.08)) for view in ("side", "front"))
    assert side == ["M188 200L238 200L238 200Q238 188.8 200 184Z"]
    assert front == ["M191 200L209 200L209 200Q209 188.8 200 184Q191 188.8 191 200Z"]


def test_points_that_coincide_have_a_direction_down_the_picture():
    assert outlines.unit((3, 4), (3, 4)) == (0.0, 1.0)


def test_a_ring_for_every_joint_and_the_root_on_top():
    rings = list(parts(Stage(width=600).chain(LEG, side="L"), "circle"))
    assert len(rings) == 3
    assert float(rings[-1].get("cy")) == min(float(ring.get("cy")) for ring in rings)


def test_bones_seen_end_on_and_zero_lengths_are_drawn_without_fault():
    for view in VIEWS:
        for points in (
            [[0, 1, 0]] * 3,
            [[0, 1, 0], [1, 1, 0]],
            [[0, 1, 0], [0, 0, 0]],
            [[0, 1, 0], [0, 1, 1]],
        ):
            a, b, *_ = points
            stage = Stage(view).chain(points).arrow(a, b).measure(a, b, "0.0 cm")
            assert "nan" not in stage.arc(a, a, b, "0°").svg()


def test_a_level_foot_has_its_sole_on_the_floor():
    for view in ("side", "front"):
        (outline,) = paths(square(view).foot((0, 0.08), height=0.08))
        assert re.match(r"M\S+ 200L", outline)  # y = 0 lies 200 px down


def test_a_foot_bends_at_the_ball():
    heel, ball, toe = (0, 0.2, -0.06), (0, 0, 0.1), (0, 0, 0.17)
    (outline,) = paths(square().foot((0, 0.25, 0.02), heel, toe, ball))
    assert outline.startswith("M188 160L220 200L234 200Q")


def test_a_foot_seen_from_the_front_or_above_has_breadth():
    for view in ("front", "top"):
        (outline,) = paths(square(view).foot((0, 0.08, 0), (0, 0, -0.06), (0, 0, 0.19)))
        xs = [float(x) for x in re.findall(r"[ML](\S+) ", outline)]
        assert max(xs) - min(xs) > 10


def test_a_foot_whose_toes_point_down_is_the_same_from_the_side_but_turned():
    places = np.array([(0.02, 0.25), (-0.06, 0.2), (0.1, 0.2), (0.17, 0.2)])  # forward, up
    hanging = np.stack([places[:, 1], -places[:, 0]], axis=-1)  # a quarter turn, toes down
    spread = []
    for ankle, heel, ball, toe in (places, hanging):
        (outline,) = paths(square().foot(ankle, heel, toe, ball))
        xy = np.array(re.findall(r"([-\d.]+) ([-\d.]+)", outline), dtype=float)
        spread.append(sorted(np.ptp(xy, axis=0)))
    assert spread[1] == pytest.approx(spread[0], abs=0.2)  # px; it is written to a tenth


@pytest.mark.parametrize(
    ("view", "options"), [("top", {}), ("turntable", {"yaw_deg": 120, "pitch_deg": 20})]
)
def test_seen_from_above_the_floor_is_all_there_is(view, options):
    stage = Stage(view, (-1, -0.5), (1, 1), width=400, **options).floor()
    ground = next(parts(stage, "rect"))
    sides = [float(ground.get(side)) for side in ("x", "y", "width", "height")]
    assert sides == [0, 0, stage.width, stage.height]


def test_the_floor_fills_everything_below_the_ground_line():
    stage = Stage("side", (-1, -0.5), (1, 1), width=400).floor()
    band = next(parts(stage, "rect"))
    assert (float(band.get("y")), float(band.get("height"))) == (200, 100)
    assert paths(stage) == ["M0 200L400 200"]


def test_a_dimension_line_has_ticks_and_stands_off():
    plain, off = (
        square().measure((0, 0), (0, 0.5), "50.0 cm", offset=offset) for offset in (0, 60)
    )
    assert paths(plain) == ["M192 200L208 200", "M192 100L208 100", "M200 200L200 100"]
    assert "M260 200L260 100" in paths(off)
    assert paths(off, "rig-thin") == ["M214 200L260 200", "M214 100L260 100"]
    left = square().measure((0, 0.5), (0, 0), "50.0 cm", offset=-60)
    assert "M140 100L140 200" in paths(left)


def test_an_angle_is_drawn_the_shorter_way():
    (way,) = paths(square().arc((0, 0), (-1, 0.1), (-1, -0.1), "11°"))
    assert max(float(x) for x in re.findall(r"[ML](\S+) ", way)) < 200


def test_an_angles_number_makes_way_for_a_bone():
    def drawn(bones):
        return square().chain(bones, thickness=60).arc((0, 0), (0, -1), (0.5, -1), "27°")

    (alone, _), (beside, _) = (
        next(boxes(drawn(bones))) for bones in ([[-1, 1], [-0.8, 1]], [[0, -0.2], [0, -1]])
    )
    assert alone != beside
    assert beside[0] > 230 or beside[2] < 170  # the bone's edges


# Words


def boxes(picture):
    """Each word's estimated box (left, top, right, bottom) and text."""
    for text in parts(picture, "text"):
        if "rig-side" in text.get("class"):
            continue
        size = {"rig-number": 21, "rig-title": 17}.get((text.get("class").split() + [""])[-1], TEXT)
        size = 17 if "rig-title" in text.get("class") else size
        width = text_width(text.text, size)
        x, y = float(text.get("x")), float(text.get("y"))
        left = x - {"start": 0, "end": width, "middle": width / 2}[text.get("text-anchor", "start")]
        yield (left, y - 0.8 * size, left + width, y + 0.2 * size), text.text


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("shift", [(0, 0, 0), (0.55, 0.2, 0.55), (-0.6, -0.9, -0.6), (3, 3, 3)])
def test_every_word_stays_inside_the_view(view, shift):
    stage = full(view, np.array(LEG) + shift)
    for (left, top, right, bottom), text in boxes(stage):
        assert left >= 0, text
        assert top >= 0, text
        assert right <= stage.width + 0.1, text
        assert bottom <= stage.height + 0.1, text


def test_words_touch_neither_lines_nor_each_other():
    stage = Stage("side", (-0.6, -0.2), (0.6, 1.1), width=430).floor().ghost(LEG)
    stage.foot(LEG[2]).chain(LEG, "forward", "L", ("hip", "knee", "ankle"))
    stage.goal((0, 0.01, 0.0), "goal, miss 7.0 cm").measure(
        (0, 0.07, 0), (0, -0.06, 0), "13.0 cm", offset=-50
    )
    found = list(boxes(stage))
    for i, (box, text) in enumerate(found):
        for other, other_text in found[:i]:
            assert not overlap(box, other), (text, other_text)
        for solid in stage._solids:
            assert not touches((*solid[:4], 1), box), text


def test_a_place_asked_for_is_kept():
    anchors = {"left": "end", "right": "start", "above": "middle", "below": "middle"}
    for place, anchor in anchors.items():
        stage = Stage().chain([(0, 1), (0, 0)]).note((0, 0.5), "word", place=place)
        assert [t.get("text-anchor") for t in parts(stage, "text")] == [anchor]


def test_numbers_are_the_largest_words_and_choose_their_place_first():
    stage = Stage().note((0, 0.5), "note").measure((0, 0.4), (0, 0.6), "20 cm")
    assert words(stage) == ["20 cm", "note"]
    assert ".rig-number{font-size:21px;font-weight:600}" in STYLE


@given(st.tuples(*[st.floats(-50, 150)] * 4), st.floats(0, 10))
def test_touching_agrees_with_walking_along_the_segment(segment, radius):
    box = (20.0, 30.0, 80.0, 60.0)
    walk = np.linspace(segment[:2], segment[2:], 400)
    slack = np.hypot(segment[2] - segment[0], segment[3] - segment[1]) / 399 + 1e-9
    outside = np.maximum(np.maximum(np.subtract(box[:2], walk), np.subtract(walk, box[2:])), 0)
    distance = np.max(outside, axis=1).min()  # square distance: the box grown by r is a box
    touching = touches((*segment, radius), box)
    assert touching or distance > radius - 1e-9
    assert not touching or distance <= radius + slack


def test_long_titles_take_more_lines_and_more_room():
    short, long = (Stage(title=t, width=300) for t in ("Short", "A long title " * 6))
    titles = words(long)
    assert len(titles) > 1
    assert all(text_width(t, 17) <= 300 for t in titles)
    assert long.height - short.height == 24 * (len(titles) - 1)


def test_a_word_too_wide_for_the_view_begins_at_its_edge():
    label = Label((50, 50), "a very long word indeed", "plain", 8, ("right",), TEXT)
    _, box = label.placed((EDGE, 0, 60, 100), boxed([]), [])
    assert box[0] == pytest.approx(60 - label.width)


def placed(place, view=(0, 0, 200, 100), solids=(), boxes=(), reach=(10, 20)):
    label = Label((100, 50), "word", "plain", reach, place, TEXT)
    return label.placed(view, boxed(solids), boxes)


WIDE = text_width("word", TEXT)
SPOTS = {
    "right": (110, 42.5, 110 + WIDE, 57.5),
    "left": (90 - WIDE, 42.5, 90, 57.5),
    "below": (100 - WIDE / 2, 70, 100 + WIDE / 2, 85),
    "above": (100 - WIDE / 2, 15, 100 + WIDE / 2, 30),
}


@pytest.mark.parametrize("place", SPOTS)
def test_words_stand_beside_their_point_at_their_reach(place):
    markup, box = placed([place])
    assert box == pytest.approx(SPOTS[place])
    assert f'y="{number(box[3] - 3)}"' in markup  # letters stand on a line above the box's end


def test_words_would_rather_touch_lines_than_words():
    right, lines = (100, -99, 999, 999), [(50, -99, 50, 999, 50)] * 2
    assert placed(["right", "left"], solids=lines, boxes=[right])[1] == SPOTS["left"]
    assert placed(["right", "left"], solids=lines * 2, boxes=[right])[1] == SPOTS["right"]


def test_boxes_that_share_an_edge_do_not_overlap():
    for other in ((0, 1, 1, 2), (1, 0, 2, 1), (0, -1, 1, 0), (-1, 0, 0, 1)):
        assert not overlap((0, 0, 1, 1), other)


def test_larger_words_are_bolder():
    assert text_width("n", TEXT) == pytest.approx(0.66 * TEXT)
    assert text_width("n", 21) == pytest.approx(1.1 * 0.66 * 21)


@pytest.mark.parametrize(
    ("offset", "end", "stands"),
    [
        (0, (0.5, 0), ("middle", "250", "183.8")),  # above
        (0, (0, 0.5), ("start", "212", "156.3")),  # to the right
        (-30, (0.5, 0), ("middle", "250", "258.8")),
        (-30, (0, 0.5), ("end", "158", "156.3")),
    ],
)
def test_a_measures_number_stands_on_its_lines_outer_side(offset, end, stands):
    (text,) = parts(square().measure((0, 0), end, "5 cm", offset=offset), "text")
    assert tuple(text.get(name) for name in ("text-anchor", "x", "y")) == stands


@pytest.mark.parametrize(
    ("way", "stands"),
    [
        ((1, 0.2), ("start", "245.3", "198.8")),
        ((-1, 0.2), ("end", "154.7", "198.8")),
        ((0.2, 1), ("middle", "207.5", "150.5")),
        ((0.2, -1), ("middle", "207.5", "262.1")),
    ],
)
def test_an_angles_number_stands_outside_its_arc(way, stands):
    (text,) = parts(square().arc((0, 0), way, way, "5"), "text")
    assert tuple(text.get(name) for name in ("text-anchor", "x", "y")) == stands


def test_words_keep_clear_of_rings():
    for stage in (square().goal((0, 0), ""), square().chain([(0, 0)])):
        ((x1, y1, x2, y2, room),) = stage._solids
        assert (x1, y1, x2, y2) == (200, 200, 200, 200)
        assert room == int(next(parts(stage, "circle")).get("r")) + 2


def test_words_keep_clear_of_the_rings_of_grips():
    stage = Stage("side", (0, 0), (1, 1), width=400).note([0.6, 0.5], "beside")
    stage.chain([[0.2, 0.5], [0.5, 0.5]], names=("hip", "knee"))
    rings = [stage.place(point) for point in ([0.2, 0.5], [0.65, 0.5])]

    def least(stage):
        return min(
            np.linalg.norm(ring - np.clip(ring, box[:2], box[2:]))
            for ring in rings
            for box, _ in boxes(stage)
        )

    assert least(stage) < 18  # px: where nobody asks, words stand close by
    assert least(stage.keep_clear(rings)) >= 18
    assert least(stage.keep_clear([])) < 18


# Rows and notebooks


def test_a_row_wraps_before_its_words_get_too_small():
    html = row(Stage(width=400), Stage(width=300)).html()
    root = ET.fromstring(html)
    views = root.findall(SVG + "svg")
    assert [v.get("style") for v in views] == [
        f"flex:1 1 {w * LEAST_TEXT / TEXT:.0f}px;max-width:min(100%,{w}px)" for w in (400, 300)
    ]
    assert html.count("<style>") == 1
    assert ".rig-row{display:flex;flex-wrap:wrap" in html


def test_a_row_is_one_picture_too():
    one, two = Stage(title="One", width=400), Stage(title="Two", width=300)
    root = ET.fromstring(row(one, two).svg())
    assert int(root.get("width")) == 400 + 16 + 300
    assert [s.get("x") for s in root.findall(SVG + "svg")] == ["0", "416"]
    assert root.find(SVG + "title").text == "One; Two"


def test_a_notebook_gets_a_live_drawing_and_a_card():
    bundle = full()._repr_mimebundle_()
    assert set(bundle) == {"text/plain", "text/html", "image/svg+xml"}
    ET.fromstring(bundle["image/svg+xml"])
    assert full().svg() in bundle["text/html"]
    assert bundle["text/plain"].startswith("A leg stands. Side view of the floor, skin, ")


def test_what_is_left_of_the_live_drawing_without_its_style_sheet_is_hidden_and_the_card_shown():
    html = full()._repr_mimebundle_()["text/html"]
    assert '<div class="rig-live" style="display:none"><svg' in html
    assert re.search(
        r'<img class="rig-still" alt="A leg stands\. [^"]+" src="data:image/svg\+xml;base64,', html
    )
    assert ".rig-live{display:block!important}.rig-still{display:none!important}" in html


# Surfaces

# rings that begin at +z: seen from the front its edge is in the middle
BOX = mesh.tube(0.2, 0.8, around=4, along=4)


def seen_box(vertices=BOX.vertices, view="front", lines=(), **options):
    """The box, bent perhaps, on a stage of a metre each way, at 500 px a metre."""
    stage = Stage(view, (-0.5, -0.5), (0.5, 0.5), width=500, **options)
    return stage.surface(vertices, BOX.triangles, lines=lines)


def loops(picture):
    """The loops of the one surface in a picture, each an array of points in px."""
    return [
        np.array([point.split() for point in loop.rstrip("Z").split("L")], dtype=float)
        for shape in paths(picture, "rig-skin")
        for loop in shape.split("M")[1:]
    ]


def test_a_surface_is_its_outline_as_seen():
    (loop,) = loops(seen_box())
    assert loop.min(axis=0) == pytest.approx([150, 50])
    assert loop.max(axis=0) == pytest.approx([350, 450])
    # both sides; the middle of the top and of the bottom
    assert set(loop[:, 0]) == {150.0, 350.0, 250.0}


def test_a_surface_that_folds_over_itself_shows_each_layer():
    folded = BOX.vertices * [1, -1, -1] + [0.05, 0, 0.6]
    bent = np.where(BOX.vertices[:, 1:2] < 0, folded, BOX.vertices)
    assert max(map(len, loops(seen_box(bent)))) > len(loops(seen_box())[0])


@given(st.floats(-180, 180))
def test_the_outline_of_a_convex_surface_is_one_loop_anticlockwise_from_everywhere(yaw):
    (loop,) = loops(seen_box(view="turntable", yaw_deg=yaw))
    x, y = loop.T
    assert np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) < 0  # y goes down the picture


def test_lines_on_a_surface_are_drawn_where_it_faces_the_viewer():
    ring = [8, 9, 10, 11, 8]  # the middle ring: front, left of her, behind, right of her
    assert paths(seen_box(lines=[ring]), "rig-thin") == ["M250 250L350 250M150 250L250 250"]


def test_what_faces_away_from_the_viewer_is_not_drawn():
    behind = BOX.triangles[(BOX.vertices[BOX.triangles, 2] < 1e-9).all(axis=1)]
    assert len(behind) == len(BOX.triangles) / 2
    stage = Stage("front").surface(BOX.vertices, behind, lines=[[0, 4]])
    assert set(paths(stage)) == {""}


def test_a_surface_is_cut_off_at_the_limits_of_the_view():
    stage = Stage("front", (-0.5, -0.1), (0.5, 0.1), "A close-up", width=500).surface(
        BOX.vertices, BOX.triangles
    )
    (view,) = (svg for svg in parts(stage, "svg") if svg.get("role") != "img")
    assert view.get("overflow") is None  # hidden, where nothing else is said
    assert view.get("viewBox") == f"0 34 500 {stage.height - 34}"
    sides = [view.get(name) for name in ("y", "width", "height")]
    assert sides == ["34", "500", str(stage.height - 34)]


@pytest.mark.parametrize(
    ("name", "draw"),
    [
        ("triangles", lambda s: s.surface(np.eye(3), [[0, 1, 3]])),
        ("triangles", lambda s: s.surface(np.eye(3), [0, 1])),
        ("triangles", lambda s: s.surface(np.eye(3), [[0, 1, 0.5]])),
        ("vertices", lambda s: s.surface([[0, np.nan]], [])),
        ("lines", lambda s: s.surface(np.eye(3), [[0, 1, 2]], lines=[[0, 7]])),
    ],
)
def test_surfaces_that_are_none_are_refused_by_name(name, draw):
    with pytest.raises(ValueError, match=f"`{name}` must be"):
        draw(Stage())


# Bad input


@pytest.mark.parametrize("bad", [np.nan, np.inf, "0.5", None])
@pytest.mark.parametrize(
    ("name", "draw"),
    [
        ("points", lambda s, p: s.chain([p, p])),
        ("points", lambda s, p: s.ghost([p, p])),
        ("ankle", lambda s, p: s.foot(p)),
        ("point", lambda s, p: s.goal(p)),
        ("pole", lambda s, p: s.pole(p)),
        ("points", lambda s, p: s.control([p, p])),
        ("a", lambda s, p: s.measure(p, p, "x")),
        ("point", lambda s, p: s.note(p, "x")),
        ("centre", lambda s, p: s.arc(p, p, p)),
        ("points", lambda s, p: s.skin([p, p])),
        ("points", lambda s, p: s.path([p, p])),
        ("points", lambda s, p: s.dots([p])),
        ("start", lambda s, p: s.arrow(p, p)),
    ],
)
def test_points_that_are_not_numbers_are_refused_by_name(name, draw, bad):
    with pytest.raises(ValueError, match=f"`{name}` must be"):
        draw(Stage(), (0.0, bad))


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("view", lambda: Stage("back")),
        ("low", lambda: Stage(low=(0, np.nan))),
        ("high", lambda: Stage(high=(1, 2, 3))),
        ("high", lambda: Stage(low=(0, 0), high=(1, 0))),
        ("width", lambda: Stage(width=50)),
        ("yaw_deg", lambda: Stage("turntable", yaw_deg=np.inf)),
        ("pitch_deg", lambda: Stage("turntable", pitch_deg=-1)),
        ("pitch_deg", lambda: Stage("turntable", pitch_deg=91)),
        ("kind", lambda: Stage().chain(LEG, "blue")),
        ("side", lambda: Stage().chain(LEG, side="left")),
        ("names", lambda: Stage().chain(LEG, names="abcd")),
        ("points", lambda: Stage().chain([[1, 2, 3, 4]])),
        ("points", lambda: Stage().chain([])),
        ("heel", lambda: Stage().foot((0, 0), heel=(0, 0))),
        ("heel", lambda: Stage("top").foot((0, 0))),
        ("height", lambda: Stage().foot((0, 0), height=0)),
        ("height", lambda: Stage().floor(np.nan)),
        ("place", lambda: Stage().note((0, 0), "x", place="north")),
        ("kind", lambda: Stage().note((0, 0), "x", "red")),
        ("offset", lambda: Stage().measure((0, 0), (1, 1), "x", offset=np.nan)),
        ("pictures", lambda: row()),
        ("pictures", lambda: row("<svg/>")),
    ],
)
def test_bad_arguments_are_refused_by_name(name, make):
    with pytest.raises(ValueError, match=f"`{name}`"):
        make()


def test_a_frame_around_points_too_far_off_to_be_told_apart_still_has_a_size():
    picture = framed("side", [[0.0, 7.6e15, 0.3], [0.0, 7.6e15, -0.9]], "Far off", 0.1, 400)
    assert picture.svg().startswith("<svg")


def test_a_frame_has_room_around_its_points_and_is_neither_too_flat_nor_too_tall():
    upright = framed("side", [[0, 0, 0], [0, 1, 0]], width=400)
    level = framed("side", [[0, 0, 0], [0, 0, 1]], room=0.0, width=400)
    assert (upright.height, upright._scale) == (380, pytest.approx(380 / 1.2))
    assert (level.height, level._scale) == (120, pytest.approx(400 / 1.16))


# Legends


def legend(picture):
    """A legend's names and the left edges of its bars."""
    entries = [group for group in parts(picture, "g") if group.get("class") == "rig-legend"]
    return [
        (entry[1].text, float(re.match(r"M([\d.]+)", entry[0].get("d"))[1])) for entry in entries
    ]


def test_a_legend_names_kinds_beside_the_title_in_their_inks():
    stage = Stage(title="A leg stands", width=430, legend=("forward", "inverse"))
    plain = Stage(title="A leg stands", width=430)
    assert [name for name, _ in legend(stage)] == ["forward", "inverse"]
    assert stage.height == plain.height
    starts = [left for _, left in legend(stage)]
    assert text_width("A leg stands", 17) < starts[0] < starts[1]
    assert starts[1] + text_width("inverse", TEXT) < 430
    assert {"rig-bone rig-forward", "rig-bone rig-inverse"} <= set(classes(stage))


def test_a_legend_without_room_takes_a_line_of_its_own():
    long = "A leg stands on its foot and stays"
    stage, plain = (
        Stage(title=long, width=430, legend=kinds) for kinds in (("forward", "inverse"), ())
    )
    assert stage.height == plain.height + 24
    alone = Stage(width=430, legend=("inverse",))
    assert alone.height == Stage(width=430).height + 34
    assert words(alone) == ["inverse"]


def test_a_legend_covers_nothing_of_the_scene_and_names_kinds_there_are():
    stage = Stage(width=430, legend=("inverse",)).ghost([(-0.6, 1.05), (0.6, 1.05)])
    assert paths(stage, "rig-ghost") == ["M0 34L430 34"]  # the top of the view, below the legend
    with pytest.raises(
        ValueError, match="`legend` must be one of 'forward', 'inverse'; got 'goal'"
    ):
        Stage(legend=("goal",))


def test_a_surface_is_called_what_it_is():
    tube = mesh.tube(0.1, 0.5)
    assert Stage().surface(tube.vertices, tube.triangles).desc == "Side view of skin."
    drawn = Stage().surface(tube.vertices, tube.triangles, named="a trunk")
    assert drawn.desc == "Side view of a trunk."
