"""The picture at the top of README.md, which walks: `svg()`.

Forward legs slide above, inverse legs stand below. Every part is drawn once and moved by keyframes,
of which the right leg's are half a stride late; the floor and the marks of the feet run past below.
Without animation, or for a reader who wants less motion, it is one good moment.
"""

import numpy as np

from rigkit import foot, gait, puppets
from rigkit.scenes.bodies import draw_body, height, level_hips
from rigkit.scenes.forward_and_inverse import slid_cm
from rigkit.stage import INKS, Stage
from rigkit.stage.inks import CARD_STYLE
from rigkit.stage.labels import heading_markup
from rigkit.stage.markup import number, words
from rigkit.stage.outlines import bone

WIDTH, SCALE, MARGIN = 640, 130, 14  # px; px to the metre; px
WALKER = 400  # px from the left: where the hips stay
SECONDS = 2.2  # of a stride: half the speed of an adult's
KEYS = 48  # keyframes to a stride
FRAMES = 3 * KEYS  # computed ones, for the moments of landing and leaving
STILL = 0.55  # of the stride: the moment without animation, the left foot about to leave
STRIDES = 3  # that a mark on the floor is seen
HEAD, UNDER, GAP = 38, 42, 10  # px above a walker, of floor below it, and between both

TITLE = "Leg rigging: forward legs slide, inverse legs stand"
DESC = (
    "A walking puppet from the side, twice, above each other, in step. Her forward legs, posed from"
    " published joint angles, slide {cm:.0f} centimetres in every step, as a bar beside each foot's"
    " mark on the floor shows. Her inverse legs, posed from where the feet must be, stay on theirs."
)


def svg():
    """The picture as a file's text."""
    puppet = puppets.PUPPETS["Tamsin"]
    forward = gait.walk(puppet, frames=FRAMES, cycles=2)
    cm = slides_cm(forward)[-1]
    heads = {
        "forward": f"Forward legs: every step slides {cm:.0f} cm",
        "inverse": "Inverse legs: the foot stays",
    }
    walkers = {"forward": forward, "inverse": gait.plant(forward)}
    floor = HEAD + round(SCALE * (puppet.hip_height + height(puppet)))
    rules, drawn, tall = "", "", floor + UNDER
    for i, (kind, walk) in enumerate(walkers.items()):
        heading, _ = heading_markup(heads[kind], WIDTH, (kind,))
        drawn += (
            f'<svg y="{i * (tall + GAP)}" width="{WIDTH}" height="{tall}">{heading}'
            f'<g transform="translate({WALKER} {floor})">{_walker(walk, kind)}</g></svg>'
        )
        rules += "".join(_rules(walk, kind[0]))
    return _file(drawn, rules, 2 * tall + GAP, DESC.format(cm=cm))


def _file(drawn, rules, tall, desc):
    dark = "".join(f"--{name}:{pair[1]};" for name, pair in INKS.items())
    size = f"{WIDTH + 2 * MARGIN} {tall + 2 * MARGIN}"
    still = "prefers-reduced-motion:no-preference"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rig" viewBox="{-MARGIN} {-MARGIN} {size}"'
        f' width="{size.split()[0]}" height="{size.split()[1]}" role="img"><title>{words(TITLE)}'
        f"</title><desc>{words(desc)}</desc><style>{CARD_STYLE}"
        f"@media screen and (prefers-color-scheme:dark){{.rig{{{dark}}}}}"
        f".paper{{fill:var(--paper)}}@media ({still}){{"
        f".m{{animation:{SECONDS}s linear infinite}}.r{{animation-delay:-{SECONDS / 2}s}}"
        f".mark,.bar{{animation-duration:{SECONDS * STRIDES:g}s}}{rules}}}</style>"
        f'<rect class="paper" x="{-MARGIN}" y="{-MARGIN}" width="100%" height="100%" rx="8"/>'
        f"{drawn}</svg>\n"
    )


# What moves


def turns(walk):
    """The left leg's and the body's parts in each keyframe of a stride, by name.

    Each has a place from the point on the floor below the hips, px to the right and down, and a
    turn, clockwise in degrees; shape (KEYS + 1, 3).
    """
    shown = slice(FRAMES, 2 * FRAMES + 1, FRAMES // KEYS)
    pelvis = walk.pelvis[shown]
    hip, knee, ankle, heel, ball, toe = np.moveaxis(
        walk.points[shown, 0][..., [2, 1]] - pelvis[:, None, 2:] * [1, 0], 1, 0
    )
    return {
        "body": _placed(pelvis[:, [2, 1]] * [0, 1], 0 * pelvis[:, 0]),
        "thigh": _placed(hip, _turn(knee - hip, down=True)),
        "shank": _placed(knee, _turn(ankle - knee, down=True)),
        "foot": _placed(ball, _turn(ball - heel)),
        "toe": _placed(ball, _turn(toe - ball)),
    }


def slides_cm(walk):
    """How far the left foot has slid in each frame from coming down to leaving, cm."""
    slid = slid_cm(walk.points, walk.stance)[FRAMES : 2 * FRAMES, 0]
    return slid[np.isfinite(slid)]


def _stride(walk):
    """The length of a stride, px."""
    return 2 * walk.step_length * SCALE


def _turn(way, down=False):
    """Clockwise angles of directions from straight ahead or straight down, degrees."""
    x, y = way.T
    return np.degrees(np.unwrap(np.arctan2(-x, -y) if down else np.arctan2(-y, x)))


def _placed(points, degrees):
    return np.column_stack([points * [SCALE, -SCALE], degrees])


def _move(x, y, degrees, unit=""):
    """A place and a turn, as an attribute or, with units, as CSS."""
    px, deg, comma = ("px", "deg", ",") if unit else ("", "", " ")
    turn = f"rotate({number(degrees)}{deg})" if round(degrees, 1) else ""
    return f"translate({number(x)}{px}{comma}{number(y)}{px}){turn}"


def _rules(walk, name):
    """The keyframes of a walker, and of its floor."""
    for part, moves in turns(walk).items():
        steps = "".join(
            f"{100 * i / KEYS:.4g}%{{transform:{_move(*move, 'css')}}}"
            for i, move in enumerate(moves)
        )
        yield f"@keyframes {name}-{part}{{{steps}}}.{name}-{part}{{animation-name:{name}-{part}}}"
    if walk.planted:  # both walk at one speed, over floors alike
        return
    stands = (len(slides_cm(walk)) - 1) / FRAMES
    for what, ages in (
        ("floor", (0, 1)),
        ("mark", (0, STRIDES)),
        ("bar", (*np.linspace(0, stands, 13), STRIDES)),
    ):
        steps = "".join(
            f"{100 * age / ages[-1]:.4g}%{{transform:{_aged(walk, what, age, 'css')}}}"
            for age in ages
        )
        yield f"@keyframes {what}{{{steps}}}.{what}{{animation-name:{what}}}"


# What is drawn


def _walker(walk, kind):
    """A walker over the floor, from the point below the hips."""
    moves = {part: _still(values) for part, values in turns(walk).items()}
    late = {
        part: _still(np.roll(values[:-1], KEYS // 2, 0)) for part, values in turns(walk).items()
    }
    return (
        _floor(walk)
        + _marks(walk, kind)
        + _moving(f"{kind[0]}-body", moves["body"], _body(walk.puppet))
        + _leg(walk.puppet, kind, moves, "")
        + _leg(walk.puppet, kind, late, " r")
    )


def _still(values):
    return values[round(STILL * KEYS)]


def _moving(names, move, drawn):
    return f'<g class="m {names}" transform="{_move(*move)}">{drawn}</g>'


def _body(puppet):
    stage = Stage("side", (-1.0, -1.0), (1.0, 1.0), width=2 * SCALE)
    draw_body(stage, puppet, level_hips(puppet, [0.0, 0.0, 0.0]))
    return f'<g transform="translate({-SCALE} {-SCALE})">{stage._inner()}</g>'


def _leg(puppet, kind, moves, late):
    """One leg: toe, foot, thigh and shank, then the joints on top."""
    marks = f'class="rig-bone rig-{kind}{" rig-dashed" if late else ""}"'
    ring = f'<circle class="rig-joint rig-{kind}" r="5"'
    hind, tip, ankle = _foot(puppet)
    thigh, shank = (
        bone((0, 0), (0, length * SCALE), wide, 0.6 * wide)
        for length, wide in ((puppet.thigh, 7), (puppet.shank, 5.6))
    )
    drawn = [
        ("toe", f'<path {marks} d="{tip}"/>'),
        ("foot", f'<path {marks} d="{hind}"/>'),
        ("thigh", f'<path {marks} d="{thigh}"/>'),
        ("shank", f'<path {marks} d="{shank}"/>'),
        ("foot", f'{ring} cx="{number(ankle[0])}" cy="{number(ankle[1])}"/>'),
        ("shank", f"{ring}/>"),
        ("thigh", f"{ring}/>"),
    ]
    return "".join(_moving(f"{kind[0]}-{part}{late}", moves[part], path) for part, path in drawn)


def _foot(puppet):
    """The foot from its ball, px: the outlines behind and before the ball, and the ankle."""
    sole = foot.of_puppet(puppet)
    heel, ankle, toe = (
        (np.asarray(point) - sole.ball) * [SCALE, -SCALE]
        for point in (sole.heel, sole.ankle, sole.toe)
    )
    over = toe + [0, 0.7 * ankle[1]]
    # the instep is a parabola from toe to ankle, bent toward `over`; parted above the ball
    a, b, c = (toe - 2 * over + ankle)[0], 2 * (over - toe)[0], toe[0]
    t = next(float(t.real) for t in np.roots([a, b, c]) if 0 < t.real < 1)
    first, second = toe + t * (over - toe), over + t * (ankle - over)
    top = first + t * (second - first)
    p = {
        name: f"{number(x)} {number(y)}"
        for name, (x, y) in {
            "heel": heel, "toe": toe, "top": top, "first": first, "second": second, "ankle": ankle
        }.items()
    }  # fmt: skip
    hind = f"M{p['top']}Q{p['second']} {p['ankle']}L{p['heel']}L0 0"
    return f"{hind}L{p['top']}", f"M0 0L{p['toe']}Q{p['first']} {p['top']}", ankle


def _floor(walk):
    """The floor and its ticks, ten to the metre or so, which run past."""
    stride = _stride(walk)
    apart = stride / round(stride / (0.1 * SCALE))
    ticks = "".join(f"M{number(x)} 0v3" for x in np.arange(-WALKER, WIDTH - WALKER + stride, apart))
    line = f'<path class="rig-line rig-soft" d="M{-WALKER} 0H{WIDTH - WALKER}"/>'
    return (
        f'<rect class="rig-ground" x="{-WALKER}" width="{WIDTH}" height="{UNDER}"/>{line}'
        f'<g class="m floor"><path class="rig-line rig-soft rig-thin" d="{ticks}"/></g>'
    )


def _marks(walk, kind):
    """Where each foot came down, and below it a bar as long as it has slid since, running past."""
    sole, far = foot.of_puppet(walk.puppet), SCALE / 100 * slides_cm(walk)[-1]
    heel = SCALE * float(walk["heel"][FRAMES, 0, 2] - walk.pelvis[FRAMES, 2])
    long = number(SCALE * float(sole.toe[0] - sole.heel[0]))
    bar = f'<rect class="rig-dot rig-miss" y="14" width="{number(far)}" height="4"/>'
    stands = len(slides_cm(walk)) / FRAMES  # of a stride; the number comes when the foot leaves
    at = number(-stands * _stride(walk))
    text = f'<text class="rig-miss" x="{at}" y="34">{100 * far / SCALE:.0f} cm</text>'
    drawn = ""
    for late, dashed in ((0.0, ""), (0.5, " rig-dashed")):
        mark = f'<path class="rig-line rig-goal{dashed}" d="M0 9h{long}"/>'
        drawn += _passing(walk, "mark", late, mark)
        if far >= 1:
            drawn += _passing(walk, "bar", late, bar)
            drawn += _passing(walk, "mark", late + stands, text)
    return f'<g transform="translate({number(heel)} 0)">{drawn}</g>'


def _passing(walk, name, late, shape):
    """What runs past from a landing on, as often as it is seen at once; `late` in strides."""
    drawn = ""
    for before in range(STRIDES):
        age, still = -late % 1 + before, (STILL - late) % 1 + before  # strides since the landing
        drawn += (
            f'<g class="m {name}" style="animation-delay:-{SECONDS * age:.3g}s"'
            f' transform="{_aged(walk, name, still)}">{shape}</g>'
        )
    return drawn


def _aged(walk, name, age, unit=""):
    """Where a mark, its bar or its text is some strides after the landing, and how large."""
    slid = slides_cm(walk)
    share = {
        "mark": 1.0,
        "floor": 1.0,
        "bar": np.interp(age * FRAMES, np.arange(len(slid)), slid / max(slid[-1], 1e-9)),
    }[name]
    size = "" if share == 1 else f"scale({share:.3g}{',' if unit else ' '}1)"
    return _move(-age * _stride(walk), 0, 0, unit) + size
