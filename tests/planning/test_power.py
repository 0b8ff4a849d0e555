"""Power for mean differences against R (power.t.test, noncentral F, qtukey) and Cohen's tables."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import PlanError
from kit.planning.comparisons import (
    AgainstControl,
    AllPairs,
    Contrast,
    IndependentPair,
    Interaction,
    MainEffect,
    NamedPair,
    t_critical,
)
from kit.planning.power import (
    difference_detected,
    f_power,
    noncentral_f_power,
    one_way_f_power,
    power,
    shots_needed,
    two_sided_power,
)
from tests.planning.reference import reference

T = reference("power/t")
ANOVA = reference("power/anova_rcbd")["cases"]


@pytest.mark.parametrize("case", T["two_sample"])
def test_two_sample_t_power_agrees_with_r(case):
    contrast = IndependentPair(case["sd"], case["alpha"]).contrast(case["n_per_group"])
    found = float(two_sided_power(case["delta"], contrast))
    assert found == pytest.approx(case["power"], abs=1e-8)


@pytest.mark.parametrize("case", T["paired"])
def test_paired_t_power_agrees_with_r(case):
    # Two methods in complete blocks: the SD of a difference is √2 times the shot SD.
    shot_sd = case["sd_of_difference"] / np.sqrt(2)
    contrast = NamedPair(2, shot_sd, case["alpha"]).contrast(case["n_pairs"])
    found = float(two_sided_power(case["delta"], contrast))
    assert found == pytest.approx(case["power"], abs=1e-8)


@pytest.mark.parametrize("case", T["two_sample_unequal"])
def test_unequal_group_t_power_agrees_with_r(case):
    df = case["n1"] + case["n2"] - 2
    se = case["sd"] * np.sqrt(1 / case["n1"] + 1 / case["n2"])
    contrast = Contrast(se, df, t_critical(df, case["alpha"]))
    found = float(two_sided_power(case["delta"], contrast))
    assert found == pytest.approx(case["power"], abs=1e-8)


@pytest.mark.parametrize("case", T["sample_size"])
def test_shots_needed_agree_with_r(case):
    pairs = NamedPair(2, case["sd"] / np.sqrt(2), case["alpha"])
    groups = IndependentPair(case["sd"], case["alpha"])
    assert shots_needed(pairs, case["delta"], case["target"]) == case["min_n_pairs"]
    assert shots_needed(groups, case["delta"], case["target"]) == case["min_n_per_group"]


@pytest.mark.parametrize("case", ANOVA)
def test_f_power_agrees_with_r(case):
    n, sd, alpha = case["n_per_method_or_blocks"], case["sd_error"], case["alpha"]
    blocks = f_power(case["means"], sd, n, alpha)
    assert blocks == pytest.approx(case["rcbd"]["power"], abs=1e-8)
    one_way = one_way_f_power(case["means"], sd, n, alpha)
    assert one_way == pytest.approx(case["one_way"]["power"], abs=1e-8)


@pytest.mark.parametrize("case", ANOVA)
def test_tukey_power_of_each_pair_agrees_with_r(case):
    n, sd, alpha = case["n_per_method_or_blocks"], case["sd_error"], case["alpha"]
    means = case["means"]
    tukey = AllPairs(len(means), sd, alpha).contrast(n)
    single = NamedPair(len(means), sd, alpha).contrast(n)
    for pair in case["rcbd_pairs"]:
        gap = means[pair["i"] - 1] - means[pair["j"] - 1]
        # qtukey itself is good to about 1e-8 in the quantile, hence the looser Tukey tolerance.
        assert float(two_sided_power(gap, tukey)) == pytest.approx(pair["power_tukey"], abs=1e-7)
        assert float(two_sided_power(gap, single)) == pytest.approx(
            pair["power_unadjusted"], abs=1e-8
        )


def test_cohens_tables_for_the_t_test():
    # Cohen (1988), table 2.4.1: d 0.5 and 0.8 at power 0.80 take 64 and 26 a group; 0.2 takes 393.
    groups = IndependentPair(1.0)
    assert shots_needed(groups, 0.8) == 26
    assert shots_needed(groups, 0.5) == 64
    assert shots_needed(groups, 0.2) in (393, 394)


def test_cohens_table_for_the_f_test():
    # Cohen (1988), table 8.4.4: f = 0.25, u = 2: 52 or 53 a group (157.2 in all at power 0.80).
    means = np.array([-1.0, 0.0, 1.0]) * 0.25 * np.sqrt(1.5)
    assert one_way_f_power(means, 1.0, 52) < 0.8 < one_way_f_power(means, 1.0, 53)


def test_statsmodels_agrees_where_it_applies():
    # TTestPower and FTestAnovaPower are right for one common error SD without blocks; they know
    # neither blocks nor families of comparisons.
    from statsmodels.stats.power import FTestAnovaPower, TTestIndPower, TTestPower

    groups = power(IndependentPair(0.45), 0.5, 10)
    assert groups == pytest.approx(TTestIndPower().power(0.5 / 0.45, 10, 0.05), abs=1e-8)
    pairs = power(NamedPair(2, 0.45), 0.5, 10)
    assert pairs == pytest.approx(TTestPower().power(0.5 / 0.45 / np.sqrt(2), 10, 0.05), abs=1e-8)
    means = np.array([0.0, 0.2, 0.5])
    effect = np.sqrt(((means - means.mean()) ** 2).mean()) / 0.45
    whole = FTestAnovaPower().power(effect, 30, 0.05, k_groups=3)
    assert one_way_f_power(means, 0.45, 10) == pytest.approx(whole, abs=1e-8)


def test_pingouin_agrees_where_it_applies():
    import pingouin

    found = power(IndependentPair(0.6), 0.5, 12)
    theirs = pingouin.power_ttest(d=0.5 / 0.6, n=12, contrast="two-samples")
    assert found == pytest.approx(theirs, abs=1e-8)


@pytest.mark.parametrize(("shots", "printed"), [(6, 2.65), (7, 2.61), (11, 2.54), (16, 2.51)])
def test_dunnett_multiplier_of_the_published_table(shots, printed):
    # Dunnett (1964), two-sided 5 %, 4 comparisons on 20, 24, 40, 60 df (from memory).
    assert AgainstControl(5, 0.45).contrast(shots).multiplier == pytest.approx(printed, abs=0.005)


def test_more_control_shots_sharpen_the_comparison_with_it():
    once = AgainstControl(5, 0.45, control_shots=1).contrast(10)
    twice = AgainstControl(5, 0.45, control_shots=2).contrast(10)
    assert twice.se == pytest.approx(0.45 * np.sqrt(1 / 10 + 1 / 20))
    assert twice.se < once.se
    # 60 shots, 5 methods, 10 blocks: 60 - 5 - 9.
    assert twice.df == 46


def test_two_by_two_effects():
    # Montgomery (2013), section 5.3: an effect has SE 2 SD/√N; the interaction as a difference
    # of differences is twice as uncertain.
    main = MainEffect(4, 2, 0.45).contrast(10)
    interaction = Interaction(4, 2, 2, 0.45).contrast(10)
    assert main.se == pytest.approx(2 * 0.45 / np.sqrt(40))
    assert interaction.se == pytest.approx(2 * main.se)
    assert main.df == interaction.df == 27


def test_interaction_needs_four_times_the_shots():
    main = shots_needed(MainEffect(4, 2, 0.45), 0.3)
    interaction = shots_needed(Interaction(4, 2, 2, 0.45), 0.3)
    # Exactly 4 but for the few degrees of freedom that the smaller trial has.
    assert interaction / main == pytest.approx(4, rel=0.07)


def test_power_is_the_share_of_simulated_trials_that_find_the_difference():
    # 40,000 trials of 3 methods in 6 blocks, seed 20; Monte Carlo SE 0.25 points.
    rng = np.random.default_rng(20)
    y = rng.normal(0, 0.5, (40_000, 6, 3)) + rng.normal(0, 1, (40_000, 6, 1))
    y[:, :, 0] += 0.8
    residual = (
        y - y.mean(1, keepdims=True) - y.mean(2, keepdims=True) + y.mean((1, 2), keepdims=True)
    )
    s = np.sqrt((residual**2).sum((1, 2)) / 10)
    contrast = AllPairs(3, 0.5).contrast(6)
    t = (y[:, :, 0] - y[:, :, 1]).mean(1) / (s * np.sqrt(2 / 6))
    share = (np.abs(t) > contrast.multiplier).mean()
    assert power(AllPairs(3, 0.5), 0.8, 6) == pytest.approx(share, abs=0.0075)


@given(
    methods=st.integers(2, 8),
    sd=st.floats(0.05, 5),
    shots=st.integers(3, 60),
    chance=st.floats(0.2, 0.99),
)
@settings(max_examples=40, deadline=None)
def test_directions_undo_each_other(methods, sd, shots, chance):
    comparison = AllPairs(methods, sd)
    difference = difference_detected(comparison, shots, chance)
    assert power(comparison, difference, shots) == pytest.approx(chance, abs=1e-9)
    assert shots_needed(comparison, difference * 1.0001, chance) <= shots
    if shots > 3:
        assert shots_needed(comparison, difference * 0.9999, chance) > shots - 1


def test_a_huge_difference_is_always_found():
    assert power(NamedPair(2, 0.01), 100.0, 3) == 1.0
    assert noncentral_f_power(1e6, 4, 44, 0.05) == pytest.approx(1.0)


def test_no_difference_is_found_at_the_false_alarm_rate():
    contrast = NamedPair(4, 0.45, 0.1).contrast(7)
    assert float(two_sided_power(0.0, contrast)) == pytest.approx(0.1, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: AllPairs(5, 0.0), "shot SD must be above zero"),
        (lambda: AllPairs(1, 0.45), "at least two methods"),
        (lambda: AllPairs(2.5, 0.45), "whole number"),
        (lambda: AllPairs(5, float("nan")), "finite"),
        (lambda: AllPairs(5, 0.45, 0.0), "between 0 and 1"),
        (lambda: power(AllPairs(5, 0.45), -0.5, 10), "above zero, found -0.5"),
        (lambda: power(AllPairs(5, 0.45), 0.5, 1), "at least 2 are needed"),
        (lambda: power(AllPairs(5, 0.45), 0.5, 10**9), "1,000,000,000 shots"),
        (lambda: shots_needed(AllPairs(5, 0.45), 1e-6), "larger difference"),
        (lambda: shots_needed(AllPairs(5, 0.45), 0.5, 1.0), "between 0 and 1"),
        (lambda: MainEffect(4, 3, 0.45), "cannot have 3 equal groups"),
        (lambda: power(AllPairs(5, "x"), 0.5, 10), "must be a number"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
