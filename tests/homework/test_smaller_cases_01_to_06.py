"""The smaller cases in the hints of lessons 01 to 06: every number in them is computed here.

The committed solution answers the smaller case. Where a solution is not a formula, the source of
the number stands beside it.
"""

from types import SimpleNamespace

import numpy as np
from numpy.testing import assert_allclose

from rigkit import frames, rotation, two_bone
from rigkit.two_bone import planar_points
from tests.homework.smaller_cases import inputs, number, place, says, solved

ROOT_TWO = np.sqrt(2)


# --- Lesson 01


def test_leg_lengths():
    thigh, shank, ankle = solved("01", "leg_lengths")(100)
    table = "0.530, 0.285 and 0.039 m above"  # Drillis and Contini's shares, of 1 m
    words = (f"thigh is {thigh:.3f} m", f"shank {shank:.3f} m", f"height {ankle:.3f} m")
    says("01", "leg_lengths", "100 cm", table, *words)


def test_kneecap_slide_cm():
    slide = solved("01", "kneecap_slide_cm", mine=inputs(depth_cm=10, bend_deg=60))
    says(
        "01", "kneecap_slide_cm", "10 cm deep", "60°", "are 5 cm apart", f"slide is {slide:.0f} cm"
    )


def test_hips_from_landmarks():
    asis = np.array([0.1, 1.0, 0.0]), np.array([-0.1, 1.0, 0.0])
    left, _ = solved("01", "hips_from_landmarks")(*asis)
    middle = (asis[0] + asis[1]) / 2
    aside, down, back = abs(left - middle)
    steps = f"{number(aside)}, {number(down)} and {number(back)} m"
    apart = f"{np.linalg.norm(asis[0] - asis[1]):.1f} m apart"
    says("01", "hips_from_landmarks", *map(place, (*asis, middle, left)), apart, steps)


def test_hip_gap_cm():
    gap = solved("01", "hip_gap_cm", pelvis=inputs(depth_cm=10, asis_cm=20, outside_cm=30))
    rule = f"2.8 + 3.2 + 0.79 = {gap / 2:.2f} cm"
    assert_allclose(2.8 + 3.2 + 0.79, gap / 2)
    says("01", "hip_gap_cm", "10 cm deep", "20 cm from", rule, f"there are {gap:.2f} cm")


def test_turning_centre():
    markers = np.array([[3, 0, 0], [-1, 0, 0], [1, 2, 0], [1, 0, 2]])
    centre = solved("01", "turning_centre")(markers)
    squares = (markers**2).sum(axis=1)
    k = squares[0] - 2 * markers[0] @ centre
    x, y, z = centre
    rows = [6 * x + k, -2 * x + k, 2 + 4 * y + 3, 2 + 4 * z + 3]
    assert_allclose(rows, squares)
    assert_allclose([2 * x, k], [2, 3])
    equations = "9 = 6x + k", "1 = −2x + k", "5 = 2 + 4y + 3", "5 = 2 + 4z + 3"
    found = f"x = {number(x)} and k = {number(k)}"
    says("01", "turning_centre", *map(place, markers), *equations, found, place(centre))


def test_knee_place():
    knee = inputs(
        front=(1, 1), middle=(0, 1), back=(-1, 1), rivet=(0, 0), bent_rivet=(-1, 1), bend_deg=90
    )
    best, misses = solved("01", "knee_place", knee=knee)
    assert best == "middle"
    assert_allclose(misses[1], 0, atol=1e-9)
    bend = np.array([[0, 1], [-1, 0]])  # the question's formula at 90°
    way = knee.rivet - knee.middle
    landed = knee.front + bend @ (knee.rivet - knee.front)
    points = knee.rivet, knee.middle, knee.front, knee.bent_rivet, landed
    assert_allclose(knee.middle + bend @ way, knee.bent_rivet)
    assert_allclose(misses[0] / 100, ROOT_TWO)
    ways = f"the way {place(way)} to {place(bend @ way)}"
    says("01", "knee_place", "90°", ways, *map(place, points), f"√2 m, {misses[0]:.1f} cm")


# --- Lesson 02


def test_carried():
    mine = inputs(shank=0.03, ankle_height=0.01, toe_ahead=0.03, knee_deg=60)
    _, cm = solved("02", "carried", mine=mine)
    away = f"{100 * np.hypot(0.04, 0.03):.0f} cm away"
    moved = f"are {cm:.0f} cm from where"
    says("02", "carried", "4 cm below", "3 cm ahead", away, "60°", moved)


def test_forward_leg():
    knee, ankle = solved("02", "forward_leg")(np.pi / 2, np.pi / 2, 1, 1)
    says("02", "forward_leg", "are 1 m", "at 90°", place(knee), place(ankle))


def test_leg_in_space():
    leg_in_space = solved("02", "leg_in_space")
    knee, ankle = leg_in_space(np.eye(4), np.zeros(3), np.pi / 2, 0, np.pi / 2, 1, 1)
    given = place(np.zeros(3)), "bones 1 m", "are 90°", "abduction 0"
    says("02", "leg_in_space", *given, place(knee), place(ankle))


def test_local_frame():
    parent, child = frames.frame(origin=[0, 1, 0]), frames.frame(origin=[0, 3, 0])
    turned = frames.frame(rotation.matrix_about("x", np.pi), [0, 1, 0])
    seen = [solved("02", "local_frame")(each, child)[:3, 3] for each in (parent, turned)]
    assert_allclose(turned[:3, 1], [0, -1, 0], atol=1e-9)
    says("02", "local_frame", *map(place, (parent[:3, 3], child[:3, 3], *seen)))


def test_reparent():
    old, new, local = (frames.frame(origin=[0, y, 0]) for y in (1, 4, 2))
    kept = solved("02", "reparent")(old, new, local)
    places = [each[:3, 3] for each in (old, local, old @ local, new)]
    says("02", "reparent", *map(place, places), f"sees it at {place(kept[:3, 3])}")


# --- Lesson 03


def test_mirror_point():
    image = solved("03", "mirror_point")(np.array([3, 1, 0]), 2)
    given = "x = 2", "(3, 1, 0) is 1 m to its left"
    says("03", "mirror_point", *given, f"{2 - image[0]} m to its right, at {place(image)}")


def test_orient_knee():
    leg = np.array([[0, 2, 0], [0, 1, 0], [0, 1, -1]])
    bone, hinge = solved("03", "orient_knee")(*leg)
    after = rotation.matrix_from_vector(hinge * np.pi / 2) @ [0, -1, 0]
    assert_allclose(after, [0, 0, -1], atol=1e-9)  # a hanging shank, flexed
    says("03", "orient_knee", *map(place, leg), f"is {place(bone)}", f"back: {place(hinge)}")


def test_keep_ankle():
    ankle = frames.frame(origin=[0, -1, 0])
    turned = frames.frame(rotation.matrix_about("z", np.pi / 2))
    kept = solved("03", "keep_ankle")(np.eye(4), ankle, turned)
    assert_allclose(turned[:3, 0], [0, 1, 0], atol=1e-9)
    says("03", "keep_ankle", "1 m below", *map(place, (ankle[:3, 3], kept[:3, 3])))


def test_mirror_frame():
    mirror_frame = solved("03", "mirror_frame")
    frame = frames.frame(origin=[1, 0, 0])
    reflection, bend = mirror_frame(frame, "reflection"), mirror_frame(frame, "same bend")
    words = (
        f"at {place(frame[:3, 3])}",
        f"at {place(bend[:3, 3])}",
        f"its x axis is {place(reflection[:3, 0])}",
        f"back to {place(bend[:3, 0])}",
        f"z becomes {place(reflection[:3, 2])}",
    )
    says("03", "mirror_frame", *words)


def test_right_numbers():
    right_numbers = solved("03", "right_numbers")
    alike, opposite = (
        right_numbers(np.array([30, 0, 0]), kind)[0] for kind in ("same bend", "reflection")
    )
    words = f"right hip gets {alike}° as well", f"right hip gets {number(opposite)}°"
    says("03", "right_numbers", "turned by 30°", *words)


def test_swap_sides():
    names = ["L_HEEL", "R_BELL_ROPE", "LANTERN"]
    becomes = [f"`{word}`" for word in solved("03", "swap_sides")(names)]
    says("03", "swap_sides", *becomes)


def test_odd_joint():
    left = np.tile([0.1, 0.2, 0.0], (6, 1))
    right = left * [-1, 1, 1]
    right[2] = [-0.1, 0.23, 0.04]
    joint, cm = solved("03", "odd_joint", legs=inputs(left=left, right=right))
    _, up, ahead = 100 * (right[2] - left[2] * [-1, 1, 1])
    offs = f"{up:.0f} cm above", f"{ahead:.0f} cm ahead", f"{cm:.0f} cm off"
    says("03", "odd_joint", *map(place, (left[2], right[0], right[2])), *offs)
    assert joint == "ankle"


# --- Lesson 04


def test_foot_slip_cm():
    slip = solved("04", "foot_slip_cm")(np.array([0, -1]), np.zeros(2), np.pi / 2)
    assert_allclose(slip / 100, ROOT_TWO)
    says("04", "foot_slip_cm", "foot is 1 m", "out to 1 m left", f"√2 m, or {slip:.1f} cm")


def test_by_hand():
    mine = inputs(upper=1, lower=1, lowered_cm=100 * (2 - ROOT_TWO))
    hip, knee, ankle = solved("04", "by_hand", mine=mine)
    turns = f"knee bends by {knee:.0f}°", f"hip by {hip:.0f}°", f"takes back {ankle:.0f}°"
    says("04", "by_hand", "are 1 m", f"{mine.lowered_cm:.1f} cm", "√2 m", *turns)


def test_compensate():
    hip, knee, ankle = np.degrees(solved("04", "compensate")(1, 1, 1, 1))
    place_of_ankle = planar_points(*np.radians([hip, knee]), 1, 1)[2]
    assert_allclose(place_of_ankle, [-1, -1])
    assert_allclose(np.hypot(*place_of_ankle), ROOT_TWO)
    given = "are 1 m", "1 m down and 1 m forward", "1 m below", "1 m behind", "√2 m"
    turns = f"knee bends by {knee:.0f}°", f"down ({number(hip)}°)", f"takes back {ankle:.0f}°"
    says("04", "compensate", *given, *turns)


def test_crouch_chain():
    low = inputs(upper=1, lower=1, deep_cm=100 * (2 - ROOT_TWO))
    compensate = solved("04", "compensate")
    _, off_cm = solved("04", "crouch_chain", low=low, compensate=compensate)
    hip, knee, _ = np.degrees(compensate(1, 1, 2 - ROOT_TWO, 0))
    leg, room = 2 * np.cos(np.radians(hip / 2)), 2 - (2 - ROOT_TWO) / 2
    assert_allclose(100 * (leg - room), off_cm)
    angles = (
        f"hip is at {hip:.0f}°",
        f"knee at {knee:.0f}°",
        f"at {hip / 2:.1f}° and {knee / 2:.0f}°",
    )
    lengths = f"2 · cos {hip / 2:.1f}° = {leg:.3f} m", f"it is {room:.3f} m", f"{off_cm:.1f} cm too"
    says("04", "crouch_chain", "are 1 m", f"{low.deep_cm:.1f} cm down", *angles, *lengths)


def test_kick_chain():
    swing = inputs(leg_length=1, back_deg=60, forward_deg=60)
    _, cut = solved("04", "kick_chain", swing=swing)
    middle = np.cos(np.radians(60))
    words = "of 1 m", "60° back to 60°", "is 1 m below", f"line {middle:.1f} m", "cosine of 60°"
    says("04", "kick_chain", *words, f"{cut:.0f} cm apart")


def test_keyed_values():
    scene = SimpleNamespace(keyed_slip_cm=lambda *case: 0.0)  # near enough at any spacing
    deal = inputs(deep_cm=13, within_cm=1, puppets=1)
    hw = SimpleNamespace(character=None)
    every, forward, inverse = solved("04", "keyed_values", deal=deal, scene=scene, hw=hw)
    counts = f"{2 * 3 * 3} values", f"three {forward}.", f"pelvis's {inverse} are"
    says("04", "keyed_values", f"every {every} frames", "frames 0, 12 and 24", *counts)


# --- Lesson 05


def test_last_bit():
    _, bend = solved("05", "last_bit", mine=inputs(upper=1, lower=1, short_cm=100))
    given = "are 1 m", "100 cm short", "then 1 m apart"
    says("05", "last_bit", *given, f"{180 - bend:.0f}° inside", f"flexion of {bend:.0f}°")


def test_leg_angles():
    leg_angles = solved("05", "leg_angles")
    knee, hip = leg_angles(5, 3, 4)
    assert_allclose(np.cos(np.radians(hip)), 3 / 5)
    assert_allclose(leg_angles(8, 3, 4), 0, atol=1e-5)
    given = "thigh of 3 m", "shank of 4 m", "goal 5 m", "goal 8 m", "both are 0°"
    says("05", "leg_angles", *given, f"flexion of {knee:.0f}°", f"cosine 3/5: {hip:.1f}°")


def test_hold_goal():
    hold_goal = solved("05", "hold_goal")
    far, near = np.array([6.0, -8.0]), np.array([0.6, -0.8])
    (held_in, miss_in), (held_out, miss_out) = hold_goal(far, 3, 1), hold_goal(near, 3, 1)
    distances = [f"is {np.hypot(*goal):.0f} m away" for goal in (far, near)]
    places = map(place, (far, near, held_in, held_out))
    misses = f"miss of {miss_in:.0f} cm", f"miss of {miss_out:.0f} cm"
    says("05", "hold_goal", "3 and 1 m", "2 to 4 m", *distances, *places, *misses)


def test_knee_point():
    goal, pole = np.array([0, -5, 0]), np.array([0, -1, 9])
    knee = solved("05", "knee_point")(np.zeros(3), goal, pole, 3, 4)
    cosine, sine = -knee[1] / 3, knee[2] / 3
    hip = f"cosine is {cosine:.1f} and the sine {sine:.1f}"
    ways = f"{-knee[1]:.1f} m down", f"{knee[2]:.1f} m off", "pole's 9 forward"
    says("05", "knee_point", *map(place, (goal, pole, knee)), "3 and 4 m", hip, *ways)


def test_ease_reach():
    met, eased = solved("05", "ease_reach")(np.array([0.9, 1.0]), 0.5, 0.5, 0.1)
    assert_allclose(1 - eased, 0.1 / np.e)
    given = "leg of 1 m", "`soft` of 0.1 m", "at 1 m", "1/e"
    left = f"{1 - eased:.3f} m", f"ankle is at {eased:.3f} m"
    says("05", "ease_reach", *given, f"goal at {met:.1f} m is met", *left)


def test_fastest():
    rate = abs(float(two_bone.flexion_rate(ROOT_TWO, 1, 1, 0.1)))
    assert_allclose(rate, ROOT_TWO)
    degrees = np.degrees(rate)
    given = "bones 1 m", "goal √2 m", "√2 radians", "10 cm a second"
    speeds = f"{degrees:.1f}° for a metre", f"{degrees / 100:.3f}°", f"{degrees / 10:.1f}° a second"
    says("05", "fastest", *given, *speeds)


# --- Lesson 06


def test_shortening_cm():
    cm = solved("06", "shortening_cm", mine=inputs(upper=1, lower=1, bend_deg=90))
    length = f"2 − {ROOT_TWO:.3f} = {cm / 100:.3f} m, or {cm:.1f} cm"
    says("06", "shortening_cm", "bones 1 m", "90°", "√2 m", length)


def test_freedom():
    rank, sizes = solved("06", "freedom")(1, 1, 0, 0)
    values = f"√(2² + 1²) = {sizes[0]:.3f} and {number(sizes[1])}"
    assert_allclose(sizes[0], np.sqrt(2**2 + 1**2))
    says("06", "freedom", "are 1 m", "2 m forward", "1 m back", f"rank is {rank}", values)


def test_stuck_direction():
    direction = solved("06", "stuck_direction")(1, 1, np.pi / 2)
    says("06", "stuck_direction", "90°", f"along {place(direction)}")


def test_solve_leg():
    solve_leg = solved("06", "solve_leg")
    goal = np.array([0, -ROOT_TWO])
    turns = np.degrees(solve_leg(goal, 1, 1, 1))
    assert_allclose(turns, [45, 90])
    assert_allclose(solve_leg(goal, 1, 1, -1), -np.radians(turns))
    given = "are 1 m", "(0, −√2)", "side +1", "side −1", "π/4 and π/2"
    says("06", "solve_leg", *given, f"bends by {turns[1]:.0f}°", f"stands {turns[0]:.0f}° ahead")


def test_preset_bend():
    bend = np.degrees(solved("06", "preset_bend")(1, 1, 1, 0.134))
    largest = bend / 0.99  # the solution keeps a hundredth back
    assert_allclose(2 * 0.866, np.sqrt(3), rtol=1e-4)
    length = f"2 · {1 - 0.134:.3f} = {2 * 0.866:.3f} m"
    bends = f"largest bend is {largest:.0f}°", f"from {0.9 * largest:.0f}°"
    says("06", "preset_bend", "bones 1 m", "0.134", length, "√3 m", *bends)


def test_heron_side():
    heron = inputs(upper=1, lower=1, bend_deg=90)
    side, off = solved("06", "heron_side", heron=heron)
    assert side == "back"
    words = "of 1 m", "90°", "√2 m", f": {-off:.1f} cm", f"reads {number(off, 1)}"
    says("06", "heron_side", *words)


def test_steps():
    steps = [np.log2(16 / start) for start in (1, 2)]  # doublings
    taken = f"1° that takes {steps[0]:.0f} steps", f"2° it takes {steps[1]:.0f}:"
    says("06", "steps", "16°", *taken)
