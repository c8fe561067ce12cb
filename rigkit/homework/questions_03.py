"""Questions of lesson 03, two sides.

World axes: x to the character's left, y up, z forward; the midplane is x = 0 unless a question says
otherwise. A leg joint's frame has y up the bone, x along the hinge axis, z forward; its axes are
the columns of its rotation.
"""

from functools import lru_cache, partial

import numpy as np

from rigkit import controls, placement, puppets, rotation
from rigkit import frames as fr
from rigkit.homework import picture
from rigkit.homework.judging import is_turn, number, right_so_far
from rigkit.homework.question import WORDS, Hints, Misconception, Question, Verdict
from rigkit.leg import LegRig
from rigkit.skeleton import SIDE_TAGS

KINDS = tuple(placement.MIRROR_KINDS)
SWAPPED = {"same bend": "reflection", "reflection": "same bend", "same numbers": "same numbers"}
# Of the right hip's numbers about x, y and z, beside the left one's.
SIGNS = {"same bend": (1, -1, -1), "same numbers": (1, 1, 1), "reflection": (-1, -1, 1)}
CLOSE_CM, CLOSE_DEG = 0.01, 0.1


def _bent_leg(puppet, rng, bend_deg, side=1):
    """Hip, knee and ankle of one bent leg, turned and swung by chance; shape (3, 3)."""
    bend = np.radians(bend_deg)
    leg = np.cumsum(
        [
            [0, 0, 0],
            [0, -puppet.thigh, 0],
            [0, -puppet.shank * np.cos(bend), -puppet.shank * np.sin(bend)],
        ],
        axis=0,
    )
    turn = rotation.matrix_from_euler(
        np.radians(rng.uniform([-50, -25, -60], [30, 25, 60])), controls.TURN_ORDER
    )
    return leg @ turn.T + [side * puppet.hip_width / 2, puppet.hip_height, 0.0]


# --- A point on the other side


def _draw_point(rng, character):
    ankle = [character.hip_width / 2, character.ankle_height, 0.0]
    toe = [character.hip_width / 2 + 0.04, 0.0, 0.18]
    knee = [character.hip_width / 2 + 0.02, character.ankle_height + character.shank, 0.05]
    middles = [0.0, *rng.uniform(0.3, 2.0, 3) * [1, -1, 1]]
    cases = [
        {"point": [x + middle, y, z], "middle": middle}
        for middle in middles
        for x, y, z in (ankle, toe)
    ]
    return [
        *cases,
        {"point": [middles[1] - knee[0], *knee[1:]], "middle": middles[1]},  # already on the right
        {"point": [middles[2], 1.0, -0.1], "middle": middles[2]},
    ]  # on the midplane


def _beside(x):
    return f"{100 * abs(x):.1f} cm to the {'left' if x > 0 else 'right'}"


def _mirrored(point, middle, normal=(1, 0, 0)):
    return fr.mirror_points(point, normal, (middle, 0, 0))


def _judge_point(inputs, output):
    point, middle, yours = inputs["point"], inputs["middle"], output["point"]
    miss = float(np.linalg.norm(yours - _mirrored(point, middle)))
    midplane = [(middle, 0.0), (middle, max(1.0, point[1]))]
    drawn = picture.front_view(
        "Point, midplane, and your point",
        "A point, the midplane as a dotted line, and the point you gave, "
        f"which is {100 * miss:.1f} centimetres from the point's mirror image.",
        picture.ghost(midplane),
        *_named(point[:2], "point", "plain"),
        *_named(yours[:2], "yours"),
    )
    measured = {
        "Your point is from the mirror image": f"{100 * miss:.2f} cm",
        "From the midplane": (
            f"the point is {_beside(point[0] - middle)}, yours {_beside(yours[0] - middle)}"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if 100 * miss <= CLOSE_CM:
        return verdict(
            1.0, "as far on the other side of the midplane, at the same height and depth."
        )
    kept = np.allclose(yours[1:], point[1:], atol=1e-4)
    sentence = (
        "height and depth are right; the midplane must lie half way between the point and yours."
        if kept
        else (
            "the midplane stands between left and right; mirroring changes neither height nor"
            " depth."
        )
    )
    return verdict(0.25 if kept else 0.0, sentence)


POINT = Question(
    "03",
    "mirror_point",
    "a point on the other side of a midplane that need not pass through the origin",
    "function",
    {"point": (3,)},
    _draw_point,
    _judge_point,
    (
        Misconception(
            "midplane at zero",
            lambda p, middle: _mirrored(p, 0.0),
            "the midplane is taken to pass through the origin, wherever the character stands",
        ),
        Misconception(
            "wrong axis",
            lambda p, middle: _mirrored(p, 0.0, (0, 0, 1)),
            "z is negated: front and back are exchanged, and the point stays on its side",
        ),
        Misconception(
            "all axes negated",
            lambda p, middle: 2 * np.array([middle, 0, 0]) - p,
            "all three coordinates are mirrored: height and depth belong to both sides alike",
        ),
        Misconception(
            "half way only",
            lambda p, middle: np.array([middle, p[1], p[2]]),
            "the point is brought to the midplane and left there; it must go on as far again",
        ),
        Misconception(
            "middle taken once",
            lambda p, middle: np.array([middle - p[0], p[1], p[2]]),
            "the midplane's x is added once; the way to the midplane has to be walked twice",
        ),
        Misconception(
            "always right",
            lambda p, middle: np.array([middle - abs(p[0] - middle), p[1], p[2]]),
            "every answer is put on the right, also for a point that is there already",
        ),
    ),
    hints=Hints(
        "Mark the midplane and the point's x on one number line, and let the point hop over the "
        "midplane: how long is the hop, and where does it end?",
        "Three ways to make a right leg",
        "With the midplane at x = 2, the point (3, 1, 0) is 1 m to its left. Its mirror image is 1 "
        "m to its right, at (1, 1, 0).",
    ),
)


# --- Bone axis and hinge axis


def _draw_orient(rng, character):
    bends_deg = rng.uniform([20, 5, 90, 10, 30], [60, 9, 140, 40, 100])
    legs = [
        _bent_leg(character, rng, bend, side)
        for bend, side in zip(bends_deg, (1, -1, 1, -1, -1), strict=True)
    ]
    legs.append(_bent_leg(puppets.PUPPETS["Odo"], rng, 30.0))
    return [dict(zip(("hip", "knee", "ankle"), leg, strict=True)) for leg in legs]


def _knee_axes(hip, knee, ankle):
    """Bone axis and hinge axis of the knee; the library's own frame."""
    turn = placement.orient_chain([hip, knee, ankle])[1, :3, :3]
    return turn[:, 1], turn[:, 0]


def _axes_picture(hip, knee, ankle, output, lengths):
    size = 0.4 * np.linalg.norm(hip - ankle)
    flat = np.array([hip, knee, ankle])[:, :2]
    return picture.front_view(
        "Your axes at the knee",
        "A leg from the front, and your bone axis and hinge axis at its knee.",
        picture.chain(flat, ["hip", "", "ankle"]),
        *(
            picture.arrow(flat[1], flat[1] + size * (output[name] / lengths[name])[:2], name)
            for name in lengths
            if lengths[name] > 1e-9
        ),
    )


def _judge_orient(inputs, output):
    hip, knee, ankle = inputs["hip"], inputs["knee"], inputs["ankle"]
    true = dict(zip(("bone axis", "hinge axis"), _knee_axes(hip, knee, ankle), strict=True))
    lengths = {name: float(np.linalg.norm(output[name])) for name in true}
    off = {
        name: (
            np.degrees(rotation.angle_between(output[name], axis))
            if lengths[name] > 1e-9
            else 180.0
        )
        for name, axis in true.items()
    }
    measured = {
        f"Your {name}": (
            f"length {number(lengths[name])}, {float(off[name]):.1f}° from where it belongs"
        )
        for name in true
    }
    drawn = _axes_picture(hip, knee, ankle, output, lengths)
    good = {name: off[name] <= CLOSE_DEG for name in true}
    unit = all(abs(length - 1) <= 1e-3 for length in lengths.values())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if all(good.values()) and unit:
        return verdict(1.0, "y runs up the shank, and a positive turn about x flexes the knee.")
    if all(good.values()):
        return verdict(0.5, "both directions are right; an axis of a frame has length one.")
    if off["hinge axis"] >= 179.9:
        sentence = (
            "about your hinge axis a positive turn takes the shank forward; flexion takes it back."
        )
    elif not good["hinge axis"]:
        sentence = (
            "your hinge axis is not square to both bones, so the shank would leave the leg's plane."
        )
    else:
        sentence = "your bone axis does not run up the shank, from the ankle to the knee."
    return verdict(0.25 * float(sum(good.values())), f"{right_so_far(good)}{sentence}")


def _orient(bone=None, hinge=None, scaled=True):
    """A wrong model: one axis by a function of the joint centres, the other one right."""

    def answer(hip, knee, ankle):
        axes = [
            wrong(hip, knee, ankle) if wrong else true
            for wrong, true in zip((bone, hinge), _knee_axes(hip, knee, ankle), strict=True)
        ]
        return [axis / np.linalg.norm(axis) for axis in axes] if scaled else axes

    return answer


ORIENT = Question(
    "03",
    "orient_knee",
    "bone axis and hinge axis of a knee, from three joint centres",
    "function",
    {"bone axis": (3,), "hinge axis": (3,)},
    _draw_orient,
    _judge_orient,
    (
        Misconception(
            "bone axis to the child",
            _orient(bone=lambda hip, knee, ankle: ankle - knee),
            "the bone axis runs down to the ankle; in our frames y runs up the bone",
        ),
        Misconception(
            "hinge axis flipped",
            _orient(hinge=lambda hip, knee, ankle: np.cross(ankle - knee, knee - hip)),
            "the two bones stand in the wrong order in the cross product, and the hinge axis points"
            " the other way",
        ),
        Misconception(
            "thigh for shank",
            _orient(bone=lambda hip, knee, ankle: hip - knee),
            "the bone axis is that of the bone above; a joint's bone is the one below it",
        ),
        Misconception(
            "whole leg for shank",
            _orient(bone=lambda hip, knee, ankle: hip - ankle),
            "the bone axis runs from ankle to hip, past the knee",
        ),
        Misconception(
            "always sideways",
            _orient(hinge=lambda hip, knee, ankle: np.array([1.0, 0.0, 0.0])),
            "the hinge axis is the world's x, as if no leg were ever turned",
        ),
        Misconception(
            "forward for hinge",
            _orient(hinge=lambda *leg: np.cross(*_knee_axes(*leg)[::-1])),
            "the hinge axis is the way the knee points; the knee turns about the axis square to"
            " that",
        ),
        Misconception(
            "not scaled",
            _orient(
                bone=lambda hip, knee, ankle: knee - ankle,
                hinge=lambda hip, knee, ankle: np.cross(knee - hip, ankle - knee),
                scaled=False,
            ),
            "the axes are left as long as they come out; an axis of a frame has length one",
        ),
    ),
    hints=Hints(
        "Try a leg that needs no calculator, its bones along the world's axes: say which way each "
        "of your two axes should point, and look which way it does.",
        "Further: give a knee its axes",
        "The hip is at (0, 2, 0), the knee at (0, 1, 0), the ankle at (0, 1, −1): the shank points "
        "straight back. Up the shank is (0, 0, 1). Square to both bones is x, and a positive turn "
        "about it takes the shank back: (1, 0, 0).",
    ),
)


# --- A new frame for the knee, and the ankle that must not move


def _draw_keep(rng, character):
    cases = []
    for turn_deg in (15.0, -15.0, 90.0, *rng.uniform(-170, 170, 4)):
        leg = placement.orient_chain(_bent_leg(character, rng, rng.uniform(10, 80)))
        knee = leg[1] @ fr.frame(rotation.matrix_from_vector(rng.normal(size=3) * 0.4))
        turned = knee @ fr.frame(
            rotation.matrix_about(
                "x" if abs(turn_deg) == 15 else rng.normal(size=3), np.radians(turn_deg)
            )
        )
        cases.append({"knee": knee, "ankle": fr.relative(knee, leg[2]), "new_knee": turned})
    return cases


def _keep(knee, ankle, new_knee):
    return fr.relative(new_knee, knee @ ankle)


def _judge_keep(inputs, output):
    knee, ankle, new_knee, yours = (
        inputs["knee"],
        inputs["ankle"],
        inputs["new_knee"],
        output["ankle"],
    )
    before, after = knee @ ankle, new_knee @ yours
    moved = float(np.linalg.norm(after[:3, 3] - before[:3, 3]))
    turned = _turned_deg(after, before)
    drawn = picture.front_view(
        "Where your ankle is now",
        f"A shank from the front; the ankle is {100 * moved:.1f} centimetres from its goal, "
        "the place where it was.",
        picture.goal(before[:2, 3]),
        picture.ghost([knee[:2, 3], before[:2, 3]]),
        picture.chain([knee[:2, 3], _on_screen(after[:2, 3])], ["knee", "ankle"]),
    )
    measured = {"The ankle has moved": f"{100 * moved:.2f} cm", "It has turned": _degrees(turned)}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if 100 * moved <= CLOSE_CM and turned <= CLOSE_DEG:
        return verdict(1.0, "the knee has new axes, and nothing below has noticed.")
    if 100 * moved <= CLOSE_CM:
        return verdict(
            0.5,
            "the ankle has stayed where it was, but "
            + (
                "it has turned: its axes should stay as well."
                if is_turn(after[:3, :3])
                else "its axes are no longer square to each other, of length one and right-handed."
            ),
        )
    return verdict(
        0.0,
        "the ankle has moved: its world frame, the knee's times its own, must come out as before.",
    )


KEEP = Question(
    "03",
    "keep_ankle",
    "the ankle's local frame after its knee was given new axes, so that it stays",
    "function",
    {"ankle": (4, 4)},
    _draw_keep,
    _judge_keep,
    (
        Misconception(
            "children moved",
            lambda knee, ankle, new: ankle,
            "the ankle keeps its old local frame, so it swings along with the knee's new axes",
        ),
        Misconception(
            "world for local",
            lambda knee, ankle, new: knee @ ankle,
            "the ankle's world frame is given; asked for is what its parent sees",
        ),
        Misconception(
            "order swapped",
            lambda knee, ankle, new: knee @ ankle @ np.linalg.inv(new),
            "the inverse of the new knee stands on the right; a parent stands on the left",
        ),
        Misconception(
            "not inverted",
            lambda knee, ankle, new: new @ knee @ ankle,
            "the new knee is multiplied on; it has to be taken away, by its inverse",
        ),
        Misconception(
            "the wrong way round",
            lambda knee, ankle, new: np.linalg.inv(knee) @ new @ ankle,
            "old and new knee have changed places: this carries the ankle along by twice the turn",
        ),
        Misconception(
            "only its place",
            lambda knee, ankle, new: fr.frame(ankle[:3, :3], _keep(knee, ankle, new)[:3, 3]),
            "the ankle's place is kept and its axes are not",
        ),
    ),
    hints=Hints(
        "Write down the ankle's world frame twice, once by way of the old knee and once by way of "
        "the new one: what do you know about the two?",
        "Further: give a knee its axes",
        "The knee is at the origin, and the ankle 1 m below it, at (0, −1, 0). After a quarter "
        "turn about z the knee's own x axis points up, and it sees the same ankle at (−1, 0, 0).",
    ),
)


# --- A frame on the other side


def _draw_frame(rng, character):
    cases = []
    for kind in (*KINDS, *KINDS):
        for side in (1, -1):
            leg = placement.orient_chain(_bent_leg(character, rng, rng.uniform(10, 120), side))
            cases.append({"frame": leg[int(rng.integers(2))], "kind": kind})
    return cases


def _mirror_frame(frame, kind, normal=(1, 0, 0)):
    return fr.mirror_frames(frame, placement.MIRROR_KINDS[kind], normal)


def _judge_frame(inputs, output):
    frame, yours, kind = inputs["frame"], output["frame"], inputs["kind"]
    true = _mirror_frame(frame, kind)
    miss = float(np.linalg.norm(yours[:3, 3] - true[:3, 3]))
    axes, turned = yours[:3, :3], _turned_deg(yours, true)
    square = np.abs(axes.T @ axes - np.eye(3)).max() <= 1e-3
    left_handed = square and np.linalg.det(axes) < 0
    drawn = picture.front_view(
        "The frame, and yours in red",
        "A frame on one side of the midplane, and the one you gave, with axes x and y.",
        picture.ghost([(0.0, frame[1, 3] + rise) for rise in (-0.2, 0.2)]),
        *_axes(frame, "plain"),
        *_axes(yours, "miss"),
    )
    measured = {
        "Its origin is off by": f"{100 * miss:.2f} cm",
        "Its axes are": _axes_words(square, left_handed, turned),
    }
    last_row = np.allclose(yours[3], [0, 0, 0, 1], atol=1e-6)
    placed = 100 * miss <= CLOSE_CM
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if placed and last_row and turned <= CLOSE_DEG:
        return verdict(1.0, "on the other side, right-handed, and of the kind that was asked for.")
    advice = _frame_advice(left_handed, square, last_row, placed, kind)
    return verdict(0.25 * placed, f"{right_so_far({'origin': placed})}{advice}")


def _axes_words(square, left_handed, turned):
    if not square:
        return "not square and of length one"
    return "left-handed" if left_handed else f"right-handed, turned away by {_degrees(turned)}"


def _frame_advice(left_handed, square, last_row, placed, kind):
    if left_handed:
        return (
            "your frame is left-handed: no turn makes it of an ordinary one. Negate one axis, or"
            " all three: which does this kind ask for?"
        )
    if not square:
        return "your axes are not square to each other and of length one, so this is no frame."
    if not last_row:
        return "the last row of a frame is 0 0 0 1."
    if not placed:
        return (
            "the axes aside, the origin is not on the other side of the midplane, as far from it."
        )
    return (
        f'for "{kind}", look at each axis: is it to be the mirror image of the old one, or'
        " the negative of that?"
    )


def _frame_of(axes, origin=lambda o: fr.mirror_points(o)):
    """A wrong model: `axes(rotation, kind)` gives the new columns, `origin` the new place."""

    def answer(frame, kind):
        wrong = np.eye(4)
        wrong[:3, :3], wrong[:3, 3] = axes(frame[:3, :3], kind), origin(frame[:3, 3])
        return wrong

    return answer


_ACROSS = np.diag([-1.0, 1.0, 1.0])

FRAME = Question(
    "03",
    "mirror_frame",
    "a joint's frame on the other side, right-handed, in three kinds",
    "function",
    {"frame": (4, 4)},
    _draw_frame,
    _judge_frame,
    (
        Misconception(
            "left-handed",
            _frame_of(lambda turn, kind: _ACROSS @ turn),
            "all three axes are reflected and none is negated after that: the frame is left-handed",
        ),
        Misconception(
            "all axes kept",
            _frame_of(lambda turn, kind: turn),
            "only the origin is mirrored and the axes are kept as they were",
        ),
        Misconception(
            "hinge axis flipped",
            lambda frame, kind: _mirror_frame(frame, SWAPPED[kind]),
            "same bend and reflection have changed places, so that their hinge axes point the other"
            " way",
        ),
        Misconception(
            "always same bend",
            lambda frame, kind: _mirror_frame(frame, KINDS[0]),
            "every frame is mirrored as for the same bend, whichever kind is asked for",
        ),
        Misconception(
            "always same numbers",
            _frame_of(lambda turn, kind: -_ACROSS @ turn),
            "all three reflected axes are negated, whichever kind is asked for: right-handed, but"
            " in the other two kinds one axis alone is",
        ),
        Misconception(
            "wrong axis",
            lambda frame, kind: _mirror_frame(frame, kind, (0, 0, 1)),
            "the frame is mirrored across z: front and back are exchanged instead of left and"
            " right",
        ),
        Misconception(
            "origin kept",
            _frame_of(
                lambda turn, kind: _mirror_frame(fr.frame(turn), kind)[:3, :3], origin=lambda o: o
            ),
            "the axes are mirrored, and the origin has stayed on its side",
        ),
    ),
    hints=Hints(
        "Do it in two moves, and print the determinant of the three axes after each: what should "
        "it be in between, and what in the end?",
        "Further: a mirrored frame, in numbers",
        "A frame at (1, 0, 0) has the world's own axes. Reflected, it is at (−1, 0, 0), its x axis "
        'is (−1, 0, 0), and y and z are as before. For `"same bend"` x is negated back to (1, 0, '
        '0); for `"reflection"` z becomes (0, 0, −1).',
    ),
)


# --- The numbers that make a mirrored pose


def _draw_numbers(rng, character):
    only = [[30.0, 0.0, 0.0], [0.0, 25.0, 0.0], [0.0, 0.0, 20.0]]
    mixed = rng.uniform([-80, -40, -30], [20, 40, 30], (3, 3)).round().tolist()
    return [{"turns_deg": turns, "kind": kind} for kind in KINDS for turns in (*only, *mixed)]


def _hip_turn(turns_deg):
    """A hip's turn from its degrees about x, y and z, in the order of the leg rig."""
    x, y, z = np.radians(turns_deg)
    return rotation.matrix_from_euler([x, z, y], controls.TURN_ORDER)


def _judge_numbers(inputs, output):
    given, yours, kind = inputs["turns_deg"], output["turns"], inputs["kind"]
    skeleton = _legs(kind)
    turns = {"L_hip": _hip_turn(given), "R_hip": _hip_turn(yours)}
    world = skeleton.pose(turns)
    error = placement.mirror_error(skeleton, world, kind)
    miss, turned = float(error.cm.max()), float(error.deg.max())
    names = ("hip", "knee", "ankle", "toe")
    left, right = (skeleton.origins(world, [tag + name for name in names]) for tag in SIDE_TAGS)
    image = fr.mirror_points(left)
    x, _, z = np.abs(right - image).max(axis=0)
    view, axes = (picture.side_view, [2, 1]) if z > x else (picture.front_view, [0, 1])
    drawn = view(
        "Your right leg",
        "The right leg with your numbers, and dotted the mirror image of the left one; they are up "
        f"to {miss:.1f} centimetres apart.",
        picture.ghost(image[:, axes]),
        picture.chain(right[:, axes], ["hip", "knee"]),
    )
    measured = {"The right leg is from the mirror image": f"up to {miss:.1f} cm and {turned:.1f}°"}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if miss <= CLOSE_CM and turned <= CLOSE_DEG:
        return verdict(1.0, "the right leg is the mirror image of the left, in each kind of rig.")
    sentence = (
        f'in a rig mirrored by "{kind}", give both hips one number at a time, and note about which'
        " axes the legs do alike and about which they do not."
    )
    return verdict(0.0, sentence)


@lru_cache(maxsize=len(KINDS))
def _legs(kind):
    rig = LegRig.from_puppet(puppets.PUPPETS["Tamsin"], 0.0)
    return placement.mirror_skeleton(rig.skeleton, "L_", kind)


def _signs(sign_of):
    """A wrong model that only changes signs, by a function from a kind to three of them."""
    return lambda turns_deg, kind: turns_deg * np.array(sign_of(kind), dtype=float)


NUMBERS = Question(
    "03",
    "right_numbers",
    "the right hip's numbers that make the mirror image of the left one's pose",
    "function",
    {"turns": (3,)},
    _draw_numbers,
    _judge_numbers,
    (
        Misconception(
            "always same numbers",
            _signs(lambda kind: (1, 1, 1)),
            "both sides get the same numbers in every rig; that is right only where all three axes"
            " were negated",
        ),
        Misconception(
            "all negated",
            _signs(lambda kind: (-1, -1, -1)),
            "every number is negated, so that what one leg does the other undoes",
        ),
        Misconception(
            "kinds swapped",
            _signs(lambda kind: SIGNS[SWAPPED[kind]]),
            "same bend and reflection have changed places",
        ),
        Misconception(
            "the wrong ones negated",
            _signs(lambda kind: np.negative(SIGNS[kind])),
            "the numbers that should stay are negated, and those that should be negated stay",
        ),
        Misconception(
            "always same bend",
            _signs(lambda kind: SIGNS["same bend"]),
            "every rig is taken to be mirrored as for the same bend",
        ),
        Misconception(
            "degrees to radians",
            lambda turns_deg, kind: np.radians(turns_deg * np.array(SIGNS[kind])),
            "the numbers are converted to radians; degrees come in and degrees go out",
        ),
    ),
    hints=Hints(
        "Take one axis at a time: on the right, is it the plain mirror image of the left one, or "
        "was it negated once more?",
        "A pose, copied from left to right",
        'The left hip is turned by 30° about x alone. In a rig of the `"same bend"` x was negated '
        'once more, and the right hip gets 30° as well. In a `"reflection"` it was not, and the '
        "right hip gets −30°.",
    ),
)


# --- Names on the other side

PLAIN = ("PELVIS", "LANTERN", "COLLAR", "ROLLER", "BELL_ROPE", "COLLAR_PIN", "LADLE", "RATTLE")
PARTS = (
    "HIP",
    "KNEE",
    "ANKLE",
    "HEEL",
    "BALL",
    "TOE",
    "ROLLER",
    "BELL_ROPE",
    "COLLAR_PIN",
    "LACE",
    "RIVET",
)


def _draw_names(rng, character):
    def some(words, count):
        return [str(word) for word in rng.choice(words, count, replace=False)]

    def mixed():
        tagged = [tag + part for tag in SIDE_TAGS for part in some(PARTS, 3)]
        return [str(word) for word in rng.permutation([*tagged, *some(PLAIN, 2)])]

    return [
        {"names": names}
        for names in (
            ["PELVIS", "L_HIP", "L_KNEE", "L_HEEL", "R_HIP", "R_KNEE", "R_HEEL"],
            ["L_BALL", "R_BALL", "ROLLER", "LANTERN"],
            ["L_BELL_ROPE", "R_COLLAR_PIN", "BELL_ROPE", "COLLAR_PIN"],
            mixed(),
            mixed(),
            mixed(),
        )
    ]


def _judge_names(inputs, output):
    names, yours = inputs["names"], output["names"]
    true = [placement.swap_side(name) for name in names]
    right = [a == b for a, b in zip(true, yours, strict=False)]
    wrong = [
        (name, word) for name, word, good in zip(names, yours, right, strict=False) if not good
    ]
    drawn = picture.front_view(
        "The names that went wrong" if wrong else "Your names",
        "The old names, and the new ones beside them.",
        *(
            picture.note((0.0, -0.1 * i), f"{name} → {word[:20]}", "miss" if wrong else "plain")
            for i, (name, word) in enumerate((wrong or list(zip(names, yours, strict=False)))[:6])
        ),
        picture.note((0.6, -0.6), ""),
    )  # the same room for one name and for six
    measured = {"Names right": f"{sum(right)} of {len(names)}"}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if len(yours) != len(names):
        return verdict(
            0.0,
            f"your list holds {len(yours)} names for {len(names)} joints; give each one, in order.",
        )
    if all(right):
        return verdict(1.0, "each side has become the other, and no other letter was touched.")
    name, word = wrong[0]
    tag = name[:2] in SIDE_TAGS
    sentence = f"your {name} {'stayed' if word == name else 'became'} {word[:40]}: " + (
        "only its side tag should have changed, to the other one."
        if tag
        else "it carries no side tag, so it should have stayed as it is."
    )
    return verdict(
        0.5 * sum(right) / len(names), f"{sum(right)} of {len(names)} names are right; {sentence}"
    )


def _each(change):
    return lambda names: [change(name) for name in names]


_SWAP = str.maketrans("LR", "RL")

NAMES = Question(
    "03",
    "swap_sides",
    "the names of joints with left and right exchanged, and no other letter touched",
    "function",
    {"names": WORDS},
    _draw_names,
    _judge_names,
    (
        Misconception(
            "letters inside words",
            _each(lambda name: name.translate(_SWAP)),
            "every L and R is exchanged, also those inside words such as HEEL",
        ),
        Misconception(
            "left only",
            _each(lambda name: "R_" + name[2:] if name.startswith("L_") else name),
            "left becomes right and right stays right, so that every joint is there twice",
        ),
        Misconception(
            "one after the other",
            _each(lambda name: name.replace("L_", "R_").replace("R_", "L_")),
            "left is made right and then all right is made left again",
        ),
        Misconception(
            "first letter",
            _each(lambda name: name[0].translate(_SWAP) + name[1:]),
            "the first letter is exchanged without looking for the separator that makes it a"
            " side tag",
        ),
        Misconception(
            "tag anywhere",
            _each(lambda name: "R_".join(part.replace("R_", "L_") for part in name.split("L_"))),
            "L_ and R_ are exchanged wherever they stand, also at the end of a word as in"
            " BELL_ROPE",
        ),
        Misconception(
            "last letter",
            _each(lambda name: name[:-1] + name[-1].translate(_SWAP)),
            "the last letter is exchanged; the side tag stands first",
        ),
    ),
    hints=Hints(
        "Say the rule aloud, as to somebody who changes the labels with a brush: where does one "
        "look, how often, and what is left alone?",
        "Further: names that survive",
        "`L_HEEL` becomes `R_HEEL`, `R_BELL_ROPE` becomes `L_BELL_ROPE`, and `LANTERN` stays "
        "`LANTERN`.",
    ),
)


# --- The joint that is not a mirror image

JOINTS = ("hip", "knee", "ankle", "heel", "ball", "toe")


def _draw_odd(rng, character):
    foot = character.foot_length - character.heel_length
    x, floor = character.hip_width / 2, 0.0
    left = np.array(
        [
            [x, character.hip_height - 0.01, 0.0],
            [x, character.ankle_height + character.shank, 0.06],
            [x, character.ankle_height, 0.0],
            [x, floor, -character.heel_length],
            [x + 0.01, floor, character.ball_length],
            [x + 0.01, floor, foot],
        ]
    )
    right = fr.mirror_points(left) + rng.uniform(
        -0.0004, 0.0004, left.shape
    )  # no hand places joints exactly
    odd, loud = rng.choice(len(left), 2, replace=False)
    way = np.array(
        [rng.uniform(0.15, 0.3) * rng.choice([-1, 1]), rng.uniform(0.4, 0.7), rng.choice([-1, 1])]
    )
    right[odd] += rng.uniform(0.008, 0.015) * way / np.linalg.norm(way)
    right[loud, 0] += 0.004 * rng.choice([-1, 1])  # the most sideways, and still not the worst
    return [{"left": left.round(4), "right": right.round(4)}]


def _apart_cm(left, right):
    """Distances of the right joints from the mirror images of the left ones, cm."""
    return 100 * np.linalg.norm(right - fr.mirror_points(left), axis=-1)


def _worst(distances_cm):
    return JOINTS[int(np.argmax(distances_cm))], float(np.max(distances_cm))


def _judge_odd(inputs, output):
    left, right = inputs["left"], inputs["right"]
    odd, true = _worst(_apart_cm(left, right))
    joint, yours = output["joint"], float(output["proof"])
    named, proven = joint == odd, abs(yours - true) <= 0.0201
    measured = {"You say": f"{joint}, {yours:.2f} cm"}
    drawn = picture.front_view(
        f"The right {joint}, and the rest",
        "Both legs' joints from the front, with the joint you named marked.",
        picture.chain(left[:3, :2], ["left"]),
        picture.chain(right[:3, :2], ["right"]),
        *_named(right[JOINTS.index(joint), :2], "yours"),
    )
    score = 0.5 * named + 0.5 * (named and proven)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if named and proven:
        return verdict(1.0, "found: too small to see, and plain in the number.")
    if named:
        return verdict(
            score,
            "that is the joint, but the number does not fit: mirror the left joint, and take its "
            "distance to the right one, all three coordinates, in centimetres.",
        )
    return verdict(
        score, f"the right {joint} is a better mirror image than some other joint; measure all six."
    )


def _odd(distances):
    return lambda left, right: _worst(100 * distances(left, right))


ODD = Question(
    "03",
    "odd_joint",
    "the right joint that is no mirror image, and the centimetres that prove it",
    "value",
    {"joint": JOINTS, "proof": ()},
    _draw_odd,
    _judge_odd,
    (
        Misconception(
            "metres",
            lambda left, right: (
                _worst(_apart_cm(left, right))[0],
                _worst(_apart_cm(left, right))[1] / 100,
            ),
            "the distance is left in metres",
        ),
        Misconception(
            "not mirrored",
            _odd(lambda left, right: np.linalg.norm(right - left, axis=-1)),
            "the left joint is not mirrored first: this is how far apart the two legs stand",
        ),
        Misconception(
            "wrong axis",
            _odd(
                lambda left, right: np.linalg.norm(
                    right - fr.mirror_points(left, (0, 0, 1)), axis=-1
                )
            ),
            "the left joint is mirrored across z, front to back",
        ),
        Misconception(
            "sideways only",
            _odd(lambda left, right: np.abs(right[:, 0] + left[:, 0])),
            "only the distance to the midplane is compared; a joint can also be off in height and"
            " in depth",
        ),
        Misconception(
            "distances from the middle",
            _odd(
                lambda left, right: np.abs(
                    np.linalg.norm(left, axis=-1) - np.linalg.norm(right, axis=-1)
                )
            ),
            "the joints' distances from the origin are compared; two points as far from it need not"
            " be mirror images",
        ),
        Misconception(
            "coordinates added",
            _odd(lambda left, right: np.abs(right - fr.mirror_points(left)).sum(axis=-1)),
            "the three differences are added up; a distance is the root of the sum of their"
            " squares",
        ),
    ),
    hints=Hints(
        "Make all six mirror images first, and look at the six differences, three numbers each, "
        "before you make lengths of them.",
        "Further: which joint is off?",
        "A left ankle at (0.1, 0.2, 0) has its mirror image at (−0.1, 0.2, 0). A right ankle at "
        "(−0.1, 0.23, 0.04) is 3 cm above it and 4 cm ahead of it: 5 cm off.",
    ),
)


QUESTIONS = (ORIENT, KEEP, POINT, FRAME, NUMBERS, NAMES, ODD)


def _turned_deg(frame, other):
    """The angle between two frames' axes, 180 where one is not a frame."""
    try:
        return float(np.degrees(rotation.rotation_angle(other[:3, :3].T @ frame[:3, :3])))
    except ValueError:
        return 180.0


def _degrees(angle):
    return f"{angle:.1f}°"


def _on_screen(point, most=3.0):
    """A point brought near enough to be drawn beside the rest."""
    return np.clip(point, -most, most)


def _named(point, text, kind="miss"):
    """A dot with a word beside it."""
    yield picture.dots([_on_screen(point)], kind)
    yield picture.note(_on_screen(point), text, kind)


def _axes(frame, kind, size=0.12):
    """A frame's x and y axes as seen from the front."""
    origin = _on_screen(frame[:2, 3])
    for letter, axis in zip("xy", np.clip(frame[:2, :2].T, -1, 1), strict=True):
        yield picture.arrow(origin, origin + size * axis, letter, kind)
