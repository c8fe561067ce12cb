"""Hints in a joint's name: its side, which part of a leg it may be, and whether it only helps.

Names are split where separators, digits and capitals part them, and run-together words by a small
vocabulary. Sides are read as words, prefixes and suffixes. Nothing here is certain: a name is one
witness, where a joint stands another.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

LONGEST = 100  # letters of a name that are read
PARTS = ("pelvis", "hip", "knee", "ankle", "ball", "toe")

SIDE_WORDS = {"L": "left", "R": "right"}
SIDES = dict.fromkeys(("l", "left", "lft", "lt", "lf"), "L")
SIDES |= dict.fromkeys(("r", "right", "rgt", "rt"), "R")
SIDES |= dict.fromkeys(("links", "gauche", "izquierda", "izquierdo", "sinistra", "sinistro"), "L")
SIDES |= dict.fromkeys(("rechts", "droite", "derecha", "derecho", "destra", "destro"), "R")


def _words(text: str) -> set[str]:
    return set(text.split())


# How well a word names the joint at the upper end of a part: the hip joint moves the thigh, and may
# be called so.
_WORDS: dict[str, dict[str, float]] = {
    "pelvis": {"pelvis": 1.0},
    "hips": {"pelvis": 1.0},
    "root": {"pelvis": 0.3},
    "cog": {"pelvis": 0.3},
    "thigh": {"hip": 1.0},
    "femur": {"hip": 1.0},
    "haunch": {"hip": 0.8},
    "knee": {"knee": 1.0},
    "shin": {"knee": 1.0},
    "calf": {"knee": 1.0},
    "shank": {"knee": 1.0},
    "crus": {"knee": 1.0},
    "tibia": {"knee": 1.0},
    "ankle": {"ankle": 1.0},
    "foot": {"ankle": 0.9, "ball": 0.2},
    "hock": {"ankle": 0.6},
    "paw": {"ankle": 0.8},
    "hoof": {"ankle": 0.7, "ball": 0.3},
    "tarsus": {"ankle": 0.8},
    "talus": {"ankle": 0.8},
    "ball": {"ball": 1.0},
    "toe": {"ball": 0.9, "toe": 0.5},
    "toes": {"ball": 0.9, "toe": 0.5},
    "metatarsal": {"ball": 0.8},
    "metatarsus": {"ankle": 0.6, "ball": 0.4},
    "stifle": {"knee": 1.0},
    "fetlock": {"ball": 0.8},
}
_ABROAD = {  # German, French, Spanish, Italian
    "thigh": "oberschenkel cuisse muslo coscia",
    "shank": "unterschenkel mollet pantorrilla polpaccio",
    "knee": "knie genou rodilla ginocchio",
    "foot": "fuss pied pie piede",
    "toes": "zehen orteils",
    "pelvis": "becken bassin cadera bacino",
}
_WORDS |= {word: _WORDS[ours] for ours, theirs in _ABROAD.items() for word in _words(theirs)}
_LEG = {"leg", "limb"}
_UPPER, _LOWER = _words("upper up top"), _words("lower low lo bottom under")
_TIP = {"tip", "end", "nub", "leaf"}
_HELPS = _words(
    "twist twister roll pole ik ctrl control target goal helper help aim dummy corrective "
    "correction fix aux bulge muscle volume locator null socket attach offset driver pivot heel "
    "follow push kneecap patella cap pad jiggle cloth"
)
SHOULDER = _words("shoulder clavicle collar scapula")
ARM = SHOULDER | _words("arm arms forearm elbow wrist hand palm humerus radius ulna")
_NOT_LEGS = ARM | _words(
    "finger fingers thumb index middle ring pinky little "
    "metacarpal phalanx proximal intermediate distal spine chest torso belly abdomen neck head jaw "
    "eye eyes eyelid ear hair tail wing feather tongue brow lip mouth nose cheek beak skirt coat "
    "cape strap belt bag prop weapon hat antenna tentacle fin horn trunk bust breast rib"
)
HIND, FRONT = _words("hind back rear"), _words("front fore")
ANIMAL = _words("paw hoof hock fetlock pastern stifle talon")
_OTHERS = _words("hip joint bone") | HIND | FRONT | ANIMAL
_VOCABULARY = {*_WORDS, *_LEG, *_UPPER, *_LOWER, *_TIP, *_HELPS, *_NOT_LEGS, *_OTHERS}
_VOCABULARY = (_VOCABULARY | {word for word in SIDES if len(word) > 2}) - {"lo"}


@dataclass(frozen=True)
class NameReading:
    """The meaning of a joint's name.

    Attributes
    ----------
    side : {"L", "R"} or None
    parts : dict of part to float
        How well it names each part, above 0 to 1; empty where it names none.
    helps : bool
        True if it names a joint that helps another: a twist, a pole, a tip …
    elsewhere : bool
        True if it names something that is no part of a leg.
    stem : str
        The name without its side: a joint and its partner on the other side have the same.
    words : frozenset of str
        Its words in lower case, without the side.
    """

    side: str | None = None
    parts: dict[str, float] = field(default_factory=dict)
    helps: bool = False
    elsewhere: bool = False
    stem: str = ""
    words: frozenset[str] = frozenset()


def read_names(names: Sequence[str]) -> list[NameReading]:
    """Return the meanings of all joints' names.

    Some exporters end every name with a running number: where the partner of a name is only to be
    found without it, as for b_LeftLeg01_015 and b_RightLeg01_019, it is no part of the stem.
    """
    readings = [read_name(name) for name in names]
    known = {(reading.side, reading.stem) for reading in readings}
    short = [(reading.side, _without_number(reading.stem)) for reading in readings]
    for i, reading in enumerate(readings):
        side, stem = short[i]
        other = {"L": "R", "R": "L"}.get(side or "")
        if other and (other, reading.stem) not in known and short.count((other, stem)) == 1:
            readings[i] = replace(reading, stem=stem)
    return readings


def go_in_pairs(one: NameReading, two: NameReading) -> bool:
    """Return True if two names are alike but for their sides, and but for running numbers."""
    return one.stem == two.stem or _without_number(one.stem) == _without_number(two.stem)


def _without_number(stem: str) -> str:
    """A stem without a number at its end; one that is only a number is kept."""
    first, _, last = stem.rpartition(" ")
    return first if first and last.isdigit() else stem


@lru_cache(maxsize=4096)
def read_name(name: str) -> NameReading:
    """Return the meaning of a joint's name; names of any kind are read, none is refused."""
    tokens = _tokens(name)
    sides = {SIDES[token] for token in tokens if token in SIDES}
    words = [token for token in tokens if token not in SIDES]
    side = sides.pop() if len(sides) == 1 else None
    known = set(words)
    return NameReading(
        side,
        _parts(known, side),
        bool(known & (_HELPS | _TIP)),
        bool(known & _NOT_LEGS) and not known & (_WORDS.keys() | _LEG),
        " ".join(words),
        frozenset(known),
    )


def _parts(words: set[str], side: str | None) -> dict[str, float]:
    parts: dict[str, float] = {}
    for word in words & _WORDS.keys():
        for part, weight in _WORDS[word].items():
            parts[part] = max(weight, parts.get(part, 0.0))
    if words & {"ball", "toe", "toes"}:  # of a foot
        parts.pop("ankle", None)
    if "hip" in words:  # one hip of two, or all of both
        parts |= {"hip": 1.0} if side else {"pelvis": 0.9, "hip": 0.3}
    if words & _LEG:
        upper, lower = words & _UPPER, words & _LOWER
        if upper or lower:
            parts |= {"hip": 1.0} if upper else {"knee": 1.0, "ankle": 0.2}
        elif not parts:
            parts |= {"hip": 0.5, "knee": 0.5, "ankle": 0.2}
    if words & _TIP and parts:
        return {"toe": 0.8} if "ball" in parts else {}
    return parts


def _tokens(name: str) -> list[str]:
    """The words of a name in lower case, without a namespace before it."""
    name = re.split(r"[:|]", name)[-1][:LONGEST]
    pieces = re.findall(r"[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+|[^\W\d_a-zA-Z]+", name)
    return [word for piece in pieces for word in _words_in(piece.lower())]


def _words_in(piece: str) -> list[str]:
    """The words in a run of letters, a side's letter before or behind; itself if there are none."""
    if piece in _VOCABULARY or piece in SIDES:
        return [piece]
    for words in (_split(piece), *(_beside(piece, side) for side in ("l", "r"))):
        if words:
            return words
    return [piece]


def _beside(piece: str, side: str) -> list[str] | None:
    """A side's single letter at one end of known words."""
    if piece.startswith(side) and (words := _split(piece[1:])):
        return [side, *words]
    if piece.endswith(side) and (words := _split(piece[:-1])):
        return [*words, side]
    return None


def _split(piece: str, most: int = 4) -> list[str] | None:
    if piece in _VOCABULARY:
        return [piece]
    if most > 1:
        for cut in range(len(piece) - 2, 1, -1):
            if piece[:cut] in _VOCABULARY and (rest := _split(piece[cut:], most - 1)):
                return [piece[:cut], *rest]
    return None
