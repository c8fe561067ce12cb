"""Lesson 12's pictures: ten broken rigs, what an inspection finds, and the least fault it finds."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from rigkit import _format, faults, inspection, rotation
from rigkit._types import Floats
from rigkit.faults import AFTER, BEFORE, PARTS, sound, with_nodes
from rigkit.gltf import Asset
from rigkit.inspection.rule import SHARE
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
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
    moment : float or None
        When in its animation it is drawn, seconds.
    before : callable
        From a puppet to the Asset as it was before.
    """

    done: str
    lesson: str
    rule: str
    view: str
    make: Callable
    moment: float | None = None
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
        0.6,
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
        1.1,
        lambda puppet: faults.rising_out_of_reach(puppet, 0.0),
    ),
)


@cache
def broken(puppet: Puppet, number: int) -> tuple[Asset, inspection.Report]:
    """One of the ten rigs, 1 to 10, and its inspection."""
    asset = FAULTS[number - 1].make(puppet)
    return asset, inspection.inspect(asset)


# A rig drawn


AT_REST, MOVING = "at rest", "moving"
NOT_YET, NOW = "not yet", "now"


def opening(puppet: Puppet) -> Row:
    """Two rigs alike at rest, and the same two in a step: one signed off, one with a fault."""
    rigs = {"A": (sound(puppet), _sound_report(puppet)), "B": broken(puppet, 1)}
    narrow = {"width": 205, "room": (-0.55, 0.5)}
    views = [
        _drawn(puppet, *rig, "side", pose, f"Rig {name} {pose}", **narrow)
        for pose in (AT_REST, MOVING)
        for name, rig in rigs.items()
    ]
    stretched = " The left foot stayed where it was, and the skin of the shin is drawn out to it."
    views[-1].desc += stretched
    return row(
        *views,
        title=(
            "Two leg rigs that look alike at rest; in a step the left foot of the second stays"
            " behind"
        ),
    )


@cache
def _sound_report(puppet):
    return inspection.inspect(sound(puppet))


def stepping(asset: Asset) -> Floats:
    """World frames of an asset's nodes in a step.

    Each joint is turned about its own axes, and found by its name.
    """
    turned = {}
    for node in asset.nodes:
        if node.name in STEP_DEG:
            about_x, about_y = rotation.quaternion_from_vector(
                np.radians(np.diag(STEP_DEG[node.name] + (0,))[:2])
            )
            turn = rotation.multiply_quaternions(about_x, about_y)
            turned[node.name] = {"rotation": rotation.multiply_quaternions(node.rotation, turn)}
    return with_nodes(asset, **turned).rest_world()


def _drawn(puppet, asset, report, view, pose, title, moment=None, width=400, room=(-0.66, 0.8)):
    """A rig in its skin, at rest, in a step, or in a moment of its own animation."""
    world = asset.rest_world()
    if pose == MOVING:
        world = stepping(asset) if moment is None else asset.pose_world(0, moment)
    world = world.copy()
    world[:, :3, 3] -= world[report.legs.pelvis, :3, 3] * [0, 0, 1]
    tall = puppet.hip_height
    low, high = (room[0], -0.14), (room[1], 1.16)
    stage = half_stage(title, low, high, tall, view, width=width).floor()
    stage.surface(_skin(asset, world), asset.meshes[0].triangles, "plain")
    for side in report.legs.legs:
        _draw_bones(stage, report, world, side)
    stage.desc = f"Both legs from the {view}, {pose}, with their bones."
    return stage


def _skin(asset, world):
    return asset.skin_points(len(asset.nodes) - 1, world)


def _draw_bones(stage, report, world, side):
    """One leg's thigh and shank as a chain, its foot as a line."""
    points = world[list(report.legs.legs[side].joints.values()), :3, 3]
    stage.path(points[2:], "forward", side).chain(points[:3], "forward", side, thickness=12)


# Ten broken rigs


def case(puppet: Puppet, number: int, pose: str, inspected: str) -> tuple[Row, str]:
    """One of the ten rigs beside a sound one, or beside what an inspection finds.

    Both are told in words.
    """
    fault, (asset, report) = FAULTS[number - 1], broken(puppet, number)
    view = fault.view
    mine = _drawn(puppet, asset, report, view, pose, f"Rig {number}, {pose}", fault.moment)
    if inspected == NOT_YET:
        before = fault.before(puppet)
        title, report = f"A sound rig, {pose}", _sound_report(puppet)
        other = _drawn(puppet, before, report, view, pose, title, fault.moment)
        words = (
            f"Rig {number} {pose}, beside a sound one. What was done to it, and which rule will"
            " find that? Look at both poses, then inspect."
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


def case_panel(puppet: Puppet) -> Panel:
    """Ten broken rigs to look at, to guess, and to inspect."""
    return Panel(
        "Ten broken rigs: look, guess, then inspect",
        [
            Slider("number", "Rig", 1, len(FAULTS), 1, 1),
            Choice("pose", "Shown", (AT_REST, MOVING), MOVING),
            Choice("inspected", "Inspected", (NOT_YET, NOW), NOT_YET),
        ],
        partial(case, puppet),
        {
            "Rig 1, moving": (1, MOVING, NOT_YET),
            "Rig 3, moving": (3, MOVING, NOT_YET),
            "Rig 5, moving": (5, MOVING, NOT_YET),
            "Rig 8, inspected": (8, MOVING, NOW),
        },
    )


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
        f"Right knee joint {back_mm:.1f} mm back, every joint off by about {hand_mm:.1f} mm along"
        f" each axis, skin bound {bound}, limits of lengths and angles {stated}. <b>{said}.</b>"
    )
    return row(_drawn_knee(puppet, asset, report, back_mm), _gauges(report)), words


def how_large_panel(puppet: Puppet) -> Panel:
    """A knee joint to move, a hand to make unsteady, and limits to make strict."""
    return Panel(
        "How large must a fault be to be found?",
        [
            Slider("back_mm", "Right knee joint back", 0.0, 30.0, 0.5, 10.0, "mm"),
            Slider("hand_mm", "Each joint off by about", 0.0, 5.0, 0.5, 0.0, "mm"),
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
    )


def accused(
    puppet: Puppet, hand_mm: float, strictness: float, rng: np.random.Generator, rigs: int = 20
) -> float:
    """The share of rigs without any fault that an inspection has findings of.

    They are placed by hand on both sides.
    """
    reports = (
        inspection.inspect(
            faults.placed_by_hand(puppet, hand_mm, rng), STANDING, limits(strictness)
        )
        for _ in range(rigs)
    )
    return float(np.mean([not report.passed for report in reports]))


def _drawn_knee(puppet, asset, report, back_mm):
    """The right leg from the side, with the line that its knee should stand ahead of."""
    joints = report.legs.legs["R"].joints
    world = asset.rest_world()
    meant = sound(puppet).rest_world()[[joints[part] for part in PARTS[:3]], :3, 3]
    tall = puppet.hip_height
    triangles = asset.meshes[0].triangles
    half = triangles[(asset.meshes[0].positions[triangles, 0] <= 0).all(axis=-1)]
    low, high = (-0.4, -0.1), (0.4, 1.06)
    stage = half_stage("The right leg at rest", low, high, tall, width=265).floor()
    stage.surface(_skin(asset, world), half, "plain").ghost(meant)
    _draw_bones(stage, report, world, "R")
    stage.desc = "The right leg from the side in its skin; dotted is where its joints should be."
    if back_mm:
        stage.measure(meant[1], meant[1] - [0, 0, back_mm / 1000], f"{back_mm:g} mm", place="left")
        stage.desc += f" Its knee lies {back_mm:g} mm too far back."
    return stage


def _gauges(report):
    """Gauges of how far six rules' numbers are on the way to their limits, or beyond."""
    step = 0.42
    high = step * len(GAUGED)
    corners = (-0.1, -0.1), (SHOWN + 0.15, high + 0.2)
    stage = Stage("front", *corners, "How far to its limit, and beyond", width=450)
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
