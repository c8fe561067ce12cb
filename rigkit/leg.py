"""The leg rig: a pelvis and two legs, each by a forward or inverse chain, posed in one call.

A leg of two bones (hip, knee, ankle) or of three, the heron's (hip, knee, ankle, foot). The heron's
thigh is carried by the pelvis and its hip control; below it lies the same two-bone leg, which bends
backward. The joint between the two solved bones is the leg's bend: a knee, or the heron's ankle.
The leg's end, an ankle or the heron's foot, carries ball and toe.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, overload

import numpy as np

from rigkit import _check, _format, placement, puppets, rotation, two_bone
from rigkit import controls as ct
from rigkit import foot as ft
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, ControlValues, Floats, Shape
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, Skeleton

__all__ = ["FOOT_CHANNELS", "CARRIED_THIGH", "LegPose", "LegAngles", "LegRig"]

# A foot's own turns: one number for all its pivots, one for each pivot, the bend of the toes.
FOOT_CHANNELS = ("roll", "heel", "ball", "tip", "toe")
CARRIED_THIGH = np.radians(60.0)  # how far forward the heron's thigh is carried; invented
_STRAIGHT_DEG = 1e-9  # below this a bend is rounding, and the hinge axis is square to forward


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True, eq=False)
class LegPose(_format.NotebookDisplay):
    """A posed rig, or a batch of poses.

    `pose["L_knee"]` is that joint's world frames, shape (..., 4, 4); another index picks from the
    batch as it would from an array: `pose[0]` is the first pose, `pose[::10]` every tenth.

    Attributes
    ----------
    world : ndarray, shape (..., n, 4, 4)
        World frames in the order of the skeleton's joints.
    controls : dict of str to ndarray, shape (..., 4, 4)
        World frames of the controls in use.
    flexion : ndarray, shape (..., 2)
        How far each leg is bent between its two solved bones; zero is straight [rad].
    miss : ndarray, shape (..., 2)
        How far each inverse leg's end stays from its goal; zero for a forward leg [m].
    guided : ndarray of bool, shape (..., 2)
        True where the knee control gave its leg a direction, and for a forward leg.
    names : tuple of str
        The skeleton's joints.
    """

    world: Floats
    controls: dict[str, Floats]
    flexion: Floats
    miss: Floats
    guided: Bools
    names: tuple[str, ...]

    @overload
    def __getitem__(self, key: str) -> Floats: ...

    @overload
    def __getitem__(self, key: Any) -> LegPose: ...

    def __getitem__(self, key: Any) -> Floats | LegPose:
        """A joint's world frames by its name, or part of the batch by any NumPy index.

        Parameters
        ----------
        key : str, or index of the batch

        Returns
        -------
        ndarray, shape (..., 4, 4), or LegPose

        Raises
        ------
        ValueError
            For a name that is not a joint's; it lists the names there are.
        IndexError
            For an entry the batch does not have. A single pose has none.

        Examples
        --------
        >>> from rigkit.leg import LegRig
        >>> poses = LegRig.from_puppet("Tamsin").pose({"pelvis": {"shift_y": [0, -0.1, -0.2]}})
        >>> poses["L_knee"].shape
        (3, 4, 4)
        >>> poses[1]["pelvis"][:3, 3].round(3).tolist()
        [0.0, 0.799, 0.0]
        """
        if isinstance(key, str):
            return _pick(dict(zip(self.names, np.moveaxis(self.world, -3, 0), strict=True)), key)
        _check_entry(self.flexion.shape[:-1], key)
        return replace(
            self,
            world=self.world[key],
            controls={name: frames[key] for name, frames in self.controls.items()},
            flexion=self.flexion[key],
            miss=self.miss[key],
            guided=self.guided[key],
        )

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"pelvis {_format.origin(_format.part(self.world, 0, 2))}",
            f"bend {_format.sides(self.flexion, _format.angle)}",
            f"miss {_format.sides(self.miss, _format.small)}",
            _format.truth(self.guided, "knees guided"),
            batch=_format.batch(self.flexion, 1),
        )


_NO_TURNS = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


@dataclass(frozen=True, eq=False)
class LegAngles(_format.NotebookDisplay):
    """Both legs' joint angles as anatomy has them, in radians; a straight standing leg reads zero.

    `angles["L_hip"]` is one joint's.

    Attributes
    ----------
    hip : array_like, shape (..., 2, 3)
        Flexion, abduction, internal rotation: the thigh forward, outward, the knee turned inward.
        In this order of turning they are the ISB's hip angles.
    knee : array_like, shape (..., 2)
        Flexion.
    ankle : array_like, shape (..., 2, 3)
        Dorsiflexion (toes up), the foot's sole turned outward, the foot turned inward.
    """

    hip: Floats
    knee: Floats
    ankle: Floats

    def __init__(
        self, hip: ArrayLike = _NO_TURNS, knee: ArrayLike = (0.0, 0.0), ankle: ArrayLike = _NO_TURNS
    ):
        object.__setattr__(self, "hip", _check.numbers("hip", hip, 2, 3))
        object.__setattr__(self, "knee", _check.numbers("knee", knee, 2))
        object.__setattr__(self, "ankle", _check.numbers("ankle", ankle, 2, 3))

    def __getitem__(self, joint: str) -> Floats:
        """A joint's angles by its name.

        Parameters
        ----------
        joint : str
            With its side tag: L_hip, R_knee and so on.

        Returns
        -------
        ndarray, shape (..., 3), of a knee (...)

        Raises
        ------
        ValueError
            For a name that is not a joint's; it lists the names there are.

        Examples
        --------
        >>> from rigkit.leg import LegRig
        >>> rig = LegRig.from_puppet("Tamsin", preset_bend_deg=10)
        >>> round(float(rig.angles(rig.pose())["L_knee"]), 4)
        0.1745
        """
        named = {}
        for side, tag in enumerate(SIDE_TAGS):
            named[tag + "hip"] = self.hip[..., side, :]
            named[tag + "knee"] = self.knee[..., side]
            named[tag + "ankle"] = self.ankle[..., side, :]
        return _pick(named, joint)

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"hip {_format.sides(self.hip, _format.angles, -2)}",
            f"knee {_format.sides(self.knee, _format.angle)}",
            f"ankle {_format.sides(self.ankle, _format.angles, -2)}",
            batch=_format.batch(self.knee, 1),
        )


class LegRig(_format.NotebookDisplay):
    """A pelvis and two legs that stand on the floor at rest, facing +Z, and their controls.

    Controls, each with the channels of `controls.CHANNELS` that it needs, all zero at rest:

    - `pelvis`;
    - for an inverse leg `L_foot` (outline on the floor, pivot at the leg's end), which has also
      `roll` (by `foot.roll`, within ±90°), `heel`, `ball` and `tip` (turns about heel, ball and
      the toe's tip, added to what the roll gives each; heel up positive) and `toe` (a bend at the
      ball, toes down positive); and `L_knee`, the pole, which follows the pelvis;
    - for a forward leg `L_hip_turn` and so on for each joint down to `L_ball_turn`. Of the bend
      joint only turn_x is free, and not past straight. The heron's `L_hip_turn` counts in an
      inverse leg too.

    An inverse leg is solved by `two_bone.solve`, a foot by `foot.roll`.

    Parameters
    ----------
    centres : mapping of str to array_like, shape (3,)
        Of `L_hip`, `L_knee`, `L_ankle`, for a leg of three bones also `L_foot`; of `L_ball`; and on
        the floor `L_heel` and `L_toe`. The right side's are mirrored from the left's where
        left out; `pelvis` is then midway between the hips. Metres, the floor at y = 0.
    soft : float
        The distance before full reach at which a leg's end begins to lag, metres; see
        `two_bone.soft_reach`.

    Attributes
    ----------
    skeleton : Skeleton
        Rest pose. Leg joints have y up the bone and x along the hinge axis; the leg's end, ball and
        toe are level with z along the foot.
    controls : tuple of Control
        In order, leaders before followers.
    chain : tuple of str
        The leg's joints from hip to end, without side tag.

    Raises
    ------
    ValueError
        For a centre that is missing or not known; a leg that at rest bends sideways or the wrong
        way; a foot that is not on the floor.

    Examples
    --------
    >>> from rigkit.leg import LegRig
    >>> rig = LegRig.from_puppet("Tamsin")
    >>> rig.chain, [control.name for control in rig.controls][:3]
    (('hip', 'knee', 'ankle'), ['pelvis', 'L_foot', 'L_knee'])
    """

    skeleton: Skeleton
    controls: tuple[ct.Control, ...]
    chain: tuple[str, ...]

    def __init__(self, centres: Mapping[str, ArrayLike], soft: float = 0.0):
        points = _complete(centres)
        self.chain = (
            ("hip", "knee", "ankle", "foot") if "L_foot" in points else ("hip", "knee", "ankle")
        )
        self.soft = _check.one("soft", soft, "A rig has one for both legs.")
        self._way = -1 if len(self.chain) == 4 else 1  # which way the leg bends
        self._parts = (*self.chain, "ball", "toe")
        frames = {"pelvis": fr.frame(origin=points["pelvis"])}
        parents: dict[str, str | None] = {"pelvis": None}
        soles = {}
        for tag in SIDE_TAGS:
            legs = [tag + joint for joint in self.chain]
            placed = self._place([points[name] for name in legs], legs[-2])
            soles[tag] = _foot_frame(points, tag, legs[-1])
            names = [*legs, tag + "ball", tag + "toe"]
            level = [fr.frame(soles[tag][:3, :3], points[name]) for name in names[-3:]]
            frames |= dict(zip(names, [*placed[:-1], *level], strict=True))
            parents |= dict(zip(names, ["pelvis", *names[:-1]], strict=True))
        self.skeleton = Skeleton.from_world(frames, parents)
        self._at = np.array(
            [[self.skeleton.index(tag + part) for part in self._parts] for tag in SIDE_TAGS]
        )
        self._measure(points, soles)
        self._set_controls(self._first_controls(soles))

    def __repr__(self) -> str:
        bones = "two" if len(self.chain) == 3 else "three"
        return _format.line(
            self,
            f"two legs of {bones} bones",
            f"bent {_format.sides(self._rest_flexion, _format.angle)} at rest",
            f"soft over {_format.small(self.soft)}" if self.soft else "",
            f"controls {', '.join(control.name for control in self.controls)}",
        )

    @classmethod
    def from_puppet(
        cls, puppet: Puppet | str, preset_bend_deg: float = 5.0, soft: float = 0.0
    ) -> LegRig:
        """Return the rig of a puppet that stands with a preset bend.

        Its leg's end is straight below the joint where its two solved bones begin: the hip, or the
        heron's knee, whose thigh is carried `CARRIED_THIGH` forward. The foot is that of
        `foot.of_puppet`.

        Parameters
        ----------
        puppet : Puppet or str
            A name is one of `puppets.PUPPETS`.
        preset_bend_deg : float
            The bend of the leg at rest, from 0 (straight) to 90.
        soft : float
            As for `LegRig`.

        Returns
        -------
        LegRig

        Raises
        ------
        ValueError
            For a puppet, bend or softness that cannot be.

        Examples
        --------
        >>> from rigkit.leg import LegRig
        >>> LegRig.from_puppet("heron", preset_bend_deg=12).chain
        ('hip', 'knee', 'ankle', 'foot')
        """
        puppet = puppets.get(puppet)
        bend = _check.one("preset_bend_deg", preset_bend_deg, "A rig has one rest pose.")
        if not 0 <= bend <= 90:
            raise ValueError(
                f"`preset_bend_deg` must be from 0 to 90; got {preset_bend_deg!r}. 5 is usual."
            )
        points = _side_view(puppet, np.radians(bend))
        half = puppet.hip_width / 2
        return cls({"L_" + name: (half, up, ahead) for name, (ahead, up) in points.items()}, soft)

    def with_controls(self, *changed: ct.Control) -> LegRig:
        """Return the rig with some controls replaced: to follow something else, to lock, to limit.

        `controls.switch` makes one that follows something else without a jump.

        Parameters
        ----------
        *changed : Control
            Each takes the place of the control of its name.

        Returns
        -------
        LegRig
            This rig stays as it is.

        Raises
        ------
        ValueError
            For a control whose name this rig does not have.

        Examples
        --------
        >>> from dataclasses import replace
        >>> from rigkit.leg import LegRig
        >>> rig = LegRig.from_puppet("Tamsin")
        >>> rig = rig.with_controls(replace(rig.controls[0], limits={"shift_y": (-0.3, 0.0)}))
        >>> round(float(rig.pose({"pelvis": {"shift_y": -1.0}})["pelvis"][1, 3]), 3)
        0.599
        """
        by_name = {control.name: control for control in self.controls}
        for control in changed:
            if control.name not in by_name:
                raise ValueError(
                    f"unknown control {control.name!r} in `changed`; this rig has "
                    f"{', '.join(by_name)}."
                )
            by_name[control.name] = control
        rig = copy.copy(self)
        rig._set_controls(by_name.values())
        return rig

    def pose(
        self,
        values: ControlValues | None = None,
        inverse: ArrayLike | Mapping[str, ArrayLike] = True,
    ) -> LegPose:
        """Return the skeleton posed by control values.

        Parameters
        ----------
        values : mapping of control name to mapping of channel to array_like, shape (...)
            Metres and radians; what is left out is zero.
        inverse : bool, or mapping of side tag to array_like of bool, shape (...)
            True for a leg posed by the inverse chain, as is a side left out.

        Returns
        -------
        LegPose
            Batched over the common shape of all values.

        Raises
        ------
        ValueError
            For a control or channel that is not there, or numbers that are not finite.

        Examples
        --------
        >>> from rigkit.leg import LegRig
        >>> pose = LegRig.from_puppet("Tamsin").pose({"pelvis": {"shift_y": -0.1}})
        >>> pose.flexion.round(3).tolist()
        [0.993, 0.993]
        >>> pose["L_knee"][:3, 3].round(3).tolist()
        [0.085, 0.434, 0.199]
        """
        plain, extra = _split_values(values or {})
        by_goal = _check_inverse(inverse)
        worlds, feet = self._control_frames(plain, extra, by_goal)
        shape = worlds["pelvis"].shape[:-2]
        legs = np.empty((*shape, 2, len(self._parts), 4, 4))
        miss, guided = np.zeros((*shape, 2)), np.ones((*shape, 2), dtype=bool)
        forward, solved = _sides(~by_goal), _sides(by_goal)
        if forward:
            legs[..., forward, :, :, :] = self._hang(worlds, forward)
        if solved:
            picked = by_goal[..., solved]
            answer, frames = self._solve(worlds, feet[..., solved, :], solved)
            if not picked.all():
                frames = np.where(picked[..., None, None, None], frames, legs[..., solved, :, :, :])
            legs[..., solved, :, :, :] = frames
            miss[..., solved] = np.where(picked, answer.miss, 0.0)
            guided[..., solved] = np.where(picked, answer.guided, True)
        world = np.empty((*shape, len(self.skeleton), 4, 4))
        world[..., self.skeleton.index("pelvis"), :, :] = worlds["pelvis"]
        world[..., self._at, :, :] = legs
        return LegPose(world, worlds, self._flexion(legs), miss, guided, self.skeleton.names)

    def match(self, pose: LegPose) -> dict[str, dict[str, Floats]]:
        """Return the values of every control with which this very pose comes out, by either chain.

        So a leg changes its chain without a jump: take the values from the pose before, and go on
        with the other chain. What a foot's own turns do is given as the turn and shift they come
        to. A leg nearer to straight than about a tenth of a thousandth of a degree, or folded up,
        comes out to some 1e-8 m only: there an angle is ill-conditioned.

        Parameters
        ----------
        pose : LegPose
            Of this rig.

        Returns
        -------
        dict of str to dict of str to ndarray, shape (...)
            By control and channel; metres and radians.

        Raises
        ------
        ValueError
            For a pose that is not of this rig's joints.

        Examples
        --------
        >>> from rigkit.leg import LegRig
        >>> rig = LegRig.from_puppet("Tamsin")
        >>> values = rig.match(rig.pose({"L_foot": {"shift_y": 0.2}}))
        >>> round(float(values["L_foot"]["shift_y"]), 6)
        0.2
        """
        world = _check.numbers("pose.world", pose.world, len(self.skeleton), 4, 4)
        joints = {name: world[..., i, :, :] for i, name in enumerate(self.skeleton.names)}
        values: dict[str, dict[str, Floats]] = {}
        worlds: dict[str, Floats] = {}
        for control in self._with_gaps:
            base = ct._base(control, worlds)
            worlds[control.name] = self._where(control.name, joints, base)
            values[control.name] = ct.values_at(control, worlds[control.name], base)
        for tag in SIDE_TAGS:
            values[tag + "foot"] |= {
                channel: np.zeros(world.shape[:-3]) for channel in FOOT_CHANNELS
            } | {"toe": values[tag + "ball_turn"]["turn_x"]}
        return values

    def angles(self, pose: LegPose) -> LegAngles:
        """Return both legs' joint angles as anatomy has them; only of legs of two bones.

        The rest pose does not count. The frames are the ISB's but for the names of their axes (ISB
        x, y, z are our z, y, −x), so turning about x, then z, then y is the ISB's order: flexion,
        the floating axis, rotation about the thigh (G. Wu et al., J. Biomech. 35:543–548, 2002,
        after E. S. Grood, W. J. Suntay, J. Biomech. Eng. 105:136–144, 1983). Signs follow from the
        words: flexion carries the thigh forward, a turn of −x; abduction carries it away from the
        midplane, +z on the left; internal rotation turns the toes to it, −y on the left.

        Parameters
        ----------
        pose : LegPose
            Of this rig.

        Returns
        -------
        LegAngles

        Raises
        ------
        ValueError
            For a rig whose legs have three bones, or a pose that is not of its joints.
        """
        self._check_two_bones("angles")
        world = _check.numbers("pose.world", pose.world, len(self.skeleton), 4, 4)
        legs = world[..., self._at[:, :3], :3, :3]
        pelvis = world[..., None, None, self.skeleton.index("pelvis"), :3, :3]
        above = np.concatenate([np.broadcast_to(pelvis, legs[..., :1, :, :].shape), legs], axis=-3)
        turns = np.swapaxes(above[..., :-1, :, :], -1, -2) @ legs
        hip, knee, ankle = np.moveaxis(rotation.euler_from_matrix(turns, ct.TURN_ORDER), -2, 0)
        return LegAngles(_ANATOMY * hip, knee[..., 0], _ANATOMY * ankle)

    def values_from_angles(self, angles: LegAngles) -> dict[str, dict[str, Floats]]:
        """Return the forward legs' control values for joint angles, the inverse of `angles`.

        Parameters
        ----------
        angles : LegAngles

        Returns
        -------
        dict of str to dict of str to ndarray, shape (...)
            By control and channel; radians.

        Raises
        ------
        ValueError
            For a rig whose legs have three bones.

        Examples
        --------
        >>> from rigkit.leg import LegAngles, LegRig
        >>> rig = LegRig.from_puppet("Tamsin")
        >>> values = rig.values_from_angles(LegAngles(knee=(0.5, 0.2)))
        >>> rig.pose(values, inverse=False).flexion.round(6).tolist()
        [0.5, 0.2]
        """
        self._check_two_bones("values_from_angles")
        wanted = [
            rotation.matrix_from_euler(_ANATOMY * angles.hip, ct.TURN_ORDER),
            rotation.matrix_about("x", angles.knee),
            rotation.matrix_from_euler(_ANATOMY * angles.ankle, ct.TURN_ORDER),
        ]
        values = {}
        for i, (part, turn) in enumerate(zip(self.chain, wanted, strict=True)):
            rest = self.skeleton.rest_local[self._at[:, i], :3, :3]
            turn = rotation.euler_from_matrix(np.swapaxes(rest, -1, -2) @ turn, ct.TURN_ORDER)
            for side, tag in enumerate(SIDE_TAGS):
                x, z, y = np.moveaxis(turn[..., side, :], -1, 0)
                values[f"{tag}{part}_turn"] = {"turn_x": x, "turn_y": y, "turn_z": z}
        return values

    # What is measured once, from the rest pose.

    def _place(self, points: Sequence[Floats], bending: str) -> list[Floats]:
        """Frames for one leg's joint centres; its last three lie in the bend plane."""
        placed = placement.orient_chain(
            points[-3:], knee_direction=self._way, least_bend_deg=_STRAIGHT_DEG
        )
        if placed[0, 0, 0] < 0.5:
            off = np.degrees(rotation.angle_between(placed[0, :3, 0], [1, 0, 0]))
            way = "forward" if self._way > 0 else "backward"
            raise ValueError(
                f"`{bending}` must be placed so that the leg bends {way}; got a bend {off:.0f}° off"
                " that. Move it a little that way, or exactly onto the line between its"
                " neighbours."
            )
        above = [placement.orient_chain(points[:2])[0]] if len(points) > 3 else []
        return [*above, *placed]

    def _measure(self, centres: Mapping[str, Floats], soles: Mapping[str, Floats]) -> None:
        rest = self.skeleton.rest_world[self._at]
        # Where the two solved bones begin, bend and end.
        self._solved = np.array([-3, -2, -1]) + len(self.chain)
        root, bend, end = np.moveaxis(rest[:, self._solved], 1, 0)
        self._upper = np.linalg.norm(bend[:, :3, 3] - root[:, :3, 3], axis=-1)
        self._lower = np.linalg.norm(end[:, :3, 3] - bend[:, :3, 3], axis=-1)
        self._rest_flexion = np.maximum(self._flexion(rest), 0.0)
        # Refuses a `soft` that no leg can have.
        two_bone.soft_reach(0.0, self._upper, self._lower, self.soft)
        self._start = self.skeleton.rest_local[self._at[:, self._solved[0]], :3, 3]
        self._tip = self.skeleton.rest_local[self._at[:, -1]]
        self._ahead = self._way * root[:, :3, 2]  # where the leg bends to, seen from the pelvis
        self._sole = np.array(
            [
                [
                    fr.apply(fr.invert(soles[tag]), centres[tag + part])
                    for part in (self.chain[-1], "heel", "ball", "toe")
                ]
                for tag in SIDE_TAGS
            ]
        )
        self._feet = {
            sides: ft.Foot(*np.moveaxis(self._sole[slice(*sides)][..., [2, 1]], 1, 0))
            for sides in ((0, 1), (1, 2), (0, 2))
        }

    def _first_controls(self, soles: Mapping[str, Floats]) -> Iterator[ct.Control]:
        rest = dict(zip(self.skeleton.names, self.skeleton.rest_world, strict=True))
        yield ct.Control("pelvis", rest["pelvis"], _ring(0.16, (0, 2)))
        for side, tag in enumerate(SIDE_TAGS):
            yield ct.Control(
                tag + "foot", soles[tag], _around_the_sole(self._sole[side]), self._sole[side, 0]
            )
            yield ct.Control(
                tag + "knee",
                self._where(tag + "knee", rest, np.eye(4)),
                _ring(0.03, (0, 1)),
                parent="pelvis",
                locked=("turn_x", "turn_y", "turn_z"),
            )
            parent = "pelvis"
            for part in self._parts[:-1]:
                bends = part == self.chain[-2]
                locked = ("turn_y", "turn_z") if bends or part == "ball" else ()
                yield ct.Control(
                    f"{tag}{part}_turn",
                    rest[tag + part],
                    _ring(0.06, (0, 2)),
                    parent=parent,
                    locked=ct.CHANNELS[:3] + locked,
                    limits={"turn_x": self._turn_limits(side)} if bends else {},
                )
                parent = f"{tag}{part}_turn"

    def _turn_limits(self, side: int) -> list[float]:
        """From straight to folded, as turns of the bend joint away from rest."""
        return sorted((self._way * (np.array([0.0, np.pi]) - self._rest_flexion[side])).tolist())

    def _set_controls(self, controls: Iterable[ct.Control]) -> None:
        self.controls = ct.topological_order(controls)
        self._with_gaps = ct.with_offsets(self.controls)
        carried = ["hip_turn"] if len(self.chain) == 4 else []
        self._used = {
            (side, way): self._leading(["pelvis", *(tag + name for name in names)])
            for side, tag in enumerate(SIDE_TAGS)
            for way, names in (
                (True, ["foot", "knee", *carried]),
                (False, [part + "_turn" for part in self._parts[:-1]]),
            )
        }

    def _leading(self, names: Iterable[str]) -> set[int]:
        """The places of the named controls and of all that lead them."""
        leading = set(names)
        for control in reversed(self._with_gaps):
            if control.name in leading:
                leading |= {follow.leader for follow in control.follows}
        return {i for i, control in enumerate(self._with_gaps) if control.name in leading}

    def _check_two_bones(self, name: str) -> None:
        if len(self.chain) != 3:
            raise ValueError(
                f"`{name}` must be asked of legs of two bones; got legs of {len(self.chain) - 1}. "
                "Anatomy names no angles for a third; `LegPose.world` holds its frames."
            )

    # What is done for every pose. Nothing is checked again here.

    def _control_frames(
        self, values: ControlValues, extra: _FootValues, inverse: Bools
    ) -> tuple[dict[str, Floats], Floats]:
        """World frames of the controls in use, and the feet's own channels, shape (..., 2, 5)."""
        numbers = ct._values(self.controls, values)
        shape = _check.batch(
            values=numbers.shape[:-2],
            inverse=inverse.shape[:-1],
            **{f"{SIDE_TAGS[s]}foot {FOOT_CHANNELS[c]}": v.shape for (s, c), v in extra.items()},
        )
        feet = np.zeros((*shape, 2, len(FOOT_CHANNELS)))
        for (side, channel), value in extra.items():
            feet[..., side, channel] = value
        ways = [(side, way) for side, way in self._used if (inverse[..., side] == way).any()]
        used = sorted(set().union(*(self._used[way] for way in ways)))
        numbers = np.broadcast_to(numbers[..., used, :], (*shape, len(used), 6))
        return ct._pose([self._with_gaps[i] for i in used], numbers, {}), feet

    def _hang(self, worlds: Mapping[str, Floats], sides: slice) -> Floats:
        """The frames of forward legs, shape (..., sides, parts, 4, 4)."""
        legs = _stacked(worlds, sides, [part + "_turn" for part in self._parts[:-1]])
        return np.concatenate([legs, legs[..., -1:, :, :] @ self._tip[sides, None]], axis=-3)

    def _solve(
        self, worlds: Mapping[str, Floats], extra: Floats, sides: slice
    ) -> tuple[two_bone.TwoBonePose, Floats]:
        """The two-bone answer, and the frames of inverse legs, shape (..., sides, parts, 4, 4)."""
        root, bend, end = self._solved
        feet, pole = np.moveaxis(_stacked(worlds, sides, ["foot", "knee"]), -3, 0)
        pelvis = worlds["pelvis"][..., None, :, :]
        upper, lower, sole = self._upper[sides], self._lower[sides], self._sole[sides]
        legs = np.empty((*feet.shape[:-2], len(self._parts), 4, 4))
        above = pelvis
        if root:
            above = legs[..., 0, :, :] = _stacked(worlds, sides, ["hip_turn"])[..., 0, :, :]
        start = _moved(above, self._start[sides])
        foot = self._feet[sides.start, sides.stop]
        rolls, *turns, toes = np.moveaxis(extra, -1, 0)
        shares = ft._turns(rolls, ft.BALL_LIMIT, ft.EASE)
        ankle, _, _, _, foot_turn, toe_turn = ft._hung(foot, *map(np.add, shares, turns))
        goal = _moved(feet, np.stack([ankle[..., 0] * 0.0, ankle[..., 1], ankle[..., 0]], axis=-1))
        hint = (pelvis[..., :3, :3] @ self._ahead[sides, :, None])[..., 0]
        solved = two_bone.solve(
            start, goal, upper, lower, pole[..., :3, 3], hint=hint, soft=self.soft
        )
        hinge = self._way * solved.hinge
        _put(legs[..., root, :, :], hinge, (start - solved.knee) / upper[:, None], start)
        _put(
            legs[..., bend, :, :], hinge, (solved.knee - solved.ankle) / lower[:, None], solved.knee
        )
        end, ball, toe = (legs[..., i, :, :] for i in (end, end + 1, end + 2))
        end[..., :3, :3] = feet[..., :3, :3] @ _about_x(foot_turn)
        end[..., :3, 3] = solved.ankle
        ball[..., :3, :3] = feet[..., :3, :3] @ _about_x(toe_turn + toes)
        ball[..., :3, 3] = _moved(end, sole[:, 2] - sole[:, 0])
        toe[..., :3, :3] = ball[..., :3, :3]
        toe[..., :3, 3] = _moved(ball, self._tip[sides, :3, 3])
        legs[..., 3, :] = 0.0, 0.0, 0.0, 1.0
        return solved, legs

    def _flexion(self, legs: Floats) -> Floats:
        """The bend of legs, frames of shape (..., 2, parts, 4, 4), toward their own side."""
        upper, lower = (legs[..., i, :3, :3] for i in self._solved[:2])
        sine = np.sum(lower[..., 1] * upper[..., 2], axis=-1)  # lower bone's y along upper's z
        return self._way * np.arctan2(sine, np.sum(lower[..., 1] * upper[..., 1], axis=-1))

    def _where(self, name: str, joints: Mapping[str, Floats], base: Floats) -> Floats:
        """The world frame of the control `name` that goes with the joints as they are."""
        if name == "pelvis":
            return joints[name]
        if name.endswith("_turn"):
            return joints[name.removesuffix("_turn")]
        tag, side = name[:2], SIDE_TAGS.index(name[:2])
        root, bend, end = (joints[tag + self.chain[i]] for i in self._solved)
        line = root[..., :3, 3] - end[..., :3, 3]
        if name == tag + "foot":
            foot = end @ fr.frame(origin=-self._sole[side, 0])
            foot[..., :3, 3] -= self._lag(side, line)[..., None] * line
            return foot
        ahead = self._way * np.cross(root[..., :3, 0], line)
        length = np.linalg.norm(ahead, axis=-1, keepdims=True)
        folded = length < 1e-9
        ahead = np.where(
            folded, self._way * root[..., :3, 2], ahead / np.where(folded, 1.0, length)
        )
        return fr.frame(
            base[..., :3, :3], bend[..., :3, 3] + (self._upper + self._lower)[side] * ahead
        )

    def _lag(self, side: int, line: Floats) -> Floats:
        """The distance of a goal beyond the end that soft reach lets follow it, as a share."""
        if not self.soft:
            return np.zeros(line.shape[:-1])
        distance = np.linalg.norm(line, axis=-1)
        goal = two_bone.soft_goal(distance, self._upper[side], self._lower[side], self.soft)
        return (goal - distance) / np.maximum(distance, 1e-12)


# From turns about x, z and y to flexion, abduction and internal rotation; left, right.
_ANATOMY = np.array([[-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]])


_FootValues = dict[tuple[int, int], Floats]  # by side and place in FOOT_CHANNELS


def _complete(centres: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """The joint centres checked; a right side left out mirrored, a pelvis left out put between."""
    if not isinstance(centres, Mapping):
        raise ValueError(
            f"`centres` must be a mapping of names to joint centres; got {_check.short(centres)}. "
            "Such as {'L_hip': (0.09, 0.93, 0), …}."
        )
    parts = ["hip", "knee", "ankle", "ball", "heel", "toe"] + ["foot"] * ("L_foot" in centres)
    sides = SIDE_TAGS if any(str(name).startswith("R_") for name in centres) else SIDE_TAGS[:1]
    needed = {tag + part for tag in sides for part in parts}
    missing, unknown = needed - set(centres), set(centres) - needed - {"pelvis"}
    wrong = [
        f"{what} {', '.join(sorted(map(str, names)))}"
        for what, names in (("no", missing), ("unknown", unknown))
        if names
    ]
    if wrong:
        raise ValueError(
            f"{' and '.join(wrong)} in `centres`; a rig has {', '.join(sorted(needed))} "
            "and may have pelvis."
        )
    whole = {name: _check.numbers(name, point, 3) for name, point in centres.items()}
    for name, point in whole.items():
        if point.ndim != 1:
            raise ValueError(
                f"`{name}` must be one point; got shape {point.shape}. A rig has one rest pose."
            )
    if len(sides) == 1:
        whole |= {placement.swap_side(name): fr.mirror_points(whole[name]) for name in needed}
    whole.setdefault("pelvis", (whole["L_hip"] + whole["R_hip"]) / 2)
    return whole


def _side_view(puppet: Puppet, bend: float) -> dict[str, Floats]:
    """A standing leg's centres from hip to toe, (forward, up), its solved bones bent so far."""
    _, upper, lower = _limb(puppet)
    bend = -bend if len(puppet.bones) == 3 else bend
    tilt = np.arctan2(lower * np.sin(bend), upper + lower * np.cos(bend))
    leg = _from_hip(puppet, two_bone.planar_points(tilt, bend, upper, lower))
    foot = ft.of_puppet(puppet)
    leg += foot.ankle - [0.0, leg[-1, 1]]
    sole = [leg[-1] * [1, 0] + point for point in (foot.ball, foot.heel, foot.toe)]
    names = [*("hip", "knee", "ankle", "foot")[: len(leg)], "ball", "heel", "toe"]
    return dict(zip(names, [*leg, *sole], strict=True))


def _limb(puppet: Puppet) -> tuple[Floats, float, float]:
    """The place from the hip where the two solved bones begin, in side view, and their lengths."""
    upper, lower = puppet.bones[-2:]
    carried = np.zeros(2)
    if len(puppet.bones) == 3:
        carried = puppet.thigh * np.array([np.sin(CARRIED_THIGH), -np.cos(CARRIED_THIGH)])
    return carried, upper, lower


def _from_hip(puppet: Puppet, solved: Floats) -> Floats:
    """The joints from the hip down, from those of the solved bones seen from where they begin."""
    joints = solved + _limb(puppet)[0]
    if len(puppet.bones) == 3:
        joints = np.concatenate([np.zeros_like(joints[..., :1, :]), joints], axis=-2)
    return joints


def _pick(named: Mapping[str, Floats], joint: str) -> Floats:
    """A joint's part of a pose."""
    if joint not in named:
        raise ValueError(f"unknown joint {joint!r}; there are {', '.join(named)}.")
    return named[joint]


def _check_entry(shape: Shape, key: Any) -> None:
    """Let NumPy refuse, by an IndexError, what is no index of a batch of this shape."""
    np.broadcast_to(0, shape)[key]


def _foot_frame(centres: Mapping[str, Floats], tag: str, end: str) -> Floats:
    """On the floor below the leg's end, z from heel to toe."""
    ahead = (centres[tag + "toe"] - centres[tag + "heel"]) * [1, 0, 1]
    ahead = _check.directions(tag + "toe", ahead, "Heel and toe must be apart.")
    return fr.frame(
        np.column_stack([np.cross([0, 1, 0], ahead), [0, 1, 0], ahead]), centres[end] * [1, 0, 1]
    )


def _split_values(values: ControlValues) -> tuple[ControlValues, _FootValues]:
    """The controls' six channels, and the feet's own ones, a roll held within ±90°."""
    plain, extra = dict(values), {}
    for side, tag in enumerate(SIDE_TAGS):
        channels = values.get(tag + "foot")
        if not isinstance(channels, Mapping):
            continue
        plain[tag + "foot"] = {
            channel: value for channel, value in channels.items() if channel not in FOOT_CHANNELS
        }
        for channel in filter(channels.__contains__, FOOT_CHANNELS):
            value = _check.numbers(f"{tag}foot {channel}", channels[channel])
            held = np.clip(value, -np.pi / 2, np.pi / 2) if channel == "roll" else value
            extra[side, FOOT_CHANNELS.index(channel)] = held
    return plain, extra


def _check_inverse(inverse: ArrayLike | Mapping[str, ArrayLike]) -> Bools:
    """True for each leg that is inverse, shape (..., 2)."""
    sides = inverse if isinstance(inverse, Mapping) else dict.fromkeys(SIDE_TAGS, inverse)
    for tag, value in sides.items():
        if tag not in SIDE_TAGS or np.asarray(value).dtype.kind != "b":
            raise ValueError(
                "`inverse` must be true or false, or that for each of 'L_' and 'R_'; "
                f"got {tag!r}: {value!r}."
            )
    left, right = (np.asarray(sides.get(tag, True)) for tag in SIDE_TAGS)
    _check.batch(L_=left.shape, R_=right.shape)
    return np.stack(np.broadcast_arrays(left, right), axis=-1)


def _sides(asked: Bools) -> slice | None:
    """The sides asked for in any frame, shape (..., 2), as a slice; None if there are none."""
    sides = [side for side in (0, 1) if asked[..., side].any()]
    return slice(sides[0], sides[-1] + 1) if sides else None


def _stacked(worlds: Mapping[str, Floats], sides: slice, names: Sequence[str]) -> Floats:
    """Frames of controls by side, shape (..., sides, len(names), 4, 4)."""
    return np.stack(
        [np.stack([worlds[tag + name] for name in names], axis=-3) for tag in SIDE_TAGS[sides]],
        axis=-4,
    )


def _moved(frames: Floats, points: Floats) -> Floats:
    return (frames[..., :3, :3] @ points[..., None])[..., 0] + frames[..., :3, 3]


def _put(frames: Floats, x: Floats, y: Floats, origin: Floats) -> None:
    """Fill frames, in place, from two of their axes and their origin."""
    frames[..., :3, 0], frames[..., :3, 1], frames[..., :3, 3] = x, y, origin
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        frames[..., i, 2] = x[..., j] * y[..., k] - x[..., k] * y[..., j]


def _about_x(angle: Floats) -> Floats:
    turn = np.zeros((*angle.shape, 3, 3))
    turn[..., 0, 0] = 1.0
    turn[..., 1, 1] = turn[..., 2, 2] = np.cos(angle)
    turn[..., 2, 1] = np.sin(angle)
    turn[..., 1, 2] = -turn[..., 2, 1]
    return turn


def _ring(radius: float, axes: tuple[int, int], points: int = 24) -> Floats:
    """A closed circle in two of a control's axes."""
    around = np.linspace(0, 2 * np.pi, points + 1)
    ring = np.zeros((points + 1, 3))
    ring[:, axes[0]], ring[:, axes[1]] = radius * np.cos(around), radius * np.sin(around)
    return ring


def _around_the_sole(sole: Floats, margin: float = 0.03) -> Floats:
    """A closed rectangle on the floor around heel and toe."""
    back, front = sole[1, 2] - margin, sole[3, 2] + margin
    side = (front - back) / 4
    return np.array(
        [(-side, 0, back), (side, 0, back), (side, 0, front), (-side, 0, front), (-side, 0, back)]
    )
