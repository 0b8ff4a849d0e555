"""A residual SD for each method: inference by dense formulas, a residual SD of zero, two optima."""

import numpy as np
import pytest

from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model
from tests.analysis.dense_reference import indicator
from tests.analysis.test_mixedmodel import trial
from tests.benchmarks.multistart import DESIGNS, SEED, own_sds

POSITION = list(DESIGNS).index("4x8, own SDs, 10 % lost")


def found_set(i):
    """Data set number i of tests/benchmarks/multistart.py, fitted with its model."""
    table, fixed, random, by = own_sds(np.random.default_rng([SEED, POSITION, i]))
    return table, fit_mixed_model(table, "ey", fixed, random, by)


def dense_pair(table, fit, response, random):
    """First pair by Kenward & Roger (1997), n x n matrices: estimate, SE, df."""
    v = fit.variance_components
    zs = [indicator(table[name]) for name in random]
    methods = indicator(table["method"])
    g = [z @ z.T for z in zs] + [np.diag(column) for column in methods.T]
    big = sum(value * part for value, part in zip(v, g, strict=True))
    vi = np.linalg.inv(big)
    phi = np.linalg.inv(methods.T @ vi @ methods)
    p = vi - vi @ methods @ phi @ methods.T @ vi
    w = np.linalg.inv([[0.5 * np.trace(p @ a @ p @ b) for b in g] for a in g])
    first = [methods.T @ vi @ a @ vi @ methods for a in g]
    inner = sum(
        w[i, j] * (methods.T @ vi @ a @ vi @ b @ vi @ methods - first[i] @ phi @ first[j])
        for i, a in enumerate(g) for j, b in enumerate(g)
    )  # fmt: skip
    contrast = np.array([1.0, -1.0, *np.zeros(methods.shape[1] - 2)])
    adjusted = phi + 2 * phi @ inner @ phi
    slope = np.array([contrast @ phi @ f @ phi @ contrast for f in first])
    df = 2 * (contrast @ phi @ contrast) ** 2 / (slope @ w @ slope)
    beta = phi @ methods.T @ vi @ table[response].to_numpy()
    return [contrast @ beta, np.sqrt(contrast @ adjusted @ contrast), df]


def test_kenward_roger_by_dense_formulas():
    table = trial(21, blocks=8, lost=4)
    random = ["session", "block"]
    fit = fit_mixed_model(table, "ey_pct", "method", random, "method")
    pair = all_pairs(fit, "method").iloc[0]
    expected = dense_pair(table, fit, "ey_pct", random)
    assert pair[["estimate", "se", "df"]].to_numpy(float) == pytest.approx(expected, rel=1e-6)


def test_residual_sd_of_zero_is_fitted_and_said():
    """Data set 3: the block effects follow method m1 exactly."""
    table, fit = found_set(3)
    assert fit.variance_components["residual[m1]"] == 0.0
    assert fit.certificate.converged
    said = fit.certificate.words()
    assert "The shot-to-shot SD of m1 is estimated as zero" in said
    assert "do not read it as perfect consistency" in said
    pair = all_pairs(fit, "method").iloc[0]
    expected = dense_pair(table, fit, "ey", ["session", "block"])
    assert pair[["estimate", "se", "df"]].to_numpy(float) == pytest.approx(expected, rel=1e-6)
    for small in (1e-4, 1e-3):  # the criterion rises as soon as the SD leaves zero
        theta = fit.theta.copy()
        theta[fit.variance_components.index.get_loc("residual[m1]")] = small
        m = fit.model.moments(theta)
        assert m.log_det_v + m.log_det_xvx + m.rss > fit.optimum.criterion.value


def test_second_optimum_is_reported():
    """Data set 45 has two optima, 0.285 apart; the fit takes the better and says so."""
    _, fit = found_set(45)
    assert fit.certificate.converged
    assert fit.certificate.other_optima == pytest.approx((0.2854,), abs=1e-3)
    assert fit.certificate.starts_agreeing < fit.certificate.starts
    assert "second, worse solution" in fit.certificate.words()
