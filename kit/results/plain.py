"""A stranger's plain table, analysed as far as it goes and with its limits said.

All that is needed is a column with the method and one with the extraction yield (or with TDS,
beverage and dose). What a plan would have decided in advance is assumed here and said to be so.
"""

from __future__ import annotations

import tempfile
from datetime import datetime
from pathlib import Path

from kit.errors import DataError
from kit.results.compute import Progress, Results, compute_results
from kit.shotlog.importing import import_shots, log_import
from kit.shotlog.importing.cells import Sheet, is_empty, read_sheets
from kit.shotlog.importing.headers import target_of
from kit.trial import Coffee, Layout, Method, Outcome, Recipe, Trial, write_trial

SEARCHED_ROWS = 40
ASSUMED = (
    "Nothing was declared in advance for this table: the smallest differences that matter "
    "(0.5 points of extraction, a ratio of 1.5 for spread, 20 percentage points for faults) are "
    "this program's defaults."
)


def analyse_plain_table(path: Path, at: datetime, progress: Progress | None = None) -> Results:
    """Analyse a table of shots that came without a plan.

    Raises
    ------
    DataError, TableError
        If the file cannot be read, or has no column of methods.
    """
    trial = implied_trial(path)
    imported = import_shots(path, trial)
    with tempfile.TemporaryDirectory(prefix="fairpull-") as place:
        folder = Path(place)
        write_trial(trial, folder)
        log_import(folder, imported, at, by="import")
        return compute_results(folder, progress)


def implied_trial(path: Path) -> Trial:
    """The plan a plain table implies: its methods, and default outcomes.

    Tolerances are as wide as the codebook, because none were declared.
    """
    names, headings = _methods_in(read_sheets(path), path)
    outcomes = [
        Outcome(measure="ey_pct", aspect="mean", role="primary", smallest_difference=0.5,
                higher_is_better=True),
        Outcome(measure="ey_pct", aspect="spread", smallest_difference=1.5,
                higher_is_better=False),
    ]  # fmt: skip
    if "faults" in headings:
        outcomes.append(
            Outcome(
                measure="faults", aspect="rate", smallest_difference=0.2, higher_is_better=False
            )
        )
    return Trial(
        title=path.stem[:120] or "table",
        question=f"Which of {', '.join(names)} extracts more, and how evenly?"[:600],
        coffee=Coffee(name="not recorded"),
        recipe=Recipe(dose_g=18, dose_tolerance_g=25, beverage_g=36, beverage_tolerance_g=115),
        methods=tuple(Method(name=name) for name in names),
        outcomes=tuple(outcomes),
        layout=Layout(sessions=1, blocks_per_session=1),
    )


def _methods_in(sheets: list[Sheet], path: Path) -> tuple[list[str], set[str | None]]:
    """The names under a heading that means “method”, in order, and what all headings mean."""
    for sheet in sheets:
        for number, row in enumerate(sheet.cells[:SEARCHED_ROWS]):
            headings = [target_of(cell) for cell in row]
            if "method" in headings:
                at = headings.index("method")
                cells = [below[at] for below in sheet.cells[number + 1 :]]
                names = [str(cell).strip() for cell in cells if not is_empty(cell)]
                return _checked(list(dict.fromkeys(names)), path), set(headings)
    raise DataError(
        f"{path.name} has no column headed “method”. Head the column with the names of the "
        "methods so, and the extraction yields “EY (%)”."
    )


def _checked(names: list[str], path: Path) -> list[str]:
    if not 2 <= len(names) <= 40:
        raise DataError(
            f"{path.name} names {len(names)} {'method' if len(names) == 1 else 'methods'} in its "
            "column “method”; between 2 and 40 can be compared. "
            "Check that the column holds the method and nothing else."
        )
    return names
