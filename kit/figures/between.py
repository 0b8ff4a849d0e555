"""Taste against extraction from method to method, where tasted cups were no measured shots."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.figure import Figure

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import name_axis, open_sheet, padded, value_axis
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import each, in_order, need, say, say_range

_COLUMNS = ("method", "estimate", "lower", "upper")


def taste_between_methods(
    scores: pd.DataFrame,
    means: pd.DataFrame,
    measure: Measure,
    attribute: str,
    setting: Setting,
) -> Picture:
    """Mean score of each method against its mean of a measure, both with their intervals.

    The single scores and shots stand on figures of their own; here every mark is a method.

    Parameters
    ----------
    scores, means
        ``method, estimate, lower, upper`` of the score and of the measure.

    Raises
    ------
    DataError
        If a column is missing, no method has both, or a method is unknown.
    """
    for table in (scores, means):
        need(table, _COLUMNS, "taste between methods")
    both = in_order(
        scores[list(_COLUMNS)].merge(means[list(_COLUMNS)], on="method", suffixes=("", "_x")),
        setting.methods,
    ).dropna()
    need(both, ("method",), "taste between methods")
    parts = [
        f"{row.method}: {measure.in_text} {say(row.estimate_x, measure.decimals)} (interval "
        f"{say_range(row.lower_x, row.upper_x, measure.decimals)}), {attribute} "
        f"{say(row.estimate, 1)} (interval {say_range(row.lower, row.upper, 1)})"
        for row in each(both)
    ]
    label = f"{attribute[:1].upper()}{attribute[1:]}"
    return Picture(
        name=f"taste_{attribute}_between_{measure.column}",
        alt=f"{label} against {measure.in_text}, one mark for each of {len(both)} methods. "
        f"{'. '.join(parts)}.",
        draw=partial(_draw, both, measure, label, setting),
    )


def _draw(
    both: pd.DataFrame, measure: Measure, label: str, setting: Setting, canvas: Canvas
) -> Figure:
    marks = method_marks(setting.methods, canvas.theme)
    keys = [KeyEntry(name, marks[name]) for name in both["method"]]
    room = key_height(canvas, keys)
    sheet = open_sheet(
        canvas,
        setting.headline or f"{label} against {measure.in_text}, method by method",
        [
            f"Each mark is one of {len(both)} methods: its two adjusted means, with their "
            f"{setting.percent} intervals. What shots of one method would show is another question."
        ],
        24 * canvas.em + room,
        setting.mark,
    )
    em = sheet.em
    left, bottom = sheet.left + 3.6 * em, sheet.bottom + room + 3.2 * em
    axes = sheet.axes(left, bottom, sheet.right - left, sheet.top - bottom)
    axes.set_xlim(*padded(both["lower_x"].min(), both["upper_x"].max(), 0.05))
    axes.set_ylim(*padded(both["lower"].min(), both["upper"].max(), 0.05))
    value_axis(axes, canvas, measure.axis)
    value_axis(axes, canvas, "", "y")
    name_axis(axes, canvas, f"{label} (score)", "y")
    for row in each(both):
        mark = marks[row.method]
        across = ([row.lower_x, row.upper_x], [row.estimate] * 2)
        up = ([row.estimate_x] * 2, [row.lower, row.upper])
        for ends in (across, up):
            axes.plot(*ends, color=mark.color, linewidth=0.1 * canvas.font_pt, alpha=0.7)
        draw_points(axes, canvas, [row.estimate_x], [row.estimate], mark, 1.2)
    draw_key(sheet, keys, sheet.bottom + room)
    return sheet.figure
