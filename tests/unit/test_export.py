"""Puppets as glTF stand, face and walk as they do here; and the command that writes one."""

import os

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import cli, export, foot, frames, gait, gltf, inspection, mesh, rotation, skin
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.skeleton import Joint, Skeleton


@pytest.fixture(scope="module", params=PUPPETS)
def exported(request, tmp_path_factory):
    """A puppet, its rig, and the asset as it is read back from a file."""
    puppet = PUPPETS[request.param]
    path = tmp_path_factory.mktemp("export") / "puppet.glb"
    gltf.write(export.puppet_asset(puppet, 1000), path)
    return puppet, LegRig.from_puppet(puppet), gltf.read(path)


def test_joints_stand_where_the_rig_has_them(exported):
    _, rig, asset = exported
    names = [node.name for node in asset.nodes]
    assert names == [*rig.skeleton.names, "skin"]
    assert asset.parents.tolist() == [*rig.skeleton.parents, -1]
    assert_allclose(asset.rest_world()[:-1], rig.skeleton.rest_world, rtol=0, atol=1e-12)


def test_the_rest_pose_is_the_bind_pose(exported):
    _, rig, asset = exported
    assert_allclose(
        asset.joint_matrices(0, asset.rest_world()),
        np.tile(np.eye(4), (len(rig.skeleton), 1, 1)),
        rtol=0,
        atol=1e-6,
    )
    skinned = asset.nodes[-1]
    assert (skinned.parent, skinned.mesh, skinned.skin) == (None, 0, 0)
    assert asset.skins[0].root == 0


def test_it_stands_on_the_floor_facing_forward_with_its_left_on_plus_x(exported):
    puppet, _, asset = exported
    points = asset.skin_points(len(asset.nodes) - 1, asset.rest_world())
    low, high = points.min(axis=0), points.max(axis=0)
    assert low[1] == pytest.approx(0, abs=1e-6)
    assert puppet.hip_height * 0.8 < high[1] < puppet.stature  # metres
    assert high[2] > -low[2] > 0
    names = [node.name for node in asset.nodes]
    at = dict(zip(names, asset.rest_world()[:, :3, 3], strict=True))
    assert at["L_hip"] == pytest.approx(at["R_hip"] * [-1, 1, 1])
    assert at["L_hip"][0] == pytest.approx(puppet.hip_width / 2)
    assert at["L_toe"][2] > at["L_ball"][2] > at["L_" + LegRig.from_puppet(puppet).chain[-1]][2]


def test_the_skin_is_that_of_the_library(exported):
    puppet, rig, asset = exported
    surface, weights = skin.rig_skin(rig, puppet, 1000)
    (found,) = asset.meshes
    assert_allclose(found.positions, surface.vertices, rtol=0, atol=1e-7)
    assert_array_equal(found.triangles, surface.triangles)
    assert_allclose(
        skin.unpack_influences(found.joints, found.weights, len(rig.skeleton)),
        weights,
        rtol=0,
        atol=1e-7,
    )
    assert_allclose(np.linalg.norm(found.normals, axis=1), 1, rtol=0, atol=1e-6)
    outward = found.positions + 1e-3 * found.normals
    assert mesh.volume(outward, found.triangles) > mesh.volume(found.positions, found.triangles)


def keys_a_step(puppet, rate):
    """The whole number nearest to the rate times how long a step lasts: its length by the speed."""
    walk = gait.walk(puppet)
    return max(4, round(rate * walk.step_length / walk.speed))


def planted(puppet, rate=30, parts=1):
    """The walk at the keys of the file, and at so many parts of the time between two."""
    return gait.plant(gait.walk(puppet, frames=2 * parts * keys_a_step(puppet, rate)))


def test_it_walks_in_the_file_as_it_does_here(exported):
    puppet, rig, asset = exported
    walk = planted(puppet)
    (animation,) = asset.animations
    assert animation.name == "walk"
    for channel in animation.channels:
        # as glTF keeps them, in float32
        assert np.abs(channel.times[:, None] - walk.times).min(axis=0).max() < 1e-6
    here = rig.pose(gait.control_values(walk, rig)).world
    there = asset.pose_world(animation, walk.times)[:, :-1]
    assert_allclose(there, here, rtol=0, atol=1e-5)
    # between two frames the joints keep their lengths, and the pelvis goes forward
    middle = asset.pose_world(animation, (walk.times[1:] + walk.times[:-1]) / 2)
    thigh = (
        middle[:, rig.skeleton.index("L_knee"), :3, 3]
        - middle[:, rig.skeleton.index("L_hip"), :3, 3]
    )
    assert_allclose(np.linalg.norm(thigh, axis=-1), puppet.thigh, rtol=0, atol=1e-6)
    assert (np.diff(middle[:, 0, 2, 3]) > 0).all()


def soles(puppet, rig, asset, times):
    """Heel, ball and toe of both feet as the file moves them, shape (f, 2, 3, 3)."""
    moved = asset.pose_world(0, times) @ np.linalg.inv(asset.rest_world())
    both = []
    for tag, side in (("L_", 0.5), ("R_", -0.5)):
        end = rig.skeleton.index(tag + rig.chain[-1])
        ahead = rig.skeleton.rest_world[end, 2, 3]
        # what carries each point of the sole
        of = {"heel": end, "ball": end, "toe": rig.skeleton.index(tag + "ball")}
        points = {
            name: [side * puppet.hip_width, up, ahead + forward]
            for name in of
            for forward, up in [getattr(foot.of_puppet(puppet), name)]
        }
        both.append(
            np.stack([frames.apply(moved[:, of[name]], points[name]) for name in of], axis=1)
        )
    return np.stack(both, axis=1)


def test_planted_feet_do_not_slide_at_the_keys_of_the_file(exported):
    puppet, rig, asset = exported
    walk = planted(puppet)
    sole = soles(puppet, rig, asset, walk.times)
    slide = gait.foot_slide_cm(sole, walk.stance)
    assert slide.sum(axis=0).max() < 0.1  # both strides
    assert np.ptp(sole[:, 0, :, 2]) > 1  # and yet it went


# What a point of the sole that stands is off its place, and how deep the sole is below the floor,
# at most, mm: as measured, rounded up, and said in the docstring of `walk_motion`. What is deepest
# below the floor is Pip's toe, as the heel of that foot rises over it.
BETWEEN_KEYS = {30: (0.5, 1.0), 60: (0.2, 0.3)}


@pytest.mark.parametrize("rate", BETWEEN_KEYS)
def test_between_keys_feet_hardly_slide_or_sink(rate):
    """At sixteen moments from each key to the next. Where the sole stands is known from the foot's
    roll alone (`gait.plant`), with no joint turned between keys."""
    off, deep = [], []
    for puppet in PUPPETS.values():
        rig, walk = LegRig.from_puppet(puppet), planted(puppet, rate, parts=16)
        motion = export.walk_motion(rig, puppet, rate)
        sole = soles(
            puppet, rig, export.rig_asset(rig.skeleton, motions={"walk": motion}), walk.times
        )
        meant = walk.points[:, :, -3:]
        stands = walk.stance[:, :, None] & (meant[..., 1] < 1e-6)
        off.append(1000 * np.linalg.norm((sole - meant)[..., [0, 2]], axis=-1)[stands].max())
        deep.append(-1000 * sole[..., 1].min())
    assert np.ceil([10 * max(off), 10 * max(deep)]) / 10 == pytest.approx(BETWEEN_KEYS[rate])


# Shares of the leg as the inspection finds them in the file, at sixty samples a second: its limits
# are 2.5 % and 2 %.
INSPECTED = {
    "Tamsin": (0.05, 0.03),
    "Odo": (0.07, 0.04),
    "Pip": (0.03, 0.05),
    "heron": (0.07, 0.03),
}


def test_an_inspection_finds_feet_that_stand_on_the_floor(exported):
    puppet, _, asset = exported
    report = inspection.inspect(asset)
    found = {finding.rule: finding for finding in report.findings}
    numbers = [found[rule].number for rule in ("foot-slide", "through-floor")]
    assert numbers == pytest.approx(INSPECTED[puppet.name], abs=0.01)
    assert {found[rule].status for rule in ("foot-slide", "through-floor", "loop-closes")} == {
        "pass"
    }


def test_only_joints_that_shift_carry_a_shift(exported):
    _, rig, asset = exported
    channels = asset.animations[0].channels
    assert [c.node for c in channels if c.path == "rotation"] == list(range(len(rig.skeleton)))
    assert [c.node for c in channels if c.path == "translation"] == [0]


@pytest.mark.parametrize("rate", [1, 24, 29.97, 60, 240])
def test_the_rate_is_as_near_as_whole_steps_let_it_be(rate):
    for puppet in PUPPETS.values():
        walk = gait.walk(puppet)
        times, world = export.walk_motion(LegRig.from_puppet(puppet), puppet, rate)
        step = walk.step_length / walk.speed
        assert times[-1] == pytest.approx(4 * step)
        even = np.linspace(0, 4 * step, 4 * keys_a_step(puppet, rate) + 1)
        assert np.abs(times[:, None] - even).min(axis=0).max() < 1e-9
        # and once more between two of them, in less than half of them
        between = np.abs(times[:, None] - (even[1:] + even[:-1]) / 2).min(axis=0) < 1e-9
        assert len(times) == len(even) + between.sum()
        assert 0 < between.mean() < 0.5
        # the loop closes: the last pose is the first, farther on
        world[..., 2, 3] -= world[:, :1, 2, 3]
        assert_allclose(world[-1], world[0], rtol=0, atol=1e-9)


def test_a_walk_of_another_speed():
    rig = LegRig.from_puppet("Pip")
    times, world = export.walk_motion(rig, "Pip", speed=0.5)
    assert (world[-1, 0, 2, 3] - world[0, 0, 2, 3]) / times[-1] == pytest.approx(0.5)


@pytest.mark.parametrize("rate", [0.9, 240.1, -30, np.nan, np.inf, "30", [30, 30], None])
def test_a_rate_that_cannot_be_is_refused(rate):
    with pytest.raises(ValueError, match="`rate` must be"):
        export.puppet_asset("Pip", 300, walking=False, rate=rate)
    with pytest.raises(ValueError, match="`rate` must be"):
        export.walk_motion(LegRig.from_puppet("Pip"), "Pip", rate)


def test_without_a_walk_there_is_only_the_rest_pose():
    assert export.puppet_asset(PUPPETS["Pip"], 300, walking=False).animations == ()


def test_the_preset_bend_can_be_chosen():
    straight = export.puppet_asset(PUPPETS["Pip"], 300, walking=False, preset_bend_deg=0)
    assert_allclose(straight.rest_world()[2, 2, 3], straight.rest_world()[1, 2, 3], atol=1e-9)


# --- any skeleton

STICK = Skeleton(
    [
        Joint("hip", None, frames.frame(origin=[0, 0.8, 0])),
        Joint("knee", "hip", frames.frame(origin=[0, -0.4, 0])),
    ]
)


def test_a_skeleton_alone():
    asset = export.rig_asset(STICK)
    assert [node.name for node in asset.nodes] == ["hip", "knee"]
    assert asset.skins == asset.meshes == asset.animations == ()


def test_quaternions_of_a_joint_that_spins_stay_in_one_hemisphere():
    """A reader may mix neighbouring keys as they are, so both must have one sign. q and −q are the
    same rotation, and only their product says which of the two ways round is the shorter."""
    times = np.linspace(0, 3, 31)
    spin = frames.frame(rotation.matrix_about("x", 4 * np.pi * times / 3))  # twice round
    world = np.stack([spin, spin @ frames.frame(origin=[0, -0.4, 0])], axis=1)
    (animation,) = export.rig_asset(STICK, motions={"spin": (times, world)}).animations
    keys = animation.channels[0].values
    assert (np.sum(keys[1:] * keys[:-1], axis=-1) > 0.9).all()
    assert_allclose(rotation.matrix_from_quaternion(keys), spin[:, :3, :3], atol=1e-12)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"skeleton": "stick"}, "`skeleton` must be a Skeleton with one root"),
        (
            {"skeleton": Skeleton([Joint("a", None, np.eye(4)), Joint("b", None, np.eye(4))])},
            "one root",
        ),
        ({"surface": mesh.tube(0.1, 1)}, "together"),
        ({"surface": "skin", "weights": [[1, 0]]}, "`surface` must be a Mesh"),
        ({"surface": mesh.tube(0.1, 1), "weights": [[1, 0]]}, "`weights`"),
        ({"motions": [1]}, "`motions` must map names"),
        ({"motions": {"nod": [0, 1]}}, r"`motions\['nod'\]` must be \(times, world\)"),
        ({"motions": {"nod": ([0, 1], STICK.rest_world)}}, "as many frames as times"),
        ({"motions": {"nod": ([1, 0], [STICK.rest_world] * 2)}}, "increasing"),
        ({"motions": {"nod": ([0, 1], np.zeros((2, 2, 4, 4)))}}, "must be a rotation matrix"),
    ],
)
def test_what_makes_no_asset_is_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        export.rig_asset(**({"skeleton": STICK} | arguments))


# --- the command


def test_the_command_writes_a_puppet(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["export", "heron", "--vertices", "500"]) == 0
    assert (
        capsys.readouterr().out
        == "heron.glb: 486 vertices, 13 joints, a walk of 2.3 s with 85 keys\n"
    )
    asset = gltf.read("heron.glb")
    assert len(asset.animations) == 1
    assert len(asset.animations[0].channels[0].times) == 85
    assert cli.main(["export", "heron", "--vertices", "300", "--rate", "60", "--replace"]) == 0
    assert capsys.readouterr().out.endswith("a walk of 2.3 s with 165 keys\n")
    assert len(gltf.read("heron.glb").animations[0].channels[0].times) == 165
    assert cli.main(["export", "Pip", "--rest", "--vertices", "300", "--out", "mine.gltf"]) == 0
    assert gltf.read("mine.gltf").animations == ()


def test_the_command_says_why_it_does_not(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "Pip.glb").write_bytes(b"a letter")
    for arguments, why, status in (
        (["Pip"], "--replace", 2),
        (["Pip", "--out", "Pip.obj"], ".glb or .gltf", 2),
        (["Pip", "--out", "no/a.glb"], "There is no folder no", 1),
    ):
        assert cli.main(["export", *arguments]) == status
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith("rigkit export: ")
        assert err.count("\n") == 1
        assert why in err
    assert os.listdir(tmp_path) == ["Pip.glb"]
    assert (tmp_path / "Pip.glb").read_bytes() == b"a letter"
    assert cli.main(["export", "Pip", "--replace", "--vertices", "300"]) == 0
    with pytest.raises(SystemExit) as end:
        cli.main(["export", "Bob"])
    assert end.value.code == 2
    assert "Tamsin" in capsys.readouterr().err


def test_a_walk_of_one_s_own_is_a_motion_too():
    rig, walk = LegRig.from_puppet("Pip"), gait.plant(gait.walk("Pip", frames=40, sway=2))
    times, world = export.rig_motion(rig, walk)
    frames_kept = np.searchsorted(walk.times, times)
    assert set(range(0, 81, 2)) < set(frames_kept.tolist())  # and more as a foot pushes off
    assert_allclose(walk.times[frames_kept], times)
    ankles = world[:, rig.skeleton.index("L_ankle"), :3, 3]
    assert_allclose(ankles, walk["L_ankle"][frames_kept], rtol=0, atol=1e-9)
    with pytest.raises(ValueError, match="`walk` must be a Walk"):
        export.rig_motion(rig, "Pip")
    with pytest.raises(ValueError, match="`rig` must be a LegRig"):
        export.rig_motion("Pip", walk)
