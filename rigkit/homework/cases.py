"""A case of a check as a panel of its lesson: what `Card.case` shows.

Points are (x, y, z) in metres: x to the character's left, y up, z ahead.
"""

from functools import partial

import numpy as np

from rigkit import rotation, two_bone
from rigkit._types import Floats
from rigkit.panels import Grip, Panel, Slider
from rigkit.puppets import PUPPETS
from rigkit.scenes import skinning
from rigkit.scenes.staging import LEG, at_frame, half_stage
from rigkit.scenes.words import signed
from rigkit.stage import Row, Stage, row

SEEN = {"front": [0, 1], "side": [2, 1], "top": [0, 2]}  # across and up
FLIP_DEG = 90.0


# Where one leg's knee points


def leg(hip: Floats, knee: Floats, ankle: Floats, swivel_deg: float) -> tuple[Row, str]:
    """A leg with a swivel of its own over the given one, and how far its knee is away in words."""
    around = _knee_at(hip, knee, ankle, np.linspace(-180, 180, 73))
    there = _knee_at(hip, knee, ankle, swivel_deg)
    room = np.vstack([around, [hip, ankle]])
    views = [
        _stage(title, view, room)
        .path(around, "soft")
        .ghost([hip, knee, ankle])
        .chain([hip, there, ankle], "inverse", names=LEG)
        for view, title in (("front", "From the front"), ("top", "From above"))
    ]
    off_cm = 100 * float(np.linalg.norm(there - knee))
    words = (
        f"With a swivel of <b>{signed(swivel_deg)}</b> the knee is <b>{off_cm:.1f} cm</b> from the"
        " dotted one of the check."
    )
    return row(*views), words


def leg_panel(hip: Floats, knee: Floats, ankle: Floats) -> Panel:
    """A check's leg, to turn about the line from hip to ankle; each point of shape (3,)."""
    return Panel(
        "Turn the leg until its knee is where the check has it",
        [Slider("swivel_deg", "Swivel", -180.0, 180.0, 1.0, 0.0, "°")],
        partial(leg, hip, knee, ankle),
        grips=[Grip("Knee", partial(_knee_at, hip, knee, ankle), ("swivel_deg",))],
    )


def _knee_at(hip: Floats, knee: Floats, ankle: Floats, swivel_deg: float | Floats) -> Floats:
    bones = np.linalg.norm([knee - hip, ankle - knee], axis=-1)
    return two_bone.solve(hip, ankle, *bones, swivel=np.radians(swivel_deg)).knee


# A path on which a knee may flip


def path(
    hip: Floats, goals: Floats, upper: float, lower: float, pole: Floats, frame: int
) -> tuple[Row, str]:
    """One frame of a path, and how far the bend plane has turned since the one before in words."""
    pose = two_bone.solve(hip, goals, upper, lower, pole)
    before = max(frame - 1, 0)
    turned = float(np.degrees(rotation.angle_between(pose.hinge[before], pose.hinge[frame])))
    seen = partial(_seen, hip, pole)
    room = seen(hip, pole, goals, pose.knee)
    views = [
        _stage(title, view, room)
        .path(seen(goals), "goal")
        .ghost(seen(hip, pose.knee[before], pose.ankle[before]))
        .chain(seen(hip, pose.knee[frame], pose.ankle[frame]), "inverse", names=LEG)
        .pole(seen(pole)[0])
        for view, title in (("side", "Square to the pole"), ("top", "From above"))
    ]
    flip = " <b>The knee has flipped.</b>" if turned > FLIP_DEG else ""
    words = (
        f"Frame {frame} of 0 to {len(goals) - 1}. Since the frame before, the bend plane has turned"
        f" by <b>{turned:.0f}°</b>.{flip}"
    )
    return row(*views), words


def path_panel(hip: Floats, goals: Floats, upper: float, lower: float, pole: Floats) -> Panel:
    """A check's path, frame by frame; `goals` has shape (frames, 3)."""
    return Panel(
        "Go through the frames: when does the bend plane turn over?",
        [Slider("frame", "Frame", 0, len(goals) - 1, 1, 0)],
        partial(path, hip, goals, upper, lower, pole),
        play="frame",
        grips=[Grip("Ankle", lambda frame: _goal_at(hip, goals, pole, frame), ("frame",))],
    )


def _goal_at(hip: Floats, goals: Floats, pole: Floats, frame: float) -> Floats:
    return _seen(hip, pole, at_frame(goals, frame))[0]


def _seen(hip: Floats, pole: Floats, *points: Floats) -> Floats:
    """Points as seen from the hip, turned about the upright so that the pole is straight ahead."""
    ahead = pole - hip
    level = rotation.matrix_about("y", -np.arctan2(ahead[0], ahead[2]))
    return (np.vstack(points) - hip) @ level.T


# The panels of the skin's lesson, set to a case


def reach_panel(bend_deg: float) -> Panel:
    """Tell how far a blend reaches, on Tamsin's knee bent as far as the case's limb."""
    panel = skinning.reach_panel(PUPPETS["Tamsin"])
    panel.set(softness=1.0, bend_deg=bend_deg)
    return panel


def twist_panel(twist_deg: float) -> Panel:
    """The stocking, twisted by one joint as far as the case's limb."""
    panel = skinning.twist_panel()
    panel.set(twist_deg=twist_deg, joints=1)
    return panel


def late_panel(ahead_cm: float, up_cm: float) -> Panel:
    """Tamsin at rest, her knee joint moved like the case's after binding."""
    panel = skinning.late_panel(PUPPETS["Tamsin"])
    panel.set(ahead_cm=ahead_cm, up_cm=up_cm, bend_deg=0.0)
    return panel


def _stage(title: str, view: str, points: Floats) -> Stage:
    """Half a row's stage with room for all points, shape (n, 3)."""
    flat = points[:, SEEN[view]] * ([1, -1] if view == "top" else [1, 1])
    low, high = flat.min(axis=0), flat.max(axis=0)
    half = 0.62 * (high - low).max()
    middle = (low + high) / 2
    return half_stage(title, middle - half, middle + half, view=view)
