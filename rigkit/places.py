"""Places on a surface: where it is nearest to a point, and where its other side's mirror image is.

A mesh whose two sides are no exact mirror images has no vertex at a vertex's mirrored place, so
`mesh.mirror_index` finds no partner. A place between three vertices does instead: what belongs to
vertices, such as weights, is read there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format
from rigkit._types import ArrayLike, Floats, Ints
from rigkit.frames import mirror_points
from rigkit.mesh import Mesh

__all__ = ["Places", "nearest_places", "mirrored_places"]

BLOCK = 256  # points at a time
SLAB = 2.0  # the longest triangles' extent: how far above and below a block triangles are tried


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class Places(_format.NotebookDisplay):
    """Places on the triangles of a mesh.

    Attributes
    ----------
    corners : ndarray of int, shape (..., 3)
        The vertices that each place lies between.
    shares : ndarray, shape (..., 3)
        What each of them counts there, from 0 to 1; a row adds up to one.
    distance : ndarray, shape (...)
        From the point that was asked for to its place [m].
    """

    corners: Ints
    shares: Floats
    distance: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.count(self.distance.size, "place"),
            f"at most {_format.small(self.distance.max())} away",
        )

    def read(self, table: ArrayLike) -> Floats:
        """Return what a table of numbers of the mesh's vertices has at each place.

        Parameters
        ----------
        table : array_like, shape (v, k)
            Such as vertices, k = 3, or weights.

        Returns
        -------
        ndarray, shape (..., k)
            The corners' rows, mixed by their shares.

        Raises
        ------
        ValueError
            If a corner has no row.

        Examples
        --------
        >>> from rigkit import places
        >>> triangle = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
        >>> found = places.nearest_places((0.25, 0.5, 2), triangle, [(0, 1, 2)])
        >>> found.read([[0.0], [4.0], [8.0]]).tolist()
        [5.0]
        """
        table = _check.numbers("table", table, "v", "k")
        if table.ndim != 2 or len(table) <= self.corners.max():
            raise ValueError(
                f"`table` must have a row for each vertex up to {self.corners.max()}; got shape"
                f" {table.shape}."
            )
        return np.einsum("...c,...ck->...k", self.shares, table[self.corners])


def nearest_places(points: ArrayLike, vertices: ArrayLike, triangles: ArrayLike) -> Places:
    """Return the place on a mesh that is nearest to each point.

    A triangle counts only if the ball around it comes nearer than the nearest middle of any; of
    those, the nearest point is that of its plane where it lies within, else that of an edge
    (derived).

    Parameters
    ----------
    points : array_like, shape (..., 3)
    vertices : array_like, shape (v, 3)
        Of one pose.
    triangles : array_like of int, shape (t, 3)

    Returns
    -------
    Places

    Raises
    ------
    ValueError
        For an index without a vertex, or vertices of more than one pose.

    Examples
    --------
    >>> from rigkit import places
    >>> triangle = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
    >>> found = places.nearest_places([(2, 0, 0), (0.5, 0.25, 3)], triangle, [(0, 1, 2)])
    >>> found.distance.tolist(), found.shares.tolist()
    ([1.0, 3.0], [[0.0, 1.0, 0.0], [0.25, 0.5, 0.25]])
    """
    points = _check.numbers("points", points, 3)
    vertices = _check.numbers("vertices", vertices, "v", 3)
    if vertices.ndim != 2:
        raise ValueError(f"`vertices` must be one pose, (v, 3); got shape {vertices.shape}.")
    surface, flat, shape = Mesh(vertices, triangles), points.reshape(-1, 3), points.shape[:-1]
    long = int(np.ptp(surface.vertices, axis=0).argmax())  # along this axis blocks are thin
    order = flat[:, long].argsort(kind="stable")
    corners, shares = np.empty((len(flat), 3), np.int64), np.empty((len(flat), 3))
    distance = np.empty(len(flat))
    for start in range(0, len(flat), BLOCK):
        block = order[start : start + BLOCK]
        corners[block], shares[block], distance[block] = _nearest_of_slab(
            flat[block], surface, long
        )
    return Places(corners.reshape(*shape, 3), shares.reshape(*shape, 3), distance.reshape(shape))


def mirrored_places(surface: Mesh) -> Places:
    """Return, for each vertex, the place on the other side that is nearest to its mirror image.

    The mirror is the plane x = 0. A vertex on the left is looked for on the right half alone, so
    that two legs that stand close together are not mistaken for each other; a vertex in the plane
    is its own place. How far the places are from the mirror images, `Places.distance`, tells how
    unlike the two sides are: of a mesh that is an exact mirror image it is nothing, and the places
    are the vertices of `mesh.mirror_index`.

    Parameters
    ----------
    surface : Mesh
        Whose triangles end at the plane, as those of `mesh.puppet_mesh` do.

    Returns
    -------
    Places
        One for each vertex.

    Raises
    ------
    ValueError
        If `surface` is no Mesh, or one side has vertices and the other no triangles.

    Examples
    --------
    >>> from rigkit import mesh, places
    >>> found = places.mirrored_places(mesh.puppet_mesh("Pip", 400))
    >>> bool(found.distance.max() < 1e-9)
    True
    """
    if not isinstance(surface, Mesh):
        raise ValueError(f"`surface` must be a Mesh; got {_check.short(surface)}.")
    x = surface.vertices[:, 0]
    corners = np.repeat(np.arange(len(x))[:, None], 3, axis=1)
    shares, distance = np.tile([1.0, 0.0, 0.0], (len(x), 1)), np.zeros(len(x))
    for mine, other in ((x > 0, "R_"), (x < 0, "L_")):
        triangles = surface.side(other)
        if not mine.any():
            continue
        if not len(triangles):
            raise ValueError(f"`surface` must have triangles on both sides; got none on {other}.")
        found = nearest_places(mirror_points(surface.vertices[mine]), surface.vertices, triangles)
        corners[mine], shares[mine], distance[mine] = found.corners, found.shares, found.distance
    return Places(corners, shares, distance)


def _nearest_of_slab(points: Floats, surface: Mesh, axis: int) -> tuple[Ints, Floats, Floats]:
    """Corners, shares and distance of the nearest places to a block of points, (n, 3).

    Triangles that are farther off along one axis than what was found cannot be nearer.
    """
    ends = surface.vertices[surface.triangles, axis]
    low, high = ends.min(axis=1), ends.max(axis=1)
    margin = SLAB * float((high - low).max())
    near = (high >= points[:, axis].min() - margin) & (low <= points[:, axis].max() + margin)
    if not near.any():
        return _nearest(points, surface, surface.triangles)
    found = _nearest(points, surface, surface.triangles[near])
    far = found[2] > margin
    if far.any():
        for part, again in zip(
            found, _nearest(points[far], surface, surface.triangles), strict=True
        ):
            part[far] = again
    return found


def _nearest(points: Floats, surface: Mesh, triangles: Ints) -> tuple[Ints, Floats, Floats]:
    """The same among some triangles."""
    corners = surface.vertices[triangles]
    middles = corners.mean(axis=1)
    radii = np.linalg.norm(corners - middles[:, None], axis=-1).max(axis=-1)
    squares = np.sum(points**2, axis=-1)[:, None] + np.sum(middles**2, axis=-1)
    away = np.sqrt(np.maximum(squares - 2 * points @ middles.T, 0.0))
    rounding = 1e-7 * (1 + np.sqrt(squares.max()))  # of the difference of squares
    which, triangle = np.nonzero(away - radii <= away.min(axis=1, keepdims=True) + rounding)
    shares, distance = _in_triangles(points[which], corners[triangle])
    order = np.lexsort((triangle, distance, which))
    best = order[np.searchsorted(which[order], np.arange(len(points)))]
    return triangles[triangle[best]], shares[best], distance[best]


def _in_triangles(points: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """The nearest place of each triangle, (n, 3, 3), to its point: shares (n, 3), and distance."""
    ways = [_on_edge(points, corners, i) for i in range(3)]
    inside = _in_plane(points, corners)
    shares = np.stack([*ways, inside], axis=1)  # (n, 4, 3)
    places = np.einsum("nwc,ncx->nwx", shares, corners)
    away = np.linalg.norm(places - points[:, None], axis=-1)
    away[:, 3] = np.where((inside >= 0).all(axis=-1), away[:, 3], np.inf)
    best = away.argmin(axis=1)
    rows = np.arange(len(points))
    return shares[rows, best], away[rows, best]


def _on_edge(points: Floats, corners: Floats, i: int) -> Floats:
    """Shares of the point of an edge, from corner i to the next, that is nearest to each point."""
    j, start = (i + 1) % 3, corners[:, i]
    edge = corners[:, j] - start
    square = np.einsum("nx,nx->n", edge, edge)
    share = np.einsum("nx,nx->n", points - start, edge) / np.where(square > 0, square, 1.0)
    shares = np.zeros((len(points), 3))
    shares[:, j] = np.clip(share, 0.0, 1.0)
    shares[:, i] = 1 - shares[:, j]
    return shares


def _in_plane(points: Floats, corners: Floats) -> Floats:
    """Shares of the point of a triangle's plane below each point; −1 where it has no area."""
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    square = np.einsum("nx,nx->n", normal, normal)
    whole = np.where(square > 0, square, 1.0)
    second = np.einsum("nx,nx->n", np.cross(points - a, c - a), normal) / whole
    third = np.einsum("nx,nx->n", np.cross(b - a, points - a), normal) / whole
    shares = np.stack([1 - second - third, second, third], axis=-1)
    return np.where(square[:, None] > 0, shares, -1.0)
