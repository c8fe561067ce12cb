"""What lesson 12 shows: rigs broken in ten ways and what an inspection finds, how large a fault must be, strange names.

Every rig is an asset, as it would stand in a file. A fault is made after the rig was sound, so each breaks what it names
and nothing else, as far as that can be.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from rigkit import export, gait, gltf, inspection, placement, rotation, skin
from rigkit.leg import LegRig
from rigkit.panels import Choice, Panel, Slider
from rigkit.skeleton import SIDE_TAGS, Skeleton
from rigkit.stage import Stage, row

VERTICES = 800
PARTS = ("hip", "knee", "ankle", "ball", "toe")
# A step, as turns of single joints about their own x and y axes in degrees; the right side's mirrored as "same bend" asks.
STEP_DEG = {"L_hip": (-40, 0), "L_knee": (55, 0), "L_ankle": (0, 25), "R_hip": (22, 0), "R_knee": (18, 0),
            "R_ankle": (0, -25)}


# Rigs as files hold them


@cache
def sound(puppet):
    """A puppet's rig as a file, skinned and at rest; every rule that applies passes."""
    return export.puppet_asset(puppet, VERTICES, walking=False)


def rebuilt(puppet, change=lambda world: None, hung=None, bound="after", rig=None):
    """A puppet's rig whose joints `change(world)` has moved or turned, in place, before its skin was bound or after.

    Parameters
    ----------
    puppet : Puppet
    change : callable
        Gets the joints' world frames at rest by name.
    hung : mapping of joint name to parent, optional
        Where some joints hang from another parent.
    bound : {"after", "before"}
        With "before" the skin's inverse bind matrices are those of the sound rig.

    Returns
    -------
    Asset
    """
    rig = rig or LegRig.from_puppet(puppet)
    world = {name: frame.copy() for name, frame in zip(rig.skeleton.names, rig.skeleton.rest_world, strict=True)}
    change(world)
    parents = {name: rig.skeleton.parent(name) for name in rig.skeleton.names} | (hung or {})
    skeleton = Skeleton.from_world(world, parents)
    surface, weights = _skin_of(puppet)
    asset = export.rig_asset(skeleton, surface, weights[:, [rig.skeleton.index(name) for name in skeleton.names]])
    if bound == "before":
        return replace(asset, skins=[replace(asset.skins[0], inverse_bind=sound(puppet).skins[0].inverse_bind)])
    return asset


@cache
def _skin_of(puppet):
    return skin.rig_skin(LegRig.from_puppet(puppet), puppet, VERTICES)


def shifted(by, *names):
    """A change that moves joints by (left, up, ahead) metres; those on the right by the mirror image."""
    def change(world):
        for name in names:
            world[name][:3, 3] += np.multiply(by, (-1, 1, 1) if name.startswith("R_") else 1)
    return change


def with_nodes(asset, **changes):
    """An asset with fields of some nodes replaced: name=dict of fields."""
    return replace(asset, nodes=[replace(node, **changes.get(node.name, {})) for node in asset.nodes])


# The ten


@dataclass(frozen=True)
class Fault:
    """One way to break a rig.

    Attributes
    ----------
    done : str
        What somebody did, as a sentence.
    lesson : str
        Where it was the subject.
    rule : str
        The rule that finds it.
    view : str
        From where it shows best.
    make : callable
        From a puppet to an Asset.
    moment : float or None
        When in its animation it is drawn, seconds.
    """

    done: str
    lesson: str
    rule: str
    view: str
    make: Callable
    moment: float | None = None


def foot_hung_from_pelvis(puppet):
    return rebuilt(puppet, hung={"L_ankle": "pelvis"})


def side_lost(puppet):
    return with_nodes(sound(puppet), L_knee={"name": "knee"})


def left_straight(puppet):
    return export.puppet_asset(puppet, VERTICES, walking=False, preset_bend_deg=0.0)


def weights_dropped(puppet):
    """Weights below a quarter set to zero, and nothing given to those that stay."""
    mesh = sound(puppet).meshes[0]
    return replace(sound(puppet), meshes=[replace(mesh, weights=np.where(mesh.weights < 0.25, 0.0, mesh.weights))])


def mirrored_by_scale(puppet):
    """The right leg's places made by a scale of −1, and bound so."""
    asset = with_nodes(sound(puppet), R_hip={"scale": (-1, 1, 1)})
    world = asset.rest_world()
    return replace(asset, skins=[replace(each, inverse_bind=np.linalg.inv(world[each.joints])) for each in asset.skins])


def hinge_aslant(puppet, deg=15.0):
    def change(world):
        for tag, way in zip(SIDE_TAGS, (1, -1), strict=True):
            turn = rotation.matrix_about("y", way * np.radians(deg))
            world[tag + "knee"][:3, :3] = turn @ world[tag + "knee"][:3, :3]
    return rebuilt(puppet, change)


def feet_carried_along(puppet, faster=0.12):
    """A walk whose body was later moved along faster, by so many metres a second, with everything that hangs from it."""
    rig, walk, world = _walked(puppet)
    world = world.copy()
    world[..., 2, 3] += faster * walk.times[:, None]
    return export.rig_asset(rig.skeleton, *_skin_of(puppet), {"walk": (walk.times, world)})


@cache
def _walked(puppet):
    rig = LegRig.from_puppet(puppet)
    walk = gait.plant(gait.walk(puppet))
    return rig, walk, rig.pose(gait.control_values(walk, rig)).world


def knees_at_the_front(puppet, ahead=0.03):
    return rebuilt(puppet, shifted((0, 0, ahead), "L_knee", "R_knee"))


def exported_posed(puppet, deg=8.0):
    """The feet pitched after the skin was bound, and the pose left in the file."""
    pitch = rotation.quaternion_from_vector([np.radians(deg), 0, 0])
    turned = {node.name: {"rotation": rotation.multiply_quaternions(node.rotation, pitch)}
              for node in sound(puppet).nodes if node.name in ("L_ankle", "R_ankle")}
    return with_nodes(sound(puppet), **turned)


def rising_out_of_reach(puppet):
    """A body that rises from a slight crouch to where the feet can no longer follow, in a thirtieth of a second."""
    rig = LegRig.from_puppet(puppet)
    times = np.linspace(0, 2, 121)
    height = -0.02 + 0.022 * np.clip((times - 1.0) * 30, 0, 1)
    posed = rig.pose({"pelvis": {"shift_y": height}})
    return export.rig_asset(rig.skeleton, *_skin_of(puppet), {"rise": (times, posed.world)})


FAULTS = (
    Fault("the left foot was hung from the pelvis, not from the shin", "02", "chain-unbroken", "side",
          foot_hung_from_pelvis),
    Fault("a rename took the side off the left knee's name", "03", "names-say-sides", "side", side_lost),
    Fault("the legs were left straight", "06", "preset-bend", "side", left_straight),
    Fault("weights below a quarter were dropped, and not given to those that stay", "09", "weights-sum", "side",
          weights_dropped),
    Fault("the right leg was made by a scale of −1", "03", "no-negative-scale", "front", mirrored_by_scale),
    Fault("the knees' axes were turned by 15°", "07", "hinge-square", "front", hinge_aslant),
    Fault("the body was moved along faster after the feet were planted", "10", "foot-slide", "side",
          feet_carried_along, 0.6),
    Fault("the knee joints were put 3 cm too far ahead", "01", "joint-in-section", "side", knees_at_the_front),
    Fault("the file was written while the feet were pitched by 8°", "08", "rest-reads-zero", "side", exported_posed),
    Fault("the body rises to where the feet cannot follow", "05", "extension-pop", "side", rising_out_of_reach, 1.03),
)
