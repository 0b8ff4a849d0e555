"""``schedule.csv`` in and out; the same schedule is the same bytes on every machine."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import tomlkit

from kit import codebook
from kit.errors import Complaint, DataError, PlanError, TableError
from kit.files import read_text, write_atomically
from kit.schedule.draw import as_schedule, draw_schedule
from kit.trial import TRIAL_FILE, read_trial

SCHEDULE_FILE = "schedule.csv"
FREEZE_FILE = "freeze.json"


def is_sealed(folder: Path) -> bool:
    """Whether the plan of a folder is sealed."""
    return (folder / FREEZE_FILE).exists()


def refuse_if_sealed(folder: Path) -> None:
    """Stop whoever would change a sealed plan.

    Raises
    ------
    PlanError
        If the folder is sealed.
    """
    if is_sealed(folder):
        raise PlanError(
            f"This plan is sealed ({FREEZE_FILE}) and is not changed any more. What has to be "
            "done otherwise is recorded as a deviation; another plan needs a new folder."
        )


def schedule_text(schedule: pd.DataFrame) -> str:
    """The schedule as CSV (RFC 4180 quoting, ``\\n`` line ends, empty cells for nothing)."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(schedule.columns)
    for row in schedule.itertuples(index=False):
        writer.writerow(["" if pd.isna(cell) else str(cell) for cell in row])
    return stream.getvalue()


def make_schedule(folder: Path, seed: int) -> pd.DataFrame:
    """Draw the schedule of a trial folder, write it, and keep its seed in ``trial.toml``.

    Raises
    ------
    PlanError
        If the plan is sealed, or its layout cannot be had.
    """
    refuse_if_sealed(folder)
    schedule = draw_schedule(read_trial(folder), seed)
    document = tomlkit.parse(read_text(folder / TRIAL_FILE))
    document["layout"]["seed"] = int(seed)  # type: ignore[index]
    write_atomically(folder / TRIAL_FILE, tomlkit.dumps(document))
    write_schedule(schedule, folder)
    return schedule


def write_schedule(schedule: pd.DataFrame, folder: Path) -> Path:
    """Write ``schedule.csv`` in one step.

    Raises
    ------
    PlanError
        If the folder's plan is sealed: a sealed schedule is never replaced.
    """
    refuse_if_sealed(folder)
    return write_atomically(folder / SCHEDULE_FILE, schedule_text(schedule))


def read_schedule(folder: Path) -> pd.DataFrame:
    """The schedule of a trial folder (or of a ``schedule.csv`` given directly).

    Raises
    ------
    DataError
        If the file is missing or is not a table with the columns of a schedule.
    TableError
        If cells cannot be as they are; every one is named by row and column.
    """
    path = folder / SCHEDULE_FILE if folder.is_dir() else folder
    text = read_text(path)
    try:
        table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise DataError(
            f"{path.name} is not a table of comma-separated values ({error}). "
            "Draw the schedule again."
        ) from error
    missing = [name for name in codebook.names(codebook.SCHEDULE) if name not in table]
    if missing:
        raise DataError(
            f"{path.name} lacks the column “{missing[0]}”. Draw the schedule again, or give it "
            f"the columns {', '.join(codebook.names(codebook.SCHEDULE))}."
        )
    complaints = _complaints(table, path.name)
    if complaints:
        raise TableError(complaints)
    return as_schedule(_numbers(table))


def _numbers(table: pd.DataFrame) -> pd.DataFrame:
    converted = table.copy()
    for column in codebook.SCHEDULE:
        if column.kind == "integer":
            cells = converted[column.name]
            converted[column.name] = pd.to_numeric(cells.where(cells != "")).astype("Int64")
    return converted


def _complaints(table: pd.DataFrame, file: str) -> list[Complaint]:
    """Every cell that cannot be what a schedule holds."""
    found = []
    for column in codebook.SCHEDULE:
        for row, cell in enumerate(table[column.name], start=2):
            problem = _problem(column, cell)
            if problem:
                remedy = "Draw the schedule again rather than editing it."
                found.append(Complaint(file, row, column.name, cell, problem, remedy))
    doubled = table.loc[table["planned_shot"].duplicated(), "planned_shot"]
    found += [
        Complaint(file, int(row) + 2, "planned_shot", cell, "this number stands twice", "")  # type: ignore[call-overload]
        for row, cell in doubled.items()
    ]
    return found


def _problem(column: codebook.Column, cell: str) -> str:
    if cell == "":
        return "the cell is empty" if column.required else ""
    if column.levels and cell not in column.levels:
        return f"this must be one of {', '.join(column.levels)}"
    if column.kind == "integer" and not (cell.isascii() and cell.isdigit() and int(cell) >= 1):
        return "this must be a whole number from 1 up"
    return ""
