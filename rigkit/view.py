"""A skinned rig to turn and to play, in a notebook and in a page.

The browser reads no files: `gltf` does, and what it read travels as arrays, so what is seen is what
is inspected. `data/view.js` draws them. Where nothing can draw in three dimensions, a flat picture
of the rig stays.
"""

from __future__ import annotations

import json
import os
import zlib
from base64 import b64encode
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from rigkit import _check, export, gltf, rotation, skin, stage, templates
from rigkit._types import Floats, Ints
from rigkit.inspection import opening, source
from rigkit.inspection.bound import bound_pose
from rigkit.inspection.finding import FINDING, Finding
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.report import Report
from rigkit.inspection.subject import Subject
from rigkit.leg import LegRig
from rigkit.page import plain
from rigkit.puppets import Puppet

if TYPE_CHECKING:
    from rigkit._view_widget import ViewWidget

__all__ = ["view", "View"]

FORM = 1  # of what is said to a page
WIDTH = 480  # px
TURN_DEG, TILT_DEG = 35, 10  # where it starts
STOPS_DEG = range(-165, 181, 15)  # turns of the flat picture
MOST_TURNED = 20_000  # vertices: of a larger skin the flat picture stays as it is
RATE = 30.0  # moments a second, fewer where all of them would be more than MOST_BYTES
MOST_BYTES = 600_000
MOST_CLIPS = 12
MOST_VERTICES = 60_000  # a larger skin is left out, and said
_BLOCK = 2**14  # numbers of nodes times moments that are posed at a time
MOST_MARKS = 150  # vertices that are marked at once
NARROW, TALL = 0.6, 1.25  # the least and the greatest height of a picture, as shares of its width
REST, STORED = "At rest", "As stored in the file"
FAR = 1e-6  # the least size of a picture, as a share of how far off it is: 32 bits hold no less
MOVED = 1e-4  # metres: nodes that store a pose nearer than this to the bound one store that one

_DATA = templates.TEMPLATES.parent


def __dir__() -> list[str]:
    return __all__


def view(
    thing: str | os.PathLike[str] | bytes | gltf.Asset | LegRig | Report,
    puppet: Puppet | str | None = None,
) -> View:
    """Show a rig that can be turned and played; it shows itself in a notebook.

    Parameters
    ----------
    thing : str, Path or bytes, Asset, LegRig, or Report
        A file or what stands in one, a rig, or an inspection's report, whose findings can then be
        marked.
    puppet : Puppet or str, optional
        Whose skin a LegRig gets; without, its joints are shown alone.

    Returns
    -------
    View

    Raises
    ------
    ValueError
        For a file that cannot be read as a rig, a rig without joints, or anything else.

    Examples
    --------
    >>> from rigkit import export
    >>> from rigkit.view import view
    >>> view(export.puppet_asset("Tamsin", 500))
    View of a rig: 11 joints, 486 vertices, 1 motion
    """
    if puppet is not None and not isinstance(thing, LegRig):
        raise ValueError(
            f"`puppet` must be left out where `thing` is no LegRig; got {_check.short(puppet)}."
        )
    if isinstance(thing, Report):
        if thing.subject is None:
            raise ValueError("`thing` must hold its rig; got a report made without one.")
        worst = (group.worst for group in thing.groups(FINDING))
        return View(thing.subject, thing.file, worst)
    if isinstance(thing, str | os.PathLike):
        return View(Subject(source.read(thing)), Path(thing).name)
    if isinstance(thing, bytes):
        return View(Subject(source.read(thing)))
    if isinstance(thing, LegRig):
        return View(Subject(_asset_of(thing, puppet)))
    if isinstance(thing, gltf.Asset):
        return View(Subject(thing))
    raise ValueError(
        f"`thing` must be a rig's file, an Asset, a LegRig or a Report; got {_check.short(thing)}."
    )


def _asset_of(rig: LegRig, puppet: Puppet | str | None) -> gltf.Asset:
    if puppet is None:
        return export.rig_asset(rig.skeleton)
    return export.rig_asset(rig.skeleton, *skin.rig_skin(rig, puppet))


@dataclass(frozen=True)
class _Skin:
    """All skinned meshes as one, its vertices in the order of `Subject.surface`.

    Attributes
    ----------
    positions : ndarray, shape (v, 3)
        Metres, as bound.
    triangles : ndarray of int, shape (t, 3)
    joints : ndarray of int, shape (v, 4)
        Places in `movers`, the strongest first.
    weights : ndarray, shape (v, 4)
    movers : ndarray of int, shape (k,)
        Places of the nodes that move it.
    back : ndarray, shape (k, 4, 4)
        From the world as bound to each of them.
    """

    positions: Floats
    triangles: Ints
    joints: Ints
    weights: Floats
    movers: Ints
    back: Floats


@dataclass(frozen=True)
class _Clip:
    """Moments of a motion; a pose has one.

    Attributes
    ----------
    name : str
    times : ndarray, shape (f,)
    world : ndarray, shape (f, n, 4, 4)
        Of the joints that are shown, in metres.
    about : str
        The motion's name in findings; "" for a pose.
    """

    name: str
    times: Floats
    world: Floats
    about: str = ""


class View:
    """A rig that can be turned, and its motions played.

    Parameters
    ----------
    subject : Subject
        The rig, as an inspection sees it.
    name : str
        Of its file.
    findings : iterable of Finding
        What a page can mark.

    Raises
    ------
    ValueError
        For a rig without joints, or one larger than numbers of 32 bits can say.

    Attributes
    ----------
    script, style : str
        Of a page that holds its `markup`; `style` comes after `stage.STYLE`.
    """

    script = "".join((_DATA / f"{each}.js").read_text("utf-8") for each in ("common", "view"))
    # The controls are a panel's.
    style = "".join((_DATA / f"{each}.css").read_text("utf-8") for each in ("panel", "view"))

    def __init__(self, subject: Subject, name: str = "", findings: Iterable[Finding] = ()) -> None:
        self.subject, self.name = subject, plain(name, 80)
        self._findings = list(findings)
        self._skin = _skin_of(subject)
        self._nodes = _nodes_of(subject, self._skin.movers)
        if not len(self._nodes):
            raise ValueError("`thing` must be a rig with joints; got one without any.")
        self._widget: ViewWidget | None = None
        if not all(np.isfinite(each).all() for each in self.arrays.values()):
            raise ValueError("`thing` must have numbers that 32 bits can hold; got larger ones.")

    def __repr__(self) -> str:
        motions = len(self.subject.asset.animations)
        counts = (
            (len(self._nodes), "joint", "joints"),
            (len(self._skin.positions), "vertex", "vertices"),
            (motions, "motion", "motions"),
        )
        said = ", ".join(f"{count} {one if count == 1 else many}" for count, one, many in counts)
        return f"View of {self.name or 'a rig'}: {said}"

    # What a page is sent.

    @cached_property
    def arrays(self) -> dict[str, Any]:
        """The arrays that are sent, by name.

        `positions`, `triangles`, `joints` and `weights` of the skin, in metres as bound; `parents`
        of the joints, −1 for a root; for each clip i `matrices.i`, shape (moments, k, 3, 4), that
        move the skin, and `points.i`, shape (moments, n, 3), the joints' places.
        """
        body, count = self._skin, len(self._skin.positions)
        sent: dict[str, Any] = {
            "positions": body.positions.astype("<f4"),
            "triangles": body.triangles.astype("<u2" if count <= 2**16 else "<u4"),
            "joints": body.joints.astype("<u1" if len(body.movers) <= 2**8 else "<u2"),
            "weights": body.weights.astype("<f4"),
            "parents": _parents_among(self.subject.parents, self._nodes).astype("<i4"),
        }
        movers = np.searchsorted(self._nodes, body.movers)
        with np.errstate(over="ignore"):  # it is refused
            for i, clip in enumerate(self._clips):
                matrices = clip.world[:, movers] @ body.back
                sent[f"matrices.{i}"] = matrices[..., :3, :].astype("<f4")
                sent[f"points.{i}"] = clip.world[..., :3, 3].astype("<f4")
        return sent

    @cached_property
    def packed(self) -> bytes:
        """The arrays one after the other, each on a whole number of four bytes, deflated."""
        return zlib.compress(b"".join(map(_padded, self.arrays.values())), 9)

    @cached_property
    def head(self) -> dict[str, Any]:
        """The rest of what is sent: where each array stands, and what things are called."""
        low, high = self._corners
        return {
            "form": FORM,
            "arrays": _table(self.arrays),
            "clips": [
                {"name": clip.name, "seconds": float(clip.times[-1]), "count": len(clip.times)}
                for clip in self._clips
            ],
            "names": [plain(self.subject.names[node], 40) for node in self._nodes],
            "legs": self._legs,
            "follow": self._place(self.subject.root) if self.subject.sides else -1,
            "middle": self._middle.tolist(),
            "half": ((high - low) / 2).tolist(),
            "turn": TURN_DEG,
            "tilt": TILT_DEG,
            "stops": list(STOPS_DEG) if self.turns else [],
            "marks": {each.rule: self._mark_of(each) for each in self._findings},
        }

    @cached_property
    def _clips(self) -> list[_Clip]:
        """The pose it was bound in, another that the file stores, and the motions."""
        asset, there = self.subject.asset, self.subject.to_metres
        poses = bound_pose(asset).world, asset.rest_world()
        bound, stored = (there @ pose[self._nodes] for pose in poses)
        clips = [_Clip(REST, np.zeros(1), bound[None])]
        if np.abs(bound - stored).max() > MOVED:
            clips.append(_Clip(STORED, np.zeros(1), stored[None]))
        rate = self._rate
        for place in self._motions:
            motion = asset.animations[place]
            count = max(2, 1 + round(motion.duration * rate)) if motion.duration else 1
            times = np.linspace(0.0, motion.duration, count)
            name = plain(motion.name, 60) or f"motion {place + 1}"
            world = there @ self._posed(motion, times)
            clips.append(_Clip(name, times, world, motion.name or "without a name"))
        return clips

    def _posed(self, motion: gltf.Animation, times: Floats) -> Floats:
        """The joints that are shown at some times, in the file's units; a few times at once."""
        asset = self.subject.asset
        size = max(1, _BLOCK // len(asset.nodes))
        blocks = (times[start : start + size] for start in range(0, len(times), size))
        return np.concatenate([asset.pose_world(motion, each)[:, self._nodes] for each in blocks])

    @cached_property
    def _motions(self) -> list[int]:
        """The animations that are shown: those with findings first, if there are too many."""
        about = {each.about for each in self._findings}
        animations = self.subject.asset.animations
        ranked = sorted(
            range(len(animations)),
            key=lambda i: (animations[i].name or "without a name") not in about,
        )
        return sorted(ranked[:MOST_CLIPS])

    @property
    def _rate(self) -> float:
        """Moments a second that all motions together have room for."""
        moment = 48 * len(self._skin.movers) + 12 * len(self._nodes)
        whole = sum(self.subject.asset.animations[i].duration for i in self._motions)
        return min(RATE, MOST_BYTES / moment / max(whole, 1e-9))

    @cached_property
    def _legs(self) -> dict[str, dict[str, Any]]:
        """Of each side the joints of its chain and of its foot, and the three that bend a knee."""
        told = {}
        for side, leg in self.subject.legs.legs.items():
            chain = [self._place(leg.joints[part]) for part in leg.chain]
            foot = [self._place(leg.joints[part]) for part in ("ball", "toe") if part in leg.joints]
            knee = [self._place(leg.joints[part]) for part in ("hip", "knee", "ankle")]
            told[side] = {"chain": chain, "foot": [chain[-1], *foot], "knee": knee}
        return told

    def _place(self, node: int) -> int:
        """A node's place among those that are shown."""
        return int(np.searchsorted(self._nodes, node))

    def _mark_of(self, finding: Finding) -> dict[str, Any]:
        """The joints, vertices and moment that a finding is about, for a page."""
        where, moment = finding.where, None
        clip = next((i for i, each in enumerate(self._clips) if each.about == finding.about), 0)
        if where.seconds is not None:
            moment = int(np.abs(self._clips[clip].times - where.seconds).argmin())
        return {
            "title": finding.title,
            "joints": [self._place(node) for node in where.joints if node in self._nodes],
            "vertices": _spread(where.vertices) if len(self._skin.positions) else [],
            "clip": clip,
            "moment": moment,
        }

    # The flat picture, and what is around it.

    @cached_property
    def _middle(self) -> Floats:
        """The point that it is turned about: of a rig with legs, it goes with their root."""
        points = self._at_rest
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        if self.subject.sides:
            middle[[0, 2]] = self.subject.points[self.subject.root][[0, 2]]
        return middle

    @property
    def _at_rest(self) -> Floats:
        """The skin and the joints at rest."""
        return np.concatenate([self._skin.positions, self._clips[0].world[0, :, :3, 3]])

    @cached_property
    def _corners(self) -> tuple[Floats, Floats]:
        """The corners of the flat picture: all turns of the rig fit, whichever moment it is."""
        away = [self._at_rest - self._middle, *self._motion_about_middle()]
        wide = max(float(np.linalg.norm(each[:, [0, 2]], axis=-1).max()) for each in away)
        tall = max(float(np.abs(each[:, 1]).max()) for each in away) + 0.2 * wide
        half = 1.08 * np.maximum([wide, tall], max(1e-3, FAR * np.abs(self._middle).max()))
        half = np.maximum(half, [half[1] / TALL, NARROW * half[0]])
        tilt = np.radians(TILT_DEG)
        turn = np.radians(TURN_DEG)
        x, y, z = self._middle
        seen = np.array(
            [
                x * np.cos(turn) - z * np.sin(turn),
                y * np.cos(tilt) - np.sin(tilt) * (x * np.sin(turn) + z * np.cos(turn)),
            ]
        )
        return seen - half, seen + half

    def _motion_about_middle(self) -> Iterable[Floats]:
        """The joints in each motion, seen from the middle, which goes along with the root."""
        for clip in self._clips[1:]:
            points = clip.world[..., :3, 3] - self._middle
            if self.subject.sides:
                points = points - points[:, [self._place(self.subject.root)]] * [1, 0, 1]
            yield points.reshape(-1, 3)

    @cached_property
    def picture(self) -> stage.Stage:
        """The flat picture that stands there first, and where nothing can draw the rig."""
        return self._picture_at(TURN_DEG, self.said)

    def _picture_at(self, turn_deg: float, desc: str) -> stage.Stage:
        low, high = self._corners
        drawn = stage.Stage("turntable", low, high, "", desc, WIDTH, turn_deg, TILT_DEG)
        drawn.title = self.title
        opening.rig(drawn, self.subject)
        return drawn

    @cached_property
    def turns(self) -> bytes:
        """The flat picture at each of its stops, a JSON list of SVGs, deflated; b"" for none.

        It is turned by these where nothing draws the rig; `view.js` gives each its words.
        """
        if _count(self.subject) > MOST_TURNED:
            return b""
        pictures = [self._picture_at(stop, "").svg(style=False) for stop in STOPS_DEG]
        return zlib.compress(json.dumps(pictures).encode(), 9)

    @property
    def title(self) -> str:
        """The name of what is seen: "The rig", or "The rig in tamsin.glb"."""
        return f"The rig in {self.name}" if self.name else "The rig"

    @property
    def said(self) -> str:
        """The start in a sentence; `view.js` says the same of what comes after."""
        bends = self.knee_bends_deg()
        words = [f"{round(deg)}° {SIDE_WORDS[side]}" for side, deg in bends.items()]
        knees = (
            f" {'Knees' if len(words) > 1 else 'Knee'} bent {', '.join(words)}." if words else ""
        )
        missing = len(self.subject.asset.animations) - len(self._motions)
        more = f" {missing} more motions are not shown." if missing else ""
        large = " Its skin is too large to be shown." if _too_large(self.subject) else ""
        where = f"{TURN_DEG}° from the front toward its left, {TILT_DEG}° from above"
        return f"Seen {where}. {REST}.{knees}{more}{large}"

    def knee_bends_deg(self, clip: int = 0, moment: int = 0) -> dict[str, float]:
        """Return the bend of each knee: 0 where the leg is straight.

        Parameters
        ----------
        clip, moment : int
            Their places; the first clip is the rig at rest.

        Returns
        -------
        dict of str to float
            By side, "L" and "R" [degrees].

        Raises
        ------
        ValueError
            For a clip or a moment there is not.
        """
        for name, place, of in (("clip", clip, self._clips), ("moment", moment, None)):
            count = len(of if of is not None else self._clips[clip].times)
            if not 0 <= _check.count(name, place, least=0) < count:
                raise ValueError(f"`{name}` must be from 0 to {count - 1}; got {place}.")
        points = self._clips[clip].world[moment, :, :3, 3]
        bends = {}
        for side, leg in self._legs.items():
            hip, knee, ankle = points[leg["knee"]]
            if min(np.linalg.norm(knee - hip), np.linalg.norm(ankle - knee)) > 1e-9:
                bends[side] = float(np.degrees(rotation.angle_between(knee - hip, ankle - knee)))
        return bends

    # Where it is shown.

    def markup(self) -> str:
        """Return the view as a part of a page that holds its `script` and `style`.

        Returns
        -------
        str
        """
        return templates.render(
            "view/figure.html",
            view=self,
            head=Markup(json.dumps(self.head).replace("<", "\\u003c")),
            packed=b64encode(self.packed).decode(),
            turns=b64encode(self.turns).decode(),
        )

    def still(self) -> str:
        """Return its flat picture and the sentence, as `markup` without the rig.

        Returns
        -------
        str
        """
        return templates.render("view/figure.html", view=self, head=None)

    def html(self) -> str:
        """Return a page of its own, complete in itself.

        Returns
        -------
        str
        """
        page = (templates.TEMPLATES / "view" / "page.css").read_text(encoding="utf-8")
        style = stage.STYLE + page + self.style
        return templates.render(
            "view/page.html", view=self, style=Markup(style), script=Markup(self.script)
        )

    @property
    def widget(self) -> ViewWidget:
        """The widget that a notebook shows; made when it is asked for."""
        if self._widget is None:
            from rigkit._view_widget import ViewWidget

            self._widget = ViewWidget(self.head, self.packed, self.turns, self.still())
        return self._widget

    def mark(self, joints: Sequence[str | int] = (), vertices: Sequence[int] = ()) -> View:
        """Mark some joints and vertices, in place of those marked before.

        Parameters
        ----------
        joints : sequence of str or int
            Names, or places of nodes in the file.
        vertices : sequence of int
            Places in the skin.

        Returns
        -------
        View
            The same.

        Raises
        ------
        ValueError
            For a joint or a vertex there is not.
        """
        count = len(self._skin.positions)
        for vertex in vertices:
            if _check.count("vertices", vertex, least=0) >= count:
                raise ValueError(f"`vertices` must be below {count}; got {vertex}.")
        marked = [self._place(self._node(joint)) for joint in joints]
        self.widget.marked = {"joints": marked, "vertices": _spread(vertices)}
        return self

    def _node(self, joint: str | int) -> int:
        known: dict[str | int, int] = {int(node): int(node) for node in self._nodes}
        known |= {self.subject.names[node]: int(node) for node in self._nodes[::-1]}
        if joint not in known:
            names = ", ".join(self.subject.names[node] for node in self._nodes[:12])
            raise ValueError(
                f"`joints` must be joints of the rig ({names}…); got {_check.short(joint)}."
            )
        return known[joint]

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        shown = self.widget._repr_mimebundle_(**kwargs)
        data, about = shown if isinstance(shown, tuple) else (shown or {}, {})
        still = self.picture._repr_mimebundle_()["text/html"]
        html = f"{still}{Markup('<p>{}</p>').format(self.said)}"
        return data | {"text/plain": repr(self), "text/html": html}, about


# The skin as it is sent.


def _skin_of(subject: Subject) -> _Skin:
    """All skinned meshes of a rig as one; an empty one where there is none, or it is too large."""
    asset, there = subject.asset, subject.to_metres
    surfaces = bound_pose(asset).surfaces
    parts: list[tuple[Floats, Ints, Ints, Floats]] = []
    movers: dict[int, tuple[int, Ints, Floats]] = {}
    vertices = count = 0
    for node in () if _too_large(subject) else asset.nodes:
        if node.mesh is None or node.skin is None:
            continue
        mesh = asset.meshes[node.mesh]
        if mesh.joints is None or mesh.weights is None:
            continue
        bound = _invertible(there @ surfaces.get(node.skin, np.eye(4)), there)
        if node.skin not in movers:
            chosen = asset.skins[node.skin]
            movers[node.skin] = count, chosen.joints, chosen.inverse_bind @ np.linalg.inv(bound)
            count += len(chosen.joints)
        used, triangles = np.unique(mesh.triangles, return_inverse=True)
        joints, weights = _four_strongest(mesh.joints[used], mesh.weights[used])
        positions = mesh.positions[used] @ bound[:3, :3].T + bound[:3, 3]
        corners = triangles.reshape(-1, 3) + vertices
        parts.append((positions, corners, joints + movers[node.skin][0], weights))
        vertices += len(used)
    if not parts:
        none = np.empty((0, 3)), np.empty((0, 3), np.int64), np.empty((0, 4), np.int64)
        return _Skin(*none, np.empty((0, 4)), np.empty(0, np.int64), np.empty((0, 4, 4)))
    positions, triangles, joints, weights = map(np.concatenate, zip(*parts, strict=True))
    nodes, back = (np.concatenate([each[i] for each in movers.values()]) for i in (1, 2))
    return _Skin(positions, triangles, joints, weights, nodes, back)


def _too_large(subject: Subject) -> bool:
    return _count(subject) > MOST_VERTICES


def _count(subject: Subject) -> int:
    """The skin's vertices."""
    return 0 if subject.surface is None else len(subject.surface.vertices)


def _invertible(matrix: Floats, instead: Floats) -> Floats:
    """A matrix that can be undone, or another."""
    sizes = np.linalg.svd(matrix[:3, :3], compute_uv=False)
    return matrix if sizes[2] > 1e-9 * max(sizes[0], 1e-300) else instead


def _four_strongest(joints: Ints, weights: Floats) -> tuple[Ints, Floats]:
    """The four strongest joints of each vertex, the strongest first; their weights' sum is kept."""
    order = np.argsort(-np.abs(weights), axis=-1, kind="stable")[:, :4]
    kept = np.take_along_axis(weights, order, axis=-1)
    share, whole = kept.sum(axis=-1, keepdims=True), weights.sum(axis=-1, keepdims=True)
    known = np.abs(share) > 1e-6
    return np.take_along_axis(joints, order, axis=-1), kept * np.where(
        known, whole / np.where(known, share, 1.0), 1.0
    )


# The joints as they are sent.


def _nodes_of(subject: Subject, movers: Ints) -> Ints:
    """The nodes that are shown: joints of skins and legs; of a rig without skin all but meshes."""
    asset = subject.asset
    legs = [node for leg in subject.legs.legs.values() for node in leg.joints.values()]
    if subject.sides:
        legs.append(subject.root)
    skinned = [each.joints for each in asset.skins]
    if not skinned:
        legs += [i for i, node in enumerate(asset.nodes) if node.mesh is None]
    return np.unique(np.concatenate([movers, np.array(legs, np.int64), *skinned])).astype(np.int64)


def _parents_among(parents: Ints, nodes: Ints) -> Ints:
    """The place of the nearest of some nodes above each of them, −1 where there is none."""
    places = {int(node): i for i, node in enumerate(nodes)}
    found = []
    for node in nodes:
        above = int(parents[node])
        while above >= 0 and above not in places:
            above = int(parents[above])
        found.append(places.get(above, -1))
    return np.array(found, np.int64)


def _spread(vertices: Sequence[int]) -> list[int]:
    """At most `MOST_MARKS` of some vertices, from first to last."""
    places = np.linspace(0, len(vertices) - 1, min(len(vertices), MOST_MARKS)).astype(int)
    return [int(vertices[place]) for place in places]


def _padded(array: Any) -> bytes:
    data: bytes = array.tobytes()
    return data + b"\0" * (-len(data) % 4)


def _table(arrays: dict[str, Any]) -> list[dict[str, Any]]:
    """The name, kind, shape and first byte of each array among those that are packed."""
    start, told = 0, []
    for name, array in arrays.items():
        kind = array.dtype.str[1:]
        told.append({"name": name, "kind": kind, "shape": list(array.shape), "start": start})
        start += len(_padded(array))
    return told
