"""The harbour parade, its neighbours on the quay, and a personal puppet for each learner.

The parade walks through the lessons; the neighbours are there to be rigged on the bench. Tamsin,
Wenna and Jory have average proportions for their stature (from `body`); all other numbers here are
invented, and so are the characters.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import SupportsFloat

import numpy as np

from rigkit import _check, _format, body

__all__ = ["PUPPETS", "NEIGHBOURS", "CAST", "Puppet", "get", "personal", "with_bones"]


def __dir__() -> list[str]:
    return __all__


_LENGTHS = ("stature", "ankle_height", "foot_length", "heel_length", "ball_length", "hip_width")


@dataclass(frozen=True)
class Puppet(_format.NotebookDisplay):
    """A walking puppet's proportions; lengths in metres.

    Attributes
    ----------
    name, role : str
    stature : float
        Standing, from the floor to the top of the head [m].
    bones : tuple of float
        From the hip down: thigh, shank, and for the heron its metatarsal [m].
    ankle_height : float
        From the floor to the end of the last bone, when the foot stands flat [m].
    foot_length : float
        Heel to toe [m].
    heel_length, ball_length : float
        From below the last bone's end, back to the heel and forward to the ball [m].
    hip_width : float
        Between the two hip joint centres [m].
    knee_side : int
        +1: the middle joint of the visible leg points forward, like a knee. −1: backward, like the
        heron's ankle.
    """

    name: str
    role: str
    stature: float
    bones: tuple[float, ...]
    ankle_height: float
    foot_length: float
    heel_length: float
    ball_length: float
    hip_width: float
    knee_side: int = 1

    def __post_init__(self) -> None:
        if _check.positive("bones", self.bones, "n").shape not in ((2,), (3,)):
            raise ValueError(
                "`bones` must be thigh and shank, or thigh, shank and metatarsal; got"
                f" {self.bones!r}."
            )
        for field in _LENGTHS:
            _check.one_positive(field, getattr(self, field))
        if self.knee_side not in (1, -1):
            raise ValueError(
                f"`knee_side` must be 1 (forward) or -1 (backward); got {self.knee_side!r}."
            )

    def __repr__(self) -> str:
        bones = zip(("thigh", "shank", "metatarsal"), self.bones, strict=False)
        return _format.line(
            self,
            _format.name(self.name),
            _format.name(self.role),
            f"{_format.length(self.stature)} tall",
            *(f"{name} {_format.length(bone)}" for name, bone in bones),
            f"ankle {_format.length(self.ankle_height)} high",
            f"foot {_format.length(self.foot_length)}",
            f"hips {_format.length(self.hip_width)} apart",
            "" if self.knee_side > 0 else "bends backward",
        )

    @property
    def thigh(self) -> float:
        """Hip to knee, metres."""
        return self.bones[0]

    @property
    def shank(self) -> float:
        """Knee to ankle, metres."""
        return self.bones[1]

    @property
    def leg_length(self) -> float:
        """All bones in line: the farthest the last bone's end can be from the hip, metres."""
        return round(sum(self.bones), 9)

    @property
    def hip_height(self) -> float:
        """From the floor to the hips when the legs are straight, metres."""
        return round(self.leg_length + self.ankle_height, 9)


def get(puppet: Puppet | str) -> Puppet:
    """Return the puppet itself, or the one of the parade or its neighbours that has this name.

    Functions that take a puppet take its name too, by this.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `CAST`, such as "Tamsin".

    Returns
    -------
    Puppet

    Raises
    ------
    ValueError
        For anything else; it lists the names there are.

    Examples
    --------
    >>> from rigkit import puppets
    >>> puppets.get("Pip").bones
    (0.27, 0.25)
    """
    if isinstance(puppet, Puppet):
        return puppet
    if not isinstance(puppet, str) or puppet not in CAST:
        raise ValueError(
            f"`puppet` must be a Puppet or the name of one ({_names()}); got {puppet!r}."
        )
    return CAST[puppet]


def personal(rng: np.random.Generator) -> Puppet:
    """A puppet with plausible proportions of its own, for one learner.

    The same generator state gives the same puppet. Stature 1.50 to 1.90 m. As shares of it: thigh
    0.22 to 0.27, shank 0.22 to 0.30, ankle height 0.035 to 0.045, foot 0.14 to 0.165, hip width
    0.09 to 0.12. The heel lies 0.22 to 0.28, the ball 0.45 to 0.52 of the foot from below the
    ankle. All invented; lengths are rounded to the millimetre.

    Parameters
    ----------
    rng : numpy.random.Generator

    Returns
    -------
    Puppet

    Raises
    ------
    ValueError
        If `rng` is not a generator.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import puppets
    >>> mine = puppets.personal(np.random.default_rng(7))
    >>> 1.5 <= mine.stature <= 1.9, mine == puppets.personal(np.random.default_rng(7))
    (True, True)
    """
    if not isinstance(rng, np.random.Generator):
        raise ValueError(
            f"`rng` must be a numpy Generator; got {rng!r}. numpy.random.default_rng(7) makes one."
        )
    stature = rng.uniform(1.50, 1.90)
    thigh, shank, ankle, foot, hips = stature * rng.uniform(
        [0.22, 0.22, 0.035, 0.14, 0.09], [0.27, 0.30, 0.045, 0.165, 0.12]
    )
    heel, ball = foot * rng.uniform([0.22, 0.45], [0.28, 0.52])
    return _in_millimetres(
        "your puppet", "new to the parade", stature, (thigh, shank), ankle, foot, heel, ball, hips
    )


def with_bones(
    puppet: Puppet | str,
    thigh: float,
    shank: float,
    metatarsal: float | None = None,
    *,
    ankle_height: float | None = None,
    foot_length: float | None = None,
    heel_length: float | None = None,
    ball_length: float | None = None,
    hip_width: float | None = None,
) -> Puppet:
    """Return the same puppet with bones of these lengths.

    So a walk can be made for joints that were placed by hand.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `PUPPETS`.
    thigh, shank : float
        Metres.
    metatarsal : float, optional
        For a puppet with three bones a leg, and for no other; metres.
    ankle_height, foot_length, heel_length, ball_length, hip_width : float, optional
        As in `Puppet`, metres; what is left out stays.

    Returns
    -------
    Puppet

    Raises
    ------
    ValueError
        For a length not above zero, or a metatarsal too many or too few.

    Examples
    --------
    >>> from rigkit import puppets
    >>> puppets.with_bones("Pip", 0.28, 0.24, ankle_height=0.07).hip_height
    0.59
    """
    puppet = get(puppet)
    if (metatarsal is not None) != (len(puppet.bones) == 3):
        need = "given" if metatarsal is None else "left out"
        raise ValueError(
            f"`metatarsal` must be {need} for {puppet.name!r}, who has {len(puppet.bones)} bones a"
            f" leg; got {metatarsal!r}."
        )
    return Puppet(
        puppet.name,
        puppet.role,
        puppet.stature,
        (thigh, shank) if metatarsal is None else (thigh, shank, metatarsal),
        puppet.ankle_height if ankle_height is None else ankle_height,
        puppet.foot_length if foot_length is None else foot_length,
        puppet.heel_length if heel_length is None else heel_length,
        puppet.ball_length if ball_length is None else ball_length,
        puppet.hip_width if hip_width is None else hip_width,
        puppet.knee_side,
    )


def _in_millimetres(
    name: str,
    role: str,
    stature: SupportsFloat,
    bones: Iterable[SupportsFloat],
    *lengths: SupportsFloat,
) -> Puppet:
    def mm(length: SupportsFloat) -> float:
        return round(float(length), 3)

    ankle, foot, heel, ball, hips = map(mm, lengths)
    return Puppet(name, role, mm(stature), tuple(map(mm, bones)), ankle, foot, heel, ball, hips)


def _average(name: str, role: str, stature: float, hips: float = 0.10) -> Puppet:
    """A grown person of this stature; heel, ball and the hips' share of stature are invented."""
    average = body.segment_lengths(stature)
    bones, foot, ankle = (average.thigh, average.shank), average.foot_length, average.ankle_height
    assert ankle is not None, "this table has it"
    invented = 0.25 * foot, 0.49 * foot, hips * stature
    return _in_millimetres(name, role, stature, bones, ankle, foot, *invented)


def _odo() -> Puppet:
    grown = body.segment_lengths(1.76)
    stilts = grown.shank / 2  # a shank 1.5 times as long
    return _in_millimetres(
        "Odo",
        "on stilts",
        1.76 + stilts,
        (grown.thigh, grown.shank + stilts),
        0.05,
        0.20,
        0.07,
        0.08,
        0.18,
    )


class _Named(dict[str, Puppet]):
    def __missing__(self, name: object) -> Puppet:
        raise KeyError(f"unknown puppet {name!r}; there are {', '.join(map(repr, self))}")


def _names() -> str:
    return ", ".join(map(repr, CAST))


def _by_name(*cast: Puppet) -> MappingProxyType[str, Puppet]:
    return MappingProxyType(_Named((puppet.name, puppet) for puppet in cast))


PUPPETS = _by_name(
    _average("Tamsin", "lamplighter", 1.70),
    _odo(),
    Puppet("Pip", "short-legged baker", 1.40, (0.27, 0.25), 0.06, 0.23, 0.06, 0.11, 0.18),
    Puppet(
        "heron",
        "the heron, whose backward knee is an ankle",
        1.95,
        (0.20, 0.52, 0.46),
        0.03,
        0.24,
        0.07,
        0.06,
        0.15,
        knee_side=-1,
    ),
)
NEIGHBOURS = _by_name(
    _average("Wenna", "net mender", 1.56, hips=0.115),
    _average("Jory", "mast climber", 1.93, hips=0.095),
    Puppet("Maren", "ferrywoman", 1.67, (0.44, 0.37), 0.07, 0.25, 0.065, 0.12, 0.19),
    Puppet("Ulf", "barrel roller", 1.52, (0.33, 0.34), 0.08, 0.27, 0.07, 0.13, 0.20),
)
CAST = _by_name(*PUPPETS.values(), *NEIGHBOURS.values())
