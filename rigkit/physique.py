"""Skins of puppets' own: one differs from another, and its right leg from its left one.

`mesh.puppet_mesh` gives every puppet the same form, and two sides that are exact mirror images.
Here the skin is raised by millimetres: girths, a kneecap, a calf, a heel, a seat; on one side a
strap or a scar; the right leg a little thicker, its toes longer, its rings more. Joints stay where
they are, so a rig's two sides still mirror. All these measures are invented.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from rigkit import _check, _format, mesh, puppets
from rigkit._types import ArrayLike, Floats
from rigkit.mesh import Mesh
from rigkit.puppets import Puppet

__all__ = ["Bump", "Physique", "of_puppet", "skin"]

MOST_MM = 20.0  # of any rise: more would fold the skin of a slim leg
SIDES = ("L", "R", "LR")
ASIDE = 0.5  # half hip widths from the midplane, within which rises fade, so that the halves meet


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Bump(_format.NotebookDisplay):
    """A smooth rise of a leg's skin.

    Attributes
    ----------
    along : float
        Where on the leg: 0 at the hip, 1 at the knee, 1.5 in the middle of the second bone; from
        the last bone's end it is one more straight down to the sole.
    high_mm : float
        How far it stands out in its middle; below zero it is a dent.
    reach_mm : float
        How far it goes up and down the leg.
    facing_deg : float or None
        Which way it faces: 0 front, 90 outside, 180 back, −90 inside; None for all around.
    wide_deg : float
        How far it goes around the leg to either side of that.
    side : {"L", "R", "LR"}
        The legs that have it.

    Raises
    ------
    ValueError
        For a number that cannot be.
    """

    along: float
    high_mm: float
    reach_mm: float
    facing_deg: float | None = None
    wide_deg: float = 60.0
    side: str = "LR"

    def __post_init__(self) -> None:
        along = _check.one("along", self.along)
        _check.every("along", along, np.array(0 <= along <= 4), "from 0 (hip) to 4")
        _check_mm("high_mm", self.high_mm)
        _check.one_positive("reach_mm", self.reach_mm)
        _check.one_positive("wide_deg", self.wide_deg)
        if self.facing_deg is not None:
            _check.one("facing_deg", self.facing_deg)
        _check.choice("side", self.side, SIDES)

    def __repr__(self) -> str:
        way = f"{self.high_mm:+g} mm".replace("-", "−")
        return _format.line(self, way, f"over {self.reach_mm:g} mm", f"at {self.along:g}")


@dataclass(frozen=True)
class Physique(_format.NotebookDisplay):
    """A body's own form, as it differs from that of `mesh.puppet_mesh`.

    Attributes
    ----------
    girth_mm : tuple of float, shape (bones,)
        How much thicker each bone's limb is in its middle, the thigh first; those left out are 0.
    seat_mm : float
        How much farther the seat stands out behind.
    bumps : tuple of Bump, shape (n,)
        Kneecaps, calves, heels, straps, scars.
    right_thicker_mm : float
        How much thicker than the left the right leg is.
    right_longer_mm : float
        How much farther its toes reach.
    more_rings : int
        How many rings of vertices it has more; see `mesh.puppet_mesh`.

    Raises
    ------
    ValueError
        For a rise beyond 20 mm, or what is no bump.

    Examples
    --------
    >>> from rigkit import physique
    >>> physique.of_puppet("Jory")
    Physique: girths +2, −3 mm, 4 bumps, right leg 2 mm thicker, toes 3 mm longer, 1 ring more
    """

    girth_mm: tuple[float, ...] = ()
    seat_mm: float = 0.0
    bumps: tuple[Bump, ...] = ()
    right_thicker_mm: float = 0.0
    right_longer_mm: float = 0.0
    more_rings: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "girth_mm", tuple(self.girth_mm))
        object.__setattr__(self, "bumps", tuple(self.bumps))
        for number in self.girth_mm:
            _check_mm("girth_mm", number)
        for name in ("seat_mm", "right_thicker_mm", "right_longer_mm"):
            _check_mm(name, getattr(self, name))
        _check.count("more_rings", self.more_rings, least=0)
        for bump in self.bumps:
            if not isinstance(bump, Bump):
                raise ValueError(f"`bumps` must be of Bump; got {_check.short(bump)}.")

    def __repr__(self) -> str:
        girths = ", ".join(f"{mm:+g}".replace("-", "−") for mm in self.girth_mm)
        return _format.line(
            self,
            f"girths {girths} mm" if girths else "",
            _format.count(len(self.bumps), "bump"),
            f"right leg {self.right_thicker_mm:g} mm thicker",
            f"toes {self.right_longer_mm:g} mm longer",
            f"{_format.count(self.more_rings, 'ring')} more",
        )


def of_puppet(puppet: Puppet | str) -> Physique:
    """Return a puppet's own physique: the same one every time.

    Those of `puppets.CAST` are written down; any other puppet's are drawn from its measures.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.CAST`.

    Returns
    -------
    Physique

    Raises
    ------
    ValueError
        If it is no puppet.

    Examples
    --------
    >>> from rigkit import physique
    >>> physique.of_puppet("Tamsin").more_rings, physique.of_puppet("Odo").more_rings
    (0, 2)
    """
    puppet = puppets.get(puppet)
    written = puppets.CAST.get(puppet.name)
    return _CAST[puppet.name] if puppet == written else _drawn(puppet)


def skin(
    puppet: Puppet | str,
    vertices: int = 5000,
    chain: ArrayLike | None = None,
    form: Physique | None = None,
) -> Mesh:
    """Return a puppet's skin with its own form: its two sides are no exact mirror images.

    The left half has the vertices of `mesh.puppet_mesh` in their order, the right half comes from
    the sole up, so that no vertex has the number that its partner's would tell. Halves meet in the
    plane x = 0, and near it they are mirror images. `places.mirrored_places` finds each vertex's
    place on the other side.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.CAST`.
    vertices, chain
        As for `mesh.puppet_mesh`.
    form : Physique, optional
        Left out, the puppet's own.

    Returns
    -------
    Mesh

    Raises
    ------
    ValueError
        As `mesh.puppet_mesh`; or if `form` is no Physique, or has more girths than bones.

    Examples
    --------
    >>> from rigkit import physique
    >>> x, _, z = physique.skin("Jory", 800).vertices.T
    >>> round(1000 * float(z[x < 0].max() - z[x > 0].max()), 3)  # its right toes reach farther
    3.0
    """
    puppet = puppets.get(puppet)
    form = of_puppet(puppet) if form is None else form
    if not isinstance(form, Physique) or len(form.girth_mm) > len(puppet.bones):
        raise ValueError(
            f"`form` must be a Physique with at most {len(puppet.bones)} girths; got"
            f" {_check.short(form)}."
        )
    plain = mesh.puppet_mesh(puppet, vertices, chain, form.more_rings)
    chain = mesh.puppet_chain(puppet) if chain is None else np.asarray(chain, np.float64)
    points = plain.vertices.copy()
    for side, way in (("L", 1), ("R", -1)):
        mine = way * points[:, 0] > 0
        outward = points[mine] * [way, 1, 1]
        points[mine] = (outward + _rise(outward, chain, form, side)) * [way, 1, 1]
    return _from_the_sole_up(Mesh(points, plain.triangles))


def _from_the_sole_up(surface: Mesh) -> Mesh:
    """The same mesh, its right half's vertices in the opposite order."""
    order = np.arange(len(surface.vertices))
    right = np.flatnonzero(surface.vertices[:, 0] < 0)
    order[right] = right[::-1]  # its own inverse
    return Mesh(surface.vertices[order], order[surface.triangles])


def _rise(points: Floats, chain: Floats, form: Physique, side: str) -> Floats:
    """The moves of one half's vertices, x outward, (n, 3) in metres."""
    joints = np.concatenate([chain, chain[-1:] * [1, 0, 1]])  # down to the sole
    marks = np.cumsum([0.0, *np.linalg.norm(np.diff(joints, axis=0), axis=-1)])
    along, away = _along(points, joints)
    facing = np.degrees(np.arctan2(away[:, 0], away[:, 2]))
    mm = _girth(along, form, len(chain) - 1, side)
    for bump in form.bumps:
        if side in bump.side:
            far = _metres(along, marks) - _metres(bump.along, marks)
            mm = mm + _bump(bump, far, facing)
    out = away / np.maximum(np.linalg.norm(away, axis=-1, keepdims=True), 1e-9)
    moves = mm[:, None] * out
    moves[:, 2] -= form.seat_mm * _seat(points, chain[0])
    if side == "R":
        moves[:, 2] += form.right_longer_mm * _toward_the_toes(points, chain[-1])
    return moves / 1000 * _fade(points[:, :1] / (ASIDE * chain[0, 0]))


def _along(points: Floats, joints: Floats) -> tuple[Floats, Floats]:
    """The place of each vertex along the leg, in bones from the hip, and its way off the bone."""
    best = np.full(len(points), np.inf)
    along, away = np.zeros(len(points)), np.zeros_like(points)
    for i, (start, end) in enumerate(pairwise(joints)):
        bone = end - start
        share = np.clip((points - start) @ bone / (bone @ bone), 0.0, 1.0)
        off = points - start - share[:, None] * bone
        distance = np.linalg.norm(off, axis=-1)
        nearer = distance < best
        best = np.where(nearer, distance, best)
        along = np.where(nearer, i + share, along)
        away = np.where(nearer[:, None], off, away)
    return along, away


def _metres(along: Floats | float, marks: Floats) -> Floats:
    """The length of the leg down to a place, from the lengths down to each joint."""
    return np.asarray(np.interp(along, np.arange(len(marks)), marks), np.float64)


def _girth(along: Floats, form: Physique, bones: int, side: str) -> Floats:
    """The rise all around in the middle of each bone, and of the right leg, in millimetres."""
    girths = np.zeros(bones + 2)
    girths[: len(form.girth_mm)] = form.girth_mm
    mm = girths[along.astype(int)] * np.sin(np.pi * along) ** 2
    if side == "R":
        mm += form.right_thicker_mm * _fade(along / 0.3) * _fade((bones - along) / 0.3)
    return mm


def _bump(bump: Bump, far: Floats, facing: Floats) -> Floats:
    """The rise of a bump so far along the leg [m], in millimetres: (1 − r²)³, and so around it."""
    up = 1000 * far / bump.reach_mm
    mm = bump.high_mm * np.maximum(1 - up**2, 0.0) ** 3
    if bump.facing_deg is None:
        return mm
    turned = (facing - bump.facing_deg + 180) % 360 - 180
    return mm * np.maximum(1 - (turned / bump.wide_deg) ** 2, 0.0) ** 3


def _seat(points: Floats, hip: Floats) -> Floats:
    """Share of the seat's rise: behind and a little below the hips, 0 to 1."""
    down, behind = (hip[1] - points[:, 1]) / hip[0], (hip[2] - points[:, 2]) / hip[0]
    return np.maximum(1 - (down - 0.4) ** 2, 0.0) ** 3 * _fade(behind)


def _toward_the_toes(points: Floats, end: Floats) -> Floats:
    """Share of the toes' way that a vertex of the foot goes along: 1 at their tip."""
    ahead = points[:, 2] - end[2]
    below = _fade((end[1] - points[:, 1]) / (0.4 * end[1]))
    return np.maximum(ahead / ahead.max(), 0.0) * below


def _fade(t: Floats) -> Floats:
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3 - 2 * t)


def _check_mm(name: str, value: float) -> float:
    mm = _check.one(name, value, "Millimetres, such as 3.")
    _check.every(name, mm, np.array(abs(mm) <= MOST_MM), f"from −{MOST_MM:g} to {MOST_MM:g} mm")
    return mm


# Bumps that many have, invented


def _kneecap(high_mm: float) -> Bump:
    return Bump(1.0, high_mm, 45.0, 0.0, 55.0)


def _calf(high_mm: float, side: str = "LR") -> Bump:
    return Bump(1.3, high_mm, 110.0, 180.0, 110.0, side)


def _hollow(deep_mm: float) -> Bump:
    """The hollow behind an ankle."""
    return Bump(1.95, -deep_mm, 40.0, 180.0, 80.0)


def _heel(high_mm: float) -> Bump:
    return Bump(2.3, high_mm, 25.0, 180.0, 70.0)


_CAST = MappingProxyType(
    {
        # A scar on the right shin.
        "Tamsin": Physique(
            (0.0, 1.0),
            2.0,
            (_kneecap(3.0), _calf(2.0), _heel(2.0), Bump(1.55, -2.0, 45.0, 0.0, 50.0, "R")),
            right_thicker_mm=1.5,
            right_longer_mm=2.0,
        ),
        # A stilt's strap on the left shank.
        "Odo": Physique(
            (-3.0, -5.0),
            0.0,
            (_kneecap(4.0), _heel(1.0), Bump(1.45, 4.0, 45.0, side="L")),
            right_thicker_mm=2.0,
            right_longer_mm=3.0,
            more_rings=2,
        ),
        # A bandage above the left ankle.
        "Pip": Physique(
            (3.0, 3.0),
            5.0,
            (_kneecap(3.0), _calf(5.0), _heel(2.0), Bump(1.75, 3.0, 35.0, side="L")),
            right_thicker_mm=3.0,
            right_longer_mm=3.0,
            more_rings=1,
        ),
        # Tendons behind the ankles, a ring around the right metatarsus.
        "heron": Physique(
            (4.0, -4.0, -4.0),
            0.0,
            (Bump(2.0, 3.0, 60.0, 180.0, 70.0), Bump(2.4, 3.0, 30.0, side="R")),
            right_thicker_mm=1.0,
            right_longer_mm=4.0,
            more_rings=2,
        ),
        # A swollen right calf.
        "Wenna": Physique(
            (4.0, 2.0),
            7.0,
            (_kneecap(2.0), _calf(3.0, "L"), _calf(7.0, "R"), _heel(3.0)),
            right_thicker_mm=1.0,
            right_longer_mm=2.0,
            more_rings=1,
        ),
        # A strap around the left thigh, for the rope.
        "Jory": Physique(
            (2.0, -3.0),
            -2.0,
            (_kneecap(5.0), _calf(6.0), _heel(1.0), Bump(0.65, -3.0, 45.0, side="L")),
            right_thicker_mm=2.0,
            right_longer_mm=3.0,
            more_rings=1,
        ),
        # A scar on the outside of the left thigh.
        "Maren": Physique(
            (6.0, 4.0),
            8.0,
            (_kneecap(2.0), _calf(4.0), _heel(4.0), Bump(0.7, -3.0, 60.0, 90.0, 45.0, "L")),
            right_thicker_mm=3.0,
            right_longer_mm=4.0,
            more_rings=3,
        ),
        # A patch on the right knee.
        "Ulf": Physique(
            (5.0, 6.0),
            6.0,
            (_kneecap(3.0), _calf(6.0), _heel(3.0), Bump(1.0, 3.0, 70.0, 0.0, 80.0, "R")),
            right_thicker_mm=2.0,
            right_longer_mm=3.0,
            more_rings=2,
        ),
    }
)


def _drawn(puppet: Puppet) -> Physique:
    """A physique from a puppet's measures: whoever has the same has the same."""
    told = repr((puppet.name, puppet.bones, puppet.hip_width, puppet.foot_length))
    chance = iter(hashlib.sha256(told.encode()).digest())

    def between(low: float, high: float) -> float:
        return round(low + (high - low) * next(chance) / 255, 1)

    def pick(options: Iterable[str]) -> str:
        several = tuple(options)
        return several[next(chance) % len(several)]

    mark = Bump(between(1.3, 1.7), between(2.0, 4.0), between(35.0, 60.0), side=pick("LR"))
    return Physique(
        tuple(between(-4.0, 5.0) for _ in puppet.bones),
        between(0.0, 7.0),
        (
            _kneecap(between(2.0, 5.0)),
            _calf(between(1.0, 6.0)),
            _heel(between(1.0, 4.0)),
            _hollow(4.0),
            mark,
        ),
        between(1.0, 3.0),
        between(2.0, 4.0),
        1 + next(chance) % 3,
    )
