"""The page of a class: counts, the order of need, what to explain again, and nothing that acts."""

import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from rigkit.homework import catalogue
from rigkit.marking import class_page, learner_page, page
from rigkit.marking.entry import Learner, Override
from tests.marking import entries, markup
from tests.marking.entries import HOSTILE, entry, learner, room


def group(*learners, share=1.0, lesson="06", sentence="the code is the same."):
    return SimpleNamespace(learners=learners, share=share, lesson=lesson, sentence=sentence)


def problem(place, why):
    return SimpleNamespace(place=place, why=why)


def read(found, **more):
    return markup.check(class_page.html(found, **more))


def part(shown, name):
    """The words of one section."""
    inner = re.search(rf'<section id="{name}">(.*?)</section>', shown.html, re.DOTALL)
    return markup.Page(inner[1]).text if inner else ""


def test_it_counts_who_handed_in_who_is_marked_and_who_is_missing():
    found, everyone = room(60)
    missing = [("06", who) for who in everyone if who.id not in {one.learner.id for one in found}]
    shown = read(found, missing=missing)
    tiles = re.findall(r"<li><b>([^<]*)</b>([^<]*)</li>", shown.html)
    marked = [one.score for one in found if one.score is not None]
    assert tiles == [
        ("58", "handed in"),
        ("55", "marked"),
        ("3", "not marked"),
        ("2", "missing"),
        (page.percent(sum(marked) / 55), "on average"),
    ]
    assert len(marked) == 55
    for _, who in missing:
        assert who.name in part(shown, "missing")


def test_its_tiles_count_people_whatever_the_number_of_lessons():
    one, two, three = map(learner, (1, 2, 3))
    found = [
        entry(one),
        entry(one, "07"),
        entry(two),
        entry(two, "07", marked=False, outcomes=(), why="It is no notebook.", end=""),
    ]
    shown = read(found, missing=[("06", three), ("07", three)])
    tiles = re.findall(r"<li><b>([^<]*)</b>([^<]*)</li>", shown.html)
    assert [number for number, _ in tiles[:4]] == ["2", "1", "1", "1"]


def test_those_not_marked_stand_first_then_those_cut_short_then_the_flagged():
    found = [
        entry(learner(1)),
        entry(learner(2), flags=("looks odd.",)),
        entry(learner(3), end="memory", why="it asked for too much."),
        entry(learner(4), marked=False, end="", outcomes=(), why="not a notebook."),
    ]
    look = part(read(found), "look")
    names = [learner(n).name for n in (4, 3, 2)]
    assert sorted(names, key=look.index) == names
    assert learner(1).name not in look
    assert "not marked. Not a notebook." in " ".join(look.split())
    assert "Looks odd." in look


def test_no_run_needs_a_look():
    assert "No run needs a look." in part(read([entry(learner(1))]), "look")


def test_the_spread_of_each_question_is_said_in_numbers():
    found = [
        entry(learner(1)),
        entry(learner(2), kinds={"solve_leg": "knee backwards"}),
        entry(learner(3), kinds={"solve_leg": "blank"}),
    ]
    words = dict.fromkeys(page.WORDS, 0)
    for one in found:
        words[page.words_of(one)["06/solve_leg"]] += 1
    shown = part(read(found), "lesson-06").split("Question by question")[1]
    line = " ".join(shown.split("hip and knee angles")[1].split("sign and size")[0].split())
    for word, n in words.items():
        assert (f"{n} {word.lower()}" in line) == (n > 0)
    assert words["Right"] == 1


def test_the_question_with_most_wrong_models_is_explained_again():
    found = [
        entry(learner(1), kinds={"solve_leg": "sign of y", "steps": "blank"}),
        entry(learner(2), kinds={"solve_leg": "sign of y", "steps": "blank"}),
        entry(learner(3), kinds={"solve_leg": "knee backwards", "freedom": "tolerance too tight"}),
    ]
    shown = " ".join(part(read(found), "lesson-06").split())
    model = next(
        wrong.sentence
        for wrong in catalogue.questions("06")["solve_leg"].misconceptions
        if wrong.name == "sign of y"
    )
    assert "Explain again: solve_leg" in shown.replace(" , hip", ", hip")
    assert f"3 answers follow a wrong model; the commonest, with 2 learners: “{model}”" in shown
    assert "2 learners , solve_leg" in shown


def test_without_wrong_models_the_lowest_average_is_explained_again():
    shown = " ".join(part(read([entry(learner(1), kinds={"steps": "blank"})]), "lesson-06").split())
    assert "Explain again: steps" in shown
    assert "no wrong model stands out" in shown
    one_wrong = [entry(learner(1), kinds={"steps": "blank", "freedom": "tolerance too tight"})]
    assert "Explain again: steps" in " ".join(part(read(one_wrong), "lesson-06").split())
    assert "Explain again" not in read([entry(learner(1))]).text


def test_likeness_is_shown_with_a_warning_the_strongest_first():
    found = [entry(learner(n)) for n in range(5)]
    shown = part(
        read(
            found,
            groups=[
                group("p0001", "p0002", share=0.8, sentence="80 % of it or more."),
                group("p0003", "p0004"),
            ],
        ),
        "alike",
    )
    assert "never a proof" in shown
    assert shown.index(learner(3).name) < shown.index(learner(1).name)
    assert "80 % of it or more." in shown
    assert "The code is the same." in shown


def test_files_that_are_nobodys_are_listed():
    shown = part(read([], problems=[problem("late/x.ipynb", "two learners fit.")]), "files")
    assert "late/x.ipynb" in shown
    assert "Two learners fit." in shown


def test_corrections_are_listed_and_count():
    found = entry(
        learner(1),
        kinds={"steps": "blank"},
        overrides=(Override("06/steps", 1.0, "shown at the board", "2026-11-26T09:00:00+00:00"),),
    )
    shown = read([found])
    assert "Shown at the board" in part(shown, "corrections")
    assert "not attempted" not in part(shown, "lesson-06")
    assert "100\xa0%" in part(shown, "everyone-06")


def test_everyone_has_a_link_and_the_neediest_stand_first(tmp_path):
    found, _ = room(60)
    shown = read(found)
    inner = part(shown, "everyone-06")
    worst = sorted((one for one in found if one.score is not None), key=lambda one: one.score)
    assert inner.index(worst[0].learner.name) < inner.index(worst[-1].learner.name)
    links = {link["href"] for link in shown.all("a")}
    assert {f"learners/{learner_page.name_of_file(one.learner)}" for one in found} <= links


@pytest.mark.parametrize("n", [200, 1000])
def test_a_large_class_is_folded_and_small(n):
    found, _ = room(n)
    shown = read(found)
    assert f"Show all {len(found):,}" in shown.text
    assert len(shown.html) < 1500 * n
    visible = re.sub(r"<details>.*?</details>", "", shown.html, flags=re.DOTALL)
    assert len(visible) < 80_000


def test_an_empty_class_has_a_page_too():
    shown = read([])
    assert "The class" in shown.text
    assert read([], missing=[("06", learner(1))])


def test_lessons_stand_in_their_order():
    found = [entry(learner(1), "07"), entry(learner(1), "06")]
    shown = read(found)
    assert shown.text.index("Lesson 06") < shown.text.index("Lesson 07")
    assert part(shown, "everyone-06")
    assert part(shown, "everyone-07")


def test_it_says_unjailed_and_with_what_it_was_marked():
    found = [entry(learner(1), about=entries.about(learner(1), kind="unjailed")), entry(learner(2))]
    shown = read(found)
    assert "1 submission ran with nothing between" in shown.text
    assert "bwrap, bubblewrap 0.8.0, kernel 6.1, Python 3.11.2, NumPy 2.3.5" in part(shown, "how")
    assert "unjailed" not in read([entry(learner(2))]).text


def test_it_keeps_seeds_and_what_was_printed():
    found, _ = room(60)
    html = class_page.html(found)
    assert "SECRET" not in html
    assert "PRINTED" not in html


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: repr(text[:12]))
def test_hostile_text_anywhere_does_nothing(text):
    who = Learner(text[:5000], text, group=text)
    found = entry(
        who,
        kinds={"solve_leg": "sign of y"},
        end="memory",
        why=text,
        flags=(text,),
        file=text,
        overrides=(Override("06/steps", 0.4, text, "2026-11-26T09:00:00+00:00"),),
        about={"rigkit": text, "jail": {"kind": text, "python": text}},
    )
    strange = replace(found.outcomes[0], question=f"06/{text}", misconception=text, sentence=text)
    found = replace(found, outcomes=(*found.outcomes, strange))
    shown = read(
        [found, replace(found, lesson="07", marked=False)],
        groups=[group(text, who.id, sentence=text)],
        missing=[("06", who)],
        problems=[problem(text, text)],
    )
    assert len(shown.html) < 200_000
    if len(text) < 100:
        assert page.plain(text) in shown.text


def test_the_same_entries_make_the_same_bytes():
    found, everyone = room(30)
    more = {"missing": [("06", everyone[11])], "groups": [group("p0001", "p0002")]}
    assert class_page.html(found, **more) == class_page.html(found[::-1], **more)
