"""Our Sobol points and normal scores are scipy's: points to the last bit, scores to rounding."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special
from scipy.stats import qmc

from ridesim.sure.draws import INSIDE, normal_share
from ridesim.sure.scores import AT_ONCE, normal_score
from ridesim.sure.sobol import scrambled


@pytest.mark.parametrize("dimensions", [0, 1, 2, 7, 45, 90, 160, 161])
@pytest.mark.parametrize(("count", "seed"), [(1, 0), (2, 1), (256, 7), (4096, 12_345)])
def test_points_are_those_of_scipy(dimensions: int, count: int, seed: int):
    theirs = qmc.Sobol(dimensions, scramble=True, seed=np.random.default_rng(seed)).random(count)
    assert np.array_equal(scrambled(count, dimensions, seed), theirs)


def test_normal_scores_are_those_of_scipy():
    shares = np.concatenate([[INSIDE, 1.0 - INSIDE], np.linspace(1e-6, 1.0 - 1e-6, 2001)]).reshape(-1, 1)
    assert normal_score(shares) == pytest.approx(special.ndtri(shares), rel=1e-13, abs=1e-13)
    many = np.random.default_rng(3).random(AT_ONCE + 17)
    assert normal_score(many) == pytest.approx(special.ndtri(many), rel=1e-13, abs=1e-13)
    scores = np.linspace(-9.0, 9.0, 361).reshape(19, 19)
    assert normal_share(scores) == pytest.approx(special.ndtr(scores), rel=1e-13)
