"""The bench's shell: what a learner moves becomes a state, is kept, and comes back."""

import asyncio
import re

import pytest

from rigkit.bench import shell, showing, sign_off, steps
from rigkit.bench.book import Book
from rigkit.bench.measure import done, measure
from rigkit.bench.shell import Bench
from rigkit.bench.state import STEPS, State
from rigkit.gltf import read
from tests.unit.legs_on_the_bench import behind


@pytest.fixture
def path(tmp_path):
    return tmp_path / "my-leg.json"


@pytest.fixture
def bench(path):
    """A bench whose learner begins at the sixth step, all before it filled in."""
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("06"))
    bench = Bench("Tamsin", path, "06")
    assert bench.widget
    return bench


def move(bench, **values):
    """Move the panel as a page does."""
    question = {"n": 1, "page": "p", "values": bench._panel.values | values, "ahead": False}
    bench._panel.widget._asked(bench._panel.widget, question, [])


def knee(state):
    return state.joints_mm["knee"]


def table(bench):
    """The table's numbers: name, value, mark and limit."""
    rows = re.findall(
        r"<dt>(.*?)</dt><dd><b>(.*?)</b> <span>(.*?)</span>",
        bench._widgets.numbers.value,
    )
    return [tuple(row) for row in rows]


def test_it_opens_at_the_first_open_step_with_its_numbers(path):
    bench = Bench("Tamsin", path)
    assert bench.widget
    assert bench._now == "01"
    assert not path.exists()  # nothing was decided yet
    said = table(bench)
    assert [name.lower() for name, *_ in said] == [each.name for each in measure(bench.state, "01")]
    assert [mark[0] for *_, mark in said] == [
        "✓" if each.right else "✗" for each in measure(bench.state, "01")
    ]
    assert "step 01" in repr(bench)


def test_what_is_moved_is_kept_undone_and_done_again(bench, path):
    before = knee(bench.state)
    move(bench, knee_ahead=40)
    assert knee(bench.state) == (*before[:2], 40)
    assert knee(Book(path, "Tamsin").state) == (*before[:2], 40)
    bench.history("undo")
    assert knee(bench.state) == before
    assert bench._panel.values == {"knee_ahead": before[2]}
    bench.history("redo")
    assert bench._panel.values == {"knee_ahead": 40}
    assert knee(Bench("Tamsin", path).state)[2] == 40


def test_ctrl_z_in_the_panel_goes_by_the_book(bench):
    before, widget = knee(bench.state), bench._panel.widget
    move(bench, knee_ahead=40)
    for way, wanted in (("undo", before[2]), ("redo", 40)):
        told = {"kind": "history", "way": way, "values": bench._panel.values}
        widget._asked(widget, told, [])
        assert knee(bench.state)[2] == wanted
        assert widget.frame["values"] == {"knee_ahead": wanted}


def test_undo_takes_what_stands_in_the_page_with_it(bench):
    widget = bench._panel.widget
    told = {"kind": "history", "way": "undo", "values": {"knee_ahead": 33}}
    widget._asked(widget, told, [])
    bench.history("redo")
    assert knee(bench.state)[2] == 33


def test_a_drag_is_one_step_of_the_history(bench, path, monkeypatch):
    monkeypatch.setattr(shell, "REST", 0.02)
    before = knee(bench.state)

    async def drag():
        for ahead in range(20, 31):
            move(bench, knee_ahead=ahead)
        assert knee(Book(path, "Tamsin").state) == before  # a hand still holds it
        await asyncio.sleep(0.1)

    asyncio.run(drag())
    assert knee(Book(path, "Tamsin").state)[2] == 30
    bench.history("undo")
    assert knee(bench.state) == before


def test_a_hand_that_moves_again_waits_for_one_step_at_most(bench, monkeypatch):
    """The steps are measured one by one at rest, and no further when the next move comes."""
    monkeypatch.setattr(shell, "REST", 0.0)
    asked = []

    def measured(state, step):
        asked.append((step, knee(state)[2]))
        return measure(state, step)

    monkeypatch.setattr(shell, "measure", measured)

    async def moved_twice():
        move(bench, knee_ahead=30)
        while len(asked) < 3:
            await asyncio.sleep(0)
        move(bench, knee_ahead=31)
        while bench._done == before:
            await asyncio.sleep(0.01)

    before, bench._done = {}, {}
    asyncio.run(moved_twice())
    every = list(STEPS)[:-1]
    early = [step for step, ahead in asked if ahead == 30]
    assert early == every[: len(early)]
    assert len(early) < len(every)
    assert asked[len(early) :] == [(step, 31) for step in every]
    assert bench._done == done(bench.state)


def test_the_numbers_follow_the_hand(bench):
    move(bench, knee_ahead=0)
    name, value, mark = table(bench)[0]
    assert (name, mark) == ("Bend at rest, forward", "✗ 2° to 10°")
    assert value == "0.0°"
    move(bench, knee_ahead=20)
    assert table(bench)[0][2][0] == "✓"


def test_a_step_further_on_reacts_and_says_so(path):
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("12").changed(given=()))
    bench = Bench("Tamsin", path)
    assert bench.widget
    bench._open("01")
    move(bench, knee_out=100, knee_ahead=60)
    assert "An earlier change undid" in bench._widgets.said.value
    assert re.search(r"undid: [^.]*06", bench._widgets.said.value)
    assert bench._done == done(bench.state)


def test_a_sound_start_fills_in_what_comes_before_and_can_be_undone(path):
    bench = Bench("Tamsin", path)
    assert bench.widget
    bench._open("07")
    bare = bench.state
    bench._sound()
    assert bench.state == bare.with_sound("07")
    assert "Filled in by the kit: 01" in bench._widgets.said.value
    bench.history("undo")
    assert bench.state == bare


def test_a_sound_start_leaves_what_a_learner_has_right(path):
    mine = State.bare("Tamsin").with_sound("06").changed(given=(), soft_mm=20, inverse=False)
    bench = Bench("Tamsin", path)
    assert bench.widget
    bench.take(mine)
    bench._open("07")
    bench._sound()
    assert bench.state == mine.filled_in("04")
    said = bench._widgets.said.value
    assert "Done: 01, 02, 03, 05, 06." in said
    assert "Filled in by the kit: 04." in said
    bench.history("undo")
    assert bench.state == mine
    assert "Filled in" not in bench._widgets.said.value


def test_a_bend_that_came_with_given_joints_is_not_done(path):
    bench = Bench("Tamsin", path, "02", given=True)
    assert bench.widget
    assert "Done: nothing yet." in bench._widgets.said.value
    assert "Filled in by the kit: 01, 06." in bench._widgets.said.value
    bench._open("06")
    move(bench, knee_ahead=knee(bench.state)[2] + 2)
    assert (bench._done["01"], bench._done["06"]) == ("given", "done")


def test_undo_of_another_steps_change_shows_what_that_does_here(bench):
    bench.only = None
    bench._open("01")
    move(bench, hip_up=880)
    bench._open("06")
    shown = bench._panel.picture
    bench.history("undo")
    assert bench._now == "06"
    assert bench._panel.picture != shown
    assert bench._panel.picture == steps.panel(bench.state, "06").picture


@pytest.mark.parametrize("step", STEPS)
def test_every_step_opens_on_a_bare_leg_and_on_a_sound_one(path, step):
    bench = Bench("Tamsin", path, step)
    assert bench.widget.children
    bench.take(bench.state.with_sound("12"))
    (shown,) = bench._widgets.place.children
    assert type(shown).__name__ == {"09": "VBox", "12": "VBox"}.get(step, "PanelWidget")
    data, _ = bench._repr_mimebundle_()
    assert "<dl>" in data["text/html"]
    assert data["text/plain"] == repr(bench)


def place(bench):
    """The words that stand where a step's widget would."""
    (shown,) = bench._widgets.place.children
    return re.sub("<[^>]+>", "", shown.value)


def test_what_is_missing_for_a_file_is_said_once_in_a_learner_s_words(path):
    bench = Bench("Tamsin", path, "12")
    assert bench.widget
    assert place(bench) == (
        "There is no file yet. Step 02, What hangs from what, comes first. Joints that do not hang"
        " below the one above: 5, there may be none. Hang every joint from the one above it."
    )
    assert bench._widgets.numbers.value == ""
    bench.take(behind(bench.state.with_sound("12")))
    assert place(bench) == (
        "There is no file yet. Step 01, Joints in the skin, comes first. Knee off the middle of the"
        " limb: 4.0 cm, 1 cm at most. Move the knee to the middle of the cut."
    )


def test_why_a_step_shows_nothing_is_said_once(path):
    Book(path, "Tamsin").keep(behind(State.bare("Tamsin").with_sound("12")))
    bench = Bench("Tamsin", path, "04")
    assert bench.widget
    assert "`L_knee` must be placed so that the leg bends forward" in place(bench)
    assert bench._widgets.numbers.value == ""


def test_a_file_that_cannot_be_read_is_put_aside_and_it_says_so(path):
    path.write_text("not a leg")
    bench = Bench("Tamsin", path)
    assert bench.widget
    (aside,) = path.parent.glob("*broken*")
    assert aside.read_text() == "not a leg"
    assert aside.name in bench._widgets.said.value


def test_a_change_that_cannot_be_written_says_so_and_is_kept_with_the_next(bench, monkeypatch):
    keep = bench.book.keep
    monkeypatch.setattr(bench.book, "keep", lambda state: (_ for _ in ()).throw(OSError("full")))
    move(bench, knee_ahead=40)
    bench._tell()
    assert "not kept yet: full" in bench._widgets.said.value
    monkeypatch.setattr(bench.book, "keep", keep)
    move(bench, knee_ahead=41)
    bench._tell()
    assert "not kept" not in bench._widgets.said.value
    assert knee(bench.book.state)[2] == 41


def brush_of(bench):
    return bench._widgets.place.children[0].children[-1].children[0]


def test_softness_binds_anew_once_it_rests_and_leaves_its_slider(path):
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("12"))
    bench = Bench("Tamsin", path, "09")
    assert bench.widget
    slider, before = bench._widgets.place.children[0].children[0], brush_of(bench)
    slider._asked(slider, {"n": 1, "page": "p", "values": {"softness": 1.5}, "ahead": False}, [])
    assert bench.book.state.softness == 1.5
    assert bench._widgets.place.children[0].children[0] is slider
    assert brush_of(bench) is not before
    assert bench.repaint == brush_of(bench).show


def test_paint_is_a_step_of_the_same_history(path):
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("12"))
    bench = Bench("Tamsin", path, "09")
    assert bench.widget
    brush = brush_of(bench)
    assert brush.head["back"] is False  # one Undo, the bench's
    text = brush.limb.pack([0.5] * len(brush.limb.numbers))
    brush._kept.keep(text)
    assert bench.state.painted == bench.book.state.painted == text
    assert brush_of(bench) is brush  # not made anew under the hand
    brush._kept.undo()
    assert brush.painted == bench.state.painted == ""


def test_the_bench_s_own_undo_shows_in_the_brush_that_is_there(path):
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("12"))
    bench = Bench("Tamsin", path, "09")
    assert bench.widget
    brush = brush_of(bench)
    brush._kept.keep(brush.limb.pack([0.5] * len(brush.limb.numbers)))
    before = brush.frame["n"]
    bench.history("undo")
    assert brush_of(bench) is brush
    assert (brush.frame["n"], brush.frame["moved"]) == (before + 1, True)
    bench.history("redo")
    assert brush.painted == bench.state.painted != ""


def test_a_guess_keeps_its_numbers_back_until_it_is_told(path):
    Book(path, "Tamsin").keep(State.bare("Tamsin").with_sound("04"))
    bench = Bench("Tamsin", path, "04")
    assert bench.widget
    assert table(bench) == []
    assert "10.0" not in bench._panel.readout
    move(bench, lowered_mm=100)
    assert "10.0" in bench._panel.readout
    assert [value for _, value, _ in table(bench)] == ["10.0 cm"]
    move(bench, chain="inverse chain")
    bench._rested()
    assert done(bench.state)["04"] == "done"


# --- 12: sign off


def test_the_file_is_written_beside_and_never_over_another(path):
    state = State.bare("Tamsin").with_sound("12")
    path.with_suffix(".glb").write_bytes(b"mine")
    file = sign_off.write(state, path)
    assert file.name == "my-leg-2.glb"
    assert path.with_suffix(".glb").read_bytes() == b"mine"
    assert sign_off.write(state, path) == file  # the same leg again
    assert sign_off.write(state.changed(soft_mm=20), path).name in ("my-leg-2.glb", "my-leg-3.glb")
    assert len(read(file).nodes) == 12


def test_the_button_writes_the_rig_and_its_page_and_names_both(path, monkeypatch):
    Book(path, "Pip").keep(State.bare("Pip").with_sound("12"))
    bench = Bench("Pip", path, "12")
    parts = bench.widget and bench._widgets.place.children[0].children
    (button,) = (each for each in parts if getattr(each, "description", "") == "Write the file")
    button.click()
    assert re.findall("<strong>(.*?)</strong>", parts[-1].value) == ["my-leg.glb", "my-leg.html"]
    assert path.with_suffix(".html").read_text("utf-8") == showing.page(bench.state)
    assert showing.read(path.with_suffix(".glb")) == bench.state
    path.with_suffix(".html").unlink()
    monkeypatch.setattr(showing, "write", lambda *_: (_ for _ in ()).throw(OSError("full")))
    button.click()
    assert parts[-1].value == (
        "<p>Written: <strong>my-leg.glb</strong>, the rig. Its page could not be written: full</p>"
    )
    assert not path.with_suffix(".html").exists()


def test_a_bare_leg_is_told_why_there_is_no_file(path):
    bench = Bench("Tamsin", path, "12")
    assert bench.widget
    (words,) = bench._widgets.place.children
    assert "There is no file yet" in words.value


def test_wrong_steps_and_puppets_are_refused(path):
    with pytest.raises(ValueError, match="`only` must be"):
        Bench("Tamsin", path, "13")
    with pytest.raises(ValueError, match="`puppet` must be"):
        Bench("stork", path)


def test_each_character_has_its_own_file_where_none_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("heron", "Tamsin"):
        bench = Bench(name)
        assert bench.widget
        bench.take(bench.state.changed(soft_mm=7))
    assert sorted(each.name for each in tmp_path.iterdir()) == ["my-leg-heron.json", "my-leg.json"]
    assert Bench("heron").step("05").state.soft_mm == 7
    with pytest.raises(ValueError, match="must hold the leg of 'Pip'; got that of 'heron'"):
        Bench("Pip", "my-leg-heron.json")


@pytest.mark.parametrize("step", STEPS)
def test_every_step_of_the_heron_shows_itself(tmp_path, step):
    path = tmp_path / "my-leg.json"
    Book(path, "heron").keep(State.bare("heron").with_sound("12"))
    bench = Bench("heron", path, step)
    assert bench.widget
    assert bench._done[step] == ("done" if step == "12" else "given")


def test_another_step_may_be_shown(path):
    assert Bench("Tamsin", path).step("03").only == "03"
