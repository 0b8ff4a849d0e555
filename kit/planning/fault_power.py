"""Flow faults: exact power of Fisher's test, and what zero faults still allow.

Power is enumerated over every possible pair of counts; no normal approximation. It does not rise
smoothly with the number of shots (counts are whole numbers), so two sample sizes are given:
the first that reaches a chance, and the one from which on it is never lost again.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gammaln, ndtri

from kit.analysis.defects import zero_of
from kit.analysis.discrimination import exact_interval
from kit.planning import inputs

Floats = NDArray[np.float64]
PValues = Callable[[Floats], Floats]
"""From the chances of tables (one row a total) to their p values."""

_TIE = 1e-7
"""Tables within this relative distance count as equally likely (as in common practice, R)."""
_CHUNK = 2_000_000
_TOTALS_KEPT = 9.0
"""Totals of faults further than this many SDs from their mean have no weight."""
MOST_FAULT_SHOTS = 500


def fisher_power(
    rate_a: float, rate_b: float, shots_a: int, shots_b: int, false_alarms: float = 0.05
) -> float:
    """Chance that Fisher's two-sided exact test tells two fault rates apart.

    Two-sided p: the sum of all tables of the same margins that are no more likely.
    """
    _check(rate_a, rate_b, shots_a, shots_b, false_alarms)
    return _power(
        _two_sided_p, float(rate_a), float(rate_b), int(shots_a), int(shots_b), false_alarms
    )


def fisher_power_one_sided(
    rate_a: float, rate_b: float, shots_a: int, shots_b: int, false_alarms: float = 0.05
) -> float:
    """Chance that the one-sided exact test finds rate a above rate b."""
    _check(rate_a, rate_b, shots_a, shots_b, false_alarms)
    return _power(_upper_p, float(rate_a), float(rate_b), int(shots_a), int(shots_b), false_alarms)


def within_blocks_power(
    rate_a: float, rate_b: float, blocks: int, false_alarms: float = 0.05
) -> float:
    """Chance that the exact test within blocks, one shot of each method a block, finds a gap.

    Only blocks in which one of the two is faulty count (McNemar 1947): b of one kind and c of the
    other, binomial with even odds given b + c. The chance is summed over every (b, c).
    """
    _check(rate_a, rate_b, blocks, blocks, false_alarms)
    return _matched_power(float(rate_a), float(rate_b), int(blocks), false_alarms)


def first_shots_for_rates(
    rate_a: float, rate_b: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The first number of shots a method with which the chance is reached."""
    return _sizes(rate_a, rate_b, chance, false_alarms)[0]


def lasting_shots_for_rates(
    rate_a: float, rate_b: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The number of shots a method from which on the chance is reached for every larger one."""
    return _sizes(rate_a, rate_b, chance, false_alarms)[1]


def rate_detected(
    base_rate: float, shots: int, chance: float = 0.8, false_alarms: float = 0.05
) -> float | None:
    """The higher rate told from ``base_rate`` with ``chance``; None where not even 100 % is."""
    inputs.rate(base_rate, "The lower fault rate")
    goal = inputs.target_power(chance)
    if fisher_power(1.0, base_rate, shots, shots, false_alarms) < goal:
        return None

    def gap(rate: float) -> float:
        return fisher_power(rate, base_rate, shots, shots, false_alarms) - goal

    return float(brentq(gap, base_rate, 1.0, xtol=1e-6))


def highest_rate_after_zero_faults(shots: int, level: float = 0.95) -> float:
    """The rate that zero faults still allow: one-sided ``level``, 1 - (1 - level)^(1/n)."""
    n = int(inputs.shot_count(shots, least=1))
    return zero_of(n, inputs.share(level, "The confidence level"))


def shots_to_bound_rate(rate: float, level: float = 0.95) -> int:
    """Shots without any fault that are needed to say the rate is below ``rate``."""
    p = inputs.share(rate, "The fault rate to stay below")
    n = math.log(1 - inputs.share(level, "The confidence level")) / math.log1p(-p)
    return math.ceil(n - 1e-9)


def rate_interval(faulty: int, shots: int, level: float = 0.95) -> tuple[float, float]:
    """The exact interval of a rate (Clopper & Pearson 1934)."""
    n = int(inputs.shot_count(shots, least=1))
    if not 0 <= faulty <= n:
        raise inputs.PlanError(f"{faulty} faulty shots of {n} cannot be. Count again.")
    return exact_interval(faulty, n, inputs.share(level, "The confidence level"))


def _check(rate_a: float, rate_b: float, shots_a: int, shots_b: int, false_alarms: float) -> None:
    for rate in (rate_a, rate_b):
        inputs.rate(rate, "A fault rate")
    for shots in (shots_a, shots_b):
        if inputs.shot_count(shots) > MOST_FAULT_SHOTS:
            raise inputs.PlanError(
                f"Fault rates are planned for up to {MOST_FAULT_SHOTS:,} shots a method, found "
                f"{shots:,.0f}. Check the number for a slip of the keyboard."
            )
    inputs.error_rate(false_alarms)


@lru_cache(maxsize=4096)
def _power(
    p_values: PValues, rate_a: float, rate_b: float, n_a: int, n_b: int, alpha: float
) -> float:
    weight_a, weight_b = _binomial(n_a, rate_a), _binomial(n_b, rate_b)
    mean = n_a * rate_a + n_b * rate_b
    sd = math.sqrt(n_a * rate_a * (1 - rate_a) + n_b * rate_b * (1 - rate_b))
    first = max(0, math.floor(mean - _TOTALS_KEPT * sd - 9))
    last = min(n_a + n_b, math.ceil(mean + _TOTALS_KEPT * sd + 9))
    rows = max(1, _CHUNK // (n_a + 1))
    total = 0.0
    for start in range(first, last + 1, rows):
        totals = np.arange(start, min(start + rows, last + 1))
        counts_b = totals[:, None] - np.arange(n_a + 1)[None, :]
        possible = (counts_b >= 0) & (counts_b <= n_b)
        chance = np.where(possible, weight_a[None, :] * weight_b[np.clip(counts_b, 0, n_b)], 0.0)
        total += float(chance[_tables_p(p_values, totals, n_a, n_b) <= alpha].sum())
    return min(total, 1.0)


@lru_cache(maxsize=4096)
def _matched_power(rate_a: float, rate_b: float, blocks: int, alpha: float) -> float:
    only_a, only_b = rate_a * (1 - rate_b), rate_b * (1 - rate_a)
    discordant = only_a + only_b
    if discordant == 0:
        return 0.0
    power = 0.0
    for m, weight in enumerate(_binomial(blocks, discordant)):
        most = _most_in_tail(m, alpha / 2)
        if most >= 0 and weight > 0:
            tail = _binomial(m, only_a / discordant)
            power += weight * float(tail[: most + 1].sum() + tail[m - most :].sum())
    return float(min(power, 1.0))


def _most_in_tail(m: int, tail: float) -> int:
    """The largest x with P(X <= x) <= ``tail``, X binomial(m, 1/2); -1 where there is none."""
    few = np.flatnonzero(np.cumsum(_binomial(m, 0.5)) <= tail * (1 + 1e-12))
    return int(few[-1]) if few.size else -1


def _tables_p(p_values: PValues, totals: NDArray[np.int_], n_a: int, n_b: int) -> Floats:
    """p of every table: one row a total of faults, one column a count in method a."""
    counts_a = np.arange(n_a + 1)[None, :]
    counts_b = totals[:, None] - counts_a
    possible = (counts_b >= 0) & (counts_b <= n_b)
    inside = np.clip(counts_b, 0, n_b)
    log_pmf = (
        _log_choose(n_a, counts_a)
        + _log_choose(n_b, inside)
        - _log_choose(n_a + n_b, totals)[:, None]
    )
    pmf = np.exp(np.where(possible, log_pmf, -np.inf))
    return np.where(possible, p_values(pmf), 1.0)


def _two_sided_p(pmf: Floats) -> Floats:
    order = np.argsort(pmf, axis=1)
    ranked = np.take_along_axis(pmf, order, axis=1)
    up_to = np.cumsum(ranked, axis=1)
    # Ties share the sum of the last of them: walk back from the largest.
    tied = ranked[:, 1:] <= ranked[:, :-1] * (1 + _TIE)
    for column in range(ranked.shape[1] - 2, -1, -1):
        up_to[:, column] = np.where(tied[:, column], up_to[:, column + 1], up_to[:, column])
    p = np.empty_like(up_to)
    np.put_along_axis(p, order, up_to, axis=1)
    return p


def _upper_p(pmf: Floats) -> Floats:
    return np.cumsum(pmf[:, ::-1], axis=1)[:, ::-1]


def _sizes(rate_a: float, rate_b: float, chance: float, false_alarms: float) -> tuple[int, int]:
    inputs.rate(rate_a, "A fault rate")
    inputs.rate(rate_b, "A fault rate")
    goal = inputs.target_power(chance)
    if rate_a == rate_b:
        raise inputs.PlanError(
            f"The two fault rates are the same ({100 * rate_a:g} %); there is nothing to tell "
            "apart. Give two different rates."
        )
    return _search(float(rate_a), float(rate_b), goal, inputs.error_rate(false_alarms))


@lru_cache(maxsize=256)
def _search(rate_a: float, rate_b: float, goal: float, alpha: float) -> tuple[int, int]:
    """Scan about the normal-theory answer, from well below to well above the saw-tooth."""
    guess = _normal_theory(rate_a, rate_b, goal, alpha)
    if guess > MOST_FAULT_SHOTS - 50:
        raise inputs.PlanError(
            f"Telling {100 * rate_a:g} % from {100 * rate_b:g} % takes about {guess:,.0f} shots a "
            f"method; plans for fault rates go up to {MOST_FAULT_SHOTS}. "
            "Ask for a larger difference."
        )
    margin = 2 * math.sqrt(guess) + 8
    sizes = range(max(2, math.floor(guess - margin)), math.ceil(guess + margin) + 1)
    reached = [fisher_power(rate_a, rate_b, n, n, alpha) >= goal for n in sizes]
    last_miss = max(i for i, hit in enumerate([False, *reached]) if not hit)
    return sizes[reached.index(True)], sizes[0] + last_miss


def _normal_theory(rate_a: float, rate_b: float, goal: float, alpha: float) -> float:
    """Shots a method by Casagrande, Pike & Smith (1978): normal theory with continuity."""
    mean = (rate_a + rate_b) / 2
    gap = abs(rate_a - rate_b)
    spread = float(ndtri(1 - alpha / 2)) * math.sqrt(2 * mean * (1 - mean)) + float(
        ndtri(goal)
    ) * math.sqrt(rate_a * (1 - rate_a) + rate_b * (1 - rate_b))
    a = spread**2
    return a * (1 + math.sqrt(1 + 4 * gap / a)) ** 2 / (4 * gap**2) if a > 0 else 2 / gap


def _binomial(n: int, rate: float) -> Floats:
    x = np.arange(n + 1)
    if rate in (0.0, 1.0):
        return np.where(x == n * rate, 1.0, 0.0)
    return np.exp(_log_choose(n, x) + x * math.log(rate) + (n - x) * math.log1p(-rate))


def _log_choose(n: int, x: NDArray[np.int_]) -> Floats:
    return np.asarray(gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1))
