"""Virtual trials: drawn from the actual schedule, analysed by the actual analysis.

The methods' means are added afterwards: standard errors and degrees of freedom do not depend on
them, so one run gives the chances for every true difference (see :mod:`simulated_power`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from kit.analysis.batch.fit import fit_batch, reduce_trials
from kit.analysis.batch.moments import Estimates, estimates
from kit.analysis.batch.products import forms
from kit.analysis.batch.small_sample import Contrasts
from kit.planning.chunks import Run, in_chunks, stream
from kit.planning.laid_out import LEAST_DF
from kit.planning.truth import Truth
from kit.planning.virtual import Family, VirtualPlan, assumed, draw_shots

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_PARTS = ("error", "se", "df", "oracle", "oracle_se")
CHUNK = 500
"""Virtual trials a chunk: a fraction of a second, so that stopping is prompt."""


@dataclass(frozen=True)
class FamilyErrors:
    """What the analysis made of one family of contrasts in each of T trials; all (C, T).

    ``error`` is the estimate less the truth. Infinite ``se`` marks a fit that finds nothing: it
    did not converge, or has no valid standard error or next to no degrees of freedom.
    ``oracle`` and ``oracle_se`` are error and standard error of generalised least squares at
    the true variances; both are empty (0, T) where the model is not exactly true.
    """

    error: Floats
    se: Floats
    df: Floats
    oracle: Floats
    oracle_se: Floats


@dataclass(frozen=True)
class Chunk:
    """One chunk of virtual trials."""

    families: tuple[FamilyErrors, ...]
    cell_errors: Floats
    """Errors of the estimated means, (cells, T)."""
    not_usable: int
    not_converged: int


@dataclass(frozen=True)
class Simulation:
    """All virtual trials of one run, with what is needed to repeat it."""

    plan: VirtualPlan
    truth: Truth
    seed: int
    asked: int
    chunks: tuple[Chunk, ...]

    @property
    def trials(self) -> int:
        """Usable virtual trials."""
        return sum(chunk.cell_errors.shape[1] for chunk in self.chunks)

    @property
    def not_usable(self) -> int:
        """Trials that could not be analysed (a method lost every shot): left out, counted here."""
        return sum(chunk.not_usable for chunk in self.chunks)

    @property
    def not_converged(self) -> int:
        """Fits that did not converge; they count as finding nothing."""
        return sum(chunk.not_converged for chunk in self.chunks)

    @cached_property
    def errors(self) -> tuple[FamilyErrors, ...]:
        """For each family of the plan its errors over all chunks."""
        return tuple(
            _joined([chunk.families[i] for chunk in self.chunks])
            for i in range(len(self.plan.families))
        )

    @cached_property
    def cell_errors(self) -> Floats:
        """Errors of the estimated means over all chunks, (cells, T)."""
        return np.hstack([chunk.cell_errors for chunk in self.chunks])

    def words(self) -> str:
        """``2,000 virtual trials, seed 1234``."""
        asked = f" of {self.asked:,} asked for" if self.trials < self.asked else ""
        return f"{self.trials:,} virtual trials{asked}, seed {self.seed}"


def simulate(plan: VirtualPlan, truth: Truth, run: Run) -> Simulation:
    """Draw and analyse virtual trials of a plan under a made-up truth.

    The model fitted is the one the design calls for, by REML with Kenward-Roger; lost shots,
    drift and unequal SDs are in the truth, not in the model, exactly as they would be.
    """
    chunks = in_chunks(partial(run_chunk, plan, truth), run, CHUNK)
    return Simulation(plan, truth, run.seed, run.trials, tuple(chunks))


def run_chunk(plan: VirtualPlan, truth: Truth, seed: int, number: int, trials: int) -> Chunk:
    """One chunk: draw, lose, fit. The same arguments give the same result anywhere."""
    rng = stream(seed, number)
    y, kept = draw_shots(plan, truth, rng, trials)
    enough = _enough_left(plan, kept)
    y, kept = y[:, enough], kept[:, enough]
    ratios = assumed(plan, truth).ratios
    fit = fit_batch(plan.layout, y, kept, start=ratios)
    at_truth = _at_truth(plan, y, kept, ratios) if truth.fits_the_model else None
    with np.errstate(invalid="ignore"):
        # With next to no degrees of freedom the adjusted variance can come out below zero.
        found = [fit.kenward_roger(family.rows) for family in plan.families]
    families = tuple(
        _family_errors(family, contrasts, fit.converged, at_truth, truth)
        for family, contrasts in zip(plan.families, found, strict=True)
    )
    cells = fit.coefficients[: plan.layout.n_methods]
    estimated = np.asarray(np.isfinite(cells).all(axis=0))
    not_converged = int((~fit.converged & estimated).sum())
    return Chunk(
        tuple(_where(part, estimated) for part in families),
        cells[:, estimated],
        trials - int(estimated.sum()),
        not_converged,
    )


def _enough_left(plan: VirtualPlan, kept: Bools) -> Bools:
    """Trials (T,) in which every cell kept a shot and noise can still be estimated."""
    in_cell = plan.layout.fixed[:, : plan.layout.n_methods].T @ kept
    return np.asarray((in_cell.min(axis=0) > 0) & (kept.sum(axis=0) > plan.layout.n_fixed))


def _at_truth(plan: VirtualPlan, y: Floats, kept: Bools, ratios: Floats) -> Estimates:
    """Generalised least squares at the true variance ratios."""
    reduced = reduce_trials(plan.layout, y, kept)
    gamma = np.repeat(ratios[:, None], y.shape[1], axis=1)
    return estimates(reduced.products(gamma))


def _family_errors(
    family: Family,
    found: Contrasts,
    converged: Bools,
    at_truth: Estimates | None,
    truth: Truth,
) -> FamilyErrors:
    valid = converged & np.isfinite(found.se) & (found.df >= LEAST_DF)
    se, df = np.where(valid, found.se, np.inf), np.where(valid, found.df, 1.0)
    if at_truth is None:
        none = np.empty((0, converged.size))
        return FamilyErrors(found.estimate, se, df, none, none)
    oracle = family.rows @ at_truth.beta
    oracle_se = truth.shot_sds[0] * np.sqrt(forms(family.rows, at_truth.inverse))
    return FamilyErrors(found.estimate, se, df, oracle, oracle_se)


def _where(errors: FamilyErrors, which: Bools) -> FamilyErrors:
    return FamilyErrors(*(getattr(errors, name)[:, which] for name in _PARTS))


def _joined(parts: list[FamilyErrors]) -> FamilyErrors:
    return FamilyErrors(*(np.hstack([getattr(part, name) for part in parts]) for name in _PARTS))
