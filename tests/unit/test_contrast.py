"""Contrast, measured from the colours that are used: WCAG 2.2, criteria 1.4.3 (text) and 1.4.11
(what is not text).

https://www.w3.org/TR/WCAG22/: text has 4.5:1 against what is behind it (we claim nothing for large
text), shapes that carry meaning and the parts of controls have 3:1. Every `color`, `fill`, `stroke`
and `border` of our style sheets is found here by itself; what is decoration says why.
"""

import itertools
import re
from pathlib import Path

import pytest

import rigkit
from rigkit import stage
from rigkit.homework import card
from rigkit.inspection import view
from rigkit.marking import page
from rigkit.stage import INKS
from tests.contrast import SHAPE, TEXT, as_ink, contrast, over

THEMES = ("light", "dark")
# What may be pale, and what says the same without it.
DECORATION = {
    "edge": "rules between parts that headings and rows tell apart",
    "ground": "rules between rows, and the tint behind tiles and code; words stand in both",
    "floor": "the band under the floor; the floor's own line is measured",
}


# The formula


@pytest.mark.parametrize(
    ("ink", "on_white"),
    [
        ("#000000", 21),
        ("#ffffff", 1),  # WCAG 2.2: "contrast ratios can range from 1 to 21"
        ("#767676", 4.54),
        ("#949494", 3.03),  # the lightest greys that pass for text and for shapes; from memory
        ("#0072b2", 5.19),
        ("#d55e00", 3.87),
        ("#e69f00", 2.25),  # Okabe-Ito; computed apart from this project's code
    ],
)
def test_the_formula_gives_the_known_ratios(ink, on_white):
    assert contrast(ink, "#ffffff") == pytest.approx(on_white, abs=0.005)


def test_what_is_seen_through_is_measured_as_it_is_seen():
    grey = contrast("#808080", "#ffffff")
    assert contrast("rgba(0,0,0,.5)", "#ffffff") == pytest.approx(grey, abs=0.03)
    assert contrast("rgba(0,0,0,0)", "#ffffff") == 1


# JupyterLab's own colours


def of_jupyterlab(theme):
    """The colours of JupyterLab's own theme as it is installed, by the names of its variables."""
    commands = pytest.importorskip("jupyterlab.commands")
    sheet = Path(
        commands.get_app_dir(), "themes", "@jupyterlab", f"theme-{theme}-extension", "index.css"
    )
    said = dict(re.findall(r"(--jp-[a-z0-9-]+):([^;}]+)", sheet.read_text(encoding="utf-8")))
    words = {"white": "#ffffff", "black": "#000000"}

    def settled(value):
        while found := re.search(r"var\(--[a-z0-9-]+,\s*(#[0-9a-f]+)\)", value):
            value = value.replace(found[0], found[1])
        return words.get(value.strip(), value.strip())

    return {name: settled(value) for name, value in said.items()}


@pytest.mark.parametrize("theme", THEMES)
def test_words_and_controls_of_a_panel_are_seen_in_jupyterlab(theme):
    theirs = of_jupyterlab(theme)
    behind, box, button = (theirs[f"--jp-layout-color{n}"] for n in (0, 1, 2))
    assert contrast(theirs["--jp-ui-font-color1"], behind) >= TEXT  # labels, cards
    assert contrast(theirs["--jp-content-font-color1"], behind) >= TEXT  # the title and the readout
    assert contrast(theirs["--jp-ui-font-color1"], button) >= TEXT
    sheet = (Path(rigkit.__file__).parent / "data" / "panel.css").read_text(encoding="utf-8")
    inks = dict(re.findall(r"--rig-(\w+): var\((--jp-[a-z0-9-]+),", sheet))
    assert set(inks) >= {"text", "edge", "mark", "back", "raised"}
    # rings of grips, edges of boxes and buttons, sliders and the mark of the keyboard's place
    for name, ground in itertools.product(("text", "edge", "mark"), (behind, box, button)):
        assert contrast(theirs[inks[name]], ground) >= SHAPE
    assert contrast(theirs["--jp-brand-color1"], button) >= SHAPE


@pytest.mark.parametrize("theme", THEMES)
def test_the_paper_of_a_picture_is_what_is_behind_it_in_jupyterlab(theme):
    paper, ours = of_jupyterlab(theme)["--jp-layout-color0"], INKS["paper"][theme == "dark"]
    assert over(paper, "#ffffff") == pytest.approx(over(ours, "#ffffff"))


# Pictures


@pytest.mark.parametrize("dark", [0, 1], ids=THEMES)
@pytest.mark.parametrize("ground", ["paper", "floor"])
@pytest.mark.parametrize("name", [name for name in INKS if name not in ("paper", "floor")])
def test_every_ink_is_seen_on_paper_and_on_the_floor(name, ground, dark):
    # "soft" is the ink of dotted ghosts and of the floor's line; the right side's dashes have the
    # ink of their kind.
    least = TEXT if name == "ink" or name.endswith("-text") else SHAPE
    assert contrast(INKS[name][dark], INKS[ground][dark]) >= least


@pytest.mark.parametrize("dark", [0, 1], ids=THEMES)
def test_words_are_seen_on_what_plots_shade(dark):
    # A span's name and a marker's number may lie on it; the shades are decoration, their edges are
    # numbers on the axis.
    from rigkit import plots

    shade, paper = INKS["soft"][dark], INKS["paper"][dark]
    code = Path(plots.__file__).read_text(encoding="utf-8")
    covers = set(map(float, re.findall(r"alpha=(0\.\d+)", code)))
    assert covers
    for name, cover in itertools.product(("soft-text", "ink"), covers):
        assert contrast(INKS[name][dark], as_ink(over(shade, paper, cover))) >= TEXT, (name, cover)


@pytest.mark.parametrize("dark", [0, 1], ids=THEMES)
def test_legs_and_their_words_are_seen_on_a_trunk(dark):
    cover = float(re.search(r"rig-skin\{[^}]*fill-opacity:([\d.]+)", stage.inks.SHAPES)[1])
    trunk = as_ink(over(INKS["soft"][dark], INKS["paper"][dark], cover))
    for name in ("ink", "soft-text", "forward-text", "inverse-text", "miss-text"):
        assert contrast(INKS[name][dark], trunk) >= TEXT, name
    for name in ("soft", "forward", "inverse"):
        assert contrast(INKS[name][dark], trunk) >= SHAPE, name


def test_shapes_are_drawn_in_inks_and_text_in_the_inks_for_text():
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", stage.inks.SHAPES)
    used = {
        (selector, what, name)
        for selector, rule in rules
        for what, name in re.findall(r"(?<![\w-])(fill|stroke|color):var\(--([a-z-]+)\)", rule)
    }
    letters = {
        name for selector, what, name in used if selector.endswith("text") and what == "fill"
    }
    assert letters == {"rig-hue-text"}
    shapes = {(what, name) for selector, what, name in used if not selector.endswith("text")}
    assert {name for what, name in shapes if what == "stroke"} == {"rig-hue"}
    # What is filled is outlined in the same hue, or is the hue itself: a dot; the floor's band is
    # decoration.
    assert {name for what, name in shapes if what == "fill"} <= {"rig-hue", "paper", *DECORATION}
    assert not re.search(r"[^-]opacity", stage.inks.SHAPES.replace("fill-opacity", ""))


# Pages

PAGES = {"marking": page.STYLE, "inspection": view.STYLE}


def inks_of(style, theme):
    """The variables that a page's style sheet sets for itself."""
    light, dark = re.findall(r":root\{([^{}]*)\}", style)
    return dict(re.findall(r"--([a-z-]+):(#[0-9a-f]+)", light if theme == "light" else dark))


def uses(style):
    """Names of variables that a style sheet gives to text, to shapes and to grounds: three sets."""
    text, shapes, grounds = set(), set(), set()
    for selector, rule in re.findall(r"([^{}]+)\{([^{}]*)\}", style.replace(stage.STYLE, "")):
        for what, value in re.findall(
            r"(?<![\w-])(color|fill|stroke|background|border[a-z-]*):([^;]*)", rule
        ):
            names = set(re.findall(r"var\(--([a-z-]+)", value))
            of_text = what == "color" or (what == "fill" and re.search(r"text|under", selector))
            (text if of_text else grounds if what == "background" else shapes).update(names)
            assert not re.search(r"#[0-9a-f]{3}", value), f"{selector}: a colour is no variable"
    return text, shapes, grounds


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", PAGES)
def test_all_text_and_shapes_of_a_page_are_seen_on_all_its_grounds(name, theme):
    inks, (text, shapes, grounds) = inks_of(PAGES[name], theme), uses(PAGES[name])
    shapes -= set(DECORATION)
    assert {"ink", "soft", "link"} <= text
    assert len(shapes) >= 4
    assert grounds == {"page", "ground"}
    pairs = [
        (least, ink, ground, contrast(inks[ink], inks[ground]))
        for least, used in ((TEXT, text), (SHAPE, shapes))
        for ink, ground in itertools.product(used, grounds)
    ]
    assert [pair for pair in pairs if pair[3] < pair[0]] == []


@pytest.mark.parametrize("name", PAGES)
def test_a_printed_page_has_the_light_inks(name):
    dark = re.findall(r"@media([^{]*prefers-color-scheme:dark[^{]*)", PAGES[name])
    assert len(dark) == 2  # the page's and its pictures'
    assert all("screen and" in query for query in dark)


def test_the_edge_of_a_card_is_seen_in_both_themes_or_beside_its_word():
    # On a card in a notebook the edge repeats a word ("Nearly:", "serious"): it could be
    # decoration, and is seen still.
    edges = {
        *map(str.lower, card._EDGE.values()),
        *re.findall(r"border-color: (#[0-9a-f]+)", view.CARD_STYLE),
    }
    assert len(edges) >= 4
    edges.remove("#b00020")  # beside the word "serious", its rule's title too
    for dark, edge in itertools.product((0, 1), edges):
        assert contrast(edge, INKS["paper"][dark]) >= SHAPE, edge
