"""Questions of lesson 12, sign a rig off: a rig file that passes, and five broken rigs.

Points are (x, y, z) in metres: x to the character's left, y up, z forward. Frames have y up the
bone and x along the hinge.
"""

from dataclasses import replace
from functools import lru_cache, partial

import numpy as np

from rigkit import bend as bends
from rigkit import faults, placement, rotation, skin
from rigkit import frames as fr
from rigkit.homework import picture
from rigkit.homework.judging import in_cm, number
from rigkit.homework.question import REPORT, Hints, Misconception, Question, Verdict
from rigkit.puppets import PUPPETS, Puppet

# --- A rig of your own

NEAR_CM = 0.5  # how near a rig's lengths must be to those asked for
SIGNED_OFF = (
    "signed off: every rule that could be measured passes, and the lengths are those asked for."
)


def _draw_rig(rng, character):
    return [
        {
            "thigh": character.thigh,
            "shank": character.shank,
            "hip_width": character.hip_width,
            "ankle_height": character.ankle_height,
            "bend_deg": float(rng.integers(4, 9)),
            "ankle_width": round(character.hip_width * float(rng.uniform(1.18, 1.28)), 3),
        }
    ]


def _judge_rig(inputs, output):
    report = output["report"]
    places = {part: np.array(at) for part, at in report["places"].items()}
    found = [f for f in report["findings"] if f["status"] == "finding"]
    silent = [
        f for f in report["findings"] if f["status"] == "not measured" and f["rule"] in OF_SKINS
    ]
    measured = {
        "Rules that pass": f"{sum(f['status'] == 'pass' for f in report['findings'])}",
        "Rules that find something": ", ".join(f["rule"] for f in found) or "none",
    }
    if not all(f"{side}.{part}" in places for side in SIDES for part in ("hip", "knee", "ankle")):
        return Verdict(
            0.0,
            f"no two legs were found. {found[0]['said']} {found[0]['todo']}"
            if found
            else "no two legs were found; give both sides a hip, a knee and an ankle.",
            measured,
        )
    lengths = _lengths(places)
    off = {name: 100 * abs(length - inputs[name]) for name, length in lengths.items()}
    worst = max(off, key=lambda name: off[name])
    bend = next(f.get("number", 0.0) for f in report["findings"] if f["rule"] == "preset-bend")
    measured |= {
        f"Your {worst.replace('_', ' ')} is off by": f"{off[worst]:.1f} cm",
        "Your legs are bent by": f"{bend:.1f}°, and {inputs['bend_deg']:.0f}° is asked for",
    }
    sized, bent = bool(off[worst] <= NEAR_CM), bool(abs(bend - inputs["bend_deg"]) <= 0.5)
    score = 0.3 * (not found) + 0.1 * (not silent) + 0.35 * sized + 0.25 * bent
    if found or silent:
        score = min(score, 0.5)
    sentence = _rig_advice(found, silent, None if sized else worst, bent)
    return Verdict(1.0 if sentence == SIGNED_OFF else score, sentence, measured, _both_legs(places))


def _rig_advice(found, silent, wrong_length, bent):
    if found:
        first = min(found, key=lambda f: SEVERITIES.index(f["severity"]))
        return f"an inspection finds something: {_small(first['said'])} {first['todo']}"
    if silent:
        said = _small(silent[0]["said"])
        return f"nothing is found, but not everything could be measured: {said}"
    if wrong_length:
        return (
            "it passes the inspection, but its lengths are not those asked for: its "
            f"{wrong_length.replace('_', ' ')} is off by more than {NEAR_CM:g} cm."
        )
    if not bent:
        return "it passes the inspection; its preset bend is not the one asked for."
    return SIGNED_OFF


SIDES = ("left", "right")
OF_SKINS = ("weights-sum", "joint-in-section", "knee-volume")  # silent without a sound skin
SEVERITIES = ("serious", "moderate", "slight")


def _leg(places, side):
    return np.array([places[f"{side}.{part}"] for part in ("hip", "knee", "ankle")])


def _lengths(places):
    legs = np.array([_leg(places, side) for side in SIDES])
    thigh, shank = np.linalg.norm(np.diff(legs, axis=1), axis=-1).mean(axis=0)
    hips, _, ankles = np.linalg.norm(legs[0] - legs[1], axis=-1)
    return {"thigh": thigh, "shank": shank, "hip_width": hips, "ankle_width": ankles}


def _both_legs(places):
    """From the front, whichever axes of the file run across the body and up."""
    legs = {side: _leg(places, side) for side in SIDES}
    across = int(np.abs(legs["left"][0] - legs["right"][0]).argmax())
    up = int(np.abs(legs["left"][0] - legs["left"][2]).argmax())
    return picture.front_view(
        "Your rig, from the front",
        "Both legs of the rig in your file, from the front.",
        *(picture.chain(leg[:, [across, up]], ["", "", side]) for side, leg in legs.items()),
    )


def _small(text):
    return text[:1].lower() + text[1:]


@lru_cache(maxsize=64)
def _puppet(thigh, shank, hip_width, ankle_height):
    """A puppet of these lengths; its foot is anyone's."""
    return Puppet(
        "yours", "new to the parade", 1.7, (thigh, shank), ankle_height, 0.25, 0.06, 0.12, hip_width
    )


def _rig(change):
    """A wrong rig file: what `change` makes of the learner's puppet."""
    kept = lru_cache(maxsize=64)(change)
    return lambda thigh, shank, hip_width, ankle_height, bend_deg, ankle_width: kept(
        _puppet(thigh, shank, hip_width, ankle_height)
    )


def _loose_feet(puppet):
    return faults.rebuilt(puppet, hung={"L_ankle": "pelvis", "R_ankle": "pelvis"})


def _names_without_sides(puppet):
    asset = faults.sound(puppet)
    names = {
        node.name: {"name": node.name.removeprefix("L_").removeprefix("R_")} for node in asset.nodes
    }
    return faults.with_nodes(asset, **names)


def _bent_after_binding(puppet):
    straight = faults.left_straight(puppet)
    return replace(faults.sound(puppet), meshes=straight.meshes, skins=straight.skins)


MY_RIG = Question(
    "12",
    "my_rig",
    "a file with a rig of your character that passes an inspection",
    "file",
    {"report": REPORT},
    _draw_rig,
    _judge_rig,
    (
        Misconception(
            "left straight",
            _rig(faults.left_straight),
            "the legs have no preset bend to their own side; without it an inverse chain has to"
            " guess",
        ),
        Misconception(
            "bent after binding",
            _rig(_bent_after_binding),
            "the skin was bound to the straight legs and the bend came afterwards; bind last",
        ),
        Misconception(
            "feet hung from the pelvis",
            _rig(_loose_feet),
            "the feet do not hang from their shins, so they stay behind when a knee turns",
        ),
        Misconception(
            "no sides in the names",
            _rig(_names_without_sides),
            "the names do not say their side; L_knee and R_knee do",
        ),
        Misconception(
            "mirrored by a scale",
            _rig(faults.mirrored_by_scale),
            "one leg was made by a negative scale; mirror places and axes instead",
        ),
        Misconception(
            "weights dropped",
            _rig(faults.weights_dropped),
            "small weights were dropped and not given to those that stay, so they do not add up"
            " to one",
        ),
    ),
    hints=Hints(
        "Inspect the file yourself before you hand it in: which rule accuses it, and which step of"
        " the lesson's order does that rule look at?",
        "Further: build a rig from nothing",
        "A straight leg of two bones of 1 m, the hip 0.1 m and the ankle 0.2 m to the left:"
        " halfway down, the knee is halfway across, 0.15 m. Each bone goes 1 m down and 0.05 m"
        " across and is 1.001 m long, 1 mm too much, where 5 mm are allowed.",
    ),
)


# --- Broken rig 1: a hinge aslant

RULES = ("preset-bend", "knee-in-plane", "hinge-square", "sides-mirror")


def _draw_hinge(rng, character):
    straight = np.array(
        [[0, up, 0] for up in character.hip_height - np.cumsum([0.0, *character.bones])]
    )
    turn = rotation.matrix_about(
        "y", np.radians(rng.uniform(-20, 20))
    )  # the whole leg toes in or out
    points = bends.preset_bend(straight, np.radians(rng.uniform(5, 8)), turn[:, 2])
    frame = placement.orient_chain(points)[1, :3, :3]
    off = rng.choice([-1, 1]) * np.radians(rng.uniform(8, 16))
    along = (points[2] - points[1]) / np.linalg.norm(points[2] - points[1])
    return [
        {
            "hip": np.round(points[0], 5),
            "knee": np.round(points[1], 5),
            "ankle": np.round(points[2], 5),
            "axis": np.round(rotation.matrix_about(along, off) @ frame[:, 0], 5),
        }
    ]


def _normal(hip, knee, ankle):
    normal = np.cross(knee - hip, ankle - knee)
    return normal / np.linalg.norm(normal)


def _between(first, second):
    """The angle between two lines, degrees."""
    angle = float(np.degrees(rotation.angle_between(first, second)))
    return min(angle, 180 - angle)


def _hinge(hip, knee, ankle, axis):
    normal = _normal(hip, knee, ankle)
    return RULES[2], _between(normal, axis), normal


def _judge_hinge(inputs, output):
    rule, off, true = _hinge(**inputs)
    yours, length = output["mended axis"], float(np.linalg.norm(output["mended axis"]))
    found, sized = output["finding"] == rule, abs(abs(float(output["off"])) - off) <= 0.11
    points = np.array([inputs["hip"], inputs["knee"], inputs["ankle"]])
    shown = yours / length if length > 1e-6 else np.zeros(3)
    mended = length > 1e-6 and _between(true, yours) <= 0.1
    measured = {
        "You say": f"{output['finding']}, off by {number(float(output['off']))}°",
        "When the knee bends by 90° about your axis, the ankle is off by": (
            f"{_ankle_off_cm(points[2] - points[1], true, shown):.1f} cm"
        ),
    }
    drawn = picture.top_view(
        "The knee from above",
        "The hinge axis as it was, and yours, from above.",
        picture.arrow([0, 0], 0.1 * inputs["axis"][[0, 2]] * [1, -1], "as it was", "plain"),
        picture.arrow([0, 0], 0.1 * shown[[0, 2]] * [1, -1], "yours", "inverse"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not found:
        return verdict(0.4 * mended, _blamed(output["finding"], inputs))
    if sized and mended:
        return verdict(
            1.0,
            "explained, measured and repaired: now the shank swings in the plane it is bent in.",
        )
    return verdict(
        0.15 + 0.4 * sized + 0.4 * mended,
        "explained, but not repaired: the new axis should be square to both bones."
        if sized
        else (
            "the finding is right, the angle is not: compare the axis with the direction square to"
            " the plane through hip, knee and ankle."
        ),
    )


def _blamed(rule, inputs):
    """A sentence on a rule that explains nothing here: what it measures, and what that is."""
    return {
        "preset-bend": (
            "preset-bend asks how far the leg is bent at rest. Here that is"
            f" {_bend_deg(**inputs):.1f}°, toward the toes; does that explain an ankle that leaves"
            " its plane?"
        ),
        "knee-in-plane": (
            "knee-in-plane asks how far the knee stands beside the plane through hip, ankle and"
            " toes. Here the foot points where the knee does, so that is 0.0 cm."
        ),
        "sides-mirror": (
            "sides-mirror compares the joints' places with those of the other leg. Here one leg is"
            " given, its joints are where they belong, and its shank swings aside all the same."
        ),
    }[rule]


def _ankle_off_cm(shank, right, yours):
    """An ankle's miss after a bend of 90° about an axis, the better way round."""

    def bent(axis):
        return axis * (axis @ shank) + np.cross(axis, shank)

    return 100 * float(min(np.linalg.norm(bent(way * yours) - bent(right)) for way in (1, -1)))


def _hinge_with(finding=RULES[2], off=None, axis=None):
    def answer(hip, knee, ankle, axis_was):
        rule = _hinge(hip, knee, ankle, axis_was)
        return (
            finding,
            rule[1] if off is None else off(hip, knee, ankle, axis_was),
            rule[2] if axis is None else axis(hip, knee, ankle, axis_was),
        )

    return lambda hip, knee, ankle, axis: answer(hip, knee, ankle, axis)


def _bend_deg(hip, knee, ankle, axis):
    return float(np.degrees(rotation.angle_between(knee - hip, ankle - knee)))


HINGE = Question(
    "12",
    "aslant",
    "what explains a shank that swings aside, how far it is off, and the axis that mends it",
    "value",
    {"finding": RULES, "off": (), "mended axis": (3,)},
    _draw_hinge,
    _judge_hinge,
    (
        Misconception(
            "the bend blamed",
            _hinge_with(RULES[0], _bend_deg),
            "the preset bend is measured and blamed; it is there, and to the right side",
        ),
        Misconception(
            "the plane blamed",
            _hinge_with(RULES[1], lambda *_: 0.0),
            "the knee's place is blamed; hip, knee and ankle are where they belong, the axis"
            " is not",
        ),
        Misconception(
            "straight to the left",
            _hinge_with(axis=lambda *_: np.array([1.0, 0.0, 0.0])),
            "the axis is laid along x, as for a leg that points straight ahead; this one does not",
        ),
        Misconception(
            "radians",
            _hinge_with(off=lambda *points: np.radians(_hinge(*points)[1])),
            "the angle is in radians; degrees were asked for",
        ),
        Misconception(
            "angle to the bone",
            _hinge_with(off=lambda hip, knee, ankle, axis: _between(ankle - knee, axis)),
            "the angle is taken between the axis and the shank; that is 90° for any axis across the"
            " bone",
        ),
        Misconception(
            "left as it was",
            _hinge_with(axis=lambda hip, knee, ankle, axis: axis),
            "the fault is explained, and the axis given back as it was",
        ),
    ),
    hints=Hints(
        "You are given three places and one direction: what would have to be wrong with each for"
        " the ankle to leave its plane, and can three points do that?",
        "Further: build a rig from nothing",
        "Hip (0, 2, 0), knee (0, 1, 1), ankle (0, 0, 0): thigh and shank lie in the plane of y and"
        " z, so the hinge belongs along (1, 0, 0). An axis along (1, 0, 1) is off by 45.0°.",
    ),
)


# --- Broken rig 2: a knee in the wrong place

LEAST_DEG, MOST_DEG = 2.0, 10.0
ASIDE = 0.006  # of the leg's length: how far a knee may stand beside its plane


def _draw_knee(rng, character):
    def leg(toe_out_deg, forward, aside, size=1.0, left=1, of=character):
        hip = size * np.array([left * of.hip_width / 2, of.hip_height, 0.0])
        ankle = size * np.array([left * of.hip_width / 2, of.ankle_height, 0.0])
        turn = rotation.matrix_about("y", left * np.radians(toe_out_deg))
        share = of.thigh / of.leg_length
        knee = hip + share * (ankle - hip) + size * (turn @ np.array([aside, 0.0, forward]))
        return {
            "hip": hip,
            "knee": knee,
            "ankle": ankle,
            "toe": ankle * [1, 0, 1] + 0.2 * size * turn[:, 2],
        }

    out = rng.uniform(18, 28)  # below 16° a knee ahead along z is within what is allowed
    return [
        leg(0, 0.0, 0.0),
        leg(0, -0.03, 0.0),
        leg(out, 0.015, 0.04),
        leg(out, -0.02, -0.03, left=-1),
        leg(0, 0.0, 0.0, size=0.1),
        leg(0, -0.01, 0.0, of=PUPPETS["Odo"]),
        leg(rng.uniform(5, 12), 0.12, 0.0, size=8.0),
    ]


def _shares(hip, knee, ankle):
    """Places of knees along the line from hip to ankle, 0 to 1."""
    line = ankle - hip
    return float((knee - hip) @ line / (line @ line))


def _ahead(hip, ankle, toe):
    """The direction across the leg in the plane of its foot, and the one square to that plane."""
    line = (ankle - hip) / np.linalg.norm(ankle - hip)
    ahead = (toe - ankle) * [1, 0, 1]
    ahead = ahead - (ahead @ line) * line
    ahead = ahead / np.linalg.norm(ahead)
    return ahead, np.cross(line, ahead)


def _judge_knee(inputs, output):
    hip, was, ankle, toe = (inputs[name] for name in ("hip", "knee", "ankle", "toe"))
    yours, long = output["knee"], float(np.linalg.norm(ankle - hip))
    ahead, across = _ahead(hip, ankle, toe)
    degenerate = min(np.linalg.norm(yours - hip), np.linalg.norm(yours - ankle)) < 1e-6 * long
    points = np.array([hip, yours, ankle])
    bend = 180.0 if degenerate else float(np.degrees(bends.measure_bend(points, ahead).angle))
    beside = float((yours - hip) @ across)
    moved = abs(_shares(hip, yours, ankle) - _shares(hip, was, ankle))
    bent, planar, level = LEAST_DEG <= bend <= MOST_DEG, abs(beside) <= ASIDE * long, moved <= 0.01
    measured = {
        "Your leg is bent by": f"{bend:.1f}°",
        "Your knee stands beside the plane of its foot by": in_cm(abs(beside)),
        "Your knee moved along the leg by": f"{100 * min(moved, 1e3):.1f} % of it",
    }
    line = ankle - hip
    flat = np.array([[(p - hip) @ ahead, -((p - hip) @ line) / long] for p in (hip, yours, ankle)])
    drawn = picture.side_view(
        "Your leg, in the plane of its foot",
        "Hip, your knee and ankle seen square to the plane of the foot; dotted a straight leg.",
        picture.ghost(flat[[0, 2]]),
        picture.chain(np.clip(flat, -3 * long, 3 * long), ["hip", "knee", "ankle"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if bent and planar and level:
        return verdict(
            1.0,
            "each knee has a bend of its own, in the plane of its foot, where it was on the leg.",
        )
    sentence = (
        "the knee stands beside the plane through hip, ankle and toe; which way is ahead for this"
        " foot?"
        if not planar
        else (
            f"the bend should be {LEAST_DEG:g}° to {MOST_DEG:g}°, toward the toes."
            if not bent
            else "the knee has moved up or down the leg; only across it was it wrong."
        )
    )
    return verdict(0.15 * (bent + planar) + 0.1 * level if bent or planar else 0.0, sentence)


def _knee_with(bend_deg=5.0, way=None, level=True):
    """A knee moved on its level so that the leg bends by so much, if that is little."""

    def answer(hip, knee, ankle, toe):
        share = _shares(hip, knee, ankle) if level else 0.5
        ahead = _ahead(hip, ankle, toe)[0] if way is None else way
        line = ankle - hip
        out = np.radians(bend_deg) * share * (1 - share) * np.linalg.norm(line)
        return hip + share * line + out * ahead

    return answer


KNEE = Question(
    "12",
    "mend_knee",
    "where a misplaced knee joint belongs: a small bend, in the plane of its foot",
    "function",
    {"knee": (3,)},
    _draw_knee,
    _judge_knee,
    (
        Misconception(
            "on the line",
            _knee_with(0.0),
            "the knee is put exactly on the line from hip to ankle; a leg that is mended to"
            " straight is broken again",
        ),
        Misconception(
            "ahead along z",
            _knee_with(way=np.array([0.0, 0.0, 1.0])),
            "every knee is moved along z; a foot that is turned out has another ahead",
        ),
        Misconception("backward", _knee_with(-5.0), "the knees are bent away from the toes"),
        Misconception(
            "two centimetres for all",
            lambda hip, knee, ankle, toe: (
                hip + _shares(hip, knee, ankle) * (ankle - hip) + 0.02 * _ahead(hip, ankle, toe)[0]
            ),
            "every knee is moved ahead by as many centimetres, on a marionette as on a giant",
        ),
        Misconception(
            "halfway",
            _knee_with(level=False),
            "the knee is put halfway down the leg; thigh and shank were not equally long",
        ),
        Misconception(
            "only across",
            lambda hip, knee, ankle, toe: (
                knee - ((knee - hip) @ _ahead(hip, ankle, toe)[1]) * _ahead(hip, ankle, toe)[1]
            ),
            "what stood beside the plane is mended, and the bend is left as it was",
        ),
    ),
    hints=Hints(
        "Take the knee's place apart, into what lies along the line and what lies across it: which"
        " of the two is in order, and in which direction must the other one go?",
        "Further: build a rig from nothing",
        "Hip (0, 2, 0), knee (0.3, 1, −0.2), ankle (0, 0, 0), toe (0, −0.1, 0.2): beside the knee"
        " the line is at (0, 1, 0), and the foot points straight ahead. At (0, 1, 0.04) the knee"
        " is bent by 4.6°.",
    ),
)


# --- Broken rig 3: a side made by a negative scale


def _draw_mirrored(rng, character):
    def case(turn):
        joint = fr.frame(rotation.matrix_from_vector(turn), rng.uniform(-1, 1, 3))
        joint[:3, 0] *= -1
        return {"joint": joint}

    return [
        case((0.0, 0.0, 0.0)),
        case((0.1, 0.0, 0.0)),
        case((0.0, np.pi, 0.0)),
        case((np.pi / 2, 0.0, 0.0)),
        *(case(rng.uniform(-1.5, 1.5, 3)) for _ in range(3)),
    ]


def _judge_mirrored(inputs, output):
    joint, yours = inputs["joint"], output["mended joint"]
    turn, place = yours[:3, :3], float(np.linalg.norm(yours[:3, 3] - joint[:3, 3]))
    rigid = float(np.abs(turn.T @ turn - np.eye(3)).max()) <= 1e-4
    volume = float(np.linalg.det(turn))
    kept = rigid and float(np.abs(turn[:, 1:] - joint[:3, 1:3]).max()) <= 1e-4
    last = bool(np.allclose(yours[3], [0, 0, 0, 1], atol=1e-6))
    measured = {
        "The determinant of your three axes": f"{number(volume)}; of a turn it is +1",
        "Your joint has moved by": in_cm(place),
    }
    arrows = [0.1 * np.clip(turn[:, i], -2, 2)[[2, 1]] for i in range(3)]
    drawn = picture.side_view(
        "Your joint's axes",
        "The three axes of your joint, from the side.",
        *(
            picture.arrow([0, 0], end, letter, "inverse")
            for end, letter in zip(arrows, "xyz", strict=True)
        ),
    )
    turned = rigid and volume > 0
    score = 0.1 * turned + 0.5 * (kept and turned) + 0.4 * (place <= 1e-4 and turned and last)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if score > 0.99:
        return verdict(
            1.0, "a turn again: the bone axis and forward are kept, and a positive bend flexes."
        )
    if not rigid:
        return verdict(0.0, "your axes are not square to each other, or not of length one.")
    if not last:
        return verdict(score, "a frame's last row is 0, 0, 0, 1; yours is another one.")
    if volume < 0:
        return verdict(0.0, "it is still a reflection; an odd number of axes has to be reversed.")
    return verdict(
        score,
        "it is a turn, but the bone axis y and forward z should stay as they are."
        if not kept
        else "the axes are right; the joint itself should stay where it is.",
    )


def _axes_reversed(*columns):
    def answer(joint):
        mended = joint.copy()
        mended[:3, list(columns)] *= -1
        return mended

    return answer


def _row_reversed(joint):
    mended = joint.copy()
    mended[0, :3] *= -1
    return mended


MIRRORED = Question(
    "12",
    "mend_mirrored",
    "a joint that a negative scale has mirrored, as a turn that keeps bone axis and forward",
    "function",
    {"mended joint": (4, 4)},
    _draw_mirrored,
    _judge_mirrored,
    (
        Misconception(
            "left as it was",
            lambda joint: joint,
            "the joint is given back as it was, and no angles can undo a reflection",
        ),
        Misconception(
            "all axes reversed",
            _axes_reversed(0, 1, 2),
            "all three axes are reversed; it is a turn, but its y points down the bone and its z"
            " backward",
        ),
        Misconception(
            "forward reversed",
            _axes_reversed(2),
            "z is reversed and not x; then a positive bend goes the other way",
        ),
        Misconception(
            "two axes reversed",
            _axes_reversed(0, 1),
            "two axes are reversed, and a reflection stays a reflection",
        ),
        Misconception(
            "world's x",
            _row_reversed,
            "the first row is reversed, which mirrors the joint in the world's x; its own x axis is"
            " the first column",
        ),
        Misconception(
            "world's axes",
            lambda joint: fr.frame(origin=joint[:3, 3]),
            "the joint's axes are thrown away and the world's put in their place",
        ),
    ),
    hints=Hints(
        "The determinant of the three axes tells a turn from a reflection (lesson 03): compute it,"
        " and see which changes of the axes turn its sign.",
        "Further: build a rig from nothing",
        "A joint with the axes x = (−1, 0, 0), y = (0, 1, 0), z = (0, 0, 1) has the determinant"
        " −1. With x = (1, 0, 0) and the others kept it is 1, and a turn.",
    ),
)


# --- Broken rig 4: weights

JOINTS, VERTICES = 8, 6
OF_SIDE = np.array(
    [0.0, 1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0]
)  # the pelvis, four of the left leg, three of the right


def _draw_weights(rng, character):
    def case(strays, busy, size=1.0):
        side = np.where(np.arange(VERTICES) % 2, -1.0, 1.0)
        allowed = (OF_SIDE == 0) | (side[:, None] == OF_SIDE)
        weights = rng.permuted(np.tile(np.arange(5.0, 100.0), (VERTICES, 1)), axis=1)[
            :, :JOINTS
        ]  # no two alike
        if not busy:
            weights[:, [2, 6]] = 0.0
        astray = strays & (rng.random((VERTICES, JOINTS)) < 0.6)
        astray[0, 5] = astray[1, 1] = strays
        weights = np.where(allowed | astray, weights, 0.0)
        return {
            "weights": np.round(size * weights / weights.sum(axis=1, keepdims=True), 6),
            "vertex_side": side,
            "joint_side": OF_SIDE,
        }

    return [
        case(True, True),
        case(True, True, 1.07),
        case(False, True, 0.9),
        case(True, False),
        case(False, False, 1.2),
        case(True, True, 0.5),
    ]


def _own(weights, vertex_side, joint_side):
    """Without what belongs to the other side's joints."""
    return np.where(vertex_side[:, None] * joint_side < 0, 0.0, weights)


def _mend(weights, vertex_side, joint_side):
    return skin.normalise(skin.prune(_own(weights, vertex_side, joint_side)))


def _weights_picture(yours, true, inputs):
    row = int(np.abs(yours - true).max(axis=1).argmax())
    along = 0.12 * np.arange(JOINTS)
    return picture.side_view(
        "The weights of your worst vertex",
        "The weights of one vertex, joint by joint from the left: dotted as "
        "they were given, dots yours.",
        picture.ghost(np.column_stack([along, inputs["weights"][row]])),
        picture.dots(np.column_stack([along, np.clip(yours[row], -1, 2)]), "inverse"),
        picture.note([along[0], -0.08], "from the pelvis on"),
    )


def _judge_weights(inputs, output):
    yours, true = output["weights"], _mend(**inputs)
    stray = float(np.abs(yours - _own(yours, inputs["vertex_side"], inputs["joint_side"])).max())
    sums = yours.sum(axis=1)
    worst = int(np.abs(sums - 1).argmax())
    most = int((np.abs(yours) > 1e-9).sum(axis=1).max())
    off = float(np.abs(yours - true).max())
    clean, whole, few = stray <= 1e-6, bool(abs(sums[worst] - 1) <= 1e-4), most <= 4
    right = clean and whole and few and off <= 1e-3 and yours.min() >= 0
    measured = {
        "Your largest weight of the other side": number(stray),
        "Your worst sum": number(sums[worst], 4),
        "The most joints that move a vertex": f"{most}",
    }
    drawn = _weights_picture(yours, true, inputs)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right:
        return verdict(
            1.0,
            "own side only, four at most, and the sum is one: in the order that does it in one go.",
        )
    score = (
        0.06 * sum(map(int, (clean, whole, few)))  # had without looking at a weight
        if yours.min() >= 0 and np.abs(yours).max() <= 1.5
        else 0.0
    )
    return verdict(score, _weights_advice(clean, few, whole))


def _weights_advice(clean, few, whole):
    if not clean:
        return "joints of the other leg still move this skin."
    if not few:
        return "more than four joints move a vertex."
    if not whole:
        return "the sums are not one; what is done after normalising undoes it."
    return (
        "everything is in order but the shares: the strongest four of the own side"
        " stay, in the proportions they had."
    )


def _divided(weights):
    return weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-12)


def _four(weights):
    weakest = np.argsort(weights, axis=1)[:, :-4]
    kept = weights.copy()
    np.put_along_axis(kept, weakest, 0.0, axis=1)
    return kept


WEIGHTS = Question(
    "12",
    "mend_weights",
    "weights without the other leg, with four joints at most, that add up to one",
    "function",
    {"weights": (VERTICES, JOINTS)},
    _draw_weights,
    _judge_weights,
    (
        Misconception(
            "normalised first",
            lambda w, v, j: _four(_own(_divided(w), v, j)),
            "the weights are normalised before the others are taken away, and their sum is gone"
            " again",
        ),
        Misconception(
            "other leg kept",
            lambda w, v, j: _divided(_four(w)),
            "the other leg's joints are still there; adding up to one is not enough",
        ),
        Misconception(
            "pruned before cleaned",
            lambda w, v, j: _divided(_own(_four(w), v, j)),
            "the four strongest are chosen while the other leg's joints are still among them, so a"
            " joint of the own side has lost its place",
        ),
        Misconception(
            "more than four",
            lambda w, v, j: _divided(_own(w, v, j)),
            "more than four joints are kept",
        ),
        Misconception(
            "equal shares",
            lambda w, v, j: _divided((_mend(w, v, j) > 0).astype(float)),
            "the joints that stay get equal shares; they should keep the proportions they had",
        ),
        Misconception(
            "sides swapped",
            lambda w, v, j: _mend(w, -v, j),
            "the own side is taken away and the other one kept",
        ),
        Misconception(
            "rest to the strongest",
            lambda w, v, j: _rest_to_strongest(_four(_own(w, v, j))),
            "what is missing to one is all given to the strongest joint",
        ),
    ),
    hints=Hints(
        "There are three repairs, and a later one can spoil an earlier: mend one row by hand, and"
        " after each repair look at the other two again (pruning is in lesson 09).",
        "Further: build a rig from nothing",
        "A vertex of the left leg has 0.5 from a joint of the right leg, 0.3 and 0.1 from two of"
        " the left. The 0.5 goes; what stays adds up to 0.4, so it becomes 0.75 and 0.25.",
    ),
)


def _rest_to_strongest(weights):
    rows = np.arange(len(weights))
    given = weights.copy()
    given[rows, weights.argmax(axis=1)] += 1 - weights.sum(axis=1)
    return given


# --- Broken rig 5: inverse bind matrices

CHAIN = 4


def _draw_bind(rng, character):
    def case(turns):
        down = [
            (0.0, character.hip_height, 0.0),
            (character.hip_width / 2, 0.0, 0.0),
            (0.0, -character.thigh, 0.0),
            (0.0, -character.shank, 0.0),
        ]
        return {"local": fr.frame(rotation.matrix_from_vector(turns), down)}

    bent = np.zeros((CHAIN, 3))
    bent[1:3, 0] = -0.04, 0.09
    return [
        case(np.zeros((CHAIN, 3))),
        case(bent),
        case(bent + [0.0, 0.3, 0.0]),
        *(case(rng.uniform(-0.6, 0.6, (CHAIN, 3))) for _ in range(2)),
        case(rng.uniform(-2, 2, (CHAIN, 3))),
    ]


def _world(local):
    world = local.copy()
    for i in range(1, len(world)):
        world[i] = world[i - 1] @ local[i]
    return world


def _judge_bind(inputs, output):
    world, yours = _world(inputs["local"]), output["inverse bind"]
    skinned = world @ yours
    error = np.abs(skinned - np.eye(4)).max(axis=(-2, -1))
    right = error <= 1e-4
    worst = int(error.argmax())
    points = world[:, None, :3, 3] + NEARBY
    moved = points @ np.swapaxes(skinned[:, :3, :3], -1, -2) + skinned[:, None, :3, 3]
    off = np.linalg.norm(moved - points, axis=-1).max(axis=-1)
    measured = {
        "The joint that is worst": JOINT_NAMES[worst],
        "At rest its matrix moves the skin around it by up to": in_cm(off[worst]),
    }
    drawn = picture.front_view(
        "Where your matrices take the joints at rest",
        "The chain from the front, and a dot where each joint's own matrix takes it.",
        picture.chain(points[:, 0, :2], list(JOINT_NAMES)),
        picture.dots(np.clip(moved[:, 0, :2], -5, 5), "inverse"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right.all():
        return verdict(
            1.0, "world times inverse bind is the identity for every joint: at rest nothing moves."
        )
    return verdict(
        0.6 * float(right.mean()),
        "at rest every joint's world matrix times its inverse bind matrix should be the identity;"
        " multiply them and look at which joint is not.",
    )


JOINT_NAMES = ("pelvis", "hip", "knee", "ankle")
NEARBY = 0.1 * np.array(
    [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]
)  # a joint itself and skin around it, metres


def _upside_down(local):
    world = local.copy()
    for i in range(1, len(world)):
        world[i] = local[i] @ world[i - 1]
    return world


def _turn_only(local):
    inverse = _world(local)
    inverse[:, :3, :3] = np.swapaxes(inverse[:, :3, :3], -1, -2)
    inverse[:, :3, 3] *= -1
    return inverse


def _places_only(local):
    return fr.frame(origin=-_world(local)[:, :3, 3])


BIND = Question(
    "12",
    "bind_again",
    "the inverse bind matrices that fit a chain's rest pose",
    "function",
    {"inverse bind": (CHAIN, 4, 4)},
    _draw_bind,
    _judge_bind,
    (
        Misconception(
            "local for world",
            lambda local: np.linalg.inv(local),
            "the local frames are inverted; a skin is bound in the world, so the parents belong"
            " in it",
        ),
        Misconception(
            "not inverted", _world, "the world matrices are given back without being inverted"
        ),
        Misconception(
            "wrong order",
            lambda local: np.linalg.inv(_upside_down(local)),
            "the parent's frame is multiplied from the wrong side: world = parent_world @ local",
        ),
        Misconception(
            "turned and shifted apart",
            _turn_only,
            "the turn is inverted and the shift only negated; the shift has to be turned back as"
            " well",
        ),
        Misconception(
            "places only",
            _places_only,
            "only the joints' places are undone, and their turns are left out",
        ),
        Misconception(
            "the identity",
            lambda local: np.tile(np.eye(4), (CHAIN, 1, 1)),
            "every matrix is the identity, and each point is moved twice",
        ),
    ),
    hints=Hints(
        "Try your matrices: each joint's world frame times its own should move no point, so where"
        " does the first product differ from that?",
        "Repair",
        "Two joints, neither turned: the pelvis at (0, 1, 0), the hip at (0.1, 0, 0) as the pelvis"
        " sees it. In the world the hip is at (0.1, 1, 0), so its matrix shifts by (−0.1, −1, 0),"
        " and the pelvis's by (0, −1, 0).",
    ),
)


QUESTIONS = (MY_RIG, HINGE, KNEE, MIRRORED, WEIGHTS, BIND)
