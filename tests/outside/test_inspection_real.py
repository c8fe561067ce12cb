"""The inspection's numbers on rigs that others made, recomputed without the library.

Five rules, each by a formula of its own on what a small reader finds in the files (`real_rigs`).
"""

import re

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from rigkit import inspection
from tests.outside.real_rigs import PATHS, Rig, fetched

pytestmark = [pytest.mark.needs_registry, fetched]

# By eye, from the files: the joints of each leg from the hip down, and how many bones there are to
# its end; the animal's has three, and bends between the lowest two.
BONES = {"CesiumMan": 2, "Fox": 3}
LEGS = {
    "CesiumMan": {"L": (7, 8, 9, 10), "R": (3, 4, 5, 6)},
    "Fox": {"L": (18, 19, 20, 21), "R": (22, 23, 24, 25)},
}


@pytest.fixture(params=LEGS, scope="module")
def name(request):
    return request.param


@pytest.fixture(scope="module")
def rig(name):
    return Rig(PATHS[name])


@pytest.fixture(scope="module")
def report(name):
    return inspection.inspect(PATHS[name])


def chain(rig, name, side):
    return np.array([rig.bound(joint) for joint in LEGS[name][side][: BONES[name] + 1]])


def leg_length(rig, name):
    bones = [np.diff(chain(rig, name, side), axis=0) for side in "LR"]
    return np.linalg.norm(bones, axis=-1).sum() / 2


def test_the_legs_are_those(name, report):
    found = {side: tuple(leg.joints.values()) for side, leg in report.legs.legs.items()}
    assert found == LEGS[name]


def test_weights_add_up_alike(rig, report):
    used = np.unique(rig.triangles)
    off = np.abs(rig.weights.sum(axis=1) - 1)[used]
    assert report["weights-sum"].number == pytest.approx(off.max(), abs=1e-6)


# The right joint, seen in a mirror across the middle between the sides, beside the left one.
def test_the_sides_are_mirrored_alike(rig, name, report):
    left, right = (np.array([rig.bound(j) for j in LEGS[name][s]]) for s in "LR")
    axis = np.abs((left - right)[:3].mean(axis=0)).argmax()
    middle = np.median((left + right)[:, axis]) / 2
    image = right.copy()
    image[:, axis] = 2 * middle - image[:, axis]
    off = 100 * np.linalg.norm(image - left, axis=1).max() / leg_length(rig, name)
    assert report["sides-mirror"].unit == "% of the leg"
    assert report["sides-mirror"].number == pytest.approx(off, abs=1e-4)


# By the law of cosines, from three lengths.
def test_the_knee_is_bent_alike(rig, name, report):
    parts = dict(report["preset-bend"].parts)
    for side, word in (("L", "left"), ("R", "right")):
        hip, knee, ankle = chain(rig, name, side)[-3:]
        a, b, c = (np.linalg.norm(q - p) for p, q in ((hip, knee), (knee, ankle), (hip, ankle)))
        bend = 180 - np.degrees(np.arccos((a * a + b * b - c * c) / (2 * a * b)))
        assert parts[word] == pytest.approx(bend, abs=1e-3)


# How far whichever vertex of a foot is lowest gets from where it stood, over a ground that passes
# as the report says: it watches a few points of the sole, so the two agree within 15 %.
def test_a_foot_slides_alike():
    rig, report = Rig(PATHS["CesiumMan"]), inspection.inspect(PATHS["CesiumMan"])
    finding, leg = report["foot-slide"], leg_length(rig, "CesiumMan")
    passing = float(re.search(r"passes at ([\d.]+) m/s", finding.said)[1])
    ground = -passing * np.array(report.legs.forward)
    assert len(finding.parts) == 3
    for what, share in finding.parts:
        side, start, end = re.fullmatch(r"(\w+) foot, ([\d.]+) to ([\d.]+) s", what).groups()
        feet = LEGS["CesiumMan"][side[0].upper()][2:]
        chosen = np.flatnonzero(rig.shares(feet) > 0.5)
        times = np.arange(round(60 * float(start)), round(60 * float(end)) + 1) / 60
        path = rig.posed(chosen, 0, times)
        lowest = (path[1:, :, 1] + path[:-1, :, 1]).argmin(axis=1)
        step = np.diff(path, axis=0)[np.arange(len(lowest)), lowest]
        gone = np.cumsum((step - ground / 60)[:, [0, 2]], axis=0)
        slid = np.linalg.norm(gone, axis=1).max()
        assert share == pytest.approx(100 * slid / leg, rel=0.15, abs=0.1)


# Σ det / 6 over the faces of a piece, at rest and posed. Each triangle is clipped by two planes, in
# both poses alike, and every hole is closed by a fan about the middle of its rim.
def test_a_bent_knee_keeps_as_much(rig, name, report):
    if name == "Fox":  # its hocks stand bent by 55°, as told above
        assert "stand bent by 55° already" in report["knee-volume"].said
        return
    parts = {what.split()[0]: number for what, number in report["knee-volume"].parts}
    for side, word in (("L", "left"), ("R", "right")):
        leg = LEGS[name][side]
        hip, knee, ankle = chain(rig, name, side)[-3:]
        thigh, shank = knee - hip, ankle - knee
        mine = (rig.shares(leg) > 0.5)[rig.triangles].all(axis=1)
        points, axis = rig.points - knee, np.cross(thigh, shank)
        below = rig.shares(leg[BONES[name] - 1 :])[:, None]
        posed = (1 - below) * points + below * quarter_turn(points, axis / np.linalg.norm(axis))
        corners = np.stack([points, posed], axis=1)[rig.triangles[mine]]
        whole, kept = volumes(corners, thigh, shank)
        assert parts[word] == pytest.approx(100 * kept / whole, abs=0.2)


def quarter_turn(points, axis):
    """Rodrigues' formula for 90°: the part along the axis stays, the rest is crossed with it."""
    return np.outer(points @ axis, axis) + np.cross(axis, points)


def volumes(triangles, thigh, shank):
    """Volumes around the knee, in two poses; `triangles` (t, 3, 2, 3) are seen from it."""
    bones = np.linalg.norm([thigh, shank], axis=1)
    along = thigh / bones[0] + shank / bones[1]
    along, reach = along / np.linalg.norm(along), 0.35 * bones.min()
    near = np.linalg.norm(triangles[:, :, 0].mean(axis=1), axis=1) < 2.5 * reach
    faces = [clipped(clipped(face, along, reach), -along, reach) for face in triangles[near]]
    faces = [face for face in faces if len(face)]
    total = sum(fan(face[0], face[1:-1], face[2:]) for face in faces)
    for rim in rims(faces):
        first, last = np.array(rim).swapaxes(0, 1)
        total = total + fan(first.mean(axis=0), last, first)
    return total / 6


def fan(tip, first, last):
    return np.linalg.det(np.stack([np.broadcast_to(tip, first.shape), first, last], -2)).sum(axis=0)


def clipped(face, normal, reach):
    """A polygon without what lies beyond a plane at rest, after Sutherland and Hodgman (1974)."""
    kept = []
    height = face[:, 0] @ normal - reach if len(face) else []
    for i in range(len(face)):
        j = (i + 1) % len(face)
        if height[i] <= 0:
            kept.append(face[i])
        if (height[i] <= 0) != (height[j] <= 0):
            kept.append(face[i] + height[i] / (height[i] - height[j]) * (face[j] - face[i]))
    return np.array(kept)


def rims(faces):
    """The sides of polygons that no other polygon has, those that hang together as one list."""
    sides = {}
    for face in faces:
        places = [tuple(np.round(point, 7)) for point in face[:, 0]]
        for i, place in enumerate(places):
            if place != places[i - 1]:
                sides[places[i - 1], place] = face[i - 1], face[i]
    alone = {ends: side for ends, side in sides.items() if ends[::-1] not in sides}
    number = {place: i for i, place in enumerate({place for ends in alone for place in ends})}
    links = np.array([[number[place] for place in ends] for ends in alone])
    graph = coo_array((np.ones(len(links)), links.T), shape=(len(number), len(number)))
    count, label = connected_components(graph, directed=False)
    found = [[] for _ in range(count)]
    for (place, _), side in alone.items():
        found[label[number[place]]].append(side)
    return found
