"""Average of a normal-theory tail over the estimated scale: the step from z to t.

If Z is a statistic of normal variables with known SD and S the square root of an
independent chi-square over its degrees of freedom, then P(Z / S > t) is the mean of
P(Z > t S) over S. With u = log S the integrand is analytic in a strip and dies out on
both sides, so the plain trapezoidal rule converges exponentially (Trefethen &
Weideman 2014, SIAM Review 56:385): no adaptive integration and no special cases.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln

from kit.errors import ModelError

Floats = NDArray[np.float64]
Tail = Callable[[Floats], Floats]

EXPONENT_KEPT = 42.0  # the density of log S is cut where it falls below exp(-42) of its peak
NORMAL_CUT = 20.0  # a normal-theory tail beyond 20 SD is zero for every purpose here
SMALLEST_DF = 0.05  # below, a test has no power and a limit no end: treated as this many
LARGEST_T = 1e12
STRIP_STEP = 0.12  # half-width pi/4 of the strip of analyticity: error about exp(-pi^2/2/0.12)


def _log_constant(df: float) -> float:
    """Log of the constant of the density of log S, by Stirling's series where it is large."""
    half = df / 2.0
    if half < 50.0:
        return float(np.log(2.0) + half * np.log(half) - half - gammaln(half))
    series = 1.0 / (12.0 * half) - 1.0 / (360.0 * half**3) + 1.0 / (1260.0 * half**5)
    return float(np.log(2.0) + 0.5 * np.log(half / (2.0 * np.pi)) - series)


def log_scale_nodes(t: float, df: float) -> tuple[Floats, Floats]:
    """Values of S and their weights for a tail that will be asked for at ``t * S``."""
    reach = EXPONENT_KEPT / df
    root = float(np.sqrt(reach))
    low = -(reach + root)
    high = min(root, 0.5 * float(np.log1p(2.0 * reach + 3.0 * root)))
    if t > 0.0:
        high = min(high, float(np.log(NORMAL_CUT / t)))
    step = min(STRIP_STEP, 0.5 / np.sqrt(2.0 * df))
    count = max(int(np.ceil((high - low) / step)) + 1, 1)
    u = high - step * np.arange(count)
    log_density = _log_constant(df) - 0.5 * df * (np.expm1(2.0 * u) - 2.0 * u)
    return np.exp(u), step * np.exp(log_density)


def student_tail(tail: Tail, t: float, df: float) -> float:
    """P(Z / S > t) from ``tail(w) = P(Z > w)``; ``df`` may be fractional or infinite."""
    if np.isinf(df):
        return float(tail(np.array([t]))[0])
    scale, weight = log_scale_nodes(t, df)
    p = float(weight @ tail(t * scale))
    return min(max(p, 0.0), 1.0)


def check_df(df: float) -> float:
    """The degrees of freedom as a float, or our own error when they are not positive.

    Fewer than ``SMALLEST_DF`` count as that many: there the 5 % point of t is 10^25.
    """
    value = float(df)
    if not value > 0.0:
        raise ModelError(
            f"Degrees of freedom must be above zero, found {df}. "
            "There are too few shots left to estimate the noise of this comparison."
        )
    return max(value, SMALLEST_DF)


def check_level(level: float) -> float:
    """The confidence level as a float strictly between 0 and 1."""
    value = float(level)
    if not 0.0 < value < 1.0:
        raise ModelError(
            f"A confidence level lies between 0 and 1, found {level}. Give for example 0.95."
        )
    return value


def invert_tail(sf: Callable[[float], float], alpha: float, bracket: tuple[float, float]) -> float:
    """The t at which the decreasing function ``sf`` equals ``alpha``; the bracket is widened.

    The root is sought on the scale of log p, on which tails are close to straight.
    """
    if sf(LARGEST_T) > alpha:
        return float("inf")
    low, high = bracket
    floor = 1e-290

    def gap(t: float) -> float:
        return float(np.log(max(sf(t), floor)) - np.log(alpha))

    width = max(high - low, 1e-3)
    while gap(high) > 0.0:
        low, high, width = high, high + 2.0 * width, 2.0 * width
    while gap(low) < 0.0:
        low, width = low - 2.0 * width, 2.0 * width
    return float(brentq(gap, low, high, xtol=1e-13, rtol=8.9e-16))
