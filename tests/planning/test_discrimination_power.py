"""Taste tests against the exact binomial rule of ISO 4120 and ISO 10399, made in R."""

import pytest

from kit.errors import PlanError
from kit.planning.discrimination_power import (
    difference_power,
    discriminators_detected,
    discriminators_excluded,
    fewest_agreeing,
    fewest_correct,
    first_tests_for_difference,
    first_tests_for_similarity,
    lasting_tests_for_difference,
    lasting_tests_for_similarity,
    most_correct,
    similarity_power,
)
from tests.planning.reference import reference

MINIMUM = reference("sensory/min_correct")
POWER = reference("sensory/power")
LEVELS = {"a05": 0.05, "a01": 0.01, "a001": 0.001}


@pytest.mark.parametrize(
    ("table", "test"),
    [
        ("triangle", "triangle"),
        ("duo_trio_or_paired_one_sided", "duo-trio"),
        ("duo_trio_or_paired_one_sided", "paired"),
    ],
)
def test_fewest_correct_is_the_printed_table(table, test):
    for row in MINIMUM[table]:
        for name, alpha in LEVELS.items():
            assert fewest_correct(test, row["n"], alpha) == row[name], row


def test_fewest_agreeing_is_the_printed_table():
    for row in MINIMUM["paired_two_sided"]:
        for name, alpha in LEVELS.items():
            assert fewest_agreeing(row["n"], alpha) == row[name], row


@pytest.mark.parametrize("case", POWER["cases"])
def test_power_agrees_with_r(case):
    for test, key in [("triangle", "triangle"), ("duo-trio", "duo_trio")]:
        for name in ("a05", "a01"):
            found = difference_power(test, case["n"], case["pd"], LEVELS[name])
            assert found == pytest.approx(case[key][name]["power"], abs=1e-8)


@pytest.mark.parametrize("case", POWER["sample_size"])
def test_numbers_of_tests_agree_with_r(case):
    asked = "triangle", case["pd"], case["power"], case["alpha"]
    assert first_tests_for_difference(*asked) == case["first_n_reaching"]
    assert lasting_tests_for_difference(*asked) == case["n_after_which_always"]


def test_sixty_six_triangles_for_three_in_ten():
    # ISO 4120, table of panel sizes (from memory): pd 30 %, α = β = 0.05 takes 66, and 29 right.
    assert first_tests_for_difference("triangle", 0.3, 0.95) == 66
    assert fewest_correct("triangle", 66) == 29


def test_similarity_is_a_lower_tail_with_the_share_to_be_excluded():
    # By hand: 24 duo-trios, 50 % who can tell: p = 0.75, P(X <= 13 | 24, 0.75) = 0.0213,
    # P(X <= 14) = 0.0547, so at most 13 right. P(X <= 13 | 0.5) = 0.7294.
    assert most_correct("duo-trio", 24, 0.5) == 13
    assert similarity_power("duo-trio", 24, 0.5) == pytest.approx(0.7294, abs=2e-4)


def test_twenty_four_duo_trios_cannot_show_that_nobody_can_tell():
    assert similarity_power("duo-trio", 24, 0.2) < 0.2
    assert first_tests_for_similarity("duo-trio", 0.2) > 100
    assert discriminators_excluded("duo-trio", 24) > 0.5


def test_sizes_and_shares_turn_the_power_round():
    n = lasting_tests_for_similarity("triangle", 0.3)
    assert all(similarity_power("triangle", m, 0.3) >= 0.8 for m in range(n, n + 30))
    share = discriminators_detected("triangle", 30)
    assert share is not None
    assert difference_power("triangle", 30, share) == pytest.approx(0.8, abs=1e-9)
    assert discriminators_detected("triangle", 2) is None
    excluded = discriminators_excluded("triangle", 40)
    assert similarity_power("triangle", 40, excluded + 1e-6) >= 0.8
    assert similarity_power("triangle", 40, excluded - 1e-4) < 0.8


def test_certain_tasters_and_hopeless_panels():
    assert difference_power("triangle", 5, 1.0) == 1.0
    assert difference_power("duo-trio", 4, 0.9) == 0.0
    assert fewest_correct("duo-trio", 4) is None


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: difference_power("triangle", 0, 0.3), "Without a taster nothing can be tasted"),
        (lambda: difference_power("sniff", 10, 0.3), "There are: triangle, duo-trio, paired"),
        (lambda: difference_power("triangle", 10**9, 0.3), "cannot be done"),
        (lambda: first_tests_for_difference("triangle", 0.005), "takes about"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
