"""Rigs broken on purpose, one fault at a time, for signing off and for repairing.

Every rig is an asset, as it would stand in a file. A fault is made in a sound rig, so that it
breaks what it names and nothing else, as far as that can be.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from rigkit import export, frames, placement, rotation, skin
from rigkit._types import Floats
from rigkit.gltf import Asset
from rigkit.leg import LegRig
from rigkit.mesh import Mesh
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, Skeleton

__all__ = ["VERTICES", "PARTS", "AFTER", "BEFORE", "sound", "rebuilt", "bound_again", "shifted"]
__all__ += ["with_nodes", "foot_hung_from_pelvis", "side_lost", "left_straight"]
__all__ += ["weights_dropped", "mirrored_by_scale", "hinge_aslant", "feet_carried_along"]
__all__ += ["knees_at_the_front", "exported_posed", "rising_out_of_reach", "knee_back"]
__all__ += ["placed_by_hand", "knees_too_high", "SHIP", "ship_named"]

World = dict[str, Floats]  # world frames by joint name
VERTICES = 800
PARTS = ("hip", "knee", "ankle", "ball", "toe")
AFTER, BEFORE = "after the change", "before the change"


def __dir__() -> list[str]:
    return __all__


@cache
def sound(puppet: Puppet | str) -> Asset:
    """Return a puppet's rig as a file, skinned and at rest; every rule that applies passes.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return export.puppet_asset(puppet, VERTICES, walking=False)


def rebuilt(
    puppet: Puppet | str,
    change: Callable[[World], None] = lambda world: None,
    hung: Mapping[str, str] | None = None,
    bound: str = AFTER,
) -> Asset:
    """Return a puppet's rig whose joints `change(world)` has moved or turned where they stand.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    change : callable
        Gets the joints' world frames at rest by name, and changes them.
    hung : mapping of joint name to parent, optional
        The joints that hang from another parent.
    bound : {"after the change", "before the change"}
        The moment the skin was bound; after the change, the inverse bind matrices are made from the
        new places.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    asset = sound(puppet)
    names = [node.name for node in asset.nodes]
    world = dict(zip(names, asset.rest_world(), strict=True))
    change(world)
    parents = {node.name: node.parent for node in asset.nodes}
    parents |= {name: names.index(parent) for name, parent in (hung or {}).items()}
    above = np.stack(
        [np.eye(4) if (parent := parents[name]) is None else world[names[parent]] for name in names]
    )
    local = frames.relative(above, np.stack([*world.values()]))
    turns = rotation.quaternion_from_matrix(local[:, :3, :3])
    moved = replace(
        asset,
        nodes=tuple(
            replace(node, parent=parents[node.name], translation=frame[:3, 3], rotation=turn)
            for node, frame, turn in zip(asset.nodes, local, turns, strict=True)
        ),
    )
    return bound_again(moved) if bound == AFTER else moved


def bound_again(asset: Asset) -> Asset:
    """Return an asset whose inverse bind matrices are those of its rest pose.

    Parameters
    ----------
    asset : Asset

    Returns
    -------
    Asset
    """
    world = asset.rest_world()
    return replace(
        asset,
        skins=tuple(
            replace(each, inverse_bind=np.asarray(np.linalg.inv(world[each.joints]), np.float64))
            for each in asset.skins
        ),
    )


@cache
def _skin_of(puppet: Puppet | str) -> tuple[Mesh, Floats]:
    return skin.rig_skin(LegRig.from_puppet(puppet), puppet, VERTICES)


def shifted(by: float | Sequence[float], *names: str) -> Callable[[World], None]:
    """Return a change that moves joints.

    Parameters
    ----------
    by : float or sequence of three
        To the left, up and ahead, metres; joints on the right move by the mirror image.
    *names : str
        Joints.

    Returns
    -------
    callable
        For `rebuilt`.
    """

    def change(world: World) -> None:
        for name in names:
            world[name][:3, 3] += np.multiply(by, (-1, 1, 1) if name.startswith("R_") else 1)

    return change


def with_nodes(asset: Asset, **changes: dict[str, Any]) -> Asset:
    """Return an asset with fields of some nodes replaced.

    Parameters
    ----------
    asset : Asset
    **changes : dict
        Fields by name, for each node by its name.

    Returns
    -------
    Asset
    """
    return replace(
        asset, nodes=tuple(replace(node, **changes.get(node.name, {})) for node in asset.nodes)
    )


# One fault each


def foot_hung_from_pelvis(puppet: Puppet | str) -> Asset:
    """Return a rig whose left foot hangs from the pelvis and not from its shin.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return rebuilt(puppet, hung={"L_ankle": "pelvis"})


def side_lost(puppet: Puppet | str) -> Asset:
    """Return a rig whose left knee's name has lost its side.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return with_nodes(sound(puppet), L_knee={"name": "knee"})


def left_straight(puppet: Puppet | str) -> Asset:
    """Return a rig whose legs have no preset bend.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return export.puppet_asset(puppet, VERTICES, walking=False, preset_bend_deg=0.0)


def weights_dropped(puppet: Puppet | str) -> Asset:
    """Return a rig whose weights below a tenth are zero, with nothing given to the others.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    surface, weights = _skin_of(puppet)
    return export.rig_asset(
        LegRig.from_puppet(puppet).skeleton, surface, np.where(weights < 0.1, 0.0, weights)
    )


def mirrored_by_scale(puppet: Puppet | str) -> Asset:
    """Return a rig whose right leg was placed by a scale of −1, and bound so.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return bound_again(with_nodes(sound(puppet), R_hip={"scale": (-1, 1, 1)}))


def hinge_aslant(puppet: Puppet | str, deg: float = 15.0) -> Asset:
    """Return a rig whose knees' axes are turned about the leg.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    deg : float
        Of the left one, degrees; the right one is turned by the mirror image.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """

    def change(world: World) -> None:
        for tag, way in zip(SIDE_TAGS, (1, -1), strict=True):
            turn = rotation.matrix_about("y", way * np.radians(deg))
            world[tag + "knee"][:3, :3] = turn @ world[tag + "knee"][:3, :3]

    return rebuilt(puppet, change)


def feet_carried_along(puppet: Puppet | str, faster: float = 0.12) -> Asset:
    """Return a rig with a walk, all of which was afterwards moved along.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    faster : float
        m/s more.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    times, world = _walked(puppet)
    world = world.copy()
    world[..., 2, 3] += faster * times[:, None]
    surface, weights = _skin_of(puppet)
    return export.rig_asset(
        LegRig.from_puppet(puppet).skeleton, surface, weights, {"walk": (times, world)}
    )


@cache
def _walked(puppet: Puppet | str) -> tuple[Floats, Floats]:
    return export.walk_motion(LegRig.from_puppet(puppet), puppet)


def knees_at_the_front(puppet: Puppet | str, ahead: float = 0.03) -> Asset:
    """Return a rig both of whose knee joints are too far ahead.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    ahead : float
        Metres.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return rebuilt(puppet, shifted((0, 0, ahead), "L_knee", "R_knee"))


def exported_posed(puppet: Puppet | str, deg: float = 8.0) -> Asset:
    """Return a rig whose feet were pitched after the skin was bound, and left so.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    deg : float
        Degrees, toes down positive.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    pitch = rotation.quaternion_from_vector([np.radians(deg), 0, 0])
    turned = {
        node.name: {"rotation": rotation.multiply_quaternions(node.rotation, pitch)}
        for node in sound(puppet).nodes
        if node.name in ("L_ankle", "R_ankle")
    }
    return with_nodes(sound(puppet), **turned)


def rising_out_of_reach(puppet: Puppet | str, rise: float = 0.022) -> Asset:
    """Return a rig whose body rises in an instant to where its feet can hardly follow.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    rise : float
        Metres, from a slight crouch.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    rig = LegRig.from_puppet(puppet)
    times = np.linspace(0, 2, 121)
    height = -0.02 + rise * np.clip((times - 1.0) * 30, 0, 1)
    posed = rig.pose({"pelvis": {"shift_y": height}})
    surface, weights = _skin_of(puppet)
    return export.rig_asset(rig.skeleton, surface, weights, {"rise": (times, posed.world)})


def knee_back(puppet: Puppet | str, back_mm: float, bound: str = AFTER) -> Asset:
    """Return a rig whose right knee joint is moved back.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    back_mm : float
        Millimetres.
    bound : {"after the change", "before the change"}
        As for `rebuilt`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    return rebuilt(puppet, shifted((0, 0, -back_mm / 1000), "R_knee"), bound=bound)


def placed_by_hand(
    puppet: Puppet | str,
    hand_mm: float,
    rng: np.random.Generator,
    back_mm: float = 0.0,
    bound: str = AFTER,
) -> Asset:
    """Return a rig whose leg joints, both sides', were placed by an unsteady hand.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    hand_mm : float
        Standard deviation of each coordinate, millimetres. The axes are oriented by the places
        they come to.
    rng : numpy.random.Generator
    back_mm : float
        The right knee joint is besides so far back, millimetres.
    bound : {"after the change", "before the change"}
        As for `rebuilt`.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    off = hand_mm / 1000 * rng.standard_normal((2, len(PARTS), 3))

    def change(world: World) -> None:
        shifted((0, 0, -back_mm / 1000), "R_knee")(world)
        for side, tag in enumerate(SIDE_TAGS):
            for part, away in zip(PARTS, off[side], strict=True):
                world[tag + part][:3, 3] += away
            if hand_mm:
                placed = placement.orient_chain([world[tag + part][:3, 3] for part in PARTS[:3]])
                for part, frame in zip(PARTS[:2], placed, strict=False):
                    world[tag + part][:3, :3] = frame[:3, :3]

    return rebuilt(puppet, change, bound=bound)


def knees_too_high(puppet: Puppet | str, cm: float) -> Asset:
    """Return a rig whose knee joints both stand too far up the leg, on the line of the bones.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    cm : float
        Centimetres.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """

    def change(world: World) -> None:
        for tag in SIDE_TAGS:
            hip, knee = world[tag + "hip"][:3, 3], world[tag + "knee"][:3, 3]
            world[tag + "knee"][:3, 3] = knee + cm / 100 * (hip - knee) / np.linalg.norm(hip - knee)

    return rebuilt(puppet, change)


# A stranger's rig


SHIP = {
    "pelvis": "deck",
    "hip": "mast",
    "knee": "boom",
    "stilt": "spar",
    "ankle": "keel",
    "ball": "prow",
    "toe": "bowsprit",
}


def ship_named(puppet: Puppet | str, share: float = 0.25) -> Asset:
    """Return a rig whose joints are called after the parts of a ship.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    share : float
        The place of a further joint, down the shank.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If `puppet` is neither.
    """
    rig = LegRig.from_puppet(puppet)
    names = rig.skeleton.names
    world = dict(zip(names, rig.skeleton.rest_world, strict=True))
    parents = {name: rig.skeleton.parent(name) for name in names}
    for tag in SIDE_TAGS:
        knee, ankle = world[tag + "knee"], world[tag + "ankle"]
        world[tag + "stilt"] = knee.copy()
        world[tag + "stilt"][:3, 3] += share * (ankle - knee)[:3, 3]
        parents |= {tag + "stilt": tag + "knee", tag + "ankle": tag + "stilt"}
    skeleton = Skeleton.from_world(
        {_ship(name): frame for name, frame in world.items()},
        {_ship(name): parent and _ship(parent) for name, parent in parents.items()},
    )
    surface, weights = _skin_of(puppet)
    table = np.zeros((len(weights), len(skeleton)))
    table[:, [skeleton.index(_ship(name)) for name in names]] = weights
    return export.rig_asset(skeleton, surface, table)


def _ship(name: str) -> str:
    tag, part = (name[:2], name[2:]) if name[:2] in SIDE_TAGS else ("", name)
    return SHIP[part] + {"L_": "1", "R_": "2", "": ""}[tag]
