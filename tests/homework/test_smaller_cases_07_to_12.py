"""The smaller cases in the hints of lessons 07 to 12: every number in them is computed here.

The committed solution answers the smaller case. Where the text says more than the answer, the
library or a formula beside it computes that.
"""

import numpy as np
from numpy.testing import assert_allclose

from rigkit import frames, mesh, rotation, skin, two_bone
from tests.homework.smaller_cases import inputs, number, place, says, solved

QUARTER = np.pi / 2
UPRIGHT = np.array([[0, 2, 0], [0, 1, 1], [0, 0, 0]], dtype=float)  # hip, knee and ankle


def shift(*origin):
    return frames.frame(origin=np.array(origin, dtype=float))


def turned(axis, angle, *origin):
    return frames.frame(rotation.matrix_about(axis, angle), np.array(origin, dtype=float))


# --- Lesson 07


def test_hinge_axis():
    axis = solved("07", "hinge_axis")(*UPRIGHT)
    flexed = rotation.matrix_from_vector(0.01 * axis) @ (UPRIGHT[2] - UPRIGHT[1])
    assert rotation.angle_between(UPRIGHT[1] - UPRIGHT[0], flexed) > QUARTER
    says("07", "hinge_axis", *map(place, UPRIGHT), place(axis))


def test_swivel():
    leg = UPRIGHT[:, [2, 1, 0]]
    swivel = solved("07", "swivel")(*leg)
    assert_allclose(swivel, -QUARTER)
    assert_allclose(two_bone.swivel_angle(*leg), swivel)
    says("07", "swivel", *map(place, leg), number(swivel), "−π/2")


def test_pole():
    hip, knee, ankle = leg = np.array([[0, 2, 0], [0.5, 1.5, 0], [0, 0, 0]])
    pole = solved("07", "pole")(*leg, 0.5)
    bones = np.linalg.norm(np.diff(leg, axis=0), axis=1)
    assert_allclose(two_bone.solve(hip, ankle, *bones, pole).knee, knee, atol=1e-12)
    says("07", "pole", *map(place, leg), "distance 0.5", place(pole))


def test_pole_distance_cm():
    mine = inputs(upper=1, lower=1, bend_deg=90, off_cm=100, turn_deg=45)
    distance = solved("07", "pole_distance_cm", mine=mine)
    off_line = 100 * np.sqrt(0.5)  # half of the diagonal of a square
    assert_allclose(distance, 100 - off_line)
    words = "1 m", "90°", "45°", "100 cm", f"{off_line:.1f} cm", f"{distance:.1f} cm"
    says("07", "pole_distance_cm", *words)


def test_flip_frame():
    angles = np.radians([45, 80, 100])  # from straight down; the pole is straight ahead
    goals = 1.5 * np.stack([0 * angles, -np.cos(angles), np.sin(angles)], axis=-1)
    path = np.zeros(3), goals, 1.0, 1.0, np.array([0.0, 0.0, 3.0])
    axes = two_bone.solve(*path).hinge
    turns = np.degrees(rotation.angle_between(axes[:-1], axes[1:]))
    flips = solved("07", "flip_frame")
    never = flips(path[0], goals[[0, 0, 0]], *path[2:])
    words = [f"by {turns[0]:.0f}°", f"by {turns[1]:.0f}°", f"frame {flips(*path)}"]
    says("07", "flip_frame", *set(map(place, axes)), *words, f"answer is {number(never)}")


def test_squat_poles():
    hips, ankles, toes = (np.array([at]) for at in ([0, 1.5, 0], [0, 0.1, 0], [0.12, 0, 0.16]))
    (pole,) = solved("07", "squat_poles")(hips, ankles, toes, 1, 1)
    way = (toes - ankles)[0, [0, 2]] / np.linalg.norm((toes - ankles)[0, [0, 2]])
    assert_allclose(np.linalg.norm(pole - ankles[0]), 2)
    knee = two_bone.solve(hips[0], ankles[0], 1, 1, pole).knee
    assert_allclose(two_bone.knee_toe_offset(knee, ankles[0], toes[0]), 0, atol=1e-9)
    points = map(place, (ankles[0], toes[0], way, pole))
    says("07", "squat_poles", "1 m", "2 m", *points)


def test_follows():
    ankle, toe = np.array([0, 0, 0]), np.array([9, 0, 12])
    knees = np.array([[0, 50, 10], [3, 50, 9]])
    off = np.abs(two_bone.knee_toe_offset(knees, ankle, toe))
    flat = [place(point[[0, 2]]) for point in (ankle, toe, *knees)]
    answer = f'`("feet", [{off[0]:.1f}, {off[1]:.1f}])`'
    says("07", "follows", *flat, *(f"{each:.1f} cm" for each in off), answer)


# --- Lesson 08


def test_zeroed():
    rest, world = (turned("y", QUARTER, at, 0, 0) for at in (1, 3))
    values = solved("08", "zeroed")(rest, world)
    assert_allclose(values[:3, :3], np.eye(3), atol=1e-12)
    at = [place(frame[:3, 3]) for frame in (rest, world, values)]
    says("08", "zeroed", "90°", *at, f"{number(values[2, 3])} m")


def test_turn_about():
    pivot = np.array([0, 1, 0])
    world = solved("08", "turn_about")(np.eye(4), pivot, rotation.matrix_about("z", QUARTER))
    assert_allclose(frames.apply(world, pivot), pivot, atol=1e-12)
    says("08", "turn_about", "90°", place(pivot), "1 m", place(world[:3, 3]))


def test_pivot_at():
    _, moves = solved("08", "pivot_at", mine=inputs(up_deg=60, height=0.06, ahead=0.08))
    says("08", "pivot_at", "60°", "6 cm", "8 cm", *(f"by {move:.1f} cm" for move in moves))


def test_follow():
    leader, follower, now = shift(0, 0, 0), shift(0, 0, 1), turned("y", QUARTER, 5, 0, 0)
    there = solved("08", "follow")(leader, follower, now)
    assert_allclose(there[:3, :3], now[:3, :3], atol=1e-12)
    at = [place(frame[:3, 3]) for frame in (leader, follower, now, there)]
    says("08", "follow", *at, "90°", "1 m")


def test_gap_now():
    leader, values, world = shift(2, 0, 0), shift(0, 0, 1), shift(5, 0, 0)
    gap = solved("08", "gap_now")(leader, values, world)
    assert_allclose(leader @ gap @ values, world)
    at = [place(frame[:3, 3]) for frame in (leader, values, world, gap)]
    says("08", "gap_now", *at, "2 + 3 + 0 = 5", "0 − 1 + 1 = 0")


def test_moves():
    rig = inputs(
        controls=["pelvis", "hand", "cape", "lantern"],
        follows=["nothing", "nothing", "pelvis", "hand"],
        hem=(0.03, -0.6, -0.04),
        turned_deg=60,
        lowered_cm=12,
    )
    names, way = solved("08", "moves", rig=rig)
    assert names == ["cape"]
    radius = 100 * np.hypot(rig.hem[0], rig.hem[2])
    level = 2 * radius * np.sin(np.radians(60) / 2)
    ways = f"is {radius:.0f} cm", f"it {level:.0f} cm", f"makes {way:.1f} cm"
    says("08", "moves", "3 cm", "4 cm", "60°", "12 cm", *ways)


# --- Lesson 09


def test_pose_skin():
    thigh, rest, posed = shift(0, 1, 0), shift(0, 0.5, 0), shift(0, 0.5, 0.1)
    point, share = np.array([[0, 0.5, 0.04]]), np.array([0.25])
    frames_then, frames_now = np.stack([thigh, rest]), np.stack([thigh, posed])
    (after,) = solved("09", "pose_skin")(point, share, frames_then, frames_now)
    way = f"{100 * (after - point[0])[2]:.1f} cm"
    places = [place(at) for at in (rest[:3, 3], posed[:3, 3], point[0], after)]
    says("09", "pose_skin", *places, "10 cm", "0.25", way)


def test_four_weights():
    weights = np.array([4, 3, 2, 1, 0.5, 0])
    kept = solved("09", "four_weights")(weights)
    assert_allclose(kept, skin.prune(weights[None])[0] / weights.sum())
    *first, last = map(number, weights)
    *mended, end = map(number, kept)
    before, after = f"{', '.join(first)} and {last}", f"{', '.join(mended)} and {end}"
    says("09", "four_weights", before, f"add up to {weights[:4].sum():.0f}", after)


def test_twist_joints():
    limb = inputs(twist_deg=300, least_percent=50)
    largest, joints = solved("09", "twist_joints", limb=limb)
    assert_allclose(skin.blend_radius(0.5, np.radians(largest)), 0.5)
    most, times = f"given {largest:.1f}°", f"holds that {number(300 / largest)} times"
    words = "50 %", f"{largest / 2:.0f}°", most, "300°", times, f"needs {joints:.0f} joints"
    says("09", "twist_joints", *words)


def test_volume_lost():
    def lost(length):
        tube = mesh.tube(1, length)
        section = mesh.volume(tube.vertices, tube.triangles) / length
        wide = [np.sqrt([area / section, 1, area / section]) for area in (10, 7)]
        rod, squeezed = (mesh.volume(tube.vertices * each, tube.triangles) for each in wide)
        return f"{rod - squeezed:.0f} cm³"

    pieces = ["10 cm²", "4 cm long", "7 cm²", lost(4), "6 cm long", lost(6)]
    says("09", "volume_lost", *pieces)


def test_knee_weights():
    heights = np.array([8, 4, 0, -8])
    weights = (8 - heights) / (2 * 8)  # a plain ramp, unlike the solution between its ends
    solution = solved("09", "knee_weights")(heights, 8 / 1.5)
    assert_allclose(weights[[0, 2, 3]], solution[[0, 2, 3]])
    above, half, middle, below = map(number, weights)
    words = f"{above} at 8 cm", f"{half} at 4 cm", f"{middle} at", f"and {below} at 8 cm"
    says("09", "knee_weights", "8 cm to either side", *words)


def test_blend_turns():
    none, half = np.array([0, 0, 0, 1]), np.array([1, 0, 0, 0])
    turn = solved("09", "blend_turns")(none, half, 0.5)
    assert_allclose(turn[0], np.sin(QUARTER / 2))  # of a quarter turn about x
    words = "share of 0.5", *map(place, (none, half, 0.5 * none + 0.5 * half, turn))
    says("09", "blend_turns", *words)


def test_late_joint():
    def way(share):
        return solved("09", "late_joint", late=inputs(ahead_cm=3, up_cm=4, share=share))[1]

    whole = f"{way(1):.0f} cm"
    says("09", "late_joint", "3 cm", "4 cm", whole, f"{way(0.5):.2f} cm")


# --- Lesson 10


def test_footfalls():
    left, right = "011111100001", "110000111111"
    mine = inputs(left=tuple(map(int, left)), right=tuple(map(int, right)))
    toe_off, both = solved("10", "footfalls", mine=mine)
    counts = "10 frames", f"for {toe_off / 10:.0f} of", f"in {both / 10:.0f} of"
    says("10", "footfalls", left, right, *counts, f"{toe_off:.0f} %", f"{both:.0f} %")


def test_slide_cm():
    foot = np.array([[0, 0], [0.01, 0], [0.03, 0], [0.02, 0]])
    slide = solved("10", "slide_cm")(foot, np.zeros(4), np.ones(4))
    steps = 100 * np.abs(np.diff(foot[:, 0]))
    summed = " + ".join(map(number, steps))
    ends = f"ends {number(100 * (foot[-1, 0] - foot[0, 0]))} cm"
    says("10", "slide_cm", "0, 1, 3 and 2 cm", f"{summed} = {number(slide)} cm", ends)


def test_plant_foot():
    forward, down = np.array([0, 0.02, 0.5, 1.0]), np.array([1, 1, 0, 1])
    planted = 100 * solved("10", "plant_foot")(forward, down)
    *first, last = map(number, planted)
    one, two, air, end = planted - 100 * forward
    assert_allclose([air, end], [two / 2, 0], atol=1e-12)
    corrections = f"is {number(one)} and {number(two)} cm", f"{number(end)} in the second"
    given = "0, 2, 50 and 100 cm", "1, 1, 0, 1", f"half of {number(two)}"
    says("10", "plant_foot", *given, *corrections, f"{', '.join(first)} and {last} cm")


def test_hip_heights():
    left, right, pelvis = np.array([[0.6, 0]]), np.array([[-0.8, 0.1]]), np.zeros(1)
    heights = solved("10", "hip_heights")
    (hips,) = heights(left, right, pelvis, 0.6, 0.65, 0.8)
    (ahead,), (behind,) = (heights(foot, foot, pelvis, 0.6, 0.65, 0.8) for foot in (left, right))
    allowed = f"be {number(ahead)} m high", f"be {number(behind)} m.", f"to {number(hips)} m"
    given = "0.6 m and 0.65 m", "share of 0.8", "leg of 1 m", "0.6 m ahead", "0.8 m behind", "0.1 m"
    assert_allclose((0.6 + 0.65) * 0.8, 1)
    says("10", "hip_heights", *given, *allowed)


def test_count_pops():
    bent = np.array([50, 10, 40, 45])
    pops = solved("10", "count_pops")(np.radians(bent), 30)
    *first, last = (f"{turn}°" for turn in np.abs(np.diff(bent)))
    turns = f"by {', '.join(first)} and {last}"
    limit = "At 30 frames", "600°", f"are {600 / 30:.0f}° a frame"
    says("10", "count_pops", *limit, "50°, 10°, 40° and 45°", turns, "the 10°", f"{pops} pop")


def test_deciding_leg():
    mine = inputs(hips=0.95, front=(0.6, 0), back=(-0.8, 0.3), upper=0.5, lower=0.5, share=1)
    leg, down = solved("10", "deciding_leg", mine=mine)
    assert leg == "front"
    front, back = (up + np.sqrt(1 - ahead**2) for ahead, up in (mine.front, mine.back))
    given = "1 m long", "0.95 m", "0.6 m ahead", "0.8 m behind", "0.3 m up"
    allowed = f"allows {number(front)} m", f"allows {number(back)} m", f"{down:.1f} cm"
    says("10", "deciding_leg", *given, *allowed)


# --- Lesson 11


def test_carries():
    mine = inputs(roll_deg=[60], limit_deg=30, behind=0.2, toes=0.06)
    names, heel = solved("11", "carries", mine=mine)
    assert names == ["toe"]
    ball = 6 * np.sin(np.radians(30))
    heights = f"{ball:.1f} cm high", f"{heel - ball:.1f} cm higher", f"{heel:.1f} cm."
    says("11", "carries", "60°", "30°", "6 cm", "20 cm", *heights)


def test_rolled_ankle():
    ball, ankle = np.array([0.1, 0]), np.array([0, 0.1])
    heel, toe = np.array([-0.05, 0]), np.array([0.2, 0])
    there = solved("11", "rolled_ankle")(QUARTER, QUARTER, heel, ball, toe, ankle)
    says("11", "rolled_ankle", *map(place, (ball, ankle, there)), "90°", "0.1 m")


def test_hang():
    order, depth = solved("11", "hang", mine=inputs(roll_deg=30, limit_deg=40, toes=0.06))
    assert order.index("toe") < order.index("ball")
    says("11", "hang", "30°", "6 cm", f"{depth:.1f} cm")


def test_too_high():
    _, (slide, rise) = solved("11", "too_high", mine=inputs(roll_deg=30, height=0.02))
    depth = f"{2 - rise:.2f}"
    assert depth != f"{rise:.2f}"  # else the depth taken for the rise would look right
    words = "2 cm", "30°", f"{slide:.1f} cm", f"{depth} cm below", f"2 − {depth}", f"{rise:.1f} cm"
    says("11", "too_high", *words)


def test_toe_bend():
    def bend(turn_deg, slope_deg, limit_deg):
        angles = np.radians([turn_deg, slope_deg, limit_deg])
        return f"{number(np.degrees(solved('11', 'toe_bend')(*angles)))}°"

    level, limited = f"by {bend(20, 0, 40)},", f"15° by {bend(20, 0, 15)}."
    says("11", "toe_bend", "20°", level, limited, f"bend by {bend(20, -20, 40)}")


def test_above_floor():
    ankle, point = np.array([0, 0.05]), np.array([[0.1, 0]])
    lifted = solved("11", "above_floor")(ankle, QUARTER, point)
    depth = f"{number(lifted[1] - ankle[1])} m in the floor"
    says("11", "above_floor", place(ankle), "0.1 m", "90°", depth, place(lifted))


# --- Lesson 12


def test_my_rig():
    hip, ankle = np.array([0.1, 2]), np.array([0.2, 0])
    knee = (hip + ankle) / 2
    across, bone = knee[0] - hip[0], np.linalg.norm(knee - hip)
    words = f"{number(across)} m across and is {bone:.3f} m long", f"{1000 * (bone - 1):.0f} mm"
    given = "of 1 m", "hip 0.1 m", "ankle 0.2 m", f"across, {number(knee[0])} m", "1 m down", "5 mm"
    says("12", "my_rig", *given, *words)


def test_aslant():
    hip, knee, ankle = map(tuple, UPRIGHT)
    bad = inputs(hip=hip, knee=knee, ankle=ankle, axis=(1, 0, 1))
    _, off, square = solved("12", "aslant", bad=bad)
    assert_allclose(np.abs(square), [1, 0, 0])
    points = map(place, (*UPRIGHT, np.abs(square), bad.axis))
    says("12", "aslant", *points, f"{off:.1f}°")


def test_mend_knee():
    hip, knee, ankle, toe = np.array([[0, 2, 0], [0.3, 1, -0.2], [0, 0, 0], [0, -0.1, 0.2]])
    on_line, there = np.array([0, 1, 0]), np.array([0, 1, 0.04])
    mended = solved("12", "mend_knee")(hip, knee, ankle, toe)
    assert_allclose(np.cross(mended - on_line, there - on_line), 0, atol=1e-12)
    assert (mended - on_line) @ (there - on_line) > 0
    bend = np.degrees(rotation.angle_between(there - hip, ankle - there))
    says("12", "mend_knee", *map(place, (hip, knee, ankle, toe, on_line, there)), f"{bend:.1f}°")


def test_mend_mirrored():
    joint = np.diag([-1.0, 1, 1, 1])
    mended = solved("12", "mend_mirrored")(joint)
    axes = [f"{name} = {place(joint[:3, i])}" for i, name in enumerate("xyz")]
    before, after = (number(np.linalg.det(frame[:3, :3])) for frame in (joint, mended))
    kept = f"x = {place(mended[:3, 0])}"
    says("12", "mend_mirrored", *axes, f"determinant {before}", kept, f"it is {after}")


def test_mend_weights():
    weights = np.array([[0.5, 0.3, 0.1, 0, 0]])
    sides = np.array([1]), np.array([-1, 1, 1, 1, 0])
    (mended,) = solved("12", "mend_weights")(weights, *sides)
    becomes = f"becomes {number(mended[1])} and {number(mended[2])}"
    says("12", "mend_weights", "0.5", "0.3 and 0.1", "up to 0.4", becomes)


def test_bind_again():
    local = np.stack([shift(0, 1, 0), shift(0.1, 0, 0)])
    pelvis, hip = (matrix[:3, 3] for matrix in solved("12", "bind_again")(local))
    world = (local[0] @ local[1])[:3, 3]
    says("12", "bind_again", *map(place, (*local[:, :3, 3], world, pelvis, hip)))
