"""Plots: curves that can be read, marked and themed, and that are the same everywhere."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from rigkit.plots import HUES, STYLES, WIDE, bars, curves
from rigkit.stage.inks import INKS, TEXT
from tests.unit.processes import printed_by

SVG = "{http://www.w3.org/2000/svg}"
X = np.geomspace(0.001, 10, 41)


def steps(**options):
    return curves(
        X,
        {"cyclic descent": 40 / X**0.3, "damped least squares": 30 / X**0.5},
        "preset bend (°)",
        "steps",
        "Less bend, more steps",
        log_x=True,
        log_y=True,
        **options,
    )


def texts(picture):
    return [t.text for t in ET.fromstring(picture.svg()).iter(SVG + "text")]


def test_markup_is_xml_with_a_role_a_title_and_a_description():
    slides = {"Tamsin": 1, "Odo": 2.5}
    for picture in (steps(), bars(slides, "foot slide (cm)", "Who slides most?")):
        root = ET.fromstring(picture.svg())
        assert root.get("role") == "img"
        assert root.find(SVG + "title").text == picture.title
        assert root.find(SVG + "desc").text == picture.desc
        ET.fromstring(picture.card())
    assert steps().desc == "steps against preset bend (°): cyclic descent, damped least squares."
    assert bars(slides, "slide (cm)").desc == "slide (cm): Tamsin 1.0; Odo 2.5."


def test_words_are_text_of_a_readable_size_and_say_the_units():
    keys = {"cyclic descent", "damped least squares"}
    said = {"preset bend (°)", "steps", "Less bend, more steps"}
    assert keys | said <= set(texts(steps()))
    sizes = [float(size) for size in re.findall(r"font-size: ([\d.]+)px", steps().svg())]
    assert min(sizes) >= TEXT  # 15 px are 11.25 pt


def test_all_inks_are_the_pages_variables_and_the_background_is_clear():
    body = re.sub(r"<style>.*?</style>", "", steps(spans={"tiny": (0.001, 0.01)}).svg())
    assert not re.search(r"#[0-9a-f]{6}\b", body)
    assert "var(--inverse)" in body
    assert "var(--soft-text)" in body
    assert not re.search(r"<style|DejaVu|xlink", body)


def test_every_variable_a_plot_uses_is_one_of_the_inks():
    body = re.sub(r"<style>.*?</style>", "", steps().svg())
    assert set(re.findall(r"var\(--([a-z-]+)\)", body)) <= set(INKS)


def test_curves_differ_by_line_style_as_well_as_hue():
    lines = {f"curve {i}": np.array([i, i + 1.0]) for i in range(len(STYLES))}
    body = curves([0, 1], lines, "x", "y").svg(style=False)
    drawn = re.findall(
        rf'style="fill: none; (?:stroke-dasharray: ([^;]+); stroke-dashoffset: 0; )?'
        rf"stroke: var\(--([a-z]+)\); stroke-width: {WIDE:g}",
        body,
    )
    dashes, hues = map(set, zip(*drawn, strict=True))
    assert len(dashes) == len(hues) == len(STYLES) == len(HUES)
    assert WIDE * 0.75 >= 2  # px to pt


def test_kinds_choose_hues():
    body = curves([0, 1], {"a": [0, 1]}, "x", "y", kinds={"a": "forward"}).svg(style=False)
    assert "stroke: var(--forward)" in body
    assert "var(--inverse)" not in body


def test_the_grid_is_on():
    assert re.search(r"stroke: var\(--soft\); stroke-opacity: 0.35", steps().svg())


def test_logarithmic_ticks_read_as_numbers_or_powers():
    words = texts(
        curves(np.geomspace(1e-9, 1, 10), {"a": np.geomspace(1, 10, 10)}, "x", "y", log_x=True)
    )
    assert "1" in words
    assert "10⁻⁸" in words
    assert {"0.001", "10⁵"} <= set(texts(curves([1e-3, 1e5], {"a": [1, 2]}, "", "", log_x=True)))
    wider = texts(curves([2, 4, 80], {"a": [2, 4, 8]}, "", "", log_x=True))
    assert "20" not in wider
    within_a_decade = texts(curves([2, 4, 8], {"a": [2, 4, 8]}, "", "", log_x=True, log_y=True))
    assert {"2", "3", "4", "6"} <= set(within_a_decade)


def test_one_curve_needs_no_key_and_two_have_one():
    one = texts(curves([0, 1], {"knee": [0, 1]}, "x", "y"))
    assert "knee" not in one
    assert {"knee", "hip"} <= set(texts(curves([0, 1], {"knee": [0, 1], "hip": [1, 0]}, "x", "y")))


def test_spans_are_named():
    assert "stance" in texts(curves([0, 9], {"knee": [0, 6]}, "x", "y", spans={"stance": (0, 6)}))


def test_the_same_plot_is_the_same_text_in_another_process():
    code = "from tests.unit.test_plots import steps; print(ascii(steps().svg()))"
    assert printed_by(code) == ascii(steps().svg())


def test_a_plot_leaves_no_trace_in_matplotlib():
    code = (
        "import matplotlib, sys; before = matplotlib.rcParams.copy()\n"
        "from rigkit.plots import bars, curves\n"
        "curves([0, 1], {'a': [0, 1]}, 'x', 'y'); bars({'a': 1}, 'x')\n"
        "print(matplotlib.rcParams.copy() == before, 'matplotlib.pyplot' in sys.modules)"
    )
    assert printed_by(code) == "True False"


def test_integers_and_lists_draw_the_same():
    x, y = np.array([[0.0, 1.0, 2.0], [0.0, 1.0, 4.0]])
    ints = curves([0, 1, 2], {"a": [0, 1, 4]}, "x", "y")
    assert ints.svg() == curves(x, {"a": y}, "x", "y").svg()


# The marker


def rings(picture):
    return [
        (float(c.get("cx")), float(c.get("cy")))
        for c in ET.fromstring(picture.svg()).iter(SVG + "circle")
    ]


def corners(picture):
    """The first and last point of each curve, as matplotlib drew it."""
    paths = re.findall(
        rf'<path d="([^"]+)" clip-path="[^"]+" style="fill: none; [^"]*stroke-width: {WIDE:g}',
        picture.svg(style=False),
    )
    points = [[float(n) for n in re.findall(r"-?[\d.]+", path)] for path in paths]
    return [(p[0], p[1]) for p in points], [(p[-2], p[-1]) for p in points]


@pytest.mark.parametrize("log_x", [False, True])
@pytest.mark.parametrize("log_y", [False, True])
def test_the_marker_rides_on_the_drawn_curves(log_x, log_y):
    x = np.linspace(1, 9, 33)
    plot = curves(x, {"a": x**2, "b": 90 - x}, "x", "y", log_x=log_x, log_y=log_y)
    first, last = corners(plot)
    assert rings(plot.at(1)) == [pytest.approx(p, abs=0.1) for p in first]
    assert rings(plot.at(9)) == [pytest.approx(p, abs=0.1) for p in last]
    assert rings(plot) == []


def test_the_marker_stands_where_the_axis_says():
    plot = curves([0, 10], {"a": [0, 10]}, "x", "y", ylim=(0, 10))
    (left, bottom), (right, top) = rings(plot.at(0))[0], rings(plot.at(10))[0]
    quarter = left + 0.25 * (right - left), bottom + 0.25 * (top - bottom)
    assert rings(plot.at(2.5)) == [pytest.approx(quarter, abs=0.1)]
    log = curves([1, 100], {"a": [1, 1]}, "x", "y", log_x=True)
    start, middle, end = (rings(log.at(x))[0][0] for x in (1, 10, 100))
    assert middle == pytest.approx((start + end) / 2, abs=0.1)


@pytest.mark.parametrize("log_x", [False, True])
@pytest.mark.parametrize("log_y", [False, True])
def test_a_point_lies_where_a_curve_through_it_is_drawn_and_marked(log_x, log_y):
    x = np.linspace(1, 9, 33)
    plot = curves(x, {"a": x**2}, "x", "y", log_x=log_x, log_y=log_y)
    for end, drawn in zip((1, 9), corners(plot), strict=True):
        assert plot.place((end, end**2)) == pytest.approx(drawn[0], abs=0.01)  # by matplotlib
    for at in x:
        assert plot.place((at, at**2)) == pytest.approx(rings(plot.at(at))[0], abs=0.06)
    outside = plot.place((10, 1))[0] - plot.place((9, 1))[0]
    assert outside > 0  # a point is not held at the axis's end


def test_curves_drawn_anew_leave_the_places_of_points():
    plot = curves([0, 10], {"a": [0, 10]}, "x", "y", ylim=(0, 10))
    again = plot.with_lines({"a": [10, 0]})
    assert again.place((10, 0)).tolist() == plot.place((10, 0)).tolist()
    assert again.place((10, 0)) == pytest.approx(rings(again.at(10))[0], abs=0.06)


def test_a_curve_can_end_where_it_has_come():
    plot = curves([0, 5, 10], {"a": [0, 5, 0]}, "x", "y", ylim=(0, 10))
    whole, half, start = (plot.with_lines({"a": [0, 5, 0]}, until=i).svg() for i in (2, 1, 0))
    assert whole == plot.with_lines({"a": [0, 5, 0]}).svg()
    assert [each.count("L") - start.count("L") for each in (start, half, whole)] == [0, 1, 2]


def test_a_marker_beyond_the_axis_is_held_at_its_end():
    plot = steps()
    assert plot.at(99).svg() == plot.at(10).svg()
    assert plot.at(0).svg() == plot.at(0.001).svg()


def test_only_the_marker_changes_and_its_number_shows():
    plot = steps()
    base, marked = plot._inner(), plot.at(0.1, "63 steps")._inner()
    assert marked.startswith(base)
    assert "63 steps" in marked[len(base) :]
    assert plot._inner() == base


# Bad input


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("x", lambda: curves([0, np.nan], {"a": [0, 1]}, "x", "y")),
        ("x", lambda: curves([1, 0], {"a": [0, 1]}, "x", "y")),
        ("x", lambda: curves([0], {"a": [0]}, "x", "y")),
        ("x", lambda: curves([0, 1], {"a": [1, 1]}, "x", "y", log_x=True)),
        ("a", lambda: curves([0, 1], {"a": [0, np.inf]}, "x", "y")),
        ("a", lambda: curves([0, 1], {"a": [0, 1, 2]}, "x", "y")),
        ("a", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", log_y=True)),
        ("lines", lambda: curves([0, 1], {}, "x", "y")),
        ("lines", lambda: curves([0, 1], {str(i): [0, 1] for i in range(7)}, "x", "y")),
        ("kinds", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", kinds={"b": "goal"})),
        ("kinds", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", kinds={"a": "red"})),
        ("span", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", spans={"span": (0, np.nan)})),
        ("ylim", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", ylim=(0, np.nan))),
        ("width", lambda: curves([0, 1], {"a": [0, 1]}, "x", "y", width=0)),
        ("x", lambda: steps().at("here")),
        ("values", lambda: bars({}, "x")),
        ("values", lambda: bars({"a": np.nan}, "x")),
        ("kinds", lambda: bars({"a": 1}, "x", kinds={"a": "red"})),
        ("at", lambda: bars({"a": 1}, "x").at(1)),
        ("place", lambda: bars({"a": 1}, "x").place((1, 1))),
        ("point", lambda: steps().place((1, np.nan))),
        ("point", lambda: steps().place(1)),
        ("point", lambda: steps().place((0, 1))),
    ],
)
def test_bad_arguments_are_refused_by_name(name, make):
    with pytest.raises(ValueError, match=f"`{name}`"):
        make()


def test_a_curve_drawn_anew_is_the_curve_drawn_at_first():
    for log in (False, True):
        first, last = ({"still": X + 1, "moved": y} for y in (X + 0.5, 20 - X))
        options = {"xlabel": "x", "ylabel": "y", "log_x": log, "log_y": log, "ylim": (0.5, 25)}
        again, afresh = (
            curves(X, first, **options).with_lines({"moved": last["moved"]}),
            curves(X, last, **options),
        )
        assert rings(again.at(3)) == [pytest.approx(ring, abs=0.1) for ring in rings(afresh.at(3))]
        still, moved = drawn_curves(again)
        assert still == drawn_curves(afresh)[0]
        np.testing.assert_allclose(moved[[0, -1]], drawn_curves(afresh)[1][[0, -1]], atol=0.1)
        ET.fromstring(again.card())


def drawn_curves(picture):
    """The points of both curves of a picture, the first as text."""
    paths = re.findall(
        rf'<path d="([^"]*)" clip-path="[^"]*" style="[^"]*stroke-width: {WIDE}', picture.svg()
    )
    return paths[0], np.array(re.findall(r"-?[\d.]+", paths[1]), dtype=float).reshape(-1, 2)


def test_curves_are_not_drawn_anew_in_place_or_by_wrong_names():
    plot = steps()
    before = plot.svg()
    plot.with_lines({"cyclic descent": 50 / X**0.3})
    assert plot.svg() == before
    with pytest.raises(ValueError, match="`lines` must name curves, among cyclic descent"):
        plot.with_lines({"cyclic": X})
    with pytest.raises(ValueError, match="as many values"):
        plot.with_lines({"cyclic descent": X[1:]})
    with pytest.raises(ValueError, match="logarithmic"):
        plot.with_lines({"cyclic descent": X - 1})
    with pytest.raises(ValueError, match="needs curves"):
        bars({"Tamsin": 1}, "slide (cm)").with_lines({"cyclic descent": X})


def test_curves_can_end_at_a_place_and_are_marked_there():
    plot = curves([0, 1, 2, 4], {"a": [0, 2, 4, 0]}, "x", "y")
    half = plot.until(1.5)
    ends = [tuple(map(float, point.split())) for point in half._pieces[1][1:].split("L")]
    np.testing.assert_allclose(
        ends, [plot.place(at) for at in ((0, 0), (1, 2), (1.5, 3))], atol=0.06
    )
    assert half.at(1.5)._mark == plot.at(1.5)._mark
    assert plot.until(9).svg() == plot.until(4).svg()
    assert "L" not in plot.until(0)._pieces[1]
    with pytest.raises(ValueError, match="bars have no x to end at"):
        bars({"Tamsin": 1}, "slide (cm)").until(1)
