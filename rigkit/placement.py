"""Placement: oriented joints from joint centres, mirroring, joint centres from motion.

A leg joint's frame has y up the bone, from the child back to the joint; x along the hinge axis, so
that a positive turn about it is knee flexion; z forward. A straight leg that stands facing +Z has
frames that are not turned at all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, Floats
from rigkit.skeleton import Skeleton, other_side, side_of

__all__ = [
    "MIRROR_KINDS",
    "orient_chain",
    "reorient",
    "mirror_chain",
    "mirror_rotations",
    "mirror_skeleton",
    "swap_side",
    "rename",
    "MirrorError",
    "mirror_error",
    "RotationCentre",
    "centre_of_rotation",
    "HingeAxis",
    "hinge_axis_from_motion",
    "skin_slide",
]

# The axes of a frame that are negated after the reflection, to keep it right-handed.
MIRROR_KINDS = {"same bend": "x", "same numbers": "xyz", "reflection": "z"}


_SIGNED_AXES = tuple(sign + axis for axis in rotation.AXES for sign in ("", "-"))


def __dir__() -> list[str]:
    return __all__


def orient_chain(
    points: ArrayLike,
    forward: ArrayLike = (0.0, 0.0, 1.0),
    *,
    knee_direction: ArrayLike = 1,
    least_bend_deg: float = 1.0,
    child_axis: str = "-y",
    hinge_axis: str = "x",
) -> Floats:
    """Frames for a chain of joint centres: y up each bone, x along the hinge axis, z forward.

    So the child lies along −y. Many rigs have x or y run to the child instead (common practice, no
    source): `child_axis` and `hinge_axis` name the axes anew, and turn nothing.

    With u the unit direction of the bone below a joint, c = u_above × u the normal of the bend
    plane (as long as the sine of the bend) and h = forward × u, the hinge axis is c + s w h scaled
    to length one, where s is the sine of `least_bend_deg` and w = max(0, 1 − |c|/s)². So from that
    bend on the bend plane alone decides; a straight chain has its hinge square to `forward`;
    between, one passes smoothly into the other. No rule can do so for every bend: this one jumps at
    a single one, of about 0.38 s straight against `forward`. Give a chain a preset bend beyond
    `least_bend_deg` and `forward` no longer counts.

    The first joint shares the hinge of the second, the end joint the turn of the last bone.

    Parameters
    ----------
    points : array_like, shape (..., n, 3)
        Joint centres from the root down, n ≥ 2, metres.
    forward : array_like, shape (..., 3)
        The direction toward which a straight chain would bend, any length above zero.
    knee_direction : array_like, shape (n − 2,) or ()
        For each inner joint 1, or −1 if it bends the other way, as the heron's ankle does below its
        knee.
    least_bend_deg : float
        Above 0, below 90.
    child_axis, hinge_axis : {"x", "-x", "y", "-y", "z", "-z"}
        The axis that runs along the bone to the child, and the one about which a positive turn is
        flexion.

    Returns
    -------
    ndarray, shape (..., n, 4, 4)

    Raises
    ------
    ValueError
        Two neighbouring centres in one place; a straight chain along `forward`; `knee_direction`
        other than 1 and −1; one axis for both, child and hinge.

    Examples
    --------
    >>> from rigkit import placement
    >>> points = [[0, 0.8, 0], [0, 0.4, 0.02], [0, 0, 0]]
    >>> placement.orient_chain(points)[1, :3, 0].round(3).tolist()  # the knee's hinge axis
    [1.0, 0.0, 0.0]
    >>> knee = placement.orient_chain(points, child_axis="x", hinge_axis="z")[1]
    >>> knee[:3, 2].round(3).tolist()
    [1.0, 0.0, 0.0]
    """
    points = _check.numbers("points", points, "n", 3)
    forward = _check.directions("forward", forward)
    _check.batch(points=points.shape[:-2], forward=forward.shape[:-1])
    least = np.sin(np.radians(_check_least_bend(least_bend_deg)))
    if points.shape[-2] < 2:
        raise ValueError(
            "`points` must hold at least two joint centres; got one. Give the next joint too."
        )
    apart = "Two neighbouring joint centres are the same."
    bones = _check.directions("points", np.diff(points, axis=-2), apart)
    hint = np.cross(forward[..., None, :], bones)
    normals = np.zeros_like(hint)
    if points.shape[-2] > 2:
        sides = _check_knee_direction(knee_direction, points.shape[-2] - 2)[:, None]
        normals[..., 1:, :] = sides * np.cross(bones[..., :-1, :], bones[..., 1:, :])
        normals[..., 0, :] = normals[..., 1, :]
    share = np.maximum(0.0, 1 - np.linalg.norm(normals, axis=-1, keepdims=True) / least) ** 2
    hinge = normals + least * share * hint
    # the one bend where the rule jumps
    lost = np.linalg.norm(hinge, axis=-1, keepdims=True) < 1e-9 * least
    across = "A straight chain runs along it; give a direction across the chain."
    hinge = _check.directions("forward", np.where(lost, hint, hinge), across)
    turns = np.stack([hinge, -bones + np.zeros_like(hinge), np.cross(hinge, -bones)], axis=-1)
    turns = turns @ _named_anew(child_axis, hinge_axis)
    return fr.frame(np.concatenate([turns, turns[..., -1:, :, :]], axis=-3), points)


def _named_anew(child_axis: str, hinge_axis: str) -> Floats:
    """The turn from our axes, child along −y and hinge along x, to those named so; (3, 3)."""
    child, hinge = (
        (-1.0 if axis.startswith("-") else 1.0) * np.eye(3)[rotation.AXES[axis[-1]]]
        for axis in (
            _check.choice("child_axis", child_axis, _SIGNED_AXES),
            _check.choice("hinge_axis", hinge_axis, _SIGNED_AXES),
        )
    )
    if child_axis[-1] == hinge_axis[-1]:
        raise ValueError(
            "`hinge_axis` must be another axis than `child_axis`; got "
            f"{hinge_axis!r} and {child_axis!r}. Ours are 'x' and '-y'."
        )
    ours = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])
    return ours @ np.stack([hinge, child, np.cross(hinge, child)])


def reorient(skeleton: Skeleton, turns: Mapping[str, ArrayLike]) -> Skeleton:
    """The skeleton with some joints' rest frames turned anew; nothing else moves.

    Parameters
    ----------
    skeleton : Skeleton
    turns : mapping of joint name to array_like, shape (3, 3) or (4, 4)
        New rest turns as the world sees them; of a frame only the turn counts.

    Returns
    -------
    Skeleton

    Raises
    ------
    ValueError
        For an unknown joint, or a turn that is not a rotation.
    """
    world = {name: frame.copy() for name, frame in _rest_frames(skeleton).items()}
    for name, turn in turns.items():
        skeleton.index(name)
        matrix = np.asarray(turn)
        matrix = matrix[:3, :3] if matrix.shape == (4, 4) else matrix
        matrix = _check.numbers(f"turn of {name}", matrix, 3, 3)
        world[name][:3, :3] = rotation.check_matrix(f"turn of {name}", matrix)
    return Skeleton.from_world(world, _parents(skeleton))


def _rest_frames(skeleton: Skeleton) -> dict[str, Floats]:
    return dict(zip(skeleton.names, skeleton.rest_world, strict=True))


def _parents(skeleton: Skeleton) -> dict[str, str | None]:
    return {name: skeleton.parent(name) for name in skeleton.names}


def mirror_chain(
    world: Mapping[str, ArrayLike],
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> dict[str, Floats]:
    """Named frames on the other side of a plane, their side tags swapped.

    A name without a tag is kept. The same positive angle about the mirrored frame's own axes does
    on the other side:

    ==============  ==================  ============================  ===========================
    kind            x, flexion          y, rotation along the bone    z, abduction
    ==============  ==================  ============================  ===========================
    "same bend"     still flexes        turns the opposite way        swings the opposite way
    "same numbers"  still flexes        still turns in or out         still abducts
    "reflection"    extends instead     turns the opposite way        still abducts
    ==============  ==================  ============================  ===========================

    "Same bend" reflects the bone axis and forward and lets the hinge axis keep its sense;
    "reflection" reflects the hinge axis and the bone axis and pays with the third. "Same numbers"
    reverses all three, so that a pose is copied number by number; its bone axis runs up one leg and
    down the other, and a shift along the axes has to be negated. `mirror_rotations` turns one
    side's angles into the other's.

    Parameters
    ----------
    world : mapping of str to array_like, shape (..., 4, 4)
    kind : {"same bend", "same numbers", "reflection"}
    normal, through : array_like, shape (..., 3)
        The plane; the default is the midplane, x = 0.

    Returns
    -------
    dict of str to ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a frame is not rigid, or `kind` is not one of these.

    Examples
    --------
    >>> from rigkit import frames, placement
    >>> right = placement.mirror_chain({"L_hip": frames.frame(origin=[0.1, 0.9, 0])})
    >>> right["R_hip"][:3, 3].tolist()
    [-0.1, 0.9, 0.0]
    """
    flip = _flipped(kind)
    return {
        swap_side(name): fr.mirror_frames(fr.check_frames(name, frame), flip, normal, through)
        for name, frame in world.items()
    }


def _flipped(kind: str) -> str:
    return MIRROR_KINDS[_check.choice("kind", kind, MIRROR_KINDS)]


def mirror_rotations(turns: ArrayLike, kind: str = "same bend") -> Floats:
    """The turns about a mirrored joint's own axes that make the mirrored motion.

    Parameters
    ----------
    turns : array_like, shape (..., 3, 3)
        About the first joint's own axes.
    kind : {"same bend", "same numbers", "reflection"}
        The way in which its frame was mirrored.

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If `turns` are not rotations, or `kind` is not one of these.
    """
    turns = rotation.check_matrix("turns", turns)
    signs = np.ones(3)
    signs[[rotation.AXES[axis] for axis in _flipped(kind)]] = -1
    return signs[:, None] * turns * signs


def mirror_skeleton(
    skeleton: Skeleton,
    side: str = "L_",
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> Skeleton:
    """The skeleton with one side's joints mirrored to the other, in place of those there.

    Parameters
    ----------
    skeleton : Skeleton
    side : {"L_", "R_"}
        The side that is copied. Joints without a tag stay as they are.
    kind, normal, through
        As for `mirror_chain`.

    Returns
    -------
    Skeleton

    Raises
    ------
    ValueError
        If no joint carries the tag `side`.

    Examples
    --------
    >>> from rigkit import frames, placement
    >>> from rigkit.skeleton import Joint, Skeleton
    >>> left = Skeleton([Joint("L_hip", None, frames.frame(origin=[0.1, 0.9, 0]))])
    >>> placement.mirror_skeleton(left).names
    ('L_hip', 'R_hip')
    """
    gone = other_side(_check.choice("side", side, ("L_", "R_")))
    kept = {n: f for n, f in _rest_frames(skeleton).items() if not n.startswith(gone)}
    parents = {name: skeleton.parent(name) for name in kept}
    copied = {name: frame for name, frame in kept.items() if name.startswith(side)}
    if not copied:
        raise ValueError(
            f"`side` must be a tag that joints carry ({', '.join(skeleton.names)}); got {side!r}."
        )
    for name in copied:
        parent = parents[name]
        parents[swap_side(name)] = None if parent is None else swap_side(parent)
    return Skeleton.from_world(kept | mirror_chain(copied, kind, normal, through), parents)


def swap_side(name: str) -> str:
    """`name` with the other side's tag; a name without a tag as it is.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> from rigkit import placement
    >>> placement.swap_side("L_knee"), placement.swap_side("pelvis")
    ('R_knee', 'pelvis')
    """
    return name if side_of(name) is None else other_side(name)


def rename(skeleton: Skeleton, names: Mapping[str, str]) -> Skeleton:
    """The skeleton with joints renamed, parents along with them.

    To exchange the sides: `rename(skeleton, {name: swap_side(name) for name in skeleton.names})`.

    Parameters
    ----------
    skeleton : Skeleton
    names : mapping of str to str
        New names by old ones; the others stay.

    Returns
    -------
    Skeleton

    Raises
    ------
    ValueError
        For an unknown joint, or two joints of one name.

    Examples
    --------
    >>> from rigkit import frames, placement
    >>> from rigkit.skeleton import Joint, Skeleton
    >>> placement.rename(Skeleton([Joint("hip", None, frames.frame())]), {"hip": "L_hip"}).names
    ('L_hip',)
    """
    for name in names:
        skeleton.index(name)
    new = {name: names.get(name, name) for name in skeleton.names}
    if len(set(new.values())) < len(new):
        twice = sorted({a for a in new.values() if sum(a == b for b in new.values()) > 1})
        came = f"{', '.join(twice)} more than once"
        raise ValueError(f"`names` must leave every joint a name of its own; got {came}.")
    parents = _parents(skeleton).items()
    return Skeleton.from_world(
        {new[name]: frame for name, frame in _rest_frames(skeleton).items()},
        {new[name]: None if parent is None else new[parent] for name, parent in parents},
    )


@dataclass(frozen=True)
class MirrorError(_format.NotebookDisplay):
    """The differences of two sides from mirror images, joint by joint.

    Attributes
    ----------
    names : tuple of str
        The right side's joints.
    cm, deg : ndarray, shape (..., len(names))
        Distance from, and turn away from, the mirror image of the left joint.
    farthest, most_turned : str
        The joint that is worst by each measure, over the whole batch.
    """

    names: tuple[str, ...]
    cm: Floats
    deg: Floats
    farthest: str
    most_turned: str

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"off by {_format.small(self.cm, scale=1.0)} (most: {_format.name(self.farthest)})",
            f"turned away by {_format.amount(self.deg, '°', 2)} "
            f"(most: {_format.name(self.most_turned)})",
            batch=_format.batch(self.cm, 1),
        )


def mirror_error(
    skeleton: Skeleton,
    world: ArrayLike | None = None,
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> MirrorError:
    """The differences of a skeleton's right side from the mirror image of the left.

    Parameters
    ----------
    skeleton : Skeleton
    world : array_like, shape (..., n, 4, 4), optional
        A pose; the rest pose when left out.
    kind, normal, through
        As for `mirror_chain`.

    Returns
    -------
    MirrorError

    Raises
    ------
    ValueError
        If a joint has no partner on the other side, named; or if no joint carries a tag.

    Examples
    --------
    >>> from rigkit import frames, placement
    >>> from rigkit.skeleton import Joint, Skeleton
    >>> hips = {"L_hip": [0.1, 0.9, 0], "R_hip": [-0.1, 0.91, 0]}
    >>> pair = Skeleton([Joint(name, None, frames.frame(origin=at)) for name, at in hips.items()])
    >>> placement.mirror_error(pair).cm.round(3).tolist()
    [1.0]
    """
    world = skeleton.rest_world if world is None else world
    world = _check.numbers("world", world, len(skeleton), 4, 4)
    tagged = [name for name in skeleton.names if side_of(name)]
    alone = [name for name in tagged if other_side(name) not in skeleton.names]
    if alone or not tagged:
        raise ValueError(
            "`skeleton` must have joints in pairs, tagged L_ and R_; "
            f"got {'no partner for ' + ', '.join(alone) if alone else 'no tagged joint'}. "
            "`mirror_skeleton` makes partners."
        )
    names = tuple(name for name in tagged if name.startswith("R_"))
    found, lefts = (
        world[..., [skeleton.index(name) for name in side], :, :]
        for side in (names, map(other_side, names))
    )
    wanted = fr.mirror_frames(lefts, _flipped(kind), normal, through)
    cm = 100 * np.linalg.norm(found[..., :3, 3] - wanted[..., :3, 3], axis=-1)
    between = np.swapaxes(wanted[..., :3, :3], -1, -2) @ found[..., :3, :3]
    deg = np.degrees(rotation.rotation_angle(between))
    farthest, most_turned = (
        names[int(np.argmax(v.reshape(-1, len(names)).max(axis=0)))] for v in (cm, deg)
    )
    return MirrorError(names, cm, deg, farthest, most_turned)


@dataclass(frozen=True)
class RotationCentre(_format.NotebookDisplay):
    """A joint centre found from motion.

    Attributes
    ----------
    centre : ndarray, shape (..., 3)
        The point the markers turn about [m].
    radii : ndarray, shape (..., markers)
        Each marker's distance from the centre [m].
    residual : ndarray, shape (...)
        Root mean square distance of the markers from their spheres [m].
    error : ndarray, shape (...)
        Standard error of the centre along its least certain direction [m], one standard deviation
        away from the markers; infinite where the motion does not tell the centre.
        `centre_of_rotation` says when, and how often the truth lies within.
    """

    centre: Floats
    radii: Floats
    residual: Floats
    error: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"centre {_format.point(self.centre)}",
            f"markers {_format.length(self.radii)} from it",
            f"residual {_format.small(self.residual)}",
            f"standard error {_format.small(self.error)}",
            batch=_format.batch(self.residual),
        )


def centre_of_rotation(markers: ArrayLike) -> RotationCentre:
    """The point that markers on one segment turn about: spheres with one centre, least squares.

    The sum of squared distances between markers and spheres is made least by Gauss–Newton steps,
    which start from the linear fit of |m|² = 2 m·centre + a number for each marker, and of which
    only those count that lower the sum.

    Its `error` is e / (1 − e / r). Here e² is the largest variance in s² (JᵀJ)⁻¹, with s² the sum
    of squares over (distances − unknowns) and J the slope of the distances by the centre, and r is
    the mean radius; the divisor turns one standard deviation of the curvature 1/r into one of r. It
    is infinite where

    - e reaches r, the steps do not settle, or there are no more distances than unknowns;
    - planes, spheres with a centre infinitely far, raise the sum by less than 16 s²;
    - the noise s alone, turning each line from centre to marker, gives a quarter of what JᵀJ holds
      along the least certain direction: so where the sphere shrinks onto the noise.

    Measured on takes of a thigh that circles by 5° to 60° with 1 and 2 mm of noise, 60 frames, one
    or three markers 30 cm away, 1000 takes of each kind: the true centre lies within one `error` in
    at least 54 % of them (a miss has three directions), within two in 93 %, within three in 98 %,
    an infinite error counted as right. One marker's is infinite in nearly all takes of 5° and most
    of 10°; in up to 2 % of such takes the error is finite and the miss more than three times as
    large, so record twice.

    Parameters
    ----------
    markers : array_like, shape (..., frames, markers, 3)
        As seen from the segment above, metres: thigh markers seen from the pelvis give the hip
        centre.

    Returns
    -------
    RotationCentre

    Raises
    ------
    ValueError
        If there was no rotation, or all in one plane so that the centre could be anywhere on a
        line.

    Notes
    -----
    s² (JᵀJ)⁻¹ is the general covariance of least squares, as in D. M. Bates and D. G. Watts,
    Nonlinear Regression Analysis and Its Applications, Wiley, 1988 (from memory), and in the NAG
    Library Manual, e04yc (seen). The divisor and the limits are derived.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import placement, rotation
    >>> turns = rotation.matrix_from_vector([[0, 0, 0], [0.5, 0, 0], [0, 0.5, 0], [0, 0, 0.5]])
    >>> markers = [0.1, 0.9, 0] + turns @ np.array([0.05, -0.2, 0.1])
    >>> placement.centre_of_rotation(markers[:, None]).centre.round(6).tolist()
    [0.1, 0.9, 0.0]
    """
    markers = _check_motion(markers)
    offsets, middle = _about_the_mean(markers)
    spread = np.linalg.svd(offsets, compute_uv=False)
    if (spread[..., 2] < 1e-6 * spread[..., 0]).any():
        raise ValueError(
            "`markers` must move in all three dimensions; got a motion in one plane. Circle the"
            " segment as well as swinging it, or fit a hinge with `hinge_axis_from_motion`."
        )

    squares = _less_mean(np.sum((markers - middle) ** 2, axis=-1), -2)
    start = _least_squares(2 * offsets, squares) + middle[..., 0, 0, :]
    centre, settled = _gauss_newton(_off_spheres, markers, start, np.add)
    miss, slope, radii = _off_spheres(markers, centre)
    variance = _variance(miss, unknowns=3 + markers.shape[-2])
    error = _centre_error(variance, slope, radii, markers - centre[..., None, None, :])
    flat = spread[..., 2] ** 2 - np.sum(miss**2, axis=(-2, -1)) < 16 * variance  # planes do as well
    residual = np.sqrt(np.mean(miss**2, axis=(-2, -1)))
    error = np.where(settled & ~flat, error, np.inf)
    return RotationCentre(centre, radii.mean(axis=-2), residual, error)


@dataclass(frozen=True)
class HingeAxis(_format.NotebookDisplay):
    """A hinge found from motion.

    Attributes
    ----------
    axis : ndarray, shape (..., 3)
        Unit direction.
    point : ndarray, shape (..., 3)
        The point of the axis nearest to the markers' mean place [m].
    radii : ndarray, shape (..., markers)
        Each marker's distance from the axis [m].
    residual : ndarray, shape (...)
        Root mean square distance of the markers from their circles [m].
    """

    axis: Floats
    point: Floats
    radii: Floats
    residual: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"axis {_format.direction(self.axis)} through {_format.point(self.point)}",
            f"markers {_format.length(self.radii)} from it",
            f"residual {_format.small(self.residual)}",
            batch=_format.batch(self.residual),
        )


def hinge_axis_from_motion(markers: ArrayLike, toward: ArrayLike = (1.0, 0.0, 0.0)) -> HingeAxis:
    """The axis that markers on one segment turn about: circles on one axis, by least squares.

    The sum of squared distances between markers and circles is made least by Gauss–Newton steps,
    which start from the direction the markers move along least and the linear fit of a circle
    across it.

    Parameters
    ----------
    markers : array_like, shape (..., frames, markers, 3)
        As seen from the segment above, metres: shank markers seen from the thigh give the knee's
        hinge axis.
    toward : array_like, shape (..., 3)
        Of the axis's two senses the one nearer to this direction is given; +x, the left, for a
        flexing knee.

    Returns
    -------
    HingeAxis

    Raises
    ------
    ValueError
        If there was no rotation, or too little to tell its circles from lines.
    """
    markers, toward = _check_motion(markers), _check.directions("toward", toward)
    _check.batch(markers=markers.shape[:-3], toward=toward.shape[:-1])
    offsets, middle = _about_the_mean(markers)
    _, spread, rows = np.linalg.svd(offsets, full_matrices=False)
    if (spread[..., 1] < 1e-6 * spread[..., 0]).any():
        raise ValueError(
            "`markers` must turn about an axis; got a motion along a line. "
            "Record a larger bend, or a second marker on another side of the axis."
        )
    markers = markers - middle  # so the line's point nearest to the origin is nearest to their mean
    across = _across(rows[..., 2, :])
    squares = np.sum((markers @ across[..., None, :, :]) ** 2, axis=-1)
    start = _least_squares(2 * offsets @ across, _less_mean(squares, -2))
    line = np.concatenate([rows[..., 2, :], (across @ start[..., None])[..., 0]], axis=-1)
    line, _ = _gauss_newton(_off_circles, markers, line, _moved_line)
    miss, _, radii = _off_circles(markers, line)
    sense = np.where(np.sum(line[..., :3] * toward, axis=-1, keepdims=True) < 0, -1.0, 1.0)
    residual = np.sqrt(np.sum(miss**2, axis=(-2, -1)) / (radii.shape[-2] * radii.shape[-1]))
    return HingeAxis(
        line[..., :3] * sense, line[..., 3:] + middle[..., 0, 0, :], radii.mean(axis=-2), residual
    )


def skin_slide(offset: ArrayLike, angle: ArrayLike, axis: ArrayLike = (1.0, 0.0, 0.0)) -> Floats:
    """The slide of skin when a joint is off its true centre, 2 d sin(θ/2), the same everywhere.

    Turning by θ about the wrong centre differs from turning about the right one by a shift, the
    chord that the offset sweeps; d is the part of `offset` square to `axis`, for along the axis a
    joint may sit anywhere.

    Parameters
    ----------
    offset : array_like, shape (..., 3)
        From the true centre to where the joint was put, metres.
    angle : array_like, shape (...)
        The joint's turn, radians.
    axis : array_like, shape (..., 3)
        What it turns about, any length above zero.

    Returns
    -------
    ndarray, shape (...)
        Metres.

    Raises
    ------
    ValueError
        Bad numbers, an axis of length zero, or shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import placement
    >>> round(float(placement.skin_slide(offset=[0, 0.02, 0], angle=1.5708)), 4)
    0.0283
    """
    offset, angle = _check.numbers("offset", offset, 3), _check.numbers("angle", angle)
    axis = _check.directions("axis", axis)
    _check.batch(offset=offset.shape[:-1], angle=angle.shape, axis=axis.shape[:-1])
    return 2 * np.linalg.norm(np.cross(axis, offset), axis=-1) * np.abs(np.sin(angle / 2))


def _check_least_bend(least_bend_deg: float) -> float:
    least = _check.one_positive("least_bend_deg", least_bend_deg)
    if not least < 90:
        raise ValueError(
            f"`least_bend_deg` must be below 90; got {least_bend_deg!r}. A degree is usual."
        )
    return least


def _check_knee_direction(value: ArrayLike, count: int) -> Floats:
    knee_direction = _check.numbers("knee_direction", value)
    if knee_direction.shape not in ((), (count,)) or not (np.abs(knee_direction) == 1).all():
        raise ValueError(
            f"`knee_direction` must be 1 or −1, once or for each of the {count} inner "
            f"joints; got {value!r}."
        )
    return np.broadcast_to(knee_direction, count)


def _check_motion(markers: ArrayLike) -> Floats:
    markers = _check.numbers("markers", markers, "frames", "markers", 3)
    if markers.shape[-3] < 4:
        raise ValueError(
            f"`markers` must hold at least 4 frames; got {markers.shape[-3]}. "
            "The shape is (frames, markers, 3), also for one marker."
        )
    if not (np.ptp(markers, axis=-3).max(axis=(-2, -1)) > 1e-9).all():
        raise ValueError(
            "`markers` must move; got markers that stand still, with no rotation to fit. "
            "Record the joint while it turns."
        )
    shape = markers - markers.mean(axis=-2, keepdims=True)
    if markers.shape[-2] > 1 and not (np.ptp(shape, axis=-3).max(axis=(-2, -1)) > 1e-9).all():
        raise ValueError(
            "`markers` must turn about the joint; got markers that only shift, with no rotation to"
            " fit. Give them as seen from the segment above the joint."
        )
    return markers


def _about_the_mean(markers: Floats) -> tuple[Floats, Floats]:
    """All markers about their own mean places, (..., frames × markers, 3), and the mean of all."""
    offsets = _less_mean(markers, -3)
    return offsets.reshape(*markers.shape[:-3], -1, 3), markers.mean(axis=(-3, -2), keepdims=True)


def _less_mean(values: Floats, axis: int) -> Floats:
    return values - values.mean(axis=axis, keepdims=True)


def _length_and_direction(vectors: Floats) -> tuple[Floats, Floats]:
    lengths = np.linalg.norm(vectors, axis=-1)
    return lengths, vectors / np.where(lengths > 0, lengths, 1.0)[..., None]


def _across(axis: Floats) -> Floats:
    """Two unit directions square to `axis` and to each other, as columns."""
    first = rotation.perpendicular(axis)
    return np.stack([first, np.cross(axis, first)], axis=-1)


def _least_squares(slope: Floats, wanted: Floats) -> Floats:
    """The x for which slope @ x is nearest to `wanted`, whose last two axes are one list."""
    wanted = wanted.reshape(*slope.shape[:-2], -1, 1)
    return (np.linalg.pinv(slope) @ wanted)[..., 0]


def _off_spheres(markers: Floats, centre: Floats) -> tuple[Floats, Floats, Floats]:
    """Markers' misses of their spheres, the slope of these by the centre, distances from it."""
    radii, outward = _length_and_direction(markers - centre[..., None, None, :])
    return _less_mean(radii, -2), -_less_mean(outward, -3), radii


def _variance(miss: Floats, unknowns: int) -> Floats:
    """The square of the noise that leaves such misses; infinite where the unknowns take it all."""
    free = miss.shape[-2] * miss.shape[-1] - unknowns
    total = np.sum(miss**2, axis=(-2, -1))
    return total / free if free > 0 else np.full_like(total, np.inf)


def _centre_error(variance: Floats, slope: Floats, radii: Floats, away: Floats) -> Floats:
    """One standard deviation of a centre outward; infinite where noise or curvature hide it."""
    _, certainty, rows = np.linalg.svd(slope.reshape(*slope.shape[:-3], -1, 3), full_matrices=False)
    certainty, worst = certainty[..., 2], rows[..., 2, None, None, :]
    radius = radii.mean(axis=(-2, -1))
    with np.errstate(divide="ignore", invalid="ignore"):
        across = radii**2 - np.sum(away * worst, axis=-1) ** 2
        noise = variance * np.sum(across / radii**4, axis=(-2, -1))
        error = np.sqrt(variance) / certainty
        told = (error < radius) & (noise < certainty**2 / 4)
        return np.where(told, error / (1 - error / radius), np.inf)


# A line is its direction and one of its points, side by side. It can move in four ways: two of the
# direction and two of the point, across it.


def _off_circles(markers: Floats, line: Floats) -> tuple[Floats, Floats, Floats]:
    """Markers' misses of their circles, the slope of these by the line, distances from it."""
    axis, away = line[..., None, None, :3], markers - line[..., None, None, 3:]
    height = np.sum(away * axis, axis=-1)
    radii, outward = _length_and_direction(away - height[..., None] * axis)
    outward = outward @ _across(line[..., :3])[..., None, :, :]
    off_circle = np.concatenate([-height[..., None] * outward, -outward], axis=-1)
    off_plane = np.concatenate([radii[..., None] * outward, np.zeros_like(outward)], axis=-1)
    miss = np.concatenate([radii, height], axis=-1)
    slope = np.concatenate([off_circle, off_plane], axis=-2)
    return _less_mean(miss, -2), _less_mean(slope, -3), radii


def _moved_line(line: Floats, step: Floats) -> Floats:
    """The line after a step, its point the one nearest to the origin."""
    across = _across(line[..., :3])
    axis = line[..., :3] + (across @ step[..., :2, None])[..., 0]
    axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    point = line[..., 3:] + (across @ step[..., 2:, None])[..., 0]
    point = point - np.sum(point * axis, axis=-1, keepdims=True) * axis
    return np.concatenate([axis, point], axis=-1)


def _gauss_newton(
    misses: Callable[[Floats, Floats], tuple[Floats, Floats, Floats]],
    markers: Floats,
    start: Floats,
    move: Callable[[Floats, Floats], Floats],
    most: int = 50,
) -> tuple[Floats, Bools]:
    """From `start`, repeat the step that would make the misses least if they were linear.

    A step that does not lower the sum of squares is taken back, and the next one made shorter. Said
    with the place is if it settled: one more step would move it by less than a millionth.
    """
    at, share = start, np.ones(start.shape[:-1])
    total, step = _total_and_step(misses, markers, at)
    for _ in range(most):
        tried = move(at, share[..., None] * step)
        lower, next_step = _total_and_step(misses, markers, tried)
        better = lower <= total
        at, step = (
            np.where(better[..., None], new, old) for new, old in ((tried, at), (next_step, step))
        )
        total = np.where(better, lower, total)
        share = np.where(better, np.minimum(1.0, 2 * share), share / 4)
        if (share * np.abs(step).max(axis=-1)).max() < 1e-13:
            break
    return at, np.abs(step).max(axis=-1) < 1e-6


def _total_and_step(
    misses: Callable[[Floats, Floats], tuple[Floats, Floats, Floats]], markers: Floats, at: Floats
) -> tuple[Floats, Floats]:
    miss, slope, _ = misses(markers, at)
    step = _least_squares(slope.reshape(*slope.shape[:-3], -1, slope.shape[-1]), -miss)
    return np.sum(miss**2, axis=(-2, -1)), step
