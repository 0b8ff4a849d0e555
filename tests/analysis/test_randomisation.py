"""The re-randomisation test, against published enumerations, the t test and its own promise."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.analysis.contrast_families import control_contrasts, factorial_contrasts, pair_contrasts
from kit.analysis.randomisation import disagrees, randomisation_test, study_places
from kit.errors import DataError, ModelError
from kit.schedule.scheme import CompleteScheme


def blocks(scheme, rng, response):
    """Study shots in schedule order, their labels drawn from the scheme."""
    size = len(scheme.block)
    labels = scheme.draw(rng)
    return pd.DataFrame(
        {
            "method": labels,
            "block": np.repeat([f"b{i:02}" for i in range(scheme.blocks)], size),
            "ey_pct": response,
        }
    )


def test_boys_shoes():
    """Box, Hunter & Hunter (2005), boys' shoes: 3 draws beyond and 4 equal of 1024, one-sided."""
    a = [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3]
    b = [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6]
    table = pd.DataFrame(
        {
            "method": list("AB") * 10,
            "block": np.repeat(np.arange(10), 2),
            "ey_pct": np.column_stack([a, b]).ravel(),
        }
    )
    result = randomisation_test(
        table,
        np.arange(20),
        CompleteScheme(("A", "B"), None, (0, 1), 10),
        pair_contrasts(["A", "B"]),
        np.random.default_rng(1),
        random=["block"],
    )
    assert result.exhaustive
    assert result.draws == 1024
    assert result.contrasts["estimate"][0] == pytest.approx(-0.41)
    assert result.p == pytest.approx(2 * (3 + 4) / 1024)


def test_tea_tasting():
    """Fisher (1935): all eight cups right is 1 draw of 70, one-sided."""
    table = pd.DataFrame({"method": list("MMMMTTTT"), "ey_pct": [1.0] * 4 + [0.0] * 4})
    table.loc[0, "ey_pct"] = 1.001  # a residual of nought has no t
    result = randomisation_test(
        table,
        np.arange(8),
        CompleteScheme(("M", "T"), None, (0, 0, 0, 0, 1, 1, 1, 1), 1),
        pair_contrasts(["M", "T"]),
        np.random.default_rng(1),
    )
    assert result.draws == 70
    assert result.p == pytest.approx(2 / 70)


def test_near_the_t_test_when_its_assumptions_hold():
    """Normal shots in complete blocks: the two p values agree (t test of blocks, scipy)."""
    rng = np.random.default_rng(7)
    scheme = CompleteScheme(("A", "B"), None, (0, 1), 30)
    table = blocks(scheme, rng, rng.normal(20, 0.4, 60))
    table.loc[table["method"] == "A", "ey_pct"] += 0.15
    wide = table.pivot_table(index="block", columns="method", values="ey_pct")
    expected = stats.ttest_rel(wide["A"], wide["B"]).pvalue
    result = randomisation_test(
        table, np.arange(60), scheme, pair_contrasts(["A", "B"]), rng, random=["block"], draws=9999
    )
    row = result.contrasts.iloc[0]
    assert row["p"] == pytest.approx(expected, abs=0.02)
    assert not disagrees(expected, row["p_low"], row["p_high"])


def test_level_holds_for_skewed_drifting_shots_with_losses():
    """200 null trials (seed 3), 99 draws each, 15 % lost: 5 % false alarms within 3 MC errors."""
    rng = np.random.default_rng(3)
    scheme = CompleteScheme(("A", "B", "C"), None, (0, 1, 2), 6)
    alarms = 0
    for _ in range(200):
        table = blocks(scheme, rng, rng.gamma(1, 1, 18) - 0.2 * np.arange(18))
        table = table[rng.uniform(size=18) > 0.15]
        result = randomisation_test(
            table,
            table.index.to_numpy(),
            scheme,
            pair_contrasts(list("ABC")),
            rng,
            random=["block"],
            draws=99,
        )
        alarms += result.p <= 0.05
    assert alarms / 200 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 200)
    assert alarms > 0


def test_adjusted_p_is_never_below_the_single_one():
    rng = np.random.default_rng(9)
    scheme = CompleteScheme(tuple("ABCD"), None, (0, 1, 2, 3), 5)
    table = blocks(scheme, rng, rng.normal(size=20))
    for contrasts in (pair_contrasts(list("ABCD")), control_contrasts(list("ABCD"), "B")):
        table_out = randomisation_test(
            table, np.arange(20), scheme, contrasts, rng, random=["block"], draws=499
        ).contrasts
        assert list(table_out["contrast"]) == list(contrasts)
        assert (table_out["p_adjusted"] >= table_out["p"]).all()
        assert (
            (table_out["p_low"] <= table_out["p"]) & (table_out["p"] <= table_out["p_high"])
        ).all()


def test_the_same_seed_gives_the_same_p():
    scheme = CompleteScheme(tuple("AB"), None, (0, 1), 20)
    table = blocks(scheme, np.random.default_rng(1), np.random.default_rng(2).normal(size=40))
    again = [
        randomisation_test(
            table, np.arange(40), scheme, pair_contrasts(["A", "B"]), np.random.default_rng(5)
        ).p
        for _ in range(2)
    ]
    assert again[0] == again[1]


def test_pilot_plant_effects():
    """Box, Hunter & Hunter, pilot plant: T 23, C −5, K 1.5, TC 1.5, TK 10, CK 0 (halves)."""
    response = dict(zip(range(8), [60, 72, 54, 68, 52, 83, 45, 80], strict=True))
    factors = {"T": ["160", "180"], "C": ["20", "40"], "K": ["A", "B"]}
    settings = {
        str(i): {"T": factors["T"][i & 1], "C": factors["C"][i >> 1 & 1], "K": factors["K"][i >> 2]}
        for i in range(8)
    }
    effects = {
        name: sum(weight * response[int(cell)] for cell, weight in weights.items())
        for name, weights in factorial_contrasts(settings, factors).items()
    }
    expected = {
        "T: 180 − T: 160": 23,
        "C: 40 − C: 20": -5,
        "K: B − K: A": 1.5,
        "T with C": 2 * 1.5,
        "T with K": 2 * 10,
        "C with K": 0,
    }
    assert effects == pytest.approx(expected)


def test_places_of_shots_and_of_the_spares_that_replace_them():
    schedule = pd.DataFrame(
        {"planned_shot": [1, 2, 3, 4, 5], "role": ["warm-up", "study", "study", "study", "spare"]}
    )
    shots = pd.DataFrame({"planned_shot": [2, 5, 4], "replaces": [np.nan, 3, np.nan]})
    assert study_places(shots, schedule).tolist() == [0, 1, 2]
    with pytest.raises(DataError, match="no study shot"):
        study_places(pd.DataFrame({"planned_shot": [1]}), schedule)


def test_what_cannot_be_judged_is_said():
    scheme = CompleteScheme(tuple("AB"), None, (0, 1), 3)
    table = blocks(scheme, np.random.default_rng(1), np.arange(6.0))
    rng = np.random.default_rng(1)
    with pytest.raises(ModelError, match="no shot is left"):
        randomisation_test(table, range(6), scheme, pair_contrasts(["A", "C"]), rng)
    with pytest.raises(ModelError, match="No contrast"):
        randomisation_test(table, range(6), scheme, {}, rng)
    with pytest.raises(DataError, match="plan was changed"):
        randomisation_test(table, range(3, 9), scheme, pair_contrasts(["A", "B"]), rng)


@pytest.mark.parametrize(
    ("p", "low", "high", "expected"),
    [(0.04, 0.03, 0.05, False), (0.28, 0.30, 0.33, False), (0.01, 0.03, 0.05, True)],
)
def test_disagreement(p, low, high, expected):
    assert disagrees(p, low, high) is expected
