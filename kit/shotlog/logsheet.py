"""A log sheet to fill in away from the notebook, which comes back through the import."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.files import write_atomically
from kit.schedule import read_schedule
from kit.shotlog.spreadsheets import csv_text

LOG_SHEET = "log_sheet"
_PLANNED = ("planned_shot", "session", "block", "position", "role", "method", "code")
_TO_FILL = (
    "dose_before_g",
    "dose_g",
    "beverage_g",
    "first_drip_s",
    "shot_time_s",
    "tds_pct",
    "faults",
    "status",
    "reason",
    "note",
)


def log_sheet(schedule: pd.DataFrame) -> pd.DataFrame:
    """The planned pulls with an empty column for everything that is entered by hand."""
    sheet = schedule[list(_PLANNED)].copy()
    return sheet.assign(**dict.fromkeys(_TO_FILL, ""))


def write_log_sheet(folder: Path) -> list[Path]:
    """Write ``log_sheet.csv`` and ``log_sheet.xlsx`` beside the schedule; no cell is a formula."""
    sheet = log_sheet(read_schedule(folder))
    return [
        write_atomically(folder / f"{LOG_SHEET}.csv", csv_text(sheet)),
        write_atomically(folder / f"{LOG_SHEET}.xlsx", _workbook(sheet)),
    ]


def _workbook(sheet: pd.DataFrame) -> bytes:
    """One worksheet; text is stored as text whatever it begins with, numbers as numbers."""
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    page = book.active
    page.title = "shots"
    page.freeze_panes = "A2"
    for place, name in enumerate(sheet.columns, start=1):
        heading = page.cell(row=1, column=place)
        _put(heading, name)
        heading.font = Font(bold=True)
        width = max([len(name), *sheet[name].astype(str).str.len()]) + 2
        page.column_dimensions[get_column_letter(place)].width = min(width, 40)
        for row, value in enumerate(sheet[name], start=2):
            if not pd.isna(value) and value != "":
                _put(page.cell(row=row, column=place), _native(str(name), value))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _native(name: str, value: object) -> object:
    return int(str(value)) if codebook.column(name).kind == "integer" else str(value)


def _put(cell: object, value: object) -> None:
    cell.value = value  # type: ignore[attr-defined]
    if isinstance(value, str):
        # Set after the value: openpyxl takes text that begins with "=" for a formula.
        cell.data_type = "s"  # type: ignore[attr-defined]
        cell.quotePrefix = True  # type: ignore[attr-defined]
