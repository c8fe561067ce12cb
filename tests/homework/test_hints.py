"""Hints of every question: three steps, the second a heading that its lesson really has."""

import re

import pytest

from rigkit import authoring, course, homework
from rigkit.homework import catalogue

QUESTIONS = [
    question for number in catalogue.lessons() for question in homework.questions(number).values()
]


def headings(number):
    notebook = authoring.read(course.lesson(number).path)
    text = "\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")
    return re.findall(r"^#+ (.*)$", text, re.MULTILINE)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.id)
def test_a_question_has_hints_in_three_steps(question):
    hints = question.hints
    assert hints is not None
    assert hints.section in headings(question.lesson)
    for text in (hints.nudge, hints.smaller):
        assert 20 < len(text) < 400
        assert re.search(r"[.?]$", text)


@pytest.mark.parametrize("number", sorted(catalogue.lessons()))
def test_an_exercise_opens_with_what_it_is_about_and_says_what_a_part_is_worth(number):
    notebook = authoring.read(course.lesson(number).exercise)
    text = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
    lesson = course.lesson(number).path.name
    assert f"](../lessons/{lesson}" in text[0]
    assert "one point each" in text[0]


def test_no_two_exercises_begin_with_the_same_sentence():
    first = [
        authoring.read(course.lesson(number).exercise).cells[0].source.split("\n\n")[1]
        for number in catalogue.lessons()
    ]
    assert len({text.split(". ")[0] for text in first}) == len(first)


@pytest.mark.parametrize("number", sorted(catalogue.lessons()))
def test_an_exercise_opens_with_links_to_all_sections_that_its_hints_name(number):
    opening = authoring.read(course.lesson(number).exercise).cells[0].source
    lesson = course.lesson(number).path.name
    for question in homework.questions(number).values():
        section = question.hints.section
        assert f"[{section}](../lessons/{lesson}#{section.replace(' ', '-')})" in opening
