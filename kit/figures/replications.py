"""Replications: one row a kitchen, the pooled difference, and what your kitchen may find."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from kit.analysis.pooling import Pooled
from kit.figures.layout import Sheet, open_sheet, padded
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.rows import Remark, RowBlock, row_axis, row_blocks, rows_height
from kit.figures.style import Canvas
from kit.figures.tables import each, need, say, say_range, say_unit
from kit.figures.verdicts import ROW_EM, difference_margin, draw_band


def replications(
    kitchens: pd.DataFrame, pooled: Pooled, measure: Measure, sdm: float, setting: Setting
) -> Picture:
    """Forest figure: the same difference in several kitchens, pooled by random effects.

    Parameters
    ----------
    kitchens
        ``kitchen, estimate, se, lower, upper`` of one difference; the area of a mark grows with
        the weight 1 / (se² + τ²).
    pooled
        Pooled estimate, its interval, τ and the prediction interval.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(kitchens, ("kitchen", "estimate", "se", "lower", "upper"), "replications")
    decimals, unit = measure.decimals, measure.difference_unit
    parts = [
        f"{row.kitchen}: {say(row.estimate, decimals, True)} (interval "
        f"{say_range(row.lower, row.upper, decimals, True)})"
        for row in each(kitchens)
    ]
    return Picture(
        name=f"replications_{measure.column}",
        alt=f"{measure.difference_axis} in {len(kitchens)} kitchens. {'. '.join(parts)}. Pooled: "
        f"{say_unit(say(pooled.estimate, decimals, True), unit)} (interval "
        f"{say_range(pooled.lower, pooled.upper, decimals, True)}). A new kitchen is expected "
        f"between {say(pooled.prediction_lower, decimals, True)} and "
        f"{say(pooled.prediction_upper, decimals, True)}.",
        draw=partial(_draw, kitchens, pooled, measure, sdm, setting),
    )


def _draw(
    kitchens: pd.DataFrame,
    pooled: Pooled,
    measure: Measure,
    sdm: float,
    setting: Setting,
    canvas: Canvas,
) -> Figure:
    decimals = measure.decimals
    sheet = open_sheet(
        canvas,
        setting.headline or f"{measure.difference_axis}: {len(kitchens)} kitchens",
        [
            f"Lines: {setting.percent} intervals. Squares: larger, more weight. Diamond: pooled "
            "(random effects, Hartung–Knapp). Broad line: where a new kitchen is expected.",
            f"Band: less than ±{say_unit(say(sdm, decimals), measure.difference_unit)}, the "
            "smallest difference that matters (SDM).",
        ],
        rows_height(canvas, len(kitchens) + 2, ROW_EM),
        setting.mark,
    )
    numbers = [(row.estimate, row.lower, row.upper) for row in each(kitchens)]
    numbers.append((pooled.estimate, pooled.lower, pooled.upper))
    remarks = [
        Remark(f"{say(value, decimals, True)}  ({say_range(low, high, decimals, True)})")
        for value, low, high in numbers
    ]
    ends = (pooled.prediction_lower, pooled.prediction_upper)
    remarks.append(Remark(f"({say_range(*ends, decimals, True)})"))
    labels = [*kitchens["kitchen"].astype(str), "All kitchens together", "Your kitchen"]
    everything = [*np.ravel(numbers), *ends, -sdm, sdm]
    finite = [value for value in everything if np.isfinite(value)]
    for block in row_blocks(sheet, labels, remarks, ROW_EM):
        block.axes.set_xlim(*padded(min(finite), max(finite)))
        row_axis(block, canvas, measure.difference_axis)
        draw_band(block, canvas, difference_margin(sdm))
        _draw_kitchens(block, sheet, kitchens, pooled.tau)
        _draw_pooled(block, canvas, len(kitchens), pooled)
    return sheet.figure


def _draw_kitchens(block: RowBlock, sheet: Sheet, kitchens: pd.DataFrame, tau: float) -> None:
    canvas = sheet.canvas
    weights = 1 / (kitchens["se"].to_numpy(float) ** 2 + tau**2)
    sizes = 0.4 + 0.65 * np.sqrt(weights / weights.max())
    for place, row in enumerate(each(kitchens)):
        if place in block.rows:
            color = canvas.theme.ink
            block.axes.plot([row.lower, row.upper], [place] * 2, color=color,
                            linewidth=0.14 * canvas.font_pt, zorder=3)  # fmt: skip
            block.axes.plot([row.estimate], [place], marker="s", linestyle="none", color=color,
                            markersize=sizes[place] * canvas.font_pt, zorder=4)  # fmt: skip


def _draw_pooled(block: RowBlock, canvas: Canvas, place: int, pooled: Pooled) -> None:
    """The pooled diamond, and the prediction interval below it."""
    accent = canvas.theme.accent
    if place in block.rows:
        x = [pooled.lower, pooled.estimate, pooled.upper, pooled.estimate]
        y = [place, place - 0.28, place, place + 0.28]
        block.axes.fill(x, y, color=accent, zorder=4)
    if place + 1 in block.rows and np.isfinite(pooled.prediction_lower):
        block.axes.plot([pooled.prediction_lower, pooled.prediction_upper], [place + 1] * 2,
                        color=accent, linewidth=0.55 * canvas.font_pt, alpha=0.55,
                        solid_capstyle="butt", zorder=3)  # fmt: skip
