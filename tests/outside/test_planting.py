"""Feet on the floor, legs near full reach and the pelvis' path against closed forms by hand.

Each wanted number is worked out beside its check from geometry (derived), but for the sway, which
mujoco (Apache-2.0) finds, and for published measurements, with their source.
"""

from dataclasses import replace

import mujoco
import numpy as np
import pytest
from numpy.testing import assert_allclose

from rigkit import foot, gait
from rigkit.puppets import PUPPETS

# How far a foot slides


def sole_at(places, roll=0.0):
    """Heel, ball and toe of Tamsin's foot, rolled, shifted along the floor frame by frame."""
    rolled = foot.roll(foot.of_puppet("Tamsin"), np.broadcast_to(roll, len(places)), ease=0)
    flat = np.stack([getattr(rolled, name) for name in foot.PIVOTS], axis=1)
    points = np.zeros((len(places), 3, 3))
    points[..., [2, 1]] = flat
    points[..., [0, 2]] += np.asarray(places)[:, None]
    return points


@pytest.mark.parametrize("roll_deg", [-20, 0, 25, 60])
def test_a_foot_that_is_pushed_slides_as_far_as_it_is_pushed(roll_deg):
    # 3 cm across and 4 cm ahead a frame are 5 cm, whatever it stands on.
    places = np.outer(np.arange(6), [0.03, 0.04])
    slide = gait.foot_slide_cm(sole_at(places, np.radians(roll_deg)), np.ones(6, bool))
    assert_allclose(slide, [0, 5, 5, 5, 5, 5], atol=1e-12)


def test_there_and_back_adds_up():
    # 1 cm ahead and 1 cm back, four times: no way from where it stood, and yet 8 cm of slide.
    places = np.zeros((9, 2))
    places[1::2, 1] = 0.01
    assert gait.foot_slide_cm(sole_at(places), np.ones(9, bool)).sum() == pytest.approx(8)


def test_a_foot_that_only_rolls_does_not_slide():
    # from heel to toe and back, through both hand-overs
    roll = np.radians(np.concatenate([np.arange(-25, 76), np.arange(75, -26, -1)]))
    slide = gait.foot_slide_cm(sole_at(np.zeros((len(roll), 2)), roll), np.ones(len(roll), bool))
    assert slide.sum() == pytest.approx(0, abs=1e-10)


def test_what_is_in_the_air_or_goes_straight_up_does_not_count():
    sole = sole_at(np.outer(np.arange(6), [0.0, 0.02]))
    # down in frames 0 to 2 and 5: two steps of 2 cm with both ends down
    down = np.array([True, True, True, False, False, True])
    assert_allclose(gait.foot_slide_cm(sole, down), [0, 2, 2, 0, 0, 0], atol=1e-12)
    rising = sole_at(np.zeros((6, 2)))
    rising[..., 1] += 0.01 * np.arange(6)[:, None]
    assert_allclose(gait.foot_slide_cm(rising, np.ones(6, bool)), 0, atol=1e-12)


def test_what_stays_down_counts_before_what_comes_down_on_the_spot():
    # The ball stays on the floor and goes 1 cm; the toe comes straight down; the heel is up.
    heel = [(0, 0.1, -0.2), (0, 0.1, -0.19)]
    ball, toe = [(0, 0, 0), (0, 0, 0.01)], [(0, 0.02, 0.1), (0, 0, 0.1)]
    sole = np.swapaxes([heel, ball, toe], 0, 1)
    assert_allclose(gait.foot_slide_cm(sole, [True, True]), [0, 1], atol=1e-12)


# The slide of an unplanted walk, added up over a finely cut stride: what the sole's lowest point
# moves along the floor while the foot is down. Ours cuts the stride in another way: 2 % apart.
@pytest.mark.parametrize("name", PUPPETS)
def test_the_slide_of_a_walk_is_the_way_of_its_lowest_points(name):
    walk = gait.walk(name, frames=4000, cycles=1)
    for side in (0, 1):
        points = soles(walk)[:, side]
        lowest = points[:-1, :, 1].argmin(axis=1)
        moved = np.linalg.norm(np.diff(points[..., [0, 2]], axis=0), axis=-1)
        way = moved[np.arange(len(lowest)), lowest][walk.stance[:-1, side]].sum()
        assert walk.slide_cm[side] == pytest.approx(100 * way, rel=0.02)
        # and few frames tell of the same slide as many
        few = gait.walk(name, frames=30, cycles=1)
        assert few.slide_cm[side] == pytest.approx(100 * way, rel=0.02)


# When feet strike and leave


def test_strikes_and_toe_offs_of_a_clock():
    # Left down from 0 to 59 % of its cycle, right half a cycle later; 100 frames a cycle, three of
    # them: left strikes at 100, 200, right at 50, 150, 250; they leave 59 frames later.
    frame = np.arange(301)
    stance = np.stack([frame % 100 < 59, (frame + 50) % 100 < 59], axis=1)
    strikes, offs = gait.foot_strikes(stance), gait.toe_offs(stance)
    assert strikes.tolist() == [[50, 1], [100, 0], [150, 1], [200, 0], [250, 1], [300, 0]]
    assert offs.tolist() == [[9, 1], [59, 0], [109, 1], [159, 0], [209, 1], [259, 0]]


# Planted walks


@pytest.fixture(scope="module", params=PUPPETS)
def planted(request):
    return gait.plant(gait.walk(request.param, frames=200, cycles=2))


def soles(walk):
    return np.stack([walk[name] for name in foot.PIVOTS], axis=2)


def test_what_touches_the_floor_stands_still(planted):
    """Whatever touches in two frames on end is at one place in both, to a nanometre."""
    points = soles(planted)
    touching = np.abs(points[..., 1]) < 1e-9
    both = touching[1:] & touching[:-1] & (planted.stance[1:] & planted.stance[:-1])[..., None]
    moved = np.linalg.norm(np.diff(points[..., [0, 2]], axis=0), axis=-1)
    assert both.any(axis=0).all()  # heel, ball and toe of each foot all have their turn
    assert moved[both].max() < 1e-9
    assert touching[planted.stance].any(axis=-1).all()
    assert points[..., 1].min() > -1e-9


def test_each_strike_is_a_step_ahead_of_the_one_before(planted):
    strikes = gait.foot_strikes(planted.stance)
    assert len(strikes) >= 4
    heels = np.array([planted["heel"][frame, side] for frame, side in strikes])
    assert {*strikes[:, 1]} == {0, 1}
    assert_allclose(np.diff(heels[:, 2]), planted.step_length, atol=1e-9)
    # speed = step / time between strikes
    time = np.diff(planted.times[strikes[:, 0]])
    assert_allclose(planted.step_length / time, planted.speed, rtol=1e-9)
    # the pelvis keeps pace with the feet
    ahead = np.diff(planted.pelvis[strikes[:, 0], 2])
    assert_allclose(ahead, planted.step_length, atol=1e-9)


def test_its_bones_keep_their_lengths(planted):
    places = np.stack([planted[name] for name in planted.joints[: -len(foot.PIVOTS)]], axis=2)
    lengths = np.linalg.norm(np.diff(places, axis=2), axis=-1)
    assert_allclose(lengths, np.broadcast_to(planted.puppet.bones, lengths.shape), atol=1e-9)
    shape = foot.of_puppet(planted.puppet)
    for one, other in (("heel", "ball"), ("ball", "toe")):
        apart = np.linalg.norm(planted[one] - planted[other], axis=-1)
        wanted = np.linalg.norm(getattr(shape, one) - getattr(shape, other))
        assert_allclose(apart, wanted, atol=1e-9)


# Hips carried on straight legs over a point on the floor, as an inverted pendulum, fall between two
# steps by L − √(L² − (s/2)²). Walking on feet and knees, they fall by less; and the step alone asks
# for some of it.
@pytest.mark.parametrize("name", ["Tamsin", "Odo", "Pip"])
def test_hips_fall_less_than_on_stilts(name):
    planted = gait.plant(gait.walk(name, frames=200))
    leg, half = planted.puppet.leg_length, planted.step_length / 2
    stilts = leg - np.sqrt(leg**2 - half**2)
    assert 0.3 * stilts < np.ptp(planted.pelvis[:, 1]) < stilts


# Hips at the highest place from which a leg reaches its foot are a share of its full length away
# from it, in a straight line through space (Pythagoras); so is the leg that is solved from there.
@pytest.mark.parametrize("name", ["Tamsin", "Odo", "Pip"])
@pytest.mark.parametrize("reach", [0.9, 0.995, 1.0])
def test_the_highest_hips_are_a_reach_from_the_foot(name, reach):
    walk = gait.walk(name, frames=50, cycles=1, obliquity=0.0)
    full, heights = sum(walk.puppet.bones), gait.highest_hips(walk, reach)
    for side in (0, 1):
        pelvis = walk.pelvis.copy()
        pelvis[:, 1] = heights[:, side]
        hips = gait.plant(walk, pelvis)["hip"][:, side]
        apart = np.linalg.norm(hips - gait.foot_goals(walk)[:, side], axis=-1)
        assert_allclose(apart, reach * full, rtol=1e-9)
    path = gait.pelvis_path(walk, reach)
    assert (path[:, 1] <= heights.min(axis=1) + 1e-9).all()


def test_feet_that_are_asked_for_are_where_the_legs_end(planted):
    goals, end = gait.foot_goals(planted), planted.points[:, :, len(planted.puppet.bones)]
    assert_allclose(end, goals, atol=1e-9)
    # of a foot that lies flat the goal is the ankle's rest above the spot
    flat = planted.stance & (np.abs(planted.foot_pitch) < 1e-3)
    assert flat.any()
    ankle = foot.of_puppet(planted.puppet).ankle[1]
    assert_allclose(goals[flat][:, 1], ankle, atol=1e-3)


# The pelvis' turns lift and carry the hips, whose distance w stays. About +Y first, which takes +X
# to −Z, then about +Z: the left hip is ahead of the right by −w sin(rotation), and above it by
# w cos(rotation) sin(obliquity) (derived).
def test_hips_turn_as_the_pelvis_turns(planted):
    across, width = planted["L_hip"] - planted["R_hip"], planted.puppet.hip_width
    about_y, about_z = planted.pelvis_rotation, planted.pelvis_obliquity
    assert_allclose(np.linalg.norm(across, axis=-1), width, atol=1e-12)
    assert min(np.ptp(about_y), np.ptp(about_z)) > np.radians(3)
    assert_allclose(across[:, 1], width * np.cos(about_y) * np.sin(about_z), atol=1e-12)
    assert_allclose(across[:, 2], -width * np.sin(about_y), atol=1e-12)
    assert_allclose((planted["L_hip"] + planted["R_hip"]) / 2, planted.pelvis, atol=1e-12)


# Shares scale the pelvis' motion; none of it leaves the pelvis level, straight and in the middle.
def test_a_walk_without_the_pelvis_motion_has_none():
    still = gait.plant(gait.walk("Pip", sway=0, rotation=0, obliquity=0))
    assert_allclose([still.pelvis[:, 0], still.pelvis_rotation, still.pelvis_obliquity], 0)
    once, twice = (gait.walk("Pip", sway=s, rotation=s, obliquity=s) for s in (1.0, 2.0))
    for name in ("pelvis_rotation", "pelvis_obliquity"):
        assert_allclose(getattr(twice, name), 2 * getattr(once, name), atol=1e-12)
    assert_allclose(twice.pelvis[:, 0], 2 * once.pelvis[:, 0], atol=1e-12)


# Least height of the sole in mid-swing: 11.1 mm (deviation 5.7; B. W. Schulz, J. Biomech.
# 44:1277-1284, 2011, abstract) and 13 mm (Winter 1991, seen in a page that quotes it), of adults.
def test_a_grown_foot_clears_the_floor_as_adults_do():
    planted = gait.plant(gait.walk("Tamsin", frames=400))
    off = planted.phase[planted.stance].max()
    swing = (planted.phase - off) / (1 - off)
    mid = (swing > 0.3) & (swing < 0.85)
    least = 1000 * soles(planted)[..., 1].min(axis=-1)[mid].min()
    assert 11.1 - 5.7 < least < 11.1 + 5.7


# A stance knee of people, table of Schwartz 2008: 19.3 (6.3) degrees at 12 %, 6.2 (5.7) at 40 %.
def test_a_planted_knee_bends_as_peoples_do():
    planted = gait.plant(gait.walk("Tamsin", frames=100))
    knee = np.degrees(planted.knee[:, 0])
    assert abs(knee[12] - 19.3) < 6.3
    assert abs(knee[40] - 6.2) < 5.7


# Sideways the body tips over each foot as an inverted pendulum. Here mujoco lets one go: a point on
# a rod of length l, a hair from upright, at rest, which after half a step has come to the middle
# between the feet.
@pytest.mark.parametrize(("step_time", "length"), [(0.4, 0.5), (0.53, 0.9), (1.2, 0.9)])
def test_sway_is_that_of_a_pendulum_in_mujoco(step_time, length):
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="0.0001" gravity="0 0 -{gait.GRAVITY}" integrator="RK4"/>
        <worldbody><body><joint axis="0 1 0"/>
        <inertial pos="0 0 {length}" mass="1" diaginertia="1e-12 1e-12 1e-12"/></body></worldbody>
        </mujoco>"""
    )
    data = mujoco.MjData(model)
    nearest = data.qpos[0] = 1e-4
    for _ in range(round(step_time / 2 / model.opt.timestep)):
        mujoco.mj_step(model, data)
    half_width = data.qpos[0]
    sway = gait.sway_width(step_time, length, step_width=2 * half_width)
    assert sway == pytest.approx(2 * (half_width - nearest), rel=1e-3)


# Legs near full reach


def stretched(reaches, seconds):
    """A walk whose left leg has these lengths, frame by frame: its knee by the law of cosines."""
    walk = gait.walk("Tamsin", frames=len(reaches) - 1, cycles=1)
    thigh, shank = walk.puppet.bones
    inner = np.arccos((thigh**2 + reaches**2 - shank**2) / (2 * thigh * reaches))
    points = walk.points.copy()
    hips = points[:, :, 0]
    points[:, 0, 1] = hips[:, 0]
    points[:, 0, 1, 1:] += thigh * np.stack([-np.cos(inner), np.sin(inner)], axis=-1)
    points[:, 0, 2] = hips[:, 0] - np.stack([0 * reaches, reaches, 0 * reaches], axis=-1)
    points[:, 1] = points[0, 1]  # the right leg stands
    return replace(walk, points=points, times=np.linspace(0, seconds, len(reaches)))


def bends(reaches, thigh, shank):
    return np.pi - np.arccos((thigh**2 + shank**2 - reaches**2) / (2 * thigh * shank))


# The foot is drawn away at an even 0.8 m/s up to full reach and back. The bend goes as the root of
# what is left: dθ/dr = −r / (a b sin θ), which has no end. The last step before full reach, of
# length δ, takes √(2 δ (a + b) / (a b)) of bend.
def test_a_leg_drawn_to_full_reach_pops_where_the_closed_form_is_fast():
    thigh, shank = PUPPETS["Tamsin"].bones
    full = thigh + shank
    away = full - 0.008 * np.arange(15, -1, -1)
    reaches = np.concatenate([away, away[-2::-1]])
    walk = stretched(reaches, seconds=0.01 * (len(reaches) - 1))
    speed = np.degrees(np.abs(np.diff(bends(reaches, thigh, shank)))) / 0.01
    popping = np.flatnonzero((speed > 600) & (np.maximum(reaches[1:], reaches[:-1]) >= 0.99 * full))
    assert_allclose(np.diff(popping), 1)  # one run, out and back
    assert len(popping) == 4
    (pop,) = gait.extension_pops(walk)
    assert (pop.side, pop.frame) == ("L_", popping[-1] + 1)
    assert pop.speed_deg == pytest.approx(speed.max(), rel=1e-9)
    root = np.degrees(np.sqrt(2 * 0.008 * full / (thigh * shank))) / 0.01
    assert pop.speed_deg == pytest.approx(root, rel=5e-3)


def test_a_leg_that_snaps_out_of_straight_pops_in_that_step():
    full = sum(PUPPETS["Tamsin"].bones)
    reaches = full * np.array([0.999, 0.999, 0.999, 0.94, 0.94, 0.94, 0.94, 0.94, 0.94])
    (pop,) = gait.extension_pops(stretched(reaches, seconds=0.08))
    turned = bends(reaches, *PUPPETS["Tamsin"].bones)
    assert pop.frame == 3
    assert pop.speed_deg == pytest.approx(np.degrees(turned[3] - turned[2]) / 0.01, rel=1e-9)
    (back,) = gait.extension_pops(stretched(reaches[::-1], seconds=0.08))
    assert (back.frame, back.speed_deg) == (6, pytest.approx(pop.speed_deg, rel=1e-9))


def test_slower_or_farther_from_full_reach_is_no_pop():
    # to full reach in the same way but twenty times slower; as fast, but at most to 98.9 % of it
    full = sum(PUPPETS["Tamsin"].bones)
    away = full - 0.008 * np.arange(15, -1, -1)
    assert len(gait.extension_pops(stretched(away, seconds=0.15))) == 1
    assert gait.extension_pops(stretched(away, seconds=3.0)) == ()
    assert gait.extension_pops(stretched(away - 0.011 * full, seconds=0.03)) == ()
