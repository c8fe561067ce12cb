"""Every panel of every lesson, at each preset and from it with each control at its ends."""

import importlib
import inspect
import pkgutil
import re
import xml.etree.ElementTree as ET

import pytest

from rigkit import scenes
from rigkit.panels import Choice
from rigkit.puppets import PUPPETS
from rigkit.stage.inks import NUMBER, TEXT, TITLE
from rigkit.stage.labels import text_width

SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 60_000  # of a picture: what a slider sends for each step
LONGEST_LABEL, LONGEST_PRESET = 25, 30
NO_NUMBER = (
    r"(?i)(?<![\w.])-?(?:nan|inf|none)(?![\w.])|[-−]0\.0+(?![\d])|[-−]0(?![\d.,])|\d[\d.]*e[-+]\d+"
)
NO_SIGN = r"(?<![\w.])-[\d.]+|±|\d °"  # a hyphen for a minus, zero with a sign, a degree sign apart
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


def test_good_words_are_no_fault():
    picture = (
        f'<svg xmlns="{SVG[1:-1]}" role="img" viewBox="0 0 300 100"><title>t</title><desc>d</desc>'
        '<text x="60" y="50">−0.05 m, info, 10 cm</text></svg>'
    )
    assert faults(picture, "Bent by −0.5°, step 0 of 10.") == []
