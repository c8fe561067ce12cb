"""Painting who carries the skin about a left knee: what a brush does, and how it is kept.

A vertex that thigh or shank moves has a share: what the shank has of what the two carry together, 0
to 1. A brush changes shares alone, so that sums and the weights of all other joints stay. What it
does in a page, `data/painting.js`, is the same by the same names.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from dataclasses import dataclass

import numpy as np

from rigkit import _check, mesh, skin
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.leg import LegRig
from rigkit.mesh import Mesh
from rigkit.skeleton import Skeleton

__all__ = ["TOOLS", "VIEWS", "REACHES", "Limb", "carriers", "limb_about_knee", "falloff"]
__all__ += ["touched", "dab", "smooth_around", "paint", "pack_painted", "unpack_painted"]

# The joints that carry thigh and shank, and the next; of legs of three bones it is shank and
# metatarsus that share the skin about the joint that bends.
CARRIERS = {2: ("L_hip", "L_knee", "L_ankle"), 3: ("L_knee", "L_ankle", "L_foot")}
TOOLS = ("thigh", "shank", "smooth")
VIEWS = {"outside": (1.0, 0.0, 0.0), "inside": (-1.0, 0.0, 0.0), "front": (0.0, 0.0, 1.0)}
REACHES = ("this side", "through")
REACH = 4.5  # knee radii up and down that are shown
SMOOTHED = 3.0  # knee radii from the knee in which all is smoothed at once
PASSES, PASS = 12, 0.5  # of that, and the strength of each
FACING = 0.3  # cosine from which skin faces the viewer wholly; toward the edge the brush fades
MOST_PAINTED = 5000  # vertices
_STEPS = 255  # of a share, as it is kept
_OTHERS = 2  # joints besides thigh and shank: with them four, as glTF holds


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class Limb:
    """The skin about a left knee.

    Attributes
    ----------
    numbers : ndarray of int, shape (k,)
        Its vertices, by their numbers in the whole skin, ascending.
    points, normals : ndarray, shape (k, 3)
        At rest; metres, and directions of length one.
    triangles : ndarray of int, shape (t, 3)
        Of these k vertices.
    pair : ndarray, shape (k,)
        The weight that thigh and shank have together; 0 where nothing may be painted: on the
        midplane, and where two other joints more have weight.
    shares : ndarray, shape (k,)
        The shank's share before anything is painted.
    around : (ndarray of int, ndarray of int)
        Each vertex's neighbours that may be painted, as `mesh.neighbours` gives them.
    knee : ndarray, shape (3,)
        The joint's centre.
    radius : float
        The mean radius of the skin there, metres.
    """

    numbers: Ints
    points: Floats
    normals: Floats
    triangles: Ints
    pair: Floats
    shares: Floats
    around: tuple[Ints, Ints]
    knee: Floats
    radius: float

    def pack(self, shares: ArrayLike, besides: str = "") -> str:
        """Return what is painted as text: the shares that are not those of the limb itself.

        Parameters
        ----------
        shares : array_like, shape (k,)
            What lies less than half a step of 1/255 off the limb's own counts as not painted.
        besides : str
            What was painted before, of which the vertices that the limb does not have stay.

        Returns
        -------
        str
            See `pack_painted`.

        Raises
        ------
        ValueError
            If there is not a share from 0 to 1 for each vertex.
        """
        shares = _check_shares(shares, len(self.numbers))
        painted = (np.abs(shares - self.shares) > 0.5 / _STEPS) & (self.pair > 0)
        numbers, given = unpack_painted(besides, 2**16)
        out = ~np.isin(numbers, self.numbers)
        return pack_painted(
            np.concatenate([self.numbers[painted], numbers[out]]),
            np.concatenate([shares[painted], given[out]]),
        )

    def unpack(self, text: str) -> Floats:
        """Return the shares with what is painted in them.

        Parameters
        ----------
        text : str
            See `pack_painted`; vertices of other places are passed over.

        Returns
        -------
        ndarray, shape (k,)

        Raises
        ------
        ValueError
            As `unpack_painted`.
        """
        painted, given = unpack_painted(text, 2**16)
        found = np.isin(painted, self.numbers)
        at = np.searchsorted(self.numbers, painted[found])
        shares = self.shares.copy()
        shares[at] = np.where(self.pair[at] > 0, given[found], shares[at])
        return shares


def carriers(skeleton: Skeleton) -> tuple[str, str, str]:
    """Return the left leg's joints that share the skin about what bends, and the next.

    Parameters
    ----------
    skeleton : Skeleton
        Its joints named as a LegRig's are.

    Returns
    -------
    tuple of str
        Of people the hip, which carries the thigh, the knee and the ankle.
    """
    return CARRIERS[3 if "L_foot" in skeleton.names else 2]


def limb_about_knee(rig: LegRig | Skeleton, surface: Mesh, weights: ArrayLike) -> Limb:
    """Return the skin about a rig's left knee, with the shares that its weights have.

    Parameters
    ----------
    rig : LegRig or Skeleton
        Its joints named as a LegRig's are; of three bones to a leg, "knee" here is what bends, its
        ankle, "thigh" and "shank" are the two bones that meet there.
    surface : Mesh
        In the rest pose.
    weights : array_like, shape (v, joints)

    Returns
    -------
    Limb

    Raises
    ------
    ValueError
        If rig, skin and weights do not belong together, or no skin lies around the knee.

    Examples
    --------
    >>> from rigkit import skin
    >>> from rigkit.bench import painting
    >>> from rigkit.leg import LegRig
    >>> rig = LegRig.from_puppet("Tamsin")
    >>> limb = painting.limb_about_knee(rig, *skin.rig_skin(rig, "Tamsin"))
    >>> round(limb.radius, 3), len(limb.numbers) > 1000
    (0.051, True)
    """
    skeleton, weights = _check_leg(rig, surface, weights)
    hip, knee, ankle = skeleton.origins(skeleton.rest_world, carriers(skeleton))
    left = surface.side("L_")
    along = _check.directions("rig", _unit(hip - knee) + _unit(knee - ankle))
    radius = mesh.section(surface.vertices, left, knee, along).radius
    height = np.abs((surface.vertices - knee) @ along)
    numbers, triangles = np.unique(
        left[(height[left] <= REACH * radius).any(axis=-1)], return_inverse=True
    )
    triangles, points = triangles.reshape(-1, 3), surface.vertices[numbers]
    thigh, shank = (weights[numbers, skeleton.index(name)] for name in carriers(skeleton)[:2])
    others = (weights[numbers] > 0).sum(axis=-1) - (thigh > 0) - (shank > 0)
    pair = np.where((points[:, 0] > 0) & (others <= _OTHERS), thigh + shank, 0.0)
    shares = np.where(pair > 0, shank / np.where(pair > 0, pair, 1.0), 0.0)
    around = _between(mesh.neighbours(triangles), pair > 0)
    normals = _normals(points, triangles)
    return Limb(numbers, points, normals, triangles, pair, shares, around, knee, radius)


def falloff(distance: ArrayLike) -> Floats:
    """Return how much of a brush's strength is left so far from its middle: 1 − 3r² + 2r³.

    Parameters
    ----------
    distance : array_like, shape (...)
        In brush sizes, zero or more; from 1 on nothing is left.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        For a distance below zero.

    Examples
    --------
    >>> from rigkit.bench import painting
    >>> painting.falloff([0, 0.25, 0.5, 0.75, 1, 2]).tolist()
    [1.0, 0.84375, 0.5, 0.15625, 0.0, 0.0]
    """
    distance = _check.numbers("distance", distance)
    _check.every("distance", distance, distance >= 0, "zero or more")
    r = np.minimum(distance, 1.0)
    return 1 - r * r * (3 - 2 * r)


def touched(
    limb: Limb, view: str, at: ArrayLike, size: float, strength: float, reach: str = "this side"
) -> Floats:
    """Return by how much a brush takes hold of each vertex of a limb, seen from one side.

    It counts how far a vertex lies from the brush's middle in the picture. Of what looks away from
    the viewer nothing is touched, unless the brush goes through the leg.

    Parameters
    ----------
    limb : Limb
    view : {"outside", "inside", "front"}
    at : array_like, shape (..., 2)
        The brush's middle: to the right and up from the knee in that view, metres.
    size : float
        The brush's radius, metres.
    strength : float
        From 0 to 1, at its middle.
    reach : {"this side", "through"}

    Returns
    -------
    ndarray, shape (..., k)
        From 0 to 1; see `dab`.

    Raises
    ------
    ValueError
        For a view, reach, size or strength that cannot be.
    """
    toward = np.array(VIEWS[_check.choice("view", view, VIEWS)])
    size, at = _check.one_positive("size", size), _check.numbers("at", at, 2)
    strength = _check.one("strength", strength)
    _check.every("strength", strength, np.array(0 <= strength <= 1), "from 0 to 1")
    off = limb.points - limb.knee
    seen = np.stack([off @ np.cross([0.0, 1.0, 0.0], toward), off[:, 1]], axis=-1)
    distance = np.linalg.norm(seen - at[..., None, :], axis=-1)
    amounts = strength * falloff(distance / size) * (limb.pair > 0)
    if _check.choice("reach", reach, REACHES) == "through":
        return amounts
    return amounts * (1 - falloff(np.maximum(limb.normals @ toward, 0.0) / FACING))


def dab(limb: Limb, shares: ArrayLike, amounts: ArrayLike, tool: str) -> Floats:
    """Return shares after a dab of the brush.

    Giving leaves a vertex 1 − a of what it has and adds a for the joint that is given to, so that
    sums are kept; smoothing goes a of the way to the mean of the neighbours.

    Parameters
    ----------
    limb : Limb
    shares, amounts : array_like, shape (..., k)
        The shank's shares, and by how much each vertex is taken hold of, a, from 0 to 1.
    tool : {"thigh", "shank", "smooth"}
        The one who is given to.

    Returns
    -------
    ndarray, shape (..., k)

    Raises
    ------
    ValueError
        For another tool, or a share or an amount that is missing or not from 0 to 1.
    """
    shares = _check_shares(shares, len(limb.numbers))
    amounts = _check_shares(amounts, len(limb.numbers), "amounts")
    _check.batch(shares=shares.shape[:-1], amounts=amounts.shape[:-1])
    if _check.choice("tool", tool, TOOLS) == "smooth":
        goal = _neighbours_mean(shares, limb.around)
    else:
        goal = np.full_like(shares, tool == "shank")
    return np.clip(shares + amounts * (goal - shares), 0.0, 1.0)


def smooth_around(limb: Limb, shares: ArrayLike) -> Floats:
    """Return shares smoothed all around the knee, less and less toward three radii from it.

    Parameters
    ----------
    limb : Limb
    shares : array_like, shape (..., k)

    Returns
    -------
    ndarray, shape (..., k)

    Raises
    ------
    ValueError
        If there is not a share from 0 to 1 for each vertex.
    """
    shares = _check_shares(shares, len(limb.numbers))
    amounts = smoothing_amounts(limb)
    for _ in range(PASSES):
        shares = dab(limb, shares, amounts, "smooth")
    return shares


def smoothing_amounts(limb: Limb) -> Floats:
    """Return by how much each pass of `smooth_around` takes hold of each vertex, shape (k,)."""
    away = np.linalg.norm(limb.points - limb.knee, axis=-1)
    return PASS * falloff(away / (SMOOTHED * limb.radius)) * (limb.pair > 0)


def paint(rig: LegRig | Skeleton, weights: ArrayLike, painted: str) -> Floats:
    """Return weights with what is painted in them.

    Parameters
    ----------
    rig : LegRig or Skeleton
    weights : array_like, shape (v, joints)
        Unpainted; only the left thigh's and shank's are changed.
    painted : str
        See `pack_painted`.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        As `unpack_painted`.
    """
    skeleton = _skeleton_of(rig)
    weights = np.array(_check.numbers("weights", weights, "v", len(skeleton)))
    numbers, shares = unpack_painted(painted, len(weights))
    thigh, shank = (skeleton.index(name) for name in carriers(skeleton)[:2])
    pair = weights[numbers, thigh] + weights[numbers, shank]
    weights[numbers, thigh], weights[numbers, shank] = pair * (1 - shares), pair * shares
    return weights


def pack_painted(numbers: ArrayLike, shares: ArrayLike) -> str:
    """Return painted vertices as text: their numbers (u16), then shares (u8), deflated, base64.

    Parameters
    ----------
    numbers : array_like of int, shape (n,)
        Vertices, each once; at most 5,000.
    shares : array_like, shape (n,)
        The shank's, from 0 to 1; kept to the nearest of 255 steps.

    Returns
    -------
    str
        Empty for no vertex.

    Raises
    ------
    ValueError
        For a number that 16 bits cannot hold or that comes twice, too many, or shares that do not
        belong to them.

    Examples
    --------
    >>> from rigkit.bench import painting
    >>> text = painting.pack_painted([7, 300], [0.2, 1])
    >>> [part.tolist() for part in painting.unpack_painted(text, 5000)]
    [[7, 300], [0.2, 1.0]]
    """
    if np.asarray(numbers).size == np.asarray(shares).size == 0:
        return ""
    given = _check.numbers("numbers", numbers, "n")
    _check.every("numbers", given, given % 1 == 0, "whole numbers of vertices")
    whole = given.astype(np.int64)
    shares = _check_shares(shares, len(whole))
    _check_numbers("numbers", whole, 2**16)
    order = np.argsort(whole)
    steps = np.rint(shares[order] * _STEPS).astype(np.uint8)
    data = whole[order].astype("<u2").tobytes() + steps.tobytes()
    return base64.b64encode(zlib.compress(data, 9)).decode("ascii")


def unpack_painted(text: str, vertices: int) -> tuple[Ints, Floats]:
    """Return painted vertices from text, the inverse of `pack_painted`.

    Parameters
    ----------
    text : str
    vertices : int
        How many the skin has.

    Returns
    -------
    numbers : ndarray of int, shape (n,)
        Ascending.
    shares : ndarray, shape (n,)

    Raises
    ------
    ValueError
        For what is not such text, or too long; a vertex that the skin does not have.
    """
    if not isinstance(text, str):
        raise _refuse(f"got {_check.short(text)}")
    if not text:
        return np.empty(0, np.int64), np.empty(0)
    data = _inflate(text)
    many, left_over = divmod(len(data), 3)
    if left_over or not many:
        raise _refuse(f"got {len(data)} bytes, not three to a vertex")
    numbers = np.frombuffer(data, "<u2", many).astype(np.int64)
    _check_numbers("painted", numbers, _check.count("vertices", vertices))
    return numbers, np.frombuffer(data, np.uint8, many, 2 * many) / _STEPS


def _inflate(text: str) -> bytes:
    most = 3 * MOST_PAINTED
    try:
        packed = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as fault:
        raise _refuse(f"got what is not base64 ({fault})") from None
    reader = zlib.decompressobj()
    try:
        data = reader.decompress(packed, most + 1)
    except zlib.error as fault:
        raise _refuse(f"got what cannot be inflated ({fault})") from None
    if len(data) > most:
        raise _refuse(f"got more than {MOST_PAINTED:,} vertices")
    if not reader.eof or reader.unused_data:
        raise _refuse("got text that was cut short or has something after its end")
    return data


def _refuse(came: str) -> ValueError:
    return ValueError(
        f"`painted` must be text as `pack_painted` gives it; {came}. Empty text is no paint."
    )


def _check_numbers(name: str, numbers: Ints, vertices: int) -> None:
    if len(numbers) > MOST_PAINTED:
        raise ValueError(
            f"`{name}` must be at most {MOST_PAINTED:,} vertices; got {len(numbers):,}."
        )
    _check.every(
        name,
        numbers,
        (numbers >= 0) & (numbers < vertices),
        f"vertices of a skin that has {vertices:,}, counted from 0",
    )
    if len(np.unique(numbers)) != len(numbers):
        raise ValueError(f"`{name}` must have each vertex once; got one that comes twice.")


def _check_shares(value: ArrayLike, count: int, name: str = "shares") -> Floats:
    shares = _check.numbers(name, value, count)
    _check.every(name, shares, (shares >= 0) & (shares <= 1), "from 0 to 1")
    return shares


def _check_leg(
    rig: LegRig | Skeleton, surface: Mesh, weights: ArrayLike
) -> tuple[Skeleton, Floats]:
    """The skeleton and the weights, where they belong together."""
    skeleton = _skeleton_of(rig)
    if not isinstance(surface, Mesh):
        raise ValueError(f"`surface` must be a Mesh; got {_check.short(surface)}.")
    return skeleton, _check.numbers("weights", weights, len(surface.vertices), len(skeleton))


def _skeleton_of(rig: LegRig | Skeleton) -> Skeleton:
    skeleton = rig.skeleton if isinstance(rig, LegRig) else rig
    if not isinstance(skeleton, Skeleton):
        raise ValueError(f"`rig` must be a LegRig or a Skeleton; got {_check.short(rig)}.")
    return skeleton


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.linalg.norm(vector), np.float64)


def _normals(points: Floats, triangles: Ints) -> Floats:
    """Each vertex's normal: the sum of its triangles', each as long as the triangle is large."""
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    across = np.cross(b - a, c - a)
    normals = np.zeros_like(points)
    for corner in range(3):
        np.add.at(normals, triangles[:, corner], across)
    return normals / np.maximum(np.linalg.norm(normals, axis=-1, keepdims=True), 1e-30)


def _between(around: tuple[Ints, Ints], kept: Bools) -> tuple[Ints, Ints]:
    """The same neighbours, without those that are not kept."""
    indptr, indices = around
    rows = np.repeat(np.arange(len(kept)), np.diff(indptr))
    both = kept[rows] & kept[indices]
    counts = np.bincount(rows[both], minlength=len(kept))
    return np.concatenate([[0], np.cumsum(counts)]), indices[both]


def _neighbours_mean(shares: Floats, around: tuple[Ints, Ints]) -> Floats:
    """The mean share of each vertex's neighbours; its own where it has none."""
    columns = shares.reshape(-1, shares.shape[-1]).T  # smoothed side by side, as joints are
    both = np.concatenate([columns, 1 - columns], axis=-1)
    means = skin.smooth(both, around, strength=1.0)[:, : columns.shape[1]]
    return means.T.reshape(shares.shape)
