"""Human measurements: segment lengths, hip joint centres, ranges of motion, each with its source.

The numbers live in `rigkit/data/*.csv`; `rows` reads them, `as_text` prints them, `sources` cites
them. The `status` of a number says where it was read: "seen" (in the work itself), "seen,
secondary" (in a file that cites the work), "computed" (from the work's data), "from memory" (not
confirmed), "our choice" (no source).
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from io import StringIO
from types import MappingProxyType
from typing import Any

import numpy as np

from rigkit import _check, _format
from rigkit import frames as fr
from rigkit._types import ArrayLike, Floats

__all__ = [
    "CAUTION",
    "DATA",
    "SEGMENT_TABLES",
    "HIP_METHODS",
    "RANGE_TABLES",
    "JOINT_MOTIONS",
    "Row",
    "SegmentLengths",
    "segment_lengths",
    "Pelvis",
    "pelvis",
    "HipCentres",
    "hip_centres",
    "JointRange",
    "joint_range",
    "Source",
    "sources",
    "as_text",
    "rows",
]

Row = Mapping[str, Any]  # a data file's row: text, a number or None, as its columns have it

CAUTION = "Population averages, for drawing and teaching; not for clinical or ergonomic use."

DATA = (
    "segments",
    "hip_centres",
    "hip_centres_davis",
    "ranges_of_motion",
    "gait_angles",
    "gait_paces",
    "gait_pelvis",
)
SEGMENT_TABLES = ("drillis-contini", "ansur-men", "ansur-women", "de-leva-men", "de-leva-women")
HIP_METHODS = (
    "bell-1989",
    "bell-1990",
    "harrington",
    "harrington-single",
    "hara",
    "davis",
    "leardini",
    "seidel",
)
RANGE_TABLES = ("cdc", "aaos", "merck", "boone-azen")

# Each joint's two ends, as the tables name them: the negative motion, then the positive one.
JOINT_MOTIONS = MappingProxyType(
    {
        "hip": ("hip_extension", "hip_flexion"),
        "hip_abduction": ("hip_adduction", "hip_abduction"),
        "hip_rotation": ("hip_external_rotation", "hip_internal_rotation"),
        "knee": ("knee_extension", "knee_flexion"),
        "ankle": ("ankle_plantarflexion", "ankle_dorsiflexion"),
    }
)


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class SegmentLengths(_format.NotebookDisplay):
    """Lengths of a body's segments; None where the table has no such number.

    Attributes
    ----------
    thigh : ndarray, shape (...)
        Hip to knee [m].
    shank : ndarray, shape (...)
        Knee to ankle [m].
    foot_length : ndarray, shape (...)
        Heel to toe [m].
    ankle_height : ndarray, shape (...), or None
        Above the floor [m].
    knee_height, hip_height : ndarray, shape (...), or None
        Above the floor, standing [m].
    ball_length : ndarray, shape (...), or None
        Heel to ball [m].
    foot_breadth, pelvis_breadth : ndarray, shape (...), or None
        At its widest [m].
    """

    thigh: Floats
    shank: Floats
    foot_length: Floats
    ankle_height: Floats | None = None
    knee_height: Floats | None = None
    hip_height: Floats | None = None
    ball_length: Floats | None = None
    foot_breadth: Floats | None = None
    pelvis_breadth: Floats | None = None

    def __repr__(self) -> str:
        return _format.line(
            self,
            *(
                f"{name.replace('_', ' ')} {_format.length(value)}"
                for name, value in vars(self).items()
                if value is not None
            ),
            batch=_format.batch(self.thigh),
        )


def segment_lengths(stature: ArrayLike, table: str = "drillis-contini") -> SegmentLengths:
    """Average lengths of the leg's segments for a stature: published fractions of it.

    Tables measure between different landmarks (`as_text("segments")` says which), so their thighs
    differ. Population averages, for drawing and teaching; not for clinical or ergonomic use. The
    sources are in `sources()`.

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

    Examples
    --------
    >>> from rigkit import body
    >>> lengths = body.segment_lengths(1.70)
    >>> round(float(lengths.thigh), 4), round(float(lengths.shank), 4)
    (0.4165, 0.4182)
    """
    stature = _check.positive("stature", stature, hint="Statures are in metres, such as 1.70.")
    _check.choice("table", table, SEGMENT_TABLES)
    chosen = [row for row in rows("segments") if row["table"] == table]
    return SegmentLengths(**{row["quantity"]: stature * row["fraction"] for row in chosen})


@dataclass(frozen=True)
class Pelvis(_format.NotebookDisplay):
    """A pelvis, as its landmarks lie: the ASISs and the PSISs, its foremost and hindmost points.

    Attributes
    ----------
    frame : ndarray, shape (..., 4, 4)
        Origin midway between the two ASISs; x to the left ASIS, z forward in the plane of both
        ASISs and the middle of the PSISs, y up.
    width : ndarray, shape (...)
        From ASIS to ASIS, the foremost points of its rim [m].
    depth : ndarray, shape (...)
        From the middle of the ASISs to that of the PSISs, the hindmost [m].
    """

    frame: Floats
    width: Floats
    depth: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"width {_format.length(self.width)}",
            f"depth {_format.length(self.depth)}",
            f"origin {_format.origin(self.frame)}",
            batch=_format.batch(self.width),
        )


def pelvis(
    left_asis: ArrayLike, right_asis: ArrayLike, left_psis: ArrayLike, right_psis: ArrayLike
) -> Pelvis:
    """The pelvis frame and its two measures from four landmarks.

    ASIS and PSIS are the foremost and hindmost points of the pelvis rim (anterior and posterior
    superior iliac spine). The frame is that of the ISB recommendation (G. Wu et al., J. Biomech.
    35:543-548, 2002), in our axes and with its origin midway between the ASISs.

    Parameters
    ----------
    left_asis, right_asis, left_psis, right_psis : array_like, shape (..., 3)
        Metres.

    Returns
    -------
    Pelvis

    Raises
    ------
    ValueError
        If the ASISs fall together, or the PSISs' middle lies on their line.

    Examples
    --------
    >>> from rigkit import body
    >>> body.pelvis([0.12, 1, 0.1], [-0.12, 1, 0.1], [0.05, 1, -0.05], [-0.05, 1, -0.05])
    Pelvis: width 0.240 m, depth 0.150 m, origin (0.000, 1.000, 0.100) m
    """
    given = {
        "left_asis": left_asis,
        "right_asis": right_asis,
        "left_psis": left_psis,
        "right_psis": right_psis,
    }
    points = {name: _check.numbers(name, value, 3) for name, value in given.items()}
    _check.batch(**{name: value.shape[:-1] for name, value in points.items()})
    left, right, left_back, right_back = points.values()
    across, origin = left - right, (left + right) / 2
    back = origin - (left_back + right_back) / 2
    x = _check.directions("left_asis - right_asis", across, hint="The two ASISs must be apart.")
    forward = back - np.sum(back * x, axis=-1, keepdims=True) * x
    z = _check.directions("front - back", forward, hint="The PSISs must lie behind the ASISs.")
    turn = np.stack([x, np.cross(z, x), z], axis=-1)
    return Pelvis(
        fr.frame(turn, origin), np.linalg.norm(across, axis=-1), np.linalg.norm(back, axis=-1)
    )


@dataclass(frozen=True)
class HipCentres(_format.NotebookDisplay):
    """The two hip joint centres.

    Attributes
    ----------
    left, right : ndarray, shape (..., 3)
        In the pelvis frame: left, up, forward of the middle of the ASISs [m].
    """

    left: Floats
    right: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"left {_format.point(self.left)}",
            f"right {_format.point(self.right)} from the ASISs' middle",
            batch=_format.batch(self.left, 1),
        )


def hip_centres(
    method: str = "harrington",
    *,
    pelvis_width: ArrayLike | None = None,
    pelvis_depth: ArrayLike | None = None,
    leg_length: ArrayLike | None = None,
    pelvis_height: ArrayLike | None = None,
    marker_radius: ArrayLike | None = None,
) -> HipCentres:
    """Positions of the hip joints from measures of pelvis and leg: a published regression.

    The answer is in the frame of `pelvis`: x left, y up, z forward, from the middle of the ASISs.
    "harrington" has several predictors, "harrington-single" one for each axis. Bell's 1989 and
    Seidel's rules start at the ASIS itself, half the width from the middle: 0.5 − 0.14 = 0.36.
    Expect to be 1 to 3 cm off for a given person. The sources are in `sources()`.

    Parameters
    ----------
    method : str
        One of `HIP_METHODS`: "bell-1989", "bell-1990", "harrington", "harrington-single", "hara",
        "davis", "leardini", "seidel".
    pelvis_width : array_like, shape (...), optional
        From ASIS to ASIS, metres. A measure may be left out where the method does not use it.
    pelvis_depth : array_like, shape (...), optional
        From the middle of the ASISs to the middle of the PSISs, metres.
    leg_length : array_like, shape (...), optional
        From ASIS to inner ankle (medial malleolus), metres.
    pelvis_height : array_like, shape (...), optional
        As Seidel measures it, metres.
    marker_radius : array_like, shape (...), optional
        Of the skin markers on the ASISs, metres; Davis takes it off.

    Returns
    -------
    HipCentres

    Raises
    ------
    ValueError
        If a measure the method needs is missing, named, or not above zero.

    Examples
    --------
    >>> from rigkit import body
    >>> hips = body.hip_centres(pelvis_width=0.24, pelvis_depth=0.15, leg_length=0.88)
    >>> hips.left.round(3).tolist()
    [0.088, -0.081, -0.046]
    """
    _check.choice("method", method, HIP_METHODS)
    given = {
        "pelvis_width": pelvis_width,
        "pelvis_depth": pelvis_depth,
        "leg_length": leg_length,
        "pelvis_height": pelvis_height,
        "marker_radius": marker_radius,
    }
    measures = {k: _check.positive(k, value) for k, value in given.items() if value is not None}
    _check.batch(**{name: value.shape for name, value in measures.items()})
    needed = _hip_terms(method)
    missing = [name for name in needed if name not in measures]
    if missing:
        raise ValueError(
            f"`{missing[0]}` must be given for the method {method!r}; got None. "
            f"It needs {', '.join(needed)}."
        )
    if method == "davis":
        place = _davis(*(measures[name] for name in needed))
    else:
        place = _linear_hip(method, measures)
    forward, up, outward = np.broadcast_arrays(*place)
    # The papers' axes are forward, up, and right or outward; ours are left, up, forward.
    return HipCentres(
        np.stack([outward, up, forward], axis=-1), np.stack([-outward, up, forward], axis=-1)
    )


def _hip_terms(method: str) -> list[str]:
    if method == "davis":
        return ["pelvis_width", "leg_length", "marker_radius"]
    terms = [row["times"] for row in rows("hip_centres") if row["method"] == method]
    return [name for name in dict.fromkeys(terms) if name != "one_metre"]


def _linear_hip(method: str, measures: Mapping[str, Floats]) -> list[Floats]:
    measures = {**measures, "one_metre": np.ones(())}
    place = dict.fromkeys(("forward", "up", "outward"), np.zeros(()))
    for row in rows("hip_centres"):
        if row["method"] == method:
            place[row["axis"]] = place[row["axis"]] + row["coefficient"] * measures[row["times"]]
    return list(place.values())


def _davis(width: Floats, leg: Floats, radius: Floats) -> list[Floats]:
    k = {row["constant"]: row["value"] for row in rows("hip_centres_davis")}
    c = k["c_per_leg_length"] * leg + k["c_metres"]
    back = k["xdis_per_leg_length"] * leg + k["xdis_metres"] + radius
    theta, beta = np.deg2rad(k["theta_deg"]), np.deg2rad(k["beta_deg"])
    forward = -back * np.cos(beta) + c * np.cos(theta) * np.sin(beta)
    up = -back * np.sin(beta) - c * np.cos(theta) * np.cos(beta)
    return [forward, up, width / 2 - c * np.sin(theta)]


@dataclass(frozen=True)
class JointRange(_format.NotebookDisplay):
    """The range through which a joint turns on average.

    Attributes
    ----------
    low : float
        The least angle, zero or below [rad].
    high : float
        The greatest angle [rad].
    low_status, high_status : str
        How that number is known.
    """

    low: float
    high: float
    low_status: str
    high_status: str

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"{_format.angle(self.low)} ({self.low_status}) to {_format.angle(self.high)} "
            f"({self.high_status})",
        )

    def outside(self, angles: ArrayLike) -> Floats:
        """The part of angles that lies outside: below `low` negative, above `high` positive.

        Parameters
        ----------
        angles : array_like, shape (...)
            Radians.

        Returns
        -------
        ndarray, shape (...)
            Radians; zero inside.

        Raises
        ------
        ValueError
            Bad numbers.
        """
        angles = _check.numbers("angles", angles)
        return angles - np.clip(angles, self.low, self.high)


def joint_range(
    joint: str, table: str = "aaos", sex: str | None = None, age: float | None = None
) -> JointRange:
    """The average range of motion of a joint of the leg.

    Signs: hip, knee and ankle flexion (dorsiflexion) are positive, so are abduction and internal
    rotation; zero is standing straight. Population averages, for drawing and teaching; not for
    clinical or ergonomic use. People vary far more than their averages. The sources are in
    `sources()`.

    Parameters
    ----------
    joint : {"hip", "hip_abduction", "hip_rotation", "knee", "ankle"}
    table : {"cdc", "aaos", "merck", "boone-azen"}
        "cdc" is measured by age and sex (Soucie et al. 2011); the others are handbook values, one
        for all.
    sex : {"F", "M"}, for "cdc" only
    age : float, for "cdc" only
        Years, 2 to below 70.

    Returns
    -------
    JointRange

    Raises
    ------
    ValueError
        If the table does not list that joint, lacks the sex and age that it needs, or is given
        them in vain.

    Examples
    --------
    >>> from rigkit import body
    >>> body.joint_range("knee", "cdc", sex="F", age=30)
    JointRange: -1.6° (from memory) to 141.9° (seen, secondary)
    """
    _check.choice("joint", joint, JOINT_MOTIONS)
    _check.choice("table", table, RANGE_TABLES)
    if table == "cdc":
        _check.choice("sex", sex, ("F", "M"))
        age = _check_age(age)
    elif (sex, age) != (None, None):
        raise ValueError(
            f"`sex` and `age` must be left out for the table {table!r}, one for all; "
            f"got {sex!r} and {age!r}. Only the table 'cdc' has them."
        )
    (low, low_status), (high, high_status) = (
        _range_row(motion, table, sex, age) for motion in JOINT_MOTIONS[joint]
    )
    return JointRange(0.0 - low, high, low_status, high_status)


def _check_age(age: float | None) -> float:
    years = _check.numbers("age", age, hint="Give one age in years, such as 30.")  # type: ignore[arg-type]  # refuses None
    if years.ndim or not 2 <= years < 70:
        raise ValueError(
            f"`age` must be one age from 2 to below 70 years; got {age}. The study has no others."
        )
    return float(years)


def _range_row(motion: str, table: str, sex: str | None, age: float | None) -> tuple[float, str]:
    for row in rows("ranges_of_motion"):
        same = (row["table"], row["motion"], row["sex"]) == (table, motion, sex)
        if same and (age is None or row["age_from"] <= age < row["age_to"] + 1):
            return float(np.deg2rad(row["mean_deg"])), row["status"]
    raise ValueError(
        f"`table` must list {motion.replace('_', ' ')}; got {table!r}, which does not. "
        "The table 'aaos' lists all joints."
    )


@dataclass(frozen=True)
class Source(_format.NotebookDisplay):
    """A cited work, and the number of our rows that come from it by status.

    Attributes
    ----------
    key, citation : str
    statuses : dict of str to int
    """

    key: str
    citation: str
    statuses: dict[str, int]

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"{self.key} ({self.citation})",
            *(f"{n} {status}" for status, n in self.statuses.items()),
        )


def sources() -> tuple[Source, ...]:
    """Every work the data files cite, with the number of rows that rest on it by status.

    Returns
    -------
    tuple of Source

    Examples
    --------
    >>> from rigkit import body
    >>> "soucie" in [source.key for source in body.sources()]
    True
    """
    counts = Counter((row["source"], row["status"]) for name in DATA for row in rows(name))
    return tuple(
        Source(
            work["key"],
            work["citation"],
            {status: n for (key, status), n in counts.items() if key == work["key"]},
        )
        for work in _read("sources")
    )


def as_text(name: str) -> str:
    """A data file as aligned text, with its citations and the caution, for a lesson.

    Parameters
    ----------
    name : str
        One of `DATA`.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If there is no such file.
    """
    table = rows(name)
    lines = [list(table[0]), *([_cell(value) for value in row.values()] for row in table)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    text = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]
    used = {row["source"] for row in table}
    cited = [
        f"{work['key']}: {work['citation']}" for work in _read("sources") if work["key"] in used
    ]
    return "\n".join([*text, "", *cited, "", CAUTION])


def rows(name: str) -> tuple[Row, ...]:
    """The rows of a data file: numbers are floats, an empty field is None.

    Parameters
    ----------
    name : str
        One of `DATA`: "segments", "hip_centres", "hip_centres_davis", "ranges_of_motion",
        "gait_angles", "gait_paces", "gait_pelvis".

    Returns
    -------
    tuple of mapping
        Each read-only.

    Raises
    ------
    ValueError
        If there is no such file.

    Examples
    --------
    >>> from rigkit import body
    >>> sorted({row["table"] for row in body.rows("segments")})[:2]
    ['ansur-men', 'ansur-women']
    """
    return _read(_check.choice("name", name, DATA))


@cache
def _read(name: str) -> tuple[Row, ...]:
    text = (resources.files("rigkit") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(
        MappingProxyType({key: _value(cell) for key, cell in row.items()})
        for row in csv.DictReader(StringIO(text))
    )


def _value(text: str) -> float | str | None:
    try:
        return float(text) if text else None
    except ValueError:
        return text


def _cell(value: float | str | None) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else value
