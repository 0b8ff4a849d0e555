"""What was understood of a file: which sheet, which rows, which column means what.

The mapping is shown before anything is written, and the person may change it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from kit.errors import DataError
from kit.shotlog.importing.cells import Sheet, is_empty
from kit.shotlog.importing.headers import normalised, target_of, why_unread
from kit.trial import Trial

SEARCHED_ROWS = 40
_WIDE_MEASURES = ("ey_pct", "tds_pct", "shot_time_s", "beverage_g", "dose_g", "faults")
# Headings of a table with several rows a shot: readings of a cup, or scores of tasters.
_ONE_ROW_A_READING = {"reading", "taster", "attribute"}


@dataclass(frozen=True)
class ColumnUse:
    """One column of a sheet: what its heading says, and what it is read as."""

    index: int
    heading: str
    target: str | None
    """A column of the codebook, ``date`` or ``clock``; None: it is not read."""
    method: str | None = None
    """In a wide sheet: the method whose shots stand in this column."""
    why: str = ""
    """Why it is not read."""

    @property
    def letter(self) -> str:
        """The letters a spreadsheet shows over the column."""
        letters, number = "", self.index + 1
        while number:
            number, rest = divmod(number - 1, 26)
            letters = chr(65 + rest) + letters
        return letters


@dataclass(frozen=True)
class SheetMapping:
    """How one sheet is read."""

    sheet: Sheet
    first_row: int
    """The first row of data, counted from 0."""
    columns: tuple[ColumnUse, ...]
    session: str | None = None
    method: str | None = None
    """The session or the method the name of the sheet stands for, where no column says so."""

    def reads(self, target: str) -> bool:
        """Whether some column is read as ``target``."""
        return any(column.target == target for column in self.columns)


@dataclass(frozen=True)
class Mapping:
    """How a whole file is read."""

    sheets: tuple[SheetMapping, ...]
    not_read: tuple[str, ...] = ()
    """Sheets in which no table of shots was found."""

    def described(self) -> pd.DataFrame:
        """The mapping as a table to show: sheet, column, heading, read as, example."""
        rows = [
            {
                "sheet": mapping.sheet.name,
                "column": column.letter,
                "heading": column.heading,
                "read as": column.target or "not read",
                "method": column.method or "",
                "why": column.why,
                "example": _example(mapping, column.index),
            }
            for mapping in self.sheets
            for column in mapping.columns
        ]
        return pd.DataFrame(rows)

    def with_target(self, sheet: str, letter: str, target: str | None) -> Mapping:
        """The mapping with one column read as ``target`` instead (None: not read)."""
        sheets = tuple(
            replace(
                mapping,
                columns=tuple(
                    replace(column, target=target, why="")
                    if (mapping.sheet.name, column.letter) == (sheet, letter)
                    else column
                    for column in mapping.columns
                ),
            )
            for mapping in self.sheets
        )
        return replace(self, sheets=sheets)


def understand(sheets: Sequence[Sheet], trial: Trial) -> Mapping:
    """How a file would be read.

    Raises
    ------
    DataError
        If no sheet holds a table with methods and something measured.
    """
    found = [(sheet, _understand_sheet(sheet, trial)) for sheet in sheets]
    mapped = [mapping for _, mapping in found if mapping is not None]
    if not mapped:
        raise DataError(
            f"{sheets[0].file if sheets else 'The file'} holds no table of shots that could be "
            "recognised. A table needs one row with headings, such as “method”, “dose (g)”, "
            "“beverage (g)” and “TDS (%)”, or the names of the methods side by side "
            f"({', '.join(trial.method_names)})."
        )
    not_read = tuple(
        sheet.name for sheet, mapping in found if mapping is None and _has_content(sheet)
    )
    return Mapping(_with_sessions(mapped), not_read)


def _understand_sheet(sheet: Sheet, trial: Trial) -> SheetMapping | None:
    """The best of: a long table, two rows of headings, methods side by side."""
    candidates = []
    for row in range(min(SEARCHED_ROWS, len(sheet.cells))):
        candidates += [_long(sheet, row, trial), _two_rows(sheet, row, trial)]
        candidates.append(_wide(sheet, row, trial))
    whole = [candidate for candidate in candidates if candidate is not None]
    return max(whole, key=_columns_read, default=None)


def _columns_read(mapping: SheetMapping) -> int:
    return sum(column.target is not None for column in mapping.columns)


def _long(sheet: Sheet, row: int, trial: Trial) -> SheetMapping | None:
    """One row a shot: headings in one row, the method in a column (or in the sheet's name)."""
    if any(normalised(cell) in _ONE_ROW_A_READING for cell in sheet.cells[row]):
        return None
    columns = _uses(sheet.cells[row])
    method = _method_called(sheet.name, trial)
    targets = {column.target for column in columns}
    if "method" not in targets and "planned_shot" not in targets and "code" not in targets:
        if method is None:
            return None
    else:
        method = None
    if not targets & {*_WIDE_MEASURES}:
        return None
    return SheetMapping(sheet, row + 1, columns, method=method)


def _wide(sheet: Sheet, row: int, trial: Trial) -> SheetMapping | None:
    """One column a method, one measure in all of them, named above or by the sheet."""
    methods = {index: _method_called(cell, trial) for index, cell in enumerate(sheet.cells[row])}
    if sum(method is not None for method in methods.values()) < 2:
        return None
    measure = _measure_named(sheet, row)
    columns = []
    for index, cell in enumerate(sheet.cells[row]):
        if is_empty(cell):
            continue
        if methods[index] is not None:
            why = "" if measure else "the sheet does not say what was measured"
            columns.append(ColumnUse(index, str(cell), measure, methods[index], why))
        else:
            columns.append(_use(index, cell))
    return SheetMapping(sheet, row + 1, tuple(columns))


def _two_rows(sheet: Sheet, row: int, trial: Trial) -> SheetMapping | None:
    """Methods in one row of headings, what was measured of each in the row below."""
    if row + 1 >= len(sheet.cells):
        return None
    upper, lower = sheet.cells[row], sheet.cells[row + 1]
    columns: list[ColumnUse] = []
    method = None
    for index, cell in enumerate(lower):
        above = upper[index] if index < len(upper) else None
        method = _method_called(above, trial) if not is_empty(above) else method
        if is_empty(cell):
            continue
        use = _use(index, cell)
        if use.target in _WIDE_MEASURES and method is not None:
            heading = f"{method}: {use.heading}"
            columns.append(ColumnUse(index, heading, use.target, method))
        else:
            columns.append(use)
    if len({column.method for column in columns} - {None}) < 2:
        return None
    return SheetMapping(sheet, row + 2, tuple(columns))


def _uses(cells: list[object]) -> tuple[ColumnUse, ...]:
    """The columns of one row of headings; a target claimed twice belongs to neither."""
    uses = [_use(index, cell) for index, cell in enumerate(cells) if not is_empty(cell)]
    targets = [use.target for use in uses if use.target is not None]
    doubled = {target for target in targets if targets.count(target) > 1} - {"tds_pct"}
    return tuple(
        replace(use, target=None, why=f"two columns could be {use.target}")
        if use.target in doubled
        else use
        for use in uses
    )


def _use(index: int, cell: object) -> ColumnUse:
    target = target_of(cell)
    why = "" if target is not None else why_unread(cell)
    return ColumnUse(index, str(cell), target, why=why)


def _measure_named(sheet: Sheet, row: int) -> str | None:
    """What a wide sheet measures: said by its name, or by a cell above the methods."""
    above = [cell for line in sheet.cells[:row] for cell in line if not is_empty(cell)]
    corner = [cell for cell in sheet.cells[row][:1] if not is_empty(cell)]
    named = [target_of(text) for text in (sheet.name, *above, *corner)]
    measures = {target for target in named if target in _WIDE_MEASURES}
    return measures.pop() if len(measures) == 1 else None


def _method_called(text: object, trial: Trial) -> str | None:
    by_name = {normalised(name): name for name in trial.method_names}
    return None if is_empty(text) else by_name.get(normalised(text))


def _with_sessions(mapped: list[SheetMapping]) -> tuple[SheetMapping, ...]:
    """Several sheets without a session of their own are sessions by their names."""
    if len(mapped) == 1:
        return tuple(mapped)
    return tuple(
        mapping
        if mapping.reads("session") or mapping.reads("planned_shot") or mapping.method
        else replace(mapping, session=mapping.sheet.name)
        for mapping in mapped
    )


def _has_content(sheet: Sheet) -> bool:
    return any(not is_empty(cell) for row in sheet.cells for cell in row)


def _example(mapping: SheetMapping, index: int) -> str:
    for row in mapping.sheet.cells[mapping.first_row :]:
        if index < len(row) and not is_empty(row[index]):
            return str(row[index])[:40]
    return ""
