"""The reference chart against NIST, and what the order was worth against known truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from kit.analysis.designed_model import study_shots
from kit.analysis.drift import carry_over, order_effects, reference_chart
from kit.errors import ModelError
from tests.analysis.invented import four_naps, invented_shots

# NIST/SEMATECH e-Handbook 6.3.2.2, flow-rate example of an individuals chart.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
TRUTH = {"Harbour": 19.4, "Fjord": 19.9, "Thaw": 19.6, "Cellar": 19.4}


def reference_shots(values, sessions):
    return pd.DataFrame(
        {
            "shot": np.arange(1, len(values) + 1),
            "session": sessions,
            "role": "reference",
            "status": "kept",
            "ey_pct": values,
        }
    )


def test_individuals_chart():
    """NIST/SEMATECH 6.3.2.2: mean 50.81, mean range 1.8778, limits 55.8041 and 45.8159."""
    chart = reference_chart(reference_shots(FLOW, ["S1"] * 10))
    assert chart["centre"][0] == pytest.approx(50.81)
    assert chart["upper"][0] == pytest.approx(55.8041, abs=0.005)  # they divide by 1.128
    assert chart["lower"][0] == pytest.approx(45.8159, abs=0.005)
    assert not chart["signal"].any()


def test_a_step_between_days_does_not_widen_the_limits():
    values = [19.0, 19.1, 19.0, 21.0, 21.1, 21.0]
    chart = reference_chart(reference_shots(values, list("aaabbb")))
    assert chart["upper"][0] - chart["lower"][0] == pytest.approx(6 * 0.1 / 1.128, rel=1e-3)
    assert chart["signal"].all()


def test_other_roles_and_lost_shots_do_not_enter():
    shots = reference_shots(FLOW, ["S1"] * 10)
    extra = pd.concat(
        [shots, shots.assign(role="study", ey_pct=0.0), shots.assign(status="lost", ey_pct=0.0)]
    )
    assert reference_chart(extra)["value"].tolist() == FLOW


def test_too_few_reference_shots_are_said():
    with pytest.raises(ModelError, match="no reference shots"):
        reference_chart(reference_shots(FLOW, ["S1"] * 10).assign(role="study"))
    with pytest.raises(ModelError, match="no two in one session"):
        reference_chart(reference_shots([19.0, 20.0], ["S1", "S2"]))


def test_a_trend_put_in_comes_out():
    trial = four_naps()
    shots = invented_shots(trial, np.random.default_rng(1), TRUTH, sd=0.1)
    shots["ey_pct"] -= 0.05 * shots["session_position"].astype(float)
    study, _ = study_shots(shots, trial)
    effects = order_effects(study, "ey_pct", "method", ["session", "block"]).set_index("effect")
    slope = effects.loc["each later pull in a session"]
    assert slope["lower"] < -0.05 < slope["upper"]
    assert slope["p"] < 0.001


def test_a_leak_put_in_comes_out():
    trial = four_naps()
    shots = invented_shots(trial, np.random.default_rng(2), TRUTH, sd=0.1)
    study, _ = study_shots(shots, trial)
    test, _ = carry_over(study, "ey_pct", "method", ["session", "block"])
    assert test["p"][0] > 0.01
    study["ey_pct"] += 0.8 * study["previous_method"].eq("Thaw")
    test, pairs = carry_over(study, "ey_pct", "method", ["session", "block"])
    assert test["p"][0] < 0.001
    leak = pairs[pairs["b"].eq("Thaw") | pairs["a"].eq("Thaw")]
    assert (leak["estimate"].abs() - 0.8).abs().max() < 0.3


def test_carry_over_needs_different_methods_before():
    study = pd.DataFrame({"previous_method": ["none", "A", "A"], "method": ["A", "B", "C"]})
    with pytest.raises(ModelError, match="same method"):
        carry_over(study, "ey_pct", "method", [])
