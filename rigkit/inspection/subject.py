"""A rig file as an inspection sees it: in metres, y up, facing +Z, its legs known.

Everything is measured from here. What the file's own axes and units are is said once, in
`Subject.legs`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from rigkit import rotation
from rigkit._types import AnyFloats, Bools, Floats, Ints
from rigkit.gltf import Animation, Asset
from rigkit.inspection.bound import BoundPose, bound_pose, skins_in_use, usable
from rigkit.inspection.legs import Legs, find_legs
from rigkit.inspection.names import SIDE_WORDS
from rigkit.page import plain

RATE = 60.0  # samples a second: what snaps between two of these, no one sees
MAX_SAMPLES = 6000  # of one animation
_BLOCK = 4096  # vertices, or numbers of frames, worked on at a time


@dataclass(frozen=True)
class Surface:
    """All skinned meshes of a file as one surface, at rest.

    Attributes
    ----------
    vertices : ndarray, shape (v, 3)
    triangles : ndarray of int, shape (t, 3)
    joints : ndarray of int, shape (v, m)
        Places of the nodes that move each vertex.
    weights : ndarray, shape (v, m)
        As the file has them.
    """

    vertices: Floats
    triangles: Ints
    joints: Ints
    weights: Floats

    @cached_property
    def sums(self) -> Floats:
        """The sum of each vertex's weights, shape (v,)."""
        return self.weights.sum(axis=-1)

    @cached_property
    def movers(self) -> Ints:
        """The nodes that move at least one vertex, by a weight that is not zero, shape (k,)."""
        return np.unique(self.joints[self.weights != 0])

    @cached_property
    def shares(self) -> Floats:
        """The weights divided by their sum, shape (v, m); zero where nothing moves a vertex."""
        return self.weights / np.where(self.sums > 0, self.sums, 1.0)[:, None]

    def weight_of(self, nodes: Iterable[int]) -> Floats:
        """Return the share of each vertex that moves with any of some nodes, shape (v,)."""
        return np.where(np.isin(self.joints, list(nodes)), self.shares, 0.0).sum(axis=-1)

    def strongest(self) -> Ints:
        """Return the node that moves each vertex most, shape (v,)."""
        return np.take_along_axis(self.joints, self.weights.argmax(axis=-1)[:, None], axis=-1)[:, 0]

    def posed(self, chosen: Ints, motions: Floats) -> Floats:
        """Return some of the vertices when joints have moved from rest.

        Parameters
        ----------
        chosen : ndarray of int, shape (k,)
        motions : ndarray, shape (n, 4, 4)
            Of all nodes.

        Returns
        -------
        ndarray, shape (k, 3)
        """
        return _blend(self.vertices[chosen], self.joints[chosen], self.shares[chosen], motions)


@dataclass(frozen=True)
class Motion:
    """One animation, sampled; f frames.

    Attributes
    ----------
    name : str
    times : ndarray, shape (f,)
        Seconds.
    world : ndarray, shape (f, len(nodes), 4, 4)
        Of the legs' nodes only.
    nodes : tuple of int
    whole : bool
        True if the animation was sampled to its end.
    """

    name: str
    times: Floats
    world: Floats
    nodes: tuple[int, ...]
    whole: bool

    def frames(self, node: int) -> Floats:
        """Return a node's world frames, shape (f, 4, 4)."""
        return self.world[:, self.nodes.index(node)]

    def points(self, nodes: Sequence[int]) -> Floats:
        """Return the nodes' positions, shape (f, len(nodes), 3)."""
        return self.world[:, [self.nodes.index(node) for node in nodes]][..., :3, 3]


class Moved(NamedTuple):
    """The motion of a skin joint in the joint above it since it was bound.

    Attributes
    ----------
    node : int
    deg, cm : float
        Infinite centimetres where its inverse bind matrix cannot be undone.
    back : ndarray, shape (3, 3)
        The rotation that takes it back.
    """

    node: int
    deg: float
    cm: float
    back: Floats


class Subject:
    """A rig to be inspected.

    Parameters
    ----------
    asset : Asset
    mapping : mapping, optional
    pair : str, optional
        As for `legs.find_legs`.

    Attributes
    ----------
    asset : Asset
    names : tuple of str
        A name for every node; one that has none is called by its place.
    parents : ndarray of int, shape (n,)
    legs : Legs
    remarks : tuple of str
        Sentences that a report says once, at its top.
    scale : float
        Metres to a unit of the file.
    rest : ndarray, shape (n, 4, 4)
        World matrices in the pose the skin was bound in (see `bound.bound_pose`); scale and shear
        stay in them.
    stored : ndarray, shape (n, 4, 4)
        World matrices as the file's nodes have them.
    surface : Surface or None
        In the pose it was bound in.
    """

    def __init__(
        self,
        asset: Asset,
        mapping: Mapping[str, object] | None = None,
        pair: str | None = None,
    ) -> None:
        if not isinstance(asset, Asset):
            raise ValueError(
                f"`asset` must be an Asset; got {type(asset).__name__}. `gltf.read` makes one of a"
                " file."
            )
        self.asset = asset
        self.names = tuple(node.name or f"node {i}" for i, node in enumerate(asset.nodes))
        self.parents = asset.parents
        pose = bound_pose(asset)
        surface = _surface(asset, pose)
        self.legs = self._find(pose.world, surface, mapping, pair)
        self.scale = self.legs.metres
        self._axes = np.stack([self.legs.left, self.legs.up, self.legs.forward])
        self._origin = np.zeros(3)
        self.rest = self._to_metres(pose.world)
        self.surface = None if surface is None else self._surface_to_metres(surface)
        self._origin = self._between_the_feet()
        self.rest[:, :3, 3] -= self._origin
        if self.surface:
            self.surface.vertices[:] -= self._origin
        self.stored = self._to_metres(asset.rest_world())
        self.remarks: tuple[str, ...] = self._remarks()

    def _find(
        self,
        raw: Floats,
        surface: Surface | None,
        mapping: Mapping[str, object] | None,
        pair: str | None,
    ) -> Legs:
        """The legs among the joints that move a skin; else among all of skins, else all nodes."""
        if not len(raw):
            return Legs(because={"legs": "there are no nodes"})
        centres = _centres(surface, len(raw))

        def look(usual: Bools, pair: str | None = None) -> Legs:
            return find_legs(
                self.names,
                self.parents,
                raw[:, :3, 3],
                mapping,
                usual,
                centres,
                pair,
                self.asset.humanoid,
            )

        rows = self._likely_joints(surface)
        best = max(
            enumerate(_until_sure(map(look, rows))),
            key=lambda numbered: numbered[1].certainty - 0.1 * numbered[0],
        )
        return best[1] if pair is None else look(rows[best[0]], pair)

    def _likely_joints(self, surface: Surface | None) -> list[Bools]:
        """The joints that legs are looked for among, the likeliest first; each shape (n,)."""
        count = len(self.asset.nodes)
        skinned, moving = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
        for skin in self.asset.skins:
            skinned[skin.joints] = True
        if surface is not None:
            for node in surface.movers.tolist():
                moving[[node, *self.above(node)]] = True
        bare = np.array([node.mesh is None for node in self.asset.nodes], dtype=bool)
        free = np.array([node.skin is None for node in self.asset.nodes], dtype=bool)
        rows = [moving & skinned, skinned, bare, free]
        kept = [row for i, row in enumerate(rows) if row.any() and not _among(row, rows[:i])]
        return kept or [free]

    def _remarks(self) -> tuple[str, ...]:
        """Sentences on the file as a whole: its own map of bones, its pose.

        Each is empty, and left out, where there is nothing to say.
        """
        because = self.legs.because
        said = [because.get("humanoid", ""), self._stored_pose()]
        return tuple(f"{text[:1].upper()}{text[1:]}." for text in said if text)

    def _stored_pose(self) -> str:
        """Say that the nodes store another pose than the bound one, if they do."""
        away = [
            moved
            for moved in (self.since_bound if self.sides else ())
            if np.isfinite(moved.cm) and (moved.deg > 0.5 or self.share(moved.cm / 100) > 0.1)
        ]
        if not away:
            return ""
        most = max(away, key=lambda moved: (round(moved.deg, 3), round(moved.cm, 3)))
        how = (
            f"is turned {most.deg:.{0 if most.deg >= 10 else 1}f}°"
            if most.deg > 0.5
            else f"has moved by {self.share(most.cm / 100):.1f} % of the leg"
        )
        count = f", the most of {len(away)} joints" if len(away) > 1 else ""
        return (
            "the nodes store another pose than the one the skin was bound in: "
            f"{self.label(most.node)} {how}{count}. Everything at rest is measured in the bound"
            " pose"
        )

    # The skeleton at rest.

    @cached_property
    def points(self) -> Floats:
        """The nodes' positions at rest, shape (n, 3)."""
        return self.rest[:, :3, 3]

    @cached_property
    def rotations(self) -> Floats:
        """The nodes' rotations at rest, shape (n, 3, 3), as `rotations_of` has it."""
        return rotations_of(self.rest)

    @cached_property
    def sides(self) -> tuple[str, ...]:
        """The sides that have a leg: ("L", "R"), one, or none."""
        return tuple(self.legs.legs)

    def joint(self, side: str, part: str) -> int:
        """Return the node of a part of a leg."""
        return self.legs.legs[side].joints[part]

    def point(self, side: str, part: str) -> Floats:
        """Return the position of a part of a leg at rest, shape (3,)."""
        return self.points[self.joint(side, part)]

    def chain(self, side: str) -> Floats:
        """Return the leg's joints from the hip to its end, shape (n, 3)."""
        return np.stack([self.point(side, part) for part in self.legs.legs[side].chain])

    def bending(self, side: str) -> Floats:
        """Return the three joints of the leg's two lowest bones, shape (3, 3)."""
        return self.chain(side)[-3:]

    @cached_property
    def bend_sign(self) -> int:
        """The direction in which the legs bend: 1 forward, −1 backward for a leg of three bones."""
        return -1 if any("foot" in leg.joints for leg in self.legs.legs.values()) else 1

    @property
    def of_a_person(self) -> bool:
        """True if the legs may be a person's: of two bones, and not known as an animal's."""
        return not self.legs.animal and self.bend_sign > 0

    def bones(self, side: str) -> list[tuple[str, str]]:
        """Return the parts that each bone of a leg goes from and to, from the hip down."""
        leg = self.legs.legs[side]
        return list(
            pairwise([*leg.chain, *(part for part in ("ball", "toe") if part in leg.joints)])
        )

    @cached_property
    def length(self) -> float:
        """The mean length of the legs from hip to end along their bones, metres."""
        return float(
            np.mean(
                [
                    np.linalg.norm(np.diff(self.chain(side), axis=0), axis=-1).sum()
                    for side in self.sides
                ]
            )
        )

    def share(self, metres: float) -> float:
        """Return a length as a share of the legs' length, per cent."""
        return 100 * metres / max(self.length, 1e-12)

    def toe_direction(self, side: str) -> Floats:
        """Return the level unit direction of a foot; straight ahead for one without joints."""
        joints = self.legs.legs[side].joints
        last = joints.get("toe", joints.get("ball"))
        if last is not None:
            way = (self.points[last] - self.chain(side)[-1]) * [1, 0, 1]
            if np.linalg.norm(way) > 0.02 * self.length:
                return way / np.linalg.norm(way)
        return np.array([0.0, 0.0, 1.0])

    def name(self, side: str, part: str) -> str:
        """Return the name of a part's joint in the file."""
        return self.names[self.joint(side, part)]

    def label(self, node: int) -> str:
        """Return a node's name for a picture, made harmless and short."""
        return plain(self.names[node], 24)

    def leg_nodes(self, side: str) -> tuple[int, ...]:
        """Return all nodes of a leg, its hip first, with what they carry."""
        return self._leg_nodes[side]

    @cached_property
    def _leg_nodes(self) -> dict[str, tuple[int, ...]]:
        nodes = {}
        for side, leg in self.legs.legs.items():
            found: dict[int, None] = {}
            for node in [leg.joints["hip"], *leg.joints.values()]:
                if node not in found:
                    found |= dict.fromkeys([node, *self._below(node)])
            nodes[side] = tuple(found)
        return nodes

    @cached_property
    def scaled_nodes(self) -> tuple[int, ...]:
        """The root and the legs' nodes at or above a joint: a prop may have its own scale."""
        joints = {self.root, *(i for leg in self.legs.legs.values() for i in leg.joints.values())}
        joints.update(int(node) for skin in self.asset.skins for node in skin.joints)
        carrying: set[int] = set()
        for node in joints:
            while node >= 0 and node not in carrying:
                carrying.add(node)
                node = int(self.parents[node])
        nodes = [self.root, *(node for side in self.sides for node in self.leg_nodes(side))]
        return tuple(dict.fromkeys(node for node in nodes if node in carrying))

    def _below(self, node: int) -> list[int]:
        found = list(self.asset.children[node])
        for child in found:
            found += self.asset.children[child]
        return found

    @cached_property
    def moving_skins(self) -> tuple[int, ...]:
        """The skins that move a mesh; all where the meshes could not be read."""
        return tuple(sorted(skins_in_use(self.asset)))

    @cached_property
    def moves_skin(self) -> frozenset[int]:
        """The nodes that move at least one vertex, by a weight that is not zero.

        All joints of the skins where the meshes could not be read.
        """
        if self.surface is None:
            skins = [self.asset.skins[place] for place in self.moving_skins]
            return frozenset(int(node) for skin in skins for node in skin.joints)
        return frozenset(self.surface.movers.tolist())

    @cached_property
    def since_bound(self) -> tuple[Moved, ...]:
        """The motion since binding of each joint that moves some skin, a `Moved` for each."""
        world = self.asset.rest_world()
        found: dict[int, tuple[float, Floats, Floats]] = {}
        for place in self.moving_skins:
            skin = self.asset.skins[place]
            at = {int(node): i for i, node in enumerate(skin.joints)}
            good = usable(skin)
            bind = np.where(good[:, None, None], skin.inverse_bind, np.eye(4))
            for node, i in at.items():
                above = next((other for other in self.above(node) if other in at), None)
                if above is None or node not in self.moves_skin:
                    continue
                then = bind[at[above]] @ np.linalg.inv(bind[i])
                now = _inverse(world[above]) @ world[node]
                metre = self.scale * np.cbrt(abs(np.linalg.det(world[above][:3, :3])))
                cm = 100 * metre * float(np.linalg.norm(now[:3, 3] - then[:3, 3]))
                cm = cm if good[i] and good[at[above]] else np.inf
                if node not in found or cm > found[node][0]:
                    found[node] = cm, now, then
        if not found:
            return ()
        far, now, then = zip(*found.values(), strict=True)
        backs = np.swapaxes(rotations_of(np.array(now)), -1, -2) @ rotations_of(np.array(then))
        return tuple(map(Moved, found, rotation_angle_deg(backs).tolist(), far, backs))

    def above(self, node: int) -> Iterator[int]:
        """Yield the nodes above, nearest first."""
        while (node := int(self.parents[node])) >= 0:
            yield node

    # The skin.

    def leg_skin(self, side: str) -> Ints:
        """Return the triangles that move mostly with one leg, shape (t, 3); none without a skin."""
        return self._leg_skin[side]

    @cached_property
    def _leg_skin(self) -> dict[str, Ints]:
        surface = self.surface
        if surface is None:
            return dict.fromkeys(self.sides, np.empty((0, 3), np.int64))
        mine = {side: surface.weight_of(self.leg_nodes(side)) > 0.5 for side in self.sides}
        return {
            side: surface.triangles[moved[surface.triangles].all(axis=-1)]
            for side, moved in mine.items()
        }

    def motions_of(self, turned: Mapping[int, Floats]) -> Floats:
        """Return every node's motion from rest when some turn about where they stand.

        Parameters
        ----------
        turned : mapping of int to ndarray, shape (3, 3)
            The rotation of each node that turns.

        Returns
        -------
        ndarray, shape (n, 4, 4)
        """
        motions = np.broadcast_to(np.eye(4), (len(self.names), 4, 4)).copy()
        for node, turn in turned.items():
            about = np.eye(4)
            about[:3, :3] = turn
            about[:3, 3] = self.points[node] - turn @ self.points[node]
            carried = [node, *self._below(node)]
            motions[carried] = about @ motions[carried]
        return motions

    # The animations.

    def motions(self) -> Iterator[Motion]:
        """Yield every animation, sampled, one at a time: they are large."""
        for animation in self.asset.animations:
            yield self._sample(animation)

    def _sample(self, animation: Animation) -> Motion:
        nodes = sorted(
            {i for leg in self.legs.legs.values() for i in leg.joints.values()} | {self.root}
        )
        end = animation.duration
        # A sample that ends a hair after another would make speeds of rounding errors.
        needed = max(int(np.ceil(end * RATE - 0.01)), int(end > 0)) + 1
        count = min(needed, MAX_SAMPLES)
        times = np.arange(count) / RATE
        times[-1] = end if count == needed else times[-1]
        world = np.empty((count, len(nodes), 4, 4))
        step = max(1, _BLOCK // max(len(self.names), 1))
        for start in range(0, count, step):
            part = slice(start, start + step)
            world[part] = self._to_metres(self.asset.pose_world(animation, times[part])[:, nodes])
        name = animation.name or "without a name"
        return Motion(name, times, world, tuple(nodes), count == needed)

    @cached_property
    def root(self) -> int:
        """The node the legs hang from: the pelvis, or a single leg's own hip."""
        return (
            self.legs.pelvis if self.legs.pelvis is not None else self.joint(self.sides[0], "hip")
        )

    # From the file's axes and units to metres, y up, facing +Z.

    @property
    def to_metres(self) -> Floats:
        """The matrix from the file's axes and unit to metres, y up, facing +Z, shape (4, 4).

        Worlds of nodes keep their own scale here (`rest` and `stored`); times this matrix they are
        in metres with it.
        """
        matrix = np.eye(4)
        matrix[:3, :3] = self.scale * self._axes
        matrix[:3, 3] = -self._origin
        return matrix

    def _to_metres(self, world: Floats) -> Floats:
        seen = np.array(world)
        seen[..., :3, :3] = self._axes @ world[..., :3, :3]
        seen[..., :3, 3] = self.scale * (world[..., :3, 3] @ self._axes.T) - self._origin
        return seen

    def _surface_to_metres(self, surface: Surface) -> Surface:
        return replace(surface, vertices=self.scale * (surface.vertices @ self._axes.T))

    def _between_the_feet(self) -> Floats:
        """On the floor, in the midplane, below the hips."""
        if not self.sides:
            return np.zeros(3)
        middle = self.points[self.root]
        if len(self.sides) == 2:
            pairs = [
                (self.point("L", part) + self.point("R", part)) / 2 for part in self.common_parts
            ]
            middle = np.array([np.median([pair[0] for pair in pairs]), 0.0, pairs[0][2]])
        nodes = [i for side in self.sides for i in self.leg_nodes(side)]
        floor = self.points[nodes, 1].min()
        if self.surface:
            carried = self.surface.vertices[self.surface.weight_of(nodes) > 0.5, 1]
            floor = carried.min() if len(carried) else floor
        return np.array([middle[0], floor, middle[2]])

    @property
    def common_parts(self) -> tuple[str, ...]:
        """The parts that both legs have, from the hip down."""
        left, right = (self.legs.legs[side].joints for side in ("L", "R"))
        return tuple(part for part in left if part in right)


def _among(row: Bools, rows: Sequence[Bools]) -> bool:
    return any((row == other).all() for other in rows)


def _until_sure(found: Iterable[Legs]) -> Iterator[Legs]:
    """Yield legs until some are more certain than not."""
    for legs in found:
        yield legs
        if legs.certainty >= 0.5:
            return


def rotations_of(matrices: Floats) -> Floats:
    """Return the rotations in matrices, (..., 4, 4); a reflection has all its axes negated."""
    linear = matrices[..., :3, :3]
    sign = np.where(np.linalg.det(linear) < 0, -1.0, 1.0)[..., None, None]
    values = np.linalg.svd(linear, compute_uv=False)
    flat = values[..., 2] <= 1e-9 * np.maximum(values[..., 0], 1e-300)
    return rotation.orthonormalise(np.where(flat[..., None, None], np.eye(3), sign * linear))


def rotation_angle_deg(matrices: Floats) -> Floats:
    """Return the angles of rotation matrices, degrees; tiny ones keep their digits."""
    away = np.linalg.norm(matrices - np.eye(3), axis=(-2, -1)) / np.sqrt(8)
    return np.degrees(2 * np.arcsin(np.clip(away, 0.0, 1.0)))


def _inverse(matrix: Floats) -> AnyFloats:
    return np.linalg.inv(matrix) if abs(np.linalg.det(matrix[:3, :3])) > 1e-18 else np.eye(4)


def side_name(side: str) -> str:
    """Return "left" or "right"."""
    return SIDE_WORDS[side]


def _surface(asset: Asset, pose: BoundPose) -> Surface | None:
    """All skinned meshes as bound, in the file's units, without unused vertices; None without."""
    parts = []
    for node in asset.nodes:
        if node.mesh is None or node.skin is None:
            continue
        mesh, skin = asset.meshes[node.mesh], asset.skins[node.skin]
        if mesh.joints is None or mesh.weights is None:
            continue
        used, triangles = np.unique(mesh.triangles, return_inverse=True)
        positions, joints, weights = mesh.positions[used], mesh.joints[used], mesh.weights[used]
        if node.skin in pose.surfaces:
            matrix = pose.surfaces[node.skin]
            vertices = positions @ matrix[:3, :3].T + matrix[:3, 3]
        else:
            sums = weights.sum(axis=-1, keepdims=True)
            matrices = pose.world[skin.joints] @ skin.inverse_bind
            moved = _blend(positions, joints, weights / np.where(sums > 0, sums, 1.0), matrices)
            vertices = np.where(sums > 0, moved, positions)
        parts.append(Surface(vertices, triangles.reshape(-1, 3), skin.joints[joints], weights))
    if len(parts) < 2:
        return parts[0] if parts else None
    width = max(part.joints.shape[1] for part in parts)
    starts = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    return Surface(
        np.concatenate([part.vertices for part in parts]),
        np.concatenate([part.triangles + start for part, start in zip(parts, starts, strict=True)]),
        *(
            np.concatenate(
                [np.pad(table, ((0, 0), (0, width - table.shape[1]))) for table in tables]
            )
            for tables in ([part.joints for part in parts], [part.weights for part in parts])
        ),
    )


def _blend(vertices: Floats, joints: Ints, shares: Floats, matrices: Floats) -> Floats:
    """Linear blend skinning: (v, 3), joints and shares (v, m), matrices (n, 4, 4) to (v, 3)."""
    posed = np.zeros_like(vertices)
    rows = matrices[:, :3, :]
    for start in range(0, len(vertices), _BLOCK):
        part = slice(start, start + _BLOCK)
        for column in range(joints.shape[1]):
            share = shares[part, column]
            used = share != 0
            if used.any():
                moved = rows[joints[part, column][used]]
                points = (
                    np.einsum("vij,vj->vi", moved[..., :3], vertices[part][used]) + moved[..., 3]
                )
                posed[part][used] += share[used, None] * points
    return posed


def _centres(surface: Surface | None, nodes: int) -> Floats | None:
    """The middle of the skin that each node moves most, (nodes, 3); NaN where it moves none."""
    if surface is None:
        return None
    owner = surface.strongest()
    count = np.bincount(owner, minlength=nodes).astype(float)
    count[count == 0] = np.nan
    return (
        np.stack(
            [np.bincount(owner, surface.vertices[:, axis], minlength=nodes) for axis in range(3)],
            axis=-1,
        )
        / count[:, None]
    )
