"""The learner's file: every state kept, undo and redo, two windows at once, what cannot be read."""

import json
import multiprocessing
import re
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from rigkit import puppets
from rigkit.bench import book as books
from rigkit.bench.book import DEEPEST, Book, name_of_file
from rigkit.bench.state import State, shape_mark

BARE = State.bare("Pip")


def soft(number):
    """A state that is told from the others by its soft reach."""
    return BARE.changed(soft_mm=number)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "my-leg.json"


def test_a_book_begins_bare_and_writes_nothing_before_something_is_kept(path):
    book = Book(path, "Pip")
    assert (book.state, book.can_undo, book.can_redo, book.set_aside) == (BARE, False, False, None)
    assert book.undo() == book.redo() == BARE
    assert not path.exists()


def test_what_is_kept_is_there_again_with_its_history(path):
    book = Book(path, "Pip")
    for number in (1, 2, 3):
        book.keep(soft(number))
    book.undo()
    again = Book(str(path), "Pip")
    assert (again.state, again.can_undo, again.can_redo) == (soft(2), True, True)
    assert again.redo() == soft(3)
    assert [again.undo().soft_mm for _ in range(4)] == [2, 1, 0, 0]
    assert Book(path, "Pip").state == BARE


def test_keeping_the_same_again_is_no_step(path):
    book = Book(path, "Pip")
    book.keep(soft(1))
    book.keep(soft(1))
    assert book.undo() == BARE


def test_what_was_undone_is_dropped_by_a_new_step(path):
    book = Book(path, "Pip")
    book.keep(soft(1))
    book.undo()
    book.keep(soft(2))
    assert not book.can_redo
    assert book.undo() == BARE


def test_two_hundred_steps_can_be_undone(path):
    book = Book(path, "Pip")
    for number in range(1, DEEPEST + 6):
        book.keep(soft(number % 200))
    steps = 0
    while book.can_undo:
        book.undo()
        steps += 1
    assert steps == DEEPEST == 200
    assert book.state == soft(5)
    assert path.stat().st_size < 500_000


# --- another window ---


def test_what_another_window_kept_becomes_a_step(path):
    mine, other = Book(path, "Pip"), Book(path, "Pip")
    mine.keep(soft(1))
    other.keep(soft(2))
    mine.keep(soft(3))
    assert [mine.undo().soft_mm for _ in range(3)] == [2, 1, 0]


def test_what_another_window_has_undone_is_not_lost(path):
    mine, other = Book(path, "Pip"), Book(path, "Pip")
    for number in (1, 2, 3):
        mine.keep(soft(number))
    other.undo()
    assert other.undo() == soft(1)
    mine.keep(soft(4))
    assert [mine.undo().soft_mm for _ in range(5)] == [1, 3, 2, 1, 0]


def test_an_undo_here_knows_what_another_window_kept(path):
    mine, other = Book(path, "Pip"), Book(path, "Pip")
    mine.keep(soft(1))
    other.keep(soft(2))
    assert mine.undo() == soft(1)
    assert mine.redo() == soft(2)


def keep_many(path, start):
    book = Book(path, "Pip")
    for number in range(start, start + 20):
        book.keep(soft(number))


def test_two_programs_that_keep_at_once_lose_nothing(path):
    spawn = multiprocessing.get_context("fork")
    programs = [spawn.Process(target=keep_many, args=(path, start)) for start in (1, 101)]
    for program in programs:
        program.start()
    for program in programs:
        program.join()
    steps = json.loads(path.read_text())["steps"]
    assert {step["soft_mm"] for step in steps} == {0, *range(1, 21), *range(101, 121)}


def test_what_a_window_shows_outlives_another_that_undid_and_dropped_it(path):
    here, there = Book(path, "Pip"), Book(path, "Pip")
    here.keep(soft(1))
    there.undo()
    there.keep(soft(2))
    here.keep(soft(3))
    assert [here.undo(), here.undo(), here.undo()] == [soft(1), soft(2), BARE]


class TwoWindows(RuleBasedStateMachine):
    """Whatever two windows do, every state that was kept and not undone here can be had again."""

    @initialize()
    def open(self):
        self.folder = TemporaryDirectory()
        self.path = Path(self.folder.name) / "my-leg.json"
        self.windows = [Book(self.path, "Pip"), Book(self.path, "Pip")]
        self.number = 0

    @rule(window=st.sampled_from((0, 1)))
    def keep(self, window):
        self.number += 1
        book = self.windows[window]
        shown = book.state
        book.keep(soft(self.number))
        assert book.state == soft(self.number)
        assert shown in self.all_states()

    @rule(window=st.sampled_from((0, 1)), way=st.sampled_from(("undo", "redo")))
    def go(self, window, way):
        before = self.all_states()
        getattr(self.windows[window], way)()
        assert self.all_states() == before

    def all_states(self):
        if not self.path.exists():
            return [BARE]
        steps = json.loads(self.path.read_text())["steps"]
        return [State.read(json.dumps(step), "Pip") for step in steps]

    def teardown(self):
        self.folder.cleanup()


TestTwoWindows = TwoWindows.TestCase
TestTwoWindows.settings = settings(max_examples=15, stateful_step_count=12, deadline=None)


# --- what cannot be read, and what must not be touched ---

BROKEN = [
    b"",
    b"not JSON",
    b"[]",
    b"\xff\xfe",
    b"{}",
    b'{"bench_book": 1, "puppet": 5}',
    b"[" * 100_000,
]


@pytest.mark.parametrize("data", BROKEN)
def test_a_broken_file_is_set_aside_and_stays(path, data):
    path.write_bytes(data)
    book = Book(path, "Pip")
    assert book.state == BARE
    assert book.set_aside.read_bytes() == data
    assert re.fullmatch(r"my-leg-broken-\d{4}-\d\d-\d\d-\d{4}\.json", book.set_aside.name)
    assert not path.exists()
    book.keep(soft(1))
    assert Book(path, "Pip").state == soft(1)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda told: told | {"at": 7},
        lambda told: told | {"at": None},
        lambda told: told | {"steps": []},
        lambda told: told | {"steps": [1]},
        lambda told: told | {"steps": [told["steps"][0] | {"soft_mm": -1}]},
        lambda told: told | {"steps": told["steps"] * 200},
    ],
)
def test_a_file_with_one_wrong_value_is_set_aside(path, spoil):
    Book(path, "Pip").keep(soft(1))
    path.write_text(json.dumps(spoil(json.loads(path.read_text()))))
    assert Book(path, "Pip").set_aside.exists()


def test_two_files_set_aside_in_one_minute_have_two_names(path):
    names = set()
    for data in (b"first", b"second", b"third"):
        path.write_bytes(data)
        aside = Book(path, "Pip").set_aside
        assert aside.read_bytes() == data
        names.add(aside.name)
    assert len(names) == 3


def test_a_file_that_breaks_under_an_open_book_takes_nothing_from_it(path):
    book = Book(path, "Pip")
    book.keep(soft(1))
    path.write_bytes(b"broken")
    book.keep(soft(2))
    assert book.set_aside.read_bytes() == b"broken"
    assert [book.undo().soft_mm for _ in range(2)] == [1, 0]


def test_a_file_that_is_gone_is_written_anew_with_all_its_steps(path):
    book = Book(path, "Pip")
    book.keep(soft(1))
    path.unlink()
    book.keep(soft(2))
    assert [Book(path, "Pip").undo().soft_mm, book.state.soft_mm] == [1, 2]


def test_another_character_s_leg_and_a_newer_one_are_left_alone(path):
    Book(path, "Pip").keep(soft(1))
    whole = path.read_bytes()
    with pytest.raises(ValueError, match="must hold the leg of 'Odo'; got that of 'Pip'"):
        Book(path, "Odo")
    newer = json.dumps(json.loads(whole) | {"bench_book": 3}).encode()
    path.write_bytes(newer)
    with pytest.raises(ValueError, match="version 2 or older; got version 3"):
        Book(path, "Pip")
    assert path.read_bytes() == newer
    assert [each.name for each in path.parent.iterdir()] == ["my-leg.json"]


def test_a_file_of_the_first_version_is_read_whole_and_goes_on(path):
    book = Book(path, "Pip")
    for number in (1, 2, 3):
        book.keep(soft(number))
    book.undo()
    told, mark = json.loads(path.read_bytes()), shape_mark(BARE.puppet, 1)
    told["steps"] = [step | {"bench": 1, "shape": mark} for step in told["steps"]]
    path.write_text(json.dumps(told | {"bench_book": 1, "shape": mark}))
    old = Book(path, "Pip")
    assert (old.state, old.set_aside, old.can_redo) == (soft(2), None, True)
    old.keep(soft(9))
    assert [Book(path, "Pip").state, old.undo(), old.undo()] == [soft(9), soft(2), soft(1)]
    assert json.loads(path.read_bytes())["bench_book"] == 2
    path.write_text(json.dumps(told | {"bench_book": 1, "shape": shape_mark(BARE.puppet)}))
    with pytest.raises(ValueError, match="of another shape"):
        Book(path, "Pip")


def test_each_character_has_a_file_of_its_own(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = {name_of_file(name) for name in puppets.CAST}
    assert len(names) == 8
    assert "my-leg.json" in names
    assert all(re.fullmatch(r"my-leg(-[a-z]+)?\.json", name) for name in names)
    mine = puppets.personal(np.random.default_rng(1))
    assert name_of_file(mine) == "my-leg-your-puppet.json"
    for name in puppets.CAST:
        book = Book(name_of_file(name), name)
        book.keep(book.state.changed(soft_mm=3))
    for name in puppets.CAST:
        assert Book(name_of_file(name), name).state == State.bare(name).changed(soft_mm=3)


def test_another_skin_of_the_same_name_is_left_alone(path):
    mine, yours = (puppets.personal(np.random.default_rng(seed)) for seed in (1, 2))
    book = Book(path, mine)
    book.keep(book.state.changed(soft_mm=1))
    with pytest.raises(ValueError, match="of another shape"):
        Book(path, yours)


def test_only_this_character_s_states_are_kept(path):
    book = Book(path, "Pip")
    for wrong, sentence in (("soft", "must be a State"), (State.bare("Odo"), "another character")):
        with pytest.raises(ValueError, match=sentence):
            book.keep(wrong)
    assert not path.exists()


def test_a_full_disk_leaves_book_and_file_as_they_were(path, monkeypatch):
    book = Book(path, "Pip")
    book.keep(soft(1))
    whole = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(books, "write_whole", full)
    for action in (lambda: book.keep(soft(2)), book.undo):
        with pytest.raises(OSError, match="No space left"):
            action()
    assert (book.state, path.read_bytes()) == (soft(1), whole)


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(FileNotFoundError):
        Book(tmp_path / "nowhere" / "my-leg.json", "Pip")


def test_a_file_that_cannot_be_opened_is_not_taken_for_broken(path):
    path.mkdir()
    with pytest.raises(OSError, match="directory"):
        Book(path, "Pip")
    assert path.is_dir()
