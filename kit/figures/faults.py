"""Flow faults: the rate of each method with its Wilson interval, over one tile a shot."""

from __future__ import annotations

from functools import partial
from typing import Any

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.figures.layout import open_sheet
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_interval
from kit.figures.rows import Remark, RowBlock, row_axis, row_blocks, rows_height
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import each, in_order, need, say, say_range

_ROW_EM = 3.0


def fault_rates(rates: pd.DataFrame, setting: Setting) -> Picture:
    """Share of shots with a flow fault: one tile a shot, and the rate with its interval.

    The tiles of a method share the axis from 0 to 100 %, faulty ones first, so that they end
    where the rate is.

    Parameters
    ----------
    rates
        ``method, n, faulty, rate, lower, upper``, shares between 0 and 1.

    Raises
    ------
    DataError
        If a column is missing, the table is empty, or a method is unknown.
    """
    need(rates, ("method", "n", "faulty", "rate", "lower", "upper"), "fault rates")
    ordered = in_order(rates, setting.methods)
    parts = [
        f"{row.method}: {int(row.faulty)} of {int(row.n)} shots, {say(100 * row.rate, 0)} % "
        f"({setting.percent} interval {say_range(100 * row.lower, 100 * row.upper, 0)} %)"
        for row in each(ordered)
    ]
    return Picture(
        name="fault_rates",
        alt=f"Share of shots with a flow fault, by method. {'. '.join(parts)}.",
        draw=partial(_draw, ordered, setting),
    )


def _draw(rates: pd.DataFrame, setting: Setting, canvas: Canvas) -> Figure:
    sheet = open_sheet(
        canvas,
        setting.headline or "Shots with a flow fault",
        [
            "Each tile is one shot: filled, a fault was seen; empty, none. Dot and line: rate "
            f"with its {setting.percent} interval (Wilson)."
        ],
        rows_height(canvas, len(rates), _ROW_EM),
        setting.mark,
    )
    marks = method_marks(setting.methods, canvas.theme)
    names = list(rates["method"])
    remarks = [Remark(f"{int(row.faulty)} of {int(row.n)}") for row in each(rates)]
    blocks = row_blocks(sheet, names, remarks, _ROW_EM, [marks[name] for name in names])
    rows = list(each(rates))
    for block in blocks:
        block.axes.set_xlim(0, 100)
        row_axis(block, canvas, "Shots with a fault (%)")
        for place in block.rows:
            row = rows[place]
            _draw_tiles(block, place, row, marks[row.method], canvas)
            interval = (100 * row.lower, 100 * row.rate, 100 * row.upper)
            down = block.share(0.22 * block.free_in)
            draw_interval(block.axes, canvas, place + down, interval, canvas.theme.ink)
    return sheet.figure


def _draw_tiles(block: RowBlock, place: int, row: Any, mark: Mark, canvas: Canvas) -> None:
    """One tile a shot over the whole axis."""
    width = 100 / row.n
    height = block.share(0.3 * block.free_in)
    top = place - block.share(0.4 * block.free_in)
    for shot in range(int(row.n)):
        faulty = shot < row.faulty
        block.axes.add_patch(
            Rectangle(
                (width * (shot + 0.08), top),
                0.84 * width,
                height,
                facecolor=mark.color if faulty else "none",
                edgecolor=mark.color,
                linewidth=0.08 * canvas.font_pt,
                clip_on=False,
                zorder=3,
            )
        )
