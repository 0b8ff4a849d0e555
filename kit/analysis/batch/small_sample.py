"""Kenward–Roger and Satterthwaite for contrasts of many trials at once.

Kenward & Roger (1997): Φ_A = Φ + 2Φ [Σ W_ij (Q_ij − P_iΦP_j)] Φ and, for one contrast l,
df = 2f²/g'Wg with f = l'Φl, g_i = ∂f/∂θ_i. V is linear in θ, so any basis of the same
directions may be used: with (G_1, …, G_K, H) the direction of scale drops out of the
adjustment, and only the block of W that belongs to γ is left in it.

Kenward–Roger takes W from the expected information over all components, a component
estimated as zero included; Satterthwaite from the observed information over those above
zero: the conventions of ``kit.analysis.kenward_roger`` and ``kit.analysis.satterthwaite``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.analysis.batch.moments import Estimates, Products
from kit.analysis.batch.products import forms, inverse, multiply, sweep, trace_of_product

Floats = NDArray[np.float64]

SEPARABLE = 1e-9  # scaled determinant below which components cannot be told apart


@dataclass(frozen=True)
class Contrasts:
    """Contrasts (C rows) in each of T trials: estimate, se and df, all (C, T)."""

    estimate: Floats
    se: Floats
    df: Floats


def kenward_roger(
    rows: Floats, products: Products, at: Estimates, sigma2: Floats, degrees: Floats
) -> tuple[Floats, Floats]:
    """Kenward–Roger SE and df (C, T) of the contrasts ``rows`` (C, p)."""
    weight = expected_weight(at, degrees)
    plain = forms(rows, at.inverse)
    adjusted = plain + 2.0 * forms(rows, adjustment(products, at, weight))
    return np.sqrt(adjusted * sigma2), _one_df(rows, plain, at, weight)


def satterthwaite(
    rows: Floats, at: Estimates, gamma: Floats, sigma2: Floats, degrees: Floats
) -> tuple[Floats, Floats]:
    """Unadjusted SE and Satterthwaite df (C, T) of the contrasts ``rows`` (C, p)."""
    plain = forms(rows, at.inverse)
    weight = observed_weight(at, gamma, sigma2, degrees)
    return np.sqrt(plain * sigma2), _one_df(rows, plain, at, weight)


def _bordered(traces: Floats, trace: Floats, degrees: Floats) -> Floats:
    """Information in the basis (G_1, …, G_K, H): (K + 1, K + 1, T)."""
    count, trials = trace.shape
    out = np.empty((count + 1, count + 1, trials))
    out[:count, :count] = traces
    out[count, :count] = out[:count, count] = trace
    out[count, count] = degrees
    return out


def expected_weight(at: Estimates, degrees: Floats) -> Floats:
    """Asymptotic covariance of (σ²γ, log σ²) / σ² directions by the expected information."""
    return inverse(0.5 * _bordered(at.traces, at.trace, degrees))


def separated(at: Estimates, degrees: Floats) -> NDArray[np.bool_]:
    """Whether the shots left can tell the variance components apart (T,).

    The determinant of the expected information, scaled to ones on its diagonal, is one for
    unrelated components and zero where one of them follows from the others.
    """
    information = _bordered(at.traces, at.trace, degrees)
    own = np.einsum("kkt->kt", information)
    size = np.sqrt(np.where(own > 0.0, own, np.nan))
    log_det = sweep(information / (size[:, None] * size[None]), size.shape[0])[1]
    return np.asarray(np.nan_to_num(log_det, nan=-np.inf) > np.log(SEPARABLE))


def observed_weight(at: Estimates, gamma: Floats, sigma2: Floats, degrees: Floats) -> Floats:
    """The same by the observed information; a component at zero has no share in it."""
    information = _bordered(
        at.quads / sigma2 - 0.5 * at.traces, at.quad / sigma2 - 0.5 * at.trace, 0.5 * degrees
    )
    present = (gamma > 0.0).astype(float)
    for i, share in enumerate(present):
        information[i] *= share
        information[:, i] *= share
        information[i, i] += 1.0 - share
    weight = inverse(information)
    for i, share in enumerate(present):
        weight[i, i] *= share
    return weight


def adjustment(products: Products, at: Estimates, weight: Floats) -> Floats:
    """Φ [Σ W_ij (Q_ij − P_iΦP_j)] Φ on the scale σ² = 1: (p, p, T)."""
    count, p = at.trace.shape[0], at.beta.shape[0]
    total = np.zeros_like(at.inverse)
    for i in range(count):
        pulled = np.zeros_like(at.inverse)
        for j in range(count):
            share = weight[i, j]
            total += share * products.e[i][j][:p, :p]
            pulled += share * at.m[j][:, :p]
        total -= multiply(products.d[i][:p, :p], pulled)
    return multiply(multiply(at.inverse, total), at.inverse)


def _one_df(rows: Floats, plain: Floats, at: Estimates, weight: Floats) -> Floats:
    """2f²/g'Wg for each contrast and trial."""
    p = at.beta.shape[0]
    slopes = [forms(rows, multiply(m[:, :p], at.inverse)) for m in at.m]
    g = np.stack([*slopes, plain])
    spread = np.einsum("ict,ijt,jct->ct", g, weight, g)
    return 2.0 * plain**2 / np.where(spread > 0.0, spread, np.nan)


@dataclass(frozen=True)
class FTests:
    """F of the methods in each of T trials: num_df (one number), den_df and f, each (T,)."""

    num_df: int
    den_df: Floats
    f: Floats


def kenward_roger_f(
    rows: Floats, products: Products, at: Estimates, sigma2: Floats, degrees: Floats
) -> FTests:
    """Scaled F that all (independent, two or more) contrasts ``rows`` are zero."""
    q, p = rows.shape[0], at.beta.shape[0]
    weight = expected_weight(at, degrees)
    adjusted = at.inverse + 2.0 * adjustment(products, at, weight)
    between = inverse(_sandwich(rows, at.inverse))
    theta = np.einsum("qa,qrt,rb->abt", rows, between, rows)
    half = multiply(theta, at.inverse)
    terms = [multiply(half, m[:, :p].transpose(1, 0, 2)) for m in at.m]
    terms.append(half)
    ones = [np.einsum("aat->t", term) for term in terms]
    a1 = sum(weight[i, j] * ones[i] * ones[j] for i in range(len(ones)) for j in range(len(ones)))
    a2 = sum(
        weight[i, j] * trace_of_product(s, t)
        for i, s in enumerate(terms)
        for j, t in enumerate(terms)
    )
    estimate = rows @ at.beta
    precision = inverse(_sandwich(rows, adjusted) * sigma2)
    f = np.einsum("qt,qrt,rt->t", estimate, precision, estimate) / q
    den_df, factor = matched_moments(q, np.asarray(a1), np.asarray(a2))
    return FTests(q, den_df, factor * f)


def _sandwich(rows: Floats, matrix: Floats) -> Floats:
    return np.asarray(np.einsum("qa,abt,rb->qrt", rows, matrix, rows, optimize=True))


def matched_moments(q: int, a1: Floats, a2: Floats) -> tuple[Floats, Floats]:
    """Denominator df and scale from A1 and A2 (Kenward & Roger 1997, section 4).

    Written with the factors that vanish at 2 and at 4 df in numerators, as in
    ``kit.analysis.kenward_roger``; at 2 df the scale is taken as 1.
    """
    b = (a1 + 6.0 * a2) / (2.0 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    denominator = 3.0 * q + 2.0 * (1.0 - g)
    c1, c2, c3 = g / denominator, (q - g) / denominator, (q + 2 - g) / denominator
    v0, v1, v2, e = 1.0 + c1 * b, 1.0 - c2 * b, 1.0 - c3 * b, 1.0 - a2 / q
    removable = (np.abs(v1) < 1e-10) & (np.abs(e) < 1e-10)
    ratio = np.where(removable, 1.0, e / np.where(removable, 1.0, v1))
    df = 4.0 + (q + 2) * v2 / (ratio**2 * v0 - v2)
    near_two = np.abs(df - 2.0) < 1e-2
    factor = np.where(near_two, 1.0, df * e / np.where(near_two, 1.0, df - 2.0))
    return df, factor
