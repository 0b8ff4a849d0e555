"""Residuals three ways: against the fit, in run order, and against the normal distribution."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.layout import name_axis, open_sheet, padded, value_axis, write_in
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import in_order, need, say

_PANEL_EM = 15.0


def residual_checks(residuals: pd.DataFrame, measure: Measure, setting: Setting) -> Picture:
    """Residuals against fitted values, in run order, and their normal quantile plot.

    The band of the quantile plot holds each ordered value with 95 % probability if the residuals
    are independent and normal (order statistics, beta distribution; pointwise).

    Parameters
    ----------
    residuals
        ``shot, method, fitted, residual``.

    Raises
    ------
    DataError
        If a column is missing, the table is empty, or a method is unknown.
    """
    need(residuals, ("shot", "method", "fitted", "residual"), "residuals")
    rows = in_order(residuals.dropna(subset=["residual", "fitted"]), setting.methods)
    values = rows["residual"].to_numpy(float)
    worst = rows.iloc[int(np.abs(values).argmax())]
    return Picture(
        name=f"residuals_{measure.column}",
        alt=f"{len(rows)} residuals of {measure.in_text}: SD {say(values.std(ddof=1), 2)}, "
        f"largest {say(worst['residual'], 2, True)} (shot {int(worst['shot'])}, "
        f"{worst['method']}), skewness {say(_skewness(values), 2, True)}.",
        draw=partial(_draw, rows, measure, setting),
    )


def _skewness(values: np.ndarray) -> float:
    """Third standardised moment (0 for a symmetric distribution)."""
    centred = values - values.mean()
    return float((centred**3).mean() / (centred**2).mean() ** 1.5)


def _draw(rows: pd.DataFrame, measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    narrow = canvas.width_in / canvas.em < 40
    sheet = open_sheet(
        canvas,
        setting.headline or f"Residuals of {measure.in_text}",
        [
            f"Each mark is one of {len(rows)} shots. {'Last' if narrow else 'Right'}: ordered "
            "residuals against the normal distribution; the band holds each of them with 95 % "
            "probability if it is normal."
        ],
        (3 * _PANEL_EM if narrow else _PANEL_EM) * canvas.em,
        setting.mark,
    )
    em, gap = sheet.em, 4.4 * sheet.em
    panels = []
    for place in range(3):
        if narrow:
            height = sheet.height / 3
            bottom = sheet.top - height * (place + 1) + 3.2 * em
            panels.append(sheet.axes(sheet.left + gap, bottom, sheet.width - gap, height - 5 * em))
        else:
            width = (sheet.width - 3 * gap) / 3
            left = sheet.left + gap + place * (width + gap)
            bottom = sheet.bottom + 3.2 * em
            panels.append(sheet.axes(left, bottom, width, sheet.top - 1.6 * em - bottom))
    marks = method_marks(setting.methods, canvas.theme)
    _scatter(panels[0], canvas, rows, "fitted", marks, "Fitted")
    _scatter(panels[1], canvas, rows, "shot", marks, "Shot")
    _quantiles(panels[2], canvas, rows, marks)
    unit = f" ({measure.difference_unit})" if measure.difference_unit else ""
    for axes, title in zip(panels, ("against the fit", "in run order", "normal?"), strict=True):
        write_in(axes, canvas, axes.get_xlim()[0], axes.get_ylim()[1], title, va="bottom",
                 weight="bold")  # fmt: skip
        name_axis(axes, canvas, f"Residual{unit}", "y")
    return sheet.figure


def _scatter(
    axes: Axes, canvas: Canvas, rows: pd.DataFrame, column: str, marks: dict[str, Mark], name: str
) -> None:
    axes.set_xlim(*padded(rows[column].min(), rows[column].max(), 0.06))
    axes.set_ylim(*padded(rows["residual"].min(), rows["residual"].max(), 0.1))
    value_axis(axes, canvas, name)
    value_axis(axes, canvas, "", "y")
    axes.axhline(0, color=canvas.theme.ink, linewidth=0.1 * canvas.font_pt)
    for method, group in rows.groupby("method", sort=False):
        draw_points(axes, canvas, group[column], group["residual"], marks[str(method)], 0.5)


def _quantiles(axes: Axes, canvas: Canvas, rows: pd.DataFrame, marks: dict[str, Mark]) -> None:
    from scipy import stats

    ordered = rows.sort_values("residual")
    values = ordered["residual"].to_numpy(float)
    n, sd = len(values), values.std(ddof=1)
    rank = np.arange(1, n + 1)
    expected = np.asarray(stats.norm.ppf(stats.beta.median(rank, n - rank + 1)))
    low, high = (
        sd * np.asarray(stats.norm.ppf(stats.beta.ppf(p, rank, n - rank + 1)))
        for p in (0.025, 0.975)
    )
    axes.set_xlim(*padded(expected[0], expected[-1], 0.06))
    axes.set_ylim(*padded(min(values[0], low[0]), max(values[-1], high[-1]), 0.04))
    value_axis(axes, canvas, "Normal quantile")
    value_axis(axes, canvas, "", "y")
    axes.fill_between(expected, low, high, color=canvas.theme.shade, linewidth=0, zorder=0)
    axes.plot(expected, sd * expected, color=canvas.theme.ink, linewidth=0.1 * canvas.font_pt)
    methods = ordered["method"].to_numpy()
    for method, mark in marks.items():
        chosen = methods == method
        draw_points(axes, canvas, expected[chosen], values[chosen], mark, 0.5)
