"""Published tables against recomputed ones: the same numbers, or exactly which cells differ."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import pandas as pd

RELATIVE_TOLERANCE = 1e-8
# A difference of two nearly equal sums carries rounding of the order of the numbers themselves.
ABSOLUTE_TOLERANCE = 1e-11
MOST_NAMED = 5


@dataclass(frozen=True)
class Check:
    """One thing that was recomputed or verified."""

    what: str
    agrees: bool
    detail: str
    largest: float = 0.0
    """The largest relative difference of two numbers that agree."""


def compare_table(name: str, published: bytes, recomputed: str) -> Check:
    """Compare two CSV tables cell by cell; numbers agree within 1e-8 of their size.

    Both are read as text first, so that nothing is interpreted before it is compared.
    """
    try:
        one = pd.read_csv(io.BytesIO(published), dtype=str, keep_default_na=False)
    except (ValueError, pd.errors.ParserError) as error:
        return Check(name, False, f"the published table cannot be read ({error})")
    other = pd.read_csv(io.StringIO(recomputed), dtype=str, keep_default_na=False)
    if list(one.columns) != list(other.columns):
        return Check(name, False, f"columns differ: {_only(one, other)}")
    if len(one) != len(other):
        return Check(name, False, f"{len(one)} rows published, {len(other)} recomputed")
    differing = _differing_cells(one, other)
    if differing:
        more = len(differing) - MOST_NAMED
        rest = f"; and {more} more" if more > 0 else ""
        return Check(name, False, "; ".join(differing[:MOST_NAMED]) + rest)
    largest = max(
        (
            _relative(*pair)
            for column in one
            for pair in zip(one[column], other[column], strict=True)
        ),
        default=0.0,
    )
    apart = f", numbers at most {largest:.0e} apart" if largest else ""
    return Check(name, True, f"{one.size} cells{apart}", largest)


def _only(one: pd.DataFrame, other: pd.DataFrame) -> str:
    unmatched = set(one.columns) ^ set(other.columns)
    return ", ".join(sorted(map(str, unmatched))[:MOST_NAMED]) or "their order"


def _differing_cells(one: pd.DataFrame, other: pd.DataFrame) -> list[str]:
    found = []
    for column in one.columns:
        pairs = zip(one[column], other[column], strict=True)
        for row, (published, recomputed) in enumerate(pairs, start=2):
            if not _agree(published, recomputed):
                found.append(
                    f"row {row}, {column}: published {published or 'nothing'}, "
                    f"recomputed {recomputed or 'nothing'}"
                )
    return found


def _relative(published: str, recomputed: str) -> float:
    """How far two cells are apart in relation to the larger; 0 for what is the same, or no number.

    Numbers below the absolute tolerance are rounding around zero.
    """
    if published == recomputed:
        return 0.0
    one, other = float(published), float(recomputed)
    size = max(abs(one), abs(other))
    return abs(one - other) / size if abs(one - other) > ABSOLUTE_TOLERANCE else 0.0


def _agree(published: str, recomputed: str) -> bool:
    if published == recomputed:
        return True
    try:
        one, other = float(published), float(recomputed)
    except ValueError:
        return False
    return math.isclose(one, other, rel_tol=RELATIVE_TOLERANCE, abs_tol=ABSOLUTE_TOLERANCE)
