"""Legs from the bench that a class hands in: found, given to their learners, marked, shown."""

import csv
import dataclasses
import json
import re
import subprocess
import sys
from functools import cache, partial

import numpy as np
import pytest

from rigkit import cli, gltf
from rigkit.bench import build, marking
from rigkit.bench.book import Book
from rigkit.bench.state import STEPS
from rigkit.homework import catalogue, your_leg
from rigkit.marking import correct, learner_page, pipeline, place, roster
from rigkit.marking.collect import collect
from rigkit.marking.entry import Learner, Terms
from rigkit.marking.judge import ran_out_of_time
from rigkit.marking.record import RECORD, Record
from rigkit.marking.submission import File, Submission, digest_of
from tests.marking import classroom, markup, rig_files
from tests.marking.jails import opened
from tests.marking.test_rig_files import Ending
from tests.unit import test_bench_marking as legs
from tests.unit.legs_on_the_bench import MINE, put
from tests.unit.test_bench_misconceptions import MODELS

ANNEKE = Learner("p-01", "Anneke Bollard")
LEG = "your-leg"


@cache
def leg(model=None):
    """A leg made by hand, right or by a wrong model."""
    return MODELS[model][1](legs.by_hand()) if model else legs.by_hand()


def data(model=None):
    return legs.file_of(leg(model))


@cache
def tampered(name="a joint moved"):
    return legs.of_asset(legs.TAMPERED[name][0](gltf.read(data())))


def history(path):
    """Write a learner's own file of the bench."""
    book = Book(path, "Tamsin")
    book.keep(leg())


def submitted(what, learner=ANNEKE, **more):
    file = File("Anneke/my-leg.glb", digest_of(what), "2026-11-25", LEG, partial(bytes, what))
    one = Submission(learner, LEG, file.place, file.digest, file, **more)
    return one.loaded("seed")


def marked(what, jail=None, terms=None):
    return pipeline.mark_submission(submitted(what), jail or NoJail(), terms)


class NoJail:
    """A jail in which nothing may be run."""

    def run(self, request, seconds=20.0):
        raise AssertionError("something was run")


def outcome(entry, step):
    return next(each for each in entry.outcomes if each.question == f"{LEG}/{step}")


# --- one submission


def test_a_leg_is_marked_step_by_step_and_nothing_is_run():
    entry = marked(data())
    assert (entry.marked, entry.lesson, entry.score, entry.flags) == (True, LEG, 1, ())
    assert [each.question for each in entry.outcomes] == [f"{LEG}/{step}" for step in STEPS]
    assert {each.word for each in entry.outcomes} == {"Right"}
    assert (
        outcome(entry, "01").measured["Toe from the tip of the foot"] == "0.1 cm (1 cm at most) ✓"
    )
    assert entry.about["state"] == leg().json()


@pytest.mark.parametrize("model", sorted(MODELS.keys() - legs.NO_FILE))
def test_a_wrong_model_is_named_with_what_was_measured_and_a_hint(model):
    step = MODELS[model][0]
    entry = marked(data(model))
    found = outcome(entry, step)
    (known,) = (each for each in marking.misconceptions.MISCONCEPTIONS if each.name == model)
    assert found.misconception == model
    assert found.sentence == f"{known.measured(leg(model))}. {known.hint}"
    assert found.word in ("Nearly", "Not yet")
    assert any(text.endswith("✗") for text in found.measured.values())
    page = markup.check(learner_page.html(ANNEKE, [entry])).text
    assert re.search(rf"A known slip:\s+{model}", page)
    assert found.sentence[1:] in page


def test_what_is_out_in_no_known_way_gets_its_number_and_what_to_do():
    entry = marked(legs.file_of(leg().changed(hinge_deg={"knee": -8})))
    assert outcome(entry, "03").misconception is None
    said = outcome(entry, "03").sentence
    assert said.startswith("hinge off square to the bend: ")
    assert said.endswith(
        "where 5° at most is right. Turn the arrows square to the plane the leg bends in."
    )


def test_what_the_kit_filled_in_is_not_attempted():
    entry = marked(legs.file_of(leg().with_sound("04")))
    assert [each.word for each in entry.outcomes[:4]] == [*["Not attempted yet"] * 3, "Right"]
    assert outcome(entry, "02").sentence == your_leg.GIVEN
    assert entry.score == pytest.approx(8 / 12)  # the sixth step's knee is filled in too


def test_only_what_is_asked_counts():
    terms = Terms({f"{LEG}/01": 1.0, f"{LEG}/11": 3.0})
    entry = dataclasses.replace(marked(data("a pivot inside the sole"), terms=terms), terms=terms)
    assert list(entry.scores) == [f"{LEG}/01", f"{LEG}/11"]
    assert entry.score == pytest.approx((1 + 3 / 3) / 4)


def test_one_s_own_character_is_known_by_any_of_one_s_names():
    entry = marked(legs.file_of(legs.by_hand(MINE)))
    assert not entry.marked
    assert "in another skin" in entry.why
    for name in ("p-01", "Anneke Bollard", "Anni"):
        character = pipeline_character(name)
        learner = dataclasses.replace(ANNEKE, also=("Anni",))
        mine = submitted(legs.file_of(legs.by_hand(character)), learner)
        assert pipeline.mark_submission(mine, NoJail()).marked


def pipeline_character(name):
    from rigkit.homework.notebook import Homework

    return Homework(catalogue.questions("06"), name).character


@pytest.mark.parametrize("name", legs.REFUSED)
def test_what_is_no_leg_is_not_marked_and_no_zero(name):
    make, said = legs.REFUSED[name]
    entry = marked(make(data()))
    assert (entry.marked, entry.score) == (False, None)
    assert said in entry.why
    assert "This is not a zero" in markup.check(learner_page.html(ANNEKE, [entry])).text


@pytest.mark.needs_jail
def test_a_file_that_is_not_its_state_s_is_inspected_in_the_jail_alone(monkeypatch):
    monkeypatch.setattr(marking.inspection, "inspect", lambda _: pytest.fail("inspected here"))
    entry = marked(tampered(), opened())
    assert entry.flags == (
        "The file is not what its state makes: the joint 'L_knee' stands 10.0 mm elsewhere.",
    )
    assert entry.scores[f"{LEG}/12"] == 0.5
    assert sum(entry.scores.values()) == 0.5
    assert "cannot be marked. Write it anew on the bench." in outcome(entry, "05").sentence
    assert "bound" in outcome(entry, "12").sentence
    assert entry.about["rigs"]["12"]["end"] == "finished"


@pytest.mark.needs_jail
def test_a_file_that_would_take_minutes_to_inspect_costs_its_inspection():
    told, binary = legs.document(data())
    first = len(told["nodes"])
    told["nodes"] += [{"children": [first + i + 1]} for i in range(40_000)] + [{}]
    entry = marked(legs.as_file(told, binary), opened())
    assert (entry.marked, entry.score) == (True, 0)
    assert outcome(entry, "12").sentence.startswith("it cannot be inspected: the inspection took")
    assert ran_out_of_time(entry)


@pytest.mark.parametrize(
    ("run", "said"),
    [
        (Ending("time limit"), "the inspection took longer than it may"),
        (Ending("memory"), "the inspection asked for more memory than it may"),
        (
            Ending("finished", {"end": "unreadable", "what": "a file that is odd"}),
            "it is a file that",
        ),
    ],
)
def test_an_inspection_that_fails_is_told(run, said):
    entry = marked(tampered(), run)
    assert outcome(entry, "12").sentence.startswith(f"it cannot be inspected: {said}")
    assert entry.score == 0


def test_where_the_jail_does_not_start_nothing_is_marked():
    entry = marked(tampered(), Ending("jail did not start"))
    assert (entry.marked, entry.why) == (False, "The jail did not start: no room")


def test_names_that_are_markup_are_words_on_the_page():
    nodes = [
        dataclasses.replace(node, name=rig_files.MARKUP) if node.name == "L_toe" else node
        for node in gltf.read(data()).nodes
    ]
    odd = legs.of_asset(dataclasses.replace(gltf.read(data()), nodes=nodes))
    entry = marked(odd, Ending("memory"))
    assert "script" in markup.check(learner_page.html(ANNEKE, [entry])).text


# --- whose, and for what


def placed(*files, names=None, tmp_path):
    """The submissions of files, (place, bytes); with a roster of these names."""
    for name, what in files:
        path = tmp_path / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(what)
    listed = names and roster.Roster(tuple(Learner(*each) for each in names))
    collected = collect(tmp_path / "in")
    found = place.place(collected, listed)
    return {one.key: one for one in found.submissions}, found.strays


TWO = [("p-01", "Anneke Bollard"), ("p-02", "Bastian Capstan")]


@pytest.mark.parametrize(
    "name",
    [
        "p-01 my-leg.glb",
        "my-leg p-01.glb",
        "p-01/my-leg.glb",
        "Anneke Bollard/my-leg-2.glb",
        "Anneke Bollard (p-01)/odo.glb",
        "anneke_bollard_your_leg.glb",
        "your-leg/p-01.glb",
    ],
)
def test_a_leg_is_its_learner_s_by_its_place(tmp_path, name):
    found, strays = placed(
        (name, data()), ("p-02/my-leg.glb", data()), names=TWO, tmp_path=tmp_path
    )
    assert sorted(found) == [("p-01", LEG), ("p-02", LEG)]
    assert strays == ()


def test_without_a_roster_the_place_names_the_learner(tmp_path):
    files = [
        ("p-01_my-leg.glb", data()),
        ("p-02 my-leg-3.glb", data()),
        ("p-03/my-leg.glb", data()),
    ]
    found, _ = placed(*files, tmp_path=tmp_path)
    assert sorted(found) == [("p-01", LEG), ("p-02", LEG), ("p-03", LEG)]


def test_a_leg_that_names_somebody_is_not_the_one_notebook_s_in_the_class(tmp_path):
    book = classroom.submission("right", name="Anneke")
    files = [("Anneke 06-preset-bend.ipynb", book), ("Bastian my-leg.glb", data())]
    found, _ = placed(*files, tmp_path=tmp_path)
    assert sorted(found) == [("Anneke", "06"), ("Bastian", LEG)]


def test_notebooks_rigs_and_the_leg_go_each_its_way(tmp_path):
    files = [
        ("p-01/06-preset-bend.ipynb", classroom.submission("right", name="Anneke")),
        ("p-01/12-sign-a-rig-off.ipynb", rig_files.notebook_12("my_rig = 'walker.glb'")),
        ("p-01/walker.glb", rig_files.WALKER),
        ("p-01/my-leg.glb", data()),
    ]
    found, strays = placed(*files, names=TWO, tmp_path=tmp_path)
    assert sorted(found) == [("p-01", "06"), ("p-01", "12"), ("p-01", LEG)]
    assert found["p-01", LEG].notebook.place == "p-01/my-leg.glb"
    assert [rig.place for rig in found["p-01", "12"].rigs.values()] == ["p-01/walker.glb"]
    assert strays == ()


def test_a_leg_that_a_notebook_names_is_its_rig_too(tmp_path):
    book = rig_files.notebook_12("hw.check(my_rig='my-leg.glb')")
    files = [("p-01/12-sign-a-rig-off.ipynb", book), ("p-01/my-leg.glb", data())]
    found, _ = placed(*files, names=TWO, tmp_path=tmp_path)
    (name,) = (n for n, q in catalogue.questions("12").items() if q.kind == "file")
    named = json.loads(book)
    named["cells"][1]["source"] = f"hw.check({name}='my-leg.glb')"
    (tmp_path / "in/p-01/12-sign-a-rig-off.ipynb").write_text(json.dumps(named))
    found, _ = placed(names=TWO, tmp_path=tmp_path)
    assert [rig.place for rig in found["p-01", "12"].rigs.values()] == ["p-01/my-leg.glb"]
    assert ("p-01", LEG) in found


def test_of_several_legs_the_newest_counts_and_of_equals_the_best(tmp_path):
    wrong, right = data("a bent hose"), data()
    files = [("p-01/my-leg.glb", wrong), ("p-01/my-leg-2.glb", right), ("p-01/odd.glb", wrong)]
    found, _ = placed(*files, names=TWO, tmp_path=tmp_path)
    one = found["p-01", LEG]
    assert {one.notebook.digest, *(file.digest for file in one.rivals)} == {
        digest_of(wrong),
        digest_of(right),
    }
    entry = pipeline.mark_submission(one.loaded("seed"), NoJail())
    assert entry.score == 1
    assert "counts" in entry.flags[-1]


def test_another_rig_called_so_is_told_that_it_holds_no_leg(tmp_path):
    found, _ = placed(("p-01/my-leg.glb", rig_files.WALKER), names=TWO, tmp_path=tmp_path)
    entry = pipeline.mark_submission(found["p-01", LEG].loaded("seed"), NoJail())
    assert "holds no state of the bench" in entry.why


def test_what_the_bench_keeps_for_itself_is_told_what_to_hand_in_instead(tmp_path):
    (tmp_path / "in" / "p-01").mkdir(parents=True)
    history(tmp_path / "in" / "p-01" / "leg.json")
    files = [("p-01/06-preset-bend.ipynb", classroom.submission("right", name="Anneke"))]
    found, _ = placed(*files, names=TWO, tmp_path=tmp_path)
    assert sorted(found) == [("p-01", "06"), ("p-01", LEG)]
    assert 'Hand in the one that its last step writes, such as "my-leg.glb".' in (
        found["p-01", LEG].problem
    )


def test_the_leg_counts_where_its_history_lies_beside_it(tmp_path):
    (tmp_path / "in" / "p-01").mkdir(parents=True)
    history(tmp_path / "in" / "p-01" / "my-leg.json")
    found, _ = placed(("p-01/my-leg.glb", data()), names=TWO, tmp_path=tmp_path)
    assert list(found) == [("p-01", LEG)]
    assert found["p-01", LEG].problem == ""


# --- a class

MADE = {  # by learner: what they hand in, their total, and a word of their page
    "Anneke": (lambda: data(), 1.0, "12 right"),
    "Bastian": (lambda: data("the hip at the trochanter"), None, "the hip at the trochanter"),
    "Cleo": (lambda: data("mirrored across the wrong plane"), None, "mirrored across the wrong"),
    "Dagny": (lambda: data("mirrored across the wrong plane"), None, "mirrored across the wrong"),
    "Emre": (lambda: legs.file_of(leg().with_sound("12")), 1 / 12, "11 not attempted yet"),
    "Fenja": (lambda: tampered(), 0.5 / 12, "Not the same: the joint 'L_knee' stands 10.0 mm"),
    "Gesa": (lambda: rig_files.WALKER, "not marked", "holds no state of the bench"),
    "Hauke": (None, "not marked", "Hand in the one that its last step writes"),
    "Ilka": (lambda: data()[:5000], "not marked", "The file cannot be read"),
}


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A class that hands in legs, marked by the command."""
    opened()
    room = tmp_path_factory.mktemp("class")
    for number, (name, (make, _, _)) in enumerate(MADE.items(), start=1):
        folder = room / "in" / f"{name} (p-{number:02})"
        folder.mkdir(parents=True)
        if make:
            (folder / "my-leg.glb").write_bytes(make())
        else:
            history(folder / "my-leg.json")
    people = [f"p-{number:02},{name}" for number, name in enumerate(MADE, start=1)]
    (room / "roster.csv").write_text("\n".join(["id,name", *people, "p-99,Zoë"]), "utf-8")
    book = classroom.submission("right", name="Anneke")
    (room / "in" / "Anneke (p-01)" / "06-preset-bend.ipynb").write_bytes(book)
    done = command(room, "in", "--roster", "roster.csv")
    assert done.returncode == 1, done.stderr
    return room


def command(room, *words):
    line = [sys.executable, "-m", "rigkit", "mark", *words, "--out", "out"]
    return subprocess.run(line, capture_output=True, text=True, cwd=room, timeout=600)


def entries(room):
    with Record(room / "out" / RECORD, create=False) as record:
        return {entry.learner.name: entry for entry in record.entries() if entry.lesson == LEG}


@pytest.mark.needs_jail
@pytest.mark.parametrize("name", MADE)
def test_everyone_in_the_class_gets_their_marks_and_words(room, name):
    _, score, said = MADE[name]
    entry = entries(room)[name]
    if score == "not marked":
        assert (entry.marked, entry.score) == (False, None)
    elif score is not None:
        assert entry.score == pytest.approx(score)
    page = markup.check((room / "out" / learner_page.address(entry.learner)).read_text("utf-8"))
    assert said.casefold() in page.text.casefold()
    assert "A leg from the bench" in page.text


@pytest.mark.needs_jail
def test_the_class_page_counts_models_and_tells_likeness(room):
    page = markup.check((room / "out" / "class.html").read_text("utf-8")).text
    assert "Lesson your-leg: A leg from the bench" in page
    assert "the mirror's plane is not the middle of the body" in page
    assert "2 answers follow a wrong model; the commonest, with 2 learners" in page
    assert "The rig file is the same, byte for byte." in page
    assert re.search(r"Fenja\W+your-leg\W+The file is not what its state makes", page)
    assert re.search(r"Zoë\W+your-leg", page)


@pytest.mark.needs_jail
def test_the_grades_have_a_column_for_each_step(room):
    with open(room / "out" / "grades.csv", encoding="utf-8-sig", newline="") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    assert [key for key in rows["Anneke"] if key.startswith(f"{LEG}/")] == [
        f"{LEG}/{step} (%)" for step in STEPS
    ]
    assert rows["Anneke"]["06 (%)"] == rows["Anneke"][f"{LEG} (%)"] == "100.0"
    assert rows["Cleo"][f"{LEG}/03 (%)"] == "50.0"
    assert rows["Gesa"][f"{LEG} marked"] == "no"
    assert rows["Zoë"][f"{LEG} handed in"] == "no"


@pytest.mark.needs_jail
def test_marking_again_goes_on_where_it_was_and_gives_the_same(room):
    before = {name: (one.scores, one.flags) for name, one in entries(room).items()}
    done = command(room, "in", "--lesson", LEG)
    assert done.stdout.startswith("0 marked in ")
    assert "6 unchanged since they were marked" in done.stdout
    done = command(room, "in", "--lesson", LEG, "--again")
    assert done.stdout.startswith("6 marked in ")
    assert {name: (one.scores, one.flags) for name, one in entries(room).items()} == before


@pytest.mark.needs_jail
def test_a_teacher_corrects_plans_and_looks(room, tmp_path):
    (tmp_path / "plan.toml").write_text(f'[questions]\n"{LEG}/03" = 3\n"{LEG}/07" = 1\n')
    command(room, "in", "--plan", str(tmp_path / "plan.toml"))
    cleo = entries(room)["Cleo"]
    assert cleo.score == pytest.approx((3 * 0.5 + 1) / 4)
    correct.correct(room / "out", "Cleo", f"{LEG}/03", "100%", "shown in class")
    assert entries(room)["Cleo"].score == 1
    correct.correct(room / "out", "Zoë", LEG, 0.8, "on paper")
    assert entries(room)["Zoë"].score == 0.8
    correct.see(room / "out", "Fenja", LEG)
    assert not entries(room)["Fenja"].needs_a_look
    with pytest.raises(ValueError, match="Lesson your-leg has your-leg/01"):
        correct.correct(room / "out", "Cleo", f"{LEG}/13", 1, "no such")


# --- at home


@pytest.mark.parametrize("model", [None, "the pole behind", "a torn crease"])
def test_at_home_the_same_marks_are_told(tmp_path, capsys, model):
    (tmp_path / "my-leg.glb").write_bytes(data(model))
    cli.main(["inspect", str(tmp_path / "my-leg.glb")])
    lines = capsys.readouterr().out.splitlines()
    entry = marked(data(model))
    for each in entry.outcomes:
        step = each.question[-2:]
        (line,) = (line for line in lines if line.startswith(f"  {step} "))
        assert f": {each.word}, {each.score:.0%}." in line
        assert each.score == 1 or each.sentence[1:] in line


def test_at_home_a_changed_file_is_told_and_another_rig_is_only_inspected(tmp_path, capsys):
    (tmp_path / "leg.glb").write_bytes(tampered())
    cli.main(["inspect", str(tmp_path / "leg.glb")])
    told = capsys.readouterr().out
    assert "Not what its state makes: the joint 'L_knee' stands 10.0 mm elsewhere." in told
    assert "12 Sign off: Not yet, 50%" in told
    (tmp_path / "leg.glb").write_bytes(legs.telling(data(), bench=3))
    cli.main(["inspect", str(tmp_path / "leg.glb")])
    assert "The steps of the bench cannot be marked: The leg's state" in capsys.readouterr().out
    (tmp_path / "leg.glb").write_bytes(rig_files.WALKER)
    cli.main(["inspect", str(tmp_path / "leg.glb")])
    assert "bench" not in capsys.readouterr().out


def test_a_changed_sway_changes_the_tenth_step_alone():
    """The numbers come from the state, step by step: see that no other step goes along."""
    still = legs.file_of(put(leg(), "pelvis", sway_mm=0))
    before, after = (marked(each).scores for each in (data(), still))
    assert [step for step in before if before[step] != after[step]] == [f"{LEG}/10"]
    assert np.isclose(before[f"{LEG}/10"] - after[f"{LEG}/10"], 1 / 6)
    assert build.bytes_of(leg()) == data()
