"""Trunks, heads and what is carried: drawn shapes without joints, so that legs carry somebody.

No rig moves them and nothing is measured on them. A person's hips and shoulders have published
shares of stature; all else is invented.
"""

from functools import cache

import numpy as np

from rigkit import body, mesh, rotation
from rigkit._types import ArrayLike, Floats
from rigkit.puppets import Puppet
from rigkit.stage import Stage

Point = tuple[float, float, float]

AROUND = 16  # vertices of a ring: no corner is seen
# Shares of stature: R. Drillis, R. Contini, 1966, as in D. A. Winter, Biomechanics and Motor
# Control of Human Movement, figure 4.1; read in files that cite it. Those of hips are in `body`.
SHOULDER_HEIGHT, SHOULDER_BREADTH = 0.818, 0.259


def draw_body(stage: Stage, puppet: Puppet, hips: ArrayLike) -> Stage:
    """Draw a puppet's trunk, its head and what it carries; before the legs, it lies behind them.

    The trunk turns with the line between the hips, less and less above, and not from the shoulders
    on. What is above the limits of the view is cut off.

    Parameters
    ----------
    stage : Stage
        In any view.
    puppet : Puppet
    hips : array_like, shape (2, 3)
        The left and the right hip [m].

    Returns
    -------
    Stage
    """
    left, right = np.asarray(hips)
    (trunk, *others), shoulders = _solids(puppet)
    turned = trunk.vertices
    if (left - right)[1:].any():  # not level across: most hips are, and then nothing turns
        turn = rotation.vector_from_matrix(rotation.matrix_between([1.0, 0.0, 0.0], left - right))
        shares = np.clip(1 - turned[:, 1:2] / shoulders, 0, 1)
        turned = np.einsum("vij,vj->vi", rotation.matrix_from_vector(shares * turn), turned)
    middle = (left + right) / 2
    stage.surface(turned + middle, trunk.triangles, "soft", named="a trunk")
    for solid in others:
        stage.surface(solid.vertices + middle, solid.triangles, "soft", named="a head")
    return stage


def level_hips(puppet: Puppet, middle: ArrayLike) -> Floats:
    """Level hips on either side of a point, the left one first; shape (2, 3)."""
    return np.asarray(middle) + [[puppet.hip_width / 2, 0, 0], [-puppet.hip_width / 2, 0, 0]]


def height(puppet: Puppet) -> float:
    """The top of what `draw_body` draws, above the middle of the hips [m]."""
    return max(float(solid.vertices[:, 1].max()) for solid in _solids(puppet)[0])


@cache
def _solids(puppet: Puppet) -> tuple[tuple[mesh.Mesh, ...], float]:
    """The trunk, then all else, from the middle of the hips; the shoulders' height there."""
    if len(puppet.bones) == 3:
        return _heron(), 0.3
    average = body.segment_lengths(1.0)
    assert average.hip_height is not None, "this table has it"
    assert average.pelvis_breadth is not None, "this table has it"
    hip_height, hip = float(average.hip_height), float(average.pelvis_breadth) / 2
    # of the grown person who has such a trunk: the legs may be short, or on stilts
    stature = (puppet.stature - puppet.hip_height) / (1 - hip_height)
    person = [*_person(hip), *_CARRIED.get(puppet.name, list)()]
    return (
        tuple(
            mesh.Mesh(stature * (solid.vertices - [0, hip_height, 0]), solid.triangles)
            for solid in person
        ),
        stature * (SHOULDER_HEIGHT - hip_height),
    )


# Shapes of a person, in shares of stature from the floor


def _person(hip: float) -> list[mesh.Mesh]:
    shoulder = SHOULDER_BREADTH / 2
    trunk = [  # up, forward, half its breadth, half its depth
        (0.488, 0.000, 0.030, 0.025),
        (0.495, 0.000, 0.60 * hip, 0.044),
        (0.510, -0.002, 0.88 * hip, 0.056),
        (0.535, -0.005, hip, 0.064),
        (0.565, -0.004, 0.97 * hip, 0.062),
        (0.600, 0.000, 0.87 * hip, 0.055),
        (0.640, 0.004, 0.82 * hip, 0.050),
        (0.680, 0.006, 0.88 * hip, 0.055),
        (0.725, 0.006, 0.82 * shoulder, 0.062),
        (0.765, 0.003, 0.95 * shoulder, 0.061),
        (0.790, 0.000, shoulder, 0.054),
        (0.807, -0.002, 0.96 * shoulder, 0.046),
        (SHOULDER_HEIGHT, -0.002, 0.80 * shoulder, 0.040),
        (0.830, -0.001, 0.48 * shoulder, 0.033),
        (0.842, 0.001, 0.034, 0.029),
        (0.872, 0.006, 0.028, 0.026),
    ]
    return [_turned(trunk), _ball((0.0, 0.937, 0.010), (0.046, 0.063, 0.056))]


def _lamp() -> list[mesh.Mesh]:
    """A lamplighter's pole over the right shoulder, a lantern hanging from its end."""
    pole = [(0.765, 0.14, 0.006, 0.006), (0.975, -0.25, 0.006, 0.006)]
    lantern = [
        (0.970, -0.25, 0.004, 0.004),
        (0.955, -0.25, 0.012, 0.012),
        (0.945, -0.25, 0.030, 0.030),
        (0.875, -0.25, 0.020, 0.020),
    ]
    return [_turned(shape, aside=-0.09) for shape in (pole, lantern)]


def _crate() -> list[mesh.Mesh]:
    """A crate on the right shoulder."""
    return [_box((-0.20, 0.825, -0.22), (-0.05, 0.945, -0.055))]


def _tray() -> list[mesh.Mesh]:
    """A baker's tray on the head, three loaves on it."""
    loaves = [_ball((0.0, 1.020, z), (0.05, 0.030, 0.034)) for z in (-0.085, 0.0, 0.085)]
    return [_box((-0.09, 1.0, -0.14), (0.09, 1.012, 0.14)), *loaves]


def _net() -> list[mesh.Mesh]:
    """A net in a bundle on the back."""
    return [_ball((0.0, 0.735, -0.105), (0.085, 0.085, 0.055))]


def _rope() -> list[mesh.Mesh]:
    """A coil of rope over the right shoulder, down to the left hip."""
    turn = np.linspace(0.0, np.pi, 13)
    coil = np.stack(
        [0.70 + 0.145 * np.cos(turn), 0.085 * np.sin(turn), *np.full((2, 13), 0.018)], -1
    )
    return [_turned(coil * [1, way, 1, 1], aside=-0.06) for way in (1, -1)]


def _oar() -> list[mesh.Mesh]:
    """An oar over the right shoulder, its blade behind."""
    shaft = [(0.735, 0.22, 0.009, 0.009), (0.935, -0.30, 0.009, 0.009)]
    blade = [
        (0.930, -0.29, 0.010, 0.010),
        (0.945, -0.33, 0.012, 0.035),
        (0.985, -0.43, 0.012, 0.038),
        (0.995, -0.455, 0.010, 0.020),
    ]
    return [_turned(shape, aside=-0.09) for shape in (shaft, blade)]


def _barrel() -> list[mesh.Mesh]:
    """A small barrel on the left shoulder, lying."""
    staves = [
        (0.895, -0.13, 0.050, 0.050),
        (0.895, -0.08, 0.062, 0.062),
        (0.895, 0.00, 0.068, 0.068),
        (0.895, 0.08, 0.062, 0.062),
        (0.895, 0.13, 0.050, 0.050),
    ]
    return [_turned(staves, aside=0.125)]


_CARRIED = {
    "Tamsin": _lamp,
    "Odo": _crate,
    "Pip": _tray,
    "Wenna": _net,
    "Jory": _rope,
    "Maren": _oar,
    "Ulf": _barrel,
}


# The heron, in metres from its hips


def _heron() -> tuple[mesh.Mesh, ...]:
    """Body, neck, head with beak, and a fish in the beak."""
    turn = np.linspace(-1.4, 1.4, 13)
    along, around = np.sin(turn), np.cos(turn)
    egg = np.stack([0.12 + 0.10 * along, 0.02 + 0.33 * along, 0.13 * around, 0.14 * around], -1)
    neck = [
        (0.243, 0.325, 0.045, 0.045),
        (0.31, 0.352, 0.04, 0.04),
        (0.40, 0.34, 0.03, 0.03),
        (0.50, 0.27, 0.026, 0.026),
        (0.60, 0.235, 0.024, 0.024),
        (0.68, 0.25, 0.024, 0.024),
    ]
    head = [
        (0.70, 0.21, 0.02, 0.02),
        (0.71, 0.24, 0.04, 0.04),
        (0.71, 0.29, 0.045, 0.045),
        (0.70, 0.34, 0.025, 0.025),
        (0.685, 0.55, 0.003, 0.003),
    ]
    fish = _ball((0.0, 0.64, 0.50), (0.012, 0.065, 0.022))
    return _turned(egg), _turned(neck), _turned(head), fish


# Solids


def _turned(rings: ArrayLike, aside: float = 0.0) -> mesh.Mesh:
    """A closed solid of elliptic rings on a line in a plane of constant x.

    Parameters
    ----------
    rings : array_like, shape (n, 4)
        Up and forward of each ring's middle, half its breadth, half its depth.
    aside : float
        The plane's x.
    """
    up, ahead, broad, deep = np.asarray(rings).T
    way = np.gradient(np.stack([up, ahead], axis=-1), axis=0)
    way /= np.linalg.norm(way, axis=-1, keepdims=True)
    solid = mesh.tube(1.0, 1.0, AROUND, len(up) - 1)
    across, _, around = solid.vertices[:-2].reshape(len(up), AROUND, 3).transpose(2, 0, 1)
    depth = deep[:, None] * around
    points = np.stack(
        [
            -broad[:, None] * across,
            up[:, None] - depth * way[:, 1:],
            ahead[:, None] + depth * way[:, :1],
        ],
        axis=-1,
    )
    ends = np.stack([0 * up, up, ahead], axis=-1)[[0, -1]]
    return mesh.Mesh(np.concatenate([points.reshape(-1, 3), ends]) + [aside, 0, 0], solid.triangles)


def _ball(middle: Point, half: Point) -> mesh.Mesh:
    """An ellipsoid."""
    across, tall, deep = half
    turn = np.linspace(-1.4, 1.4, 11)  # its very ends are flat
    up, out = np.sin(turn), np.cos(turn)
    x, y, z = middle
    rings = np.stack([y + tall * up, z + 0 * up, across * out, deep * out], axis=-1)
    return _turned(rings, x)


def _box(low: Point, high: Point) -> mesh.Mesh:
    """A box between two corners."""
    solid = mesh.tube(np.sqrt(0.5), 1.0, 4, 1)
    cube = solid.vertices @ rotation.matrix_about("y", np.pi / 4).T
    return mesh.Mesh(low + (cube + 0.5) * np.subtract(high, low), solid.triangles)
