"""The numbers of each step on the bench, each with its limits and where those come from.

Every number is measured on the state as it is, not on what it was given as; a limit is the
inspection's own where it has one, else our choice. Lengths are in cm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import SupportsFloat

import numpy as np

from rigkit import _check, body, foot, gait, inspection, mesh, placement, rotation, two_bone
from rigkit import bend as bd
from rigkit import controls as ct
from rigkit import frames as fr
from rigkit import skin as skinning
from rigkit._types import ArrayLike, Floats, Ints
from rigkit.bench import build
from rigkit.bench.state import HINGES, JOINTS, STEPS, State
from rigkit.inspection import skin_rules, weight_rules
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS

__all__ = ["HIP_RULES", "Measured", "bent_motions", "done", "hip_places"]
__all__ += ["free_footed", "inspected", "measure", "of_weights", "section", "sole_ends"]

# Published rules that go by the pelvis: those that go by the leg's length would be told of stilts.
HIP_RULES = ("bell-1989", "bell-1990", "harrington", "harrington-single", "seidel")
CHOSEN = "our choice"
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
    ('at most 1 cm', True)
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
    def limit(self) -> str:
        """The limits in words, such as "at most 1 cm" or "2° to 10°"."""
        ends = [_with_unit(end, self.unit) for end in (self.low, self.high) if end is not None]
        if len(ends) == 2:
            return " to ".join(ends) if self.low != self.high else f"just {ends[0]}"
        return f"{'at most' if self.low is None else 'at least'} {ends[0]}"


def _with_unit(number: float, unit: str) -> str:
    space = "" if unit.startswith("°") or not unit else " "
    return f"{number:.3g}{space}{unit}"


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
    return _at_most(own.limit, own.unit, name, value, todo, f"the inspection's {rule}")


def _by_share(state: State, rule: str, name: str, value: SupportsFloat, todo: str) -> Measured:
    """A length in cm whose limit the inspection has as a share of the leg."""
    own = RULES[rule]
    because = f"the inspection's {rule}, {own.limit:g} % of the leg"
    return _at_most(own.limit * sum(_bones(state)), "cm", name, value, todo, because)


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


def _how_far(state: State, step: str) -> str:
    try:
        right = all(each.right for each in measure(state, step))
    except ValueError:
        right = False
    return ("given" if step in state.given else "done") if right else "open"


# --- 01: joints in the skin ---


@lru_cache(maxsize=32)
def hip_places(puppet: Puppet) -> Floats:
    """Return where each of `HIP_RULES` puts the left hip of the given skin.

    The landmarks are those of `mesh.pelvis_landmarks`, which knows nothing of the hip joints; the
    leg is measured from the height of the ASISs to that of the ankle.

    Parameters
    ----------
    puppet : Puppet

    Returns
    -------
    ndarray, shape (5, 3)
        Metres.
    """
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


def section(state: State, joint: str) -> mesh.Section | None:
    """Return the cut through the given skin at a joint of the left leg, square to the limb.

    Parameters
    ----------
    state : State
    joint : {"hip", "knee", "ankle"}

    Returns
    -------
    Section or None
        None where the plane meets no skin.

    Raises
    ------
    ValueError
        If it is another joint.
    """
    at = state.metres()
    if joint not in HINGES:
        raise ValueError(f"`joint` must be one of {', '.join(HINGES)}; got {joint!r}.")
    chain = [at[name] for name in HINGES]
    ways = [_unit(lower - upper) for upper, lower in pairwise(chain)]
    i = HINGES.index(joint)
    normal = _unit(sum(ways[max(i - 1, 0) : i + 1], np.zeros(3)))
    surface, triangles = build.skin(state.puppet), _left(state.puppet)
    above = ((surface.vertices - at[joint]) @ normal >= 0)[triangles]
    cut = triangles[above.any(axis=-1) & ~above.all(axis=-1)]
    return mesh.section(surface.vertices, cut, at[joint], normal) if len(cut) else None


@lru_cache(maxsize=32)
def _left(puppet: Puppet) -> Ints:
    return build.skin(puppet).side("L_")


def _unit(vector: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return vector / length if length > 1e-9 else np.array([0.0, -1.0, 0.0])


def _joints(state: State) -> list[Measured]:
    far = np.linalg.norm(hip_places(state.puppet) - state.metres()["hip"], axis=-1).max()
    name = "hip from the farthest of five published rules"
    todo = "Move the hip toward the middle of the five places."
    miss = f"the rules miss true hips by 1 to 3 cm; {CHOSEN}"
    limbs = [each for joint in ("knee", "ankle") for each in _in_the_limb(state, joint)]
    hip = _at_most(2.5, "cm", name, 100 * far, todo, miss)
    return [hip, *limbs, _beside(state), *_on_the_sole(state)]


def _in_the_limb(state: State, joint: str) -> list[Measured]:
    """The way of a joint from the middle of its limb, and what a bend there does to the skin."""
    cut, at = section(state, joint), state.metres()[joint]
    away = share = slide = np.inf
    if cut is not None:
        away = float(np.linalg.norm(at - cut.middle))
        share, slide = away / cut.radius, float(placement.skin_slide(at - cut.middle, np.pi / 2))
    todo = f"Move the {joint} to the middle of the cut."
    bent = f"skin slides in a bend of 90° at the {joint}"
    return [
        _at_most(1.0, "cm", f"{joint} off the middle of the limb", 100 * away, todo),
        _by_rule("joint-in-section", f"{joint} toward the skin", 100 * share, todo),
        _at_most(1.5, "cm", bent, 100 * slide, todo),
    ]


def _beside(state: State) -> Measured:
    """The knee's distance from the plane of hip, ankle and toe."""
    at = state.metres()
    normal = _unit(np.cross(build.toes_way(state), at["ankle"] - at["hip"]))
    aside = abs(float((at["knee"] - at["hip"]) @ normal))
    name, todo = "knee beside the plane of hip, ankle and toe", "Move the knee onto it, seen ahead."
    return _by_share(state, "knee-in-plane", name, 100 * aside, todo)


def _on_the_sole(state: State) -> list[Measured]:
    """The ball and the toe on the sole of the given skin."""
    at, (heel, tip) = state.metres(), sole_ends(state.puppet)
    share = 100 * float((at["ball"] - heel) @ (tip - heel) / ((tip - heel) @ (tip - heel)))
    aside = 100 * max(abs(float(at[name][0] - at["ankle"][0])) for name in ("ball", "toe"))
    height = 100 * max(abs(float(at[name][1])) for name in ("ball", "toe"))
    short = 100 * float(np.linalg.norm(at["toe"] - tip))
    bend = "Move the ball to where the toes bend."
    ansur = f"72 to 74 % in ANSUR II (ball-of-foot length by foot length); {CHOSEN}"
    return [
        _between(65.0, 82.0, "%", "ball along the foot from the heel", share, bend, ansur),
        _at_most(1.0, "cm", "toe from the tip of the foot", short, "Move the toe to the tip."),
        _at_most(0.05, "cm", "ball and toe off the floor", height, "Put them on the floor."),
        _at_most(3.0, "cm", "ball and toe beside the ankle", aside, "Put them ahead of the ankle."),
    ]


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
    way = ("pelvis", *("L_" + joint for joint in JOINTS))
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


def _sides(state: State) -> list[Measured]:
    skeleton = build.skeleton(state)
    frames = dict(zip(skeleton.names, skeleton.rest_world, strict=True))
    normal, across = build.bend_normal(state), np.cross([0, 1, 0], build.toes_way(state))
    square_to = zip(HINGES, (normal, normal, across), strict=True)
    off = [rotation.angle_between(frames["L_" + joint][:3, 0], way) for joint, way in square_to]
    error = placement.mirror_error(skeleton)
    aside, turned = float(error.cm.max()), float(error.deg.max())
    square = "Turn the arrows square to the plane the leg bends in."
    middle = "Mirror across the middle of the body."
    alike = "Mirror so that the same turn bends both knees."
    name = "hinge off square to the bend"
    axes = "right axes turned away from the mirror image"
    return [
        _by_rule("hinge-square", name, float(np.degrees(max(off))), square),
        _by_share(state, "sides-mirror", "right side off the mirror image", aside, middle),
        _by_rule("sides-turn", axes, turned, alike),
        _at_most(0.5, "cm", "ankles apart when both knees turn by 30°", _apart(frames), alike),
    ]


def _apart(frames: dict[str, Floats]) -> float:
    """The right ankle's distance from the left's mirror image after one turn of both knees, cm."""
    turn = fr.frame(rotation.matrix_about("x", np.radians(30.0)))
    ends = []
    for tag in SIDE_TAGS:
        knee = frames[tag + "knee"]
        ends.append(fr.apply(knee @ turn @ fr.invert(knee), frames[tag + "ankle"][:3, 3]))
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
    rest = rig.skeleton.rest_world[rig.skeleton.index("L_ankle"), :3, 3]
    slip = 100 * float(np.linalg.norm(pose["L_ankle"][:3, 3] - rest))
    todo = "Pose the legs by their goals: by the inverse chain."
    return [_at_most(0.1, "cm", "foot slips when the pelvis sinks by 10 cm", slip, todo)]


# --- 05: reach ---


def _reach(state: State) -> list[Measured]:
    upper, lower = _bones(state)
    soft, far = state.soft_mm / 1000, upper + lower
    way = np.append(np.linspace(0.6 * far, 1.02 * far, 800), [far - soft, far])
    rate = np.degrees(np.abs(two_bone.flexion_rate(way, upper, lower, soft)).max())
    lag = 100 * (far - float(two_bone.soft_reach(far, upper, lower, soft)))
    name, fastest = "knee at its fastest, the goal pulled at 0.5 m/s", RULES["extension-pop"].limit
    earlier, later = (f"Let soft reach begin {when}." for when in ("earlier", "later"))
    because = f"as the inspection's extension-pop has it; the pull is {CHOSEN}"
    return [
        _at_most(fastest, "°/s", name, PULL * rate, earlier, because),
        _at_most(1.5, "cm", "ankle short of a goal at full reach", lag, later),
    ]


def _bones(state: State) -> tuple[float, float]:
    """The lengths of thigh and shank, metres."""
    thigh, shank = np.linalg.norm(np.diff(build.leg(state), axis=0), axis=-1)
    return float(thigh), float(shank)


# --- 06: the preset bend ---


def _preset(state: State) -> list[Measured]:
    leg = build.leg(state)
    found = bd.measure_bend(leg)
    stalls = bool(bd.stalls(leg, leg[2] + 0.1 * (leg[0] - leg[2]), tolerance=1e-6))
    cost = 100 * float(found.cost) * sum(_bones(state))
    least, degrees = RULES["preset-bend"].limit, np.degrees(found.angle)
    ahead = "Move the knee a little forward of the line from hip to ankle."
    usual = "the inspection's preset-bend; 2° to 10° is usual (common practice, no source)"
    return [
        _between(least, 10.0, "°", "bend at rest, forward", degrees, ahead, usual),
        _none("solvers stall", stalls, "Take the knee off the line from hip to ankle."),
        _at_most(1.0, "cm", "reach that the bend costs", cost, "Bend the leg less."),
    ]


# --- 07: the pole ---


def _pole(state: State) -> list[Measured]:
    pole = np.array(state.pole_mm) / 1000
    hip, knee, ankle = build.leg(state)
    upper, lower = _bones(state)
    ahead = _knees_way(state)
    taken = two_bone.solve(hip, ankle, upper, lower, pole, hint=ahead)
    swept = _swept(state, pole, ahead)
    turn = np.degrees(rotation.angle_between(swept.hinge, taken.hinge)).max()
    squat = swept.knee[:SWEEP]
    aside = np.abs(two_bone.knee_toe_offset(squat, ankle, ankle + build.toes_way(state))).max()
    jump = np.linalg.norm(taken.knee - knee)
    todo = "Put the pole in front of the knee, in the plane of hip, knee and ankle."
    clear = "Keep the pole clear of the line from hip to ankle; let it go with the pelvis."
    place, half = 100 * (pole - knee) @ ahead, 50 * (upper + lower)
    because = f"half a leg; {CHOSEN}"
    return [
        _at_most(0.1, "cm", "knee jumps when the pole takes over", 100 * jump, todo),
        _between(half, None, "cm", "pole ahead of the knee", place, todo, because),
        _by_rule("knee-flip", "knee turns in a squat and a high step", turn, clear),
        _at_most(2.0, "cm", "knee beside the toes in a squat", 100 * aside, todo),
    ]


def _knees_way(state: State) -> Floats:
    """The unit direction in which the knee stands off the line from hip to ankle."""
    at = state.metres()
    way = _unit(at["ankle"] - at["hip"])
    thigh = at["knee"] - at["hip"]
    off = thigh - (thigh @ way) * way
    return _unit(off) if np.linalg.norm(off) > 1e-4 else build.toes_way(state)


def _swept(state: State, pole: Floats, ahead: Floats) -> two_bone.TwoBonePose:
    """The leg in a squat by half its length, then in a high step forward; the pole goes along."""
    at, (upper, lower) = state.metres(), _bones(state)
    t = np.linspace(0, 1, SWEEP)[:, None]
    down = (upper + lower) * np.concatenate([t * [0, -0.5, 0], t * [0, 0, 0]])
    step = (upper + lower) * np.concatenate([t * [0, 0, 0], t * [0, 0.35, 0.3]])
    led = {"pelvis": down, "L_foot": step}.get(state.follows.get("L_knee", ""), 0 * down)
    goal = at["ankle"] + step
    return two_bone.solve(at["hip"] + down, goal, upper, lower, pole + led, hint=ahead)


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
    ankle, middle = state.metres()["ankle"], own["pelvis"].rest[:3, 3]
    pivot = "Put the pivot where the joint is; the outline may stand elsewhere."
    middle_todo = "Put the pivot between the hips; the outline may stand elsewhere."
    sole = "Put the outline on the floor, where the sole is."
    free, along = "Let the foot follow nothing.", "Let the pole follow the pelvis or the foot."
    foot_off, pelvis_off = _pivot_off(own["L_foot"], ankle), _pivot_off(own["pelvis"], middle)
    return [
        _at_most(0.1, "cm", "foot's pivot from the ankle", foot_off, pivot),
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
    smooth, name = "Smooth the weights around the knee.", "longest stretch of an edge, bent by 90°"
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
        _between(70.0, 104.0, "%", "volume about the knee, bent by 90°", volume, smooth, kept),
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
    if there <= {"hip", "knee"}:
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
    return [
        _by_rule("weights-sum", "sums of weights off one", off, "Normalise the weights."),
        _by_rule("weights-at-most", "most that move one vertex", most, "Keep the four strongest."),
        _at_most(0.02, "", "weight of the other leg", astray, own, because),
        _at_most(0.01, "", "left and right apart", unlike, "Mirror the weights."),
    ]


def bent_motions(state: State, names: Sequence[str]) -> Floats:
    """Return the joints' motions from rest when the left knee is bent by 90° about its hinge.

    Parameters
    ----------
    state : State
    names : sequence of str
        Joints.

    Returns
    -------
    ndarray, shape (joints, 4, 4)
    """
    at = state.metres()
    turn = rotation.matrix_about(build.bend_normal(state), np.radians(skin_rules.BEND_DEG))
    there = fr.frame(origin=at["knee"])
    bend = there @ fr.frame(turn) @ fr.invert(there)
    carried = ("L_knee", "L_ankle", "L_ball", "L_toe")
    return np.stack([bend if name in carried else np.eye(4) for name in names])


def _bent(state: State, table: Floats, names: Sequence[str]) -> skin_rules.Bent | None:
    """The left leg's skin with its knee bent by 90°, measured as the inspection does."""
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
    """The greatest difference of a weight from that at the mirrored place."""
    swapped = [names.index(placement.swap_side(name)) for name in names]
    return float(np.abs(table - table[build.partner(state.puppet)][:, swapped]).max())


# --- 10: a walk ---


def _walk(state: State) -> list[Measured]:
    walk, rig = build.planted_walk(state), build.rig(state)
    missed = 100 * rig.pose(gait.control_values(walk, rig)).miss[walk.stance].max()
    outside = max(map(abs, gait.outside_range_deg(walk).values()))
    pops, slide = len(gait.extension_pops(walk)), walk.slide_cm.max()
    lower = "Let the pelvis ride lower, and the legs be posed by their goals."
    higher = "Let the pelvis ride higher."
    return [
        _by_share(state, "foot-slide", "foot slides in a stride", slide, lower),
        _at_most(0.5, "cm", "standing foot off its place", missed, lower),
        _none("knees that snap straight", pops, lower, f"of `gait.extension_pops`; {CHOSEN}"),
        _by_rule("human-range", "joints beyond human range", outside, higher),
        *_pelvis(state, walk),
    ]


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
    ankle, (heel, tip) = at["ankle"], sole_ends(state.puppet)
    own = foot.Foot((0, ankle[1]), *((sole[name], 0.0) for name in foot.PIVOTS))
    angle = np.radians(np.arange(-30.0, 60.5))
    rolled = foot.roll(own, angle)
    heel_z, ball_z, tip_z = (float(point[2] - ankle[2]) for point in (heel, at["ball"], tip))
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
    found = [each for each in inspected(state).findings if each.status == "finding"]
    heavy = [each for each in found if each.severity != "slight"]
    slight = [each for each in found if each.severity == "slight" and each.rule not in state.kept]
    rules = "the inspection's rules"
    return [
        _none("serious and moderate findings", len(heavy), _mend(heavy), rules),
        _none("slight findings without a reason", len(slight), _mend(slight), rules),
    ]


def _mend(found: Sequence[inspection.Finding]) -> str:
    return " ".join(f"{each.title}: {each.todo}" for each in found) or "Nothing is found."


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
