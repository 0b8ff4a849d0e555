"""Streams by chunk, drawn trials, and power from error contrasts."""

import numpy as np
import pytest
from scipy import stats

from kit.analysis.batch.simulate import (
    ErrorContrasts,
    SimulatedContrasts,
    Truth,
    conditional_power,
    draw_trials,
    equal_truth,
)
from kit.analysis.batch.streams import CHUNK, run_chunks, stream_chunks
from kit.errors import PlanError
from tests.analysis.batch.designs import DESIGNS, complete


def work(name="complete_5x12", loss=0.1):
    layout, sds = DESIGNS[name]
    k = layout.n_methods
    return SimulatedContrasts(layout, Truth((0.0,) * k, sds, (0.45,) * k, loss), layout.all_pairs())


def test_results_do_not_depend_on_workers_or_on_how_many_follow():
    """Bit for bit: one worker, two workers, and the start of a longer run."""
    one = run_chunks(work(), 2 * CHUNK + 100, np.random.default_rng(31))
    two = run_chunks(work(), 2 * CHUNK + 100, np.random.default_rng(31), n_jobs=2)
    short = run_chunks(work(), CHUNK + 7, np.random.default_rng(31))
    for key, values in one.items():
        assert np.array_equal(values, two[key])
        assert np.array_equal(values[..., : CHUNK + 7], short[key])
    assert one["se"].shape == (10, 2 * CHUNK + 100)


def test_chunks_come_in_order_and_can_be_left():
    stream = stream_chunks(work(), 10**9 // 1000, np.random.default_rng(32))
    first = next(stream)
    again = next(stream_chunks(work(), CHUNK, np.random.default_rng(32)))
    assert np.array_equal(first["estimate"], again["estimate"])


def test_drawn_trials_have_the_assumed_moments():
    """Means, covariances within session and block, loss: 40,000 trials, 5 Monte Carlo SE."""
    layout = complete(3, 4, 2)
    truth = Truth((1.0, 0.0, -1.0), (0.5, 0.4), (0.3, 0.6, 0.9), loss=0.2)
    trials = 40_000
    y, kept = draw_trials(layout, truth, np.random.default_rng(33), trials)
    error = 5 / np.sqrt(trials)
    assert kept.mean(axis=1) == pytest.approx(np.full(12, 0.8), abs=error * 0.4)
    residual = np.array(truth.residual_sds)[layout.fixed.argmax(axis=1)]
    session, block = (c[:, None] == c[None] for c in layout.codes)
    expected = 0.25 * session + 0.16 * block + np.diag(residual**2)
    sd = np.sqrt(np.diag(expected))
    assert y.mean(axis=1) == pytest.approx(layout.fixed @ truth.means, abs=error * sd.max())
    assert np.cov(y) == pytest.approx(expected, abs=2 * error * sd.max() ** 2)


def test_power_of_a_complete_design_without_pooling_is_noncentral_t():
    """Blocks far from zero: pairs are exact t tests, so scipy.stats.nct gives the power.

    The Rao–Blackwell estimate must meet it within 4 of its Monte Carlo errors (6,144 trials)
    at every difference of one and the same simulation.
    """
    layout = complete(3, 8, 1)
    work_ = ErrorContrasts(layout, equal_truth(layout, (3.0,), 0.5), layout.all_pairs())
    result = run_chunks(work_, 6 * CHUNK, np.random.default_rng(34))
    df, se = 14, 0.5 * np.sqrt(2 / 8)
    assert result["df"] == pytest.approx(np.full(result["df"].shape, df), rel=1e-6)
    critical = stats.t.isf(0.025, df)
    for difference in (0.0, 0.3, 0.6, 1.0):
        power, error = conditional_power(result, difference, np.full(result["se"].shape, critical))
        ncp = difference / se
        exact = stats.nct.sf(critical, df, ncp) + stats.nct.cdf(-critical, df, ncp)
        assert np.abs(power - exact).max() < 4 * error.max() + 1e-12
        assert error.max() < np.sqrt(exact * (1 - exact) / result["se"].shape[1])


@pytest.mark.parametrize("name", ["complete_5x12", "incomplete", "split_plot"])
def test_rao_blackwell_agrees_with_counting(name):
    """Same power as counting decisions, means given to the simulation, 15 % lost."""
    layout, sds = DESIGNS[name]
    k = layout.n_methods
    difference = 0.5
    means = (0.0, -difference) + (0.0,) * (k - 2)
    counted_work = SimulatedContrasts(
        layout, Truth(means, sds, (0.45,) * k, 0.15), layout.all_pairs()[:1]
    )
    counted = run_chunks(counted_work, 4 * CHUNK, np.random.default_rng(35))
    hit = np.abs(counted["estimate"]) > stats.t.isf(0.025, counted["df"]) * counted["se"]
    smooth_work = ErrorContrasts(
        layout, Truth((0.0,) * k, sds, (0.45,) * k, 0.15), layout.all_pairs()[:1]
    )
    smooth = run_chunks(smooth_work, 4 * CHUNK, np.random.default_rng(36))
    critical = stats.t.isf(0.025, smooth["df"])
    power, error = conditional_power(smooth, difference, critical)
    both = np.hypot(error[0], np.sqrt(hit.mean() * (1 - hit.mean()) / hit.size))
    assert abs(power[0] - hit.mean()) < 4 * both


def test_error_contrasts_do_not_move_with_the_means():
    """SE and df of the same noise are identical whatever the true means."""
    layout, sds = DESIGNS["complete_5x12"]
    base = Truth((0.0,) * 5, sds, (0.45,) * 5, 0.1)
    moved = Truth((0.0, 1.0, 2.0, -1.0, 0.5), sds, (0.45,) * 5, 0.1)
    a, b = (
        SimulatedContrasts(layout, t, layout.all_pairs())(np.random.default_rng(37), 50)
        for t in (base, moved)
    )
    assert a["se"] == pytest.approx(b["se"], rel=1e-8)
    assert a["df"] == pytest.approx(b["df"], rel=1e-7)
    shift = layout.all_pairs() @ np.array(moved.means)
    assert b["estimate"] - a["estimate"] == pytest.approx(np.tile(shift[:, None], 50), abs=1e-8)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"means": (0.0,)}, "all 5 methods"),
        ({"random_sds": (0.1,)}, "2 random columns"),
        ({"residual_sds": (0.0,) * 5}, "shots must vary"),
        ({"random_sds": (-0.1, 0.2)}, "cannot be negative"),
        ({"loss": 1.0}, "between 0 and 1"),
    ],
)
def test_refuses_in_words(change, words):
    layout, sds = DESIGNS["complete_5x12"]
    settings = {
        "means": (0.0,) * 5,
        "random_sds": sds,
        "residual_sds": (0.45,) * 5,
        "loss": 0.1,
        **change,
    }
    with pytest.raises(PlanError, match=words):
        draw_trials(layout, Truth(**settings), np.random.default_rng(0), 2)


def test_conditional_power_refuses_unequal_sds_and_no_trials():
    layout, sds = DESIGNS["complete_5x12"]
    unequal = Truth((0.0,) * 5, sds, (0.3, 0.3, 0.3, 0.3, 0.9))
    with pytest.raises(PlanError, match="one SD for all methods"):
        ErrorContrasts(layout, unequal, layout.all_pairs())(np.random.default_rng(0), 2)
    with pytest.raises(PlanError, match="at least one trial"):
        run_chunks(work(), 0, np.random.default_rng(0))
