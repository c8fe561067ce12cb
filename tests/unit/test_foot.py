import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import foot as ft
from rigkit import rotation
from rigkit.puppets import PUPPETS

FOOT = ft.Foot(ankle=(0.0, 0.07), heel=(-0.06, 0.0), ball=(0.13, 0.02), toe=(0.2, 0.0))
POINTS = ("ankle", "heel", "ball", "toe")

angles = st.floats(-np.pi / 2, np.pi / 2)
limits = st.floats(0, np.pi / 2)
feet = st.tuples(*[st.floats(0.01, 0.3)] * 3, *[st.floats(0, 0.1)] * 2).map(
    lambda f: ft.Foot(ankle=(0, f[3]), heel=(-f[0], 0), ball=(f[1], f[4]), toe=(f[1] + f[2], 0))
)
quick = settings(max_examples=60, deadline=None)


def test_flat_foot_is_as_it_stands():
    flat = ft.roll(FOOT, 0)
    for name in POINTS:
        assert_allclose(getattr(flat, name), getattr(FOOT, name), atol=1e-17)
    assert flat.foot_turn == flat.toe_turn == 0
    assert flat.pivot == "ball"


def test_each_phase_turns_about_its_pivot():
    angle = np.radians([-20, 20, 60])
    rolled = ft.roll(FOOT, angle, np.radians(40))
    assert rolled.pivot.tolist() == ["heel", "ball", "toe"]
    assert_allclose(rolled.heel[0], FOOT.heel, atol=1e-16)
    assert_allclose(rolled.ball[1], FOOT.ball, atol=1e-16)
    assert_allclose(rolled.toe[1:], np.tile(FOOT.toe, (2, 1)), atol=1e-16)
    assert_allclose(np.degrees(rolled.toe_turn), [-20, 0, 20], atol=1e-12)
    assert rolled.toe[0, 1] > 0
    assert rolled.heel[1, 1] > 0
    assert rolled.ball[2, 1] > FOOT.ball[1]


@pytest.mark.parametrize("limit", [0.0, 0.5, ft.BALL_LIMIT])
def test_at_its_limit_the_ball_is_still_the_pivot(limit):
    around = [-1e-9, 0.0, limit, np.nextafter(limit, 2)]
    assert ft.roll(FOOT, around, limit).pivot.tolist() == ["heel", "ball", "ball", "toe"]


def test_roll_is_a_turn_about_x_in_space():
    rolled = ft.roll(FOOT, 0.3)
    turn = rotation.matrix_about("x", 0.3)
    arm = np.array([0, *(FOOT.ankle - FOOT.ball)[::-1]])
    assert_allclose((turn @ arm)[1:], (rolled.ankle - rolled.ball)[::-1], atol=1e-16)


@quick
@given(feet, angles, limits)
def test_nothing_goes_below_the_floor_and_no_bone_changes(foot, angle, limit):
    rolled = ft.roll(foot, angle, limit)
    for name in POINTS:
        assert getattr(rolled, name)[1] >= -1e-15
    under_ball = np.array([0, -foot.ball[1]])
    sole = rolled.ball + ft._turned(under_ball, rolled.foot_turn)
    assert sole[1] >= -1e-15
    for one, other in (("ankle", "heel"), ("ankle", "ball"), ("heel", "ball"), ("ball", "toe")):
        before = np.linalg.norm(getattr(foot, one) - getattr(foot, other))
        assert np.linalg.norm(getattr(rolled, one) - getattr(rolled, other)) == pytest.approx(
            before, abs=1e-12
        )


@quick
@given(feet, angles, limits, st.floats(-1e-6, 1e-6))
def test_nothing_slips_and_nothing_jumps(foot, angle, limit, step):
    pair = angle, np.clip(angle + step, -np.pi / 2, np.pi / 2)
    for ease in (0.0, ft.EASE):
        one, two = (ft.roll(foot, roll, limit, ease) for roll in pair)
        for name in POINTS:
            assert np.abs(getattr(one, name) - getattr(two, name)).max() <= 1e-6
        shared = max(np.abs(np.array(pair) - limit)) < ease
        if one.pivot == two.pivot and not shared:
            still = str(one.pivot)
            assert_allclose(getattr(one, still), getattr(two, still), atol=1e-15)
        if min(pair) >= 0:  # the tip of the toe stays whatever the ball does
            assert_allclose(one.toe, two.toe, atol=1e-15)


@quick
@given(st.lists(angles, min_size=1, max_size=8), limits)
def test_batch_equals_loop(many, limit):
    together = ft.roll(FOOT, many, limit)
    for i, angle in enumerate(many):
        one = ft.roll(FOOT, angle, limit)
        for name in (*POINTS, "foot_turn", "toe_turn"):
            assert_allclose(getattr(one, name), getattr(together, name)[i], atol=1e-15)
        assert one.pivot == together.pivot[i]


@quick
@given(st.lists(angles, min_size=1, max_size=8), limits)
def test_turns_add_up_to_the_roll_and_the_heel_turns_alone(many, limit):
    many = np.array(many)
    heel, ball, toe = ft.turns(many, limit)
    assert_allclose(heel + ball + toe, many, atol=1e-15)
    assert (heel <= 0).all()
    assert ((ball >= 0) & (ball <= limit + 1e-15)).all()
    assert (toe >= 0).all()
    assert not (heel * (ball + toe)).any()
    ease = min(ft.EASE, limit)
    assert_allclose(ball[many >= limit + ease], limit, atol=1e-15)
    assert_array_equal(toe[many <= limit - ease], 0)
    rolled = ft.roll(FOOT, many, limit)
    assert_allclose(rolled.toe_turn, heel + toe, atol=1e-15)
    assert_allclose(rolled.foot_turn, heel + toe + ball, atol=1e-15)


@quick
@given(angles, limits, st.floats(0, 0.4, allow_subnormal=False))
def test_the_toe_s_share_is_the_integral_of_a_smooth_step(angle, limit, ease):
    """Of the closed form against a sum of 2,000 parts."""
    wide = min(ease, limit)
    edges = np.linspace(min(angle, 0.0), angle, 2001)
    middles = (edges[1:] + edges[:-1]) / 2
    x = np.clip((middles - limit + wide) / (2 * wide), 0, 1) if wide else middles > limit
    share = np.sum(3 * x**2 - 2 * x**3) if wide else np.sum(x)
    _, _, toe = ft.turns(angle, limit, ease)
    assert toe == pytest.approx(share * (angle - min(angle, 0.0)) / 2000, abs=2e-3)


def test_ball_and_toe_turn_at_rates_without_a_jump():
    angle = np.linspace(0, np.pi / 2, 4001)
    _, ball, toe = (np.diff(turn) / np.diff(angle) for turn in ft.turns(angle))
    assert np.abs(np.diff(ball)).max() < 2e-3
    assert np.abs(np.diff(toe)).max() < 2e-3
    assert np.abs(np.diff(ft.turns(angle, ease=0.0)[2])).max() > 0


def test_turns_of_integers_and_of_many_limits():
    assert [turn.tolist() for turn in ft.turns([-1, 0, 1], [[0.5], [1.5]])] == [
        [[-1, 0, 0], [-1, 0, 0]],
        [[0, 0, 0.5], [0, 0, 1]],
        [[0, 0, 0.5], [0, 0, 0]],
    ]


def test_many_feet_at_once_and_integers():
    both = ft.Foot(
        ankle=[(0, 1), (0, 2)], heel=[(-1, 0), (-1, 0)], ball=[(2, 0), (2, 0)], toe=[(3, 0), (4, 0)]
    )
    rolled = ft.roll(both, [[0], [1]])
    assert rolled.ankle.shape == (2, 2, 2)
    one = ft.roll(ft.Foot(ankle=(0.0, 2.0), heel=(-1.0, 0.0), ball=(2.0, 0.0), toe=(4.0, 0.0)), 1.0)
    assert_allclose(rolled.ankle[1, 1], one.ankle, atol=1e-15)


@pytest.mark.parametrize("name", sorted(PUPPETS))
def test_a_puppets_foot_has_the_puppets_measures(name):
    puppet, foot = PUPPETS[name], ft.of_puppet(PUPPETS[name])
    assert foot.toe[0] - foot.heel[0] == pytest.approx(puppet.foot_length)
    assert (-foot.heel[0], foot.ball[0], foot.ankle[1]) == (
        puppet.heel_length,
        puppet.ball_length,
        puppet.ankle_height,
    )
    assert_array_equal(ft.of_puppet(name).ball, foot.ball)
    with pytest.raises(ValueError, match="puppet"):
        ft.of_puppet(name.upper())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"heel": (0.14, 0)}, "follow each other"),
        ({"heel": (-0.06, 1e-8)}, "touch the floor"),
        ({"toe": (0.2, -1e-8)}, "touch the floor"),
        ({"ankle": (0, -1e-8)}, "at or above"),
        ({"ankle": (0.14, 0.07)}, "follow each other"),
        ({"ball": (0.13, -0.01)}, "at or above"),
        ({"toe": (np.nan, 0)}, "toe"),
        ({"ankle": (0, 0, 0)}, "ankle"),
        ({"ankle": "high"}, "ankle"),
        ({"ankle": []}, "ankle"),
    ],
)
def test_foot_refuses(change, message):
    points = {"ankle": (0, 0.07), "heel": (-0.06, 0), "ball": (0.13, 0.02), "toe": (0.2, 0)}
    with pytest.raises(ValueError, match=message):
        ft.Foot(**points | change)


@pytest.mark.parametrize(
    ("angle", "limit", "message"),
    [
        (30, 0.7, "angle"),
        (np.nan, 0.7, "angle"),
        (0.1, 45, "ball_limit"),
        (0.1, -0.1, "ball_limit"),
        ("up", 1, "angle"),
    ],
)
def test_roll_refuses(angle, limit, message):
    with pytest.raises(ValueError, match=message):
        ft.roll(FOOT, angle, limit)
    with pytest.raises(ValueError, match=message):
        ft.turns(angle, limit)
