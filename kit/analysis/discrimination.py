"""Triangle, duo-trio and paired tests: can anybody taste it?

A right answer can be a guess. With guessing rate g the share of right answers is g + d(1 − g),
where d is the share of assessments made by somebody who tells the cups apart. The same counts are
read twice: do they show a difference, and do they show that few can tell? "Not shown" never
means "nobody can tell".

Sources: ISO 4120 (triangle), ISO 10399 (duo-trio), ISO 5495 (paired comparison): binomial tests,
one-sided; d′ by Thurstonian models with unit variance, Ennis (1993), J. Sensory Studies 8,
353–370, with the delta-method standard error of Bi, Ennis & O'Mahony (1997), J. Sensory
Studies 12, 87–104.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from kit.errors import DataError

GUESSING = {"triangle": 1 / 3, "duo-trio": 1 / 2, "paired": 1 / 2}
"""Share of right answers by guessing alone."""

_LARGEST_D = 30.0
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
_HALF_LINE = 6 * (_NODES + 1)
"""Nodes on (0, 12), beyond which the normal density is nil."""


@dataclass(frozen=True)
class DiscriminationResult:
    """One discrimination test, read for a difference and for similarity.

    Shares are of assessments. ``p_difference``: chance of this many right answers or more by
    guessing. ``discriminators``: guess-corrected share (zero at least), with its two-sided
    interval. ``fewest_discriminators``, ``most_discriminators``: one-sided limits; the first is
    above zero just where the test shows a difference, on the second stands a claim "hardly
    anybody can taste it". In a paired test the upper limits hold in both directions: tasters who
    mostly name the other cup tell the two apart as well. ``d_prime``: sensory distance, zero
    where no more were right than by guessing, with the interval that the exact interval of the
    share maps to.
    """

    test: str
    n: int
    correct: int
    share: float
    share_lower: float
    share_upper: float
    p_difference: float
    needed: int | None
    discriminators: float
    discriminators_lower: float
    discriminators_upper: float
    fewest_discriminators: float
    most_discriminators: float
    d_prime: float
    d_prime_se: float
    d_prime_lower: float
    d_prime_upper: float

    def limits_in_words(self) -> str:
        """``At most 51 %``, or ``At least 3 % and at most 71 %``, each limit at the level."""
        most = f"at most {100 * self.most_discriminators:.0f} %"
        if self.fewest_discriminators > 0:
            return f"At least {100 * self.fewest_discriminators:.0f} % and {most}"
        return most.capitalize()


def discrimination_test(
    correct: int, n: int, test: str, level: float = 0.95
) -> DiscriminationResult:
    """Read ``correct`` right answers of ``n`` in a ``test``: "triangle", "duo-trio" or "paired".

    Intervals are exact (Clopper & Pearson 1934). ``needed`` is the minimum number of right
    answers for a difference at 1 − ``level``, None where even ``n`` would not do.

    Raises
    ------
    DataError
        If the test is unknown or the counts cannot be.
    """
    guess = guessing_rate(test)
    _check_counts(correct, n)
    share = correct / n
    lower, upper = exact_interval(correct, n, level)
    furthest = max(correct, n - correct) if test == "paired" else correct
    fewest = exact_interval(correct, n, 2 * level - 1)[0]
    most = exact_interval(furthest, n, 2 * level - 1)[1]
    d = d_prime(test, share)
    slope = _slope(test, d)
    return DiscriminationResult(
        test=test,
        n=n,
        correct=correct,
        share=share,
        share_lower=lower,
        share_upper=upper,
        p_difference=float(stats.binom.sf(correct - 1, n, guess)),
        needed=minimum_correct(n, guess, 1 - level),
        discriminators=guess_corrected(share, guess),
        discriminators_lower=guess_corrected(lower, guess),
        discriminators_upper=guess_corrected(exact_interval(furthest, n, level)[1], guess),
        fewest_discriminators=guess_corrected(fewest, guess),
        most_discriminators=guess_corrected(most, guess),
        d_prime=d,
        d_prime_se=float(np.sqrt(share * (1 - share) / n) / slope) if slope > 0 else np.nan,
        d_prime_lower=d_prime(test, lower),
        d_prime_upper=d_prime(test, upper),
    )


def guessing_rate(test: str) -> float:
    """The share of right answers by guessing alone."""
    if test not in GUESSING:
        raise DataError(f"“{test}” is not a taste test. There are: {', '.join(GUESSING)}.")
    return GUESSING[test]


def guess_corrected(share: float, guess: float) -> float:
    """The share of discriminators behind a share of right answers: (share − g)/(1 − g), ≥ 0."""
    return max((share - guess) / (1 - guess), 0.0)


def exact_interval(correct: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """The exact interval of a binomial share (Clopper & Pearson 1934)."""
    _check_counts(correct, n)
    tail = (1 - level) / 2
    lower = float(stats.beta.ppf(tail, correct, n - correct + 1)) if correct else 0.0
    upper = float(stats.beta.isf(tail, correct + 1, n - correct)) if correct < n else 1.0
    return lower, upper


def minimum_correct(n: int, guess: float, alpha: float = 0.05) -> int | None:
    """The fewest right answers that show a difference; None where even all right do not.

    The smallest x with P(X ≥ x) ≤ ``alpha``, X binomial by guessing (ISO 4120, ISO 10399).
    """
    tail = stats.binom.sf(np.arange(n + 1) - 1, n, guess)
    enough = np.flatnonzero(tail <= alpha * (1 + 1e-12))
    return int(enough[0]) if enough.size else None


def maximum_correct(n: int, guess: float, discriminators: float, beta: float = 0.05) -> int | None:
    """The most right answers that still show that fewer than ``discriminators`` can tell.

    The largest x with P(X ≤ x) ≤ ``beta`` if that share could tell; None where no x will do
    (ISO 4120, similarity).
    """
    chance = guess + discriminators * (1 - guess)
    few = np.flatnonzero(stats.binom.cdf(np.arange(n + 1), n, chance) <= beta * (1 + 1e-12))
    return int(few[-1]) if few.size else None


def similarity_p(correct: int, n: int, test: str, discriminators: float) -> float:
    """The chance of this few right answers or fewer if ``discriminators`` could tell.

    Small values support "fewer than that can tell".
    """
    guess = guessing_rate(test)
    _check_counts(correct, n)
    if not 0 < discriminators < 1:
        raise DataError(
            f"The share of tasters who may tell the cups apart must lie between 0 and 1; "
            f"{discriminators} was given."
        )
    return float(stats.binom.cdf(correct, n, guess + discriminators * (1 - guess)))


def preference_test(for_first: int, n: int) -> float:
    """Two-sided exact p of a paired preference: ``for_first`` of ``n`` chose the first cup."""
    _check_counts(for_first, n)
    return float(stats.binomtest(for_first, n, 0.5).pvalue)


def share_correct(test: str, d: float) -> float:
    """The share of right answers at sensory distance ``d`` (the psychometric function)."""
    return _PSYCHOMETRIC[test](d)


def d_prime(test: str, share: float) -> float:
    """The sensory distance behind a share of right answers; 0 at or below guessing."""
    guess = guessing_rate(test)
    if share <= guess:
        return 0.0
    if share >= share_correct(test, _LARGEST_D):
        return float("inf")
    return float(
        optimize.brentq(lambda d: share_correct(test, d) - share, 0.0, _LARGEST_D, xtol=1e-12)
    )


def _triangle(d: float) -> float:
    z, weight = _HALF_LINE, 6 * _WEIGHTS
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    shift = d * np.sqrt(2 / 3)
    either = special.ndtr(-z * np.sqrt(3) + shift) + special.ndtr(-z * np.sqrt(3) - shift)
    return float(2 * np.sum(weight * density * either))


def _duo_trio(d: float) -> float:
    a, b = special.ndtr(d / np.sqrt(2)), special.ndtr(d / np.sqrt(6))
    return float(1 - a - b + 2 * a * b)


def _paired(d: float) -> float:
    return float(special.ndtr(d / np.sqrt(2)))


_PSYCHOMETRIC: dict[str, Callable[[float], float]] = {
    "triangle": _triangle,
    "duo-trio": _duo_trio,
    "paired": _paired,
}


def _slope(test: str, d: float) -> float:
    if not 0 < d < _LARGEST_D:
        return 0.0
    step = 1e-4 * max(d, 1.0)
    step = min(step, d / 2)
    return (share_correct(test, d + step) - share_correct(test, d - step)) / (2 * step)


def _check_counts(correct: int, n: int) -> None:
    if n < 1 or not 0 <= correct <= n or correct != int(correct) or n != int(n):
        raise DataError(f"{correct} right answers of {n} cannot be: check the counts.")
