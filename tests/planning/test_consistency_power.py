"""Spread against R's F-test power and the chi-square interval of an SD."""

import numpy as np
import pytest

from kit.errors import PlanError
from kit.planning.consistency_power import (
    jackknife_odd_one_power,
    jackknife_pair_power,
    odd_one_power,
    pair_spread_power,
    ratio_power,
    ratio_power_one_sided,
    sd_interval_factors,
    shots_for_odd_one,
    shots_for_sd_interval,
    shots_for_spread,
    spread_detected,
)
from tests.planning.reference import reference

CASES = reference("power/variance_ratio")["cases"]


@pytest.mark.parametrize("case", CASES)
def test_ratio_power_agrees_with_r(case):
    asked = case["sd_ratio"], case["n1"] - 1, case["n2"] - 1, case["alpha"]
    assert ratio_power(*asked) == pytest.approx(case["power_two_sided"], abs=1e-8)
    assert ratio_power_one_sided(*asked) == pytest.approx(case["power_one_sided"], abs=1e-8)


def test_sd_intervals_are_those_of_the_chi_square_table():
    # Any chi-square table (chi2 .975 and .025 on 9 df: 19.023, 2.700).
    assert sd_interval_factors(9) == pytest.approx(
        (np.sqrt(9 / 19.0228), np.sqrt(9 / 2.70039)), rel=1e-5
    )
    n = shots_for_sd_interval(1.25)
    assert sd_interval_factors(n - 1)[1] <= 1.25 < sd_interval_factors(n - 2)[1]


def test_odd_one_power_agrees_with_simulated_trials():
    # 60,000 trials of five methods with 10 shots, seed 11: Monte Carlo SE 0.2 points.
    from scipy.stats import f

    rng = np.random.default_rng(11)
    y = rng.normal(0, 1, (60_000, 5, 10))
    y[:, 0] *= 2
    s2 = y.var(axis=2, ddof=1)
    ratio = s2[:, :1] / s2[:, 1:]
    found = ((ratio > f.isf(0.0025, 9, 9)) | (ratio < f.ppf(0.0025, 9, 9))).any(axis=1)
    assert odd_one_power(2, 5, 10) == pytest.approx(found.mean(), abs=0.007)


def test_jackknife_power_agrees_with_simulated_jackknifes():
    # 20,000 trials of five methods with 12 independent shots, seed 2: leave one shot of each out
    # together, t on 11 df, Bonferroni over ten pairs. Monte Carlo SE 0.35 points; the normal
    # approximation of log s is good to a few points.
    from scipy.stats import t

    rng = np.random.default_rng(2)
    y = rng.normal(0, 1, (20_000, 5, 12))
    y[:, 0] *= 2.5
    total, squares = y.sum(2, keepdims=True), (y**2).sum(2, keepdims=True)
    left = np.log(((squares - y**2) - (total - y) ** 2 / 11) / 10) / 2  # log SD, one shot out
    ratio = left[:, :1] - left[:, 1:]
    se = np.sqrt(11 / 12 * ((ratio - ratio.mean(2, keepdims=True)) ** 2).sum(2))
    estimate = (np.log(y.var(2, ddof=1))[:, :1] - np.log(y.var(2, ddof=1))[:, 1:]) / 2
    found = np.abs(estimate / se) > t.isf(0.0025, 11)
    pair = jackknife_pair_power(2.5, 11, 12, pairs=10)
    assert pair == pytest.approx(found.mean(), abs=0.06)
    odd = jackknife_odd_one_power(2.5, 11, 12, 5)
    assert odd == pytest.approx(found.any(axis=1).mean(), abs=0.06)
    assert pair < odd < odd_one_power(2.5, 5, 12)


def test_directions_undo_each_other():
    shots = shots_for_spread(1.8, 0.8, pairs=10)
    assert pair_spread_power(1.8, shots, 10) >= 0.8 > pair_spread_power(1.8, shots - 1, 10)
    assert pair_spread_power(spread_detected(12, 0.7), 12) == pytest.approx(0.7, abs=1e-9)
    shots = shots_for_odd_one(2, 5)
    assert odd_one_power(2, 5, shots) >= 0.8 > odd_one_power(2, 5, shots - 1)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: pair_spread_power(0.8, 10), "must be above 1"),
        (lambda: pair_spread_power(2, 1), "at least 2"),
        (lambda: odd_one_power(2, 1, 10), "at least two methods"),
        (lambda: shots_for_spread(1.0001), "larger difference"),
        (lambda: sd_interval_factors(0), "above zero"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
