"""The conventions of DEVELOPERS.md as a picture, drawn from what the library computes:
`picture()`."""

import numpy as np

from rigkit import placement, puppets, stage, two_bone
from rigkit.leg import LegRig

TAMSIN = puppets.PUPPETS["Tamsin"]
WIDTH = 424  # px of each of the two views
HIP, KNEE = np.radians(30), np.radians(60)


def picture():
    """The world's axes around a standing puppet, and a bent leg with its angles and its joints'
    axes."""
    return stage.row(_world(), _leg(), title="The conventions: the world's axes, and a leg's")


def _world():
    skeleton = LegRig.from_puppet(TAMSIN).skeleton
    centres = {
        name: frame[:3, 3] for name, frame in zip(skeleton.names, skeleton.rest_world, strict=True)
    }
    view = stage.Stage(
        "turntable",
        (-0.72, -0.38),
        (0.78, 1.1),
        "The world: +X left, +Y up, +Z ahead",
        width=WIDTH,
        yaw_deg=35,
        pitch_deg=20,
    ).floor()
    for axis, text, place in zip(
        0.55 * np.eye(3),
        ("+X: her left", "+Y: up", "+Z: ahead"),
        ("above", "right", "below"),
        strict=True,
    ):
        view.arrow((0, 0, 0), 2 * axis if axis[1] else axis, text, place=place)
    for side in ("R_", "L_"):
        ankle, ball, toe = (centres[side + part] for part in ("ankle", "ball", "toe"))
        heel = ankle * [1, 0, 1] - [0, 0, TAMSIN.heel_length]
        view.foot(ankle, heel, toe, ball, kind="inverse", side=side[0])
        view.chain([centres[side + part] for part in ("hip", "knee", "ankle")], "inverse", side[0])
    view.desc = (
        "A standing puppet seen from before her left side. From a point on the floor between her"
        " feet +X points to her left, +Y up, +Z the way she faces. The left leg is drawn solid, the"
        " right one dashed."
    )
    return view


def _leg():
    points = two_bone.planar_points(HIP, KNEE, TAMSIN.thigh, TAMSIN.shank) + [0, TAMSIN.hip_height]
    hip, knee, ankle = points
    frames = placement.orient_chain(np.insert(points[:, ::-1], 0, 0.0, axis=1))  # x, up, forward
    view = stage.Stage(
        "side", (-0.56, -0.15), (0.74, 1.133), "A leg: flexion is positive", width=WIDTH
    ).floor()
    view.ghost([hip, hip - [0, TAMSIN.thigh + TAMSIN.shank]]).ghost(
        [knee, knee + 0.5 * (knee - hip)]
    )
    view.chain(points, "inverse", names=("hip",))
    view.arc(hip, hip - [0, 1], knee, f"+{np.degrees(HIP):.0f}°", "goal", 105, "below")
    view.arc(knee, knee + (knee - hip), ankle, f"+{np.degrees(KNEE):.0f}°", "goal", 75, "below")
    for frame in frames[:2]:
        centre = frame[1:3, 3][::-1]
        for axis, text in ((1, "y"), (2, "z")):
            view.arrow(centre, centre + 0.2 * frame[1:3, axis][::-1], text)
    view.note(knee + [0.04, -0.015], "x: away from you", place="right").note(
        ankle, "ankle", "soft", "left"
    )
    view.desc = (
        "A leg seen from the character's right, who faces right. The thigh swung forward is a hip"
        f" angle of +{np.degrees(HIP):.0f} degrees from hanging straight down; the shank bent back"
        f" is a knee angle of +{np.degrees(KNEE):.0f} degrees from straight. At hip and knee the y"
        " axis runs up the bone, z points forward, and x, the hinge, points away from the viewer,"
        " to the character's left."
    )
    return view
