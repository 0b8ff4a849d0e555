"""The closed form of complete designs against the iterated fit, ANOVA, and its own draws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.analysis.batch.complete import complete_design, draw_complete, fit_complete
from kit.analysis.batch.fit import fit_batch
from kit.analysis.batch.layout import lay_out
from tests.analysis.batch.designs import DESIGNS, complete, incomplete, simulated


@pytest.mark.parametrize("name", ["complete_5x12", "complete_3x4", "blocks_only_4x6"])
def test_agrees_with_the_iterated_fit(name):
    """Variances, zeros included, SE, df and F of 300 trials, to 1e-10 (variances 1e-8)."""
    layout, y, _ = simulated(name, 300, seed=21)
    design = complete_design(layout)
    closed, fits = fit_complete(design, layout, y), fit_batch(layout, y)
    pairs, test = fits.kenward_roger(layout.all_pairs()), fits.method_test()
    scale = closed.variances[-1]
    order = [*design.columns, len(layout.codes)]
    assert fits.converged.all()
    assert closed.variances / scale == pytest.approx(fits.variances[order] / scale, abs=1e-8)
    assert (closed.variances == 0.0).any()
    assert layout.all_pairs() @ closed.means == pytest.approx(pairs.estimate, abs=1e-10)
    assert np.broadcast_to(closed.se, pairs.se.shape) == pytest.approx(pairs.se, rel=1e-9)
    assert np.full(pairs.df.shape, closed.df) == pytest.approx(pairs.df, rel=1e-9)
    assert closed.f(design) == pytest.approx(test.f, rel=1e-8)
    assert test.den_df == pytest.approx(np.full(300, closed.df), rel=1e-8)


def test_within_block_stratum_is_the_two_way_anova():
    """Where no pooling happens the residual is that of the two-way ANOVA (paired t for two)."""
    layout = complete(2, 10, 1)
    rng = np.random.default_rng(22)
    block = 3.0 * rng.standard_normal((10, 1))  # far above zero, so no pooling
    y = (block[layout.codes[0]] + rng.standard_normal((20, 1))).copy()
    closed = fit_complete(complete_design(layout), layout, y)
    first, second = y[layout.fixed[:, 0] == 1, 0], y[layout.fixed[:, 1] == 1, 0]
    paired = stats.ttest_rel(first, second)
    t = (closed.means[0, 0] - closed.means[1, 0]) / closed.se[0]
    assert t == pytest.approx(paired.statistic, rel=1e-10)
    assert closed.df == paired.df


@settings(max_examples=25, deadline=None)
@given(
    st.integers(2, 6), st.integers(2, 4), st.integers(2, 3), st.integers(1, 3), st.integers(0, 999)
)
def test_any_complete_shape(methods, sessions, blocks_each, per_block, seed):
    """Replicates within blocks too: criterion never above that of the iterated fit."""
    block = np.repeat(np.arange(sessions * blocks_each), methods * per_block)
    method = np.tile(np.arange(methods), sessions * blocks_each * per_block)
    layout = lay_out(method, {"block": block, "session": block // blocks_each})
    design = complete_design(layout)
    rng = np.random.default_rng(seed)
    y = rng.standard_normal((layout.n_shots, 5))
    y += 0.5 * rng.standard_normal((block.max() + 1, 5))[block]
    closed, fits = fit_complete(design, layout, y), fit_batch(layout, y)
    assert closed.se == pytest.approx(fits.kenward_roger(layout.all_pairs()).se[0], rel=1e-7)
    assert closed.df == pytest.approx(fits.kenward_roger(layout.all_pairs()).df[0, 0], rel=1e-7)


def test_what_is_not_complete_is_recognised():
    uneven = lay_out(
        [0, 1, 0, 1, 0, 1], {"session": [0, 0, 0, 0, 1, 1], "block": [0, 0, 1, 1, 2, 2]}
    )
    assert complete_design(uneven) is None
    assert complete_design(incomplete()) is None
    assert complete_design(DESIGNS["crossed_tasters"][0]) is None
    assert complete_design(DESIGNS["latin_positions"][0]) is None
    found = complete_design(DESIGNS["complete_5x12"][0])
    assert (found.methods, found.per_block, found.blocks, found.sessions) == (5, 1, 12, 3)


def test_draws_have_the_distribution_of_fits():
    """Variances drawn from sums of squares against fits of drawn shots: two-sample KS, p > 1e-4.

    4,000 trials each, seed 23; mean and SD of a pair against theory within 4 Monte Carlo SE.
    """
    layout, sds = DESIGNS["complete_5x12"]
    design = complete_design(layout)
    rng = np.random.default_rng(23)
    random = np.array([sds[1] ** 2, sds[0] ** 2])  # block, then session
    means = np.array([0.0, 0.5, 0.0, 0.0, 0.0])
    drawn = draw_complete(design, means, random, 0.45**2, rng, 4_000)
    _, y, _ = simulated("complete_5x12", 4_000, seed=24)
    fitted = fit_complete(design, layout, y)
    for a, b in zip(drawn.variances, fitted.variances, strict=True):
        assert stats.ks_2samp(a, b).pvalue > 1e-4
    pair = drawn.means[1] - drawn.means[0]
    sd = 0.45 * np.sqrt(2 / 12)
    assert pair.mean() == pytest.approx(0.5, abs=4 * sd / np.sqrt(4_000))
    assert pair.std(ddof=1) == pytest.approx(sd, rel=4 / np.sqrt(2 * 4_000))
