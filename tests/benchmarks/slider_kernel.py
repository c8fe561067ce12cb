"""The time of a slider's step in the kernel: a panel's SVG text, and the same inline figure."""

from base64 import b64encode

import numpy as np

from rigkit.panels import Panel, Slider
from rigkit.stage import Stage, row
from rigkit.two_bone import planar_points, solve_planar
from tests.benchmarks.figures import compared, take_turns

UPPER, LOWER, ANKLE = 0.43, 0.43, 0.08
LOW, HIGH = (-0.45, -0.15), (0.5, 1.0)
ROUNDS = 40


def pose(drop_cm):
    """Hip, knee and ankle: standing, let down with the pelvis, and with the foot staying."""
    stand, ankle = np.array([0.0, ANKLE + 0.995 * (UPPER + LOWER)]), np.array([0.0, ANKLE])
    hip = stand - (0.0, drop_cm / 100)
    rest, inverse = (solve_planar(ankle - top, UPPER, LOWER) for top in (stand, hip))
    rest_points = stand + planar_points(rest.hip, rest.knee, UPPER, LOWER)
    inverse_points = hip + planar_points(inverse.hip, inverse.knee, UPPER, LOWER)
    return (
        rest_points,
        rest_points - (0.0, drop_cm / 100),
        inverse_points,
        np.degrees(float(inverse.knee)),
    )


def draw(drop_cm):
    """The picture of a panel with two views, and its readout."""
    rest, forward, inverse, bend_deg = pose(drop_cm)
    miss = f"{drop_cm:.1f} cm"
    left = (
        Stage("side", LOW, HIGH, "Forward: the leg follows the pelvis", width=400)
        .floor()
        .ghost(rest)
    )
    left.goal(rest[-1]).foot(forward[-1], side="L").chain(forward, "forward", "L", ("hip", "knee"))
    left.measure(rest[-1], forward[-1], miss, offset=-50)
    right = Stage("side", LOW, HIGH, "Inverse: the foot stays", width=400).floor().ghost(rest)
    right.goal(rest[-1]).foot(inverse[-1], kind="inverse", side="L").chain(
        inverse, "inverse", "L", ("hip", "knee")
    )
    right.arc(inverse[1], 2 * inverse[1] - inverse[0], inverse[2], f"{bend_deg:.0f}°")
    return (
        row(left, right),
        f"The forward foot sinks by {miss}; the inverse knee bends by {bend_deg:.0f}°.",
    )


def panel():
    """The panel whose slider is pressed."""
    return Panel(
        "Lower the pelvis: one foot sinks, the other stays.",
        [Slider("drop_cm", "Pelvis lowered by", 0, 30, 0.1, 13, "cm")],
        draw,
    )


def figure(drop_cm):
    """The same picture as a plain lesson draws it: pyplot, a new figure each time."""
    import matplotlib.pyplot as plt

    rest, forward, inverse, bend_deg = pose(drop_cm)
    made, axes = plt.subplots(1, 2, figsize=(8, 4.8))
    for ax, leg, hue, title in zip(
        axes,
        (forward, inverse),
        ("tab:orange", "tab:blue"),
        ("Forward: the leg follows the pelvis", "Inverse: the foot stays"),
        strict=True,
    ):
        ax.set_xlim(LOW[0], HIGH[0])
        ax.set_ylim(LOW[1], HIGH[1])
        ax.set_aspect("equal")
        ax.axis("off")
        ax.set_title(title, loc="left")
        ax.axhspan(LOW[1], 0, color="0.95")
        ax.axhline(0, color="0.5")
        ax.plot(*rest.T, ":", color="0.5")
        ax.plot(*rest[-1], "o", markersize=18, markerfacecolor="none", color="tab:green")
        ax.text(rest[-1, 0] + 0.08, rest[-1, 1], "goal", color="tab:green")
        x, y = leg[-1]
        ax.fill([x - 0.06, x + 0.19, x], [y - ANKLE, y - ANKLE, y], color=hue, alpha=0.5)
        for start, end, wide in ((leg[0], leg[1], 0.03), (leg[1], leg[2], 0.024)):
            along = (end - start) / np.linalg.norm(end - start)
            across = np.array([-along[1], along[0]])
            ax.fill(
                *np.array(
                    [
                        start + wide * across,
                        start - wide * across,
                        end - 0.6 * wide * across,
                        end + 0.6 * wide * across,
                    ]
                ).T,
                color=hue,
                alpha=0.5,
            )
        ax.plot(*leg.T, "o", markersize=9, markerfacecolor="white", color=hue)
        for name, point in zip(("hip", "knee"), leg, strict=False):
            ax.text(point[0] + 0.05, point[1], name, color="0.4")
    axes[0].annotate(
        "", forward[-1] - (0.12, 0), rest[-1] - (0.12, 0), arrowprops={"arrowstyle": "|-|"}
    )
    axes[0].text(
        -0.15,
        ANKLE - drop_cm / 200,
        f"{drop_cm:.1f} cm",
        ha="right",
        weight="bold",
        color="tab:red",
    )
    axes[1].text(inverse[1, 0], inverse[1, 1] - 0.12, f"{bend_deg:.0f}°", weight="bold")
    return made


def inline(drop_cm):
    """The message of the inline backend for `figure`: a PNG in a tight box, in base64."""
    import matplotlib.pyplot as plt
    from IPython.core.pylabtools import print_figure

    made = figure(drop_cm)
    png = print_figure(made, fmt="png", bbox_inches="tight")
    plt.close(made)
    return b64encode(png)


def measure():
    import matplotlib

    matplotlib.use("agg")
    live = panel()
    values = iter(np.round(np.linspace(0, 30, 3 * ROUNDS + 3), 2))  # none twice, so none cached
    times = take_turns(
        {
            "to markup": lambda: draw(next(values))[0].html(style=False),
            "to a frame": lambda: live.frame(drop_cm=next(values)),
            "inline": lambda: inline(next(values)),
        },
        ROUNDS,
    )
    figure = times.pop("inline")
    return [
        compared(
            f"slider step in the kernel, {name}",
            own,
            "an inline figure",
            figure,
            detail=name == "to markup",
        )
        for name, own in times.items()
    ]
