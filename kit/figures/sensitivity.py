"""Sensitivity: does the verdict move when a choice of the analysis is changed?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.figures.grid import draw_verdict_key
from kit.figures.layout import Sheet, open_sheet, write_in
from kit.figures.measure import Measure
from kit.figures.pairs import pair_labels, pair_name
from kit.figures.picture import Picture, Setting
from kit.figures.rows import rows_height
from kit.figures.style import Canvas
from kit.figures.tables import each, need, say, say_range, say_unit
from kit.figures.verdicts import (
    ROW_EM,
    difference_margin,
    draw_signs,
    draw_verdict_rows,
    verdict_kind,
    verdict_sign,
)
from kit.figures.words import text_width, wrap

_COLUMNS = ("variant", "a", "b", "estimate", "lower", "upper", "verdict")
_HEADER_EM, _ROW_EM, _KEY_EM, _LIST_EM = 1.6, 1.65, 2.4, 1.4
_HEAD_AND_FOOT_EM = 13.5
_MOST_GROWTH = 1.7
_FURTHER_EM = 1.18
"""Distance of the second line of an entry from its first."""


def sensitivity_of_pair(
    table: pd.DataFrame, measure: Measure, sdm: float, setting: Setting
) -> Picture:
    """One difference under every variant of the analysis; the first row is the planned one.

    Parameters
    ----------
    table
        ``variant, a, b, estimate, lower, upper, verdict`` of one pair, the planned analysis first.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(table, _COLUMNS, "sensitivity")
    a, b = table["a"].iloc[0], table["b"].iloc[0]
    unit = measure.difference_unit
    parts = [
        f"{row.variant}: {say(row.estimate, measure.decimals, True)} (interval "
        f"{say_range(row.lower, row.upper, measure.decimals, True)}), {row.verdict}"
        for row in each(table)
    ]
    return Picture(
        name=f"sensitivity_{measure.column}_{a}_{b}",
        alt=f"{a} minus {b} in {measure.in_text} under {len(table)} analyses, smallest "
        f"difference that matters {say_unit(say(sdm, measure.decimals), unit)}. "
        f"{'. '.join(parts)}.",
        draw=partial(_draw_pair, table, measure, sdm, setting),
    )


def _draw_pair(
    table: pd.DataFrame, measure: Measure, sdm: float, setting: Setting, canvas: Canvas
) -> Figure:
    a, b = table["a"].iloc[0], table["b"].iloc[0]
    sheet = open_sheet(
        canvas,
        setting.headline or f"{a} − {b} under every analysis",
        [
            f"First row: the analysis as planned. Line: {setting.percent} interval of {a} − {b}.",
            f"Band: less than ±{say_unit(say(sdm, measure.decimals), measure.difference_unit)}, "
            "the smallest difference that matters (SDM), set in advance.",
        ],
        rows_height(canvas, len(table), ROW_EM),
        setting.mark,
    )
    labels = [str(variant) for variant in table["variant"]]
    draw_verdict_rows(sheet, table, labels, difference_margin(sdm), measure.difference_axis)
    return sheet.figure


def sensitivity_grid(table: pd.DataFrame, measure: Measure, setting: Setting) -> Picture:
    """Every pair (rows) under every variant of the analysis (columns); moved verdicts are framed.

    Pairs whose verdict moves stand first. Where there is no room for all, the others are left out
    and counted.

    Parameters
    ----------
    table
        ``variant, a, b, estimate, lower, upper, verdict``; the first variant is the planned one.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(table, _COLUMNS, "sensitivity")
    moved = {
        pair: [row.variant for row in each(group) if _kind(row) != _kind(group.iloc[0])]
        for pair, group in table.groupby(["a", "b"], sort=False)
    }
    parts = [
        f"{pair_name(str(a), str(b), 'against')} moves in: {', '.join(how)}"
        for (a, b), how in moved.items()
        if how
    ]
    steady = sum(not how for how in moved.values())
    return Picture(
        name=f"sensitivity_{measure.column}",
        alt=f"Verdicts on {measure.in_text} for {len(moved)} pairs under "
        f"{table['variant'].nunique()} analyses; {steady} keep their verdict in all of them. "
        f"{'. '.join(parts)}{'.' if parts else ''}",
        draw=partial(_draw_grid, table, measure, setting),
    )


def _kind(row: Any) -> str:
    return verdict_kind(row.verdict)


def _draw_grid(table: pd.DataFrame, measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    groups = [group for _, group in table.groupby(["a", "b"], sort=False)]
    groups.sort(key=lambda group: all(_kind(row) == _kind(group.iloc[0]) for row in each(group)))
    variants = list(dict.fromkeys(table["variant"].astype(str)))
    beside = not canvas.narrow
    explained = _Explained(canvas, variants, beside)
    list_em = explained.height_em
    shown = groups[: _most_rows(canvas, 0.0 if beside else list_em)]
    left_out = len(groups) - len(shown)
    notes = [
        "Columns: one choice of the analysis changed at a time; 1 is the analysis as planned. "
        f"Framed: the verdict moved. Verdicts by the {setting.percent} interval.",
        setting.sample,
    ]
    if left_out:
        notes.append(f"Not shown for want of room: {left_out} pairs.")
    rows_em = _HEADER_EM + len(shown) * _ROW_EM + _KEY_EM
    height = max(rows_em, list_em) if beside else rows_em + list_em + 1
    title = setting.headline or f"Does the verdict on {measure.in_text} move?"
    sheet = open_sheet(canvas, title, notes, height * canvas.em, setting.mark)
    # A still has a height of its own: rows and list spread over it.
    growth = min(_MOST_GROWTH, max(1.0, sheet.height / ((height + 0.8) * canvas.em)))
    width = sheet.width - (explained.width_in + 1.2 * canvas.em if beside else 0.0)
    labels = pair_labels(pd.concat([group.head(1) for group in shown]), "−", setting.methods)
    below = _draw_rows(sheet, shown, labels, variants, (width, growth * _ROW_EM * sheet.em))
    draw_verdict_key(sheet, below - 1.4 * sheet.em)
    if beside:
        explained.write(sheet, sheet.right - explained.width_in, sheet.top, growth)
    else:
        explained.write(sheet, sheet.left, below - 2.6 * sheet.em, growth)
    return sheet.figure


@dataclass(frozen=True)
class _Explained:
    """What the numbers of the columns stand for: beside the grid, or under it on a column."""

    canvas: Canvas
    variants: list[str]
    beside: bool

    @property
    def indent_in(self) -> float:
        """Room of a number."""
        return text_width("00", self.canvas) + 0.7 * self.canvas.em

    @property
    def width_in(self) -> float:
        """Width of the list: as its longest entry, at most two fifths of the canvas."""
        widest = max(text_width(name, self.canvas) for name in self.variants)
        share = 0.4 if self.beside else 0.9
        return min(self.indent_in + widest + 0.2 * self.canvas.em, share * self.canvas.width_in)

    @property
    def lines(self) -> list[list[str]]:
        """Each entry, broken into lines."""
        room = self.width_in - self.indent_in
        return [wrap(name, room, self.canvas) for name in self.variants]

    @property
    def height_em(self) -> float:
        """Height of the list in ems."""
        further = sum(len(entry) - 1 for entry in self.lines)
        return len(self.variants) * _LIST_EM + further * _FURTHER_EM

    def write(self, sheet: Sheet, x: float, y: float, growth: float) -> None:
        """Write the list below ``y``, its entries ``growth`` times as far apart as needed."""
        color = self.canvas.theme.muted
        for number, entry in enumerate(self.lines, start=1):
            y -= growth * _LIST_EM * sheet.em
            sheet.write(x, y, f"{number}", color=color)
            for place, line in enumerate(entry):
                y -= _FURTHER_EM * sheet.em if place else 0.0
                sheet.write(x + self.indent_in, y, line, color=color)


def _draw_rows(
    sheet: Sheet,
    shown: list[pd.DataFrame],
    labels: list[str],
    variants: list[str],
    size: tuple[float, float],
) -> float:
    """The grid of signs with its names and column numbers; returns its lower edge in inches.

    ``size`` is the width of the grid with its names and the height of a row.
    """
    canvas, em = sheet.canvas, sheet.em
    width, pitch = size
    most = max(0.45 * width, width - 1.35 * em * len(variants))
    names_room = min(max(text_width(label, canvas) for label in labels) + em, most)
    cell = min(3.4 * em, (width - names_room) / len(variants))
    top = sheet.top - _HEADER_EM * em
    height = pitch * len(shown)
    axes = sheet.axes(sheet.left + names_room, top - height, cell * len(variants), height)
    axes.set_xlim(-0.5, len(variants) - 0.5)
    axes.set_ylim(len(shown) - 0.5, -0.5)
    axes.set_xticks([])
    axes.set_yticks([])
    for column in range(len(variants)):
        write_in(axes, canvas, column, -0.5 - 0.25 * em / pitch, f"{column + 1}", ha="center",
                 va="bottom", color=canvas.theme.muted)  # fmt: skip
    fitting = max(1, int(pitch / (_FURTHER_EM * em)))
    for row, group in enumerate(shown):
        lines = wrap(labels[row], names_room - 0.6 * em, canvas, 1.0, "normal", fitting)
        for number, line in enumerate(lines):
            y = top - pitch * (row + 0.5) + ((len(lines) - 1) / 2 - number) * _FURTHER_EM * em
            sheet.write(sheet.left, y, line, va="center_baseline")
        _draw_cells(axes, canvas, row, group, variants)
    return top - height


def _most_rows(canvas: Canvas, taken_em: float) -> int:
    """How many pairs a canvas has room for."""
    if canvas.height_in is None:
        return 80
    room_em = (
        canvas.height_in / canvas.em - _HEAD_AND_FOOT_EM - _HEADER_EM - _KEY_EM - 1.1 * taken_em
    )
    return max(3, int(room_em / _ROW_EM))


def _draw_cells(
    axes: Axes, canvas: Canvas, row: int, group: pd.DataFrame, variants: list[str]
) -> None:
    planned = verdict_kind(group["verdict"].iloc[0])
    places: dict[str, list[int]] = {}
    for entry in each(group):
        column = variants.index(str(entry.variant))
        places.setdefault(verdict_kind(entry.verdict), []).append(column)
        if verdict_kind(entry.verdict) != planned:
            axes.add_patch(
                Rectangle(
                    (column - 0.42, row - 0.44),
                    0.84,
                    0.88,
                    facecolor="none",
                    edgecolor=canvas.theme.alert,
                    linewidth=0.13 * canvas.font_pt,
                )
            )
    for kind, columns in places.items():
        draw_signs(axes, canvas, columns, [row] * len(columns), verdict_sign(kind, canvas))
