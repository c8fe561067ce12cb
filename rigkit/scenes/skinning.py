"""Lesson 09's pictures: a knee in two blends, a wrung stocking, a blend's reach, a late joint.

A leg is the right one, of two bones, seen from the character's right; z ahead and y up in the
picture, in metres.
"""

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from rigkit import _format, mesh, plots, rotation, skin
from rigkit import frames as fr
from rigkit._types import Floats
from rigkit.asking import Check, Guess, Number
from rigkit.leg import LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.staging import half_stage, measure_or_zero, with_rest
from rigkit.scenes.words import SHOWN, capital, percent, signed
from rigkit.skeleton import Skeleton
from rigkit.stage import Row, Stage, row

BLENDS = {"linear blend": skin.linear_blend, "dual quaternion": skin.dual_quaternion_blend}
LINEAR, DUAL = BLENDS
LEG = ("R_hip", "R_knee", "R_ankle")
VERTICES = 2000
SOFTNESS = 2.0  # knee radii that a blend reaches to either side
BONES = 0.16  # of the leg's length: how much of each bone a picture of the knee shows
BOUND = ("before the move", "anew, weights kept", "anew, weights too")

# The stocking: a tube about a stilt, and how far its joints stand below each other.
RADIUS, LENGTH, GAP = 0.05, 0.46, 0.1
AROUND, ALONG, STRIPES = 32, 46, 8


# A leg's skin


@cache
def dressed(puppet: Puppet, softness: float = SOFTNESS) -> tuple[Skeleton, mesh.Mesh, Floats]:
    """A puppet's skeleton at rest, the right half of its skin and the weights: what is bound."""
    rig = LegRig.from_puppet(puppet)
    surface, weights = skin.rig_skin(rig, puppet, VERTICES, softness)
    used, triangles = np.unique(surface.side("R_"), return_inverse=True)
    return rig.skeleton, mesh.Mesh(surface.vertices[used], triangles.reshape(-1, 3)), weights[used]


def turned(skeleton: Skeleton, bend_deg: float, hip_deg: float = 0.0) -> Floats:
    """The skeleton's world frames, its right hip and knee flexed."""
    return skeleton.pose(
        {
            "R_hip": rotation.matrix_about("x", -np.radians(hip_deg)),
            "R_knee": rotation.matrix_about("x", np.radians(bend_deg)),
        }
    )


@dataclass(frozen=True)
class KneeSkin:
    """A bent knee's skin, and what the bend did to it.

    Attributes
    ----------
    vertices : ndarray, shape (v, 3)
    bones : ndarray, shape (3, 3)
        Hip, knee and ankle.
    section : ndarray, shape (2, 3)
        Front and back of the cross-section that went through the knee at rest.
    section_ratio : float
        Its area, as a share of what it was.
    volume_ratio : float
        The volume of the right half of the skin, as a share of what it was.
    change_cm3 : float
        How much volume it has gained; below zero, lost.
    stretch : float
        The length of the most stretched edge, as a share of its length at rest.
    stretched : ndarray, shape (2, 3)
        Its ends.
    bulge_cm : float
        How far the front of the thigh stands out before where it was at rest.
    """

    vertices: np.ndarray
    bones: np.ndarray
    section: np.ndarray
    section_ratio: float
    volume_ratio: float
    change_cm3: float
    stretch: float
    stretched: np.ndarray
    bulge_cm: float

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.count(len(self.vertices), "vertex", "vertices"),
            f"keeps {_format.share(self.volume_ratio)} of its volume",
            f"and {_format.share(self.section_ratio)} of its section at the knee",
            f"an edge stretched {_format.amount(self.stretch, '-fold', 2)}",
            f"bulge {_format.amount(self.bulge_cm, ' cm', 1)}",
        )


def knee(
    puppet: Puppet,
    bend_deg: float,
    blend: str = LINEAR,
    softness: float = SOFTNESS,
    hip_deg: float = 0.0,
) -> KneeSkin:
    """The skin of a puppet's right knee bent by `bend_deg` degrees, and what is left of it.

    It is a `KneeSkin`.
    """
    skeleton, surface, weights = dressed(puppet, softness)
    world = turned(skeleton, bend_deg, hip_deg)
    rest, triangles = surface.vertices, surface.triangles
    cut, ends, volume = _at_rest(puppet)
    posed = BLENDS[blend](rest, weights, skin.joint_matrices(world, skeleton.rest_world))
    now, shares = mesh.volume(posed, triangles), mesh.stretch(rest, posed, triangles)
    triangle, edge = np.unravel_index(shares.argmax(), shares.shape)
    hip = skeleton.index("R_hip")
    before, after = (
        fr.apply(fr.invert(frames[hip]), vertices)
        for frames, vertices in ((skeleton.rest_world, rest), (world, posed))
    )
    return KneeSkin(
        posed,
        skeleton.origins(world, LEG),
        mesh.carried_section(rest, posed, *cut)[ends, 0],
        float(mesh.section_ratio(rest, posed, *cut)),
        float(now / volume),
        float(1e6 * (now - volume)),
        float(shares.max()),
        posed[np.roll(triangles[triangle], -edge)[:2]],
        _bulge_cm(before, after, puppet.thigh),
    )


@cache
def _at_rest(puppet):
    """The cut through the knee, the pieces of its outline at front and back, the volume [m³]."""
    skeleton, surface, _ = dressed(puppet)
    cut = surface.triangles, skeleton.origins(skeleton.rest_world, LEG)[1], (0.0, 1.0, 0.0)
    ahead = mesh.carried_section(surface.vertices, surface.vertices, *cut)[:, 0, 2]
    return cut, [ahead.argmax(), ahead.argmin()], mesh.volume(surface.vertices, surface.triangles)


def _bulge_cm(rest, posed, thigh):
    """Bulge of the front of the thigh's lower half ahead of where it was, cm.

    It is seen from the hip's own frame.
    """
    front = (
        (np.abs(rest[:, 0]) < 0.005)
        & (rest[:, 2] > 0)
        & (np.abs(rest[:, 1] + 0.75 * thigh) < 0.25 * thigh)
    )
    front = np.flatnonzero(front)[rest[front, 1].argsort()]
    line = np.interp(posed[front, 1], rest[front, 1], rest[front, 2])
    above = posed[front, 1] > -thigh
    return float(100 * max(np.max(posed[front, 2] - line, where=above, initial=0.0), 0.0))


# The opening, and a knee in two blends


def opening(puppet: Puppet) -> Row:
    """A leg at rest: its bones, and the skin around them with the knee's depth."""
    skinned, tall = knee(puppet, 0.0), puppet.hip_height
    corners = (-0.75, -0.02), (0.75, 1.1)
    bare = half_stage("The bones", *corners, tall, legend=("forward",)).floor()
    clad = half_stage("Their skin", *corners, tall).floor()
    bare.chain(skinned.bones, names=("hip", "knee", "ankle"))
    clad.surface(skinned.vertices, dressed(puppet)[1].triangles, "plain")
    clad.chain(skinned.bones)
    front, back = skinned.section
    depth = f"{_depth_cm(skinned):.1f} cm"
    clad.measure(front, back, depth, "plain", place="right")
    return row(
        bare,
        clad,
        title=(
            "A straight leg from the side: left its bones from hip to ankle, right the skin around"
            f" them. At the knee the skin is {depth} deep from front to back"
        ),
    )


def both_ways(puppet: Puppet, bend_deg: float = 120.0) -> Row:
    """A whole leg in a deep bend, its skin moved in two ways."""
    views, kept = [], []
    tall = puppet.hip_height
    for blend in BLENDS:
        skinned = knee(puppet, bend_deg, blend, hip_deg=20.0)
        kept.append(percent(skinned.section_ratio))
        corners = (-0.58, 0.24), (0.42, 1.2)
        title = _kept_title(blend, skinned)
        stage = half_stage(title, *corners, tall, legend=("forward",))
        stage.chain(skinned.bones)
        stage.surface(skinned.vertices, dressed(puppet)[1].triangles, "plain")
        views.append(_measure_knee(stage, skinned))
    return row(
        *views,
        title=(
            f"A leg whose knee is bent by {bend_deg:.0f} degrees, its skin moved in two ways: by "
            f"linear blend the knee keeps {kept[0]} of its depth, by dual quaternions {kept[1]}"
        ),
    )


def bend(puppet: Puppet, bend_deg: float) -> tuple[Row, str]:
    """A bent knee in both blends, and what is left of it in words."""
    views, words = [], [f"Knee bent {bend_deg:.0f}°."]
    for blend in BLENDS:
        skinned = knee(puppet, bend_deg, blend)
        views.append(
            _measure_knee(_draw_knee(puppet, skinned, _kept_title(blend, skinned)), skinned)
        )
        words.append(
            f"{capital(blend)}: section <b>{percent(skinned.section_ratio)}</b> kept, volume"
            f" <b>{signed(skinned.change_cm3, unit=' cm³')}</b>, thigh bulges by"
            f" <b>{skinned.bulge_cm:.1f} cm</b>."
        )
    return row(*views), " ".join(words)


def bend_panel(puppet: Puppet) -> Panel:
    """One knee to bend, its skin moved in two ways."""
    return Panel(
        "Bend the knee: what is left of its depth?",
        [Slider("bend_deg", "Knee bent", 0.0, 150.0, 1.0, 0.0, "°")],
        partial(bend, puppet),
        {
            "At rest": {"bend_deg": 0.0},
            "Swinging forward": {"bend_deg": 60.0},
            "Seated": {"bend_deg": 90.0},
            "Squatting": {"bend_deg": 120.0},
            "Heel to seat": {"bend_deg": 150.0},
        },
        grips=[Grip("Shank", partial(_shank_at, puppet), ("bend_deg",))],
    )


def bend_guess(puppet: Puppet) -> Panel:
    """The knee to bend, after a guess at how deep it still is."""
    return bend_panel(puppet).after(
        Guess(
            "09/depth",
            (
                f"The knee is {_depth_cm(knee(puppet, 0.0)):.1f} cm deep. It bends by 90°. How deep"
                " is it then, by linear blend?"
            ),
            Number("cm", 0, 20, 0.5),
            partial(_seated, puppet),
            then="Pull the shank back, or press <em>Seated</em>.",
        )
    )


def _seated(puppet, bend_deg):
    """The guess's outcome: tells at a right angle."""
    if bend_deg != 90:
        return None
    linear, dual = (_depth_cm(knee(puppet, bend_deg, blend)) for blend in BLENDS)
    return linear, (
        f"By linear blend <b>{linear:.1f} cm</b> are left, by dual quaternions {dual:.1f} cm."
    )


def depth_check(puppet: Puppet, bend_deg: float = 100.0) -> Panel:
    """The depth left of another knee, bent by another angle."""
    deep, half = round(_depth_cm(knee(puppet, 0.0)), 1), np.radians(bend_deg) / 2
    return quick_check(
        Check(
            "09/half",
            (
                f"{puppet.name}'s knee is {deep:.1f} cm deep at rest, its skin is shared evenly. It"
                f" bends by {bend_deg:.0f}°. How deep is it by linear blend?"
            ),
            Number("cm", 0, 20, 0.15),
            deep * float(skin.blend_radius(0.5, np.radians(bend_deg))),
            f"{deep:.1f} cm × cos {bend_deg / 2:.0f}°.",
            {
                deep * np.sin(half): "Sine for cosine: an unbent knee would have no depth at all.",
                deep * abs(np.cos(2 * half)): (
                    "The cosine is of <em>half</em> the angle: halfway between thigh and shank."
                ),
                deep * (1 - bend_deg / 180): (
                    "That would be an even loss from 0° to 180°. What is left is a cosine, which"
                    " falls slowly at first."
                ),
                deep * abs(np.cos(bend_deg / 2)): "The cosine was taken of radians.",
                deep: "So it would be along the arc. Linear blend takes the straight line.",
            },
            "Half the angle, its cosine, times the depth at rest.",
        )
    )


def _depth_cm(skinned):
    """Tell how deep a knee is from front to back, cm."""
    return 100 * float(np.linalg.norm(skinned.section[0] - skinned.section[1]))


# Why: halfway between two places


def chord(puppet: Puppet, bend_deg: float) -> Stage:
    """The kneecap's skin carried by the thigh, by the shank, and halfway.

    Halfway is between the two, and along the arc.
    """
    skeleton, _, _ = dressed(puppet)
    skinned = knee(puppet, 0.0)
    centre = skeleton.origins(skeleton.rest_world, LEG)[1]
    depth = float(np.linalg.norm(skinned.section[0] - centre))
    ways = np.array([_about(way) for way in np.radians([0.0, bend_deg / 2, bend_deg])])
    thigh, arc, shank = depth * ways
    linear = (thigh + shank) / 2
    around = depth * np.array(
        [_about(way) for way in np.radians(np.linspace(-20, bend_deg + 20, 41))]
    )
    title = "Halfway is on the straight line"
    stage = half_stage(title, (-0.55, -1.35), (1.8, 0.45), depth)
    stage.path(around, "soft").ghost([thigh, shank]).path([[0, 0], shank], "soft")
    stage.dots([[0, 0], thigh, shank]).note([0, 0], "axis", place="left")
    stage.measure([0, 0], thigh, f"{100 * depth:.1f} cm", "plain", place="above")
    stage.note(thigh, "with the thigh", place="right").note(shank, "with the shank", place="below")
    stage.dots([linear], "miss").dots([arc], "goal").note(arc, "dual quaternion", "goal", "right")
    stage.measure([0, 0], linear, f"{100 * np.linalg.norm(linear):.1f} cm")
    stage.desc = (
        f"The skin of the kneecap, {100 * depth:.1f} centimetres before the knee's axis, carried by"
        f" the thigh and, {bend_deg:.0f} degrees further, by the shank. Halfway on the straight"
        f" line between the two it is only {100 * np.linalg.norm(linear):.1f} centimetres from the"
        " axis; dual quaternions take it halfway along the arc."
    )
    return stage


def _about(angle):
    """A direction in the side view that was ahead at rest, turned backward.

    A bending knee turns the shank in the same way.
    """
    return np.array([np.cos(angle), -np.sin(angle)])


def kept_plot() -> plots.Plot:
    """Part of its distance from the axis the skin keeps, against the turn, for three shares."""
    angles_deg = np.linspace(0, 180, 91)
    lines = {
        name: 100 * skin.blend_radius(share, np.radians(angles_deg))
        for name, share in (
            ("shared 90 : 10", 0.1),
            ("shared 75 : 25", 0.25),
            ("shared 50 : 50", 0.5),
        )
    }
    lines["dual quaternion, any share"] = np.full(91, 100.0)
    return plots.curves(
        angles_deg,
        lines,
        "turn of the joint (degrees)",
        "distance from the axis kept (%)",
        title="Shared evenly, half a turn leaves nothing",
        ylim=(0, 105),
        desc=(
            "Distance from the axis that a linear blend keeps, against the turn. Shared evenly: 71 "
            "per cent at 90 degrees, none at 180. Shared 90 to 10, it keeps 80 per cent at 180 "
            "degrees. Dual quaternions keep all of it."
        ),
    )


# A stocking to wring


@cache
def stocking(joints: int = 1) -> tuple[mesh.Mesh, Floats, Floats]:
    """A tube, its weights, and its joints' heights.

    The weights are for one joint above and `joints` below each other.
    """
    heights = GAP * ((joints - 1) / 2 - np.arange(joints, dtype=float))
    ends = np.concatenate([[LENGTH / 2], heights, [-LENGTH / 2]])
    points = ends[:, None] * [0.0, 1.0, 0.0]
    bones = {f"part {i}": [points[i : i + 2]] for i in range(joints + 1)}
    limb = mesh.tube(RADIUS, LENGTH, AROUND, ALONG)
    return limb, skin.weights_by_distance(limb.vertices, bones, softness=1.0), heights


def wrung(twist_deg: float, joints: int = 1, blend: str = LINEAR) -> tuple[Floats, Floats]:
    """The stocking's vertices when its joints share a twist, and the width kept at each ring.

    The twist is shared evenly; the widths have shape (r,).
    """
    limb, weights, _ = stocking(joints)
    turns = rotation.matrix_about("y", np.radians(twist_deg) * np.arange(joints + 1) / joints)
    posed = BLENDS[blend](limb.vertices, weights, fr.frame(turns))
    rings = posed[: AROUND * (ALONG + 1)].reshape(-1, AROUND, 3)
    return posed, np.hypot(rings[:, 0, 0], rings[:, 0, 2]) / RADIUS


def twist(twist_deg: float, joints: int) -> tuple[Row, str]:
    """A stocking wrung in both blends, and how thin it gets in words."""
    views, words = [], []
    limb, _, heights = stocking(joints)
    rows = np.arange(AROUND * (ALONG + 1)).reshape(-1, AROUND)
    lines = rows[:, :: AROUND // STRIPES].T
    for blend in BLENDS:
        posed, kept = wrung(twist_deg, joints, blend)
        thinnest = int(kept.argmin())
        title = f"{capital(blend)}: {percent(kept[thinnest])} of its width left"
        stage = half_stage(title, (-0.27, -0.24), (0.27, 0.24), view="front")
        stage.surface(posed, limb.triangles, "plain", lines)
        stage.dots(heights[:, None] * [0.0, 1.0, 0.0], "goal")
        width, height = RADIUS * kept[thinnest], float(limb.vertices[rows[thinnest, 0], 1])
        ends, kind = ([-width, height], [width, height]), _good(kept[thinnest], 0.995)
        views.append(stage.measure(*ends, f"{200 * width:.1f} cm", kind, place="right"))
        words.append(
            f"{capital(blend)}: <b>{200 * width:.1f} of {200 * RADIUS:.0f} cm</b> where it is"
            " thinnest."
        )
    each = twist_deg / joints
    far = (
        ""
        if each <= 180
        else f" More than half a turn to a joint: dual quaternions go back by {360 - each:.0f}°."
    )
    said = "One joint turns" if joints == 1 else f"Each of {joints} joints turns"
    return row(*views), f"{said} by {each:.0f}°. {' '.join(words)}{far}"


def twist_panel() -> Panel:
    """A striped stocking to wring, by one joint or by several."""
    return Panel(
        "Wring the stocking: how thin does it get?",
        [
            Slider("twist_deg", "Lower end twisted", 0.0, 270.0, 1.0, 0.0, "°"),
            Slider("joints", "Joints that share it", 1, 4, 1, 1),
        ],
        twist,
        {
            "A quarter turn": (90, 1),
            "Half a turn": (180, 1),
            "Half a turn, three joints": (180, 3),
            "Past half a turn": (200, 1),
        },
    )


WIDTHS = ("10 cm, as before", "about 7 cm", "5 cm, half", "nothing")


def twist_guess() -> Panel:
    """The stocking to wring, after a guess at how wide it is after half a turn."""
    return twist_panel().after(
        Guess(
            "09/wrung",
            (
                "The stocking is 10 cm wide, and in its middle both ends share it evenly. One joint"
                " turns its lower end by half a turn. How wide is it in the middle, by linear"
                " blend?"
            ),
            WIDTHS,
            _wrung_width,
            then="Turn it by 180°, or press <em>Half a turn</em>.",
        )
    )


def _wrung_width(twist_deg, joints):
    """The guess's outcome: tells after half a turn by one joint."""
    if (twist_deg, joints) != (180, 1):
        return None
    kept = float(wrung(twist_deg, joints)[1].min())
    nearest = int(np.abs(kept - np.array([1.0, 0.7, 0.5, 0.0])).argmin())
    quarter = float(wrung(90, joints)[1].min())
    return WIDTHS[nearest], (
        f"<b>{200 * RADIUS * kept:.1f} cm</b> are left. After a quarter turn it was"
        f" {200 * RADIUS * quarter:.1f} cm."
    )


# How far the blend reaches


def reach(puppet: Puppet, softness: float, bend_deg: float, blend: str) -> tuple[Row, str]:
    """The shank's weight along the front of a knee, and what a bend does with it."""
    skinned, rest = knee(puppet, bend_deg, blend, softness), knee(puppet, 0.0)
    skeleton, _, _ = dressed(puppet)
    size = puppet.leg_length
    heights = np.linspace(-0.23, 0.23, 121) * size
    line = rest.section[0] + heights[:, None] * [0.0, 1.0, 0.0]
    bones = skin.bones_of(skeleton)
    share = skin.weights_by_distance(line, {name: bones[name] for name in LEG[:2]}, softness)[:, 1]
    stage = _draw_knee(puppet, rest, "The shank's weight, from 0 to 1")
    zero, one = rest.section[0][2] + np.array([0.05, 0.15]) * size
    for at in (zero, one):
        stage.path([[at, line[0, 1]], [at, line[-1, 1]]], "soft")
    stage.path(np.stack([zero + (one - zero) * share, line[:, 1]], axis=-1), "inverse")
    shared = line[(share > 0) & (share < 1), 1]
    behind = rest.section[1][2] - 0.05 * size
    ends = [behind, shared[0]], [behind, shared[-1]]
    stage.measure(*ends, f"{100 * np.ptp(shared):.0f} cm", "plain", place="left")
    gained = signed(skinned.change_cm3, unit=" cm³")
    bent = _draw_knee(puppet, skinned, f"Bent by {bend_deg:.0f}°: {gained}")
    bent.measure(*skinned.stretched, f"{skinned.stretch:.1f} ×")
    words = (
        f"The blend reaches {softness:.2f} knee radii up and down. {capital(blend)}, bent by"
        f" {bend_deg:.0f}°: section <b>{percent(skinned.section_ratio)}</b> kept, volume"
        f" <b>{gained}</b>, skin stretched to at most"
        f" <b>{skinned.stretch:.1f} times</b> its length."
    )
    return row(stage, bent), words


def reach_panel(puppet: Puppet) -> Panel:
    """The reach of a knee's blend to choose, and what a bend does with it."""
    return Panel(
        "Choose how far the blend reaches: what does each choice cost?",
        [
            Slider("softness", "Blend reaches (radii)", 0.25, 3.0, 0.25, 2.0),
            Slider("bend_deg", "Knee bent", 0.0, 150.0, 1.0, 90.0, "°"),
            Choice("blend", "Skin moved by", tuple(BLENDS), LINEAR),
        ],
        partial(reach, puppet),
        {
            "Nearly a hinge": (0.25, 90, LINEAR),
            "One radius": (1, 90, LINEAR),
            "Two radii": (2, 90, LINEAR),
            "A rubber tube": (3, 90, LINEAR),
            "Rubber, dual quaternion": (3, 90, DUAL),
        },
        grips=[
            Grip("End of the blend", partial(_blend_end, puppet), ("softness",), (0,)),
            Grip(
                "Shank",
                lambda softness, bend_deg, blend: _shank_at(puppet, bend_deg),
                ("bend_deg",),
                (1,),
            ),
        ],
    )


DEPTHS = ("more of it", "less of it", "the same")


def reach_guess(puppet: Puppet) -> Panel:
    """The blend's reach to choose, after a guess at what it does to the knee's section."""
    return reach_panel(puppet).after(
        Guess(
            "09/reach",
            (
                "The blend reaches two knee radii up and down. It is made softer, and reaches"
                " three. How much of the knee's section does linear blend keep then?"
            ),
            DEPTHS,
            partial(_softer, puppet),
            then="Pull the end of the blend up, or press <em>A rubber tube</em>.",
        )
    )


def _softer(puppet, softness, bend_deg, blend):
    """The guess's outcome: tells with a softer blend in a knee bent by a right angle."""
    if softness < 2.5 or bend_deg != 90 or blend != LINEAR:
        return None
    before, now = (knee(puppet, bend_deg, softness=each) for each in (SOFTNESS, softness))
    more = now.section_ratio - before.section_ratio
    return DEPTHS[2 if abs(more) < 0.01 else 0 if more > 0 else 1], (
        f"It keeps <b>{percent(now.section_ratio)}</b>; with two radii it kept"
        f" {percent(before.section_ratio)}. But the volume lost went from"
        f" {-before.change_cm3:.0f} to <b>{-now.change_cm3:.0f} cm³</b>."
    )


def _blend_end(puppet, softness, bend_deg, blend):
    """The upper end of the height that thigh and shank share, where a picture measures it.

    A blend ends as far along the thigh as `softness` times the distance from it.
    """
    front, back = _rest_section(puppet)
    hip, centre, _ = _rest_bones(puppet)[:, [2, 1]]
    along = (hip - centre) / np.linalg.norm(hip - centre)
    aside = along[::-1] * [1, -1]
    row_of = along - softness * aside  # times a point of the end, from the knee, it is zero
    up = -row_of[0] * (front[2] - centre[0]) / row_of[1]
    return back[2] - 0.05 * puppet.leg_length, centre[1] + up


# A joint moved after binding


@cache
def moved(puppet: Puppet, ahead_cm: float, up_cm: float) -> Skeleton:
    """The puppet's skeleton with its right knee joint moved, all other joints left in place."""
    skeleton, _, _ = dressed(puppet)
    shift = fr.frame(origin=np.array([0.0, up_cm, ahead_cm]) / 100)
    return with_rest(skeleton, {"R_knee": shift @ skeleton.rest_world[skeleton.index("R_knee")]})


def late(
    puppet: Puppet, ahead_cm: float, up_cm: float, bend_deg: float, bound: str = BOUND[0]
) -> tuple[Floats, Floats]:
    """The skin whose knee joint was moved, and as it would be with all made for the new place.

    Both of shape (v, 3). The first is bound as `bound` says.
    """
    skeleton, surface, weights = dressed(puppet)
    now = moved(puppet, ahead_cm, up_cm)
    world = turned(now, bend_deg)
    made = {
        BOUND[0]: (weights, skeleton.rest_world),
        BOUND[1]: (weights, now.rest_world),
        BOUND[2]: (_bound_weights(puppet, ahead_cm, up_cm), now.rest_world),
    }
    actual, meant = (
        skin.linear_blend(surface.vertices, given, skin.joint_matrices(world, rest_world))
        for given, rest_world in (made[bound], made[BOUND[2]])
    )
    return actual, meant


@cache
def _bound_weights(puppet, ahead_cm, up_cm):
    """The weights that fit the moved knee joint."""
    _, surface, _ = dressed(puppet)
    now = moved(puppet, ahead_cm, up_cm)
    chain = now.origins(now.rest_world, LEG) * [-1, 1, 1]
    pelvis, left, right = mesh.inner_bones(puppet, chain)
    bones = skin.bones_of(now, {"pelvis": pelvis, "L_ankle": left, "R_ankle": right})
    return skin.weights_by_distance(surface.vertices, bones, SOFTNESS)


def late_views(
    puppet: Puppet, ahead_cm: float, up_cm: float, bend_deg: float, bound: str
) -> tuple[Row, str]:
    """A knee joint that was moved after binding, at rest and bent.

    Words say by how many cm the skin is off.
    """
    now, views, words = moved(puppet, ahead_cm, up_cm), [], []
    triangles = dressed(puppet)[1].triangles
    near = _shown(puppet)
    for degrees, name in ((0.0, "At rest"), (bend_deg, f"Bent by {bend_deg:.0f}°")):
        actual, meant = late(puppet, ahead_cm, up_cm, degrees, bound)
        off_cm = 100 * np.linalg.norm(actual - meant, axis=-1)
        worst = near[np.round(off_cm[near], 4).argmax()]
        stage = (
            _knee_room(puppet, name)
            .surface(meant, triangles, "goal")
            .surface(actual, triangles, "plain")
        )
        _draw_bones(stage, puppet, now.origins(turned(now, degrees), LEG))
        views.append(measure_or_zero(stage, meant[worst], actual[worst], off_cm[worst]))
        words.append(f"<b>{off_cm[worst]:.1f} cm</b> {name[0].lower()}{name[1:]}")
    said = f"Knee joint moved by {np.hypot(ahead_cm, up_cm):.1f} cm, skin bound {bound}"
    return row(*views), f"{said}: off by up to {', '.join(words)}."


def late_panel(puppet: Puppet) -> Panel:
    """A knee joint to move after its skin was bound."""
    return Panel(
        "Break it: move the knee joint of a leg that is bound",
        [
            Slider("ahead_cm", "Joint moved ahead", -5.0, 5.0, 0.5, 0.0, "cm"),
            Slider("up_cm", "Joint moved up", -5.0, 5.0, 0.5, 0.0, "cm"),
            Slider("bend_deg", "Knee bent", 0.0, 120.0, 1.0, 60.0, "°"),
            Choice("bound", "Skin bound", BOUND, BOUND[0]),
        ],
        partial(late_views, puppet),
        {
            "4 cm ahead": (4, 0, 60, BOUND[0]),
            "4 cm up": (0, 4, 60, BOUND[0]),
            "4 cm up, bound anew": (0, 4, 60, BOUND[1]),
            "4 cm up, weights too": (0, 4, 60, BOUND[2]),
        },
        grips=[
            Grip(
                "Knee joint",
                lambda ahead_cm, up_cm, **_: _moved_knee(puppet, ahead_cm, up_cm),
                ("ahead_cm", "up_cm"),
            ),
            Grip(
                "Shank",
                lambda ahead_cm, up_cm, bend_deg, bound: _shank_at(
                    puppet, bend_deg, _moved_knee(puppet, ahead_cm, up_cm)
                ),
                ("bend_deg",),
                (1,),
            ),
        ],
    )


SKIN_MOVED = ("nothing: all angles read zero", "what goes with the knee", "the whole leg")


def late_guess(puppet: Puppet) -> Panel:
    """The knee joint to move, after a guess at what its skin does at rest."""
    return late_panel(puppet).after(
        Guess(
            "09/late",
            (
                "The skin is bound. Then the knee joint is moved 4 cm ahead. Nothing is posed."
                " Which part of the skin moves at rest?"
            ),
            SKIN_MOVED,
            partial(_skin_moved, puppet),
            then="Pull the knee joint ahead, or press <em>4 cm ahead</em>, and look at the left.",
        )
    )


def _skin_moved(puppet, ahead_cm, up_cm, bend_deg, bound):
    """The guess's outcome: tells with the joint moved after binding."""
    if bound != BOUND[0] or np.hypot(ahead_cm, up_cm) < 2:
        return None
    weights = dressed(puppet)[2]
    actual, meant = late(puppet, ahead_cm, up_cm, 0.0)
    off_cm = 100 * np.linalg.norm(actual - meant, axis=-1)
    skeleton = dressed(puppet)[0]
    thigh, calf = (
        off_cm[weights[:, skeleton.index(joint)] > 0.999].max() for joint in ("R_hip", "R_knee")
    )
    part = 0 if calf < SHOWN else 1 if thigh < SHOWN else 2
    return SKIN_MOVED[part], (
        f"At rest the calf moved by <b>{calf:.1f} cm</b>, the thigh by <b>{thigh:.1f} cm</b>."
    )


def twice_check(puppet: Puppet) -> Panel:
    """The height of a point that is bound without the inverse bind matrix."""
    skeleton = dressed(puppet)[0]
    rest = skeleton.rest_world[[skeleton.index("R_knee")]]
    joint = float(rest[0, 1, 3])
    point = joint + 0.1
    at = [[0.0, point, 0.0]]
    return quick_check(
        Check(
            "09/twice",
            (
                f"{puppet.name}'s knee joint is {joint:.2f} m above the floor, not turned at rest."
                f" A point of the skin at {point:.2f} m goes with it alone. Somebody forgets the"
                " inverse bind matrix. How high is the point at rest?"
            ),
            Number("m", 0, 5, 0.02),
            float(skin.linear_blend(at, [[1.0]], rest)[0, 1]),
            f"{joint:.2f} m + {point:.2f} m: the joint adds its own height to it.",
            {
                2 * point: (
                    f"The joint adds its own height, {joint:.2f} m, not the point's again."
                ),
                point: "There it should be, and is with the inverse.",
                point - joint: (
                    "So high it is as seen from the joint. That is what the inverse makes of it,"
                    " and it was forgotten."
                ),
                joint: "There the joint is. The point is added to it.",
            },
            "Nothing takes the joint's height out of the point's: both heights count.",
        )
    )


def moved_check(share: float = 0.25) -> Panel:
    """Ask how far a point moves whose joint was moved after binding."""
    shift = np.array([0.0, 0.04, 0.03])
    frames = np.stack([np.eye(4), fr.frame(origin=shift)])
    at = [[0.0, 0.5, 0.05]]
    way = skin.linear_blend(at, [[1 - share, share]], frames)[0] - at[0]
    whole = 100 * float(np.linalg.norm(shift))
    return quick_check(
        Check(
            "09/moved",
            (
                "After binding, the knee joint is moved 3 cm ahead and 4 cm up. A point of the skin"
                f" goes with the knee by {percent(share)} and with the thigh for the rest. How many"
                " centimetres does it move at rest?"
            ),
            Number("cm", 0, 20, 0.1),
            100 * float(np.linalg.norm(way)),
            f"The joint moved by {whole:.0f} cm, and the point takes {percent(share)} of it.",
            {
                whole: "So far the joint moved. The point takes only its share of that.",
                7.0 * share: (
                    "3 and 4 cm at a right angle make 5 cm, not 7: the way is the hypotenuse."
                ),
                (1 - share) * whole: "That is the thigh's share, and the thigh did not move.",
                0.0: "No angle changed, but the joint's frame did, and its inverse did not.",
            },
            "First the joint's way, by Pythagoras; then the point's share of it.",
        )
    )


def lag_check() -> Panel:
    """Ask how far a point lags whose weights do not add to one."""
    kept, far = np.array([[0.5, 0.3, 0.15]]), 8.0
    along = np.tile(fr.frame(origin=[0.0, 0.0, far]), (3, 1, 1))
    z = float(skin.linear_blend([[0.0, 0.0, 0.0]], kept, along)[0, 2])
    share = float(kept.sum())
    return quick_check(
        Check(
            "09/lag",
            (
                f"A point's weights are 0.5, 0.3 and 0.15. All three joints walk {far:.0f} m along"
                " the quay. By how many centimetres does the point lag behind them?"
            ),
            Number("cm", -1000, 1000, 1.0),
            100 * (far - z),
            f"The weights add to {share:.2f}; the missing {1 - share:.2f} of {far:.0f} m stay.",
            {
                0.0: "It would keep up if the weights added to one.",
                100 * z: "So far it came. Asked is what is missing.",
                100 * (1 - share): "That is the lag for each metre.",
            },
            "Add the weights. What is missing to one stays at the origin.",
        )
    )


def _moved_knee(puppet, ahead_cm, up_cm):
    return _rest_bones(puppet)[1] + np.array([0.0, up_cm, ahead_cm]) / 100


# One view each


@cache
def _shown(puppet):
    """The numbers of the vertices that a picture of the knee surely shows."""
    skeleton, surface, _ = dressed(puppet)
    height = surface.vertices[:, 1] - skeleton.origins(skeleton.rest_world, LEG)[1, 1]
    return np.flatnonzero(np.abs(height) < 0.2 * puppet.leg_length)


def _knee_room(puppet, title):
    """A view around the right knee, as large as the puppet's legs need."""
    skeleton, _, _ = dressed(puppet)
    knee_at = skeleton.origins(skeleton.rest_world, LEG)[1, [2, 1]]
    low, high = knee_at + puppet.leg_length * np.array([[-0.33, -0.25], [0.23, 0.255]])
    return half_stage(title, low, high)


def _draw_knee(puppet, skinned, title):
    """A knee in its skin."""
    stage = _knee_room(puppet, title).surface(
        skinned.vertices, dressed(puppet)[1].triangles, "plain"
    )
    return _draw_bones(stage, puppet, skinned.bones)


def _draw_bones(stage, puppet, bones):
    """The knee joint, and its bones as far as the skin is shown."""
    hip, knee_at, ankle = bones
    ends = [knee_at + _shown_of_bone(puppet, end - knee_at) for end in (hip, ankle)]
    return stage.path([ends[0], knee_at, ends[1]], "forward").dots([knee_at], "forward")


def _shown_of_bone(puppet, way):
    return BONES * puppet.leg_length * way / np.linalg.norm(way)


@cache
def _rest_section(puppet):
    """Front and back of the knee's cross-section at rest."""
    return knee(puppet, 0.0).section


@cache
def _rest_bones(puppet):
    """The right leg's hip, knee and ankle at rest."""
    skeleton, _, _ = dressed(puppet)
    return skeleton.origins(skeleton.rest_world, LEG)


def _shank_at(puppet, bend_deg, knee_at=None):
    """The end of a bent knee's shank in the picture; the knee may have been moved."""
    _, rest_knee, ankle = _rest_bones(puppet)
    knee_at = rest_knee if knee_at is None else knee_at
    way = rotation.matrix_about("x", np.radians(bend_deg)) @ (ankle - knee_at)
    return knee_at + _shown_of_bone(puppet, way)


def _measure_knee(stage, skinned):
    """Write into a knee's picture how deep the knee still is."""
    depth = f"{_depth_cm(skinned):.1f} cm"
    return stage.measure(*skinned.section, depth, _good(skinned.section_ratio, 0.98))


def _good(kept, enough):
    """The kind of measure for what is left of a size."""
    return "miss" if kept < enough else "goal"


def _kept_title(blend, skinned):
    return f"{capital(blend)}: {percent(skinned.section_ratio)} of its depth left"
