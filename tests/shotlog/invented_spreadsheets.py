"""Spreadsheets as people keep them, invented at random, with what is truly in them.

Each case carries the shots it holds and, if something is wrong with it on purpose, the row of the
file where that is. So a test can ask for the exact shots, or for a complaint about the right row.
"""

from __future__ import annotations

import csv
import io
import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import openpyxl

METHODS = ("Harbour", "Fjord", "Thaw", "Cellar")
HEADINGS = {
    "method": ["method", "Method", "Technique", "Puck prep", "PREPARATION", "Methode"],
    "dose_g": ["dose_g", "Dose (g)", "Dose in", "Dose [g]", "dose, g", "Coffee in (g)", "Dosis"],
    "beverage_g": ["beverage_g", "Yield (g)", "Out", "Beverage [g]", "Drink (g)", "Getränk g"],
    "tds_pct": ["tds_pct", "TDS", "TDS (%)", "TDS %", "Strength (%)", "tds [%]"],
    "shot_time_s": ["shot_time_s", "Time (s)", "Shot time", "Brew time (sec)", "Seconds"],
}
UNITS = {"dose_g": "g", "beverage_g": "g", "tds_pct": "%", "shot_time_s": "s"}
DECIMALS = {"dose_g": 2, "beverage_g": 1, "tds_pct": 2, "shot_time_s": 1}
FAULTS = (
    "ten times", "two marks", "unknown method", "no tds", "words", "wrong unit", "negative",
    "doubled number", "date", "formula", "infinite", "day first",
)  # fmt: skip


@dataclass
class Case:
    """A file, what is in it, and where it is wrong."""

    name: str
    content: bytes
    shots: list[dict[str, Any]]
    wrong_row: int | None = None
    fault: str = ""
    made_with: list[str] = field(default_factory=list)


def invented_case(luck: random.Random) -> Case:
    """One spreadsheet: a layout, a dialect, harmless oddities, and perhaps one thing wrong."""
    workbook = luck.random() < 0.4
    shots = _shots(luck, luck.randint(1, 4))
    layout = luck.choice(["long", "long", "wide", "two rows", "sheets"])
    style = _Style(luck, workbook)
    if layout == "long":
        return _long(luck, shots, style)
    if layout == "sheets":
        return _sheets(luck, shots, style)
    return _wide(luck, shots, style) if layout == "wide" else _two_rows(luck, shots, style)


def _shots(luck: random.Random, rounds: int) -> list[dict[str, Any]]:
    shots = []
    for _ in range(rounds):
        for method in METHODS:
            shots.append(
                {
                    "method": method,
                    "dose_g": round(luck.uniform(17, 19), 2),
                    "beverage_g": round(luck.uniform(34, 40), 1),
                    "tds_pct": round(luck.uniform(8, 11), 2),
                    "shot_time_s": round(luck.uniform(22, 38), 1),
                }
            )
    return shots


class _Style:
    """How this person writes numbers and saves files."""

    def __init__(self, luck: random.Random, workbook: bool) -> None:
        self.luck = luck
        self.workbook = workbook
        self.comma = luck.random() < 0.5
        self.units = luck.random() < 0.3
        self.delimiter = ";" if self.comma else luck.choice([",", ";", "\t"])
        self.encoding = luck.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
        self.line_end = luck.choice(["\n", "\r\n"])
        self.percent_cells = workbook and luck.random() < 0.3

    def number(self, value: float, name: str) -> Any:
        if self.workbook and not self.units and self.luck.random() < 0.7:
            return value
        text = f"{value:.{DECIMALS[name]}f}"
        text = text.replace(".", ",") if self.comma else text
        if self.units:
            text += self.luck.choice(["", " ", "\u00a0"]) + UNITS[name]
        return text

    def save(self, rows: list[list[Any]], merges: list[str] = ()) -> tuple[str, bytes]:  # type: ignore[assignment]
        if not self.workbook:
            stream = io.StringIO()
            writer = csv.writer(stream, delimiter=self.delimiter, lineterminator=self.line_end)
            writer.writerows([["" if cell is None else cell for cell in row] for row in rows])
            return "log.csv", stream.getvalue().encode(self.encoding)
        book = openpyxl.Workbook()
        sheet = book.active
        for number, row in enumerate(rows, start=1):
            for place, value in enumerate(row, start=1):
                cell = sheet.cell(number, place)
                if isinstance(value, Percent):
                    cell.value, cell.number_format = value.share, "0.00%"
                else:
                    cell.value = value
        for merge in merges:
            sheet.merge_cells(merge)
        stream_bytes = io.BytesIO()
        book.save(stream_bytes)
        return "log.xlsx", stream_bytes.getvalue()


@dataclass(frozen=True)
class Percent:
    """A cell that holds a share and shows a percentage."""

    share: float


def _long(luck: random.Random, shots: list[dict[str, Any]], style: _Style) -> Case:
    names = list(HEADINGS)
    luck.shuffle(names)
    numbered = luck.random() < 0.5
    headings = [luck.choice(HEADINGS[name]) for name in names]
    extra = luck.random() < 0.3
    dated = luck.random() < 0.3
    if dated:
        _pull_at_times(luck, shots)
    rows: list[list[Any]] = _preamble(luck)
    rows.append([*(["Shot"] if numbered else []), *headings, *(["Mood"] if extra else []),
                 *(["Date", "Clock"] if dated else [])])  # fmt: skip
    fault = luck.choice(FAULTS) if luck.random() < 0.5 else ""
    at_fault = luck.randrange(len(shots))
    wrong_row = None
    for number, shot in enumerate(shots, start=1):
        cells = [_cell(luck, style, shot, name) for name in names]
        if luck.random() < 0.15:
            rows.append([])
        when = _when(shot, style) if dated else []
        if fault and number - 1 == at_fault:
            wrong_row = len(rows) + 1
            if fault == "day first" and dated:
                when[0] = "02/05/2026"
            else:
                fault = _spoil(luck, fault, cells, names, style, numbered)
        start = [number if fault != "doubled number" or number - 1 != at_fault else _double(number)]
        rows.append([*(start if numbered else []), *cells, *(["fine"] if extra else []), *when])
    if fault == "doubled number":
        wrong_row = None  # either of the two rows may be named
    if luck.random() < 0.3:
        rows += [[], [luck.choice(["Mean", "Average", "SD"]), *[1.0] * len(names)]]
    name, content = style.save(rows)
    return Case(name, content, shots, wrong_row if fault else None, fault)


def _pull_at_times(luck: random.Random, shots: list[dict[str, Any]]) -> None:
    """A time for each shot, minutes apart, not in the order of the file."""
    minutes = list(range(0, 7 * len(shots), 7))
    luck.shuffle(minutes)
    start = datetime(2026, 5, 2, 8, 3, tzinfo=UTC)
    for shot, after in zip(shots, minutes, strict=True):
        shot["pulled_at"] = (start + timedelta(minutes=after)).isoformat()


def _when(shot: dict[str, Any], style: _Style) -> list[Any]:
    """Date and time of day as a spreadsheet holds them, or as people write them."""
    at = datetime.fromisoformat(shot["pulled_at"]).replace(tzinfo=None)
    if style.workbook:
        return [at.replace(hour=0, minute=0), at.time()]
    return [at.date().isoformat(), f"{at.hour}:{at.minute:02d}"]


def _sheets(luck: random.Random, shots: list[dict[str, Any]], style: _Style) -> Case:
    """A workbook with a sheet a session, and one of notes that holds no shots."""
    names = list(HEADINGS)
    book = openpyxl.Workbook()
    book.active.title = "Read me"
    book.active["A1"] = "nice weekend"
    sessions = [luck.choice(["Saturday", "Day 1"]), luck.choice(["Sunday", "Day 2"])]
    style.workbook = True
    for place, session in enumerate(sessions):
        sheet = book.create_sheet(session)
        for row in [*_preamble(luck), [luck.choice(HEADINGS[name]) for name in names]]:
            sheet.append(row)
        for shot in shots[place::2]:
            shot["session"] = session
            sheet.append([shot["method"], *(style.number(shot[name], name) for name in names[1:])])
            if luck.random() < 0.2:
                sheet.append([])
    stream = io.BytesIO()
    book.save(stream)
    return Case("log.xlsx", stream.getvalue(), shots)


def _double(number: int) -> int:
    return number - 1 if number > 1 else number + 1


def _cell(luck: random.Random, style: _Style, shot: dict[str, Any], name: str) -> Any:
    if name == "method":
        method = shot["method"]
        return luck.choice([method, method, method.upper(), f" {method} ", method.lower()])
    if name == "tds_pct" and style.percent_cells:
        return Percent(shot[name] / 100)
    return style.number(shot[name], name)


def _spoil(
    luck: random.Random,
    fault: str,
    cells: list[Any],
    names: list[str],
    style: _Style,
    numbered: bool,
) -> str:
    """Put one thing wrong into the cells of a shot; returns the fault really made."""
    if fault == "day first" or (fault in ("date", "formula") and not style.workbook):
        fault = "words"
    if fault == "doubled number" and not numbered:
        fault = "ten times"
    numeric = luck.choice(["dose_g", "beverage_g", "tds_pct"])
    wrong: dict[str, tuple[str, Any]] = {
        "ten times": ("dose_g", 185),
        "two marks": ("beverage_g", "1.850,0"),
        "unknown method": ("method", "Harbor bay"),
        "no tds": ("tds_pct", None),
        "words": (numeric, "about right"),
        "wrong unit": ("dose_g", "18.0 oz"),
        "negative": ("shot_time_s", -28),
        "date": (numeric, datetime(2026, 5, 18)),
        "formula": (numeric, "=A1*2"),
        "infinite": (numeric, "1e999"),
    }
    if fault in wrong:
        name, value = wrong[fault]
        cells[names.index(name)] = value
    return fault


def _wide(luck: random.Random, shots: list[dict[str, Any]], style: _Style) -> Case:
    """Methods side by side; extraction yields below."""
    yields = [
        {
            "method": shot["method"],
            "ey_pct": round(shot["tds_pct"] * shot["beverage_g"] / shot["dose_g"], 2),
        }
        for shot in shots
    ]
    DECIMALS.setdefault("ey_pct", 2)
    UNITS.setdefault("ey_pct", "%")
    order = list(METHODS)
    luck.shuffle(order)
    rows: list[list[Any]] = [[luck.choice(["Extraction yield (%)", "EY", "Yield (%)"])]]
    rows.append([*([None] if luck.random() < 0.5 else []), *order])
    margin = len(rows[-1]) - len(order)
    fault_row = None
    fault = luck.choice(["", "", "ten times", "words"])
    for start in range(0, len(yields), len(order)):
        by_method = {shot["method"]: shot for shot in yields[start : start + len(order)]}
        rows.append(
            [
                *[None] * margin,
                *(style.number(by_method[name]["ey_pct"], "ey_pct") for name in order),
            ]
        )
        if fault and fault_row is None:
            rows[-1][-1] = {"ten times": 185.0, "words": "soon"}[fault]
            fault_row = len(rows)
    name, content = style.save(rows)
    return Case(name, content, yields, fault_row, fault)


def _two_rows(luck: random.Random, shots: list[dict[str, Any]], style: _Style) -> Case:
    """Each method over its own columns (merged in a workbook), what was measured below it."""
    measures = ["dose_g", "beverage_g", "tds_pct", "shot_time_s"]
    order = list(METHODS)
    luck.shuffle(order)
    rows: list[list[Any]] = _preamble(luck)
    top = len(rows) + 1
    rows.append([cell for method in order for cell in (method, None, None, None)])
    rows.append([luck.choice(HEADINGS[name]) for _ in order for name in measures])
    for start in range(0, len(shots), len(order)):
        by_method = {shot["method"]: shot for shot in shots[start : start + len(order)]}
        rows.append(
            [
                style.number(by_method[name][measure], measure)
                for name in order
                for measure in measures
            ]
        )
    letters = [("A", "D"), ("E", "H"), ("I", "L"), ("M", "P")]
    name, content = style.save(rows, [f"{a}{top}:{b}{top}" for a, b in letters])
    return Case(name, content, shots)


def _preamble(luck: random.Random) -> list[list[Any]]:
    """What stands above the table: a title, a date, an empty row."""
    if luck.random() < 0.5:
        return []
    return [["My espresso log"], ["from", "May"], []]
