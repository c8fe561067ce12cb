"""The numbers of each step on the bench, each with its limits and where those come from.

Every number is measured on the state as it is, not on what it was given as; a limit is the
inspection's own where it has one, else our choice. Lengths are in cm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import Any, SupportsFloat

import numpy as np

from rigkit import _check, body, foot, gait, inspection, mesh, placement, rotation, two_bone
from rigkit import bend as bd
from rigkit import controls as ct
from rigkit import frames as fr
from rigkit import skin as skinning
from rigkit._types import ArrayLike, Floats, Ints
from rigkit.bench import build
from rigkit.bench.chain import chain_of
from rigkit.bench.state import STEPS, State
from rigkit.inspection import skin_rules, weight_rules
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS

__all__ = [
    "HIP_RULES",
    "Measured",
    "bent_motions",
    "cut_point",
    "done",
    "free_footed",
    "hinges_off",
    "hip_places",
]
__all__ += ["inspected", "measure", "note", "of_weights", "section", "shown_heights", "signed_off"]
__all__ += ["sole_ends", "sound_start"]

# Published rules that go by the pelvis: those that go by the leg's length would be told of stilts.
HIP_RULES = ("bell-1989", "bell-1990", "harrington", "harrington-single", "seidel")
# Where a hip lies in a skin of which no rule is published, by eye: aside as a share of the breadth,
# up as one of the way from where the legs part to the top; it is the middle from front to back.
HIP_IN_SKIN = 0.25, 0.40
JOINTED = ("01", "06")  # the steps that share the joints
# What shows of a joint on the skin, from aside. As shares of the height where the legs part:
# between which the bend's mark lies, and how far above and below it the skin is that it stands out
# from. The instep begins where the skin's front has come forward by a share of the foot. A joint
# may stand so much of the leg off the height of its mark, in per cent.
BEND_WITHIN = 0.35, 0.80
KNOB = 0.075
INSTEP = 0.02
SHOWN = 2.5
CHOSEN = "our choice"
UNITS = ("cm", "°", "%")
PULL = 0.5  # m/s
SWEEP = 26  # poses in a squat, and as many in a step
RULES = {rule.id: rule for rule in inspection.RULES}


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Measured:
    """One number of a step.

    Attributes
    ----------
    name : str
        What it is of.
    value : float
        Infinite where there is nothing to measure, as of a joint that no skin surrounds.
    unit : str
    low, high : float or None
        Its limits; None where there is none.
    todo : str
        What to do when it is out of them.
    because : str
        Where the limits come from.

    Examples
    --------
    >>> from rigkit.bench.measure import Measured
    >>> number = Measured("knee off the middle", 0.4, "cm", None, 1.0, "Move it.")
    >>> number.limit, number.right
    ('1 cm at most', True)
    """

    name: str
    value: float
    unit: str
    low: float | None
    high: float | None
    todo: str
    because: str = CHOSEN

    @property
    def right(self) -> bool:
        """True if the number is within its limits."""
        low = -np.inf if self.low is None else self.low
        high = np.inf if self.high is None else self.high
        return bool(low <= self.value <= high and np.isfinite(self.value))

    @property
    def ends(self) -> tuple[float | None, float | None]:
        """The limits as a person reads them: rounded, unless the number lies between."""
        low, high = (
            None if end is None else _read(end, self.value) for end in (self.low, self.high)
        )
        return low, high

    @property
    def limit(self) -> str:
        """The limits in words, such as "1 cm at most" or "2° to 10°"."""
        low, high = self.ends
        if (low, high, self.unit) == (None, 0, ""):
            return "there may be none"
        if low is None or high is None:
            end, which = (high, "at most") if low is None else (low, "at least")
            return f"{_with_unit(end, self.unit)} {which}"
        first = _with_unit(low, self.unit) if self.unit.startswith("°") else f"{low:g}"
        return f"{first} to {_with_unit(high, self.unit)}"


def _read(end: float, value: float) -> float:
    """A limit with as few decimals as tell the same of a number, by a twentieth off at most."""
    for digits in range(1, 6):
        near = round(end, digits)
        if abs(near - end) <= 0.05 * abs(end) and (value > end, value < end) == (
            value > near,
            value < near,
        ):
            return near
    return end


def _with_unit(number: float | None, unit: str) -> str:
    space = "" if unit.startswith("°") or not unit else " "
    return f"{number:g}{space}{unit}"


def _between(
    low: float | None,
    high: float | None,
    unit: str,
    name: str,
    value: SupportsFloat,
    todo: str,
    because: str = CHOSEN,
) -> Measured:
    return Measured(name, float(value), unit, low, high, todo, because)


def _at_most(
    high: float, unit: str, name: str, value: SupportsFloat, todo: str, because: str = CHOSEN
) -> Measured:
    return _between(None, high, unit, name, value, todo, because)


def _by_rule(rule: str, name: str, value: SupportsFloat, todo: str) -> Measured:
    """A number with the limit that the inspection has for it."""
    own = RULES[rule]
    unit = own.unit if own.unit in UNITS else ""  # the name says what is counted
    return _at_most(own.limit, unit, name, value, todo, f"the inspection's {rule}")


def _by_share(state: State, rule: str, name: str, value: SupportsFloat, todo: str) -> Measured:
    """A length in cm whose limit the inspection has as a share of the leg."""
    own = RULES[rule]
    because = f"the inspection's {rule}, {own.limit:g} % of the leg"
    return _at_most(own.limit * _whole_leg(state), "cm", name, value, todo, because)


def _whole_leg(state: State) -> float:
    """The length of all its bones, metres."""
    return float(np.linalg.norm(np.diff(build.hinges(state), axis=0), axis=-1).sum())


def measure(state: State, step: str) -> tuple[Measured, ...]:
    """Return the numbers of a step.

    Parameters
    ----------
    state : State
    step : str
        One of `STEPS`, "01" to "12".

    Returns
    -------
    tuple of Measured

    Raises
    ------
    ValueError
        For another step; or, with a sentence of what is in the way, where the joints make no leg
        that could be measured.

    Examples
    --------
    >>> from rigkit.bench.measure import measure
    >>> from rigkit.bench.state import State
    >>> knee = measure(State.bare("Tamsin").with_sound("02"), "01")[1]
    >>> knee.name, knee.right
    ('knee off the middle of the limb', True)
    """
    if step not in STEPS:
        raise ValueError(f"`step` must be one of {', '.join(STEPS)}; got {step!r}.")
    return _measured(state, step)


@lru_cache(maxsize=256)  # whoever shows a step then asks what is done
def _measured(state: State, step: str) -> tuple[Measured, ...]:
    return tuple(_MEASURES[step](state))


def done(state: State) -> dict[str, str]:
    """Return how far each step is: every number right by the learner, by the kit, or not yet.

    The last step, signing off, is open as long as any other is.

    Parameters
    ----------
    state : State

    Returns
    -------
    dict of str to {"done", "given", "open"}
        By step.
    """
    found: dict[str, str] = {}
    for step in STEPS:
        waits = step == max(STEPS) and "open" in found.values()
        found[step] = "open" if waits else _how_far(state, step)
    return found


def sound_start(state: State, step: str) -> State:
    """Return a state that a step can begin from: the kit fills in what is not right before it.

    What is right stays as it is. Each step is judged on the leg with the open ones before it filled
    in: what was right with other joints may not be so with these, and is then filled in too.

    Parameters
    ----------
    state : State
    step : str
        One of `STEPS`.

    Returns
    -------
    State
        What is filled in is marked as given, and nothing else.

    Raises
    ------
    ValueError
        For another step.

    Examples
    --------
    >>> from rigkit.bench.measure import sound_start
    >>> from rigkit.bench.state import State
    >>> mine = State.bare("Tamsin").changed(plane_mm=0, hinge_deg={}, mirror="same bend")
    >>> sound_start(mine.with_sound("02"), "05").given
    ('01', '02', '04', '06')
    """
    _check.choice("step", step, STEPS)
    before = [each for each in STEPS if each < step]
    for each in before * 2:  # the second time: what was filled in may have undone one before it
        if _how_far(state, each) == "open":
            state = state.filled_in(each)
            if each in JOINTED and _how_far(state, each) == "open":
                state = state.filled_in(*JOINTED)
    return state


def note(state: State, step: str) -> str:
    """Return what a step asks otherwise of this character than of people, in a sentence.

    Parameters
    ----------
    state : State
    step : str
        One of `STEPS`.

    Returns
    -------
    str
        Empty where it asks the same.

    Examples
    --------
    >>> from rigkit.bench.measure import note
    >>> from rigkit.bench.state import State
    >>> note(State.bare("heron"), "07")
    'Its ankle bends backward, so the pole stands behind.'
    """
    return state.chain.notes.get(step, "")


def _how_far(state: State, step: str) -> str:
    try:
        right = all(each.right for each in measure(state, step))
    except ValueError:
        right = False
    return ("given" if step in state.given else "done") if right else "open"


# --- 01: joints in the skin ---


@lru_cache(maxsize=32)
def hip_places(puppet: Puppet) -> Floats:
    """Return where rules put the left hip of the given skin: each of `HIP_RULES`, for people.

    The landmarks are those of `mesh.pelvis_landmarks`, which knows nothing of the hip joints; the
    leg is measured from the height of the ASISs to that of the ankle. Of animals the kit has no
    rule: their one place is told from the skin itself, by `HIP_IN_SKIN`.

    Parameters
    ----------
    puppet : Puppet

    Returns
    -------
    ndarray, shape (5, 3), of an animal (1, 3)
        Metres.
    """
    if len(puppet.bones) == 3:
        return _hip_in_skin(puppet)[None]
    points = mesh.pelvis_landmarks(build.skin(puppet))
    sides = [points[f"{side}_{name}"] for name in ("asis", "psis") for side in ("left", "right")]
    pelvis = body.pelvis(*sides)
    origin = pelvis.frame[:3, 3]
    measures = {
        "pelvis_width": pelvis.width,
        "pelvis_depth": pelvis.depth,
        "pelvis_height": origin[1] - points["pubis"][1],
        "leg_length": origin[1] - puppet.ankle_height,
    }
    hips = np.stack([body.hip_centres(rule, **measures).left for rule in HIP_RULES])
    return hips @ pelvis.frame[:3, :3].T + origin


def _hip_in_skin(puppet: Puppet) -> Floats:
    """The left hip's place by the skin alone."""
    vertices, triangles = build.skin(puppet).vertices, _left(puppet)
    x, y, _ = vertices.T
    parting, top = _parting(puppet), float(y.max())
    aside, up = HIP_IN_SKIN
    height = parting + up * (top - parting)
    cut = mesh.section(vertices, triangles, [aside * np.ptp(x[y > parting]), height, 0], [0, 1, 0])
    return np.array([aside * np.ptp(x[y > parting]), height, cut.middle[2]])


def _parting(puppet: Puppet) -> float:
    """The height at which the legs of the given skin part, metres."""
    x, y, _ = build.skin(puppet).vertices.T
    return float(y[np.abs(x) < 1e-9].min())


@lru_cache(maxsize=32)
def shown_heights(puppet: Puppet) -> Mapping[str, float]:
    """Return how high some joints stand by what shows of them on the given skin, seen from aside.

    A knee stands at the height of its kneecap, where the skin's front stands out most from what is
    above and below; the heron's ankle at that of its knob behind. Of people the ankle is told from
    the instep: going down from the slimmest place of the shank, the height where the skin's front
    has come forward by `INSTEP` of the foot's length. Marks of our own choice, for these skins.

    Parameters
    ----------
    puppet : Puppet

    Returns
    -------
    mapping of str to float
        Metres above the floor, by joint.

    Examples
    --------
    >>> from rigkit import puppets
    >>> from rigkit.bench.measure import shown_heights
    >>> {joint: round(high, 2) for joint, high in shown_heights(puppets.get("Tamsin")).items()}
    {'knee': 0.48, 'ankle': 0.06}
    """
    chain, parting = chain_of(puppet), _parting(puppet)
    heights = np.arange(0.001, parting, 0.001)
    back, front = _from_aside(puppet, heights)
    low, high = (share * parting for share in BEND_WITHIN)
    within, far = heights[(low < heights) & (heights < high)], KNOB * parting
    outer = front if chain.way > 0 else -back
    lower, own, upper = (np.interp(within + off, heights, outer) for off in (-far, 0, far))
    found = {chain.bend: float(within[(own - (lower + upper) / 2).argmax()])}
    if chain.end in chain.raised_m:
        return MappingProxyType(found)  # the end: see `_height_of_end`
    slim, (heel, tip) = int((front - back)[heights < low].argmin()), sole_ends(puppet)
    ahead = front[:slim] - front[slim] >= INSTEP * (tip - heel)[2]
    return MappingProxyType(found | {chain.end: float(heights[:slim][ahead].max())})


def _from_aside(puppet: Puppet, heights: Floats) -> tuple[Floats, Floats]:
    """The left leg's skin from aside: how far back and forward it is at each height, metres."""
    triangles = _left(puppet)
    edges = np.unique(np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)), axis=0)
    low, high = np.moveaxis(build.skin(puppet).vertices[edges], 1, 0)
    ends = []
    for height in heights:
        met = (low[:, 1] >= height) != (high[:, 1] >= height)
        start, end = low[met], high[met]
        share = (height - start[:, 1]) / (end[:, 1] - start[:, 1])
        z = start[:, 2] + share * (end[:, 2] - start[:, 2])
        ends.append((z.min(), z.max()))
    back, front = np.array(ends).T
    return back, front


def section(state: State, joint: str) -> mesh.Section | None:
    """Return the cut through the given skin at a joint of the left leg, square to the limb.

    Where a cut there would meet more than the limb, as at the heron's foot, it is a little above;
    see `Chain.raised_m`.

    Parameters
    ----------
    state : State
    joint : str
        One of `state.chain.hinges`.

    Returns
    -------
    Section or None
        None where the plane meets no skin.

    Raises
    ------
    ValueError
        If it is another joint.
    """
    at, hinges = state.metres(), state.chain.hinges
    if joint not in hinges:
        raise ValueError(f"`joint` must be one of {', '.join(hinges)}; got {joint!r}.")
    ways = [_unit(at[lower] - at[upper]) for upper, lower in pairwise(hinges)]
    i = hinges.index(joint)
    normal = _unit(sum(ways[max(i - 1, 0) : i + 1], np.zeros(3)))
    point = cut_point(state, joint)
    surface, triangles = build.skin(state.puppet), _left(state.puppet)
    above = ((surface.vertices - point) @ normal >= 0)[triangles]
    cut = triangles[above.any(axis=-1) & ~above.all(axis=-1)]
    return mesh.section(surface.vertices, cut, point, normal) if len(cut) else None


def cut_point(state: State, joint: str) -> Floats:
    """Return the point of the bone's line that `section` cuts at: the joint, or a little above.

    Parameters
    ----------
    state : State
    joint : str
        One of `state.chain.hinges`.

    Returns
    -------
    ndarray, shape (3,)
    """
    at, hinges = state.metres(), state.chain.hinges
    raised = state.chain.raised_m.get(joint, 0.0)
    above = at[hinges[max(hinges.index(joint) - 1, 0)]]
    return at[joint] - raised * _unit(at[joint] - above) if raised else at[joint]


@lru_cache(maxsize=32)
def _left(puppet: Puppet) -> Ints:
    return build.skin(puppet).side("L_")


def _unit(vector: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 1e-9 else np.array([0.0, -1.0, 0.0])


def _joints(state: State) -> list[Measured]:
    places = hip_places(state.puppet)
    far = 100 * np.linalg.norm(places - state.metres()["hip"], axis=-1).max()
    if len(places) > 1:
        name = "hip from the farthest of five published rules"
        todo = "Move the hip toward the middle of the five places."
        because = f"the rules miss true hips by 1 to 3 cm; {CHOSEN}"
        hip = _at_most(2.5, "cm", name, far, todo, because)
    else:
        todo = "Move the hip to the place that its skin tells."
        because = f"a quarter of the breadth aside, two fifths of the way up, by eye; {CHOSEN}"
        hip = _at_most(2.0, "cm", "hip from the place its skin tells", far, todo, because)
    limbs = [each for joint in state.chain.hinges[1:] for each in _in_the_limb(state, joint)]
    return [hip, *limbs, *_along_the_leg(state), _beside(state), *_on_the_sole(state)]


def _in_the_limb(state: State, joint: str) -> list[Measured]:
    """The way of a joint from the middle of its limb, and what a bend there does to the skin."""
    cut, at = section(state, joint), cut_point(state, joint)
    away = share = slide = np.inf
    if cut is not None:
        away = float(np.linalg.norm(at - cut.middle))
        share, slide = away / cut.radius, float(placement.skin_slide(at - cut.middle, np.pi / 2))
    todo = f"Move the {state.chain.word(joint)} to the middle of the cut."
    bent = f"skin slides in a bend of 90° at the {joint}"
    return [
        _at_most(1.0, "cm", f"{joint} off the middle of the limb", 100 * away, todo),
        _by_rule(
            "joint-in-section", f"{joint} on the way from the middle to the skin", 100 * share, todo
        ),
        _at_most(1.5, "cm", bent, 100 * slide, todo),
    ]


def _along_the_leg(state: State) -> list[Measured]:
    """The distance in height of joints from what shows of them on the skin."""
    limit = SHOWN * _whole_leg(state)
    because = f"{SHOWN:g} % of the leg, {CHOSEN}"
    found = []
    for joint, height in shown_heights(state.puppet).items():
        mark = state.chain.shown[joint]
        name, todo = f"{joint} from the height of {mark}", f"Move it to the height of {mark}."
        off = 100 * abs(float(state.metres()[joint][1]) - height)
        found.append(_at_most(limit, "cm", name, off, todo, because))
    return found


def _beside(state: State) -> Measured:
    """The distance of what bends from the plane of the leg's begin, its end and the toe."""
    at, (root, bend, end) = state.metres(), state.chain.solved
    normal = _unit(np.cross(build.toes_way(state), at[end] - at[root]))
    aside = 100 * abs(float((at[bend] - at[root]) @ normal))
    name = f"{bend} beside the plane of {root}, {end} and toe"
    todo = f"Move the {bend} onto it, seen ahead."
    return _by_share(state, "knee-in-plane", name, aside, todo)


def _on_the_sole(state: State) -> list[Measured]:
    """The ball and the toe on the sole of the given skin."""
    at, (heel, tip), chain = state.metres(), sole_ends(state.puppet), state.chain
    share = 100 * float((at["ball"] - heel) @ (tip - heel) / ((tip - heel) @ (tip - heel)))
    aside = 100 * max(abs(float(at[name][0] - at[chain.end][0])) for name in ("ball", "toe"))
    height = 100 * max(abs(float(at[name][1])) for name in ("ball", "toe"))
    short = 100 * float(np.linalg.norm(at["toe"] - tip))
    bend, end = "Move the ball to where the toes bend.", chain.word(chain.end)
    along = f"{chain.ball_because}; {CHOSEN}"
    beside = f"ball and toe beside the {end}"
    return [
        _between(*chain.ball_percent, "%", "ball along the foot from the heel", share, bend, along),
        _at_most(1.0, "cm", "toe from the tip of the foot", short, "Move the toe to the tip."),
        _at_most(0.05, "cm", "ball and toe off the floor", height, "Put them on the floor."),
        _at_most(3.0, "cm", beside, aside, f"Put them ahead of the {end}."),
        *_height_of_end(state),
    ]


def _height_of_end(state: State) -> list[Measured]:
    """The height of an end that its limb's cut, above it, does not tell: the heron's foot."""
    end = state.chain.end
    if end not in state.chain.raised_m:
        return []
    high, own = 100 * state.metres()[end][1], 100 * state.puppet.ankle_height
    name, todo = f"{end} above the floor", "Move it to where the toes begin."
    return [_between(own - 1, own + 2, "cm", name, high, todo, f"its own sketch; {CHOSEN}")]


@lru_cache(maxsize=32)
def sole_ends(puppet: Puppet) -> tuple[Floats, Floats]:
    """Return where the sole of the given skin's left foot ends behind and in front, on the floor.

    Parameters
    ----------
    puppet : Puppet

    Returns
    -------
    heel, tip : ndarray, shape (3,)
        Metres.
    """
    vertices = build.skin(puppet).vertices
    sole = vertices[(vertices[:, 1] < puppet.ankle_height) & (vertices[:, 0] > 0)]
    x = build.skin_chain(puppet)[-1, 0]
    return np.array([x, 0.0, sole[:, 2].min()]), np.array([x, 0.0, sole[:, 2].max()])


# --- 02: the chain ---


def _chain(state: State) -> list[Measured]:
    skeleton = build.skeleton(state)
    way = ("pelvis", *("L_" + joint for joint in state.chain.joints))
    loose = sum(lower not in skeleton.below(upper) for upper, lower in pairwise(way))
    hip = skeleton.index("L_hip")
    local = skeleton.rest_local.copy()
    local[hip, :3, :3] = local[hip, :3, :3] @ rotation.matrix_about("x", np.radians(30.0))
    world, rest = skeleton.world(local), skeleton.rest_world
    off = np.linalg.norm((world - world[hip] @ fr.invert(rest[hip]) @ rest)[:, :3, 3], axis=-1)
    behind = sum(off[skeleton.index(name)] > 1e-3 for name in way[2:])
    turned = max((abs(degrees) for degrees in state.turns_deg.values()), default=0.0)
    todo = "Hang every joint from the one above it."
    return [
        _by_rule("chain-unbroken", "joints that do not hang below the one above", loose, todo),
        _none("joints left behind when the hip turns by 30°", behind, todo),
        _by_rule("rest-reads-zero", "joints left turned at rest", turned, "Turn them back to 0°."),
    ]


def _none(name: str, number: SupportsFloat, todo: str, because: str = CHOSEN) -> Measured:
    """A number of things that should be none."""
    return _at_most(0.0, "", name, number, todo, because)


# --- 03: two sides ---


def hinges_off(state: State) -> dict[str, float]:
    """Return by how much each hinge arrow of the left leg is off square to the leg's bend.

    Parameters
    ----------
    state : State

    Returns
    -------
    dict of str to float
        By joint [degrees]; the last one's is square to the way the toes point.
    """
    skeleton, normal = build.skeleton(state), build.bend_normal(state)
    across = np.cross([0, 1, 0], build.toes_way(state))
    *legs, end = state.chain.hinges
    ways = {**dict.fromkeys(legs, normal), end: across}
    arrows = {name: skeleton.rest_world[skeleton.index("L_" + name)][:3, 0] for name in ways}
    return {
        name: float(np.degrees(rotation.angle_between(arrows[name], way)))
        for name, way in ways.items()
    }


def _sides(state: State) -> list[Measured]:
    skeleton, end = build.skeleton(state), state.chain.end
    frames = dict(zip(skeleton.names, skeleton.rest_world, strict=True))
    error = placement.mirror_error(skeleton)
    aside, turned = float(error.cm.max()), float(error.deg.max())
    square = "Turn the arrows square to the plane the leg bends in."
    middle = "Mirror across the middle of the body."
    bends, ends = (state.chain.many(joint) for joint in (state.chain.bend, end))
    alike = f"Mirror so that the same turn bends both {bends}."
    name = "hinge off square to the bend"
    axes = "right axes turned away from the mirror image"
    apart = _apart(frames, state.chain.bend, end)
    return [
        _by_rule("hinge-square", name, max(hinges_off(state).values()), square),
        _by_share(state, "sides-mirror", "right side off the mirror image", aside, middle),
        _by_rule("sides-turn", axes, turned, alike),
        _at_most(0.5, "cm", f"{ends} apart when both {bends} turn by 30°", apart, alike),
    ]


def _apart(frames: dict[str, Floats], bend: str, end: str) -> float:
    """The right end's distance from the left's mirror image after one turn of both bends, cm."""
    turn = fr.frame(rotation.matrix_about("x", np.radians(30.0)))
    ends = []
    for tag in SIDE_TAGS:
        knee = frames[tag + bend]
        ends.append(fr.apply(knee @ turn @ fr.invert(knee), frames[tag + end][:3, 3]))
    return 100 * float(np.linalg.norm(ends[1] - ends[0] * [-1, 1, 1]))


# --- 04: forward and inverse ---


def free_footed(state: State) -> State:
    """Return the state with a foot that nothing carries: the fourth step asks for the chain alone.

    Parameters
    ----------
    state : State

    Returns
    -------
    State
    """
    follows = {name: led for name, led in state.follows.items() if name != "L_foot"}
    return state.changed(follows=follows)


def _lowered(state: State) -> list[Measured]:
    rig = build.rig(free_footed(state))
    pose = rig.pose({"pelvis": {"shift_y": -0.1}}, inverse=state.inverse)
    end = "L_" + state.chain.end
    rest = rig.skeleton.rest_world[rig.skeleton.index(end), :3, 3]
    slip = 100 * float(np.linalg.norm(pose[end][:3, 3] - rest))
    todo = "Pose the legs by their goals: choose the inverse chain."
    return [_at_most(0.1, "cm", "foot slips when the pelvis sinks by 10 cm", slip, todo)]


# --- 05: reach ---


def _reach(state: State) -> list[Measured]:
    upper, lower = _bones(state)
    soft, far = state.soft_mm / 1000, upper + lower
    way = np.append(np.linspace(0.6 * far, 1.02 * far, 800), [far - soft, far])
    rate = np.degrees(np.abs(two_bone.flexion_rate(way, upper, lower, soft)).max())
    lag = 100 * (far - float(two_bone.soft_reach(far, upper, lower, soft)))
    chain, fastest = state.chain, RULES["extension-pop"].limit
    name = f"{chain.bend} at its fastest, the goal pulled at 0.5 m/s"
    earlier, later = (f"Let soft reach begin {when}." for when in ("earlier", "later"))
    because = f"as the inspection's extension-pop has it; the pull is {CHOSEN}"
    return [
        _at_most(fastest, "°/s", name, PULL * rate, earlier, because),
        _at_most(1.5, "cm", f"{chain.end} short of a goal at full reach", lag, later),
    ]


def _bones(state: State) -> tuple[float, float]:
    """The lengths of the two solved bones, of people thigh and shank, metres."""
    upper, lower = np.linalg.norm(np.diff(build.leg(state), axis=0), axis=-1)
    return float(upper), float(lower)


# --- 06: the preset bend ---


def _preset(state: State) -> list[Measured]:
    leg, chain = build.leg(state), state.chain
    found = bd.measure_bend(leg, [0.0, 0.0, chain.way])
    stalls = bool(bd.stalls(leg, leg[2] + 0.1 * (leg[0] - leg[2]), tolerance=1e-6))
    cost = 100 * float(found.cost) * sum(_bones(state))
    least, degrees = RULES["preset-bend"].limit, np.degrees(found.angle)
    root, bend, end = chain.solved
    line, way = f"the line from {root} to {end}", chain.forward
    ahead = f"Move the {bend} a little {way} of {line}."
    usual = "the inspection's preset-bend; 2° to 10° is usual (common practice, no source)"
    return [
        _between(least, 10.0, "°", f"bend at rest, {way}", degrees, ahead, usual),
        _none("solvers that stall at a pull along the leg", stalls, f"Take the {bend} off {line}."),
        _at_most(1.0, "cm", "reach that the bend costs", cost, "Bend the leg less."),
    ]


# --- 07: the pole ---


def _pole(state: State) -> list[Measured]:
    pole, (upper, lower) = np.array(state.pole_mm) / 1000, _bones(state)
    root, knee, end = build.leg(state)
    ahead = _knees_way(state)
    taken = two_bone.solve(root, end, upper, lower, pole, hint=ahead)
    swept = _swept(state, pole, ahead)
    turn = np.degrees(rotation.angle_between(swept.hinge, taken.hinge)).max()
    squat = swept.knee[:SWEEP]
    aside = np.abs(two_bone.knee_toe_offset(squat, end, end + build.toes_way(state))).max()
    jump = np.linalg.norm(taken.knee - knee)
    begin, bend, over = state.chain.solved
    side = "ahead of" if state.chain.way > 0 else "behind"
    front = "in front of" if state.chain.way > 0 else "behind"
    todo = f"Put the pole {front} the {bend}, in the plane of {begin}, {bend} and {over}."
    clear = f"Keep the pole clear of the line from {begin} to {over}; let it go with the pelvis."
    aim = (
        "The plane of the leg points past the toes. In step 01, seen from the front, move the"
        f" {bend} nearer to the line from {begin} to {over}."
    )
    place, half = 100 * (pole - knee) @ ahead, 50 * (upper + lower)
    because = f"half a leg; {CHOSEN}"
    return [
        _at_most(0.1, "cm", f"{bend} jumps when the pole takes over", 100 * jump, todo),
        _between(half, None, "cm", f"pole {side} the {bend}", place, todo, because),
        _by_rule("knee-flip", f"{bend} turns in a squat and a high step", turn, clear),
        _at_most(
            2.0,
            "cm",
            f"{bend} beside the toes in a squat",
            100 * aside,
            todo if jump > 1e-3 else aim,
        ),
    ]


def _knees_way(state: State) -> Floats:
    """The unit direction in which what bends stands off the line between bones' ends."""
    root, knee, end = build.leg(state)
    way = _unit(end - root)
    off = knee - root - ((knee - root) @ way) * way
    return _unit(off) if np.linalg.norm(off) > 1e-4 else state.chain.way * build.toes_way(state)


def _swept(state: State, pole: Floats, ahead: Floats) -> two_bone.TwoBonePose:
    """The leg in a squat by half its length, then in a high step forward; the pole goes along."""
    (root, _, end), (upper, lower) = build.leg(state), _bones(state)
    t = np.linspace(0, 1, SWEEP)[:, None]
    down = (upper + lower) * np.concatenate([t * [0, -0.5, 0], t * [0, 0, 0]])
    step = (upper + lower) * np.concatenate([t * [0, 0, 0], t * [0, 0.35, 0.3]])
    led = {"pelvis": down, "L_foot": step}.get(state.follows.get("L_knee", ""), 0 * down)
    return two_bone.solve(root + down, end + step, upper, lower, pole + led, hint=ahead)


# --- 08: controls ---


def _controls(state: State) -> list[Measured]:
    every = build.controls(state)
    own = {control.name: control for control in every}
    step = {"shift_z": 1.0}
    lowered = ct.pose(every, {"pelvis": {"shift_y": -0.1}})
    walked = ct.pose(every, {"pelvis": step, "L_foot": step})
    shape = fr.apply(own["L_foot"].rest, own["L_foot"].outline)
    height = 100 * np.abs(shape[:, 1]).max()
    gone = lowered["L_foot"][:3, 3] - own["L_foot"].rest[:3, 3]
    behind = walked["L_knee"][:3, 3] - own["L_knee"].rest[:3, 3] - [0, 0, 1]
    carried, left = (100 * np.linalg.norm(way) for way in (gone, behind))
    end, middle = state.metres()[state.chain.end], own["pelvis"].rest[:3, 3]
    pivot = "Put the pivot where the joint is; the outline may stand elsewhere."
    middle_todo = "Put the pivot between the hips; the outline may stand elsewhere."
    sole = "Put the outline on the floor, where the sole is."
    free, along = "Let the foot follow nothing.", "Let the pole follow the pelvis or the foot."
    foot_off, pelvis_off = _pivot_off(own["L_foot"], end), _pivot_off(own["pelvis"], middle)
    word = state.chain.word(state.chain.end)
    return [
        _at_most(0.1, "cm", f"foot's pivot from the {word}", foot_off, pivot),
        _at_most(1.0, "cm", "pelvis's pivot from the middle of the hips", pelvis_off, middle_todo),
        _at_most(0.1, "cm", "foot's outline off the floor", height, sole),
        _at_most(0.1, "cm", "foot carried off when the pelvis sinks by 10 cm", carried, free),
        _at_most(0.1, "cm", "pole left behind in a step of 1 m", left, along),
    ]


def _pivot_off(control: ct.Control, place: Floats) -> float:
    """The distance of a control's pivot from where it should be, cm."""
    return 100 * float(np.linalg.norm(fr.apply(control.rest, control.pivot) - place))


# --- 09: the skin ---


def _skin(state: State) -> list[Measured]:
    return list(of_weights(state, build.weights(state)))


def of_weights(state: State, weights: ArrayLike) -> tuple[Measured, ...]:
    """Return the numbers of step 09 for weights of the given skin.

    Parameters
    ----------
    state : State
    weights : array_like, shape (v, joints)
        In the order of `build.skeleton(state)`.

    Returns
    -------
    tuple of Measured

    Raises
    ------
    ValueError
        If the weights are not of this skin.
    """
    surface, names = build.skin(state.puppet), build.skeleton(state).names
    table = _check.numbers("weights", weights, len(surface.vertices), len(names))
    if table.ndim != 2 or not (table >= 0).all():
        raise ValueError(
            f"`weights` must be one table of numbers from zero, shape {table.shape[-2:]}; got shape"
            f" {table.shape}, least {table.min():g}."
        )
    bent = _bent(state, table, names)
    stretch, volume = (np.inf, 0.0) if bent is None else (bent.stretch, 100 * bent.volume)
    bend, name = state.chain.bend, "longest stretch of an edge, bent by 90°"
    smooth = f"Smooth the weights around the {bend}."
    own = (
        "a blend of two radii stretches up to 1.48 times; the inspection's knee-stretch asks for"
        f" {RULES['knee-stretch'].limit / 100:g}; {CHOSEN}"
    )
    kept = (
        "a blend of two radii keeps 79 % on short legs, 92 % on others; the inspection's"
        f" knee-volume asks for 60 %; {CHOSEN}"
    )
    return (
        _at_most(1.6, "times", name, stretch, smooth, own),
        _between(70.0, 104.0, "%", f"volume about the {bend}, bent by 90°", volume, smooth, kept),
        _jump(state, table, names),
        *_of_rows(state, table, names),
    )


def _jump(state: State, table: Floats, names: Sequence[str]) -> Measured:
    """The greatest share of the weight that changes along a short edge of the legs' skin."""
    surface, points = build.skin(state.puppet), build.skeleton(state).rest_world[:, :3, 3]
    mine = table[:, [name[:2] in SIDE_TAGS for name in names]].sum(axis=1) > 0.5
    edges = _edges(state.puppet)
    edges = edges[mine[edges].any(axis=-1)]
    ends, strongest = surface.vertices[edges], table.argmax(axis=-1)[edges]
    away = np.linalg.norm(points[strongest] - ends.mean(axis=1)[:, None], axis=-1).min(axis=-1)
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=-1)
    common = np.minimum(*np.moveaxis(table[edges], 1, 0)).sum(axis=-1)
    steps = np.where(length <= weight_rules.SHORT * away, 1 - common, 0.0)
    there = {names[joint][2:] for joint in strongest[steps.argmax()]}
    todo = "Raise the softness; the brush reaches no farther than the knee."
    if there <= set(state.chain.solved[:2]):
        todo = "Smooth the weights around the knee, or raise the softness."
    name, limit = "weight that changes along a short edge", RULES["weights-jump"].limit
    return _at_most(limit, "%", name, 100 * steps.max(), todo, "the inspection's weights-jump")


@lru_cache(maxsize=8)
def _edges(puppet: Puppet) -> Ints:
    """The given skin's edges, shape (e, 2)."""
    triangles = build.skin(puppet).triangles
    ends = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    return np.unique(np.sort(ends, axis=-1), axis=0)


def _of_rows(state: State, table: Floats, names: Sequence[str]) -> list[Measured]:
    """The numbers of weights that need no pose."""
    off = np.abs(table.sum(axis=1) - 1).max()
    most = (table > 0).sum(axis=1).max()
    own = "Take the other leg's joints off this one's skin."
    because = f"less than half of what the inspection's weights-own-side counts; {CHOSEN}"
    astray, unlike = _astray(state, table, names), _unlike(state, table, names)
    apart = 100 * build.other_side(state.puppet).distance.max()
    there = f"at the nearest place of the other leg, up to {apart:.1f} cm off; {CHOSEN}"
    return [
        _by_rule("weights-sum", "sums of weights off one", off, "Normalise the weights."),
        _by_rule("weights-at-most", "most that move one vertex", most, "Keep the four strongest."),
        _at_most(0.02, "", "weight of the other leg", astray, own, because),
        _at_most(0.01, "", "left and right apart", unlike, "Mirror the weights.", there),
    ]


def bent_motions(state: State, names: Sequence[str]) -> Floats:
    """Return the joints' motions from rest when what bends is bent by 90°, on the left.

    Parameters
    ----------
    state : State
    names : sequence of str
        Joints.

    Returns
    -------
    ndarray, shape (joints, 4, 4)
    """
    chain = state.chain
    angle = chain.way * np.radians(skin_rules.BEND_DEG)
    turn = rotation.matrix_about(build.bend_normal(state), angle)
    there = fr.frame(origin=state.metres()[chain.bend])
    bend = there @ fr.frame(turn) @ fr.invert(there)
    carried = {"L_" + name for name in chain.joints[chain.joints.index(chain.bend) :]}
    return np.stack([bend if name in carried else np.eye(4) for name in names])


def _bent(state: State, table: Floats, names: Sequence[str]) -> skin_rules.Bent | None:
    """The left leg's skin with its bend at 90°, measured as the inspection does."""
    surface = build.skin(state.puppet)
    motions = bent_motions(state, names)
    used, triangles = _left_skin(state.puppet)
    rest = surface.vertices[used]
    poses = np.stack([rest, skinning.linear_blend(rest, table[used], motions)])
    return skin_rules.bent_skin(poses, triangles, build.leg(state))


@lru_cache(maxsize=32)
def _left_skin(puppet: Puppet) -> tuple[Ints, Ints]:
    """The left half's vertices, and its triangles as numbers among them."""
    used, triangles = np.unique(_left(puppet), return_inverse=True)
    return used, triangles.reshape(-1, 3)


def _astray(state: State, table: Floats, names: Sequence[str]) -> float:
    """The greatest weight that a leg's joints have on the other leg, clear of the midplane."""
    x, y, _ = build.skin(state.puppet).vertices.T
    leg = state.puppet.leg_length
    low = y < state.metres()["hip"][1] - 0.1 * leg
    most = 0.0
    for tag, way in zip(SIDE_TAGS, (1, -1), strict=True):
        theirs = [i for i, name in enumerate(names) if name.startswith(tag)]
        there = low & (way * x < -weight_rules.NEAR_MIDPLANE * leg)
        most = max(most, float(table[np.ix_(there, theirs)].sum(axis=1).max(initial=0.0)))
    return most


def _unlike(state: State, table: Floats, names: Sequence[str]) -> float:
    """The greatest difference of a right vertex's weight from that at its mirrored place."""
    swapped = [names.index(placement.swap_side(name)) for name in names]
    there = skinning.mirror_weights_by_place(table, build.other_side(state.puppet), swapped)
    right = build.skin(state.puppet).vertices[:, 0] < 0
    return float(np.abs(table - there)[right].max())


# --- 10: a walk ---


def _walk(state: State) -> list[Measured]:
    walk, rig = build.planted_walk(state), build.rig(state)
    missed = 100 * rig.pose(gait.control_values(walk, rig)).miss[walk.stance].max()
    pops, slide = len(gait.extension_pops(walk)), walk.slide_cm.max()
    lower = "Let the pelvis ride lower, and the legs be posed by their goals."
    return [
        _by_share(state, "foot-slide", "foot slides in a stride", slide, lower),
        _at_most(0.5, "cm", "standing foot off its place", missed, lower),
        _none(
            f"{state.chain.many(state.chain.bend)} that snap straight",
            pops,
            lower,
            f"of `gait.extension_pops`; {CHOSEN}",
        ),
        *_in_human_range(state, walk),
        *_pelvis(state, walk),
    ]


def _in_human_range(state: State, walk: gait.Walk) -> list[Measured]:
    """The joints' excess over human range; of an animal nothing is asked."""
    if len(state.puppet.bones) == 3:
        return []
    outside = max(map(abs, gait.outside_range_deg(walk).values()))
    higher, name = "Let the pelvis ride higher.", "joints beyond human range"
    return [_by_rule("human-range", name, outside, higher)]


def _pelvis(state: State, walk: gait.Walk) -> list[Measured]:
    """The pelvis's height and its sway."""
    room = gait.highest_hips(walk).min(axis=1) - walk.pelvis[:, 1]
    usual = float(np.ptp(gait.walk(walk.puppet, frames=24, cycles=1).pelvis[:, 0]))
    sway, low, high = state.pelvis["sway_mm"] / 10, 50 * usual, 200 * usual
    straight = "Let the pelvis ride lower." if room.mean() < 0 else "Let the pelvis ride higher."
    toward = "Let it go toward the foot that stands."
    if sway > high:
        toward = "Let it go less far."
    because = f"half to twice what follows from the pendulum of `gait.sway_width`; {CHOSEN}"
    below, aside = "pelvis below the highest place the legs allow", "pelvis goes from side to side"
    return [
        _between(0.0, 8.0, "cm", below, 100 * room.mean(), straight),
        _between(low, high, "cm", aside, sway, toward, because),
    ]


# --- 11: the foot ---

PIVOTS_BELONG = {
    "heel": "where the sole ends behind",
    "ball": "where the toes bend, at the joint",
    "toe": "where the sole ends in front",
}


def _foot(state: State) -> list[Measured]:
    """The sole's own points as the foot rolls about the learner's pivots."""
    moves = {pivot: 100 * each for pivot, each in _standing(state).items()}
    return [
        _worst("sole below the floor", {p: (-each[:, 1]).max() for p, each in moves.items()}),
        _worst("sole off the floor", {p: each[:, 1].max() for p, each in moves.items()}),
        _worst("sole slips", {p: np.abs(each[:, 0]).max() for p, each in moves.items()}),
    ]


def _worst(name: str, off: dict[str, float]) -> Measured:
    """The greatest of what each pivot is off by [cm], and where that pivot belongs."""
    pivot = max(off, key=lambda each: off[each])
    todo = f"Put the {pivot}'s pivot {PIVOTS_BELONG[pivot]}."
    return _at_most(0.1, "cm", name, max(0.0, float(off[pivot])), todo)


def _standing(state: State) -> dict[str, Floats]:
    """The moves of the sole's points that should stand still in a roll, (n, 2), metres, by pivot.

    The heel should while the toes are up, the ball and the tip while the heel is up; the ball only
    until the toe takes over.
    """
    at, sole = state.metres(), {name: z / 1000 for name, z in state.sole_mm.items()}
    end, (heel, tip) = at[state.chain.end], sole_ends(state.puppet)
    own = foot.Foot((0, end[1]), *((sole[name], 0.0) for name in foot.PIVOTS))
    angle = np.radians(np.arange(-30.0, 60.5))
    rolled = foot.roll(own, angle)
    heel_z, ball_z, tip_z = (float(point[2] - end[2]) for point in (heel, at["ball"], tip))
    behind = rolled.ball, own.ball, rolled.foot_turn
    before = rolled.toe, own.toe, rolled.toe_turn
    early = (angle >= 0) & (angle <= foot.BALL_LIMIT - foot.EASE)
    return {
        "heel": _carried(heel_z, *behind)[angle <= 0],
        "ball": _carried(ball_z, *behind)[early],
        "toe": _carried(tip_z, *before)[angle >= 0],
    }


def _carried(z: float, pivot: Floats, rest: Floats, turn: Floats) -> Floats:
    """The move of a point of the floor that goes with what turns about a pivot; (n, 2)."""
    along = z - rest[0]
    there = pivot + along * np.stack([np.cos(turn), -np.sin(turn)], axis=-1)
    return there - [z, 0.0]


# --- 12: sign off ---


@lru_cache(maxsize=4)
def inspected(state: State) -> inspection.Report:
    """Return the inspection of the very file.

    Parameters
    ----------
    state : State

    Returns
    -------
    Report

    Raises
    ------
    ValueError
        If no file can be made yet; see `build.asset`.
    """
    return inspection.inspect(build.asset(state))


def _signed(state: State) -> list[Measured]:
    return signed_off(inspected(state).data()["findings"], state.kept)


def signed_off(found: Iterable[Mapping[str, Any]], kept: Mapping[str, str]) -> list[Measured]:
    """Return the numbers of step 12 for an inspection.

    Parameters
    ----------
    found : iterable of mapping
        Its findings, each with at least "status", "severity", "rule", "title" and "todo", as
        `Report.data` has them.
    kept : mapping of str to str
        Rules whose slight findings are kept, each with its reason.

    Returns
    -------
    list of Measured
    """
    open_ = [each for each in found if each["status"] == "finding"]
    heavy = [each for each in open_ if each["severity"] != "slight"]
    slight = [each for each in open_ if each["severity"] == "slight" and each["rule"] not in kept]
    rules = "the inspection's rules"
    return [
        _none("serious and moderate findings", len(heavy), _mend(heavy), rules),
        _none("slight findings without a reason", len(slight), _mend(slight), rules),
    ]


def _mend(found: Iterable[Mapping[str, Any]]) -> str:
    return " ".join(f"{each['title']}: {each['todo']}" for each in found) or "Nothing is found."


_MEASURES: dict[str, Callable[[State], list[Measured]]] = dict(
    zip(
        STEPS,
        (
            *(_joints, _chain, _sides, _lowered, _reach, _preset),
            *(_pole, _controls, _skin, _walk, _foot, _signed),
        ),
        strict=True,
    )
)
