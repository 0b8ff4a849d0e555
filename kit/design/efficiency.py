"""Efficiency of a block design: how much of a comparison survives when blocks are taken out."""

from __future__ import annotations

import math

import numpy as np

from kit.design.blockdesign import BlockDesign, FloatArray

_CONNECTED = 1e-9  # relative size below which an eigenvalue of the information matrix is zero


def information_matrix(design: BlockDesign) -> FloatArray:
    """Information on the methods with blocks taken out: C = R − N K⁻¹ N′.

    Source: John and Williams (1995), Cyclic and Computer Generated Designs, section 1.4.
    """
    incidence = design.incidence.astype(float)
    shots = np.diag(design.replications.astype(float))
    return shots - incidence @ incidence.T / design.block_size


def canonical_efficiency_factors(design: BlockDesign) -> FloatArray:
    """The t − 1 canonical efficiency factors, rising: eigenvalues of r^(−1/2) C r^(−1/2).

    A factor of 1 means nothing is lost to the blocks, 0 that the comparison cannot be made
    within blocks at all. Source: James and Wilkinson (1971), Biometrika 58.
    """
    scale = 1 / np.sqrt(np.maximum(design.replications, 1))
    values = np.linalg.eigvalsh(information_matrix(design) * np.outer(scale, scale))
    return np.clip(values[1:], 0.0, 1.0)


def is_connected(design: BlockDesign) -> bool:
    """Whether every difference between methods can be estimated within blocks."""
    if design.replications.min() == 0:
        return False
    return bool(canonical_efficiency_factors(design)[0] > _CONNECTED)


def pair_variances(design: BlockDesign) -> FloatArray:
    """Variance of each estimated difference of two methods per unit of shot variance.

    Blocks are taken out (no use is made of differences between blocks). Infinite where a design
    is not connected.

    Returns
    -------
    array
        Methods × methods, zero on the diagonal.
    """
    if not is_connected(design):
        return np.where(np.eye(design.n_methods, dtype=bool), 0.0, math.inf)
    inverse = np.linalg.pinv(information_matrix(design), hermitian=True)
    diagonal = np.diag(inverse)
    variances = diagonal[:, None] + diagonal[None, :] - 2 * inverse
    np.fill_diagonal(variances, 0.0)
    return variances


def efficiency_factor(design: BlockDesign) -> float:
    """Average efficiency: 2t/(bk), the variance in complete blocks of the same shots, over the
    mean variance of a difference.

    With equal replication this is the harmonic mean of the canonical efficiency factors.
    Source: John and Williams (1995), section 2.2.
    """
    variances = pair_variances(design)
    upper = variances[np.triu_indices(design.n_methods, 1)]
    if not np.isfinite(upper).all():
        return 0.0
    shots = design.n_blocks * design.block_size
    return float(2 * design.n_methods / shots / upper.mean())


def efficiency_bound(n_methods: int, block_size: int, n_blocks: int) -> float:
    """No design of this size has a higher average efficiency.

    Block sizes up to the number of methods, equal replication as near as can be. The mean
    canonical factor is t(k−1)/(k(t−1)), reached only by balance; where concurrences cannot all
    be equal, the least possible spread S of the factors lowers the bound to
    ē − (t−2)S²/(ē + (t−3)S).

    Source: Jarrett (1977), Biometrika 64, 67-72; John and Williams (1995), section 2.8.
    """
    t, k, b = n_methods, block_size, n_blocks
    if k >= t:
        return 1.0
    mean = t * (k - 1) / (k * (t - 1))
    if t < 3 or (b * k) % t:
        return mean
    r = b * k // t
    low, over = divmod(r * (k - 1), t - 1)
    # t − 1 concurrences a method: `over` of them are low + 1, the others low.
    squares = t * (over * (low + 1) ** 2 + (t - 1 - over) * low**2)
    trace = (t * (r * (k - 1) / k) ** 2 + squares / k**2) / r**2
    spread = math.sqrt(max(trace - (t - 1) * mean**2, 0.0) / ((t - 1) * (t - 2)))
    return mean - (t - 2) * spread**2 / (mean + (t - 3) * spread)
