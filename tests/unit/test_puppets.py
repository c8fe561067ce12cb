"""Puppets: the parade's proportions and the personal ones."""

from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import body, puppets
from rigkit.puppets import PUPPETS, Puppet, personal


def test_the_parade_is_tamsin_odo_pip_and_the_heron():
    assert list(PUPPETS) == ["Tamsin", "Odo", "Pip", "heron"]
    assert all(puppet.name == name for name, puppet in PUPPETS.items())
    with pytest.raises(TypeError):
        PUPPETS["fifth"] = PUPPETS["Pip"]
    with pytest.raises(FrozenInstanceError):
        PUPPETS["Pip"].stature = 2.0


def test_the_neighbours_are_no_part_of_the_parade_and_all_are_the_cast():
    assert list(puppets.NEIGHBOURS) == ["Wenna", "Jory", "Maren", "Ulf"]
    assert dict(puppets.CAST) == {**PUPPETS, **puppets.NEIGHBOURS}
    assert all(puppet.name == name for name, puppet in puppets.CAST.items())
    measures = [(p.bones, p.hip_width, p.foot_length) for p in puppets.CAST.values()]
    assert len(set(measures)) == 8


@pytest.mark.parametrize("name", ["Wenna", "Jory"])
def test_an_average_neighbour_has_the_table_s_bones_to_the_millimetre(name):
    puppet, average = puppets.get(name), body.segment_lengths(puppets.get(name).stature)
    assert puppet.bones == pytest.approx((average.thigh, average.shank), abs=0.0006)
    assert puppet.foot_length == pytest.approx(average.foot_length, abs=0.0006)
    assert puppet.ankle_height == pytest.approx(average.ankle_height, abs=0.0006)


def test_a_puppet_is_had_by_its_name_or_is_itself():
    for name, puppet in puppets.CAST.items():
        assert puppets.get(name) is puppet
    mine = personal(np.random.default_rng(3))
    assert puppets.get(mine) is mine


@pytest.mark.parametrize("wrong", ["tamsin", "", "your puppet", None, 7, [], {}])
def test_what_is_no_puppet_is_answered_with_the_names_there_are(wrong):
    names = "'Tamsin', 'Odo', 'Pip', 'heron', 'Wenna', 'Jory', 'Maren', 'Ulf'"
    with pytest.raises(ValueError, match="`puppet` must be a Puppet") as refused:
        puppets.get(wrong)
    assert f"({names}); got {wrong!r}." in str(refused.value)
    if isinstance(wrong, str):
        parade = "'Tamsin', 'Odo', 'Pip', 'heron'"
        for cast, known in ((PUPPETS, parade), (puppets.CAST, names)):
            with pytest.raises(KeyError, match=f"unknown puppet {wrong!r}; there are {known}.?$"):
                cast[wrong]
        assert PUPPETS.get(wrong) is None
        assert wrong not in PUPPETS


def test_tamsin_has_the_table_s_proportions_to_the_millimetre():
    tamsin, average = PUPPETS["Tamsin"], body.segment_lengths(PUPPETS["Tamsin"].stature)
    assert tamsin.thigh == pytest.approx(average.thigh, abs=0.0006)
    assert tamsin.shank == pytest.approx(average.shank, abs=0.0006)
    assert tamsin.ankle_height == pytest.approx(average.ankle_height, abs=0.0006)
    assert tamsin.foot_length == pytest.approx(average.foot_length, abs=0.0006)


def test_odo_s_shank_is_half_as_long_again():
    average = body.segment_lengths(1.76)
    assert PUPPETS["Odo"].shank == pytest.approx(1.5 * average.shank, abs=0.0006)
    assert PUPPETS["Odo"].thigh == pytest.approx(average.thigh, abs=0.0006)


def test_pip_s_legs_are_shorter_than_average_for_the_stature():
    pip = PUPPETS["Pip"]
    average = body.segment_lengths(pip.stature)
    assert pip.leg_length < 0.8 * (average.thigh + average.shank)


def test_only_the_heron_has_three_bones_and_bends_backward():
    assert {name: (len(p.bones), p.knee_side) for name, p in PUPPETS.items()} == {
        "Tamsin": (2, 1),
        "Odo": (2, 1),
        "Pip": (2, 1),
        "heron": (3, -1),
    }


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=60)
def test_personal_proportions_keep_to_their_documented_ranges(seed):
    puppet = personal(np.random.default_rng(seed))
    assert puppet == personal(np.random.default_rng(seed))
    rounding = 0.0006
    for length, least, most, of in [
        (puppet.stature, 1.50, 1.90, 1.0),
        (puppet.thigh, 0.22, 0.27, puppet.stature),
        (puppet.shank, 0.22, 0.30, puppet.stature),
        (puppet.ankle_height, 0.035, 0.045, puppet.stature),
        (puppet.foot_length, 0.14, 0.165, puppet.stature),
        (puppet.hip_width, 0.09, 0.12, puppet.stature),
        (puppet.heel_length, 0.22, 0.28, puppet.foot_length),
        (puppet.ball_length, 0.45, 0.52, puppet.foot_length),
    ]:
        assert least * of - rounding <= length <= most * of + rounding
        assert length == round(length, 3)


def test_two_learners_get_different_puppets():
    rng = np.random.default_rng(3)
    assert len({personal(rng).bones for _ in range(50)}) == 50


@pytest.mark.parametrize(
    "puppet", [*PUPPETS.values(), personal(np.random.default_rng(5))], ids=lambda p: p.name
)
def test_lengths_belong_together(puppet):
    assert puppet.leg_length == pytest.approx(sum(puppet.bones))
    assert puppet.hip_height == pytest.approx(sum(puppet.bones) + puppet.ankle_height)
    assert (puppet.thigh, puppet.shank) == puppet.bones[:2]
    assert puppet.hip_height < puppet.stature
    assert puppet.heel_length + puppet.ball_length < puppet.foot_length


def test_the_docs_say_that_it_is_invented():
    assert "nvented" in personal.__doc__
    assert "invented" in puppets.__doc__


@pytest.mark.parametrize("rng", [None, 7, np.random, np.random.RandomState(1)])
def test_personal_wants_a_generator(rng):
    with pytest.raises(ValueError, match="`rng` must be a numpy Generator"):
        personal(rng)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("bones", (0.4,)),
        ("bones", (0.4, 0.4, 0.1, 0.1)),
        ("bones", (0.4, -0.4)),
        ("bones", (0.4, np.nan)),
        ("stature", 0.0),
        ("ankle_height", np.inf),
        ("foot_length", "long"),
        ("heel_length", -0.1),
        ("ball_length", 0),
        ("hip_width", [0.1, "x"]),
        ("knee_side", 0),
        ("knee_side", "front"),
    ],
)
def test_impossible_proportions_are_refused_by_name(field, value):
    with pytest.raises(ValueError, match=f"`{field}`"):
        replace(PUPPETS["Tamsin"], **{field: value})


def test_a_puppet_can_be_made_by_hand():
    assert Puppet(
        "Kit", "drummer", 1.6, (0.4, 0.38), 0.06, 0.24, 0.06, 0.12, 0.16
    ).leg_length == pytest.approx(0.78)


def test_the_same_puppet_has_other_bones():
    mine = puppets.with_bones("Pip", 0.28, 0.24, ankle_height=0.07, hip_width=0.2)
    assert mine.bones == (0.28, 0.24)
    assert mine.hip_height == pytest.approx(0.59)
    kept = ("name", "role", "stature", "foot_length", "heel_length", "ball_length", "knee_side")
    assert [getattr(mine, name) for name in kept] == [
        getattr(PUPPETS["Pip"], name) for name in kept
    ]
    assert (
        puppets.with_bones(mine, *PUPPETS["Pip"].bones, ankle_height=0.06, hip_width=0.18)
        == (PUPPETS["Pip"])
    )
    assert puppets.with_bones("heron", 0.2, 0.5, 0.4).bones == (0.2, 0.5, 0.4)


@pytest.mark.parametrize(
    ("puppet", "bones", "lengths", "sentence"),
    [
        ("Pip", (0.3, 0.3, 0.3), {}, "`metatarsal` must be left out for 'Pip', who has 2 bones"),
        ("heron", (0.3, 0.3), {}, "`metatarsal` must be given for 'heron', who has 3 bones"),
        ("Pip", (0.3, 0.0), {}, "`bones` must be above zero"),
        ("Pip", (0.3, 0.3), {"hip_width": -1.0}, "`hip_width` must be above zero"),
        ("Bo", (0.3, 0.3), {}, "`puppet` must be a Puppet"),
    ],
)
def test_bones_that_a_puppet_cannot_have_are_refused(puppet, bones, lengths, sentence):
    with pytest.raises(ValueError, match=sentence):
        puppets.with_bones(puppet, *bones, **lengths)
