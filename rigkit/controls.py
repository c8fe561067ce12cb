"""Controls: what an animator moves; their rest, their leaders and the gaps kept to them.

A control is plain data. Its values are six channels, all zero at rest, on top of where it stays or
what it hangs from or follows: `world = base @ values`. Turns are radians about the control's own
axes through its pivot: about x first, then the moved z, then the moved y (a hip's flexion,
abduction, rotation).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from rigkit import _check, _format, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, ControlValues, Floats, NamedFrames

__all__ = [
    "CHANNELS",
    "TURN_ORDER",
    "FOLLOWS",
    "SAME",
    "Follow",
    "Control",
    "pose",
    "topological_order",
    "dependents",
    "clamp_values",
    "values_at",
    "offset_to",
    "switch",
    "interpolate_keys",
    "count_keys",
    "with_offsets",
]

CHANNELS = ("shift_x", "shift_y", "shift_z", "turn_x", "turn_y", "turn_z")
TURN_ORDER = "xzy"
_FOLLOWED = {
    "both": "place and turn",
    "position": "place, not its turn",
    "turn": "turn, not its place",
}
FOLLOWS = tuple(_FOLLOWED)
SAME = 1e-6  # metres or radians: values no further apart need no key of their own
_PLACES = {channel: i for i, channel in enumerate(CHANNELS)}


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class Follow(_format.NotebookDisplay):
    """One leader of a control, and the part of it that is followed.

    Parameters
    ----------
    leader : str
        What is followed: another control, or anything posed before (a joint), by name.
    what : {"both", "position", "turn"}
        What of the leader is followed. "both": as if fixed to the leader. "position": the leader's
        shift without its turn, the vector between the two kept. "turn": the leader's turn without
        its shift.
    weight : array_like, shape (...)
        From 0 to 1; the rest stays where it is. Weights for one control add up to at most 1.
    offset : array_like, shape (..., 4, 4), optional
        The fixed relative frame kept while following, as `offset_to` gives it; the gap at rest when
        left out.

    Raises
    ------
    ValueError
        A `what` not among these, a weight out of its range, a gap that is not rigid.
    """

    leader: str
    what: str
    weight: Floats
    offset: Floats | None

    def __init__(
        self,
        leader: str,
        what: str = "both",
        weight: ArrayLike = 1.0,
        offset: ArrayLike | None = None,
    ):
        put = object.__setattr__
        put(self, "leader", leader)
        put(self, "what", _check.choice("what", what, FOLLOWS))
        put(self, "weight", _check.numbers("weight", weight))
        _check.every(
            "weight",
            self.weight,
            (self.weight >= 0) & (self.weight <= 1),
            "between 0 and 1",
            "1 follows altogether, 0 not at all.",
        )
        put(self, "offset", None if offset is None else fr.check_frames("offset", offset))

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"{_FOLLOWED[self.what]} of {_format.name(self.leader)}",
            f"weight {_format.amount(self.weight, '', 2)}",
            "gap as at rest" if self.offset is None else f"gap {_format.frame(self.offset)}",
            batch=_format.batch(self.weight),
        )

    @cached_property
    def _whole(self) -> bool:
        """True if it goes with the leader as if fixed to it."""
        return self.what == "both" and bool((self.weight == 1).all())


@dataclass(frozen=True, eq=False)
class Control(_format.NotebookDisplay):
    """A thing an animator moves.

    Parameters
    ----------
    name : str
    rest : array_like, shape (4, 4)
        Its world frame when every control reads zero; the world's own when left out.
    outline : array_like, shape (points, 3)
        The shape one sees, in the control's frame, metres; nothing is computed from it. A point
        when left out.
    pivot : array_like, shape (3,)
        The point it turns about, in the control's frame.
    parent : str, optional
        What it hangs from for good: the same as following one leader in both ways with weight 1. A
        control has a parent or follows, not both.
    follows : iterable of Follow
        What it follows; more than one leader by weights.
    locked : iterable of str
        Channels that stay at zero.
    limits : mapping of str to (float, float)
        The least and the greatest value of a channel.
    base_frame : array_like, shape (..., 4, 4), optional
        Where it stays as far as it follows nothing; `rest` when left out. `switch` sets it.

    Raises
    ------
    ValueError
        A frame that is not rigid, a parent and follows, an unknown channel, limits without zero.

    Examples
    --------
    >>> from rigkit import controls
    >>> controls.Control("foot", pivot=(0, -0.08, 0), locked=["turn_z"])
    Control: foot, rest (0.000, 0.000, 0.000) m, follows nothing, locked turn_z
    """

    name: str
    rest: Floats
    outline: Floats
    pivot: Floats
    parent: str | None
    follows: tuple[Follow, ...]
    locked: tuple[str, ...]
    limits: Mapping[str, ArrayLike]
    base_frame: Floats | None
    _bounds: Floats = field(init=False)  # the least and the greatest value of each channel

    def __init__(
        self,
        name: str,
        rest: ArrayLike | None = None,
        outline: ArrayLike | None = None,
        pivot: ArrayLike = (0.0, 0.0, 0.0),
        parent: str | None = None,
        follows: Iterable[Follow] = (),
        locked: Iterable[str] = (),
        limits: Mapping[str, ArrayLike] | None = None,
        base_frame: ArrayLike | None = None,
    ):
        put = object.__setattr__
        put(self, "name", name)
        put(self, "rest", np.eye(4) if rest is None else fr.check_frames("rest", rest))
        outline = np.zeros((1, 3)) if outline is None else outline
        put(self, "outline", _check.numbers("outline", outline, "points", 3))
        put(self, "pivot", _check.numbers("pivot", pivot, 3))
        put(self, "parent", parent)
        put(self, "follows", tuple(follows))
        if parent is not None and self.follows:
            raise ValueError(
                f"`{name}` must have a parent or follow, not both; got parent {parent!r} and"
                f" {len(self.follows)} to follow. To follow the parent too is `Follow({parent!r})`."
            )
        put(self, "locked", tuple(locked))
        put(self, "limits", {} if limits is None else limits)
        put(
            self,
            "base_frame",
            None if base_frame is None else fr.check_frames("base_frame", base_frame),
        )
        put(self, "_bounds", _bounds(name, self.locked, self.limits))

    def __repr__(self) -> str:
        leaders = [
            f"{_format.name(one.leader)} ({one.what}, weight {_format.amount(one.weight, '', 2)})"
            for one in self.follows
        ]
        follows = f"follows {', '.join(leaders)}" if leaders else "follows nothing"
        return _format.line(
            self,
            _format.name(self.name),
            f"rest {_format.origin(self.rest)}",
            follows if self.parent is None else f"below {_format.name(self.parent)}",
            f"locked {', '.join(self.locked)}" if self.locked else "",
            f"limited {', '.join(self.limits)}" if self.limits else "",
            "stays elsewhere than at rest" if self.base_frame is not None else "",
        )

    @property
    def current_base(self) -> Floats:
        """Its frame as far as it follows nothing, shape (..., 4, 4)."""
        return self.rest if self.base_frame is None else self.base_frame

    @property
    def leaders(self) -> tuple[Follow, ...]:
        """Its leaders, a parent included."""
        return self.follows if self.parent is None else (Follow(self.parent),)


def pose(
    controls: Iterable[Control],
    values: ControlValues | None = None,
    outside: NamedFrames | None = None,
) -> dict[str, Floats]:
    """World frames of all controls, from their values and from what they follow.

    Parameters
    ----------
    controls : iterable of Control
        In any order.
    values : mapping of control name to mapping of channel to array_like, shape (...)
        Metres and radians; what is left out is zero. Locked channels stay at zero, limited ones
        within their limits.
    outside : mapping of str to array_like, shape (..., 4, 4)
        World frames of leaders that are not controls. To follow one, a `Follow` needs its `offset`.

    Returns
    -------
    dict of str to ndarray, shape (..., 4, 4)
        World frames, of the controls only.

    Raises
    ------
    ValueError
        For two controls of one name, a leader or channel that is not there, weights that add up to
        more than 1, or controls that follow each other in a circle, each named.

    Examples
    --------
    >>> from rigkit import controls, frames
    >>> pelvis = controls.Control("pelvis", rest=frames.frame(origin=[0, 0.9, 0]))
    >>> posed = controls.pose([pelvis], {"pelvis": {"shift_y": -0.1}})
    >>> posed["pelvis"][:3, 3].round(3).tolist()
    [0.0, 0.8, 0.0]
    """
    posed = {name: fr.check_frames(name, frame) for name, frame in (outside or {}).items()}
    ordered = with_offsets(topological_order(controls, posed))
    return _pose(ordered, _values(ordered, values or {}), posed)


def topological_order(
    controls: Iterable[Control], outside: Collection[str] = ()
) -> tuple[Control, ...]:
    """The controls, leaders before followers.

    Parameters
    ----------
    controls : iterable of Control
    outside : collection of str
        Leaders that are not controls.

    Returns
    -------
    tuple of Control

    Raises
    ------
    ValueError
        For two controls of one name, a missing leader, or followers in a circle, each named.
    """
    by_name = _by_name(controls, outside)
    ordered: dict[str, Control] = {}

    def visit(control: Control, path: list[str]) -> None:
        if control.name in path:
            circle = " → ".join([*path[path.index(control.name) :], control.name])
            raise ValueError(
                f"`controls` must not follow each other in a circle; got {circle}. "
                "Let one of them follow something else."
            )
        for follow in control.leaders:
            if follow.leader in by_name:
                visit(by_name[follow.leader], [*path, control.name])
            elif follow.leader not in outside or follow.offset is None:
                raise ValueError(
                    f"`{control.name}` must follow a control, or something posed outside with a"
                    f" gap; got {follow.leader!r}. There are {', '.join([*by_name, *outside])}."
                )
        ordered[control.name] = control

    for control in by_name.values():
        if control.name not in ordered:
            visit(control, [])
    return tuple(ordered.values())


def _by_name(controls: Iterable[Control], outside: Collection[str]) -> dict[str, Control]:
    controls = tuple(controls)
    by_name = {control.name: control for control in controls}
    count = Counter([*outside, *(control.name for control in controls)])
    twice = sorted(name for name, many in count.items() if many > 1)
    if twice or not by_name:
        raise ValueError(
            "`controls` must be at least one, each with a name of its own; "
            f"got {', '.join(twice) + ' more than once' if twice else 'none'}."
        )
    return by_name


def dependents(controls: Iterable[Control], name: str) -> tuple[str, ...]:
    """The names of all controls that move when one does, leaders before followers.

    Those are its followers, theirs, and so on, whatever they follow it in; a follower by weight
    zero stays.

    Parameters
    ----------
    controls : iterable of Control
        In any order; what they follow besides each other does not count.
    name : str

    Returns
    -------
    tuple of str

    Raises
    ------
    ValueError
        If there is no such control, or as in `topological_order`.

    Examples
    --------
    >>> from rigkit import controls
    >>> rig = [controls.Control("pelvis"), controls.Control("foot", parent="pelvis")]
    >>> controls.dependents(rig, "pelvis")
    ('foot',)
    """
    controls = tuple(controls)
    names = {control.name for control in controls}
    leaders = {
        follow.leader
        for control in controls
        for follow in control.leaders
        if follow.offset is not None
    }
    ordered = topological_order(controls, leaders - names)
    if name not in names:
        there = ", ".join(control.name for control in ordered)
        raise ValueError(f"Unknown control {name!r}; this rig has {there}.")
    moving = {name}
    for control in ordered:
        if any(follow.leader in moving and np.any(follow.weight > 0) for follow in control.leaders):
            moving.add(control.name)
    return tuple(c.name for c in ordered if c.name in moving and c.name != name)


def clamp_values(control: Control, values: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """The values that count, all six channels: locked ones zero, limited ones within limits.

    Parameters
    ----------
    control : Control
    values : mapping of channel to array_like, shape (...)

    Returns
    -------
    dict of str to ndarray, shape (...)

    Raises
    ------
    ValueError
        Bad numbers, or an unknown channel.

    Examples
    --------
    >>> from rigkit import controls
    >>> foot = controls.Control("foot", limits={"turn_x": (-0.5, 0.5)})
    >>> float(controls.clamp_values(foot, {"turn_x": 2})["turn_x"])
    0.5
    """
    return _by_channel(_values([control], {control.name: values})[..., 0, :])


def values_at(
    control: Control, world: ArrayLike, base: ArrayLike | None = None
) -> dict[str, Floats]:
    """The values that put a control at `world`: posing undone, without regard to locks and limits.

    Parameters
    ----------
    control : Control
    world : array_like, shape (..., 4, 4)
    base : array_like, shape (..., 4, 4), optional
        Where the control would be if its values were zero; its rest when left out.

    Returns
    -------
    dict of str to ndarray, shape (...)
        All six channels, metres and radians.

    Raises
    ------
    ValueError
        If a frame is not rigid, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import controls, frames
    >>> values = controls.values_at(controls.Control("foot"), frames.frame(origin=[0, 0.1, 0.3]))
    >>> float(values["shift_y"]), float(values["shift_z"])
    (0.1, 0.3)
    """
    base = control.rest if base is None else fr.check_frames("base", base)
    world = fr.check_frames("world", world)
    _check.batch(base=base.shape[:-2], world=world.shape[:-2])
    local = fr.relative(base, world)
    turn = rotation.euler_from_matrix(local[..., :3, :3], TURN_ORDER)[..., [0, 2, 1]]
    shift = fr.apply(local, control.pivot) - control.pivot
    return _by_channel(np.concatenate([shift, turn], axis=-1))


def offset_to(leader: ArrayLike, follower: ArrayLike, what: str = "both") -> Floats:
    """The gap that keeps `follower` where it is now while `what` of `leader` is followed.

    For "both" and "turn" the follower's frame seen from the leader; for "position" a frame without
    a turn that holds the vector between their origins, along the world's axes.

    Parameters
    ----------
    leader, follower : array_like, shape (..., 4, 4)
        World frames.
    what : {"both", "position", "turn"}

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a frame is not rigid, the batch shapes do not broadcast, or `what` is not among these.

    Examples
    --------
    >>> from rigkit import controls, frames
    >>> pelvis, foot = frames.frame(origin=[0, 0.9, 0]), frames.frame(origin=[0.1, 0.1, 0])
    >>> controls.offset_to(pelvis, foot)[:3, 3].tolist()
    [0.1, -0.8, 0.0]
    """
    leader, follower = fr.check_frames("leader", leader), fr.check_frames("follower", follower)
    _check.batch(leader=leader.shape[:-2], follower=follower.shape[:-2])
    if _check.choice("what", what, FOLLOWS) == "position":
        return fr.frame(origin=follower[..., :3, 3] - leader[..., :3, 3])
    return fr.relative(leader, follower)


def switch(
    control: Control,
    follows: str | Follow | Iterable[str | Follow],
    worlds: NamedFrames,
    values: Mapping[str, ArrayLike] | None = None,
) -> Control:
    """The control with new leaders, placed so that it does not jump.

    Every gap is taken at this moment, from the frames given.

    Parameters
    ----------
    control : Control
    follows : str, Follow or iterable of those
        The new leaders; gaps they carry are replaced. An empty tuple lets go: the control stays
        where it is.
    worlds : mapping of str to array_like, shape (..., 4, 4)
        World frames at the moment of the switch, of the control and its new leaders.
    values : mapping of channel to array_like, shape (...)
        The control's values at that moment; they mean the same after it.

    Returns
    -------
    Control

    Raises
    ------
    ValueError
        If a frame is missing or not rigid, or the values are bad.

    Examples
    --------
    >>> from rigkit import controls, frames
    >>> worlds = {"foot": frames.frame(origin=[0.1, 0.1, 0]), "pelvis": frames.frame()}
    >>> foot = controls.switch(controls.Control("foot"), "pelvis", worlds)
    >>> foot.follows[0].leader, foot.follows[0].offset[:3, 3].tolist()
    ('pelvis', [0.1, 0.1, 0.0])
    """
    asked = [follows] if isinstance(follows, str | Follow) else follows
    leaders = [Follow(follow) if isinstance(follow, str) else follow for follow in asked]
    for name in (control.name, *(follow.leader for follow in leaders)):
        if name not in worlds:
            raise ValueError(
                f"`worlds` must hold the frame of {name}; got {', '.join(worlds) or 'none'}. "
                "Give those of the control and of its leaders, as `pose` says them."
            )
    numbers = _values([control], {control.name: values or {}})[..., 0, :]
    moved = _value_frames(numbers, control.pivot)
    base = fr.check_frames(control.name, worlds[control.name]) @ fr.invert(moved)
    return replace(
        control,
        parent=None,
        base_frame=base,
        follows=tuple(
            replace(follow, offset=offset_to(worlds[follow.leader], base, follow.what))
            for follow in leaders
        ),
    )


def interpolate_keys(values: ControlValues, keys: ArrayLike) -> dict[str, dict[str, Floats]]:
    """Values in every frame when only some are keyed, on straight lines from key to key.

    Parameters
    ----------
    values : mapping of control name to mapping of channel to array_like, shape (f, ...)
        Frames first; a single number stays as it is.
    keys : array_like of whole numbers, shape (n,)
        The frames that are keyed, rising from 0 to f − 1.

    Returns
    -------
    dict of str to dict of str to ndarray, shape (f, ...)

    Raises
    ------
    ValueError
        For keys that do not rise from the first frame to the last, or numbers that are not finite.

    Examples
    --------
    >>> from rigkit import controls
    >>> values = {"pelvis": {"shift_y": [0.0, 0.3, 0.1]}}
    >>> controls.interpolate_keys(values, [0, 2])["pelvis"]["shift_y"].tolist()
    [0.0, 0.05, 0.1]
    """
    keys = _check.numbers("keys", keys, "n", hint="Give frames, such as range(0, 25, 6).")
    rising = keys.ndim == 1 and len(keys) > 1 and keys[0] == 0 and (np.diff(keys) > 0).all()
    if not rising or (keys % 1).any():
        raise ValueError(
            "`keys` must be two or more whole numbers that rise from 0; "
            f"got {_check.short(keys.tolist())}. Give frames, such as range(0, 25, 6)."
        )
    keyed = keys.astype(int)
    frames = np.arange(keyed[-1] + 1)
    place = np.searchsorted(keyed, frames[1:])
    place = np.concatenate([place[:1], place])
    before, after = keyed[place - 1], keyed[place]
    t = (frames - before) / (after - before)

    def held(name: str, array: Floats) -> Floats:
        if array.ndim == 0:
            return array
        if len(array) != len(frames):
            raise ValueError(
                f"`keys` must end at the last frame of {name}, {len(array) - 1}; got {frames[-1]}. "
                "Key that frame too."
            )
        part = t.reshape(-1, *[1] * (array.ndim - 1))
        return (1 - part) * array[before] + part * array[after]

    return {
        control: {channel: held(name, array) for channel, name, array in channels}
        for control, channels in _over_frames(values)
    }


def count_keys(values: ControlValues) -> int:
    """The number of keys that give these values in every frame, on straight lines.

    A channel that is zero throughout needs none, one that stays at another value needs one; any
    other needs its first frame, its last, and each frame in which it leaves the straight line
    through its neighbours.

    Parameters
    ----------
    values : mapping of control name to mapping of channel to array_like, shape (f,)

    Returns
    -------
    int

    Raises
    ------
    ValueError
        Bad numbers, or more than one number a frame.

    Examples
    --------
    >>> from rigkit import controls
    >>> controls.count_keys({"pelvis": {"shift_y": [0.0, 0.1, 0.2, 0.2]}})
    3
    """
    count = 0
    for _, channels in _over_frames(values):
        for _, name, array in channels:
            if array.ndim > 1:
                raise ValueError(f"`{name}` must have one number a frame; got shape {array.shape}.")
            if np.ptp(array) > SAME:
                count += 2 + int(np.count_nonzero(np.abs(np.diff(array, 2)) > SAME))
            else:
                count += int(np.abs(array).max() > SAME)
    return count


def _over_frames(values: ControlValues) -> Iterator[tuple[str, list[tuple[str, str, Floats]]]]:
    """Pairs of a control and its channels, each with its name in messages and its numbers."""
    if not isinstance(values, Mapping) or not all(
        isinstance(channels, Mapping) for channels in values.values()
    ):
        raise ValueError(
            "`values` must be a mapping of controls to mappings of channels such as "
            f"{{'pelvis': {{'shift_y': [0.0, -0.1]}}}}; got {type(values).__name__}."
        )
    for control, channels in values.items():
        named = [(channel, f"{control} {channel}") for channel in channels]
        yield (
            control,
            [(channel, name, _check.numbers(name, channels[channel])) for channel, name in named],
        )


def with_offsets(controls: Iterable[Control]) -> tuple[Control, ...]:
    """The controls with every parent made a leader, and every missing gap that at rest.

    Parameters
    ----------
    controls : iterable of Control

    Returns
    -------
    tuple of Control

    Raises
    ------
    ValueError
        If a gap is missing to a leader that is not among the controls.
    """
    controls = tuple(controls)
    rest = {control.name: control.rest for control in controls}

    def filled(follow: Follow, control: Control) -> Follow:
        if follow.offset is not None:
            return follow
        if follow.leader not in rest:
            raise ValueError(
                f"`{control.name}` must have a gap to what it follows outside the controls; "
                f"got none to {follow.leader!r}. `offset_to` gives it."
            )
        return replace(follow, offset=offset_to(rest[follow.leader], control.rest, follow.what))

    return tuple(
        control
        if control.parent is None and all(f.offset is not None for f in control.follows)
        else replace(
            control, parent=None, follows=tuple(filled(f, control) for f in control.leaders)
        )
        for control in controls
    )


def _pose(
    ordered: Sequence[Control], values: Floats, outside: Mapping[str, Floats]
) -> dict[str, Floats]:
    """World frames of ordered controls with gaps, from values (..., n, 6); nothing is checked."""
    moved = _value_frames(values, np.stack([control.pivot for control in ordered]))
    worlds = dict(outside)
    for i, control in enumerate(ordered):
        worlds[control.name] = _base(control, worlds) @ moved[..., i, :, :]
    return {control.name: worlds[control.name] for control in ordered}


def _base(control: Control, worlds: Mapping[str, Floats]) -> Floats:
    """A control's frame before its values: a weighted mean of its leaders' and its own."""
    leaders = control.follows
    if not leaders:
        return control.current_base
    asked = [_asked(follow, worlds[follow.leader]) for follow in leaders]
    if len(leaders) == 1 and leaders[0]._whole:
        return asked[0]
    place = _weighted(
        control,
        "position",
        control.current_base[..., :3, 3],
        [frame[..., :3, 3] for frame in asked],
        _place_between,
    )
    turn = _weighted(
        control,
        "turn",
        rotation.quaternion_from_matrix(control.current_base[..., :3, :3]),
        [rotation.quaternion_from_matrix(frame[..., :3, :3]) for frame in asked],
        rotation.slerp,
    )
    return fr.frame(rotation.matrix_from_quaternion(turn), place)


def _asked(follow: Follow, leader: Floats) -> Floats:
    """The frame that one leader alone would give its follower."""
    assert follow.offset is not None, "`with_offsets` has filled them in"
    return follow.offset @ leader if follow.what == "position" else leader @ follow.offset


def _weighted(
    control: Control,
    part: str,
    mean: Floats,
    asked: Sequence[Floats],
    between: Callable[[Floats, Floats, Floats], Floats],
) -> Floats:
    """The mean of a control's own part and its leaders', grown one leader at a time."""
    counted = [
        (follow.weight, value)
        for follow, value in zip(control.follows, asked, strict=True)
        if follow.what in ("both", part)
    ]
    total = 1 - sum((weight for weight, _ in counted), np.zeros(()))
    if not np.all(total > -1e-9):
        raise ValueError(
            f"`{control.name}` must follow with weights that add up to at most 1; "
            f"got {1 - np.min(total):g}. What is left to 1 stays where it is."
        )
    total = np.maximum(total, 0.0)
    for weight, value in counted:
        total = total + weight
        mean = between(mean, value, weight / np.where(total > 0, total, 1.0))
    return mean


def _place_between(start: Floats, end: Floats, t: Floats) -> Floats:
    return start + t[..., None] * (end - start)


def _bounds(control: str, locked: Iterable[str], limits: Mapping[str, ArrayLike]) -> Floats:
    """The least and the greatest value of each channel, shape (2, 6)."""
    low, high = np.full(6, -np.inf), np.full(6, np.inf)
    for name, pair in limits.items():
        bounds = _check.numbers(f"limits of {name}", pair, 2)
        low[_channel(control, name)], high[_channel(control, name)] = bounds
        if not bounds[0] <= 0 <= bounds[1]:
            raise ValueError(f"`limits` of {name} must hold zero, the rest; got {bounds.tolist()}.")
    for name in locked:
        low[_channel(control, name)] = high[_channel(control, name)] = 0.0
    return np.stack([low, high])


def _channel(control: str, channel: str) -> int:
    if channel not in _PLACES:
        raise ValueError(
            f"Unknown channel {channel!r} of `{control}`; there are {', '.join(CHANNELS)}."
        )
    return _PLACES[channel]


def _by_channel(values: Floats) -> dict[str, Floats]:
    return dict(zip(CHANNELS, np.moveaxis(values, -1, 0), strict=True))


def _values(controls: Sequence[Control], values: ControlValues) -> Floats:
    """The allowed values of all controls, shape (..., n, 6); names and numbers are checked."""
    given = _given(controls, values)
    shape = _check.batch(
        **{
            f"{controls[i].name} {CHANNELS[j]}": value.shape
            for (i, j), value in given.items()
            if not isinstance(value, float)
        }
    )
    numbers = np.zeros((*shape, len(controls), 6))
    for (i, j), value in given.items():
        numbers[..., i, j] = value
    bounds = np.stack([control._bounds for control in controls], axis=1)
    return np.minimum(np.maximum(numbers, bounds[0]), bounds[1])


def _given(
    controls: Sequence[Control], values: ControlValues
) -> dict[tuple[int, int], float | Floats]:
    """The values that are given, by the indices of their control and channel."""
    at = {control.name: i for i, control in enumerate(controls)}
    given: dict[tuple[int, int], float | Floats] = {}
    for name, channels in values.items():
        if name not in at:
            raise ValueError(f"Unknown control {name!r} in `values`; this rig has {', '.join(at)}.")
        if not isinstance(channels, Mapping):
            raise ValueError(
                f"`values` of {name} must be a mapping of channels such as "
                f"{{'shift_y': -0.1}}; got {channels!r}."
            )
        for channel, value in channels.items():
            place = at[name], _channel(name, channel)
            number = _check.plain(value)  # most are, and a slider cannot wait for the rest
            given[place] = number[0] if number else _check.numbers(f"{name} {channel}", value)
    return given


def _value_frames(values: Floats, pivots: Floats) -> Floats:
    """The frames that values make after their base: shift, then turn about the pivot.

    The turn is `rotation.matrix_from_euler` in `TURN_ORDER`, written out for speed.
    """
    frames = np.empty((*values.shape[:-1], 4, 4))
    sx, sy, sz = np.moveaxis(np.sin(values[..., 3:]), -1, 0)
    cx, cy, cz = np.moveaxis(np.cos(values[..., 3:]), -1, 0)
    frames[..., 0, 0], frames[..., 0, 1], frames[..., 0, 2] = cz * cy, -sz, cz * sy
    frames[..., 1, 0], frames[..., 1, 1] = cx * sz * cy + sx * sy, cx * cz
    frames[..., 2, 0], frames[..., 2, 1] = sx * sz * cy - cx * sy, sx * cz
    frames[..., 1, 2], frames[..., 2, 2] = cx * sz * sy - sx * cy, sx * sz * sy + cx * cy
    turned = (frames[..., :3, :3] @ pivots[..., None])[..., 0]
    frames[..., :3, 3] = values[..., :3] + pivots - turned
    frames[..., 3, :] = 0.0, 0.0, 0.0, 1.0
    return frames
