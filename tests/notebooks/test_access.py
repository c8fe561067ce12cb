"""Saved notebooks as a screen reader meets them: WCAG 2.2, 1.1.1 (pictures), 1.3.1 and 2.4.6
(headings, tables)."""

import re
from itertools import pairwise

import pytest

from rigkit import authoring
from tests import alternatives

NOTEBOOKS = [
    path for part in ("lessons", "exercises", "solutions") for path in authoring.notebooks(part)
]
NOTEBOOKS += [authoring.ROOT / "lessons" / name for name in ("words.ipynb", "your-leg.ipynb")]


@pytest.fixture(
    params=NOTEBOOKS,
    ids=lambda path: f"{path.parent.name}-{path.stem.partition('-')[0]}",
    scope="module",
)
def cells(request):
    return authoring.read(request.param).cells


def shown(cells):
    """All saved markup, each output in the form that the notebook shows, and the form for viewers
    without HTML."""
    return [
        text
        for cell in cells
        for output in cell.get("outputs", [])
        for kind in ("text/html", "image/svg+xml")
        if (text := output.get("data", {}).get(kind))
    ]


def test_every_saved_picture_says_what_it_shows_with_its_numbers(cells):
    assert [fault for markup in shown(cells) for fault in alternatives.faults(markup)] == []


def test_headings_stand_in_order_under_one_title(cells):
    levels = []
    for cell in cells:
        if cell.cell_type == "markdown":
            prose = re.sub(r"(?ms)^```.*?^```", "", cell.source)
            levels += [len(marks) for marks in re.findall(r"(?m)^(#+) \S", prose)]
        levels += [
            int(level) for markup in shown([cell]) for level in re.findall(r"<h([1-6])\b", markup)
        ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper - above <= 1 for above, deeper in pairwise(levels))


def test_tables_have_headings_and_names_are_found(cells):
    for markup in shown(cells):
        for table in re.findall(r"<table.*?</table>", markup, re.DOTALL):
            assert table.count("<th") >= table.count("<tr")
        for names in re.findall(r'aria-(?:labelledby|describedby)="([^"]+)"', markup):
            for name in names.split():
                assert markup.count(f' id="{name}"') == 1
    # An id may stand twice only for the same thing: the shape that cuts a chart's curves off.
    things = {}
    for thing, name in re.findall(r'(<\w+ id="([^"]+)".*?</)', "".join(shown(cells)), re.DOTALL):
        things.setdefault(name, set()).add(thing)
    assert [name for name, found in things.items() if len(found) > 1] == []


def test_links_say_where_they_lead(cells):
    links = [
        text
        for cell in cells
        if cell.cell_type == "markdown"
        for text in re.findall(r"(?<!!)\[([^\]]*)\]\(", cell.source)
    ]
    assert [
        text
        for text in links
        if text.strip("*` ").lower() in ("", "here", "this", "link", "click here")
    ] == []
