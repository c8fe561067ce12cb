"""Questions of lesson 10, a walk.

In the side view places are (forward, up) in metres, the floor at height 0. A foot's contact is 1 in
a frame in which it is down and 0 in the air; a step from one frame to the next counts as down when
it is down in both.
"""

from functools import partial
from itertools import pairwise

import numpy as np

from rigkit import gait
from rigkit.homework import picture
from rigkit.homework.judging import in_cm, number
from rigkit.homework.question import Hints, Misconception, Question, Verdict
from rigkit.puppets import PUPPETS

SHARE = 0.995  # of full reach
NEAR_DEG, FAST_DEG = 16.0, 600.0  # a pop: nearer to straight, and faster
ROOM_CM = 1.0  # by which a pelvis may ride lower than it need
LEGS = ("front", "back")


# --- When is a foot down?


def _draw_contacts(rng, character):
    stride = int(rng.integers(50, 71))
    down = [round(stride * rng.uniform(0.58, 0.66)) for _ in LEGS]
    first = (
        stride - down[0] + int(rng.integers(5, 13))
    )  # the recording begins with a foot that is down already
    frames = np.arange(first + stride + int(rng.integers(8, 15)))
    late = stride // 2 + int(rng.integers(-1, 2))
    return [
        {
            "left": (frames - first) % stride < down[0],
            "right": (frames - first - late) % stride < down[1],
        }
    ]


def _strikes(contacts):
    return np.flatnonzero((contacts[1:] > 0.5) & (contacts[:-1] < 0.5)) + 1


def _stride(left):
    """A stride's strike, its toe-off and the next strike, as frames."""
    start, end = _strikes(left)[:2]
    return start, start + int(np.argmin(left[start:])), end


def _phases(left, right, toe_off=None, both=None, stride=None):
    """Toe-off and the time with both feet down, in percent of a stride."""
    start, off, end = _stride(left)
    toe_off = off - start if toe_off is None else toe_off
    both = np.sum(left[start:end] * right[start:end]) if both is None else both
    return 100 * np.array([toe_off, both]) / (end - start if stride is None else stride)


def _judge_contacts(inputs, output):
    left, right = inputs["left"], inputs["right"]
    start, _, end = _stride(left)
    true, yours = _phases(left, right), np.array([float(output["toe off"]), float(output["both"])])
    near = np.abs(yours - true) <= 100 * 1.01 / (end - start)  # by a frame more or less
    measured = {
        "You say": f"toe-off at {number(yours[0])} %, both down for {number(yours[1])} %",
        "The left foot strikes in": f"frames {start} and {end}",
    }
    drawn = picture.side_view(
        "Your contacts, left above right",
        "Dots for the frames in which each foot is down, left above right.",
        *(
            picture.dots(
                np.column_stack([np.flatnonzero(row > 0.5) / 100, np.full(int(row.sum()), height)]),
                "inverse",
            )
            for row, height in ((left, 0.2), (right, 0.1))
        ),
        picture.arrow((start / 100, 0.0), (end / 100, 0.0), "one stride", "plain"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if near.all():
        return verdict(1.0, "a stride has one measure for both feet, and you used it.")
    advice = _both_advice(yours[1], end - start) if near[0] else _toe_off_advice(yours[0], left)
    return verdict(0.25 * float(near.sum()), advice)


def _toe_off_advice(percent, left):
    """A sentence on a wrong toe-off: which frame that is, and what the foot does there."""
    start, off, end = _stride(left)
    frame = start + round(percent / 100 * (end - start)) if abs(percent) <= 1e6 else start
    if not start < frame < end:
        return (
            f"{number(percent)} % of your stride is not within it: it is from the strike in frame"
            f" {start} to the next in frame {end}, {end - start} frames."
        )
    if abs(percent - 100 * (end - off) / (end - start)) <= 101 / (end - start):
        return (
            f"your toe-off, {number(percent)} %, is how long the left foot is in the air; the"
            " stride begins with it on the floor, and toe-off ends that time."
        )
    if frame == off:
        frame += 1 if percent > 100 * (off - start) / (end - start) else -1
    says = "in the air" if frame > off else "still down"
    return (
        f"your toe-off, {number(percent)} % of a stride that begins in frame {start}, lies"
        f" about frame {frame}, where the left foot is {says}; toe-off is the first frame in which"
        " it is up."
    )


def _both_advice(percent, frames):
    percent = float(np.clip(percent, -1e6, 1e6))
    return (
        "toe-off is right, the time with both feet down is not:"
        f" {number(percent)} % of {frames} frames would be {percent / 100 * frames:.1f}; count"
        " those of the stride in which both rows hold a 1."
    )


def _in_stride(row, left=None):
    """A foot's contacts in the stride of the left one, which is `row` if not given."""
    start, _, end = _stride(row if left is None else left)
    return row[start:end]


def _share_of_stance(left, right):
    start, off, _ = _stride(left)
    return _phases(left, right, stride=off - start)


def _share_of_step(left, right):
    start, _, _ = _stride(left)
    return _phases(left, right, stride=_strikes(right)[_strikes(right) > start][0] - start)


def _one_time_only(left, right):
    start, _, end = _stride(left)
    together = (left * right)[start:end]
    return _phases(
        left, right, both=int(np.argmin(together)) if together[0] else together.sum() / 2
    )


def _right_toe_off(left, right):
    start, _, end = _stride(left)
    return _phases(left, right, toe_off=int(np.argmin(right[start:end])))


CONTACTS = Question(
    "10",
    "footfalls",
    "when a foot leaves the floor, and how long both are down, in percent of a stride",
    "value",
    {"toe off": (), "both": ()},
    _draw_contacts,
    _judge_contacts,
    (
        Misconception(
            "percent of stance",
            _share_of_stance,
            "frames are divided by those of the stance; a stride lasts until the same foot strikes"
            " again",
        ),
        Misconception(
            "percent of a step",
            _share_of_step,
            "frames are divided by those up to the right foot's strike; that is a step, and a"
            " stride is two",
        ),
        Misconception(
            "whole recording",
            lambda left, right: _phases(left, right, left.sum(), np.sum(left * right), len(left)),
            "the whole recording is counted, which is more than one stride",
        ),
        Misconception(
            "from the first frame",
            lambda left, right: _phases(left, right, int(np.argmin(left))),
            "the stride is taken to begin with the recording; it begins when the foot comes down",
        ),
        Misconception(
            "swing for stance",
            lambda left, right: _phases(left, right, np.sum(_in_stride(left) < 0.5)),
            "the frames in the air are counted for the toe-off; it ends the time on the floor",
        ),
        Misconception(
            "zeros for ones",
            lambda left, right: _phases(
                left,
                right,
                np.sum(_in_stride(left) < 0.5),
                np.sum((_in_stride(left) < 0.5) & (_in_stride(right, left) < 0.5)),
            ),
            "the frames in the air are counted, 0 in the contacts; the foot is down where there"
            " is a 1",
        ),
        Misconception(
            "half a cycle forgotten",
            lambda left, right: _phases(left, right, both=_stride(left)[1] - _stride(left)[0]),
            "both feet are taken to come down together; they are half a stride apart",
        ),
        Misconception(
            "the right foot's toe-off",
            _right_toe_off,
            "the toe-off is the right foot's; the left one's was asked for",
        ),
        Misconception(
            "one of two times",
            _one_time_only,
            "both feet are down twice in a stride, and one of the times is missing",
        ),
        Misconception(
            "shares",
            lambda left, right: _phases(left, right) / 100,
            "shares of the stride are given; a percent is a hundredth of it",
        ),
    ),
    hints=Hints(
        "Write the numbers of the frames over both rows and mark where the left one goes from 0 to"
        " 1: between two such marks lies all that you count.",
        "A stride in percent",
        "Left 011111100001, right 110000111111: from the left foot's strike to its next one are 10"
        " frames. It is down for 6 of them, so its toe-off is at 60 %. Both feet are down in 2 of"
        " them, 20 %.",
    ),
)


# --- How far a foot slides

SLIDE_FRAMES = 30


def _draw_slide(rng, character):
    step = gait.pace(character.leg_length).step_length
    pelvis = round(float(rng.uniform(1, 4)), 2) + 2 * step * np.linspace(0, 1, SLIDE_FRAMES)

    def case(moves_cm, down):
        forward = pelvis[0] + 0.2 + np.cumsum(np.where(down, moves_cm, 100 * 2 * step / 12)) / 100
        up = np.where(down, 0.0, 0.06) + 0.004 * rng.uniform(0, 1, SLIDE_FRAMES)
        return {
            "foot": np.round(np.column_stack([forward, up]), 4),
            "pelvis": np.round(pelvis, 4),
            "down": down,
        }

    once, frames = np.arange(SLIDE_FRAMES) < 18, np.arange(SLIDE_FRAMES)
    twice = (frames < 9) | (frames >= 21)
    steady, wave = -rng.uniform(0.2, 0.6), rng.uniform(0.5, 1.2)
    return [
        case(0.0 * frames, once),  # planted
        case(np.full(SLIDE_FRAMES, steady), once),
        case(wave * np.sin(frames / 2.5), once),  # to and fro
        case(rng.uniform(-1, 0.6, SLIDE_FRAMES), twice),
        case(wave * np.cos(frames / 3), frames > -1),  # never lifted
        case(rng.uniform(-0.5, 1, SLIDE_FRAMES), (frames > 7) & (frames < 26)),
    ]


def _down_steps(down):
    return (down[1:] > 0.5) & (down[:-1] > 0.5)


def _slide_cm(foot, pelvis, down, counted=None):
    moved = np.abs(np.diff(foot[:, 0]))
    return 100 * float(np.sum(moved[_down_steps(down) if counted is None else counted]))


def _stances(down):
    """The runs of frames in which the foot is down."""
    frames = np.flatnonzero(down > 0.5)
    return np.split(frames, np.flatnonzero(np.diff(frames) > 1) + 1)


def _judge_slide(inputs, output):
    foot, down, yours, true = (
        inputs["foot"],
        inputs["down"],
        float(output["slide"]),
        _slide_cm(**inputs),
    )
    measured = {
        "You say": f"{number(yours)} cm",
        "The foot is down in": f"{int(down.sum())} of {len(down)} frames",
    }
    drawn = picture.side_view(
        "The foot of this case",
        "Dots where the foot is, frame by frame, red where it is down.",
        picture.dots(foot[down < 0.5] if (down < 0.5).any() else foot[:1], "soft"),
        picture.dots(foot[down > 0.5], "miss"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 0.02 + 1e-3 * true:
        return verdict(1.0, "every centimetre counts that a foot moves while it should stay.")
    return verdict(
        0.0,
        f"your slide is too {'long' if yours > true else 'short'}; go from frame to frame, and"
        " where the foot is down in both, add the way it went along the floor.",
    )


def _end_to_end(foot, pelvis, down):
    return 100 * sum(abs(foot[run[-1], 0] - foot[run[0], 0]) for run in _stances(down))


def _farthest(foot, pelvis, down):
    return 100 * sum(np.abs(foot[run, 0] - foot[run[0], 0]).max() for run in _stances(down))


def _with_height(foot, pelvis, down):
    return 100 * float(np.sum(np.linalg.norm(np.diff(foot, axis=0), axis=1)[_down_steps(down)]))


SLIDE = Question(
    "10",
    "slide_cm",
    "how far a foot slides along the floor while it is down",
    "function",
    {"slide": ()},
    _draw_slide,
    _judge_slide,
    (
        Misconception(
            "over the swing too",
            lambda foot, pelvis, down: _slide_cm(foot, pelvis, down, slice(None)),
            "the way through the air counts as well; a foot in swing may move",
        ),
        Misconception(
            "end to end",
            _end_to_end,
            "the straight way from a stance's first place to its last is measured; what slides to"
            " and fro comes back, and has slid all the same",
        ),
        Misconception(
            "farthest from its landing",
            _farthest,
            "the greatest distance from the landing is measured; a slide is the length of the"
            " whole way",
        ),
        Misconception(
            "from the pelvis",
            lambda foot, pelvis, down: _slide_cm(
                np.column_stack([foot[:, 0] - pelvis, foot[:, 1]]), pelvis, down
            ),
            "the foot is seen from the pelvis; it has to stay on the floor, which does not move"
            " along",
        ),
        Misconception(
            "height too", _with_height, "ups and downs count as well; a slide is along the floor"
        ),
        Misconception(
            "either end down",
            lambda foot, pelvis, down: _slide_cm(
                foot, pelvis, down, (down[1:] > 0.5) | (down[:-1] > 0.5)
            ),
            "steps in which the foot is lifted or put down count as well; it must be down in both"
            " frames",
        ),
        Misconception(
            "metres",
            lambda foot, pelvis, down: _slide_cm(foot, pelvis, down) / 100,
            "the slide is left in metres",
        ),
    ),
    hints=Hints(
        "Take two neighbouring frames at a time: does this pair count, and how far along the floor"
        " has the foot gone between them?",
        "How far does a foot slide?",
        "A foot is down in four frames, 0, 1, 3 and 2 cm forward: it slides by 1 + 2 + 1 = 4 cm,"
        " though it ends 2 cm from where it came down.",
    ),
)


# --- Plant a foot

PLANT_FRAMES = 41
HELD, STRAY = 1e-3, 0.01  # metres
STEEPEST = 2.5  # times the even change from frame to frame
LATE = 1.3  # an exponent: a drawn swing is fastest after its middle, so no plain ease is its path


def _draw_plant(rng, character):
    step = gait.pace(character.leg_length).step_length

    def case(slides_cm, offs, start=0.0):
        down, moves = np.ones(PLANT_FRAMES), slides_cm / 100
        moves[0] = start
        for a, b in offs:
            down[a:b] = 0.0
            moves[a : b + 1] = 2 * step * np.diff(_eased(np.linspace(0, 1, b - a + 2) ** LATE))
        return {"forward": np.round(np.cumsum(moves), 4), "down": down}

    frames = np.arange(PLANT_FRAMES)
    two = [(int(rng.integers(10, 14)), int(rng.integers(24, 28)))]
    three = [(8, 16), (25, 33)]
    return [
        case(np.full(PLANT_FRAMES, -rng.uniform(0.4, 0.9)), two),
        case(rng.uniform(0.4, 0.8) * np.sin(frames / 2), two, 5.0),
        case(-rng.uniform(0.2, 0.9, PLANT_FRAMES), three, -2.0),
        case(np.full(PLANT_FRAMES, rng.uniform(0.4, 0.9)), three),
        case(0.9 * np.cos(frames / 3) - 0.3, [(5, 15)], 1.0),
    ]


def _swings(down):
    """The last frame down before and the first after each time in the air."""
    return [(a[-1], b[0]) for a, b in pairwise(_stances(down))]


def _eased(share):
    """A share of the way, slow at both ends."""
    return share**2 * (3 - 2 * share)


def _planted(forward, down, ease=_eased):
    moved = np.zeros_like(forward)
    for run in _stances(down):
        moved[run] = forward[run[0]] - forward[run]
    for last, first in _swings(down):
        share = np.arange(1, first - last) / (first - last)
        moved[last + 1 : first] = moved[last] + ease(share) * (moved[first] - moved[last])
    return forward + moved


def _plant_picture(forward, yours, down):
    return picture.side_view(
        "Where the foot was, and yours below",
        "Dots where the foot was, frame by frame, and below them yours, red where it is down.",
        picture.dots(np.column_stack([forward, 0 * forward + 0.1]), "soft"),
        picture.dots(np.column_stack([yours, 0 * yours]), "inverse"),
        picture.dots(np.column_stack([yours, 0 * yours])[down > 0.5], "miss"),
    )


def _outside(places, ground):
    """The distance of the farthest place outside the ground that was covered."""
    return float(np.maximum(ground.min() - places, places - ground.max()).max())


def _judge_plant(inputs, output):
    forward, down, yours = inputs["forward"], inputs["down"], output["places"]
    runs = _stances(down)
    slid = max(float(np.ptp(yours[run])) for run in runs)
    away = max(_outside(yours[run], forward[run]) for run in runs)
    jump, stray = np.max([_off_path(forward, yours, *swing) for swing in _swings(down)], axis=0)
    measured = {
        "While it is down your foot moves by up to": in_cm(slid),
        "In the air your correction jumps by up to": in_cm(jump),
        "And leaves the range between its two ends by up to": in_cm(stray),
    }
    verdict = partial(Verdict, measured=measured, picture=_plant_picture(forward, yours, down))
    if slid <= HELD and away <= STRAY and max(jump, stray) <= 0:
        return verdict(
            1.0, "the foot stands where it stands, and nobody sees how it got to the next place."
        )
    if slid > HELD:
        return verdict(
            0.25 * (slid <= 10 * HELD),
            f"while it is down your foot still moves, by up to {in_cm(slid)}; "
            "in each stance all its frames belong in one place.",
        )
    if away > STRAY:
        return verdict(
            0.0,
            f"a foot is planted {in_cm(away)} outside the ground it covered; plant each stance "
            "where that stance came down.",
        )
    if stray > 0:
        return verdict(
            0.5,
            f"each stance stands, but in the air the foot is up to {in_cm(stray + STRAY)} off its"
            " own path: begin with where it was in each frame, and add a correction that stays"
            " between the two stances'.",
        )
    return verdict(
        0.5,
        "each stance stands, but in the air the foot jumps from the old correction to the new; let"
        " the correction change a little in every frame of the swing.",
    )


def _off_path(forward, yours, last, first):
    """By how much a swing's correction jumps, and strays from its ends, more than it may, m."""
    moved = (yours - forward)[last : first + 1]
    allowed = STEEPEST * abs(moved[-1] - moved[0]) / (first - last) + HELD
    low, high = sorted((moved[0], moved[-1]))
    strays = max(float(moved.max()) - high, low - float(moved.min())) - STRAY
    return max(float(np.abs(np.diff(moved)).max()) - allowed, 0.0), max(strays, 0.0)


def _swing_kept(forward, down):
    return np.where(down > 0.5, _planted(forward, down), forward)


def _swing_planted(forward, down):
    places = _planted(forward, down)
    for last, first in _swings(down):
        places[last:first] = places[last]
    return places


def _drawn_straight(forward, down):
    still = down > 0.5
    frames = np.arange(len(down))
    return np.interp(frames, frames[still], _planted(forward, down)[still])


def _air_planted(forward, down):
    places = forward.copy()
    for last, first in _swings(down):
        places[last + 1 : first] = forward[last + 1]
    return places


PLANT = Question(
    "10",
    "plant_foot",
    "where a foot should be so that it stays while it is down",
    "function",
    {"places": (PLANT_FRAMES,)},
    _draw_plant,
    _judge_plant,
    (
        Misconception(
            "swing left alone",
            _swing_kept,
            "the path through the air is left as it was, so the foot jumps when it leaves the"
            " floor",
        ),
        Misconception(
            "swing planted too",
            _swing_planted,
            "the foot stays until it comes down again; in swing it has to travel",
        ),
        Misconception(
            "a straight line through the air",
            _drawn_straight,
            "the foot goes evenly from one place to the next, and its own path through the air is"
            " lost: a swing sets off and arrives slowly",
        ),
        Misconception(
            "planted in the air",
            _air_planted,
            "the foot is held where it should swing and slides where it should stay",
        ),
        Misconception(
            "first landing for ever",
            lambda forward, down: 0 * forward + forward[0],
            "every stance is planted where the first one was; the puppet walks on",
        ),
        Misconception(
            "sign of the correction",
            lambda forward, down: 2 * forward - _planted(forward, down),
            "the correction is taken the wrong way, and the foot slides twice as far",
        ),
    ),
    hints=Hints(
        "Draw the correction over the frames, where the foot should be less where it was: what is"
        " it in each stance, and what must it join in the air?",
        "Plant the foot",
        "Forward 0, 2, 50 and 100 cm, contacts 1, 1, 0, 1. The correction is 0 and −2 cm in the"
        " first stance, 0 in the second, and in the middle of the air half of −2. So the foot"
        " should be at 0, 0, 49 and 100 cm.",
    ),
)


# --- A pelvis within reach

HIPS_FRAMES = 20


def _draw_hips(rng, character):
    walkers = [
        (character, 0.70),
        (character, 0.80),
        (PUPPETS["Odo"], 0.72),
        (PUPPETS["Pip"], 0.76),
        (character, float(rng.uniform(0.6, 0.8))),
        (PUPPETS["Tamsin"], float(rng.uniform(0.6, 0.8))),
    ]
    cases = []
    for puppet, step in walkers:
        walk = gait.walk(puppet, step_length=step * puppet.leg_length, frames=HIPS_FRAMES, cycles=1)
        start = [round(float(rng.uniform(2, 6)), 2), 0.0]
        left, right = (
            np.round(gait.foot_goals(walk)[:-1, side, [2, 1]] + start, 4) for side in (0, 1)
        )
        cases.append(
            {
                "left": left,
                "right": right,
                "pelvis": np.round(walk.pelvis[:-1, 2] + start[0], 4),
                "upper": puppet.thigh,
                "lower": puppet.shank,
                "share": SHARE,
            }
        )
    return cases


def _rooms(left, right, pelvis, upper, lower, share):
    """Greatest heights of the hips for the left and for the right leg, shape (2, n)."""
    feet = np.stack([left, right])
    ahead = feet[..., 0] - pelvis
    return feet[..., 1] + np.sqrt(np.maximum((share * (upper + lower)) ** 2 - ahead**2, 0.0))


def _judge_hips(inputs, output):
    yours, rooms = output["heights"], _rooms(**inputs)
    over = yours - rooms
    side, frame = np.unravel_index(np.argmax(over), over.shape)
    too_high, too_low = float(over.max()), float((rooms.min(axis=0) - yours).max())
    if too_high <= 1e-4:
        frame = np.argmax(rooms.min(axis=0) - yours)
    hips = np.array([inputs["pelvis"][frame], yours[frame]])
    measured = {
        "A leg falls short by up to": f"{in_cm(max(too_high, 0))} of pelvis height",
        "Your pelvis is lower than it need be by up to": in_cm(max(too_low, 0)),
    }
    drawn = picture.side_view(
        f"Your hips in frame {frame}",
        "Straight lines from your hips to both feet in the side view.",
        *(picture.ghost([hips, inputs[leg][frame]]) for leg in ("left", "right")),
        picture.dots([hips], "inverse"),
        picture.goal(inputs[("left", "right")[side]][frame]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if too_high <= 1e-4 and 100 * too_low <= ROOM_CM:
        return verdict(
            1.0, "both feet are within reach in every frame, and no knee is bent for nothing."
        )
    if too_high <= 1e-4:
        return verdict(
            0.5 if too_low <= 0.05 else 0.25,
            "no leg is too short, but the pelvis is lower than it need "
            f"be, by {in_cm(too_low)}; ask in every frame anew what the legs allow.",
        )
    return verdict(
        0.25 if too_high <= 0.005 else 0.0,
        f"in frame {frame} the {('left', 'right')[side]} leg does not reach: the pelvis is"
        f" {in_cm(too_high)} too high for it. Each leg, its foot's place and its share of full"
        " reach make a right-angled triangle.",
    )


def _hips(change):
    """A wrong pelvis path from the two legs' rooms, shape (2, n)."""
    return lambda *case: change(_rooms(*case))


PELVIS = Question(
    "10",
    "hip_heights",
    "the heights of the hips that keep both legs within reach of their feet",
    "function",
    {"heights": (HIPS_FRAMES,)},
    _draw_hips,
    _judge_hips,
    (
        Misconception(
            "left leg only",
            _hips(lambda rooms: rooms[0]),
            "only the left leg is asked; the right one has a foot to reach as well",
        ),
        Misconception(
            "the higher of two",
            _hips(lambda rooms: rooms.max(axis=0)),
            "the leg that allows more decides; then the other one is too short",
        ),
        Misconception(
            "mean of both",
            _hips(lambda rooms: rooms.mean(axis=0)),
            "the mean of what both legs allow is taken; one of them is then too short",
        ),
        Misconception(
            "one height for all",
            _hips(lambda rooms: np.full(HIPS_FRAMES, rooms.min())),
            "one height, the lowest, serves for all frames; what a leg allows changes from frame to"
            " frame",
        ),
        Misconception(
            "full reach",
            lambda left, right, pelvis, upper, lower, share: _rooms(
                left, right, pelvis, upper, lower, 1.0
            ).min(axis=0),
            "the legs are stretched to full reach, not to the share of it that was given",
        ),
        Misconception(
            "feet on the floor",
            lambda left, right, *rest: _rooms(left * [1, 0], right * [1, 0], *rest).min(axis=0),
            "the ankle's height above the floor is left out",
        ),
        Misconception(
            "from the world's origin",
            lambda left, right, pelvis, *rest: _rooms(left, right, 0 * pelvis, *rest).min(axis=0),
            "feet are taken to be as far ahead as they are from the world's origin; what counts is"
            " how far they are from the hips",
        ),
        Misconception(
            "straight down",
            lambda left, right, pelvis, upper, lower, share: (
                share * (upper + lower) + np.minimum(left[:, 1], right[:, 1])
            ),
            "the legs are taken to hang straight down; a foot ahead or behind takes height",
        ),
    ),
    hints=Hints(
        "Stop at one frame and draw one leg, as long as it may be, as the long side of a"
        " right-angled triangle: which other side do you know, and what does the second leg say?",
        "Further: a pelvis within reach",
        "Bones of 0.6 m and 0.65 m with a share of 0.8 are a leg of 1 m. An ankle 0.6 m ahead, on"
        " the floor, lets the hips be 0.8 m high; one 0.8 m behind and 0.1 m up lets them be 0.7"
        " m. So the hips go to 0.7 m.",
    ),
)


# --- Count the pops


def _draw_pops(rng, character):
    def case(rate, *pieces):
        quick, knee = FAST_DEG / rate, [40.0]
        for piece in pieces:
            for goal, steps in {
                "in": ((2.4 * quick, 0), (0, 2)),
                "out": ((0, 0), (2.5 * quick, 2)),
                "snap": ((17, 0), (17 - 1.3 * quick, 1)),
                "slow": ((14, 0), (1, 0)),
                "far": ((24, 0), (24 + 3.9 * quick, 3)),
            }[piece]:
                goal = max(goal, 0.0)
                count = steps or max(2, int(np.ceil(abs(goal - knee[-1]) / (0.75 * quick))))
                knee += (knee[-1] + (goal - knee[-1]) * np.arange(1, count + 1) / count).tolist()
            knee += [knee[-1]] * int(rng.integers(1, 4))
        return {"knee": np.round(np.radians(knee), 5), "rate": float(rate)}

    kinds = ["in", "out", "snap", "slow", "far"]
    return [
        case(60, "in", "out", "far", "snap"),
        case(120, "far", "slow", "far"),
        case(100, "slow", "in", "far", "out"),
        case(50, *rng.permutation([*kinds, "snap", "slow"])),
        case(120, *rng.permutation([*kinds, "in", "out"])),
        case(200, *rng.permutation([*kinds, *kinds, "slow"])),
    ]


def _runs(steps):
    return int(np.sum(steps & ~np.concatenate([[False], steps[:-1]])))


def _fast(knee, rate):
    return np.abs(np.diff(np.degrees(knee))) * rate > FAST_DEG


def _near(knee, ends=np.minimum):
    bent = np.abs(np.degrees(knee))
    return ends(bent[1:], bent[:-1]) < NEAR_DEG


def _pops(knee, rate):
    return _runs(_fast(knee, rate) & _near(knee))


def _judge_pops(inputs, output):
    knee, rate, yours, true = inputs["knee"], inputs["rate"], float(output["pops"]), _pops(**inputs)
    measured = {
        "You count": number(yours),
        "The fastest step turns the knee by": (
            f"{np.degrees(np.abs(np.diff(knee)).max()):.1f}° in 1/{rate:g} of a second"
        ),
    }
    drawn = picture.side_view(
        "The knee of this case",
        "Dots of the knee's flexion, frame by frame from left to right; the higher, the more bent.",
        picture.dots(np.column_stack([0.02 * np.arange(len(knee)), knee]), "inverse"),
        picture.note((0.0, 0.0), "0°", "soft"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if yours == true:
        return verdict(1.0, "you count what the eye sees: each snap once.")
    return verdict(
        0.0,
        f"that is too {'many' if yours > true else 'few'}; ask of each step whether it is fast and "
        "whether it is near straight, then count runs of such steps.",
    )


POPS = Question(
    "10",
    "count_pops",
    "how often a knee snaps straight, or out of straight",
    "function",
    {"pops": ()},
    _draw_pops,
    _judge_pops,
    (
        Misconception(
            "every step",
            lambda knee, rate: int(np.sum(_fast(knee, rate) & _near(knee))),
            "every fast step counts by itself; steps in a row are one pop",
        ),
        Misconception(
            "fast anywhere",
            lambda knee, rate: _runs(_fast(knee, rate)),
            "fast turns of a well-bent knee count as well; a pop happens near straight",
        ),
        Misconception(
            "straight and slow",
            lambda knee, rate: _runs(_near(knee)),
            "every visit near straight counts, however slow",
        ),
        Misconception(
            "only straightening",
            lambda knee, rate: _runs(_fast(knee, rate) & _near(knee) & (np.diff(knee) < 0)),
            "only knees that snap straight count; snapping out of straight is a pop as well",
        ),
        Misconception(
            "rate left out",
            lambda knee, rate: _pops(knee, 100.0),
            "the frames are taken to be a hundredth of a second apart, whatever the rate",
        ),
        Misconception(
            "both ends near",
            lambda knee, rate: _runs(_fast(knee, rate) & _near(knee, np.maximum)),
            "both ends of a step have to be near straight; one is enough",
        ),
        Misconception(
            "radians",
            lambda knee, rate: _runs((np.abs(np.diff(knee)) * rate > FAST_DEG) & _near(knee)),
            "the knee's radians are compared with degrees, and nothing is fast enough",
        ),
    ),
    hints=Hints(
        "First decide for each step, yes or no, whether it is part of a pop; only then count, and"
        " ask where a row of yeses begins.",
        "Further: half a centimetre",
        "At 30 frames a second, 600° a second are 20° a frame. A knee bent by 50°, 10°, 40° and"
        " 45° turns by 40°, 30° and 5°. The first two steps are fast and have the 10° at one end,"
        " and they are neighbours: 1 pop.",
    ),
)


# --- Which leg decides


def _draw_decides(rng, character):
    length, ankle = character.leg_length, character.ankle_height
    near, far = rng.uniform(0.30, 0.36), rng.uniform(0.02, 0.05)
    allowed = ankle + _drop(
        near * length, length
    )  # by the leg that decides, whose foot is less far away
    less = rng.uniform(0.013, 0.022)  # half of it is clear of what full reach gives, up to 0.5 cm
    up = allowed + less - _drop((near + far) * length, length)
    hips = allowed + rng.uniform(0.03, 0.05)
    feet = [(near * length, ankle), ((near + far) * length, up)][:: int(rng.choice([1, -1]))]
    places = {
        leg: np.round([sign * ahead, up], 3)
        for leg, sign, (ahead, up) in zip(LEGS, (1, -1), feet, strict=True)
    }
    return [
        {
            "hips": round(hips, 3),
            **places,
            "upper": character.thigh,
            "lower": character.shank,
            "share": SHARE,
        }
    ]


def _drop(ahead, reach, share=SHARE):
    return np.sqrt((share * reach) ** 2 - ahead**2)


def _lower_cm(hips, front, back, upper, lower, share):
    """By how much the hips must come down for each leg, cm."""
    feet = np.array([front, back])
    return 100 * (hips - feet[:, 1] - _drop(feet[:, 0], upper + lower, share))


def _decides(choose=np.argmax, number=None):
    """An answer from what each leg asks for: which leg, and what it says in cm."""

    def answer(*case):
        asked = _lower_cm(*case)
        leg = int(choose(asked))
        return LEGS[leg], float(asked[leg] if number is None else number(asked, leg, *case))

    return answer


def _judge_decides(inputs, output):
    asked = _lower_cm(**inputs)
    leg, yours = LEGS.index(output["leg"]), float(output["lower"])
    right, near = leg == int(np.argmax(asked)), abs(abs(yours) - asked.max()) <= 0.0501
    hips = np.array([0.0, inputs["hips"]])
    short = np.hypot(*(inputs[LEGS[leg]] - hips)) - inputs["share"] * (
        inputs["upper"] + inputs["lower"]
    )
    measured = {
        "You say": f"the {LEGS[leg]} leg, {number(yours)} cm lower",
        "Of its share of reach this leg lacks": f"{in_cm(short)} along its own line",
    }
    drawn = picture.side_view(
        "Your hips, and both ankles",
        "Straight lines from the hips to the front and the back ankle, in the side view.",
        *(picture.ghost([hips, inputs[name]]) for name in LEGS),
        *(picture.note(inputs[name], name) for name in LEGS),
        picture.dots([hips], "inverse"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right and near:
        return verdict(1.0, "you asked both legs, and the one that needs more decides.")
    if right:
        return verdict(
            0.3,
            "the leg is right, the height is not: keep each foot where it is, move the hips"
            " straight down, and stop when the leg is within its share.",
        )
    return verdict(
        0.3 if near else 0.0,
        "the other leg needs the hips lower still; compute both heights, not only how "
        "far ahead or behind a foot is.",
    )


def _to_full_reach(asked, leg, hips, front, back, upper, lower, share):
    return _lower_cm(hips, front, back, upper, lower, 1.0)[leg]


def _along(asked, leg, hips, front, back, upper, lower, share):
    return 100 * (np.hypot(*((front, back)[leg] - np.array([0.0, hips]))) - share * (upper + lower))


DECIDES = Question(
    "10",
    "deciding_leg",
    "which leg decides how low the pelvis must go, and by how much",
    "value",
    {"leg": LEGS, "lower": ()},
    _draw_decides,
    _judge_decides,
    (
        Misconception(
            "the farther foot",
            _decides(np.argmin),
            "the foot that is farther ahead or behind decides; how high an ankle stands counts as"
            " well",
        ),
        Misconception(
            "along the leg",
            _decides(number=_along),
            "what the leg lacks along its own line is taken for the way straight down",
        ),
        Misconception(
            "full reach",
            _decides(number=_to_full_reach),
            "the leg is stretched to full reach, not to its share of it",
        ),
        Misconception(
            "ankle height left out",
            lambda hips, front, back, *rest: _decides()(hips, front * [1, 0], back * [1, 0], *rest),
            "the ankles are taken to lie on the floor",
        ),
        Misconception(
            "mean of both",
            _decides(number=lambda asked, leg, *case: asked.mean()),
            "the mean of what both legs ask for is taken; the worse one is then still too short",
        ),
        Misconception(
            "metres",
            _decides(number=lambda asked, leg, *case: asked[leg] / 100),
            "the height is left in metres",
        ),
    ),
    hints=Hints(
        "Ask each leg by itself how high it would let the hips be, and see which of the two"
        " answers has to be obeyed.",
        "Further: a pelvis within reach",
        "A leg may be 1 m long and the hips are 0.95 m high. The front ankle, 0.6 m ahead and on"
        " the floor, allows 0.8 m; the back one, 0.8 m behind and 0.3 m up, allows 0.9 m. So the"
        " front leg decides, though its foot is nearer: 15.0 cm down.",
    ),
)


QUESTIONS = (CONTACTS, SLIDE, PLANT, PELVIS, POPS, DECIDES)
