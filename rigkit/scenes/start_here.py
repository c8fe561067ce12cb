"""The first page's pictures: the parade of puppets on one floor, a leg to try a slider on."""

from collections.abc import Mapping
from functools import partial

import numpy as np

from rigkit._types import Floats
from rigkit.panels import Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.preset_bend import hanging, hanging_heron
from rigkit.scenes.staging import LEG, planar_leg
from rigkit.stage import Stage

DEEPEST_CM = 24.0


# The parade


def parade(puppets: Mapping[str, Puppet]) -> Stage:
    """All puppets from the side on one floor, to one scale, each hip's height in its place."""
    places = 0.8 * np.arange(len(puppets))
    stage = Stage(
        "side",
        (-0.62, -0.1),
        (places[-1] + 0.7, 2.2),
        "The harbour parade: one floor, one scale",
        width=880,
    )
    stage.floor()
    for x, puppet in zip(places, puppets.values(), strict=True):
        leg = standing(puppet) + [x, 0.0]
        hip = leg[0]
        for outline in _heron(hip) if len(puppet.bones) == 3 else _person(hip, puppet.stature):
            stage.skin(outline)
        stage.foot(
            leg[-1],
            leg[-1] - [puppet.heel_length, puppet.ankle_height],
            leg[-1] + [puppet.foot_length - puppet.heel_length, -puppet.ankle_height],
            kind="inverse",
        )
        stage.chain(leg, "inverse", thickness=18)
        stage.measure(
            [x, 0.0], [x, hip[1]], f"{100 * hip[1]:.0f} cm", kind="plain", offset=-58, place="left"
        )
        stage.note([x - 0.2, 2.1], puppet.name, place="right")
    stage.desc = (
        "Side view, all on one floor and to one scale: "
        + "; ".join(
            f"{puppet.name}, hips {100 * standing(puppet)[0, 1]:.0f} cm high"
            for puppet in puppets.values()
        )
        + ". The heron's middle joint points back, everyone else's knee forward."
    )
    return stage


def standing(puppet: Puppet) -> Floats:
    """The joints of a leg with a little bend, its foot flat below the hip; shape (n, 2).

    The foot is on the floor.
    """
    leg = hanging_heron(puppet) if len(puppet.bones) == 3 else hanging(puppet, 5.0)
    return leg - leg[-1] + [0.0, puppet.ankle_height]


def _person(hip, stature):
    """Body and head above a hip, as outlines."""
    room = stature - hip[1]
    head = 0.13 * room
    return (
        _oval(hip + [0.0, 0.35 * room], 0.15 * room, 0.39 * room),
        _oval(hip + [0.01, room - head], 0.85 * head, head),
    )


def _heron(hip):
    """Body, neck, head and beak above a hip, as outlines."""
    body, head = hip + [0.02, 0.12], hip + [0.3, 0.69]
    ahead, above = [
        [0.22, 0.34, 0.24, 0.27, 0.31, 0.29, 0.4, 0.28],
        [0.2, 0.36, 0.52, 0.7, 0.66, 0.52, 0.36, 0.12],
    ]
    neck = hip + np.stack([ahead, above], axis=-1)
    beak = head + np.array([[0.05, 0.03], [0.24, -0.01], [0.05, -0.03]])
    return _oval(body, 0.34, 0.14, 0.25), neck, _oval(head, 0.07, 0.05), beak


def _oval(centre, across, up, tilt=0.0):
    turn = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    x, y = across * np.cos(turn), up * np.sin(turn)
    return centre + np.stack(
        [x * np.cos(tilt) - y * np.sin(tilt), x * np.sin(tilt) + y * np.cos(tilt)], axis=-1
    )


# One slider


def crouch(puppet: Puppet, lowered_cm: float) -> tuple[Stage, str]:
    """A leg whose foot stays while its pelvis sinks, and what happened in words."""
    ankle = np.array([0.0, puppet.ankle_height])
    hip = ankle + [0.0, puppet.leg_length - lowered_cm / 100]
    leg, points = planar_leg(puppet, hip, ankle)
    stage = Stage(
        "side", (-0.7, -0.12), (0.9, 0.96), "The pelvis sinks, the foot stays", width=560
    ).floor()
    stage.ghost(ankle + [[0.0, puppet.leg_length], [0.0, 0.0]])
    stage.foot(points[-1], kind="inverse", height=puppet.ankle_height)
    stage.chain(points, "inverse", names=LEG)
    if lowered_cm:
        stage.measure(ankle + [0.0, puppet.leg_length], hip, f"{lowered_cm:.0f} cm", offset=-70)
    words = (
        f"Pelvis <b>{lowered_cm:.0f} cm</b> lower: the knee is bent by"
        f" <b>{np.degrees(leg.knee):.0f}°</b>."
    )
    return stage, words


def try_panel(puppet: Puppet) -> Panel:
    """One slider and a leg."""
    return Panel(
        "Drag the slider: does the picture move?",
        [Slider("lowered_cm", "Pelvis lowered", 0.0, DEEPEST_CM, 1.0, 8.0, "cm")],
        partial(crouch, puppet),
        {"Standing": {"lowered_cm": 0.0}, "Crouching": {"lowered_cm": DEEPEST_CM}},
        size=600,
    )
