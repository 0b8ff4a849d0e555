"""Outcomes and differences as they stand in a sentence."""

from __future__ import annotations

from kit import codebook
from kit.numerals import say_number


def label_of(measure: str) -> str:
    """The name of a measure for people."""
    try:
        return codebook.column(measure).label
    except KeyError:
        return measure[:1].upper() + measure[1:]


def unit_of(measure: str) -> str:
    """The unit of a difference; percentages differ by points."""
    try:
        unit = codebook.column(measure).unit
    except KeyError:
        return "points"
    return "points" if unit == "%" else unit


def say_difference(size: float, measure: str) -> str:
    """``0.5 points``: as many digits as it takes, two at most."""
    decimals = 1 if abs(size * 10 - round(size * 10)) < 1e-9 else 2
    return f"{say_number(size, decimals)} {unit_of(measure)}".strip()
