"""Lesson 01's pictures: a joint off its centre, where a hip turns, five rules, motion.

The knee is seen from the side, x forward and y up in the picture, with its pin at the origin; the
pelvis is seen from the front, the middle of its two ASISs at the origin. Metres.
"""

from functools import cache, lru_cache, partial

import numpy as np

from rigkit import body, placement, plots, rotation
from rigkit._types import ArrayLike, Floats
from rigkit.asking import Check, Guess, Number, Place
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.staging import half_stage, measure_or_zero, moment
from rigkit.scenes.words import SHOWN, directed
from rigkit.stage import Row, Stage, row

# Tamsin's measures that are not in the parade's list; invented, like the rest of her.
KNEE_DEPTH = 0.11  # from the kneecap to the hollow of the knee; the pin is midway
# Down from the pin; how far ahead of it the skin is there.
SHIN = ((0.0, 0.09, 0.18), (0.055, 0.052, 0.043))
CALF = (-0.060, -0.18)  # the end of its outline behind: forward and up from the pin
PELVIS = {"width_cm": 24.0, "depth_cm": 16.0, "leg_cm": 91.0}

RULES = {
    "Bell": "bell-1990",
    "Harrington": "harrington",
    "Harrington, simple": "harrington-single",
    "Hara": "hara",
    "Davis": "davis",
}
MARKER_RADIUS = 0.007  # of the markers that Davis takes off

ONE, THREE = "one, at the ankle", "three, spread out"
FRAMES = 30  # pictures in a recording
RADIANS = "Your calculator takes 30 for radians. Set it to degrees."


def turned(points: ArrayLike, centre: Floats, angle: ArrayLike) -> Floats:
    """Points turned by `angle` about an axis along x through `centre`.

    Their shapes are (..., 3), (...) and (3,).
    """
    return (
        centre
        + (rotation.matrix_about("x", angle) @ (np.asarray(points) - centre)[..., None])[..., 0]
    )


# A knee off its centre


def opening() -> Row:
    """The same straight leg twice: with its knee joint on the pin, and with it on the kneecap."""
    half = 100 * KNEE_DEPTH / 2
    right, wrong = (
        _knee(ahead, 0.0, 0, None, f"On the {place}")[0]
        for ahead, place in ((0.0, "pin"), (half, "kneecap"))
    )
    return row(
        right,
        wrong,
        title=(
            "Two straight legs from the side that look alike: one has its knee joint on the pin,"
            " the other on the kneecap"
        ),
    )


def slid_cm(ahead_cm: float, above_cm: float, bend_deg: float, below_cm: float) -> float:
    """Tell how far the skin down the shin is from where it belongs, in centimetres.

    Its joint is off the pin, and the knee is bent.
    """
    patch, angle = _patch(below_cm), np.radians(bend_deg)
    belongs = turned(patch, np.zeros(3), angle)
    return 100 * float(np.linalg.norm(turned(patch, _joint(ahead_cm, above_cm), angle) - belongs))


def slide(ahead_cm: float, above_cm: float, bend_deg: float, below_cm: float) -> tuple[Row, str]:
    """A knee joint set off its pin and bent: the leg, why it slides, and both in words."""
    leg, slid = _knee(ahead_cm, above_cm, bend_deg, below_cm, "What the leg does")
    off = np.hypot(ahead_cm, above_cm)
    forward, up = 100 * slid[2], 100 * slid[1]
    length = np.hypot(forward, up)
    words = (
        f"Joint {off:.1f} cm off the pin, knee bent {bend_deg:.0f}°. {below_cm:.0f} cm down the"
        f" shin the skin stands <b>{length:.1f} cm</b> from where it"
        f" belongs{_directions(up, forward)}."
    )
    if bend_deg:  # at rest the formula would only answer what the guess asks
        words += f" 2 × {off:.1f} cm × sin {bend_deg / 2:.1f}° = {length:.1f} cm."
    return row(leg, _triangle(ahead_cm, above_cm, bend_deg)), words


def slide_panel() -> Panel:
    """A knee joint to move about its pin, a bend, and a place on the shin.

    At that place the slide is measured.
    """
    half = 100 * KNEE_DEPTH / 2
    return Panel(
        "Move the joint off the pin, bend the knee: how far does the skin slide?",
        [
            Slider("ahead_cm", "Joint ahead of the pin", -5.5, 5.5, 0.5, half, "cm"),
            Slider("above_cm", "Joint above the pin", -5.5, 5.5, 0.5, 0.0, "cm"),
            Slider("bend_deg", "Knee bent", 0, 120, 5, 0, "°"),
            Slider("below_cm", "Down the shin", 2, 17, 1, 12, "cm"),
        ],
        slide,
        {
            "Kneecap, 60°": (half, 0, 60),
            "Kneecap, 90°": (half, 0, 90),
            "Back of the knee, 90°": (-half, 0, 90),
            "Too high, 90°": (0, half, 90),
            "On the pin, 120°": (0, 0, 120),
        },
        grips=[
            Grip("Joint", _joint, ("ahead_cm", "above_cm")),
            Grip("Skin on the shin", _skin, ("below_cm",), views=(0,)),
            Grip("Shank", _calf, ("bend_deg",), views=(0,)),
            Grip("Where the pin goes", _pin, ("bend_deg",), views=(1,)),
        ],
    )


def slide_guess() -> Panel:
    """Guess which part of the shank is farthest off, then bend it."""
    half = 100 * KNEE_DEPTH / 2
    return slide_panel().after(
        Guess(
            "01/slide",
            f"Her knee joint sits on the kneecap, {half:.1f} cm ahead of the pin, and the knee"
            " bends. Which part of the shank is then farthest from where it belongs?",
            ("the knee end", "the ankle end", "all the same"),
            _slid_where,
            then="Bend the knee to 60° or more, then pull the red dot along the shin.",
        )
    )


def _slid_where(ahead_cm, above_cm, bend_deg, below_cm):
    """The part of the shank that slides farthest; None until the knee is well bent."""
    if bend_deg < 60 or np.hypot(ahead_cm, above_cm) < 0.5:
        return None
    places = (2, 17)
    high, low = (slid_cm(ahead_cm, above_cm, bend_deg, place) for place in places)
    if abs(high - low) < SHOWN:
        right = "all the same"
    else:
        right = "the knee end" if high > low else "the ankle end"
    return right, (
        f"{places[0]} cm down the shin the skin is <b>{high:.1f} cm</b> off, {places[1]} cm down"
        f" it is <b>{low:.1f} cm</b> off: {right}."
    )


def slide_check() -> Panel:
    """Ask how far the skin slides at Pip's ankle, by a joint too far back."""
    off_cm, bend_deg, leg_cm = 2.0, 60.0, 25.0
    bend = np.radians(bend_deg)
    right = 100 * float(placement.skin_slide([0, 0, -off_cm / 100], bend))
    in_radians = 2 * off_cm * float(np.sin(bend_deg / 2))
    return quick_check(
        Check(
            "01/slide-elsewhere",
            f"Pip's knee joint sits {off_cm:.0f} cm behind the pin. He bends the knee by"
            f" {bend_deg:.0f}°. How far from its place is the skin at his ankle, {leg_cm:.0f} cm"
            " down?",
            Number("cm", -60, 60, 0.02),
            right,
            "Half of 60° is 30°, its sine is a half, and twice a half of"
            f" {off_cm:.0f} cm is {right:.1f} cm. The ankle's distance does not come into it.",
            {
                100 * float(placement.skin_slide([0, leg_cm / 100, 0], bend)): (
                    "That is how far the ankle travels when the knee bends. Asked is how far it"
                    " ends from its place, and only the joint's error makes that."
                ),
                off_cm * np.sin(bend / 2): "That is half of the red side; the triangle has two.",
                off_cm * np.sin(bend): "That is the sine of the whole bend: halve the angle first,"
                " then double the length.",
                2 * off_cm * np.sin(bend): "You doubled, but took the sine of the whole bend. Halve"
                " the angle first.",
                off_cm * bend: "Close: that is the way along the arc. The slide is straight, from"
                " place to place.",
                0.0: "At rest it is zero. Once the knee bends, a joint off its centre shows.",
                **dict.fromkeys((in_radians, -in_radians), RADIANS),
                -right: "The size is right. A distance has no minus, whichever way the skin went.",
            },
            "The slide is 2 × (how far the joint is off) × sin(half the bend), wherever you"
            " measure.",
        )
    )


def slide_plot() -> plots.Plot:
    """Slide of the skin, against the bend, for joints a little and far off."""
    bends_deg = np.linspace(0, 120, 61)
    slides = {
        f"joint {off:g} cm off": (
            100 * placement.skin_slide([0, 0, off / 100], np.radians(bends_deg))
        )
        for off in (5.5, 3, 1)
    }
    return plots.curves(
        bends_deg,
        slides,
        "knee bent (degrees)",
        "skin slides (cm)",
        title="At 60° the skin slides just as far as the joint is off",
        ylim=(0, 11),
        desc=(
            "Slide against bend for joints 5.5, 3 and 1 centimetres off their centre. Every curve "
            "starts at nothing, reaches the joint's own error at 60 degrees and 1.7 times that at "
            "120."
        ),
    )


# Where a hip turns


SHOWS_DEG = 20  # a leg swung out this far shows where it turns
STUDS = ((0.110, -0.20), (0.095, -0.34))  # on the thigh, from the front


@cache
def hip_place() -> Floats:
    """The left hip from the front by Harrington's rule, from the ASISs' middle; shape (2,)."""
    return hip_places(**PELVIS)["Harrington"][:2]


def swing(puppet: Puppet, out_deg: float) -> tuple[Stage, str]:
    """A leg swung out to its side, and how far two studs on it went, in words."""
    rest, now = np.array(STUDS), _swung(STUDS, out_deg)
    upper, lower = 100 * np.linalg.norm(now - rest, axis=-1)
    words = (
        f"Leg swung out by {out_deg:.0f}°. The upper stud went {upper:.1f} cm, the lower one"
        f" {lower:.1f} cm."
    )
    return _hip_stage(puppet, out_deg), words


def swing_panel(puppet: Puppet) -> Panel:
    """A leg to swing out, seen from the front."""
    return Panel(
        "Swing the leg out: which place of it stays?",
        [Slider("out_deg", "Leg out to its side", 0, 40, 1, 0, "°")],
        partial(swing, puppet),
        {"A little out": (10,), "Far out": (40,)},
        size=720,
        grips=[Grip("Lower stud", lambda out_deg: _swung(STUDS[1], out_deg), ("out_deg",))],
    )


def hip_guess(puppet: Puppet) -> Panel:
    """Point at the centre of the hip, then swing the leg."""
    return swing_panel(puppet).after(
        Guess(
            "01/hip",
            "Where does Tamsin's left leg turn when it swings out to the side? Put the ring there"
            " (drag it, or use the arrow keys). Her left is on your right.",
            Place(3.0),
            partial(_turns_at, puppet),
            then=f"Now swing the leg out by {SHOWS_DEG}° or more.",
        )
    )


def _turns_at(puppet, out_deg):
    """Tell where the leg turns; None until it has swung out far enough to show it."""
    if out_deg < SHOWS_DEG:
        return None
    below, inward = _from_asis()
    outside = 100 * (_half_breadth(puppet) - hip_place()[0])
    return hip_place(), (
        f"The leg turns <b>{below:.1f} cm</b> below the front point of the pelvis and"
        f" <b>{inward:.1f} cm</b> nearer the middle: <b>{outside:.1f} cm</b> inside the widest part"
        " of the hip."
    )


def hip_check() -> Panel:
    """Ask how far apart a hip rule puts the hips of another pelvis."""
    width_cm = 25.0
    left = body.hip_centres(RULES["Bell"], pelvis_width=width_cm / 100).left
    out, down, back = 200 * np.abs(left)
    return quick_check(
        Check(
            "01/hip-gap",
            f"The front points of Pip's pelvis are {width_cm:.0f} cm apart. By Bell's rule, how far"
            " is one hip centre from the other?",
            Number("cm", 0, 60, 0.05),
            out,
            f"Each hip is 0.36 × {width_cm:.0f} = {out / 2:.1f} cm from the middle, and there are"
            " two sides.",
            {
                out / 2: "That is one hip, from the middle. The other lies as far on its own side.",
                width_cm: "That is from front point to front point. The hips lie nearer together.",
                down: "You took the share that leads down. Outward it is 0.36.",
                back: "You took the share that leads back. Outward it is 0.36.",
                width_cm - out: "That is what is left over on both sides. Asked is the way between"
                " the hips.",
                width_cm + out: "The rule counts from the middle of the two points, not from"
                " one of them.",
            },
            "Go outward from the middle by 0.36 of the width, once on each side.",
        )
    )


# Five rules for one hip


def hip_places(width_cm: float, depth_cm: float, leg_cm: float) -> dict[str, Floats]:
    """Places of the left hip by each of the five rules, in the pelvis frame, metres.

    They are a mapping of rule to (3,).
    """
    measures = {
        "pelvis_width": width_cm / 100,
        "pelvis_depth": depth_cm / 100,
        "leg_length": leg_cm / 100,
        "marker_radius": MARKER_RADIUS,
    }
    return {name: body.hip_centres(method, **measures).left for name, method in RULES.items()}


def hips(puppet: Puppet, width_cm: float, depth_cm: float, leg_cm: float) -> tuple[Row, str]:
    """The pelvis with both hips by five rules, the left one near by, and both in words."""
    lefts = hip_places(width_cm, depth_cm, leg_cm)
    places = np.stack(list(lefts.values()))
    low, high = places.min(axis=0), places.max(axis=0)
    out, up, forward = 1000 * (high - low)
    words = (
        f"The rules put the hip {_range(low[0], high[0])} out from the middle,"
        f" {_range(-high[1], -low[1])} below the landmarks, {_range(-high[2], -low[2])} behind"
        f" them. They differ by <b>{out:.0f} mm</b> sideways, <b>{up:.0f} mm</b> in height,"
        f" <b>{forward:.0f} mm</b> forward."
    )
    return row(_pelvis(puppet, width_cm, places), _close_up(lefts)), words


def hips_panel(puppet: Puppet) -> Panel:
    """The three measures that the rules ask for."""
    return Panel(
        "Change one measure at a time: which rules use it?",
        [
            Slider("width_cm", "ASIS to ASIS", 20.0, 28.0, 0.5, PELVIS["width_cm"], "cm"),
            Slider("depth_cm", "ASISs to PSISs", 13.0, 19.0, 0.5, PELVIS["depth_cm"], "cm"),
            Slider("leg_cm", "ASIS to inner ankle", 75.0, 105.0, 1.0, PELVIS["leg_cm"], "cm"),
        ],
        partial(hips, puppet),
        {
            "Tamsin": PELVIS,
            "Wider pelvis": PELVIS | {"width_cm": 28.0},
            "Deeper pelvis": PELVIS | {"depth_cm": 19.0},
            "Longer legs": PELVIS | {"leg_cm": 105.0},
        },
        grips=[
            Grip(f"{side} ASIS", partial(_asis, out), ("width_cm",), views=(0,))
            for side, out in (("Left", 1), ("Right", -1))
        ],
    )


def hips_guess(puppet: Puppet) -> Panel:
    """Guess how many rules follow a longer leg, then lengthen it."""
    return hips_panel(puppet).after(
        Guess(
            "01/rules",
            "Five published rules place this hip. The leg gets longer, the pelvis stays as it is."
            " How many of the five move the hip?",
            ("none", "one", "three", "all five"),
            _rules_that_move,
            then="Press <b>Longer legs</b>, or pull the slider of the leg.",
        )
    )


def _rules_that_move(width_cm, depth_cm, leg_cm):
    """Tell how many rules a longer leg moves; None until only the leg has changed, by much."""
    now = {"width_cm": width_cm, "depth_cm": depth_cm, "leg_cm": leg_cm}
    if now | {"leg_cm": PELVIS["leg_cm"]} != PELVIS or abs(leg_cm - PELVIS["leg_cm"]) < 5:
        return None
    before, after = hip_places(**PELVIS), hip_places(**now)
    ways = {rule: 1000 * np.linalg.norm(after[rule] - before[rule]) for rule in RULES}
    moved = {rule: f"{rule}'s by {way:.0f} mm" for rule, way in ways.items() if way > 0.5}
    right = {0: "none", 1: "one", 3: "three", 5: "all five"}[len(moved)]
    return right, f"Moved: <b>{right}</b>. {', '.join(moved.values())}; the others did not move."


# A centre from motion


def marker_places(puppet: Puppet, markers: str = ONE) -> Floats:
    """Places of markers on the hanging shank, seen from the pin of the knee.

    Shape (m, 3), metres.
    """
    ankle = [[0.0, 0.06 - puppet.shank, 0.03]]
    return np.array(
        ankle if markers == ONE else [*ankle, [0.0, -0.09, 0.052], [0.0, -0.13, -0.062]]
    )


def recording(
    puppet: Puppet,
    arc_deg: float | Floats,
    noise_mm: float,
    rng: np.random.Generator,
    markers: str = ONE,
) -> Floats:
    """Shank markers, with noise, seen from the side while the knee bends through an arc.

    The arc begins with a straight knee.

    Parameters
    ----------
    puppet : Puppet
    arc_deg : array_like, shape (...)
    noise_mm : float
        Standard deviation of each coordinate in the picture's plane.
    rng : numpy.random.Generator
    markers : {ONE, THREE}

    Returns
    -------
    ndarray, shape (..., frames, markers, 3)
        Metres, the pin of the knee at the origin.
    """
    angles = np.radians(arc_deg)[..., None] * np.linspace(0, 1, FRAMES)
    turns = rotation.matrix_about("x", angles)[..., None, :, :]
    seen = (turns @ marker_places(puppet, markers)[..., None])[..., 0]
    seen[..., 1:] += noise_mm / 1000 * rng.standard_normal(seen[..., 1:].shape)
    return seen


def circling(puppet: Puppet, arc_deg: float, noise_mm: float, rng: np.random.Generator) -> Floats:
    """One thigh marker while the thigh swings through an arc; shape (60, 1, 3), metres.

    It swings forward, back and round.

    The noise is the standard deviation of each coordinate. The hip is where the puppet's left hip
    stands.
    """
    phase = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    half = np.radians(arc_deg) / 2
    turns = rotation.matrix_about("z", half * np.sin(2 * phase) / 2) @ rotation.matrix_about(
        "x", half * np.cos(phase)
    )
    seen = left_hip(puppet) + turns @ [0.0, -0.30, 0.06]
    return (seen + noise_mm / 1000 * rng.standard_normal(seen.shape))[:, None]


def left_hip(puppet: Puppet) -> Floats:
    """The place of the puppet's left hip, metres."""
    return np.array([puppet.hip_width / 2, puppet.hip_height, 0.0])


def found_centre(
    puppet: Puppet, arc_deg: float, noise_mm: float, markers: str, take: int
) -> tuple[Row, str]:
    """A recording, the centre fitted to it, what to expect, and the first two in words."""
    seen = recording(puppet, arc_deg, noise_mm, np.random.default_rng(take), markers)
    fit = placement.hinge_axis_from_motion(seen)
    miss_cm, radius_cm = 100 * np.linalg.norm(fit.point), 100 * fit.radii[0]
    true_cm = 100 * np.linalg.norm(marker_places(puppet)[0])
    words = (
        f"Arc {arc_deg:.0f}°, noise {noise_mm:g} mm. The fitted centre is"
        f" <b>{_centimetres(miss_cm)}</b> from the pin. It puts the ankle marker on a circle of"
        f" {_centimetres(radius_cm)}; the tape measure says {true_cm:.1f} cm. The dots lie"
        f" {1000 * fit.residual:.1f} mm from their circles."
    )
    return row(_arc(puppet, seen, fit, miss_cm), typical_plot(puppet).at(arc_deg)), words


def motion_panel(puppet: Puppet) -> Panel:
    """An arc, a noise, markers to fit a knee's centre to, and takes to repeat it."""
    return Panel(
        "Bend the knee through an arc: how well do the markers tell its centre?",
        [
            Slider("arc_deg", "Arc", 5, 120, 5, 30, "°"),
            Slider("noise_mm", "Noise", 0.0, 10.0, 0.5, 3.0, "mm"),
            Choice("markers", "Markers", (ONE, THREE), ONE),
            Slider("take", "Take", 1, 20, 1, 1),
        ],
        partial(found_centre, puppet),
        {
            "No noise, 5°": (5, 0, ONE),
            "3 mm, 90°": (90, 3, ONE),
            "3 mm, 20°": (20, 3, ONE),
            "3 mm, 20°, three": (20, 3, THREE),
        },
        grips=[
            Grip("Last dot of the arc", partial(_last_dot, puppet), ("arc_deg",), views=(0,)),
            moment("arc_deg", 60.0, "Arc"),
        ],
    )


def typical_miss_cm(
    puppet: Puppet,
    arcs_deg: Floats,
    noise_mm: float,
    markers: str = ONE,
    takes: int = 25,
    share: ArrayLike = 0.5,
) -> Floats:
    """The miss that a share of some takes stays within, for each arc; centimetres, shape (a,).

    For half of them it is the middle one of their misses. Several shares of the same takes give
    (a, shares).
    """

    def within(arc_deg):
        seen = recording(
            puppet, np.full(takes, arc_deg), noise_mm, np.random.default_rng(1), markers
        )
        misses = np.linalg.norm(placement.hinge_axis_from_motion(seen).point, axis=-1)
        return np.quantile(misses, np.asarray(share, float))

    return 100 * np.array([within(arc_deg) for arc_deg in arcs_deg])


ARCS_DEG = (5, 7.5, 10, 15, 20, 30, 45, 60, 90, 120)
NOISES_MM = (10, 3, 1)


@lru_cache
def arc_for_a_centimetre(puppet: Puppet, markers: str = ONE) -> float:
    """The arc at which half of the takes find the pin within a centimetre, at 3 mm, in degrees.

    Read from the misses of many takes, which fall evenly in logarithms as the arc grows.
    """
    arcs_deg = np.array([10, 15, 45, 60])
    misses = typical_miss_cm(puppet, arcs_deg, 3, markers, takes=200)
    return float(np.exp(np.interp(0.0, -np.log(misses), np.log(arcs_deg))))


def arc_guess(puppet: Puppet) -> Panel:
    """Guess the arc that shows a knee's pin, then see what to expect of a take."""
    return Panel(
        "How far from the pin half of the takes come",
        [],
        lambda: (typical_plot(puppet), ""),
    ).after(
        Guess(
            "01/arc",
            "One marker at the ankle trembles by 3 mm in the camera's picture. How far must the"
            " knee bend until half of all takes find the pin within a centimetre?",
            Number("°", 1, 150, 10),
            lambda: _arc_told(puppet),
        )
    )


def _arc_told(puppet):
    arc, three = arc_for_a_centimetre(puppet), arc_for_a_centimetre(puppet, THREE)
    return arc, (
        f"One marker needs <b>about {arc:.0f}°</b>. Three, spread out, need about {three:.0f}°."
    )


@lru_cache
def typical_plot(puppet: Puppet) -> plots.Plot:
    """Typical misses against the arc, for three noises and for three markers; drawn once."""
    arcs_deg = np.array(ARCS_DEG)
    lines = {f"one, {noise:g} mm": typical_miss_cm(puppet, arcs_deg, noise) for noise in NOISES_MM}
    lines["three, 3 mm"] = typical_miss_cm(puppet, arcs_deg, 3, THREE)
    return plots.curves(
        arcs_deg,
        lines,
        "arc (degrees)",
        "typical miss (cm)",
        log_y=True,
        ylim=(0.05, 100),
        width=430,
        height=400,
        title="What to expect of a take",
        desc=(
            "Typical miss of the centre against the arc, for one marker with 10, 3 and 1"
            " millimetres of noise and for three markers with 3. Twice the arc makes the miss about"
            " four times smaller; small arcs miss by decimetres."
        ),
    )


# What can be taken


def _joint(ahead_cm, above_cm, **_):
    return np.array([0.0, above_cm, ahead_cm]) / 100


def _skin(ahead_cm, above_cm, bend_deg, below_cm):
    """The place down the shin, where the joint brings it."""
    return turned(_patch(below_cm), _joint(ahead_cm, above_cm), np.radians(bend_deg))


def _calf(ahead_cm, above_cm, bend_deg, **_):
    """The end of the calf, where the joint brings it."""
    return turned([0.0, *CALF[::-1]], _joint(ahead_cm, above_cm), np.radians(bend_deg))


def _pin(ahead_cm, above_cm, bend_deg, **_):
    """The pin, where the joint brings it; None where nothing is drawn there."""
    gone = turned(np.zeros(3), _joint(ahead_cm, above_cm), np.radians(bend_deg))
    return gone if 100 * np.linalg.norm(gone) >= SHOWN else None


def _asis(out, width_cm, **_):
    return np.array([out * width_cm / 200, 0.0])


def _swung(points, out_deg):
    """Points of the left leg from the front, (..., 2), where its hip brings them by each angle."""
    turn = rotation.matrix_about("z", np.radians(out_deg))[..., :2, :2]
    hip = hip_place()
    return hip + (turn @ (np.asarray(points) - hip)[..., None])[..., 0]


def _last_dot(puppet, arc_deg, noise_mm, markers, take):
    return recording(puppet, arc_deg, noise_mm, np.random.default_rng(take), markers)[-1, 0]


def _patch(below_cm):
    """The place down the shin while the knee is straight."""
    return np.array([0.0, -below_cm / 100, np.interp(below_cm / 100, *SHIN)])


# One view each


def _knee(ahead_cm, above_cm, bend_deg, below_cm, title):
    """The leg about its knee, bent about a joint off the pin.

    Returned with it: by what its shank is shifted, shape (3,); nothing is measured where
    `below_cm` is None.
    """
    joint = _joint(ahead_cm, above_cm)
    angle = np.radians(bend_deg)
    pin = np.zeros(3)
    stage = half_stage(title, (-0.34, -0.20), (0.26, 0.23))
    stage.skin(_thigh(), "soft").ghost(_closed(turned(_shank(), pin, angle)))
    stage.skin(turned(_shank(), joint, angle), "forward").goal(pin, "pin", place="left")
    off_the_pin = np.linalg.norm(joint) > 0.008
    stage.chain([joint], "forward", names=["joint"] if off_the_pin else [])
    if below_cm is None:
        return stage, np.zeros(3)
    patch = _patch(below_cm)
    belongs, now = turned(patch, pin, angle), turned(patch, joint, angle)
    slid = now - belongs
    length_cm = 100 * np.linalg.norm(slid)
    stage.dots(belongs, "goal").dots(now, "miss")
    return measure_or_zero(stage, belongs, now, length_cm), slid


def _triangle(ahead_cm, above_cm, bend_deg):
    """Reason for the slide: the shank's pin swings about the joint, its chord is the slide."""
    joint, angle = _joint(ahead_cm, above_cm), np.radians(bend_deg)
    pin = np.zeros(3)
    gone = turned(pin, joint, angle)
    off, slid = 100 * np.linalg.norm(joint), 100 * np.linalg.norm(gone)
    stage = half_stage("Why: the pin's place swings", (-0.19, -0.1362), (0.19, 0.1362))
    stage.goal(pin, "pin")
    if off > 0.8:
        stage.path(turned(pin, joint, np.linspace(0, angle, 25)), "soft").path(
            [pin, joint, gone], "plain"
        )
        stage.note(joint / 2, f"{off:.1f} cm", "plain").arc(joint, pin, gone, f"{bend_deg:.0f}°")
    if slid >= SHOWN:
        stage.measure(pin, gone, f"{slid:.1f} cm").dots(gone, "miss")
    return stage.chain([joint], "forward", names=["joint"])


def _thigh():
    """The lower part of the thigh from the side, round about the pin; shape (n, 3)."""
    return _outline([(-0.070, 0.14), (-0.078, 0.27), (0.082, 0.27), (0.070, 0.14)], -1)


def _shank():
    """The upper part of the shank from the side, hanging, round about the pin; shape (n, 3)."""
    return _outline([(-0.062, -0.09), CALF, (SHIN[1][2], -0.18), (SHIN[1][1], -0.09)], 1)


def _outline(rest, up):
    """Half a circle about the pin from front to back, then the `rest` as (forward, up).

    Its top is `up` or down.
    """
    ways = np.linspace(0, np.pi, 19)
    circle = KNEE_DEPTH / 2 * np.stack([np.cos(ways), up * np.sin(ways)], axis=-1)
    points = np.concatenate([circle, rest])
    return np.column_stack([np.zeros(len(points)), points[:, 1], points[:, 0]])


def _hip_stage(puppet, out_deg):
    """The pelvis and the left thigh from the front; swung out far, also where it turns."""
    half, hip = PELVIS["width_cm"] / 200, hip_place()
    stage = Stage("front", (-0.45, -0.37), (0.45, 0.09), "From the front", width=640)
    trunk, thigh = _apart(_half_breadth(puppet))
    stage.skin(trunk, "soft").skin(_swung(thigh, out_deg), "forward")
    stage.dots([[half, 0], [-half, 0]], "plain").note([-half, 0], "front point", "plain")
    studs = _swung(STUDS, out_deg)
    if out_deg:
        ways = np.linspace(0, out_deg, 25)
        for stud in STUDS:
            stage.path(_swung(stud, ways), "soft")
    if out_deg >= SHOWS_DEG:
        below, inward = _from_asis()
        for stud in studs:
            stage.path([hip, stud], "soft")
        stage.goal(hip, "turns here", place="left")
        corner = [half, hip[1]]
        stage.measure([half, 0], corner, f"{below:.1f} cm", "plain", offset=-20)
        stage.measure(hip, corner, f"{inward:.1f} cm", "plain", place="below")
    return stage.dots(studs, "plain").note(studs[1], "stud")


def _from_asis():
    """Tell how far the hip is below its ASIS, and nearer the middle [cm]."""
    out, up = 100 * hip_place()
    return -up, PELVIS["width_cm"] / 2 - out


def _half_breadth(puppet):
    """Half of the pelvis' outside breadth."""
    breadth = body.segment_lengths(puppet.stature).pelvis_breadth
    assert breadth is not None  # the default table has it
    return float(breadth) / 2


def _apart(half):
    """The body about the hips from the front without its left thigh, and the thigh, each (n, 2)."""
    body_line, groin = _trunk(half), np.array([0.05 * half, -0.24])
    hip_line = body_line[2]  # the groin's fold runs up to here
    right = body_line[len(body_line) // 2 :]
    under = [[0.95 * half, -0.16], [0.5 * half, -0.27]]  # the thigh's skin, which stays closed
    trunk = np.concatenate([body_line[:3], under, [groin], right])
    thigh = [hip_line, [half, -0.16], [0.9 * half, -0.355], [0.25 * half, -0.355], groin]
    return trunk, np.array(thigh)


def _closed(points):
    return np.concatenate([points, points[:1]])


def _pelvis(puppet, width_cm, places):
    """The pelvis from the front: three widths that are easily mixed up."""
    half, broad = width_cm / 200, _half_breadth(puppet)
    centre = places[:, :2].mean(axis=0)
    stage = half_stage("Three widths of one pelvis", (-0.27, -0.27), (0.27, 0.129), view="front")
    stage.skin(_trunk(broad), "soft").dots([[half, 0], [-half, 0]], "plain")
    stage.dots(places[:, :2], "inverse").dots(places[:, :2] * [-1, 1], "inverse")
    stage.measure([-half, 0], [half, 0], f"ASISs {width_cm:.1f} cm", "plain", offset=22)
    stage.measure(
        centre * [-1, 1], centre, f"hips {200 * centre[0]:.1f} cm", "inverse", place="below"
    )
    return stage.measure(
        [-broad, -0.2], [broad, -0.2], f"outside {200 * broad:.1f} cm", "plain", place="below"
    )


def _close_up(lefts):
    """The left hip from the front, each rule's place with its name, and the box around all."""
    low, high = (0.027, -0.1355), (0.135, -0.0555)
    stage = half_stage("The left hip, close: one box", low, high, view="front")
    places = np.stack(list(lefts.values()))[:, :2]
    low, high = places.min(axis=0), places.max(axis=0)
    for way in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        corner = np.where(np.array(way) > 0, low, high)
        arm = 0.2 * (high - low) * way  # corners only: names may stand across the edges
        stage.path([corner + arm * [1, 0], corner, corner + arm * [0, 1]], "plain")
    stage.dots(places, "inverse")
    for name in sorted(lefts, key=len, reverse=True):  # long names choose their place first
        stage.note(lefts[name][:2], name, "inverse")
    wide, tall = 1000 * (high - low)
    stage.measure(low, [high[0], low[1]], f"{wide:.0f} mm", "plain", offset=-34, place="below")
    return stage.measure(
        low, [low[0], high[1]], f"{tall:.0f} mm", "plain", offset=-34, place="left"
    )


def _trunk(half):
    """The body about the hips from the front; shape (n, 2)."""
    across = half * np.array([0.8, 0.86, 0.97, 1, 1, 0.08, 0.05])
    right = np.stack([across, [0.129, 0.03, -0.09, -0.16, -0.30, -0.30, -0.25]], axis=-1)
    return np.concatenate([right, right[::-1] * [-1, 1]])


def _arc(puppet, seen, fit, miss_cm):
    """The dots of a recording, the circles fitted to them, the centre found and the true one."""
    stage = half_stage("What the camera saw, and the fit", (-0.48, -0.44), (0.32, 0.24))
    stage.ghost(np.array([[0, 0.23, 0], [0, 0, 0], [0, -puppet.shank, 0.0]]))
    for marker, radius in zip(np.moveaxis(seen, -2, 0), fit.radii, strict=True):
        stage.path(_fitted(marker[:, 1:], fit.point[1:], radius), "inverse").dots(marker)
        if miss_cm < 60:
            stage.path([marker[0], fit.point, marker[-1]], "soft")
    stage.goal([0, 0], "pin")
    if miss_cm > 60:
        return stage.note([-0.08, 0.20], "centre: off the picture", "miss")
    stage.dots(fit.point, "inverse")
    if miss_cm > 2.5:
        return stage.measure([0, 0, 0], fit.point, f"{miss_cm:.1f} cm").note(
            fit.point, "found", "inverse"
        )
    return stage.note([0, 0], f"found, miss {miss_cm:.1f} cm", "miss", place="left")


def _fitted(seen, centre, radius):
    """The part of a fitted circle that runs along the dots, as (forward, up)."""
    seen, centre = seen[:, ::-1], centre[::-1]
    if radius > 5:  # as good as a line
        return seen[[0, -1]]
    away = seen - centre
    ways = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
    ways = np.linspace(ways.min() - 0.05, ways.max() + 0.05, 40)
    return centre + radius * np.stack([np.cos(ways), np.sin(ways)], axis=-1)


def _directions(up, forward):
    """A shift's parts in words; nothing where it is nothing."""
    parts = [directed(up, "up", "down", ""), directed(forward, "forward", "backward", "")]
    return ": " + " and ".join(filter(None, parts)) if any(parts) else ""


def _range(low, high):
    return f"{100 * low:.1f} to {100 * high:.1f} cm"


def _centimetres(value):
    return f"{value:.1f} cm" if value < 100 else "more than a metre"
