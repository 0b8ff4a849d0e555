"""Exact conditional inference for 2 × 2 tables in strata.

Given all margins, the number of faulty shots of the first method is a sum of independent
(noncentral) hypergeometric numbers, one a stratum; its distribution is their convolution.

Source: Mehta, Patel & Gray (1985), J. Amer. Statist. Assoc. 80, 969-973; Agresti (1990),
Categorical Data Analysis, section 7.4.5.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import optimize, special

from kit.errors import DataError

_TIE = 1 + 1e-7
"""Tables as likely as the one seen, up to rounding, count as no more likely."""


def exact_stratified_p(tables: np.ndarray) -> float:
    """Two-sided p of no association within strata: all outcomes no more likely than the one seen.

    ``tables`` has one row a stratum: faulty a, sound a, faulty b, sound b. One stratum gives
    Fisher's exact test. 1.0 where the margins leave a single outcome.
    """
    lowest, log_weights = _conditional_distribution(tables)
    mass = np.exp(log_weights - special.logsumexp(log_weights))
    seen = int(np.asarray(tables)[:, 0].sum()) - lowest
    return float(min(mass[mass <= mass[seen] * _TIE].sum(), 1.0))


def exact_odds_ratio(tables: np.ndarray, level: float = 0.95) -> tuple[float, float, float]:
    """The conditional maximum-likelihood common odds ratio with its exact interval.

    0 or infinite where the faults stand all on one side (separation): the interval stays valid.
    NaN where the margins leave a single outcome.
    """
    lowest, log_weights = _conditional_distribution(tables)
    seen = int(np.asarray(tables)[:, 0].sum())
    counts = lowest + np.arange(len(log_weights))
    if len(counts) == 1:
        return np.nan, 0.0, np.inf
    tail = (1 - level) / 2

    def mass(log_odds: float) -> np.ndarray:
        weights = log_weights + counts * log_odds
        return np.exp(weights - special.logsumexp(weights))

    def root(gap: Callable[[float], float]) -> float:
        return float(np.exp(optimize.brentq(gap, -60.0, 60.0, xtol=1e-13)))

    at_bottom, at_top = seen == counts[0], seen == counts[-1]
    lower = 0.0 if at_bottom else root(lambda t: mass(t)[counts >= seen].sum() - tail)
    upper = np.inf if at_top else root(lambda t: mass(t)[counts <= seen].sum() - tail)
    if at_bottom:
        return 0.0, lower, upper
    if at_top:
        return np.inf, lower, upper
    return root(lambda t: float(mass(t) @ counts) - seen), lower, upper


def exact_sum_p(values: np.ndarray, is_a: np.ndarray, strata: np.ndarray) -> float:
    """Two-sided p of no difference when counts swap methods freely within each stratum.

    The permutation distribution of the sum over the shots of a, exact: how often each sum comes
    from choosing as many of a stratum's counts as a has there. It holds however the counts are
    distributed, faults that come in bunches included. p is the share of sums at least as far from
    the expected one as the sum seen.

    Parameters
    ----------
    values
        Faults of each shot, whole numbers, shape (n,).
    is_a
        Whether a shot is of method a (else b), shape (n,).
    strata
        Label of each shot's stratum, shape (n,).
    """
    ways, expected = np.ones(1), 0.0
    for stratum in np.unique(strata):
        here = values[strata == stratum].astype(int)
        chosen = int(is_a[strata == stratum].sum())
        ways = np.convolve(ways, _sums_of_chosen(here, chosen))
        expected += chosen * here.mean()
    seen = values[is_a].sum()
    far = np.abs(np.arange(len(ways)) - expected) >= abs(seen - expected) - 1e-9
    return float(min(ways[far].sum() / ways.sum(), 1.0))


def _sums_of_chosen(values: np.ndarray, chosen: int) -> np.ndarray:
    """Share of the choices of ``chosen`` of ``values`` that give each sum, from 0 up."""
    ways = np.zeros((chosen + 1, int(values.sum()) + 1))
    ways[0, 0] = 1.0
    for value in values:
        for size in range(chosen, 0, -1):
            ways[size, value:] += ways[size - 1, : ways.shape[1] - value]
    return ways[chosen] / ways[chosen].sum()


def _conditional_distribution(tables: np.ndarray) -> tuple[int, np.ndarray]:
    """The smallest possible count of a, and log weights of it and every larger count."""
    tables = np.atleast_2d(np.asarray(tables))
    if tables.shape[1] != 4 or (tables < 0).any():
        raise DataError("Each stratum needs four counts, none negative.")
    lowest, weights, log_scale = 0, np.ones(1), 0.0
    for a, b, c, d in tables:
        n_a, n_b, faulty = a + b, c + d, a + c
        first, last = max(0, faulty - n_b), min(n_a, faulty)
        x = np.arange(first, last + 1)
        log_here = _log_choose(n_a, x) + _log_choose(n_b, faulty - x)
        weights = np.convolve(weights, np.exp(log_here - log_here.max()))
        log_scale += np.log(weights.max())
        weights = weights / weights.max()
        lowest += int(first)
    with np.errstate(divide="ignore"):  # an underflowed weight is a true zero at this precision
        return lowest, np.log(weights)


def _log_choose(n: int, k: np.ndarray) -> np.ndarray:
    return special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)
