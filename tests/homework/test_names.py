"""One person's name, however it is typed, gives one person's numbers."""

import unicodedata
from dataclasses import asdict

import pytest

from rigkit.homework import open_homework
from rigkit.homework.checking import generator
from rigkit.homework.notebook import plain_name
from rigkit.puppets import personal


def numbers(name):
    homework = open_homework("06", student=name)
    cases = [homework.cases(question, 0) for question in homework.questions.values()]
    return asdict(homework.character), cases


@pytest.mark.parametrize(
    "typed",
    [
        "TAMSIN BOLLARD",
        " Tamsin  Bollard ",
        "tamsin\tbollard",
        "Tamsin\N{NO-BREAK SPACE}Bollard",
        "Bollard, Tamsin",
    ],
)
def test_case_spaces_and_order_make_no_other_numbers(typed):
    assert numbers(typed) == numbers("Tamsin Bollard")


def test_composition_makes_no_other_numbers():
    assert numbers(unicodedata.normalize("NFD", "Jürgen Groß")) == numbers("JÜRGEN GROSS")


def test_other_names_have_other_numbers():
    assert numbers("Tamsin Bollard") != numbers("Tamsin Ballard")
    assert numbers("Jürgen") != numbers("Jurgen")


@pytest.mark.parametrize("name", ["learner-07", "p-17", "tamsin bollard", "jürgen"])
def test_a_plain_name_is_its_own_seed(name):
    assert plain_name(name) == name
    assert open_homework("06", student=name).character == personal(generator(name))


def test_the_name_is_shown_as_it_was_typed():
    assert "for Tamsin Bollard:" in repr(open_homework("06", student="Tamsin Bollard"))
