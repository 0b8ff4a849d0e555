"""Many fits at once of a mixed model in which every method has its own shot-to-shot SD.

y = Xβ + Σ Z_k u_k + e, Var(u_k) = σ²_k I, Var(e) = diag(s²_method). The consistency test refits
hundreds of re-labelled data sets, so all of them are carried along in one set of arrays. All that
is needed follows from the cross-products of T = [Z X] and y within each method:

    P = W − W T K T′W,   W = diag(1/s²),   K = S(S T′W T S + J)⁻¹S,   S = diag(σ_k, 1)

(J is one on the random columns, zero on the fixed ones), so nothing of size n × n is formed and a
variance of zero is no special case. Fisher scoring on (log s², σ²_k) with σ²_k held at zero where
the likelihood wants it negative.

Source: Harville (1977), J. Amer. Statist. Assoc. 72, 320–338, sections 3 and 5 (REML criterion,
score and information); Searle, Casella & McCulloch (1992), Variance Components, chapter 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.floating]
_LOG_2PI = float(np.log(2 * np.pi))
_FLOOR = 1e-6
"""Smallest method variance considered, as a share of the whole variance of the response."""


@dataclass(frozen=True)
class VarianceLayout:
    """The part of the model that does not depend on the response: n shots, d columns, m groups."""

    design: Array
    """T = [Z X], shape (n, d)."""
    random_columns: tuple[slice, ...]
    """Where each random factor's indicator columns stand in T."""
    groups: NDArray[np.intp]
    """Which residual SD each shot has, shape (n,)."""
    crossproducts: Array
    """T′T within each group, shape (m, d, d)."""
    counts: Array
    """Shots in each group, shape (m,)."""

    @property
    def n_random_columns(self) -> int:
        """Number of columns of Z."""
        return self.random_columns[-1].stop if self.random_columns else 0

    @property
    def n_fixed(self) -> int:
        """Number of columns of X."""
        return self.design.shape[1] - self.n_random_columns


@dataclass(frozen=True)
class VarianceFits:
    """The fits of B responses: variances, the REML criterion, and their information."""

    group_variances: Array
    """s², shape (B, m)."""
    random_variances: Array
    """σ²_k, shape (B, number of random factors)."""
    criterion: Array
    """−2 × REML log-likelihood in lme4's form, shape (B,)."""
    log_covariance: Array
    """Large-sample covariance of log s², from the expected information, shape (B, m, m)."""
    converged: NDArray[np.bool_]


def layout_of(
    rows: pd.DataFrame, groups: NDArray[np.intp], random: Sequence[str], fixed: str = "method"
) -> VarianceLayout:
    """The layout of ``rows``: a mean for each level of ``fixed``, intercepts for ``random``."""
    fixed_part = indicators(rows[fixed])
    random_parts = [indicators(rows[name]) for name in random]
    design = np.hstack([*random_parts, fixed_part])
    stops = np.cumsum([part.shape[1] for part in random_parts], dtype=int)
    starts = [0, *stops[:-1]]
    chosen = np.eye(int(groups.max()) + 1)[groups]
    return VarianceLayout(
        design=design,
        random_columns=tuple(slice(int(a), int(b)) for a, b in zip(starts, stops, strict=False)),
        groups=groups,
        crossproducts=np.einsum("nm,nd,ne->mde", chosen, design, design, optimize=True),
        counts=chosen.sum(axis=0),
    )


def indicators(labels: pd.Series) -> Array:
    """One column of zeros and ones for each category, shape (n, levels)."""
    return np.eye(len(labels.cat.categories))[labels.cat.codes.to_numpy()]


def separable(rows: pd.DataFrame, random: Sequence[str], fixed: str = "method") -> list[str]:
    """The random columns whose variance these rows can tell from all that comes before them."""
    kept: list[str] = []
    known = indicators(rows[fixed])
    for name in random:
        labels = rows[name]
        alone = len(labels.cat.categories) == len(rows)
        widened = np.hstack([known, indicators(labels)])
        if not alone and np.linalg.matrix_rank(widened) > np.linalg.matrix_rank(known):
            kept.append(name)
            known = widened
    return kept


def fit_variances(
    layout: VarianceLayout, responses: Array, tolerance: float = 1e-9, iterations: int = 60
) -> VarianceFits:
    """Fit every response (shape (B, n)) by REML; see the module for the method.

    ``tolerance`` is the change of the criterion at which a fit counts as done.
    """
    centred = responses - responses.mean(axis=1, keepdims=True)
    scale = centred.var(axis=1)
    scale = np.where(scale > 0, scale, 1.0)
    problem = _Problem.of(layout, centred / np.sqrt(scale)[:, None])
    state = _start(problem)
    value, score, info = problem.evaluate(*state)
    done = np.zeros(len(scale), dtype=bool)
    for _ in range(iterations):
        active = np.flatnonzero(~done)
        if active.size == 0:
            break
        part = problem.subset(active)
        new_state, new = _improve(
            part, (state[0][active], state[1][active]), value[active], score[active], info[active]
        )
        gained = value[active] - new[0]
        state[0][active], state[1][active] = new_state
        value[active], score[active], info[active] = new
        done[active] = gained < tolerance
    return _as_fits(layout, state, value, info, scale, done)


def predicted_residuals(
    layout: VarianceLayout, fits: VarianceFits, response: Array
) -> tuple[Array, Array]:
    """One fit's shots less their predicted mean, session and block: e = y − Xβ̂ − Zû.

    For a layout with one common SD and a single response (n). Returns e (n) and H (n × n) with
    e = H y and E(e e′) = s² H where all shots have the same SD.
    """
    w = 1 / fits.group_variances[:, 0]
    B = w[:, None, None] * layout.crossproducts[0]
    K = _inner_inverse(layout, B, fits.random_variances)[0][0]
    H = np.eye(len(response)) - w[0] * (layout.design @ K @ layout.design.T)
    return H @ (response - response.mean()), H


def _as_fits(
    layout: VarianceLayout,
    state: tuple[Array, Array],
    value: Array,
    info: Array,
    scale: Array,
    done: NDArray[np.bool_],
) -> VarianceFits:
    n_groups = len(layout.counts)
    degrees = layout.design.shape[0] - layout.n_fixed
    covariance = np.linalg.pinv(info, hermitian=True)[:, :n_groups, :n_groups]
    return VarianceFits(
        group_variances=np.exp(state[0]) * scale[:, None],
        random_variances=state[1] * scale[:, None],
        criterion=value + degrees * (_LOG_2PI + np.log(scale)),
        log_covariance=covariance,
        converged=done,
    )


@dataclass(frozen=True)
class _Problem:
    """Cross-products of B scaled responses with the layout."""

    layout: VarianceLayout
    with_response: Array
    """T′y within each group, shape (B, m, d)."""
    squares: Array
    """y′y within each group, shape (B, m)."""

    @classmethod
    def of(cls, layout: VarianceLayout, responses: Array) -> _Problem:
        chosen = np.eye(len(layout.counts))[layout.groups]
        split = responses[:, None, :] * chosen.T[None]
        return cls(layout, split @ layout.design, (split**2).sum(axis=2))

    def subset(self, index: NDArray[np.intp]) -> _Problem:
        return _Problem(self.layout, self.with_response[index], self.squares[index])

    def evaluate(self, log_s2: Array, sigma2: Array) -> tuple[Array, Array, Array]:
        """Criterion (B,), score of the log-likelihood and expected information.

        Scores and information are in (log s², σ²_k).
        """
        layout, w = self.layout, np.exp(-log_s2)
        C = layout.crossproducts
        n_z = layout.n_random_columns
        B = np.einsum("bm,mde->bde", w, C)
        K, log_det = _inner_inverse(layout, B, sigma2)
        r = np.einsum("bm,bmd->bd", w, self.with_response)
        a = np.einsum("bde,be->bd", K, r)
        value = layout.counts @ log_s2.T + log_det + (w * self.squares).sum(1) - (r * a).sum(1)

        # Methods: tr(P E_m) and |E_m P y|², each times s²_m for the log scale.
        H = K[:, None] @ C
        trace = layout.counts - w * np.trace(H, axis1=2, axis2=3)
        residual = self.squares - 2 * np.einsum("bmd,bd->bm", self.with_response, a)
        residual += np.einsum("bd,mde,be->bm", a, C, a, optimize=True)
        # Random factors: Z′PZ and Z′Py.
        KB = K @ B
        Q = (B - B @ KB)[:, :n_z, :n_z]
        u = (r - np.einsum("bde,be->bd", B, a))[:, :n_z]
        R = (np.eye(B.shape[1]) - KB)[:, None, :, :n_z]
        score_groups = -0.5 * (trace - w * residual)
        score_random = -0.5 * (_by_factor(layout, np.diagonal(Q, axis1=1, axis2=2) - u**2))
        score = np.concatenate([score_groups, score_random], axis=1)
        return value, score, self._information(w, H, trace, Q, R)

    def _information(self, w: Array, H: Array, trace: Array, Q: Array, R: Array) -> Array:
        layout = self.layout
        m, k = len(layout.counts), len(layout.random_columns)
        flat = H.reshape(*H.shape[:2], -1)
        flat_t = H.swapaxes(2, 3).reshape(*H.shape[:2], -1)
        among = (w[:, :, None] * w[:, None, :]) * (flat @ flat_t.swapaxes(1, 2))
        index = np.arange(m)
        among[:, index, index] += layout.counts - 2 * (layout.counts - trace)
        info = np.empty((len(w), m + k, m + k))
        info[:, :m, :m] = among
        if k:
            lengths = ((layout.crossproducts @ R) * R).sum(axis=2)
            cross = w[:, :, None] * _by_factor(layout, lengths)
            info[:, :m, m:] = cross
            info[:, m:, :m] = cross.swapaxes(1, 2)
            info[:, m:, m:] = _by_factor(layout, _by_factor(layout, Q**2).swapaxes(1, 2))
        return 0.5 * info


def _inner_inverse(layout: VarianceLayout, B: Array, sigma2: Array) -> tuple[Array, Array]:
    """K and log|I + Z′WZ G| + log|X′V⁻¹X| for each response."""
    n_z, d = layout.n_random_columns, B.shape[1]
    S = np.ones((len(B), d))
    for k, columns in enumerate(layout.random_columns):
        S[:, columns] = np.sqrt(sigma2[:, k, None])
    inner = S[:, :, None] * B * S[:, None, :]
    inner[:, np.arange(n_z), np.arange(n_z)] += 1.0
    root = np.linalg.cholesky(inner)
    log_det = 2 * np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    return S[:, :, None] * np.linalg.inv(inner) * S[:, None, :], log_det


def _by_factor(layout: VarianceLayout, values: Array) -> Array:
    """Sums of the last axis over the columns of each random factor."""
    parts = [values[..., columns].sum(axis=-1) for columns in layout.random_columns]
    return np.stack(parts, axis=-1) if parts else values[..., :0]


def _start(problem: _Problem) -> tuple[Array, Array]:
    """Every method alike, and each random factor a tenth of the whole variance (which is 1)."""
    n_fits, n_groups = problem.squares.shape
    k = len(problem.layout.random_columns)
    return np.full((n_fits, n_groups), np.log(0.7)), np.full((n_fits, k), 0.1)


def _improve(
    problem: _Problem,
    state: tuple[Array, Array],
    value: Array,
    score: Array,
    info: Array,
) -> tuple[tuple[Array, Array], tuple[Array, Array, Array]]:
    """One scoring step for each response, halved until the criterion does not rise."""
    log_s2, sigma2 = state
    m = log_s2.shape[1]
    step = _scoring_step(log_s2, sigma2, score, info)
    length = np.ones(len(value))
    for _ in range(12):
        new_log = np.maximum(log_s2 + length[:, None] * step[:, :m], np.log(_FLOOR))
        new_sigma2 = np.maximum(sigma2 + length[:, None] * step[:, m:], 0.0)
        result = problem.evaluate(new_log, new_sigma2)
        worse = result[0] > value + 1e-12
        if not worse.any():
            return (new_log, new_sigma2), result
        length = np.where(worse, length / 2, length)
    keep = ~worse
    chosen = (
        np.where(keep[:, None], new_log, log_s2),
        np.where(keep[:, None], new_sigma2, sigma2),
    )
    return chosen, problem.evaluate(*chosen)


def _scoring_step(log_s2: Array, sigma2: Array, score: Array, info: Array) -> Array:
    """Fisher's step with the components at their bound, and pushed against it, held still."""
    m = log_s2.shape[1]
    held = np.zeros(score.shape, dtype=bool)
    held[:, m:] = (sigma2 <= 0) & (score[:, m:] <= 0)
    held[:, :m] = (log_s2 <= np.log(_FLOOR) + 1e-9) & (score[:, :m] <= 0)
    free = ~held
    matrix = info * (free[:, :, None] & free[:, None, :])
    index = np.arange(score.shape[1])
    matrix[:, index, index] = np.where(free, matrix[:, index, index] * (1 + 1e-10) + 1e-12, 1.0)
    step = np.linalg.solve(matrix, (score * free)[:, :, None])[:, :, 0]
    step[:, :m] = np.clip(step[:, :m], -2.0, 2.0)
    return step
