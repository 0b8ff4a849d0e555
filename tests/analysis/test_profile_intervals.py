"""Profile intervals against brute force on the dense criterion, and against closed forms."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import minimize_scalar

from kit.analysis.mixedmodel import fit_mixed_model
from kit.analysis.profile_intervals import variance_intervals
from tests.analysis import reference
from tests.analysis.dense_reference import dense_fit
from tests.analysis.test_mixedmodel import trial


def test_limits_lie_where_the_dense_criterion_has_risen_by_the_quantile():
    """Dyestuff (Davies & Goldsmith 1972); brute-force minimisation over the other component."""
    table = reference.data(reference.values("lmm/dyestuff"))
    y, x = table["Yield"].to_numpy(float), np.ones((len(table), 1))
    fit = fit_mixed_model(table, "Yield", "1", ["Batch"])
    target = fit.reml_criterion + stats.chi2.ppf(0.9, 1)
    found = variance_intervals(fit, level=0.9).set_index("component")
    for name, order in (("Batch", 1), ("residual", -1)):
        for side in ("sd_lower", "sd_upper"):
            held = found.loc[name, side] ** 2

            def criterion(log_other, held=held, order=order):
                return dense_fit(
                    y, x, [table["Batch"]], [held, np.exp(log_other)][::order]
                ).criterion

            best = minimize_scalar(criterion, bounds=(-2, 14), method="bounded",
                                   options={"xatol": 1e-10})  # fmt: skip
            assert best.fun == pytest.approx(target, abs=1e-6)


def test_least_squares_profile_is_the_chi_square_likelihood():
    """One variance: ν log σ² + RSS/σ² is known exactly; its two roots by bisection."""
    fit = fit_mixed_model(trial(4), "ey_pct", "method + block")
    row = variance_intervals(fit).iloc[0]
    nu = fit.n - len(fit.beta)
    for limit in (row["sd_lower"], row["sd_upper"]):
        ratio = (limit / row["sd"]) ** 2
        rise = nu * (np.log(ratio) + 1 / ratio - 1)
        assert rise == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-8)


def test_zero_component_starts_at_zero():
    fit = next(f for s in range(50) if (f := fit_mixed_model(
        trial(s, block_sd=0.0), "ey_pct", "method", ["block"])).at_boundary)  # fmt: skip
    row = variance_intervals(fit).set_index("component").loc["block"]
    assert row["sd"] == row["sd_lower"] == 0
    assert 0.05 < row["sd_upper"] < 2
