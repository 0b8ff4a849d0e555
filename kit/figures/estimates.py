"""A row a method: every single value above, the estimate with its interval below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.figures.layout import Sheet
from kit.figures.picture import Setting
from kit.figures.points import draw_interval, draw_points, side_by_side, swarm
from kit.figures.rows import Remark, RowBlock, data_per_inch, row_axis, row_blocks
from kit.figures.style import Canvas, Mark, method_marks

ROW_EM = 3.3


@dataclass(frozen=True)
class EstimateRow:
    """One method: its values, shape (n,), and ``interval`` as lower, estimate, upper."""

    method: str
    values: np.ndarray
    interval: tuple[float, float, float]
    remark: str


def draw_estimate_rows(
    sheet: Sheet,
    rows: Sequence[EstimateRow],
    setting: Setting,
    axis_label: str,
    limits: tuple[float, float],
) -> list[RowBlock]:
    """Draw the rows on a value axis with these limits; returns the blocks of rows."""
    marks = method_marks(setting.methods, sheet.canvas.theme)
    blocks = row_blocks(
        sheet,
        [row.method for row in rows],
        [Remark(row.remark) for row in rows],
        ROW_EM,
        [marks[row.method] for row in rows],
    )
    for block in blocks:
        block.axes.set_xlim(*limits)
        row_axis(block, sheet.canvas, axis_label)
        for place in block.rows:
            _draw_row(block, place, rows[place], marks[rows[place].method], sheet.canvas)
    return blocks


def _draw_row(block: RowBlock, place: int, row: EstimateRow, mark: Mark, canvas: Canvas) -> None:
    """The values in lanes above the middle of the row, the interval below it."""
    dot_em = float(np.clip(0.16 * block.free_in / canvas.em, 0.42, 0.7))
    dot_in = dot_em * canvas.em
    lanes = int(max(0.0, (0.56 * block.free_in / dot_in - 1) / 2))
    dot = 1.08 * dot_in * data_per_inch(block.axes)
    x = row.values + side_by_side(row.values, 1.001 * dot, 2 * lanes + 1)
    offsets = swarm(x, dot, lanes)
    # Under a name of its own row, the interval keeps clear of the name of the next one.
    up = block.share(0.16 * block.free_in)
    down = block.share((0.26 if block.stacked else 0.3) * block.free_in)
    y = place - up - offsets * block.share(dot_in)
    draw_points(block.axes, canvas, x, y, mark, dot_em)
    draw_interval(block.axes, canvas, place + down, row.interval, canvas.theme.ink)


def ends_of(rows: Sequence[EstimateRow]) -> tuple[float, float]:
    """The smallest and largest number that must be seen."""
    everything = np.concatenate([[*row.interval, *row.values] for row in rows])
    finite = everything[np.isfinite(everything)]
    return float(finite.min()), float(finite.max())
