"""Variance of planned comparisons, known from the layout alone before a single shot."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from kit.design.blockdesign import FloatArray

_ESTIMABLE = 1e-8


def indicator(levels: Sequence[object]) -> FloatArray:
    """One column a level, in order of first appearance (shots × levels)."""
    order = {level: i for i, level in enumerate(dict.fromkeys(levels))}
    matrix = np.zeros((len(levels), len(order)))
    matrix[np.arange(len(levels)), [order[level] for level in levels]] = 1.0
    return matrix


def information_with_fixed(
    treatments: FloatArray, blocks: FloatArray, others: Sequence[FloatArray] = ()
) -> FloatArray:
    """Information on the treatments with blocks and other nuisance columns taken out as fixed.

    X′(I − P)X, where blocks (indicator columns) are swept out by their means first and the other
    columns after them. Source: John and Williams (1995), section 1.3 (reduced normal equations).
    """
    swept = _without_means(treatments, blocks)
    information = swept.T @ swept
    if not others:
        return information
    nuisance = _without_means(np.hstack(others), blocks)
    basis, values, _ = np.linalg.svd(nuisance, full_matrices=False)
    inside = basis[:, values > _ESTIMABLE * max(float(values[0]), 1.0)].T @ swept
    return information - inside.T @ inside


def _without_means(columns: FloatArray, blocks: FloatArray) -> FloatArray:
    means = (blocks.T @ columns) / blocks.sum(axis=0)[:, None]
    return columns - blocks @ means


def information_with_random(
    treatments: FloatArray, groups: Sequence[tuple[FloatArray, float]]
) -> FloatArray:
    """Information on the treatments, per unit of shot variance, when groups of shots share an
    error: X′V⁻¹X with V = I + Σ ratio · ZZ′, the overall mean taken out.

    Parameters
    ----------
    groups
        For each level of grouping, its indicator columns and its variance over the shot variance.
    """
    stacked = [math.sqrt(ratio) * columns for columns, ratio in groups if ratio > 0]
    design = np.hstack([np.ones((len(treatments), 1)), treatments])
    cross = design.T @ design
    if stacked:
        # V⁻¹ = I − U(I + U′U)⁻¹U′ (Woodbury 1950): nothing of the size of the shots is inverted.
        shared = np.hstack(stacked)
        inside = shared.T @ design
        middle = np.eye(shared.shape[1]) + shared.T @ shared
        cross = cross - inside.T @ np.linalg.solve(middle, inside)
    total, with_mean, among = cross[0, 0], cross[0, 1:], cross[1:, 1:]
    return among - np.outer(with_mean, with_mean) / total


def contrast_variances(information: FloatArray, weights: FloatArray) -> FloatArray:
    """Variance of each contrast per unit of shot variance; infinite where not estimable.

    Parameters
    ----------
    weights
        Contrasts × treatments, each row summing to zero.
    """
    values, vectors = np.linalg.eigh(information)
    # Information is counted in shots, so what is far below one shot is rounding, not information.
    kept = values > _ESTIMABLE * max(float(values[-1]), 1.0)
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    through = weights @ inverse
    variances = np.einsum("ij,ij->i", through, weights)
    missed = np.abs(weights - through @ information).max(axis=1)
    return np.where(missed > _ESTIMABLE * np.abs(weights).max(), math.inf, variances)


def pair_weights(n_treatments: int) -> tuple[list[tuple[int, int]], FloatArray]:
    """Every pair of treatments and its contrast (the first minus the second)."""
    pairs = [(a, b) for a in range(n_treatments) for b in range(a + 1, n_treatments)]
    weights = np.zeros((len(pairs), n_treatments))
    for row, (a, b) in enumerate(pairs):
        weights[row, a], weights[row, b] = 1.0, -1.0
    return pairs, weights
