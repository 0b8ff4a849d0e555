"""Results as plain tables with stable names: what is written, published and compared again."""

from __future__ import annotations

from dataclasses import asdict

import pandas as pd

from kit.findings.findings import verdict_grid
from kit.results.compute import Results
from kit.shotlog.spreadsheets import neutralised


def result_tables(results: Results) -> dict[str, pd.DataFrame]:
    """Every result table by name, in the order of the plan's outcomes.

    Returns
    -------
    dict
        ``<outcome>_groups``, ``<outcome>_differences``, ``<outcome>_tests`` for each outcome (its
        name with ``_`` for blanks), ``verdicts``, ``claims``, the extras of the analysis, and
        ``deviations`` (found in the log and recorded by hand).
    """
    tables: dict[str, pd.DataFrame] = {}
    for result in results.analysis.results:
        name = result.outcome.name.replace(" ", "_")
        tables[f"{name}_groups"] = result.groups
        tables[f"{name}_differences"] = result.differences
        if not result.tests.empty:
            tables[f"{name}_tests"] = result.tests
    tables["verdicts"] = verdict_grid(results.analysis)
    tables["claims"] = pd.DataFrame([asdict(claim) for claim in results.findings.claims])
    tables.update(results.analysis.extras)
    tables["deviations"] = results.deviations
    return tables


def csv_of(table: pd.DataFrame) -> str:
    """A result table as CSV: ten significant digits, the same bytes on every system.

    No cell is one that a spreadsheet would take for a formula.
    """
    safe = table.map(lambda cell: neutralised(cell) if isinstance(cell, str) else cell)
    return safe.to_csv(index=False, lineterminator="\n", float_format="%.10g")
