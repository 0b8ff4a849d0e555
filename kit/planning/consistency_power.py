"""Consistency: the chance to find that one method is more even than another.

The textbook figures (F) count the shots of a method as independent normal readings with n - 1
degrees of freedom. The analysis is more careful: it adjusts for blocks and trusts no normal
distribution, and pays for that with power (``jackknife_...``). Simulation by the very test of the
analysis is in :mod:`kit.planning.slow_findings`.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, fdtr, fdtri, ndtr, polygamma, stdtrit

from kit.planning import inputs
from kit.planning.chi_average import scale_nodes
from kit.planning.power import fewest


def ratio_power(
    ratio: float, df_larger: float, df_smaller: float, false_alarms: float = 0.05
) -> float:
    """Chance that the two-sided F test finds an SD ratio: P(F > F₂/r²) + P(F < F₁/r²)."""
    r2 = inputs.positive(ratio, "The ratio of the two SDs") ** 2
    alpha = inputs.error_rate(false_alarms)
    for df in (df_larger, df_smaller):
        inputs.positive(df, "The degrees of freedom of an SD")
    upper = fdtri(df_larger, df_smaller, 1 - alpha / 2)
    lower = fdtri(df_larger, df_smaller, alpha / 2)
    return float(
        1 - fdtr(df_larger, df_smaller, upper / r2) + fdtr(df_larger, df_smaller, lower / r2)
    )


def ratio_power_one_sided(
    ratio: float, df_larger: float, df_smaller: float, false_alarms: float = 0.05
) -> float:
    """Chance that the one-sided F test finds the first SD larger."""
    r2 = inputs.positive(ratio, "The ratio of the two SDs") ** 2
    upper = fdtri(df_larger, df_smaller, 1 - inputs.error_rate(false_alarms))
    return float(1 - fdtr(df_larger, df_smaller, upper / r2))


def pair_spread_power(
    ratio: float, shots: float, pairs: int = 1, false_alarms: float = 0.05
) -> float:
    """Chance to find an SD ratio between two methods; ``pairs`` judged together (Bonferroni)."""
    n = inputs.shot_count(shots)
    inputs.ratio_above_one(ratio, "The SD ratio to find")
    return ratio_power(ratio, n - 1, n - 1, inputs.error_rate(false_alarms) / pairs)


def shots_for_spread(
    ratio: float, chance: float = 0.8, pairs: int = 1, false_alarms: float = 0.05
) -> int:
    """The fewest shots a method that find an SD ratio with ``chance``."""
    goal = inputs.target_power(chance)
    inputs.ratio_above_one(ratio, "The SD ratio to find")

    def reached(shots: int) -> bool:
        return pair_spread_power(ratio, shots, pairs, false_alarms) >= goal

    return fewest(reached, 2, f"An SD ratio of {ratio:g}")


def spread_detected(
    shots: float, chance: float = 0.8, pairs: int = 1, false_alarms: float = 0.05
) -> float:
    """The SD ratio that ``shots`` shots a method find with ``chance``."""
    goal = inputs.target_power(chance)
    inputs.shot_count(shots)
    high = 2.0
    while pair_spread_power(high, shots, pairs, false_alarms) < goal:
        high *= 2
    return float(
        brentq(lambda r: pair_spread_power(r, shots, pairs, false_alarms) - goal, 1 + 1e-12, high)
    )


def odd_one_power(ratio: float, methods: int, shots: float, false_alarms: float = 0.05) -> float:
    """Chance that the one method of k whose SD is ``ratio`` times that of all others stands out.

    It stands out when at least one of its k-1 ratios passes the test of the analysis: F, the
    false alarms shared among all pairs (Bonferroni).
    """
    n = inputs.shot_count(shots)
    return odd_one_power_on(n - 1, ratio, methods, false_alarms)


def odd_one_power_on(df: float, ratio: float, methods: int, false_alarms: float = 0.05) -> float:
    """The same for SDs on ``df`` degrees of freedom each.

    Given the odd method's SD the others are independent, so the chance that none differs is a
    power of one chi-square probability, averaged over the odd method's SD: exact.
    """
    k = inputs.method_count(methods)
    r2 = inputs.ratio_above_one(ratio, "The SD ratio to find") ** 2
    pairs = k * (k - 1) // 2
    limit = float(fdtri(df, df, 1 - inputs.error_rate(false_alarms) / (2 * pairs)))
    scale, weight = scale_nodes(df)
    odd = r2 * scale**2 * df
    not_found = chdtrc(df, odd / limit) - chdtrc(df, odd * limit)
    return float(1 - weight @ not_found ** (k - 1))


def shots_for_odd_one(
    ratio: float, methods: int, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The fewest shots a method that find the one uneven method with ``chance``."""
    goal = inputs.target_power(chance)

    def reached(shots: int) -> bool:
        return odd_one_power(ratio, methods, shots, false_alarms) >= goal

    return fewest(reached, 2, f"An SD ratio of {ratio:g}")


def jackknife_pair_power(
    ratio: float, df: float, units: float, pairs: int = 1, false_alarms: float = 0.05
) -> float:
    """Chance that the test of the analysis finds an SD ratio between two methods.

    That test leaves out one of ``units`` blocks at a time and refers the log ratio to t on
    units - 1 degrees of freedom, which holds its level when shots are not normal. Here the log of
    an SD on ``df`` degrees of freedom is taken as normal with variance ψ'(df/2)/4, so this is
    approximate. ``pairs`` are judged together (Bonferroni, the first step of Holm).
    """
    return _jackknife_power(ratio, df, units, pairs, 1, false_alarms)


def jackknife_odd_one_power(
    ratio: float, df: float, units: float, methods: int, false_alarms: float = 0.05
) -> float:
    """Chance that the one uneven method of k stands out from at least one other, by that test."""
    k = inputs.method_count(methods)
    return _jackknife_power(ratio, df, units, k * (k - 1) // 2, k - 1, false_alarms)


def _jackknife_power(
    ratio: float, df: float, units: float, pairs: int, others: int, false_alarms: float
) -> float:
    """1 - mean over the odd SD's error of P(one other is not told from it)^others."""
    inputs.ratio_above_one(ratio, "The SD ratio to find")
    alpha = inputs.error_rate(false_alarms) / pairs
    if units < 2 or df <= 0:
        return 0.0
    tau = math.sqrt(float(polygamma(1, df / 2))) / 2
    reach = float(stdtrit(units - 1, 1 - alpha / 2)) * math.sqrt(2) * tau
    scale, weight = scale_nodes(units - 1)
    z = np.linspace(-6.0, 6.0, 61)
    density = np.exp(-0.5 * z**2)
    centre = math.log(ratio) + tau * z[:, None]
    found = ndtr((centre - reach * scale) / tau) + ndtr((-centre - reach * scale) / tau)
    missed = (1 - found @ weight) ** others
    return float(1 - density @ missed / density.sum())


def sd_interval_factors(df: float, level: float = 0.95) -> tuple[float, float]:
    """What an SD from ``df`` degrees of freedom is multiplied by for its interval's two ends.

    √(df/χ²): 0.69 and 1.83 for ten shots at 95 %.
    """
    inputs.positive(df, "The degrees of freedom of an SD")
    tail = (1 - inputs.share(level, "The confidence level")) / 2
    return (
        math.sqrt(df / float(chdtri(df, tail))),
        math.sqrt(df / float(chdtri(df, 1 - tail))),
    )


def shots_for_sd_interval(upper_factor: float, level: float = 0.95) -> int:
    """The fewest shots whose SD is uncertain upwards by at most ``upper_factor``."""
    inputs.ratio_above_one(upper_factor, "The upper end of the interval over the SD")

    def reached(shots: int) -> bool:
        return sd_interval_factors(shots - 1, level)[1] <= upper_factor

    return fewest(reached, 2, f"An SD interval up to {upper_factor:g} times")
