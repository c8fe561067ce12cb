"""The closed form beside general robotics solvers, in one run.

One leg of three hinges (the hip swings and flexes, the knee flexes), the same random goals in
reach, position only, to 1e-9 m. The others are warm-started from the true angles, each put off by
some 1°, as when a slider moves. Their Python wrapping is part of their time, as our checks are part
of ours. Rounds are interleaved, so that a busy machine slows all alike. What is not installed is
left out: `pip install "rigkit[bench]"`.
"""

from statistics import median

import numpy as np

from rigkit import rotation, two_bone
from tests.benchmarks.figures import Missing, compared, take_turns

UPPER, LOWER, TOLERANCE = 0.43, 0.42, 1e-9
GOALS, BATCH, ROUNDS = 200, 10_000, 30
ONE, MANY = "two_bone.solve, one leg", "two_bone.solve, one of 10,000"


def measure():
    rng = np.random.default_rng(6)
    angles = rng.uniform([-0.5, -1.2, 0.1], [0.5, 0.5, 2.2], (GOALS, 3))
    starts = angles + rng.normal(scale=np.radians(1), size=angles.shape)
    goals = end_of(angles)
    poles = goals + [0.0, 0.3, 1.0]
    solvers = {ONE: ours_one_by_one(goals, poles), MANY: ours_at_once(rng, goals, poles)}
    for name, build in OTHERS.items():
        try:
            solvers[name] = build(goals, starts, angles)
        except ImportError as missing:
            print(f"left out: {name} ({missing})")
    others = [name for name in OTHERS if name in solvers]
    if not others:
        raise Missing("no other solver is installed")

    counts = {}
    for name, solve in solvers.items():
        miss = np.linalg.norm(solve(), axis=-1)
        assert miss.max() < 10 * TOLERANCE, f"{name} missed its goal by {miss.max():.1e} m"
        counts[name] = len(miss)
    times = {
        name: [time / counts[name] for time in taken]
        for name, taken in take_turns(solvers, ROUNDS).items()
    }
    fastest = min(others, key=lambda name: median(times[name]))
    return [
        compared(name, times[name], other, times[other], unit="µs", detail=other != fastest)
        for name in (ONE, MANY)
        for other in others
    ]


def end_of(angles):
    """The ankle for (swing about z, turn about x, knee about x), the hip at the origin."""
    swing, hip, knee = np.moveaxis(angles, -1, 0)
    thigh = rotation.matrix_about("z", swing) @ rotation.matrix_about("x", hip)
    shank = thigh @ rotation.matrix_about("x", knee)
    return -UPPER * thigh[..., 1] - LOWER * shank[..., 1]


def ours_one_by_one(goals, poles):
    hip = np.zeros(3)
    pairs = list(zip(goals, poles, strict=True))
    return lambda: (
        [two_bone.solve(hip, goal, UPPER, LOWER, pole).ankle for goal, pole in pairs] - goals
    )


def ours_at_once(rng, goals, poles):
    many = rng.integers(GOALS, size=BATCH)
    hips = rng.normal(scale=0.1, size=(BATCH, 3))
    ankles, poles = hips + goals[many], hips + poles[many]
    return lambda: two_bone.solve(hips, ankles, UPPER, LOWER, poles).ankle - ankles


def _miss(angles, goals):
    return end_of(np.array(angles)) - goals


def _toolbox(method, **options):
    def build(goals, starts, _):
        from roboticstoolbox import ET

        chain = ET.Rz() * ET.Rx() * ET.ty(-UPPER) * ET.Rx() * ET.ty(-LOWER)
        frames = np.tile(np.eye(4), (len(goals), 1, 1))
        frames[:, :3, 3] = goals
        mask = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
        solve = getattr(chain, method)  # its tolerance is on half the squared error
        asked = dict(tol=TOLERANCE**2 / 2, mask=mask, joint_limits=False, **options)

        def run():
            found = [
                solve(frame, start, **asked).q for frame, start in zip(frames, starts, strict=True)
            ]
            return _miss(found, goals)

        return run

    return build


def _pinocchio(goals, starts, _):
    """Newton's steps by hand around the compiled forward chain and Jacobian, as its manual's
    examples do."""
    import pinocchio as pin

    model = pin.Model()
    joint = 0
    for kind, offset in (
        (pin.JointModelRZ(), 0.0),
        (pin.JointModelRX(), 0.0),
        (pin.JointModelRX(), -UPPER),
    ):
        place = pin.SE3(np.eye(3), np.array([0.0, offset, 0.0]))
        joint = model.addJoint(joint, kind, place, f"joint {joint}")
    ankle = model.addFrame(
        pin.Frame(
            "ankle", joint, pin.SE3(np.eye(3), np.array([0.0, -LOWER, 0.0])), pin.FrameType.OP_FRAME
        )
    )
    data = model.createData()

    def solve(goal, start):
        angles = start
        for _ in range(30):
            pin.forwardKinematics(model, data, angles)
            pin.updateFramePlacement(model, data, ankle)
            error = goal - data.oMf[ankle].translation
            if error @ error < TOLERANCE**2:
                break
            jacobian = pin.computeFrameJacobian(
                model, data, angles, ankle, pin.LOCAL_WORLD_ALIGNED
            )[:3]
            angles = angles + np.linalg.solve(jacobian, error)
        return angles

    return lambda: _miss([solve(*pair) for pair in zip(goals, starts, strict=True)], goals)


def _ikpy(goals, starts, _):
    from ikpy.chain import Chain
    from ikpy.link import OriginLink, URDFLink

    def link(offset, axis):
        return URDFLink(f"{offset}{axis}", [0, offset, 0], [0, 0, 0], rotation=axis)

    chain = Chain(
        [
            OriginLink(),
            link(0, [0, 0, 1]),
            link(0, [1, 0, 0]),
            link(-UPPER, [1, 0, 0]),
            URDFLink("ankle", [0, -LOWER, 0], [0, 0, 0], joint_type="fixed"),
        ],
        active_links_mask=[False, True, True, True, False],
    )

    def solve(goal, start):
        return chain.inverse_kinematics(goal, initial_position=[0, *start, 0])[1:4]

    return lambda: _miss(
        [solve(*pair) for pair in zip(goals[:20], starts[:20], strict=True)], goals[:20]
    )


def _modern_robotics(goals, starts, angles):
    """It knows no position-only goals, so it is given the whole end frame."""
    import modern_robotics as mr

    screws = np.array(
        [[0, 0, 1, 0, 0, 0], [1, 0, 0, 0, 0, 0], [1, 0, 0, 0, 0, UPPER]], dtype=float
    ).T
    home = np.eye(4)
    home[1, 3] = -UPPER - LOWER
    frames = [mr.FKinSpace(home, screws, true) for true in angles[:20]]

    def solve(frame, start):
        return mr.IKinSpace(screws, home, frame, start, TOLERANCE, TOLERANCE)[0]

    return lambda: _miss(
        [solve(*pair) for pair in zip(frames, starts[:20], strict=True)], goals[:20]
    )


# roboticstoolbox's ik_NR is not here: with three joints and a position-only goal it never arrived
# (version 1.5.0).
OTHERS = {
    "roboticstoolbox ik_LM (compiled)": _toolbox("ik_LM"),
    "roboticstoolbox ik_GN (compiled)": _toolbox("ik_GN", pinv=True),
    "pinocchio, Newton's steps": _pinocchio,
    "modern_robotics IKinSpace": _modern_robotics,
    "ikpy": _ikpy,
}
