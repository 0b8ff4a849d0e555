"""Comparisons of two methods, drawn as a row a pair, or as a triangle where rows are too many."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import pandas as pd
from matplotlib.figure import Figure

from kit.figures.grid import draw_verdict_triangle
from kit.figures.layout import open_sheet
from kit.figures.picture import Picture, Setting
from kit.figures.rows import AXIS_FOOT_EM, HEAD_EM, fitting_columns, rows_height
from kit.figures.style import Canvas
from kit.figures.tables import each, need, say
from kit.figures.verdicts import ROW_EM, Margin, draw_verdict_rows
from kit.figures.words import short_names

_LEAST_ROW_EM = 1.35
_MOST_ROWS, _MOST_ROWS_NARROW = 45, 15
_WHOLE_LABEL = 30
"""Signs of a label that fits beside its row without a name being cut."""
_HEAD_AND_FOOT_EM, _HEAD_AND_FOOT_NARROW_EM = 15.0, 20.0


@dataclass(frozen=True)
class Comparison:
    """What is compared and how a comparison is written."""

    name: str
    title: str
    axis: str
    joined: str
    """Between two names: “−” or “/”."""
    turned: Callable[[float], float]
    """The estimate of b against a from that of a against b."""
    decimals: int
    signed: bool
    interval: str
    """What the line is, as a note."""
    band: str
    """What the band is, as a note that follows “Band:” or “Same:”."""


def pairs_picture(
    table: pd.DataFrame, comparison: Comparison, margin: Margin, setting: Setting, alt: str
) -> Picture:
    """The picture of a table with ``a, b, estimate, lower, upper, verdict``.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(table, ("a", "b", "estimate", "lower", "upper", "verdict"), comparison.title.lower())
    return Picture(
        name=comparison.name,
        alt=alt,
        draw=partial(_draw, table, comparison, margin, setting),
    )


def _draw(
    table: pd.DataFrame, comparison: Comparison, margin: Margin, setting: Setting, canvas: Canvas
) -> Figure:
    together = f", simultaneous over the {len(table)} shown" if len(table) > 1 else ""
    title = setting.headline or comparison.title
    of_methods = set(table["a"]) | set(table["b"]) <= set(setting.methods)
    if not of_methods or _rows_fit(canvas, len(table)):
        notes = [
            f"Line: {comparison.interval}{together}.",
            f"Band: {comparison.band}",
            setting.sample,
        ]
        height = rows_height(canvas, len(table), ROW_EM)
        sheet = open_sheet(canvas, title, notes, height, setting.mark)
        labels = pair_labels(table, comparison.joined, setting.methods)
        draw_verdict_rows(sheet, table, labels, margin, comparison.axis)
        return sheet.figure
    notes = [
        f"Each cell: the method at the end of its row {comparison.joined} the method above its "
        f"column. Verdict by the {comparison.interval}{together}.",
        f"Same: {comparison.band}",
        setting.sample,
    ]
    height = (2.6 * len(setting.methods) + 4) * canvas.em
    sheet = open_sheet(canvas, title, notes, height, setting.mark)
    places = 1 if canvas.narrow and len(setting.methods) > 7 else 2
    cells = _cells(table, comparison, setting.methods, min(comparison.decimals, places))
    draw_verdict_triangle(sheet, cells, setting.methods)
    return sheet.figure


def pair_labels(table: pd.DataFrame, joined: str, methods: Sequence[str]) -> list[str]:
    """“a − b” for each row; long names are cut where whole ones would make a long label."""
    whole = [pair_name(row.a, row.b, joined) for row in each(table)]
    if max(map(len, whole), default=0) <= _WHOLE_LABEL:
        return whole
    short = short_names(methods)
    return [
        pair_name(short.get(row.a, row.a), short.get(row.b, row.b), joined) for row in each(table)
    ]


def pair_name(a: str, b: str, joined: str) -> str:
    """Both sides joined.

    A contrast that has a name but no second side stands as it is; a factor that both sides name
    ("disc: one", "disc: none") is named once.
    """
    factor, colon, _ = str(a).partition(": ")
    second = str(b).removeprefix(factor + colon) if colon else str(b)
    return f"{a} {joined} {second}" if b else str(a)


def _rows_fit(canvas: Canvas, count: int) -> bool:
    """Whether a row a pair is legible on this canvas."""
    deep = -(-count // fitting_columns(canvas, count))
    if canvas.height_in is None:
        return deep <= (_MOST_ROWS_NARROW if canvas.narrow else _MOST_ROWS)
    taken = _HEAD_AND_FOOT_NARROW_EM if canvas.narrow else _HEAD_AND_FOOT_EM
    room_em = canvas.height_in / canvas.em - taken - AXIS_FOOT_EM
    least = HEAD_EM + 0.6 * ROW_EM if canvas.narrow else _LEAST_ROW_EM
    return room_em / deep >= least


def _cells(
    table: pd.DataFrame, comparison: Comparison, methods: Sequence[str], decimals: int
) -> dict[tuple[str, str], tuple[str, str]]:
    """Text and verdict of later against earlier, keyed (earlier method, later method)."""
    rank = {name: place for place, name in enumerate(methods)}
    cells = {}
    for row in each(table):
        turn = rank[row.a] < rank[row.b]
        value = comparison.turned(row.estimate) if turn else row.estimate
        key = (row.a, row.b) if turn else (row.b, row.a)
        cells[key] = (say(value, decimals, comparison.signed), row.verdict)
    return cells
