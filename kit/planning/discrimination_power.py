"""How many triangle, duo-trio or paired tests it takes to show a taste difference, or to show
that hardly anybody can taste one.

Model: a share ``discriminators`` of the assessments is answered from true perception, the rest
by guessing, so a test is right with chance p = g + d(1-g), g the guessing rate (abbreviated
pd in ISO 4120, ISO 10399; Meilgaard, Civille & Carr, Sensory Evaluation Techniques).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import bdtr, bdtrc, ndtri

from kit.analysis.discrimination import GUESSING, maximum_correct, minimum_correct
from kit.planning import inputs


def guessing_rate(test: str) -> float:
    """The chance to be right by guessing."""
    if test not in GUESSING:
        raise inputs.PlanError(f"“{test}” is not a taste test. There are: {', '.join(GUESSING)}.")
    return GUESSING[test]


def fewest_correct(test: str, tests: int, false_alarms: float = 0.05) -> int | None:
    """The fewest right answers that show a difference; None where even all right do not.

    The rule of :func:`kit.analysis.discrimination.minimum_correct`, by which the result is read.
    """
    n = inputs.assessment_count(tests)
    return minimum_correct(n, guessing_rate(test), inputs.error_rate(false_alarms))


def fewest_agreeing(tests: int, false_alarms: float = 0.05) -> int | None:
    """The fewest choices of one cup that show a preference either way (paired, two-sided)."""
    n = inputs.assessment_count(tests)
    return minimum_correct(n, 0.5, inputs.error_rate(false_alarms) / 2)


def most_correct(
    test: str, tests: int, discriminators: float, false_alarms: float = 0.05
) -> int | None:
    """The most right answers that still show fewer than ``discriminators`` can tell."""
    n = inputs.assessment_count(tests)
    who = inputs.share(discriminators, "The share who can tell")
    return maximum_correct(n, guessing_rate(test), who, inputs.error_rate(false_alarms))


def chance_correct(discriminators: float, guessing: float) -> float:
    """Chance of a right answer when a share of the answers rests on true perception."""
    return guessing + inputs.rate(discriminators, "The share who can tell") * (1 - guessing)


def difference_power(
    test: str, tests: int, discriminators: float, false_alarms: float = 0.05
) -> float:
    """Chance that ``tests`` single tests show a difference that ``discriminators`` can taste."""
    guessing = guessing_rate(test)
    least = fewest_correct(test, tests, false_alarms)
    p = chance_correct(discriminators, guessing)
    if least is None:
        return 0.0
    return 1.0 if p >= 1.0 else float(bdtrc(least - 1, tests, p))


def similarity_power(
    test: str,
    tests: int,
    discriminators: float,
    true_discriminators: float = 0.0,
    false_alarms: float = 0.05,
) -> float:
    """Chance to show that fewer than ``discriminators`` can tell, when truly hardly any can."""
    guessing = guessing_rate(test)
    most = most_correct(test, tests, discriminators, false_alarms)
    if most is None:
        return 0.0
    return float(bdtr(most, tests, chance_correct(true_discriminators, guessing)))


def first_tests_for_difference(
    test: str, discriminators: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The first number of single tests that reaches the chance."""
    return _difference_sizes(test, discriminators, chance, false_alarms)[0]


def lasting_tests_for_difference(
    test: str, discriminators: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The number of single tests from which on the chance is never lost again."""
    return _difference_sizes(test, discriminators, chance, false_alarms)[1]


def first_tests_for_similarity(
    test: str, discriminators: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The first number of single tests that shows similarity with the chance (nobody can tell)."""
    return _similarity_sizes(test, discriminators, chance, false_alarms)[0]


def lasting_tests_for_similarity(
    test: str, discriminators: float, chance: float = 0.8, false_alarms: float = 0.05
) -> int:
    """The number of single tests from which on similarity is shown with the chance."""
    return _similarity_sizes(test, discriminators, chance, false_alarms)[1]


def discriminators_detected(
    test: str, tests: int, chance: float = 0.8, false_alarms: float = 0.05
) -> float | None:
    """The share who can tell that is found with ``chance``; None where not even all would be."""
    goal = inputs.target_power(chance)
    if difference_power(test, tests, 1.0, false_alarms) < goal:
        return None
    return float(brentq(lambda d: difference_power(test, tests, d, false_alarms) - goal, 0, 1))


def discriminators_excluded(
    test: str, tests: int, chance: float = 0.8, false_alarms: float = 0.05
) -> float:
    """The smallest share who can tell that is excluded with ``chance`` when nobody can."""
    goal = inputs.target_power(chance)
    # The fewest right answers that guessing stays at or below with the chance asked for.
    n = inputs.assessment_count(tests)
    guessing = guessing_rate(test)
    typical = int(np.flatnonzero(bdtr(np.arange(n + 1), n, guessing) >= goal)[0])
    alpha = inputs.error_rate(false_alarms)
    if typical == n:
        return 1.0
    p = float(brentq(lambda q: float(bdtr(typical, n, q)) - alpha, guessing, 1.0))
    return min(1.0, (p - guessing) / (1 - guessing))


@lru_cache(maxsize=256)
def _difference_sizes(
    test: str, discriminators: float, chance: float, alpha: float
) -> tuple[int, int]:
    guess = _normal_theory(test, discriminators, chance, alpha, truth=discriminators)
    return _scan(lambda n: difference_power(test, n, discriminators, alpha) >= chance, guess)


@lru_cache(maxsize=256)
def _similarity_sizes(
    test: str, discriminators: float, chance: float, alpha: float
) -> tuple[int, int]:
    guess = _normal_theory(test, discriminators, chance, alpha, truth=0.0)
    return _scan(lambda n: similarity_power(test, n, discriminators, 0.0, alpha) >= chance, guess)


def _normal_theory(
    test: str, discriminators: float, chance: float, alpha: float, truth: float
) -> float:
    """About how many tests it takes, by the normal approximation of two binomials."""
    guessing = guessing_rate(test)
    right = chance_correct(inputs.share(discriminators, "The share who can tell"), guessing)
    tested = right if truth == 0.0 else guessing
    true = guessing if truth == 0.0 else right
    z_alpha = ndtri(1 - inputs.error_rate(alpha))
    z_chance = ndtri(inputs.target_power(chance))
    spread = z_alpha * np.sqrt(tested * (1 - tested)) + z_chance * np.sqrt(true * (1 - true))
    return float((spread / (right - guessing)) ** 2)


def _scan(reached: Callable[[int], bool], guess: float) -> tuple[int, int]:
    """The first size that reaches the chance, and the one from which on it is always reached."""
    if guess > inputs.MOST_ASSESSMENTS:
        raise inputs.PlanError(
            f"So small a share who can tell takes about {guess:,.0f} single tests; plans go up to "
            f"{inputs.MOST_ASSESSMENTS:,}. Ask about a larger share."
        )
    margin = 4 * np.sqrt(guess) + 20
    sizes = range(max(1, int(guess - margin)), int(guess + margin) + 1)
    hits = [reached(n) for n in sizes]
    last_miss = max(i for i, hit in enumerate([False, *hits]) if not hit)
    return sizes[hits.index(True)], sizes[0] + last_miss
