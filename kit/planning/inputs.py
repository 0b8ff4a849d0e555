"""What planning refuses, said in a sentence at once, before anything is computed."""

from __future__ import annotations

import math

from kit.errors import PlanError

MOST_SHOTS = 10_000
"""Shots of one method beyond which a plan is a slip of the keyboard (200 shots a day, 50 days)."""
MOST_METHODS = 40
MOST_ASSESSMENTS = 5_000


def positive(value: float, what: str, unit: str = "") -> float:
    """``value`` if it is a finite number above zero.

    Raises
    ------
    PlanError
        Otherwise; ``what`` begins the sentence ("The shot SD").
    """
    number = _number(value, what)
    if number <= 0:
        raise PlanError(
            f"{what} must be above zero, found {_shown(number, unit)}. Give a value above zero."
        )
    return number


def not_negative(value: float, what: str, unit: str = "") -> float:
    """``value`` if it is a finite number, zero or above."""
    number = _number(value, what)
    if number < 0:
        raise PlanError(f"{what} cannot be negative, found {_shown(number, unit)}.")
    return number


def share(value: float, what: str) -> float:
    """``value`` if it lies strictly between 0 and 1."""
    number = _number(value, what)
    if not 0 < number < 1:
        raise PlanError(
            f"{what} is a share between 0 and 1, found {_shown(number)}. Write 20 % as 0.2."
        )
    return number


def rate(value: float, what: str) -> float:
    """``value`` if it lies between 0 and 1, both included."""
    number = _number(value, what)
    if not 0 <= number <= 1:
        raise PlanError(
            f"{what} is a share from 0 to 1, found {_shown(number)}. Write 20 % as 0.2."
        )
    return number


def ratio_above_one(value: float, what: str) -> float:
    """``value`` if it is a ratio above 1."""
    number = _number(value, what)
    if number <= 1:
        raise PlanError(
            f"{what} is the larger SD over the smaller and must be above 1, "
            f"found {_shown(number)}. Twice as uneven is 2."
        )
    return number


def method_count(value: int) -> int:
    """``value`` if it is a number of methods that can be compared."""
    number = _whole(value, "The number of methods")
    if number < 2:
        raise PlanError(f"A comparison needs at least two methods, found {number}. Add a method.")
    if number > MOST_METHODS:
        raise PlanError(
            f"{number} methods are more than one trial can compare ({MOST_METHODS}). "
            "Compare fewer, or split them into several trials that share a control."
        )
    return number


def shot_count(value: float, least: int = 2) -> float:
    """``value`` if it is a number of shots a method that could be pulled.

    Fractions are allowed (an average over methods).
    """
    number = _number(value, "The number of shots a method")
    if number < least:
        raise PlanError(
            f"{_shown(number)} shots a method cannot tell anything about noise; "
            f"at least {least} are needed."
        )
    if number > MOST_SHOTS:
        raise PlanError(
            f"{number:,.0f} shots a method cannot be pulled; plans go up to {MOST_SHOTS:,}. "
            "Check the number for a slip of the keyboard."
        )
    return number


def assessment_count(value: int, what: str = "The number of tests") -> int:
    """``value`` if it is a number of single taste tests that could be done."""
    number = _whole(value, what)
    if number < 1:
        raise PlanError(
            f"{what} must be at least 1, found {number}. Without a taster nothing can be tasted: "
            "name at least one taster and one test each."
        )
    if number > MOST_ASSESSMENTS:
        raise PlanError(
            f"{number:,} taste tests cannot be done; plans go up to {MOST_ASSESSMENTS:,}. "
            "Check the number for a slip of the keyboard."
        )
    return number


def target_power(value: float) -> float:
    """``value`` if it is a chance one could plan for (5 % to 99.9 %)."""
    number = share(value, "The chance to plan for")
    if not 0.05 <= number <= 0.999:
        raise PlanError(
            f"A plan can aim at a chance from 5 % to 99.9 %, found {100 * number:g} %. "
            "Common practice is 80 % or 90 %."
        )
    return number


def error_rate(value: float) -> float:
    """``value`` if it is a usable rate of false alarms (0.01 % to 50 %)."""
    number = share(value, "The rate of false alarms")
    if not 0.0001 <= number <= 0.5:
        raise PlanError(
            f"The rate of false alarms must lie between 0.01 % and 50 %, found {100 * number:g} %. "
            "Common practice is 5 %."
        )
    return number


def unreachable(what: str) -> PlanError:
    """The refusal when no plan of possible size answers the question."""
    return PlanError(
        f"{what}: even {MOST_SHOTS:,} shots a method do not reach that chance. "
        "Ask for a larger difference, or bring the noise down first."
    )


def _number(value: float, what: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise PlanError(f"{what} must be a number, found “{value}”.") from error
    if not math.isfinite(number):
        raise PlanError(f"{what} must be a finite number, found {value}.")
    return number


def _whole(value: float, what: str) -> int:
    number = _number(value, what)
    if number != int(number):
        raise PlanError(f"{what} must be a whole number, found {_shown(number)}.")
    return int(number)


def _shown(number: float, unit: str = "") -> str:
    return f"{number:g} {unit}".strip()
