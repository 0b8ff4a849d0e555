"""One cell at a time: what a person wrote, read as the codebook means it, or a complaint."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches

from kit.codebook import Column
from kit.errors import Complaint, DataError, TableError
from kit.numerals import parse_number, say_number

_MINUTES = re.compile(r"\d+:\d\d([.,]\d+)?$")
Value = str | int | float | None


@dataclass(frozen=True)
class Place:
    """Where a row stands, to be named in complaints."""

    file: str
    row: int | None = None

    def complaint(self, column: str | None, found: object, problem: str, remedy: str) -> Complaint:
        """A complaint about this row."""
        return Complaint(self.file, self.row, column, _shown(found), problem, remedy)


def read_value(column: Column, raw: object, place: Place) -> Value:
    """The value of one cell: a string, an int, a float, an ISO time, or None for an empty cell.

    Raises
    ------
    TableError
        With one complaint, if the cell cannot be read as this column means it.
    """
    if _is_empty(raw):
        return None
    if column.kind == "string":
        return _read_text(column, raw, place)
    if column.kind == "datetime":
        return _read_time(column, raw, place)
    return _read_number(column, raw, place)


def text_of(raw: object) -> str:
    """A cell as text; a whole number from a spreadsheet loses its ``.0``."""
    if isinstance(raw, float) and raw.is_integer():
        return str(int(raw))
    return str(raw).strip()


def one_of(word: str, known: list[str]) -> str:
    """What to do about a word that is not among those known: the nearest, and all of them."""
    near = get_close_matches(word, known, n=1)
    hint = f"Did you mean “{near[0]}”? " if near else ""
    return f"{hint}Known are: {', '.join(known)}."


def _read_text(column: Column, raw: object, place: Place) -> str:
    text = text_of(raw)
    if column.levels and text not in column.levels:
        raise TableError(
            [
                place.complaint(
                    column.name,
                    raw,
                    f"this is no {column.label.lower() or column.name}",
                    one_of(text, list(column.levels)),
                )
            ]
        )
    return text


def _read_time(column: Column, raw: object, place: Place) -> str:
    try:
        moment = raw if isinstance(raw, datetime) else datetime.fromisoformat(str(raw).strip())
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        problem = "this is no time" if moment is None else "this time has no time zone"
        remedy = "Write it as in 2026-05-02T09:31:00+02:00."
        raise TableError([place.complaint(column.name, raw, problem, remedy)])
    return moment.isoformat() if isinstance(raw, datetime) else str(raw).strip()


def _read_number(column: Column, raw: object, place: Place) -> int | float | None:
    if column.unit == "s" and _MINUTES.match(str(raw).strip()):
        problem, remedy = "this is minutes and seconds", "Write it in seconds, for example 28."
        raise TableError([place.complaint(column.name, raw, problem, remedy)])
    try:
        number = parse_number(raw, column.unit)
    except DataError as error:
        problem, remedy = _problem_and_remedy(str(error), column)
        raise TableError([place.complaint(column.name, "", problem, remedy)]) from error
    if number is None:
        return None
    problem = _out_of_range(column, number)
    if problem:
        remedy = f"Write {_example(column)}, or leave the cell empty if it is not known."
        raise TableError([place.complaint(column.name, raw, problem, remedy)])
    return int(number) if column.kind == "integer" else number


def _problem_and_remedy(sentence: str, column: Column) -> tuple[str, str]:
    """A refusal in two halves; one that says what to write is not told it twice."""
    problem, write, what = sentence.rstrip(".").partition(". Write ")
    return problem, f"Write {what}." if write else f"Write {_example(column)}."


def _out_of_range(column: Column, number: float) -> str:
    """Why a number cannot be true for this column; empty if it can."""
    if column.kind == "integer" and not number.is_integer():
        return "this must be a whole number"
    low = -math.inf if column.minimum is None else column.minimum
    high = math.inf if column.maximum is None else column.maximum
    if low <= number <= high:
        return ""
    unit = f" {column.unit}" if column.unit else ""
    name = column.label.lower() if column.label != "TDS" else "TDS"
    if math.isinf(high):
        return f"{name or column.name} cannot be below {low:g}{unit}"
    return f"{name or column.name} must lie between {low:g} and {high:g}{unit}"


def _example(column: Column) -> str:
    """An example of a value this column takes."""
    examples = {"g": "18.5", "%": "9.20", "s": "28"}
    unit = f" (in {column.unit})" if column.unit else ""
    if column.kind == "integer":
        return f"a whole number, for example {say_number(max(column.minimum or 1, 1), 0)}"
    return f"a number, for example {examples.get(column.unit, '2.0')}{unit}"


def _is_empty(raw: object) -> bool:
    if raw is None:
        return True
    if isinstance(raw, str):
        return raw.strip() == ""
    return isinstance(raw, float) and math.isnan(raw)


def _shown(found: object) -> str:
    """What was found, short enough for a sentence and on one line."""
    text = " ".join(str(found).split())
    return text if len(text) <= 60 else text[:57] + "…"
