"""The certificate of balance as a picture: how often each method stands where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.figures.layout import LEADING, Sheet, open_sheet, write_in
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_sign
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import listed, need
from kit.figures.words import text_width, wrap

_ROW_EM, _TALLEST_ROW_EM = 2.0, 3.0


def balance_certificate(counts: Mapping[str, pd.DataFrame], setting: Setting) -> Picture:
    """Count tables side by side, for example method by position and method with method in a block.

    Parameters
    ----------
    counts
        Title of each table, and the table: rows are methods (the index), columns positions or
        methods, values whole numbers. A cell that cannot occur is missing (NaN).

    Raises
    ------
    DataError
        If a table is empty.
    """
    for title, table in counts.items():
        need(table, (), title)
    parts = [f"{title}: {_in_words(table)}" for title, table in counts.items()]
    return Picture(
        name="balance",
        alt=f"Certificate of balance. {'. '.join(parts)}.",
        draw=partial(_draw, dict(counts), setting),
    )


def _in_words(table: pd.DataFrame) -> str:
    values = table.to_numpy(float)
    low, high = np.nanmin(values), np.nanmax(values)
    if low == high:
        return f"every cell {low:g} times"
    rows = [
        f"{name} {listed([f'{value:g}' for value in row if np.isfinite(value)])}"
        for name, row in zip(table.index, values, strict=True)
    ]
    return f"between {low:g} and {high:g} times ({'; '.join(rows)})"


def _draw(counts: dict[str, pd.DataFrame], setting: Setting, canvas: Canvas) -> Figure:
    narrow = canvas.narrow
    head_em = 4.2 + (0.0 if narrow else LEADING)
    deepest = [len(table) * _ROW_EM + head_em + 1 for table in counts.values()]
    sheet = open_sheet(
        canvas,
        setting.headline or "Where each method stands in the schedule",
        [
            "Numbers: how often. Equal where the design balances; elsewhere the draw decided, and "
            "unequal numbers there are chance."
        ],
        (sum(deepest) if narrow else max(deepest)) * canvas.em,
        setting.mark,
    )
    boxes = _boxes(sheet, len(counts), narrow)
    titles = [wrap(title, boxes[0].width, canvas, 1.0, "bold", 2) for title in counts]
    lines = max(map(len, titles))
    for title, table, box in zip(titles, counts.values(), boxes, strict=True):
        for number, line in enumerate(title):
            y = box.top - (1.2 + LEADING * number) * sheet.em
            sheet.write(box.left, y, line, weight="bold")
        below = box.below((1.2 + LEADING * (lines - 1)) * sheet.em)
        _draw_table(sheet, table, below, setting)
    return sheet.figure


@dataclass(frozen=True)
class _Box:
    """The place of one table, in inches."""

    left: float
    top: float
    width: float
    height: float

    def below(self, taken: float) -> _Box:
        """What is left under a head of that height."""
        return _Box(self.left, self.top - taken, self.width, self.height - taken)


def _boxes(sheet: Sheet, count: int, narrow: bool) -> list[_Box]:
    """A place for each table: under each other on a column, else side by side."""
    if narrow:
        height = sheet.height / count
        tops = [sheet.top - place * height for place in range(count)]
        return [_Box(sheet.left, top, sheet.width, height) for top in tops]
    gap = 2.0 * sheet.em
    width = (sheet.width - gap * (count - 1)) / count
    lefts = [sheet.left + place * (width + gap) for place in range(count)]
    return [_Box(left, sheet.top, width, sheet.height) for left in lefts]


def _draw_table(sheet: Sheet, table: pd.DataFrame, box: _Box, setting: Setting) -> None:
    """One count table with the names of its rows and columns."""
    canvas, em = sheet.canvas, sheet.em
    rows, columns = table.shape
    names = [str(name) for name in table.index]
    most = max(0.45 * box.width, box.width - 1.55 * em * columns)
    names_room = min(max(text_width(name, canvas) for name in names) + 2.5 * em, most)
    cell = min((box.width - names_room) / columns, 4.0 * em)
    pitch = min((box.height - 3.4 * em) / rows, _TALLEST_ROW_EM * em)
    left, top = box.left + names_room, box.top - 2.6 * em
    axes = sheet.axes(left, top - pitch * rows, cell * columns, pitch * rows)
    axes.set_xlim(0, columns)
    axes.set_ylim(rows, 0)
    axes.set_xticks([])
    axes.set_yticks([])
    marks = method_marks(setting.methods, canvas.theme)
    for column, name in enumerate(table.columns):
        if name in marks:
            draw_sign(sheet, left + cell * (column + 0.5), top + 0.7 * em, marks[name])
        else:
            write_in(axes, canvas, column + 0.5, -0.25 * em / pitch, str(name), ha="center",
                     va="bottom", color=canvas.theme.muted)  # fmt: skip
    values = table.to_numpy(float)
    for row, name in enumerate(names):
        y = top - pitch * (row + 0.5)
        line = wrap(name, names_room - 2.2 * em, canvas, 1.0, "normal", 1)[0]
        sheet.write(box.left + 1.7 * em, y, line, va="center_baseline")
        if name in marks:
            draw_sign(sheet, box.left + 0.6 * em, y, marks[name])
        for column in range(columns):
            _draw_cell(axes, canvas, (column, row), values[row, column], values)


def _draw_cell(
    axes: Axes, canvas: Canvas, place: tuple[int, int], value: float, values: np.ndarray
) -> None:
    """One count on a tile whose shade grows with it."""
    column, row = place
    if not np.isfinite(value):
        return
    share = value / max(np.nanmax(values), 1)
    axes.add_patch(
        Rectangle((column + 0.05, row + 0.06), 0.9, 0.88, linewidth=0,
                  facecolor=canvas.theme.accent, alpha=0.04 + 0.2 * share)
    )  # fmt: skip
    write_in(axes, canvas, column + 0.5, row + 0.5, f"{value:g}", ha="center", size=0.95,
             va="center_baseline")  # fmt: skip
