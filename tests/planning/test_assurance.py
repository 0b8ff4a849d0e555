"""Assurance against brute-force averaging over simulated pilots."""

import math

import numpy as np
import pytest

from kit.errors import PlanError
from kit.planning.assurance import assurance, sd_range, shots_for_assurance
from kit.planning.comparisons import AllPairs
from kit.planning.power import power, shots_needed


def _chance(sd: float) -> float:
    return power(AllPairs(5, sd), 0.75, 10)


def test_assurance_is_the_average_over_where_the_sd_may_be():
    # 4,000 draws of σ = s √(df/χ²), seed 9: Monte Carlo SE about 0.5 points.
    rng = np.random.default_rng(9)
    draws = 0.45 * np.sqrt(7 / rng.chisquare(7, 4000))
    values = np.array([_chance(sd) for sd in draws])
    assert assurance(_chance, 0.45, 7) == pytest.approx(values.mean(), abs=0.02)


def test_a_known_sd_gives_plain_power_and_a_large_pilot_nearly_so():
    assert assurance(_chance, 0.45, math.inf) == _chance(0.45)
    assert assurance(_chance, 0.45, 1e6) == pytest.approx(_chance(0.45), abs=1e-4)


def test_a_small_pilot_asks_for_more_shots():
    def chance_at(sd: float, shots: int) -> float:
        return power(AllPairs(5, sd), 0.75, shots)

    assert shots_for_assurance(chance_at, 0.45, 7) > shots_needed(AllPairs(5, 0.45), 0.75)


def test_sd_range_is_the_chi_square_interval():
    low, high = sd_range(0.45, 9)
    assert (low, high) == pytest.approx((0.45 * 0.68784, 0.45 * 1.82561), rel=1e-4)


def test_bad_input_is_refused_in_words():
    with pytest.raises(PlanError, match="above zero"):
        assurance(_chance, 0.0, 7)
    with pytest.raises(PlanError, match="degrees of freedom"):
        assurance(_chance, 0.45, -1)
