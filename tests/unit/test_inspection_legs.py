import numpy as np
import pytest

from rigkit.inspection import find_legs
from rigkit.inspection.names import NameReading, go_in_pairs, read_name, read_names
from rigkit.inspection.tree import Tree
from tests.unit.bodies import LEG, NAMINGS, TURNS, WITH_SIDES, body


def found(legs, here):
    return {
        (side, part): here.what[node]
        for side, leg in legs.legs.items()
        for part, node in leg.joints.items()
    }


def look(here, **more):
    return find_legs(here.names, here.parents, here.points, **more)


@pytest.mark.parametrize("naming", NAMINGS)
def test_naming(naming):
    here = body(NAMINGS[naming])
    legs = look(here)
    assert found(legs, here) == {(side, part): (side, part) for side in "LR" for part in LEG}
    assert here.what[legs.pelvis] == (None, "pelvis")


def axis(name):
    return {"+": 1, "-": -1}[name[0]] * np.eye(3)["xyz".index(name[1])]


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("naming", ["ours", "vrm", "numbers only", "no side"])
@pytest.mark.parametrize("scale", [1.0, 100.0, 1000.0])
def test_axes_and_units(turn, naming, scale):
    here = body(NAMINGS[naming]).moved(TURNS[turn], scale)
    legs = look(here)
    assert found(legs, here) == {(side, part): (side, part) for side in "LR" for part in LEG}
    up, forward = turn.split()
    assert legs.up.tolist() == axis(up).tolist()
    assert legs.forward.tolist() == axis(forward).tolist()
    assert legs.left @ np.cross(axis(up), axis(forward)) == 1
    assert legs.metres == 1 / scale


@pytest.mark.parametrize("naming", ["ours", "vrm", "with numbers", "numbers only"])
def test_twist_joints(naming):
    here = body(NAMINGS[naming])
    for side in "LR":
        for upper, lower in (("hip", "knee"), ("knee", "ankle")):
            a, b = here.place(side, upper), here.place(side, lower)
            name = f"{here.names[a]}_twist" if naming != "numbers only" else f"t{len(here.names)}"
            here = here.adding(
                (side, upper + " twist"), name, a, (here.points[a] + here.points[b]) / 2
            )
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in LEG}


@pytest.mark.parametrize("naming", ["ours", "vrm", "numbers only"])
def test_twist_joints_in_the_chain(naming):
    here = body(NAMINGS[naming])
    for side in "LR":
        for upper, lower in (("hip", "knee"), ("knee", "ankle")):
            a, b = here.place(side, upper), here.place(side, lower)
            name = f"{here.names[a]}Twist" if naming != "numbers only" else f"t{len(here.names)}"
            here = here.adding(
                (side, upper + " twist"), name, a, 0.45 * here.points[a] + 0.55 * here.points[b]
            )
            here.parents[b] = len(here.names) - 1
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in LEG}


@pytest.mark.parametrize("naming", WITH_SIDES)
def test_poles_goals_and_heels(naming):
    call = NAMINGS[naming]
    here = body(call)
    for side, way in (("L", 1), ("R", -1)):
        for part, parent, point in (
            ("knee pole", 0, (0.1, 0.5, 0.6)),
            ("foot goal", 0, (0.1, 0.08, 0)),
            ("foot control", 0, (0.1, 0, 0)),
            ("heel", here.place(side, "ankle"), (0.1, 0.0, -0.06)),
        ):
            name = call(part.replace(" ", "_"), side)
            here = here.adding((side, part), name, parent, np.multiply(point, (way, 1, 1)))
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in LEG}


@pytest.mark.parametrize(
    "naming", [name for name in WITH_SIDES if name != "counted legs"]
)  # those never say foot
def test_feet_that_hang_elsewhere(naming):
    here = body(NAMINGS[naming])
    for side in "LR":
        here.parents[here.place(side, "ankle")] = 0
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in LEG}


@pytest.mark.parametrize(
    "missing", [("toe",), ("ball", "toe"), ("root",), ("jaw", "neck", "head", "chest", "spine")]
)
@pytest.mark.parametrize("naming", ["ours", "vrm", "glued prefix", "numbers only"])
def test_parts_left_out(naming, missing):
    here = body(NAMINGS[naming]).without(*missing)
    left = [part for part in LEG if part not in missing]
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in left}


def three_bones(naming):
    """A leg that goes forward to a knee, back to a high ankle, down to a foot."""
    call = NAMINGS[naming]
    here = body(call).without("ball", "toe")
    for side, way in (("L", 1), ("R", -1)):
        for part, point in (("knee", (0.1, 0.62, 0.2)), ("ankle", (0.1, 0.32, -0.12))):
            here.points[here.place(side, part)] = np.multiply(point, (way, 1, 1))
        ankle = here.place(side, "ankle")
        foot = {"ours": "foot", "vrm": "paw", "numbers only": "nine"}[naming]
        here = here.adding(
            (side, "foot"),
            call(foot, side) if naming != "numbers only" else f"f{side == 'L'}",
            ankle,
            (way * 0.1, 0.05, -0.05),
        )
        here = here.adding(
            (side, "ball"),
            call("toes", side) if naming != "numbers only" else f"g{side == 'L'}",
            len(here.names) - 1,
            (way * 0.1, 0.02, 0.08),
        )
    return here


@pytest.mark.parametrize("naming", ["ours", "vrm", "numbers only"])
def test_three_bones(naming):
    here = three_bones(naming)
    legs = look(here)
    parts = ("hip", "knee", "ankle", "foot", "ball")
    assert found(legs, here) == {(side, part): (side, part) for side in "LR" for part in parts}
    assert legs.legs["L"].bend == "ankle"


def test_a_skirt_and_a_tail_are_no_legs():
    call = NAMINGS["suffix dot"]
    here = body(call)
    for side, way in (("L", 1), ("R", -1)):
        parent = here.place(None, "pelvis")
        for i, height in enumerate((0.9, 0.6, 0.3, 0.02)):
            here = here.adding(
                (side, f"skirt{i}"), call(f"skirt_{i}", side), parent, (way * 0.2, height, 0.02)
            )
            parent = len(here.names) - 1
    assert found(look(here), here) == {(side, part): (side, part) for side in "LR" for part in LEG}


def test_one_leg():
    here = body(NAMINGS["ours"]).keeping(lambda what: what[0] != "R")
    legs = look(here)
    assert found(legs, here) == {("L", part): ("L", part) for part in LEG}
    assert here.what[legs.pelvis] == (None, "pelvis")


HAND = {
    "wrist": (None, (0, 0, 0)),
    **{
        f"{finger}-{part}": (
            f"{finger}-{before}" if before else "wrist",
            (0.02 * (i - 2), 0.0, -0.03 * (j + 1)),
        )
        for i, finger in enumerate(
            ("thumb", "index-finger", "middle-finger", "ring-finger", "pinky-finger")
        )
        for j, (part, before) in enumerate(
            (
                ("metacarpal", None),
                ("proximal", "metacarpal"),
                ("distal", "proximal"),
                ("tip", "distal"),
            )
        )
    },
}


@pytest.mark.parametrize(
    ("names", "parents", "points", "why"),
    [
        ([], [], np.empty((0, 3)), "no joints"),
        (["a"], [-1], [[0, 0, 0]], "there is 1"),
        (["a", "b"], [-1, 0], [[0, 0, 0], [0, 1, 0]], "there are 2"),
        (
            [f"j{i}" for i in range(9)],
            range(-1, 8),
            [[0, 0.1 * i, 0] for i in range(9)],
            "no three of its 9 joints",
        ),
        (["left_knee"] * 4, [-1, 0, 1, 2], np.zeros((4, 3)), "no three of its 4 joints"),
        (
            list(HAND),
            [-1 if parent is None else list(HAND).index(parent) for parent, _ in HAND.values()],
            [point for _, point in HAND.values()],
            "named as something else",
        ),
    ],
    ids=["nothing", "one", "two", "a rope", "all in one place", "a hand"],
)
def test_no_legs(names, parents, points, why):
    legs = find_legs(names, parents, points)
    assert legs.legs == {}
    assert legs.certainty == 0
    assert why in legs.because["legs"]


def test_names_and_places_make_certain_together():
    named, placed = (look(body(NAMINGS[naming])).certainty for naming in ("ours", "numbers only"))
    assert 0.9 < named <= 1
    assert 0.5 < placed < 0.8
    legs = look(body(NAMINGS["numbers only"]))
    assert "its name says nothing" in legs.legs["L"].why["knee"]
    assert "is called like one" in look(body(NAMINGS["ours"])).legs["L"].why["knee"]


def test_the_user_knows_better():
    here = body(NAMINGS["numbers only"])
    knee, ankle = here.place("L", "knee"), here.place("L", "ankle")
    here = here.adding(
        ("L", "second"), "second", knee, 0.7 * here.points[knee] + 0.3 * here.points[ankle]
    )
    here.parents[ankle] = len(here.names) - 1
    assert found(look(here), here)["L", "knee"] == ("L", "knee")
    legs = look(
        here,
        mapping={
            "left.knee": "second",
            "left.ball": here.names[here.place("L", "toe")],
            "up": "+y",
            "forward": "-z",
            "metres": "0.5",
        },
    )
    assert [
        here.what[legs.legs["L"].joints[part]][1] for part in ("hip", "knee", "ankle", "ball")
    ] == ["hip", "second", "ankle", "toe"]
    assert legs.legs["L"].certainty["knee"] == 1
    assert legs.legs["L"].why["knee"] == "you said so"
    assert found(legs, here)["R", "knee"] == ("R", "knee")
    assert legs.metres == 0.5
    assert legs.forward.tolist() == [0, 0, -1]
    assert {legs.because[key] for key in ("up", "forward", "metres")} == {"you said so"}


@pytest.mark.parametrize("part", LEG)
def test_what_was_right_anyway_may_be_said(part):
    here = body(NAMINGS["numbers only"])
    legs = look(here, mapping={f"right.{part}": here.names[here.place("R", part)]})
    assert found(legs, here) == {(side, part): (side, part) for side in "LR" for part in LEG}


def test_legs_named_in_full_are_taken_as_they_are():
    here = body(NAMINGS["empty"])
    here.names = [f"n{i}" for i in range(len(here.names))]
    parts = {
        f"{word}.{part}": here.names[here.place(side, other)]
        for word, side in (("left", "L"), ("right", "R"))
        for part, other in (("hip", "shoulder"), ("knee", "elbow"), ("ankle", "wrist"))
    }
    legs = look(here, mapping=parts)
    assert found(legs, here)["L", "knee"] == ("L", "elbow")
    assert legs.certainty == 1


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ({"left.wing": "a"}, "must name one of pelvis, left.hip"),
        ({"left.knee": "nobody"}, "which no joint has"),
        ({"left.knee": ""}, "which no joint has"),
        ({"up": "north"}, "one of '\\+x'"),
        ({"up": "+y", "forward": "-y"}, "square to up"),
        ({"metres": "-1"}, "above zero"),
        ({"metres": "nan"}, "above zero"),
        ("left.knee", "must map parts"),
    ],
)
def test_a_mapping_that_names_nothing(mapping, said):
    with pytest.raises(ValueError, match=said):
        look(body(NAMINGS["ours"]), mapping=mapping)


def test_a_name_that_several_joints_have_cannot_be_meant():
    here = body(NAMINGS["no side, no number"])
    with pytest.raises(ValueError, match="which 2 joints have"):
        look(here, mapping={"left.knee": "calf"})


@pytest.mark.parametrize(
    ("parents", "said"),
    [
        ([1, 2, 0], "must lead up to a root; got a cycle at joint 0"),
        ([-1, 2, 1], "got a cycle at joint 1"),
        ([-1, 0, 3], "must be 3 places of joints"),
        ([-1, 0], "must be 3 places of joints"),
        ([-2, 0, 1], "must be 3 places of joints"),
        ([None, 0, 1], "must be 3 places of joints"),
    ],
)
def test_parents_that_lead_nowhere(parents, said):
    with pytest.raises(ValueError, match=said):
        find_legs(["a", "b", "c"], parents, np.eye(3))


def test_what_hangs_from_what_is_told_without_walking_up():
    rng = np.random.default_rng(7)
    for count in (1, 2, 30):
        parents = np.array([-1, *(rng.integers(-1, i) for i in range(1, count))])
        order = rng.permutation(count)  # children may stand before their parents
        shuffled = np.full(count, -1)
        shuffled[order] = np.where(parents < 0, -1, order[parents])
        tree = Tree(shuffled, np.zeros((count, 3)), [NameReading()] * count)
        places = np.arange(count)
        walked = [[upper in tree.above(lower) for upper in places] for lower in places]
        assert tree.hangs(places[:, None], places).tolist() == walked


def test_a_foot_without_a_name_that_stands_where_the_shanks_tip_is():
    here = body(NAMINGS["empty"])
    usual = np.ones(len(here.names), bool)
    for side in "LR":
        ankle = here.place(side, "ankle")
        here.parents[ankle] = 0
        here = here.adding((side, "tip"), "", here.place(side, "knee"), here.points[ankle])
        usual = np.append(usual, False)
    assert found(look(here, usual=usual), here) == {
        (side, part): (side, part) for side in "LR" for part in LEG
    }


def four_legs(front, hind):
    """Two pairs of straight legs alike below one body, by words before their names."""
    names, parents, points = ["body"], [-1], [(0, 0.9, 0)]
    for word, z in ((front, 0.5), (hind, -0.5)):
        for side, x in (("L", 0.15), ("R", -0.15)):
            above = 0
            for part, y in (("hip", 0.85), ("knee", 0.45), ("ankle", 0.03)):
                names.append(f"{word}_{part}_{side}")
                parents.append(above)
                points.append((x, y, z + 0.02 * (part == "knee")))
                above = len(names) - 1
    return names, parents, np.array(points)


def test_names_tell_the_hind_pair():
    legs = find_legs(*four_legs("front", "hind"))
    assert [(pair.name, pair.ahead) for pair in legs.pairs] == [("front", 1.0), ("hind", 0.0)]
    assert legs.pairs[0].hips == ("front_hip_L", "front_hip_R")
    assert legs.because["pairs"].endswith("hind is taken: names say so")
    assert legs.certainty > 0.9
    assert legs.animal
    asked = find_legs(*four_legs("front", "hind"), pair="front")
    assert asked.pair == "front"
    assert asked.legs["L"].joints["hip"] == 1


def test_where_nothing_tells_the_hind_pair_that_is_said():
    legs = find_legs(*four_legs("one", "two"))
    assert [pair.name for pair in legs.pairs] == ["pair 1", "pair 2"]
    assert legs.certainty < 0.5
    assert "which of them is the hind pair cannot be told" in legs.because["legs"]
    asked = find_legs(*four_legs("one", "two"), pair="pair 2")
    assert asked.legs["L"].joints["hip"] == 7
    assert asked.certainty > 0.9


@pytest.mark.parametrize("part", ["ball", "toe"])
def test_a_part_may_be_taken_away(part):
    here = body(NAMINGS["ours"])
    legs = look(here, mapping={f"left.{part}": ""})
    assert part not in legs.legs["L"].joints
    assert part in legs.legs["R"].joints


def test_a_leg_of_three_bones_may_be_made_one_of_two():
    here = three_bones("ours")
    assert "foot" in look(here).legs["L"].joints
    legs = look(here, mapping={"left.foot": "", "right.foot": ""})
    assert all("foot" not in leg.joints for leg in legs.legs.values())


def test_both_legs_have_the_same_parts():
    here = body(NAMINGS["ours"])
    toe = here.place("R", "toe")
    here = here.keeping(lambda what: what != here.what[toe])
    legs = look(here)
    assert list(legs.legs["L"].joints) == list(legs.legs["R"].joints)


def test_names_with_a_running_number_go_in_pairs():
    one, two, alone = read_names(["b_LeftLeg01_015", "b_RightLeg01_019", "b_Tail01_012"])
    assert one.stem == two.stem == "b leg 01"
    assert (one.side, two.side) == ("L", "R")
    assert alone.stem == "b tail 01 012"
    assert go_in_pairs(read_name("crew:Leg_L_12"), read_name("crew:Leg_R_14"))
    assert not go_in_pairs(read_name("Leg_L_12"), read_name("Foot_R_12"))
    thigh, other = read_names(["leg1_L", "leg1_R"])  # not where the partner has the same number
    assert thigh.stem == other.stem == "leg 1"


def test_a_knee_that_bends_far_backward_is_an_animals():
    here = body(NAMINGS["ours"])
    assert not look(here).animal
    for side in "LR":
        here.points[here.place(side, "knee"), 2] -= 0.15
    legs = look(here)
    assert legs.animal
    assert "bend backward" in legs.because["animal"]
    hip, knee, ankle = (here.points[here.place("L", part)] for part in ("hip", "knee", "ankle"))
    sides = [np.linalg.norm(a - b) for a, b in ((hip, knee), (knee, ankle), (hip, ankle))]
    inner = np.arccos((sides[0] ** 2 + sides[1] ** 2 - sides[2] ** 2) / (2 * sides[0] * sides[1]))
    assert f"by {180 - np.degrees(inner):.0f}° at rest" in legs.because["animal"]


@pytest.mark.parametrize("word", ["paw", "hoof"])
def test_a_paw_is_an_animals(word):
    here = body(NAMINGS["ours"])
    for side in "LR":
        here.names[here.place(side, "ankle")] = f"{side}_{word}"
    assert look(here).because["animal"] == f"a part of the legs is called {word}"


def test_a_trunk_that_lies_level_is_an_animals():
    here = body(NAMINGS["ours"])
    spine = [here.place(None, part) for part in ("spine", "chest", "neck", "head", "jaw")]
    for i, place in enumerate(spine):
        here.points[place] = [0, 1.0, 0.2 * (i + 1)]
    assert look(here).because["animal"] == "the trunk lies level"


def test_a_tail_alone_is_no_proof_of_an_animal():
    here = body(NAMINGS["ours"])
    here = here.adding((None, "tail"), "tail", here.place(None, "pelvis"), (0, 0.8, -0.2))
    assert not look(here).animal


# What single numbers of the search decide.


def two_legs(hip_x=0.1, ways=(0.0, -1.0, 0.0), turn=None, between=None):
    """Names, parents and points of a pelvis and two straight legs that hang along a direction."""
    names, parents, points = ["pelvis"], [-1], [np.array([0, 1.0, 0])]
    for tag, side in (("L_", 1), ("R_", -1)):
        above = 0
        parts = ("hip", "knee", *([] if between is None else ["x"]), "ankle")
        for part in parts:
            down = {"hip": 0.0, "knee": 0.45, "x": 0.65, "ankle": 0.87}[part] * np.array(ways)
            aside = between if part == "x" else 0.0
            names.append(part + "1" if part == "x" else tag + part)
            parents.append(above)
            points.append(np.array([side * hip_x, 0.9, aside]) + down)
            above = len(names) - 1
    points = np.array(points)
    return names, parents, points if turn is None else points @ np.asarray(turn).T


def test_the_standards_own_up_axis_is_ahead_by_a_little():
    for down, up in ((0.705, [0, 1, 0]), (0.695, [0, 0, 1])):
        legs = two_legs(ways=(0, -down, -np.sqrt(1 - down**2)))
        np.testing.assert_allclose(find_legs(*legs).up, up)


@pytest.mark.parametrize(("hip_x", "count"), [(0.6, 2), (0.7, 0)])
def test_legs_may_be_one_and_a_half_times_as_far_apart_as_they_are_long(hip_x, count):
    found = find_legs(*two_legs(hip_x))
    assert (len(found.legs) == 2) == (count == 2)


@pytest.mark.parametrize(("deg", "snaps"), [(13, True), (17, False)])
def test_a_file_stands_on_its_axes_if_it_is_off_by_less_than_fifteen_degrees(deg, snaps):
    angle = np.radians(deg)
    turn = [[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]]
    ahead = [0, 0, 1] if snaps else [np.sin(angle), 0, np.cos(angle)]
    np.testing.assert_allclose(find_legs(*two_legs(turn=turn)).forward, ahead, atol=1e-9)


def test_a_joint_that_lies_on_a_bone_all_but_exactly_is_no_third_bone():
    found = find_legs(*two_legs(between=0.02))
    assert set(found.legs["L"].joints) == {"hip", "knee", "ankle"}
