"""The three-way verdict: different, the same within the smallest difference, or cannot tell.

One interval decides. If it lies inside ±SDM the two are the same for all practical purposes, even
where it also excludes zero: a difference too small to matter is no reason to change a routine.
Else, if it excludes zero, they are different, in the direction of the estimate. Else the shots
cannot tell. Which error rates this has is measured by ``tests/benchmarks/verdicts.py``.
"""

from __future__ import annotations

import math
from typing import Literal

from kit.errors import DataError

Verdict = Literal["different", "same within the SDM", "cannot tell"]


def verdict(lower: float, upper: float, smallest_difference: float) -> Verdict:
    """The verdict on a difference whose interval is (``lower``, ``upper``).

    Parameters
    ----------
    lower, upper
        The 95 % simultaneous interval of the difference. With simultaneous intervals the chance
        that *any* verdict of the family is wrong is at most 5 %: all intervals hold their true
        difference at once with 95 %, and then none is called different that is not, nor the same
        that differs by the SDM or more. A missing limit gives "cannot tell".
    smallest_difference
        The SDM, in the unit of the difference, declared before the first shot.

    Raises
    ------
    DataError
        If the SDM is not a positive number, or the limits are in the wrong order.
    """
    if not (math.isfinite(smallest_difference) and smallest_difference > 0):
        raise DataError(
            f"The smallest difference that matters must be a positive number; "
            f"{smallest_difference} was given."
        )
    if math.isnan(lower) or math.isnan(upper):
        return "cannot tell"
    if lower > upper:
        raise DataError(f"The interval runs backwards: {lower} to {upper}.")
    if -smallest_difference < lower and upper < smallest_difference:
        return "same within the SDM"
    if lower > 0 or upper < 0:
        return "different"
    return "cannot tell"


def verdict_with_equivalence(
    interval: tuple[float, float], equivalence: tuple[float, float], smallest_difference: float
) -> Verdict:
    """The verdict where "the same" is decided by an equivalence test of its own.

    ``interval`` is the 95 % simultaneous interval and decides "different"; ``equivalence`` the
    90 % simultaneous interval, whose place inside ±SDM is the pair of one-sided 5 % tests
    (Schuirmann 1987). It says "the same" far more often than :func:`verdict`; each kind of wrong
    verdict keeps to 5 % in a family; both together ran to 5.4 % at worst (see the benchmark).
    """
    inside = verdict(*equivalence, smallest_difference)
    return inside if inside == "same within the SDM" else verdict(*interval, smallest_difference)


def verdict_with_test(
    lower: float,
    upper: float,
    p_adjusted: float,
    smallest_difference: float,
    alpha: float = 0.05,
) -> Verdict:
    """:func:`verdict`, where "different" must also stand in a test that is exact.

    For fault rates: Newcombe's interval of a few shots is a little short. Two methods of 12 shots
    with the same true rate of 0.4 are called different in 7.5 % of simulated trials by the
    interval alone, in 0.8 % with the exact test beside it (see the benchmark).
    """
    said = verdict(lower, upper, smallest_difference)
    return "cannot tell" if said == "different" and not p_adjusted < alpha else said


def ratio_verdict(lower: float, upper: float, smallest_ratio: float) -> Verdict:
    """The verdict on a ratio (of two SDs): :func:`verdict` on the logarithms.

    ``smallest_ratio`` is above 1; 1.5 means that SDs within a factor of 1.5 count as the same.

    Raises
    ------
    DataError
        If the smallest ratio is not above 1, or a limit is negative.
    """
    if not smallest_ratio > 1:
        raise DataError(
            f"The smallest ratio that matters must be above 1; {smallest_ratio} was given."
        )
    if lower < 0 or upper < 0:
        raise DataError(f"A ratio of SDs cannot be negative: {lower} to {upper}.")
    return verdict(_log(lower), _log(upper), math.log(smallest_ratio))


def _log(value: float) -> float:
    return math.log(value) if value > 0 else (value if math.isnan(value) else -math.inf)
