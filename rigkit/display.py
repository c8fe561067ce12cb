"""What a notebook shows of the library's objects: a picture where one can be drawn, and a small
table of the values.

`show` holds the function for each class. `rigkit` names `bundle` to a notebook that runs; this
module loads when the first object is shown. Plain text is the object's own `repr`; it stands alone
where neither can be made.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import singledispatch
from html import escape
from itertools import pairwise
from typing import Any

import numpy as np

from rigkit import (
    _say,
    bend,
    body,
    controls,
    foot,
    gait,
    gltf,
    leg,
    mesh,
    page,
    placement,
    puppets,
    rotation,
    solvers,
    stage,
    two_bone,
)
from rigkit import inspection as insp
from rigkit import skeleton as sk
from rigkit._types import Floats
from rigkit.stage import Picture, Stage

FEW = 4  # of a batch so many are shown
MOST_ROWS = 16  # a longer table is cut
MOST_NAMES = 16  # more joints than that are drawn without names
WIDTH, HALF = 420, 360  # px; of one picture, and of one of two side by side
NAME = 40  # characters of a stranger's name
UNBROKEN = 16  # characters of a value that stay on one line
MOST_TRIANGLES = 50_000  # of a rig file's skin that is drawn with its joints

_SIZE = "font-size:var(--jp-content-font-size1,14px)"
_SOFT = "color:var(--jp-ui-font-color2,inherit)"
_CELL = (
    "padding:3px 18px 3px"
    f" 0;text-align:left;vertical-align:top;{_SIZE};font-variant-numeric:tabular-nums"
)

Piece = Picture | str  # a picture, or HTML
Row = tuple[
    str, str, Any, int, Callable[[Any], str]
]  # name, meaning, values, axes of one value, how to say it


def bundle(thing: object) -> dict[str, str]:
    """An object in the forms a notebook asks for, by MIME type."""
    words = repr(thing)
    try:
        pieces = list(show(thing))
    except (
        ValueError,
        TypeError,
        LookupError,
        AttributeError,
        ArithmeticError,
    ):  # made by hand, of whatever it was
        return {"text/plain": words}
    pictures = [piece for piece in pieces if isinstance(piece, Picture)]
    html = "".join(
        piece._repr_mimebundle_()["text/html"] if isinstance(piece, Picture) else piece
        for piece in pieces
    )
    card = {"image/svg+xml": pictures[0].card()} if pictures else {}
    return {"text/plain": words, "text/html": f"<div>{html}</div>", **card}


@singledispatch
def show(thing: Any) -> Iterable[Piece]:
    """The pictures and tables of an object; each class registers its own function here."""
    raise TypeError(f"`thing` must be of a class with a display; got {type(thing).__name__}.")


# Tables


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], caption: str = "") -> str:
    """HTML of a small table that follows the page's theme; the first cell of each row is its
    header.

    All text is made harmless here. Of many rows the first are given, and how many more there are.
    """
    rows = list(rows)
    shown = rows if len(rows) <= MOST_ROWS else rows[: MOST_ROWS - 1]
    more = (
        f'<p style="margin:2px 0;{_SIZE};{_SOFT}">and {len(rows) - len(shown)} more</p>'
        if shown != rows
        else ""
    )
    head = "".join(
        f'<th scope="col" style="{_CELL};{_SOFT};font-weight:400">{page.safe(name)}</th>'
        for name in heads
    )
    body = "".join(
        '<tr><th scope="row"'
        f' style="{_CELL};font-weight:600;white-space:nowrap">{page.safe(row[0])}</th>'
        + "".join(map(_cell, row[1:]))
        + "</tr>"
        for row in shown
    )
    said = (
        f'<figcaption style="{_SIZE};{_SOFT}">{page.safe(caption)}</figcaption>' if caption else ""
    )
    return (
        f'<figure style="margin:4px 0;overflow-x:auto">{said}<table'
        ' style="border-collapse:collapse;margin:2px'
        f' 0"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}</figure>'
    )


def _cell(value: object) -> str:
    text = page.plain(value)
    whole = ";white-space:nowrap" if len(text) <= UNBROKEN else ""
    return f'<td style="{_CELL}{whole}">{escape(text)}</td>'


def folded(summary: str, html: str) -> str:
    """HTML that opens on a click."""
    return (
        "<details><summary"
        f' style="cursor:pointer;{_SIZE}">{escape(summary)}</summary>{html}</details>'
    )


def _values(
    thing: object, rows: Iterable[Row], batch: tuple[int, ...] = (), caption: str = ""
) -> str:
    """A table of values; of a batch the first few side by side."""
    if not batch:
        return table(
            (type(thing).__name__, "value", "what it is"),
            [(name, say(values), meaning) for name, meaning, values, _, say in rows],
            caption,
        )
    many = int(np.prod(batch))
    places = [np.unravel_index(i, batch) for i in range(min(many, FEW))]
    lines = [
        (name, *(say(_member(values, axes, batch, place)) for place in places), meaning)
        for name, meaning, values, axes, say in rows
    ]
    said = f"A batch of shape {batch}: {'all' if many <= FEW else f'the first {FEW} of'} {many:,}."
    heads = (
        type(thing).__name__,
        *(f"[{', '.join(map(str, place))}]" for place in places),
        "what it is",
    )
    return table(heads, lines, f"{said} {caption}".strip())


def _member(values: Any, axes: int, batch: tuple[int, ...], place: Any) -> Any:
    array = np.asarray(values)
    return np.broadcast_to(array, (*batch, *array.shape[array.ndim - axes :]))[place]


def _few(values: Any, axes: int) -> Floats:
    """The first few of a batch that are finite, shape (k, ...)."""
    array = np.asarray(values, dtype=float)
    array = array.reshape(-1, *array.shape[array.ndim - axes :])
    return array[np.isfinite(array).all(axis=tuple(range(1, array.ndim)))][:FEW]


def _one_of(many: int, title: str) -> str:
    """A picture's title; of a batch it says that the others are dotted."""
    return title if many == 1 else f"{title}; the next {many - 1} dotted"


# Legs of two bones


@show.register
def _(thing: two_bone.PlanarLeg) -> Iterator[Piece]:
    angles = _few(np.stack(np.broadcast_arrays(thing.hip, thing.knee), axis=-1), 1)
    if len(angles):
        points = two_bone.planar_points(angles[:, 0], angles[:, 1], 1.0, 1.0)
        title = _one_of(
            len(angles), f"Hip {_say.angle(angles[0, 0])}, knee {_say.angle(angles[0, 1])}"
        )
        picture = _bent(points, title, repr(thing))
        hip, knee, _ = points[0]
        picture.path([hip, hip - [0.0, 0.5]], "soft")
        yield picture.arc(hip, hip - [0.0, 1.0], knee, _say.angle(angles[0, 0]), "plain", 60)
    yield _values(
        thing,
        [
            (
                "hip",
                "flexion: 0° hangs straight down, positive with the thigh forward",
                thing.hip,
                0,
                _say.angle,
            ),
            (
                "knee",
                "flexion: 0° is straight, positive with the knee forward",
                thing.knee,
                0,
                _say.angle,
            ),
            ("reached", "whether the ankle is on its goal", thing.reached, 0, _yes),
            ("miss", "how far the ankle stays from its goal", thing.miss, 0, _say.small),
        ],
        _say.batch(thing.hip),
        "The angles do not say how long the bones are: they are drawn alike.",
    )


@show.register
def _(thing: bend.Bend) -> Iterator[Piece]:
    angles = _few(thing.angle, 0)
    if len(angles):
        points = two_bone.planar_points(angles / 2, angles, 1.0, 1.0)
        yield _bent(points, _one_of(len(angles), f"Bent by {_say.angle(angles[0])}"), repr(thing))
    yield _values(
        thing,
        [
            ("angle", "from straight; positive with the knee forward", thing.angle, 0, _say.angle),
            ("cost", "the share of full reach that the bend takes", thing.cost, 0, _say.share),
        ],
        _say.batch(thing.angle),
        "Drawn with bones of one length.",
    )


def _bent(points: Floats, title: str, desc: str) -> Stage:
    """Legs seen from the side, shape (k, 3, 2), the first with its knee's bend, the others
    dotted."""
    space = _in_space(points).reshape(-1, 3)
    picture = stage.framed("side", space, title, 0.15, HALF, least=2.0, tall=0.9, desc=desc)
    for other in points[1:]:
        picture.ghost(other)
    hip, knee, ankle = points[0]
    picture.path([knee, knee + 0.5 * (knee - hip)], "soft")
    picture.chain(points[0], "inverse", names=("hip", "", "ankle"), thickness=18)
    return picture.arc(knee, knee + (knee - hip), ankle, _bend_text(hip, knee, ankle), "plain", 60)


def _bend_text(hip: Floats, knee: Floats, ankle: Floats) -> str:
    return _say.angle(rotation.angle_between(_in_space(knee - hip), _in_space(ankle - knee)))


def _in_space(points: Floats) -> Floats:
    """Points seen from the side, shape (..., 2), as points in space: forward is z, up is y."""
    return np.stack([np.zeros(points.shape[:-1]), points[..., 1], points[..., 0]], axis=-1)


@show.register
def _(thing: two_bone.TwoBonePose) -> Iterator[Piece]:
    together = np.concatenate(
        [
            np.asarray(part, float).reshape(-1, 3)[:, None]
            for part in (thing.knee, thing.ankle, thing.hinge)
        ],
        axis=1,
    )
    flexion = np.ravel(thing.flexion)
    shown = np.flatnonzero(np.isfinite(together).all(axis=(1, 2)) & np.isfinite(flexion))[:FEW]
    if len(shown):
        yield _pose_of_two_bones(
            thing, together[shown], flexion[shown], float(np.ravel(thing.miss)[shown[0]])
        )
    yield _values(
        thing,
        [
            ("knee", "where it is: left, up, forward", thing.knee, 1, _say.point),
            ("ankle", "where it is", thing.ankle, 1, _say.point),
            ("flexion", "of the knee: 0° is straight", thing.flexion, 0, _say.angle),
            (
                "hinge",
                "the axis a positive turn about which bends the knee more",
                thing.hinge,
                1,
                _say.direction,
            ),
            ("reached", "whether the ankle is on its goal", thing.reached, 0, _yes),
            ("miss", "how far the ankle stays from its goal", thing.miss, 0, _say.small),
            ("guided", "whether a pole told the knee where to point", thing.guided, 0, _yes),
            (
                "stretch",
                "how many times their own length the bones were made",
                thing.stretch,
                0,
                _say.amount,
            ),
        ],
        _say.batch(thing.flexion),
    )


def _pose_of_two_bones(thing: object, together: Floats, flexion: Floats, miss: float) -> Stage:
    """Shanks of solved legs, and of the first the way to its hip; a pose does not say how long the
    thigh is."""
    knee, ankle, hinge = np.moveaxis(together, 1, 0)
    shank = ankle - knee
    thigh = (
        (rotation.matrix_about(hinge[0], -flexion[0]) @ shank[0]) if np.any(hinge[0]) else shank[0]
    )
    start = knee[0] - 0.8 * thigh
    points = np.concatenate([knee, ankle, [start, knee[0] + 0.5 * thigh]])
    said = (
        "ankle on its goal"
        if miss <= two_bone.REACHED
        else f"ankle {_say.small(miss)} off its goal"
    )
    view = ("side", "top", "front")[int(np.argmax(np.abs(hinge[0])))]
    title = _one_of(len(knee), f"Knee bent {_say.angle(flexion[0])}, {said}")
    picture = stage.framed(
        view, _with_floor(points), title, 0.12, WIDTH, least=0.5, desc=repr(thing)
    )
    _floor(picture, points)
    for a, b in zip(knee[1:], ankle[1:], strict=True):
        picture.ghost([a, b])
    picture.ghost([start, knee[0]]).path([knee[0], knee[0] + 0.5 * thigh], "soft")
    picture.note(start, "toward the hip", "soft")
    picture.chain([knee[0], ankle[0]], "inverse", names=("knee", "ankle"), thickness=20)
    return picture.arc(knee[0], knee[0] + thigh, ankle[0], _say.angle(flexion[0]), "plain", 56)


@show.register
def _(thing: solvers.Solution) -> Iterator[Piece]:
    points = _few(thing.points, 2)
    if len(points):
        reached, miss, steps = (
            np.ravel(part)[0] for part in (thing.reached, thing.miss, thing.steps)
        )
        said = "its end on its goal" if reached else f"its end {_say.small(miss)} off its goal"
        title = _one_of(len(points), f"After {_say.count(int(steps), 'step')}, {said}")
        way = (
            np.zeros((0, points.shape[-1])) if thing.trace is None else _way_of_the_end(thing.trace)
        )
        flat = [points.reshape(-1, points.shape[-1]), way]
        space = np.concatenate([part if part.shape[-1] == 3 else _in_space(part) for part in flat])
        picture = stage.framed("side", space, title, 0.15, WIDTH, least=0.3, desc=repr(thing))
        for other in points[1:]:
            picture.ghost(other)
        if thing.trace is not None:
            picture.ghost(
                np.asarray(thing.trace, float).reshape(len(thing.trace), -1, *points.shape[1:])[
                    0, 0
                ]
            )
        picture.chain(points[0], "inverse", thickness=18)
        if len(way):
            picture.path(way, "goal").note(way[0], "start", "soft")
        yield picture
    yield _values(
        thing,
        [
            (
                "end",
                "where the chain's last point is",
                np.asarray(thing.points)[..., -1, :],
                1,
                _say.point,
            ),
            ("reached", "whether it is on its goal, within the tolerance", thing.reached, 0, _yes),
            ("miss", "how far it is from its goal", thing.miss, 0, _say.small),
            ("steps", "how many were taken", thing.steps, 0, _whole),
            (
                "stalled",
                "whether it stopped moving short of a goal in reach",
                thing.stalled,
                0,
                _yes,
            ),
        ],
        _say.batch(thing.miss),
    )


def _way_of_the_end(trace: Any) -> Floats:
    """Where the end of the first chain was after each step, shape (steps + 1, d)."""
    array = np.asarray(trace, dtype=float)
    return array.reshape(len(array), -1, *array.shape[-2:])[:, 0, -1]


# Measures


_LENGTHS = {
    "thigh": "hip to knee",
    "shank": "knee to ankle",
    "foot_length": "heel to toe",
    "ankle_height": "above the floor",
    "knee_height": "above the floor, standing",
    "hip_height": "above the floor, standing",
    "ball_length": "heel to ball",
    "foot_breadth": "at its widest",
    "pelvis_breadth": "at its widest",
}


@show.register
def _(thing: body.SegmentLengths) -> Iterator[Piece]:
    rows: list[Row] = [
        (name.replace("_", " "), _LENGTHS[name], value, 0, _cm)
        for name, value in vars(thing).items()
        if value is not None
    ]
    yield _values(
        thing, rows, _say.batch(thing.thigh), "Population averages, for drawing and teaching."
    )


@show.register
def _(thing: body.Pelvis) -> Iterator[Piece]:
    frame = np.asarray(thing.frame)
    yield _values(
        thing,
        [
            ("width", "from ASIS to ASIS, the foremost points of its rim", thing.width, 0, _cm),
            (
                "depth",
                "from the middle of the ASISs to that of the PSISs, the hindmost",
                thing.depth,
                0,
                _cm,
            ),
            ("origin", "the middle of the ASISs", frame[..., :3, 3], 1, _say.point),
            ("x", "to the left ASIS", frame[..., :3, 0], 1, _say.direction),
            ("y", "up", frame[..., :3, 1], 1, _say.direction),
            ("z", "forward", frame[..., :3, 2], 1, _say.direction),
        ],
        _say.batch(thing.width),
    )


@show.register
def _(thing: body.HipCentres) -> Iterator[Piece]:
    yield _values(
        thing,
        [
            (
                side,
                "left, up, forward of the middle of the ASISs",
                getattr(thing, side),
                1,
                _point_cm,
            )
            for side in ("left", "right")
        ],
        _say.batch(thing.left, 1),
        "A regression: expect to be 1 to 3 cm off for a given person.",
    )


@show.register
def _(thing: body.JointRange) -> Iterator[Piece]:
    low, high = float(thing.low), float(thing.high)
    if np.isfinite([low, high]).all():
        ends = np.array([[np.sin(turn), -np.cos(turn)] for turn in (0.0, low, high)])
        picture = stage.framed(
            "side",
            _in_space(np.array([*ends, [0, 0]])),
            f"From {_say.angle(low)} to {_say.angle(high)}",
            0.2,
            HALF,
            least=1.6,
            desc=repr(thing),
        )
        for end, turn, radius in zip(ends[1:], (low, high), (110, 56), strict=True):
            picture.path([(0, 0), end], "inverse")
            if turn:
                picture.arc((0, 0), ends[0], end, _say.angle(turn), "plain", radius)
        yield picture.ghost([(0, 0), ends[0]]).note(ends[0], "zero", "soft").dots([(0, 0)])
    yield _values(
        thing,
        [
            ("low", f"the least; {thing.low_status}", thing.low, 0, _say.angle),
            ("high", f"the greatest; {thing.high_status}", thing.high, 0, _say.angle),
        ],
        caption="Population averages, for drawing and teaching.",
    )


@show.register
def _(thing: body.Source) -> Iterator[Piece]:
    yield table(
        ("Numbers", "how we know them"),
        [(n, status) for status, n in thing.statuses.items()],
        f"{thing.key}: {thing.citation}",
    )


@show.register
def _(thing: puppets.Puppet) -> Iterator[Piece]:
    yield _standing(thing)
    bones = zip(("thigh", "shank", "metatarsal"), thing.bones, strict=False)
    yield _values(
        thing,
        [
            ("stature", "standing, to the top of the head", thing.stature, 0, _cm),
            *((name, "length of the bone", bone, 0, _cm) for name, bone in bones),
            (
                "ankle height" if len(thing.bones) == 2 else "foot height",
                "above the floor",
                thing.ankle_height,
                0,
                _cm,
            ),
            ("foot length", "heel to toe", thing.foot_length, 0, _cm),
            ("hip width", "between the two hip joints", thing.hip_width, 0, _cm),
        ],
        caption="A made-up puppet: its proportions are invented.",
    )


def _standing(puppet: puppets.Puppet) -> Picture:
    """A puppet's leg from the side, with its lengths."""
    rig = leg.LegRig.from_puppet(puppet)
    chain = rig.skeleton.origins(rig.skeleton.rest_world, [f"L_{part}" for part in rig.chain])
    heel, ball, toe = _sole(puppet, chain[-1])
    room = np.concatenate(
        [chain, [heel, toe, heel - [0, 0.1 * chain[0, 1], 0], chain[0] * [1, 1.05, 1]]]
    )
    said = (
        puppet.role
        if puppet.name.lower() in puppet.role.lower()
        else f"{puppet.name}, {puppet.role}"
    )
    picture = stage.framed(
        "side", room, _capital(page.plain(said, 2 * NAME)), 0.12, HALF, tall=1.2, desc=repr(puppet)
    )
    picture.floor().foot(chain[-1], heel, toe, ball, "forward").chain(
        chain, "forward", names=("", *rig.chain[1:])
    )
    for a, b in pairwise(chain):
        picture.measure(a, b, f"{100 * np.linalg.norm(b - a):.1f} cm", "plain", 52, "right")
    picture.measure(heel, toe, f"{100 * puppet.foot_length:.1f} cm", "plain", -26, "below")
    return picture.note(chain[0], "hip", "soft", "left")


def _sole(puppet: puppets.Puppet, end: Floats) -> Floats:
    flat = foot.of_puppet(puppet)
    return np.array(
        [[end[0], point[1], end[2] + point[0]] for point in (flat.heel, flat.ball, flat.toe)]
    )


@show.register
def _(thing: placement.MirrorError) -> Iterator[Piece]:
    cm, deg = (
        np.asarray(part, float).reshape(-1, len(thing.names)) for part in (thing.cm, thing.deg)
    )
    many = f"The worst of a batch of {len(cm):,}. " if _say.batch(thing.cm, 1) else ""
    worst = {thing.farthest: "farthest"} if cm.max() > 0 else {}
    most = {thing.most_turned: "most turned"} if deg.max() > 0 else {}
    rows = [
        (
            name,
            _say.small(cm[:, i].max(), scale=1.0),
            _say.amount(deg[:, i].max(), "°", 2),
            ", ".join(said[name] for said in (worst, most) if name in said),
        )
        for i, name in enumerate(thing.names)
    ]
    rows.sort(key=lambda row: not row[3])
    yield table(
        ("Joint", "off by", "turned away by", "worst"),
        rows,
        f"{many}How far each right joint is from the mirror image of the left one.",
    )


_RESIDUAL = "root mean square distance of the markers from their"


@show.register
def _(thing: placement.RotationCentre) -> Iterator[Piece]:
    yield _values(
        thing,
        [
            ("centre", "the point the markers turn about", thing.centre, 1, _say.point),
            ("radii", "each marker's distance from it", thing.radii, 1, _say.length),
            ("residual", f"{_RESIDUAL} spheres", thing.residual, 0, _mm),
            (
                "error",
                "standard error of the centre where it is least certain",
                thing.error,
                0,
                _mm,
            ),
        ],
        _say.batch(thing.residual),
    )


@show.register
def _(thing: placement.HingeAxis) -> Iterator[Piece]:
    yield _values(
        thing,
        [
            ("axis", "its direction: left, up, forward", thing.axis, 1, _say.direction),
            ("point", "where on the axis the markers are nearest", thing.point, 1, _say.point),
            ("radii", "each marker's distance from the axis", thing.radii, 1, _say.length),
            ("residual", f"{_RESIDUAL} circles", thing.residual, 0, _mm),
        ],
        _say.batch(thing.residual),
    )


# Skeletons and rigs


@show.register
def _(thing: sk.Joint) -> Iterator[Piece]:
    rest = np.asarray(thing.rest)
    yield table(
        ("Joint", "value", "what it is"),
        [
            ("name", page.plain(thing.name, NAME), "its own"),
            (
                "parent",
                "none: a root" if thing.parent is None else page.plain(thing.parent, NAME),
                "what it hangs from",
            ),
            ("place", _say.point(rest[:3, 3]), "at rest, seen from its parent"),
            ("turn", _turn(rest[:3, :3]), "at rest, seen from its parent"),
        ],
    )


@show.register
def _(thing: sk.Skeleton) -> Iterator[Piece]:
    points = thing.rest_world[:, :3, 3]
    yield _tree(points, thing.parents, thing.names, "At rest", repr(thing))
    yield folded(
        _say.count(len(thing), "joint"),
        table(
            ("Joint", "parent", "place at rest"),
            [
                (
                    page.plain(name, NAME),
                    page.plain(thing.parent(name) or "none", NAME),
                    _say.point(point),
                )
                for name, point in zip(thing.names, points, strict=True)
            ],
            "Places in the world: left, up, forward.",
        ),
    )


def _tree(
    points: Floats,
    parents: Any,
    names: Sequence[str],
    title: str,
    desc: str,
    outlines: Sequence[tuple[Floats, str]] = (),
    ghosts: Iterable[Floats] = (),
    skin: tuple[Floats, Any] | None = None,
) -> Picture:
    """A tree of joints from the front and from the side, shape (n, 3), with outlines of controls,
    on its skin."""
    ghosts = list(ghosts)
    room = np.concatenate(
        [points, *(outline for outline, _ in outlines), *ghosts, *([skin[0]] if skin else [])]
    )
    front, side = _two_views(room, title, desc)
    for picture in (front, side):
        if skin:
            picture.surface(*skin)
        for ghost in ghosts:
            for child, parent in enumerate(parents):
                if parent >= 0:
                    picture.ghost([ghost[parent], ghost[child]])
        for outline, label in outlines:
            picture.control(outline, label if picture is front else "")
        for chain in _chains(parents):
            tag = sk.side_of(names[chain[-1]])
            picture.path(points[chain], "forward", tag and tag[0])
        picture.dots(points, "forward")
    if len(points) <= MOST_NAMES and not outlines:
        for point, said in _labels(points, names, 0.04 * float(np.ptp(room, axis=0).max())):
            front.note(point, said, "soft")
    return stage.row(front, side, title=title)


def _two_views(points: Floats, title: str, desc: str, tall: float = 1.2) -> tuple[Stage, Stage]:
    """Stages for the same things from the front and from the side, alike in size and scale."""
    seen = _with_floor(points)
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle, half = (low + high) / 2, max(high[0] - low[0], high[2] - low[2]) / 2
    views = [
        stage.framed(
            view,
            seen,
            said,
            0.1,
            HALF,
            tall=tall,
            desc=desc,
            flat=[np.array([[middle[axis] - half, low[1]], [middle[axis] + half, low[1]]])],
        )
        for view, axis, said in (("front", 0, title), ("side", 2, "From the side"))
    ]
    return _floor(views[0], points), _floor(views[1], points)


def _labels(points: Floats, names: Sequence[str], near: float) -> Iterator[tuple[Floats, str]]:
    """Joints' names from the front; those that lie on each other on one side share a label."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for i, point in enumerate(points):
        key = (*np.round(point[:2] / max(near, 1e-9)), sk.side_of(names[i]))
        groups.setdefault(key, []).append(i)
    for group in groups.values():
        yield (
            points[group[0]],
            ", ".join(page.plain(names[i], 24) for i in group[:3]) + "…" * (len(group) > 3),
        )


def _chains(parents: Any) -> Iterator[list[int]]:
    """A tree as lines of joints, each from the parent of its first joint down as far as nothing
    branches."""
    parents = [int(parent) for parent in parents]
    for start, parent in enumerate(parents):
        if parent < 0 or parents.count(parent) > 1:
            line = [parent, start] if parent >= 0 else [start]
            while parents.count(line[-1]) == 1:
                line.append(parents.index(line[-1]))
            if len(line) > 1:
                yield line


def _with_floor(points: Floats) -> Floats:
    """The points and, where they seem to stand on it, the floor below them."""
    return np.concatenate([points, points * [1, 0, 1]]) if _stands(points) else points


def _floor(picture: Stage, points: Floats) -> Stage:
    return picture.floor() if picture.view != "top" and _stands(points) else picture


def _stands(points: Floats) -> bool:
    low, high = points[:, 1].min(), points[:, 1].max()
    return bool(-0.05 * high <= low <= 0.5 * high)


@show.register
def _(thing: leg.LegRig) -> Iterator[Piece]:
    outlines = [
        (_points(control.rest, control.outline), control.name)
        for control in thing.controls
        if len(control.outline) > 2 and not control.name.endswith("_turn")
    ]
    rig = thing.skeleton
    yield _tree(
        rig.rest_world[:, :3, 3],
        rig.parents,
        rig.names,
        "The rig at rest, and what poses it by its feet",
        repr(thing),
        outlines,
    )
    yield folded(
        _say.count(len(thing.controls), "control"),
        table(
            ("Control", "hangs from", "free channels"),
            [_control_row(control) for control in thing.controls],
        ),
    )


def _points(frame: Any, points: Any) -> Floats:
    frame = np.asarray(frame, dtype=float)
    moved: Floats = np.asarray(points, dtype=float) @ frame[:3, :3].T + frame[:3, 3]
    return moved


def _control_row(control: controls.Control) -> tuple[str, str, str]:
    leaders = ", ".join(page.plain(leader.leader, NAME) for leader in control.leaders) or "nothing"
    free = [
        channel.replace("_", " ") for channel in controls.CHANNELS if channel not in control.locked
    ]
    return page.plain(control.name, NAME), leaders, ", ".join(free) if len(free) < 6 else "all six"


@show.register
def _(thing: leg.LegPose) -> Iterator[Piece]:
    world = np.asarray(thing.world, dtype=float)
    poses = _few(world[..., :3, 3], 2)
    if len(poses) and len(thing.names) == poses.shape[1]:
        parents = _leg_parents(thing.names)
        bends = [_say.angle(angle) for angle in _few(thing.flexion, 1)[0]]
        title = _one_of(len(poses), f"Bent {bends[0]} left, {bends[1]} right")
        yield _tree(poses[0], parents, thing.names, title, repr(thing), ghosts=poses[1:])
    yield _values(
        thing,
        [
            ("pelvis", "where it is: left, up, forward", world[..., 0, :3, 3], 1, _say.point),
            (
                "flexion",
                "how far each leg is bent; 0° is straight",
                thing.flexion,
                1,
                _both(_say.angle),
            ),
            (
                "miss",
                "how far each inverse leg's end stays from its goal",
                thing.miss,
                1,
                _both(_say.small),
            ),
            (
                "guided",
                "whether the knee control gave each leg a direction",
                thing.guided,
                1,
                _both(_yes),
            ),
        ],
        _say.batch(thing.flexion, 1),
        "Left, then right.",
    )


def _leg_parents(names: Sequence[str]) -> list[int]:
    """The parents of a leg rig's joints: on each side the one before, the first below the
    pelvis."""
    last: dict[str | None, int] = {}
    parents = []
    for i, name in enumerate(names):
        side = sk.side_of(name)
        parents.append(last.get(side, 0) if side else -1)
        last[side] = i
    return parents


_ANATOMY = (
    ("hip", 0, "flexion", "thigh forward"),
    ("hip", 1, "abduction", "thigh outward"),
    ("hip", 2, "internal rotation", "knee turned inward"),
    ("knee", None, "flexion", "0° is straight"),
    ("ankle", 0, "dorsiflexion", "toes up"),
    ("ankle", 1, "sole outward", "the foot's sole turned outward"),
    ("ankle", 2, "foot inward", "the foot turned inward"),
)


@show.register
def _(thing: leg.LegAngles) -> Iterator[Piece]:
    rows: list[Row] = []
    for joint, i, name, meaning in _ANATOMY:
        values = np.asarray(getattr(thing, joint))
        rows.append(
            (
                f"{joint} {name}",
                f"positive: {meaning}" if i is not None else meaning,
                values if i is None else values[..., i],
                1,
                _both(_say.angle),
            )
        )
    yield _values(
        thing,
        rows,
        _say.batch(thing.knee, 1),
        "Left, then right; a straight standing leg reads zero.",
    )


@show.register
def _(thing: controls.Follow) -> Iterator[Piece]:
    what = {
        "both": "its place and its turn",
        "position": "its place, not its turn",
        "turn": "its turn, not its place",
    }
    batch = _say.batch(thing.weight)
    gap: Any = "as at rest" if thing.gap is None else thing.gap
    yield table(
        ("Follow", "value", "what it is"),
        [
            ("leader", page.plain(thing.leader, NAME), "what is followed"),
            ("what", what[thing.what], "what of it"),
            ("weight", _say.amount(thing.weight, "", 2), "from 0 to 1; the rest stays where it is"),
            (
                "gap",
                gap if isinstance(gap, str) else _say.frame(gap),
                "the relative frame kept while following",
            ),
        ],
        f"A batch of shape {batch}." if batch else "",
    )


@show.register
def _(thing: controls.Control) -> Iterator[Piece]:
    rest, outline = np.asarray(thing.rest), np.asarray(thing.outline)
    name = page.plain(thing.name, NAME)
    if len(outline) > 2:
        points = _points(rest, outline)
        pivot = _points(rest, np.reshape(thing.pivot, (-1, 3))[:1])
        flat = int(np.argmin(np.ptp(outline @ rest[:3, :3].T, axis=0)))
        view = ("side", "top", "front")[flat]
        yield (
            stage.framed(
                view,
                np.concatenate([points, pivot]),
                f"{name}, {view} view",
                0.2,
                HALF,
                least=0.1,
                tall=0.8,
                desc=repr(thing),
            )
            .control(points)
            .dots(pivot, "miss")
            .note(pivot[0], "pivot")
        )
    limits = [
        f"{channel.replace('_', ' ')} {_limits(channel, bounds)}"
        for channel, bounds in thing.limits.items()
    ]
    name, leaders, free = _control_row(thing)
    yield table(
        (name, "value", "what it is"),
        [
            ("rest", _say.frame(rest), "where it is when all controls read zero"),
            ("pivot", _say.point(thing.pivot), "the point it turns about, in its own frame"),
            (
                "hangs from" if thing.parent is not None else "follows",
                leaders,
                "what carries it along",
            ),
            ("free", free, "channels that can be moved"),
            *(
                [("limits", "; ".join(limits), "from the least to the greatest value")]
                if limits
                else []
            ),
        ],
    )


def _limits(channel: str, bounds: Any) -> str:
    return (_say.angle if channel.startswith("turn") else _say.length)(bounds)


@show.register
def _(thing: foot.Foot) -> Iterator[Piece]:
    feet = _few(
        np.stack(np.broadcast_arrays(thing.ankle, thing.heel, thing.ball, thing.toe), axis=-2), 2
    )
    if len(feet):
        ankle, heel, ball, toe = feet[0]
        picture = _feet(feet, _one_of(len(feet), "The foot, flat"), repr(thing))
        picture.measure(
            [heel[0], 0.0], [heel[0], ankle[1]], f"{100 * ankle[1]:.1f} cm", "plain", -24, "left"
        )
        picture.measure(heel, toe, f"{100 * (toe[0] - heel[0]):.1f} cm", "plain", -26, "below")
        yield picture.note(ankle, "ankle", "soft", "above").note(ball, "ball", "soft")
    yield _foot_values(thing)


@show.register
def _(thing: foot.FootRoll) -> Iterator[Piece]:
    feet = _few(
        np.stack(np.broadcast_arrays(thing.ankle, thing.heel, thing.ball, thing.toe), axis=-2), 2
    )
    if len(feet):
        pivot, turn = str(np.ravel(thing.pivot)[0]), _say.angle(np.ravel(thing.foot_turn)[0])
        picture = _feet(
            feet,
            _one_of(len(feet), f"Rolled over the {pivot}: the foot is turned {turn}"),
            repr(thing),
        )
        where = dict(zip(("ankle", "heel", "ball", "toe"), feet[0], strict=True))
        yield (
            picture.note(where["ankle"], "ankle", "soft", "above")
            .dots([where[pivot]], "miss")
            .note(where[pivot], pivot, "miss", "below")
        )
    yield _foot_values(
        thing,
        [
            (
                "foot turn",
                "of the foot behind the ball; positive lifts the heel",
                thing.foot_turn,
                0,
                _say.angle,
            ),
            ("toe turn", "of the toes", thing.toe_turn, 0, _say.angle),
            ("pivot", "what the foot turns about", thing.pivot, 0, str),
        ],
    )


def _feet(feet: Floats, title: str, desc: str) -> Stage:
    """Feet from the side, shape (k, 4, 2): ankle, heel, ball, toe; the others than the first
    dotted."""
    length = float(np.ptp(feet[..., 0]))
    room = [
        [feet[0, 1, 0] - 0.42 * length, -0.2 * length],
        [feet[0, 0, 0], feet[..., 1].max() + 0.08 * length],
    ]
    picture = stage.framed(
        "side",
        _in_space(np.concatenate([feet.reshape(-1, 2), room])),
        title,
        0.08,
        WIDTH,
        tall=0.8,
        desc=desc,
    ).floor()
    for ankle, heel, ball, toe in feet[1:]:
        picture.ghost([ankle, heel, ball, toe, ankle])
    ankle, heel, ball, toe = feet[0]
    return picture.foot(ankle, heel, toe, ball, "forward").dots([ankle, heel, ball, toe], "plain")


def _foot_values(thing: foot.Foot | foot.FootRoll, more: Sequence[Row] = ()) -> str:
    rows: list[Row] = [
        (name, "forward and up, from its foot frame", getattr(thing, name), 1, _point_cm)
        for name in ("ankle", *foot.PIVOTS)
    ]
    return _values(thing, [*rows, *more], _say.batch(thing.ankle, 1))


# Skin and walks


@show.register(mesh.Mesh)
def _mesh(thing: mesh.Mesh) -> Iterator[Piece]:
    yield _surface(thing.vertices, thing.triangles, repr(thing))


def _surface(vertices: Floats, triangles: Any, desc: str) -> Picture:
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    front, side = _two_views(vertices, "The surface from the front", desc, tall=0.85)
    for picture in (front, side):
        picture.surface(vertices, triangles, "soft")
    front.measure(
        [high[0], low[1], 0],
        [high[0], high[1], 0],
        f"{100 * (high[1] - low[1]):.1f} cm",
        "plain",
        16,
        "right",
    )
    return stage.row(front, side)


@show.register
def _(thing: gait.Pace) -> Iterator[Piece]:
    yield _values(
        thing,
        [
            ("speed", "how fast", thing.speed, 0, _with(" m/s", 2)),
            ("step length", "from one foot to the other", thing.step_length, 0, _cm),
            ("cadence", "steps a second", thing.cadence, 0, _with("", 2)),
            (
                "stance share",
                "how much of its cycle a foot is down",
                thing.stance_share,
                0,
                _with(" %", 1, 100.0),
            ),
        ],
        _say.batch(thing.speed),
    )


@show.register
def _(thing: gait.Walk) -> Iterator[Piece]:
    name = _capital(page.plain(thing.puppet.name, NAME))
    left, slide = np.asarray(thing.points, dtype=float)[:, 0], thing.slide_cm
    stride = max(int(np.searchsorted(thing.times, 2 * thing.step_length / thing.speed)), 1)
    if np.isfinite(left).all():
        yield _stride(
            left[: stride + 1],
            len(thing.puppet.bones),
            f"{name}: in one stride the left foot slides {_say.small(slide[0], scale=1.0)}",
            repr(thing),
        )
    yield table(
        (name, "value", "what it is"),
        [
            ("speed", _say.amount(thing.speed, " m/s", 2), "how fast"),
            ("step length", _cm(thing.step_length), "from one foot to the other"),
            ("planted", _yes(thing.planted), "whether the legs were solved for feet that stand"),
            (
                "length",
                f"{_say.count(len(thing.times), 'frame')}, {_say.amount(thing.times[-1], ' s', 2)}",
                "of the walk",
            ),
            (
                "slide",
                _say.sides(slide, lambda cm: _say.small(cm, scale=1.0)),
                "of each foot on the floor, in a stride",
            ),
            (
                "miss",
                _say.small(np.max(thing.miss)),
                "the farthest a leg's end fell short of its place",
            ),
            ("angles", thing.table, "where they are from"),
        ],
    )


def _stride(leg_points: Floats, bones: int, title: str, desc: str) -> Stage:
    """A leg at instants of a stride, frames (f, joints, 3), its sole's points last."""
    picture = stage.framed(
        "side", _with_floor(leg_points.reshape(-1, 3)), title, 0.08, 640, tall=0.6, desc=desc
    )
    _floor(picture, leg_points.reshape(-1, 3))
    picture.path(leg_points[:, 0], "soft").path(leg_points[:, bones], "soft")
    for i in np.linspace(0, len(leg_points) - 1, 7).astype(int):
        *chain, heel, ball, toe = leg_points[i]
        picture.foot(chain[-1], heel, toe, ball, "inverse", "L").chain(
            chain, "inverse", "L", thickness=10
        )
    return picture


@show.register
def _(thing: gait.Pop) -> Iterator[Piece]:
    side = {"L_": "left", "R_": "right"}.get(thing.side, thing.side)
    yield table(
        ("Pop", "value", "what it is"),
        [
            ("leg", side, "the one that snaps straight or out of straight"),
            ("frame", _whole(thing.frame), "in which it ends"),
            (
                "speed",
                f"{_say.amount(thing.speed_deg, '°', 0)} a second",
                "of its bend at its fastest",
            ),
        ],
    )


# Rig files


@show.register
def _(thing: gltf.Node) -> Iterator[Piece]:
    yield table(
        (page.plain(thing.name, NAME) or "Node", "value", "what it is"),
        [
            (
                "parent",
                "none: a root" if thing.parent is None else f"node {thing.parent}",
                "what it hangs from",
            ),
            ("translation", _say.point(thing.translation), "where it is, seen from its parent"),
            (
                "rotation",
                _turn(rotation.matrix_from_quaternion(thing.rotation)),
                "seen from its parent",
            ),
            ("scale", _say.point(thing.scale, ""), "along its three axes"),
            ("mesh", "none" if thing.mesh is None else f"mesh {thing.mesh}", "what it carries"),
            ("skin", "none" if thing.skin is None else f"skin {thing.skin}", "what moves the mesh"),
        ],
    )


@show.register
def _(thing: gltf.Skin) -> Iterator[Piece]:
    yield table(
        ("Joint", "node", "stood at"),
        [
            (i, node, _say.point(place))
            for i, (node, place) in enumerate(
                zip(thing.joints.tolist(), _places(thing.inverse_bind), strict=True)
            )
        ],
        f"Skin {page.plain(thing.name, NAME)}: where each joint stood when the mesh was joined"
        " to it.",
    )


def _places(inverse_bind: Any) -> Floats:
    """Where joints stood in the mesh's frame; NaN where a matrix cannot be turned round."""
    places: Floats = np.full((len(inverse_bind), 3), np.nan)
    for i, matrix in enumerate(inverse_bind):
        if np.isfinite(matrix).all() and abs(np.linalg.det(matrix[:3, :3])) > 1e-12:
            places[i] = -np.linalg.solve(matrix[:3, :3], matrix[:3, 3])
    return places


@show.register(gltf.Mesh)
def _gltf_mesh(thing: gltf.Mesh) -> Iterator[Piece]:
    yield _surface(thing.positions, thing.triangles, repr(thing))
    weights = "none" if thing.weights is None else f"up to {thing.weights.shape[1]} to a vertex"
    yield table(
        (page.plain(thing.name, NAME) or "Mesh", "value"),
        [
            ("vertices", f"{len(thing.positions):,}"),
            ("triangles", f"{len(thing.triangles):,}"),
            ("weights", weights),
            ("normals", "none" if thing.normals is None else "one to a vertex"),
        ],
    )


@show.register
def _(thing: gltf.Channel) -> Iterator[Piece]:
    if len(thing.times) > 1:
        from rigkit import plots  # here, because it alone needs matplotlib

        times = np.linspace(thing.times[0], thing.times[-1], 101)
        values = thing.sample(times)
        if thing.path == "rotation":
            values, label = (
                np.degrees(np.unwrap(rotation.vector_from_quaternion(values), axis=0)),
                "turn (°)",
            )
        else:
            values, label = (
                (100 * values, "place (cm)") if thing.path == "translation" else (values, "scale")
            )
        yield plots.curves(
            times,
            dict(zip(("x", "y", "z"), values.T, strict=True)),
            "time (s)",
            label,
            title=f"The {thing.path} of node {thing.node}",
            desc=repr(thing),
            width=WIDTH,
            height=260,
        )
    yield table(
        ("Channel", "value"),
        [
            ("moves", f"the {thing.path} of node {thing.node}"),
            ("keys", f"{len(thing.times):,}"),
            ("time", _say.amount(thing.times, " s", 2)),
            ("between keys", thing.interpolation),
        ],
    )


@show.register
def _(thing: gltf.Animation) -> Iterator[Piece]:
    yield table(
        ("Node", "moves", "keys", "between keys"),
        [
            (channel.node, channel.path, len(channel.times), channel.interpolation)
            for channel in thing.channels
        ],
        f"{page.plain(thing.name, NAME)}: {_say.amount(thing.duration, ' s', 2)}",
    )


@show.register
def _(thing: gltf.Asset) -> Iterator[Piece]:
    names = [node.name for node in thing.nodes]
    parents = [-1 if node.parent is None else node.parent for node in thing.nodes]
    joints = sorted({int(i) for skin in thing.skins for i in skin.joints}) or range(len(names))
    places = {node: i for i, node in enumerate(joints)}
    points = thing.rest_world()[list(joints), :3, 3]
    if len(points) and np.isfinite(points).all():
        yield _tree(
            points,
            [places.get(parents[node], -1) for node in joints],
            [names[node] for node in joints],
            "The joints at rest",
            repr(thing),
            skin=_skin(thing),
        )
    yield table(
        ("Asset", "how many", "names"),
        [
            (word, f"{len(many):,}", page.plain(_say.names(each.name for each in many), 200))
            for word, many in (
                ("nodes", thing.nodes),
                ("skins", thing.skins),
                ("meshes", thing.meshes),
                ("animations", thing.animations),
            )
        ],
        " ".join(page.plain(note, 200) for note in thing.notes[:FEW]),
    )


def _skin(asset: gltf.Asset) -> tuple[Floats, Any] | None:
    """What the joints of a file move, as it stands there; nothing if it is too large to draw."""
    world = asset.rest_world()
    worn = [
        (i, asset.meshes[node.mesh])
        for i, node in enumerate(asset.nodes)
        if node.mesh is not None and node.skin is not None
    ]
    if not worn or sum(len(each.triangles) for _, each in worn) > MOST_TRIANGLES:
        return None
    vertices = [asset.skin_points(i, world) for i, _ in worn]
    firsts = np.cumsum([0, *map(len, vertices[:-1])])
    triangles = [each.triangles + first for (_, each), first in zip(worn, firsts, strict=True)]
    return np.concatenate(vertices), np.concatenate(triangles)


# What an inspection found


@show.register
def _(thing: insp.Leg) -> Iterator[Piece]:
    yield _leg_table((thing,), "Joints by their place in the list of joints.")


@show.register
def _(thing: insp.Legs) -> Iterator[Piece]:
    if not thing.legs:
        yield table(("Legs", "why"), [("none found", thing.because.get("legs", ""))])
        return
    yield _leg_table(
        thing.legs.values(),
        f"{thing.because.get('legs', '')}. Joints by their place in the list of joints.",
    )
    yield folded(
        "Which way it stands",
        table(
            ("Axis", "direction", "why"),
            [
                ("up", _say.direction(thing.up), thing.because.get("up", "")),
                ("forward", _say.direction(thing.forward), thing.because.get("forward", "")),
                ("unit", _say.amount(thing.metres, " m"), thing.because.get("metres", "")),
            ],
        ),
    )


def _leg_table(legs: Iterable[insp.Leg], caption: str) -> str:
    sides = {"L": "left", "R": "right"}
    return table(
        ("Part", "joint", "certain", "why"),
        [
            (
                f"{sides.get(each.side, each.side)} {part}",
                place,
                _say.amount(each.certainty[part], " %", 0, 100.0),
                each.why[part],
            )
            for each in legs
            for part, place in each.joints.items()
        ],
        caption,
    )


@show.register
def _(thing: insp.Finding) -> Iterator[Piece]:
    if thing.picture is not None:
        yield thing.picture
    yield table(
        (thing.rule, thing.severity if thing.status == "finding" else thing.status),
        [
            ("asks", thing.title),
            ("measured", thing.measured),
            ("that is", page.plain(thing.said)),
            ("limit because", thing.because),
            ("why it matters", thing.why),
            ("what to do", thing.todo),
        ],
        f"In {page.plain(thing.about, NAME)}" if thing.about else "",
    )


@show.register
def _(thing: insp.Rule) -> Iterator[Piece]:
    yield table(
        (thing.id, thing.severity),
        [
            ("asks", thing.title),
            ("limit", f"{thing.sense} {thing.limit:g} {thing.unit}".rstrip()),
            ("because", thing.because),
            ("why it matters", thing.why),
            ("what to do", thing.todo),
        ],
    )


# Numbers in words


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _yes(value: Any) -> str:
    return "yes" if value else "no"


def _whole(value: Any) -> str:
    return _say.amount(value, "", 0)


def _cm(value: Any) -> str:
    return _say.amount(value, " cm", 1, 100.0)


def _mm(value: Any) -> str:
    return _say.small(value, "mm", 1000.0)


def _point_cm(value: Any) -> str:
    return _say.point(value, " cm", 1, 100.0)


def _with(unit: str, places: int, scale: float = 1.0) -> Callable[[Any], str]:
    return lambda value: _say.amount(value, unit, places, scale)


def _both(say: Callable[[Any], str]) -> Callable[[Any], str]:
    """Left and right with a comma between."""
    return lambda sides: ", ".join(say(side) for side in np.asarray(sides))


def _turn(matrix: Any) -> str:
    """A turn as its angle and the axis it is about."""
    vector = rotation.vector_from_matrix(matrix)
    angle = float(np.linalg.norm(vector))
    return "none" if angle < 1e-9 else f"{_say.angle(angle)} about {_say.direction(vector / angle)}"
