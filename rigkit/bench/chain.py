"""The joints of one leg on the bench: which there are, in which order, what is asked of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from types import MappingProxyType

from rigkit import puppets
from rigkit.puppets import Puppet

__all__ = ["Chain", "TWO_BONES", "THREE_BONES", "chain_of"]

_MANY = {"knee": "knees", "ankle": "ankles", "foot": "feet"}


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class Chain:
    """A leg's joints.

    Attributes
    ----------
    hinges : tuple of str
        From the hip to the leg's end; the last three are those of the two solved bones.
    way : int
        The side to which the leg bends: 1 forward, −1 backward.
    called : mapping of str to str
        What a joint is called in a sentence, where its name alone would mislead.
    raised_m : mapping of str to float
        How far above a joint its limb is cut, where a cut through it would meet more than the limb.
    ball_percent : (float, float)
        Limits for the ball's place along the foot, from the heel.
    ball_because : str
        Where these limits come from.
    shown : mapping of str to str
        What shows of a joint on the skin and tells its height.
    notes : mapping of str to str
        By step, what it leaves out or asks otherwise than of people, and why.
    """

    hinges: tuple[str, ...]
    way: int
    ball_percent: tuple[float, float]
    ball_because: str
    called: Mapping[str, str] = field(default_factory=dict)
    raised_m: Mapping[str, float] = field(default_factory=dict)
    shown: Mapping[str, str] = field(default_factory=dict)
    notes: Mapping[str, str] = field(default_factory=dict)

    @property
    def joints(self) -> tuple[str, ...]:
        """All of them, from the hip to the toe."""
        return (*self.hinges, "ball", "toe")

    @property
    def parents(self) -> dict[str, str]:
        """The joint that each one hangs from in a sound leg, or the pelvis."""
        return {lower: upper for upper, lower in pairwise(("pelvis", *self.joints))}

    @property
    def solved(self) -> tuple[str, str, str]:
        """The joints where the two solved bones begin, meet and end."""
        root, bend, end = self.hinges[-3:]
        return root, bend, end

    @property
    def bend(self) -> str:
        """The joint that bends between them: the knee, or the heron's ankle."""
        return self.hinges[-2]

    @property
    def end(self) -> str:
        """The leg's end, which carries the foot."""
        return self.hinges[-1]

    @property
    def forward(self) -> str:
        """The word for the side to which the leg bends."""
        return "forward" if self.way > 0 else "backward"

    def word(self, joint: str) -> str:
        """Return what a joint is called in a sentence."""
        return self.called.get(joint, joint)

    def many(self, joint: str) -> str:
        """Return what that joint of both legs is called."""
        return _MANY[joint]


TWO_BONES = Chain(
    ("hip", "knee", "ankle"),
    1,
    (65.0, 82.0),
    "72 to 74 % in ANSUR II (ball-of-foot length by foot length)",
    shown=MappingProxyType({"knee": "the kneecap", "ankle": "the instep"}),
)
THREE_BONES = Chain(
    ("hip", "knee", "ankle", "foot"),
    -1,
    (46.0, 62.0),
    "54 % of its own sketch, which is invented",
    called=MappingProxyType({"foot": "foot joint"}),
    raised_m=MappingProxyType({"foot": 0.05}),
    shown=MappingProxyType({"ankle": "the knob behind it"}),
    notes=MappingProxyType(
        {
            "01": "Rules that find hips are of people; its hip is told from its own skin."
            " Its knee is hidden in the feathers: nothing there tells its height.",
            "03": "Its hip carries the thigh; knee, ankle and foot are what bends.",
            "05": "What snaps straight is its ankle, which looks like a knee.",
            "06": "What looks like its knee is its ankle: it bends backward.",
            "07": "Its ankle bends backward, so the pole stands behind.",
            "09": "What bends is its ankle: read shank for thigh here, and metatarsus for shank.",
            "10": "Ranges of human joints say nothing of it and are left out.",
            "11": "It walks on its toes: they roll about heel, ball and tip all the same.",
            "12": "The inspection asks no human hips and no human range of an animal.",
        }
    ),
)


def chain_of(puppet: Puppet | str) -> Chain:
    """Return the joints that a character's leg has.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.CAST`.

    Returns
    -------
    Chain

    Raises
    ------
    ValueError
        If it is no puppet.

    Examples
    --------
    >>> from rigkit.bench.chain import chain_of
    >>> chain_of("Pip").joints, chain_of("heron").solved
    (('hip', 'knee', 'ankle', 'ball', 'toe'), ('knee', 'ankle', 'foot'))
    """
    return THREE_BONES if len(puppets.get(puppet).bones) == 3 else TWO_BONES
