"""What the inspection says of the skin, against closed forms, scipy and second formulas.

Closed forms: Cavalieri's principle (a shear keeps a volume; a cylinder cut aslant has its base
times its mean height), Pappus' theorem (a ring's volume is its section times the way
of its centroid).
"""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.spatial import ConvexHull, cKDTree

from rigkit import export, inspection, mesh, skin
from rigkit.inspection import pictures, piece, skin_rules, weight_rules
from rigkit.inspection.skin_rules import bent_knee
from rigkit.inspection.subject import Subject
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.scenes import skinning
from rigkit.skeleton import Skeleton
from tests.unit import rigs

HALF = 0.175  # m: 35 % of a bone of half a metre, as much as is measured on either side of a knee


def found(asset, rule):
    return inspection.inspect(asset)[rule]


# --- a piece of a limb


def test_a_cylinder_cut_aslant_has_its_base_times_its_mean_height():
    limb = mesh.tube(0.05, 0.8, 48, 7)
    base = 24 * np.sin(2 * np.pi / 48) * 0.05**2  # of a polygon of 48 corners
    for tilt, low, high in product((0.0, 0.4, 0.9), (-0.2, -0.03), (0.01, 0.15)):
        height = limb.vertices @ [tilt, 1.0, 0.0]
        poses, triangles = piece.cut_off(limb.vertices[None], limb.triangles, height - high)
        height = poses[0] @ [tilt, 1.0, 0.0]
        poses, triangles = piece.cut_off(poses, triangles, low - height)
        poses, triangles = piece.closed(poses, triangles)
        assert mesh.open_edges(triangles).tolist() == []
        assert mesh.volume(poses[0], triangles) == pytest.approx(base * (high - low), rel=1e-9)


def test_a_shear_keeps_the_volume_of_a_piece_and_a_ring_has_that_of_pappus():
    limb = mesh.tube(0.05, 1.2, 64, 240)
    x, y, z = limb.vertices.T
    sheared = np.stack([x + 0.7 * y, y, z - 0.2 * y], axis=-1)
    about, radius = y / 0.5, 0.5 + z  # a ring of half a metre: y runs along its middle
    ring = np.stack([x, radius * np.sin(about), radius * np.cos(about)], axis=-1)
    poses, triangles = piece.cut_off(
        np.stack([limb.vertices, sheared, ring]), limb.triangles, y - 0.3
    )
    poses, triangles = piece.cut_off(poses, triangles, -0.3 - poses[0, :, 1])
    whole, shear, bent = mesh.volume(*piece.closed(poses, triangles))
    assert shear == pytest.approx(whole, rel=1e-9)
    assert bent == pytest.approx(np.pi * 0.05**2 * 0.6, rel=2e-3)


def test_a_convex_piece_has_the_volume_of_its_hull():
    points = np.random.default_rng(5).normal(size=(60, 3))
    hull = ConvexHull(points)
    outward = np.cross(
        *(points[hull.simplices[:, i]] - points[hull.simplices[:, 0]] for i in (1, 2))
    )
    turned = np.sum(outward * hull.equations[:, :3], axis=-1) < 0
    triangles = np.where(turned[:, None], hull.simplices[:, ::-1], hull.simplices)
    for normal in np.eye(3):
        poses, cut = piece.cut_off(points[None], triangles, points @ normal - 0.3)
        poses, cut = piece.closed(poses, cut)
        used = poses[0][np.unique(cut)]
        assert mesh.volume(poses[0], cut) == pytest.approx(ConvexHull(used).volume, rel=1e-9)


# --- the volume of a knee


def stilts(reach, deg=0.0):
    """Two straight round legs; a smooth step passes the weight over `reach` beside each knee."""
    places = {"pelvis": (0, 1.05, 0)}
    limb, vertices, triangles, weights = mesh.tube(0.06, 1.0, 24, 400), [], [], []
    for side, (tag, x) in enumerate((("L_", 0.1), ("R_", -0.1))):
        for part, y, z in (("hip", 1, 0), ("knee", 0.5, 0), ("ankle", 0, 0), ("ball", 0, 0.1)):
            places[tag + part] = (x, y, z)
        vertices.append(limb.vertices + [x, 0.5, 0])
        triangles.append(limb.triangles + side * len(limb.vertices))
        share = np.clip((reach - limb.vertices[:, 1]) / (2 * reach), 0, 1)
        share = 3 * share**2 - 2 * share**3
        weights.append(np.zeros((len(share), 9)))
        weights[-1][:, 1 + 4 * side], weights[-1][:, 2 + 4 * side] = 1 - share, share
    world = {name: np.eye(4) for name in places}
    for name, place in places.items():
        world[name][:3, 3] = place
    above = {"hip": "pelvis", "knee": "hip", "ankle": "knee", "ball": "ankle"}
    parents = {
        name: None
        if name == "pelvis"
        else (above[name[2:]] if name[2:] == "hip" else name[:2] + above[name[2:]])
        for name in places
    }
    skeleton = Skeleton.from_world(world, parents)
    table = np.concatenate(weights)[:, [list(places).index(name) for name in skeleton.names]]
    surface = mesh.Mesh(np.concatenate(vertices), np.concatenate(triangles))
    return export.rig_asset(skeleton, surface, table)


@pytest.mark.parametrize("reach", [0.03, 0.1, 0.17])
def test_a_bent_tube_loses_what_the_integral_says(reach):
    """With weight w the blend's Jacobian integrates, over a section round the hinge, to
    1 − 2 w (1 − w) (1 − cos θ), plus as much as half of that in the fold: together
    1 − (1 − cos θ) ∫ w (1 − w) dy / h over the length 2 h. For w = 3t² − 2t³ over 2 b the integral
    is 9/70 · 2 b."""
    subject = Subject(stilts(reach))
    for side in "LR":
        bent = bent_knee(subject, side)
        assert bent.volume == pytest.approx(1 - 9 / 70 * reach / HALF, abs=5e-4)
        assert bent.section == pytest.approx(np.sqrt(0.5), abs=2e-3)
    assert found(stilts(reach), "knee-volume").number == pytest.approx(
        100 - 900 / 70 * reach / HALF, abs=0.05
    )


@pytest.mark.parametrize("reach", [0.03, 0.06, 0.1])
def test_a_bent_tube_stretches_its_front_as_the_curve_s_slope_says(reach):
    """A quarter turn takes (y, r) to (−r, y), so the front's line becomes the curve
    ((1 − w) y − w r, (1 − w) r + w y); halfway up its slope is (1 + 3 r / 2b) / √2 (derived)."""
    r, y = 0.06, np.linspace(-reach, reach, 2001)
    t = (reach - y) / (2 * reach)
    w, slope = t * t * (3 - 2 * t), -3 * t * (1 - t) / reach
    speed = np.hypot(1 - w - slope * (y + r), w + slope * (y - r))
    assert speed[1000] == pytest.approx((1 + 1.5 * r / reach) / np.sqrt(2))
    subject = Subject(stilts(reach))
    for side in "LR":
        bent = bent_knee(subject, side)
        assert bent.stretch == pytest.approx(speed.max(), rel=2e-3)
        rest, posed = np.linalg.norm(np.diff(bent.longest, axis=1)[:, 0], axis=-1)
        assert posed / rest == pytest.approx(bent.stretch, rel=1e-9)
        assert bent.longest[0, :, 2] == pytest.approx([0.06, 0.06], abs=1e-3)  # in front
    finding = found(stilts(reach), "knee-stretch")
    assert finding.number == pytest.approx(100 * speed.max(), rel=2e-3)
    assert finding.status == ("finding" if speed.max() > 2.0 else "pass")


@pytest.mark.parametrize("name", PUPPETS)
@pytest.mark.parametrize("vertices", [300, 2000])
def test_both_knees_of_a_mirror_image_keep_the_same(name, vertices):
    subject = Subject(export.puppet_asset(PUPPETS[name], vertices, walking=False))
    left, right = (bent_knee(subject, side) for side in "LR")
    for bent in (left, right):
        rest, posed = np.linalg.norm(bent.longest[:, 1] - bent.longest[:, 0], axis=-1)
        assert posed / rest == pytest.approx(bent.stretch, rel=1e-9)
    assert left[:3] == pytest.approx(right[:3], rel=1e-6)


@pytest.mark.parametrize(("name", "kept"), [("Tamsin", 0.92), ("Pip", 0.78)])
def test_the_volume_is_that_of_another_sum(name, kept):
    """The flux of (0, 0, z) instead of a third of (x, y, z) (divergence theorem)."""
    bent = bent_knee(Subject(export.puppet_asset(PUPPETS[name], 2000, walking=False)), "L")
    a, b, c = np.moveaxis(bent.poses[:, bent.triangles], 2, 0)
    upward = np.cross(b - a, c - a)[..., 2] / 2
    whole, left = np.sum(upward * (a + b + c)[..., 2] / 3, axis=-1)
    assert bent.volume == pytest.approx(left / whole, rel=1e-9)
    assert bent.volume == pytest.approx(kept, abs=0.005)


@pytest.mark.parametrize("name", ["Tamsin", "Odo"])
def test_the_same_knee_keeps_what_lesson_09_says(name):
    """The lesson measures the whole right half: beyond its blend nothing changes. Its section is
    level, here it is square to the leg, which leans by a few hundredths of a degree."""
    asset = export.puppet_asset(name, skinning.VERTICES, walking=False)
    bent = bent_knee(Subject(asset), "R", reach=0.6)
    lesson = skinning.knee(PUPPETS[name], 90.0)
    assert bent.section == pytest.approx(lesson.section_ratio, abs=1e-4)
    assert bent.stretch == pytest.approx(lesson.stretch, abs=1e-9)
    whole = mesh.volume(bent.poses[0], bent.triangles)
    assert 1e6 * (bent.volume - 1) * whole == pytest.approx(lesson.change_cm3, abs=1e-6)


@pytest.mark.parametrize("vertices", [300, 800, 5000])
def test_the_number_of_vertices_hardly_matters(vertices):
    kept = found(export.puppet_asset("Tamsin", vertices, walking=False), "knee-volume").number
    assert kept == pytest.approx(92, abs=5)


def test_what_to_do_hangs_on_all_three():
    wide = found(rigs.BROKEN["knee-volume"](), "knee-volume")
    assert wide.todo.startswith("Paint a narrower blend around the knee: its skin is stretched")
    assert wide.todo.endswith(
        "more than 71 % of the section is to stay at the crease, add a helper"
        " joint that turns by half the angle."
    )
    for part in ("54 % of the volume", "71 % of its section", "1.0 times as long"):
        assert part in wide.said


@pytest.mark.parametrize(
    ("section", "stretch", "said"),
    [
        (0.71, 1.3, "Paint a narrower blend"),
        (0.71, 3.0, "Leave the blend as wide as it is"),
        (0.5, 1.3, "Give front and back of the crease the same shares"),
    ],
)
def test_the_advice_fits_what_is_bad(section, stretch, said):
    nothing = (
        np.empty((2, 0, 3)),
        np.empty((0, 3), int),
        np.empty((2, 0, 2, 3)),
        np.empty((2, 2, 3)),
    )
    advice = skin_rules._advice(skin_rules.Bent(0.6, section, stretch, *nothing))
    assert said in advice
    assert ("narrower" in advice) == (stretch < 2.0)
    assert ("front and back" in advice) == (section < 0.6)


def test_what_hangs_far_from_a_knee_at_its_height_is_not_its_skin():
    """A lantern carried by the left shin, 60 cm ahead."""
    asset = rigs.clean()
    (each,) = asset.meshes
    lantern, knee = mesh.tube(0.05, 0.1, 12, 4), rigs.place(asset, "L_knee")
    count = len(lantern.vertices)
    more = replace(
        each,
        positions=np.concatenate([each.positions, lantern.vertices + [0.085, 0.48, 0.6]]),
        triangles=np.concatenate([each.triangles, lantern.triangles + len(each.positions)]),
        joints=np.concatenate([each.joints, np.tile([knee, 0, 0, 0], (count, 1))]),
        weights=np.concatenate([each.weights, np.tile([1.0, 0, 0, 0], (count, 1))]),
        normals=None,
    )
    report = inspection.inspect(replace(asset, meshes=[more]))
    for rule in ("knee-volume", "knee-stretch", "joint-in-section"):
        assert dict(report[rule].parts) == pytest.approx(dict(found(asset, rule).parts), rel=1e-6)


def test_a_doll_of_a_quarter_the_size_reads_the_same():
    rules = ("knee-volume", "knee-stretch", "joint-in-section")
    rules += ("weights-own-side", "weights-alike", "weights-jump")
    for make in (rigs.clean, rigs.BROKEN["weights-own-side"], rigs.BROKEN["weights-alike"]):
        full, doll = (
            inspection.inspect(each, {"metres": 1.0})
            for each in (make(), rigs.under(make(), scale=0.25))
        )
        for rule in rules:
            assert doll[rule].number == pytest.approx(full[rule].number, abs=1e-6), rule


# --- weights


def areas_of(subject):
    a, b, c = np.moveaxis(subject.surface.vertices[subject.surface.triangles], 1, 0)
    return np.linalg.norm(np.cross(b - a, c - a), axis=-1) / 2


def test_stray_weights_count_by_how_much_skin_goes_how_far():
    asset = rigs.BROKEN["weights-own-side"]()
    subject = Subject(asset)
    x, y, _ = subject.surface.vertices.T
    below = y < subject.point("L", "hip")[1] - 0.1 * subject.length
    below &= subject.surface.weight_of([subject.root]) <= 0.5
    right = below & (x < -0.02 * subject.length)
    stray = np.where(right, subject.surface.weight_of(subject.leg_nodes("L")), 0.0)
    corners, areas = subject.surface.triangles, areas_of(subject)
    wanted = 100 * (areas @ stray[corners].mean(axis=-1)) / (areas @ right[corners].mean(axis=-1))
    finding = found(asset, "weights-own-side")
    assert finding.number == pytest.approx(wanted, rel=1e-9)
    assert f"moves {(stray > 0).sum()} vertices of the right leg" in finding.said
    assert "by 20 % on the average" in finding.said


def strays(count, weight):
    """Vertices of the right shin that go with the left knee by some weight."""

    def change(positions, joints, weights):
        asset = rigs.clean()
        shin = np.flatnonzero((positions[:, 0] < -0.03) & (positions[:, 1] < 0.4))[:count]
        joints[shin, 3], weights[shin] = rigs.place(asset, "L_knee"), weights[shin] * (1 - weight)
        weights[shin, 3] = weight
        return joints, weights

    return found(rigs.with_weights(rigs.clean(), change), "weights-own-side")


def test_one_stray_vertex_is_not_like_many():
    one, many = strays(1, 0.021), strays(300, 0.4)
    assert (one.status, many.status) == ("pass", "finding")
    assert one.said == "No joint of one leg moves skin of the other by more than 2.1 %."
    assert many.number > 1000 * strays(1, 0.06).number / 6


def test_weights_are_compared_at_mirrored_places():
    """Neighbours by scipy's tree, weights joint by joint."""
    asset = rigs.BROKEN["weights-alike"]()
    (each,) = asset.meshes
    table = skin.unpack_influences(each.joints, each.weights, len(asset.skins[0].joints))
    names = [asset.nodes[i].name for i in asset.skins[0].joints]
    swap = {"L": "R", "R": "L"}
    other = [names.index(swap[n[0]] + n[1:] if n[:2] in ("L_", "R_") else n) for n in names]
    _, partner = cKDTree(each.positions).query(each.positions * [-1, 1, 1])
    off = np.abs(table - table[partner][:, other]).sum(axis=-1) / 2
    legs = 1 - table[:, names.index("pelvis")] > 1e-6
    subject = Subject(asset)
    around = np.zeros(len(off))
    np.add.at(around, subject.surface.triangles, areas_of(subject)[:, None] / 3)
    wanted = 100 * np.average(off[legs], weights=around[legs])
    assert found(asset, "weights-alike").number == pytest.approx(wanted, rel=1e-6)


def test_a_skin_that_is_no_mirror_image_is_not_compared():
    rng = np.random.default_rng(3)
    asset = rigs.clean()
    (each,) = asset.meshes
    rough = each.positions + 0.004 * rng.normal(size=each.positions.shape)
    finding = found(replace(asset, meshes=[replace(each, positions=rough)]), "weights-alike")
    assert finding.status == "not measured"
    assert "no mirror images" in finding.said


def test_a_mirror_plane_of_the_skins_own_will_do():
    asset = rigs.clean()
    (each,) = asset.meshes
    aside = replace(each, positions=each.positions + [0.004, 0, 0])
    assert found(replace(asset, meshes=[aside]), "weights-alike").number == pytest.approx(
        0, abs=1e-6
    )


def test_mirrored_places_are_found_as_a_tree_finds_them():
    rng = np.random.default_rng(8)
    points = rng.uniform(-1, 1, (2000, 3))
    points[1000:] = points[:1000] * [-1, 1, 1] + rng.uniform(-0.002, 0.002, (1000, 3))
    partner = mesh.mirror_index(points, 0.001, whole=False)
    tree = cKDTree(points)
    near = tree.query_ball_point(points * [-1, 1, 1], 0.001, p=np.inf)
    assert [i >= 0 for i in partner] == [len(each) > 0 for each in near]
    assert all(i in each for i, each in zip(partner, near, strict=True) if i >= 0)


def rigid(surface, table):
    return np.eye(table.shape[1])[table.argmax(axis=-1)]


def test_a_step_is_half_the_difference_of_two_rows():
    asset = rigs.clean()
    (each,) = asset.meshes
    table = skin.unpack_influences(each.joints, each.weights, len(asset.skins[0].joints))
    subject = Subject(asset)
    edges = weight_rules._short_edges(subject)
    steps = np.abs(table[edges[:, 0]] - table[edges[:, 1]]).sum(axis=-1) / 2
    assert len(edges) > 500
    assert weight_rules._steps(subject.surface, edges) == pytest.approx(steps, abs=1e-6)
    assert found(asset, "weights-jump").number == pytest.approx(100 * steps.max(), abs=1e-4)


@pytest.mark.parametrize(("name", "vertices"), [("heron", 2000), ("Pip", 800), ("Odo", 20000)])
def test_no_puppet_jumps_or_crumbles(name, vertices):
    report = inspection.inspect(export.puppet_asset(name, vertices, walking=False))
    assert report["weights-jump"].number < 47  # what the rule's reason says
    assert 4.5 < report["weights-crumbs"].number < 10.5
    assert report["weights-alike"].number < 1e-9


def test_a_skin_without_any_blend_jumps():
    assert found(rigs.rebuilt(weights=rigid), "weights-jump").number == pytest.approx(100)


def test_a_seam_whose_two_sides_go_apart_is_a_jump():
    """The shin cut open along a ring, what is below bound to the pelvis."""
    asset = rigs.clean()
    (each,) = asset.meshes
    low = each.positions[each.triangles, 1].mean(axis=-1) < 0.25
    count = len(each.positions)
    cut = replace(
        each,
        positions=np.tile(each.positions, (2, 1)),
        triangles=np.where(low[:, None], each.triangles + count, each.triangles),
        joints=np.concatenate([each.joints, 0 * each.joints]),
        weights=np.concatenate([each.weights, np.tile([1.0, 0, 0, 0], (count, 1))]),
        normals=None,
    )
    finding = found(replace(asset, meshes=[cut]), "weights-jump")
    assert finding.number == pytest.approx(100)
    assert "between" in finding.said


def test_crumbs_are_counted():
    asset = rigs.BROKEN["weights-crumbs"]()
    (each,) = asset.meshes
    small = (each.weights > 0) & (each.weights < 0.01)
    finding = found(asset, "weights-crumbs")
    assert finding.number == pytest.approx(100 * small.sum() / (each.weights > 0).sum())
    assert finding.said.startswith(f"{small.sum():,} of {(each.weights > 0).sum():,} weights")
    moved = 100 * each.weights[small].sum() / each.weights.sum()
    assert finding.said.endswith(f"for {moved:.2g} % of its motion.")


def test_what_lies_beyond_the_fourth_weight_is_said():
    """(.40, .25, .15, .10, .06, .04): a tenth of the weight is cut off."""

    def six(positions, joints, weights):
        joints, weights = np.pad(joints, ((0, 0), (0, 4))), np.pad(weights, ((0, 0), (0, 4)))
        top = int(positions[:, 1].argmax())
        joints[top, :6], weights[top, :6] = range(6), (0.40, 0.25, 0.15, 0.10, 0.06, 0.04)
        return joints, weights

    said = found(rigs.with_weights(rigs.clean(), six), "weights-at-most").said
    assert said.endswith("beyond the fourth lies 10 % of their weight, at the worst 10 %.")


@pytest.mark.parametrize(("count", "status"), [(256, "pass"), (257, "finding")])
def test_a_byte_counts_256_joints(count, status):
    finding = found(rigs.beaded(rigs.clean(), count), "joint-count")
    assert (finding.number, finding.status) == (count, status)
    assert "more than 64 as plain uniforms" in finding.said
    said = found(rigs.clean(), "joint-count").said
    assert said == "The largest skin has 11 joints, 2 of which move no vertex."  # the toe tips


# --- what silences a rule


def test_a_pole_far_off_its_binding_silences_nothing():
    asset = rigs.beaded(rigs.clean(), 12)
    moved = [*asset.nodes[:-1], replace(asset.nodes[-1], translation=(0.45, 0.1, 0.1))]
    report = inspection.inspect(replace(asset, nodes=moved))
    for rule in ("knee-volume", "joint-in-section"):
        assert report[rule].number == pytest.approx(found(rigs.clean(), rule).number)


def test_a_matrix_that_cannot_be_undone_silences_the_shape_of_the_skin():
    asset = rigs.clean()
    (each,) = asset.skins
    bind = each.inverse_bind.copy()
    bind[rigs.place(asset, "L_knee"), :3, 2] = 0
    report = inspection.inspect(replace(asset, skins=[replace(each, inverse_bind=bind)]))
    for rule in ("knee-volume", "joint-in-section"):
        assert report[rule].said.startswith("An inverse bind matrix cannot be undone")


# --- pictures


@pytest.mark.parametrize("vertices", [300, 2000, 20000])
def test_the_skin_drawn_is_whole(vertices):
    subject = Subject(export.puppet_asset("Tamsin", vertices, walking=False))
    for nodes in ((), (subject.root, *subject.leg_nodes("L"))):
        points, triangles = pictures._skin_of(subject, nodes)
        assert mesh.open_edges(triangles).tolist() == []
        assert np.ptp(points[np.unique(triangles), 1]) == pytest.approx(
            np.ptp(subject.surface.vertices[:, 1]), abs=1e-3
        )


def test_vertices_are_shown_from_where_they_face():
    subject = Subject(rigs.clean())
    x, y, z = (subject.surface.vertices - [0.085, 0, 0]).T
    front, outside = (np.flatnonzero(way & (abs(y - 0.6) < 0.1)) for way in (z > 0.06, x > 0.05))
    for chosen, view in ((front, "front"), (outside, "side")):
        assert (
            f"The vertices found, from the {view}"
            in pictures.dots(subject, chosen, "here", "miss").svg()
        )


def test_a_leg_that_stands_bent_is_not_bent_by_90_more():
    def sit(world):
        rigs.shifted((0, 0, 0.3), "L_knee", "R_knee")(world)

    said = found(rigs.rebuilt(sit), "knee-volume").said
    assert said.startswith("Its legs stand bent by 7")


def test_the_body_between_the_hips_is_neither_legs_skin():
    """Vertices of the crotch that go with the pelvis, and a fifth of the way with the wrong leg."""

    def change(positions, joints, weights):
        x, y, _ = positions.T
        patch = (x > 0.02) & (x < 0.05) & (y > 0.72) & (y < 0.78)
        assert patch.any()
        joints[patch], weights[patch] = (0, 2, 0, 0), (0.8, 0.2, 0, 0)
        return joints, weights

    asset = rigs.with_weights(rigs.clean(), change)
    assert asset.nodes[2].name == "R_hip"
    assert found(asset, "weights-own-side").number == 0


def test_knees_of_all_sorts_stay_measured():
    rig = LegRig.from_puppet("Tamsin")
    kept, stretched = [], []
    for softness in (0.5, 1.0, 2.0, 8.0):
        surface, table = skin.rig_skin(rig, "Tamsin", 2000, softness)
        asset = export.rig_asset(rig.skeleton, surface, table)
        kept.append(found(asset, "knee-volume").number)
        stretched.append(found(asset, "knee-stretch").number)
    assert kept == sorted(kept, reverse=True)
    assert stretched == sorted(stretched, reverse=True)
    # What the rules' reasons say.
    assert kept[2:] == pytest.approx([92, 60], abs=0.6)
    assert stretched[:3] == pytest.approx([250, 177, 147], abs=0.6)


@pytest.mark.parametrize("name", PUPPETS)
@pytest.mark.parametrize("vertices", [300, 5000, 20000])
def test_no_puppet_s_knee_is_stretched_beyond_what_the_reason_says(name, vertices):
    asset = export.puppet_asset(PUPPETS[name], vertices, walking=False)
    assert 119 < found(asset, "knee-stretch").number < 150
