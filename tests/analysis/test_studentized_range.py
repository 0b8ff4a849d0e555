"""The studentized range against scipy, tables and identities; the fast table against the exact."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.distributions import studentized_range_ppf, studentized_range_sf
from kit.analysis.range_table import studentized_range_table
from kit.errors import ModelError

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.mark.parametrize("k", [2, 3, 5, 10, 30])
@pytest.mark.parametrize("df", [1.0, 1.7, 8.0, 44.0, 500.0, np.inf])
def test_tail_against_scipy(k, df):
    """scipy.stats.studentized_range (adaptive double integral)."""
    for q in (0.3, 3.1, 6.0):
        expected = stats.studentized_range.sf(q, k, df)
        assert float(studentized_range_sf(q, k, df)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("k", "df", "q"),
    [(3, 10, 3.877), (4, 20, 3.958), (5, 44, 4.021), (6, 60, 4.163), (10, 120, 4.560)],
)
def test_published_critical_values(k, df, q):
    """Harter's table (1960), 5 %, three decimals; from memory, except (5, 44): scipy."""
    assert float(studentized_range_ppf(0.95, k, df)) == pytest.approx(q, abs=2e-3)


@pytest.mark.parametrize("name", ["esp_missing15_int", "orchard_latin", "esp_complete"])
def test_tukey_of_reference_fits(name):
    """p_tukey and lower_tukey of tests/reference/lmm (R, each contrast's own df)."""
    case = json.loads((REFERENCE / "lmm" / f"{name}.json").read_text())
    for block in case["emmeans"].values():
        k = len(block["kr"]["emm"])
        for row in block["kr"]["pairwise"]:
            p = float(studentized_range_sf(np.sqrt(2) * abs(row["t"]), k, row["df"]))
            assert p == pytest.approx(row["p_tukey"], abs=1e-6)
            half = float(studentized_range_ppf(0.95, k, row["df"])) / np.sqrt(2) * row["se"]
            assert row["estimate"] - half == pytest.approx(row["lower_tukey"], abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 30.0), st.floats(0.3, 1e5))
def test_two_means_are_the_t_test(t, df):
    """For k = 2 the range of two is |t| times sqrt(2): scipy.stats.t, relative accuracy."""
    expected = 2 * stats.t.sf(t, df)
    got = float(studentized_range_sf(np.sqrt(2) * t, 2, df))
    assert got == pytest.approx(expected, rel=1e-8, abs=1e-15)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 20), st.floats(0.8, 500.0), st.floats(0.01, 0.999))
def test_quantile_inverts(k, df, level):
    q = float(studentized_range_ppf(level, k, df))
    assert float(studentized_range_sf(q, k, df)) == pytest.approx(1 - level, abs=1e-11)


@pytest.mark.parametrize("k", [2, 3, 5, 6, 12])
def test_table_states_its_error(k):
    """The fast table against the exact functions, at points between its nodes."""
    rng = np.random.default_rng(20_000 + k)
    table = studentized_range_table(k)
    q = np.concatenate([rng.uniform(0, 9, 150), rng.uniform(0, 60, 50)])
    df = np.concatenate([rng.uniform(1.2, 90, 120), 1 / rng.uniform(0, 0.5, 80)])
    assert np.abs(table.sf(q, df) - studentized_range_sf(q, k, df)).max() < 5e-6
    exact = studentized_range_ppf(0.95, k, df)
    assert np.abs(table.critical(df) / exact - 1).max() < 1e-6


def test_hardly_any_df_gives_no_limit_instead_of_an_error():
    """At 0.01 df the 5 % point is beyond any number of use: infinite, and p large."""
    assert np.isinf(studentized_range_ppf(0.95, 3, [0.01, 0.02])).all()
    assert studentized_range_table(3).critical([0.01])[0] == np.inf
    assert float(studentized_range_sf(4.0, 3, 0.01)) > 0.8


@pytest.mark.parametrize(("k", "df"), [(1, 10.0), (2.5, 10.0), (3, 0.0), (3, -1.0), (3, np.nan)])
def test_refuses_in_words(k, df):
    with pytest.raises(ModelError):
        studentized_range_sf(3.0, k, df)
