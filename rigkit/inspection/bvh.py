"""Motion from a BVH file: a tree of joints and what each of them does, frame by frame.

The format is old and open: HIERARCHY with ROOT, JOINT and End Site, each with OFFSET and CHANNELS;
then MOTION with Frames, Frame Time and the channels' numbers. A joint's rotations apply in the
order in which they are listed, each about the axis as the ones before have turned it; the root's
position is its OFFSET plus its channels (Lander, "Working with motion capture file formats", Game
Developer 5(1), 1998, as told in the file formats page of Univ. of Wisconsin's CS 838, 1999: seen,
secondary).
"""

from __future__ import annotations

import os
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from rigkit import rotation
from rigkit._types import Floats
from rigkit.gltf import Animation, Asset, Channel, Node
from rigkit.gltf.container import LARGEST, regular_file
from rigkit.gltf.fields import LARGEST_FLOAT, short

MAX_JOINTS = 10_000
_BEGINS = re.compile(rb"(?:\xef\xbb\xbf)?\s*HIERARCHY\b", re.IGNORECASE)
_MOTION = re.compile(rb"^[ \t]*MOTION[ \t]*\r?$", re.IGNORECASE | re.MULTILINE)
_FRAMES = re.compile(
    rb"\s*Frames[ \t]*:[ \t]*(?P<count>\S{1,40})\s+Frame[ \t]+Time[ \t]*:[ \t]*(?P<step>\S{1,40})",
    re.IGNORECASE,
)
_TOKEN = re.compile(
    r"(?P<open>\{)|(?P<close>\})|(?P<kind>ROOT|JOINT)\b[ \t]*(?P<name>[^\r\n{]*)"
    r"|(?P<end>End[ \t]+Site\b)[^\r\n{]*|OFFSET\b(?P<offset>[^\r\n{}]*)"
    r"|CHANNELS[ \t]+(?P<count>\d{1,9})\b(?P<channels>(?:\s+[XYZ](?:position|rotation)\b)*)",
    re.IGNORECASE,
)
_SPACE = re.compile(r"\s*")


class Recording(Asset):
    """A motion with the joints it is of: no rig, so its pose at zero is not one to rest in."""


def is_bvh(data: bytes) -> bool:
    """Return True if a file's first bytes are those of a BVH file."""
    return _BEGINS.match(data[:1000]) is not None


def read(source: str | os.PathLike[str] | bytes) -> Recording:
    """Read the joints of a BVH file, and its motion.

    Parameters
    ----------
    source : str, Path or bytes
        A file, or what stands in one.

    Returns
    -------
    Recording
        In the file's own unit, which it does not say. An End Site is a node "… end".

    Raises
    ------
    ValueError
        If the file cannot be read or is not such a file, whole and finite. It names the line.
    """
    name = "what was given" if isinstance(source, bytes) else short(os.path.basename(source))
    try:
        if not isinstance(source, bytes):
            source = regular_file(Path(source), "the file", LARGEST)
        return _recording(source)
    except ValueError as problem:
        raise ValueError(f"Cannot read {name}: {problem}") from None


@dataclass
class _Joint:
    name: str
    parent: int | None
    offset: Floats = field(default_factory=lambda: np.full(3, np.nan))  # until it is read
    channels: list[str] = field(default_factory=list)  # such as "zrotation"
    column: int = 0

    def columns(self, kind: str) -> list[tuple[int, int]]:
        """The axis and the column of each channel of a kind, in their order."""
        return [
            ("xyz".index(channel[0]), self.column + i)
            for i, channel in enumerate(self.channels)
            if channel.endswith(kind)
        ]


def _recording(data: bytes) -> Recording:
    begins, motion = _BEGINS.match(data), _MOTION.search(data)
    if begins is None:
        raise ValueError("the file must begin with HIERARCHY. Is it a BVH file?")
    if motion is None:
        raise ValueError("there is no line MOTION. The file may be cut short.")
    header = data[begins.end() : motion.start()].decode("utf-8", errors="replace")
    joints = _Hierarchy(header, 1 + data[: begins.end()].count(b"\n")).joints
    columns = sum(len(joint.channels) for joint in joints)
    times, numbers, notes = _numbers(data[motion.end() :], columns)
    nodes = [Node(joint.name, joint.parent, translation=joint.offset) for joint in joints]
    if not numbers.size:
        return Recording(nodes, notes=notes)
    channels = [
        each for i, joint in enumerate(joints) for each in _channels(i, joint, times, numbers)
    ]
    return Recording(nodes, animations=[Animation("motion", channels)], notes=notes)


# The tree


class _Hierarchy:
    """The joints of the text between HIERARCHY and MOTION."""

    def __init__(self, text: str, line: int) -> None:
        self.joints: list[_Joint] = []
        self._open: list[int] = []
        self._next: _Joint | None = None  # its brace is still to come
        self._columns = 0
        self._text, self._line, self._at = text, line, 0
        for token in self._tokens():
            self._take(token)
        if self._open or self._next:
            raise self._refusal("a brace } must close each joint", "the end")
        if not self.joints:
            raise self._refusal("there must be a ROOT", "none")

    def _tokens(self) -> Iterator[re.Match[str]]:
        at = 0
        while True:
            space = _SPACE.match(self._text, at)
            at = self._at = space.end() if space else at
            if at == len(self._text):
                return
            token = _TOKEN.match(self._text, at)
            if token is None:
                words = "ROOT, JOINT, End Site, OFFSET, CHANNELS or a brace must stand here"
                raise self._refusal(words, short(self._text[at : at + 40].split("\n")[0]))
            yield token
            at = token.end()

    def _refusal(self, must: str, came: str) -> ValueError:
        line = self._line + self._text.count("\n", 0, self._at)
        return ValueError(f"line {line}: {must}; got {came}.")

    def _take(self, token: re.Match[str]) -> None:
        if token["kind"] or token["end"]:
            self._begin(token)
        elif token["open"]:
            if self._next is None:
                raise self._refusal("a brace { must follow a joint's name", "another")
            self._open.append(len(self.joints))
            self.joints.append(self._next)
            self._next = None
        elif self._next is not None or not self._open:
            raise self._refusal("a brace { must follow a joint's name", short(token[0][:40]))
        elif token["close"]:
            if np.isnan(self.joints[self._open.pop()].offset[0]):
                raise self._refusal("each joint must have an OFFSET", "none")
        elif token["offset"] is not None:
            self._offset(token["offset"].split())
        else:
            self._channels(int(token["count"]), token["channels"].lower().split())

    def _begin(self, token: re.Match[str]) -> None:
        root = (token["kind"] or "").upper() == "ROOT"
        if self._next is not None or root == bool(self._open):
            where = "outside all braces" if root else "within the braces of another joint"
            raise self._refusal(f"{token['kind'] or 'End Site'} must stand {where}", "it elsewhere")
        if len(self.joints) >= MAX_JOINTS:
            raise self._refusal(f"there must be at most {MAX_JOINTS:,} joints", "more")
        parent = self._open[-1] if self._open else None
        name = f"{self.joints[parent].name} end" if token["end"] and parent is not None else ""
        self._next = _Joint(name or (token["name"] or "").strip(), parent)

    def _offset(self, words: list[str]) -> None:
        joint = self.joints[self._open[-1]]
        numbers = [number for word in words if (number := _number(word)) is not None]
        if len(words) != 3 or len(numbers) != 3 or not np.isnan(joint.offset[0]):
            raise self._refusal("one OFFSET must have three finite numbers", short(words[:8]))
        joint.offset = np.array(numbers)

    def _channels(self, count: int, names: list[str]) -> None:
        joint = self.joints[self._open[-1]]
        if len(names) != count or len(set(names)) < count or joint.channels:
            raise self._refusal(
                "one CHANNELS must name as many as it says, such as Xposition, each once",
                f"{len(names)} names for {count}",
            )
        joint.channels, joint.column = names, self._columns
        self._columns += count


def _number(word: str | bytes) -> float | None:
    try:
        number = float(word)
    except ValueError:
        return None
    return number if abs(number) <= LARGEST_FLOAT else None


# The motion


def _numbers(text: bytes, columns: int) -> tuple[Floats, Floats, list[str]]:
    """The time of each frame, its numbers, shape (frames, columns), and what is to be noted."""
    head = _FRAMES.match(text)
    if head is None:
        raise ValueError("after MOTION must follow the lines `Frames:` and `Frame Time:`.")
    step = _number(head["step"])
    if not re.fullmatch(rb"\d{1,12}", head["count"]):
        raise ValueError(f"`Frames:` must be a whole number; got {_shown(head['count'])}.")
    if step is None or not step > 0:
        raise ValueError(
            f"`Frame Time:` must be a number of seconds above zero; got {_shown(head['step'])}."
        )
    numbers, frames = _all_numbers(text[head.end() :]), int(head["count"])
    more, part = divmod(len(numbers) - frames * columns, max(columns, 1))
    if more < 0 or part or (numbers.size and not columns):
        raise ValueError(
            f"each of the {frames} frames must have {columns} numbers, {frames * columns} in all;"
            f" got {len(numbers)}. The file may be cut short."
        )
    numbers = numbers[: frames * columns]
    good = np.abs(numbers) <= LARGEST_FLOAT
    if not good.all():
        wrong = int(np.argmin(good))
        raise ValueError(
            f"frame {wrong // columns + 1}: its numbers must be finite; got {numbers[wrong]}."
        )
    notes = ["The file has more frames than it says; those are not read."] if more else []
    return step * np.arange(frames if columns else 0.0), numbers.reshape(-1, max(columns, 1)), notes


def _all_numbers(text: bytes) -> Floats:
    if not text.strip():
        return np.empty(0)
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)  # its way to say that it stopped early
        try:
            return np.fromstring(text, dtype=np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            raise ValueError("the frames must be numbers alone; got something else.") from None


def _shown(text: bytes) -> str:
    return short(text.decode("utf-8", errors="replace"))


def _channels(node: int, joint: _Joint, times: Floats, numbers: Floats) -> Iterator[Channel]:
    """A joint's channels: where it is in its parent, and how it is turned."""
    places = joint.columns("position")
    if places:
        yield Channel(node, "translation", times, _positions(joint, places, numbers))
    turn = np.array([0.0, 0.0, 0.0, 1.0])
    turns = joint.columns("rotation")
    for axis, column in turns:
        half = np.radians(np.fmod(numbers[:, column], 720.0)) / 2
        about = np.zeros((len(half), 4))
        about[:, axis], about[:, 3] = np.sin(half), np.cos(half)
        turn = rotation.multiply_quaternions(turn, about)
    if turns:
        yield Channel(node, "rotation", times, turn)


def _positions(joint: _Joint, places: list[tuple[int, int]], numbers: Floats) -> Floats:
    """A joint's place in its parent, frame by frame.

    Of a joint that is no root some programs write it whole, some as what is added to OFFSET. Taken
    is what keeps the bone's length more nearly.
    """
    moved = np.zeros((len(numbers), 3))
    for axis, column in places:
        moved[:, axis] = numbers[:, column]
    offset, added = joint.offset, moved + joint.offset
    if joint.parent is None:
        return added
    whole = np.broadcast_to(offset, moved.shape).copy()
    for axis, column in places:
        whole[:, axis] = numbers[:, column]
    length = np.linalg.norm(offset)
    off = [np.abs(np.linalg.norm(way, axis=-1) - length).mean() for way in (whole, added)]
    return whole if off[0] <= off[1] else added
