"""The first page: puppets that stand on their floor, a foot that stays while its pelvis sinks."""

import re

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import start_here


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=lambda puppet: puppet.name)
def test_everyone_stands_on_the_floor_with_bones_of_their_own_length_bent_their_own_way(puppet):
    leg = start_here.standing(puppet)
    assert leg[-1] == pytest.approx([0.0, puppet.ankle_height])
    assert np.linalg.norm(np.diff(leg, axis=0), axis=-1) == pytest.approx(puppet.bones)
    middle = leg[-2] if len(puppet.bones) == 3 else leg[1]
    assert np.sign(middle[0]) == puppet.knee_side


def test_the_parade_says_each_hips_height():
    picture = start_here.parade(PUPPETS)
    said = [float(cm) for cm in re.findall(r"hips (\d+) cm high", picture.desc)]
    assert said == [round(100 * start_here.standing(puppet)[0, 1]) for puppet in PUPPETS.values()]
    assert all(f">{cm:.0f} cm<" in picture.svg() for cm in said)


@pytest.mark.parametrize("lowered_cm", [0.0, 8.0, start_here.DEEPEST_CM])
def test_the_words_say_what_the_leg_does(lowered_cm):
    tamsin = PUPPETS["Tamsin"]
    _, words = start_here.crouch(tamsin, lowered_cm)
    far = tamsin.leg_length - lowered_cm / 100
    cosine = (tamsin.thigh**2 + tamsin.shank**2 - far**2) / (2 * tamsin.thigh * tamsin.shank)
    assert f"bent by <b>{180 - np.degrees(np.arccos(cosine)):.0f}°</b>" in words
