"""The bench's file, marked: made anew from its state, held against it, measured step by step.

Nothing in the file is believed. Its state is plain data within bounds, from which all is built
again; only a file that holds just that is measured by its state. No code of a stranger runs.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from rigkit import _check, gltf, inspection, puppets, rotation
from rigkit._types import Floats
from rigkit.bench import build, measure, misconceptions
from rigkit.bench.measure import Measured
from rigkit.bench.misconceptions import Misconception
from rigkit.bench.state import STEPS, State, shape_mark
from rigkit.puppets import Puppet

__all__ = [
    "MOST_BYTES",
    "BenchMarks",
    "StepMark",
    "differences",
    "holds",
    "mark",
    "of_state",
    "read",
]

MOST_BYTES = 2 * 2**20  # a file of the bench has some 300,000
PLACE_MM, TURN, WEIGHT = 0.1, 1e-3, 1 / 255  # by more than that a file is another one
SIGN_OFF = max(STEPS)
HAND_IN = 'Hand in the file that the last step of the bench writes, such as "my-leg.glb".'
UNREADABLE = "The file cannot be read"


def __dir__() -> list[str]:
    return __all__


Inspect = Callable[[bytes], Iterable[Mapping[str, Any]]]  # bytes of a .glb to findings


@dataclass(frozen=True)
class StepMark:
    """One step, measured.

    Attributes
    ----------
    step : str
        "01" to "12".
    numbers : tuple of Measured
        Empty where it cannot be measured.
    given : bool
        True if the kit filled it in, so that it does not count.
    touched : bool
        False if all of it is as it was at the start.
    misconception : Misconception or None
        The wrong model it shows, if it is not right.
    said : str
        The measurement that tells the misconception.
    why : str
        The reason why the step cannot be marked; "" where it can.
    """

    step: str
    numbers: tuple[Measured, ...] = ()
    given: bool = False
    touched: bool = True
    misconception: Misconception | None = None
    said: str = ""
    why: str = ""

    @property
    def right(self) -> bool:
        """True if every number is within its limits, whoever saw to that."""
        return bool(self.numbers) and all(each.right for each in self.numbers)

    @property
    def score(self) -> float:
        """The share of the numbers within their limits, 0 to 1; 0 of what the learner did not do.

        A step left as it was counts if all of it is right so.
        """
        if not self.numbers or self.given or not (self.touched or self.right):
            return 0.0
        return float(np.mean([each.right for each in self.numbers]))

    def __repr__(self) -> str:
        told = self.why or (self.misconception.name if self.misconception else "")
        what = f"score {self.score:.0%}{', given' if self.given else ''}"
        return f"StepMark {self.step}, {what}{f': {told}' if told else ''}"


@dataclass(frozen=True)
class BenchMarks:
    """A file of the bench, marked.

    Attributes
    ----------
    state : State
        What it was made from, by its own account.
    differences : tuple of str
        In what the file is not what its state makes; empty if it is.
    steps : dict of str to StepMark
    notes : tuple of str
        Sentences for a teacher.
    """

    state: State
    differences: tuple[str, ...]
    steps: Mapping[str, StepMark]
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        right = sum(mark.score == 1 for mark in self.steps.values())
        held = "other than its state" if self.differences else "as its state makes it"
        return f"BenchMarks: {self.state.puppet.name}, {right} of {len(self.steps)} steps, {held}"


def holds(data: bytes) -> bool:
    """Return whether bytes seem to be a file of the bench; its state is not read.

    Parameters
    ----------
    data : bytes

    Returns
    -------
    bool
    """
    return data[:4] == b"glTF" and f'"{build.EXTRAS}"'.encode() in data[:MOST_BYTES]


def read(data: bytes, characters: Sequence[Puppet]) -> tuple[State, gltf.Asset]:
    """Return the state that a file holds, and the rig beside it, of which nothing is believed.

    Parameters
    ----------
    data : bytes
        Of a .glb.
    characters : sequence of Puppet
        Those whose legs are taken; of several of one name, that of the state's shape.

    Returns
    -------
    (State, Asset)

    Raises
    ------
    ValueError
        With a sentence: larger than a leg is, no glTF, without a state, of another version or of a
        character there is not, a field missing, unknown or out of its bounds.
    """
    if len(data) > MOST_BYTES:
        raise ValueError(
            f"The file has more than {MOST_BYTES:,} bytes; a leg from the bench has some 300,000."
            f" {HAND_IN}"
        )
    if data[:4] != b"glTF":
        raise ValueError(f"The file is no .glb. {HAND_IN}")
    try:
        asset = gltf.read(data)
    except ValueError as why:
        raise ValueError(str(why).replace("Cannot read what was given", UNREADABLE)) from None
    if build.EXTRAS not in asset.extras:
        raise ValueError(f"The file holds no state of the bench (no {build.EXTRAS!r}). {HAND_IN}")
    told = asset.extras[build.EXTRAS]
    puppet = _character(told, characters)
    try:
        return State.read(json.dumps(told, ensure_ascii=False), puppet), asset
    except ValueError as why:
        raise ValueError(f"The leg's state cannot be read: {why}".replace("`text`", "it")) from None


def _character(told: Any, known: Sequence[Puppet]) -> Puppet:
    """The character whose leg a state says it is; of several of one name, that of its shape."""
    name, shape = (
        (told.get("puppet"), told.get("shape")) if isinstance(told, Mapping) else (None, None)
    )
    named = [each for each in known if each.name == name]
    if not named:
        names = ", ".join(dict.fromkeys(each.name for each in known))
        raise ValueError(f"The leg must be of one of {names}; its state says {_check.short(name)}.")
    return next((each for each in named if shape_mark(each) == shape), named[0])


def mark(data: bytes, own: Sequence[Puppet] = (), inspect: Inspect | None = None) -> BenchMarks:
    """Mark a file of the bench.

    Parameters
    ----------
    data : bytes
        Of a .glb.
    own : sequence of Puppet
        Characters of the learner's own, beside those of the parade.
    inspect : callable, optional
        Inspects the bytes of a file that is not what its state makes, such as in a jail, and gives
        the findings as `measure.signed_off` takes them; may raise ValueError. By default here.

    Returns
    -------
    BenchMarks

    Raises
    ------
    ValueError
        If there is nothing to mark: see `read`.
    """
    parade = map(puppets.get, puppets.PUPPETS)
    state, asset = read(data, [each for each in (*parade, *own) if len(each.bones) == 2])
    found = tuple(differences(asset, state))
    if found:
        return BenchMarks(state, found, _of_another_file(data, state, found, inspect or _inspect))
    return BenchMarks(state, (), of_state(state), tuple(_notes(state)))


def _inspect(data: bytes) -> Iterable[Mapping[str, Any]]:
    return inspection.inspect(gltf.read(data)).data()["findings"]


def of_state(state: State) -> dict[str, StepMark]:
    """Return the marks of a leg, by what is built of its state.

    Parameters
    ----------
    state : State

    Returns
    -------
    dict of str to StepMark
        By step.
    """
    return {step: _of_step(state, step) for step in STEPS}


def _of_step(state: State, step: str) -> StepMark:
    mark = StepMark(step, given=step in state.given, touched=_is_touched(state, step))
    try:
        mark = replace(mark, numbers=measure.measure(state, step))
    except ValueError as why:
        return replace(mark, why=f"it cannot be measured: {why}")
    if mark.right or not mark.touched:
        return mark
    try:
        found = misconceptions.found(state, step)
    except ValueError:  # what would tell it lies in another step, of which nothing can be measured
        return mark
    return replace(mark, misconception=found[0], said=found[1]) if found else mark


def _is_touched(state: State, step: str) -> bool:
    """True if something of a step is not as at the start.

    In the fourth and the ninth something is chosen from the start: who leaves it has chosen that.
    The last step sets nothing.
    """
    if step in ("04", "09", SIGN_OFF):
        return True
    if step == "06":
        bend = state.chain.bend
        return state.joints_mm[bend] != State.bare(state.puppet).joints_mm[bend]
    bare = State.bare(state.puppet)
    return any(getattr(state, name) != getattr(bare, name) for name in STEPS[step])


def _notes(state: State) -> Iterator[str]:
    """Sentences on what a teacher may want to ask."""
    sound = State.bare(state.puppet).with_sound(SIGN_OFF).joints_mm
    alike = sum(state.joints_mm[name] == sound[name] for name in state.chain.joints)
    if "01" not in state.given and alike >= len(sound) - 1:
        yield (
            f"{alike} of {len(sound)} joints stand to the millimetre where the kit's own sound"
            " start has them, and the state does not say that it was given."
        )


def _of_another_file(
    data: bytes, state: State, found: Sequence[str], inspect: Inspect
) -> dict[str, StepMark]:
    """The marks of a file that is not what its state makes: only its inspection is measured."""
    why = (
        "the file is not what its own state makes, so this step cannot be marked. Write it anew on"
        f" the bench. What differs: {found[0]}"
    )
    steps = {step: StepMark(step, given=step in state.given, why=why) for step in STEPS}
    try:
        numbers = measure.signed_off(inspect(data), state.kept)
        steps[SIGN_OFF] = StepMark(SIGN_OFF, tuple(numbers), given=SIGN_OFF in state.given)
    except ValueError as problem:
        steps[SIGN_OFF] = StepMark(SIGN_OFF, why=f"it cannot be inspected: {problem}")
    return steps


# --- what stands in the file, against what its state makes ---


@lru_cache(maxsize=4)
def _made(state: State) -> gltf.Asset:
    """The state's own file, as it is read back."""
    return gltf.read(build.bytes_of(state))


def differences(asset: gltf.Asset, state: State) -> Iterator[str]:
    """Yield in what a file is not what its state makes, each in words and by how much.

    Parameters
    ----------
    asset : Asset
    state : State

    Yields
    ------
    str
    """
    try:
        made = _made(state)
    except ValueError as why:
        yield f"no file can be made of its state ({why})."
        return
    if _tree(asset) != _tree(made):
        yield f"the nodes are others: {_first_other(_tree(asset), _tree(made))}."
        return
    if _counts(asset) != _counts(made):
        yield f"it has {_counts(asset)}; its state makes {_counts(made)}."
        return
    yield from _places_off(asset, made)
    yield from _skin_off(asset.skins[0], made.skins[0])
    yield from _surface_off(asset.meshes[0], made.meshes[0])
    yield from _clip_off(asset.animations[0], made.animations[0])


def _counts(asset: gltf.Asset) -> str:
    skins, meshes, clips = (len(each) for each in (asset.skins, asset.meshes, asset.animations))
    return f"{skins} skins, {meshes} meshes and {clips} animations"


def _tree(asset: gltf.Asset) -> list[tuple[str, str | None, bool, bool]]:
    """Each node's name and parent, and whether it has a mesh and a skin."""
    names = [node.name for node in asset.nodes]
    return [
        (
            node.name,
            None if node.parent is None else names[node.parent],
            node.mesh is not None,
            node.skin is not None,
        )
        for node in asset.nodes
    ]


def _first_other(theirs: Sequence[Any], ours: Sequence[Any]) -> str:
    if len(theirs) != len(ours):
        return f"{len(theirs)} nodes, where there should be {len(ours)}"
    mine, made = next(pair for pair in zip(theirs, ours, strict=True) if pair[0] != pair[1])
    below = "nothing" if mine[1] is None else _check.short(mine[1])
    return f"{_check.short(mine[0])} below {below}, where {made[0]!r} belongs below {made[1]!r}"


def _places_off(asset: gltf.Asset, made: gltf.Asset) -> Iterator[str]:
    off = asset.rest_world() - made.rest_world()
    away = 1000 * np.linalg.norm(off[:, :3, 3], axis=-1)
    if not away.max() <= PLACE_MM:
        worst = made.nodes[int(away.argmax())].name
        yield f"the joint {worst!r} stands {away.max():.1f} mm elsewhere."
    turned = np.abs(off[:, :3, :3]).max(axis=(1, 2))
    if not turned.max() <= TURN:
        worst = made.nodes[int(turned.argmax())].name
        yield f"the joint {worst!r} is turned or scaled; its matrix is off by {turned.max():.3f}."


def _skin_off(theirs: gltf.Skin, ours: gltf.Skin) -> Iterator[str]:
    if not np.array_equal(theirs.joints, ours.joints):
        yield "its skin has other joints, or in another order."
        return
    off = float(np.abs(theirs.inverse_bind - ours.inverse_bind).max())
    if not off <= PLACE_MM / 1000:
        yield f"its joints were bound elsewhere: an inverse bind matrix is off by {off:.4f}."


def _surface_off(theirs: gltf.Mesh, ours: gltf.Mesh) -> Iterator[str]:
    counts = [f"{len(each.positions):,} vertices" for each in (theirs, ours)]
    if counts[0] != counts[1]:
        yield f"the skin is not the one that was given: {counts[0]}; given were {counts[1]}."
        return
    if not np.array_equal(theirs.triangles, ours.triangles):
        yield "the skin is not the one that was given: it has other triangles."
    moved = 1000 * np.linalg.norm(theirs.positions - ours.positions, axis=-1)
    if not moved.max() <= PLACE_MM:
        yield f"{_many(moved > PLACE_MM)} of the given skin moved, by up to {moved.max():.1f} mm."
    if theirs.weights is None:
        yield "the skin has no weights."
        return
    count = max(theirs.highest_joint, ours.highest_joint) + 1
    off = np.abs(_table(theirs, count) - _table(ours, count)).max(axis=1)
    if not off.max() <= WEIGHT:
        yield f"the weights of {_many(off > WEIGHT)} are others, by up to {off.max():.3f}."


def _many(which: Any) -> str:
    count = int(np.sum(which))
    return f"{count:,} {'vertex' if count == 1 else 'vertices'}"


def _table(surface: gltf.Mesh, count: int) -> Floats:
    """A surface's weights, (v, joints)."""
    table = np.zeros((len(surface.positions), count))
    if surface.joints is not None and surface.weights is not None:
        rows = np.arange(len(table))[:, None]
        np.add.at(table, (rows, surface.joints), surface.weights)
    return table


def _clip_off(theirs: gltf.Animation, ours: gltf.Animation) -> Iterator[str]:
    mine, made = _tracks(theirs), _tracks(ours)
    if theirs.name != ours.name or mine.keys() != made.keys():
        yield "the walk moves other joints, or has another name."
        return
    pairs = [(mine[key], made[key]) for key in made]
    if any(
        len(a.times) != len(b.times) or np.abs(a.times - b.times).max() > 1e-4 for a, b in pairs
    ):
        yield "the walk has keys at other times."
        return
    off = max(_keys_off(a, b) for a, b in pairs)
    if not off <= TURN:
        yield f"the walk has other keys, off by up to {off:.4f} m or parts of a quaternion."


def _tracks(clip: gltf.Animation) -> dict[tuple[int, str, str], gltf.Channel]:
    return {(each.node, each.path, each.interpolation): each for each in clip.channels}


def _keys_off(theirs: gltf.Channel, ours: gltf.Channel) -> float:
    """The greatest difference of two tracks; a quaternion is the same with either sign."""
    mine, made = theirs.values, ours.values
    if theirs.path == "rotation":
        mine, made = rotation.unit_quaternion(mine), rotation.unit_quaternion(made)
        mine = mine * np.where((mine * made).sum(axis=-1, keepdims=True) < 0, -1, 1)
    return float(np.abs(mine - made).max())
