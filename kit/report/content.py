"""What stands on the page, as plain parts: whoever fills them need not know how they are shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from kit.figures import Picture
from kit.figures.style import PAGE, PHONE
from kit.numerals import say_number
from kit.report.recheck import RelabellingCheck
from kit.report.vector import inline_svg
from kit.shotlog.spreadsheets import csv_text

P_COLUMNS = frozenset({"p", "p_adjusted", "p_model"})


@dataclass(frozen=True)
class Table:
    """A table of words and numbers, already rounded. ``numeric`` columns are set flush right."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: frozenset[int] = frozenset()
    note: str = ""


def table_of(
    frame: pd.DataFrame,
    caption: str,
    headings: Mapping[str, str] | None = None,
    decimals: int | Mapping[str, int] = 2,
    note: str = "",
) -> Table:
    """A frame as a table: numbers rounded, missing cells empty, whole numbers without decimals.

    Parameters
    ----------
    headings
        What to write over a column; a column that is not named keeps its own name.
    decimals
        For all columns of decimals, or by column.
    """
    names = headings or {}
    numeric = frozenset(
        place
        for place, column in enumerate(frame.columns)
        if pd.api.types.is_numeric_dtype(frame[column])
        and not pd.api.types.is_bool_dtype(frame[column])
    )
    columns = []
    for column in frame.columns:
        places = decimals if isinstance(decimals, int) else decimals.get(str(column), 2)
        say = _p_cell if column in P_COLUMNS else _cell
        columns.append([say(value, places) for value in frame[column]])
    return Table(
        caption=caption,
        columns=tuple(names.get(str(column), str(column)) for column in frame.columns),
        rows=tuple(zip(*columns, strict=True)) if columns else (),
        numeric=numeric,
        note=note,
    )


def _p_cell(value: object, decimals: int) -> str:
    """A p value; one too small for the decimals is below the smallest of them, never nought."""
    smallest = 10.0**-decimals
    if isinstance(value, float) and 0 <= value < smallest / 2:
        return f"< {smallest:.{decimals}f}"
    return _cell(value, decimals)


def _cell(value: object, decimals: int) -> str:
    """One cell as people read it."""
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return say_number(value, decimals)
    return str(value)


@dataclass(frozen=True)
class FigurePart:
    """One figure: drawn as SVG for a screen and for a phone, and what it says in words."""

    svg: str
    phone_svg: str
    alt: str
    caption: str = ""


def figure_part(picture: Picture, caption: str = "") -> FigurePart:
    """A picture drawn for the page; its colours follow the page from light to dark."""
    return FigurePart(
        svg=inline_svg(picture, PAGE, "wide"),
        phone_svg=inline_svg(picture, PHONE, "phone"),
        alt=picture.alt,
        caption=caption,
    )


@dataclass(frozen=True)
class RawData:
    """The shots as they can be downloaded, and as a table for who has no JavaScript."""

    file_name: str
    csv: str
    table: Table


def raw_data(shots: pd.DataFrame, file_name: str, caption: str) -> RawData:
    """The shots as CSV (all digits; no cell that a spreadsheet would take for a formula)."""
    filled = shots.dropna(axis="columns", how="all")
    return RawData(file_name, csv_text(shots), table_of(filled, caption, decimals=3))


@dataclass(frozen=True)
class Question:
    """A question viewers ask, and the answer from the data."""

    question: str
    answer: str


@dataclass(frozen=True)
class ReportContent:
    """Everything on the page, in the order in which it is read.

    Attributes
    ----------
    title, question
        Of the trial.
    verdict
        The answer first: headline sentence, then one sentence for each further outcome.
    marks
        What must not be overlooked ("Invented example: nobody pulled these shots.").
    seal
        Hash and time of the freeze in words; empty if there was none.
    claims
        Claim sheet: what may be said, and what the shots are silent on.
    figures, tables
        In the order in which they are to be read.
    compared
        The methods with their recipes.
    plan
        Planned against done: item, as frozen, as done.
    deviations
        Every deviation with its reason; no rows means none.
    limits
        What the shots cannot speak for.
    data
        The raw shots.
    check
        The re-randomisation check that runs in the page, or a sentence that says why none can.
    questions
        What viewers ask.
    methods, method_figures, sources
        Paragraphs that can be copied, figures about how it was done, and the works cited.
    consort
        Item, and where it is answered.
    cautions
        Safety notes.
    made_with
        Program, version and time of making, in words.
    """

    title: str
    question: str
    verdict: tuple[str, ...]
    data: RawData
    check: RelabellingCheck | str
    compared: Table
    plan: Table
    deviations: Table
    claims: Table
    consort: Table
    marks: tuple[str, ...] = ()
    seal: str = ""
    figures: Sequence[FigurePart] = ()
    tables: Sequence[Table] = ()
    limits: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    methods: tuple[str, ...] = ()
    method_figures: Sequence[FigurePart] = ()
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    made_with: str = ""
    language: str = field(default="en")
