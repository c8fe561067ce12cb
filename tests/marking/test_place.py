"""Files to submissions: their digests, what is missing from them, and what is in none."""

from functools import partial

import pytest

from rigkit.marking.collect import Collected
from rigkit.marking.entry import Learner
from rigkit.marking.place import place
from rigkit.marking.roster import Roster
from rigkit.marking.submission import File, Problem, Stray, Submission, digest_of
from tests.marking import rig_files

VIGGA, ODO = Learner("p1", "Vigga Ebb"), Learner("p2", "Odo Tide")
CLASS = Roster((VIGGA, ODO))


def file(path, data=b"x", lesson="12"):
    return File(path, digest_of(data), "", lesson, partial(bytes, data))


def placed(*files, problems=(), lessons=()):
    return place(Collected(files, tuple(problems)), CLASS, lessons)


def test_a_notebook_alone_has_its_own_digest():
    (found,) = placed(file("p1/12.ipynb", b"book")).submissions
    assert (found.key, found.place, found.digest) == (
        ("p1", "12"),
        "p1/12.ipynb",
        digest_of(b"book"),
    )


@pytest.fixture
def asking(monkeypatch):
    rig_files.as_lesson_12(monkeypatch)


def test_a_digest_changes_with_every_file_and_with_what_cannot_be_read(asking):
    book, rig = file("p1/12.ipynb", b"book"), file("p1/my_rig.glb", b"rig", None)
    other, unread = file("p1/my_rig.glb", b"other", None), Problem("p1/my_rig.glb", "Too large.")
    found = [placed(book), placed(book, rig), placed(book, other), placed(book, problems=[unread])]
    digests = [one.submissions[0].digest for one in found]
    assert len(set(digests)) == 4
    assert found[3].submissions[0].rig_problem == "p1/my_rig.glb: Too large."
    again = placed(book, problems=[Problem("p1/my_rig.glb", "Not a rig.")])
    assert again.submissions[0].digest not in digests


def test_what_has_no_digest_or_another_one_is_due():
    found = placed(file("p1/06.ipynb", lesson="06"), problems=[Problem("p2/06.ipynb", "No text.")])
    first, unread = found.submissions
    assert unread == Submission(ODO, "06", "p2/06.ipynb", problem="No text.")
    assert found.due({}) == [first, unread]
    assert found.due({first.key: first.digest, unread.key: ""}) == [unread]
    assert found.due({first.key: "another"}) == [first, unread]


def test_what_lies_beside_a_notebook_does_not_matter_and_what_is_nobodys_does():
    beside, nobodys = Problem("p1/letter.txt", "A text."), Problem("p9/x.txt", "A text.")
    found = placed(
        file("p1/06.ipynb", lesson="06"),
        file("nobody/06.ipynb", lesson="06"),
        problems=[beside, nobodys],
    )
    assert [(stray.place, stray.matters) for stray in found.strays] == [
        ("p1/letter.txt", False),
        ("p9/x.txt", True),
        ("nobody/06.ipynb", True),
    ]
    assert Stray("a", "b").matters


def test_only_the_lessons_asked_for_are_placed():
    files = file("p1/06.ipynb", lesson="06"), file("p1/05.ipynb", lesson="05")
    assert [one.lesson for one in placed(*files).submissions] == ["05", "06"]
    assert [one.lesson for one in placed(*files, lessons=["06"]).submissions] == ["06"]


def test_bytes_that_changed_are_a_problem_and_keep_the_digest():
    changed = File("p1/06.ipynb", digest_of(b"before"), "", "06", partial(bytes, b"after"))
    (found,) = placed(changed).submissions
    loaded = found.loaded("seed")
    assert (loaded.notebook, loaded.digest, loaded.seed) == (None, changed.digest, "seed")
    assert "was changed" in loaded.problem


def by_key(found):
    return {one.key: (one.place, one.problem) for one in found.submissions}


def test_whose_file_cannot_be_told_has_handed_in_and_is_not_marked():
    both = file("Vigga Ebb and Odo Tide/06.ipynb", b"both", "06")
    found = placed(both, file("p1/05.ipynb", lesson="05"))
    assert [one.key for one in found.submissions] == [("p1", "05"), ("p1", "06"), ("p2", "06")]
    for one in found.submissions[1:]:
        assert (one.place, one.digest, one.notebook, one.untold) == (
            both.place,
            both.digest,
            None,
            True,
        )
        assert "Vigga Ebb and Odo Tide" in one.problem
    assert [stray.place for stray in found.strays] == [both.place]


def test_what_may_be_anothers_takes_the_place_of_nothing_that_was_marked():
    both = file("Vigga Ebb and Odo Tide/06.ipynb", b"both", "06")
    found = placed(both, file("p1/05.ipynb", b"5", lesson="05"))
    due = found.due({("p1", "06"): "another"})
    assert [one.key for one in due] == [("p1", "05"), ("p2", "06")]


def test_what_may_be_anothers_is_said_beside_what_is_theirs():
    both = file("Vigga Ebb and Odo Tide/06.ipynb", b"both", "06")
    found = placed(file("p1/06.ipynb", lesson="06"), both)
    vigga, _ = found.submissions
    assert vigga.place == "p1/06.ipynb"
    (note,) = vigga.notes
    assert both.place in note
    assert "not marked" in note


def test_a_file_whose_lesson_cannot_be_told_is_handed_in():
    found = placed(file("p1/work.ipynb", lesson=None), file("p2/06.ipynb", lesson="06"))
    assert by_key(found)["p1", "06"][0] == "p1/work.ipynb"


def test_every_file_that_cannot_be_read_is_told_in_its_own_lesson():
    bad = [Problem(f"p1/{name}", f"Bad {name}.") for name in ("05.ipynb", "06.ipynb", "hw6.ipynb")]
    found = placed(file("p2/06.ipynb", lesson="06"), file("p2/05.ipynb", lesson="05"), problems=bad)
    told = by_key(found)
    assert told["p1", "05"] == ("p1/05.ipynb", "Bad 05.ipynb.")
    assert told["p1", "06"] == (
        "p1/06.ipynb",
        "Bad 06.ipynb. p1/hw6.ipynb: Bad hw6.ipynb.",
    )
    assert found.strays == ()


def test_a_file_that_cannot_be_read_is_told_where_another_lesson_can():
    bad = Problem("p1/06.ipynb", "Cut short.")
    found = placed(file("p1/05.ipynb", lesson="05"), problems=[bad])
    assert by_key(found)["p1", "06"] == ("p1/06.ipynb", "Cut short.")


def test_a_file_that_cannot_be_read_beside_one_that_is_marked_is_said():
    bad = Problem("p1/06-preset-bend (1).ipynb", "Cut short.")
    found = placed(file("p1/06-preset-bend.ipynb", lesson="06"), problems=[bad])
    (one,) = found.submissions
    assert one.notes == (f"{bad.place} was handed in too, and cannot be read. Cut short.",)


def test_an_unknown_lesson_is_any_in_which_there_is_nothing_else():
    bad = Problem("p1/work.ipynb", "Cut short.")
    others = file("p2/06.ipynb", lesson="06"), file("p2/05.ipynb", lesson="05")
    mine = file("p1/05.ipynb", lesson="05")
    assert [key for key in by_key(placed(*others, problems=[bad])) if key[0] == "p1"] == [
        ("p1", "05"),
        ("p1", "06"),
    ]
    told = by_key(placed(*others, mine, problems=[bad]))
    assert (told["p1", "05"][0], told["p1", "06"][0]) == (mine.place, bad.place)


def test_what_is_no_longer_open_is_withdrawn():
    both = file("Vigga Ebb and Odo Tide/06.ipynb", b"both", "06")
    open_ = {one.key: one.digest for one in placed(both).submissions}
    renamed = placed(file("p1/06.ipynb", b"both", "06"))
    assert renamed.withdrawn(open_) == {("p2", "06")}
    assert placed(both).withdrawn(open_) == set()
    other = placed(file("p2/05.ipynb", b"else", "05"))
    assert other.withdrawn({("p2", "06"): ""}) == set()  # another folder, another lesson
    both_lessons = placed(file("p2/05.ipynb", b"5", "05"), file("p1/06.ipynb", b"6", "06"))
    assert both_lessons.withdrawn({("p2", "06"): ""}) == {("p2", "06")}


def test_a_learners_list_that_was_cut_short_is_said_and_is_nothing_missing():
    cut = Problem("p1", "More than can be read.", cut=True)
    found = placed(file("p1/06.ipynb", lesson="06"), file("p2/06.ipynb", lesson="06"))
    assert not found.cut
    found = placed(
        file("p1/06.ipynb", lesson="06"), file("p2/06.ipynb", lesson="06"), problems=[cut]
    )
    assert not found.cut  # it costs nobody else
    assert "Not all that was handed in was read" in found.submissions[0].notes[0]
    assert [(stray.place, stray.matters) for stray in found.strays] == [("p1", True)]
    found = placed(file("p2/06.ipynb", lesson="06"), problems=[cut])
    assert by_key(found)["p1", "06"] == ("p1", "More than can be read.")


def test_a_list_of_many_that_was_cut_short_leaves_nobody_missing():
    found = placed(file("p1/06.ipynb", lesson="06"), problems=[Problem("week 1", "Cut.", cut=True)])
    assert found.cut
    assert found.strays == (Stray("week 1", "Cut."),)


@pytest.mark.parametrize("opens", ["99", "00"])
def test_a_lesson_that_is_none_is_the_problem_of_that_file_alone(opens):
    typo = file("p1/06-preset-bend.ipynb", b"typo", opens)
    found = placed(typo, file("p2/06.ipynb", lesson="06"))
    told = by_key(found)
    assert told["p2", "06"] == ("p2/06.ipynb", "")
    assert told["p1", "06"][0] == typo.place
    assert f'open_homework("{opens}"' in told["p1", "06"][1]
    assert [one.lesson for one in found.submissions] == ["06", "06"]
    alone = placed(file("p1/work.ipynb", b"typo", opens))
    assert alone.submissions == ()
    assert [stray.matters for stray in alone.strays] == [True]
