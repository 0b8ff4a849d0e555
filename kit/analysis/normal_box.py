"""Chance that a normal vector leaves a box when its correlations nearly have one factor.

The multivariate t of unbalanced comparisons is the exact one-factor value plus a small
remainder, and this module computes the remainder in two ways.

Expansion. Given the common factor, the parts left over are standard normal with correlation
matrix I + E, E small. The log of the probability is expanded in E: by the expansion of the
normal density in Hermite polynomials (Kibble 1945) and the linked-cluster theorem, order m is
a sum over connected graphs with m edges; an edge is an entry of E, a vertex of degree r the
r-th cumulant of the Hermite moments of its interval; the weight is one over the number of
symmetries. Orders 1 to 4 are used, and the size of the fourth states the error.

Lattice. Where E is not small, a fixed lattice rule on the separated variables of
Genz & Bretz (2009, ch. 4) gives the difference of the two probabilities.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtr, ndtri

Floats = NDArray[np.float64]

_LATTICE_POINTS = 32749  # prime
_LATTICE_GENERATOR = 12995  # best of 1,500 tried by the P2 criterion in 4, 6 and 10 dimensions
_FEW_DIMENSIONS = 6
_WIDEST_STEP = 0.3  # of the trapezoid over the factor: exact to 1e-15 for loadings below 0.85
_NEGLIGIBLE = 1e-17  # nodes that carry less probability than this are left out


@dataclass(frozen=True)
class Side:
    """What one-sided and two-sided comparisons do differently.

    ``lower(w)`` is the lower end of the interval of each variable whose upper end is w;
    ``outside(w, c, shift)`` is P(a normal with mean ``shift`` and SD ``c`` leaves it).
    """

    lower: Callable[[Floats], Floats]
    outside: Callable[[Floats, Floats, Floats], Floats]


def _outside_two(w: Floats, c: Floats, shift: Floats) -> Floats:
    return np.asarray(ndtr((-w - shift) / c) + ndtr((shift - w) / c))


def _outside_upper(w: Floats, c: Floats, shift: Floats) -> Floats:
    return np.asarray(ndtr((shift - w) / c))


TWO_SIDED = Side(lower=lambda w: -w, outside=_outside_two)
UPPER = Side(lower=lambda w: np.full_like(w, -np.inf), outside=_outside_upper)


def expansion(w: Floats, correlation: Floats, loading: Floats, side: Side) -> tuple[Floats, Floats]:
    """P(exit | correlation) - P(exit | one factor) at each ``w``, and the fourth order's part."""
    spread = np.sqrt(1.0 - loading**2)
    E = (correlation - np.outer(loading, loading)) / np.outer(spread, spread)
    np.fill_diagonal(E, 0.0)
    step = float(min(_WIDEST_STEP, 0.5 * (spread / np.maximum(np.abs(loading), 1e-9)).min()))
    z = np.arange(-8.6, 8.6, step)
    weight = step * np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    upper, factor = (a.ravel() for a in np.broadcast_arrays(w[:, None], z[None, :]))
    shift = loading[:, None] * factor
    high = (upper - shift) / spread[:, None]
    low = (side.lower(upper) - shift) / spread[:, None]
    inside = ndtr(high) - ndtr(low)
    base = np.prod(inside, axis=0) * np.tile(weight, w.size)
    used = base > _NEGLIGIBLE
    orders = _cluster_sums(E, _cumulants(low[:, used], high[:, used], inside[:, used]))
    change, last = np.zeros(base.size), np.zeros(base.size)
    change[used] = -base[used] * np.expm1(orders.sum(axis=0))
    last[used] = base[used] * np.exp(orders.sum(axis=0)) * orders[3]
    shape = (w.size, z.size)
    return change.reshape(shape).sum(axis=1), last.reshape(shape).sum(axis=1)


def _cumulants(low: Floats, high: Floats, inside: Floats) -> list[Floats]:
    """First four cumulants of the Hermite moments of the interval (low, high)."""
    f_low, f_high = (np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) for x in (low, high))
    x, y = (np.where(np.isinf(v), 0.0, v) for v in (low, high))
    g1 = (f_low - f_high) / inside
    g2 = (x * f_low - y * f_high) / inside
    g3 = ((x * x - 1.0) * f_low - (y * y - 1.0) * f_high) / inside
    g4 = (x * (x * x - 3.0) * f_low - y * (y * y - 3.0) * f_high) / inside
    second = g2 - g1**2
    third = g3 - 3.0 * g1 * g2 + 2.0 * g1**3
    fourth = g4 - 4.0 * g1 * g3 - 3.0 * g2**2 + 12.0 * g1**2 * g2 - 6.0 * g1**4
    return [g1, second, third, fourth]


def _cluster_sums(E: Floats, cumulants: list[Floats]) -> Floats:
    """Orders 1 to 4 of the log probability, one row an order (graphs named in the comments)."""
    a, b, c, d = cumulants
    field = E @ a
    leaf = E @ (b * field)
    pair = E**2 @ b
    loop = np.einsum("ij,jm,jk,km,ki->im", E, b, E, b, E, optimize=True)
    around = np.einsum("ij,jm,jk->ikm", E, b, E, optimize=True)
    first = 0.5 * a * field
    second = 0.5 * b * field**2 + 0.25 * b * pair  # path; double edge
    third = (
        0.5 * b * field * leaf  # path of four
        + c * field**3 / 6.0  # star
        + 0.5 * c * field * pair  # double edge with a leaf
        + b * loop / 6.0  # triangle
        + c * (E**3 @ c) / 12.0  # triple edge
    )
    fourth = (
        0.5 * b * leaf**2  # path of five
        + d * field**4 / 24.0  # star
        + 0.5 * c * field**2 * leaf  # star with one long arm
        + 0.25 * d * field**2 * pair  # double edge, two leaves at one end
        + 0.25 * c * field * (E**2 @ (c * field))  # double edge, a leaf at each end
        + 0.5 * c * pair * leaf  # double edge with a long arm
        + 0.5 * c * field * loop  # triangle with a leaf
        + 0.125 * np.einsum("im,ikm,km,kim->im", b, around, b, around)  # square
        + d * field * (E**3 @ c) / 6.0  # triple edge with a leaf
        + 0.125 * d * pair**2  # two double edges
        + 0.25 * c * np.einsum("ik,ikm,km->im", E**2, around, c)  # triangle, one edge doubled
        + d * (E**4 @ d) / 48.0  # fourfold edge
    )
    return np.array([order.sum(axis=0) for order in (first, second, third, fourth)])


@lru_cache(maxsize=32)
def _lattice(dimensions: int) -> tuple[Floats, Floats]:
    """Points (dimensions, N) in the unit cube and their weights, made periodic.

    In few dimensions x -> x^3 (10 - 15 x + 6 x^2) flattens the integrand at the faces
    (Korobov's transform), which lets the rule converge at its full rate; in many its weights
    grow too uneven, and x -> |2 x - 1| (the baker's transform) takes its place.
    """
    generator = [pow(_LATTICE_GENERATOR, j, _LATTICE_POINTS) for j in range(dimensions)]
    index = np.arange(1, _LATTICE_POINTS)  # the point at the corner has weight zero
    x = np.array([(index * g % _LATTICE_POINTS) / _LATTICE_POINTS for g in generator])
    if dimensions > _FEW_DIMENSIONS:
        return np.abs(2.0 * x - 1.0), np.full(index.size, 1.0 / index.size)
    weight = np.prod(30.0 * (x * (1.0 - x)) ** 2, axis=0) / _LATTICE_POINTS
    return x**3 * (10.0 - 15.0 * x + 6.0 * x * x), weight


def lattice_difference(
    t: float, df: float, correlation: Floats, loading: Floats, side: Side
) -> float:
    """P(exit | correlation) - P(exit | one factor) for T = Z / S, same points for both."""
    product = np.outer(loading, loading)
    np.fill_diagonal(product, 1.0)
    m = correlation.shape[0]
    points, weight = _lattice(m)
    w = np.full(weight.size, t)
    if not np.isinf(df):
        w = t * np.sqrt(chdtri(df, 1.0 - np.clip(points[m - 1], 1e-16, 1.0 - 1e-16)) / df)
    given = _inside(w, np.asarray(np.linalg.cholesky(correlation)), points, side)
    one_factor = _inside(w, np.asarray(np.linalg.cholesky(product)), points, side)
    return float(weight @ (one_factor - given))


def _inside(w: Floats, factor: Floats, points: Floats, side: Side) -> Floats:
    """Product of the conditional probabilities at each lattice point (Genz & Bretz, ch. 4.1)."""
    m = factor.shape[0]
    y = np.empty((m - 1, w.size))
    inside = np.ones(w.size)
    for i in range(m):
        shift = factor[i, :i] @ y[:i]
        width = 1.0 - side.outside(w, factor[i, i], shift)
        inside *= width
        if i < m - 1:
            u = ndtr((side.lower(w) - shift) / factor[i, i]) + points[i] * width
            y[i] = ndtri(np.clip(u, 1e-300, 1.0 - 1e-16))
    return inside
