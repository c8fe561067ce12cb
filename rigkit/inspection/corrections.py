"""The user's corrections of the search: a joint for a part of a leg, an axis, the unit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rigkit import _check
from rigkit._types import Floats
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.tree import AXES, CHAINS, FOOT_PARTS

MAY_LACK = ("foot", *FOOT_PARTS)  # parts that a leg may be without


@dataclass(frozen=True)
class Corrections:
    """A mapping as the user gave it, read.

    Attributes
    ----------
    parts : dict of (side or None, part) to int
        Places in the list of joints; the side is None for the pelvis.
    up, forward : ndarray, shape (3,), or None
    metres : float or None
        To a unit of the file.
    without : frozenset of (side, part)
        Parts that a leg does not have.
    said : mapping of (side, part) to str
        Who says so, where it is not the user.
    """

    parts: dict[tuple[str | None, str], int]
    up: Floats | None
    forward: Floats | None
    metres: float | None
    without: frozenset[tuple[str | None, str]] = frozenset()
    said: Mapping[tuple[str | None, str], str] = field(default_factory=dict)

    def joined_to(self, parts: dict[tuple[str | None, str], int], said: str) -> "Corrections":
        """Return these corrections and other parts where the user says nothing."""
        mine = self.parts.values()
        theirs = {
            key: place
            for key, place in parts.items()
            if key not in self.parts and key not in self.without and place not in mine
        }
        without = {(side, "foot") for side, part in theirs if (side, "foot") not in self.parts}
        return replace(
            self,
            parts={**theirs, **self.parts},
            without=self.without | without,
            said=dict.fromkeys(theirs, said),
        )

    def needed(self) -> set[tuple[int, int]]:
        """Return the columns and joints that triples must have: named parts of two-bone legs."""
        three = {side for side, part in self.parts if part == "foot"}
        return {
            (CHAINS[0].index(part), place)
            for (side, part), place in self.parts.items()
            if part in CHAINS[0] and side not in three
        }

    def of(self, side: str) -> dict[str, int]:
        """Return the parts of one leg."""
        return {part: place for (each, part), place in self.parts.items() if each == side}


def read_mapping(mapping: Mapping[str, object], names: Sequence[str]) -> Corrections:
    """Return corrections from a mapping such as {"left.knee": "shin_01"}.

    Parameters
    ----------
    mapping : mapping of str to str
        As in `legs.find_legs`.
    names : sequence of str
        Of the joints.

    Returns
    -------
    Corrections

    Raises
    ------
    ValueError
        For a part, joint, axis or unit that is not there.
    """
    if not isinstance(mapping, Mapping):
        raise ValueError(
            "`mapping` must map parts to joint names, such as {'left.knee': 'shin_01'}; "
            f"got {mapping!r}."
        )
    parts: dict[tuple[str | None, str], int] = {}
    axes: dict[str, Floats | None] = {"up": None, "forward": None}
    without: set[tuple[str | None, str]] = set()
    metres = None
    for key, value in mapping.items():
        if key in axes:
            axes[key] = AXES[_check.choice(f"mapping[{key!r}]", str(value).lower(), AXES)]
        elif key == "metres":
            metres = _one_number("mapping['metres']", value)
        elif value == "" and _part(key)[1] in MAY_LACK:
            without.add(_part(key))
        else:
            part = _part(key)
            parts[part] = _joint(key, value, names)
    return Corrections(parts, axes["up"], axes["forward"], metres, frozenset(without))


def _one_number(name: str, value: object) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]  # what is no number is refused below
    except (TypeError, ValueError):
        number = np.nan
    if not (np.isfinite(number) and number > 0):
        raise ValueError(
            f"`{name}` must be a number above zero; got {value!r}. A centimetre is 0.01 metres."
        )
    return number


def _part(key: str) -> tuple[str | None, str]:
    keys: dict[str, tuple[str | None, str]] = {"pelvis": (None, "pelvis")}
    keys |= {
        f"{word}.{part}": (side, part)
        for side, word in SIDE_WORDS.items()
        for part in (*CHAINS[1], *FOOT_PARTS)
    }
    if key not in keys:
        raise ValueError(
            f"`mapping` must name one of {', '.join([*keys, 'up', 'forward', 'metres'])}; got"
            f" {key!r}."
        )
    return keys[key]


def _joint(key: str, name: object, names: Sequence[str]) -> int:
    places = [i for i, other in enumerate(names) if other == name]
    if len(places) != 1:
        some = ", ".join(map(repr, names[:12])) + (" …" if len(names) > 12 else "")
        raise ValueError(
            f"`mapping[{key!r}]` must be the name of one joint ({some}); got {name!r}, "
            + (f"which {len(places)} joints have." if places else "which no joint has.")
        )
    return places[0]
