"""REML and ML criteria of a variance-component model, and their minimisation with zeros.

The criterion is −2 × the log-likelihood; with ν = n − p (REML) or n (ML)

    f(θ) = ν log 2π + log|V| + [log|X'V⁻¹X|, REML only] + y'Py
    ∂f/∂θ_i = tr PG_i − y'PG_iPy                          (ML: tr V⁻¹G_i)
    observed Hessian  = 2 y'PG_iPG_jPy − tr PG_iPG_j,     expected Hessian = tr PG_iPG_j

(Searle, Casella & McCulloch 1992, Variance Components, chapter 6). The minimum over
θ ≥ 0 is found by sequential quadratic programming: each step solves the quadratic model
on the whole non-negative orthant exactly (non-negative least squares), so components
come to rest at zero, and leave it again, several at a time where need be. The first step
is Fisher's; later ones use the observed Hessian while it is positive definite.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import nnls

from kit.analysis.moments import Array, CovarianceModel, Mask

MAX_STEPS = 200
MAX_HALVINGS = 45
FULL_STEP_BELOW = 1e-8  # predicted gain under which rounding in f hides any comparison
CONVERGED_BELOW = 1e-18  # predicted gain, in units of −2 log-likelihood, of the last step


@dataclass(frozen=True)
class Criterion:
    """f(θ) without its constant, gradient, observed and expected Hessian (K, K × K)."""

    value: float
    gradient: Array
    observed: Array
    expected: Array


Objective = Callable[[Array], Criterion | None]


def reml_objective(model: CovarianceModel) -> Objective:
    """−2 × REML log-likelihood without (n − p) log 2π; None where V is singular."""

    def objective(theta: Array) -> Criterion | None:
        m = model.moments(theta)
        if m is None:
            return None
        value = m.log_det_v + m.log_det_xvx + m.rss
        return _criterion(value, m.trace_p, m.trace_pp, m.quad, m.quad_quad)

    return objective


def ml_objective(model: CovarianceModel) -> Objective:
    """−2 × ML log-likelihood, β profiled out, without n log 2π; None where V is singular."""

    def objective(theta: Array) -> Criterion | None:
        m = model.moments(theta)
        if m is None:
            return None
        return _criterion(m.log_det_v + m.rss, m.trace_v, m.trace_vv, m.quad, m.quad_quad)

    return objective


def _criterion(value: float, one: Array, two: Array, quad: Array, quad2: Array) -> Criterion | None:
    if not np.isfinite(value):
        return None
    return Criterion(value, one - quad, 2.0 * quad2 - two, two)


@dataclass(frozen=True)
class Minimum:
    """Where one descent ended.

    ``gain_left`` is the reduction of the criterion that the quadratic model still
    promised at the end (the Newton decrement): an upper bound of order of what a further
    step could bring. ``converged`` is True only when it is negligible.
    """

    theta: Array
    criterion: Criterion
    steps: int
    gain_left: float
    converged: bool


def minimise(objective: Objective, start: Array, free: Mask | None = None) -> Minimum | None:
    """Descend from ``start`` to a minimum over θ ≥ 0; entries not ``free`` are held.

    Returns None when V is singular at the start.
    """
    theta = np.asarray(start, dtype=float).copy()
    moving = np.ones(len(theta), dtype=bool) if free is None else free
    now = objective(theta)
    if now is None:
        return None
    gain = np.inf
    for step in range(1, MAX_STEPS + 1):
        for part, hessian in _models(now, theta, moving, first=step == 1):
            direction = _direction(theta[part], now.gradient[part], hessian)
            gain = float(-now.gradient[part] @ direction)
            reached = _advance(objective, theta, part, direction, now.value, gain)
            if reached is not None:
                break
        else:
            return Minimum(theta, now, step, gain, gain < FULL_STEP_BELOW)
        theta, now = reached
        if gain < CONVERGED_BELOW:
            return Minimum(theta, now, step, gain, True)
    return Minimum(theta, now, MAX_STEPS, gain, False)


def _models(
    now: Criterion, theta: Array, moving: Mask, first: bool
) -> Iterator[tuple[Mask, Array]]:
    """Quadratic models to try in turn: the entries that move, and a positive definite Hessian.

    The observed Hessian; the observed Hessian without the entries that rest at zero and
    want to stay; the expected one.
    """
    resting = (theta == 0.0) & (now.gradient > 0.0)
    choices = [(moving, now.observed), (moving & ~resting, now.observed), (moving, now.expected)]
    for part, hessian in choices[2:] if first else choices:
        inner = hessian[np.ix_(part, part)]
        if part.any() and _positive_definite(inner):
            yield part, inner


def _positive_definite(matrix: Array) -> bool:
    size = np.sqrt(np.abs(np.diag(matrix)))
    if not np.all(size > 0):
        return False
    return bool(np.linalg.eigvalsh(matrix / np.outer(size, size))[0] > 1e-10)


def _direction(theta: Array, gradient: Array, hessian: Array) -> Array:
    """d that minimises g'd + d'Hd/2 subject to θ + d ≥ 0.

    Non-negative least squares on the Cholesky factor finds which entries rest at zero;
    the others are then solved for anew, which keeps the last digits of a small step.
    """
    size = 1.0 / np.sqrt(np.diag(hessian))
    factor = np.linalg.cholesky(hessian * np.outer(size, size))
    target = factor.T @ (theta / size) - solve_triangular(factor, gradient * size, lower=True)
    positive = nnls(factor.T, target)[0] > 0
    direction = -theta.copy()
    if positive.any():
        pull = gradient[positive] + hessian[np.ix_(positive, ~positive)] @ direction[~positive]
        direction[positive] = -np.linalg.solve(hessian[np.ix_(positive, positive)], pull)
    return direction


def _advance(
    objective: Objective, theta: Array, moving: Mask, direction: Array, value: float, gain: float
) -> tuple[Array, Criterion] | None:
    """Step along ``direction``, halved until the criterion falls enough (Armijo)."""
    length = 1.0
    for _ in range(MAX_HALVINGS):
        trial = theta.copy()
        trial[moving] = np.maximum(theta[moving] + length * direction, 0.0)
        reached = objective(trial)
        if reached is not None and (
            gain < FULL_STEP_BELOW or reached.value <= value - 1e-4 * length * gain
        ):
            return trial, reached
        length *= 0.5
    return None


def starting_points(n_random: int, n_residual: int) -> list[Array]:
    """Starts for data scaled to a residual variance of one.

    All random variances zero (the first Fisher step is then MIVQUE(0)), equal shares,
    each random variance in turn dominating, all large; with several residual variances,
    also each of them in turn small.
    """
    k = n_random + n_residual
    plain = np.ones(k)
    plain[:n_random] = 0.0
    starts: list[Array] = [plain]
    if n_random:
        starts.append(np.full(k, 1.0 / (n_random + 1)))
        starts.append(np.array([5.0] * n_random + [0.2] * n_residual))
    if n_random > 1:
        for i in range(n_random):
            one = np.array([0.01] * n_random + [0.3] * n_residual)
            one[i] = 1.0
            starts.append(one)
    if n_residual > 1:
        for i in range(n_residual):
            one = np.array([0.3] * n_random + [1.0] * n_residual)
            one[n_random + i] = 0.02
            starts.append(one)
    return starts


def minimise_from_all(objective: Objective, starts: list[Array]) -> tuple[Minimum, list[Minimum]]:
    """The best minimum over several starts, and every minimum reached.

    Raises
    ------
    ValueError
        When V is singular at every start, which the checks before the fit exclude.
    """
    reached = [m for m in (minimise(objective, start) for start in starts) if m is not None]
    if not reached:
        raise ValueError("V is singular at every start")
    return min(reached, key=lambda m: m.criterion.value), reached
