"""Exact TOST power against R's adaptive quadrature (tests/reference/power/tost.json)."""

import numpy as np
import pytest

from kit.errors import PlanError
from kit.planning.comparisons import Contrast, NamedPair
from kit.planning.equivalence_power import (
    equivalence_power,
    exact_tost_power,
    margin_shown,
    shots_for_equivalence,
)
from tests.planning.reference import reference

CASES = reference("power/tost")["cases"]


@pytest.mark.parametrize("case", CASES)
def test_tost_power_agrees_with_r(case):
    n = case["n"]
    paired = Contrast(case["sd"] / np.sqrt(n), n - 1, 0.0)
    groups = Contrast(case["sd"] * np.sqrt(2 / n), 2 * n - 2, 0.0)
    asked = case["margin"], case["true_difference"], case["alpha"]
    assert exact_tost_power(paired, *asked) == pytest.approx(case["paired"]["power"], abs=1e-8)
    assert exact_tost_power(groups, *asked) == pytest.approx(
        case["two_sample_n_per_group"]["power"], abs=1e-8
    )


def test_the_usual_shortcut_would_be_wrong():
    # R's figures: the noncentral-t shortcut gives 0 for a case whose exact power is 0.127.
    (case,) = [c for c in CASES if c["paired"]["noncentral_t_approx"] == 0]
    comparison = NamedPair(2, case["sd"] / np.sqrt(2))
    found = equivalence_power(comparison, case["margin"], case["n"])
    assert found == pytest.approx(0.127190142546179, abs=1e-8)


def test_power_agrees_with_simulated_trials():
    # 100,000 trials, seed 3, 6 blocks of 2: Monte Carlo SE 0.16 points.
    rng = np.random.default_rng(3)
    d = rng.normal(0.1, 0.5 * np.sqrt(2), (100_000, 6))
    se = d.std(axis=1, ddof=1) / np.sqrt(6)
    share = (np.abs(d.mean(axis=1)) + 2.0150483733 * se < 0.8).mean()
    assert equivalence_power(NamedPair(2, 0.5), 0.8, 6, 0.1) == pytest.approx(share, abs=0.005)


def test_directions_undo_each_other():
    comparison = NamedPair(5, 0.45)
    shots = shots_for_equivalence(comparison, 0.4)
    assert equivalence_power(comparison, 0.4, shots) >= 0.8
    assert equivalence_power(comparison, 0.4, shots - 1) < 0.8
    margin = margin_shown(comparison, 10)
    assert equivalence_power(comparison, margin, 10) == pytest.approx(0.8, abs=1e-9)


def test_a_difference_at_the_margin_is_called_same_at_the_error_rate():
    contrast = NamedPair(5, 0.1).contrast(40)
    assert exact_tost_power(contrast, 0.5, 0.5, 0.05) == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: equivalence_power(NamedPair(5, 0.45), -0.5, 10), "above zero, found -0.5"),
        (lambda: shots_for_equivalence(NamedPair(5, 0.45), 0.5, 0.8, 0.5), "not inside"),
        (lambda: shots_for_equivalence(NamedPair(5, 0.45), 1e-5), "larger difference"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
