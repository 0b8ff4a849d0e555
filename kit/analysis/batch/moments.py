"""What REML and Kenward–Roger need at one γ, for every trial of a chunk.

Model y = Xβ + Σ Z_k u_k + e with V = σ²H, H = I + Σ γ_k G_k, G_k = Z_kZ_k', γ_k = σ²_k/σ².
With U = [X y] everything follows from the cross-products

    A = U'H⁻¹U,   D_i = U'H⁻¹G_iH⁻¹U,   E_ij = U'H⁻¹G_iH⁻¹G_jH⁻¹U  (made symmetric),

log|H| and the traces of H⁻¹G_i and H⁻¹G_iH⁻¹G_j (Searle, Casella & McCulloch 1992, ch. 6).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kit.analysis.batch.products import multiply, quadratic, sweep, trace_of_product

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Products:
    """P = p + 1 columns of U, K random columns, T trials.

    log_h (T,); a (P, P, T); d[i] and e[i][j] likewise (P, P, T);
    trace (K, T); traces (K, K, T).
    """

    log_h: Floats
    a: Floats
    d: tuple[Floats, ...]
    e: tuple[tuple[Floats, ...], ...]
    trace: Floats
    traces: Floats


class Trials(Protocol):
    """T trials of one layout, reduced to cross-products."""

    @property
    def degrees(self) -> Floats:
        """Shots left less fixed columns (T,)."""
        ...

    def products(self, gamma: Floats) -> Products:
        """The cross-products at γ (K, T)."""
        ...

    def subset(self, which: Codes) -> Trials:
        """The trials with these numbers."""
        ...


def shots_to_spare(weight: Floats, n_fixed: int) -> Floats:
    """Shots left (columns of ``weight`` (n, T)) less fixed columns; NaN where none is (T,)."""
    spare = weight.sum(axis=0) - n_fixed
    return np.where(spare > 0.0, spare, np.nan)


@dataclass(frozen=True)
class Criterion:
    """Profile REML criterion in γ, without its constant: value (T,), gradient (K, T),
    observed and expected Hessian (K, K, T).
    """  # fmt: skip

    value: Floats
    gradient: Floats
    observed: Floats
    expected: Floats


@dataclass(frozen=True)
class Estimates:
    """At one γ: inverse (p, p, T) = (X'H⁻¹X)⁻¹, beta (p, T), rss (T,) = y'Py with H for V,
    trace (K, T) and traces (K, K, T) of PG_i and PG_iPG_j, quad likewise y'PG_iPy and
    y'PG_iPG_jPy; m[i] (p, P, T) = (X'H⁻¹X)⁻¹ D_i.
    """  # fmt: skip

    inverse: Floats
    log_x: Floats
    beta: Floats
    rss: Floats
    m: tuple[Floats, ...]
    trace: Floats
    traces: Floats
    quad: Floats
    quads: Floats


def estimates(products: Products) -> Estimates:
    """Sweep X out of the cross-products."""
    p = products.a.shape[0] - 1
    swept, log_x = sweep(products.a, p)
    inverse = np.ascontiguousarray(swept[:p, :p])
    beta, rss = swept[:p, p].copy(), swept[p, p].copy()
    count, trials = len(products.d), rss.size
    residual = np.concatenate([-beta, np.ones((1, trials))])
    m = tuple(multiply(inverse, d[:p]) for d in products.d)
    pulled = [np.einsum("abt,bt->at", d, residual) for d in products.d]
    trace, quad = products.trace.copy(), np.empty((count, trials))
    traces, quads = products.traces.copy(), np.empty((count, count, trials))
    for i in range(count):
        trace[i] -= np.einsum("aat->t", m[i][:, :p])
        quad[i] = np.einsum("at,at->t", residual, pulled[i])
        for j in range(i, count):
            e = products.e[i][j]
            traces[i, j] -= 2.0 * trace_of_product(inverse, e[:p, :p])
            traces[i, j] += trace_of_product(m[i][:, :p], m[j][:, :p])
            through = np.einsum("abt,bt->at", inverse, pulled[j][:p])
            quads[i, j] = quadratic(residual, e) - np.einsum("at,at->t", pulled[i][:p], through)
            traces[j, i], quads[j, i] = traces[i, j], quads[i, j]
    return Estimates(inverse, log_x, beta, rss, m, trace, traces, quad, quads)


def criterion(products: Products, at: Estimates, degrees: Floats) -> Criterion:
    """log|H| + log|X'H⁻¹X| + ν log y'Py with its derivatives in γ (σ² profiled out)."""
    rss = np.where(at.rss > 0.0, at.rss, np.nan)  # rounding can leave a perfect fit below zero
    value = products.log_h + at.log_x + degrees * np.log(rss)
    share = at.quad / rss
    outer = share[:, None] * share[None]
    observed = degrees * (2.0 * at.quads / rss - outer) - at.traces
    expected = at.traces - at.trace[:, None] * at.trace[None] / degrees
    return Criterion(value, at.trace - degrees * share, observed, expected)
