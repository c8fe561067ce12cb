"""The puppet's skin: its monotone slopes beside scipy's."""

import numpy as np
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

from rigkit import mesh


def test_slopes_between_the_ends_are_those_of_a_monotone_interpolation():
    rng = np.random.default_rng(0)
    along, keys = np.cumsum(rng.uniform(0.1, 1, 12)), rng.normal(size=(12, 3))
    slopes = PchipInterpolator(along, keys).derivative()(along)
    assert_allclose(mesh._slopes(keys, np.diff(along))[1:-1], slopes[1:-1], atol=1e-12)
