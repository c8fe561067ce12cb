"""The time of skinning, beside the plainest ways to write it.

Aim: 20,000 vertices in at most 5 ms a frame by linear blend, 15 ms by dual quaternions.
"""

from functools import partial

import numpy as np

from rigkit import frames, mesh, skin
from rigkit.puppets import PUPPETS
from rigkit.rotation import matrix_about
from rigkit.skeleton import Skeleton
from tests.benchmarks.figures import compared, take_turns

VERTICES, ROUNDS = 20_000, 15


def einsum_linear_blend(vertices, weights, matrices):
    points = np.concatenate([vertices, np.ones((len(vertices), 1))], axis=1)
    return np.einsum("vj,jab,vb->va", weights, matrices[:, :3], points)


def two_step_linear_blend(vertices, weights, matrices):
    """Blend the matrices for all vertices at once, then apply them."""
    blend = np.einsum("vj,jab->vab", weights, matrices[:, :3], optimize=True)
    return np.einsum("vab,vb->va", blend[..., :3], vertices) + blend[..., 3]


def vertex_loop_linear_blend(vertices, weights, matrices):
    posed = np.empty_like(vertices)
    for i, (vertex, row) in enumerate(zip(vertices, weights, strict=True)):
        posed[i] = np.tensordot(row, matrices, axes=1)[:3] @ [*vertex, 1.0]
    return posed


def frames_dual_quaternion_blend(vertices, weights, matrices):
    """Blend, then make a matrix of each vertex's dual quaternion and apply it."""
    motions = skin.dual_quaternion_from_frame(matrices)
    pivot = motions[weights.argmax(axis=1), :4]
    sign = np.where(np.einsum("va,ja->vj", pivot, motions[:, :4]) < 0, -1.0, 1.0)
    blend = np.einsum("vj,ja->va", weights * sign, motions)
    return frames.apply(skin.frame_from_dual_quaternion(blend), vertices)


def scene():
    """Tamsin's skin, its weights, and the matrices of a step with both knees bent."""
    puppet = PUPPETS["Tamsin"]
    chain = mesh.puppet_chain(puppet)
    world, parents = {"pelvis": frames.frame(origin=chain[0] * [0, 1, 1])}, {"pelvis": None}
    for tag, side in (("L_", 1), ("R_", -1)):
        points = [*chain, chain[-1] + [0.0, -puppet.ankle_height, puppet.ball_length]]
        for name, above, point in zip(
            ("hip", "knee", "ankle", "ball"), (None, "hip", "knee", "ankle"), points, strict=True
        ):
            world[tag + name] = frames.frame(origin=point * [side, 1, 1])
            parents[tag + name] = tag + above if above else "pelvis"
    skeleton = Skeleton.from_world(world, parents)
    pelvis, left, right = mesh.inner_bones(puppet)
    bones = skin.bones_of(skeleton, {"pelvis": pelvis, "L_ankle": left, "R_ankle": right})
    surface = mesh.puppet_mesh(puppet, VERTICES)
    turns = {"L_hip": -0.7, "L_knee": 1.2, "R_hip": 0.3, "R_knee": 0.6}
    posed = skeleton.pose({name: matrix_about("x", angle) for name, angle in turns.items()})
    return surface, bones, skin.joint_matrices(posed, skeleton.rest_world)


def measure():
    surface, bones, matrices = scene()
    weights = skin.weights_by_distance(surface.vertices, bones)
    skinned = surface.vertices, weights
    plain = two_step_linear_blend, einsum_linear_blend, vertex_loop_linear_blend
    for ours, aim, *others in (
        (skin.linear_blend, 5, *plain),
        (skin.dual_quaternion_blend, 15, frames_dual_quaternion_blend),
    ):
        for other in others:
            np.testing.assert_allclose(
                other(*skinned, matrices), ours(*skinned, matrices), atol=1e-12
            )
        works = {
            function.__name__: partial(function, *skinned, matrices) for function in (ours, *others)
        }
        times = take_turns(works, ROUNDS)
        own = times.pop(ours.__name__)
        yield from (
            compared(
                f"{ours.__name__}, {len(surface.vertices):,} vertices",
                own,
                name.replace("_", " "),
                time,
                aim=aim,
                detail=name != others[0].__name__,
            )
            for name, time in times.items()
        )
    many = np.repeat(matrices[None], 20, axis=0)
    blend = "one linear_blend"
    times = take_turns(
        {
            blend: partial(skin.linear_blend, *skinned, matrices),
            "linear_blend, 20 frames": partial(skin.linear_blend, *skinned, many),
            "dual_quaternion_blend, 20 frames": partial(skin.dual_quaternion_blend, *skinned, many),
            "weights_by_distance": partial(skin.weights_by_distance, surface.vertices, bones),
            "puppet_mesh": partial(mesh.puppet_mesh, PUPPETS["Tamsin"], VERTICES),
            "volume": partial(mesh.volume, surface.vertices, surface.triangles),
        },
        ROUNDS,
    )
    alone = times.pop(blend)
    yield from (compared(name, own, blend, alone, detail=True) for name, own in times.items())
