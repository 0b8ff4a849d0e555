"""Ranking tests, against R and published examples."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.ranking import page_test, rank_sum_lsd, ranking_test
from kit.errors import ModelError
from tests.analysis.reference import data, values


def tidy(wide):
    return wide.reset_index(names="taster").melt("taster", var_name="method", value_name="score")


@pytest.mark.parametrize("name", ["fr_esp", "fr_ergo", "fr_rounding"])
def test_against_r(name):
    """tests/reference/rank: friedman.test, Iman & Davenport's F, Kendall's W, Page's L (R 4.2)."""
    case = values(f"rank/{name}")
    wide = data(case)
    result = ranking_test(tidy(wide))
    assert result.tasters == case["n"]
    assert result.df == case["df"]
    assert result.chi_square == pytest.approx(case["friedman_chisq"], rel=1e-8)
    assert result.p == pytest.approx(case["p"], rel=1e-8)
    assert result.f == pytest.approx(case["iman_davenport_F"], rel=1e-8)
    assert result.p_f == pytest.approx(case["iman_davenport_p"], rel=1e-7)
    assert result.kendall_w == pytest.approx(case["kendall_W"], rel=1e-8)
    assert result.rank_sums["rank_sum"].tolist() == list(case["rank_sums"].values())
    page = case["page"]
    statistic, p = page_test(wide.to_numpy())
    assert statistic == page["L"]
    assert p == pytest.approx(page["p_exact_no_ties"] or page["p_normal"], rel=1e-6)


def test_base_running():
    """Hollander & Wolfe (1973), p. 140: Friedman 11.143, p = .003805."""
    result = ranking_test(tidy(data(values("rank/fr_rounding"))))
    assert (round(result.chi_square, 3), round(result.p, 6)) == (11.143, 0.003805)


def test_least_significant_difference():
    """ISO 8587 annex: 8 assessors, 5 samples, least significant difference 12.40 at 5 %."""
    assert rank_sum_lsd(8, 5) == pytest.approx(12.40, abs=0.005)


def test_rank_sums_of_the_standard():
    """ISO 8587 annex: rank sums 17, 31, 32, 23, 17 of 8 assessors give F = 10.60."""
    rng = np.random.default_rng(3)
    target = np.array([17, 31, 32, 23, 17])
    ranks = np.tile(np.arange(1, 6), (8, 1))
    for _ in range(20_000):  # swap ranks within assessors until the published sums come out
        gap = np.abs(ranks.sum(0) - target).sum()
        if gap == 0:
            break
        i, (a, b) = rng.integers(8), rng.choice(5, 2, replace=False)
        trial = ranks.copy()
        trial[i, [a, b]] = trial[i, [b, a]]
        if np.abs(trial.sum(0) - target).sum() <= gap:
            ranks = trial
    assert ranks.sum(0).tolist() == target.tolist()
    result = ranking_test(tidy(pd.DataFrame(ranks, columns=list("ABCDE"))))
    assert result.chi_square == pytest.approx(10.60, abs=0.005)
    assert result.pairs["lsd"].to_numpy() == pytest.approx(12.40, abs=0.005)
    beyond = result.pairs[result.pairs["difference"].abs() > result.pairs["lsd"]]
    assert (beyond["a"] + beyond["b"]).tolist() == ["AB", "AC", "BE", "CE"]


def test_several_cups_are_averaged_and_incomplete_tasters_named():
    table = tidy(pd.DataFrame({"A": [1, 2, 3, 2], "B": [2, 3, 4, 3], "C": [3, 5, 6, 1]}))
    doubled = pd.concat([table, table])
    assert ranking_test(doubled).chi_square == ranking_test(table).chi_square
    short = table[~((table["taster"] == 3) & (table["method"] == "C"))]
    result = ranking_test(short)
    assert result.set_aside == ("3",)
    assert result.tasters == 3


def test_what_cannot_be_ranked_is_said():
    table = tidy(pd.DataFrame({"A": [1, 2], "B": [1, 2]}))
    with pytest.raises(ModelError, match="same score"):
        ranking_test(table)
    with pytest.raises(ModelError, match="at least two"):
        ranking_test(table[table["taster"] == 0])
    with pytest.raises(ModelError, match="Only one method"):
        ranking_test(table[table["method"] == "A"])
