"""Legs found in rigs of all kinds, and whether what is called certain is right."""

from functools import cache

import numpy as np
import pytest

from rigkit.inspection.subject import Subject
from tests.unit.rig_family import family

SEEDS = (1, 2)
CHAIN = ("hip", "knee", "ankle", "foot")


@cache
def looked_at(seed):
    return [(drawn, Subject(drawn.asset).legs) for drawn in family(seed)]


def right(drawn, legs):
    """True if the legs found are those of the pair to be taken; of sprawling ones of any pair."""
    pairs = drawn.pairs if "many legs" in drawn.features else drawn.pairs[:1]
    found = {
        side: {part: node for part, node in leg.joints.items() if part in CHAIN}
        for side, leg in legs.legs.items()
    }
    return found in [
        {side: {part: leg[part] for part in CHAIN if part in leg} for side, leg in pair.items()}
        for pair in pairs
    ]


def outcomes(seed):
    """Certainty, and whether it was right, of all rigs that have legs."""
    return np.array(
        [(legs.certainty, right(drawn, legs)) for drawn, legs in looked_at(seed) if drawn.pairs]
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_nearly_all_legs_are_found(seed):
    good = outcomes(seed)[:, 1]
    assert len(good) >= 50
    assert good.mean() >= 0.9


@pytest.mark.parametrize(
    ("least", "below", "share"), [(0.9, 1.01, 0.95), (0.7, 0.9, 0.9), (0.5, 0.7, 0.6)]
)
def test_what_is_called_certain_is_right(least, below, share):
    certainty, good = np.concatenate([outcomes(seed) for seed in SEEDS]).T
    called = (certainty >= least) & (certainty < below)
    assert called.sum() >= 5
    assert good[called].mean() >= share


@pytest.mark.parametrize("seed", SEEDS)
def test_what_has_no_legs_is_given_none(seed):
    without = [legs for drawn, legs in looked_at(seed) if not drawn.pairs]
    assert len(without) >= 5
    assert [legs.legs for legs in without] == [{}] * len(without)


@pytest.mark.parametrize("seed", SEEDS)
def test_legs_that_are_found_face_the_way_they_do(seed):
    faced = [
        legs.forward @ drawn.forward
        for drawn, legs in looked_at(seed)
        if drawn.pairs and "many legs" not in drawn.features and right(drawn, legs)
    ]
    assert np.mean(np.array(faced) > 0.96) > 0.95


@pytest.mark.parametrize("seed", SEEDS)
def test_animals_are_told_from_persons(seed):
    told = {True: [], False: []}
    for drawn, legs in looked_at(seed):
        if drawn.pairs and right(drawn, legs):
            told["person" not in drawn.features].append(legs.animal)
            assert legs.animal == ("animal" in legs.because)
    assert np.mean(told[True]) > 0.9
    assert np.mean(told[False]) < 0.05


@pytest.mark.parametrize("seed", SEEDS)
def test_four_legs_are_two_pairs_and_the_hind_pair_is_taken(seed):
    fours = [
        (drawn, legs)
        for drawn, legs in looked_at(seed)
        if "four legs" in drawn.features and right(drawn, legs)
    ]
    assert fours
    for drawn, legs in fours:
        if legs.certainty > 0.6:
            assert [pair.name for pair in legs.pairs] == ["front", "hind"]
            assert legs.pair == "hind"
            assert legs.pairs[0].ahead > 0
            assert "hind is taken" in legs.because["pairs"]
            front = Subject(drawn.asset, pair="front").legs
            assert front.pair == "front"
            assert {leg.joints[leg.chain[-1]] for leg in front.legs.values()} == {
                leg["ankle"] for leg in drawn.pairs[1].values()
            }  # the shoulder blade may be taken for a bone of the leg


def test_a_person_has_one_pair():
    for drawn, legs in looked_at(1):
        if "person" in drawn.features and legs.certainty > 0.5:
            assert legs.pairs == ()


def test_a_pair_that_is_not_there():
    four = next(drawn for drawn, _ in looked_at(1) if "four legs" in drawn.features)
    person = next(drawn for drawn, _ in looked_at(1) if "person" in drawn.features)
    with pytest.raises(ValueError, match="those there are \\('front', 'hind'\\); got 'middle'"):
        Subject(four.asset, pair="middle")
    with pytest.raises(ValueError, match="must be left out where there is one pair"):
        Subject(person.asset, pair="hind")
