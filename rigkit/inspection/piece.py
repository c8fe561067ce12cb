"""A piece of a limb's skin, in several poses at once: cut off by a plane at rest, and closed.

`poses` are vertices, shape (n, v, 3): the first pose is the rest, in which a plane cuts; the cut
is carried along in the others.
"""

import numpy as np

from rigkit._types import Floats, Ints


def cut_off(poses: Floats, triangles: Ints, height: Floats) -> tuple[Floats, Ints]:
    """Return what of a surface lies where a height at its vertices is not above zero.

    Parameters
    ----------
    poses : ndarray, shape (n, v, 3)
    triangles : ndarray of int, shape (t, 3)
    height : ndarray, shape (v,)
        Above a plane, at rest.

    Returns
    -------
    poses : ndarray, shape (n, v + k, 3)
        With the k points where edges meet the plane.
    triangles : ndarray of int
    """
    kept = height[triangles] <= 0
    count = kept.sum(axis=-1)
    whole, cut = triangles[count == 3], (count == 1) | (count == 2)
    one = (count[cut] == 1)[:, None]  # one corner is kept, or two
    first = np.where(one[:, 0], kept[cut].argmax(axis=-1), kept[cut].argmin(axis=-1))
    turned = (first[:, None] + [0, 1, 2]) % 3  # the corner that is alone on its side comes first
    a, b, c = np.take_along_axis(triangles[cut], turned, axis=-1).T
    low, high = np.sort(np.stack([np.tile(a, 2), np.concatenate([b, c])]), axis=0)
    codes, place = np.unique(low * len(height) + high, return_inverse=True)
    low, high = np.divmod(codes, len(height))
    share = (height[low] / (height[low] - height[high]))[:, None]
    met = poses[:, low] + share * (poses[:, high] - poses[:, low])
    ab, ac = len(height) + place.reshape(2, -1)
    parts = [np.stack(corners, axis=-1) for corners in ((a, ab, ac), (ab, b, c), (ab, c, ac))]
    chosen = [whole, parts[0][one[:, 0]], parts[1][~one[:, 0]], parts[2][~one[:, 0]]]
    return np.concatenate([poses, met], axis=1), np.concatenate(chosen)


def closed(poses: Floats, triangles: Ints) -> tuple[Floats, Ints]:
    """Return a piece of a surface closed by a fan about the middle of each open border.

    Parameters
    ----------
    poses : ndarray, shape (n, v, 3)
    triangles : ndarray of int, shape (t, 3)

    Returns
    -------
    poses : ndarray, shape (n, v + k, 3)
        With a point for each of k borders.
    triangles : ndarray of int
    """
    tips: list[Floats] = []
    fans: list[Ints] = []
    for edges in _borders(triangles):
        tip = np.full(len(edges), poses.shape[1] + len(tips))
        tips.append(poses[:, edges[:, 0]].mean(axis=1))
        fans.append(np.stack([edges[:, 1], edges[:, 0], tip], axis=-1))
    if not tips:
        return poses, triangles
    return np.concatenate([poses, np.stack(tips, axis=1)], axis=1), np.concatenate(
        [triangles, *fans]
    )


def _borders(triangles: Ints) -> list[Ints]:
    """The directed edges, (e, 2), of each open border: those that no triangle has backward."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    size = int(triangles.max()) + 1
    codes, opposite = edges @ [size, 1], np.sort(edges @ [1, size])
    loose = edges[opposite.take(np.searchsorted(opposite, codes), mode="clip") != codes]
    parent: dict[int, int] = {}

    def top(i: int) -> int:
        while parent.setdefault(i, i) != i:
            parent[i] = i = parent[parent[i]]
        return i

    for a, b in loose.tolist():
        parent[top(a)] = top(b)
    groups: dict[int, list[list[int]]] = {}
    for edge in loose.tolist():
        groups.setdefault(top(edge[0]), []).append(edge)
    return [np.array(group) for group in groups.values()]


def weld(vertices: Floats, triangles: Ints) -> tuple[Ints, Ints]:
    """Return vertices in one place made one: the vertices kept, and triangles of those.

    Parameters
    ----------
    vertices : ndarray, shape (v, 3)
    triangles : ndarray of int, shape (t, 3)

    Returns
    -------
    kept : ndarray of int, shape (k,)
        Numbers of those that triangles use, one of each place.
    triangles : ndarray of int
        Of the kept ones; without those that have come down to an edge.
    """
    used, triangles = np.unique(triangles, return_inverse=True)
    places = vertices[used]
    size = max(float(np.ptp(places, axis=0).max()), 1e-9)
    _, kept, number = np.unique(
        np.round(places / (1e-6 * size)), axis=0, return_index=True, return_inverse=True
    )
    triangles = number.reshape(-1)[triangles.reshape(-1, 3)]
    flat = (triangles == np.roll(triangles, 1, axis=1)).any(axis=1)
    return used[kept], triangles[~flat]
