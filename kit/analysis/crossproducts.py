"""The moments of a model with one residual variance, from cross-products of [Z X y].

Nothing of size n × n is formed. With γ_k = σ²_k/σ² and H = I + ZΓZ', the symmetric sweep

    W'H⁻¹W = W'W − W'Z Γ^½ (I + Γ^½Z'ZΓ^½)⁻¹ Γ^½ Z'W,      W = [Z X y],

is the sequence of rank-one updates with factor γ/(1 + γ c_jj), done for all columns at
once by one Cholesky factor; a zero γ costs nothing and is no special case. Sweeping X as
well gives W'PW. The terms with the residual follow from H⁻¹HH⁻¹ = H⁻¹ and PHP = P.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from kit.analysis.moments import (
    Array,
    FixedMoments,
    Moments,
    SingularCovarianceError,
    WeightedResiduals,
)

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class _Swept:
    """H⁻¹-products of [Z X y], before (c) and after (cp) X is swept out; γ and σ² apart."""

    gamma: Array
    sigma2: float
    log_det_h: float
    log_det_xhx: float
    c: Array
    cp: Array
    phi: Array
    beta: Array


class CrossProducts:
    """y = Xβ + Σ Z_k u_k + e with one residual variance; θ = (σ²_1, …, σ²_K, σ²).

    Parameters: ``codes`` the level number of each shot for each random column, ``sizes``
    the number of levels of each, ``x`` n × p (orthonormal columns), ``y`` length n.
    """

    def __init__(self, codes: list[Codes], sizes: list[int], x: Array, y: Array) -> None:
        self.n, self.p = x.shape
        self.n_random = len(codes)
        self.n_components = self.n_random + 1
        self.starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.intp)
        self.q = int(self.starts[-1])
        self.codes, self.x, self.y = codes, x, y
        self.products = self._products(sizes)

    def _products(self, sizes: list[int]) -> Array:
        """[Z X y]'[Z X y] without forming Z."""
        q, p = self.q, self.p
        dense = np.column_stack([self.x, self.y])
        s = np.empty((q + p + 1, q + p + 1))
        s[q:, q:] = dense.T @ dense
        for k, (rows, size) in enumerate(zip(self.codes, sizes, strict=True)):
            at = slice(self.starts[k], self.starts[k + 1])
            for j in range(p + 1):
                s[at, q + j] = np.bincount(rows, dense[:, j], size)
            for m in range(k, self.n_random):
                counts = np.bincount(rows * sizes[m] + self.codes[m], minlength=size * sizes[m])
                to = slice(self.starts[m], self.starts[m + 1])
                s[at, to] = counts.reshape(size, sizes[m])
                s[to, at] = s[at, to].T
        s[q:, :q] = s[:q, q:].T
        return s

    def _sweep(self, theta: Array) -> _Swept | None:
        q, p = self.q, self.p
        sigma2 = float(theta[-1])
        if not sigma2 > 0:
            return None
        gamma = theta[:-1] / sigma2
        root = np.sqrt(np.repeat(gamma, np.diff(self.starts)))
        s = self.products
        used = root > 0.0
        weighted = root[used, None] * s[:q][used]
        inner = weighted[:, :q][:, used] * root[used]
        inner.flat[:: len(inner) + 1] += 1.0
        try:
            factor = np.linalg.cholesky(inner)
            half = solve_triangular(factor, weighted, lower=True, check_finite=False)
            c = s - half.T @ half
            xx = np.linalg.cholesky(c[q : q + p, q : q + p])
        except np.linalg.LinAlgError:
            return None
        root_phi = solve_triangular(xx, np.eye(p), lower=True, check_finite=False)
        phi = root_phi.T @ root_phi
        cp = c - c[:, q : q + p] @ phi @ c[q : q + p, :]
        return _Swept(
            gamma,
            sigma2,
            2.0 * float(np.sum(np.log(np.diag(factor)))),
            2.0 * float(np.sum(np.log(np.diag(xx)))),
            c,
            cp,
            phi,
            phi @ c[q : q + p, -1],
        )

    def _required_sweep(self, theta: Array) -> _Swept:
        swept = self._sweep(theta)
        if swept is None:
            raise SingularCovarianceError
        return swept

    def _sums(self, matrix: Array) -> Array:
        """Sums over the blocks that belong to each pair of random columns: K × K."""
        at = self.starts[:-1]
        if not len(at):
            return np.zeros((0, 0))
        return np.add.reduceat(np.add.reduceat(matrix, at, axis=0), at, axis=1)

    def _traces(self, c: Array, gamma: Array, rank: int) -> tuple[Array, Array]:
        """tr AG_i and tr AG_iAG_j for A = H⁻¹ (rank n) or P (rank n − p), residual last."""
        zz = c[: self.q, : self.q]
        at = self.starts[:-1]
        one = np.add.reduceat(np.diag(zz), at) if len(at) else np.zeros(0)
        return _with_residual(one, self._sums(zz * zz), rank, gamma)

    def moments(self, theta: Array) -> Moments | None:
        """The moments at θ, or None where V is not positive definite."""
        swept = self._sweep(theta)
        if swept is None:
            return None
        gamma, v, q = swept.gamma, swept.sigma2, self.q
        trace_v, trace_vv = self._traces(swept.c, gamma, self.n)
        trace_p, trace_pp = self._traces(swept.cp, gamma, self.n - self.p)
        zy, rss = swept.cp[:q, -1], swept.cp[-1, -1]
        at = self.starts[:-1]
        one = np.add.reduceat(zy * zy, at) if len(at) else np.zeros(0)
        two = self._sums(zy[:, None] * swept.cp[:q, :q] * zy)
        quad, quad_quad = _with_residual(one, two, rss, gamma)
        return Moments(
            log_det_v=swept.log_det_h + self.n * np.log(v),
            log_det_xvx=swept.log_det_xhx - self.p * np.log(v),
            rss=float(rss / v),
            trace_v=trace_v / v,
            trace_vv=trace_vv / v**2,
            trace_p=trace_p / v,
            trace_pp=trace_pp / v**2,
            quad=quad / v**2,
            quad_quad=quad_quad / v**3,
        )

    def fixed_moments(self, theta: Array) -> FixedMoments:
        """The fixed-effects moments at a θ where V is positive definite."""
        swept = self._required_sweep(theta)
        q, p, k = self.q, self.p, self.n_random
        gamma, v = swept.gamma, swept.sigma2
        blocks = [slice(a, b) for a, b in pairwise(self.starts)]
        zz, zx = swept.c[:q, :q], swept.c[:q, q : q + p]
        first, second = np.zeros((k + 1, p, p)), np.zeros((k + 1, k + 1, p, p))
        for i, a in enumerate(blocks):
            first[i] = zx[a].T @ zx[a]
            for j, b in enumerate(blocks):
                second[i, j] = zx[a].T @ zz[a, b] @ zx[b]
        first[k] = swept.c[q : q + p, q : q + p] - np.tensordot(gamma, first[:k], 1)
        for i in range(k):
            second[i, k] = first[i] - np.tensordot(gamma, second[i, :k], 1)
            second[k, i] = second[i, k].T
        second[k, k] = first[k] - np.tensordot(gamma, second[:k, k], 1)
        return FixedMoments(swept.beta, swept.phi * v, first / v**2, second / v**3)

    def weighted(self, theta: Array) -> WeightedResiduals:
        """Py, diag P and their sums by level, from P = H⁻¹ − H⁻¹XΦX'H⁻¹ and
        H⁻¹ = I − ZΓZ' + ZΓ(Z'H⁻¹Z)ΓZ', entry by entry.
        """  # fmt: skip
        swept = self._required_sweep(theta)
        q, p, gamma, v = self.q, self.p, swept.gamma, swept.sigma2
        rows = [self.starts[k] + codes for k, codes in enumerate(self.codes)]
        hx, py = self.x, self.y - self.x @ swept.beta
        diagonal = np.ones(self.n)
        for k, at in enumerate(rows):
            hx = hx - gamma[k] * swept.c[at, q : q + p]
            py = py - gamma[k] * swept.cp[at, -1]
            diagonal -= gamma[k]
            for m, to in enumerate(rows):
                diagonal += gamma[k] * gamma[m] * swept.c[at, to]
        diagonal -= np.einsum("np,pq,nq->n", hx, swept.phi, hx)
        return WeightedResiduals(
            py / v,
            diagonal / v,
            [(swept.cp[a:b, -1] / v, np.diag(swept.cp)[a:b] / v) for a, b in pairwise(self.starts)],
        )


def _with_residual(one: Array, two: Array, total: float, gamma: Array) -> tuple[Array, Array]:
    """Append the residual to first- and second-order terms of the random columns.

    Because AHA = A for A = H⁻¹ and for P, the residual's term is the total (tr AH, or y'Py)
    less γ times the others, at either order.
    """
    k = len(one)
    first, second = np.empty(k + 1), np.empty((k + 1, k + 1))
    first[:k], second[:k, :k] = one, two
    first[k] = total - gamma @ one
    second[:k, k] = second[k, :k] = one - two @ gamma
    second[k, k] = first[k] - gamma @ second[:k, k]
    return first, second
