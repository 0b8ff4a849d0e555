"""Dunnett's and Hsu's distributions against values and rules from outside the project."""

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.distributions import (
    multivariate_t_ppf,
    multivariate_t_sf,
    multivariate_t_upper_ppf,
    multivariate_t_upper_sf,
)
from kit.errors import ModelError
from tests.analysis.dense_reference import dense_fit

REFERENCE = Path(__file__).parents[1] / "reference"
CASES = [
    "appletaste_bibd",
    "esp_complete",
    "esp_missing15_int",
    "esp_missingcells",
    "orchard_latin",
    "penicillin_fixed",
    "sleep_paired",
]


def equicorrelated(m, rho=0.5):
    return np.full((m, m), rho) + (1 - rho) * np.eye(m)


def random_dunnett(rng, m, unevenness):
    """Correlations of m comparisons with a control whose covariances are uneven."""
    a = rng.normal(size=(m + 1, m + 1)) * unevenness
    cov = np.diag(1 / rng.uniform(8, 12, m + 1)) + a @ a.T
    contrast = np.hstack([-np.ones((m, 1)), np.eye(m)])
    c = contrast @ cov @ contrast.T
    sd = np.sqrt(np.diag(c))
    return c / np.outer(sd, sd)


def contrast_rows(case, levels, rows):
    out = np.zeros((len(rows), len(levels)))
    for i, row in enumerate(rows):
        for sign, name in zip((1, -1), row["contrast"].split(" - "), strict=True):
            name = name.strip("()")
            match = [j for j, level in enumerate(levels) if name == level or name.endswith(level)]
            out[i, match[0]] = sign
    return out


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("kind", ["kr", "satt"])
def test_dunnett_of_reference_fits(name, kind):
    """p_dunnett_mvt_exact and crit_dunnett_exact of tests/reference/lmm (R, own quadrature there).

    The correlation matrix is rebuilt from the data and the reference's variances by the
    dense formulas, whose SE and KR df must agree with the reference too.
    """
    case = json.loads((REFERENCE / "lmm" / f"{name}.json").read_text())
    data = pd.read_csv(REFERENCE / case["data"])
    response, rhs = case["formula_r"].split(" ~ ")
    random = re.findall(r"\(1 \| (\w+)\)", rhs)
    (term,) = case["emmeans"]
    levels = case["levels"][term]
    X = np.array([[float(str(v) == level) for level in levels] for v in data[term]])
    variances = [case["varcomp"][c] for c in [*random, "Residual"]]
    fit = dense_fit(data[response].to_numpy(float), X, [data[c] for c in random], variances)
    rows = case["emmeans"][term][kind]["vs_control"]
    L = contrast_rows(case, levels, rows)
    cov = L @ (fit.cov_kr if kind == "kr" else fit.cov) @ L.T
    sd = np.sqrt(np.diag(cov))
    assert sd == pytest.approx([row["se"] for row in rows], rel=1e-9)
    R = cov / np.outer(sd, sd)
    for row in rows:
        assert multivariate_t_sf(row["t"], R, row["df"]) == pytest.approx(
            row["p_dunnett_mvt_exact"], abs=1e-9
        )
    if rows[0]["crit_dunnett_exact"] is not None:
        critical = multivariate_t_ppf(0.95, R, rows[0]["df"])
        assert critical == pytest.approx(rows[0]["crit_dunnett_exact"], abs=1e-9)


@pytest.mark.parametrize("df", [0.7, 2.0, 7.3, 44.0, 1e6, np.inf])
def test_one_comparison_is_the_t_distribution(df):
    """scipy.stats.t (and the normal) is the case of one contrast."""
    one = np.eye(1)
    for t in (0.0, 0.4, 2.1, 9.0):
        expected = 2 * (stats.t.sf(t, df) if np.isfinite(df) else stats.norm.sf(t))
        assert multivariate_t_sf(t, one, df) == pytest.approx(expected, abs=1e-12)
        assert multivariate_t_upper_sf(-t, one, df) == pytest.approx(1 - expected / 2, abs=1e-12)


def test_independent_normals():
    """With R = I and known variance the tail is 1 - (1 - p)^m exactly."""
    for m in (3, 6):
        p = 2 * stats.norm.sf(2.2)
        assert multivariate_t_sf(2.2, np.eye(m), np.inf) == pytest.approx(
            1 - (1 - p) ** m, abs=1e-13
        )


@pytest.mark.parametrize(("m", "unevenness"), [(4, 0.1), (5, 0.1), (8, 0.1), (5, 0.35), (9, 0.3)])
def test_general_correlation_against_scipy(m, unevenness):
    """scipy.stats.multivariate_t.cdf (randomised quasi-Monte Carlo, its own error to 5e-5)."""
    R = random_dunnett(np.random.default_rng(m), m, unevenness)
    peer = stats.multivariate_t(shape=R, df=17)
    for t in (1.5, 2.6):
        high = np.full(m, t)
        inside = peer.cdf(high, lower_limit=-high, maxpts=400_000, random_state=1)
        assert multivariate_t_sf(t, R, 17) == pytest.approx(1 - inside, abs=2e-4)
        upper = peer.cdf(high, maxpts=400_000, random_state=2)
        assert multivariate_t_upper_sf(t, R, 17) == pytest.approx(1 - upper, abs=2e-4)


def test_general_route_continues_the_product_route():
    """A correlation moved by 1e-7 from product form must move p by no more than about as much."""
    R = equicorrelated(5)
    moved = R.copy()
    moved[0, 1] = moved[1, 0] = 0.5 + 1e-7
    assert abs(multivariate_t_sf(2.4, moved, 30) - multivariate_t_sf(2.4, R, 30)) < 1e-7


@settings(max_examples=12, deadline=None)
@given(st.integers(2, 8), st.floats(1.0, 200.0), st.floats(0.5, 0.999), st.integers(0, 10_000))
def test_quantile_inverts_and_stays_between_bounds(m, df, level, seed):
    """ppf inverts sf; the point lies between the unadjusted and the Bonferroni t."""
    R = random_dunnett(np.random.default_rng(seed), m, 0.1)
    c = multivariate_t_ppf(level, R, df)
    assert multivariate_t_sf(c, R, df) == pytest.approx(1 - level, abs=1e-9)
    alpha = 1 - level
    assert stats.t.isf(alpha / 2, df) <= c <= stats.t.isf(alpha / 2 / m, df) + 1e-9
    u = multivariate_t_upper_ppf(level, R, df)
    assert multivariate_t_upper_sf(u, R, df) == pytest.approx(alpha, abs=1e-9)
    assert u < c


@pytest.mark.parametrize(
    ("R", "df", "words"),
    [
        (np.ones((2, 2)), 10, "not linearly independent"),
        (np.array([[1, 0.2], [0.4, 1]]), 10, "symmetric"),
        (np.ones((2, 3)), 10, "square"),
        (np.eye(2), 0.0, "above zero"),
        (np.array([[1, np.nan], [np.nan, 1]]), 5, "finite"),
    ],
)
def test_refuses_in_words(R, df, words):
    with pytest.raises(ModelError, match=words):
        multivariate_t_sf(2.0, R, df)


def test_level_must_be_a_probability():
    with pytest.raises(ModelError, match="between 0 and 1"):
        multivariate_t_ppf(95, np.eye(2), 10)
