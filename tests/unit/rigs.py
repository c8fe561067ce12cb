"""Rigs to inspect: the puppets as assets, whole and clean, and each broken in one way only."""

from dataclasses import replace

import numpy as np

from rigkit import export, gltf, placement, rotation, skin
from rigkit.faults import PARTS, bound_again, shifted, with_nodes
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.skeleton import Skeleton

VERTICES = 1500
TAMSIN = PUPPETS["Tamsin"]


def clean(puppet=TAMSIN, walking=False, preset_bend_deg=5.0):
    return export.puppet_asset(puppet, VERTICES, walking, preset_bend_deg)


def rebuilt(change=None, parents=None, weights=None, motions=None, puppet=TAMSIN):
    """Tamsin with joint frames changed before binding, or hung from other parents, or with other
    weights."""
    rig = LegRig.from_puppet(puppet)
    surface, table = skin.rig_skin(rig, puppet, VERTICES)
    world = {
        name: frame.copy()
        for name, frame in zip(rig.skeleton.names, rig.skeleton.rest_world, strict=True)
    }
    for frame_change in [change] if change else []:
        frame_change(world)
    hung = {name: rig.skeleton.parent(name) for name in rig.skeleton.names} | (parents or {})
    skeleton = Skeleton.from_world(world, hung)
    if skeleton.names != rig.skeleton.names:
        table = table[:, [rig.skeleton.index(name) for name in skeleton.names]]
    return export.rig_asset(
        skeleton, surface, table if weights is None else weights(surface, table), motions
    )


def turned(*names, axis, deg):
    """Axes turned where they stand; on the right by the mirror image."""

    def change(world):
        for name in names:
            sign = -1 if name.startswith("R_") and axis != "x" else 1
            world[name][:3, :3] = (
                rotation.matrix_about(axis, sign * np.radians(deg)) @ world[name][:3, :3]
            )

    return change


def place(asset, name):
    return next(i for i, node in enumerate(asset.nodes) if node.name == name)


def with_weights(asset, change):
    """An asset with joints and weights as `change(positions, joints, weights)` gives them."""
    (mesh,) = asset.meshes
    joints, weights = change(mesh.positions, mesh.joints.copy(), mesh.weights.copy())
    return replace(asset, meshes=[replace(mesh, joints=joints, weights=weights)])


def renamed(asset, names):
    return replace(asset, nodes=[replace(node, name=names(node.name)) for node in asset.nodes])


def about_x(deg):
    return rotation.quaternion_from_vector([np.radians(deg), 0, 0])


def posed_after_binding(asset):
    return with_nodes(
        asset,
        **{
            name: {
                "rotation": rotation.multiply_quaternions(
                    asset.nodes[place(asset, name)].rotation, about_x(4)
                )
            }
            for name in ("L_ankle", "R_ankle")
        },
    )


def scaled_toes(asset):
    return bound_again(
        with_nodes(asset, L_toe={"scale": (1, 1, 1.2)}, R_toe={"scale": (1, 1, 1.2)})
    )


def reflected_leg(asset):
    return bound_again(with_nodes(asset, R_hip={"scale": (-1, 1, 1)}))


def shifted_bind(asset):
    (each,) = asset.skins
    inverse_bind = each.inverse_bind.copy()
    for name in ("L_ball", "R_ball"):
        inverse_bind[place(asset, name), 2, 3] += 0.03
    return replace(asset, skins=[replace(each, inverse_bind=inverse_bind)])


def heavy(positions, joints, weights):
    weights[positions[:, 1] < 0.1] *= 1.05
    return joints, weights


def five(positions, joints, weights):
    joints, weights = np.pad(joints, ((0, 0), (0, 4))), np.pad(weights, ((0, 0), (0, 4)))
    here = int(np.argmax(positions[:, 1]))
    joints[here, :5], weights[here, :5] = range(5), (0.92, 0.02, 0.02, 0.02, 0.02)
    return joints, weights


def forgotten(positions, joints, weights):
    weights[np.argsort(positions[:, 1])[-5:]] = 0
    return joints, weights


def strayed(asset):
    """A patch of the right calf that goes a fifth of the way with the left shin."""
    knee = place(asset, "L_knee")

    def change(positions, joints, weights):
        patch = (
            (positions[:, 0] < 0) & (np.abs(positions[:, 1] - 0.2) < 0.04) & (positions[:, 2] < 0)
        )
        assert (weights[patch, 3] == 0).all()
        weights[patch] *= 0.8
        joints[patch, 3], weights[patch, 3] = knee, 0.2
        return joints, weights

    return with_weights(asset, change)


def below_zero(positions, joints, weights):
    """The top of the waist pushed away from where the left hip goes."""
    top = int(np.argmax(positions[:, 1]))
    joints[top, :2], weights[top] = (0, 1), (1.02, -0.02, 0, 0)
    return joints, weights


def left_wider(surface, table):
    """A blend half as wide again on the left."""
    wider = skin.rig_skin(LegRig.from_puppet(TAMSIN), TAMSIN, VERTICES, softness=3.0)[1]
    return np.where(surface.vertices[:, :1] > 0, wider, table)


def stray_vertices(asset):
    """One vertex of either calf that goes with the thigh."""

    def change(positions, joints, weights):
        for tag, x in (("L_", 0.09), ("R_", -0.09)):
            calf = np.linalg.norm(positions - [x, 0.2, -0.05], axis=-1).argmin()
            joints[calf], weights[calf] = (place(asset, tag + "hip"), 0, 0, 0), (1, 0, 0, 0)
        return joints, weights

    return with_weights(asset, change)


def crumbs(positions, joints, weights):
    """Half a per cent of the pelvis at every vertex of the shins."""
    shin = (positions[:, 1] < 0.4) & (weights[:, 3] == 0)
    weights[shin] *= 0.995
    joints[shin, 3], weights[shin, 3] = 0, 0.005
    return joints, weights


def beaded(asset, count=257):
    """A skin of that many joints: most are beads on the pelvis that move nothing."""
    (each,) = asset.skins
    new = count - len(each.joints)
    beads = [gltf.Node(f"bead {i}", 0, (0.001 * i, 0.1, 0.1)) for i in range(new)]
    joints = [*each.joints, *range(len(asset.nodes), len(asset.nodes) + new)]
    bind = np.concatenate([each.inverse_bind, np.broadcast_to(np.eye(4), (new, 4, 4))])
    skins = [replace(each, joints=joints, inverse_bind=bind)]
    return bound_again(replace(asset, nodes=[*asset.nodes, *beads], skins=skins))


def hard_knees(softness=0.35):
    """A blend that reaches a third of a radius about the knees, on so fine a skin that no weight
    jumps."""
    rig = LegRig.from_puppet(TAMSIN)
    surface, table = skin.rig_skin(rig, TAMSIN, 5000)
    knee = rig.skeleton.rest_world[rig.skeleton.index("L_knee"), 1, 3]
    near = np.abs(surface.vertices[:, 1:2] - knee) < 0.15
    hard = skin.bind(surface, rig, TAMSIN, softness)
    return export.rig_asset(rig.skeleton, surface, np.where(near, hard, table))


def hose(surface, table):
    """Weights that pass evenly from thigh to shank over the whole leg."""
    table = table.copy()
    rig = LegRig.from_puppet(TAMSIN).skeleton
    for tag in ("L_", "R_"):
        hip, knee = rig.index(tag + "hip"), rig.index(tag + "knee")
        both = table[:, hip] + table[:, knee]
        low, high = (rig.rest_world[rig.index(tag + part), 1, 3] for part in ("ankle", "hip"))
        share = np.clip((surface.vertices[:, 1] - low) / (high - low), 0.0, 1.0)
        table[:, hip], table[:, knee] = share * both, (1 - share) * both
    return skin.prune(table)


# Motions.


def walk(change=lambda world, times: world, puppet=TAMSIN):
    rig = LegRig.from_puppet(puppet)
    times, world = export.walk_motion(rig, puppet)
    moved = {"walk": (times, change(world, times))}
    return export.rig_asset(rig.skeleton, *skin.rig_skin(rig, puppet, VERTICES), moved)


def carried(world, times, speed=0.12):
    """The body carried along a little faster than the feet step, by so many m/s."""
    world[..., 2, 3] += speed * times[:, None]
    return world


def on_the_spot(world, times):
    world = world.copy()
    speed = (world[-1, 0, 2, 3] - world[0, 0, 2, 3]) / times[-1]
    world[..., 2, 3] -= speed * times[:, None]
    return world


def standing(values, seconds=2.0, frames=121, inverse=True, name="still"):
    """Tamsin moved by control values as functions of time."""
    rig = LegRig.from_puppet(TAMSIN)
    times = np.linspace(0, seconds, frames)
    posed = rig.pose(
        {
            control: {channel: way(times) for channel, way in channels.items()}
            for control, channels in values.items()
        },
        inverse,
    )
    return export.rig_asset(
        rig.skeleton, *skin.rig_skin(rig, TAMSIN, VERTICES), {name: (times, posed.world)}
    )


def step_at(when, low, high, wide=0.03):
    return lambda times: low + (high - low) * np.clip((times - when) / wide, 0, 1)


def popping():
    return standing({"pelvis": {"shift_y": step_at(1.0, -0.02, 0.002)}})


def flipping(seconds=0.05):
    """Both poles swing from far outside to far inside, the body low."""
    reach, aside = 1.0, step_at(1.0, 1.1, -1.1, seconds)
    sink = {"pelvis": {"shift_y": lambda times: 0 * times - 0.12}}
    poles = {}
    for tag, way in (("L_", 1), ("R_", -1)):
        poles[tag + "knee"] = {
            "shift_x": lambda times, way=way: way * reach * np.sin(aside(times)),
            "shift_z": lambda times: reach * np.cos(aside(times)) - 0.86,
        }
    return standing(sink | poles)


def kicking():
    return standing(
        {"L_hip_turn": {"turn_x": lambda times: -np.radians(150) * np.sin(np.pi * times / 4) ** 2}},
        seconds=4.0,
        inverse={"L_": np.array(False), "R_": np.array(False)},
    )


def straight():
    return clean(preset_bend_deg=0.0)


def hurried():
    """A slow walk on the spot, all of it thrown back by 1.5 cm in a tenth of a second."""
    rig = LegRig.from_puppet(TAMSIN)
    times, world = export.walk_motion(rig, TAMSIN, rate=120, speed=SLOW)  # keys near both moments
    world = on_the_spot(world, times)
    world[..., 2, 3] -= 0.015 * np.clip((times - 1.0) / 0.1, 0, 1)[:, None]
    surface = skin.rig_skin(rig, TAMSIN, VERTICES)
    return export.rig_asset(rig.skeleton, *surface, {"walk": (times, world)})


def dipping():
    """The body low; the left foot goes 4 cm into the floor for a moment."""
    low = {"pelvis": {"shift_y": lambda times: 0 * times - 0.12}}
    dip = {"shift_y": lambda times: -0.04 * np.clip(1 - np.abs(times - 1) / 0.3, 0, 1)}
    return standing(low | {"L_foot": dip})


def stretching():
    """Both knees slide down the line from hip to ankle, so that the thighs grow by 8 %."""
    rig = LegRig.from_puppet(TAMSIN)
    times = np.linspace(0, 2, 121)
    names = rig.skeleton.names
    world = np.repeat(np.stack(rig.skeleton.rest_world)[None], len(times), axis=0)
    for tag in ("L_", "R_"):
        hip, knee = (world[0, names.index(tag + part), :3, 3] for part in ("hip", "knee"))
        grown = 0.08 * np.sin(np.pi * times / 2) ** 2
        world[:, names.index(tag + "knee"), :3, 3] += grown[:, None] * (knee - hip)
    surface = skin.rig_skin(rig, TAMSIN, VERTICES)
    return export.rig_asset(rig.skeleton, *surface, {"stretch": (times, world)})


def open_loop():
    """The low body sways by 10 cm to either side and stops 1.5 cm before where it began."""
    sway = lambda times: 0.1 * np.sin(np.pi * times) + 0.015 * (1 - times / 2)  # noqa: E731
    return standing({"pelvis": {"shift_x": sway, "shift_y": lambda times: 0 * times - 0.12}})


def wide_hips():
    """Skin half as wide again about the hips, as of a wide skirt, on the same joints."""
    asset = clean()
    (mesh,) = asset.meshes
    positions = mesh.positions.copy()
    up = np.clip((positions[:, 1] - 0.75) / 0.05, 0, 1)
    positions[:, 0] *= 1 + 0.5 * up
    return replace(asset, meshes=[replace(mesh, positions=positions)])


SLOW = 0.5  # m/s

# What breaks one rule only.
BROKEN = {
    "legs-found": lambda: called(
        clean(), hip="spine", knee="thigh", ankle="shin", ball="b1", toe="t1"
    ),
    "chain-unbroken": lambda: rebuilt(parents={"L_ankle": "pelvis", "R_ankle": "pelvis"}),
    "names-say-sides": lambda: renamed(clean(), lambda name: {"L_knee": "knee"}.get(name, name)),
    "sides-mirror": lambda: rebuilt(shifted((0, 0, 0.01), *(f"R_{part}" for part in PARTS))),
    "sides-turn": lambda: rebuilt(turned("R_ankle", axis="y", deg=10)),
    "preset-bend": straight,
    "bends-alike": lambda: rebuilt(shifted((0, 0, 0.0045), "R_knee")),
    "hinge-square": lambda: rebuilt(turned("L_knee", "R_knee", axis="y", deg=10)),
    "knee-in-plane": lambda: rebuilt(shifted((0.008, 0, 0), "L_knee", "R_knee")),
    "hip-centre": wide_hips,
    "rest-reads-zero": lambda: posed_after_binding(clean()),
    "scale-one": lambda: scaled_toes(clean()),
    "no-negative-scale": lambda: reflected_leg(clean()),
    "inverse-bind": lambda: shifted_bind(clean()),
    "weights-sum": lambda: with_weights(clean(), heavy),
    "weights-at-most": lambda: with_weights(clean(), five),
    "weights-missing": lambda: with_weights(clean(), forgotten),
    "weights-negative": lambda: with_weights(clean(), below_zero),
    "weights-own-side": lambda: strayed(clean()),
    "weights-alike": lambda: rebuilt(weights=left_wider),
    "weights-jump": lambda: stray_vertices(clean()),
    "weights-crumbs": lambda: with_weights(clean(), crumbs),
    "joint-count": lambda: beaded(clean()),
    "joint-in-section": lambda: rebuilt(shifted((0, 0, 0.025), "L_knee", "R_knee")),
    "knee-volume": lambda: rebuilt(weights=hose),
    "knee-stretch": hard_knees,
    "foot-slide": lambda: walk(carried),
    "ground-speed": hurried,
    "through-floor": dipping,
    "extension-pop": popping,
    "knee-flip": flipping,
    "human-range": kicking,
    "bone-length": stretching,
    "loop-closes": open_loop,
}


def called(asset, **parts):
    """An asset whose joints L_hip, R_hip and so on have other names for their parts."""
    return renamed(asset, lambda name: name[:2] + parts[name[2:]] if name[2:] in parts else name)


def without_legs():
    """Limbs that stand like legs, but are called arms."""
    return called(clean(), hip="arm", knee="forearm", ankle="hand", ball="finger", toe="thumb")


def clips(count=76):
    """Tamsin with many walks; in every third the feet slide, in each further one a little more."""
    sound = walk()
    animations = []
    for i in range(count):
        speed = 0 if i % 3 else 0.1 + 0.002 * i
        asset = (
            walk(lambda world, times, speed=speed: carried(world, times, speed)) if speed else sound
        )
        animations.append(replace(asset.animations[0], name=f"take {i:02d}"))
    return replace(sound, animations=animations)


def named(asset, naming, sides={"L": "L", "R": "R"}):  # noqa: B006
    """An asset whose joints are called by a naming of `bodies`."""

    def name(old):
        tag, _, part = old.partition("_") if old[:2] in ("L_", "R_") else (None, "", old)
        return naming(part, tag)

    return renamed(asset, lambda old: old if old == "skin" else name(old))


def under(asset, matrix=None, scale=1.0):
    """An asset whose roots hang below a node that turns and scales all of it, as another program's
    axes would."""
    turn = np.eye(3) if matrix is None else np.asarray(matrix, float)
    root = gltf.Node("scene", None, (0, 0, 0), rotation.quaternion_from_matrix(turn), (scale,) * 3)
    nodes = [
        root,
        *(
            replace(
                node,
                parent=(
                    0
                    if node.parent is None and node.mesh is None
                    else None
                    if node.parent is None
                    else node.parent + 1
                ),
            )
            for node in asset.nodes
        ),
    ]
    skins = [
        replace(each, joints=each.joints + 1, root=None if each.root is None else each.root + 1)
        for each in asset.skins
    ]
    animations = [
        replace(
            each, channels=[replace(channel, node=channel.node + 1) for channel in each.channels]
        )
        for each in asset.animations
    ]
    return replace(asset, nodes=nodes, skins=skins, animations=animations)


def with_axes(puppet, kind):
    """A puppet whose joints have other axes than ours; no joint stands elsewhere."""
    rig = LegRig.from_puppet(puppet)
    half, quarter = (
        rotation.matrix_about(axis, angle) for axis, angle in (("x", np.pi), ("z", np.pi / 2))
    )
    skeleton = rig.skeleton
    if kind == "world":
        turns = dict.fromkeys(skeleton.names, np.eye(3))
    elif kind in placement.MIRROR_KINDS:
        skeleton = placement.mirror_skeleton(skeleton, "L_", kind)
        turns = {}
    else:
        own = half if kind == "y down the bone" else quarter
        turns = {
            name: frame[:3, :3] @ own
            for name, frame in zip(skeleton.names, skeleton.rest_world, strict=True)
        }
    skeleton = placement.reorient(skeleton, turns)
    surface, table = skin.rig_skin(rig, puppet, VERTICES)
    return export.rig_asset(
        skeleton, surface, table[:, [rig.skeleton.index(name) for name in skeleton.names]]
    )


def with_helpers(naming):
    """Tamsin with a twist joint beside each long bone and a pole before each knee, all of which
    move nothing."""
    asset = named(clean(), naming)
    nodes = list(asset.nodes)
    for tag in ("L", "R"):
        for part in ("hip", "knee"):
            above = place(asset, naming(part, tag))
            nodes.append(gltf.Node(naming(part + "_twist", tag), above, (0, -0.2, 0)))
        nodes.append(gltf.Node(naming("knee_pole", tag), 0, (0.1, -0.4, 0.5)))
    return replace(asset, nodes=nodes)


def mirrored(asset):
    """An asset seen in a mirror at x = 0, its left and right names swapped with it."""
    swap = str.maketrans("LR", "RL")

    def name(old):
        return old[:1].translate(swap) + old[1:] if old[:2] in ("L_", "R_") else old

    nodes = [
        replace(
            node,
            name=name(node.name),
            translation=node.translation * [-1, 1, 1],
            rotation=node.rotation * [1, -1, -1, 1],  # x, y, z, w
        )
        for node in asset.nodes
    ]
    flip = np.diag([-1.0, 1, 1, 1])
    skins = [replace(each, inverse_bind=flip @ each.inverse_bind @ flip) for each in asset.skins]
    meshes = [
        replace(
            each,
            positions=each.positions * [-1, 1, 1],
            triangles=each.triangles[:, ::-1],
            normals=None if each.normals is None else each.normals * [-1, 1, 1],
        )
        for each in asset.meshes
    ]
    ways = {"translation": [-1, 1, 1], "rotation": [1, -1, -1, 1]}
    animations = [
        replace(
            each,
            channels=[
                replace(channel, values=channel.values * ways.get(channel.path, 1))
                for channel in each.channels
            ],
        )
        for each in asset.animations
    ]
    return replace(asset, nodes=nodes, skins=skins, meshes=meshes, animations=animations)
