"""The course to a screen reader: text alternatives, headings in order, names that hold.

Text alternatives are those of panels and reports.

WCAG 2.2, https://www.w3.org/TR/WCAG22/: 1.1.1, 1.3.1, 2.4.6. Learners' pages are held to it in
tests/marking, saved notebooks in tests/notebooks.
"""

import re
from itertools import pairwise

import pytest

from rigkit import inspection, teaching
from rigkit.homework import map as course_map
from rigkit.stage import Stage
from tests import alternatives
from tests.unit import rigs
from tests.unit.test_scene_panels import panel  # noqa: F401  (a fixture)

SVG = '<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 9 9">'


def headings(html):
    """The levels of a page's headings, in order."""
    return [int(level) for level in re.findall(r"<h([1-6])\b", html)]


def test_a_panels_pictures_say_what_they_show_at_every_moment(panel):  # noqa: F811
    found = set()
    for preset in ({}, *panel.presets.values()):
        panel.set(**preset)
        found.update(alternatives.faults(panel.picture))
    panel.reset()
    assert found == set()


@pytest.mark.parametrize("rule", rigs.BROKEN)
def test_an_inspection_says_what_its_pictures_show(rule):
    report = inspection.inspect(rigs.BROKEN[rule]())
    page, card = report.html(), report._repr_mimebundle_()["text/html"]
    assert alternatives.faults(page) == alternatives.faults(card) == []
    assert headings(page)[0] == 1
    assert headings(page).count(1) == 1
    # A card stands in a notebook under a heading of the second level.
    assert all(
        deeper - above <= 1
        for levels in (headings(page), [2, *headings(card)])
        for above, deeper in pairwise(levels)
    )
    assert '<html lang="en">' in page
    assert re.search(r"<title>\w+", page)
    for table in re.findall(r"<table.*?</table>", page + card, re.DOTALL):
        assert table.count('<th scope="col"') >= 2
        assert table.count('<th scope="row"') == table.count("<tr>") - 1


def test_the_map_of_the_course_is_a_table_with_headings():
    table = course_map.CourseMap()._html()
    assert table.count('<th scope="row"') == table.count("<tr>") - 1
    assert table.count('<th scope="col"') >= 4


def test_the_notes_for_teaching_have_headings_in_order():
    notes = teaching.notes()
    levels = [
        len(marks) for cell in notes["cells"] for marks in re.findall(r"(?m)^(#+) ", cell["source"])
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper - above <= 1 for above, deeper in pairwise(levels))


def test_a_stage_says_what_is_drawn_in_it():
    leg = [[0, 0.9], [0.05, 0.5], [0, 0.1]]
    stage = Stage(title="A leg").floor().ghost(leg).chain(leg, "inverse").chain(leg, "forward", "R")
    assert (
        stage.desc
        == "Side view of the floor, a dotted line, an inverse chain, a right forward chain."
    )
    assert stage.measure(leg[0], leg[2], "80.0 cm").desc.endswith("a right forward chain: 80.0 cm.")
    assert Stage("top").desc == "Top view."


@pytest.mark.parametrize(
    ("markup", "says"),
    [
        (f"{SVG}<desc>A leg that stands on the floor.</desc></svg>", "no title"),
        (f"{SVG}<title>From the side</title><desc>Side view: .</desc></svg>", "too little"),
        (f"{SVG}<title>A leg stands</title><desc>A leg stands</desc></svg>", "too little"),
        (
            (
                f"{SVG}<title>A leg stands</title><desc>It is low by 3 cm.</desc><text"
                ' class="rig-number">−3.5 cm</text></svg>'
            ),
            "does not say [-3.5]",
        ),
        ('<img src="leg.png">', "no words"),
        ('<img alt="" src="leg.png">', "no words"),
    ],
)
def test_such_faults_would_be_found(markup, says):
    assert any(says in fault for fault in alternatives.faults(f"<p>{markup}</p>"))


def test_what_is_said_in_other_words_is_said():
    drawn = '<text class="rig-number">−3.5 cm</text><text class="rig-number">16.0°</text>'
    desc = "The ankle is low by minus 3.5 centimetres, its knee bent by 16 degrees."
    assert alternatives.faults(f"{SVG}<title>A leg</title><desc>{desc}</desc>{drawn}</svg>") == []
