"""The guards before a fit: is this table what the model needs, said in words if not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches

import numpy as np
import pandas as pd

from kit.analysis.formula import Formula
from kit.errors import DataError, ModelError

MAX_SHOTS = 20_000
MAX_SHOTS_OWN_SD = 1_000  # the n × n matrix is formed there
MAX_LEVELS = 2_000


def check_input(
    table: pd.DataFrame,
    response: str,
    formula: Formula,
    random: Sequence[str],
    residual_by: str | None,
) -> None:
    """Refuse a table that the model cannot be fitted to.

    Raises
    ------
    DataError
        Empty table, unknown or doubled column, missing or infinite value, text for number.
    ModelError
        Too many rows for one trial, or a column in two roles.
    """
    if not isinstance(table, pd.DataFrame):
        raise DataError(f"A table (a DataFrame) is needed, not {type(table).__name__}.")
    if isinstance(random, str):
        raise ModelError(f'Give the random columns as a list: random=["{random}"].')
    extra = [residual_by] if residual_by is not None else []
    for name in dict.fromkeys([response, *formula.variables, *random, *extra]):
        _check_column(table, name)
    if len(table) == 0:
        raise DataError("The table has no rows: there are no shots to analyse.")
    _check_size(len(table), residual_by)
    _check_roles(response, formula, random)
    _check_numbers(table, response)
    for name in dict.fromkeys([*formula.variables, *random, *extra]):
        _check_complete(table[name], name)


def _check_column(table: pd.DataFrame, name: str) -> None:
    if name not in table.columns:
        known = [str(c) for c in table.columns]
        near = get_close_matches(str(name), known, n=1)
        hint = f' Did you mean "{near[0]}"?' if near else ""
        raise DataError(
            f'The table has no column "{name}".{hint} Its columns are: {", ".join(known)}.'
        )
    if isinstance(table[name], pd.DataFrame):
        raise DataError(f'The table has more than one column called "{name}". Rename one of them.')


def _check_size(n: int, residual_by: str | None) -> None:
    limit = MAX_SHOTS if residual_by is None else MAX_SHOTS_OWN_SD
    if n > limit:
        own = " with an SD of its own for each method" if residual_by is not None else ""
        raise ModelError(
            f"The table has {n:,} rows; this analysis{own} takes at most {limit:,} shots. "
            "Is it one row a shot? Readings of one shot are averaged first."
        )


def _check_roles(response: str, formula: Formula, random: Sequence[str]) -> None:
    if response in formula.variables or response in random:
        raise ModelError(f'"{response}" is the outcome and cannot explain itself. Take it out.')
    for name in random:
        if list(random).count(name) > 1:
            raise ModelError(f'"{name}" stands twice among the random columns. Name it once.')
        if (name,) in formula.terms:
            raise ModelError(
                f'"{name}" is in the model twice, as fixed and as random. Choose one: random when '
                "its levels stand for many more like them, fixed when they are the question."
            )


def _check_numbers(table: pd.DataFrame, name: str) -> None:
    column = table[name]
    if not pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column):
        raise DataError(
            f'Column "{name}" is the outcome and must hold numbers; it holds '
            f'{column.dtype} (row 1: "{column.iloc[0]}").'
        )
    _check_complete(column, name)


def _check_complete(column: pd.Series, name: str) -> None:
    missing = np.flatnonzero(column.isna().to_numpy())
    if len(missing):
        raise DataError(
            f'Column "{name}" has no value in {_places(missing)}. Leave lost shots out of the '
            "table before the analysis, and say how many there were."
        )
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        endless = np.flatnonzero(~np.isfinite(column.to_numpy(dtype=float)))
        if len(endless):
            raise DataError(
                f'Column "{name}" holds an infinite number in {_places(endless)}. '
                "Correct the entry or leave the shot out."
            )


def _places(rows: np.ndarray) -> str:
    shown = ", ".join(str(i + 1) for i in rows[:5])
    more = f" and {len(rows) - 5} more" if len(rows) > 5 else ""
    return f"row{'s' if len(rows) > 1 else ''} {shown}{more} of the table"


def check_levels(sizes: Mapping[str, int]) -> None:
    """Refuse random columns with one level, or with more than the fit is meant for.

    ``sizes`` gives the number of levels by column.

    Raises
    ------
    ModelError
        Naming the column.
    """
    for name, size in sizes.items():
        if size == 1:
            raise ModelError(
                f'All shots have the same "{name}": with only one, nothing shows how much one '
                "differs from the next. Take it out of the random columns, and do not carry the "
                f"result over to another {name}."
            )
    if sum(sizes.values()) > MAX_LEVELS:
        largest = max(sizes, key=lambda name: sizes[name])
        raise ModelError(
            f"The random columns have {sum(sizes.values()):,} levels together "
            f'("{largest}" alone {sizes[largest]:,}); this analysis takes at most '
            f'{MAX_LEVELS:,}. Is "{largest}" a label of blocks or sessions, not of single shots?'
        )
