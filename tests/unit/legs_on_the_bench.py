"""Legs on the bench for tests: whose they are, and how one changes them for the worse."""

import numpy as np

from rigkit import puppets
from rigkit.bench import build, painting
from rigkit.bench.state import State

MINE = puppets.personal(np.random.default_rng(3))
WALKERS = ("Tamsin", "Odo", "Pip", MINE)


def name_of(puppet):
    return puppets.get(puppet).name


def sound(puppet="Tamsin"):
    return State.bare(puppet).with_sound("12")


def moved(state, joint, x=0, y=0, z=0):
    place = tuple(a + b for a, b in zip(state.joints_mm[joint], (x, y, z), strict=True))
    return put(state, "joints_mm", **{joint: place})


def put(state, field, **entries):
    """The state with some entries of one of its mappings changed."""
    return state.changed(**{field: dict(getattr(state, field)) | entries})


def left_out(state, field, key):
    kept = {name: value for name, value in getattr(state, field).items() if name != key}
    return state.changed(**{field: kept})


def pole(state, x=0, z=None):
    left, up, forward = state.pole_mm
    return state.changed(pole_mm=(left + x, up, forward if z is None else z))


def painted_in_two(state):
    """Thigh and shank painted against each other at the knee, without anything between."""
    vertices, knee = build.skin(state.puppet).vertices, state.metres()["knee"]
    near = np.flatnonzero((vertices[:, 0] > 0.01) & (np.abs(vertices[:, 1] - knee[1]) < 0.03))
    shares = (vertices[near, 1] < knee[1]).astype(float)
    return state.changed(painted=painting.pack_painted(near, shares))


def straight(state):
    return moved(state, "knee", z=-state.joints_mm["knee"][2])


def behind(state):
    return moved(state, "knee", z=-2 * state.joints_mm["knee"][2])


# Mistakes by name: the step that shows them, what makes them of a sound leg, and the numbers that
# must be out of their limits, each by its first words.
MISTAKES = {
    "the hip at the trochanter": (
        "01",
        lambda s: moved(s, "hip", x=60),
        ["hip from", "knee beside"],
    ),
    "the knee at the front of the skin": (
        "01",
        lambda s: moved(s, "knee", z=25),
        ["knee off", "knee on the way", "skin slides in a bend of 90° at the knee"],
    ),
    "the knee beside the line": (
        "01",
        lambda s: moved(s, "knee", x=12),
        ["knee off", "knee beside"],
    ),
    "the ankle in the sole": (
        "01",
        lambda s: moved(s, "ankle", y=10 - s.joints_mm["ankle"][1]),
        [
            "ankle off",
            "ankle on the way",
            "skin slides in a bend of 90° at the ankle",
            "ankle from the",
        ],
    ),
    "the knee at the hem": ("01", lambda s: moved(s, "knee", y=50), ["knee from the height"]),
    "the knee at the shin": ("01", lambda s: moved(s, "knee", y=-40), ["knee from the height"]),
    "the ankle at the slimmest": (
        "01",
        lambda s: moved(s, "ankle", y=45),
        ["ankle from the height"],
    ),
    "the ball below the ankle": ("01", lambda s: moved(s, "ball", z=-60), ["ball along"]),
    "the toe short of the tip": ("01", lambda s: moved(s, "toe", z=-20), ["toe from"]),
    "the ball in the air": ("01", lambda s: moved(s, "ball", y=10), ["ball and toe off"]),
    "a loose knee": (
        "02",
        lambda s: left_out(s, "parents", "knee"),
        ["joints that", "joints left"],
    ),
    "the ankle hung from the hip": (
        "02",
        lambda s: put(s, "parents", ankle="hip"),
        ["joints that"],
    ),
    "a hip left turned": (
        "02",
        lambda s: s.changed(turns_deg={"hip": 3}),
        ["joints left turned"],
    ),
    "a hinge aslant": ("03", lambda s: s.changed(hinge_deg={"knee": -8}), ["hinge off"]),
    "a hinge backward": ("03", lambda s: s.changed(hinge_deg={"hip": 180}), ["hinge off"]),
    "mirrored across the wrong plane": (
        "03",
        lambda s: s.changed(plane_mm=10),
        ["right side", "ankles apart"],
    ),
    "mirrored to bend the other way": (
        "03",
        lambda s: s.changed(mirror="opposite bend"),
        ["right axes", "ankles apart"],
    ),
    "a forward chain": ("04", lambda s: s.changed(inverse=False), ["foot slips"]),
    "a foot that the pelvis carries": (
        "08",
        lambda s: put(s, "follows", L_foot="pelvis"),
        ["foot carried off"],
    ),
    "no soft reach": ("05", lambda s: s.changed(soft_mm=0), ["knee at"]),
    "hardly soft": ("05", lambda s: s.changed(soft_mm=2), ["knee at"]),
    "too soft": ("05", lambda s: s.changed(soft_mm=60), ["ankle short"]),
    "a straight leg": ("06", straight, ["bend at rest", "solvers that stall"]),
    "the knee behind the line": ("06", behind, ["bend at rest"]),
    "a leg bent far": (
        "06",
        lambda s: moved(s, "knee", z=60),
        ["bend at rest", "reach that"],
    ),
    "the pole behind": ("07", lambda s: pole(s, z=-600), ["knee jumps", "pole ahead"]),
    "the pole beside": ("07", lambda s: pole(s, x=400), ["knee jumps", "knee beside"]),
    "the pole in the knee": (
        "07",
        lambda s: s.changed(pole_mm=s.joints_mm["knee"]),
        ["pole ahead", "knee turns"],
    ),
    "the pivot at the outline": (
        "08",
        lambda s: put(s, "pivots_mm", L_foot=s.outlines_mm["L_foot"]),
        ["foot's pivot"],
    ),
    "the pelvis's pivot on the floor": (
        "08",
        lambda s: put(s, "pivots_mm", pelvis=(0, 0, 0)),
        ["pelvis's pivot"],
    ),
    "the foot's outline at the ankle": (
        "08",
        lambda s: put(s, "outlines_mm", L_foot=s.joints_mm["ankle"]),
        ["foot's outline"],
    ),
    "a foot's control that follows": (
        "08",
        lambda s: put(s, "follows", L_foot="pelvis"),
        ["foot carried"],
    ),
    "a pole that stays": ("08", lambda s: s.changed(follows={}), ["pole left"]),
    "a torn crease": ("09", lambda s: s.changed(softness=0.35), ["longest stretch", "weight that"]),
    "a hose": ("09", lambda s: s.changed(softness=8), ["volume"]),
    "painted in two": ("09", painted_in_two, ["longest stretch"]),
    "the pelvis too high": (
        "10",
        lambda s: put(s, "pelvis", drop_mm=-40),
        ["foot slides", "knees that", "pelvis below"],
    ),
    "the pelvis too low": (
        "10",
        lambda s: put(s, "pelvis", drop_mm=150),
        ["joints beyond", "pelvis below"],
    ),
    "no sway": ("10", lambda s: put(s, "pelvis", sway_mm=0), ["pelvis goes"]),
    "feet not planted": (
        "10",
        lambda s: s.changed(inverse=False),
        ["foot slides", "pelvis below"],
    ),
    "the heel's pivot inside": (
        "11",
        lambda s: put(s, "sole_mm", heel=s.sole_mm["heel"] + 10),
        ["sole below", "sole slips"],
    ),
    "the heel's pivot outside": (
        "11",
        lambda s: put(s, "sole_mm", heel=s.sole_mm["heel"] - 10),
        ["sole off", "sole slips"],
    ),
    "the ball's pivot behind": (
        "11",
        lambda s: put(s, "sole_mm", ball=s.sole_mm["ball"] - 15),
        ["sole below", "sole slips"],
    ),
    "the toe's pivot beyond the tip": (
        "11",
        lambda s: put(s, "sole_mm", toe=s.sole_mm["toe"] + 15),
        ["sole off"],
    ),
}
