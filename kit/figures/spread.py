"""Consistency: the SD of each method with its interval, under how far each shot fell."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.figure import Figure

from kit.figures.estimates import ROW_EM, EstimateRow, draw_estimate_rows, ends_of
from kit.figures.layout import open_sheet
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.rows import rows_height
from kit.figures.style import Canvas
from kit.figures.tables import each, in_order, need, say, say_range, say_unit


def spread(
    spreads: pd.DataFrame, residuals: pd.DataFrame, measure: Measure, setting: Setting
) -> Picture:
    """SD of each method with its interval, above it how far each shot fell from its fit.

    Parameters
    ----------
    spreads
        ``method, n, sd, lower, upper``.
    residuals
        ``method, residual``: what is left of each shot after method, session and block.

    Raises
    ------
    DataError
        If a column is missing, a table is empty, or a method is unknown.
    """
    need(spreads, ("method", "n", "sd", "lower", "upper"), "spread")
    need(residuals, ("method", "residual"), "spread")
    ordered = in_order(spreads, setting.methods)
    distances = residuals["residual"].abs().groupby(residuals["method"].astype(str))
    rows = [
        EstimateRow(
            row.method,
            distances.get_group(row.method).dropna().to_numpy(float),
            (row.lower, row.sd, row.upper),
            f"{say(row.sd, 2)}  (n = {int(row.n)})",
        )
        for row in each(ordered)
    ]
    parts = [
        f"{row.method}: {say_unit(say(row.sd, 2), measure.difference_unit)} ({setting.percent} "
        f"interval {say_range(row.lower, row.upper, 2)}; {int(row.n)} shots)"
        for row in each(ordered)
    ]
    return Picture(
        name=f"spread_{measure.column}",
        alt=f"Shot-to-shot standard deviation of {measure.in_text} by method. {'. '.join(parts)}.",
        draw=partial(_draw, rows, measure, setting),
    )


def _draw(rows: list[EstimateRow], measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    sheet = open_sheet(
        canvas,
        setting.headline or f"Shot-to-shot spread of {measure.in_text}",
        [
            "Small marks: how far each shot fell from what its method and block predict, either "
            f"way. Dot and line: standard deviation (SD) with its {setting.percent} interval. "
            "n: shots.",
        ],
        rows_height(canvas, len(rows), ROW_EM),
        setting.mark,
    )
    unit = f" ({measure.difference_unit})" if measure.difference_unit else ""
    draw_estimate_rows(
        sheet, rows, setting, f"Distance from the fit, and SD{unit}", (0.0, 1.04 * ends_of(rows)[1])
    )
    return sheet.figure
