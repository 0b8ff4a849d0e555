"""The rows an analysis can use: columns there, numbers finite, shots that count.

Every statistic starts here, so that what is missing or impossible is said once, in words, and
never reaches the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from kit.errors import DataError, ModelError


def usable_rows(
    table: pd.DataFrame, measure: str, columns: Sequence[str] = ("method",)
) -> pd.DataFrame:
    """``measure`` as a float and ``columns`` as categories, without the rows that miss any.

    Parameters
    ----------
    table
        Any table with these columns; other columns are dropped.
    measure
        Column of numbers; empty cells are left out, infinite ones refused.
    columns
        Columns of labels. A label column keeps the order of its categories; one without
        categories is sorted. Categories that no longer occur are dropped.

    Raises
    ------
    DataError
        If a column is missing, a number is no number, or a number is infinite.
    ModelError
        If no row is left.
    """
    missing = [name for name in (measure, *columns) if name not in table.columns]
    if missing:
        raise DataError(
            f"The table has no column “{missing[0]}”; it has {', '.join(map(str, table.columns))}. "
            "Add the column, or name the one that is meant."
        )
    values = _finite_numbers(table[measure], measure)
    kept = table.loc[values.notna(), list(columns)].copy()
    kept.insert(0, measure, values[values.notna()])
    kept = kept.dropna()
    if kept.empty:
        raise ModelError(
            f"No shot has both “{measure}” and {', '.join(columns)}; there is nothing to analyse."
        )
    for name in columns:
        kept[name] = kept[name].astype("category").cat.remove_unused_categories()
    return kept


def _finite_numbers(values: pd.Series, measure: str) -> pd.Series:
    try:
        numbers = pd.to_numeric(values).astype(float)
    except (TypeError, ValueError):
        raise DataError(
            f"The column “{measure}” holds something that is not a number. "
            "Mend the cell, or leave it empty if the value is missing."
        ) from None
    infinite = np.isinf(numbers.to_numpy())
    if infinite.any():
        row = numbers.index[infinite][0]
        raise DataError(
            f"The column “{measure}” holds an infinite number (row {row}); "
            "no measurement is infinite. Mend the cell, or leave it empty."
        )
    return numbers


def two_methods_or_more(rows: pd.DataFrame, what: str, column: str = "method") -> list[str]:
    """The methods in ``rows``, in order.

    Raises
    ------
    ModelError
        If there is only one: a comparison needs two.
    """
    methods = [str(name) for name in rows[column].cat.categories]
    if len(methods) < 2:
        raise ModelError(
            f"Only one method has usable shots (“{methods[0]}”), so there is nothing to compare "
            f"its {what} with. At least two methods are needed."
        )
    return methods


def pair_positions(count: int) -> list[tuple[int, int]]:
    """All pairs (i, j), i before j, in reading order."""
    return list(combinations(range(count), 2))
