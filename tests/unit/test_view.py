"""What a page is sent of a rig: arrays that skin as `gltf` does, in little room; words; bad input.

Skinning is computed here once more, as glTF 2.0 ("Skins") says it: Σ weight · matrix · position.
"""

import json
import re
import zlib
from base64 import b64decode, b64encode
from dataclasses import replace
from hashlib import sha256

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import cli, export, gltf, inspection, view
from rigkit.inspection.subject import Subject
from rigkit.leg import LegRig
from tests.unit import rigs

STANDING = np.array([[0, 0, 1], [1, 0, 0], [0, 1, 0]], float)  # another program's axes, z up
RIGS = {
    "a walk": lambda: rigs.walk(rigs.carried),
    "a heron": lambda: export.puppet_asset("heron", 400),
    "other axes, centimetres": lambda: rigs.under(rigs.clean(walking=True), STANDING, 100.0),
    "a reflected leg": lambda: rigs.reflected_leg(rigs.clean(walking=True)),
    "weights that do not add up": lambda: rigs.with_weights(rigs.clean(), rigs.heavy),
}


@pytest.fixture(scope="module")
def tamsin():
    return view.view(export.puppet_asset("Tamsin", 5000))


def skinned(sent, clip, moment):
    """The vertices of a clip's moment, from the arrays that are sent, in 64 bits."""
    matrices = sent[f"matrices.{clip}"][moment].astype(float)
    points = np.pad(sent["positions"].astype(float), ((0, 0), (0, 1)), constant_values=1)
    moved = np.einsum("vkij,vj->vki", matrices[sent["joints"]], points)
    return np.einsum("vk,vki->vi", sent["weights"].astype(float), moved)


def told(asset, world):
    """The vertices of the one skinned mesh as `gltf` poses them, brought to metres, y up."""
    node = next(i for i, node in enumerate(asset.nodes) if node.skin is not None)
    used = np.unique(asset.meshes[asset.nodes[node].mesh].triangles)
    points = asset.skin_points(node, world)[used]
    there = Subject(asset).to_metres
    return points @ there[:3, :3].T + there[:3, 3]


# --- the arrays ----


@pytest.mark.parametrize("name", RIGS)
def test_the_skin_goes_where_the_file_says(name):
    asset = RIGS[name]()
    seen = view.view(asset)
    rest, *motions = seen.head["clips"]
    assert rest["name"] == "At rest"
    bound = told(asset, asset.rest_world())
    assert_allclose(skinned(seen.arrays, 0, 0), bound, atol=1e-5 * max(1, np.abs(bound).max()))
    for clip, motion in enumerate(motions, start=1):
        for moment in (0, motion["count"] // 3, motion["count"] - 1):
            seconds = motion["seconds"] * moment / (motion["count"] - 1)
            there = told(asset, asset.pose_world(0, seconds))
            assert_allclose(skinned(seen.arrays, clip, moment), there, atol=1e-5)


def test_joints_stand_where_the_file_says(tamsin):
    asset = tamsin.subject.asset
    motion = tamsin.head["clips"][1]
    world = asset.pose_world(0, np.linspace(0, motion["seconds"], motion["count"]))
    shown = [i for i, node in enumerate(asset.nodes) if node.mesh is None]
    assert tamsin.head["names"] == [asset.nodes[i].name for i in shown]
    points = world[:, shown][..., :3, 3] + tamsin.subject.to_metres[:3, 3]
    assert_allclose(tamsin.arrays["points.1"], points, atol=1e-6)
    assert tamsin.arrays["parents"].tolist() == asset.parents[shown].tolist()


@pytest.mark.parametrize("name", RIGS)
def test_vertices_are_numbered_as_findings_number_them(name):
    seen = view.view(RIGS[name]())
    surface = seen.subject.surface
    assert_allclose(seen.arrays["positions"], surface.vertices, atol=1e-5)
    assert_array_equal(seen.arrays["triangles"], surface.triangles)


def test_of_two_skins_each_moves_its_own_mesh():
    asset = rigs.clean(walking=True)
    (mesh,), (skin,) = asset.meshes, asset.skins
    order = np.arange(len(skin.joints))[::-1]
    second = gltf.Skin("reversed", skin.joints[order], skin.inverse_bind[order], 0)
    other = replace(mesh, joints=order[mesh.joints] * (mesh.weights != 0))
    nodes = (*asset.nodes, gltf.Node("other", mesh=1, skin=1))
    seen = view.view(replace(asset, nodes=nodes, skins=(skin, second), meshes=(mesh, other)))
    count = len(mesh.positions)
    posed = skinned(seen.arrays, 1, 9)
    assert len(posed) == 2 * count
    assert_allclose(posed[:count], posed[count:], atol=1e-6)
    assert_array_equal(seen.arrays["triangles"][len(mesh.triangles) :] - count, mesh.triangles)


def test_of_more_than_four_weights_the_strongest_share_the_whole():
    asset = rigs.with_weights(rigs.clean(), rigs.five)
    seen, (mesh,) = view.view(asset), asset.meshes
    here = int((mesh.weights != 0).sum(axis=1).argmax())
    kept = seen.arrays["weights"][here]
    assert_allclose(kept, np.array([0.92, 0.02, 0.02, 0.02]) / 0.98, atol=1e-6)
    assert (np.diff(seen.arrays["weights"], axis=1) <= 0).all()  # the strongest first


def test_a_pose_that_the_nodes_store_is_shown_beside_the_one_it_was_bound_in():
    asset = rigs.posed_after_binding(rigs.clean())
    seen = view.view(asset)
    names = [clip["name"] for clip in seen.head["clips"]]
    assert names == ["At rest", "As stored in the file"]
    surface = seen.subject.surface.vertices
    assert_allclose(skinned(seen.arrays, 0, 0), surface, atol=1e-5)
    assert_allclose(skinned(seen.arrays, 1, 0), told(asset, asset.rest_world()), atol=1e-5)
    assert np.abs(skinned(seen.arrays, 1, 0) - surface).max() > 0.01


def test_what_is_packed_is_what_is_sent(tamsin):
    data = zlib.decompress(tamsin.packed)
    for told in tamsin.head["arrays"]:
        sent = tamsin.arrays[told["name"]]
        assert told["start"] % 4 == 0
        found = np.frombuffer(data, f"<{told['kind']}", sent.size, told["start"])
        assert_array_equal(found.reshape(told["shape"]), sent)
    assert json.loads(json.dumps(tamsin.head)) == tamsin.head


def test_many_long_motions_have_fewer_moments_a_second(monkeypatch):
    asset = rigs.clips(20)
    monkeypatch.setattr(view, "MOST_BYTES", 100_000)
    seen = view.view(asset)
    clips = seen.head["clips"]
    assert len(clips) == 1 + view.MOST_CLIPS
    size = sum(x.nbytes for name, x in seen.arrays.items() if "." in name)
    assert 80_000 < size < 115_000
    assert seen.said.endswith("8 more motions are not shown.")
    sliding = view.view(inspection.inspect(asset)).head
    assert "take 18" in [clip["name"] for clip in sliding["clips"]]  # it slides most
    mark = sliding["marks"]["foot-slide"]
    assert sliding["clips"][mark["clip"]]["name"] == "take 18"


def test_a_skin_too_large_is_left_out_and_said(monkeypatch):
    monkeypatch.setattr(view, "MOST_VERTICES", 1000)
    seen = view.view(rigs.clean())
    assert len(seen.arrays["positions"]) == 0
    assert len(seen.arrays["points.0"][0]) == 11
    assert "Its skin is too large to be shown." in seen.said


def test_the_flat_picture_is_sent_at_each_stop_all_round(tamsin, monkeypatch):
    pictures = json.loads(zlib.decompress(tamsin.turns))
    stops = tamsin.head["stops"]
    assert len(pictures) == len(stops) == 24
    assert sorted(stop % 360 for stop in stops) == list(range(0, 360, 15))
    for stop, picture in zip(stops, pictures, strict=True):
        turned = tamsin._picture_at(stop, "")
        assert picture == turned.svg(style=False)
        assert (turned.width, turned.height) == (tamsin.picture.width, tamsin.picture.height)
    assert len(set(pictures)) == 24
    assert len(tamsin.turns) < 60_000
    monkeypatch.setattr(view, "MOST_TURNED", 100)
    large = view.view(rigs.clean())
    assert (large.turns, large.head["stops"]) == (b"", [])


# --- words, and the page ----


def test_knees_bend_as_the_law_of_cosines_has_it(tamsin):
    names, moment = tamsin.head["names"], 20
    points = tamsin.arrays["points.1"][moment]
    bends = tamsin.knee_bends_deg(1, moment)
    for side, bend in bends.items():
        hip, knee, ankle = (points[names.index(f"{side}_{part}")] for part in PARTS)
        a, b, c = (np.linalg.norm(end) for end in (hip - knee, ankle - knee, hip - ankle))
        inside = np.arccos((a * a + b * b - c * c) / (2 * a * b))
        assert bend == pytest.approx(180 - np.degrees(inside), abs=0.01)
    assert abs(bends["L"] - bends["R"]) > 5
    assert "Knees bent 5° left, 5° right." in tamsin.said


PARTS = ("hip", "knee", "ankle")


def test_a_page_of_a_rig_is_complete_small_and_names_its_one_script(tamsin):
    html = tamsin.html()
    assert len(html.encode()) < 300_000
    script = re.search(r'<script type="module">(.*?)</script>', html, re.DOTALL)[1]
    digest = b64encode(sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in html
    assert "default-src 'none'" in html
    assert "src=" not in html.replace("script-src", "")
    assert tamsin.said in html
    packed = re.search(r'class="rig-scene-packed">(.*?)</script>', html)[1]
    assert b64decode(packed) == tamsin.packed
    head = re.search(r'class="rig-scene-head">(.*?)</script>', html)[1]
    assert json.loads(head) == tamsin.head


def test_an_inspections_page_shows_the_rig_in_less_than_500_kb(tmp_path, capsys):
    gltf.write(export.puppet_asset("Tamsin", 5000), tmp_path / "tamsin.glb")
    page = tmp_path / "tamsin.html"
    assert cli.main(["inspect", str(tmp_path / "tamsin.glb"), "--html", str(page)]) == 0
    html = page.read_text("utf-8")
    assert page.stat().st_size < 500_000
    assert "<h2>The rig as a whole</h2>" in html
    assert html.count('<script type="module">') == 1
    again = cli.main(["inspect", str(tmp_path / "tamsin.glb"), "--html", str(page)])
    assert again == 0  # it is known as one of ours, and written over


def test_names_of_strangers_do_nothing_in_a_page():
    asset = rigs.renamed(rigs.walk(rigs.carried), lambda name: f"{name}</script><script>alert(1)")
    motion = replace(asset.animations[0], name="</script><!--")
    report = inspection.inspect(replace(asset, animations=[motion]))
    seen = view.view(report)
    assert "</script><script>alert" in seen.head["names"][0]
    for html in (seen.html(), report.html(scene=seen)):
        assert len(re.findall("<script", html)) == len(re.findall("</script>", html)) == 4
        assert "<!--" not in html


def test_a_rig_too_odd_to_be_drawn_is_reported_all_the_same(tmp_path):
    huge = gltf.Asset([gltf.Node("hip", translation=(1e300, 0, 0)), gltf.Node("knee", 0)])
    with pytest.raises(ValueError, match="32 bits can hold"):
        view.view(huge)
    gltf.write(gltf.Asset([gltf.Node("hip", translation=(1e30, 0, 0))]), tmp_path / "odd.glb")
    cli.main(["inspect", str(tmp_path / "odd.glb"), "--html", str(tmp_path / "odd.html")])
    assert "Nothing to inspect" in (tmp_path / "odd.html").read_text("utf-8")


# --- what a finding marks ----


@pytest.mark.parametrize("rule", rigs.BROKEN)
def test_each_finding_says_where_on_the_rig_it_is(rule):
    report = inspection.inspect(rigs.BROKEN[rule]())
    where, mark = report[rule].where, view.view(report).head["marks"][rule]
    assert where.joints or where.vertices or where.seconds is not None
    assert len(mark["joints"]) == len(where.joints)
    assert len(mark["vertices"]) == min(len(where.vertices), view.MOST_MARKS)
    assert mark["title"] == report[rule].title


@pytest.mark.parametrize(
    ("rule", "names"),
    [
        ("names-say-sides", {"knee", "R_knee"}),
        ("sides-turn", {"R_ankle"}),
        ("bends-alike", {"L_knee", "R_knee"}),
        ("chain-unbroken", {"L_ankle", "R_ankle"}),
        ("inverse-bind", {"L_ball", "R_ball"}),
        ("knee-stretch", {"L_knee", "R_knee"}),
        ("no-negative-scale", {"R_hip"}),
        ("bone-length", {"L_hip", "L_knee", "R_hip", "R_knee"}),
        ("human-range", {"L_hip", "R_hip", "L_knee", "R_knee", "L_ankle", "R_ankle"}),
    ],
)
def test_the_joints_that_are_marked_are_those_that_were_broken(rule, names):
    report = inspection.inspect(rigs.BROKEN[rule]())
    found = {report.names[node] for node in report[rule].where.joints}
    assert found
    assert found <= names


def test_the_vertices_that_are_marked_are_those_that_were_broken():
    report = inspection.inspect(rigs.BROKEN["weights-missing"]())
    head = view.view(report).head
    chosen = head["marks"]["weights-missing"]["vertices"]
    heights = view.view(report).arrays["positions"][:, 1]
    assert sorted(chosen) == sorted(np.argsort(heights)[-5:].tolist())


def test_a_finding_in_a_motion_marks_its_moment():
    report = inspection.inspect(rigs.BROKEN["knee-flip"]())
    seconds = report["knee-flip"].where.seconds
    assert f"{seconds:.2f} s" in report["knee-flip"].said
    seen = view.view(report)
    mark = seen.head["marks"]["knee-flip"]
    clip = seen.head["clips"][mark["clip"]]
    assert clip["seconds"] * mark["moment"] / (clip["count"] - 1) == pytest.approx(
        seconds, abs=0.02
    )


# --- what can be shown ----


def test_a_leg_rig_is_shown_with_a_puppets_skin_or_without():
    rig = LegRig.from_puppet("Pip")
    bare, dressed = view.view(rig), view.view(rig, "Pip")
    assert len(bare.arrays["positions"]) == 0
    assert len(dressed.arrays["positions"]) > 4000
    for seen in (bare, dressed):
        assert set(seen.head["legs"]) == {"L", "R"}
        assert_allclose(seen.knee_bends_deg()["L"], 5.0, atol=0.01)


def test_a_file_and_its_bytes_are_shown_alike(tmp_path):
    path = tmp_path / "tamsin.glb"
    gltf.write(rigs.clean(), path)
    here, there = view.view(path), view.view(path.read_bytes())
    assert here.packed == there.packed
    assert (repr(here)[:19], there.title) == ("View of tamsin.glb:", "The rig")


def test_a_notebook_gets_a_picture_and_words_beside_the_widget(tamsin):
    shown = tamsin._repr_mimebundle_()
    data = shown[0] if isinstance(shown, tuple) else shown
    assert "application/vnd.jupyter.widget-view+json" in data
    assert tamsin.said in data["text/html"]
    assert "<svg" in data["text/html"]
    assert tamsin.widget.packed == tamsin.packed


def test_marks_are_given_by_name_or_place():
    seen = view.view(rigs.clean())
    assert seen.mark(["L_knee", 2], range(400)) is seen
    marked = seen.widget.marked
    assert [seen.head["names"][i] for i in marked["joints"]] == ["L_knee", "R_hip"]
    assert (len(marked["vertices"]), marked["vertices"][-1]) == (view.MOST_MARKS, 399)
    seen.mark()
    assert seen.widget.marked == {"joints": [], "vertices": []}


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda seen: view.view(7), "`thing` must be a rig's file, .*; got 7"),
        (lambda seen: view.view(gltf.Asset([])), "`thing` must be a rig with joints"),
        (lambda seen: view.view(rigs.clean(), "Pip"), "`puppet` must be left out"),
        (lambda seen: view.view(LegRig.from_puppet("Pip"), "Pipp"), "Pipp"),
        (lambda seen: view.view(b"glTF"), "Cannot read"),
        (lambda seen: seen.mark(["L_elbow"]), "`joints` must be joints of the rig .*'L_elbow'"),
        (lambda seen: seen.mark(vertices=[5000]), "`vertices` must be below 4955; got 5000"),
        (lambda seen: seen.mark(vertices=[0.5]), "`vertices` must be a whole number"),
        (lambda seen: seen.knee_bends_deg(2), "`clip` must be from 0 to 1; got 2"),
        (lambda seen: seen.knee_bends_deg(0, 1), "`moment` must be from 0 to 0; got 1"),
    ],
)
def test_bad_input_is_refused_in_words(tamsin, call, said):
    with pytest.raises(ValueError, match=said):
        call(tamsin)


def test_a_rig_without_legs_is_shown_all_the_same():
    seen = view.view(rigs.without_legs())
    assert seen.head["legs"] == {}
    assert "Knee" not in seen.said


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_a_rig_of_any_kind_is_shown_or_refused(data):
    count = data.draw(st.integers(0, 5))
    numbers = st.sampled_from([0.0, 1e-9, 0.5, 1.0, -1.0, 100.0, 1e30])
    three = st.tuples(numbers, numbers, numbers)
    nodes = [
        gltf.Node(
            data.draw(st.sampled_from(["", "hip", "L_hip", "R_hip", "L_knee"])),
            data.draw(st.integers(0, i - 1)) if i else None,
            data.draw(three),
            scale=data.draw(st.sampled_from([(1, 1, 1), (0, 0, 0), (-1, 2, 1)])),
        )
        for i in range(count)
    ]
    skins = meshes = animations = ()
    if count and data.draw(st.booleans()):
        bind = np.array([data.draw(st.sampled_from([np.eye(4), np.zeros((4, 4))]))] * count)
        skins = (gltf.Skin("s", range(count), bind),)
        joints = [[data.draw(st.integers(0, count - 1)) for _ in range(4)] for _ in range(4)]
        weights = [data.draw(st.sampled_from([(1, 0, 0, 0), (0, 0, 0, 0)])) for _ in range(4)]
        points = [data.draw(three) for _ in range(4)]
        meshes = (gltf.Mesh("m", points, [(0, 1, 2), (1, 2, 3)], joints, weights),)
        nodes.append(gltf.Node("mesh", mesh=0, skin=0))
    if nodes and data.draw(st.booleans()):
        times = data.draw(st.sampled_from([[0.0], [0.0, 0.5], [0.0, 1e6]]))
        channel = gltf.Channel(0, "translation", times, [data.draw(three) for _ in times])
        animations = (gltf.Animation("a", [channel]),)
    try:
        seen = view.view(gltf.Asset(nodes, skins, meshes, animations))
    except ValueError as problem:
        assert re.match("`thing` must", str(problem))  # noqa: PT017
        return
    assert len(seen.html()) > 1000
    assert sum(each.nbytes for each in seen.arrays.values()) < 2 * view.MOST_BYTES
