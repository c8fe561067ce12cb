"""Every step of the bench as a panel: rings, words, room, and that its values mean a state."""

import re
from functools import cache
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit.bench import build, measure, steps
from rigkit.bench.state import HINGES, JOINTS, MIRRORS, STEPS, State
from rigkit.panels import Panel
from tests.unit.test_scene_panels import (
    ASIDE,
    DRAWN,
    NEAR,
    at_an_end,
    faults,
    followed,
    from_drawn,
    hands,
    headings,
    held_at,
    meets,
    snapped,
    steps_px,
    words,
)

DRAGGED = tuple(step for step in STEPS if step not in ("09", "12"))
LONGEST_LABEL, LONGEST_GRIP, WIDEST = 25, 25, 850
WRONG = (
    State.bare("Tamsin")
    .with_sound("12")
    .changed(
        joints_mm=dict(State.bare("Tamsin").with_sound("12").joints_mm) | {"knee": (95, 470, 40)},
        hinge_deg={"knee": 12.3},
        turns_deg={"hip": 20.5},
        soft_mm=3,
        pole_mm=(150, 500, 400),
        pivots_mm={"pelvis": (0, 900, 0), "L_foot": (85, 0, 0)},
        sole_mm={"heel": -40, "ball": 100, "toe": 180},
        pelvis={"drop_mm": 40, "sway_mm": 20},
    )
)
STATES = {
    "bare": State.bare("Tamsin"),
    "sound": State.bare("Tamsin").with_sound("12"),
    "wrong": WRONG,
    "Odo": State.bare("Odo").with_sound("12"),
    "Pip": State.bare("Pip").with_sound("12"),
    "Maren": State.bare("Maren").with_sound("12"),
    "heron": State.bare("heron").with_sound("12"),
    "bare heron": State.bare("heron"),
}
PAIRS = [(name, step) for name in STATES for step in DRAGGED]


@cache
def panel_of(name, step):
    return steps.panel(STATES[name], step)


@pytest.fixture(params=PAIRS, ids="-".join)
def shown(request):
    """A state, a step, and its panel at the start."""
    name, step = request.param
    panel = panel_of(name, step)
    panel.reset()
    return STATES[name], step, panel


@pytest.fixture(
    params=[(name, step) for name in ("wrong", "heron") for step in DRAGGED], ids="-".join
)
def panel(request):
    """The panel of each step, at a state that is wrong in many ways, and of three bones a leg."""
    panel = panel_of(*request.param)
    panel.reset()
    return panel


# --- what a step shows


def test_every_step_has_a_title_and_all_but_two_a_panel():
    assert tuple(steps.TITLES) == tuple(STEPS)
    assert all(isinstance(panel_of("sound", step), Panel) for step in DRAGGED)


def test_it_shows_something_whole_at_every_state(shown):
    _, _, panel = shown
    found = [fault for fault in faults(panel.picture, panel.readout) if "'0" not in fault]
    assert found == []


def test_wherever_its_controls_stand_it_shows_something_whole_or_says_why_not(panel):
    found = set()
    for key, control in panel.controls.items():
        ends = getattr(control, "options", None) or (control.low, control.high)
        for value in ends:
            frame = panel.frame(**{key: value})
            if "views" not in frame:
                assert "Check:" in frame["words"]
                continue
            svg = "".join(view["svg"] for view in frame["views"])
            found |= {(key, value, f) for f in faults(svg, frame["words"]) if "'0" not in f}
    assert found == set()


def test_its_words_are_short_and_its_pictures_fit_beside_the_file_browser(panel):
    long = [c.label for c in panel.controls.values() if len(c.label) > LONGEST_LABEL]
    long += [grip.name for grip in panel.grips if len(grip.name) > LONGEST_GRIP]
    assert long == []
    views = panel.shown["views"]
    assert sum(view["w"] for view in views) + 16 * (len(views) - 1) <= panel.size < WIDEST


def test_no_ring_and_no_joint_lies_over_a_heading(panel):
    for number, view in enumerate(panel.shown["views"]):
        svg = ET.fromstring(view["svg"])
        rings = [(g["x"], g["y"], 18) for g in panel.shown["grips"] if g["view"] == number]
        rings += [
            tuple(float(c.get(a)) for a in ("cx", "cy", "r"))
            for c in svg.iter("{http://www.w3.org/2000/svg}circle")
        ]
        over = [said for said, box in headings(svg) for ring in rings if meets(box, *ring)]
        assert over == []


def test_a_state_of_which_nothing_can_be_shown_says_why():
    knee_behind = dict(STATES["sound"].joints_mm) | {"knee": (85, 480, -40)}
    with pytest.raises(ValueError, match="`L_knee` must be placed"):
        steps.panel(STATES["sound"].changed(joints_mm=knee_behind), "04")
    with pytest.raises(ValueError, match="`step` must be"):
        steps.panel(STATES["bare"], "09")


# --- grips


def moved_a_little(panel, grip):
    """The panel's frame as it starts, and with each slider of a grip moved by a tenth."""
    yield panel.shown
    for key in grip.moves:
        control = panel.controls[key]
        way = 1 if panel.values[key] < (control.low + control.high) / 2 else -1
        by = way * 0.1 * (control.high - control.low)
        yield panel.frame(**{key: snapped(control, panel.values[key] + by)})


def test_its_grips_lie_on_what_is_drawn(panel):
    for number, grip in enumerate(panel.grips):
        for frame in moved_a_little(panel, grip):
            for held in frame["grips"]:
                svg = frame["views"][held["view"]]["svg"]
                if held["grip"] == number and 'class="rig-plot"' not in svg:
                    place = np.array([held["x"], held["y"]])
                    assert from_drawn(svg, place) <= DRAWN, (grip.name, frame["values"])


def test_its_grips_come_to_where_a_hand_pulls_them(panel):
    for grip in panel.grips:
        for view, values, places in hands(panel, grip):
            last = values
            for to in places:
                last, off = followed(panel, grip, view, last, to)
            near = NEAR + steps_px(panel, grip, held_at(panel, grip, view, last))
            assert off <= near or at_an_end(panel, grip, last), (grip.name, view, values, last)


def test_no_two_grips_are_in_one_place(panel):
    grips = panel.shown["grips"]
    close = [
        (panel.grips[one["grip"]].name, panel.grips[other["grip"]].name)
        for i, one in enumerate(grips)
        for other in grips[:i]
        if one["view"] == other["view"]
        and np.hypot(one["x"] - other["x"], one["y"] - other["y"]) < ASIDE
    ]
    assert close == []


# --- values and states


def test_the_values_of_its_start_mean_the_state_itself(shown):
    state, step, panel = shown
    assert steps.changed_by(state, step, panel.values) is state


@st.composite
def states(draw):
    """Any leg near enough to be drawn."""
    mm = st.integers(-300, 300)
    place = st.tuples(st.integers(20, 280), st.integers(1, 900), mm)
    degrees = st.integers(-1800, 1800).map(lambda tenths: tenths / 10)
    parents = dict(zip(JOINTS, ("pelvis", *JOINTS), strict=False))
    hung = draw(st.sets(st.sampled_from(JOINTS)))
    return State.bare("Pip").changed(
        joints_mm={joint: draw(place) for joint in JOINTS},
        parents={joint: parents[joint] for joint in hung},
        turns_deg=draw(st.dictionaries(st.sampled_from(JOINTS), degrees)),
        hinge_deg=draw(st.dictionaries(st.sampled_from(HINGES), degrees)),
        mirror=draw(st.sampled_from(MIRRORS)),
        plane_mm=draw(mm),
        soft_mm=draw(st.integers(0, 200)),
        pole_mm=draw(place),
        pelvis={"drop_mm": draw(mm), "sway_mm": draw(st.integers(0, 300))},
        sole_mm={pivot: draw(mm) for pivot in ("heel", "ball", "toe")},
    )


@settings(max_examples=60, deadline=None)
@given(state=states(), step=st.sampled_from(DRAGGED))
def test_a_panel_of_any_state_means_that_state_or_says_why_there_is_none(state, step):
    try:
        panel = steps.panel(state, step)
    except ValueError:  # a leg that this step can show nothing of
        return
    assert steps.changed_by(state, step, panel.values) is state


def test_what_a_step_changes_is_its_own_alone(shown):
    state, step, panel = shown
    own = set(STEPS[step]) | {"given"}
    for key, control in panel.controls.items():
        options = getattr(control, "options", None)
        value = options[-1] if options else min(control.high, panel.values[key] + control.step)
        try:
            after = steps.changed_by(state, step, panel.values | {key: value})
        except ValueError:
            continue  # joints that hang in a circle
        other = [
            name
            for name in state.__dataclass_fields__
            if getattr(state, name) != getattr(after, name) and name not in own
        ]
        assert other == [], key


@pytest.mark.parametrize("step", [step for step in DRAGGED if step not in ("01",)])
def test_a_later_step_shows_what_an_earlier_one_changed(step):
    state = STATES["sound"]
    joints = {name: (x + 3, y, z) for name, (x, y, z) in state.joints_mm.items()}
    joints["knee"] = (88, 470, 30)
    joints["ankle"] = (88, 75, 4)
    other = steps.panel(state.changed(joints_mm=joints), step)
    assert (
        other.picture + other.readout
        != panel_of("sound", step).picture + panel_of("sound", step).readout
    )


# --- the numbers, by other formulas


def number_in(text, pattern):
    return float(re.search(pattern, text.replace("−", "-"))[1])


def test_the_cut_measures_from_the_centroid_of_its_outline():
    state = WRONG
    knee = np.array(state.joints_mm["knee"]) / 1000
    outline = measure.section(state, "knee").outline
    # the centroid of a fan of triangles, weighted by their areas
    a, b = outline - outline[0], np.roll(outline, -1, axis=0) - outline[0]
    areas = np.linalg.norm(np.cross(a, b), axis=1)
    signs = np.sign(np.cross(a, b) @ np.cross(a, b).sum(axis=0))
    middle = outline[0] + ((areas * signs) @ (a + b) / 3) / (areas @ signs)
    far = 100 * np.linalg.norm(knee - middle)
    panel = panel_of("wrong", "01")
    cut = panel.frame(joint="knee")["views"][2]["svg"]
    assert number_in(words(cut), r"([\d.]+) cm") == pytest.approx(far, abs=0.051)


def test_the_close_view_of_the_bend_says_the_law_of_cosines_angle():
    hip, knee, ankle = (np.array(WRONG.joints_mm[name]) for name in HINGES)
    a, b, c = (np.linalg.norm(p - q) for p, q in ((hip, knee), (knee, ankle), (hip, ankle)))
    angle = 180 - np.degrees(np.arccos((a * a + b * b - c * c) / (2 * a * b)))
    assert number_in(words(panel_of("wrong", "06").picture), r"([\d.]+)°") == pytest.approx(
        angle, abs=0.051
    )


def test_a_forward_leg_s_foot_goes_as_far_as_its_pelvis():
    panel = panel_of("wrong", "04")
    frame = panel.frame(chain="forward chain", lowered_mm=120)
    assert "12.0 cm" in words("".join(view["svg"] for view in frame["views"]))


def test_a_foot_turned_about_the_floor_moves_its_ankle_by_the_chord():
    panel = panel_of("wrong", "08")  # its pivot is on the floor below the ankle
    ankle, pivot = np.array(WRONG.joints_mm["ankle"]), np.array(WRONG.pivots_mm["L_foot"])
    chord = 2 * np.linalg.norm((ankle - pivot)[1:]) / 10 * np.sin(np.radians(40) / 2)
    svg = panel.frame(toes_up_deg=40)["views"][2]["svg"]
    assert number_in(words(svg), r"([\d.]+) cm") == pytest.approx(chord, abs=0.051)


def test_the_goal_beyond_reach_is_missed_by_what_it_is_beyond_without_soft_reach():
    svg = panel_of("wrong", "05").frame(soft_mm=0, pulled_mm=34)["views"][0]["svg"]
    assert number_in(words(svg), r"([\d.]+) cm") == pytest.approx(3.4, abs=0.001)


def test_a_taken_joint_shows_its_own_cut_and_sliders():
    panel = panel_of("sound", "01")
    assert {grip.chooses["joint"] for grip in panel.grips} == set(JOINTS)
    for joint in JOINTS:
        assert f"{joint.capitalize()}, cut across" in panel.frame(joint=joint)["views"][2]["svg"]
        in_the_cut = [
            panel.grips[held["grip"]].name
            for held in panel.frame(joint=joint)["grips"]
            if held["view"] == 2
        ]
        assert in_the_cut == [f"{joint.capitalize()} in the cut"]


def test_the_skin_is_the_given_one_wherever_the_joints_are():
    outline = re.compile(r'<path class="rig-skin[^>]*>')
    moved = STATES["bare"], STATES["sound"]
    first, second = (outline.search(steps.panel(s, "01").picture)[0] for s in moved)
    assert first == second
    assert build.skin("Tamsin") is build.skin("Tamsin")


def test_a_ring_is_there_only_where_a_pull_turns_something():
    loose = State.bare("Tamsin").with_sound("02")
    hung = loose.changed(parents={"knee": "hip", "ankle": "knee"})
    for state, names in ((loose, set()), (hung, {"Knee, turned", "Ankle, turned"})):
        panel = steps.panel(state, "02")
        assert {panel.grips[held["grip"]].name for held in panel.shown["grips"]} == names


def test_ball_and_toe_can_be_taken_from_the_front_too():
    panel = steps.panel(State.bare("Tamsin"), "01")
    for joint, name in (("hip", "Ball"), ("ball", "Ball"), ("toe", "Toe")):
        held = panel.frame(joint=joint)["grips"]
        front = [panel.grips[each["grip"]].name for each in held if each["view"] == 0]
        assert [each for each in front if each.endswith("front")] == [f"{name} from the front"]


def test_pivots_hold_at_their_joint_and_on_the_sole():
    state = State.bare("Tamsin").with_sound("08")
    controls = steps.panel(state, "08").controls
    for axis, place in zip(("out", "up", "ahead"), state.joints_mm["ankle"], strict=True):
        assert place in controls[f"foot_pivot_{axis}"].catches
    sound = State.bare("Tamsin").with_sound("12")
    for pivot, place in sound.sole_mm.items():
        assert steps.panel(sound, "11").controls[pivot].catches == (place,)


def test_the_pole_s_view_from_above_shows_the_plane_it_belongs_in():
    panel = steps.panel(State.bare("Tamsin").with_sound("07"), "07")
    assert "plane of the leg" in panel.shown["views"][1]["svg"]
