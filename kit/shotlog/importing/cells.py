"""Files as grids of cells: CSV in its dialects, and workbooks with their traps taken out.

Every grid keeps the row and column numbers of the file, so that a complaint can name the place.
What a spreadsheet hides is brought out: a percentage is read as it is shown, a formula without a
stored result is named, text in merged cells counts for all of them, and a cell that a spreadsheet
has turned into a date or a time of day stays one, so that no number is made of it.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from kit.errors import DataError
from kit.shotlog.spreadsheets import as_written

MOST_BYTES = 20_000_000
MOST_UNPACKED_BYTES = 200_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 500
_AGGREGATE = re.compile(r"\b(AVERAGE|STDEV|VAR|MEDIAN|SUM|MIN|MAX|COUNT)[A-Z.]*\(", re.IGNORECASE)


@dataclass(frozen=True)
class Sheet:
    """One sheet: ``cells[r][c]`` is what stands in row r + 1, column c + 1 (None: empty)."""

    file: str
    name: str
    cells: list[list[Any]]
    summaries: frozenset[int] = frozenset()
    """Rows (counted from 0) that a formula computes from other rows: means, sums and the like."""
    notes: tuple[str, ...] = field(default=())

    @property
    def title(self) -> str:
        """The file, and the sheet where there may be several."""
        return f"{self.file}, sheet {self.name}" if self.name else self.file


class Uncomputed(str):
    """A formula whose result the file does not hold."""

    __slots__ = ()


def read_sheets(path: Path) -> list[Sheet]:
    """The sheets of a CSV, TSV or XLSX file.

    Raises
    ------
    DataError
        If the file is missing, of another kind, too large, or damaged.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise DataError(f"{path.name} is not there. Check the name and the folder.") from error
    except OSError as error:
        raise DataError(f"{path.name} cannot be read ({error.strerror or error}).") from error
    if len(content) > MOST_BYTES:
        raise DataError(
            f"{path.name} has {len(content) / 1e6:.0f} MB; a log of shots has less than "
            f"{MOST_BYTES / 1e6:.0f}. Save only the sheets with the shots."
        )
    if not content.strip():
        raise DataError(f"{path.name} is empty.")
    kind = path.suffix.lower()
    if content.startswith(b"PK") or kind in (".xlsx", ".xlsm"):
        return _workbook(path.name, content)
    if content.startswith(b"\xd0\xcf\x11\xe0") or kind in (".xls", ".ods", ".numbers"):
        raise DataError(f"{path.name} is a workbook of another kind. Save it as .xlsx or as CSV.")
    return [_text_table(path.name, content)]


def is_empty(cell: object) -> bool:
    """Whether nothing stands in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _text_table(file: str, content: bytes) -> Sheet:
    text, notes = _decoded(file, content)
    delimiter = _delimiter(text.splitlines()[:100])
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise DataError(f"{file} cannot be read as CSV: {error}. Save it as CSV again.") from error
    _check_size(file, len(rows), max((len(row) for row in rows), default=0))
    cells = [[as_written(cell) if cell.strip() else None for cell in row] for row in rows]
    return Sheet(file, "", cells, notes=notes)


def _delimiter(lines: list[str]) -> str:
    """Semicolon or tab if most lines have it; a comma may then be a decimal mark."""
    filled = [line for line in lines if line.strip()]
    for mark in ";\t":
        if 2 * sum(mark in line for line in filled) >= len(filled):
            return mark
    return ","


def _decoded(file: str, content: bytes) -> tuple[str, tuple[str, ...]]:
    is_utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    encoding = "utf-16" if is_utf16 else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError as error:
            raise DataError(f"{file} is no text. Save it as CSV UTF-8 or as .xlsx.") from error
        return text, (f"{file} is not UTF-8; it was read as Windows-1252.",)
    if "\x00" in text:
        raise DataError(f"{file} is no text. Save it as CSV UTF-8 or as .xlsx.")
    return text, ()


def _workbook(file: str, content: bytes) -> list[Sheet]:
    """Both what the cells show and how they are computed, from one file."""
    import openpyxl

    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(content)).infolist())
        if unpacked > MOST_UNPACKED_BYTES:
            raise DataError(f"{file} unpacks to {unpacked / 1e6:.0f} MB; it is not a log of shots.")
        shown = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
        computed = openpyxl.load_workbook(io.BytesIO(content))
    except DataError:
        raise
    except Exception as error:  # a damaged or hostile workbook fails in the reader in any way
        raise DataError(
            f"{file} cannot be read as a workbook. Open it in your spreadsheet and save it again "
            "as .xlsx, or as CSV."
        ) from error
    return [_sheet(file, shown[name], computed[name]) for name in shown.sheetnames
            if hasattr(shown[name], "iter_rows")]  # fmt: skip


def _sheet(file: str, shown: Any, computed: Any) -> Sheet:
    _check_size(f"{file}, sheet {shown.title}", shown.max_row, shown.max_column)
    cells = [[_shown_value(cell) for cell in row] for row in shown.iter_rows()]
    summaries = set()
    for row in computed.iter_rows():
        for cell in row:
            if cell.data_type != "f":
                continue
            formula = str(getattr(cell.value, "text", cell.value))
            if _AGGREGATE.search(formula):
                summaries.add(cell.row - 1)
            if cells[cell.row - 1][cell.column - 1] is None:
                cells[cell.row - 1][cell.column - 1] = Uncomputed(formula)
    _spread_merged_text(shown, cells)
    hidden = [row for row, size in shown.row_dimensions.items() if size.hidden]
    notes = (f"{len(hidden)} hidden rows were read too.",) if hidden else ()
    return Sheet(file, shown.title, cells, frozenset(summaries), notes)


def _shown_value(cell: Any) -> Any:
    """The value; a number shown as a percentage as that percentage, text as it was typed."""
    value = cell.value
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if is_number and "%" in str(cell.number_format):
        return f"{round(value * 100, 10):.10g} %"
    return as_written(value) if isinstance(value, str) else value


def _spread_merged_text(sheet: Any, cells: list[list[Any]]) -> None:
    """Text in merged cells (a method over its shots) counts for each of them; a number does not."""
    for merged in sheet.merged_cells.ranges:
        value = cells[merged.min_row - 1][merged.min_col - 1]
        if not isinstance(value, str):
            continue
        for row in range(merged.min_row - 1, merged.max_row):
            for column in range(merged.min_col - 1, merged.max_col):
                cells[row][column] = value


def _check_size(what: str, rows: int, columns: int) -> None:
    if rows > MOST_ROWS or columns > MOST_COLUMNS:
        raise DataError(
            f"{what} has {rows} rows and {columns} columns; at most {MOST_ROWS} and "
            f"{MOST_COLUMNS} are read. Save only the part with the shots."
        )
