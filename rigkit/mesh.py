"""Closed triangle meshes: a tube, a two-leg puppet, and their volume and cross-sections.

Seen from outside, the corners of every triangle go anticlockwise, as glTF wants. Where a function
takes vertices and triangles apart, the vertices may be batched: one mesh in many poses.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import product

import numpy as np

from rigkit import _check, _format, puppets
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.frames import mirror_points
from rigkit.puppets import Puppet

__all__ = ["Mesh", "tube", "puppet_chain", "puppet_mesh", "inner_bones", "volume", "volume_ratio"]
__all__ += ["slice_area", "Section", "section", "section_ratio", "carried_section", "stretch"]
__all__ += ["open_edges", "neighbours", "mirror_index"]
__all__ += ["pelvis_landmarks"]

# The puppet's shape, made up by eye. Lengths are in half hip widths unless a comment says
# otherwise. Along a bone: share of the way (for the thigh: from the crotch to the knee); then how
# far the skin stands off the line through the joint centres, to the front, to the back, to the
# sides.
BONES = (
    ((0.16, 0.95, 0.95, 0.88), (0.46, 0.84, 0.78, 0.76), (0.80, 0.69, 0.63, 0.63)),
    (
        (0.13, 0.56, 0.60, 0.57),
        (0.34, 0.52, 0.72, 0.60),
        (0.65, 0.46, 0.50, 0.46),
        (0.92, 0.40, 0.43, 0.38),
    ),
    ((0.10, 0.40, 0.40, 0.38), (0.50, 0.34, 0.34, 0.32), (0.92, 0.34, 0.36, 0.32)),
)
JOINTS = ((0.64, 0.56, 0.60), (0.44, 0.44, 0.42))  # the same three at the joints between the bones
# The foot from the side: a point of its upper and one of its lower outline, each a share of the way
# from the ankle's front to the toe tip (the lower one: of the heel length, where negative) and a
# share of the ankle's height; then to the sides.
FOOT = (
    ((0.02, 0.98), (-0.90, 0.74), 0.38),
    ((0.07, 0.86), (-1.00, 0.30), 0.39),
    ((0.13, 0.76), (-0.72, 0.00), 0.41),
    ((0.27, 0.60), (0.10, 0.00), 0.46),
    ((0.62, 0.40), (0.56, 0.00), 0.54),
    ((0.87, 0.33), (0.84, 0.02), 0.50),
    ((0.97, 0.27), (0.96, 0.07), 0.32),
    ((1.00, 0.16), (1.00, 0.16), 0.00),
)
# The pelvis: height above the hips; to the front, to the back, to the sides. At the last ring the
# legs part.
PELVIS = (
    (1.62, 0.00, 0.00, 0.00),
    (1.60, 0.55, 0.55, 0.85),
    (1.45, 0.85, 0.88, 1.38),
    (1.10, 0.95, 1.00, 1.56),
    (0.50, 1.02, 1.14, 1.82),
    (0.00, 0.98, 1.10, 1.92),
)
PARTING = len(PELVIS) - 1
# Below the hips: that ring's front and back, and its lowest, between the legs.
PARTING_DROP, CROTCH_DROP = 0.45, 1.10
# On the thigh's rings, what continues the midline's front and back is turned toward the other leg,
# in radians, so that the skin goes straight down where the legs part.
INWARD = (0.6, 0.35, 0.1)
# Where the pelvis's landmarks lie on a skin: how far aside, as a share of the hips' breadth, and
# how high, as one of the way from crotch to waist. Chosen by eye, no source; the ASISs are a little
# less far apart than the iliac crests, 0.77 to 0.80 of the hips' breadth (bicristal breadth by hip
# breadth, standing; ANSUR II).
LANDMARKS = {"asis": (0.73 / 2, 0.75), "psis": (0.28 / 2, 0.75), "pubis": (0.0, 0.33)}
WINGS = 1.1  # above the hips: how far the pelvis' inner bones reach
GIRTH = 4.0  # usual way around a leg: shares the detail between rings and columns
# Triangles; the edges that lead down and those that lead up through a plane; at what share.
_Cut = tuple[Ints, Bools, Bools, Floats]


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class Mesh(_format.NotebookDisplay):
    """A surface.

    Attributes
    ----------
    vertices : array_like, shape (v, 3)
        Metres.
    triangles : array_like of int, shape (t, 3)
        Each three indices of vertices.

    Raises
    ------
    ValueError
        For an index without a vertex.

    Examples
    --------
    >>> from rigkit.mesh import Mesh
    >>> Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)])
    Mesh: 3 vertices, 1 triangle, within (0.000 to 1.000, 0.000 to 1.000, 0.000) m
    """

    vertices: Floats
    triangles: Ints

    def __init__(self, vertices: ArrayLike, triangles: ArrayLike) -> None:
        object.__setattr__(self, "vertices", _check.numbers("vertices", vertices, "v", 3))
        object.__setattr__(self, "triangles", _check_triangles(triangles, len(self.vertices)))

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.count(len(self.vertices), "vertex", "vertices"),
            _format.count(len(self.triangles), "triangle"),
            _format.point(self.vertices),
        )

    def side(self, tag: str) -> Ints:
        """Return the triangles on one side of the midplane.

        Parameters
        ----------
        tag : {"L_", "R_"}
            "L_" has x ≥ 0 at every corner, "R_" x ≤ 0.

        Returns
        -------
        ndarray of int, shape (t, 3)

        Raises
        ------
        ValueError
            For another tag.
        """
        sign = {"L_": 1, "R_": -1}[_check.choice("tag", tag, ("L_", "R_"))]
        return self.triangles[(sign * self.vertices[self.triangles, 0] >= 0).all(axis=-1)]


def tube(radius: float, length: float, around: int = 32, along: int = 32) -> Mesh:
    """Return a closed tube about the y axis, its middle at the origin: one limb by itself.

    Parameters
    ----------
    radius, length : float
        Metres.
    around, along : int
        Vertices of a ring, at least 3, and bands between the rings.

    Returns
    -------
    Mesh
        The rings from the top down, each beginning at +z; then the middles of the top and the
        bottom.

    Raises
    ------
    ValueError
        For a measure not above zero, or a number of vertices or bands that cannot be.

    Examples
    --------
    >>> from rigkit import mesh
    >>> limb = mesh.tube(0.05, 0.8)
    >>> round(1000 * float(mesh.volume(limb.vertices, limb.triangles)), 2)  # litres
    6.24
    """
    radius = _check.one_positive("radius", radius)
    length = _check.one_positive("length", length)
    around, along = _check.count("around", around, least=3), _check.count("along", along)
    angles = 2 * np.pi * np.arange(around) / around
    ring = radius * np.stack([np.sin(angles), np.zeros(around), np.cos(angles)], axis=-1)
    heights = np.linspace(length / 2, -length / 2, along + 1)[:, None, None] * [0.0, 1.0, 0.0]
    numbers = np.arange((along + 1) * around).reshape(along + 1, around)
    poles = np.repeat([[numbers.size], [numbers.size + 1]], around, axis=1)
    return Mesh(
        np.concatenate([(ring + heights).reshape(-1, 3), heights[0], heights[-1]]),
        _triangles(_wrapped(np.concatenate([poles[:1], numbers, poles[1:]]))),
    )


def puppet_chain(puppet: Puppet | str) -> Floats:
    """Return the left leg's joint centres when a puppet stands straight.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    ndarray, shape (n, 3)
        From the hip to the last bone's end, metres.

    Raises
    ------
    ValueError
        If `puppet` is neither.

    Examples
    --------
    >>> from rigkit import mesh
    >>> mesh.puppet_chain("Pip").round(3).tolist()
    [[0.09, 0.58, 0.0], [0.09, 0.31, 0.0], [0.09, 0.06, 0.0]]
    """
    puppet = puppets.get(puppet)
    chain = np.zeros((len(puppet.bones) + 1, 3))
    chain[:, 0] = puppet.hip_width / 2
    chain[:, 1] = puppet.hip_height - np.cumsum([0.0, *puppet.bones])
    return chain


def puppet_mesh(puppet: Puppet | str, vertices: int = 5000, chain: ArrayLike | None = None) -> Mesh:
    """Return a puppet's skin from the waist down, one closed surface facing +Z.

    It is made of rings that all have the same number of vertices. Where the legs begin, half of a
    leg's ring lies on the pelvis and the other half, shared by both legs, runs through the crotch.
    Left and right are mirror images, vertex for vertex.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    vertices : int
        Their approximate number, at least 300.
    chain : array_like, shape (n, 3), optional
        The left leg's joint centres in the rest pose, as many as `puppet_chain` gives; left out,
        those.

    Returns
    -------
    Mesh

    Raises
    ------
    ValueError
        If `chain` does not have one point more than the puppet has bones, is not on the left
        (x > 0), or has a bone without length or along x.

    Examples
    --------
    >>> from rigkit import mesh
    >>> skin = mesh.puppet_mesh("Tamsin", 800)
    >>> mesh.open_edges(skin.triangles).tolist(), skin.side("L_").shape == skin.side("R_").shape
    ([], True)
    """
    puppet = puppets.get(puppet)
    chain = _check_chain(puppet, chain)
    wanted = _check.count("vertices", vertices, least=300)
    along = _key_rings(puppet, chain, 16)[1]
    pelvis, leg = along[PARTING], along[-1] - along[PARTING]
    # Rings in proportion to length and columns to girth make about square cells.
    columns = 2 * max(4, round(np.sqrt(wanted * GIRTH * chain[0, 0] / (pelvis + 2 * leg)) / 2))
    rows = wanted / columns - 0.5  # half a row is the crotch
    above = max(3, round(rows * pelvis / (pelvis + 2 * leg)))
    below = max(10, round((rows - above) / 2))
    return _with_mirror_image(*_left_half(puppet, chain, columns, above, below))


def pelvis_landmarks(surface: Mesh) -> dict[str, Floats]:
    """Return the points of a skin where its pelvis's landmarks are taken to lie.

    What is asked is the skin alone, a figure from the waist down that stands upright and faces +Z:
    its breadth at the hips, its crotch, its waist. No joint is. So rules that find the hips from
    landmarks, `body.hip_centres`, tell something of a puppet's hips, which they would not if the
    landmarks had been put where the rules want them. The shares of breadth and height, `LANDMARKS`,
    are chosen by eye, where such bones show on a person; no source.

    Parameters
    ----------
    surface : Mesh
        Such as `puppet_mesh` gives, its midplane x = 0.

    Returns
    -------
    dict of str to ndarray, shape (3,)
        "left_asis", "right_asis", "pubis" on the front, "left_psis", "right_psis" on the back;
        metres. ASIS and PSIS: see `body.pelvis`.

    Raises
    ------
    ValueError
        If `surface` has no vertex in the midplane, or a landmark would lie beside it.

    Examples
    --------
    >>> from rigkit import mesh
    >>> points = mesh.pelvis_landmarks(mesh.puppet_mesh("Tamsin"))
    >>> points["left_asis"].round(3).tolist()
    [0.118, 0.98, 0.041]
    """
    x, y, _ = surface.vertices.T
    middle = y[np.abs(x) < 1e-9]
    if not len(middle):
        raise ValueError("`surface` must have vertices in the midplane, x = 0; got none.")
    crotch, waist = float(middle.min()), float(y.max())
    breadth = float(np.ptp(x[y > crotch]))
    points = {}
    for name, (aside, up) in LANDMARKS.items():
        height = crotch + up * (waist - crotch)
        for tag, side in (("left_", 1), ("right_", -1)) if aside else (("", 1),):
            points[tag + name] = _on_skin(surface, side * aside * breadth, height, name != "psis")
    return points


def _on_skin(surface: Mesh, x: float, y: float, front: bool) -> Floats:
    """The foremost or hindmost point of a skin at a place seen from the front."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    ab, ac, at = (b - a)[:, :2], (c - a)[:, :2], np.array([x, y]) - a[:, :2]
    area = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    area = np.where(np.abs(area) > 1e-18, area, np.inf)  # seen edge on
    toward_b = (at[:, 0] * ac[:, 1] - at[:, 1] * ac[:, 0]) / area
    toward_c = (ab[:, 0] * at[:, 1] - ab[:, 1] * at[:, 0]) / area
    edge = 1e-9
    there = (toward_b >= -edge) & (toward_c >= -edge) & (toward_b + toward_c <= 1 + edge)
    there &= np.isfinite(area)
    if not there.any():
        raise ValueError(f"`surface` must be seen from the front at ({x:.3f}, {y:.3f}); it is not.")
    depth = (a[:, 2] + toward_b * (b - a)[:, 2] + toward_c * (c - a)[:, 2])[there]
    return np.array([x, y, depth.max() if front else depth.min()])


def inner_bones(
    puppet: Puppet | str, chain: ArrayLike | None = None
) -> tuple[Floats, Floats, Floats]:
    """Return bones that end at no joint, but that the skin of `puppet_mesh` should go with.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    chain : array_like, shape (n, 3), optional
        As for `puppet_mesh`.

    Returns
    -------
    pelvis : ndarray, shape (4, 2, 3)
        From hip to hip, up from each hip, and down the middle from the waist to the crotch.
    left_foot, right_foot : ndarray, shape (2, 2, 3)
        From the last bone's end back to the heel, and straight down to the sole.

    Raises
    ------
    ValueError
        As for `puppet_mesh`.
    """
    puppet = puppets.get(puppet)
    chain = _check_chain(puppet, chain)
    hip, ankle = chain[0], chain[-1]
    other_hip, up = mirror_points(hip), np.array([0.0, hip[0], 0.0])
    middle = (hip + other_hip) / 2
    spine = middle + WINGS * up, middle - 0.8 * CROTCH_DROP * up
    wings = (hip, hip + WINGS * up), (other_hip, other_hip + WINGS * up)
    pelvis = np.stack([(hip, other_hip), *wings, spine])
    heel = ankle - 0.7 * np.array([0.0, puppet.ankle_height, puppet.heel_length])
    sole = ankle - 0.95 * np.array([0.0, puppet.ankle_height, 0.0])
    foot = np.stack([(ankle, heel), (ankle, sole)])
    return pelvis, foot, mirror_points(foot)


def volume(vertices: ArrayLike, triangles: ArrayLike) -> Floats:
    """Return the volume a closed mesh holds: a sixth of Σ a · (b × c) over its triangles.

    That is the divergence theorem. Where a posed mesh runs through itself, what it holds twice
    counts twice; what is inside out counts as less.

    Parameters
    ----------
    vertices : array_like, shape (..., v, 3)
    triangles : array_like of int, shape (t, 3)

    Returns
    -------
    ndarray, shape (...)
        Cubic metres.

    Raises
    ------
    ValueError
        For an index without a vertex.

    Examples
    --------
    >>> from rigkit import mesh
    >>> skin = mesh.puppet_mesh("Tamsin")
    >>> round(1000 * float(mesh.volume(skin.vertices, skin.triangles)), 1)  # litres
    24.6
    """
    vertices = _check.numbers("vertices", vertices, "v", 3)
    triangles = _check_triangles(triangles, vertices.shape[-2])
    near = vertices - vertices[..., :1, :]  # far from the origin digits would be lost
    a, b, c = (near[..., triangles[:, corner], :] for corner in range(3))
    return np.sum(a * np.cross(b, c), axis=(-2, -1)) / 6


def volume_ratio(rest: ArrayLike, posed: ArrayLike, triangles: ArrayLike) -> Floats:
    """Return a pose's volume as a share of the rest pose's, both by `volume`.

    Parameters
    ----------
    rest : array_like, shape (v, 3)
    posed : array_like, shape (..., v, 3)
    triangles : array_like of int, shape (t, 3)

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        If the mesh holds nothing at rest.

    Examples
    --------
    >>> from rigkit import mesh
    >>> limb = mesh.tube(0.05, 0.8)
    >>> flat = limb.vertices * [1, 1, 0.5]
    >>> round(float(mesh.volume_ratio(limb.vertices, flat, limb.triangles)), 6)
    0.5
    """
    rest, posed = _check.numbers("rest", rest, "v", 3), _check.numbers("posed", posed, "v", 3)
    whole = volume(rest, triangles)
    if not (whole != 0).all():
        raise ValueError("`rest` must hold a volume; got 0. Give a closed mesh that is not flat.")
    return volume(posed, triangles) / whole


def slice_area(
    vertices: ArrayLike, triangles: ArrayLike, point: ArrayLike, normal: ArrayLike
) -> Floats:
    """Return the area of a mesh's cross-section with a plane, exact for its triangles.

    Each triangle that crosses the plane adds its piece of the section's outline, and the outline
    gives the area (Green's theorem). Give only the triangles of the part you mean, such as
    `mesh.side("L_")`.

    Parameters
    ----------
    vertices : array_like, shape (..., v, 3)
    triangles : array_like of int, shape (t, 3)
    point, normal : array_like, shape (..., 3)
        A point of the plane and a direction square to it.

    Returns
    -------
    ndarray, shape (...)
        Square metres; zero where the plane misses the mesh.

    Raises
    ------
    ValueError
        If the outline is not closed: the plane meets the border of the triangles given.

    Examples
    --------
    >>> from rigkit import mesh
    >>> skin = mesh.puppet_mesh("Tamsin")
    >>> knee = mesh.puppet_chain("Tamsin")[1]
    >>> area = mesh.slice_area(skin.vertices, skin.side("L_"), knee, (0, 1, 0))
    >>> round(1e4 * float(area), 1)  # square centimetres
    80.9
    """
    vertices = _check.numbers("vertices", vertices, "v", 3)
    point, normal = _check.numbers("point", point, 3), _check.directions("normal", normal)
    _check.batch(vertices=vertices.shape[:-2], point=point.shape[:-1], normal=normal.shape[:-1])
    vertices = vertices - point[..., None, :]
    first, last = _outline(vertices, *_closed_cut(vertices, triangles, normal))
    return np.sum(np.cross(first, last) * normal[..., None, :], axis=(-2, -1)) / 2


@dataclass(frozen=True, eq=False)
class Section(_format.NotebookDisplay):
    """The outline in which a plane cuts a limb.

    Attributes
    ----------
    outline : ndarray, shape (k, 3)
        Its corners in order, anticlockwise seen from where the plane's normal points [m].
    middle : ndarray, shape (3,)
        The centroid of the area within; of an open outline, closed by a straight line [m].
    radius : float
        The outline's mean distance from the middle [m].
    closed : bool
        True if the last corner joins the first.
    """

    outline: Floats
    middle: Floats
    radius: float
    closed: bool

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.count(len(self.outline), "corner"),
            "closed" if self.closed else "open",
            f"middle {_format.point(self.middle)}",
            f"radius {_format.length(self.radius)}",
        )


def section(
    vertices: ArrayLike, triangles: ArrayLike, point: ArrayLike, normal: ArrayLike
) -> Section:
    """Return the outline in which a plane cuts a mesh, the one nearest to a point, and its middle.

    A plane across both legs cuts two outlines: that of the leg the point lies in counts. A joint
    stands in the middle of its limb where the point is the middle.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        One pose: in another the plane cuts other triangles.
    triangles : array_like of int, shape (t, 3)
        The mesh, or a part of it. One that is not closed may give an open outline.
    point, normal : array_like, shape (3,)
        A point of the plane and a direction square to it.

    Returns
    -------
    Section

    Raises
    ------
    ValueError
        If the plane misses the mesh.

    Examples
    --------
    >>> from rigkit import mesh
    >>> skin = mesh.puppet_mesh("Tamsin")
    >>> knee = mesh.puppet_chain("Tamsin")[1]
    >>> mesh.section(skin.vertices, skin.triangles, knee, (0, 1, 0))
    Section: 52 corners, closed, middle (0.085, 0.484, 0.003) m, radius 0.051 m
    """
    vertices = _check.numbers("vertices", vertices, "v", 3)
    if vertices.ndim != 2:
        raise ValueError(f"`vertices` must be one pose, shape (v, 3); got shape {vertices.shape}.")
    point, normal = _check_plane(point, normal)
    cut = _cut(vertices - point, triangles, normal)
    if not len(cut[0]):
        raise _missed(point, normal)
    corners, links = _crossed_edges(vertices, cut)
    nearest = int(np.linalg.norm(corners - point, axis=-1).argmin())
    order, closed = _walk(links, nearest)
    return _section(corners[order], normal, closed)


def section_ratio(
    rest: ArrayLike, posed: ArrayLike, triangles: ArrayLike, point: ArrayLike, normal: ArrayLike
) -> Floats:
    """Return how much of a limb's cross-section a pose leaves, as a share.

    The outline cut at rest is carried along with the skin. At the knee, cut at rest through its
    centre and square to the leg, equal weights keep cos(θ/2) of it in a linear blend: the bend
    squeezes it front to back, not side to side. Unlike a fresh cut through the posed mesh this is
    not disturbed where thigh and calf run into each other.

    Parameters
    ----------
    rest : array_like, shape (v, 3)
    posed : array_like, shape (..., v, 3)
    triangles : array_like of int, shape (t, 3)
    point, normal : array_like, shape (3,)
        The plane of the cut, at rest.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        If the plane misses the mesh, or meets the border of the triangles given.

    Examples
    --------
    >>> from rigkit import mesh
    >>> limb = mesh.tube(0.05, 0.8)
    >>> flat = limb.vertices * [1, 1, 0.25]
    >>> cut = limb.triangles, (0, 0.1, 0), (0, 1, 0)
    >>> round(float(mesh.section_ratio(limb.vertices, flat, *cut)), 6)
    0.25
    """
    rest, posed, cut = _carried_cut(rest, posed, triangles, point, normal)
    return _outline_area(posed, cut) / _outline_area(rest, cut)


def carried_section(
    rest: ArrayLike, posed: ArrayLike, triangles: ArrayLike, point: ArrayLike, normal: ArrayLike
) -> Floats:
    """Return the outline that a plane cuts from a mesh at rest, carried along with the skin.

    It is the one `section_ratio` measures.

    Parameters
    ----------
    rest, posed, triangles, point, normal
        As for `section_ratio`; `rest` given for `posed` too shows the outline where it was cut.

    Returns
    -------
    ndarray, shape (..., k, 2, 3)
        Its k pieces, one a triangle, each from where it begins to where it ends; in no order, the
        same in every pose.

    Raises
    ------
    ValueError
        As `section_ratio`.
    """
    _, posed, cut = _carried_cut(rest, posed, triangles, point, normal)
    return np.stack(_outline(posed, *cut), axis=-2)


def stretch(rest: ArrayLike, posed: ArrayLike, triangles: ArrayLike) -> Floats:
    """Return each edge's posed length as a share of its length at rest.

    Parameters
    ----------
    rest : array_like, shape (v, 3)
    posed : array_like, shape (..., v, 3)
    triangles : array_like of int, shape (t, 3)

    Returns
    -------
    ndarray, shape (..., t, 3)
        For each triangle the edges from its first corner to its second, and so on round.

    Raises
    ------
    ValueError
        If an edge has no length at rest.

    Examples
    --------
    >>> from rigkit import mesh
    >>> triangle = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
    >>> mesh.stretch(triangle, [(0, 0, 0), (2, 0, 0), (0, 1, 0)], [(0, 1, 2)]).round(3).tolist()
    [[2.0, 1.581, 1.0]]
    """
    rest, posed = _check_two_poses(rest, posed)
    triangles = _check_triangles(triangles, len(rest))
    before, after = (
        np.linalg.norm(np.diff(vertices[..., triangles[:, [0, 1, 2, 0]], :], axis=-2), axis=-1)
        for vertices in (rest, posed)
    )
    if not (before > 0).all():
        raise ValueError(
            "`rest` must have edges with a length; got one of 0 m. Take out triangles without an"
            " area."
        )
    return after / before


def open_edges(triangles: ArrayLike) -> Ints:
    """Return the edges that keep a mesh from being closed and of one orientation.

    In a closed mesh every edge is used twice, once in each direction. Listed is each directed edge
    that is used more than once or has no opposite: boundary or inconsistent.

    Parameters
    ----------
    triangles : array_like of int, shape (t, 3)

    Returns
    -------
    ndarray of int, shape (e, 2)
        None if the mesh is closed.

    Raises
    ------
    ValueError
        If `triangles` are not vertex numbers from 0.

    Examples
    --------
    >>> from rigkit import mesh
    >>> mesh.open_edges([(0, 1, 2), (0, 2, 3)]).tolist()
    [[0, 1], [1, 2], [2, 3], [3, 0]]
    """
    triangles = _check_triangles(triangles)
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    size = triangles.max() + 1
    codes, uses = np.unique(edges[:, 0] * size + edges[:, 1], return_counts=True)
    opposite = (codes % size) * size + codes // size
    loose = codes[(uses > 1) | ~np.isin(opposite, codes)]
    return np.stack([loose // size, loose % size], axis=-1)


def neighbours(triangles: ArrayLike, vertices: int | None = None) -> tuple[Ints, Ints]:
    """Return each vertex's neighbours: those at the other ends of its edges.

    As the two arrays of a sparse matrix by rows (CSR; scipy's `csr_array` calls them so): the
    neighbours of vertex i are `indices[indptr[i] : indptr[i + 1]]`, in ascending order.

    Parameters
    ----------
    triangles : array_like of int, shape (t, 3)
    vertices : int, optional
        Their number, where the last ones are in no triangle; left out, as many as triangles use.

    Returns
    -------
    indptr : ndarray of int, shape (v + 1,)
    indices : ndarray of int, shape (n,)

    Raises
    ------
    ValueError
        If `triangles` are not vertex numbers from 0, below `vertices`.

    Examples
    --------
    >>> from rigkit import mesh
    >>> indptr, indices = mesh.neighbours([(0, 1, 2), (0, 2, 3)])
    >>> indices[indptr[1] : indptr[2]].tolist(), indices[indptr[2] : indptr[3]].tolist()
    ([0, 2], [0, 1, 3])
    """
    count = None if vertices is None else _check.count("vertices", vertices)
    triangles = _check_triangles(triangles, count)
    size = int(triangles.max()) + 1 if count is None else count
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)]).reshape(2, -1)
    edges = edges[:, edges[0] != edges[1]]  # a triangle may have come down to an edge
    codes = np.unique(np.concatenate([edges, edges[::-1]], axis=1).T @ [size, 1])
    indptr = np.searchsorted(codes, size * np.arange(size + 1))
    return indptr, codes % size


def mirror_index(vertices: ArrayLike, tolerance: float = 1e-5, whole: bool = True) -> Ints:
    """Return each vertex's partner: the vertex at its mirror image across the plane x = 0.

    Partners are each other's, and a vertex in the plane is its own, so `index[index]` counts
    0, 1, 2 …; what belongs to vertices is mirrored by it, such as weights.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        Of one pose.
    tolerance : float
        How far along each axis a partner may be from the mirror image [m]; at most half as far as
        vertices are apart.
    whole : bool
        True to refuse a mesh where a vertex has no partner; False to answer −1 for that vertex.

    Returns
    -------
    ndarray of int, shape (v,)

    Raises
    ------
    ValueError
        If a vertex has no partner, or shares one with another.

    Examples
    --------
    >>> from rigkit import mesh
    >>> mesh.mirror_index([(0.1, 0, 0), (0, 1, 0), (-0.1, 0, 0)]).tolist()
    [2, 1, 0]
    """
    vertices = _check.numbers("vertices", vertices, "v", 3)
    if vertices.ndim != 2:
        raise ValueError(f"`vertices` must be one pose, shape (v, 3); got shape {vertices.shape}.")
    tolerance = _check.one_positive("tolerance", tolerance)
    partner = _mirrored(vertices, tolerance)
    if not whole:
        return partner
    need = f"`vertices` must be mirror images across x = 0 within {1000 * tolerance:g} mm"
    alone, own = np.flatnonzero(partner < 0), np.arange(len(vertices))
    if len(alone):
        place = ", ".join(f"{number:.4f}" for number in vertices[alone[0]])
        raise ValueError(
            f"{need}; got {len(alone)} of {len(vertices)} without a partner, the first at index"
            f" {alone[0]}, ({place}). Move them, or give a wider `tolerance`."
        )
    shared = np.flatnonzero(partner[partner] != own)
    if len(shared):
        raise ValueError(
            f"{need}, one partner each; got {len(shared)} of {len(vertices)} that share one, the"
            f" first at index {shared[0]}. Join vertices in one place, or give a smaller"
            " `tolerance`."
        )
    return partner


def _mirrored(points: Floats, tolerance: float) -> Ints:
    """The point at each one's mirrored place, −1 where there is none."""
    image = mirror_points(points)
    partner = np.full(len(points), -1)
    for size in (0.02 * tolerance, tolerance):  # the very place comes before one beside it
        # In one of eight grids two points that are nearer than half a cell share a cell.
        for shift in product((0.0, 0.5), repeat=3):
            left = np.flatnonzero(partner < 0)
            if not len(left):
                return partner
            here, there = (_cells(each, 2 * size, shift) for each in (points, image[left]))
            order = here.argsort(kind="stable")
            place = order[np.searchsorted(here, there, sorter=order).clip(0, len(here) - 1)]
            near = (np.abs(points[place] - image[left]) <= size).all(axis=-1)
            partner[left[near]] = place[near]
    return partner


def _cells(points: Floats, size: float, shift: tuple[float, ...]) -> Ints:
    """One number for the cell of a grid that each point lies in."""
    x, y, z = np.floor(points / size + shift).astype(np.int64).T
    cells: Ints = (x * 73856093) ^ (y * 19349663) ^ (z * 83492791)
    return cells


def _check_two_poses(rest: ArrayLike, posed: ArrayLike) -> tuple[Floats, Floats]:
    rest, posed = _check.numbers("rest", rest, "v", 3), _check.numbers("posed", posed, "v", 3)
    if rest.ndim != 2 or posed.shape[-2] != len(rest):
        raise ValueError(
            "`rest` must be one pose of the vertices of `posed`; got shapes "
            f"{rest.shape} and {posed.shape}."
        )
    return rest, posed


def _carried_cut(
    rest: ArrayLike, posed: ArrayLike, triangles: ArrayLike, point: ArrayLike, normal: ArrayLike
) -> tuple[Floats, Floats, _Cut]:
    """Both poses, checked, and the cut of a plane through the first."""
    rest, posed = _check_two_poses(rest, posed)
    point, normal = _check_plane(point, normal)
    cut = _closed_cut(rest - point, triangles, normal)
    if not len(cut[0]):
        raise _missed(point, normal)
    return rest, posed, cut


def _check_plane(point: ArrayLike, normal: ArrayLike) -> tuple[Floats, Floats]:
    point, normal = _check.numbers("point", point, 3), _check.directions("normal", normal)
    if point.ndim != 1 or normal.ndim != 1:
        raise ValueError(
            f"`point` and `normal` must be one plane; got shapes {point.shape} and {normal.shape}."
        )
    return point, normal


def _missed(point: Floats, normal: Floats) -> ValueError:
    return ValueError(
        f"`point` and `normal` must be a plane that cuts the mesh; got {point.tolist()} "
        f"and {normal.tolist()}."
    )


def _cut(vertices: Floats, triangles: ArrayLike, normal: Floats) -> _Cut:
    """The cut of a plane through the origin: triangles, edges down and up through it, shares."""
    corners = _check_triangles(triangles, vertices.shape[-2])
    height = np.sum(vertices * normal[..., None, :], axis=-1)
    above = height[..., corners] >= 0
    crossing = above.any(axis=-1) & ~above.all(axis=-1)
    corners = corners[crossing.reshape(-1, len(corners)).any(axis=0)]
    start = height[..., corners]
    end = np.roll(start, -1, axis=-1)
    down, up = (start >= 0) & (end < 0), (start < 0) & (end >= 0)
    return corners, down, up, start / np.where(down | up, start - end, 1.0)


def _closed_cut(vertices: Floats, triangles: ArrayLike, normal: Floats) -> _Cut:
    """The same of triangles that must be closed where they are cut."""
    cut = _cut(vertices, triangles, normal)
    first, last = _outline(vertices, *cut)
    gap = np.linalg.norm(np.sum(last - first, axis=-2), axis=-1)
    if not (gap <= 1e-9 * (1 + np.abs(vertices).max())).all():
        raise ValueError(
            "`triangles` must be closed where the plane meets them; got an outline open by "
            f"{gap.max():g} m. Give all triangles of the part, or move the plane."
        )
    return cut


def _outline(
    vertices: Floats, triangles: Ints, down: Bools, up: Bools, share: Floats
) -> tuple[Floats, Floats]:
    """The pieces of a cut's outline, one a triangle, from its edge down to its edge up."""
    start = vertices[..., triangles, :]
    meets = start + share[..., None] * (np.roll(start, -1, axis=-2) - start)
    return np.sum(meets * down[..., None], axis=-2), np.sum(meets * up[..., None], axis=-2)


def _outline_area(vertices: Floats, cut: _Cut) -> Floats:
    """The area of an outline that need not be flat any more: half the length of Σ p × q."""
    first, last = _outline(vertices - vertices[..., cut[0][0, :1], :], *cut)
    return np.linalg.norm(np.sum(np.cross(first, last), axis=-2), axis=-1) / 2


def _crossed_edges(vertices: Floats, cut: _Cut) -> tuple[Floats, Ints]:
    """The place where each edge is cut, (e, 3), and the two edges that each triangle links."""
    triangles, down, up, _ = cut
    ends = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=-1)], axis=-1), axis=-1)
    edges = np.concatenate([ends[down], ends[up]])
    codes = edges @ [len(vertices), 1]
    _, first, links = np.unique(codes, return_index=True, return_inverse=True)
    return np.concatenate(_outline(vertices, *cut))[first], links.reshape(2, -1).T


def _walk(links: Ints, start: int) -> tuple[list[int], bool]:
    """The way along links through `start`, from end to end or all around, and if it closes."""
    beside = defaultdict(list)
    for a, b in links.tolist():
        beside[a].append(b)
        beside[b].append(a)
    way, seen = [start], {start}
    for _ in range(2):  # to one end, then from the start to the other
        while ahead := [edge for edge in beside[way[-1]] if edge not in seen]:
            way.append(ahead[0])
            seen.add(ahead[0])
        way.reverse()
    return way, len(way) > 2 and way[0] in beside[way[-1]]


def _section(outline: Floats, normal: Floats, closed: bool) -> Section:
    """An outline with its middle, by the areas of triangles, and its radius, by Simpson's rule."""
    about = outline.mean(axis=0)
    here, there = outline - about, np.roll(outline, -1, axis=0) - about
    areas = np.cross(here, there) @ normal / 2
    lengths = np.linalg.norm(there - here, axis=-1)
    flat = abs(areas.sum()) <= 1e-12 * lengths.sum() ** 2
    middle = np.zeros(3) if flat else areas @ (here + there) / (3 * areas.sum())
    lengths[-1] *= closed
    start, half, end = (
        np.linalg.norm(each - middle, axis=-1) for each in (here, (here + there) / 2, there)
    )
    radius = (start + 4 * half + end) @ lengths / (6 * lengths.sum()) if lengths.any() else 0.0
    way = -1 if areas.sum() < 0 else 1
    return Section(outline[::way], about + middle, float(radius), closed)


def _key_rings(
    puppet: Puppet, chain: Floats, columns: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Rings of the left half to draw a smooth skin through: points, places along, both slopes.

    From the waist to the toe tip. Each begins at the front and goes round by the outside; the
    inside of the pelvis' rings is the right half's and not used.
    """
    angles = 2 * np.pi * np.arange(columns) / columns
    ahead, out = np.cos(angles), np.sin(angles)
    out[columns // 2] = 0.0  # the midline, exactly
    rings = np.concatenate([_pelvis_rings(chain[0], ahead, out), _leg_rings(puppet, chain, angles)])
    steps = np.linalg.norm(np.diff(rings[:, out >= 0], axis=0), axis=-1).mean(axis=-1)
    before = _slopes(rings, steps)
    after = before.copy()
    after[PARTING] = _slope_at_parting(
        before[PARTING], (rings[PARTING + 1] - rings[PARTING]) / steps[PARTING], ahead, out
    )
    return rings, np.cumsum([0.0, *steps]), before, after


def _pelvis_rings(hip: Floats, ahead: Floats, out: Floats) -> Floats:
    rings = np.empty((len(PELVIS), len(ahead), 3))
    for ring, (height, front, back, side) in zip(rings, PELVIS, strict=True):
        ring[:] = np.stack(
            [side * out, height + 0 * out, (front - back + (front + back) * ahead) / 2], axis=-1
        )
    # The last one leaves the pelvis: its outside is low in front and behind, its inside goes down
    # the midplane.
    inside = out < 0
    rings[-1, :, 1] -= np.where(
        inside, PARTING_DROP - (CROTCH_DROP - PARTING_DROP) * out, PARTING_DROP * ahead**2
    )
    rings[-1, inside, 0] = 0.0
    return hip[0] * rings + hip * [0.0, 1.0, 1.0]


def _leg_rings(puppet: Puppet, chain: Floats, angles: Floats) -> Floats:
    front, back, sides = _leg_outline(puppet, chain)
    inward = np.zeros((len(sides), 1))
    inward[: len(INWARD), 0] = INWARD
    angles = angles - inward * np.cos(angles)
    rings = ((front + back)[:, None] + (front - back)[:, None] * np.cos(angles)[..., None]) / 2
    rings[..., 0] += sides[:, None] * np.sin(angles)
    return rings


def _slope_at_parting(pelvis: Floats, straight: Floats, ahead: Floats, out: Floats) -> Floats:
    """The slopes of the leg's columns at the ring where the legs part, so that it is smooth there.

    `pelvis` is how the pelvis' columns arrive, `straight` the way straight to the next ring.
    Outside, the leg goes on as the pelvis arrives, but spreads along the skin toward front and
    back. Inside, it leaves square to the midplane, and toward front and back more and more along it
    too, as its outside neighbours do.
    """
    outside = pelvis + (straight - pelvis) * np.stack([ahead**2, 0 * out, 0 * out], axis=-1)
    fall = np.where(ahead > 0, pelvis[0, 1], pelvis[len(out) // 2, 1])
    _, front, back, _ = PELVIS[PARTING]
    aslant = (front + back) / 2 / (CROTCH_DROP - PARTING_DROP)
    inside = np.stack([straight[:, 0], fall * ahead**4, -fall * ahead**3 * out * aslant], axis=-1)
    return np.where(out[:, None] < 0, inside, outside)


def _leg_outline(puppet: Puppet, chain: Floats) -> tuple[Floats, Floats, Floats]:
    """The front and the back point of each ring, shapes (k, 3), and its half width, shape (k,)."""
    unit = chain[0, 0]
    bones = np.diff(chain, axis=0)
    forward = _check.directions(
        "chain", np.cross(bones, [1.0, 0.0, 0.0]), hint="No bone may lie along x."
    )
    centres, normals = [], []
    skin: list[tuple[float, ...]] = []
    for i, bone in enumerate(bones):
        start = CROTCH_DROP * unit / np.linalg.norm(bone) if i == 0 else 0.0
        for share, *stands_off in BONES[i]:
            centres.append(chain[i] + (start + share * (1 - start)) * bone)
            skin.append(tuple(stands_off))
            normals.append(forward[i])
        if i + 1 < len(bones):
            centres.append(chain[i + 1])
            skin.append(JOINTS[i])
            normals.append(_check.directions("chain", forward[i] + forward[i + 1]))
    at, ahead, (front, back, sides) = np.stack(centres), np.stack(normals), unit * np.array(skin).T
    upper, lower, foot_sides = _foot_outline(puppet, chain[-1], float(front[-1]))
    return (
        np.concatenate([at + ahead * front[:, None], upper]),
        np.concatenate([at - ahead * back[:, None], lower]),
        np.concatenate([sides, unit * foot_sides]),
    )


def _foot_outline(puppet: Puppet, ankle: Floats, instep: float) -> tuple[Floats, Floats, Floats]:
    """As `_leg_outline`, for the foot; its upper outline begins `instep` before the ankle."""
    upper, lower = np.array([row[0] for row in FOOT]), np.array([row[1] for row in FOOT])
    toe = puppet.foot_length - puppet.heel_length
    ahead = np.stack(
        [
            instep + upper[:, 0] * (toe - instep),
            lower[:, 0] * np.where(lower[:, 0] < 0, puppet.heel_length, toe),
        ]
    )
    height = puppet.ankle_height * (np.stack([upper[:, 1], lower[:, 1]]) - 1)
    return *(ankle + np.stack([np.zeros_like(ahead), height, ahead], axis=-1)), np.array(
        [row[2] for row in FOOT]
    )


def _left_half(
    puppet: Puppet, chain: Floats, columns: int, above: int, below: int
) -> tuple[Floats, Ints]:
    """The skin of the left half, open at the midplane, with rows above and below the parting."""
    rings, along, before, after = _key_rings(puppet, chain, columns)
    rows = np.concatenate(
        [
            np.linspace(0, along[PARTING], above + 1),
            np.linspace(along[PARTING], along[-1], below + 1)[1:],
        ]
    )
    vertices = _smooth_through(rings, along, before, after, rows)
    numbers = np.arange(vertices.size // 3).reshape(-1, columns)
    numbers[[0, -1]] = numbers[[0, -1], :1]  # the waist and the toe tip are single vertices
    triangles = np.concatenate(
        [
            _triangles(numbers[: above + 1, : columns // 2 + 1]),
            _triangles(_wrapped(numbers[above:])),
        ]
    )
    used, triangles = np.unique(triangles, return_inverse=True)
    return vertices.reshape(-1, 3)[used], triangles.reshape(-1, 3)


def _with_mirror_image(vertices: Floats, triangles: Ints) -> Mesh:
    """A left half and its mirror image, joined at the midplane."""
    ours = vertices[:, 0] != 0
    image = np.arange(len(vertices))
    image[ours] = len(vertices) + np.arange(ours.sum())
    return Mesh(
        np.concatenate([vertices, mirror_points(vertices[ours])]),
        np.concatenate([triangles, image[triangles][:, ::-1]]),
    )


def _slopes(keys: Floats, steps: Floats) -> Floats:
    """Slopes for a smooth curve through `keys` (k, ...) that never goes beyond them.

    F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5:300–304, 1984, doi:10.1137/0905021,
    as scipy's PchipInterpolator has it; the ends here take the slope to their neighbour.
    """
    steps = steps.reshape(-1, *[1] * (keys.ndim - 1))
    straight = np.diff(keys, axis=0) / steps
    before, after = straight[:-1], straight[1:]
    near, far = steps[:-1] + 2 * steps[1:], 2 * steps[:-1] + steps[1:]
    turns_back = before * after <= 0
    mean = (near + far) * before * after / np.where(turns_back, 1.0, near * after + far * before)
    return np.concatenate([straight[:1], np.where(turns_back, 0.0, mean), straight[-1:]])


def _smooth_through(
    keys: Floats, along: Floats, before: Floats, after: Floats, wanted: Floats
) -> Floats:
    """Points at `wanted` (n,) along the cubic curves through `keys` with these slopes."""
    i = np.clip(np.searchsorted(along, wanted, side="right") - 1, 0, len(along) - 2)
    step = (along[i + 1] - along[i]).reshape(-1, *[1] * (keys.ndim - 1))
    t = (wanted - along[i]).reshape(step.shape) / step
    bend = (after[i] * (1 - t) - before[i + 1] * t) * step + (keys[i + 1] - keys[i]) * (2 * t - 1)
    return keys[i] * (1 - t) + keys[i + 1] * t + t * (1 - t) * bend


def _triangles(numbers: Ints) -> Ints:
    """Two triangles to each cell of a grid of numbers; rows run down, columns anticlockwise."""
    a, b, c, d = numbers[:-1, :-1], numbers[1:, :-1], numbers[1:, 1:], numbers[:-1, 1:]
    triangles = np.stack(
        [np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)], axis=-2
    ).reshape(-1, 3)
    flat = (triangles == np.roll(triangles, 1, axis=1)).any(axis=1)  # at the poles
    return triangles[~flat]


def _wrapped(numbers: Ints) -> Ints:
    return np.concatenate([numbers, numbers[:, :1]], axis=1)


def _check_triangles(triangles: ArrayLike, vertices: int | None = None) -> Ints:
    array = _check.numbers("triangles", triangles, "t", 3)
    whole = array.astype(np.int64)
    most = np.inf if vertices is None else vertices
    if array.ndim != 2 or not ((whole == array) & (whole >= 0) & (whole < most)).all():
        raise ValueError(
            "`triangles` must be vertex numbers from 0, shape (t, 3); "
            f"got shape {array.shape}, numbers from {array.min():g} to {array.max():g}"
            + (f" for {vertices} vertices." if vertices else ".")
        )
    return whole


def _check_chain(puppet: Puppet, chain: ArrayLike | None) -> Floats:
    straight = puppet_chain(puppet)
    if chain is None:
        return straight
    chain = _check.numbers("chain", chain, "n", 3)
    if chain.shape != straight.shape or not (chain[:, 0] > 0).all():
        raise ValueError(
            f"`chain` must be the left leg's {len(straight)} joint centres, x above zero; "
            f"got shape {chain.shape}: {chain.tolist()}."
        )
    return chain
