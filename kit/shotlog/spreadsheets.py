"""Text in cells, made safe for spreadsheets and read back without loss.

A spreadsheet runs a cell that begins with ``=``, ``+``, ``-`` or ``@`` as a formula. Text that
begins so is written with an apostrophe before it, which spreadsheets take as "this is text"; the
reader takes it off again. Numbers are left alone.

Source: OWASP, "CSV Injection" (which characters start a formula).
"""

from __future__ import annotations

import pandas as pd

_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def neutralised(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith((*_STARTS_FORMULA, "'")) else text


def as_written(text: str) -> str:
    """The text before ``neutralised``."""
    return text[1:] if text.startswith("'") and neutralised(text[1:]) == text else text


def neutralised_table(table: pd.DataFrame) -> pd.DataFrame:
    """The table with every text cell, and every header, neutralised."""
    safe = table.copy()
    for name in safe.columns:
        if not pd.api.types.is_numeric_dtype(safe[name]):
            safe[name] = safe[name].map(neutralised, na_action="ignore")
    return safe.rename(columns=neutralised)


def csv_text(table: pd.DataFrame) -> str:
    """The table as CSV (RFC 4180 quoting, ``\\n`` line ends), neutralised; empty where missing."""
    return str(neutralised_table(table).to_csv(index=False, lineterminator="\n"))
