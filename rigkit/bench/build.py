"""From a state to what it means: the given skin, skeleton, controls, rig, weights, a whole asset.

The skin is made once from the character and stays: it knows nothing of the learner's joints. So a
joint can lie off the middle of its limb, and be seen to. Its two sides are no exact mirror images,
as those of most characters are not: what is mirrored is mirrored by place.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from rigkit import _check, export, gait, gltf, physique, placement, puppets, rotation
from rigkit import bend as bd
from rigkit import controls as ct
from rigkit import frames as fr
from rigkit import skin as skinning
from rigkit._types import Floats
from rigkit.bench import painting
from rigkit.bench.chain import chain_of
from rigkit.bench.state import PRESET_BEND_DEG, State
from rigkit.inspection.skeleton_rules import PLAIN_BEND_DEG
from rigkit.leg import LegRig
from rigkit.mesh import Mesh
from rigkit.places import Places, mirrored_places
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, Skeleton

__all__ = [
    "EXTRAS",
    "VERTICES",
    "asset",
    "bend_normal",
    "controls",
    "hinges",
    "leg",
    "other_side",
    "own_puppet",
]
__all__ += [
    "bytes_of",
    "planted_walk",
    "rig",
    "skeleton",
    "skin",
    "skin_chain",
    "toes_way",
    "weights",
]

VERTICES = 5000  # about as many has every given skin
MOST_SWAY = 3.0  # as `gait.walk` has it
EXTRAS = "rigkit_bench"  # under this name a file keeps the state it was made from
WALK_FRAMES = 72  # in a stride of the file's walk; every second one is a key


def __dir__() -> list[str]:
    return __all__


def skin_chain(puppet: Puppet | str) -> Floats:
    """Return the joint centres of the left leg around which the given skin is made.

    They are those of `LegRig.from_puppet(puppet, 5)`: the character stands at ease, its knees bent
    a little.

    Parameters
    ----------
    puppet : Puppet or str

    Returns
    -------
    ndarray, shape (n, 3)
        From the hip to the leg's end, metres.
    """
    skeleton = LegRig.from_puppet(puppet, PRESET_BEND_DEG).skeleton
    names = ["L_" + name for name in chain_of(puppet).hinges]
    return skeleton.origins(skeleton.rest_world, names)


def skin(puppet: Puppet | str) -> Mesh:
    """Return the given skin of a character, by `physique.skin`: the same one every time.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.CAST`.

    Returns
    -------
    Mesh
        Not to be changed.

    Raises
    ------
    ValueError
        If it is no puppet.

    Examples
    --------
    >>> from rigkit.bench import build
    >>> build.skin("Tamsin") is build.skin("Tamsin")
    True
    """
    return _skin(puppets.get(puppet))


@lru_cache(maxsize=32)
def _skin(puppet: Puppet) -> Mesh:
    surface = physique.skin(puppet, VERTICES, skin_chain(puppet))
    surface.vertices.flags.writeable = surface.triangles.flags.writeable = False
    return surface


def toes_way(state: State) -> Floats:
    """Return the level direction from the leg's end to the toe; ahead where there is none.

    Parameters
    ----------
    state : State

    Returns
    -------
    ndarray, shape (3,)
    """
    at = state.metres()
    ahead = (at["toe"] - at[state.chain.end]) * [1, 0, 1]
    length = float(np.linalg.norm(ahead))
    return ahead / length if length > 1e-9 else np.array([0.0, 0.0, 1.0])


def leg(state: State) -> Floats:
    """Return where the two solved bones begin, meet and end: of people at hip, knee and ankle.

    Parameters
    ----------
    state : State

    Returns
    -------
    ndarray, shape (3, 3)
        Metres.

    Raises
    ------
    ValueError
        For two neighbouring joints of the leg in one place.
    """
    return hinges(state)[-3:]


def hinges(state: State) -> Floats:
    """Return where the leg's joints are, from the hip to its end.

    Parameters
    ----------
    state : State

    Returns
    -------
    ndarray, shape (n, 3)
        Metres.

    Raises
    ------
    ValueError
        For two neighbouring joints of the leg in one place.
    """
    at, names = state.metres(), state.chain.hinges
    places = np.stack([at[name] for name in names])
    if np.linalg.norm(np.diff(places, axis=0), axis=-1).min() == 0:
        raise ValueError(
            f"`joints_mm` must be {len(names)} places for {', '.join(names[:-1])} and {names[-1]};"
            " got two neighbouring joints in one place. Move one of them."
        )
    return places


def bend_normal(state: State) -> Floats:
    """Return the unit normal of the plane the left leg bends in, toward the left.

    Of a leg bent by less than 10° it is that of the plane through leg and foot, as the inspection
    has it.

    Parameters
    ----------
    state : State

    Returns
    -------
    ndarray, shape (3,)

    Raises
    ------
    ValueError
        For two neighbouring joints in one place.
    """
    root, bend, end = leg(state)
    bent = abs(np.degrees(float(bd.measure_bend((root, bend, end)).angle))) >= PLAIN_BEND_DEG
    normal = np.cross(bend - root, end - bend) if bent else np.cross(toes_way(state), end - root)
    length = float(np.linalg.norm(normal))
    normal = normal / length if length > 1e-12 else np.array([1.0, 0.0, 0.0])
    return normal if normal[0] >= 0 else -normal


def skeleton(state: State) -> Skeleton:
    """Return the skeleton as the state has it: its parents, its hinges, its way of mirroring.

    Joints hang from what the state says; one that hangs from nothing is a root. Each is bound as it
    stands: what the state has left turned (`State.turns_deg`) is no part of the rest pose.

    Parameters
    ----------
    state : State

    Returns
    -------
    Skeleton

    Raises
    ------
    ValueError
        For two neighbouring joints in one place.

    Examples
    --------
    >>> from rigkit.bench import build
    >>> from rigkit.bench.state import State
    >>> build.skeleton(State.bare("Pip")).parent("L_knee") is None
    True
    """
    return Skeleton.from_world(_frames(state), _parents(state, state.parents))


def _frames(state: State) -> dict[str, Floats]:
    """Every joint's frame at rest, in the world."""
    at, normal = state.metres(), bend_normal(state)
    axes = [_axes(bone, normal) for bone in np.diff(hinges(state), axis=0)]
    axes += 3 * [_foot_axes(state)]
    left = {
        "L_" + name: fr.frame(_aslant(state, name) @ turn, at[name])
        for name, turn in zip(state.chain.joints, axes, strict=True)
    }
    kind = "same bend" if state.mirror == "same bend" else "reflection"
    through = (state.plane_mm / 1000, 0.0, 0.0)
    right = placement.mirror_chain(left, kind, through=through)
    middle = (left["L_hip"][:3, 3] + right["R_hip"][:3, 3]) / 2
    return {"pelvis": fr.frame(origin=middle)} | left | right


def _axes(bone: Floats, normal: Floats) -> Floats:
    """The axes of a bone's joint: y up the bone, x as near to the bend's normal as square to it."""
    up = -bone / np.linalg.norm(bone)
    across = "A bone must not lie along the hinge: move the joint into the leg."
    hinge = _check.directions("joints_mm", normal - (normal @ up) * up, across)
    return np.column_stack([hinge, up, np.cross(hinge, up)])


def _aslant(state: State, joint: str) -> Floats:
    """The turn of a hinge arrow seen from the front."""
    return rotation.matrix_about("z", np.radians(state.hinge_deg.get(joint, 0.0)))


def _foot_axes(state: State) -> Floats:
    """The level axes of the foot, z along it."""
    ahead = toes_way(state)
    return np.column_stack([np.cross([0, 1, 0], ahead), [0, 1, 0], ahead])


def _parents(state: State, above: Mapping[str, str]) -> dict[str, str | None]:
    """Both sides' parents by name; None for a joint that hangs from nothing."""
    parents: dict[str, str | None] = {"pelvis": None}
    for tag in SIDE_TAGS:
        for joint in state.chain.joints:
            parent = above.get(joint)
            parents[tag + joint] = parent if parent in (None, "pelvis") else f"{tag}{parent}"
    return parents


def controls(state: State) -> tuple[ct.Control, ...]:
    """Return the controls "pelvis", "L_foot", "L_knee" and the right side's, as the state has them.

    Parameters
    ----------
    state : State

    Returns
    -------
    tuple of Control
        Their gaps are those at rest.

    """
    at = state.metres()
    middle = np.array([state.plane_mm / 1000, *at["hip"][1:]])
    foot = fr.frame(_foot_axes(state), at[state.chain.end] * [1, 0, 1])
    rests = {"pelvis": fr.frame(origin=middle), "L_foot": foot}
    rests["L_knee"] = fr.frame(origin=np.array(state.pole_mm) / 1000)
    left = {name: _control(state, name, rest) for name, rest in rests.items()}
    through = (state.plane_mm / 1000, 0.0, 0.0)
    right = {
        placement.swap_side(name): replace(
            control,
            name=placement.swap_side(name),
            rest=fr.mirror_frames(control.rest, "x", through=through),
            outline=control.outline * [-1, 1, 1],
            pivot=control.pivot * [-1, 1, 1],
            follows=tuple(ct.Follow(placement.swap_side(f.leader)) for f in control.follows),
        )
        for name, control in left.items()
        if name != "pelvis"
    }
    return tuple((left | right).values())


def _control(state: State, name: str, rest: Floats) -> ct.Control:
    """One control of the left side: its shape and its pivot stand where the state puts them."""
    turns_not = ("turn_x", "turn_y", "turn_z") if name == "L_knee" else ()
    follows = [ct.Follow(state.follows[name])] if name in state.follows else []
    shape, pivot = np.zeros((1, 3)), np.zeros(3)
    if name in state.pivots_mm:
        at, turns_at = (
            fr.apply(fr.invert(rest), np.array(places[name]) / 1000)
            for places in (state.outlines_mm, state.pivots_mm)
        )
        shape, pivot = at + SHAPES[name], turns_at
    return ct.Control(name, rest, shape, pivot, follows=follows, locked=turns_not)


def _closed(half: float, back: float, front: float) -> Floats:
    """A closed rectangle, level, seen from the place where a shape stands."""
    corners = [(-half, back), (half, back), (half, front), (-half, front), (-half, back)]
    return np.array([(x, 0.0, z) for x, z in corners])


SHAPES = {"pelvis": _closed(0.16, -0.16, 0.16), "L_foot": _closed(0.07, -0.09, 0.22)}


def rig(state: State) -> LegRig:
    """Return a rig from the state's joints, with its soft reach and its controls.

    A rig rolls its foot about its own ball and toe joints, so of `State.sole_mm` the heel alone
    counts here.

    Parameters
    ----------
    state : State

    Returns
    -------
    LegRig

    Raises
    ------
    ValueError
        For joints of which no rig can be made, in the words of `LegRig`.

    Examples
    --------
    >>> from rigkit.bench import build
    >>> from rigkit.bench.state import State
    >>> rig = build.rig(State.bare("Tamsin").with_sound("12"))
    >>> rig.skeleton.names[:3], rig.soft
    (('pelvis', 'L_hip', 'R_hip'), 0.012)
    """
    return _rig(state)


@lru_cache(maxsize=8)
def _rig(state: State) -> LegRig:
    leg(state)  # refuses two joints in one place
    at = state.metres()
    at["heel"] = at[state.chain.end] * [1, 0, 1] + state.sole_mm["heel"] / 1000 * toes_way(state)
    centres = {"L_" + name: point for name, point in at.items()}
    through = (state.plane_mm / 1000, 0.0, 0.0)
    centres |= {"R_" + name: fr.mirror_points(point, through=through) for name, point in at.items()}
    return LegRig(centres, state.soft_mm / 1000).with_controls(*controls(state))


def weights(state: State) -> Floats:
    """Return the weights of the given skin for the joints of `skeleton(state)`, in their order.

    They are those of `skin.bind`, whatever the joints hang from, and what is painted on the left
    leg; the right one's are the left one's at the mirrored places (`other_side`).

    Parameters
    ----------
    state : State

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        For two neighbouring joints in one place, or a leg that does not stand on the left.

    Examples
    --------
    >>> from rigkit.bench import build
    >>> from rigkit.bench.state import State
    >>> build.weights(State.bare("Tamsin").with_sound("12")).shape
    (4955, 11)
    """
    # bound about the skin's own middle: a mirror a little beside it moves joints, not skin
    whole, table = _bound(state.changed(painted="", plane_mm=0))
    if state.painted:
        table = painting.paint(whole, table, state.painted)
    names = whole.names
    right = skin(state.puppet).vertices[:, 0] < 0
    table = table.copy()
    table[right] = skinning.mirror_weights_by_place(table, other_side(state.puppet), _swap(names))[
        right
    ]
    return table[:, [names.index(name) for name in skeleton(state).names]]


def _swap(names: Sequence[str]) -> list[int]:
    """The place of each joint's other side among these."""
    return [names.index(placement.swap_side(name)) for name in names]


@lru_cache(maxsize=4)  # a brush asks for the same ones after each dab
def _bound(state: State) -> tuple[Skeleton, Floats]:
    """All joints in one tree, and the weights for them before anything is painted."""
    whole = Skeleton.from_world(_frames(state), _parents(state, state.chain.parents))
    return whole, skinning.bind(skin(state.puppet), whole, state.puppet, state.softness)


@lru_cache(maxsize=32)
def other_side(puppet: Puppet) -> Places:
    """Return, for each vertex of the given skin, the place of the other side that mirrors it.

    Parameters
    ----------
    puppet : Puppet

    Returns
    -------
    Places
        By `places.mirrored_places`.
    """
    return mirrored_places(skin(puppet))


def own_puppet(state: State) -> Puppet:
    """Return the character with the bones that the state's joints make.

    Parameters
    ----------
    state : State

    Returns
    -------
    Puppet

    Raises
    ------
    ValueError
        For a length that is not above zero.
    """
    at = state.metres()
    heel, ball, toe = state.sole_mm["heel"] / 1000, at["ball"][2], at["toe"][2]
    bones = np.linalg.norm(np.diff(hinges(state), axis=0), axis=-1)
    _, height, below = at[state.chain.end]
    return puppets.with_bones(
        state.puppet,
        *map(float, bones),
        ankle_height=float(height),
        foot_length=float(toe - below - heel),
        heel_length=-heel,
        ball_length=float(ball - below),
        hip_width=2 * float(at["hip"][0] - state.plane_mm / 1000),
    )


def planted_walk(state: State, frames: int = 100, cycles: int = 2) -> gait.Walk:
    """Return the walk of the state's own bones, its pelvis as low and swaying as the state says.

    Parameters
    ----------
    state : State
    frames, cycles : int
        As for `gait.walk`.

    Returns
    -------
    Walk
        With planted feet where the state poses its legs by their goals; else without.

    Raises
    ------
    ValueError
        For bones with which nobody walks.
    """
    puppet = own_puppet(state)
    usual = float(np.ptp(gait.walk(puppet, frames=24, cycles=1).pelvis[:, 0]))
    sway = min(state.pelvis["sway_mm"] / 1000 / usual, MOST_SWAY)
    walk = gait.walk(puppet, frames=frames, cycles=cycles, sway=sway)
    if not state.inverse:
        return walk
    return gait.plant(walk, gait.pelvis_path(walk) - [0, state.pelvis["drop_mm"] / 1000, 0])


def asset(state: State) -> gltf.Asset:
    """Return the whole leg, skinned and walking, as what a glTF file holds.

    Parameters
    ----------
    state : State

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        While joints hang from nothing, or no rig or walk can be made of the joints.

    Examples
    --------
    >>> from rigkit import inspection
    >>> from rigkit.bench import build
    >>> from rigkit.bench.state import State
    >>> inspection.inspect(build.asset(State.bare("Pip").with_sound("12"))).passed
    True
    """
    own, posed = skeleton(state), rig(state)
    loose = [name for name in state.chain.joints if name not in state.parents]
    if loose:
        raise ValueError(
            f"`state.parents` must say what every joint hangs from; got nothing for"
            f" {', '.join(loose)}. The second step does."
        )
    times, world = export.rig_motion(posed, planted_walk(state, WALK_FRAMES))
    names = own.names
    at = [posed.skeleton.index(name) for name in names]
    own_axes = fr.relative(posed.skeleton.rest_world[at], own.rest_world)
    moved = world[:, at] @ own_axes
    made = export.rig_asset(own, skin(state.puppet), weights(state), {"walk": (times, moved)})
    turned = dict(_left_turned(state, made))
    nodes = tuple(turned.get(node.name, node) for node in made.nodes)
    return replace(made, nodes=nodes, extras={EXTRAS: json.loads(state.json())})


def _left_turned(state: State, made: gltf.Asset) -> Iterator[tuple[str, gltf.Node]]:
    """The nodes of joints that do not stand as they were bound."""
    for joint, degrees in state.turns_deg.items():
        turn = rotation.quaternion_from_matrix(rotation.matrix_about("x", np.radians(degrees)))
        for node in made.nodes:
            if degrees and node.name in (f"L_{joint}", f"R_{joint}"):
                both = rotation.multiply_quaternions(node.rotation, turn)
                yield node.name, replace(node, rotation=both)


def bytes_of(state: State) -> bytes:
    """Return what stands in the state's .glb file.

    Parameters
    ----------
    state : State

    Returns
    -------
    bytes

    Raises
    ------
    ValueError
        If no rig, skin and walk can be made of it yet.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder, "leg.glb")
        gltf.write(asset(state), path)
        return path.read_bytes()
