"""The first page's pictures: the parade of puppets on one floor, a leg to take hold of."""

from collections.abc import Mapping
from functools import partial

import numpy as np

from rigkit._types import Floats
from rigkit.asking import Guess
from rigkit.panels import Grip, Panel, Slider
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.bodies import draw_body, level_hips
from rigkit.scenes.preset_bend import hanging, hanging_heron
from rigkit.scenes.staging import LEG, planar_leg
from rigkit.stage import Stage

DEEPEST_CM = 24.0
SAME_CM = 12.0  # two puppets' pelvis lowered by the same


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
        draw_body(stage, puppet, level_hips(puppet, [0.0, hip[1], x]))
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


# One leg to take hold of


def crouch(puppet: Puppet, lowered_cm: float) -> tuple[Stage, str]:
    """A leg whose foot stays while its pelvis sinks, and what happened in words."""
    ankle, hip = np.array([0.0, puppet.ankle_height]), _hip(puppet, lowered_cm)
    leg, points = planar_leg(puppet, hip, ankle)
    tall = puppet.leg_length / PUPPETS["Tamsin"].leg_length
    stage = Stage(
        "side",
        (-0.7 * tall, -0.12),
        (0.9 * tall, 0.96 * tall),
        "The pelvis sinks, the foot stays",
        width=560,
    ).floor()
    draw_body(stage, puppet, level_hips(puppet, [0.0, hip[1], hip[0]]))
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
    """A leg to take by its hip, and one slider."""
    return Panel(
        "Pull the leg down by its hip: what gives way?",
        [Slider("lowered_cm", "Pelvis lowered", 0.0, DEEPEST_CM, 1.0, 0.0, "cm")],
        partial(crouch, puppet),
        {"Standing": {"lowered_cm": 0.0}, "Crouching": {"lowered_cm": DEEPEST_CM}},
        size=600,
        grips=[Grip("Hip", partial(_hip, puppet), ("lowered_cm",))],
    )


def stilts_guess(odo: Puppet, tamsin: Puppet) -> Panel:
    """Ask whether a longer leg bends more, for the same way down."""
    return try_panel(odo).after(
        Guess(
            "00/stilts",
            "Odo stands on stilts: his shank is more than half as long again as Tamsin's. His"
            f" pelvis comes down by {SAME_CM:.0f} cm, and so does hers. <b>Does his knee bend more"
            " than hers, as much, or less?</b>",
            ("more", "as much", "less"),
            lambda lowered_cm: _bends(odo, tamsin) if lowered_cm == SAME_CM else None,
            f"Pull his pelvis down by {SAME_CM:.0f} cm.",
        )
    )


def _bends(odo, tamsin):
    """The one's bend against the other's, and in words."""
    his, hers = (_bend_deg(puppet, SAME_CM) for puppet in (odo, tamsin))
    right = "as much" if np.isclose(his, hers) else "more" if his > hers else "less"
    return right, f"His knee is bent by <b>{his:.0f}°</b>, hers by <b>{hers:.0f}°</b>."


def _bend_deg(puppet, lowered_cm):
    ankle = np.array([0.0, puppet.ankle_height])
    return float(np.degrees(planar_leg(puppet, _hip(puppet, lowered_cm), ankle)[0].knee))


def _hip(puppet, lowered_cm):
    return np.array([0.0, puppet.ankle_height + puppet.leg_length - lowered_cm / 100])
