"""The bench at a lesson's end: it follows the file, begins soundly without one, loses nothing."""

import json
import re

import numpy as np
import pytest

from rigkit.bench import _stills, build, measure
from rigkit.bench.book import Book, whose
from rigkit.bench.shell import Bench
from rigkit.bench.state import STEPS, State
from rigkit.bench.your_leg import YourLeg, characters
from rigkit.puppets import CAST


@pytest.fixture
def path(tmp_path):
    return tmp_path / "my-leg.json"


def opened(step, path):
    """The bench of a lesson, shown."""
    bench = YourLeg(step, path).bench
    assert bench.widget
    return bench


def saved(leg):
    """What a notebook keeps of it."""
    return leg._repr_mimebundle_()[0]


def choice(leg):
    """The drop-down list of whose leg it is, and the words beside it."""
    return leg._widget(leg.bench).children[0].children


@pytest.mark.parametrize("step", STEPS)
def test_without_a_file_it_begins_soundly_and_writes_nothing(path, step):
    leg = YourLeg(step, path)
    assert leg.bench.state == State.bare("Tamsin").with_sound(step)
    page = saved(leg)["text/html"]
    assert "<img" in page
    assert page.count("<dt>") == len(measure.measure(leg.bench.state, step))
    given = ", ".join(State.bare("Tamsin").with_sound(step).given)
    assert not given or f"Filled in by the kit: {given}." in page
    assert not path.exists()


@pytest.mark.parametrize("step", STEPS)
def test_what_is_saved_is_the_same_each_time(path, step):
    assert saved(YourLeg(step, path))["text/html"] == saved(YourLeg(step, path))["text/html"]


def test_undo_takes_back_what_the_kit_filled_in(path):
    bench = opened("07", path)
    bench.take(bench.state.changed(pole_mm=(85, 484, 500)))
    bench.history("undo")
    assert bench.state == State.bare("Tamsin").with_sound("07")
    bench.history("undo")
    assert bench.state == State.bare("Tamsin")
    assert not bench.book.can_undo


def test_a_leg_grows_from_lesson_to_lesson(path):
    bench = opened("01", path)
    joints = State.bare("Tamsin").with_sound("02").joints_mm
    bench.take(bench.state.changed(joints_mm=joints))
    later = YourLeg("02", path).bench
    assert (later.state.joints_mm, later.state.given) == (joints, ())
    assert later._done["01"] == "done"


def test_it_is_whoever_the_file_says(path):
    Book(path, "Pip").keep(State.bare("Pip").changed(soft_mm=3))
    assert whose(path) == "Pip"
    assert YourLeg("05", path).bench.puppet is CAST["Pip"]
    assert Bench(path=path).puppet is CAST["Pip"]


def test_the_choice_is_made_once(path):
    leg = YourLeg("05", path)
    who, said = choice(leg)
    assert who.options == characters()
    who.value = "Odo"
    assert leg.bench.puppet.name == who.value == "Odo"
    assert not path.exists()
    leg.bench.take(leg.bench.state.changed(soft_mm=9))
    kept = path.read_bytes()
    who.value = "Pip"
    assert leg.bench.puppet.name == who.value == "Odo"
    assert "holds Odo's leg" in said.value
    assert path.read_bytes() == kept
    again = YourLeg("05", path)
    assert again._widget(again.bench) is again.bench.widget  # nothing to choose any more


def test_what_was_moved_a_moment_ago_is_not_lost_to_another_choice(path):
    leg = YourLeg("05", path)
    who, _ = choice(leg)
    leg.bench.state = leg.bench.state.changed(soft_mm=9)  # not kept yet
    who.value = "Pip"
    assert who.value == "Tamsin"
    assert Book(path, "Tamsin").state.soft_mm == 9


@pytest.mark.parametrize(
    "told", [{"bench_book": 9, "puppet": "Pip"}, {"bench_book": 1, "puppet": "Nobody"}]
)
def test_a_file_that_cannot_be_used_is_left_and_said_in_a_sentence(path, told):
    path.write_text(json.dumps(told))
    leg = YourLeg("01", path)
    assert leg.bench is None
    assert "Your leg cannot be shown" in saved(leg)["text/html"]
    assert "my-leg.json" in repr(leg)
    assert json.loads(path.read_text()) == told


def test_a_step_there_is_not_is_refused(path):
    with pytest.raises(ValueError, match="`step` must be"):
        YourLeg("13", path)


def test_whose_a_file_is_may_be_unknown(path):
    assert whose(path) is None
    path.write_text("not a leg")
    assert whose(path) is None


def test_everyone_with_a_leg_can_be_chosen():
    assert set(characters()) == set(CAST)


@pytest.mark.parametrize("softness", [0.35, 2.0])
def test_the_saved_skin_says_its_longest_edge(softness):
    """The edges of the left leg, blended here by another formula."""
    state = State.bare("Tamsin").with_sound("12").changed(softness=softness)
    surface, skeleton = build.skin(state.puppet), build.skeleton(state)
    motions = measure.bent_motions(state, skeleton.names)
    rest = np.column_stack([surface.vertices, np.ones(len(surface.vertices))])
    posed = np.einsum("vj,jab,vb->va", build.weights(state), motions[:, :3], rest)
    ends = surface.side("L_")[:, [[0, 1], [1, 2], [2, 0]]]
    before, after = (
        np.linalg.norm(np.diff(points[ends], axis=-2), axis=-1)
        for points in (surface.vertices, posed)
    )
    (said,) = re.findall(r"stretched to ([\d.]+) times", _stills.bent_skin(state).desc)
    assert float(said) == pytest.approx((after / before).max(), abs=0.05)
