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
