"""Rigs broken on purpose, one fault at a time: for the lesson on signing off, and for questions on
repairing them.

Every rig is an asset, as it would stand in a file. A fault is made in a sound rig, so that it
breaks what it names and nothing else, as far as that can be.
"""

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

World = dict[str, Floats]  # world frames by joint name
VERTICES = 800
PARTS = ("hip", "knee", "ankle", "ball", "toe")
AFTER, BEFORE = "after the change", "before the change"


@cache
def sound(puppet: Puppet) -> Asset:
    """A puppet's rig as a file, skinned and at rest; every rule that applies passes."""
    return export.puppet_asset(puppet, VERTICES, walking=False)


def rebuilt(
    puppet: Puppet,
    change: Callable[[World], None] = lambda world: None,
    hung: Mapping[str, str] | None = None,
    bound: str = AFTER,
) -> Asset:
    """A puppet's rig whose joints `change(world)` has moved or turned where they stand.

    Parameters
    ----------
    puppet : Puppet
    change : callable
        Gets the joints' world frames at rest by name, and changes them.
    hung : mapping of joint name to parent, optional
        Where some joints hang from another parent.
    bound : {"after the change", "before the change"}
        When the skin was bound; after it, the inverse bind matrices are made from the new places.

    Returns
    -------
    Asset
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
    """An asset whose inverse bind matrices are those of its rest pose."""
    world = asset.rest_world()
    return replace(
        asset,
        skins=tuple(
            replace(each, inverse_bind=np.asarray(np.linalg.inv(world[each.joints]), np.float64))
            for each in asset.skins
        ),
    )


@cache
def _skin_of(puppet: Puppet) -> tuple[Mesh, Floats]:
    return skin.rig_skin(LegRig.from_puppet(puppet), puppet, VERTICES)


def shifted(by: float | Sequence[float], *names: str) -> Callable[[World], None]:
    """A change that moves joints by (left, up, ahead) metres; those on the right by the mirror
    image."""

    def change(world: World) -> None:
        for name in names:
            world[name][:3, 3] += np.multiply(by, (-1, 1, 1) if name.startswith("R_") else 1)

    return change


def with_nodes(asset: Asset, **changes: dict[str, Any]) -> Asset:
    """An asset with fields of some nodes replaced: name=dict of fields."""
    return replace(
        asset, nodes=tuple(replace(node, **changes.get(node.name, {})) for node in asset.nodes)
    )


# One fault each


def foot_hung_from_pelvis(puppet: Puppet) -> Asset:
    """The left foot hung from the pelvis and not from its shin."""
    return rebuilt(puppet, hung={"L_ankle": "pelvis"})


def side_lost(puppet: Puppet) -> Asset:
    """The left knee's name without its side."""
    return with_nodes(sound(puppet), L_knee={"name": "knee"})


def left_straight(puppet: Puppet) -> Asset:
    """Legs without a preset bend."""
    return export.puppet_asset(puppet, VERTICES, walking=False, preset_bend_deg=0.0)


def weights_dropped(puppet: Puppet) -> Asset:
    """Weights below a tenth set to zero, and nothing given to those that stay."""
    surface, weights = _skin_of(puppet)
    return export.rig_asset(
        LegRig.from_puppet(puppet).skeleton, surface, np.where(weights < 0.1, 0.0, weights)
    )


def mirrored_by_scale(puppet: Puppet) -> Asset:
    """The right leg's places made by a scale of −1, and bound so."""
    return bound_again(with_nodes(sound(puppet), R_hip={"scale": (-1, 1, 1)}))


def hinge_aslant(puppet: Puppet, deg: float = 15.0) -> Asset:
    """The knees' axes turned about the leg; the right one's by the mirror image."""

    def change(world: World) -> None:
        for tag, way in zip(SIDE_TAGS, (1, -1), strict=True):
            turn = rotation.matrix_about("y", way * np.radians(deg))
            world[tag + "knee"][:3, :3] = turn @ world[tag + "knee"][:3, :3]

    return rebuilt(puppet, change)


def feet_carried_along(puppet: Puppet, faster: float = 0.12) -> Asset:
    """A walk, all of which was afterwards moved along, by so many metres a second more."""
    times, world = _walked(puppet)
    world = world.copy()
    world[..., 2, 3] += faster * times[:, None]
    surface, weights = _skin_of(puppet)
    return export.rig_asset(
        LegRig.from_puppet(puppet).skeleton, surface, weights, {"walk": (times, world)}
    )


@cache
def _walked(puppet: Puppet) -> tuple[Floats, Floats]:
    return export.walk_motion(LegRig.from_puppet(puppet), puppet)


def knees_at_the_front(puppet: Puppet, ahead: float = 0.03) -> Asset:
    """Both knee joints too far ahead, by so many metres."""
    return rebuilt(puppet, shifted((0, 0, ahead), "L_knee", "R_knee"))


def exported_posed(puppet: Puppet, deg: float = 8.0) -> Asset:
    """The feet pitched after the skin was bound, and the pose left in the file."""
    pitch = rotation.quaternion_from_vector([np.radians(deg), 0, 0])
    turned = {
        node.name: {"rotation": rotation.multiply_quaternions(node.rotation, pitch)}
        for node in sound(puppet).nodes
        if node.name in ("L_ankle", "R_ankle")
    }
    return with_nodes(sound(puppet), **turned)


def rising_out_of_reach(puppet: Puppet, rise: float = 0.022) -> Asset:
    """A body that rises, by so many metres, from a slight crouch to where its feet can hardly
    follow, in an instant."""
    rig = LegRig.from_puppet(puppet)
    times = np.linspace(0, 2, 121)
    height = -0.02 + rise * np.clip((times - 1.0) * 30, 0, 1)
    posed = rig.pose({"pelvis": {"shift_y": height}})
    surface, weights = _skin_of(puppet)
    return export.rig_asset(rig.skeleton, surface, weights, {"rise": (times, posed.world)})


def knee_back(puppet: Puppet, back_mm: float, bound: str = AFTER) -> Asset:
    """The right knee joint moved back."""
    return rebuilt(puppet, shifted((0, 0, -back_mm / 1000), "R_knee"), bound=bound)


def placed_by_hand(
    puppet: Puppet,
    hand_mm: float,
    rng: np.random.Generator,
    back_mm: float = 0.0,
    bound: str = AFTER,
) -> Asset:
    """All leg joints of both sides placed by a hand that is off by `hand_mm`, the right knee joint
    moved back.

    The hand's error is the standard deviation of each coordinate; the axes are oriented by the
    places they come to.
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


def knees_too_high(puppet: Puppet, cm: float) -> Asset:
    """A rig whose knee joints both stand too far up the leg, on the line of the bones."""

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


def ship_named(puppet: Puppet, share: float = 0.25) -> Asset:
    """A rig whose joints are called after the parts of a ship, with a further joint down the shank
    by `share` of it."""
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
