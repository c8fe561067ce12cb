"""The leg rig: a pelvis and two legs, posed from control values in one call, each leg by a forward
or inverse chain.

A leg of two bones (hip, knee, ankle) or of three, the heron's (hip, knee, ankle, foot). The heron's
thigh is carried by the pelvis and its hip control; below it lies the same two-bone leg, which bends
backward. The joint between the two solved bones is the leg's bend: a knee, or the heron's ankle.
The leg's end, an ankle or the heron's foot, carries ball and toe.
"""

import copy
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigkit import _check, _say, placement, rotation, two_bone
from rigkit import controls as ct
from rigkit import foot as ft
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, ControlValues, Floats
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, Skeleton

FOOT_CHANNELS = ("roll", "toe")
CARRIED_THIGH = np.radians(60.0)  # how far forward the heron's thigh is carried; invented
_STRAIGHT_DEG = 1e-9  # below this a bend is rounding, and the hinge axis is square to forward


@dataclass(frozen=True, eq=False)
class LegPose(_say.Shown):
    """A posed rig.

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
        Whether the knee control gave its leg a direction; True for a forward leg.
    names : tuple of str
        The skeleton's joints.
    """

    world: Floats
    controls: dict[str, Floats]
    flexion: Floats
    miss: Floats
    guided: Bools
    names: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return _say.line(
            self,
            f"pelvis {_say.origin(_say.part(self.world, 0, 2))}",
            f"bend {_say.sides(self.flexion, _say.angle)}",
            f"miss {_say.sides(self.miss, _say.small)}",
            _say.truth(self.guided, "knees guided"),
            batch=_say.batch(self.flexion, 1),
        )


_NO_TURNS = ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


@dataclass(frozen=True, eq=False)
class LegAngles(_say.Shown):
    """Both legs' joint angles as anatomy has them; left, right; radians. A straight standing leg
    reads zero.

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

    def __repr__(self) -> str:
        return _say.line(
            self,
            f"hip {_say.sides(self.hip, _say.angles, -2)}",
            f"knee {_say.sides(self.knee, _say.angle)}",
            f"ankle {_say.sides(self.ankle, _say.angles, -2)}",
            batch=_say.batch(self.knee, 1),
        )


class LegRig(_say.Shown):
    """A pelvis and two legs that stand on the floor at rest, facing +Z, and the controls that pose
    them.

    Controls, each with the channels of `controls.CHANNELS` that it needs, all zero at rest:

    - `pelvis`;
    - for an inverse leg `L_foot` (outline on the floor, pivot at the leg's end), which has also
    `roll` (by `foot.roll`,
      within ±90°) and `toe` (a bend at the ball, toes down positive), and `L_knee`, the pole, which
      follows the pelvis;
    - for a forward leg `L_hip_turn` and so on for each joint down to `L_ball_turn`. Of the bend
    joint only turn_x is
      free, and not past straight. The heron's `L_hip_turn` counts in an inverse leg too.

    Parameters
    ----------
    centres : mapping of str to array_like, shape (3,)
        Where `L_hip`, `L_knee`, `L_ankle` are, for a leg of three bones also `L_foot`; `L_ball`;
        and on the floor `L_heel` and `L_toe`. The right side's are mirrored from the left's where
        left out; `pelvis` is then midway between the hips. Metres, the floor at y = 0.
    soft : float
        How long before full reach a leg's end begins to lag, metres; see `two_bone.soft_reach`.

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
        return _say.line(
            self,
            f"two legs of {bones} bones",
            f"bent {_say.sides(self._rest_flexion, _say.angle)} at rest",
            f"soft over {_say.small(self.soft)}" if self.soft else "",
            f"controls {', '.join(control.name for control in self.controls)}",
        )

    @classmethod
    def from_puppet(
        cls, puppet: Puppet, preset_bend_deg: float = 5.0, soft: float = 0.0
    ) -> "LegRig":
        """The rig of a puppet that stands with a preset bend.

        Its leg's end is straight below the joint where its two solved bones begin: the hip, or the
        heron's knee, whose thigh is carried `CARRIED_THIGH` forward. The foot is that of
        `foot.of_puppet`.

        Parameters
        ----------
        puppet : Puppet
        preset_bend_deg : float
            How far the leg is bent at rest, from 0 (straight) to 90.
        soft : float
            As for `LegRig`.
        """
        foot = ft.of_puppet(puppet)
        bend = np.radians(
            _check.one("preset_bend_deg", preset_bend_deg, "A rig has one rest pose.")
        )
        if not 0 <= bend <= np.pi / 2:
            raise ValueError(
                f"`preset_bend_deg` must be from 0 to 90; got {preset_bend_deg!r}. 5 is a usual"
                " choice."
            )
        upper, lower = puppet.bones[-2:]
        three = len(puppet.bones) == 3
        bend = -bend if three else bend
        tilt = np.arctan2(lower * np.sin(bend), upper + lower * np.cos(bend))
        flat = two_bone.planar_points(
            tilt, bend, upper, lower
        )  # forward and up, from where the two bones begin
        carried = (
            puppet.thigh * np.array([np.sin(CARRIED_THIGH), -np.cos(CARRIED_THIGH)])
            if three
            else np.zeros(2)
        )
        flat = np.concatenate([[[0.0, 0.0]] if three else np.empty((0, 2)), flat + carried])
        flat += foot.ankle - [0.0, flat[-1, 1]]
        sole = [flat[-1] * [1, 0] + point for point in (foot.ball, foot.heel, foot.toe)]
        names = [*("hip", "knee", "ankle", "foot")[: len(flat)], "ball", "heel", "toe"]
        return cls(
            {
                "L_" + name: (puppet.hip_width / 2, up, forward)
                for name, (forward, up) in zip(names, [*flat, *sole], strict=True)
            },
            soft,
        )

    def with_controls(self, *changed: ct.Control) -> "LegRig":
        """The rig with some controls replaced by ones of the same name: to follow something else,
        to lock, to limit.

        `controls.switch` makes one that follows something else without a jump.
        """
        by_name = {control.name: control for control in self.controls}
        for control in changed:
            if control.name not in by_name:
                raise ValueError(
                    f"`changed` must be controls of this rig ({', '.join(by_name)}); "
                    f"got {control.name!r}."
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
        """The skeleton from control values.

        Parameters
        ----------
        values : mapping of control name to mapping of channel to array_like, shape (...)
            Metres and radians; what is left out is zero.
        inverse : bool, or mapping of side tag to array_like of bool, shape (...)
            Which legs are posed by the inverse chain; a side left out is.

        Returns
        -------
        LegPose
            Batched over the common shape of all values.

        Raises
        ------
        ValueError
            For a control or channel that is not there, or numbers that are not finite.
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
        """The values of every control with which this very pose comes out, whichever chain each leg
        is posed by.

        So a leg changes its chain without a jump: take the values from the pose before, and go on
        with the other chain. A foot's roll is given as the turn and shift it comes to. A leg nearer
        to straight than about a tenth of a thousandth of a degree, or folded up, comes out to some
        1e-8 m only: there an angle is ill-conditioned.

        Parameters
        ----------
        pose : LegPose
            Of this rig.

        Returns
        -------
        dict of str to dict of str to ndarray, shape (...)
        """
        world = _check.numbers("pose.world", pose.world, len(self.skeleton), 4, 4)
        joints = {name: world[..., i, :, :] for i, name in enumerate(self.skeleton.names)}
        values: dict[str, dict[str, Floats]] = {}
        worlds: dict[str, Floats] = {}
        for control in self._with_gaps:
            base = ct._base(control, worlds)
            worlds[control.name] = self._where(control.name, joints, base)
            values[control.name] = ct.read(control, worlds[control.name], base)
        for tag in SIDE_TAGS:
            values[tag + "foot"] |= {
                "roll": np.zeros(world.shape[:-3]),
                "toe": values[tag + "ball_turn"]["turn_x"],
            }
        return values

    def angles(self, pose: LegPose) -> LegAngles:
        """Both legs' joint angles as anatomy has them, whatever the rest pose; only of a leg of two
        bones.

        The frames are the ISB's but for the names of their axes (ISB x, y, z are our z, y, −x), so
        the hip's are the ISB's Z-X-Y angles (Wu and others, J. Biomech. 35:543–548, 2002; signs
        from memory).
        """
        self._check_two_bones("angles")
        world = _check.numbers("pose.world", pose.world, len(self.skeleton), 4, 4)
        turns = world[..., self._at, :3, :3]
        pelvis = world[..., None, self.skeleton.index("pelvis"), :3, :3]
        hip, knee, ankle = (
            np.swapaxes(above, -1, -2) @ below
            for above, below in (
                (pelvis, turns[..., 0, :, :]),
                (turns[..., 0, :, :], turns[..., 1, :, :]),
                (turns[..., 1, :, :], turns[..., 2, :, :]),
            )
        )
        return LegAngles(
            _ANATOMY * rotation.euler_from_matrix(hip, ct.TURN_ORDER),
            rotation.euler_from_matrix(knee, ct.TURN_ORDER)[..., 0],
            _ANATOMY * rotation.euler_from_matrix(ankle, ct.TURN_ORDER),
        )

    def values_from_angles(self, angles: LegAngles) -> dict[str, dict[str, Floats]]:
        """The forward legs' control values for joint angles as `angles` gives them; only for legs
        of two bones.

        Parameters
        ----------
        angles : LegAngles

        Returns
        -------
        dict of str to dict of str to ndarray, shape (...)
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
        placed = placement.orient_chain(points[-3:], bends=self._way, least_bend_deg=_STRAIGHT_DEG)
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
        self._solved = np.array([-3, -2, -1]) + len(
            self.chain
        )  # where the two solved bones begin, bend and end
        root, bend, end = np.moveaxis(rest[:, self._solved], 1, 0)
        self._upper = np.linalg.norm(bend[:, :3, 3] - root[:, :3, 3], axis=-1)
        self._lower = np.linalg.norm(end[:, :3, 3] - bend[:, :3, 3], axis=-1)
        self._rest_flexion = np.maximum(self._flexion(rest), 0.0)
        two_bone.soft_reach(
            0.0, self._upper, self._lower, self.soft
        )  # refuses a `soft` that no leg can have
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
        self.controls = ct.in_order(controls)
        self._with_gaps = ct.with_gaps(self.controls)
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
        self, values: ControlValues, extra: "_FootValues", inverse: Bools
    ) -> tuple[dict[str, Floats], Floats]:
        """World frames of the controls in use, and the feet's own channels, shape (..., 2, 2)."""
        numbers = ct._values(self.controls, values)
        shape = _check.batch(
            values=numbers.shape[:-2],
            inverse=inverse.shape[:-1],
            **{f"{SIDE_TAGS[s]}foot {FOOT_CHANNELS[c]}": v.shape for (s, c), v in extra.items()},
        )
        feet = np.zeros((*shape, 2, 2))
        for (side, channel), value in extra.items():
            feet[..., side, channel] = value
        used = sorted(
            set().union(
                *(
                    places
                    for (side, way), places in self._used.items()
                    if (inverse[..., side] == way).any()
                )
            )
        )
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
        ankle, _, _, _, foot_turn, toe_turn = ft._roll(foot, extra[..., 0], ft.BALL_LIMIT)
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
        ball[..., :3, :3] = feet[..., :3, :3] @ _about_x(toe_turn + extra[..., 1])
        ball[..., :3, 3] = _moved(end, sole[:, 2] - sole[:, 0])
        toe[..., :3, :3] = ball[..., :3, :3]
        toe[..., :3, 3] = _moved(ball, self._tip[sides, :3, 3])
        legs[..., 3, :] = 0.0, 0.0, 0.0, 1.0
        return solved, legs

    def _flexion(self, legs: Floats) -> Floats:
        """The bend of legs, frames of shape (..., 2, parts, 4, 4), toward their own side."""
        upper, lower = (legs[..., i, :3, :3] for i in self._solved[:2])
        sine = np.sum(
            lower[..., 1] * upper[..., 2], axis=-1
        )  # the lower bone's y along the upper's z
        return self._way * np.arctan2(sine, np.sum(lower[..., 1] * upper[..., 1], axis=-1))

    def _where(self, name: str, joints: Mapping[str, Floats], base: Floats) -> Floats:
        """Where the control `name` must be for the joints to be where they are."""
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
        """How far a goal lies beyond the end that soft reach lets follow it, as a share of the
        distance so far."""
        if not self.soft:
            return np.zeros(line.shape[:-1])
        distance = np.linalg.norm(line, axis=-1)
        goal = two_bone.soft_goal(distance, self._upper[side], self._lower[side], self.soft)
        return (goal - distance) / np.maximum(distance, 1e-12)


# From turns about x, z and y to flexion, abduction and internal rotation; left, right.
_ANATOMY = np.array([[-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]])


_FootValues = dict[tuple[int, int], Floats]  # by side and place in FOOT_CHANNELS


def _complete(centres: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """The joint centres checked, the right side mirrored from the left and the pelvis put between
    where left out."""
    if not isinstance(centres, Mapping):
        raise ValueError(
            f"`centres` must be a mapping of names to joint centres; got {_check.short(centres)}. "
            "Such as {'L_hip': (0.09, 0.93, 0), …}."
        )
    parts = ["hip", "knee", "ankle", "ball", "heel", "toe"] + ["foot"] * ("L_foot" in centres)
    sides = SIDE_TAGS if any(str(name).startswith("R_") for name in centres) else SIDE_TAGS[:1]
    needed = {tag + part for tag in sides for part in parts}
    missing, unknown = (
        sorted(needed - set(centres)),
        sorted(map(str, set(centres) - needed - {"pelvis"})),
    )
    if missing or unknown:
        raise ValueError(
            f"`centres` must hold {', '.join(sorted(needed))} and may hold pelvis; got "
            + " and ".join(
                f"{what} {', '.join(names)}"
                for what, names in (("no", missing), ("an unknown", unknown))
                if names
            )
            + "."
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
        if isinstance(channels, Mapping):
            plain[tag + "foot"] = {
                channel: value
                for channel, value in channels.items()
                if channel not in FOOT_CHANNELS
            }
            for i, channel in enumerate(FOOT_CHANNELS):
                if channel in channels:
                    value = _check.numbers(f"{tag}foot {channel}", channels[channel])
                    extra[side, i] = (
                        np.clip(value, -np.pi / 2, np.pi / 2) if channel == "roll" else value
                    )
    return plain, extra


def _check_inverse(inverse: ArrayLike | Mapping[str, ArrayLike]) -> Bools:
    """Whether each leg is inverse, shape (..., 2)."""
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
