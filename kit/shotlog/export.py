"""The log for other programs: one workbook, and a data dictionary beside the CSV tables."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pandas as pd

from kit import codebook
from kit.codebook import Column
from kit.files import write_atomically
from kit.shotlog.tables import (
    factor_columns,
    read_log,
    readings_table,
    schedule_of,
    shots_table,
    tastings_table,
    write_tables,
)

EXPORT_FOLDER = "exports"
WORKBOOK_FILE = "log.xlsx"


def write_exports(folder: Path) -> list[Path]:
    """Write the CSV tables, a workbook of them, and a data dictionary for each; returns the paths.

    The dictionaries are Frictionless Table Schemas, one for each table.
    """
    written = write_tables(folder)
    log, schedule = read_log(folder), schedule_of(folder)
    tables = {
        "shots": shots_table(log, schedule),
        "readings": readings_table(log, schedule),
        "tastings": tastings_table(log, schedule),
    }
    place = folder / EXPORT_FOLDER
    factors = factor_columns(schedule)
    schemas = {name: table_dictionary(name, factors) for name in tables}
    written.append(write_atomically(place / WORKBOOK_FILE, workbook(tables, factors)))
    for name, schema in schemas.items():
        text = json.dumps(schema, ensure_ascii=False, indent=2) + "\n"
        written.append(write_atomically(place / f"{name}.schema.json", text))
    return written


def table_dictionary(table: str, factors: list[str]) -> dict[str, Any]:
    """What each column of a table means, as a Frictionless Table Schema."""
    schema = codebook.table_schema(table)
    if table == "shots":
        levels = [Column(name, "string", "Level of a factor.").field() for name in factors]
        schema = {**schema, "fields": [*_fields(schema), *levels]}
    return schema


def workbook(tables: dict[str, pd.DataFrame], factors: list[str]) -> bytes:
    """The tables as an XLSX workbook, with a sheet that explains the columns.

    Text is stored as text whatever it begins with, so nothing in it is ever a formula.
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in tables.items():
        rows = [list(table.columns), *table.astype(object).to_numpy().tolist()]
        _fill(book.create_sheet(name), rows)
    meanings = [
        [name, *(str(field.get(key, "")) for key in ("name", "title", "type", "description"))]
        for name in tables
        for field in _fields(table_dictionary(name, factors))
    ]
    heads = ["table", "column", "label", "type", "meaning"]
    _fill(book.create_sheet("columns"), [heads, *meanings])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _fields(schema: dict[str, Any]) -> list[dict[str, Any]]:
    return list(schema["fields"])


def _fill(sheet: Any, rows: list[list[Any]]) -> None:
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Alignment, Font

    for number, row in enumerate(rows, start=1):
        for place, value in enumerate(row, start=1):
            if value is None or pd.isna(value):
                continue
            cell = sheet.cell(number, place)
            if isinstance(value, str):
                cell.value = ILLEGAL_CHARACTERS_RE.sub("�", value)  # XML cannot hold these
                cell.data_type = "s"
                cell.quotePrefix = True
            else:
                cell.value = value
            if number == 1:
                cell.font = Font(bold=True)
                cell.alignment = Alignment(wrap_text=False)
    sheet.freeze_panes = "A2"
