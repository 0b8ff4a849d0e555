"""Power for a mean difference, and the two questions turned round: how many shots, how small.

The chance counted is that of one given true difference being found (in either direction), with
whatever multiplier the family of comparisons demands. Exact under the normal model when the
contrast's standard error and degrees of freedom are (complete blocks); for other layouts
:mod:`kit.planning.layouts` says how near they are.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import fdtri, ncfdtr, ndtr

from kit.planning import inputs
from kit.planning.chi_average import scale_nodes
from kit.planning.comparisons import Comparison, Contrast

Floats = NDArray[np.float64]


def two_sided_power(difference: ArrayLike, contrast: Contrast) -> Floats:
    """P(|T| > multiplier) for each true ``difference``; T noncentral t.

    Both rejection tails are counted. The noncentral t is the average over the estimated SD of
    two normal tails (Johnson, Kotz & Balakrishnan 1995, ch. 31), taken over the nodes of
    :func:`kit.planning.chi_average.scale_nodes`: library functions of the noncentral t give
    no number in the far tail.
    """
    shift = np.abs(np.asarray(difference, dtype=float))[..., None] / contrast.se
    scale, weight = scale_nodes(contrast.df)
    critical = contrast.multiplier * scale
    tails = (ndtr(shift - critical) + ndtr(-shift - critical)) @ weight
    return np.asarray(np.minimum(tails, 1.0))


def power(comparison: Comparison, difference: float, shots: float) -> float:
    """Chance to find a true ``difference`` with ``shots`` shots a method.

    ``power(AllPairs(5, 0.45), 0.75, 10)`` is 0.80.
    """
    inputs.positive(difference, "The difference to find")
    return float(two_sided_power(difference, comparison.contrast(shots)))


def shots_needed(comparison: Comparison, difference: float, chance: float = 0.8) -> int:
    """The fewest shots a method that find a true ``difference`` with at least ``chance``.

    Raises
    ------
    PlanError
        If an input cannot be true, or no number of shots up to the limit is enough.
    """
    inputs.positive(difference, "The difference to find")
    goal = inputs.target_power(chance)

    def reached(shots: int) -> bool:
        return float(two_sided_power(difference, comparison.contrast(shots))) >= goal

    return fewest(reached, comparison.fewest_shots, f"A difference of {difference:g}")


def difference_detected(comparison: Comparison, shots: float, chance: float = 0.8) -> float:
    """The true difference that ``shots`` shots a method find with ``chance``."""
    return contrast_detected(comparison.contrast(shots), chance)


def contrast_detected(contrast: Contrast, chance: float = 0.8) -> float:
    """The true difference that is found with ``chance``."""
    goal = inputs.target_power(chance)
    if goal <= float(two_sided_power(0.0, contrast)):
        return 0.0

    def gap(shift: float) -> float:
        return float(two_sided_power(shift * contrast.se, contrast)) - goal

    return contrast.se * float(brentq(gap, 0.0, _bracket(gap, contrast.multiplier), xtol=1e-12))


def f_power(means: ArrayLike, shot_sd: float, shots: int, false_alarms: float = 0.05) -> float:
    """Power of the F test of all methods at once, in complete blocks.

    ``means`` are the true means of the methods (length k). Noncentrality λ = n Σ(μ-μ̄)²/σ² on
    k-1 and (k-1)(n-1) degrees of freedom (Montgomery 2013, section 4.1).
    """
    mu = np.asarray(means, dtype=float)
    k = inputs.method_count(mu.size)
    n = inputs.shot_count(shots)
    spread = float(((mu - mu.mean()) ** 2).sum()) / inputs.positive(shot_sd, "The shot SD") ** 2
    return noncentral_f_power(n * spread, k - 1, (k - 1) * (n - 1), false_alarms)


def one_way_f_power(
    means: ArrayLike, shot_sd: float, shots: int, false_alarms: float = 0.05
) -> float:
    """Power of the F test without blocks: k(n-1) error degrees of freedom."""
    mu = np.asarray(means, dtype=float)
    k = inputs.method_count(mu.size)
    n = inputs.shot_count(shots)
    spread = float(((mu - mu.mean()) ** 2).sum()) / inputs.positive(shot_sd, "The shot SD") ** 2
    return noncentral_f_power(n * spread, k - 1, k * (n - 1), false_alarms)


def noncentral_f_power(noncentrality: float, df1: float, df2: float, false_alarms: float) -> float:
    """P(F > critical value) for a noncentral F."""
    critical = fdtri(df1, df2, 1 - inputs.error_rate(false_alarms))
    return 1.0 - float(ncfdtr(df1, df2, noncentrality, float(critical)))


def fewest(reached: Callable[[int], bool], start: int, what: str) -> int:
    """The smallest whole number from ``start`` up at which the rising test ``reached`` holds."""
    low, high = start - 1, start
    while not reached(high):
        if high >= inputs.MOST_SHOTS:
            raise inputs.unreachable(what)
        low, high = high, min(2 * high, inputs.MOST_SHOTS)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high


def _bracket(gap: Callable[[float], float], start: float) -> float:
    high = start + 1.0
    while gap(high) < 0:
        high *= 2
    return high
