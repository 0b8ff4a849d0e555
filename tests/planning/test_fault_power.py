"""Fault rates against R's enumeration of fisher.test and scipy's own Fisher test."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import binom, fisher_exact

from kit.analysis.exact import exact_stratified_p
from kit.errors import PlanError
from kit.planning.fault_power import (
    first_shots_for_rates,
    fisher_power,
    fisher_power_one_sided,
    highest_rate_after_zero_faults,
    lasting_shots_for_rates,
    rate_detected,
    rate_interval,
    shots_to_bound_rate,
    within_blocks_power,
)
from tests.planning.reference import reference

CASES = reference("power/fisher")["cases"]


@pytest.mark.parametrize("case", CASES)
def test_enumerated_power_agrees_with_r(case):
    asked = case["p1"], case["p2"], case["n1"], case["n2"], case["alpha"]
    assert fisher_power(*asked) == pytest.approx(case["power_two_sided"], abs=1e-8)
    assert fisher_power_one_sided(*asked) == pytest.approx(case["power_one_sided"], abs=1e-8)


@pytest.mark.parametrize(("n_a", "n_b"), [(7, 7), (9, 6)])
def test_enumerated_power_agrees_with_scipys_test(n_a, n_b):
    a, b = binom.pmf(np.arange(n_a + 1), n_a, 0.6), binom.pmf(np.arange(n_b + 1), n_b, 0.05)
    total = sum(
        a[i] * b[j]
        for i in range(n_a + 1)
        for j in range(n_b + 1)
        if fisher_exact([[i, n_a - i], [j, n_b - j]])[1] <= 0.05
    )
    assert fisher_power(0.6, 0.05, n_a, n_b) == pytest.approx(total, abs=1e-12)


def test_power_within_blocks_is_that_of_the_reported_test():
    # Every outcome of five blocks, judged by the exact test within strata of the analysis.
    # Kinds of block: both sound, only a faulty, only b, both.
    shares = {0: 0.15 * 0.8, 1: 0.85 * 0.8, 2: 0.15 * 0.2, 3: 0.85 * 0.2}
    total = sum(
        np.prod([shares[kind] for kind in kinds])
        for kinds in product(range(4), repeat=5)
        if _stratified_p(kinds) <= 0.1
    )
    assert within_blocks_power(0.85, 0.2, 5, 0.1) == pytest.approx(total, abs=1e-12)


def _stratified_p(kinds):
    tables = [[k in (1, 3), k not in (1, 3), k in (2, 3), k not in (2, 3)] for k in kinds]
    return exact_stratified_p(np.array(tables, dtype=int))


def test_many_shots_are_enumerated_in_pieces_without_loss():
    # 400 shots a method: totals without weight are left out. The normal theory with continuity
    # (Casagrande, Pike & Smith 1978) agrees within a point at this size.
    shots = first_shots_for_rates(0.1, 0.17)
    assert 380 < shots < 440
    assert fisher_power(0.1, 0.17, 400, 400) == pytest.approx(0.80, abs=0.02)


def test_first_and_lasting_sizes_bracket_the_saw_tooth():
    first, lasting = first_shots_for_rates(0.1, 0.4), lasting_shots_for_rates(0.1, 0.4)
    powers = {n: fisher_power(0.1, 0.4, n, n) for n in range(first - 8, lasting + 20)}
    assert all(p < 0.8 for n, p in powers.items() if n < first)
    assert powers[first] >= 0.8
    assert all(p >= 0.8 for n, p in powers.items() if n >= lasting)


def test_rate_detected_has_the_power_asked_for():
    found = rate_detected(0.1, 20)
    assert found is not None
    assert fisher_power(found, 0.1, 20, 20) == pytest.approx(0.8, abs=1e-4)
    assert rate_detected(0.1, 3) is None


def test_zero_of_ten_allows_a_quarter():
    # 1 - 0.05^(1/10), any text on the exact binomial: 26 % one-sided, 31 % two-sided.
    assert highest_rate_after_zero_faults(10) == pytest.approx(0.2589, abs=5e-5)
    assert rate_interval(0, 10)[1] == pytest.approx(0.3085, abs=5e-5)
    assert shots_to_bound_rate(0.10) == 29


def test_exact_interval_of_the_nist_handbook_kind():
    # 4 of 20 at 90 %: .0714 to .4010 (NIST/SEMATECH e-Handbook, 7.2.4).
    low, high = rate_interval(4, 20, 0.90)
    assert low == pytest.approx(0.0714, abs=5e-5)
    assert high == pytest.approx(0.4010, abs=5e-5)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fisher_power(1.4, 0.1, 10, 10), "from 0 to 1"),
        (lambda: fisher_power(0.4, 0.1, 10**9, 10), "cannot be pulled"),
        (lambda: fisher_power(0.4, 0.1, 5000, 10), "up to 500 shots"),
        (lambda: first_shots_for_rates(0.1, 0.1), "nothing to tell apart"),
        (lambda: first_shots_for_rates(0.1, 0.101), "larger difference"),
        (lambda: rate_interval(11, 10), "cannot be"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
