"""What is wrong with a table of shots: every fault in it, by file, row and column.

The table may hold what people type (``18,5 g``) or numbers; a value is read as meant or
complained about, never changed.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from kit import codebook
from kit.codebook import Column
from kit.errors import Complaint, DataError, TableError
from kit.extraction import extraction_yield_pct
from kit.files import read_text
from kit.numerals import say_number
from kit.shotlog.spreadsheets import as_written
from kit.shotlog.tables import SHOTS_FILE, cells_of, factor_columns, typed_table
from kit.shotlog.values import Place, one_of, read_value
from kit.trial import Trial

Row = dict[str, Any]
_NEEDED = ("dose_g", "beverage_g", "tds_pct")
# Half a step of the last digit people keep, in EY points, and the rounding of the three inputs.
_EY_ROUNDING_POINTS = 0.1


def validate_shots(
    table: pd.DataFrame,
    trial: Trial,
    schedule: pd.DataFrame | None,
    freeze_time: datetime | None = None,
    file: str = SHOTS_FILE,
) -> list[Complaint]:
    """Everything wrong with a table of shots, in the order of its rows; empty if all is well.

    Parameters
    ----------
    table
        Columns of ``codebook.SHOTS`` (and of factors), as text or as numbers. Its first row is
        row 2 of the file: row 1 holds the names of the columns.
    schedule
        None for data that came without one; then the plan is not compared.
    freeze_time
        When the plan was frozen, with time zone; a shot pulled before it is complained about.
    """
    complaints = _column_complaints(table, schedule, file)
    rows, unreadable = read_rows(table, file, factor_columns(schedule))
    complaints += unreadable
    for place, row in rows:
        complaints += row_complaints(row, place, trial, freeze_time)
    complaints += doubled_values(rows, "shot")
    complaints += doubled_values(rows, "planned_shot")
    if schedule is not None:
        complaints += _unplanned(rows, schedule)
    return sorted(complaints, key=lambda complaint: complaint.row or 0)


def read_shots_csv(
    path: Path, trial: Trial, schedule: pd.DataFrame | None, freeze_time: datetime | None = None
) -> pd.DataFrame:
    """A ``shots.csv`` as a typed table, once nothing is wrong with it.

    Raises
    ------
    DataError
        If the file cannot be read.
    TableError
        With every complaint, if anything in it is wrong.
    """
    raw = read_csv_as_text(path)
    complaints = validate_shots(raw, trial, schedule, freeze_time, path.name)
    if complaints:
        raise TableError(complaints)
    factors = factor_columns(schedule)
    rows, _ = read_rows(raw, path.name, factors)
    columns = (*codebook.SHOTS, *(Column(name, "string", "Factor level.") for name in factors))
    return typed_table([row for _, row in rows], columns)


def read_csv_as_text(path: Path) -> pd.DataFrame:
    """A CSV file with every cell as the text that stands in it.

    Raises
    ------
    DataError
        If it is not there, is no text, or has no columns.
    TableError
        If a row has more cells than there are columns.
    """
    text = read_text(path)
    first_line = text.split("\n", 1)[0]
    delimiter = ";" if first_line.count(";") > first_line.count(",") else ","
    try:
        lines = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise DataError(f"{path.name} cannot be read as CSV: {error}. Save it as CSV again.") from (
            error
        )
    if not lines or not any(cell.strip() for cell in lines[0]):
        raise DataError(f"{path.name} is empty: its first row must hold the names of the columns.")
    header = [as_written(name.strip()) for name in lines[0]]
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if len(line) > len(header):
            raise TableError([_too_long(path.name, number, line, len(header))])
        rows.append([as_written(cell) for cell in line] + [""] * (len(header) - len(line)))
    return pd.DataFrame(rows, columns=header, dtype="str")


def read_rows(
    table: pd.DataFrame, file: str, factors: list[str]
) -> tuple[list[tuple[Place, Row]], list[Complaint]]:
    """The rows with their values read by the codebook, and a complaint for each cell that fails.

    A cell that fails is None in its row; a row without any content is left out.
    """
    columns = [*codebook.SHOTS, *(Column(name, "string", "Factor level.") for name in factors)]
    present = [column for column in columns if column.name in table.columns]
    cells = [cells_of(table[column.name]) for column in present]
    rows, complaints = [], []
    for number, line in enumerate(zip(*cells, strict=True), start=2):
        place = Place(file, number)
        row: Row = {}
        for column, raw in zip(present, line, strict=True):
            try:
                row[column.name] = read_value(column, raw, place)
            except TableError as error:
                complaints += error.complaints
                row[column.name] = None
                row.setdefault("unreadable", set()).add(column.name)
        if any(value is not None for value in row.values()):
            rows.append((place, row))
    return rows, complaints


def _column_complaints(
    table: pd.DataFrame, schedule: pd.DataFrame | None, file: str
) -> list[Complaint]:
    """Columns that are needed and not there."""
    needed = ["method"] if schedule is None else ["shot", "planned_shot", "method", "role"]
    known = [str(name) for name in table.columns]
    doubled = {name for name in known if known.count(name) > 1}
    place = Place(file, 1)
    return [
        place.complaint(name, "", "this column is missing", one_of(name, known))
        for name in needed
        if name not in known
    ] + [
        place.complaint(name, "", "two columns have this name", "Keep the right one.")
        for name in sorted(doubled)
    ]


def row_complaints(
    row: Row, place: Place, trial: Trial, freeze_time: datetime | None
) -> Iterator[Complaint]:
    """Everything wrong with one row by itself; its values were read by the codebook."""
    yield from _method_complaints(row, place, trial)
    yield from _missing(row, place, trial)
    yield from _early(row, place, freeze_time)
    yield from _contradictions(row, place)


def _method_complaints(row: Row, place: Place, trial: Trial) -> Iterator[Complaint]:
    method = row.get("method")
    role = row.get("role") or "study"
    if method is not None and method not in trial.method_names:
        yield place.complaint(
            "method", method, "this method is not in the trial", one_of(method, trial.method_names)
        )
    elif method is None and role in ("study", "reference"):
        yield place.complaint(
            "method", "", f"a {role} shot needs its method", one_of("", trial.method_names)
        )


def _missing(row: Row, place: Place, trial: Trial) -> Iterator[Complaint]:
    """What a kept study shot must have to give an extraction yield."""
    if (row.get("role") or "study") != "study" or (row.get("status") or "kept") != "kept":
        return
    if row.get("reason"):
        return
    has_yield = row.get("ey_pct") is not None
    if all(outcome.measure != codebook.EY.name for outcome in trial.outcomes):
        return
    for name in _NEEDED:
        expected = name in row or not has_yield  # a table may give the yield and nothing else
        if expected and row.get(name) is None and name not in row.get("unreadable", ()):
            label = codebook.column(name).label
            yield place.complaint(
                name,
                "",
                f"{label} is missing, so this shot has no extraction yield",
                "Enter it; if it can no longer be known, say why in the column reason.",
            )


def _early(row: Row, place: Place, freeze_time: datetime | None) -> Iterator[Complaint]:
    pulled = row.get("pulled_at")
    if pulled is None or freeze_time is None or (row.get("role") in ("warm-up", "dial-in")):
        return
    if datetime.fromisoformat(pulled) < freeze_time:
        yield place.complaint(
            "pulled_at",
            pulled,
            f"this shot was pulled before the plan was frozen ({freeze_time.isoformat()})",
            "Correct the time, or leave the shot out: it belongs to a pilot, not to this trial.",
        )


def _contradictions(row: Row, place: Place) -> Iterator[Complaint]:
    status, reason = row.get("status"), row.get("reason")
    if status in ("replaced", "lost") and not reason:
        yield place.complaint(
            "reason", "", f"this shot is marked {status} without a reason", "Say what happened."
        )
    tds, beverage, dose = (row.get(name) for name in ("tds_pct", "beverage_g", "dose_g"))
    if not (beverage and dose):
        return
    yield from _impossible_ratio(beverage / dose, place)
    if not tds:
        return
    computed = extraction_yield_pct(tds, beverage, dose)
    low, high = codebook.EY.minimum or 0.0, codebook.EY.maximum or 100.0
    if not low <= computed <= high:
        yield place.complaint(
            "ey_pct",
            say_number(computed, 1),
            "dose, beverage and TDS together give an extraction yield that cannot be",
            "Check the three for a slip of the decimal mark.",
        )
    elif row.get("ey_pct") is not None and abs(row["ey_pct"] - computed) > _EY_ROUNDING_POINTS:
        yield place.complaint(
            "ey_pct",
            row["ey_pct"],
            f"this is not what TDS × beverage / dose gives ({say_number(computed, 2)})",
            "Correct the value that is wrong, or leave the extraction yield empty.",
        )


def _impossible_ratio(ratio: float, place: Place) -> Iterator[Complaint]:
    low, high = codebook.BREW_RATIO.minimum or 0.0, codebook.BREW_RATIO.maximum or 100.0
    if not low <= ratio <= high:
        yield place.complaint(
            "beverage_g",
            f"1 : {say_number(ratio, 2)}",
            "dose and beverage together give a brew ratio that cannot be",
            "Check the two for a slip of the decimal mark or swapped columns.",
        )


def doubled_values(rows: list[tuple[Place, Row]], name: str) -> Iterator[Complaint]:
    """Rows whose ``name`` an earlier row has already."""
    first_seen: dict[Any, int | None] = {}
    for place, row in rows:
        value = row.get(name)
        if value is None:
            continue
        if value in first_seen:
            label = codebook.column(name).label.lower()
            yield place.complaint(
                name,
                value,
                f"{label} {value} stands in row {first_seen[value]} already",
                "Remove the row that is double, or correct its number.",
            )
        first_seen.setdefault(value, place.row)


def _unplanned(rows: list[tuple[Place, Row]], schedule: pd.DataFrame) -> Iterator[Complaint]:
    planned = {int(number) for number in schedule["planned_shot"]}
    for place, row in rows:
        for name in ("planned_shot", "replaces"):
            value = row.get(name)
            missing = name == "planned_shot" and value is None
            if missing and name not in row.get("unreadable", ()):
                yield place.complaint(
                    name, "", "the planned shot is missing", "Take it from the schedule."
                )
            elif value is not None and value not in planned:
                yield place.complaint(
                    name,
                    value,
                    "the schedule has no such planned shot",
                    f"It has 1 to {max(planned)}. Check the number.",
                )


def _too_long(file: str, row: int, line: list[str], columns: int) -> Complaint:
    return Complaint(
        file,
        row,
        None,
        " | ".join(line[columns - 1 :])[:60],
        f"this row has {len(line)} cells, but there are {columns} columns",
        "A comma inside a cell needs quotes around the cell; a number may use a point.",
    )
