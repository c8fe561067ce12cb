"""A rig file mended where that is safe and exact; what moves skin is left to whoever made it.

Mended are weights that do not add up to one, weights beyond the fourth that hardly count, the
signs of quaternions, and names that do not say their side. All else in the file stays as it is.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from rigkit import gltf
from rigkit._types import Floats, Ints
from rigkit.gltf.accessors import CompressedError
from rigkit.gltf.fields import Entry, fields
from rigkit.gltf.patch import Patch
from rigkit.gltf.reader import DRACO
from rigkit.inspection.legs import Legs
from rigkit.inspection.names import SIDE_WORDS, read_name
from rigkit.inspection.subject import Subject
from rigkit.inspection.weight_rules import NO_WEIGHT
from rigkit.page import plain

# Our choice: of a vertex's weights no more than this may fall away, beyond the strongest four.
FALLS_AWAY = 0.01
# The Khronos validator allows sums of 32-bit weights to be off by this for each that is not zero.
SUM_OFF = 2e-7
SHOWS = 1e-3  # our choice, as in the rule "weights-sum": less is rounding in other programs
FAR = 0.1  # our choice: rounding and forgotten crumbs are off by less
CERTAIN = 0.9  # our choice: of legs less certain no joint is renamed
_OTHER = {"l": "r", "L": "R", "left": "right", "Left": "Right", "LEFT": "RIGHT"}
_OTHER |= {right: left for left, right in _OTHER.items()}
_SIDE = re.compile(rf"(?<![A-Za-z])({'|'.join(_OTHER)})(?![a-z])|({'Left|Right'})(?![a-z])")


def fix(
    source: str | os.PathLike[str],
    out: str | os.PathLike[str],
    mapping: Mapping[str, object] | None = None,
    pair: str | None = None,
) -> tuple[str, ...]:
    """Write a rig file anew with what can be mended safely; the file itself is left alone.

    Parameters
    ----------
    source : str or Path
        A .glb or .gltf file.
    out : str or Path
        A new .glb or .vrm file; data and pictures in files of their own are put into it.
    mapping, pair : optional
        As for `inspect`: they decide which joints' names are given a side.

    Returns
    -------
    tuple of str
        What was done, and what was left and why, each a sentence.

    Raises
    ------
    ValueError
        For a file that cannot be read as glTF, or a place that is taken or cannot be written to.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from rigkit import export, gltf, puppets
    >>> from rigkit.inspection.fix import fix
    >>> with TemporaryDirectory() as folder:
    ...     gltf.write(export.puppet_asset(puppets.PUPPETS["Tamsin"], 500), f"{folder}/rig.glb")
    ...     fix(f"{folder}/rig.glb", f"{folder}/mended.glb")
    ('Nothing needed mending: the rig is written as it was.',)
    """
    out = Path(out)
    if out.suffix.lower() not in (".glb", ".vrm"):
        raise ValueError(f"`out` must be a file that ends in .glb or .vrm; got {str(out)!r}.")
    if out.exists():
        raise _taken(out)
    asset = gltf.read(source)
    patch = Patch(source)
    said = [*_mend_weights(patch), *_mend_signs(patch)]
    said += _mend_names(patch, Subject(asset, mapping, pair).legs, asset)
    try:
        patch.save(out)
    except FileExistsError:
        raise _taken(out) from None
    except OSError as problem:
        raise ValueError(
            f"`out` must be a place to write to; got {str(out)!r} ({problem.strerror})."
        ) from None
    said = said or ["Nothing needed mending: the rig is written as it was."]
    return (*said, *patch.notes)


def _taken(out: Path) -> ValueError:
    return ValueError(f"`out` must be a new file; got {str(out)!r}, which is there.")


# Weights


@dataclass
class _Weights:
    """The joints and weights of a part of a mesh, as they stand in the file; sets of four."""

    numbers: tuple[int, ...]
    joints: list[NDArray[Any]]
    weights: list[NDArray[Any]]

    @property
    def most(self) -> float:
        """The number that means one."""
        kind = self.weights[0].dtype
        return 1.0 if kind.kind == "f" else float(np.iinfo(kind).max)

    def read(self) -> tuple[Ints, Floats]:
        """All joints, and their weights as shares of one, shape (v, 4 n)."""
        joints = np.concatenate(self.joints, axis=1).astype(np.int64)
        return joints, np.concatenate(self.weights, axis=1).astype(np.float64) / self.most

    def write(self, rows: Ints, joints: Ints, weights: Floats) -> None:
        """Put in some vertices' joints and weights, which must add up to one."""
        kind = self.weights[0].dtype
        numbers = weights.astype(kind) if kind.kind == "f" else _whole_shares(weights, self.most)
        for i in range(joints.shape[1] // 4):
            four = slice(4 * i, 4 * i + 4)
            self.joints[i][rows], self.weights[i][rows] = joints[:, four], numbers[:, four]


def _whole_shares(weights: Floats, most: float) -> Ints:
    """Whole numbers that add up to `most`: what rounding down leaves goes to the largest rests."""
    exact = weights * most
    whole = np.floor(exact).astype(np.int64)
    left = int(most) - whole.sum(axis=-1)
    rank = np.argsort(np.argsort(whole - exact, axis=-1, kind="stable"), axis=-1, kind="stable")
    return whole + (rank < left[:, None])


def _mend_weights(patch: Patch) -> Iterator[str]:
    parts = _parts(patch)
    uses = Counter(number for key in parts for number in key)
    count = dict.fromkeys(("cut", "kept", "summed", "far", "alone"), 0)
    most = dict.fromkeys(("cut", "kept", "summed"), 0.0)
    reasons = set()
    for key, primitives in parts.items():
        try:
            found = _open_weights(patch, key, primitives, uses)
        except ValueError as problem:
            reasons.add(_reason(problem))
            continue
        for what, number, worst in _mend_part(patch, found, primitives):
            count[what] += number
            most[what] = max(most.get(what, 0.0), worst)
    yield from _say_weights(count, most)
    yield from (f"Some weights are left as they are: {reason}" for reason in sorted(reasons))


def _parts(patch: Patch) -> dict[tuple[int, ...], list[Entry]]:
    """The parts of meshes that have each sets of joints and weights, by their accessors."""
    parts: dict[tuple[int, ...], list[Entry]] = {}
    for mesh in patch.json.get("meshes") or []:
        for primitive in mesh.get("primitives") or []:
            given = primitive.get("attributes") or {}
            sets = sum(name.startswith("JOINTS_") for name in given)
            names = [f"{kind}_{i}" for kind in ("JOINTS", "WEIGHTS") for i in range(sets)]
            if sets and all(name in given for name in names):
                parts.setdefault(tuple(int(given[name]) for name in names), []).append(primitive)
    return parts


def _open_weights(
    patch: Patch, key: tuple[int, ...], primitives: list[Entry], uses: Counter[int]
) -> _Weights:
    if any(DRACO in fields(primitive, "extensions", "a part") for primitive in primitives):
        raise CompressedError("Draco")
    sets = len(key) // 2
    for number, name in zip(key, [*["JOINTS"] * sets, *["WEIGHTS"] * sets], strict=True):
        if uses[number] > 1 or any(not role.startswith(name) for role in patch.roles[number]):
            raise ValueError(f"accessors[{number}] is used for something else too.")
    arrays = [patch.numbers(number) for number in key]
    kinds = {array.dtype for array in arrays[sets:]}
    scaled = all(patch.accessor(number).get("normalized") for number in key[sets:])
    if len(kinds) > 1 or not (scaled or kinds == {np.dtype("<f4")}):
        raise ValueError(f"accessors[{key[sets]}] and its like are no numbers of one kind.")
    if min(array.min() for array in arrays[sets:]) < 0:
        raise ValueError(f"accessors[{key[sets]}] has weights below zero.")
    return _Weights(key, arrays[:sets], arrays[sets:])


def _mend_part(
    patch: Patch, found: _Weights, primitives: list[Entry]
) -> Iterator[tuple[str, int, float]]:
    """Cut and normalise the weights of a part; what was done, to how many vertices, how much."""
    joints, weights = found.read()
    sums = weights.sum(axis=-1)
    moved = sums > NO_WEIGHT
    yield "alone", int((~moved).sum()), 0.0
    changed = np.zeros(len(weights), dtype=bool)
    if joints.shape[1] > 4:
        four_joints, four, fallen = _strongest_four(joints, weights, sums)
        fits = four_joints.max() <= np.iinfo(found.joints[0].dtype).max
        if fallen.max() <= FALLS_AWAY and fits:
            changed = (weights[:, 4:] > 0).any(axis=-1) & moved
            yield "cut", int(((weights > 0).sum(axis=-1) > 4).sum()), float(fallen.max())
            joints = np.where(changed[:, None], four_joints, joints[:, :4])
            weights = np.where(changed[:, None], four, weights[:, :4])
            _drop_further_sets(primitives)
        else:
            yield "kept", int((fallen > 0).sum()), float(fallen.max())
    off = np.where(changed | ~moved, 0.0, np.abs(weights.sum(axis=-1) - 1))
    used = (weights > 0).sum(axis=-1)
    apart = off > (SUM_OFF * used if found.most == 1 else 0.5 / found.most)
    yield "summed", int(apart.sum()), float(off[apart].max(initial=0.0))
    yield "far", int((off > FAR).sum()), 0.0
    rows = np.flatnonzero(apart | changed)
    if len(rows):
        shares = weights[rows] / weights[rows].sum(axis=-1, keepdims=True)
        found.write(rows, joints[rows], shares)
        for number in found.numbers:
            patch.bounds(number)


def _strongest_four(joints: Ints, weights: Floats, sums: Floats) -> tuple[Ints, Floats, Floats]:
    """Joints and weights of the strongest four, the strongest first, and the share of the rest."""
    order = np.argsort(-weights, axis=-1, kind="stable")[:, :4]
    four = np.take_along_axis(weights, order, axis=-1)
    kept = np.where(four > 0, np.take_along_axis(joints, order, axis=-1), 0)
    safe = np.where(sums > NO_WEIGHT, sums, 1.0)
    further = np.sort(weights, axis=-1)[:, :-4].sum(axis=-1)
    return kept, four, np.where(sums > NO_WEIGHT, further / safe, 0.0)


def _drop_further_sets(primitives: list[Entry]) -> None:
    for primitive in primitives:
        given = cast(Entry, primitive["attributes"])
        for name in [key for key in given if re.fullmatch(r"(JOINTS|WEIGHTS)_[1-9]\d*", key)]:
            del given[name]


def _say_weights(count: dict[str, int], most: dict[str, float]) -> Iterator[str]:
    if count["summed"]:
        yield (
            f"The weights of {_vertices(count['summed'])} add up to one now; they were off by up to"
            f" {most['summed']:.2g}."
        )
    if most["summed"] > SHOWS:
        yield "A program that does not add weights up itself shows those vertices elsewhere now."
    if count["far"]:
        yield (
            f"At {_vertices(count['far'])} of these a joint's weight may be missing, as they were"
            f" off by more than {FAR:g}: look at them."
        )
    if count["cut"]:
        yield (
            f"At most four joints move a vertex now: the weakest fell away at"
            f" {_vertices(count['cut'])}, at most {100 * most['cut']:.2g} % of what moves one."
        )
    if count["kept"]:
        yield (
            f"More than four joints still move {_vertices(count['kept'])}: without the weakest"
            f" {100 * most['kept']:.2g} % of what moves one would be lost, and {100 * FALLS_AWAY:g}"
            " % is the most that is cut here."
        )
    if count["alone"]:
        yield (
            f"{_vertices(count['alone'])} still {'has' if count['alone'] == 1 else 'have'} no joint"
            f" that moves {'it' if count['alone'] == 1 else 'them'}: no weights can be guessed."
        )


def _reason(problem: ValueError) -> str:
    if isinstance(problem, CompressedError):
        return f"they are compressed ({problem.method})."
    return str(problem)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def _vertices(count: int) -> str:
    return "1 vertex" if count == 1 else f"{count:,} vertices"


# Signs


def _mend_signs(patch: Patch) -> Iterator[str]:
    mended, left, reasons = 0, 0, set()
    for number, roles in sorted(patch.roles.items()):
        if not any(role.startswith("rotation ") for role in roles):
            continue
        try:
            keys = patch.numbers(number)
        except ValueError as problem:
            reasons.add(_reason(problem))
            continue
        if roles == {"rotation LINEAR"}:
            mended += _same_hemisphere(keys)
            patch.bounds(number)
        elif roles == {"rotation CUBICSPLINE"}:
            left += int((_neighbours(keys[1::3]) < 0).sum())
    if mended:
        yield (
            f"Neighbouring keys of rotations have the same sign now, which jumped {_times(mended)};"
            " what they turn to is the same."
        )
    if left:
        yield (
            f"The sign of keys jumps {_times(left)} on cubic curves: it is left, as the motion"
            " between them hangs on it."
        )
    yield from (f"Some rotations are left as they are: {reason}" for reason in sorted(reasons))


def _same_hemisphere(keys: NDArray[Any]) -> int:
    """Turn the signs of quaternions so that each is nearest to the one before; how many jumps."""
    jumps = _neighbours(keys) < 0
    other = np.concatenate([[False], np.cumsum(jumps) % 2 == 1])
    turned = -keys[other].astype(np.float64)
    if keys.dtype.kind == "i":  # the lowest of them means minus one as well
        turned = np.minimum(turned, np.iinfo(keys.dtype).max)
    keys[other] = turned
    return int(jumps.sum())


def _neighbours(keys: NDArray[Any]) -> Floats:
    """The dot product of each quaternion with the next."""
    numbers = keys.astype(np.float64)
    return np.einsum("ki,ki->k", numbers[1:], numbers[:-1])


# Names


def _mend_names(patch: Patch, legs: Legs, asset: gltf.Asset) -> Iterator[str]:
    names = [node.name for node in asset.nodes]
    renamed = []
    for node, new in _new_names(legs, names):
        if new in names:
            continue
        renamed.append(f"{plain(names[node], 40)!r} is {plain(new, 40)!r}")
        names[node] = patch.json["nodes"][node]["name"] = new
    if renamed:
        more = f", and {len(renamed) - 8} more" if len(renamed) > 8 else ""
        yield (
            f"Names say their side now: {', '.join(renamed[:8])}{more}. Motions in other files that"
            " go by names will look for the old ones."
        )


def _new_names(legs: Legs, names: list[str]) -> Iterator[tuple[int, str]]:
    """Joints of certain legs that say no side, each with a name that does."""
    if len(legs.legs) < 2 or legs.certainty < CERTAIN:
        return
    if not any(_says(names[i]) == side for side in SIDE_WORDS for i in _joints(legs, side)):
        return  # which is left then hangs on where the rig faces alone
    for part, left in legs.legs["L"].joints.items():
        right = legs.legs["R"].joints.get(part)
        if right is None:
            continue
        for node, side, partner in ((left, "L", names[right]), (right, "R", names[left])):
            if _says(names[node]) is None:
                yield node, _sided(names[node], side, partner, part)


def _sided(name: str, side: str, partner: str, part: str) -> str:
    """A name with a side, so that it goes in a pair with the partner's."""
    if _says(partner) is not None:
        swapped = _swap(partner)
        return swapped if _says(swapped) == side else f"{side}_{part}"
    same = name and read_name(name).stem == read_name(partner).stem
    return f"{side}_{name}" if same else f"{side}_{part}"


def _swap(name: str) -> str:
    """A name with its side's word changed to the other side's, if it stands alone."""
    return _SIDE.sub(lambda found: _OTHER[found.group()], name, count=1)


def _says(name: str) -> str | None:
    return read_name(name).side


def _joints(legs: Legs, side: str) -> list[int]:
    return list(legs.legs[side].joints.values())
