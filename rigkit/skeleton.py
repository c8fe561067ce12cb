"""Skeletons: named joints with parents and a rest pose, and the forward chain that poses them.

A pose is a turn (and, for the root, a shift) per joint *after* its rest frame: `local = rest @
turn`. So a joint left alone reads zero, and turning one joint carries all below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Floats

__all__ = ["SIDE_TAGS", "Joint", "Skeleton", "planar_chain", "side_of", "other_side"]

SIDE_TAGS = ("L_", "R_")


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Joint(_format.NotebookDisplay):
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
        where = "a root" if self.parent is None else f"below {_format.name(self.parent)}"
        return _format.line(self, _format.name(self.name), where, _format.frame(self.rest))


class Skeleton(_format.NotebookDisplay):
    """Joints in an order where parents come before children.

    A pose is an array with a frame for each joint; `index` finds the frame of a name.

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
        return f"Skeleton of {_format.count(len(self), 'joint')}: {_format.names(self.names)}"

    @classmethod
    def from_world(
        cls, world: Mapping[str, ArrayLike], parents: Mapping[str, str | None]
    ) -> Skeleton:
        """A skeleton from each joint's world frame and parent name.

        Parameters
        ----------
        world : mapping of str to array_like, shape (4, 4)
        parents : mapping of str to (str or None)

        Returns
        -------
        Skeleton

        Raises
        ------
        ValueError
            If a joint has a frame or a parent only, a parent has no frame, or a frame is not rigid.

        Examples
        --------
        >>> from rigkit import frames
        >>> from rigkit.skeleton import Skeleton
        >>> hip, knee = frames.frame(origin=[0, 0.9, 0]), frames.frame(origin=[0, 0.5, 0])
        >>> Skeleton.from_world({"hip": hip, "knee": knee}, {"hip": None, "knee": "hip"})
        Skeleton of 2 joints: hip, knee
        """
        _check_parents(world, parents)
        frames = {name: _one_frame(f"world of {name}", frame) for name, frame in world.items()}
        joints = []
        for name, frame in frames.items():
            parent = parents[name]
            local = frame if parent is None else fr.relative(frames[parent], frame)
            joints.append(Joint(name, parent, local))
        return cls(joints)

    def __len__(self) -> int:
        return len(self.names)

    def index(self, name: str) -> int:
        """The index of the joint called `name`, in `names` and in every pose.

        Parameters
        ----------
        name : str

        Returns
        -------
        int

        Raises
        ------
        ValueError
            If there is no such joint; it lists the names there are.

        Examples
        --------
        >>> from rigkit import frames
        >>> from rigkit.skeleton import Joint, Skeleton
        >>> hip, knee = frames.frame(origin=[0, 0.9, 0]), frames.frame(origin=[0, -0.4, 0])
        >>> leg = Skeleton([Joint("hip", None, hip), Joint("knee", "hip", knee)])
        >>> leg.pose()[leg.index("knee"), :3, 3].tolist()
        [0.0, 0.5, 0.0]
        """
        if name not in self._index:
            raise ValueError(f"Unknown joint {name!r}; this skeleton has {', '.join(self.names)}.")
        return self._index[name]

    def parent(self, name: str) -> str | None:
        """The name of a joint's parent, None for a root.

        Parameters
        ----------
        name : str

        Returns
        -------
        str or None

        Raises
        ------
        ValueError
            If there is no such joint.
        """
        parent = self.parents[self.index(name)]
        return None if parent < 0 else self.names[parent]

    def children(self, name: str) -> tuple[str, ...]:
        """The names of the joints right below `name`.

        Parameters
        ----------
        name : str

        Returns
        -------
        tuple of str

        Raises
        ------
        ValueError
            If there is no such joint.
        """
        return tuple(self.names[i] for i in np.flatnonzero(self.parents == self.index(name)))

    def below(self, name: str) -> tuple[str, ...]:
        """The names of all joints that turning `name` carries along, parents first.

        Parameters
        ----------
        name : str

        Returns
        -------
        tuple of str

        Raises
        ------
        ValueError
            If there is no such joint.
        """
        self.index(name)
        carried: list[str] = []
        for joint in self.names:  # parents come first
            if self.parent(joint) in (name, *carried):
                carried.append(joint)
        return tuple(carried)

    def chain(self, start: str, end: str) -> tuple[str, ...]:
        """The names from `start` down to `end`, both included.

        Parameters
        ----------
        start, end : str

        Returns
        -------
        tuple of str

        Raises
        ------
        ValueError
            If there is no such joint, or `end` does not hang below `start`.

        Examples
        --------
        >>> from rigkit import frames
        >>> from rigkit.skeleton import Joint, Skeleton
        >>> hip, knee = frames.frame(origin=[0, 0.9, 0]), frames.frame(origin=[0, -0.4, 0])
        >>> leg = Skeleton([Joint("hip", None, hip), Joint("knee", "hip", knee)])
        >>> leg.chain("hip", "knee")
        ('hip', 'knee')
        """
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

        Raises
        ------
        ValueError
            Bad numbers, or not a frame for each joint.
        """
        local = _check.numbers("local", local, len(self), 4, 4)
        world = np.array(local)
        for i, parent in enumerate(self.parents):
            if parent >= 0:
                world[..., i, :, :] = world[..., parent, :, :] @ local[..., i, :, :]
        return world

    def local(self, world: ArrayLike) -> Floats:
        """Local frames from world ones: the inverse of `world`.

        Parameters
        ----------
        world : array_like, shape (..., n, 4, 4)

        Returns
        -------
        ndarray, shape (..., n, 4, 4)

        Raises
        ------
        ValueError
            If a frame is not rigid, or there is not one for each joint.
        """
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
        """World frames when some joints turn or shift away from rest; the others stay at zero.

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

        Raises
        ------
        ValueError
            For an unknown joint, a turn that is not a rotation, or shapes that do not broadcast.

        Examples
        --------
        >>> from rigkit import frames, rotation
        >>> from rigkit.skeleton import Joint, Skeleton
        >>> hip, knee = frames.frame(origin=[0, 0.9, 0]), frames.frame(origin=[0, -0.4, 0])
        >>> leg = Skeleton([Joint("hip", None, hip), Joint("knee", "hip", knee)])
        >>> pose = leg.pose({"hip": rotation.matrix_about("x", -0.5)})
        >>> leg.origins(pose, ["knee"]).round(3).tolist()
        [[0.0, 0.549, 0.192]]
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
        """Positions of joints, from world frames.

        Parameters
        ----------
        world : array_like, shape (..., n, 4, 4)
        names : iterable of str, optional
            All joints when left out.

        Returns
        -------
        ndarray, shape (..., len(names), 3)
            Metres.

        Raises
        ------
        ValueError
            For an unknown joint, or not a frame for each joint.
        """
        world = _check.numbers("world", world, len(self), 4, 4)
        picked = slice(None) if names is None else [self.index(name) for name in names]
        return world[..., :3, 3][..., picked, :]


def planar_chain(angles: ArrayLike, lengths: ArrayLike, start: ArrayLike = (0.0, 0.0)) -> Floats:
    """The joints of a flat chain of hinges, from its start to its end.

    Each angle is measured from the bone before, the first from the x axis; anticlockwise is
    positive. So a bone points along the sum of the angles up to it.

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

    Raises
    ------
    ValueError
        Bad numbers, not as many lengths as angles, or batch shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import skeleton
    >>> skeleton.planar_chain([-1.5, -0.2], [0.43, 0.42]).round(3).tolist()
    [[0.0, 0.0], [0.03, -0.429], [-0.024, -0.845]]
    """
    angles, start = _check.numbers("angles", angles, "n"), _check.numbers("start", start, 2)
    lengths = _check.positive("lengths", lengths, "n")
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
    """The side tag a name begins with, "L_" or "R_", or None.

    Parameters
    ----------
    name : str

    Returns
    -------
    str or None
    """
    return next((tag for tag in SIDE_TAGS if name.startswith(tag)), None)


def other_side(name: str) -> str:
    """`name` with the other side's tag; letters inside the name are never touched.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If the name carries no side tag.

    Examples
    --------
    >>> from rigkit import skeleton
    >>> skeleton.other_side("L_BALL")
    'R_BALL'
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


def _check_parents(world: Mapping[str, ArrayLike], parents: Mapping[str, str | None]) -> None:
    unlike = sorted(world.keys() ^ parents.keys())
    missing = sorted({p for p in parents.values() if p is not None} - world.keys())
    if unlike or missing:
        came = (
            f"only one of the two for {', '.join(unlike)}"
            if unlike
            else f"parents without a frame: {', '.join(missing)}"
        )
        raise ValueError(
            "`parents` must name a parent, or None, for every joint of `world`; got " + came + "."
        )


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
