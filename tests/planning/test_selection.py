"""Selection against Bechhofer's table, m-alternative forced choice, and simulation."""

import numpy as np
import pytest
from scipy import stats
from scipy.stats import multivariate_normal

from kit.errors import PlanError
from kit.planning.selection import (
    chance_best_ranks_first,
    chance_best_stands_alone,
    chances_to_rank_first,
    chances_to_stay,
    expected_set_size,
    indifference_constant,
    lead_chosen,
    one_leads,
    shots_for_choice,
)


@pytest.mark.parametrize(
    ("methods", "chance", "constant"),
    [
        # Bechhofer (1954), table I, from memory; confirmed below by an independent integral.
        (2, 0.90, 1.8124),
        (2, 0.95, 2.3262),
        (2, 0.99, 3.2900),
        (3, 0.90, 2.2302),
        (3, 0.95, 2.7101),
        (4, 0.95, 2.9162),
        (5, 0.90, 2.5997),
        (5, 0.95, 3.0552),
        (10, 0.95, 3.4182),
    ],
)
def test_bechhofers_constants(methods, chance, constant):
    assert indifference_constant(methods, chance) == pytest.approx(constant, abs=6e-5)


def test_constant_for_three_is_the_d_prime_of_three_alternatives():
    # The same integral in sensory science: tests/reference/sensory/psychometric, d_of_pc at 0.95
    # (three-alternative 2.71010262618603, two-alternative 2.32617430735336).
    assert indifference_constant(3, 0.95) == pytest.approx(2.71010262618603, abs=1e-7)
    assert indifference_constant(2, 0.95) == pytest.approx(2.32617430735336, abs=1e-7)


def test_chance_to_rank_first_is_a_multivariate_normal_probability():
    # P(best - other_j > 0 for all j): correlations 1/2, by scipy's own integrator.
    shift = 0.3 * np.sqrt(10) / 0.45 / np.sqrt(2)
    cov = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    outside = multivariate_normal(mean=np.zeros(4), cov=cov).cdf(np.full(4, shift))
    assert chance_best_ranks_first(0.3, 5, 0.45, 10) == pytest.approx(outside, abs=1e-4)


def test_chances_to_rank_first_add_up_to_one():
    chances = chances_to_rank_first([19.4, 19.9, 19.6, 19.4], 0.45, 12)
    assert chances.sum() == pytest.approx(1, abs=1e-12)
    assert chances.argmax() == 1
    assert chances[0] == pytest.approx(chances[3])


def test_shots_and_lead_turn_the_chance_round():
    shots = shots_for_choice(0.3, 5, 0.45, 0.9)
    assert chance_best_ranks_first(0.3, 5, 0.45, shots) >= 0.9
    assert chance_best_ranks_first(0.3, 5, 0.45, shots - 1) < 0.9
    lead = lead_chosen(5, 0.45, 10, 0.9)
    assert chance_best_ranks_first(lead, 5, 0.45, 10) == pytest.approx(0.9, abs=1e-9)


def _simulated_sets(means, sd, blocks, trials, seed, multiplier):
    """Which methods stay, in simulated complete blocks: (trials, k) booleans."""
    rng = np.random.default_rng(seed)
    k = len(means)
    averages = means + rng.normal(0, sd / np.sqrt(blocks), (trials, k))
    df = (k - 1) * (blocks - 1)
    s = sd * np.sqrt(rng.chisquare(df, trials) / df)
    allowance = multiplier * s * np.sqrt(2 / blocks)
    others = np.stack([np.delete(averages, i, axis=1).max(1) for i in range(k)], axis=1)
    return averages - others + allowance[:, None] > 0


def test_expected_set_agrees_with_simulated_trials():
    # 60,000 trials, seed 7: Monte Carlo SE at most 0.2 points a method. The one-sided multiplier
    # for 3 comparisons on 15 df is 2.24 (Dunnett 1955, table 1a, from memory).
    means = np.array([0.6, 0.3, 0.0, 0.0])
    stay = _simulated_sets(means, 0.5, 6, 60_000, 7, 2.2386)
    assert chances_to_stay(means, 0.5, 6) == pytest.approx(stay.mean(0), abs=0.008)
    assert expected_set_size(means, 0.5, 6) == pytest.approx(stay.sum(1).mean(), abs=0.02)
    alone = (stay.sum(1) == 1) & stay[:, 0]
    assert chance_best_stands_alone(means, 0.5, 6) == pytest.approx(alone.mean(), abs=0.008)


def test_best_stays_with_at_least_the_promised_chance():
    # Gupta (1965): at least 1 - α, reached when all are level.
    assert chances_to_stay(one_leads(0.0, 5), 0.45, 10) == pytest.approx([0.95] * 5, abs=1e-9)
    assert chances_to_stay(one_leads(0.2, 5), 0.45, 10)[0] > 0.95


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: chance_best_ranks_first(-0.1, 5, 0.45, 10), "cannot be negative"),
        (lambda: shots_for_choice(0.3, 1, 0.45), "at least two methods"),
        (lambda: shots_for_choice(0.3, 5, 0.45, 0.2), "Choosing blindly among 5"),
        (lambda: shots_for_choice(1e-4, 5, 0.45), "larger difference"),
        (lambda: expected_set_size([1, 2], 0, 10), "above zero"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()


def test_the_best_of_two_stands_alone_only_where_it_also_differs():
    # The analysis names one method alone only where the two-sided test tells it from the other;
    # for two methods in blocks that is the paired t test, by scipy's noncentral t on n - 1 df.
    shots, lead, sd = 10, 0.5, 0.45
    shift = lead / (sd * np.sqrt(2 / shots))
    critical = stats.t.ppf(0.975, shots - 1)
    found = chance_best_stands_alone(one_leads(lead, 2), sd, shots)
    assert found == pytest.approx(stats.nct.sf(critical, shots - 1, shift), abs=1e-6)
