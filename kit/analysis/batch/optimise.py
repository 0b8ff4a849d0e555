"""REML estimates of γ >= 0 for many trials at once.

Each step minimises the quadratic model over the whole orthant γ >= 0 exactly, by trying
every set of components at rest at zero: components come to zero, and leave it again,
several at a time where need be. The first step uses the expected Hessian (Fisher), later
ones the observed while it is positive definite. Steps are halved until the criterion falls
enough (Armijo). Trials that are done leave the chunk.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from kit.analysis.batch.moments import Criterion, Trials, criterion, estimates
from kit.analysis.batch.products import sweep

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.intp]

MAX_EVALUATIONS = 80
ROUNDING = 1e-8  # predicted gain below which rounding hides whether the criterion fell
CONVERGED = 1e-19  # predicted gain at which a trial is done
STALL = 1e-14  # below this a gain that no longer shrinks is rounding, and the trial is done
LOWER = 1e-8  # a minimum must be lower by this much to replace another
SHORTEST = 1e-12  # a step halved to this share of itself leads nowhere
LARGEST_RATIO = 1e8  # a component this many residual variances large is not identified


@dataclass(frozen=True)
class Minimum:
    """γ (K, T), the criterion there (T,), whether converged (T,), evaluations used (T,)."""

    gamma: Floats
    value: Floats
    converged: Bools
    evaluations: NDArray[np.int_]

    def improved(self, which: Codes, other: Minimum) -> Minimum:
        """With the minima ``other`` found for the trials ``which``, where they are lower."""
        old, new = self.value[which], other.value
        lower = other.converged & (~self.converged[which] | (new < old - LOWER))
        at = which[lower]
        gamma, value, converged = self.gamma.copy(), self.value.copy(), self.converged.copy()
        gamma[:, at], value[at], converged[at] = other.gamma[:, lower], new[lower], True
        evaluations = self.evaluations.copy()
        evaluations[which] += other.evaluations
        return Minimum(gamma, value, converged, evaluations)


@dataclass
class _State:
    """The trials still moving: where they are, and the step they are trying."""

    number: Codes
    gamma: Floats
    value: Floats
    step: Floats
    gain: Floats
    length: Floats

    def subset(self, which: Codes) -> _State:
        return _State(
            self.number[which],
            self.gamma[:, which],
            self.value[which],
            self.step[:, which],
            self.gain[which],
            self.length[which],
        )


def minimise(trials: Trials, start: Floats) -> Minimum:
    """Descend from ``start`` (K, T) in every trial.

    Where the criterion is not finite at the start (NaN products), γ is NaN and the trial
    counts as not converged.
    """
    size = start.shape[1]
    result = Minimum(
        np.full(start.shape, np.nan),
        np.full(size, np.nan),
        np.zeros(size, dtype=bool),
        np.zeros(size, dtype=int),
    )
    state = _State(
        number=np.arange(size),
        gamma=start.copy(),
        value=np.full(size, np.inf),
        step=np.zeros(start.shape),
        gain=np.full(size, np.inf),
        length=np.ones(size),
    )
    moving = np.ones(size, dtype=bool)
    for evaluation in range(1, MAX_EVALUATIONS + 1):
        done = _advance(trials, state, first=evaluation == 1) & moving
        moving &= ~done
        at = state.number[done]
        result.gamma[:, at], result.value[at] = state.gamma[:, done], state.value[done]
        result.converged[at], result.evaluations[at] = True, evaluation
        moving &= np.isfinite(state.gain) & (state.length > SHORTEST)
        if not moving.any():
            return result
        if moving.mean() < 0.75:
            left = np.flatnonzero(moving)
            trials, state, moving = trials.subset(left), state.subset(left), moving[left]
    return result


def _advance(trials: Trials, state: _State, first: bool) -> Bools:
    """Try the step of each trial, take or halve it, plan the next; True where done."""
    proposal = np.maximum(state.gamma + state.length * state.step, 0.0)
    products = trials.products(proposal)
    at = criterion(products, estimates(products), trials.degrees)
    taken = np.isfinite(at.value)
    if not first:
        enough = at.value <= state.value - 1e-4 * state.length * state.gain
        taken &= enough | (state.gain < ROUNDING)
    step, gain = _plan(proposal, at, first)
    stalled = (gain > 0.25 * state.gain) & (state.gain < STALL)
    done = taken & ((gain < CONVERGED) | stalled)
    state.gamma = np.where(taken, proposal, state.gamma)
    state.value = np.where(taken, at.value, state.value)
    state.step = np.where(taken, step, state.step)
    state.gain = np.where(taken, gain, state.gain)
    state.length = np.where(taken, 1.0, 0.5 * state.length)
    state.gain[~np.isfinite(at.value) & first] = np.nan
    return done & (proposal.max(axis=0) < LARGEST_RATIO)


def _plan(gamma: Floats, at: Criterion, first: bool) -> tuple[Floats, Floats]:
    """The next step (K, T) and the fall of the criterion it promises, −g'd (T,)."""
    hessian = at.expected if first else _definite_hessian(gamma, at)
    step = orthant_step(gamma, at.gradient, hessian)
    return step, -np.einsum("kt,kt->t", at.gradient, step)


def _definite_hessian(gamma: Floats, at: Criterion) -> Floats:
    """The observed Hessian where it is positive definite.

    Else the observed one for the components that are free to move, those held at zero set
    apart (the rate of convergence stays that of Newton); else the expected one.
    """
    count = gamma.shape[0]
    definite = np.isfinite(sweep(at.observed, count)[1])
    if definite.all():
        return at.observed
    held = (gamma == 0.0) & (at.gradient > 0.0)
    apart = np.where(held[:, None] | held[None], 0.0, at.observed)
    for i in range(count):
        apart[i, i] = np.where(held[i], at.expected[i, i], at.observed[i, i])
    second_best = np.where(np.isfinite(sweep(apart, count)[1]), apart, at.expected)
    return np.where(definite, at.observed, second_best)


def orthant_step(gamma: Floats, gradient: Floats, hessian: Floats) -> Floats:
    """d that minimises g'd + d'Hd/2 subject to γ + d >= 0; NaN where H is not definite."""
    count = gamma.shape[0]
    best = np.full(gamma.shape[1], np.inf)
    step = np.full(gamma.shape, np.nan)
    for held in product((False, True), repeat=count):
        rest, free = np.flatnonzero(held), np.flatnonzero(~np.array(held))
        d = -gamma.copy()
        if free.size:
            pull = gradient[free] - np.einsum(
                "frt,rt->ft", hessian[np.ix_(free, rest)], gamma[rest]
            )
            size = free.size
            system = np.empty((size + 1, size + 1, gamma.shape[1]))
            system[:size, :size], system[size, size] = hessian[np.ix_(free, free)], 0.0
            system[size, :size] = system[:size, size] = -pull
            d[free] = sweep(system, size)[0][:size, size]
        fall = np.einsum("kt,kt->t", gradient, d)
        fall += 0.5 * np.einsum("kt,kmt,mt->t", d, hessian, d)
        better = np.all(gamma + d >= 0.0, axis=0) & (fall < best)
        best = np.where(better, fall, best)
        step = np.where(better, d, step)
        if better.all() and not rest.size:
            break
    return step
