"""A marked class in a notebook: its tables, its plots, one learner, and the teacher's notebook
itself."""

from html.parser import HTMLParser

import pytest

from rigkit import authoring
from rigkit.homework import catalogue
from rigkit.marking import page, record, results
from rigkit.marking.entry import Learner, Override
from tests.marking import entries
from tests.marking.entries import HOSTILE, entry, learner, room


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder of results: a class of 20, two lessons, one correction."""
    folder = tmp_path_factory.mktemp("results")
    found, everyone = room(20)
    with record.Record(folder / "results.sqlite") as kept:
        for one in [*found, entry(everyone[0], "07")]:
            kept.add(one)
        kept.override(everyone[1].id, "06/steps", 0.25, "told me in class")
        kept.add_run(
            {"learners": [vars(who) | {"also": []} for who in everyone], "lessons": ["06", "07"]}
        )
    return folder


@pytest.fixture
def opened(folder):
    return results.open_results(folder)


def test_it_says_how_the_class_stands(opened):
    text = repr(opened)
    marked = [one.score for one in opened.entries if one.score is not None]
    assert text.startswith(
        f"Homework 06, 07: {len(opened.entries)} submissions, {len(marked)} marked, "
        f"{sum(marked) / len(marked):.0%} on average"
    )
    assert "20 missing" in text  # one in lesson 06, nineteen in lesson 07


def test_the_record_or_its_folder_can_be_opened_and_is_not_changed(folder):
    before = (folder / "results.sqlite").read_bytes()
    assert repr(results.open_results(folder)) == repr(
        results.open_results(folder / "results.sqlite")
    )
    assert (folder / "results.sqlite").read_bytes() == before


def test_no_record_is_said_plainly(tmp_path):
    with pytest.raises(ValueError, match="There is no record of marks at"):
        results.open_results(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_everyone_has_a_row_in_every_lesson(opened):
    assert [row["id"] for row in opened.learners if row["lesson"] == "06"] == [
        row["id"] for row in opened.learners if row["lesson"] == "07"
    ]
    assert len(opened.learners) == 40


def test_questions_count_every_answer(opened):
    rows = {row["question"]: row for row in opened.questions}
    assert list(rows) == [
        question.id for lesson in ("06", "07") for question in catalogue.questions(lesson).values()
    ]
    for question, row in rows.items():
        scores = [one.scores[question] for one in opened.entries if question in one.scores]
        assert sum(row[word.lower()] for word in page.WORDS) == len(scores)
        assert row["average (%)"] == pytest.approx(100 * sum(scores) / len(scores), abs=0.05)


def test_one_question_lists_the_lowest_first_corrections_counted(opened):
    rows = opened.question("06/steps")
    scores = [row["score (%)"] for row in rows]
    assert scores == sorted(scores)
    (corrected,) = (row for row in rows if row["corrected"])
    assert (corrected["id"], corrected["score (%)"], corrected["word"]) == (
        "p0001",
        25.0,
        "Not yet",
    )


def test_misconceptions_name_who_follows_them(opened):
    rows = opened.misconceptions()
    assert [row["learners"] for row in rows] == sorted(
        (row["learners"] for row in rows), reverse=True
    )
    for row in rows:
        names = {
            one.learner.name
            for one in opened.entries
            for outcome in one.outcomes
            if (outcome.question, outcome.misconception) == (row["question"], row["wrong model"])
        }
        assert set(row["who"].split(", ")) == names
        assert len(names) == row["learners"]


def test_the_hardest_question_has_most_wrong_models(opened):
    counts = {}
    for row in opened.misconceptions():
        counts[row["question"]] = counts.get(row["question"], 0) + row["learners"]
    assert counts[opened.hardest()] == max(counts.values())


def test_those_to_look_at_are_those_not_marked_cut_short_or_flagged(opened):
    wanted = {
        one.learner.id
        for one in opened.entries
        if one.score is None or one.end != "finished" or one.flags
    }
    assert {row["id"] for row in opened.look()} == wanted
    assert opened.look()[0]["marked"] == "no"


def test_a_learner_is_found_by_id_or_name_and_shown_with_pictures(opened):
    who = opened.entries[0].learner
    for name in (who.id, who.name, f" {who.name.upper()} "):
        assert opened.learner(name).learner == who
    shown = opened.learner(who.id)
    assert [row["question"] for row in shown.table] == [
        q for one in shown.entries for q in one.scores
    ]
    wrong = [o for one in shown.entries for o in one.outcomes if o.word != "Right" and o.picture]
    assert len(shown.pictures.pictures) == len(wrong) > 0
    bundle = shown._repr_mimebundle_()
    assert who.name in bundle["text/plain"]
    assert "<svg" in bundle["text/html"]
    assert "told me in class" in repr(opened.learner("p0001"))


@pytest.mark.parametrize("who", ["nobody", "", None, 7])
def test_nobody_of_that_name_is_said(opened, who):
    with pytest.raises(ValueError, match="`who` must be one learner who handed in homework"):
        opened.learner(who)


def test_two_of_one_name_are_told_apart():
    room = results.ClassResults([entry(Learner(i, "Pip")) for i in ("a", "b")])
    with pytest.raises(ValueError, match=r"Pip \(a\), Pip \(b\)"):
        room.learner("Pip")
    assert room.learner("a").learner.id == "a"


def test_the_plots_say_their_numbers(opened):
    totals = [one.score for one in opened.entries if one.score is not None]
    whole = opened.spread_plot()
    assert f"90–100 {sum(total >= 0.9 for total in totals)}" in whole.desc
    words = [page.words_of(one)["06/steps"] for one in opened.entries if "06/steps" in one.scores]
    assert f"Right {words.count('Right')}" in opened.spread_plot("06/steps").desc


@pytest.mark.parametrize("question", ["solve_leg", "06/nothing", None, 6])
def test_a_question_nobody_was_asked_is_said(opened, question):
    with pytest.raises(ValueError, match="`question` must be one of 06/shortening_cm"):
        opened.question(question)


def test_tables_can_be_written_with_what_the_school_knows(opened, tmp_path):
    opened.write_tables(tmp_path, classSourcedId="class-7b")
    assert ",class-7b," in (tmp_path / "lineItems.csv").read_text(encoding="utf-8")


def test_an_empty_class_shows_itself():
    room = results.ClassResults([])
    assert "0 submissions, 0 marked" in repr(room)
    assert repr(room.learners) == repr(room.look()) == repr(room.misconceptions()) == "Nothing."
    with pytest.raises(ValueError, match="Nothing is marked yet"):
        room.hardest()


def test_a_table_is_a_list_that_shows_its_first_rows():
    table = results.Table({"n": n, "words": "x" * n} for n in range(80))
    assert "30 more rows are not shown" in repr(table)
    assert "more rows" not in repr(table[:50])
    assert table[:3]._repr_html_().count("<tr>") == 4
    assert table[2]["n"] == 2
    assert table.only("words")[:2] == [{"words": ""}, {"words": "x"}]


class _Tags(HTMLParser):
    def __init__(self, html):
        super().__init__()
        self.found = []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        self.found.append((tag, *(name for name, _ in attributes)))


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: repr(text[:12]))
def test_hostile_text_in_a_table_does_nothing(text):
    who = Learner(text[:99], text, group=text)
    found = entry(
        who,
        why=text,
        end="memory",
        flags=(text,),
        kinds={"solve_leg": "sign of y"},
        overrides=(Override("06/steps", 0.5, text, "2026-11-26T09:00:00+00:00"),),
    )
    room = results.ClassResults([found])
    for table in (room.learners, room.look(), room.question("06/steps"), room.misconceptions()):
        tags = {tag for tag, *_ in _Tags(table._repr_html_()).found}
        assert tags <= {"table", "thead", "tbody", "tr", "th", "td", "code"}
        repr(table).encode()
    shown = _Tags(room.learner(who.id)._repr_mimebundle_()["text/html"]).found
    assert not {tag for tag, *_ in shown} & {
        "script",
        "iframe",
        "object",
        "embed",
        "link",
        "a",
        "form",
    }
    assert not [name for _, *names in shown for name in names if name.startswith("on")]


# --- the notebook


def test_the_notebook_is_kept_as_authoring_writes_it():
    assert authoring.problems(results.NOTEBOOK.read_text(encoding="utf-8")) == []


def test_the_notebook_is_handed_once_and_never_overwritten(tmp_path):
    path = results.hand_notebook(tmp_path)
    assert path.read_bytes() == results.NOTEBOOK.read_bytes()
    path.write_text("mine", encoding="utf-8")
    assert results.hand_notebook(tmp_path).read_text(encoding="utf-8") == "mine"


def test_the_notebook_runs_beside_its_record(folder):
    ran = authoring.run(authoring.read(results.hand_notebook(folder)), folder)
    said = {
        cell.id: cell.outputs[-1].data["text/plain"]
        for cell in ran.cells
        if cell.cell_type == "code" and cell.outputs
    }
    room = results.open_results(folder)
    assert said["open"] == repr(room)
    assert said["misconceptions"] == repr(room.misconceptions()[:8])
    assert said["learner"] == repr(room.learner(room.entries[0].learner.id))
    code = [cell for cell in ran.cells if cell.cell_type == "code"]
    assert len(said) == len(code)
    assert all(len(cell.source.splitlines()) <= 4 for cell in code)


def test_the_notebook_runs_where_nothing_is_wrong(tmp_path):
    with record.Record(tmp_path / "results.sqlite") as kept:
        kept.add(entry(learner(1)))
    ran = authoring.run(authoring.read(results.hand_notebook(tmp_path)), tmp_path)
    assert (
        "1 submission, 1 marked, 100% on average"
        in next(cell for cell in ran.cells if cell.id == "open").outputs[-1].data["text/plain"]
    )


def test_private_things_are_not_shown(opened):
    shown = "".join(
        [
            repr(opened.learners),
            repr(opened.learner("p0000")),
            repr(opened.look()),
            repr(opened.questions),
        ]
    )
    assert entries.about(learner(0))["seed"] not in shown
    assert "PRINTED" not in shown
