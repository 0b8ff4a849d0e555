"""Choosing the best: the chance that it ranks first, and how many methods stay in the running.

Ranking needs no test and no estimate of the SD, so its chances are much better than those of
proving a difference; what may honestly be said afterwards is the set of methods that may be the
best (Hsu 1984), whose expected size is computed here too.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr

from kit.analysis.distributions import multivariate_t_upper_ppf
from kit.planning import inputs
from kit.planning.chi_average import scale_nodes
from kit.planning.comparisons import t_critical

Floats = NDArray[np.float64]

_STEP = 0.1
_Z = np.arange(-9.0, 9.0 + _STEP / 2, _STEP)
_DENSITY = _STEP * np.exp(-0.5 * _Z**2) / math.sqrt(2 * math.pi)
"""Trapezoidal rule for normal averages: exponentially accurate for analytic integrands."""


def chance_best_ranks_first(lead: float, methods: int, shot_sd: float, shots: float) -> float:
    """Chance that the truly best method has the highest average, when it leads all by ``lead``.

    All others level is the least favourable case for a given lead (Bechhofer 1954, section 3):
    ∫ Φ(z + lead √n / SD)^(k-1) φ(z) dz.
    """
    inputs.not_negative(lead, "The lead of the best method")
    k = inputs.method_count(methods)
    n = inputs.shot_count(shots, least=1)
    shift = lead * math.sqrt(n) / inputs.positive(shot_sd, "The shot SD")
    return _chance_first(shift, k)


def chance_first_at(lead_over_se: float, methods: int) -> float:
    """The same from the lead over the standard error of a difference (any balanced layout)."""
    return _chance_first(lead_over_se * math.sqrt(2), inputs.method_count(methods))


def chances_to_rank_first(means: ArrayLike, shot_sd: float, shots: float) -> Floats:
    """Chance of each method (k,) to have the highest average, for any true ``means`` (k,)."""
    mu = np.asarray(means, dtype=float)
    inputs.method_count(mu.size)
    n = inputs.shot_count(shots, least=1)
    scaled = mu * math.sqrt(n) / inputs.positive(shot_sd, "The shot SD")
    behind = ndtr(_Z[:, None, None] + scaled[:, None] - scaled[None, :])
    behind[:, np.arange(mu.size), np.arange(mu.size)] = 1.0
    return np.asarray(_DENSITY @ behind.prod(axis=2))


@lru_cache(maxsize=512)
def indifference_constant(methods: int, chance: float) -> float:
    """The h with ∫ Φ(z + h)^(k-1) φ(z) dz = ``chance`` (Bechhofer 1954, table I: √N d/σ)."""
    k = inputs.method_count(methods)
    goal = inputs.share(chance, "The chance of a correct choice")
    if goal <= 1 / k:
        raise inputs.PlanError(
            f"Choosing blindly among {k} methods is right in {100 / k:.0f} % of cases; "
            "ask for a higher chance than that."
        )
    return float(brentq(lambda h: _chance_first(h, k) - goal, 0.0, 12.0, xtol=1e-12))


def shots_for_choice(lead: float, methods: int, shot_sd: float, chance: float = 0.8) -> int:
    """The fewest shots a method with which a best method ahead by ``lead`` ranks first.

    Smaller true leads are the indifference zone: there either choice is as good.
    Source: Bechhofer (1954), single-stage procedure, common known SD.
    """
    inputs.positive(lead, "The lead of the best method")
    h = indifference_constant(inputs.method_count(methods), chance)
    shots = (h * inputs.positive(shot_sd, "The shot SD") / lead) ** 2
    if shots > inputs.MOST_SHOTS:
        raise inputs.unreachable(f"A lead of {lead:g}")
    return max(1, math.ceil(shots - 1e-9))


def lead_chosen(methods: int, shot_sd: float, shots: float, chance: float = 0.8) -> float:
    """The smallest lead with which the best method ranks first with at least ``chance``."""
    n = inputs.shot_count(shots, least=1)
    h = indifference_constant(inputs.method_count(methods), chance)
    return h * inputs.positive(shot_sd, "The shot SD") / math.sqrt(n)


def chances_to_stay(
    means: ArrayLike, shot_sd: float, shots: float, false_alarms: float = 0.05
) -> Floats:
    """Chance of each method (k,) to be in the set that may hold the best; complete blocks.

    A method stays while its average is less than d s √(2/n) below the highest of the others,
    with d the one-sided multiplier for k-1 comparisons (Gupta 1965; Hsu 1984).
    """
    mu = np.asarray(means, dtype=float)
    k = inputs.method_count(mu.size)
    n = inputs.shot_count(shots)
    sd = inputs.positive(shot_sd, "The shot SD")
    df = (k - 1) * (n - 1)
    allowance, weight = _allowances(k, df, false_alarms)
    scaled = mu * math.sqrt(n) / sd
    return np.asarray([_stay_one(scaled, i, allowance) @ weight for i in range(k)])


def expected_set_size(
    means: ArrayLike, shot_sd: float, shots: float, false_alarms: float = 0.05
) -> float:
    """How many methods will still be possible bests, on average."""
    return float(chances_to_stay(means, shot_sd, shots, false_alarms).sum())


def chance_best_stands_alone(
    means: ArrayLike, shot_sd: float, shots: float, false_alarms: float = 0.05
) -> float:
    """Chance that the set holds the truly best method and no other.

    As the analysis says it: alone is only who also differs from each other method by the
    two-sided t test (which asks for more than the multiplier of the set up to three methods).
    """
    mu = np.asarray(means, dtype=float)
    k = inputs.method_count(mu.size)
    n = inputs.shot_count(shots)
    scaled = mu * math.sqrt(n) / inputs.positive(shot_sd, "The shot SD")
    best = int(np.argmax(scaled))
    df = (k - 1) * (n - 1)
    allowance, weight = _allowances(k, df, false_alarms)
    two_sided = t_critical(df, false_alarms) * math.sqrt(2) * scale_nodes(df)[0]
    allowance = np.maximum(allowance, two_sided)
    ahead = scaled[best] - np.delete(scaled, best)
    below = ndtr(_Z[:, None, None] + ahead[None, None, :] - allowance[None, :, None])
    return float(_DENSITY @ below.prod(axis=2) @ weight)


def one_leads(lead: float, methods: int) -> Floats:
    """True means (k,) with the first method ahead of all others by ``lead``."""
    means = np.zeros(inputs.method_count(methods))
    means[0] = inputs.not_negative(lead, "The lead of the best method")
    return means


def _chance_first(shift: float, k: int) -> float:
    return float(_DENSITY @ ndtr(_Z + shift) ** (k - 1))


def _stay_one(scaled: Floats, i: int, allowance: Floats) -> Floats:
    """P(method i stays | S) for each allowance (m,)."""
    ahead = scaled[i] - np.delete(scaled, i)
    within = ndtr(_Z[:, None, None] + ahead[None, None, :] + allowance[None, :, None])
    return np.asarray(_DENSITY @ within.prod(axis=2))


@lru_cache(maxsize=512)
def _allowances(k: int, df: float, false_alarms: float) -> tuple[Floats, Floats]:
    """d √2 S on the scale of one average's SE, for each node of S, with the weights."""
    level = 1 - inputs.error_rate(false_alarms)
    half = np.full((k - 1, k - 1), 0.5)
    np.fill_diagonal(half, 1.0)
    multiplier = float(multivariate_t_upper_ppf(level, half, df))
    scale, weight = scale_nodes(df)
    return multiplier * math.sqrt(2) * scale, weight
