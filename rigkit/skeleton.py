"""Skeletons: named joints with parents and a rest pose, and the forward chain that poses them.

A pose is a turn (and, for the root, a shift) per joint *after* its rest frame: `local = rest @
turn`. So a joint left alone reads zero, and turning one joint carries all below it.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigkit import _check, _say, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Floats

SIDE_TAGS = ("L_", "R_")


@dataclass(frozen=True)
class Joint(_say.Shown):
    """A named joint.

    Attributes
    ----------
    name : str
        Its own.
    parent : str or None
        The joint it hangs from; None for a root.
    rest : array_like, shape (4, 4)
        Its frame at rest, seen from its parent.

    Raises
    ------
    ValueError
        If `rest` is not one rigid frame.
    """

    name: str
    parent: str | None
    rest: Floats

    def __init__(self, name: str, parent: str | None, rest: ArrayLike):
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "parent", parent)
        object.__setattr__(self, "rest", _one_frame(f"rest of {name}", rest))

    def __repr__(self) -> str:
        where = "a root" if self.parent is None else f"below {_say.name(self.parent)}"
        return _say.line(self, _say.name(self.name), where, _say.frame(self.rest))


class Skeleton(_say.Shown):
    """Joints in an order where parents come before children.

    Parameters
    ----------
    joints : iterable of Joint
        In any order; one or more roots.

    Attributes
    ----------
    names : tuple of str
    parents : ndarray of int, shape (n,)
        The index of each joint's parent, −1 for a root.
    rest_local, rest_world : ndarray, shape (n, 4, 4)

    Raises
    ------
    ValueError
        For no joints, a name used twice, a parent that is missing, or a cycle of parents, each
        named.
    """

    def __init__(self, joints: Iterable[Joint]):
        joints = _parents_first(list(joints))
        self.names = tuple(joint.name for joint in joints)
        self._index = {name: i for i, name in enumerate(self.names)}
        self.parents = np.array([-1 if j.parent is None else self._index[j.parent] for j in joints])
        self.rest_local = np.stack([joint.rest for joint in joints])
        self.rest_world = self.world(self.rest_local)

    def __repr__(self) -> str:
        return f"Skeleton of {_say.count(len(self), 'joint')}: {_say.names(self.names)}"

    @classmethod
    def from_world(
        cls, world: Mapping[str, ArrayLike], parents: Mapping[str, str | None]
    ) -> "Skeleton":
        """A skeleton from each joint's world frame and parent name.

        Parameters
        ----------
        world : mapping of str to array_like, shape (4, 4)
        parents : mapping of str to (str or None)
        """
        unlike = sorted(world.keys() ^ parents.keys())
        missing = sorted(
            {parent for parent in parents.values() if parent is not None and parent not in world}
        )
        if unlike or missing:
            raise ValueError(
                "`parents` must name a parent, or None, for every joint of `world`; got "
                + (
                    f"only one of the two for {', '.join(unlike)}."
                    if unlike
                    else f"parents without a frame: {', '.join(missing)}."
                )
            )
        frames = {name: _one_frame(f"world of {name}", frame) for name, frame in world.items()}
        joints = []
        for name, frame in frames.items():
            parent = parents[name]
            joints.append(
                Joint(name, parent, frame if parent is None else fr.relative(frames[parent], frame))
            )
        return cls(joints)

    def __len__(self) -> int:
        return len(self.names)

    def index(self, name: str) -> int:
        """The place of the joint called `name`; a `ValueError` lists the names there are."""
        if name not in self._index:
            raise ValueError(
                f"`name` must be a joint of this skeleton ({', '.join(self.names)}); got {name!r}."
            )
        return self._index[name]

    def parent(self, name: str) -> str | None:
        """The name of a joint's parent, None for a root."""
        parent = self.parents[self.index(name)]
        return None if parent < 0 else self.names[parent]

    def children(self, name: str) -> tuple[str, ...]:
        """The names of the joints right below `name`."""
        return tuple(self.names[i] for i in np.flatnonzero(self.parents == self.index(name)))

    def below(self, name: str) -> tuple[str, ...]:
        """The names of all joints that turning `name` carries along, parents first."""
        carried = {name}
        self.index(name)
        for joint in self.names:
            if self.parent(joint) in carried:
                carried.add(joint)
        return tuple(joint for joint in self.names if joint in carried and joint != name)

    def chain(self, start: str, end: str) -> tuple[str, ...]:
        """The names from `start` down to `end`, both included; `end` must hang below `start`."""
        names = [end]
        self.index(start)
        while names[-1] != start:
            parent = self.parent(names[-1])
            if parent is None:
                raise ValueError(
                    f"`end` must hang below {start!r}; got {end!r}, whose root is {names[-1]!r}."
                )
            names.append(parent)
        return tuple(reversed(names))

    def world(self, local: ArrayLike) -> Floats:
        """World frames from local ones: the forward chain, `world = parent_world @ local`.

        Parameters
        ----------
        local : array_like, shape (..., n, 4, 4)

        Returns
        -------
        ndarray, shape (..., n, 4, 4)
        """
        local = _check.numbers("local", local, len(self), 4, 4)
        world = np.array(local)
        for i, parent in enumerate(self.parents):
            if parent >= 0:
                world[..., i, :, :] = world[..., parent, :, :] @ local[..., i, :, :]
        return world

    def local(self, world: ArrayLike) -> Floats:
        """Local frames from world ones, shapes (..., n, 4, 4): the inverse of `world`."""
        world = fr.check_frames("world", _check.numbers("world", world, len(self), 4, 4))
        local = np.array(world)
        child = self.parents >= 0
        local[..., child, :, :] = fr.relative(
            world[..., self.parents[child], :, :], world[..., child, :, :]
        )
        return local

    def pose(
        self,
        turns: Mapping[str, ArrayLike] | None = None,
        shifts: Mapping[str, ArrayLike] | None = None,
    ) -> Floats:
        """World frames when some joints turn or shift away from rest; joints not named stay at
        zero.

        Parameters
        ----------
        turns : mapping of joint name to array_like, shape (..., 3, 3)
            Turns about the joint's own rest axes.
        shifts : mapping of joint name to array_like, shape (..., 3)
            Shifts along the parent's axes, metres; usually of the root only.

        Returns
        -------
        ndarray, shape (..., n, 4, 4)
            Batched over the common batch shape of all turns and shifts.
        """
        turned = {
            name: rotation.check_matrix(f"turn of {name}", turn)
            for name, turn in (turns or {}).items()
        }
        shifted = {
            name: _check.numbers(f"shift of {name}", shift, 3)
            for name, shift in (shifts or {}).items()
        }
        shape = _check.batch(
            **{f"turn of {k}": v.shape[:-2] for k, v in turned.items()},
            **{f"shift of {k}": v.shape[:-1] for k, v in shifted.items()},
        )
        local = np.array(np.broadcast_to(self.rest_local, (*shape, len(self), 4, 4)))
        for name, turn in turned.items():
            i = self.index(name)
            local[..., i, :3, :3] = self.rest_local[i, :3, :3] @ turn
        for name, shift in shifted.items():
            local[..., self.index(name), :3, 3] += shift
        return self.world(local)

    def origins(self, world: ArrayLike, names: Iterable[str] | None = None) -> Floats:
        """Where joints are, shape (..., len(names), 3), from world frames; all joints when no names
        are given."""
        world = _check.numbers("world", world, len(self), 4, 4)
        picked = slice(None) if names is None else [self.index(name) for name in names]
        return world[..., :3, 3][..., picked, :]


def planar_chain(angles: ArrayLike, lengths: ArrayLike, start: ArrayLike = (0.0, 0.0)) -> Floats:
    """The joints of a flat chain of hinges, from where it starts to its end.

    Each angle is measured from the bone before, the first from the x axis; anticlockwise is
    positive.

    Parameters
    ----------
    angles : array_like, shape (..., n)
        Radians.
    lengths : array_like, shape (..., n)
        Metres, above zero.
    start : array_like, shape (..., 2)

    Returns
    -------
    ndarray, shape (..., n + 1, 2)
    """
    angles, lengths = (
        _check.numbers("angles", angles, "n"),
        _check.positive("lengths", lengths, "n"),
    )
    start = _check.numbers("start", start, 2)
    if angles.shape[-1] != lengths.shape[-1]:
        raise ValueError(
            f"`lengths` must be as many as `angles`; got {lengths.shape[-1]} lengths "
            f"and {angles.shape[-1]} angles. Give one of each for every bone."
        )
    shape = _check.batch(
        angles=angles.shape[:-1], lengths=lengths.shape[:-1], start=start.shape[:-1]
    )
    heading = np.cumsum(angles, axis=-1)
    bones = lengths[..., None] * np.stack([np.cos(heading), np.sin(heading)], axis=-1)
    bones = np.broadcast_to(bones, (*shape, *bones.shape[-2:]))
    first = np.broadcast_to(start[..., None, :], (*shape, 1, 2))
    return np.concatenate([first, first + np.cumsum(bones, axis=-2)], axis=-2)


def side_of(name: str) -> str | None:
    """The side tag a name begins with, "L_" or "R_", or None."""
    return next((tag for tag in SIDE_TAGS if name.startswith(tag)), None)


def other_side(name: str) -> str:
    """`name` with its side tag changed to the other side's; letters inside the name are never
    touched.

    Raises
    ------
    ValueError
        If the name carries no side tag.
    """
    tag = side_of(name)
    if tag is None:
        raise ValueError(f"`name` must begin with a side tag, L_ or R_; got {name!r}.")
    left, right = SIDE_TAGS
    return (right if tag == left else left) + name.removeprefix(tag)


def _one_frame(name: str, frame: ArrayLike) -> Floats:
    frame = fr.check_frames(name, frame)
    if frame.ndim != 2:
        raise ValueError(f"`{name}` must be one frame, shape (4, 4); got shape {frame.shape}.")
    return frame


def _parents_first(joints: Sequence[Joint]) -> list[Joint]:
    if not joints:
        raise ValueError("`joints` must hold at least one joint; got none.")
    by_name = {joint.name: joint for joint in joints}
    if len(by_name) < len(joints):
        twice = sorted({j.name for j in joints if sum(k.name == j.name for k in joints) > 1})
        raise ValueError(
            f"`joints` must have different names; got {', '.join(twice)} more than once."
        )
    ordered: list[Joint] = []
    done: set[str] = set()
    while len(ordered) < len(joints):
        ready = [j for j in joints if j.name not in done and (j.parent is None or j.parent in done)]
        if not ready:
            stuck = ", ".join(f"{j.name} (parent {j.parent})" for j in joints if j.name not in done)
            raise ValueError(
                f"`joints` must hang from a root; got a missing parent or a cycle at {stuck}."
            )
        ordered += ready
        done |= {j.name for j in ready}
    return ordered
