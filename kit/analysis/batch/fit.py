"""Fit the mixed model to a chunk of simulated trials at once.

    layout = lay_out(schedule["method"], {"session": ..., "block": ...})
    fits = fit_batch(layout, y, kept)               # y, kept: (shots, trials)
    pairs = fits.kenward_roger(layout.all_pairs())  # estimate, se, df: (pairs, trials)

The same REML with exact zeros and the same Kenward–Roger as ``kit.analysis.mixedmodel``;
they agree to 1e-10 (tests/analysis/batch). Every trial that did not converge, or in which
a method has no shot left, says so; nothing is dropped in silence.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.analysis.batch import small_sample
from kit.analysis.batch.crossed import crossed_trials
from kit.analysis.batch.layout import Layout
from kit.analysis.batch.moments import Estimates, Products, Trials, criterion, estimates
from kit.analysis.batch.nested import nested_plan, nested_trials
from kit.analysis.batch.optimise import Minimum, gain_left, minimise
from kit.analysis.batch.small_sample import Contrasts, FTests

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

OPTIMAL = 1e-12  # units of −2 × log-likelihood that one more step may still promise
FEW_SHOTS = 30  # plans this small can have a second minimum: all of them are tried from all starts
DEFAULT_RATIO = 0.3  # start of the descent when the caller knows nothing better


@dataclass(frozen=True)
class BatchFit:
    """REML fits of T trials. NaN stands in every number of a trial that is not ``usable``.

    ``usable`` (T,): every method kept a shot and enough shots were left to estimate noise.
    ``converged`` (T,): the optimality conditions hold; False where not usable.
    """

    layout: Layout
    centre: float
    trials: Trials
    minimum: Minimum
    usable: Bools

    @property
    def gamma(self) -> Floats:
        """Variance ratios σ²_k/σ² (K, T), in the order of ``layout.names``."""
        return self.minimum.gamma

    @cached_property
    def converged(self) -> Bools:
        """Whether each trial converged, by what one more step would still gain, to an optimum
        at which the shots left tell the variance components apart (T,).
        """  # fmt: skip
        at = criterion(self.products, self.at, self.trials.degrees)
        with np.errstate(invalid="ignore"):
            optimal = gain_left(self.gamma, at) < OPTIMAL
        apart = small_sample.separated(self.at, self.trials.degrees)
        return self.minimum.converged & self.usable & optimal & apart

    @cached_property
    def products(self) -> Products:
        """Cross-products at the estimate."""
        return self.trials.products(self.gamma)

    @cached_property
    def at(self) -> Estimates:
        """Coefficients and moments at the estimate."""
        return estimates(self.products)

    @property
    def sigma2(self) -> Floats:
        """Residual variance (T,)."""
        return self.at.rss / self.trials.degrees

    @property
    def variances(self) -> Floats:
        """Variance components (K + 1, T), the residual last."""
        return np.vstack([self.gamma * self.sigma2, self.sigma2])

    @property
    def reml_criterion(self) -> Floats:
        """−2 × REML log-likelihood in lme4's form (T,)."""
        degrees = self.trials.degrees
        constant = degrees * (1.0 + np.log(2.0 * np.pi / degrees))
        scaled = self.products.log_h + self.at.log_x + degrees * np.log(self.at.rss)
        return np.asarray(scaled + constant)

    @property
    def coefficients(self) -> Floats:
        """Mean of each method, then the coefficients of the adjustments (p, T)."""
        shift = np.zeros((self.layout.n_fixed, 1))
        shift[: self.layout.n_methods] = self.centre
        return np.asarray(self.at.beta + shift)

    def kenward_roger(self, rows: Floats) -> Contrasts:
        """Contrasts ``rows`` (C, p) with Kenward–Roger SE and df, each (C, T)."""
        se, df = small_sample.kenward_roger(
            rows, self.products, self.at, self.sigma2, self.trials.degrees
        )
        return Contrasts(rows @ self.coefficients, se, df)

    def satterthwaite(self, rows: Floats) -> Contrasts:
        """Contrasts ``rows`` (C, p) with unadjusted SE and Satterthwaite df, each (C, T)."""
        se, df = small_sample.satterthwaite(
            rows, self.at, self.gamma, self.sigma2, self.trials.degrees
        )
        return Contrasts(rows @ self.coefficients, se, df)

    def method_test(self) -> FTests:
        """Kenward–Roger F test that all methods are equal (three or more methods)."""
        return small_sample.kenward_roger_f(
            self.layout.against(0), self.products, self.at, self.sigma2, self.trials.degrees
        )


def fit_batch(
    layout: Layout, y: Floats, kept: Bools | None = None, start: ArrayLike | None = None
) -> BatchFit:
    """Fit every column of ``y`` (n, T).

    Parameters: ``kept`` (n, T) False where a shot was lost (its y is ignored); ``start``
    variance ratios from which to descend, (K,) for all trials or (K, T): the true ratios of
    a simulation save a step or two. Trials that do not converge, and all trials of plans of
    30 shots or fewer, are fitted from other starts as well, and the lowest minimum is kept.
    """
    present = np.ones(y.shape, dtype=bool) if kept is None else kept
    centre = float(np.mean(y, where=present))
    trials = reduce_trials(layout, y - centre, present)
    count = len(layout.codes)
    first = np.full(count, DEFAULT_RATIO) if start is None else np.asarray(start, dtype=float)
    begin = np.broadcast_to(first.reshape(count, -1), (count, y.shape[1]))
    minimum = minimise(trials, np.ascontiguousarray(begin))
    usable = _usable(layout, present)
    few = layout.n_shots <= FEW_SHOTS
    for other in _other_starts(count):
        again = np.flatnonzero(usable & (few | ~minimum.converged))
        if again.size:
            begin = np.broadcast_to(other[:, None], (count, again.size))
            found = minimise(trials.subset(again), np.ascontiguousarray(begin))
            minimum = minimum.improved(again, found)
    return BatchFit(layout, centre, trials, minimum, usable)


def _other_starts(count: int) -> list[Floats]:
    """Nothing, much of everything, and each random column in turn."""
    single = [0.01 + 2.0 * row for row in np.eye(count)] if count > 1 else []
    return [np.zeros(count), np.full(count, 5.0), *single]


def _usable(layout: Layout, kept: Bools) -> Bools:
    """Whether every method kept a shot and the noise can be estimated (T,)."""
    shots = layout.fixed[:, : layout.n_methods].T @ kept
    return np.asarray((shots.min(axis=0) > 0) & (kept.sum(axis=0) > layout.n_fixed))


def reduce_trials(layout: Layout, y: Floats, kept: Bools) -> Trials:
    """The cross-products of every trial: by sums over blocks where the layout is nested."""
    plan = nested_plan(layout)
    if plan is None:
        return crossed_trials(layout, y, kept)
    return nested_trials(plan, y, kept)
