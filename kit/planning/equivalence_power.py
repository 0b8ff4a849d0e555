"""The chance to show that two methods are the same within the smallest difference that matters.

Two one-sided t tests at level α each: the (1-2α) interval lies inside ±margin. The power is
integrated over the estimated SD and exact; the usual shortcut through two noncentral t
probabilities gives 0 where the true power is 0.127, and is not used.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, stdtrit

from kit.planning import inputs
from kit.planning.comparisons import Comparison, Contrast
from kit.planning.power import fewest

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(120)
_NEGLIGIBLE = 1e-14


def equivalence_power(
    comparison: Comparison,
    margin: float,
    shots: float,
    true_difference: float = 0.0,
    false_alarms: float = 0.05,
) -> float:
    """Chance that the interval falls inside ±``margin`` with ``shots`` shots a method.

    Of the comparison only the standard error and its degrees of freedom are used: each pair is
    a question of its own, and to be inside on both sides needs no multiplicity.
    """
    inputs.positive(margin, "The smallest difference that matters")
    contrast = comparison.contrast(shots)
    return exact_tost_power(contrast, margin, true_difference, false_alarms)


def shots_for_equivalence(
    comparison: Comparison,
    margin: float,
    chance: float = 0.8,
    true_difference: float = 0.0,
    false_alarms: float = 0.05,
) -> int:
    """The fewest shots a method that show sameness within ±``margin`` with ``chance``."""
    inputs.positive(margin, "The smallest difference that matters")
    goal = inputs.target_power(chance)
    if abs(true_difference) >= margin:
        raise inputs.PlanError(
            f"A true difference of {true_difference:g} is not inside ±{margin:g}; "
            "no number of shots can show that it is."
        )

    def reached(shots: int) -> bool:
        contrast = comparison.contrast(shots)
        return exact_tost_power(contrast, margin, true_difference, false_alarms) >= goal

    return fewest(reached, comparison.fewest_shots, f"Sameness within ±{margin:g}")


def margin_shown(
    comparison: Comparison, shots: float, chance: float = 0.8, false_alarms: float = 0.05
) -> float:
    """The margin within which two equal methods are shown to be the same with ``chance``."""
    goal = inputs.target_power(chance)
    contrast = comparison.contrast(shots)

    def gap(margin: float) -> float:
        return exact_tost_power(contrast, margin, 0.0, false_alarms) - goal

    high = contrast.se
    while gap(high) < 0:
        high *= 2
    return float(brentq(gap, 1e-9 * contrast.se, high, xtol=1e-12))


def exact_tost_power(
    contrast: Contrast, margin: float, true_difference: float, false_alarms: float
) -> float:
    """Power of two one-sided t tests at level ``false_alarms`` each."""
    t = float(stdtrit(contrast.df, 1 - inputs.error_rate(false_alarms)))
    return chance_inside(contrast, margin, true_difference, t)


def chance_inside(
    contrast: Contrast, margin: float, true_difference: float, multiplier: float
) -> float:
    """P(-margin + t·se·S <= estimate <= margin - t·se·S), S² a chi-square over its df.

    The chance that the interval estimate ± ``multiplier`` × SE lies inside ±``margin``. Given S
    it is a difference of two normal tails, positive while S < margin / (t se); it is averaged
    over S by Gauss-Legendre quadrature up to there.
    """
    low, high = _scale_range(contrast.df)
    high = min(high, margin / (multiplier * contrast.se))
    if high <= low:
        return 0.0
    s = low + (high - low) * (_NODES + 1) / 2
    above = ndtr((margin - true_difference) / contrast.se - multiplier * s)
    below = ndtr((-margin - true_difference) / contrast.se + multiplier * s)
    inside = (above - below) * np.exp(_log_scale_density(s, contrast.df))
    return float(np.clip((high - low) / 2 * (_WEIGHTS @ inside), 0.0, 1.0))


def _log_scale_density(s: Floats, df: float) -> Floats:
    """Log density of S at s, where S² is a chi-square over its df."""
    half = df / 2
    constant = np.log(2.0) + half * np.log(half) - gammaln(half)
    return np.asarray(constant + (df - 1) * np.log(s) - half * s**2)


@lru_cache(maxsize=1024)
def _scale_range(df: float) -> tuple[float, float]:
    """The range of S outside which there is less than 1e-14 on either side."""
    low, high = (float(np.sqrt(chdtri(df, p) / df)) for p in (1 - _NEGLIGIBLE, _NEGLIGIBLE))
    return low, high
