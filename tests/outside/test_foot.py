"""The foot's roll against a mechanism in mujoco, a foot that mujoco lets roll, and closed forms.

mujoco (DeepMind, Apache-2.0): forward kinematics of hinges, and rigid bodies with contact and
friction. Its planes are made of our z, forward, and y, up; a turn about our x is one about its y.
"""

from itertools import pairwise

import mujoco
import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from rigkit import foot
from rigkit.puppets import PUPPETS

ANGLES = np.radians(np.linspace(-40, 85, 251))


@pytest.fixture(params=[*PUPPETS, *range(3)])
def standing(request):
    """A foot: a puppet's, or one by chance."""
    if request.param in PUPPETS:
        return foot.of_puppet(request.param)
    rng = np.random.default_rng(request.param)
    back, ball, toe, height = rng.uniform((0.02, 0.08, 0.16, 0.03), (0.08, 0.14, 0.25, 0.12))
    return foot.Foot(ankle=(0, height), heel=(-back, 0), ball=(ball, 0), toe=(toe, 0))


# Three hinges in a row: the whole foot about the heel; the toes about their tip; the rest about the
# ball.
MECHANISM = """
<mujoco><worldbody>
  <body pos="{heel} 0 0"><joint axis="0 1 0"/><geom size="0.001"/>
    <body pos="{toe_from_heel} 0 0"><joint axis="0 1 0"/><geom size="0.001"/><site name="toe"/>
      <body pos="{ball_from_toe} 0 0"><joint axis="0 1 0"/><geom size="0.001"/><site name="ball"/>
        <site name="heel" pos="{heel_from_ball} 0 0"/>
        <site name="ankle" pos="{ankle_from_ball} 0 {height}"/>
      </body></body></body>
</worldbody></mujoco>"""


@pytest.mark.parametrize("ease_deg", [0, 5, 12, 40])
def test_every_point_is_where_a_mechanism_of_three_hinges_has_it(standing, ease_deg):
    limit, ease = np.radians(35), np.radians(ease_deg)
    model = mujoco.MjModel.from_xml_string(
        MECHANISM.format(
            heel=standing.heel[0],
            toe_from_heel=standing.toe[0] - standing.heel[0],
            ball_from_toe=standing.ball[0] - standing.toe[0],
            heel_from_ball=standing.heel[0] - standing.ball[0],
            ankle_from_ball=standing.ankle[0] - standing.ball[0],
            height=standing.ankle[1],
        )
    )
    data = mujoco.MjData(model)
    rolled = foot.roll(standing, ANGLES, limit, ease)
    heel, ball, toe = foot.turns(ANGLES, limit, ease)
    for i, turns in enumerate(np.stack([heel, toe, ball], axis=-1)):
        data.qpos[:] = turns
        mujoco.mj_kinematics(model, data)
        for name in ("ankle", "heel", "ball", "toe"):
            theirs = data.site(name).xpos[[0, 2]]
            assert_allclose(getattr(rolled, name)[i], theirs, rtol=0, atol=1e-12, err_msg=name)


# A foot of two parts that nothing holds: free to shift and turn in its plane, heavy, on a rough
# floor, its toes on a hinge that opens as far as the ball's limit and no farther. A slow motor
# turns it. Which point it stands on, and that nothing slips, is then the engine's finding. Its
# balls of contact have a radius of 1 mm and sink in a little.
FREE = """
<mujoco><option timestep="0.0005" integrator="implicitfast" cone="elliptic" impratio="20"/>
<default><geom type="sphere" size="0.001" friction="5 0 0" solref="0.003 1" condim="3"/></default>
<worldbody><geom type="plane" size="5 5 1" pos="0 0 -0.001"/>
  <body name="foot">
    <joint name="ahead" type="slide" axis="1 0 0"/><joint name="up" type="slide" axis="0 0 1"/>
    <joint name="pitch" axis="0 1 0" damping="2"/>
    <geom pos="{heel[0]} 0 0" mass="1"/><geom pos="{ball[0]} 0 0" mass="1"/>
    <site name="heel" pos="{heel[0]} 0 0"/><site name="ankle" pos="{ankle[0]} 0 {ankle[1]}"/>
    <body pos="{ball[0]} 0 0">
      <joint name="bend" axis="0 -1 0" range="0 {limit}" limited="true" solreflimit="0.002 1"/>
      <site name="ball"/><site name="toe" pos="{along} 0 0"/>
      <geom pos="{along} 0 0" mass="1"/>
    </body>
  </body>
</worldbody>
<actuator><position joint="pitch" kp="4000" kv="60"/></actuator>
</mujoco>"""


@pytest.fixture(scope="module", params=["Tamsin", "Pip"])
def let_roll(request):
    """A puppet's foot, and (angle, points by name) as mujoco lets it roll from heel to toe."""
    standing, limit = foot.of_puppet(request.param), 40
    given = {name: getattr(standing, name) for name in ("ankle", "heel", "ball")}
    along = standing.toe[0] - standing.ball[0]
    model = mujoco.MjModel.from_xml_string(FREE.format(**given, along=along, limit=limit))
    tracks = []
    for last in np.radians([-25, 70]):
        data = mujoco.MjData(model)
        for asked in np.linspace(0, last, 5000):
            data.ctrl[0] = asked
            mujoco.mj_step(model, data)
            places = [data.site(name).xpos[[0, 2]].copy() for name in ("ankle", *foot.PIVOTS)]
            tracks.append([data.joint("pitch").qpos[0], *np.ravel(places)])
    tracks = np.array(tracks)
    names = ("ankle", *foot.PIVOTS)
    points = dict(zip(names, np.moveaxis(tracks[:, 1:].reshape(-1, 4, 2), 1, 0), strict=True))
    return standing, np.radians(limit), tracks[:, 0], points


# 1.2 mm: the balls roll on by their radius times the turn; what is left of it is slip.
def test_it_rolls_as_a_foot_that_is_let_roll(let_roll):
    standing, limit, angle, points = let_roll
    rolled = foot.roll(standing, angle, limit, ease=0)
    for name, theirs in points.items():
        assert_allclose(getattr(rolled, name), theirs, rtol=0, atol=0.0012, err_msg=name)


# And it stands where ours stands: what the engine has lowest is what we say it turns about.
def test_it_turns_about_what_the_rolling_foot_stands_on(let_roll):
    standing, limit, angle, points = let_roll
    lowest = np.argmin([points[name][:, 1] for name in foot.PIVOTS], axis=0)
    ours = foot.roll(standing, angle, limit, ease=0).pivot
    clear = np.min(np.abs(angle[:, None] - [0, limit]), axis=1) > np.radians(2)
    on = np.where(clear & (ours == "ball"), 1, lowest)  # there ball and toe are both down
    assert (np.array(foot.PIVOTS)[on] == ours)[clear].all()
    assert {*ours[clear]} == {*foot.PIVOTS}


# Rolling on one point after another, the ankle goes along arcs of circles: the way is the radius
# times the turn (derived). On the toe's tip the foot keeps the bend of the ball's limit, so the
# radius is the third side of a triangle, by the law of cosines.
def test_the_ankle_s_way_is_radius_times_turn(standing):
    limit, last = np.radians(35), np.radians(80)
    from_heel, from_ball, toes = (
        np.linalg.norm(one - other)
        for one, other in (
            (standing.ankle, standing.heel),
            (standing.ankle, standing.ball),
            (standing.toe, standing.ball),
        )
    )
    rise = np.arctan2(standing.ankle[1], standing.ball[0] - standing.ankle[0])
    from_toe = np.sqrt(from_ball**2 + toes**2 - 2 * from_ball * toes * np.cos(np.pi - rise - limit))
    for first, until, radius in (
        (-np.radians(30), 0, from_heel),
        (0, limit, from_ball),
        (limit, last, from_toe),
    ):
        path = foot.roll(standing, np.linspace(first, until, 4001), limit, ease=0).ankle
        way = np.linalg.norm(np.diff(path, axis=0), axis=-1).sum()
        assert way == pytest.approx(radius * (until - first), rel=1e-6)


# Rolling without slip: whatever part of the sole is down has no speed at that moment, so the
# distance that the ankle's height and the pivot give is its speed per radian (derived:
# v = ω × r, the instantaneous centre of rotation), with any ease outside the hand-over.
@pytest.mark.parametrize("ease_deg", [0, 12])
def test_the_ankle_s_speed_is_that_about_the_point_it_stands_on(standing, ease_deg):
    limit, ease, step = np.radians(35), np.radians(ease_deg), 1e-6
    angle = np.radians([-30, -10, 8, 15, 22, 48, 60, 80])
    at, before, after = (foot.roll(standing, angle + by, limit, ease) for by in (0, -step, step))
    speed = (after.ankle - before.ankle) / (2 * step)
    centre = np.stack([getattr(at, name)[i] for i, name in enumerate(at.pivot)])
    forward, up = (at.ankle - centre).T
    assert_allclose(speed, np.stack([up, -forward], axis=-1), rtol=0, atol=1e-8)
    assert_allclose(centre[:, 1], 0, rtol=0, atol=1e-15)


# While ball and toe share a roll, the toe's share of each further degree is 3x² − 2x³, integrated
# here by scipy's quadrature; neither turns back, and they add up.
@pytest.mark.parametrize(("limit_deg", "ease_deg"), [(40, 12), (30, 30), (20, 45), (40, 0)])
def test_the_toe_s_turn_is_the_integral_of_its_share(limit_deg, ease_deg):
    limit, ease = np.radians([limit_deg, ease_deg])
    wide = min(ease, limit)

    def share(angle):
        x = np.clip((angle - limit + wide) / (2 * wide), 0, 1) if wide else float(angle > limit)
        return 3 * x**2 - 2 * x**3

    for angle in np.radians([5, 20, 33, 40, 47, 60, 90]):
        corners = sorted({0.0, *np.clip([limit - wide, limit, limit + wide], 0, angle), angle})
        toe = sum(quad(share, *piece)[0] for piece in pairwise(corners))
        turns = foot.turns(angle, limit, ease)
        assert_allclose(turns, [0, angle - toe, toe], rtol=0, atol=1e-12)
    assert_allclose(foot.turns(-0.3, limit, ease), [-0.3, 0, 0], atol=1e-15)
