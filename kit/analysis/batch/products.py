"""Small matrices for many trials at once: the last axis runs over trials.

Every operation here runs over a contiguous last axis of T trials, so numpy's loops stay in
the processor's cache and the interpreter's share is spread over the whole chunk.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@lru_cache(maxsize=32)
def packed_index(count: int) -> NDArray[np.intp]:
    """Where each entry of a symmetric (P, P) matrix stands among its ``count`` packed ones."""
    size = int((np.sqrt(8 * count + 1) - 1) // 2)
    index = np.empty((size, size), dtype=np.intp)
    rows, columns = np.triu_indices(size)
    index[rows, columns] = index[columns, rows] = np.arange(count)
    return index


def packed_gram(left: Floats, right: Floats) -> Floats:
    """Upper triangle of Σ_j left_j right_j', (J, P, T) arrays of a symmetric sum: (Q, T)."""
    size, trials = left.shape[1], left.shape[2]
    out = np.empty((size * (size + 1) // 2, trials))
    first = 0
    for a in range(size):
        part = out[first : first + size - a]
        np.einsum("jt,jbt->bt", left[:, a], right[:, a:], out=part)
        first += size - a
    return out


def gram(left: Floats, right: Floats) -> Floats:
    """Σ_j left_j right_j' for (J, P, T) arrays: (P, P, T)."""
    return np.asarray(np.einsum("jat,jbt->abt", left, right))


def both_ways(matrix: Floats) -> Floats:
    """The matrix plus its transpose, for each trial."""
    return np.asarray(matrix + matrix.transpose(1, 0, 2))


def multiply(left: Floats, right: Floats) -> Floats:
    """Matrix product for each trial: (A, B, T) by (B, C, T)."""
    return np.asarray(np.einsum("abt,bct->act", left, right))


def trace_of_product(left: Floats, right: Floats) -> Floats:
    """tr(left right) for each trial."""
    return np.asarray(np.einsum("abt,bat->t", left, right))


def quadratic(vector: Floats, matrix: Floats) -> Floats:
    """vector' matrix vector for each trial: (P, T) and (P, P, T)."""
    return np.asarray(np.einsum("at,at->t", vector, np.einsum("abt,bt->at", matrix, vector)))


def forms(rows: Floats, matrix: Floats) -> Floats:
    """l' matrix l for each row l of (C, P) and each trial of (P, P, T): (C, T)."""
    size = rows.shape[1]
    squares = np.einsum("ca,cb->cab", rows, rows).reshape(rows.shape[0], size * size)
    return np.asarray(squares @ matrix.reshape(size * size, -1))


def sweep(matrix: Floats, count: int) -> tuple[Floats, Floats]:
    """Sweep the first ``count`` pivots of symmetric (P, P, T) matrices (Goodnight 1979).

    Returns the swept matrix (inverse of the leading block, with its sign turned back to
    plus; solutions beside it; Schur complement below) and log of the product of the pivots.
    A pivot that is not positive gives NaN for that trial alone.
    """
    out = matrix.copy()
    log_det = np.zeros(matrix.shape[2])
    for k in range(count):
        pivot = np.where(out[k, k] > 0.0, out[k, k], np.nan)
        log_det += np.log(pivot)
        row = out[k] / pivot
        out -= out[:, k, None] * row[None]
        out[k] = row
        out[:, k] = row
        out[k, k] = -1.0 / pivot
    out[:count, :count] *= -1.0
    return out, log_det


def inverse(matrix: Floats) -> Floats:
    """Inverse of symmetric positive definite (K, K, T) matrices; NaN where they are not."""
    return sweep(matrix, matrix.shape[0])[0]
