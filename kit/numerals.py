"""Numbers as people write them, and numbers as they should be read.

A practitioner types ``18,5``, ``18.5 g`` or ``18.5g``; all three are 18.5. What could mean two
things (``1.850,0``; ``1,850.0``) is never guessed: it is asked about.
"""

from __future__ import annotations

import math
import re

from kit.errors import DataError

# A sign, digits, at most one decimal mark, an optional exponent; then perhaps a unit.
_NUMBER = re.compile(
    r"^(?P<sign>[+\-−]?)\s*(?P<digits>\d+(?:[.,]\d*)?|[.,]\d+)(?P<exponent>[eE][+\-]?\d+)?"
    r"\s*(?P<unit>[^\d\s.,].*)?$"
)
_MISSING = {"", "-", "–", "—", "na", "n/a", "nan", "none", "null", "missing", "?"}


def parse_number(text: object, unit: str = "") -> float | None:
    """The number a person meant by ``text``, or None when the cell says nothing.

    Parameters
    ----------
    text
        What stands in the box or cell. Numbers pass through.
    unit
        The unit this place expects ("g", "s", "%"); it may follow the number, no other may.

    Raises
    ------
    DataError
        If the text is no number, could be read in two ways, or carries another unit.
    """
    if text is None:
        return None
    if isinstance(text, bool):
        raise DataError(f"“{text}” is not a number.")
    if isinstance(text, (int, float)):
        return _finite_or_missing(float(text))
    written = str(text).replace("\u00a0", " ").replace("\u202f", " ").strip()
    if written.lower() in _MISSING:
        return None
    match = _NUMBER.match(written)
    if match is None:
        raise DataError(_not_a_number(written))
    given_unit = (match["unit"] or "").strip()
    if given_unit and given_unit.lower() not in _spellings(unit):
        expected = f"a number in {unit}" if unit else "a number without a unit"
        raise DataError(f"“{written}” carries the unit “{given_unit}”; {expected} is meant here.")
    digits = match["digits"].replace(",", ".")
    sign = "-" if match["sign"] in {"-", "−"} else ""
    return _finite_or_missing(float(sign + digits + (match["exponent"] or "")))


def _finite_or_missing(value: float) -> float | None:
    if math.isnan(value):
        return None
    if math.isinf(value):
        raise DataError("An infinite number is not a measurement.")
    return value


def _not_a_number(written: str) -> str:
    if re.fullmatch(r"[+\-−]?[\d.,' ]+(\s*\D+)?", written) and re.search(r"\d", written):
        return (
            f"“{written}” can be read in more than one way. "
            "Write it with one decimal mark and no thousands mark, for example 1850.5 or 1850,5."
        )
    return f"“{written}” is not a number."


def _spellings(unit: str) -> set[str]:
    """The ways a unit is written after a number."""
    known = {
        "g": {"g", "gr", "gram", "grams", "g."},
        "s": {"s", "sec", "secs", "second", "seconds", "s.", "″", '"'},
        "%": {"%", "percent", "pct"},
        "°C": {"°c", "c", "℃", "º c", "° c"},
        "bar": {"bar", "bars"},
        "min": {"min", "minutes", "minute"},
        "mg": {"mg"},
    }
    return known.get(unit, {unit.lower()} if unit else set())


def round_uncertainty(value: float, digits: int = 2) -> tuple[float, int]:
    """``value`` rounded to ``digits`` significant digits, and the decimals that takes.

    Source: JCGM 100:2008, 7.2.6 (an uncertainty is given to at most two significant digits).
    """
    if value == 0 or not math.isfinite(value):
        return value, digits
    decimals = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, decimals)
    # 0.0996 rounds to 0.10: one decimal fewer carries the same two digits.
    decimals = digits - 1 - math.floor(math.log10(abs(rounded)))
    return rounded, max(decimals, 0)


def say_number(value: float, decimals: int, signed: bool = False) -> str:
    """A number for people: fixed decimals, a true minus sign, never a negative zero."""
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{decimals}f}"
    if rounded < 0:
        return f"−{text}"
    return f"+{text}" if signed and rounded > 0 else text


def say_p(p: float) -> str:
    """A p value for people: two digits, three below 0.1, and never 0."""
    if p < 0.001:
        return "p < 0.001"
    return f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"
