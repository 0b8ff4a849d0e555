"""What a figure asks of the table it is given, and the phrases of alternative texts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pandas as pd

from kit.errors import DataError
from kit.numerals import say_number


def need(table: pd.DataFrame, columns: Iterable[str], figure: str) -> None:
    """Refuse a table that cannot be drawn.

    Raises
    ------
    DataError
        If it has no row, or a column is missing; the message lists the missing ones.
    """
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise DataError(
            f"The {figure} figure needs the column{'s' if len(missing) > 1 else ''} "
            f"{', '.join(missing)}; the table has {', '.join(map(str, table.columns))}."
        )
    if table.empty:
        raise DataError(f"There is nothing to draw yet: the table of the {figure} figure is empty.")


def in_order(table: pd.DataFrame, methods: Sequence[str], column: str = "method") -> pd.DataFrame:
    """The rows in the order of ``methods``; methods without a row are left out.

    Raises
    ------
    DataError
        If the table names a method that is not in ``methods``.
    """
    unknown = sorted(set(table[column].astype(str)) - set(methods))
    if unknown:
        raise DataError(
            f"The table names the method “{unknown[0]}”; the trial has {', '.join(methods)}."
        )
    place = {method: rank for rank, method in enumerate(methods)}
    ranks = table[column].astype(str).map(place)
    return table.assign(**{column: table[column].astype(str)}).iloc[
        ranks.argsort(kind="stable").to_numpy()
    ]


def each(table: pd.DataFrame) -> Iterator[Any]:
    """The rows, one after the other, their columns as attributes."""
    yield from table.itertuples(index=False)


def say(value: float, decimals: int, signed: bool = False) -> str:
    """A number for people; “–” where there is none."""
    if value is None or not math.isfinite(value):
        return "–"
    return say_number(float(value), decimals, signed)


def say_range(lower: float, upper: float, decimals: int, signed: bool = False) -> str:
    """An interval for people: “19.1 to 19.7”."""
    return f"{say(lower, decimals, signed)} to {say(upper, decimals, signed)}"


def say_unit(text: str, unit: str) -> str:
    """A number with its unit."""
    return f"{text} {unit}" if unit else text


def listed(parts: Sequence[str]) -> str:
    """“a, b and c”."""
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]
