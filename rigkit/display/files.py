"""Surfaces, and rig files and their parts."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from rigkit import _format, gltf, mesh, page, places, rotation
from rigkit._types import Floats
from rigkit.display.drawing import WIDTH, surface, tree
from rigkit.display.formats import name, optional, turn, yes
from rigkit.display.showing import Piece, show
from rigkit.display.tables import FEW, fields, table, values
from rigkit.stage import Picture

MOST_TRIANGLES = 50_000  # of a rig file's skin that is drawn with its joints


@show.register
def show_mesh(thing: mesh.Mesh) -> Iterator[Piece]:
    yield surface(thing.vertices, thing.triangles, repr(thing))


@show.register
def show_section(thing: mesh.Section) -> Iterator[Piece]:
    said = fields(thing, middle=_format.point, radius=_format.length, closed=yes)
    yield values(thing, said)


@show.register
def show_places(thing: places.Places) -> Iterator[Piece]:
    far = f"at most {_format.length(thing.distance.max())}"
    said = fields(thing, corners=lambda rows: f"{len(rows)} of three", distance=lambda _: far)
    yield values(thing, said)


@show.register
def show_node(thing: gltf.Node) -> Iterator[Piece]:
    said = fields(
        thing,
        parent=optional("node {}".format, "none: a root"),
        translation=_format.point,
        rotation=lambda quaternion: turn(rotation.matrix_from_quaternion(quaternion)),
        scale=lambda scale: _format.point(scale, ""),
        mesh=optional("mesh {}".format),
        skin=optional("skin {}".format),
    )
    yield values(name(thing.name) or "Node", said)


@show.register
def show_skin(thing: gltf.Skin) -> Iterator[Piece]:
    places = zip(thing.joints.tolist(), _places(thing.inverse_bind), strict=True)
    rows = [(i, node, _format.point(place)) for i, (node, place) in enumerate(places)]
    said = "where each joint stood when the mesh was joined to it."
    yield table(("Joint", "node", "stood at"), rows, f"Skin {name(thing.name)}: {said}")


def _places(inverse_bind: Any) -> Floats:
    """Joints' places in the mesh's frame at binding; NaN where a matrix cannot be turned round."""
    places: Floats = np.full((len(inverse_bind), 3), np.nan)
    for i, matrix in enumerate(inverse_bind):
        if np.isfinite(matrix).all() and abs(np.linalg.det(matrix[:3, :3])) > 1e-12:
            places[i] = -np.linalg.solve(matrix[:3, :3], matrix[:3, 3])
    return places


@show.register
def show_file_mesh(thing: gltf.Mesh) -> Iterator[Piece]:
    yield surface(thing.positions, thing.triangles, repr(thing))
    weights = "none" if thing.weights is None else f"up to {thing.weights.shape[1]} to a vertex"
    rows = [
        ("vertices", f"{len(thing.positions):,}"),
        ("triangles", f"{len(thing.triangles):,}"),
        ("weights", weights),
        ("normals", "none" if thing.normals is None else "one to a vertex"),
    ]
    yield table((name(thing.name) or "Mesh", "value"), rows)


@show.register
def show_channel(thing: gltf.Channel) -> Iterator[Piece]:
    if len(thing.times) > 1:
        yield _course(thing)
    rows = [
        ("moves", f"the {thing.path} of node {thing.node}"),
        ("keys", f"{len(thing.times):,}"),
        ("time", _format.amount(thing.times, " s", 2)),
        ("between keys", thing.interpolation),
    ]
    yield table(("Channel", "value"), rows)


def _course(channel: gltf.Channel) -> Picture:
    """Curves of what a channel moves."""
    from rigkit import plots  # here, because it alone needs matplotlib

    times = np.linspace(channel.times[0], channel.times[-1], 101)
    values, label = channel.sample(times), "scale"
    if channel.path == "rotation":
        vectors = rotation.vector_from_quaternion(values)
        values, label = np.degrees(np.unwrap(vectors, axis=0)), "turn (°)"
    elif channel.path == "translation":
        values, label = 100 * values, "place (cm)"
    return plots.curves(
        times,
        dict(zip(("x", "y", "z"), values.T, strict=True)),
        "time (s)",
        label,
        title=f"The {channel.path} of node {channel.node}",
        desc=repr(channel),
        width=WIDTH,
        height=260,
    )


@show.register
def show_animation(thing: gltf.Animation) -> Iterator[Piece]:
    rows = [(each.node, each.path, len(each.times), each.interpolation) for each in thing.channels]
    said = f"{name(thing.name)}: {_format.amount(thing.duration, ' s', 2)}"
    yield table(("Node", "moves", "keys", "between keys"), rows, said)


@show.register
def show_asset(thing: gltf.Asset) -> Iterator[Piece]:
    nodes = thing.nodes
    joints = sorted({int(i) for skin in thing.skins for i in skin.joints}) or [*range(len(nodes))]
    places = {node: i for i, node in enumerate(joints)}
    points = thing.rest_world()[joints, :3, 3]
    if len(points) and np.isfinite(points).all():
        parents = [nodes[node].parent for node in joints]
        yield tree(
            points,
            [-1 if parent is None else places.get(parent, -1) for parent in parents],
            [nodes[node].name for node in joints],
            "The joints at rest",
            repr(thing),
            skin=_skin(thing),
        )
    rows = [
        (word, f"{len(many):,}", page.plain(_format.names(each.name for each in many), 200))
        for word in ("nodes", "skins", "meshes", "animations")
        for many in [getattr(thing, word)]
    ]
    notes = " ".join(page.plain(note, 200) for note in thing.notes[:FEW])
    yield table(("Asset", "how many", "names"), rows, notes)


def _skin(asset: gltf.Asset) -> tuple[Floats, Any] | None:
    """Skin that a file's joints move, as it stands there; nothing if it is too large to draw."""
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
