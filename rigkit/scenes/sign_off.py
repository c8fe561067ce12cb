"""Lesson 12's pictures: ten broken rigs, what an inspection finds, and the least fault it finds."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache, partial

import numpy as np

from rigkit import _format, bend, faults, inspection, rotation
from rigkit._types import ArrayLike, Floats
from rigkit.asking import Check, Guess
from rigkit.faults import AFTER, BEFORE, PARTS, sound, with_nodes
from rigkit.gltf import Asset
from rigkit.inspection.rule import SHARE
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.staging import half_stage
from rigkit.stage import Row, Stage, row

# A step, as turns of joints about their own x and y axes in degrees; the right side's mirrored as
# "same bend" asks.
STEP_DEG = {
    "L_hip": (-32, 0),
    "L_knee": (50, 0),
    "L_ankle": (0, 25),
    "R_hip": (22, 0),
    "R_knee": (18, 0),
    "R_ankle": (0, -25),
}


# The ten


@dataclass(frozen=True)
class Fault:
    """One way to break a rig.

    Attributes
    ----------
    done : str
        What somebody did, as a sentence.
    lesson : str
        Where it was the subject.
    rule : str
        The rule that finds it.
    view : str
        From where it shows best.
    make : callable
        From a puppet to an Asset.
    moves : bool
        True if the fault is in a motion of the rig's own, which is then shown in place of a step.
    before : callable
        From a puppet to the Asset as it was before.
    """

    done: str
    lesson: str
    rule: str
    view: str
    make: Callable
    moves: bool = False
    before: Callable = sound

    def __repr__(self) -> str:
        return _format.line(self, self.done, f"found by {self.rule}", f"of lesson {self.lesson}")


FAULTS = (
    Fault(
        "the left foot was hung from the pelvis, not from the shin",
        "02",
        "chain-unbroken",
        "side",
        faults.foot_hung_from_pelvis,
    ),
    Fault(
        "a rename took the side off the left knee's name",
        "03",
        "names-say-sides",
        "side",
        faults.side_lost,
    ),
    Fault("the legs were left straight", "06", "preset-bend", "side", faults.left_straight),
    Fault(
        "weights below a tenth were dropped, and not given to those that stay",
        "09",
        "weights-sum",
        "side",
        faults.weights_dropped,
    ),
    Fault(
        "the right leg was made by a scale of −1",
        "03",
        "no-negative-scale",
        "front",
        faults.mirrored_by_scale,
    ),
    Fault("the knees' axes were turned by 15°", "07", "hinge-square", "front", faults.hinge_aslant),
    Fault(
        "the body was moved along faster after the feet were planted",
        "10",
        "foot-slide",
        "side",
        faults.feet_carried_along,
        True,
        lambda puppet: faults.feet_carried_along(puppet, 0.0),
    ),
    Fault(
        "the knee joints were put 3 cm too far ahead",
        "01",
        "joint-in-section",
        "side",
        faults.knees_at_the_front,
    ),
    Fault(
        "the file was written while the feet were pitched by 8°",
        "08",
        "rest-reads-zero",
        "side",
        faults.exported_posed,
    ),
    Fault(
        "the body rises to where the feet cannot follow",
        "05",
        "extension-pop",
        "side",
        faults.rising_out_of_reach,
        True,
        lambda puppet: faults.rising_out_of_reach(puppet, 0.0),
    ),
)


@cache
def broken(puppet: Puppet, number: int) -> tuple[Asset, inspection.Report]:
    """One of the ten rigs, 1 to 10, and its inspection."""
    asset = FAULTS[number - 1].make(puppet)
    return asset, inspection.inspect(asset)


# A rig drawn


FRAMES = 48  # of a step and back, or of a rig's own motion, played in two seconds
MARKS = 0.25  # metres between the marks on the floor under a rig that walks
AT_REST, MOVING = 0, FRAMES // 2  # frames of a step
NOT_YET, NOW = "not yet", "now"


def opening(puppet: Puppet) -> Row:
    """Two rigs at rest from the side and from the front: a sound one, and one with a fault."""
    rigs = {"A": (sound(puppet), _sound_report(puppet)), "B": broken(puppet, 1)}
    narrow = {"width": 205, "room": (-0.55, 0.5), "top": 1.98, "legend": ("forward",)}
    views = [
        _drawn(puppet, *rig, view, AT_REST, f"Rig {name}, {view}", **narrow)
        for name, rig in rigs.items()
        for view in ("side", "front")
    ]
    return row(*views, title="Two rigs, from the side and from the front: would you sign them off?")


@cache
def _sound_report(puppet):
    return inspection.inspect(sound(puppet))


def stepping(asset: Asset, share: float = 1.0) -> Floats:
    """World frames of an asset's nodes in a step, or in a share of it.

    Each joint is turned about its own axes, and found by its name.
    """
    turned = {}
    for node in asset.nodes:
        if node.name in STEP_DEG:
            about_x, about_y = rotation.quaternion_from_vector(
                share * np.radians(np.diag(STEP_DEG[node.name] + (0,))[:2])
            )
            turn = rotation.multiply_quaternions(about_x, about_y)
            turned[node.name] = {"rotation": rotation.multiply_quaternions(node.rotation, turn)}
    return with_nodes(asset, **turned).rest_world()


def _posed(puppet, asset, frame, moves):
    """World frames of an asset's nodes in a frame of its own motion, else of a step and back.

    The body sinks as a sound one does, whose lower foot stays on the floor.
    """
    if moves:
        return asset.pose_world(0, frame / FRAMES * asset.animations[0].duration).copy()
    share = float(np.sin(np.pi * frame / FRAMES) ** 2)
    world = stepping(asset, share).copy()
    world[:, 1, 3] -= _lifted(puppet, share) - _lifted(puppet, 0.0)
    return world


@cache
def _lifted(puppet, share):
    """The height of a sound rig's lowest point in a share of a step, its pelvis kept in place."""
    asset = sound(puppet)
    return float(_skin(asset, stepping(asset, share))[:, 1].min())


def _drawn(
    puppet,
    asset,
    report,
    view,
    frame,
    title,
    moves=False,
    width=400,
    room=(-0.66, 0.8),
    top=1.16,
    legend=(),
):
    """A rig in its skin, in a frame of a step or of its own motion, which the view goes along with.

    The trunk is drawn where the view holds all of it.
    """
    world = _posed(puppet, asset, frame, moves)
    gone = float(world[report.legs.pelvis, 2, 3])
    world[:, 2, 3] -= gone
    tall = puppet.hip_height
    low, high = (room[0], -0.14), (room[1], top)
    stage = half_stage(title, low, high, tall, view, width=width, legend=legend).floor()
    if top > 1.16:
        draw_body(
            stage, puppet, [world[report.legs.legs[side].joints["hip"], :3, 3] for side in "LR"]
        )
    stage.surface(_skin(asset, world), asset.meshes[0].triangles, "plain")
    for side in report.legs.legs:
        _draw_bones(stage, report, world, side)
    if moves:
        for at in np.arange(np.ceil((low[0] + gone) / MARKS) * MARKS - gone, high[0], MARKS):
            stage.path([[0.0, 0.0, at], [0.0, -0.05, at]], "plain")
    stage.desc = f"Both legs from the {view}, in frame {frame} of {FRAMES}, with their bones."
    return stage


def _skin(asset, world):
    return asset.skin_points(len(asset.nodes) - 1, world)


def _draw_bones(stage, report, world, side):
    """One leg's thigh and shank as a chain, its foot as a line."""
    points = world[list(report.legs.legs[side].joints.values()), :3, 3]
    stage.path(points[2:], "forward", side).chain(points[:3], "forward", side, thickness=12)


# Ten broken rigs


def case(puppet: Puppet, number: int, frame: int, inspected: str) -> tuple[Row, str]:
    """One of the ten rigs in a frame, beside a sound one or beside what an inspection finds.

    Both are told in words.
    """
    fault, (asset, report) = FAULTS[number - 1], broken(puppet, number)
    view, moves = fault.view, fault.moves
    mine = _drawn(puppet, asset, report, view, frame, f"Rig {number}", moves)
    if inspected == NOT_YET:
        before, sounds = _before(puppet, number), _sound_report(puppet)
        other = _drawn(puppet, before, sounds, view, frame, "A sound rig", moves)
        words = (
            f"Rig {number} beside a sound one, frame {frame} of {FRAMES}. What was done to it, and"
            " which rule will find that? Look at it standing and playing, then inspect."
        )
        return row(mine, other), words
    finding = report[fault.rule]
    shown = finding.picture
    assert shown is not None  # each of the ten rules draws what it finds
    words = (
        f"<b>{finding.title}</b>: <b>{finding.measured}</b>. {finding.said} <b>Do:</b>"
        f" {finding.todo} <b>What was done</b> (lesson {fault.lesson}): {fault.done}."
    )
    return row(mine, shown), words


@cache
def _before(puppet, number):
    return FAULTS[number - 1].before(puppet)


def case_panel(puppet: Puppet) -> Panel:
    """Ten broken rigs to look at, to guess, and to inspect."""
    for number in range(1, len(FAULTS) + 1):
        broken(puppet, number)
    return Panel(
        "Ten broken rigs: look, guess, then inspect",
        [
            Slider("number", "Rig", 1, len(FAULTS), 1, 1),
            Slider("frame", "Frame", 0, FRAMES, 1, AT_REST),
            Choice("inspected", "Inspected", (NOT_YET, NOW), NOT_YET),
        ],
        partial(case, puppet),
        {
            "Rig 1, moving": (1, MOVING, NOT_YET),
            "Rig 3, moving": (3, MOVING, NOT_YET),
            "Rig 5, moving": (5, MOVING, NOT_YET),
            "Rig 7, walking": (7, 13, NOT_YET),
            "Rig 8, inspected": (8, MOVING, NOW),
        },
        play="frame",
    )


# what a foot does whose leg swings, by the most of the sound foot's way that it then goes
SWINGS = {"stays where it was": 0.25, "goes half of the way": 0.75, "swings with its shin": np.inf}


def case_guess(puppet: Puppet) -> Panel:
    """The ten rigs, behind the question what the first one's foot does."""
    return case_panel(puppet).after(
        Guess(
            "12/foot",
            "In rig 1 the left foot was hung from the pelvis, not from the shin. Hip and knee turn"
            " for a step. What does the foot do?",
            tuple(SWINGS),
            partial(_foot_found, puppet),
            then="Play rig 1, and look at both poses beside the sound rig's.",
        )
    )


def _foot_found(puppet, number, frame, inspected):
    if number != 1 or abs(frame - MOVING) > FRAMES // 8:
        return None
    way, sound_way = (
        _foot_way(puppet, each, frame) for each in (broken(puppet, 1)[0], _before(puppet, 1))
    )
    right = next(words for words, most in SWINGS.items() if way / sound_way < most)
    return right, (
        f"Seen from the pelvis a sound foot has gone {100 * sound_way:.0f} cm by now, this one"
        f" <b>{100 * way:.0f} cm</b>. It hangs from the pelvis, and no joint of the leg carries it."
    )


def _foot_way(puppet, asset, frame):
    """Tell how far the left ankle has gone as seen from the pelvis, metres."""
    ankle, pelvis = (_node(asset, name) for name in ("L_ankle", "pelvis"))
    standing, now = (_posed(puppet, asset, each, False) for each in (AT_REST, frame))
    gone = (now - standing)[:, :3, 3]
    return np.linalg.norm(gone[ankle] - gone[pelvis])


def _node(asset, name):
    return [node.name for node in asset.nodes].index(name)


def straight_check(puppet: Puppet) -> Panel:
    """Ask who notices that legs are straight."""
    bends = [_bend_deg(asset) for asset in (broken(puppet, 3)[0], _before(puppet, 3))]
    right = "the one who drags its foot by a goal"
    return quick_check(
        Check(
            "12/straight",
            "In rig 3 both legs were left exactly straight. Who is the first to notice?",
            ("the one who turns its knee by an angle", right, "the one who looks at its skin"),
            right,
            "From a straight line no solver can tell front from back (lesson 06).",
            {
                "the one who turns its knee by an angle": "An angle bends a straight leg as well"
                f" as any: in this step its knee is bent by {bends[0]:.0f}°, the sound one by"
                f" {bends[1]:.0f}°. It takes a goal to notice.",
                "the one who looks at its skin": "The skin follows the bones of a straight leg,"
                " too. It takes a goal to notice.",
            },
        )
    )


def _bend_deg(asset):
    """The bend of the left knee in the middle of a step, °."""
    leg = [_node(asset, f"L_{part}") for part in PARTS[:3]]
    return float(np.degrees(bend.measure_bend(stepping(asset)[leg, :3, 3]).angle))


# How large a fault must be


GAUGED = (
    "preset-bend",
    "inverse-bind",
    "sides-mirror",
    "sides-turn",
    "bends-alike",
    "joint-in-section",
)
SHOWN = 3.0  # times the limit; more is drawn at the edge
# Known here, so that an inspection need not look for it: a drag waits for it.
STANDING = {"up": "+y", "forward": "+z"}


def limits(strictness: float) -> dict[str, float]:
    """The limits of lengths and angles not to be passed, `strictness` times as strict."""
    return {
        rule.id: rule.limit / strictness
        for rule in inspection.RULES
        if rule.sense == "at most" and rule.unit in (SHARE, "°") and rule.severity != "slight"
    }


@cache
def _knee_report(puppet, back_mm, hand_mm, bound, strictness):
    return inspection.inspect(
        _knee_asset(puppet, back_mm, hand_mm, bound), STANDING, limits(strictness)
    )


@lru_cache(2)
def _knee_asset(puppet, back_mm, hand_mm, bound):
    """Always the same hand."""
    return faults.placed_by_hand(puppet, hand_mm, np.random.default_rng(12), back_mm, bound)


def how_large(
    puppet: Puppet, back_mm: float, hand_mm: float, strictness: float, bound: str
) -> tuple[Row, str]:
    """The right leg with its knee joint moved, and six rules' numbers against their limits."""
    report = _knee_report(puppet, back_mm, hand_mm, bound, strictness)
    asset = _knee_asset(puppet, back_mm, hand_mm, bound)
    found = report.of("finding")
    said = "No finding: this rig passes"
    if found:
        names = ", ".join(finding.rule for finding in found)
        said = f"{_format.count(len(found), 'finding')}: {names}"
    stated = "as stated" if strictness == 1 else f"{strictness:g} times as strict"
    words = (
        f"Right knee joint {back_mm:.1f} mm back, each joint off by about {hand_mm:.1f} mm, skin"
        f" bound {bound}, limits {stated}. <b>{said}.</b>"
    )
    return row(_drawn_knee(puppet, asset, report, back_mm), _gauges(report)), words


def how_large_panel(puppet: Puppet) -> Panel:
    """A knee joint to move, a hand to make unsteady, and limits to make strict."""
    return Panel(
        "How large must a fault be to be found?",
        [
            Slider("back_mm", "Right knee joint back", 0.0, 30.0, 0.5, 0.0, "mm"),
            Slider("hand_mm", "Each joint off by", 0.0, 5.0, 0.5, 0.0, "mm"),
            Slider("strictness", "Upper limits stricter", 0.5, 5.0, 0.5, 1.0, "times"),
            Choice("bound", "Skin bound", (AFTER, BEFORE), AFTER),
        ],
        partial(how_large, puppet),
        {
            "Too small to find": (3.5, 0, 1, AFTER),
            "2 cm, then bound": (20, 0, 1, AFTER),
            "Bound, then 2 cm": (20, 0, 1, BEFORE),
            "Unsteady hand": (0, 2, 1, AFTER),
            "Strict, steady hand": (0, 0.5, 5, AFTER),
        },
        grips=[
            Grip(
                "Knee joint",
                lambda back_mm, hand_mm, **_: (
                    _placed_knee(puppet, hand_mm) - [0.0, 0.0, back_mm / 1000]
                ),
                ("back_mm",),
                (0,),
            )
        ],
    )


FIRST = {
    "sides-mirror": "how far it is from its mirror image",
    "bends-alike": "how much the two bends differ",
    "joint-in-section": "how far it is from the middle of the limb",
}


def first_check(puppet: Puppet, back_mm: float = 4.0) -> Panel:
    """Ask which number of a small fault is the first beyond its limit."""
    report = _knee_report(puppet, back_mm, 0.0, AFTER, 1.0)
    (found,) = (rule for rule in FIRST if report[rule].status == "finding")
    said = {FIRST[rule]: _beside_limit(report[rule]) for rule in FIRST}
    right = FIRST[found]
    return quick_check(
        Check(
            "12/first",
            f"The right knee joint was placed {back_mm:.0f} mm too far back, and then the skin was"
            " bound. Only one of these numbers is then beyond its limit. Which? (The limits stand"
            " in the card above.)",
            tuple(FIRST.values()),
            right,
            f"{said.pop(right)} One fault has several numbers, and the first beyond its limit is"
            " not always the one you thought of.",
            {option: f"{words} So it is within its limit." for option, words in said.items()},
        )
    )


def _beside_limit(finding):
    """A rule's number beside its limit, in words."""
    unit = "°" if finding.unit == "°" else f" {finding.unit}"
    shown = (f"{number:.3g}{unit}" for number in (finding.number, finding.limit))
    return "<code>{}</code> measures {}; up to {} is allowed.".format(finding.rule, *shown)


HOW_MANY = {"none": 0, "one": 1, "two or three": 3, "four or more": np.inf}  # at most


def late_guess(puppet: Puppet) -> Panel:
    """The knee joint to move, behind the question how many rules find one late deed."""
    return how_large_panel(puppet).after(
        Guess(
            "12/late",
            "The skin is bound, and then somebody moves the right knee joint back by 2 cm. One"
            f" deed: how many of the {len(inspection.RULES)} rules find something?",
            tuple(HOW_MANY),
            partial(_late_found, puppet),
            then="Press <i>Bound, then 2 cm</i>.",
        )
    )


def _late_found(puppet, back_mm, hand_mm, strictness, bound):
    if (back_mm, hand_mm, strictness, bound) != (20.0, 0.0, 1.0, BEFORE):
        return None
    found = _accusers(puppet, bound)
    names = ", ".join(f"<code>{rule}</code>" for rule in found)
    return _how_many(found), f"There is <b>{_format.count(len(found), 'finding')}</b>: {names}."


def _accusers(puppet, bound):
    """The rules that find a knee 2 cm back, the skin bound before or after."""
    report = _knee_report(puppet, 20.0, 0.0, bound, 1.0)
    return [finding.rule for finding in report.of("finding")]


def _how_many(found):
    return next(words for words, most in HOW_MANY.items() if len(found) <= most)


def anew_check(puppet: Puppet) -> Panel:
    """Ask what an inspection says after the wrong repair."""
    found = _accusers(puppet, AFTER)
    right = _how_many(found)
    said = {
        "none": "The old witness is silent. But now the knee is in the wrong place at rest, and"
        " that is measured, too.",
        "one": "The old one is gone, and new ones have come: the knee joint is part of a bend, of"
        " a pair, and of a limb.",
        "two or three": "Count what a knee joint is part of: a bend, a pair of bends, a pair of"
        " sides, a limb.",
        "four or more": f"There are {len(found)}: "
        + ", ".join(f"<code>{rule}</code>" for rule in found)
        + ". Binding anew has made the mistake a part of the rig.",
    }
    return quick_check(
        Check(
            "12/anew",
            "There are two ways out: put the joint back, or bind anew. Somebody binds anew,"
            " with the knee joint where it is, and inspects again. How many findings?",
            tuple(HOW_MANY),
            right,
            said.pop(right),
            said,
        )
    )


@cache
def _placed_knee(puppet, hand_mm):
    """The right knee joint as the unsteady hand places it, before it is moved back."""
    asset = _knee_asset(puppet, 0.0, hand_mm, AFTER)
    names = [node.name for node in asset.nodes]
    return asset.rest_world()[names.index("R_knee"), :3, 3]


def accused(
    puppet: Puppet, hand_mm: float, strictness: ArrayLike, rng: np.random.Generator, rigs: int = 20
) -> Floats:
    """The share of rigs without any fault that an inspection has findings of, for each strictness.

    They are placed by hand on both sides.
    """
    reports = [
        inspection.inspect(faults.placed_by_hand(puppet, hand_mm, rng), STANDING)
        for _ in range(rigs)
    ]
    strict = np.asarray(strictness, float)
    found = [[_found(report, float(each)) for report in reports] for each in strict.ravel()]
    return np.mean(found, axis=-1).reshape(strict.shape)


def _found(report, strictness):
    """True if a report has findings where limits are stricter than those it was made by."""
    stricter = limits(strictness)
    return any(
        finding.number is not None and finding.number > stricter[finding.rule]
        if finding.rule in stricter
        else finding.status == "finding"
        for finding in report.findings
    )


def _drawn_knee(puppet, asset, report, back_mm):
    """The right leg from the side, with the line that its knee should stand ahead of."""
    joints = report.legs.legs["R"].joints
    world = asset.rest_world()
    meant = sound(puppet).rest_world()[[joints[part] for part in PARTS[:3]], :3, 3]
    tall = puppet.hip_height
    triangles = asset.meshes[0].triangles
    half = triangles[(asset.meshes[0].positions[triangles, 0] <= 0).all(axis=-1)]
    low, high = (-0.4, -0.1), (0.4, 1.06)
    stage = half_stage("The right leg at rest", low, high, tall, width=248).floor()
    stage.surface(_skin(asset, world), half, "plain").ghost(meant)
    _draw_bones(stage, report, world, "R")
    stage.desc = "The right leg from the side in its skin; dotted is where its joints should be."
    if back_mm:
        stage.measure(meant[1], meant[1] - [0, 0, back_mm / 1000], f"{back_mm:g} mm", place="left")
        stage.desc += f" Its knee lies {back_mm:g} mm too far back."
    return stage


def _gauges(report):
    """Gauges of how far six rules' numbers are on the way to their limits, or beyond."""
    step = 0.385
    high = step * len(GAUGED)
    corners = (-0.1, -0.1), (SHOWN + 0.15, high + 0.2)
    stage = Stage("front", *corners, "How far to its limit, and beyond", width=445)
    stage.note([1.0, high + 0.02], "limit", place="above")
    for i, rule in enumerate(GAUGED):
        finding, height = report[rule], high - step * (i + 1)
        share = _share(finding)
        kind = "soft" if share is None else "miss" if finding.status == "finding" else "goal"
        end = min(share or 0.0, SHOWN)
        stage.path([[1.0, height - 0.08], [1.0, height + 0.08]], "plain")
        stage.path([[0.0, height], [max(end, 0.01), height]], kind).dots([[end, height]], kind)
        word = kind if kind == "miss" else "plain"
        said = finding.measured.replace(f" {SHARE}", " %")
        stage.note([-0.06, height + 0.18], f"{rule}: {said}", word, "right")
    stage.desc = "; ".join(f"{rule}: {report[rule].measured}" for rule in GAUGED) + "."
    return stage


def _share(finding):
    """A number as a share of its limit, above one beyond it; None where nothing was measured."""
    if finding.number is None:
        return None
    if finding.sense == "at most":
        return finding.number / finding.limit
    return finding.limit / finding.number if finding.number > 0 else np.inf
