"""The cumulative-logit model with tasters random, against exact maximum likelihood."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.ordinal import fit_ordinal, ordinal_pairs
from kit.errors import ModelError
from tests.analysis.reference import data, values


@pytest.mark.parametrize("name", ["ord_wine", "ord_esp"])
def test_against_exact_maximum_likelihood(name):
    """tests/reference/ordinal: own 80-node Gauss-Hermite fit; clmm with 15 nodes agrees (R 4.2)."""
    case = values(f"ordinal/{name}")
    fixed = case["fixed"].split("+")
    fit = fit_ordinal(data(case), "rating", fixed, case["taster"])
    exact = case["exact_ml_gh80"]
    assert fit.log_likelihood == pytest.approx(exact["loglik"], abs=1e-6)
    assert fit.thresholds["estimate"].to_numpy() == pytest.approx(exact["thresholds"], abs=1e-5)
    effects = list(exact["effects"].values())
    assert fit.effects["estimate"].to_numpy() == pytest.approx(effects, abs=1e-5)
    se = np.concatenate([fit.thresholds["se"], fit.effects["se"]])
    assert se == pytest.approx(exact["se"], rel=1e-4)
    assert fit.taster_sd == pytest.approx(exact["sd_taster"], abs=1e-5)


def test_wine_bitterness():
    """Randall (1989) wine tasting, clmm: warm 3.06, contact 1.83, logLik -81.53 (15 nodes)."""
    fit = fit_ordinal(data(values("ordinal/ord_wine")), "rating", ["temp", "contact"], "judge")
    assert fit.effects["estimate"].round(2).tolist() == [3.06, 1.83]
    assert (fit.tasters, fit.n) == (9, 72)


def test_pairs_are_differences_of_effects():
    fit = fit_ordinal(data(values("ordinal/ord_esp")), "rating", ["method"], "taster")
    pairs = ordinal_pairs(fit).set_index(["a", "b"])
    effect = dict(zip(fit.levels["method"], [0, *fit.effects["estimate"]], strict=True))
    for (a, b), row in pairs.iterrows():
        assert row["estimate"] == pytest.approx(effect[a] - effect[b])
        assert row["lower"] < row["estimate"] < row["upper"]
    assert pairs.loc[("m1", "m2"), "se"] == pytest.approx(fit.effects["se"][0])
    assert (pairs["p_adjusted"] >= pairs["p"]).all()


def test_tasters_who_do_not_differ():
    """Every taster gives the same scores: the taster SD must stand at its bound."""
    table = pd.DataFrame(
        {
            "taster": np.repeat(np.arange(6), 12),
            "method": np.tile(list("AB"), 36),
            "score": np.tile([1, 2, 3, 2, 1, 3], 12),
        }
    )
    fit = fit_ordinal(table)
    assert fit.taster_sd < 1e-2
    assert np.isfinite(fit.effects["se"]).all()


def test_separation_is_said_in_words():
    table = pd.DataFrame(
        {
            "taster": list("pqrpqr"),
            "method": list("AAABBB"),
            "score": [1, 1, 1, 3, 3, 3],
        }
    )
    with pytest.raises(ModelError, match="so wholly above or below"):
        fit_ordinal(table)


def test_equal_scores_are_said_in_words():
    table = pd.DataFrame({"taster": list("pq"), "method": list("AB"), "score": [5, 5]})
    with pytest.raises(ModelError, match="equal scores"):
        fit_ordinal(table)
