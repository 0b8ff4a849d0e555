"""Second looks at taste, false discoveries, and reading discrimination tests from tastings."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.taste import discoveries, discrimination_results, second_look
from kit.errors import DataError


def cups(effect, rng, tasters=10):
    rows = [
        {"taster": f"T{t}", "method": method, "score": 5 + own + shift + rng.normal(0, 0.7)}
        for t, own in enumerate(rng.normal(0, 0.8, tasters))
        for method, shift in effect.items()
        for _ in range(2)
    ]
    table = pd.DataFrame(rows)
    return table.assign(score=table["score"].round().clip(1, 9))


def looked_at(table):
    fit = fit_mixed_model(table, "score", "method", ["taster"])
    return second_look(table, all_pairs(fit, "method"))


def test_the_three_agree_on_a_large_difference():
    look = looked_at(cups({"A": 0.0, "B": 1.8, "C": 0.0}, np.random.default_rng(1)))
    assert look.table["agree"].all()
    assert "agree on every pair" in look.sentence
    row = look.table.set_index(["a", "b"]).loc[("A", "B")]
    assert row["estimate"] < 0
    assert row["log_odds"] < 0
    assert row["rank_difference"] < 0
    assert row[["p_adjusted", "p_ordinal", "p_rank"]].max() < 0.05


def test_one_wild_taster_makes_them_disagree():
    table = cups({"A": 0.0, "B": 1.2}, np.random.default_rng(2))
    pairs = pd.DataFrame({"a": ["B"], "b": ["A"], "estimate": [0.1], "p_adjusted": [0.6]})
    look = second_look(table, pairs)
    assert not look.table["agree"][0]
    assert "B and A" in look.sentence


def test_a_fine_scale_has_no_ordinal_model_and_says_so():
    table = cups({"A": 0.0, "B": 1.0}, np.random.default_rng(3))
    table["score"] += np.random.default_rng(4).uniform(0, 0.4, len(table))
    look = looked_at(table)
    assert "different scores" in look.not_possible["ordinal model"]
    assert look.table["log_odds"].isna().all()
    assert "the ranks agree" in look.sentence


def test_benjamini_and_hochberg_1995():
    """The paper's 15 p values: 4 rejected at 0.05 by the procedure, 3 by Bonferroni."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344]
    p += [0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000]
    found = discoveries({f"h{i}": value for i, value in enumerate(p)})
    assert found["stands"].sum() == 4
    assert (found["p"] < 0.05 / 15).sum() == 3
    assert (found["q"] >= found["p"]).all()


def test_no_or_impossible_p_values():
    assert discoveries({}).empty
    with pytest.raises(DataError, match="0 to 1"):
        discoveries({"sour": 1.2})


def test_discrimination_from_tastings():
    tastings = pd.DataFrame(
        {
            "attribute": ["liking"] + ["duo-trio Glen/Aln"] * 24 + ["triangle Glen/Aln"] * 3,
            "score": [7.0] + [1.0] * 14 + [0.0] * 10 + [np.nan, 1.0, 0.0],
        }
    )
    results = discrimination_results(tastings)
    assert list(results) == ["duo-trio Glen/Aln", "triangle Glen/Aln"]
    assert (results["duo-trio Glen/Aln"].correct, results["duo-trio Glen/Aln"].n) == (14, 24)
    assert results["triangle Glen/Aln"].n == 2
    with pytest.raises(DataError, match="1 for right"):
        discrimination_results(tastings.assign(score=2.0))
