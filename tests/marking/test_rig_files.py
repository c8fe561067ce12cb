"""Rig files that learners hand in: inspected in the jail, given to their questions, marked,
shown."""

import dataclasses
import json
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigkit.homework import rig_file
from rigkit.marking import jail, learner_page, likeness, pipeline, protocol, roster
from rigkit.marking.assign import assign
from rigkit.marking.calls import Call, Request, Run
from rigkit.marking.entry import Learner
from rigkit.marking.judge import ran_out_of_time
from rigkit.marking.pipeline import mark_submission
from rigkit.marking.record import RECORD, Record
from rigkit.marking.submission import File, Submission, digest_of
from tests.marking import classroom, markup, rig_files
from tests.marking.conftest import Here
from tests.marking.jails import opened
from tests.unit.test_gltf_hostile import BOMBS

in_a_jail = pytest.mark.needs_jail


# --- in the jail


def inspected(data, *cells, kind="bwrap", seconds=20.0, most=10.0):
    return opened(kind).run(Request(cells, (Call("my_rig", "file", [], most, data),), {}), seconds)


@in_a_jail
@pytest.mark.parametrize("kind", jail.KINDS)
def test_a_rig_file_is_inspected_inside_as_it_is_in_the_notebook(kind):
    found = inspected(rig_files.WALKER, kind=kind)
    assert found.end == "finished", found.printed
    assert found.records["my_rig"] == [rig_file.record_file(rig_files.WALKER)]
    assert len(found.records["my_rig"][0]["out"]["findings"]) > 20


@in_a_jail
def test_a_rig_with_many_animations_is_inspected_too():
    (walk,) = rig_files.puppet().animations
    walks = [dataclasses.replace(walk, name=f"walk {number}") for number in range(40)]
    many = rig_files.data(dataclasses.replace(rig_files.puppet(), animations=walks))
    (record,) = inspected(many).records["my_rig"]
    assert protocol.MOST_LINE < len(json.dumps(record)) < protocol.MOST_FINDINGS
    assert record == rig_file.record_file(many)


@in_a_jail
@pytest.mark.parametrize("what", rig_files.UNREADABLE)
def test_what_is_no_rig_file_gets_a_sentence(what):
    found = inspected(rig_files.UNREADABLE[what])
    assert found.end == "finished"
    (record,) = found.records["my_rig"]
    assert record["end"] == "unreadable"
    assert "cannot be read" in record["what"]


@in_a_jail
@pytest.mark.thorough
@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_is_an_answer_too(bomb):
    make, _ = BOMBS[bomb]
    found = inspected(make())
    assert found.end == "finished"
    assert found.records["my_rig"][0].keys() & {"out", "end"}


@in_a_jail
def test_names_that_are_markup_come_back_as_words():
    (record,) = inspected(rig_files.data(rig_files.called(rig_files.MARKUP))).records["my_rig"]
    assert record["out"]["findings"]
    assert not set("\u202e\u2066\0") & set(json.dumps(record, ensure_ascii=False))


@in_a_jail
@pytest.mark.parametrize(
    ("does", "end", "record"),
    [
        ("time.sleep(60)", "finished", {"end": "stopped", "seconds": 0.5}),
        ("calling.limited = lambda work, seconds: time.sleep(60)", "time limit", None),
        ("bytes(2**31)", "memory", {"end": "raised", "type": "MemoryError", "message": ""}),
        ("{}[1]", "finished", {"end": "raised", "type": "KeyError", "message": ""}),
        ("os._exit(3)", "stopped early", None),
        ("print('x' * 10**6)", "finished", {"end": "nothing"}),
    ],
)
def test_an_inspection_that_goes_wrong_ends_as_its_limits_say(does, end, record):
    """As if our own code did it: the file is all that a run of marking gives it."""
    breaks = "import os, time\nfrom rigkit.homework import calling, rig_file\n"
    breaks += (
        does
        if does.startswith("calling")
        else f"def record(data):\n    {does}\nrig_file.record_file = record"
    )
    found = inspected(rig_files.WALKER, breaks, seconds=3.0, most=0.5)
    assert found.end == end
    (got,) = found.records.get("my_rig", [None])
    assert got is None if record is None else record.items() <= got.items()


# --- whose, and for which question


CLASS = roster.Roster(
    (
        Learner("p0001", "Tamsin Bollard"),
        Learner("p0002", "Odo Tide"),
        Learner("p0003", "Vigga Ebb"),
    )
)


def file(place, lesson="12", modified="2026-11-25T10:00:00", **names):
    return File(
        place, place, modified, None if place.endswith((".glb", ".gltf")) else lesson, bytes, names
    )


def placed(*files, learners=CLASS, problems=()):
    return assign(
        [each if isinstance(each, File) else file(each) for each in files], learners, problems
    )


def inspected_files(found):
    return {
        (*key, name): each.place for key, mine in found.rigs.items() for name, each in mine.items()
    }


@pytest.fixture
def asking(monkeypatch):
    """Lesson 12 asks for one rig file."""
    rig_files.as_lesson_12(monkeypatch)


@pytest.fixture
def asking_two(monkeypatch):
    rig_files.as_lesson_12(
        monkeypatch, rig_files.question("my_rig"), rig_files.question("second_rig")
    )


@pytest.mark.parametrize(
    "place",
    [
        "p0001/walker.glb",
        "Tamsin Bollard (p0001)/work/w.GLTF",
        "bollard_tamsin_93_w.glb",
        "p0001.zip/rig.gltf",
        "my_rig p0001.glb",
    ],
)
def test_a_rig_file_goes_to_its_learner_and_to_the_lesson_that_asks(asking, place):
    found = placed(place, "p0001/12.ipynb", "p0002/12.ipynb", file("p0001/06.ipynb", "06"))
    assert inspected_files(found) == {("p0001", "12", "my_rig"): place}
    assert (found.notes, found.unplaced, found.extra) == ({}, (), ())
    assert [who.id for who in found.missing] == ["p0003"]


def test_a_rig_file_of_several_learners_or_of_nobody_is_given_to_none(asking):
    found = placed("p0001/p0002.glb", "walker.glb", "p0003/12.ipynb")
    assert found.rigs == {}
    assert [aside.file.place for aside in (*found.ambiguous, *found.unplaced)] == [
        "p0001/p0002.glb",
        "walker.glb",
    ]


def test_the_rig_named_in_the_notebook_counts_then_one_named_as_the_question_then_the_newest(
    asking,
):
    files = [
        file("p0001/my_rig.glb", modified="2026-11-25T12:00:00"),
        file("p0001/Walker.glb"),
        file("p0001/new.glb", modified="2026-11-26T10:00:00"),
        file("p0001/old.glb"),
    ]
    book, naming = file("p0001/12.ipynb"), file("p0001/12.ipynb", my_rig="walker.GLB")
    for these, best in (
        ([naming, *files], "Walker.glb"),
        ([book, *files], "my_rig.glb"),
        ([book, *files[1:]], "new.glb"),
        ([book, file("p0001/rig 9.glb"), file("p0001/rig 10.glb")], "rig 10.glb"),
    ):
        for order in (these, these[::-1]):
            found = placed(*order)
            assert inspected_files(found) == {("p0001", "12", "my_rig"): f"p0001/{best}"}
            (note,) = found.notes["p0001", "12"]
            assert note.startswith(
                f"{len(these) - 1} rig files were handed in for my_rig; p0001/{best} was inspected"
            )
            assert sorted([best, *(aside.file.place[6:] for aside in found.extra)]) == sorted(
                each.place[6:] for each in these if each.is_rig
            )


def test_several_questions_are_told_apart_by_their_names(asking_two):
    book = file("p0001/12.ipynb", second_rig="walker.glb")
    found = placed(
        book, "p0001/walker.glb", "p0001/2026 My Rig (2).glb", "p0001/other.glb", "p0002/12.ipynb"
    )
    assert inspected_files(found) == {
        ("p0001", "12", "second_rig"): "p0001/walker.glb",
        ("p0001", "12", "my_rig"): "p0001/2026 My Rig (2).glb",
    }
    (aside,) = found.unplaced
    assert (aside.file.place, aside.learners) == ("p0001/other.glb", ("p0001",))
    assert "12/my_rig or 12/second_rig" in aside.why


def test_a_rig_file_alone_is_a_submission(asking):
    for others in ([], ["p0002/12.ipynb"], [file("p0001/06.ipynb", "06"), "p0002/12.ipynb"]):
        found = placed("p0001/walker.glb", *others)
        assert inspected_files(found) == {("p0001", "12", "my_rig"): "p0001/walker.glb"}
        assert found.notes == {("p0001", "12"): ("A rig file was handed in, and no notebook.",)}
        assert "p0001" not in [who.id for who in found.missing]


def test_where_no_lesson_asks_for_one_it_is_left_unless_its_name_says_the_question(asking):
    six = file("p0001/06.ipynb", "06")
    found = placed(six, "p0001/walker.glb")
    assert (found.rigs, [aside.file.place for aside in found.unasked]) == ({}, ["p0001/walker.glb"])
    for place in ("p0001/my-rig.glb", "p0001/homework 12.glb"):
        assert inspected_files(placed(six, place)) == {("p0001", "12", "my_rig"): place}


@pytest.mark.parametrize(
    ("places", "owners"),
    [
        (
            ["Tamsin/12.ipynb", "Tamsin/w.glb", "Odo/12.ipynb", "Odo/w.glb"],
            {"Tamsin": "Tamsin/w.glb", "Odo": "Odo/w.glb"},
        ),
        (
            ["Tamsin.ipynb", "Tamsin_my_rig.glb", "Odo.ipynb", "Odo my-rig.gltf"],
            {"Tamsin": "Tamsin_my_rig.glb", "Odo": "Odo my-rig.gltf"},
        ),
        (["mine/06-preset-bend.ipynb", "mine/walker.glb"], {"mine": "mine/walker.glb"}),
        (["Tamsin.ipynb", "walker.glb"], {"Tamsin": "walker.glb"}),
        (["Tamsin.glb", "Odo.glb"], {"Tamsin": "Tamsin.glb", "Odo": "Odo.glb"}),
        (["Tamsin/walker.glb", "Odo/12.ipynb"], {"Tamsin": "Tamsin/walker.glb"}),
    ],
)
def test_without_a_roster(asking, places, owners):
    found = placed(*places, learners=None)
    assert inspected_files(found) == {(who, "12", "my_rig"): place for who, place in owners.items()}


@given(
    st.lists(
        st.sampled_from(["p0001", "p0002", "my_rig", "second rig", "12", "w"]),
        min_size=1,
        max_size=3,
    ),
    st.lists(st.tuples(st.sampled_from(["p0001", "p0002", "x"]), st.text(max_size=8)), max_size=5),
    st.booleans(),
)
def test_any_rig_files_are_placed_or_said(names, others, two):
    with pytest.MonkeyPatch.context() as monkeypatch:
        rig_files.as_lesson_12(
            monkeypatch,
            *(
                [rig_files.question("my_rig"), rig_files.question("second_rig")]
                if two
                else [rig_files.question()]
            ),
        )
        places = {f"{'/'.join(names)}.glb", *(f"{folder}/{name}.gltf" for folder, name in others)}
        for learners in (CLASS, None):
            found = placed("p0001/12.ipynb", *places, learners=learners)
            asides = [
                aside
                for aside in (*found.extra, *found.unplaced, *found.ambiguous, *found.unasked)
                if aside.file.is_rig
            ]
            assert sorted(
                [*inspected_files(found).values(), *(aside.file.place for aside in asides)]
            ) == sorted(places)


# --- marked


VIGGA = Learner("p0003", "Vigga Ebb")


def submitted(rig=None, *cells, problem="", name="Vigga Ebb", notebook=True):
    book = rig_files.notebook_12("bones = 2", *cells, name=name)
    return Submission(
        VIGGA,
        "12",
        "Vigga/12.ipynb",
        "cd" * 32,
        classroom.held("Vigga/12.ipynb", book) if notebook else None,
        {} if rig is None else {"my_rig": classroom.held("Vigga/walker.glb", rig)},
        rig_problem=problem,
        seed="s" * 64,
    )


def marked(*given, kind="unjailed", **more):
    return mark_submission(submitted(*given, **more), opened(kind))


def of_the_rig(entry):
    return next(outcome for outcome in entry.outcomes if outcome.question == "12/my_rig")


@in_a_jail
def test_a_rig_is_marked_beside_the_other_answers(asking):
    entry = marked(rig_files.WALKER, kind="bwrap")
    assert (entry.scores, entry.flags, entry.end) == (
        {"12/bones": 1, "12/my_rig": 1},
        (),
        "finished",
    )
    assert of_the_rig(entry).sentence == "an inspection finds nothing."
    told = entry.about["rigs"]["my_rig"]
    assert (told["file"], told["digest"], told["end"]) == (
        "Vigga/walker.glb",
        digest_of(rig_files.WALKER),
        "finished",
    )
    assert entry.about["answers"]["my_rig"] == [rig_file.record_file(rig_files.WALKER)]
    assert entry.about["counts"] == {"bones": {"right": 1}, "my_rig": {"right": 1}}


@in_a_jail
def test_a_wrong_model_is_known(asking):
    entry = marked(rig_files.data(rig_files.straight()))
    assert (of_the_rig(entry).misconception, entry.scores["12/bones"]) == ("no bend", 1)
    entry = marked(rig_files.data(rig_files.swapped()))
    assert (of_the_rig(entry).misconception, of_the_rig(entry).word) == (None, "Not yet")


@in_a_jail
def test_the_learners_code_is_not_where_the_file_is_inspected(asking):
    entry = marked(
        rig_files.data(rig_files.straight()),
        "from rigkit.homework import rig_file\nfrom rigkit import gltf, inspection\n"
        "inspection.RULES = ()\n"
        "rig_file.findings = rig_file.record_file = lambda data: {'out': 1}\n"
        "my_rig = {'rigkit_inspection': 1, 'findings': [], 'places': {}}\nhw.check(my_rig=my_rig)",
    )
    assert of_the_rig(entry).misconception == "no bend"
    assert entry.scores["12/bones"] == 1


@in_a_jail
@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("my_rig = ...", "no rig file was handed in."),
        (
            "my_rig = 'out/walker.glb'",
            "no rig file was handed in; the notebook names `walker.glb`.",
        ),
    ],
)
def test_a_missing_rig_is_no_answer(asking, cell, said):
    entry = marked(None, cell)
    assert (of_the_rig(entry).word, of_the_rig(entry).score) == ("Not attempted yet", 0)
    assert (of_the_rig(entry).sentence, entry.scores["12/bones"], entry.flags) == (said, 1, ())


@in_a_jail
def test_a_rig_that_could_not_be_read_is_said_to_learner_and_teacher(asking):
    entry = marked(problem="Vigga/w.glb: The file is larger than 10 MiB.")
    assert (
        of_the_rig(entry).sentence
        == "the rig file cannot be read. Vigga/w.glb: The file is larger than 10 MiB."
    )
    assert entry.flags == (
        "A rig file cannot be read. Vigga/w.glb: The file is larger than 10 MiB.",
    )


@in_a_jail
def test_a_rig_alone_leaves_the_rest_blank(asking):
    entry = marked(rig_files.WALKER, notebook=False)
    assert entry.scores == {"12/bones": 0, "12/my_rig": 1}
    assert entry.outcomes[0].sentence == "no answer was handed in."
    assert "first cell to its last" not in learner_page.html(VIGGA, [entry])


@in_a_jail
@pytest.mark.parametrize("what", [*rig_files.UNREADABLE, *BOMBS])
def test_a_hostile_rig_costs_its_own_question(asking, what):
    data = rig_files.UNREADABLE[what] if what in rig_files.UNREADABLE else BOMBS[what][0]()
    entry = marked(data)
    assert entry.marked
    assert entry.scores == {"12/bones": 1, "12/my_rig": 0}
    assert of_the_rig(entry).sentence.endswith(".")
    shown = markup.check(learner_page.html(VIGGA, [entry]))
    assert len(shown.html) < 50_000


@in_a_jail
def test_names_that_are_markup_are_words_on_the_page(asking):
    entry = marked(
        rig_files.data(rig_files.called(rig_files.MARKUP)),
        f"my_rig = {rig_files.MARKUP + '.glb'!r}",
    )
    assert of_the_rig(entry).word == "Not yet"
    assert "script" in markup.check(learner_page.html(VIGGA, [entry])).text
    markup.check(
        learner_page.html(VIGGA, [marked(None, f"my_rig = {rig_files.MARKUP + '.glb'!r}")])
    )


class Ending:
    """A jail that inspects nothing: that run ends as it is told."""

    def __init__(self, end, *records, cells="finished"):
        self._end, self._records, self._cells = end, list(records), cells

    def run(self, request, seconds=20.0):
        files = [call.question for call in request.calls if call.kind == "file"]
        records = (
            {name: self._records for name in files if self._records}
            if files
            else {"bones": [{"out": 2.0}]}
        )
        return Run(
            self._end if files else self._cells,
            None,
            (),
            records,
            "",
            0.1,
            0.1,
            1,
            False,
            {"kind": "bwrap", "why": "no room"},
        )


@pytest.mark.parametrize(
    ("run", "said", "again"),
    [
        (Ending("time limit"), "took longer than it may", True),
        (Ending("finished", {"end": "stopped", "seconds": 10.0}), "took longer than it may", True),
        (Ending("memory"), "asked for more memory", False),
        (
            Ending("memory", {"end": "raised", "type": "MemoryError", "message": "", "line": None}),
            "more memory",
            False,
        ),
        (
            Ending("finished", {"end": "raised", "type": "KeyError", "message": "", "line": 3}),
            "with KeyError",
            False,
        ),
        (Ending("output limit"), "ended early", False),
        (Ending("stopped early"), "ended early", False),
    ],
)
def test_an_inspection_that_is_cut_short_costs_its_question_and_is_flagged(
    asking, run, said, again
):
    entry = mark_submission(submitted(rig_files.WALKER), run)
    assert (entry.marked, entry.end, entry.scores) == (
        True,
        "finished",
        {"12/bones": 1, "12/my_rig": 0},
    )
    assert said in of_the_rig(entry).sentence
    assert [said in flag for flag in entry.flags] == [True]
    assert ran_out_of_time(entry) == again


@pytest.mark.parametrize(
    "run", [Ending("jail did not start"), Ending("finished", cells="jail did not start")]
)
def test_where_a_jail_does_not_start_nothing_is_marked(asking, run):
    entry = mark_submission(submitted(rig_files.WALKER), run)
    assert (entry.marked, entry.score) == (False, None)
    assert entry.why == "The jail did not start: no room"


def test_what_comes_back_is_answered_in_time_all_the_same(asking):
    run = Ending("time limit", rig_file.record_file(rig_files.WALKER))
    assert of_the_rig(mark_submission(submitted(rig_files.WALKER), run)).score == 1


# --- a class


@pytest.fixture
def room(tmp_path, asking, monkeypatch):
    """Four learners of lesson 12, marked in this process: two with the same rig, one with junk, one
    with none."""
    (tmp_path / "roster.csv").write_text("id,name\np1,Anneke\np2,Bastian\np3,Cleo\np4,Dagny\n")
    rigs = {"p1": rig_files.WALKER, "p2": rig_files.WALKER, "p3": b"junk", "p4": None}
    for who, rig in rigs.items():
        (tmp_path / "in" / who).mkdir(parents=True)
        (tmp_path / "in" / who / "12.ipynb").write_bytes(
            rig_files.notebook_12("bones = 2", name=who)
        )
        if rig is not None:
            (tmp_path / "in" / who / "walker.glb").write_bytes(rig)
    monkeypatch.setattr(pipeline, "_executor", lambda *_: Here(opened("unjailed")))
    return tmp_path


def mark(room):
    return pipeline.mark_class(room / "in", room / "out", room / "roster.csv")


def entries(room):
    with Record(room / "out" / RECORD, create=False) as record:
        return {entry.learner.id: entry for entry in record.entries()}


@in_a_jail
def test_a_class_is_marked_with_its_rigs(room):
    assert mark(room).not_marked == ()
    found = entries(room)
    assert [found[who].scores["12/my_rig"] for who in ("p1", "p2", "p3", "p4")] == [1, 1, 0, 0]
    assert all(entry.scores["12/bones"] == 1 for entry in found.values())
    page = (room / "out" / "class.html").read_text()
    assert "The rig file is the same, byte for byte." in page
    assert "rig file for my_rig" in (room / "out" / "learners" / "p1.html").read_text()


@in_a_jail
def test_a_changed_rig_is_marked_anew_and_nothing_else(room):
    mark(room)
    before = entries(room)
    assert before["p1"].digest != before["p2"].digest  # other notebooks
    (room / "in" / "p3" / "walker.glb").write_bytes(rig_files.WALKER)
    (room / "in" / "p4" / "walker.glb").write_bytes(rig_files.WALKER)
    assert mark(room).already == 2
    after = entries(room)
    assert [after[who].scores["12/my_rig"] for who in ("p3", "p4")] == [1, 1]
    assert [after[who] for who in ("p1", "p2")] == [before[who] for who in ("p1", "p2")]
    (room / "in" / "p1" / "walker.glb").unlink()
    mark(room)
    assert entries(room)["p1"].scores["12/my_rig"] == 0
    assert mark(room).already == 4


@in_a_jail
def test_a_rig_too_large_is_said_in_the_summary_and_on_the_page(room):
    with open(room / "in" / "p3" / "walker.glb", "r+b") as file:
        file.truncate(11 * 2**20)
    summary = mark(room)
    assert [place for place, _ in summary.not_marked] == ["p3/walker.glb"]
    assert "10 MiB" in of_the_rig(entries(room)["p3"]).sentence
    assert "Export fewer vertices" in (room / "out" / "learners" / "p3.html").read_text()
    assert mark(room).already == 4


@in_a_jail
def test_a_rig_beside_a_notebook_that_cannot_be_read_costs_nobody_the_other_marks(room):
    os.truncate(room / "in" / "p1" / "12.ipynb", 11 * 2**20)
    assert [place for place, _ in mark(room).not_marked][:1] == ["p1/walker.glb"]
    assert entries(room)["p1"].score is None
    assert "p1/12.ipynb: The file is larger than 10 MiB" in entries(room)["p1"].why


@in_a_jail
def test_a_rig_alone_is_a_submission_of_its_lesson(room):
    (room / "in" / "p1" / "12.ipynb").unlink()
    assert mark(room).missing == ()
    assert entries(room)["p1"].scores == {"12/bones": 0, "12/my_rig": 1}
    assert entries(room)["p1"].flags == ("A rig file was handed in, and no notebook.",)


def test_the_same_rig_is_a_sign():
    found = likeness.same_rigs([("p1", "a"), ("p2", "b"), ("p3", "a"), ("p3", "a"), ("p4", "c")])
    assert [(group.kind, group.learners, group.share) for group in found] == [
        ("the same rig", ("p1", "p3"), 1.0)
    ]
    assert likeness.same_rigs([]) == []


# --- lesson 12 as it is


KINDS = (
    "right",
    "misconception",
    "copy",
    "hostile rig",
    "no rig",
    "blank",
    *["misconception"] * 11,
    "hostile rig",
    "hostile",
    "unreadable",
)


@in_a_jail
def test_a_class_of_lesson_12_is_marked(tmp_path):
    opened()
    made = classroom.make_class(tmp_path, len(KINDS), "12", KINDS)
    summary = pipeline.mark_class(
        tmp_path / "submissions", tmp_path / "out", tmp_path / "roster.csv"
    )
    assert [place for place, _ in summary.not_marked] == [
        f"{classroom._name(19)} (p0019)/12-sign-a-rig-off.ipynb"
    ]
    with Record(tmp_path / "out" / RECORD, create=False) as record:
        found = {entry.learner.id: entry for entry in record.entries()}
        groups = [group for group in record.last_run()["groups"] if group["kind"] == "the same rig"]
    assert [group["learners"] for group in groups] == [["p0000", "p0002"]]
    for who, entry in found.items():
        what, _, more = made[who].partition(": ")
        others = {name: score for name, score in entry.scores.items() if name != "12/my_rig"}
        if what == "right":
            assert (entry.score, entry.flags) == (1, ())
        elif what == "copy":  # made for another's character
            assert 0 < entry.scores["12/my_rig"] < 1
        elif what in ("hostile rig", "no rig"):
            assert (entry.scores["12/my_rig"], set(others.values())) == (0, {1})
        elif what == "misconception":
            question, name = more.split(" ", 1)
            assert [o.misconception for o in entry.outcomes if o.question == question] == [name]
            assert {score for other, score in entry.scores.items() if other != question} == {1}
        elif what == "blank":
            assert entry.score == 0
        assert what == "unreadable" or markup.check(
            (tmp_path / "out" / "learners" / f"{who}.html").read_text()
        )
    wrong = [
        more
        for kind in made.values()
        for what, _, more in [kind.partition(": ")]
        if what == "misconception"
    ]
    assert sum(more.startswith("12/my_rig") for more in wrong) == 2
