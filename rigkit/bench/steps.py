"""Every step of the bench as a panel: what is dragged are its grips, what is chosen its controls.

A panel is made from a state, and its values say another state; what it draws, it draws of that one.
Values that are there to look by, such as how far a foot is rolled, change no state.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from rigkit import _check
from rigkit.bench import _controls, _placing, _sides, _solving, _walking
from rigkit.bench.state import State
from rigkit.panels import Panel

__all__ = ["TITLES", "changed_by", "panel"]

Changed = Callable[[State, Mapping[str, Any]], State]


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class _Step:
    title: str
    panel: Callable[[State], Panel]
    changed: Changed


_STEPS = {
    "01": _Step("Joints in the skin", _placing.joints_panel, _placing.joints_changed),
    "02": _Step("What hangs from what", _sides.chain_panel, _sides.chain_changed),
    "03": _Step("Two sides", _sides.hinges_panel, _sides.hinges_changed),
    "04": _Step("Forward and inverse", _solving.chain_panel, _solving.chain_changed),
    "05": _Step("Full reach", _solving.reach_panel, _solving.reach_changed),
    "06": _Step("Preset bend", _placing.bend_panel, _placing.bend_changed),
    "07": _Step("The pole", _solving.pole_panel, _solving.pole_changed),
    "08": _Step("Controls", _controls.controls_panel, _controls.controls_changed),
    "10": _Step("A walk", _walking.walk_panel, _walking.walk_changed),
    "11": _Step("The foot", _controls.foot_panel, _controls.foot_changed),
}
TITLES: Mapping[str, str] = MappingProxyType(
    dict(
        sorted(
            {"09": "The skin", "12": "Sign off"}.items()
            | {name: step.title for name, step in _STEPS.items()}.items()
        )
    )
)


def panel(state: State, step: str) -> Panel:
    """Return the panel of a step, at a state.

    Parameters
    ----------
    state : State
    step : str
        One of `TITLES`, such as "01"; not "09", whose brush is a widget of its own, nor "12", where
        nothing is dragged.

    Returns
    -------
    Panel

    Raises
    ------
    ValueError
        For another step, or a state of which this step can show nothing: earlier steps come first.

    Examples
    --------
    >>> from rigkit.bench import steps
    >>> from rigkit.bench.state import State
    >>> steps.panel(State.bare("Tamsin"), "01").values["hip_out"]
    285
    """
    made = _STEPS[_check.choice("step", step, _STEPS)].panel(state)
    if "views" not in made.shown:
        made.draw(**made.values)  # raises the reason
    return made


def changed_by(state: State, step: str, values: Mapping[str, Any]) -> State:
    """Return the state that the values of a step's panel mean.

    Parameters
    ----------
    state : State
        What the panel was made from.
    step : str
        As for `panel`.
    values : mapping of str to object
        By the keys of the panel's controls.

    Returns
    -------
    State
        The same one if nothing of it is changed.

    Raises
    ------
    ValueError
        For values that no state can have.

    Examples
    --------
    >>> from rigkit.bench import steps
    >>> from rigkit.bench.state import State
    >>> state = State.bare("Tamsin")
    >>> values = steps.panel(state, "01").values | {"hip_out": 85}
    >>> steps.changed_by(state, "01", values).joints_mm["hip"]
    (85, 855, 0)
    """
    after = _STEPS[_check.choice("step", step, _STEPS)].changed(state, values)
    return state if after == state else after
