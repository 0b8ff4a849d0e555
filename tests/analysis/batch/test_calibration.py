"""Nominal levels hold: the calibration benchmark on two designs, small enough for every run."""

import pytest

from tests.benchmarks.calibration import cases, study


@pytest.mark.parametrize("name", ["5 x 12 complete", "5 x 12, 15 % lost"])
def test_type_one_error_of_the_usual_designs(name):
    """10,240 trials, stated seed: 4.5 to 5.5 % per pair and family-wise, nothing set aside.

    Monte Carlo error 0.10 points a pair, 0.22 family-wise; coverage of all pairs at once and
    of the set that may be the best at least 95 % less three Monte Carlo errors.
    """
    (case,) = [c for c in cases() if c.name == name]
    found = study(case, 10_240, library_fits=0, jobs=1)
    assert found["not_converged"] == 0.0
    assert 0.045 < found["type_one_pair"]["share"] < 0.055
    assert 0.045 < found["type_one_family"]["share"] < 0.055
    assert found["wald_type_one_pair"]["share"] > found["type_one_pair"]["share"]
    for cover in ("coverage_pair", "coverage_all_pairs", "best_kept_equal", "best_kept_apart"):
        assert found[cover]["share"] > 0.95 - 3 * found[cover]["mc_error"] - 0.002
    bias = found["bias_first_pair"]
    assert abs(bias["mean"]) < 4 * bias["mc_error"]
