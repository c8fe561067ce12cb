"""Names to learners: class lists of every make, and places of every kind."""

import re
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rigkit.marking import roster
from rigkit.marking.assign import assign, lesson_of_place
from rigkit.marking.entry import Learner
from rigkit.marking.submission import File, Problem

EXERCISE = "06-preset-bend"
CLASS = roster.Roster(
    (
        Learner("p0001", "Tamsin Bollard", "tamsin.bollard@parade.example"),
        Learner("p0002", "Odo O'Tide", also=("Otto Tide",)),
        Learner("p0003", "Sören Ebb"),
        Learner("4", "Pip"),
        Learner("p0005", "Pip Halyard"),
        Learner("2026/17-B", "Anna Maria van der Jetty"),
        Learner("p0007", "Pip Halyard"),
        Learner("06", "Zoë Islet"),
    )
)


def file(place, lesson="06", modified="2026-11-25T10:00:00", digest=""):
    return File(place, digest, modified, lesson, bytes)


def owners(*places, roster=CLASS):
    """Each place's learner, as an id; or a tuple of those who make it ambiguous, empty for
    nobody."""
    placed = _place(places, roster)
    found = {file.place: who for (who, _), file in placed.of.items()}
    found |= {aside.file.place: aside.learners[0] for aside in placed.extra}
    found |= {aside.file.place: aside.learners for aside in (*placed.ambiguous, *placed.unplaced)}
    return [found[place] for place in places]


def _place(places, learners):
    return assign([file(place) for place in places], learners)


# --- the list


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_list_is_read_in_any_common_encoding_and_form(tmp_path, encoding, delimiter, end):
    rows = [
        ["ID", "Name", "E-Mail", "Group", "Other names"],
        ["p1", '"Ebb, ""Sören"""', "s@parade.example", "quay", '"Søren;Ebbi|E"'],
        [],
        ["p2", "Zoë Islet"],
    ]
    (tmp_path / "r.csv").write_bytes(end.join(delimiter.join(row) for row in rows).encode(encoding))
    assert list(roster.read(tmp_path / "r.csv")) == [
        Learner("p1", 'Ebb, "Sören"', "s@parade.example", "quay", ("Søren", "Ebbi", "E")),
        Learner("p2", "Zoë Islet"),
    ]


@pytest.mark.parametrize(
    ("text", "learner"),
    [
        ("name\nTamsin Bollard", Learner("Tamsin Bollard", "Tamsin Bollard")),
        ("student id\np1", Learner("p1", "p1")),
        ("First name,Surname,Username\nTamsin,Bollard,p1", Learner("p1", "Tamsin Bollard")),
        ("Family-Name;Given_Name\nBollard;Tamsin", Learner("Tamsin Bollard", "Tamsin Bollard")),
        ("id,name,name\np1,Tamsin,Odo", Learner("p1", "Tamsin")),
        ("note,id,name\nlate, p1 , Tamsin ,and,more", Learner("p1", "Tamsin")),
        ("id,name,email\np1,Tamsin", Learner("p1", "Tamsin")),
        ("id,name,also\np1,Tamsin,Tam; ;T.B.", Learner("p1", "Tamsin", also=("Tam", "T.B."))),
        ("\n\nid,name\n\n,\np1,So\u0308ren", Learner("p1", "S\u00f6ren")),
        (
            'id,name\np1,"Tam\nsin\u202e"',
            Learner("p1", "Tam\N{REPLACEMENT CHARACTER}sin\N{REPLACEMENT CHARACTER}"),
        ),
        ("id,name\np1,Tamsin\u00a0Bollard", Learner("p1", "Tamsin Bollard")),
    ],
)
def test_columns_are_known_by_common_words(tmp_path, text, learner):
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    assert list(roster.read(tmp_path / "r.csv")) == [learner]


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "must name its columns"),
        (b"p1,Tamsin\np2,Odo", "must name its columns"),
        (b"email\na@b.c", "must name"),
        (b"first name\nTamsin", "must name"),
        (b"id,name", "lists nobody"),
        (b"id,name\n,Tamsin", "Line 2 .* no id"),
        (b"id,name\np1,Tamsin\n\nP1,Odo", "Line 4 .* again"),
        ("id\nstraße\nSTRASSE".encode(), "Line 3 .* again"),
        (b"id,name\np1," + b"x" * 200_000, "cannot be read as CSV"),
        (b"\xff\xfe\x00", "not text"),
        (b"\x89\x81\x8d", "not text"),
        (b"id\n" + b"\n".join(b"%d" % n for n in range(100_001)), "100,000"),
        (b"id\n" + b" " * 10 * 2**20, "10 MiB"),
    ],
)
def test_a_list_that_will_not_do_is_refused_with_its_line(tmp_path, data, word):
    (tmp_path / "r.csv").write_bytes(data)
    with pytest.raises(ValueError, match=word):
        roster.read(tmp_path / "r.csv")


@pytest.mark.parametrize(
    "head",
    [
        "sourcedId,status,dateLastModified,enabledUser,username,givenName,familyName,email",
        "userSourcedId,status,x,y,username,givenName,familyName,email",
    ],
)
def test_the_heads_of_a_schools_own_system_are_known(tmp_path, head):
    row = "u-1,active,2026-11-25,true,tbollard,Tamsin,Bollard,t@parade.example"
    (tmp_path / "r.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
    assert list(roster.read(tmp_path / "r.csv")) == [
        Learner("u-1", "Tamsin Bollard", "t@parade.example")
    ]


def test_title_lines_above_the_heads_are_skipped(tmp_path):
    text = "Harbour class, autumn\nPrinted on 25 November\n\nid;name\np1;Tamsin\n"
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    assert list(roster.read(tmp_path / "r.csv")) == [Learner("p1", "Tamsin")]


def test_heads_in_another_language_are_named_and_the_error_says_how(tmp_path):
    (tmp_path / "r.csv").write_text("Nr;Navn\np1;Åse\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"learner id.*full name.*surname.*--columns id=Nr"):
        roster.read(tmp_path / "r.csv")
    columns = {"id": "nr", "name": "Navn"}
    assert list(roster.read(tmp_path / "r.csv", columns)) == [Learner("p1", "Åse")]
    (tmp_path / "r.csv").write_text("Name;Fornavn;Etternavn\np1;Åse;Sørensen\n", encoding="utf-8")
    columns = {"id": "Name", "first": "Fornavn", "surname": "Etternavn"}
    assert list(roster.read(tmp_path / "r.csv", columns)) == [Learner("p1", "Åse Sørensen")]


@pytest.mark.parametrize(
    ("columns", "word"),
    [({"id": "Nummer"}, "no column 'Nummer'"), ({"who": "id"}, "got 'who'")],
)
def test_columns_that_are_not_there_are_refused(tmp_path, columns, word):
    (tmp_path / "r.csv").write_text("id,name\np1,Tamsin\n", encoding="utf-8")
    with pytest.raises(ValueError, match=word):
        roster.read(tmp_path / "r.csv", columns)


def test_a_list_that_is_not_there_is_refused(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(ValueError, match="cannot be read"):
            roster.read(path)


# --- whose is it


@pytest.mark.parametrize(
    ("place", "owner"),
    [
        ("Tamsin Bollard (p0001)/06-preset-bend.ipynb", "p0001"),
        ("p0001/06-preset-bend.ipynb", "p0001"),
        ("P0001_06.ipynb", "p0001"),
        ("bollard_tamsin_9921_file_06-preset-bend.ipynb", "p0001"),
        ("Bollard, Tamsin/06-preset-bend (1).ipynb", "p0001"),
        ("bollardtamsin_9921_06-preset-bend.ipynb", "p0001"),
        ("tamsinbollard-06.ipynb", "p0001"),
        ("tamsin.bollard@parade.example/06.ipynb", "p0001"),
        ("tamsin.bollard.zip/work/06.ipynb", "p0001"),
        ("week 3/group b/06 - TAMSIN BOLLARD - 2026-11-25.ipynb", "p0001"),
        ("odo_o_tide_06.ipynb", "p0002"),
        ("Otto-Tide-06.ipynb", "p0002"),
        ("So\u0308ren Ebb/06.ipynb", "p0003"),
        ("SÖREN EBB.ipynb", "p0003"),
        ("4/06-preset-bend.ipynb", "4"),
        ("Pip_4_06-preset-bend.ipynb", "4"),
        ("Pip.ipynb", "4"),
        ("Pip Halyard (p0005)/06-preset-bend.ipynb", "p0005"),
        ("2026-17-B/06.ipynb", "2026/17-B"),
        ("jettyannamariavander_1_2.ipynb", "2026/17-B"),
        ("Jetty Anna Maria van der.ipynb", "2026/17-B"),
        ("Islet_Zoë_06-preset-bend.ipynb", "06"),
        # nobody
        ("Bollard_06.ipynb", ()),
        ("p00011_06.ipynb", ()),
        ("Tamsinbollards.ipynb", ()),
        ("06-preset-bend (4).ipynb", ()),
        ("attempt 4 of it.ipynb", ()),
        ("06-preset-bend.ipynb", ()),
        ("Tamsin/Bollard.ipynb", ()),
        ("Ebbe Sören.ipynb", ()),
        # several
        ("Pip Halyard/06-preset-bend.ipynb", ("p0005", "p0007")),
        ("Tamsin Bollard and Sören Ebb.ipynb", ("p0001", "p0003")),
        ("Tamsin Bollard/Sören Ebb.ipynb", ("p0001", "p0003")),
        ("p0001/p0003/06.ipynb", ("p0001", "p0003")),
        # what one part leaves open another decides
        ("Pip Halyard/p0007_06.ipynb", "p0007"),
        ("Tamsin Bollard with Sören Ebb/p0003.ipynb", "p0003"),
    ],
)
def test_a_place_names_its_learner_by_whole_words(place, owner):
    assert owners(place, "zzz/other.ipynb")[0] == owner


def test_a_folder_all_are_in_counts_only_where_nothing_else_tells():
    inside = ["Tamsin Bollard's class/p0002.ipynb", "Tamsin Bollard's class/p0003.ipynb"]
    assert owners(*inside) == ["p0002", "p0003"]
    assert owners("late/p0001/06-preset-bend.ipynb", "late/p0001/07-knee-direction.ipynb") == [
        "p0001",
        "p0001",
    ]
    assert owners("p0001/p0003.ipynb") == [
        ("p0001", "p0003")
    ]  # alone, so that nobody gets another's work


def test_lessons_are_told_by_the_code_or_else_by_the_place():
    placed = assign(
        [
            file("p0001/a.ipynb", "07"),
            file("p0001/05-two-bone-answer.ipynb", None),
            file("p0001/homework 6.ipynb", None),
            file("p0001/essay.ipynb", None),
        ],
        CLASS,
    )
    assert set(placed.of) == {("p0001", "05"), ("p0001", "06"), ("p0001", "07")}
    (aside,) = placed.unplaced
    assert (aside.file.place, aside.learners) == ("p0001/essay.ipynb", ("p0001",))
    assert "Nothing in the file opens homework" in aside.why


@pytest.mark.parametrize(
    ("place", "lesson"),
    [
        ("06-preset-bend.ipynb", "06"),
        ("Pip_12_06_Preset_Bend-Copy1.ipynb", "06"),
        ("06.ipynb", "06"),
        ("hw6.ipynb", "06"),
        ("Lesson 06/Pip.ipynb", "06"),
        ("07/hw06.ipynb", "06"),
        ("EXERCISE-07 Pip.ipynb", "07"),
        ("pip 06.ipynb", None),
        ("hw66.ipynb", None),
        ("hw006.ipynb", None),
        ("lesson 00.ipynb", None),
        ("", None),
        ("preset-bend.ipynb", None),
        ("06-preset-bender.ipynb", None),
        ("106-preset-bend.ipynb", None),
    ],
)
def test_a_place_says_its_lesson(place, lesson):
    assert lesson_of_place(place) == lesson


def test_the_newest_counts_and_the_older_are_listed():
    files = [
        file("p0001/b.ipynb", modified="2026-11-25T10:00:01"),
        file("p0002/c.ipynb"),
        file("p0001/a.ipynb", modified="2026-11-25T10:00:02"),
        file("p0001/c.ipynb", modified="2026-11-24T10:00:03"),
    ]
    for order in (files, files[::-1]):
        placed = assign(order, CLASS)
        assert placed.of["p0001", "06"].place == "p0001/a.ipynb"
        assert [(aside.file.place, aside.learners) for aside in placed.extra] == [
            ("p0001/c.ipynb", ("p0001",)),
            ("p0001/b.ipynb", ("p0001",)),
        ]
        assert placed.notes == {
            ("p0001", "06"): (
                (
                    "3 files were handed in; p0001/a.ipynb, the newest, was marked, and not"
                    " p0001/c.ipynb, p0001/b.ipynb."
                ),
            )
        }


def test_of_equal_dates_the_later_copy_counts_and_homework_counts_before_what_only_has_its_name():
    placed = assign([file(f"p0001/06-preset-bend ({n}).ipynb") for n in (2, 10, 9)], CLASS)
    assert placed.of["p0001", "06"].place == "p0001/06-preset-bend (10).ipynb"
    placed = assign(
        [
            file("p0001/exercises/06-preset-bend.ipynb", "06"),
            file("p0001/lessons/06-preset-bend.ipynb", None, modified="2027-01-01T00:00:00"),
        ],
        CLASS,
    )
    assert placed.of["p0001", "06"].place == "p0001/exercises/06-preset-bend.ipynb"


@pytest.mark.parametrize(
    "later",
    [
        "06-preset-bend (1)",
        "06-preset-bend(1)",
        "06-preset-bend-1",
        "06-preset-bend-Copy1",
        "06-preset-bend - Copy",
        "06-preset-bend - Copy (2)",
    ],
)
def test_a_copys_counter_tells_which_is_later_where_the_times_are_one(later):
    first, second = file("p0001/06-preset-bend.ipynb", digest="a"), file(f"p0001/{later}.ipynb")
    for order in ([first, second], [second, first]):
        placed = assign(order, CLASS)
        assert placed.of["p0001", "06"] == second
        assert not placed.rivals
        (note,) = placed.notes["p0001", "06"]
        assert f"{second.place}, the latest copy by its name, was marked" in note
    older = replace(second, modified="2026-11-24T10:00:00")
    assert assign([older, first], CLASS).of["p0001", "06"] == first


def test_where_nothing_tells_which_is_newer_both_are_marked_and_it_is_said():
    files = [file(f"p0001/{name}.ipynb", digest=name) for name in ("final", "really final", "old")]
    files[2] = replace(files[2], modified="2026-11-24T10:00:00")
    placed = assign(files, CLASS)
    marked = {placed.of["p0001", "06"], *placed.rivals["p0001", "06"]}
    assert marked == {*files[:2]}
    (note,) = placed.notes["p0001", "06"]
    assert "nothing tells which of" in note
    assert "newest" not in note.replace("is the newest: each was marked", "")
    assert [aside.file for aside in placed.extra] == [files[2]]


def test_of_the_same_file_twice_one_is_marked():
    placed = assign([file(f"p0001/{name}.ipynb", digest="a") for name in "bc"], CLASS)
    assert not placed.rivals


def test_who_is_missing_and_whose_problem_it_is():
    problems = [
        Problem("p0002/answer.docx", "a text"),
        Problem("readme.txt", "a text"),
        Problem("Pip Halyard/x.pdf", "a print"),
        Problem("p0001/x.pdf", "a print"),
    ]
    placed = assign([file("p0001/06.ipynb"), file("p0003/x.ipynb", None)], CLASS, problems)
    assert placed.problems == {"p0002": (problems[0],), "p0001": (problems[3],)}
    assert [learner.id for learner in placed.missing] == ["4", "p0005", "2026/17-B", "p0007", "06"]
    assert placed.learners == CLASS.learners


def test_nothing_handed_in_leaves_everybody_missing():
    placed = assign([], CLASS)
    assert (dict(placed.of), placed.missing) == ({}, CLASS.learners)
    assert assign([]).learners == ()


@pytest.mark.parametrize(
    ("places", "learners"),
    [
        (["Tamsin (p1)/06.ipynb", "Odo/06.ipynb"], ["Tamsin (p1)", "Odo"]),
        (["class/Tamsin/exercises/06.ipynb", "class/Odo/x.ipynb"], ["Tamsin", "Odo"]),
        (["Tamsin_06-preset-bend.ipynb", "Odo 06-preset-bend (1).ipynb"], ["Tamsin", "Odo"]),
        (["Tamsin.ipynb", "Odo.IPYNB", "Pip.zip/06.ipynb"], ["Tamsin", "Odo", "Pip"]),
        (
            [
                "x/Tamsin/exercises/06-preset-bend.ipynb",
                "x/Tamsin/exercises/07-knee-direction.ipynb",
            ],
            ["Tamsin", "Tamsin"],
        ),
        (["Tamsin/06-preset-bend.ipynb"], ["Tamsin"]),
        (["06-preset-bend.ipynb"], ["06-preset-bend"]),
        (["Zoe\u0308/06.ipynb", "zo\u00eb/07.ipynb"], ["Zoë", "Zoë"]),
    ],
)
def test_without_a_roster_a_folder_or_a_files_name_is_the_learner(places, learners):
    assert owners(*places, roster=None) == learners


def test_without_a_roster_problems_are_of_those_who_have_a_folder():
    problems = [
        Problem("Odo/x.docx", "a text"),
        Problem("Pip.ipynb", "too large"),
        Problem("readme.txt", "a text"),
    ]
    placed = assign([file("Tamsin/06.ipynb"), file("Vigga/06.ipynb")], None, problems)
    assert [learner.id for learner in placed.learners] == ["Odo", "Pip", "Tamsin", "Vigga"]
    assert placed.problems == {"Odo": (problems[0],), "Pip": (problems[1],)}
    assert placed.missing == ()


# --- properties

name = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20).filter(
    roster.words
)


@given(
    st.lists(
        name, min_size=1, max_size=6, unique_by=lambda text: tuple(sorted(roster.words(text)))
    ),
    st.sampled_from(
        ["{}/06.ipynb", "{}_06-preset-bend.ipynb", "x y/{} - 2.ipynb", "{}.zip/w/06.ipynb"]
    ),
)
def test_a_file_under_a_learners_id_is_never_given_to_another(names, form):
    learners = roster.Roster(
        tuple(Learner(f"q{number}x", each) for number, each in enumerate(names))
    )
    files = [file(form.format(f"q{number}x")) for number in range(len(names))]
    placed = assign(files, learners)
    for (who, _), each in placed.of.items():
        assert who in each.place
    assert len(placed.of) + len(placed.ambiguous) == len(files)


@given(name)
def test_composition_and_case_make_no_difference(text):
    learners = roster.Roster((Learner("q1x", text), Learner("q2x", "nobody else")))
    clean = " ".join(roster.words(text))
    assume(len(clean) > 2 and roster.words(clean.upper()) == roster.words(clean))
    for form in (clean, unicodedata.normalize("NFD", clean), clean.upper()):
        assert owners(f"{form}/zz.ipynb", roster=learners) == ["q1x"]


@given(st.lists(st.text(max_size=30), max_size=6))
def test_any_places_are_placed_or_said(places):
    for learners in (CLASS, None):
        files = [file(place, None) for place in places]
        placed = assign(files, learners, [Problem(place, "why") for place in places])
        said = [
            *placed.of.values(),
            *(a.file for a in (*placed.extra, *placed.unplaced, *placed.ambiguous)),
        ]
        assert sorted(f.place for f in said) == sorted(places)


# --- without a list: names typed in notebooks


def _typed(*files):
    """The other names of each learner, without a roster, of (place, name typed in the notebook)."""
    placed = assign([replace(file(place), claimed=claimed) for place, claimed in files])
    assert {key[0] for key in placed.of} == {learner.id for learner in placed.learners}
    return {learner.id: learner.also for learner in placed.learners}


@pytest.mark.parametrize(
    ("place", "claimed", "fits"),
    [
        ("pip-halyard.ipynb", "Pip Halyard", True),
        ("Halyard, Pip.ipynb", "pip halyard", True),
        (f"Pip Halyard_4711_file/{EXERCISE}.ipynb", "Pip Halyard", True),
        ("PipHalyard.ipynb", "Pip Halyard", True),
        ("Sören Ebb.ipynb", unicodedata.normalize("NFD", "Sören Ebb"), True),
        ("pip.ipynb", "Pip", True),
        ("pip-halyard.ipynb", "learner-07", False),
        ("pip-halyard.ipynb", "Pipp Halyard", False),
        ("pip-halyard.ipynb", "Pip Islet", False),
        ("phillip.ipynb", "Phil", False),
        ("soren.ipynb", "Sören", True),
    ],
)
def test_a_typed_name_is_the_learners_own_where_it_stands_whole_in_the_place(place, claimed, fits):
    found = _typed((place, claimed), ("zoe-islet.ipynb", "learner-07"))
    assert found.pop("zoe-islet") == ()
    assert list(found.values()) == [(claimed,) if fits else ()]


def test_a_typed_name_that_may_be_anothers_is_nobodys():
    assert _typed(("pip-halyard.ipynb", "Pip"), ("pip-islet.ipynb", "Pip")) == {
        "pip-halyard": (),
        "pip-islet": (),
    }
    assert _typed(("pip-halyard.ipynb", "Pip"), ("pip-islet.ipynb", "?")) == {
        "pip-halyard": (),
        "pip-islet": (),
    }
    assert _typed(("pip-halyard.ipynb", "Pip"), ("pip-islet.ipynb", "Pip Islet")) == {
        "pip-halyard": ("Pip",),
        "pip-islet": ("Pip Islet",),
    }  # then there is no other Pip
    assert _typed(("ann-lee.ipynb", "Lee Ann"), ("lee-ann.ipynb", "Ann Lee")) == {
        "ann-lee": (),
        "lee-ann": (),
    }
    assert _typed(("odo.ipynb", "Zoë"), ("zoë.ipynb", "Zoë")) == {"odo": (), "zoë": ("Zoë",)}
    assert _typed(("mary-ann-ebb.ipynb", "Mary Ann Ebb"), ("ann-ebb.ipynb", "Ann Ebb")) == {
        "mary-ann-ebb": ("Mary Ann Ebb",),
        "ann-ebb": ("Ann Ebb",),
    }


def test_a_list_may_have_as_many_lines_as_are_said(tmp_path, monkeypatch):
    monkeypatch.setattr(roster, "MOST_LEARNERS", 3)
    (tmp_path / "r.csv").write_text("id\np1\np2\np3\n")
    assert len(roster.read(tmp_path / "r.csv")) == 3
    (tmp_path / "r.csv").write_text("id\np1\np2\np3\np4\n")
    with pytest.raises(ValueError, match="more than 3 lines"):
        roster.read(tmp_path / "r.csv")


def test_a_number_of_three_digits_names_somebody_among_other_words():
    learners = roster.Roster((Learner("117", "Ilka Fathom"), Learner("17", "Momme Groyne")))
    assert owners("my walk 117/06-preset-bend.ipynb", roster=learners) == ["117"]
    assert owners("my walk 17/06-preset-bend.ipynb", roster=learners) == [()]


# --- names within longer names

LEES = roster.Roster((Learner("p1", "Ann Lee"), Learner("p2", "Ann Lee Smith")))


@pytest.mark.parametrize(
    ("place", "owner"),
    [
        ("Ann Lee Smith/06.ipynb", "p2"),
        ("Ann Lee Smith_4711_06-preset-bend.ipynb", "p2"),
        ("ann_lee_smith_06.ipynb", "p2"),
        ("Smith, Ann Lee/06.ipynb", "p2"),
        ("Ann Lee_4711_Smith 06.ipynb", "p1"),
        ("Ann Lee/Smith 06.ipynb", "p1"),
        ("Ann Lee_Smith 06-preset-bend.ipynb", ("p1", "p2")),
        ("Ann Lee - Smith 06.ipynb", ("p1", "p2")),
        ("Ann Lee/Ann Lee Smith 06.ipynb", ("p1", "p2")),
        ("Ann Lee_Smith p2 06.ipynb", ("p1", "p2")),
        ("Ann Lee_Smith/p2_06-preset-bend.ipynb", "p2"),
    ],
)
def test_a_longer_name_counts_only_where_it_is_written_as_one(place, owner):
    assert owners(place, "zzz/other.ipynb", roster=LEES)[0] == owner


def test_what_is_less_surely_theirs_replaces_nothing_that_surely_is():
    sure = file("p2/06.ipynb", modified="2026-11-25T10:00:00")
    unsure = file("ann_lee_smith 06.ipynb", modified="2026-11-26T10:00:00")
    within = file("zed/Ann Lee Smith p2.ipynb", modified="2026-11-27T10:00:00")
    for other in (unsure, within):
        for order in ([sure, other], [other, sure]):
            placed = assign([*order, file("p1/06.ipynb")], LEES)
            assert placed.of["p2", "06"] == sure
            (note,) = placed.notes["p2", "06"]
            assert note == (
                f"2 files were handed in; {sure.place}, the one most surely theirs, was marked, and"
                f" not {other.place}."
            )


# --- names however they are written

HARBOUR = roster.Roster(
    (
        Learner("h1", "Åse Sørensen"),
        Learner("h2", "Jürgen Groß"),
        Learner("h3", "Anna Lena von der Mole"),
        Learner("h4", "Joel Mueller"),
        Learner("h5", "Łukasz Nowak"),
        Learner("h6", "Soren Ebb"),
        Learner("h7", "Sören Ebb"),
    )
)


@pytest.mark.parametrize(
    ("written", "owner"),
    [
        ("Sørensen, Åse", "h1"),
        ("Ase Sorensen", "h1"),
        ("aasesorensen", "h1"),
        ("AASE SOERENSEN", "h1"),
        ("sorensen.aase", "h1"),
        (unicodedata.normalize("NFD", "Jürgen Groß"), "h2"),
        ("juergengross", "h2"),
        ("jurgen_gross", "h2"),
        ("vondermoleannalena", "h3"),
        ("vondermole_annalena", "h3"),
        ("Mole Anna Lena von der", "h3"),
        ("Joël Müller", "h4"),
        ("lukasz nowak", "h5"),
        ("Sören Ebb", "h7"),
        ("Joel Muller", ()),  # may be another's name
        ("Jol Mueller", ()),
        ("Soren Ebb", ("h6", "h7")),  # some write both so
        ("sorenebb", ("h6", "h7")),
    ],
)
def test_names_are_known_however_they_are_written(written, owner):
    assert owners(f"{written}/06.ipynb", "zzz/other.ipynb", roster=HARBOUR)[0] == owner
    assert owners(f"{written}_4711_06.ipynb", "zzz/other.ipynb", roster=HARBOUR)[0] == owner


def test_a_name_in_separate_columns_is_known_beside_the_whole_one(tmp_path):
    (tmp_path / "r.csv").write_text(
        "id,name,surname,first name\np1,Ase S.,Sørensen,Åse\n", encoding="utf-8"
    )
    listed = roster.read(tmp_path / "r.csv")
    assert list(listed) == [Learner("p1", "Ase S.", also=("Åse Sørensen",))]
    assert owners("sorensen_aase.ipynb", "zzz/x.ipynb", roster=listed)[0] == "p1"


def _advised(why, old):
    """The place that a file gets by what is said of it: each name in quotes after `call it`."""
    folder = old.rpartition("/")[0]
    for moved, name in re.findall(r'(beside the folders, and )?call it "([^"]+)"', why):
        yield name if moved else f"{folder}/{name}".lstrip("/")


@pytest.mark.parametrize(
    "place",
    [
        "Pip Halyard/06-preset-bend.ipynb",
        "Tamsin Bollard and Sören Ebb.ipynb",
        "p0001/p0003/06.ipynb",
        "Zoë Islet and Pip and Anna Maria van der Jetty/06.ipynb",
    ],
)
def test_the_advice_on_a_file_of_several_works_as_it_is_printed(place):
    (aside,) = _place([place, "zzz/p0002.ipynb"], CLASS).ambiguous
    advised = list(_advised(aside.why, place))
    assert len(advised) == len(aside.learners)
    for who, new in zip(aside.learners, advised, strict=True):
        assert owners(new, "zzz/p0002.ipynb")[0] == who


@pytest.mark.parametrize("learner", [learner for learner in CLASS if learner.name != "Pip Halyard"])
def test_a_typed_name_that_is_on_the_list_is_proposed_and_the_advice_works(learner):
    stranger = replace(file("x77/work.ipynb"), claimed=learner.name.upper())
    placed = assign([stranger, file("zzz/p0007.ipynb")], CLASS)
    (aside,) = placed.unplaced
    assert aside.learners == (learner.id,)
    assert learner.id in aside.why
    (new,) = _advised(aside.why, stranger.place)
    assert owners(new, "zzz/p0007.ipynb")[0] == learner.id


def test_a_typed_name_of_two_or_of_nobody_is_not_proposed():
    for claimed in ("Pip Halyard", "Nobody Known", None):
        stranger = replace(file("x77/work.ipynb"), claimed=claimed)
        (aside,) = assign([stranger, file("zzz/p0007.ipynb")], CLASS).unplaced
        assert aside.learners == ()
        assert "--roster" in aside.why
