"""Every variant of an analysis: which are tried, and what known truth does to them."""

from __future__ import annotations

import numpy as np
import pytest

from kit.analysis.designed_model import MASS_DEVIATION, study_shots
from kit.analysis.outcomes import mean_outcome
from kit.analysis.sensitivity import (
    DECLARED,
    OWN_SDS,
    SENSITIVITY,
    depends_on_method,
    sensitivity,
)
from kit.errors import KitError, ModelError
from kit.trial import Outcome
from tests.analysis.invented import four_naps, invented_shots

TRUTH = {"Harbour": 19.0, "Fjord": 21.0, "Thaw": 19.0, "Cellar": 19.0}


@pytest.fixture(scope="module")
def trial():
    return four_naps()


@pytest.fixture(scope="module")
def shots(trial):
    return invented_shots(trial, np.random.default_rng(5), TRUTH, sd=0.3)


def test_the_variants_and_that_a_large_difference_stands_in_all(trial, shots):
    found = sensitivity(trial, shots, trial.primary)
    assert tuple(found.table.columns) == SENSITIVITY
    assert list(dict.fromkeys(found.table["variant"])) == [
        DECLARED,
        "adjusted for beverage mass",
        "with a trend in the session",
        "with a trend over the trial",
        "each block as fixed",
        OWN_SDS,
        "robust against odd shots",
        "without session S1",
        "without session S2",
        "without session S3",
    ]
    pair = found.table[found.table["a"].eq("Harbour") & found.table["b"].eq("Fjord")]
    assert (pair["verdict"] == "different").all()
    assert ("Harbour", "Fjord") not in found.moved
    assert found.not_possible == {}


def test_the_declared_row_is_the_analysis_itself(trial, shots):
    study, _ = study_shots(shots, trial)
    expected = mean_outcome(trial, trial.primary, study, None).differences
    declared = sensitivity(trial, shots, trial.primary).table.query("variant == @DECLARED")
    for column in ("estimate", "lower", "upper"):
        assert declared[column].to_numpy() == pytest.approx(expected[column].to_numpy())


def test_replaced_and_odd_shots_have_their_own_rows(trial, shots):
    changed = shots.astype({"reason": object})
    first = changed.index[changed["role"].eq("study")][0]
    changed.loc[first, ["status", "reason"]] = ["lost", "spill"]
    other = changed.index[changed["role"].eq("study")][5]
    changed.loc[other, "beverage_g"] += 3.0
    variants = set(sensitivity(trial, changed, trial.primary).table["variant"])
    assert {"with the shots that were replaced or lost", "only shots within tolerance"} <= variants


def test_one_wild_shot_moves_the_mean_and_hardly_the_robust_variant(trial, shots):
    wild = shots.copy()
    place = wild.index[wild["role"].eq("study") & wild["method"].eq("Cellar")][3]
    wild.loc[place, "ey_pct"] += 8.0

    def difference(table, variant):
        row = sensitivity(trial, table, trial.primary).table
        row = row[row["variant"].eq(variant) & row["a"].eq("Fjord") & row["b"].eq("Cellar")]
        return float(row["estimate"].iloc[0])

    robust = "robust against odd shots"
    assert abs(difference(wild, DECLARED) - difference(shots, DECLARED)) > 0.5
    assert abs(difference(wild, robust) - difference(shots, robust)) < 0.15


def test_spread_and_rates_have_their_variants(trial, shots):
    for aspect, measure, sdm in (("spread", "ey_pct", 1.5), ("rate", "faults", 0.2)):
        outcome = Outcome(measure=measure, aspect=aspect, smallest_difference=sdm)
        table = sensitivity(trial, shots, outcome).table
        assert table["variant"].nunique() == 4


def test_mass_that_follows_the_method_is_seen(trial, shots):
    study, _ = study_shots(shots, trial)
    assert depends_on_method(trial, study, MASS_DEVIATION) > 0.01
    study["beverage_deviation_g"] += study["method"].eq("Thaw") * 1.0
    assert depends_on_method(trial, study, MASS_DEVIATION) < 0.001


def test_what_cannot_be_tried_is_listed_with_its_reason(trial, shots):
    one = shots[shots["session"].eq("S1") | shots["method"].isin(["Harbour", "Fjord"])].copy()
    found = sensitivity(trial, one, trial.primary)
    assert all(isinstance(reason, str) and reason for reason in found.not_possible.values())
    with pytest.raises(ModelError, match="Taste scores"):
        sensitivity(trial, shots, Outcome(measure="liking", aspect="score", smallest_difference=1))
    with pytest.raises(KitError):
        sensitivity(trial, shots[shots["method"].eq("Fjord")], trial.primary)
