"""The certificate of balance as a picture: how often each method stands where."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.figures.layout import Sheet, open_sheet, text_width, wrap, write_in
from kit.figures.picture import Picture, Setting
from kit.figures.rows import draw_sign
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import listed, need

_ROW_EM = 2.0


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
    narrow = canvas.width_in / canvas.em < 40
    head = 4.2
    deepest = [len(table) * _ROW_EM + head + 1 for table in counts.values()]
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
    count = len(counts)
    gap = 2.0 * sheet.em
    for place, (title, table) in enumerate(counts.items()):
        if narrow:
            height = sheet.height / count
            box = (sheet.left, sheet.top - place * height, sheet.width, height)
        else:
            width = (sheet.width - gap * (count - 1)) / count
            box = (sheet.left + place * (width + gap), sheet.top, width, sheet.height)
        _draw_table(sheet, title, table, box, setting)
    return sheet.figure


def _draw_table(
    sheet: Sheet,
    title: str,
    table: pd.DataFrame,
    box: tuple[float, float, float, float],
    setting: Setting,
) -> None:
    """One count table; ``box`` is left, top, width, height in inches."""
    left, top, width, height = box
    canvas, em = sheet.canvas, sheet.em
    rows, columns = table.shape
    names = [str(name) for name in table.index]
    names_room = min(max(text_width(name, canvas) for name in names) + 2.5 * em, 0.45 * width)
    cell = min((width - names_room) / columns, 4.0 * em)
    pitch = min((height - 4.6 * em) / rows, 2.6 * em)
    sheet.write(left, top - 1.2 * em, wrap(title, width, canvas, 1.0, "bold", 1)[0], weight="bold")
    axes = sheet.axes(
        left + names_room, top - 3.8 * em - pitch * rows, cell * columns, pitch * rows
    )
    axes.set_xlim(0, columns)
    axes.set_ylim(rows, 0)
    axes.set_xticks([])
    axes.set_yticks([])
    marks = method_marks(setting.methods, canvas.theme)
    for column, name in enumerate(table.columns):
        if name in marks:
            x = left + names_room + cell * (column + 0.5)
            draw_sign(sheet, x, top - 3.1 * em, marks[name])
        else:
            write_in(axes, canvas, column + 0.5, -0.25 * em / pitch, str(name), ha="center",
                     va="bottom", color=canvas.theme.muted)  # fmt: skip
    values = table.to_numpy(float)
    for row, name in enumerate(names):
        y = top - 3.8 * em - pitch * (row + 0.5)
        line = wrap(name, names_room - 2.2 * em, canvas, 1.0, "normal", 1)[0]
        sheet.write(left + 1.7 * em, y, line, va="center_baseline")
        if name in marks:
            draw_sign(sheet, left + 0.6 * em, y, marks[name])
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
