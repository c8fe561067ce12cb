"""Every panel of every lesson, at each preset and from it with each control at its ends."""

import importlib
import inspect
import pkgutil
import re
import xml.etree.ElementTree as ET
from functools import lru_cache
from itertools import combinations

import numpy as np
import pytest

from rigkit import scenes
from rigkit.panels import Choice
from rigkit.puppets import PUPPETS
from rigkit.stage import CHAINS, Stage, row
from rigkit.stage.inks import NUMBER, TEXT, TITLE
from rigkit.stage.labels import text_width

SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 60_000  # of a picture: what a slider sends for each step
LONGEST_LABEL, LONGEST_PRESET = 25, 30
NO_NUMBER = (
    r"(?i)(?<![\w.])-?(?:nan|inf|none)(?![\w.])|[-−]0\.0+(?![\d])|[-−]0(?![\d.,])|\d[\d.]*e[-+]\d+"
)
NO_SIGN = r"(?<![\w.])-[\d.]+|±|\d °"  # a hyphen for a minus, zero with a sign, a degree sign apart
LONGEST_GRIP = 25
ASIDE = 24  # px between two grips at the start: WCAG 2.2, 2.5.8, of what is to be hit
RING = 18  # px: the radius of a grip's ring, in data/panel.css
BELOW, BESIDE = 8, 6  # px that data/panel.css leaves free under pictures and to their right
BETWEEN = 16  # px between two pictures, in data/panel.css
HIP = 12  # px: the radius of a hip's ring
DRAWN = 3  # px between a grip and what it takes hold of: corners are rounded
NEAR = 3  # px from where a hand wants a grip
# px, of feet, whose path turns back sharply as they strike: there a pull may lead nowhere
CORNERS = {"Left foot": 14, "Right foot": 14, "Right foot, forward": 14}
SHARES = (0.05, 0.1, 0.15)  # of a control's range, by which a hand moves it, one after another
ROUNDS = 12  # frames until a grip that is pulled is where it is wanted
# panels in whose pictures nothing can be taken, and why
NO_GRIP = {
    "sign_off.case_panel": "its sliders choose a rig and a frame of its motion",
    "skinning.twist_panel": "a twist turns its stripes behind the stocking, out of sight",
}
WHO = {"puppet": PUPPETS["Tamsin"], "heron": PUPPETS["heron"]}


def makers():
    """The functions that make a panel, by "scene.name"."""
    found = {}
    for module in pkgutil.iter_modules(scenes.__path__):
        scene = importlib.import_module(f"rigkit.scenes.{module.name}")
        found |= {
            f"{module.name}.{name}": make
            for name, make in inspect.getmembers(scene, inspect.isfunction)
            if name.endswith("_panel")
            and not name.startswith("_")
            and make.__module__ == scene.__name__
        }
    return found


MAKERS = makers()


@pytest.fixture(scope="module", params=MAKERS)
def panel(request):
    """A panel of one scene, made for the puppet that its function asks for."""
    make = MAKERS[request.param]
    needed = [
        name for name, p in inspect.signature(make).parameters.items() if p.default is p.empty
    ]
    return make(*(WHO[name] for name in needed))


def ends(control):
    """The values that a control is moved to."""
    return tuple(control.options) if isinstance(control, Choice) else (control.low, control.high)


def states(panel):
    """Values to set: the start, each preset, and from each of them each control at its ends."""
    start = panel.values
    for preset in ({}, *panel.presets.values()):
        base = {**start, **preset}
        yield base
        for key, control in panel.controls.items():
            for value in ends(control):
                yield {**base, key: value}
    for side in (0, -1):
        yield {key: ends(control)[side] for key, control in panel.controls.items()}


def words(markup):
    return re.sub(r"<title>.*?</title>|<desc>.*?</desc>|<[^>]*>", "\n", markup)


def faults(picture, readout):
    """Faults of what a panel shows, as sentences."""
    said = words(picture) + words(readout)
    found = [
        f"it says {bad!r}" for bad in {*re.findall(NO_NUMBER, said), *re.findall(NO_SIGN, said)}
    ]
    if "Check:" in readout:
        found.append(f"it refuses: {words(readout).strip()}")
    if not words(readout).strip():
        found.append("its readout is empty")
    if len(picture.encode()) > MOST_BYTES:
        found.append(f"its picture is {len(picture.encode())} bytes")
    try:
        tree = ET.fromstring(f"<div>{picture}</div>")
    except ET.ParseError as problem:
        return [*found, f"its markup is not well formed: {problem}"]
    found += unnamed(tree)
    pictures = [svg for svg in tree.iter(f"{SVG}svg") if svg.get("role") == "img"]
    if not pictures:
        found.append("it shows no picture")
    for svg in pictures:
        found += [
            f"a picture has no {what}"
            for what in ("title", "desc")
            if not (svg.findtext(SVG + what) or "").strip()
        ]
        found += outside(svg)
    return found


def unnamed(tree):
    """Kinds of chain that are drawn with another kind and that no legend names."""
    legends = list(tree.iterfind(f".//{SVG}g[@class='rig-legend']"))
    named = {entry.findtext(f"{SVG}text") for entry in legends}
    bars = {bar for entry in legends for bar in entry}
    drawn = {
        kind
        for path in tree.iter(f"{SVG}path")
        for kind in CHAINS
        if path not in bars and {"rig-bone", f"rig-{kind}"} <= set(path.get("class", "").split())
    }
    return [f"no legend names {kind}" for kind in drawn - named if len(drawn) > 1]


def outside(svg):
    """The words that a picture's edge cuts off, by their measured width; a chart's own are laid out
    by matplotlib."""
    left, top, width, height = map(float, svg.get("viewBox").split())
    charts = {
        text
        for chart in svg.iter(f"{SVG}g")
        if chart.get("class") == "rig-plot"
        for text in chart.iter()
    }
    for text in svg.iter(f"{SVG}text"):
        if text in charts or "x" not in text.attrib:
            continue
        kind = text.get("class", "")
        size = TITLE if "rig-title" in kind else NUMBER if "rig-number" in kind else TEXT
        wide = text_width("".join(text.itertext()), size)
        share = {"end": 1.0, "middle": 0.5}.get(
            text.get("text-anchor"), 0.5 if "rig-side" in kind else 0.0
        )
        x, y = float(text.get("x")) - share * wide, float(text.get("y"))
        if not (
            left - 1 <= x
            and x + wide <= left + width + 1
            and top <= y - 0.6 * size
            and y <= top + height
        ):
            yield f"{''.join(text.itertext())!r} stands outside its picture"


def test_every_lesson_has_panels_and_all_are_found():
    assert len(MAKERS) >= 4
    assert "preset_bend.heron_panel" in MAKERS


def test_wherever_its_controls_stand_it_shows_something_whole(panel):
    found = {}
    try:
        for state in states(panel):
            panel.set(**state)
            for fault in faults(panel.picture, panel.readout):
                found.setdefault(fault, state)
    finally:
        panel.reset()
    assert found == {}


def moments(panel):
    """The name of each moment, the start first, and the panel's frame there."""
    for name, values in {"Reset": {}, **panel.presets}.items():
        yield name, panel.frame(**values)


def headings(svg):
    """Each heading of a picture and the box around it: left, top, right, bottom [px]."""
    for text in svg.iter(f"{SVG}text"):
        if "rig-title" in text.get("class", ""):
            said, x, y = "".join(text.itertext()), float(text.get("x")), float(text.get("y"))
            yield said, (x, y - 0.75 * TITLE, x + text_width(said, TITLE), y + 0.25 * TITLE)


def meets(box, x, y, radius):
    """Whether a circle reaches into a box."""
    left, top, right, bottom = box
    return np.hypot(x - np.clip(x, left, right), y - np.clip(y, top, bottom)) < radius


def test_no_ring_and_no_joint_lies_over_a_heading_at_its_moments(panel):
    found = set()
    for moment, frame in moments(panel):
        for number, view in enumerate(frame["views"]):
            svg = ET.fromstring(view["svg"])
            rounds = [
                tuple(float(c.get(a)) for a in ("cx", "cy", "r")) for c in svg.iter(f"{SVG}circle")
            ]
            rounds += [(g["x"], g["y"], RING) for g in frame["grips"] if g["view"] == number]
            found |= {
                (moment, said)
                for said, box in headings(svg)
                for circle in rounds
                if meets(box, *circle)
            }
    assert found == set()


def test_its_rings_are_whole_and_clear_of_its_words_at_its_moments(panel):
    found = []
    for moment, frame in moments(panel):
        for grip in frame["grips"]:
            view = frame["views"][grip["view"]]
            below, beside = grip["y"] + RING - view["h"], grip["x"] + RING - view["w"]
            if below > BELOW or (beside > BESIDE and view is frame["views"][-1]):
                found.append((moment, panel.grips[grip["grip"]].name))
    assert found == []


def test_its_pictures_take_the_room_it_has(panel):
    views = panel.frame()["views"]
    wide = sum(view["w"] for view in views) + BETWEEN * (len(views) - 1)
    assert wide > 0.8 * panel.size


def test_its_words_are_short_enough_and_its_presets_show_different_things(panel):
    long = [
        control.label for control in panel.controls.values() if len(control.label) > LONGEST_LABEL
    ]
    long += [name for name in panel.presets if len(name) > LONGEST_PRESET]
    assert long == []
    assert panel.presets
    shown = set()
    for values in panel.presets.values():
        panel.reset()
        panel.set(**values)
        shown.add(panel.picture + panel.readout)
    panel.reset()
    assert len(shown) == len(panel.presets)


def test_the_same_values_give_the_same_picture(panel):
    panel.reset()
    first = panel.picture, panel.readout
    panel.set(**next(iter(panel.presets.values())))
    panel.reset()
    assert (panel.picture, panel.readout) == first


# --- what can be taken in the pictures


def bases(panel):
    """The values at the start and at each preset."""
    return [panel.values | preset for preset in ({}, *panel.presets.values())]


def told(panel, grip):
    """At each of `bases`, in each view that shows a grip: the values, and what a frame says."""
    number = panel.grips.index(grip)
    frames = [(values, grips_at(panel, *values.items())) for values in bases(panel)]
    return [(values, held) for values, all_ in frames for held in all_ if held["grip"] == number]


@lru_cache(maxsize=4096)  # a hand comes by the same places again
def grips_at(panel, *values):
    """What a frame says of all grips."""
    return panel.frame(**dict(values))["grips"]


def drawn(svg):
    """Points, (n, 2), and lines, (m, 2, 2), of what a stage draws, in px.

    The points are the middles of circles and shapes; the pelvis is midway between the hips' rings.
    """
    points, lines, hips = [], [], []
    for shape in ET.fromstring(svg).iter():
        if shape.tag == f"{SVG}circle":
            points.append([float(shape.get("cx")), float(shape.get("cy"))])
            hips += points[-1:] * (float(shape.get("r")) == HIP)
        if shape.tag == f"{SVG}path":
            pairs = re.findall(r"([-\d.]+) ([-\d.]+)(?=[MLAQZ]|$)", shape.get("d"))
            path = [[float(x), float(y)] for x, y in pairs]
            if not path:
                continue
            points.append(np.mean([np.min(path, axis=0), np.max(path, axis=0)], axis=0))
            lines += zip(path, path[1:] + path[:1], strict=True)
    points += [np.mean(two, axis=0) for two in combinations(hips, 2)]
    return np.array(points).reshape(-1, 2), np.array(lines).reshape(-1, 2, 2)


def from_drawn(svg, place):
    """How far a place is from the nearest circle's or shape's middle, or line; px."""
    points, lines = drawn(svg)
    start, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    along = np.sum((place - start) * way, -1) / np.maximum(np.sum(way**2, -1), 1e-12)
    on = start + np.clip(along, 0, 1)[:, None] * way
    return np.min(np.linalg.norm(np.concatenate([points, on]) - place, axis=-1), initial=np.inf)


def pulled(panel, grip, held, values, to, share=1.0):
    """The values that bring a grip toward a place, by a share of a step, as the page does."""
    ways = dict(zip(grip.moves, held["J"], strict=True))
    ways = {key: way for key, way in ways.items() if np.hypot(*way) >= 1e-9}
    off, wish = np.array(to) - (held["x"], held["y"]), {}
    while ways:
        steps = least_steps(panel, ways, off)
        wish |= {key: values[key] + step for key, step in steps.items()}
        beyond = {key for key in ways if not within(panel.controls[key], wish[key])}
        for key in beyond:  # it stays at its end, and the others do what is left to do
            control = panel.controls[key]
            wish[key] = min(control.high, max(control.low, wish[key]))
            off = off - np.array(ways.pop(key)) * (wish[key] - values[key])
        if not beyond:
            break
    by = {key: share * (value - values[key]) for key, value in wish.items()}
    return values | {key: snapped(panel.controls[key], values[key] + by[key]) for key in by}


def least_steps(panel, ways, off):
    """Damped least squares, in controls scaled by their ranges."""
    ranges = [panel.controls[key].high - panel.controls[key].low for key in ways]
    scaled = np.array(list(ways.values())) * np.array(ranges)[:, None]
    damping = 1e-4 * max(1e-9, np.max(np.sum(scaled**2, axis=1)))
    steps = scaled @ np.linalg.solve(scaled.T @ scaled + damping * np.eye(2), off) * ranges
    return dict(zip(ways, steps.tolist(), strict=True))


def within(control, value):
    return control.low <= value <= control.high


def snapped(control, value):
    steps = round((value - control.low) / control.step)
    return round(min(control.high, max(control.low, control.low + steps * control.step)), 9)


def held_at(panel, grip, view, values):
    """What a frame says of a grip in a view; None where it cannot be taken."""
    number = panel.grips.index(grip), view
    grips = grips_at(panel, *values.items())
    return next((held for held in grips if (held["grip"], held["view"]) == number), None)


def followed(panel, grip, view, values, to):
    """How a grip that is pulled to a place ends: its last values, and how far it is; px."""
    best, nearest, share = values, np.inf, 1.0
    for _ in range(ROUNDS):
        held = held_at(panel, grip, view, values)
        far = np.hypot(held["x"] - to[0], held["y"] - to[1])
        if far < nearest:
            share = min(1.0, 2 * share)
            best, nearest = values, far
        elif values != best:  # a step brought it no nearer: it goes back and tries half of it
            share /= 2
            held = held_at(panel, grip, view, best)
        values = pulled(panel, grip, held, best, to, share)
        if values == best:
            break
    return best, nearest


def steps_px(panel, grip, held):
    """By how many px the steps of its controls may leave a grip from where it is wanted."""
    steps = [panel.controls[key].step for key in grip.moves]
    return sum(np.hypot(*way) * step / 2 for way, step in zip(held["J"], steps, strict=True))


def hands(panel, grip):
    """Where a hand may bring a grip: (view, values to begin at, one place after another)."""
    for values, held in told(panel, grip):
        for way in (1, -1):
            places = []
            for share in SHARES:
                other = dict(values)
                for key in grip.moves:
                    control = panel.controls[key]
                    by = way * share * (control.high - control.low)
                    other[key] = snapped(control, values[key] + by)
                there = held_at(panel, grip, held["view"], other)
                places += [(there["x"], there["y"])] if there else []
            if places:
                yield held["view"], values, places


def at_an_end(panel, grip, values):
    ends_ = {key: (panel.controls[key].low, panel.controls[key].high) for key in grip.moves}
    return any(values[key] in both for key, both in ends_.items())


def test_its_picture_can_be_taken_hold_of_or_there_is_a_reason_why_not(panel, request):
    name = request.node.callspec.params["panel"]
    assert bool(panel.grips) != (name in NO_GRIP)
    assert [grip.name for grip in panel.grips if len(grip.name) > LONGEST_GRIP] == []


def test_every_reason_is_of_a_panel():
    assert set(NO_GRIP) <= set(MAKERS)
    assert all(NO_GRIP.values())


def test_its_grips_lie_on_what_is_drawn_and_inside_its_pictures(panel):
    panel.reset()
    for grip in panel.grips:
        found = told(panel, grip)
        assert found, f"{grip.name} is nowhere"
        for values, held in found:
            view = panel.frame(**values)["views"][held["view"]]
            place = np.array([held["x"], held["y"]])
            if 'class="rig-plot"' not in view["svg"]:
                assert from_drawn(view["svg"], place) <= DRAWN, (grip.name, values)
        assert any(
            0 <= held["x"] <= view["w"] and 0 <= held["y"] <= view["h"]
            for values, held in found
            for view in [panel.frame(**values)["views"][held["view"]]]
        ), f"{grip.name} is outside every picture"


def test_no_two_of_its_grips_are_in_one_place_at_the_start(panel):
    panel.reset()
    grips = panel.frame()["grips"]
    close = [
        (panel.grips[one["grip"]].name, panel.grips[other["grip"]].name)
        for i, one in enumerate(grips)
        for other in grips[:i]
        if one["view"] == other["view"]
        and np.hypot(one["x"] - other["x"], one["y"] - other["y"]) < ASIDE
    ]
    assert close == []


def test_every_control_that_a_grip_moves_moves_it(panel):
    panel.reset()
    for grip in panel.grips:
        ways = np.array([held["J"] for _, held in told(panel, grip)])
        assert (np.linalg.norm(ways, axis=-1).max(axis=0) > 0.01).all(), grip.name


def test_its_grips_come_to_where_a_hand_pulls_them(panel):
    panel.reset()
    for grip in panel.grips:
        wanted = list(hands(panel, grip))
        assert wanted, f"{grip.name} stays where it is"
        for view, values, places in wanted:
            last = values
            for to in places:
                last, off = followed(panel, grip, view, last, to)
            near = CORNERS.get(grip.name, NEAR) + steps_px(
                panel, grip, held_at(panel, grip, view, last)
            )
            assert off <= near or at_an_end(panel, grip, last), (grip.name, view, values, last, off)


def test_a_grip_beside_what_is_drawn_would_be_found():
    shapes = '<circle cx="9" cy="9" r="8"/><path d="M50 50L90 50A2 2 0 0 1 90 90Z"/>'
    svg = f'<svg xmlns="{SVG[1:-1]}">{shapes}</svg>'
    far = [
        from_drawn(svg, np.array(place))
        for place in ((9, 9), (60, 50), (90, 70), (9, 19), (70, 70))
    ]
    np.testing.assert_allclose(far, [0, 0, 0, 10, 0], atol=1e-9)


@pytest.mark.parametrize(
    ("picture", "readout", "says"),
    [
        ("<svg", "ok", "not well formed"),
        ("<p>x</p>", "ok", "no picture"),
        ("", "", "readout is empty"),
        ("", "turned by nan°", "it says 'nan'"),
        ("", "−0.0 cm", "it says '−0.0'"),
        ("", "by -5.2 cm", "it says '-5.2'"),
        ("", "±0 cm³", "it says '±'"),
        ("", "by 12 °", "it says '2 °'"),
        ("", "1e-17 m", "it says '1e-17'"),
        ("", "up by inf", "it says 'inf'"),
        ("", "<strong>Check:</strong> no", "refuses"),
        ("<p>" + "x" * 70_000 + "</p>", "ok", "bytes"),
        (
            (
                f'<svg xmlns="{SVG[1:-1]}" role="img" viewBox="0 0 100'
                ' 100"><title>t</title><desc>d</desc><text x="60" y="50">twelve'
                " letters</text></svg>"
            ),
            "ok",
            "outside",
        ),
    ],
)
def test_such_faults_would_be_found(picture, readout, says):
    assert any(says in fault for fault in faults(picture, readout))


def test_two_kinds_of_chain_without_a_legend_would_be_found():
    def views(*legend):
        leg = [(0, 1), (0, 0.5), (0, 0)]
        views = (Stage("side", width=430, title=kind).chain(leg, kind) for kind in CHAINS)
        return row(*views, Stage("side", width=430, title="Both", legend=legend)).html(style=False)

    assert faults(views("forward", "inverse"), "ok") == []
    assert faults(views("forward"), "ok") == ["no legend names inverse"]
    assert len(faults(views(), "ok")) == 2


OPENINGS = {  # the lessons that speak of kinds of chains, which colour tells
    "04": "forward_and_inverse.opening",
    "05": "two_bone_answer.opening",
    "06": "preset_bend.opening",
    "07": "knee_direction.opening",
    "08": "controls.opening",
    "09": "skinning.opening",
    "12": "sign_off.opening",
}


@pytest.mark.parametrize("name", OPENINGS.values(), ids=OPENINGS)
def test_a_lessons_first_picture_names_the_kinds_that_it_draws(name):
    module, make = name.split(".")
    scene = importlib.import_module(f"rigkit.scenes.{module}")
    markup = getattr(scene, make)(PUPPETS["Tamsin"]).svg(style=False)
    bones = set(re.findall(r'class="rig-bone rig-(\w+)[^"]*"', markup))
    named = set(re.findall(r'<g class="rig-legend">.*?<text[^>]*>(\w+)</text></g>', markup))
    assert bones
    assert named == bones


def test_good_words_are_no_fault():
    picture = (
        f'<svg xmlns="{SVG[1:-1]}" role="img" viewBox="0 0 300 100"><title>t</title><desc>d</desc>'
        '<text x="60" y="50">−0.05 m, info, 10 cm</text></svg>'
    )
    assert faults(picture, "Bent by −0.5°, step 0 of 10.") == []
