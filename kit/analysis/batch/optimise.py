"""REML estimates of γ >= 0 for many trials at once.

Each step minimises the quadratic model over the whole orthant γ >= 0 exactly, by trying
every set of components at rest at zero: components come to zero, and leave it again,
several at a time where need be. The first step uses the expected Hessian (Fisher), later
ones the observed while it is positive definite. Steps are halved until the criterion falls
enough (Armijo). Trials that are done leave the chunk.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

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
LAST_STEP = 1e-10  # a Newton step that promises less than this is the last
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
    """Try the step of each trial, take or halve it, plan the next; True where done.

    A Newton step that promises less than ``LAST_STEP`` is taken unseen: convergence is
    quadratic there, and ``BatchFit.converged`` looks at the slope where it led.
    """
    proposal = np.maximum(state.gamma + state.length * state.step, 0.0)
    products = trials.products(proposal)
    at = criterion(products, estimates(products), trials.degrees)
    taken = np.isfinite(at.value)
    if not first:
        enough = at.value <= state.value - 1e-4 * state.length * state.gain
        taken &= enough | (state.gain < ROUNDING)
    step, gain, newton = _plan(proposal, at, first)
    stalled = (gain > 0.25 * state.gain) & (state.gain < STALL)
    done = taken & ((newton & (gain < LAST_STEP)) | (gain < CONVERGED) | stalled)
    state.gamma = np.where(taken, np.where(done, proposal + step, proposal), state.gamma)
    state.value = np.where(taken, at.value, state.value)
    state.step = np.where(taken, step, state.step)
    state.gain = np.where(taken, gain, state.gain)
    state.length = np.where(taken, 1.0, 0.5 * state.length)
    if first:
        state.gain[~taken] = np.nan
    return done & (proposal.max(axis=0) < LARGEST_RATIO)


def _plan(gamma: Floats, at: Criterion, first: bool) -> tuple[Floats, Floats, Bools]:
    """The next step (K, T), the fall of the criterion it promises −g'd (T,), and whether it
    is a Newton step (T,).
    """  # fmt: skip
    hessian, newton = at.expected, np.zeros(gamma.shape[1], dtype=bool)
    if not first:
        hessian, newton = definite_hessian(gamma, at)
    step = orthant_step(gamma, at.gradient, hessian)
    return step, -np.einsum("kt,kt->t", at.gradient, step), newton


def gain_left(gamma: Floats, at: Criterion) -> Floats:
    """Fall of the criterion that one more step promises (T,): what optimality is judged by."""
    return _plan(gamma, at, first=False)[1]


def definite_hessian(gamma: Floats, at: Criterion) -> tuple[Floats, Bools]:
    """The observed Hessian where it is positive definite, and where it could be used (T,).

    Else the observed one for the components that are free to move, those held at zero set
    apart (the rate of convergence stays that of Newton); else the expected one.
    """
    count = gamma.shape[0]
    definite = np.isfinite(sweep(at.observed, count)[1])
    if definite.all():
        return at.observed, definite
    held = (gamma == 0.0) & (at.gradient > 0.0)
    apart = np.where(held[:, None] | held[None], 0.0, at.observed)
    for i in range(count):
        apart[i, i] = np.where(held[i], at.expected[i, i], at.observed[i, i])
    usable = np.isfinite(sweep(apart, count)[1])
    second_best = np.where(usable, apart, at.expected)
    return np.where(definite, at.observed, second_best), definite | usable


def orthant_step(gamma: Floats, gradient: Floats, hessian: Floats) -> Floats:
    """d that minimises g'd + d'Hd/2 subject to γ + d >= 0; NaN where H is not definite."""
    count = gamma.shape[0]
    step, _ = _step_with(gamma, gradient, hessian, ())
    left = np.flatnonzero(~np.all(gamma + step >= 0.0, axis=0))
    if not left.size:
        return step
    gamma, gradient, hessian = gamma[:, left], gradient[:, left], hessian[:, :, left]
    best = np.full(left.size, np.inf)
    found = np.full(gamma.shape, np.nan)
    for size in range(1, count + 1):
        for rest in combinations(range(count), size):
            d, fall = _step_with(gamma, gradient, hessian, rest)
            better = np.all(gamma + d >= 0.0, axis=0) & (fall < best)
            best = np.where(better, fall, best)
            found = np.where(better, d, found)
    step[:, left] = found
    return step


def _step_with(
    gamma: Floats, gradient: Floats, hessian: Floats, rest: tuple[int, ...]
) -> tuple[Floats, Floats]:
    """Step when the components ``rest`` go to zero, and the change the quadratic promises."""
    free = [i for i in range(gamma.shape[0]) if i not in rest]
    d = -gamma
    if free:
        size = len(free)
        system = np.zeros((size + 1, size + 1, gamma.shape[1]))
        for a, i in enumerate(free):
            for b, j in enumerate(free):
                system[a, b] = hessian[i, j]
            pull = gradient[i] - sum(hessian[i, j] * gamma[j] for j in rest)
            system[size, a] = system[a, size] = -pull
        d[free] = sweep(system, size)[0][:size, size]
    fall = np.einsum("kt,kt->t", gradient, d)
    fall += 0.5 * np.einsum("kt,kmt,mt->t", d, hessian, d)
    return d, fall
