"""Placement: from joint centres to oriented joints, from one side to the other, from motion to a
joint centre.

A leg joint's frame has y up the bone, from the child back to the joint; x along the hinge axis, so
that a positive turn about it is knee flexion; z forward. A straight leg that stands facing +Z has
frames that are not turned at all.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from rigkit import _check, _say, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Floats
from rigkit.skeleton import Skeleton, other_side, side_of

# Which of a frame's own axes is negated after the reflection, to keep it right-handed.
MIRROR_KINDS = {"same bend": "x", "reflection": "z"}


def orient_chain(
    points: ArrayLike,
    forward: ArrayLike = (0.0, 0.0, 1.0),
    *,
    bends: ArrayLike = 1,
    least_bend_deg: float = 1.0,
) -> Floats:
    """Frames for a chain of joint centres: y up each bone, x along the hinge axis, z the way the
    knee points.

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
        Where a straight chain would bend toward, any length above zero.
    bends : array_like, shape (n − 2,) or ()
        For each inner joint 1, or −1 if it bends the other way, as the heron's ankle does below its
        knee.
    least_bend_deg : float
        Above 0, below 90.

    Returns
    -------
    ndarray, shape (..., n, 4, 4)

    Raises
    ------
    ValueError
        Two neighbouring centres in one place; a straight chain along `forward`; `bends` other than
        1 and −1.
    """
    points, forward = (
        _check.numbers("points", points, "n", 3),
        _check.directions("forward", forward),
    )
    _check.batch(points=points.shape[:-2], forward=forward.shape[:-1])
    least = np.sin(np.radians(_check.one_positive("least_bend_deg", least_bend_deg)))
    if not least_bend_deg < 90:
        raise ValueError(
            f"`least_bend_deg` must be below 90; got {least_bend_deg!r}. A degree is a usual"
            " choice."
        )
    if points.shape[-2] < 2:
        raise ValueError(
            "`points` must hold at least two joint centres; got one. Give the next joint too."
        )
    bones = _check.directions(
        "points", np.diff(points, axis=-2), "Two neighbouring joint centres are the same."
    )
    hint = np.cross(forward[..., None, :], bones)
    normals = np.zeros_like(hint)
    if points.shape[-2] > 2:
        turned = _check_bends(bends, points.shape[-2] - 2)[:, None] * np.cross(
            bones[..., :-1, :], bones[..., 1:, :]
        )
        normals[..., 1:, :] = turned
        normals[..., 0, :] = turned[..., 0, :]
    share = np.maximum(0.0, 1 - np.linalg.norm(normals, axis=-1, keepdims=True) / least) ** 2
    hinge = normals + least * share * hint
    lost = (
        np.linalg.norm(hinge, axis=-1, keepdims=True) < 1e-9 * least
    )  # the one bend where the rule jumps
    hinge = _check.directions(
        "forward",
        np.where(lost, hint, hinge),
        "A straight chain runs along it; give a direction across the chain.",
    )
    turns = np.stack([hinge, -bones + np.zeros_like(hinge), np.cross(hinge, -bones)], axis=-1)
    return fr.frame(np.concatenate([turns, turns[..., -1:, :, :]], axis=-3), points)


def reorient(skeleton: Skeleton, turns: Mapping[str, ArrayLike]) -> Skeleton:
    """The skeleton with some joints' rest frames turned anew; no joint moves and no other frame
    changes.

    Parameters
    ----------
    skeleton : Skeleton
    turns : mapping of joint name to array_like, shape (3, 3) or (4, 4)
        New rest turns as the world sees them; of a frame only the turn counts.

    Returns
    -------
    Skeleton
    """
    world = {
        name: frame.copy() for name, frame in zip(skeleton.names, skeleton.rest_world, strict=True)
    }
    for name, turn in turns.items():
        skeleton.index(name)
        matrix = np.asarray(turn)
        matrix = matrix[:3, :3] if matrix.shape == (4, 4) else matrix
        world[name][:3, :3] = rotation.check_matrix(
            f"turn of {name}", _check.numbers(f"turn of {name}", matrix, 3, 3)
        )
    return Skeleton.from_world(world, {name: skeleton.parent(name) for name in skeleton.names})


def mirror_chain(
    world: Mapping[str, ArrayLike],
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> dict[str, Floats]:
    """Named frames on the other side of a plane, their side tags swapped; a name without a tag is
    kept.

    What the same positive angle does on the other side, about the mirrored frame's own axes:

    ==============  ==================  ============================  ===========================
    kind            x, flexion          y, rotation along the bone    z, abduction
    ==============  ==================  ============================  ===========================
    "same bend"     still flexes        turns the opposite way        swings the opposite way
    "reflection"    extends instead     turns the opposite way        still abducts
    ==============  ==================  ============================  ===========================

    "Same bend" reflects the bone axis and forward and lets the hinge axis keep its sense;
    "reflection" reflects the hinge axis and the bone axis and pays with the third. `mirror_turns`
    turns one side's angles into the other's.

    Parameters
    ----------
    world : mapping of str to array_like, shape (..., 4, 4)
    kind : {"same bend", "reflection"}
    normal, through : array_like, shape (..., 3)
        The plane; the default is the midplane, x = 0.

    Returns
    -------
    dict of str to ndarray, shape (..., 4, 4)
    """
    flip = MIRROR_KINDS[_check.choice("kind", kind, MIRROR_KINDS)]
    return {
        swap_side(name): fr.mirror_frames(fr.check_frames(name, frame), flip, normal, through)
        for name, frame in world.items()
    }


def mirror_turns(turns: ArrayLike, kind: str = "same bend") -> Floats:
    """The turns about a mirrored joint's own axes that make the mirrored motion; shapes (..., 3,
    3).

    Parameters
    ----------
    turns : array_like, shape (..., 3, 3)
        About the first joint's own axes.
    kind : {"same bend", "reflection"}
        How its frame was mirrored.
    """
    turns = rotation.check_matrix("turns", turns)
    signs = np.ones(3)
    signs[rotation.AXES[MIRROR_KINDS[_check.choice("kind", kind, MIRROR_KINDS)]]] = -1
    return signs[:, None] * turns * signs


def mirror_skeleton(
    skeleton: Skeleton,
    side: str = "L_",
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> Skeleton:
    """The skeleton with one side's joints mirrored to the other; what was there before is replaced.

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
    """
    gone = other_side(_check.choice("side", side, ("L_", "R_")))
    kept = {
        n: f
        for n, f in zip(skeleton.names, skeleton.rest_world, strict=True)
        if not n.startswith(gone)
    }
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
    """`name` with its side tag changed to the other side's; a name without a tag is given back as
    it is."""
    return name if side_of(name) is None else other_side(name)


def rename(skeleton: Skeleton, names: Mapping[str, str]) -> Skeleton:
    """The skeleton with joints renamed, parents along with them; `names` maps old names to new
    ones.

    To exchange the sides: `rename(skeleton, {name: swap_side(name) for name in skeleton.names})`.
    """
    for name in names:
        skeleton.index(name)
    new = {name: names.get(name, name) for name in skeleton.names}
    if len(set(new.values())) < len(new):
        twice = sorted({a for a in new.values() if sum(a == b for b in new.values()) > 1})
        raise ValueError(
            f"`names` must leave every joint a name of its own; got {', '.join(twice)} more than"
            " once."
        )
    parents = {name: skeleton.parent(name) for name in skeleton.names}
    return Skeleton.from_world(
        {new[name]: frame for name, frame in zip(skeleton.names, skeleton.rest_world, strict=True)},
        {new[name]: None if parent is None else new[parent] for name, parent in parents.items()},
    )


@dataclass(frozen=True)
class MirrorError(_say.Shown):
    """How far two sides are from mirror images, joint by joint.

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
        return _say.line(
            self,
            f"off by {_say.small(self.cm, scale=1.0)} (most: {_say.name(self.farthest)})",
            f"turned away by {_say.amount(self.deg, '°', 2)} (most: {_say.name(self.most_turned)})",
            batch=_say.batch(self.cm, 1),
        )


def mirror_error(
    skeleton: Skeleton,
    world: ArrayLike | None = None,
    kind: str = "same bend",
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> MirrorError:
    """How far the right side of a skeleton is from the mirror image of the left.

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
    """
    world = (
        skeleton.rest_world
        if world is None
        else _check.numbers("world", world, len(skeleton), 4, 4)
    )
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
    flip = MIRROR_KINDS[_check.choice("kind", kind, MIRROR_KINDS)]
    wanted = fr.mirror_frames(lefts, flip, normal, through)
    cm = 100 * np.linalg.norm(found[..., :3, 3] - wanted[..., :3, 3], axis=-1)
    between = np.swapaxes(wanted[..., :3, :3], -1, -2) @ found[..., :3, :3]
    deg = np.degrees(rotation.turn_angle(between))
    farthest, most_turned = (
        names[int(np.argmax(v.reshape(-1, len(names)).max(axis=0)))] for v in (cm, deg)
    )
    return MirrorError(names, cm, deg, farthest, most_turned)


@dataclass(frozen=True)
class RotationCentre(_say.Shown):
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
        Standard error of the centre along its least certain direction [m]. It is the residual, made
        larger by a motion that says little.
    """

    centre: Floats
    radii: Floats
    residual: Floats
    error: Floats

    def __repr__(self) -> str:
        return _say.line(
            self,
            f"centre {_say.point(self.centre)}",
            f"markers {_say.length(self.radii)} from it",
            f"residual {_say.small(self.residual)}",
            f"standard error {_say.small(self.error)}",
            batch=_say.batch(self.residual),
        )


def centre_of_rotation(markers: ArrayLike) -> RotationCentre:
    """The point that markers on one segment turn about: one centre, a sphere for each marker, by
    least squares.

    The sum of squared distances between markers and spheres is made least by Gauss–Newton steps,
    which start from the linear fit of |m|² = 2 m·centre + a number for each marker.

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
    centre = _gauss_newton(_off_spheres, markers, start, np.add)
    miss, slope, radii = _off_spheres(markers, centre)
    residual = np.sqrt(np.mean(miss**2, axis=(-2, -1)))
    certainty = np.linalg.svd(slope.reshape(*slope.shape[:-3], -1, 3), compute_uv=False)[..., 2]
    return RotationCentre(centre, radii.mean(axis=-2), residual, residual / certainty)


@dataclass(frozen=True)
class HingeAxis(_say.Shown):
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
        return _say.line(
            self,
            f"axis {_say.direction(self.axis)} through {_say.point(self.point)}",
            f"markers {_say.length(self.radii)} from it",
            f"residual {_say.small(self.residual)}",
            batch=_say.batch(self.residual),
        )


def hinge_axis_from_motion(markers: ArrayLike, toward: ArrayLike = (1.0, 0.0, 0.0)) -> HingeAxis:
    """The axis that markers on one segment turn about: one axis, a circle for each marker, by least
    squares.

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
    markers = (
        markers - middle
    )  # so the point of the line nearest to their mean is that nearest to the origin
    across = _across(rows[..., 2, :])
    squares = np.sum((markers @ across[..., None, :, :]) ** 2, axis=-1)
    start = _least_squares(2 * offsets @ across, _less_mean(squares, -2))
    line = np.concatenate([rows[..., 2, :], (across @ start[..., None])[..., 0]], axis=-1)
    line = _gauss_newton(_off_circles, markers, line, _moved_line)
    miss, _, radii = _off_circles(markers, line)
    sense = np.where(np.sum(line[..., :3] * toward, axis=-1, keepdims=True) < 0, -1.0, 1.0)
    residual = np.sqrt(np.sum(miss**2, axis=(-2, -1)) / (radii.shape[-2] * radii.shape[-1]))
    return HingeAxis(
        line[..., :3] * sense, line[..., 3:] + middle[..., 0, 0, :], radii.mean(axis=-2), residual
    )


def skin_slide(offset: ArrayLike, angle: ArrayLike, axis: ArrayLike = (1.0, 0.0, 0.0)) -> Floats:
    """How far skin slides when a joint is set off its true centre: 2 d sin(θ/2), the same for every
    point of it.

    Turning by θ about the wrong centre differs from turning about the right one by a shift, the
    chord that the offset sweeps; d is the part of `offset` square to `axis`, for along the axis a
    joint may sit anywhere.

    Parameters
    ----------
    offset : array_like, shape (..., 3)
        From the true centre to where the joint was put, metres.
    angle : array_like, shape (...)
        How far the joint turns, radians.
    axis : array_like, shape (..., 3)
        What it turns about, any length above zero.

    Returns
    -------
    ndarray, shape (...)
        Metres.
    """
    offset, angle = _check.numbers("offset", offset, 3), _check.numbers("angle", angle)
    axis = _check.directions("axis", axis)
    _check.batch(offset=offset.shape[:-1], angle=angle.shape, axis=axis.shape[:-1])
    return 2 * np.linalg.norm(np.cross(axis, offset), axis=-1) * np.abs(np.sin(angle / 2))


def _check_bends(value: ArrayLike, count: int) -> Floats:
    bends = _check.numbers("bends", value)
    if bends.shape not in ((), (count,)) or not (np.abs(bends) == 1).all():
        raise ValueError(
            f"`bends` must be 1 or −1, once or for each of the {count} inner joints; got {value!r}."
        )
    return np.broadcast_to(bends, count)


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
    """All markers about their own mean places in one list, shape (..., frames × markers, 3); the
    mean of all."""
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
    """How far markers are off their spheres, how that changes with the centre, how far they are
    from it."""
    radii, outward = _length_and_direction(markers - centre[..., None, None, :])
    return _less_mean(radii, -2), -_less_mean(outward, -3), radii


# A line is its direction and one of its points, side by side; it has four ways to move, two of each
# across it.


def _off_circles(markers: Floats, line: Floats) -> tuple[Floats, Floats, Floats]:
    """How far markers are off their circles, how that changes with the line, how far they are from
    it."""
    axis, away = line[..., None, None, :3], markers - line[..., None, None, 3:]
    height = np.sum(away * axis, axis=-1)
    radii, outward = _length_and_direction(away - height[..., None] * axis)
    outward = outward @ _across(line[..., :3])[..., None, :, :]
    off_circle = np.concatenate([-height[..., None] * outward, -outward], axis=-1)
    off_plane = np.concatenate([radii[..., None] * outward, np.zeros_like(outward)], axis=-1)
    miss = np.concatenate([radii, height], axis=-1)
    return (
        _less_mean(miss, -2),
        _less_mean(np.concatenate([off_circle, off_plane], axis=-2), -3),
        radii,
    )


def _moved_line(line: Floats, step: Floats) -> Floats:
    """The line after a step, its point the one nearest to the origin."""
    across = _across(line[..., :3])
    axis = line[..., :3] + (across @ step[..., :2, None])[..., 0]
    axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    point = line[..., 3:] + (across @ step[..., 2:, None])[..., 0]
    return np.concatenate(
        [axis, point - np.sum(point * axis, axis=-1, keepdims=True) * axis], axis=-1
    )


def _gauss_newton(
    misses: Callable[[Floats, Floats], tuple[Floats, Floats, Floats]],
    markers: Floats,
    start: Floats,
    move: Callable[[Floats, Floats], Floats],
    most: int = 50,
) -> Floats:
    """From `start`, repeat the step that would bring the misses nearest to zero if they were
    linear."""
    for _ in range(most):
        miss, slope, _ = misses(markers, start)
        step = _least_squares(slope.reshape(*slope.shape[:-3], -1, slope.shape[-1]), -miss)
        start = move(start, step)
        if np.abs(step).max() < 1e-13:
            break
    return start
