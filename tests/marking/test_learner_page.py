"""A learner's page: what it says, what it keeps to itself, and that nothing anyone wrote can act in
it."""

from dataclasses import replace

import pytest

from rigkit.homework import catalogue, checking
from rigkit.homework.card import Card
from rigkit.marking import learner_page, page
from rigkit.marking.entry import ENDS, Entry, Learner, Override
from tests import alternatives
from tests.homework import solved
from tests.marking import entries, markup
from tests.marking.entries import HOSTILE, entry, outcomes

TAMSIN = Learner("p0001", "Tamsin Tidewater", "tamsin@parade.example", "B")
LESSONS = list(solved.solutions())


def read(*found, learner=TAMSIN):
    return markup.check(learner_page.html(learner, found))


@pytest.mark.parametrize("lesson", LESSONS)
def test_every_kind_of_answer_to_every_question_has_its_place(lesson):
    names = catalogue.questions(lesson)
    kinds = {name: list(outcomes(lesson, name)) for name in names}
    for turn in range(max(map(len, kinds.values()))):
        chosen = {name: kinds[name][turn % len(kinds[name])] for name in names}
        shown = read(entry(TAMSIN, lesson, chosen))
        assert alternatives.faults(shown.html) == []
        for name, kind in chosen.items():
            outcome = outcomes(lesson, name)[kind]
            assert name in shown.text
            assert outcome.word in shown.text
            for value in outcome.measured.values():
                assert page.plain(value) in shown.text


def test_each_answer_that_is_not_right_has_its_picture_and_a_right_one_has_none():
    wrong = read(entry(TAMSIN, "06", {"solve_leg": "knee backwards"}))
    right = read(entry(TAMSIN, "06"))
    assert outcomes("06", "solve_leg")["knee backwards"].picture["title"] in wrong.text
    pictures = [
        len([svg for svg in shown.all("svg") if svg.get("class") == "rig"])
        for shown in (wrong, right)
    ]
    assert pictures == [1, 0]


def test_it_names_the_wrong_model_and_says_what_it_does():
    shown = read(entry(TAMSIN, "06", {"shortening_cm": "metres"})).text
    assert "These are the values you get when the shortening is left in metres." in shown
    assert "agrees with it in every case:" in shown
    assert " metres " in shown


def test_it_says_what_a_part_of_the_points_is_for():
    shown = read(entry(TAMSIN, "06", {"solve_leg": "knee backwards"})).text
    found = outcomes("06", "solve_leg")["knee backwards"]
    assert found.partly == found.cases - found.right > 0
    shares = f"{found.right} of {found.cases} cases right, {found.partly} partly"
    assert found.counts == f"{shares}, at 25% on average"
    assert found.counts in shown
    what = "for the case that came nearest: the ankle is right, but the knee comes out on"
    assert what in shown
    assert what in repr(Card(found))
    blank = outcomes("06", "solve_leg")["blank"]
    assert (blank.counts, blank.part) == (f"0 of {blank.cases} cases right", "")


def test_a_correction_counts_and_gives_its_reason():
    found = entry(
        TAMSIN,
        "06",
        {"solve_leg": "blank"},
        overrides=(Override("06/solve_leg", 0.5, "told me in class", "2026-11-26T09:00:00+00:00"),),
    )
    shown = read(found).text
    assert "Corrected by your teacher:" in shown
    assert "50\xa0% instead of 0\xa0%. Told me in class" in shown
    assert page.percent(6.5 / 7) in shown


def test_not_marked_is_never_a_zero():
    unmarked = {"marked": False, "end": "jail did not start", "outcomes": ()}
    shown = read(entry(TAMSIN, why="the jail did not start for it.", **unmarked)).text
    assert "Not marked" in shown
    assert "The jail did not start for it." in shown
    assert "This is not a zero." in shown
    assert "0\xa0%" not in shown


def test_a_correction_of_what_could_not_be_marked_is_shown():
    found = entry(
        TAMSIN,
        marked=False,
        end="",
        outcomes=(),
        why="unreadable.",
        overrides=(Override("06/solve_leg", 1.0, "seen on paper", "2026-11-26T09:00:00+00:00"),),
    )
    assert "Seen on paper" in read(found).text


@pytest.mark.parametrize("end", ENDS)
def test_it_says_how_the_run_ended(end):
    shown = read(entry(TAMSIN, end=end, why=f"it ended by {end}.")).text
    assert (f"It ended by {end}." in shown) == (end != "finished")
    assert ("from its first cell to its last" in shown) == (end == "finished")


def test_several_lessons_stand_in_their_order():
    shown = read(entry(TAMSIN, "07"), entry(TAMSIN, "02")).text
    assert shown.index("02 · ") < shown.index("07 · ")


def test_it_says_unjailed_where_it_was():
    stamped = read(entry(TAMSIN, about=entries.about(TAMSIN, kind="unjailed"))).text
    claimed = read(
        entry(TAMSIN, about=entries.about(TAMSIN) | {"printed": "unjailed", "student": "unjailed"})
    ).text
    assert "unjailed" in stamped
    assert "unjailed" not in claimed


def test_it_keeps_secrets_and_what_a_teacher_should_look_at():
    about = entries.about(TAMSIN) | {
        "seed": "SECRET-SEED",
        "answers": {"solve_leg": [{"out": "SECRET-OUT"}]},
        "student": "SECRET-NAME",
        "jail": entries.JAIL | {"digests": "SECRET-DIGEST"},
    }
    html = learner_page.html(
        TAMSIN,
        [
            entry(
                TAMSIN,
                kinds={"solve_leg": "sign of y"},
                about=about,
                flags=("Identical to the work of Odo (SECRET-FLAG).",),
            )
        ],
    )
    assert "SECRET" not in html
    assert "PRINTED" not in html
    assert TAMSIN.email not in html
    assert "NumPy" in html


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: repr(text[:12]))
def test_hostile_text_anywhere_does_nothing(text):
    who = Learner(text[:5000], text, group=text)
    outcome = replace(
        outcomes("06", "solve_leg")["sign of y"],
        sentence=text,
        measured={text: text},
        misconception=text,
    )
    picture = {
        "view": "side",
        "title": text[:300],
        "desc": text[:300],
        "marks": [
            ["chain", {"points": [[0, 1], [0, 0]], "kind": "inverse", "names": [text[:300]]}],
            ["note", {"point": [0, 0], "text": text[:300], "kind": "plain"}],
        ],
    }
    found = Entry(
        who,
        "06",
        text,
        text,
        end="memory",
        why=text,
        time=text[:99],
        flags=(text,),
        outcomes=(outcome, replace(outcome, question=f"06/{text}", picture=picture)),
        overrides=(Override("06/solve_leg", 0.4, text, ""), Override(text, 0.2, text, "")),
        about={"rigkit": text, "jail": {"kind": text, "python": text}},
    )
    shown = read(found, learner=who)
    assert len(shown.html) < 200_000
    if len(text) < 100:
        assert page.plain(text) in shown.text


@pytest.mark.parametrize("about", [{}, {"jail": None, "rigkit": None}, {"jail": {}}])
def test_little_may_be_known_of_a_run(about):
    assert "None" not in read(entry(TAMSIN, about=about)).text


def test_a_picture_that_cannot_be_drawn_breaks_nothing():
    broken = {
        "view": "side",
        "title": "",
        "desc": "",
        "marks": [["chain", {"points": [[float("nan"), 0]]}]],
    }
    outcome = replace(outcomes("06", "solve_leg")["sign of y"], picture=broken)
    assert "too far from a leg to be drawn" in read(entry(TAMSIN, outcomes=(outcome,))).text


def test_the_same_entries_make_the_same_bytes():
    one, two = entry(TAMSIN, "06", {"solve_leg": "sign of y"}), entry(TAMSIN, "07")
    assert learner_page.html(TAMSIN, [one, two]) == learner_page.html(TAMSIN, [two, one])


def test_a_page_is_written_whole_where_any_system_can_have_it(tmp_path):
    path = learner_page.write(Learner("Ünï../x", "x"), [entry(TAMSIN)], tmp_path)
    assert path.parent == tmp_path / "learners"
    assert path.read_text(encoding="utf-8").endswith("</html>\n")
    assert [p.name for p in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("text", ["p0001", "ada.lovelace", "x-1_2"])
def test_a_plain_id_is_the_name_of_its_page(text):
    assert learner_page.name_of_file(Learner(text, "")) == f"{text}.html"


STRANGE_IDS = [
    "Ada",
    "ada ",
    "a/b",
    "..",
    ".",
    "",
    "con",
    "NUL",
    "aux.html",
    "a.",
    "é",
    "x" * 300,
    "\ud800",
    "a\x00",
    "-x",
    "ada-0123456789abcdef",
    "index\\x",
    "a:b",
]


def test_other_ids_get_names_of_their_own():
    names = [
        learner_page.name_of_file(Learner(text, "")) for text in [*STRANGE_IDS, "ada", "a", "index"]
    ]
    assert len({name.casefold() for name in names}) == len(names)
    assert all(markup.LINKS.fullmatch(f"learners/{name}") and len(name) < 80 for name in names)
    assert not any(name.split(".")[0] in ("con", "nul", "aux") for name in names)


def test_plain_keeps_words_and_drops_what_misleads():
    assert page.plain(" Zoë\tof\nthe  \x1bharbour ") == "Zoë of the harbour"
    assert page.plain("a\u202eb\ud800c\ufeffd") == "a\ufffdb\ufffdc\ufffdd"
    assert page.plain("e" + "\u0301" * 500) == "e" + "\u0301" * 3
    assert page.plain("é" * 5000, 9) == "éééé…"
    assert page.plain("مرحبا") == "مرحبا"
    assert page.plain(None) == "None"


def test_every_word_of_a_check_has_its_sign():
    assert set(page.WORDS) == {checking.RIGHT, checking.NEARLY, checking.NOT_YET, checking.BLANK}
    assert len({sign for sign, _ in page.WORDS.values()}) == 4
