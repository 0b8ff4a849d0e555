"""Draw trials of a layout from a stated truth, fit them, and compare the methods.

    truth = Truth(means=..., random_sds=(0.3, 0.2), residual_sds=0.45, loss=0.1)
    work = SimulatedContrasts(layout, truth, layout.all_pairs())
    result = run_chunks(work, 10_000, np.random.default_rng(seed), n_jobs=2)

``result`` then holds estimate, se, df (contrasts, trials), usable and converged (trials).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from kit.analysis.batch.fit import BatchFit, fit_batch
from kit.analysis.batch.layout import Layout
from kit.analysis.batch.moments import estimates
from kit.analysis.batch.products import forms
from kit.analysis.batch.streams import Chunk
from kit.errors import PlanError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Noise = Callable[[np.random.Generator, tuple[int, int]], Floats]


def normal_noise(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Standard normal errors."""
    return rng.standard_normal(shape)


@dataclass(frozen=True)
class Truth:
    """What is assumed: means (k,); random_sds, one a random column in the layout's order;
    residual_sds (k,), the shot-to-shot SD of each method; loss, the chance that a shot is
    lost; noise, errors of mean 0 and SD 1.
    """  # fmt: skip

    means: tuple[float, ...]
    random_sds: tuple[float, ...]
    residual_sds: tuple[float, ...]
    loss: float = 0.0
    noise: Noise = normal_noise

    @property
    def ratios(self) -> Floats:
        """Variance ratios to start a fit from."""
        residual = float(np.mean(np.square(self.residual_sds)))
        return np.square(self.random_sds) / residual


def equal_truth(layout: Layout, random_sds: tuple[float, ...], residual_sd: float) -> Truth:
    """No difference between the methods, one residual SD, no shot lost."""
    k = layout.n_methods
    return Truth((0.0,) * k, random_sds, (residual_sd,) * k)


def draw_trials(
    layout: Layout, truth: Truth, rng: np.random.Generator, trials: int
) -> tuple[Floats, Bools]:
    """Outcomes and kept flags, each (n, trials)."""
    _check(layout, truth)
    method = layout.fixed[:, : layout.n_methods]
    shape = (layout.n_shots, trials)
    y = truth.noise(rng, shape)
    y *= (method @ np.asarray(truth.residual_sds))[:, None]
    for codes, sd in zip(layout.codes, truth.random_sds, strict=True):
        if sd > 0.0:
            y += (sd * rng.standard_normal((int(codes.max()) + 1, trials)))[codes]
    if any(truth.means):
        y += (method @ np.asarray(truth.means))[:, None]
    if truth.loss == 0.0:
        return y, np.ones(shape, dtype=bool)
    return y, rng.random(shape, dtype=np.float32) >= truth.loss


def _check(layout: Layout, truth: Truth) -> None:
    k, columns = layout.n_methods, len(layout.codes)
    if len(truth.means) != k or len(truth.residual_sds) != k:
        raise PlanError(
            f"The assumed means and SDs must name all {k} methods, found {len(truth.means)} "
            f"means and {len(truth.residual_sds)} SDs."
        )
    if len(truth.random_sds) != columns:
        raise PlanError(
            f"The layout has {columns} random columns {layout.names}; "
            f"{len(truth.random_sds)} SDs were assumed for them."
        )
    if min((*truth.random_sds, *truth.residual_sds)) < 0.0 or not max(truth.residual_sds) > 0.0:
        raise PlanError("Assumed SDs cannot be negative, and shots must vary. Enter an SD above 0.")
    if not 0.0 <= truth.loss < 1.0:
        raise PlanError(f"The chance to lose a shot lies between 0 and 1, found {truth.loss}.")


@dataclass(frozen=True)
class SimulatedContrasts:
    """Work for ``run_chunks``: estimate, se, df (C, T), usable, converged (T,)."""

    layout: Layout
    truth: Truth
    rows: Floats

    def __call__(self, rng: np.random.Generator, trials: int) -> Chunk:
        """Draw, fit and compare one chunk."""
        y, kept = draw_trials(self.layout, self.truth, rng, trials)
        fits = fit_batch(self.layout, y, kept, start=self.truth.ratios)
        return _compared(fits, self.rows)


def _compared(fits: BatchFit, rows: Floats) -> Chunk:
    c = fits.kenward_roger(rows)
    return {
        "estimate": c.estimate,
        "se": c.se,
        "df": c.df,
        "usable": fits.usable,
        "converged": fits.converged,
    }


@dataclass(frozen=True)
class ErrorContrasts:
    """Work for ``run_chunks`` that serves every true difference at once.

    SE and df depend on the data only through error contrasts, which do not move with the
    means. Given them the estimate is the true difference plus ``shift`` (what estimating the
    variances moves it by) plus an independent normal of SD ``spread``. So adds to the
    results of ``SimulatedContrasts`` shift and spread (C, T). Normal errors of one SD only.
    """

    layout: Layout
    truth: Truth
    rows: Floats

    def __call__(self, rng: np.random.Generator, trials: int) -> Chunk:
        """Draw, fit and split one chunk."""
        sd = self.truth.residual_sds[0]
        if self.truth.noise is not normal_noise or set(self.truth.residual_sds) != {sd}:
            raise PlanError(
                "This way of computing power needs normal errors with one SD for all methods. "
                "Count decisions of simulated trials instead."
            )
        y, kept = draw_trials(self.layout, self.truth, rng, trials)
        fits = fit_batch(self.layout, y, kept, start=self.truth.ratios)
        ratios = np.repeat(self.truth.ratios[:, None], trials, axis=1)
        best = estimates(fits.trials.products(ratios))
        shift = self.rows @ (fits.at.beta - best.beta)
        spread = sd * np.sqrt(forms(self.rows, best.inverse))
        return {**_compared(fits, self.rows), "shift": shift, "spread": spread}


def conditional_power(result: Chunk, difference: float, critical: Floats) -> tuple[Floats, Floats]:
    """Power of each contrast at one true difference, and its Monte Carlo error: (C,), (C,).

    ``result`` of ``ErrorContrasts``; ``critical`` (C, T) multiplies the SE. The mean of
    normal tails over the simulated trials: a Rao–Blackwell estimate, unbiased and with a
    smaller variance than counting. Trials that are not converged count as no decision.
    """
    half = critical * result["se"]
    centre = difference + result["shift"]
    tail = ndtr((centre - half) / result["spread"]) + ndtr((-centre - half) / result["spread"])
    tail = np.where(result["converged"], tail, 0.0)
    return tail.mean(axis=1), tail.std(axis=1, ddof=1) / np.sqrt(tail.shape[1])
