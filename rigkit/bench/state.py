"""The state of a leg on the bench: all that a learner decides, in whole millimetres and degrees.

A state is plain data: every field has bounds, and nothing in it runs. It holds the left leg; the
right one is made by mirroring. Places are (left, up, forward) of the point on the floor between the
feet.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import astuple, dataclass, field, fields, replace
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np

from rigkit import _check, gait, physique, puppets, two_bone
from rigkit._types import Floats
from rigkit.bench import painting
from rigkit.bench.chain import TWO_BONES, Chain, chain_of
from rigkit.leg import LegRig
from rigkit.puppets import Puppet

__all__ = [
    "STEPS",
    "JOINTS",
    "HINGES",
    "CONTROLS",
    "MIRRORS",
    "PRESET_BEND_DEG",
    "State",
    "shape_mark",
]

VERSION = 2  # 1 had no legs of three bones, and skins without forms of their own
MOST_BYTES = 100_000  # of a state as text
MOST_LETTERS = 30_000  # of painted weights
FAR_MM = 3000  # no place lies farther from the origin along any axis
PRESET_BEND_DEG = 5.0  # of the given skin and of a sound start; 2° to 10° is usual
SOFT_MM = 12  # of a sound start: eases the shortest leg of the parade below 600°/s
JOINTS, HINGES = TWO_BONES.joints, TWO_BONES.hinges  # of people; `State.chain` has anybody's
CONTROLS = ("pelvis", "L_foot", "L_knee")
MIRRORS = ("same bend", "opposite bend")
# The fields that each step decides. Two steps share the joints: the sixth moves the knee alone, or
# what bends instead.
STEPS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "01": ("joints_mm",),
        "02": ("parents", "turns_deg"),
        "03": ("hinge_deg", "mirror", "plane_mm"),
        "04": ("inverse",),
        "05": ("soft_mm",),
        "06": ("joints_mm",),
        "07": ("pole_mm",),
        "08": ("follows", "pivots_mm", "outlines_mm"),
        "09": ("softness", "painted"),
        "10": ("pelvis",),
        "11": ("sole_mm",),
        "12": ("kept",),
    }
)
Place = tuple[int, int, int]


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, repr=False)
class State:
    """A leg on the bench, as far as it has come. It does not change; `changed` gives another.

    Parameters
    ----------
    puppet : Puppet
        The character; its name alone stands in the JSON.
    joints_mm : mapping of str to (int, int, int)
        The places of `State.chain.joints`.
    parents : mapping of str to str
        What each joint hangs from, "pelvis" or another joint; a joint left out hangs from nothing.
    turns_deg : mapping of str to float
        By how far joints are left turned about their hinges, when all should read zero; zero where
        left out.
    hinge_deg : mapping of str to float
        By how far the hinge arrows of `State.chain.hinges` are turned from the normal of the bend,
        seen from the front, anticlockwise positive; zero where left out.
    mirror : {"same bend", "opposite bend"}
        How the right side's axes are made from the left's.
    plane_mm : int
        How far to the left the plane stands that the right side is mirrored across.
    inverse : bool
        True if the leg is posed by its goal, False if by its joints' turns.
    soft_mm : int
        How long before full reach the ankle begins to lag behind its goal.
    pole_mm : (int, int, int)
        Where the knee's control stands.
    follows : mapping of str to str
        Which control each of `CONTROLS` goes with; one left out stays where it is.
    pivots_mm, outlines_mm : mapping of str to (int, int, int)
        Where the controls "pelvis" and "L_foot" turn, and where the shapes stand that one takes.
    softness : float
        The reach of a blend above and below a joint, in radii of the limb.
    painted : str
        Weights painted by hand, packed; "" for none.
    pelvis : mapping of str to int
        In the walk: "drop_mm", how far it is lower than the legs would let it be, and "sway_mm",
        how far it goes from side to side.
    sole_mm : mapping of str to int
        How far before the ankle the foot's pivots "heel", "ball" and "toe" lie.
    given : tuple of str
        The steps that the kit has filled in.
    kept : mapping of str to str
        Rules of the inspection whose slight findings are kept, each with its reason.

    Raises
    ------
    ValueError
        For a field that is out of its bounds; it names the field.

    Examples
    --------
    >>> from rigkit.bench.state import State
    >>> State.bare("Pip").with_sound("02").joints_mm["knee"]
    (90, 310, 11)
    """

    puppet: Puppet
    joints_mm: Mapping[str, Place]
    parents: Mapping[str, str]
    turns_deg: Mapping[str, float]
    hinge_deg: Mapping[str, float]
    mirror: str
    plane_mm: int
    inverse: bool
    soft_mm: int
    pole_mm: Place
    follows: Mapping[str, str]
    pivots_mm: Mapping[str, Place]
    outlines_mm: Mapping[str, Place]
    softness: float
    painted: str
    pelvis: Mapping[str, int]
    sole_mm: Mapping[str, int]
    given: tuple[str, ...] = ()
    kept: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "puppet", puppets.get(self.puppet))
        for name, checked in _checks(self.chain).items():
            object.__setattr__(self, name, checked(name, getattr(self, name)))

    def __repr__(self) -> str:
        given = f"given {', '.join(self.given)}" if self.given else "nothing given"
        return f"State: {self.puppet.name}, {given}"

    def __hash__(self) -> int:
        return hash(self.json())

    def __reduce__(self) -> tuple[Any, ...]:
        return State.read, (self.json(), self.puppet)

    @property
    def chain(self) -> Chain:
        """The joints that the character's leg has."""
        return chain_of(self.puppet)

    @classmethod
    def bare(cls, puppet: Puppet | str) -> State:
        """Return the state to begin from: joints laid out beside the leg, nothing placed well yet.

        Parameters
        ----------
        puppet : Puppet or str
            A name is one of `puppets.CAST`.

        Returns
        -------
        State

        Raises
        ------
        ValueError
            For a puppet that is not one.

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> State.bare("Tamsin").joints_mm["hip"]
        (285, 855, 0)
        """
        puppet = puppets.get(puppet)
        chain, height = chain_of(puppet), 1000 * puppet.hip_height
        aside, toe = _mm(puppet.hip_width / 2) + 200, _mm(puppet.foot_length)
        down = 0.8 / (len(chain.hinges) - 1)
        up = {name: round((0.95 - i * down) * height) for i, name in enumerate(chain.hinges)}
        places = {name: (aside, y, 0) for name, y in up.items()}
        return cls(
            puppet,
            joints_mm=places | {"ball": (aside, 0, toe // 2), "toe": (aside, 0, toe)},
            parents={},
            turns_deg={},
            hinge_deg={"hip": 20.0, "knee": 35.0, "ankle": -25.0},
            mirror="opposite bend",
            plane_mm=40,
            inverse=False,
            soft_mm=0,
            pole_mm=(aside, up[chain.bend], -300 * chain.way),
            follows={"L_foot": "pelvis"},
            pivots_mm={"pelvis": (0, 0, 0), "L_foot": (aside, 0, 0)},
            outlines_mm={"pelvis": (0, up["hip"], 0), "L_foot": (aside, up[chain.end], 0)},
            softness=0.35,
            painted="",
            pelvis={"drop_mm": -60, "sway_mm": 0},
            sole_mm={"heel": -10, "ball": toe // 4, "toe": toe // 2},
        )

    def changed(self, **changes: Any) -> State:
        """Return the state with some fields changed; the steps they belong to are no longer given.

        Parameters
        ----------
        **changes
            Fields by name.

        Returns
        -------
        State

        Raises
        ------
        ValueError
            For a field there is not, or out of its bounds.

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> State.bare("Pip").changed(soft_mm=10).soft_mm
        10
        """
        unknown = set(changes) - {each.name for each in fields(self)}
        if unknown:
            raise ValueError(f"unknown field {', '.join(sorted(unknown))}; {_there_are()}")
        after = replace(self, **changes)
        if "given" in changes:
            return after
        own = {step for step in self.given if _differ(step, self, after)}
        return replace(after, given=tuple(step for step in self.given if step not in own))

    def with_sound(self, step: str) -> State:
        """Return the state with every step before this one filled in by the kit, and marked so.

        It is what `LegRig.from_puppet(puppet, 5)` has, to the millimetre. With the joints comes the
        bend they stand with, so the sixth step is filled in with the first.

        Parameters
        ----------
        step : str
            One of `STEPS`, "01" to "12".

        Returns
        -------
        State

        Raises
        ------
        ValueError
            For another step.

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> State.bare("Tamsin").with_sound("03").given
        ('01', '02', '06')
        """
        _check.choice("step", step, STEPS)
        before = {each for each in STEPS if each < step}
        return self.filled_in(*before, *(("06",) if "01" in before else ()))

    def filled_in(self, *steps: str) -> State:
        """Return the state with these steps filled in by the kit, and marked so.

        Parameters
        ----------
        *steps : str
            Of `STEPS`. Of the joints, the sixth has the one that bends, the first all others.

        Returns
        -------
        State

        Raises
        ------
        ValueError
            For another step.

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> bare = State.bare("Pip")
        >>> bare.filled_in("01").joints_mm["knee"] == bare.joints_mm["knee"]
        True
        """
        for step in steps:
            _check.choice("steps", step, STEPS)
        sound = _sound(self.puppet)
        changes = {name: sound[name] for step in steps for name in STEPS[step]}
        changes["joints_mm"] = {
            name: (sound["joints_mm"] if self._placed_in(name) in steps else self.joints_mm)[name]
            for name in self.joints_mm
        }
        return replace(self, **changes, given=tuple({*self.given, *steps}))

    def _placed_in(self, joint: str) -> str:
        """The step that a joint's place belongs to."""
        return "06" if joint == self.chain.bend else "01"

    def json(self) -> str:
        """Return the state as JSON text; `read` reads it.

        Returns
        -------
        str

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> State.bare("Tamsin").json()[:30]
        '{"bench":2,"puppet":"Tamsin","'
        """
        told: dict[str, Any] = {"bench": VERSION, "puppet": self.puppet.name}
        told["shape"] = shape_mark(self.puppet)
        for name in _FIELDS:
            value = getattr(self, name)
            told[name] = dict(value) if isinstance(value, Mapping) else value
        return json.dumps(told, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def read(cls, text: str | bytes, puppet: Puppet | str) -> State:
        """Return the state that a text holds. Nothing in it runs; what is odd is refused.

        Parameters
        ----------
        text : str or bytes
            As `json` gives it.
        puppet : Puppet or str
            Whose leg it must be.

        Returns
        -------
        State

        Raises
        ------
        ValueError
            With a sentence: too long, not JSON, of a newer version, of another character, a field
            missing, unknown or out of its bounds.

        Examples
        --------
        >>> from rigkit.bench.state import State
        >>> state = State.bare("Odo").with_sound("05")
        >>> State.read(state.json(), "Odo") == state
        True
        """
        puppet = puppets.get(puppet)
        told = _parsed(text)
        version, name, mark = (told.pop(key, None) for key in ("bench", "puppet", "shape"))
        if type(version) is not int or version < 1:
            raise ValueError("`text` must be a leg from the bench; got JSON of something else.")
        if version > VERSION:
            raise ValueError(
                f"`text` must be of version {VERSION} or older; got version {version}. A newer"
                " rigkit reads it."
            )
        if (name, mark) != (puppet.name, shape_mark(puppet, version)):
            came = _check.short(name) if name != puppet.name else "one of the same name"
            raise ValueError(
                f"`text` must be a leg of {puppet.name!r}, shape {shape_mark(puppet)}; got another"
                f" character, {came}. Joints would lie elsewhere in another skin."
            )
        if told.keys() != set(_FIELDS):
            missing, unknown = (
                sorted(set(_FIELDS) - told.keys()),
                sorted(told.keys() - set(_FIELDS)),
            )
            faults = [f"no {each}" for each in missing]
            faults += [f"the unknown {_check.short(each)}" for each in unknown]
            raise ValueError(f"`text` must hold every field once; got {', '.join(faults)}.")
        return cls(puppet, **told)

    def metres(self) -> dict[str, Floats]:
        """Return the joints' places in metres.

        Returns
        -------
        dict of str to ndarray, shape (3,)
        """
        return {name: np.array(place) / 1000 for name, place in self.joints_mm.items()}


@cache
def _sound(puppet: Puppet) -> Mapping[str, Any]:
    """Every field as a sound leg has it."""
    rig, chain = LegRig.from_puppet(puppet, PRESET_BEND_DEG), chain_of(puppet)
    at = dict(zip(rig.skeleton.names, rig.skeleton.rest_world[:, :3, 3], strict=True))
    joints = {name: _place(at["L_" + name]) for name in chain.joints}
    root, bend, end = (np.array(joints[name]) / 1000 for name in chain.solved)
    pole = two_bone.place_pole(root, bend, end, sum(puppet.bones[-2:]))
    x, _, z = joints[chain.end]
    middle = (0, joints["hip"][1], joints["hip"][2])
    return {
        "joints_mm": joints,
        "parents": chain.parents,
        "turns_deg": {},
        "hinge_deg": {},
        "mirror": "same bend",
        "plane_mm": 0,
        "inverse": True,
        "soft_mm": SOFT_MM,
        "pole_mm": _place(pole),
        "follows": {"L_knee": "pelvis"},
        "pivots_mm": {"pelvis": middle, "L_foot": joints[chain.end]},
        "outlines_mm": {"pelvis": middle, "L_foot": (x, 0, z)},
        "softness": 2.0,
        "painted": "",
        "pelvis": {"drop_mm": 15, "sway_mm": _mm(np.ptp(gait.walk(puppet, cycles=1).pelvis[:, 0]))},
        "sole_mm": {
            "heel": -_mm(puppet.heel_length),
            "ball": _mm(puppet.ball_length),
            "toe": _mm(puppet.foot_length - puppet.heel_length),
        },
        "kept": {},
    }


def _differ(step: str, before: State, after: State) -> bool:
    """True if what a step decides is not the same; of the joints what bends is the sixth's."""
    if step not in ("01", "06"):
        return any(getattr(before, name) != getattr(after, name) for name in STEPS[step])
    moved = (name for name, at in before.joints_mm.items() if at != after.joints_mm[name])
    return step in map(before._placed_in, moved)


def shape_mark(puppet: Puppet, version: int = VERSION) -> str:
    """Return a short mark of a puppet's skin: painted vertices mean nothing on another one.

    Parameters
    ----------
    puppet : Puppet
    version : int
        Of the state that has the mark. In the first one skins had no forms of their own; the
        vertices of left legs have kept their numbers since.

    Returns
    -------
    str
        Eight letters; the same for the same measures and the same `physique.of_puppet`.
    """
    lengths = (*puppet.bones, puppet.ankle_height, puppet.foot_length, puppet.heel_length)
    numbers = (*lengths, puppet.ball_length, puppet.hip_width)
    told = " ".join(f"{n:.6f}" for n in numbers)
    if version > 1:
        told += repr(astuple(physique.of_puppet(puppet)))
    return hashlib.sha256(told.encode()).hexdigest()[:8]


def _parsed(text: str | bytes) -> dict[str, Any]:
    if not isinstance(text, str | bytes):
        raise ValueError(f"`text` must be JSON text; got {_check.short(text)}.")
    size = len(text)
    if size > MOST_BYTES:
        raise ValueError(
            f"`text` must have at most {MOST_BYTES:,} bytes; got {size:,}. A leg has fewer."
        )
    try:
        told = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError) as problem:
        raise ValueError(f"`text` must be JSON; got {_check.short(text)} ({problem}).") from None
    if not isinstance(told, dict):
        raise ValueError(f"`text` must be a JSON object; got {_check.short(told)}.")
    return told


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _mm(metres: float) -> int:
    return round(1000 * float(metres))


def _place(point: Floats) -> Place:
    x, y, z = (_mm(value) for value in point)
    return x, y, z


def _there_are() -> str:
    return f"a state has {', '.join(_FIELDS)}."


# What each field must be. A check gives the value back as it is kept.

Checked = Callable[[str, Any], Any]


def _number(low: float, high: float, step: float, unit: str) -> Checked:
    def checked(name: str, value: Any) -> int | float:
        whole = step == 1
        kinds = (int, float, np.integer, np.floating)
        fits = isinstance(value, kinds) and not isinstance(value, bool) and low <= value <= high
        if not fits or (whole and value % 1):
            what = f"a {'whole ' if whole else ''}number from {low:g} to {high:g} {unit}".rstrip()
            raise ValueError(f"`{name}` must be {what}; got {_check.short(value)}.")
        return int(value) if whole else round(round(float(value) / step) * step, 6)

    return checked


def _where(name: str, value: Any) -> Place:
    if isinstance(value, str) or not hasattr(value, "__len__") or len(value) != 3:
        raise ValueError(
            f"`{name}` must be (left, up, forward) in whole mm; got {_check.short(value)}."
        )
    x, y, z = (_number(-FAR_MM, FAR_MM, 1, "mm")(f"{name}[{i}]", value[i]) for i in range(3))
    return x, y, z


def _among(*options: str) -> Checked:
    return lambda name, value: _check.choice(name, value, options)


def _each(keys: tuple[str, ...], checked: Checked, every: bool = False) -> Checked:
    """A mapping whose keys are among these, or are all of these."""

    def whole(name: str, value: Any) -> Mapping[str, Any]:
        good = isinstance(value, Mapping) and set(value) <= set(keys)
        if not good or (every and len(value) < len(keys)):
            need = f"{'all' if every else 'some'} of {', '.join(keys)}"
            raise ValueError(f"`{name}` must map {need}; got {_check.short(value)}.")
        return MappingProxyType(
            {key: checked(f"{name}[{key!r}]", value[key]) for key in keys if key in value}
        )

    return whole


def _truth(name: str, value: Any) -> bool:
    if not isinstance(value, bool | np.bool_):
        raise ValueError(f"`{name}` must be true or false; got {_check.short(value)}.")
    return bool(value)


def _hanging(joints: tuple[str, ...]) -> Checked:
    def checked(name: str, value: Any) -> Mapping[str, str]:
        parents = _each(joints, _among("pelvis", *joints))(name, value)
        for joint in parents:
            _no_circle(name, joint, parents)
        return parents

    return checked


def _following(name: str, value: Any) -> Mapping[str, str]:
    follows = _each(CONTROLS, _among(*CONTROLS))(name, value)
    for control in follows:
        _no_circle(name, control, follows)
    return follows


def _no_circle(name: str, start: str, above: Mapping[str, str]) -> None:
    way = [start]
    while way[-1] in above:
        way.append(above[way[-1]])
        if way[-1] in way[:-1]:
            raise ValueError(f"`{name}` must not go in a circle; got {' → '.join(way)}.")


def _packed(name: str, value: Any) -> str:
    if not isinstance(value, str) or len(value) > MOST_LETTERS:
        came = f"{len(value):,}" if isinstance(value, str) else _check.short(value)
        raise ValueError(f"`{name}` must be text of at most {MOST_LETTERS:,} letters; got {came}.")
    painting.unpack_painted(value, 2**16)  # refuses what is not that
    return value


def _steps(name: str, value: Any) -> tuple[str, ...]:
    if (
        isinstance(value, str)
        or not isinstance(value, tuple | list)
        or not set(value) <= set(STEPS)
    ):
        raise ValueError(f"`{name}` must be steps from '01' to '12'; got {_check.short(value)}.")
    return tuple(sorted(set(value)))


def _reasons(name: str, value: Any) -> Mapping[str, str]:
    good = isinstance(value, Mapping) and len(value) <= 100
    if not good or not all(isinstance(text, str) for item in value.items() for text in item):
        raise ValueError(f"`{name}` must map rules to reasons; got {_check.short(value)}.")
    for rule, reason in value.items():
        if not reason.strip() or len(reason) > 500 or len(rule) > 60:
            raise ValueError(
                f"`{name}[{_check.short(rule)}]` must be a reason of 1 to 500 letters; got"
                f" {_check.short(reason)}."
            )
    return MappingProxyType(dict(sorted(value.items())))


def _pelvis(name: str, value: Any) -> Mapping[str, int]:
    pelvis = _each(("drop_mm", "sway_mm"), _number(-300, 300, 1, "mm"), every=True)(name, value)
    _number(0, 300, 1, "mm")(f"{name}['sway_mm']", pelvis["sway_mm"])
    return pelvis


_DEGREES = _number(-180, 180, 0.1, "°")


@cache
def _checks(chain: Chain) -> Mapping[str, Checked]:
    """The checks of all fields, for a leg with these joints."""
    joints, hinges = chain.joints, chain.hinges
    return {
        "given": _steps,
        "joints_mm": _each(joints, _where, every=True),
        "parents": _hanging(joints),
        "turns_deg": _each(joints, _DEGREES),
        "hinge_deg": _each(hinges, _DEGREES),
        "mirror": _among(*MIRRORS),
        "plane_mm": _number(-500, 500, 1, "mm"),
        "inverse": _truth,
        "soft_mm": _number(0, 200, 1, "mm"),
        "pole_mm": _where,
        "follows": _following,
        "pivots_mm": _each(CONTROLS[:2], _where, every=True),
        "outlines_mm": _each(CONTROLS[:2], _where, every=True),
        "softness": _number(0.1, 8, 0.05, ""),
        "painted": _packed,
        "pelvis": _pelvis,
        "sole_mm": _each(("heel", "ball", "toe"), _number(-1000, 1000, 1, "mm"), every=True),
        "kept": _reasons,
    }


_FIELDS = tuple(_checks(TWO_BONES))
