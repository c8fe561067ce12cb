"""Every public object says itself in plain text, and shows itself in a notebook."""

import copy
import dataclasses
import importlib
import re
import xml.etree.ElementTree as ET
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest

from rigkit import (
    _format,
    bend,
    body,
    controls,
    display,
    export,
    foot,
    frames,
    gait,
    gltf,
    homework,
    inspection,
    leg,
    mesh,
    panels,
    physique,
    placement,
    places,
    puppets,
    rotation,
    skeleton,
    solvers,
    stage,
    two_bone,
)
from rigkit.display.tables import attributes, fields
from tests.unit.processes import FOLDER, printed_by

STRANGE = "<script>alert(1)</script>\n\u202e"
SVG = "{http://www.w3.org/2000/svg}"
VOID = {"img", "br"}
# What a person measures has a unit beside it; what is only counted or named has none.
UNITS = re.compile(r"[\d)] (m|cm|mm|m/s|s|%)\b|\d°|\d %")
UNITLESS = {"Source", "Follow", "Skin", "Asset", "Report", "Rule", "Skeleton"}


def public_classes():
    """The classes in DEVELOPERS.md's table of the public surface, by module and name."""
    page = (FOLDER / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", page, re.MULTILINE))
    found = {}
    for module, names in listed.items():
        for name in names.split(", "):
            thing = getattr(importlib.import_module(f"rigkit.{module}"), name)
            if isinstance(thing, type):
                found[f"{module}.{name}"] = thing
    return found


@cache
def examples():
    """Objects of every public class, single ones and batches."""
    tamsin, heron = puppets.PUPPETS["Tamsin"], puppets.PUPPETS["heron"]
    rig, bird = leg.LegRig.from_puppet(tamsin), leg.LegRig.from_puppet(heron)
    crouch = {"pelvis": {"shift_y": np.linspace(0.0, -0.3, 7)}}
    leg_points = two_bone.planar_points([0.2, 0.1], [0.3, 0.4], 0.43, 0.42)
    seen = np.array([[0.0, -0.3, 0.0], [0.1, -0.2, 0.05]])
    flexed = seen @ rotation.matrix_about("x", np.linspace(0.0, 1.0, 9)).swapaxes(-1, -2)
    swung = seen @ rotation.matrix_from_vector(
        np.random.default_rng(1).normal(size=(9, 3))
    ).swapaxes(-1, -2)
    flat, limb = foot.of_puppet(tamsin), mesh.tube(0.05, 0.5)
    asset, walk = export.puppet_asset(tamsin), gait.walk(tamsin)
    report = inspection.inspect(asset)
    animation = asset.animations[0]
    odd = inspection.inspect(gltf.Asset((gltf.Node("a"), gltf.Node("b", 0))))
    return [
        two_bone.solve_planar((0.1, -0.7), 0.43, 0.43),
        two_bone.solve_planar(np.zeros((2, 3, 2)) - 0.3, 0.43, 0.43),
        two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), 0.43, 0.43, (0, 0.5, 1)),
        two_bone.solve((0, 0.9, 0), np.linspace([0, 0.0, 0.1], [0, 0.4, 0.1], 10), 0.43, 0.43),
        rig.skeleton,
        skeleton.Joint("L_knee", "L_hip", rig.skeleton.rest_local[3]),
        tamsin,
        heron,
        body.segment_lengths(1.7),
        body.segment_lengths([1.5, 1.6, 1.7, 1.8, 1.9]),
        body.pelvis((0.12, 1, 0), (-0.12, 1, 0), (0.05, 1, -0.15), (-0.05, 1, -0.15)),
        body.hip_centres("bell-1990", pelvis_width=[0.22, 0.24]),
        body.joint_range("hip"),
        *body.sources()[:2],
        placement.mirror_error(rig.skeleton),
        placement.mirror_error(rig.skeleton, rig.pose(crouch).world),
        placement.centre_of_rotation(swung),
        placement.hinge_axis_from_motion(flexed),
        bend.measure_bend(leg_points[0]),
        bend.measure_bend(leg_points),
        solvers.fabrik(leg_points[0], (0.1, -0.6), trace=True),
        solvers.fabrik(leg_points, (0.1, -0.6)),
        solvers.fabrik(leg_points @ [[0, 0, 1], [0, 1, 0]], (0, -0.6, 0.1), trace=True),
        controls.Follow("pelvis"),
        controls.Follow("pelvis", "turn", [0.5, 1.0], np.eye(4)),
        *rig.controls,
        controls.Control("plain"),
        flat,
        foot.roll(flat, np.radians(30)),
        foot.roll(flat, np.radians([[-20, 0, 30], [60, 5, 1]])),
        rig,
        bird,
        rig.pose(),
        rig.pose(crouch),
        bird.pose(crouch),
        rig.angles(rig.pose()),
        rig.angles(rig.pose(crouch)),
        limb,
        mesh.section(limb.vertices, limb.triangles, (0, 0.1, 0), (0, 1, 0)),
        places.nearest_places([(0, 0.1, 0.1), (0.1, 0.2, 0)], limb.vertices, limb.triangles),
        physique.of_puppet(tamsin),
        physique.Physique(),
        *physique.of_puppet(tamsin).bumps[:2],
        gait.pace(0.85),
        gait.pace([0.7, 0.8]),
        walk,
        gait.plant(gait.walk(heron)),
        gait.Pop("L_", 31, 712.0),
        asset,
        odd.legs,
        asset.nodes[3],
        *asset.skins,
        *asset.meshes,
        animation,
        *animation.channels[:3],
        gltf.Channel(0, "scale", [0.0], [[1, 1, 1]]),
        report,
        report.legs,
        report.legs.legs["L"],
        *report.findings,
        *odd.findings[:3],
        *inspection.RULES,
    ]


def names(things):
    return [f"{type(thing).__name__}-{i}" for i, thing in enumerate(things)]


class Markup(HTMLParser):
    """A parsed piece of HTML: its elements, its words, and what is left open."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.elements, self.words, self.open, self.wrong = [], "", [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        self.words += data


def test_there_is_an_example_of_every_public_class():
    """So a new class comes with one, and is held to all that is asked here."""
    assert len(public_classes()) > 30
    assert {type(thing) for thing in examples()} >= set(public_classes().values())


@pytest.mark.parametrize("name", public_classes())
def test_every_public_class_says_and_shows_itself(name):
    thing = public_classes()[name]
    assert "__repr__" in vars(thing), "say it in words: a dataclass's own repr prints whole arrays"
    assert not thing.__repr__.__qualname__.startswith("__create_fn__")
    if not hasattr(thing, "_repr_mimebundle_"):
        assert issubclass(thing, _format.NotebookDisplay)
        assert display.show.dispatch(thing) is not display.show.dispatch(object), (
            "register its display in `display`"
        )


@pytest.mark.parametrize("thing", examples(), ids=names(examples()))
def test_plain_text_is_short_and_has_units(thing):
    said = repr(thing)
    assert said.startswith(type(thing).__name__) or isinstance(thing, inspection.Report)
    assert not re.search(r"array\(|dtype|0x|\[\[|<function|nan|-0\.0+\b", said), said
    if not isinstance(thing, inspection.Report):
        assert len(said) < 500
        assert "\n" not in said
    if type(thing).__name__ not in UNITLESS | {"Finding", "Channel", "Leg", "Legs", "Control"}:
        assert UNITS.search(said), said


@pytest.mark.parametrize(
    "thing",
    [thing for thing in examples() if isinstance(thing, _format.NotebookDisplay)],
    ids=lambda thing: type(thing).__name__,
)
def test_a_notebook_shows_a_picture_or_a_table(thing):
    bundle = display.bundle(thing)
    assert bundle["text/plain"] == repr(thing)
    shown = Markup(bundle["text/html"])
    assert shown.open == shown.wrong == []
    kinds = {tag for tag, _ in shown.elements}
    assert kinds & {"svg", "table"}
    assert all(
        element.get("scope") in ("col", "row") for tag, element in shown.elements if tag == "th"
    )
    assert all(element["alt"] for tag, element in shown.elements if tag == "img")
    assert ("svg" in kinds) == ("image/svg+xml" in bundle)
    if "svg" in kinds:
        card = ET.fromstring(bundle["image/svg+xml"])
        assert card.get("role") == "img"
        assert card.findtext(f"{SVG}title")
        assert repr(thing) in card.findtext(f"{SVG}desc") or isinstance(thing, inspection.Finding)


def test_the_words_are_those_a_person_reads():
    pose = two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), 0.43, 0.43, (0, 0.5, 1))
    assert repr(pose) == (
        "TwoBonePose: knee (0.000, 0.519, 0.199) m, ankle (0.000, 0.100, 0.100) m, "
        "flexion 40.7°, reached, guided by a pole"
    )
    far = two_bone.solve((0, 0.9, 0), [(0, 0.1, 0.1), (0, 0, 0.2)], 0.43, 0.43)
    assert repr(far).startswith(
        "TwoBonePose, batch (2,): knee within (0.000, 0.480 to 0.519, 0.093 to 0.199) m, "
    )
    assert "flexion 0.0° to 40.7°, 1 of 2 reached, miss 0 to 6.2 cm" in repr(far)
    back = bend.Bend(np.float64(-0.05), np.float64(0.0004))
    assert repr(back) == "Bend: -2.9°, costs 0.04 % of full reach"


def test_numbers_read_alike():
    numbers = [_format.number(value) for value in (-1e-9, 0.12345, 1e7, np.nan, -np.inf)]
    assert numbers == ["0.000", "0.123", "1e+07", "NaN", "-infinite"]
    small = [_format.small(value) for value in (0.0, 1e-10, 1e-7, 0.00123, 0.5, 25.0)]
    assert small == ["0 cm", "0 cm", "under 0.001 cm", "0.123 cm", "50 cm", "2500 cm"]
    assert _format.angle([-np.pi, np.nan, 0.0]) == "-180.0° to 0.0° (1 of 3 NaN)"
    assert _format.angle([]) == "none"
    assert _format.angle([np.nan]) == "NaN"
    assert _format.length("as long as that") == "'as long as that'"
    assert _format.length(None) == "None"
    assert _format.point(np.zeros((0, 3))) == "none"
    assert _format.truth([True, False, True], "reached") == "2 of 3 reached"
    assert _format.names("abcdefghijklmnop") == "a, b, c, d, e, f, g, h, i, j, k, l, and 4 more"
    assert _format.name("a\nb") == "'a\\nb'"
    assert _format.name("") == "''"


@pytest.mark.parametrize(
    "value",
    [
        None,
        np.nan,
        "odd",
        np.zeros((0, 3)),
        np.full((2, 4, 4), np.nan),
        [[1], [1, 2]],
        10**400,
        {},
        np.array([np.inf, np.nan]),
    ],
    ids=str,
)
@pytest.mark.parametrize(
    "thing",
    [
        two_bone.PlanarLeg,
        two_bone.TwoBonePose,
        bend.Bend,
        body.Pelvis,
        body.HipCentres,
        body.SegmentLengths,
        placement.RotationCentre,
        placement.HingeAxis,
        foot.FootRoll,
        solvers.Solution,
        gait.Pace,
        leg.LegPose,
    ],
    ids=lambda thing: thing.__name__,
)
def test_an_answer_of_anything_is_said_and_shown_without_an_error(thing, value):
    odd = thing(*[value] * len(dataclasses.fields(thing)))
    assert repr(odd).startswith(thing.__name__)
    assert display.bundle(odd)["text/plain"] == repr(odd)


@pytest.mark.parametrize(
    "thing",
    [
        thing
        for thing in examples()
        if dataclasses.is_dataclass(thing) and not isinstance(thing, inspection.Report)
    ],
    ids=lambda thing: type(thing).__name__,
)
def test_nan_in_an_answer_is_said_and_shown_without_an_error(thing):
    spoilt = copy.copy(thing)
    for field in dataclasses.fields(thing):
        value = getattr(thing, field.name)
        if isinstance(value, np.ndarray | float) and np.asarray(value).dtype.kind == "f":
            object.__setattr__(spoilt, field.name, np.full_like(value, np.nan))
    assert repr(spoilt).startswith(type(thing).__name__)
    assert repr(spoilt) in display.bundle(spoilt)["text/plain"]


def test_of_a_batch_the_first_few_are_shown_and_how_many_there_are():
    ten = two_bone.solve((0, 0.9, 0), np.linspace([0, 0.0, 0.1], [0, 0.4, 0.1], 10), 0.43, 0.43)
    shown = Markup(display.bundle(ten)["text/html"])
    assert "A batch of shape (10,): the first 4 of 10." in shown.words
    assert "[3]" in shown.words
    assert "[4]" not in shown.words
    assert "the next 3 dotted" in shown.words
    square = two_bone.solve_planar(np.zeros((2, 2, 2)) - 0.3, 0.43, 0.43)
    square = Markup(display.bundle(square)["text/html"])
    assert "all 4" in square.words
    assert "[1, 1]" in square.words


def test_what_is_not_finite_is_left_out_of_the_picture():
    legs = two_bone.solve_planar([(0.1, -0.7), (0.2, -0.5)], 0.43, 0.43)
    spoilt = dataclasses.replace(legs, hip=np.array([np.nan, legs.hip[1]]))
    drawn, table = display.show(spoilt)
    assert "the next" not in drawn.title
    assert "NaN" in table
    lost = dataclasses.replace(legs, hip=legs.hip * np.nan)
    assert [type(piece) for piece in display.show(lost)] == [str]


@pytest.mark.parametrize(
    "thing",
    [
        skeleton.Skeleton(
            [
                skeleton.Joint(STRANGE, None, np.eye(4)),
                skeleton.Joint("b", STRANGE, frames.frame(origin=(0, 0.3, 0))),
            ]
        ),
        skeleton.Joint(STRANGE, STRANGE, np.eye(4)),
        controls.Control(STRANGE, parent=STRANGE),
        controls.Control(STRANGE, outline=np.eye(3)),
        controls.Follow(STRANGE),
        dataclasses.replace(puppets.PUPPETS["Pip"], name=STRANGE, role=STRANGE),
        gait.walk(dataclasses.replace(puppets.PUPPETS["Pip"], name=STRANGE)),
        gltf.Node(STRANGE),
        gltf.Asset((gltf.Node(STRANGE), gltf.Node("b", 0, (0, 0.3, 0))), notes=(STRANGE,)),
        gltf.Animation(STRANGE, (gltf.Channel(0, "scale", [0.0, 1.0], [[1, 1, 1]] * 2),)),
        gltf.Mesh(STRANGE, np.eye(3), [[0, 1, 2]]),
        gltf.Skin(STRANGE, [0]),
        placement.MirrorError((STRANGE,), np.ones(1), np.ones(1), STRANGE, STRANGE),
        dataclasses.replace(
            inspection.inspect(export.puppet_asset(puppets.PUPPETS["Pip"])).findings[0],
            about=STRANGE,
            said=STRANGE,
        ),
    ],
    ids=lambda thing: type(thing).__name__,
)
def test_a_strangers_name_is_made_harmless(thing):
    bundle = display.bundle(thing)
    assert "\u202e" not in repr(thing)
    assert "\n" not in repr(thing)
    for text in (bundle["text/html"], bundle.get("image/svg+xml", "")):
        assert "<script" not in text
        assert "\u202e" not in text
    assert "&lt;script" in bundle["text/html"]


def test_a_skeleton_of_many_joints_is_drawn_without_names():
    many = skeleton.Skeleton(
        [
            skeleton.Joint(f"j{i}", f"j{i - 1}" if i else None, frames.frame(origin=(0, 0.1, 0)))
            for i in range(40)
        ]
    )
    drawn, joints = display.show(many)
    assert ">j7<" not in drawn.svg()
    assert "and 25 more" in joints
    assert (
        repr(many) == f"Skeleton of 40 joints: {', '.join(f'j{i}' for i in range(12))}, and 28 more"
    )


def test_the_way_to_the_hip_is_drawn_where_the_hip_is():
    """The pose holds no hip: the dotted line toward it must follow the thigh it was solved for."""
    hip, upper = np.array([0.0, 0.9, 0.0]), 0.43
    pose = two_bone.solve(hip, (0, 0.15, 0.2), upper, 0.4, (0, 0.5, 1))
    drawn, _ = display.show(pose)
    line = next(shape for shape in drawn._shapes if "rig-ghost" in shape)
    (x0, y0), (x1, y1) = (
        map(float, point.split()) for point in re.search(r'd="M([^"]+)"', line)[1].split("L")
    )
    thigh = (hip - pose.knee) / upper
    assert (x0 - x1) / np.hypot(x0 - x1, y0 - y1) == pytest.approx(thigh[2], abs=0.01)
    assert (y1 - y0) / np.hypot(x0 - x1, y0 - y1) == pytest.approx(thigh[1], abs=0.01)


def test_tables_say_measures_in_their_units_and_do_not_break_short_cells():
    shown = display.bundle(puppets.PUPPETS["Tamsin"])["text/html"]
    assert 'white-space:nowrap">170.0 cm</td>' in shown
    assert 'tabular-nums">standing, from the floor' in shown
    found = placement.RotationCentre(np.zeros(3), np.ones(2), np.array(0.002), np.array(0.01))
    said = Markup(display.bundle(found)["text/html"]).words
    assert "2 mm" in said
    assert "10 mm" in said


# Fields


class Measured:
    """A thing with fields.

    Attributes
    ----------
    ASIS, width_deg : ndarray, shape (..., 3)
        ASIS of `this`, over
        two lines [m]. More of it.
    free : {"a", "b"}
        Of any [°/s]
    frames : ndarray, shape (n, 4, 4), or None

    Raises
    ------
    ValueError
        Never.
    """

    width_deg = 3


def test_a_field_means_what_the_docstring_says_first_without_its_unit():
    both = ("ASIS of this, over two lines", 1)
    assert attributes(Measured.__doc__) == {
        "ASIS": both,
        "width_deg": both,
        "free": ("of any", 0),
        "frames": ("", 3),
    }
    assert fields(Measured(), width_deg=str) == [("width", both[0], 3, str, 1)]
    assert attributes(None) == {}


# In a running notebook


IN_NOTEBOOK = """
import sys
from IPython.core.interactiveshell import InteractiveShell
shell = InteractiveShell.instance()
import rigkit
early = [name for name in ("numpy", "rigkit.display", "matplotlib") if name in sys.modules]
data, _ = shell.display_formatter.format(rigkit.puppets.PUPPETS["Pip"])
plain, _ = shell.display_formatter.format([rigkit.puppets.PUPPETS["Pip"]])
print(early, "matplotlib" in sys.modules, *sorted(data), *plain)
"""


def test_a_notebook_shows_objects_and_loads_what_draws_them_then_only():
    forms = "image/svg+xml text/html text/plain"
    assert printed_by(IN_NOTEBOOK) == f"[] False {forms} text/plain"


def test_without_a_notebook_nothing_is_asked_for():
    """Nor is anything with the stand-in for IPython that marking's jail holds, which has every
    name."""
    stand_in = (
        "import sys, types; ours = types.ModuleType('IPython'); ours.__getattr__ = lambda name: "
        "(lambda *given: object()); sys.modules['IPython'] = ours"
    )
    for before in ("import sys", "import IPython, sys", stand_in):
        code = f"{before}\nimport rigkit\nprint('rigkit.display' in sys.modules)"
        assert printed_by(code) == "False"


# What lessons and exercises hand a learner


def test_a_homework_and_its_questions_show_themselves():
    hw = homework.open_homework("06", student="<b>ada</b>")
    bundle = hw._repr_mimebundle_()
    assert bundle["text/plain"] == repr(hw)
    shown = Markup(bundle["text/html"])
    assert all(name in shown.words for name in hw.questions)
    assert "hw.check(solve_leg)" in shown.words
    assert "hw.check(heron_side=…)" in shown.words
    assert "<b>" not in bundle["text/html"]
    question = hw.questions["heron_side"]
    assert repr(question) == f"Question 06/heron_side, a value: {question.asks}"
    asked = Markup(question._repr_mimebundle_()["text/html"])
    assert "one of front, back" in asked.words
    assert not any(
        wrong.sentence in asked.words + repr(question) for wrong in question.misconceptions
    )
    assert "0x" not in repr(question.misconceptions)


def test_a_panel_says_its_values_and_its_readout():
    slider = panels.Slider("bend_deg", "Bend", 0.0, 20.0, 0.5, 5.0, "°")
    panel = panels.Panel(
        "A leg bends.",
        [slider],
        lambda bend_deg: (stage.Stage(), f"Bent by <b>{bend_deg}</b> &lt;°"),
    )
    assert repr(slider) == "Slider: Bend, 0 to 20° by 0.5, at 5"
    assert repr(panel) == "Panel: A leg bends. Bend: 5.0. Bent by 5.0 <°"
    assert panel._repr_mimebundle_()[0]["text/plain"] == repr(panel)
    choice = panels.Choice("side", "Side", ("left", "right"), "left")
    assert repr(choice) == "Choice: Side, left, right, at left"


def test_a_picture_says_its_words():
    picture = stage.Stage(title="A leg stands", desc="It is straight.")
    assert repr(picture) == "Stage, 600 × 634 px: A leg stands. It is straight."
