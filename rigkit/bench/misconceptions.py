"""Wrong models of a leg, each told by a measurement: where a hip is thought to lie, and so on.

Each is looked for only in a step whose numbers are not all right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import SupportsFloat

import numpy as np

from rigkit._types import Floats
from rigkit.bench import build, measure
from rigkit.bench.state import State

__all__ = ["MISCONCEPTIONS", "Misconception", "found"]

_Said = str  # what was measured, in words; empty where it is not this


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Misconception:
    """A wrong model of one step.

    Attributes
    ----------
    step : str
        "01" to "12".
    name : str
    sentence : str
        What who follows it believes, for a teacher.
    measured : callable
        Gives the measurement that tells it of a state, a sentence; "" where it is not this.
    hint : str
        Where to look; never the answer.
    """

    step: str
    name: str
    sentence: str
    measured: Callable[[State], str]
    hint: str

    def __repr__(self) -> str:
        return f"Misconception {self.name}, of step {self.step}: {self.sentence}"


def found(state: State, step: str) -> tuple[Misconception, str] | None:
    """Return the misconception that a state shows in a step, and the measurement that tells it.

    Parameters
    ----------
    state : State
    step : str
        "01" to "12"; its numbers are not all right.

    Returns
    -------
    (Misconception, str) or None
        The first that fits, the most particular ones standing first.

    Raises
    ------
    ValueError
        Where the joints make no leg that could be measured.
    """
    for each in MISCONCEPTIONS:
        if each.step == step and (said := each.measured(state)):
            return each, said
    return None


def _number(state: State, step: str, start: str) -> measure.Measured:
    """The number of a step whose name begins so."""
    return next(each for each in measure.measure(state, step) if each.name.startswith(start))


def _below(number: measure.Measured) -> bool:
    return number.low is not None and number.value < number.low


def _above(number: measure.Measured) -> bool:
    return number.high is not None and number.high < number.value < np.inf


def _cm(metres: SupportsFloat) -> str:
    """A length in words, without its sign; what is not zero is not told as zero."""
    length = 100 * abs(float(metres))
    return f"{length:.1f} cm" if length >= 0.05 or length < 1e-9 else f"{length:.2g} cm"


def _listed(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


# --- 01: joints in the skin ---


def _on_the_right(state: State) -> _Said:
    x = state.metres()["hip"][0]
    return f"the hip stands {_cm(x)} to the character's right of the middle" if x < 0 else ""


def _hip_off(state: State) -> Floats:
    """The way of the hip from the middle of the five published places."""
    return state.metres()["hip"] - measure.hip_places(state.puppet).mean(axis=0)


def _trochanter(state: State) -> _Said:
    off = _hip_off(state)
    out = off[0] == np.abs(off).max() and off[0] > 0.02
    return f"the hip stands {_cm(off[0])} outside the middle of the five places" if out else ""


def _crest(state: State) -> _Said:
    off = _hip_off(state)
    high = off[1] == np.abs(off).max() and off[1] > 0.02
    return f"the hip stands {_cm(off[1])} above the middle of the five places" if high else ""


def _kneecap(state: State) -> _Said:
    cut = measure.section(state, state.chain.bend)
    if cut is None:
        return ""
    off = state.metres()[state.chain.bend] - cut.middle
    ahead = float(off @ build.toes_way(state))
    in_front = ahead > 0.01 and ahead > 0.8 * np.linalg.norm(off)
    return f"the knee stands {_cm(ahead)} in front of the middle of its limb" if in_front else ""


def _ankle_in_the_sole(state: State) -> _Said:
    up = state.metres()["ankle"][1]
    return f"the ankle stands {_cm(up)} above the floor" if 0 <= up < _half_ankle(state) else ""


def _above_its_mark(state: State, joint: str) -> _Said:
    """The height of a joint above what shows of it on the skin, if too great."""
    height = measure.shown_heights(state.puppet).get(joint)
    if height is None or not _above(_number(state, "01", f"{joint} from the height")):
        return ""
    up = state.metres()[joint][1] - height
    return f"the {joint} stands {_cm(up)} above {state.chain.shown[joint]}" if up > 0 else ""


def _knee_at_the_hem(state: State) -> _Said:
    return _above_its_mark(state, "knee")


def _ankle_at_the_slimmest(state: State) -> _Said:
    return _above_its_mark(state, "ankle") if state.chain.end == "ankle" else ""


def _half_ankle(state: State) -> float:
    return state.puppet.ankle_height / 2


def _ball(state: State, off: Callable[[measure.Measured], bool]) -> _Said:
    share = _number(state, "01", "ball along")
    return (
        f"the ball stands at {share.value:.0f} % of the foot, from the heel" if off(share) else ""
    )


def _ball_at_the_arch(state: State) -> _Said:
    return _ball(state, _below)


def _ball_at_the_tips(state: State) -> _Said:
    return _ball(state, _above)


# --- 02: the chain ---


def _from_the_pelvis(state: State) -> _Said:
    there = [joint for joint in state.chain.joints[1:] if state.parents.get(joint) == "pelvis"]
    return f"{_listed(there)} {_hang(there)} from the pelvis itself" if len(there) > 1 else ""


def _hang(names: list[str]) -> str:
    return "hang" if len(names) > 1 else "hangs"


def _upside_down(state: State) -> _Said:
    place = {name: number for number, name in enumerate(("pelvis", *state.chain.joints))}
    for joint, parent in state.parents.items():
        if place[parent] > place[joint]:
            return f"the {joint} hangs from the {parent}, which is farther down the leg"
    return ""


def _past_a_joint(state: State) -> _Said:
    joints = state.chain.joints
    for joint, parent in state.parents.items():
        sound = state.chain.parents[joint]
        if parent not in (sound, "pelvis") and joints.index(parent) < joints.index(joint):
            return f"the {joint} hangs from the {parent}, past the {sound}"
    return ""


def _left_turned(state: State) -> _Said:
    turned = {name: degrees for name, degrees in state.turns_deg.items() if degrees}
    if not turned:
        return ""
    most = max(turned, key=lambda name: abs(turned[name]))
    return f"at rest the {most} reads {turned[most]:g}°, where it should read zero".replace(
        "-", "−"
    )


# --- 03: two sides ---


def _wrong_plane(state: State) -> _Said:
    if state.plane_mm == 0:
        return ""
    way = "left" if state.plane_mm > 0 else "right"
    aside = _cm(state.plane_mm / 1000)
    return f"the plane of the mirror stands {aside} to the {way} of the middle of the body"


def _opposite(state: State) -> _Said:
    if state.mirror == "same bend":
        return ""
    apart = _number(state, "03", "ankles apart").value / 100
    return (
        f"one turn of both knees by 30° bends them in two ways: the ankles end {_cm(apart)} apart"
    )


def _hinge_between(state: State, low: float, high: float) -> _Said:
    off = measure.hinges_off(state)
    most = max(off, key=lambda name: off[name])
    there = low < off[most] <= high
    return f"the {most}'s arrow is {off[most]:.0f}° off square to the bend" if there else ""


def _hinge_backward(state: State) -> _Said:
    return _hinge_between(state, 135, 180)


def _hinge_along(state: State) -> _Said:
    return _hinge_between(state, 45, 135)


# --- 04: forward and inverse ---


def _forward(state: State) -> _Said:
    slip = _number(state, "04", "foot slips").value / 100
    gone = f"the foot goes along by {_cm(slip)} when the pelvis sinks by 10 cm"
    return "" if state.inverse else gone


def _foot_follows(state: State) -> _Said:
    if "L_foot" not in state.follows:
        return ""
    carried = _number(state, "08", "foot carried").value / 100
    return f"the foot's control is carried off by {_cm(carried)} when the pelvis sinks by 10 cm"


# --- 05: reach ---


def _hardly_soft(state: State) -> _Said:
    rate = _number(state, "05", "knee at")
    late = state.soft_mm > 0 and _above(rate)
    return f"near full reach the knee turns by {rate.value:.0f}° a second" if late else ""


def _too_soft(state: State) -> _Said:
    lag = _number(state, "05", "ankle short")
    return f"at full reach the ankle stays {_cm(lag.value / 100)} short" if _above(lag) else ""


# --- 06: the preset bend ---


LEAST_BEND = 0.05  # degrees: less is a straight leg, on whichever side the knee is


def _knee_behind(state: State) -> _Said:
    if _number(state, "06", "bend at rest").value > -LEAST_BEND:
        return ""
    hip, knee, ankle = build.leg(state)
    way = (ankle - hip) / np.linalg.norm(ankle - hip)
    off = np.linalg.norm(knee - hip - ((knee - hip) @ way) * way)
    return f"the knee stands {_cm(off)} behind the line from hip to ankle"


def _straight(state: State) -> _Said:
    bend = _number(state, "06", "bend at rest")
    straight = bend.value > -LEAST_BEND and _below(bend)
    return f"at rest the leg is bent by {abs(bend.value):.1f}°" if straight else ""


def _crouch(state: State) -> _Said:
    bend = _number(state, "06", "bend at rest")
    return f"at rest the leg is bent by {bend.value:.1f}°" if _above(bend) else ""


# --- 07: the pole ---

NEAR_CM = 0.5  # so near the knee it is neither before nor behind


def _pole_behind(state: State) -> _Said:
    ahead = _number(state, "07", "pole ahead").value
    return f"the pole stands {_cm(ahead / 100)} behind the knee" if ahead < -NEAR_CM else ""


def _pole_near(state: State) -> _Said:
    ahead, leg = _number(state, "07", "pole ahead"), 100 * state.puppet.leg_length
    if ahead.value < -NEAR_CM or not _below(ahead):
        return ""
    return f"the pole stands {_cm(ahead.value / 100)} ahead of the knee, on a leg of {leg:.0f} cm"


def _pole_beside(state: State) -> _Said:
    jump = _number(state, "07", "knee jumps")
    jumps = f"the knee jumps by {_cm(jump.value / 100)} as soon as the pole takes over"
    return jumps if _above(jump) else ""


# --- 08: controls ---


def _pivot_at_the_outline(state: State) -> _Said:
    pivot, shape = (np.array(at["L_foot"]) / 1000 for at in (state.pivots_mm, state.outlines_mm))
    off = _number(state, "08", "foot's pivot")
    there = _above(off) and np.linalg.norm(pivot - shape) < 0.01
    return (
        f"the foot turns about its outline, {_cm(off.value / 100)} from the ankle" if there else ""
    )


def _pivot_elsewhere(state: State) -> _Said:
    off = _number(state, "08", "foot's pivot")
    about = f"the foot turns about a point {_cm(off.value / 100)} from the ankle"
    return about if _above(off) else ""


def _pelvis_on_the_floor(state: State) -> _Said:
    up = state.pivots_mm["pelvis"][1] / 1000
    low = up < state.metres()["hip"][1] / 2
    return f"the pelvis turns about a point {_cm(up)} from the floor" if low else ""


def _outline_in_the_air(state: State) -> _Said:
    up = _number(state, "08", "foot's outline")
    return f"the foot's outline stands {_cm(up.value / 100)} off the floor" if _above(up) else ""


def _pole_stays(state: State) -> _Said:
    behind = _number(state, "08", "pole left")
    left = f"in a step of 1 m the pole is left {_cm(behind.value / 100)} behind"
    return left if "L_knee" not in state.follows else ""


# --- 09: the skin ---


def _torn(state: State) -> _Said:
    stretch = _number(state, "09", "longest stretch")
    pulled = f"an edge is pulled to {stretch.value:.1f} times its length"
    return f"with the knee bent by 90° {pulled}" if _above(stretch) else ""


def _hose(state: State) -> _Said:
    kept = _number(state, "09", "volume")
    hose = _below(kept) and kept.value > 0
    return f"bent by 90° the knee keeps {kept.value:.0f} % of its volume" if hose else ""


# --- 10: a walk ---


def _not_planted(state: State) -> _Said:
    slide = _number(state, "10", "foot slides").value / 100
    return "" if state.inverse else f"a foot slides by {_cm(slide)} while it stands"


def _too_high(state: State) -> _Said:
    room = _number(state, "10", "pelvis below")
    high = f"the pelvis rides {_cm(room.value / 100)} higher than the legs reach"
    return high if _below(room) else ""


def _too_low(state: State) -> _Said:
    room = _number(state, "10", "pelvis below")
    low = f"the pelvis rides {_cm(room.value / 100)} below the highest place the legs allow"
    return low if _above(room) else ""


def _sway(state: State, off: Callable[[measure.Measured], bool]) -> _Said:
    sway = _number(state, "10", "pelvis goes")
    return f"the pelvis goes {_cm(sway.value / 100)} from side to side" if off(sway) else ""


def _stiff(state: State) -> _Said:
    return _sway(state, _below)


def _swagger(state: State) -> _Said:
    return _sway(state, _above)


# --- 11: the foot ---


NEAR_SOLE = 0.0025  # metres: a pivot so near to its place hardly lifts or sinks the sole


def _pivots_off(state: State) -> dict[str, float]:
    """The distances of the foot's pivots before their places on the sole, metres."""
    end = state.metres()[state.chain.end][2]
    heel, tip = measure.sole_ends(state.puppet)
    right = {"heel": heel[2], "ball": state.metres()["ball"][2], "toe": tip[2]}
    return {name: state.sole_mm[name] / 1000 - float(z - end) for name, z in right.items()}


def _from_the_heel(state: State) -> _Said:
    off = list(_pivots_off(state).values())
    together = max(off) - min(off) < 0.01 and min(off) > 0.01
    return f"all three pivots lie about {_cm(np.mean(off))} too far forward" if together else ""


def _pivot_off(state: State, fits: Callable[[str, float], bool]) -> _Said:
    """The pivot that is farthest off, if it is so."""
    offs = _pivots_off(state)
    name = max(offs, key=lambda each: abs(offs[each]))
    if abs(offs[name]) < NEAR_SOLE or not fits(name, offs[name]):
        return ""
    way = "before" if offs[name] > 0 else "behind"
    where = {"heel": "the end of the heel", "ball": "the ball", "toe": "the tip of the toes"}
    return f"the {name}'s pivot lies {_cm(offs[name])} {way} {where[name]}"


def _inside_the_sole(state: State) -> _Said:
    return _pivot_off(
        state, lambda name, off: off > 0 if name == "heel" else off < 0 and name == "toe"
    )


def _beyond_the_sole(state: State) -> _Said:
    return _pivot_off(
        state, lambda name, off: off < 0 if name == "heel" else off > 0 and name == "toe"
    )


def _ball_elsewhere(state: State) -> _Said:
    return _pivot_off(state, lambda name, _: name == "ball")


MISCONCEPTIONS = (
    Misconception(
        "01",
        "the leg on the other side",
        "left is taken as seen from the front; it is the character's own left",
        _on_the_right,
        "Left is the character's own: seen from the front it is at your right.",
    ),
    Misconception(
        "01",
        "the hip at the trochanter",
        "the bump one feels at the side of the hip is taken for the joint, which lies deeper",
        _trochanter,
        "What one feels at the side is the bone's outer end. The joint lies deeper in the body.",
    ),
    Misconception(
        "01",
        "the hip at the crest",
        "the rim of the pelvis, where a belt sits, is taken for the hip joint",
        _crest,
        "Where a belt sits there is the rim of the pelvis. Lift a knee: where does the leg fold?",
    ),
    Misconception(
        "01",
        "the knee at the kneecap",
        "the kneecap is taken for the joint, which lies in the middle of the limb",
        _kneecap,
        "The kneecap lies in front of the joint. Look at the cut: where is its middle?",
    ),
    Misconception(
        "01",
        "the ankle in the sole",
        "the ankle is put where the foot meets the floor, not where it turns",
        _ankle_in_the_sole,
        "The foot turns between the two knobs at its sides. How high are they?",
    ),
    Misconception(
        "01",
        "the knee at the hem",
        "the knee is put above its kneecap, where shorts end: a short thigh, a long shank",
        _knee_at_the_hem,
        "Look from aside: what stands out in front of a knee, and how high is it?",
    ),
    Misconception(
        "01",
        "the ankle at the slimmest",
        "the ankle is put where the leg is slimmest, which is above where the foot turns",
        _ankle_at_the_slimmest,
        "Where a leg is slimmest nothing turns. How high are the two knobs at its sides?",
    ),
    Misconception(
        "01",
        "the ball at the arch",
        "the ball is put under the middle of the foot, not where the toes bend",
        _ball_at_the_arch,
        "Rise on your toes: where does the shoe crease?",
    ),
    Misconception(
        "01",
        "the ball at the tips",
        "the ball is put among the toes, not where they begin to bend",
        _ball_at_the_tips,
        "Rise on your toes: where does the shoe crease?",
    ),
    Misconception(
        "02",
        "all from the pelvis",
        "every joint hangs from the pelvis, so nothing below goes along when the hip turns",
        _from_the_pelvis,
        "Turn the hip: what has to come along?",
    ),
    Misconception(
        "02",
        "upside down",
        "a joint hangs from one below it, as if the foot carried the leg",
        _upside_down,
        "A joint goes along with the one it hangs from. Which moves which when a hip turns?",
    ),
    Misconception(
        "02",
        "past a joint",
        "a joint hangs from one farther up and does not follow the one between",
        _past_a_joint,
        "Bend the joint between: does what lies below come along?",
    ),
    Misconception(
        "02",
        "a joint left turned",
        "a joint is turned to show something and stays so when all is bound",
        _left_turned,
        "What is turned at rest is in every pose. Look at the turns one by one.",
    ),
    Misconception(
        "03",
        "mirrored across the wrong plane",
        "the mirror's plane is not the middle of the body, so the right leg stands elsewhere",
        _wrong_plane,
        "A body is mirrored across its own middle. Where is that, seen from the front?",
    ),
    Misconception(
        "03",
        "mirrored to bend the other way",
        "the axes are reflected, so one turn bends the two knees in opposite ways",
        _opposite,
        "Turn both knees by the same number, and look at them from the side.",
    ),
    Misconception(
        "03",
        "a hinge backward",
        "a hinge arrow points the other way, so what should bend a joint stretches it",
        _hinge_backward,
        "Of the arrow's two ends, which one makes a positive turn a bend?",
    ),
    Misconception(
        "03",
        "a hinge along the bone",
        "the hinge arrow lies along the bone or ahead, and not across it",
        _hinge_along,
        "Think of a door's hinge: the leaf swings square to it.",
    ),
    Misconception(
        "04",
        "a forward chain",
        "the leg is posed by its joints' turns, so the foot moves with the pelvis",
        _forward,
        "A standing foot stays where it is. Which chain holds its end?",
    ),
    Misconception(
        "05",
        "eased too late",
        "soft reach begins so late that the knee still snaps straight",
        _hardly_soft,
        "The knee needs a longer way to slow down in.",
    ),
    Misconception(
        "05",
        "eased too early",
        "soft reach begins so early that the ankle never comes near its goal",
        _too_soft,
        "What is eased is lost in reach. How much can a step spare?",
    ),
    Misconception(
        "06",
        "the knee behind the line",
        "the knee is set behind the line from hip to ankle, so solvers bend it backward",
        _knee_behind,
        "A solver bends a knee to the side on which it stands. Which way do knees go?",
    ),
    Misconception(
        "06",
        "a straight leg",
        "hip, knee and ankle lie on one line, so no solver knows where the knee should go",
        _straight,
        "On a line there is no side. A knee needs a hint of one.",
    ),
    Misconception(
        "06",
        "a crouch for a bend",
        "the preset bend is made as large as a pose, which costs reach and height",
        _crouch,
        "The preset bend is a hint for the solver, hardly to be seen.",
    ),
    Misconception(
        "07",
        "the pole behind",
        "the pole is put where the knee comes from, not where it points",
        _pole_behind,
        "The knee turns toward the pole.",
    ),
    Misconception(
        "07",
        "the pole in the knee",
        "the pole is put at the knee, where a small move turns the leg far",
        _pole_near,
        "Near the leg a small step of the pole is a large turn. Give it room.",
    ),
    Misconception(
        "07",
        "the pole beside",
        "the pole stands out of the plane of hip, knee and ankle, and turns the leg at rest",
        _pole_beside,
        "Seen from above, hip, knee and pole lie on one line.",
    ),
    Misconception(
        "08",
        "the pivot at the outline",
        "the outline one takes is thought to be where a control turns",
        _pivot_at_the_outline,
        "An outline may stand anywhere. About which joint does a foot turn?",
    ),
    Misconception(
        "08",
        "a pivot off its joint",
        "the foot's control turns about a point where nothing turns",
        _pivot_elsewhere,
        "About which joint does a foot turn?",
    ),
    Misconception(
        "08",
        "the pelvis about the floor",
        "the pelvis's control turns about the floor, so a tilt throws the hips aside",
        _pelvis_on_the_floor,
        "About which point does a pelvis tilt?",
    ),
    Misconception(
        "08",
        "the outline in the air",
        "the foot's outline is put at the joint, not on the floor where the sole is",
        _outline_in_the_air,
        "Who plants a foot looks at the sole. Where is it?",
    ),
    Misconception(
        "08",
        "a foot that is carried",
        "the foot's control follows the pelvis, so no foot can stay on the floor",
        _foot_follows,
        "Sink the pelvis: what must not move?",
    ),
    Misconception(
        "08",
        "a pole that stays",
        "the pole follows nothing and is left behind by the first step",
        _pole_stays,
        "Walk a metre ahead. What should have come along?",
    ),
    Misconception(
        "09",
        "a torn crease",
        "thigh and shank are cut against each other, so the skin tears where they meet",
        _torn,
        "Weights have to pass from one bone to the next by degrees. Smooth around the knee.",
    ),
    Misconception(
        "09",
        "a bent hose",
        "the blend reaches so far that the knee loses its form like a hose",
        _hose,
        "Most of a thigh goes with the thigh alone. How far need the blend reach?",
    ),
    Misconception(
        "10",
        "feet not planted",
        "a walk is made of turns alone, so the feet slide over the floor",
        _not_planted,
        "A standing foot stays where it is. Which chain holds its end?",
    ),
    Misconception(
        "10",
        "the pelvis too high",
        "the pelvis rides so high that the legs cannot reach the floor",
        _too_high,
        "A leg cannot be longer than its bones. What has to give?",
    ),
    Misconception(
        "10",
        "a walk in a crouch",
        "the pelvis rides so low that the legs never come near straight",
        _too_low,
        "In the middle of a stance a leg is nearly straight.",
    ),
    Misconception(
        "10",
        "no weight on the foot",
        "the pelvis keeps to the middle, and no foot ever stands below the weight",
        _stiff,
        "Stand on one foot: where does your pelvis go?",
    ),
    Misconception(
        "10",
        "a swagger",
        "the pelvis goes farther aside than the standing foot",
        _swagger,
        "Stand on one foot: how far does your pelvis go?",
    ),
    Misconception(
        "11",
        "measured from the heel",
        "the pivots are measured from the heel; they are told from the ankle",
        _from_the_heel,
        "Where is the zero that the three numbers are measured from?",
    ),
    Misconception(
        "11",
        "a pivot inside the sole",
        "a foot is thought to roll about a point within the sole, so its end sinks in",
        _inside_the_sole,
        "Roll the foot back: which point of the sole stays on the floor the longest?",
    ),
    Misconception(
        "11",
        "a pivot beyond the sole",
        "a foot is thought to roll about a point outside the sole, so it lifts off",
        _beyond_the_sole,
        "Roll the foot: which point of the sole is the last to leave the floor?",
    ),
    Misconception(
        "11",
        "the ball's pivot elsewhere",
        "the ball's pivot is not where the toes bend, so the sole slips as the heel rises",
        _ball_elsewhere,
        "Rise on your toes: where does the shoe crease?",
    ),
)
