"""Shots from a mapped file: each cell read as meant, or complained about where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time, tzinfo
from typing import Any

from kit import codebook
from kit.errors import Complaint, TableError
from kit.shotlog.importing.cells import Uncomputed, is_empty
from kit.shotlog.importing.headers import CLOCK, DATE, normalised
from kit.shotlog.importing.mapping import ColumnUse, Mapping, SheetMapping
from kit.shotlog.values import Place, one_of, read_value, text_of
from kit.trial import Trial

Row = dict[str, Any]
_MEASURED = (
    "dose_g",
    "beverage_g",
    "tds_readings",
    "ey_pct",
    "shot_time_s",
    "faults",
    "brew_ratio",
)
_SUMMARY_WORDS = {
    "mean", "average", "avg", "sd", "std", "stdev", "st dev", "std dev", "standard deviation",
    "median", "min", "max", "minimum", "maximum", "range", "sum", "total", "n", "count", "cv",
    "variance", "mittelwert", "summe", "media", "moyenne",
}  # fmt: skip


@dataclass(frozen=True)
class Records:
    """The shots of a file, what is wrong with it, and what was set aside."""

    rows: list[tuple[Place, Row]]
    complaints: list[Complaint]
    notes: list[str]


def read_records(mapping: Mapping, trial: Trial, zone: tzinfo | None) -> Records:
    """The shots of all sheets in the order of the file.

    ``zone`` is the time zone of times that carry none; left out, such times are complained about.
    """
    rows: list[tuple[Place, Row]] = []
    complaints: list[Complaint] = []
    notes: list[str] = []
    for sheet in mapping.sheets:
        notes += [f"{sheet.sheet.title}: {note}" for note in sheet.sheet.notes]
        notes += [
            f"{sheet.sheet.title}: column {use.letter} ({use.heading}) was not read"
            + (f": {use.why}." if use.why else ".")
            for use in sheet.columns
            if use.target is None
        ]
        for number, cells in _data_rows(sheet, notes):
            for columns in _shots_of_row(sheet):
                reader = _RowReader(sheet, number, trial, zone)
                row = reader.read(cells, columns)
                complaints += reader.complaints
                if row is not None:
                    rows.append((Place(sheet.sheet.title, number + 1), row))
    notes += [
        f"Sheet {name} holds no table of shots and was not read." for name in mapping.not_read
    ]
    return Records(rows, complaints, notes)


def _data_rows(mapping: SheetMapping, notes: list[str]) -> Iterator[tuple[int, list[Any]]]:
    """Rows that hold a shot; summaries and repeated headings are set aside, and said."""
    sheet = mapping.sheet
    headings = {normalised(column.heading) for column in mapping.columns}
    for number in range(mapping.first_row, len(sheet.cells)):
        cells = sheet.cells[number]
        words = [normalised(cell).strip(" .:") for cell in cells if isinstance(cell, str)]
        if all(is_empty(cell) for cell in cells):
            continue
        if number in sheet.summaries or (words and words[0] in _SUMMARY_WORDS):
            notes.append(f"{sheet.title}, row {number + 1}: a summary of other rows, set aside.")
        elif len(words) > 1 and set(words) <= headings:
            notes.append(f"{sheet.title}, row {number + 1}: the headings once more, set aside.")
        else:
            yield number, cells


def _shots_of_row(mapping: SheetMapping) -> list[list[ColumnUse]]:
    """The columns of each shot in a row: one shot, or one for each method side by side."""
    shared = [column for column in mapping.columns if column.target and column.method is None]
    methods = list(dict.fromkeys(column.method for column in mapping.columns if column.method))
    if not methods:
        return [shared]
    return [
        shared + [column for column in mapping.columns if column.target and column.method == method]
        for method in methods
    ]


class _RowReader:
    """Reads the cells of one shot and collects what is wrong with them."""

    def __init__(
        self, mapping: SheetMapping, number: int, trial: Trial, zone: tzinfo | None
    ) -> None:
        self.mapping = mapping
        self.trial = trial
        self.zone = zone
        self.place = Place(mapping.sheet.title, number + 1)
        self.complaints: list[Complaint] = []

    def read(self, cells: list[Any], columns: list[ColumnUse]) -> Row | None:
        """The shot, or None where nothing was measured in this row."""
        row: Row = {"session": self.mapping.session, "method": self.mapping.method}
        moment: dict[str, Any] = {}
        for column in columns:
            raw = cells[column.index] if column.index < len(cells) else None
            if column.method is not None:
                row["method"] = column.method
            if is_empty(raw):
                continue
            if column.target in (DATE, CLOCK):
                moment[str(column.target)] = raw
            elif column.target == "method":
                row["method"] = self._method(raw, column)
            else:
                self._read_cell(row, column, raw)
        if moment:
            row["pulled_at"] = self._pulled_at(moment)
        if not self.complaints and not any(row.get(name) is not None for name in _MEASURED):
            return None
        return row

    def _read_cell(self, row: Row, column: ColumnUse, raw: Any) -> None:
        target = str(column.target)
        value = self._value(target, raw, column)
        if value is None:
            row.setdefault("unreadable", set()).add(target)
        elif target == "tds_pct":
            row.setdefault("tds_readings", []).append(value)
        else:
            row[target] = value

    def _value(self, target: str, raw: Any, column: ColumnUse) -> Any:
        meaning = codebook.column(target)
        if isinstance(raw, Uncomputed):
            self._complain(
                column,
                raw,
                "this formula has no stored result",
                "Open the file in your spreadsheet, save it, and import it again.",
            )
            return None
        if meaning.kind in ("number", "integer") and isinstance(raw, (datetime, date, time, bool)):
            self._complain(
                column,
                raw,
                "your spreadsheet has made something else of a number",
                "Format the cell as a number and type the value again.",
            )
            return None
        if meaning.kind == "datetime" and isinstance(raw, datetime) and raw.tzinfo is None:
            raw = raw.replace(tzinfo=self.zone)
        try:
            return read_value(meaning, raw, self.place)
        except TableError as error:
            where = f"{column.letter} ({column.heading})"
            self.complaints += [replace(each, column=where) for each in error.complaints]
            return None

    def _method(self, raw: Any, column: ColumnUse) -> str | None:
        """The method as the trial spells it; case and spaces do not matter."""
        written = text_of(raw)
        by_name = {normalised(name): name for name in self.trial.method_names}
        name = by_name.get(normalised(written))
        if name is None:
            self._complain(
                column,
                raw,
                "this method is not in the trial",
                one_of(written, self.trial.method_names),
            )
        return name

    def _pulled_at(self, moment: dict[str, Any]) -> str | None:
        """Date and time of day, together or apart; a date alone says nothing about the order."""
        whole = _as_moment(moment.get(CLOCK)) or _as_moment(moment.get(DATE))
        if whole is not None and whole.tzinfo is not None:
            return whole.isoformat()
        day, clock = _as_date(moment.get(DATE)), _as_clock(moment.get(CLOCK), moment.get(DATE))
        if whole is not None:
            day, clock = whole.date(), whole.time()
        if clock is None:
            if not is_empty(moment.get(CLOCK)):
                self._time_complaint(CLOCK, moment, "this is no time of day", "Write it as 14:05.")
            return None
        if day is None:
            problem = "the time of day has no readable date beside it"
            self._time_complaint(DATE, moment, problem, "Write the date as in 2026-05-02.")
            return None
        if self.zone is None:
            problem = "this time has no time zone"
            self._time_complaint(CLOCK, moment, problem, "Say in which zone times are meant.")
            return None
        return datetime.combine(day, clock, self.zone).isoformat()

    def _time_complaint(
        self, column: str, moment: dict[str, Any], problem: str, remedy: str
    ) -> None:
        found = moment.get(column, "")
        self.complaints.append(self.place.complaint(column, found, problem, remedy))

    def _complain(self, column: ColumnUse, raw: Any, problem: str, remedy: str) -> None:
        where = f"{column.letter} ({column.heading})"
        self.complaints.append(self.place.complaint(where, raw, problem, remedy))


def _as_moment(raw: Any) -> datetime | None:
    """A date and a time of day in one cell (ISO 8601), or None."""
    if isinstance(raw, datetime):
        return raw if raw.time() != time() else None
    text = str(raw).strip()
    try:
        return datetime.fromisoformat(text) if len(text) > len("2026-05-02") else None
    except ValueError:
        return None


def _as_date(raw: Any) -> date | None:
    if isinstance(raw, datetime):
        return raw.date()
    if isinstance(raw, date):
        return raw
    try:
        return datetime.fromisoformat(str(raw).strip()).date()
    except ValueError:
        return None


def _as_clock(raw: Any, day: Any) -> time | None:
    if isinstance(raw, datetime):
        return raw.time()
    if isinstance(raw, time):
        return raw
    if raw is None and isinstance(day, datetime) and day.time() != time():
        return day.time()
    try:
        return time.fromisoformat(str(raw).strip().zfill(5))
    except ValueError:
        return None
