"""Adjusted means with their intervals, under the raw shots they come from."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.figure import Figure

from kit.figures.estimates import ROW_EM, EstimateRow, draw_estimate_rows, ends_of
from kit.figures.layout import open_sheet, padded
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.rows import rows_height
from kit.figures.style import Canvas
from kit.figures.tables import each, in_order, need, say, say_range, say_unit


def adjusted_means(
    means: pd.DataFrame, shots: pd.DataFrame, measure: Measure, setting: Setting
) -> Picture:
    """Mean of each method with a simultaneous interval, below its single shots.

    Parameters
    ----------
    means
        ``method, n, estimate, lower, upper``, one row a method, in the unit of the measure.
    shots
        ``method`` and the column of the measure: the shots analysed.

    Raises
    ------
    DataError
        If a column is missing, a table is empty, or a method is unknown.
    """
    need(means, ("method", "n", "estimate", "lower", "upper"), "means")
    need(shots, ("method", measure.column), "means")
    ordered = in_order(means, setting.methods)
    values = shots.groupby("method", observed=True)[measure.column]
    rows = [
        EstimateRow(
            row.method,
            values.get_group(row.method).dropna().to_numpy(float),
            (row.lower, row.estimate, row.upper),
            f"{say(row.estimate, measure.decimals)}  (n = {int(row.n)})",
        )
        for row in each(ordered)
    ]
    return Picture(
        name=f"means_{measure.column}",
        alt=_alt(ordered, measure, setting),
        draw=partial(_draw, rows, measure, setting),
    )


def _draw(rows: list[EstimateRow], measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    sheet = open_sheet(
        canvas,
        setting.headline or f"{measure.label} by method",
        [
            "Small marks: single shots. Dot and line: mean adjusted for the design, with its "
            f"{setting.percent} interval, simultaneous over all methods. n: shots."
        ],
        rows_height(canvas, len(rows), ROW_EM),
        setting.mark,
    )
    draw_estimate_rows(sheet, rows, setting, measure.axis, padded(*ends_of(rows)))
    return sheet.figure


def _alt(means: pd.DataFrame, measure: Measure, setting: Setting) -> str:
    parts = [
        f"{row.method}: {say_unit(say(row.estimate, measure.decimals), measure.unit)} "
        f"({setting.percent} interval {say_range(row.lower, row.upper, measure.decimals)}; "
        f"{int(row.n)} shots)"
        for row in each(means)
    ]
    return (
        f"{measure.label} by method: the adjusted mean with a simultaneous interval, and every "
        f"single shot. {'. '.join(parts)}."
    )
