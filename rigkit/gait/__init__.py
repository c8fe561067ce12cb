"""Walking: published joint angles, a walk on a puppet's proportions, sliding and planted feet.

`walk` applies the angles below a pelvis that goes forward evenly, sways and turns: the feet slide.
`plant` keeps each foot where it came down and solves the legs for it. The published angles are
those of children and teenagers walking; every puppet's walk made from them is a teaching example,
not a prediction.

A phase is a share of the gait cycle, 0 when a leg's own foot strikes the floor. Sides are ordered
left, right. Side views are (forward, up).

    curves.py    angles and paces as published, smooth round the cycle
    contact.py   the foot on the floor: slide, strikes, toe-offs
    _plan.py     a walk as functions of a leg's phase: the pelvis's motion, the published legs
    _feet.py     planted feet as such functions, and the height they let the hips have
    walking.py   the forward walk
    planting.py  feet planted, the pelvis they allow, and the same on a rig's controls
    measures.py  a walk measured: pops near full extension, ranges of motion left
"""

from __future__ import annotations

from rigkit.gait._plan import leg_height
from rigkit.gait.contact import foot_slide_cm, foot_strikes, toe_offs
from rigkit.gait.curves import (
    GRAVITY,
    GROUPS,
    JOINTS,
    PELVIS_TILT,
    PELVIS_TURNS,
    TABLES,
    Pace,
    joint_angles,
    pace,
    pelvis_angles,
    periodic_spline,
    segment_angles,
    stance_share,
    sway_width,
)
from rigkit.gait.measures import Pop, extension_pops, outside_range_deg
from rigkit.gait.planting import control_values, foot_goals, highest_hips, pelvis_path, plant
from rigkit.gait.walking import Walk, walk

__all__ = ["GRAVITY", "TABLES", "GROUPS", "JOINTS", "PELVIS_TILT", "PELVIS_TURNS"]
__all__ += ["segment_angles", "periodic_spline", "joint_angles", "Pace", "pace", "stance_share"]
__all__ += ["leg_height", "pelvis_angles", "sway_width"]
__all__ += ["Walk", "walk", "plant", "foot_goals", "highest_hips", "pelvis_path", "control_values"]
__all__ += ["foot_slide_cm", "foot_strikes", "toe_offs", "Pop", "extension_pops"]
__all__ += ["outside_range_deg"]


def __dir__() -> list[str]:
    return __all__
