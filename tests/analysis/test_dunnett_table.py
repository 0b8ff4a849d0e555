"""The fast critical values against the exact ones, with and without lost shots."""

import numpy as np
import pytest

from kit.analysis.batch.fit import fit_batch
from kit.analysis.distributions import multivariate_t_ppf, multivariate_t_upper_ppf
from kit.analysis.dunnett_table import best_table, dunnett_table
from tests.analysis.batch.designs import simulated
from tests.analysis.dense_reference import dense_fit


@pytest.mark.parametrize("m", [1, 2, 4, 9])
def test_equal_correlations(m):
    """Between the nodes, and below 2 df where the exact function takes over."""
    R = 0.5 * (np.eye(m) + 1)
    df = np.array([1.3, 2.07, 3.4, 7.9, 44.2, 311.0, np.inf])
    two = [multivariate_t_ppf(0.95, R, v) for v in df]
    one = [multivariate_t_upper_ppf(0.95, R, v) for v in df]
    assert dunnett_table(m).critical(df) == pytest.approx(two, rel=1e-6)
    assert best_table(m).critical(df) == pytest.approx(one, rel=1e-6)


def test_lost_shots_move_the_critical_value_little():
    """5 x 12 with 15 % lost: the exact value with each trial's own correlations, within 1 %."""
    layout, y, kept = simulated("complete_5x12", 6, seed=41, loss=0.15)
    rows = layout.against(0)
    fits = fit_batch(layout, y, kept)
    df = fits.kenward_roger(rows).df
    for t in range(6):
        here = kept[:, t]
        labels = [codes[here] for codes in layout.codes]
        dense = dense_fit(y[here, t], layout.fixed[here], labels, fits.variances[:, t])
        cov = rows @ dense.cov_kr @ rows.T
        sd = np.sqrt(np.diag(cov))
        exact = multivariate_t_ppf(0.95, cov / np.outer(sd, sd), df[0, t])
        assert dunnett_table(4).critical(df[:1, t])[0] == pytest.approx(exact, rel=1e-2)
