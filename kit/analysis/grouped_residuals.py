"""The moments of a model in which each method has a residual variance of its own.

θ = (σ²_1, …, σ²_K, r_1, …, r_G): V = Σ σ²_k Z_kZ_k' + diag(r of the shot's level). The
n × n matrix is formed, because then a residual variance of exactly zero, which REML does
reach in small designs, is no special case as long as V stays positive definite.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from kit.analysis.moments import (
    Array,
    FixedMoments,
    Moments,
    SingularCovarianceError,
    WeightedResiduals,
)

Codes = NDArray[np.intp]

SINGULAR = 1e-12  # smallest pivot of V, relative to its largest entry


class GroupedResiduals:
    """Random intercepts and one residual variance for each of G groups of shots.

    Parameters: as for `CrossProducts`, with ``group`` the group number (0 … G−1) of
    each shot and ``n_groups`` G.
    """

    def __init__(
        self, codes: list[Codes], sizes: list[int], x: Array, y: Array, group: Codes, n_groups: int
    ) -> None:
        self.n, self.p = x.shape
        self.n_random = len(codes)
        self.n_components = self.n_random + n_groups
        self.x, self.y, self.group = x, y, group
        self.z = [np.eye(size)[rows] for rows, size in zip(codes, sizes, strict=True)]
        self.same = [z @ z.T for z in self.z]
        self.groups = np.eye(n_groups)[group]

    def _inverse(self, theta: Array) -> tuple[Array, float] | None:
        """V⁻¹ and log|V|; None where V is not positive definite."""
        v = np.diag(theta[self.n_random :][self.group])
        for k, same in enumerate(self.same):
            v += theta[k] * same
        try:
            factor = cho_factor(v, lower=True)
        except np.linalg.LinAlgError:
            return None
        pivots = np.diag(factor[0])
        if pivots.min() ** 2 < SINGULAR * v.max():
            return None
        return cho_solve(factor, np.eye(self.n)), 2.0 * float(np.sum(np.log(pivots)))

    def _traces(self, a: Array) -> tuple[Array, Array]:
        """tr AG_i and tr AG_iAG_j, random columns first, then the groups."""
        spread = [a @ z for z in self.z]
        one = np.array(
            [np.sum(z * az) for z, az in zip(self.z, spread, strict=True)]
            + list(self.groups.T @ np.diag(a))
        )
        k = self.n_random
        two = np.empty((self.n_components, self.n_components))
        for i in range(k):
            for j in range(i, k):
                two[i, j] = two[j, i] = np.sum((self.z[i].T @ spread[j]) ** 2)
            two[i, k:] = two[k:, i] = self.groups.T @ np.sum(spread[i] ** 2, axis=1)
        two[k:, k:] = self.groups.T @ (a * a) @ self.groups
        return one, two

    def _apply(self, vector: Array) -> Array:
        """G_i v for every component i: n × (K + G)."""
        random = [z @ (z.T @ vector) for z in self.z]
        return np.column_stack([*random, self.groups * vector[:, None]])

    def moments(self, theta: Array) -> Moments | None:
        """The moments at θ, or None where V is not positive definite."""
        inverse = self._inverse(theta)
        if inverse is None:
            return None
        vi, log_det_v = inverse
        vx = vi @ self.x
        try:
            xx = cho_factor(self.x.T @ vx, lower=True)
        except np.linalg.LinAlgError:
            return None
        p = vi - vx @ cho_solve(xx, vx.T)
        py = p @ self.y
        applied = self._apply(py)
        trace_v, trace_vv = self._traces(vi)
        trace_p, trace_pp = self._traces(p)
        return Moments(
            log_det_v=log_det_v,
            log_det_xvx=2.0 * float(np.sum(np.log(np.diag(xx[0])))),
            rss=float(self.y @ py),
            trace_v=trace_v,
            trace_vv=trace_vv,
            trace_p=trace_p,
            trace_pp=trace_pp,
            quad=py @ applied,
            quad_quad=applied.T @ p @ applied,
        )

    def _required_inverse(self, theta: Array) -> Array:
        inverse = self._inverse(theta)
        if inverse is None:
            raise SingularCovarianceError
        return inverse[0]

    def fixed_moments(self, theta: Array) -> FixedMoments:
        """The fixed-effects moments at a θ where V is positive definite."""
        vi = self._required_inverse(theta)
        vx = vi @ self.x
        phi = np.linalg.inv(self.x.T @ vx)
        spread = [z @ (z.T @ vx) for z in self.z]
        spread += [column[:, None] * vx for column in self.groups.T]
        first = np.array([vx.T @ s for s in spread])
        half = [vi @ s for s in spread]
        second = np.array([[s.T @ h for h in half] for s in spread])
        return FixedMoments(phi @ (vx.T @ self.y), phi, first, second)

    def weighted(self, theta: Array) -> WeightedResiduals:
        """Py, diag P and their sums by level."""
        vi = self._required_inverse(theta)
        vx = vi @ self.x
        p = vi - vx @ np.linalg.solve(self.x.T @ vx, vx.T)
        py = p @ self.y
        return WeightedResiduals(
            py, np.diag(p), [(z.T @ py, np.sum(z * (p @ z), axis=0)) for z in self.z]
        )
