"""Human measurements: segment lengths, hip joint centres, ranges of motion, each number with its source and status.

The numbers live in `rigkit/data/*.csv`. The `status` of a number says how it was come by: "seen" (read in the work
itself), "seen, secondary" (read in a file that cites the work), "ran" (computed from the work's data), "derived"
(follows from other rows), "from memory" (not confirmed), "our choice" (no source).
"""

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from rigkit import _check

CAUTION = "Population averages, for drawing and teaching; not for clinical or ergonomic use."

SEGMENT_TABLES = ("drillis-contini", "ansur-men", "ansur-women", "de-leva-men", "de-leva-women")


@dataclass(frozen=True)
class SegmentLengths:
    """Lengths in metres, each of the shape of the stature asked for; None where the table has no such number."""

    thigh: np.ndarray
    shank: np.ndarray
    foot_length: np.ndarray
    ankle_height: np.ndarray | None = None
    knee_height: np.ndarray | None = None
    hip_height: np.ndarray | None = None
    ball_length: np.ndarray | None = None
    foot_breadth: np.ndarray | None = None
    pelvis_breadth: np.ndarray | None = None


def segment_lengths(stature, table="drillis-contini"):
    """Average lengths of the leg's segments for a stature: published fractions of it.

    Tables measure between different landmarks (`rows("segments")` says which), so their thighs differ.
    Population averages, for drawing and teaching; not for clinical or ergonomic use.

    Parameters
    ----------
    stature : array_like, shape (...)
        Metres.
    table : {"drillis-contini", "ansur-men", "ansur-women", "de-leva-men", "de-leva-women"}

    Returns
    -------
    SegmentLengths

    Raises
    ------
    ValueError
        If a stature is not above zero or the table is not one of these.
    """
    stature = _check.positive("stature", stature, hint="Statures are in metres, such as 1.70.")
    _check.choice("table", table, SEGMENT_TABLES)
    return SegmentLengths(**{row["quantity"]: stature * row["fraction"]
                             for row in rows("segments") if row["table"] == table})


@cache
def rows(name):
    """The rows of a data file, as a tuple of dicts; numbers are floats, an empty field is None."""
    path = resources.files("rigkit") / "data" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return tuple({key: _value(text) for key, text in row.items()} for row in csv.DictReader(file))


def _value(text):
    try:
        return float(text) if text else None
    except ValueError:
        return text
