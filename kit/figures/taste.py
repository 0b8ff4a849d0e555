"""Taste: the scores of one attribute, and extraction against taste within and between methods."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from kit.figures.estimates import ROW_EM, EstimateRow, draw_estimate_rows, ends_of
from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import name_axis, open_sheet, padded, value_axis
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.rows import rows_height
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import each, in_order, need, say, say_range


def taste_scores(
    scores: pd.DataFrame, tastings: pd.DataFrame, attribute: str, setting: Setting
) -> Picture:
    """Scores of one attribute: mean of each method with its interval, below every score given.

    Parameters
    ----------
    scores
        ``attribute, method, n, estimate, lower, upper``.
    tastings
        ``attribute, method, score``, one row a score.
    attribute
        Which attribute to draw.

    Raises
    ------
    DataError
        If a column is missing, the attribute has no scores, or a method is unknown.
    """
    need(scores, ("attribute", "method", "n", "estimate", "lower", "upper"), "taste")
    need(tastings, ("attribute", "method", "score"), "taste")
    chosen = scores[scores["attribute"] == attribute]
    need(chosen, ("attribute",), f"taste ({attribute})")
    given = tastings[tastings["attribute"] == attribute].dropna(subset=["score"])
    values = given.groupby(given["method"].astype(str))["score"]
    rows = [
        EstimateRow(
            row.method,
            values.get_group(row.method).to_numpy(float),
            (row.lower, row.estimate, row.upper),
            f"{say(row.estimate, 1)}  (n = {int(row.n)})",
        )
        for row in each(in_order(chosen, setting.methods))
    ]
    parts = [
        f"{row.method}: {say(row.interval[1], 1)} ({setting.percent} interval "
        f"{say_range(row.interval[0], row.interval[2], 1)}; {len(row.values)} scores)"
        for row in rows
    ]
    return Picture(
        name=f"taste_{attribute}",
        alt=f"Taste score for {attribute} by method. {'. '.join(parts)}.",
        draw=partial(_draw, rows, attribute, setting),
    )


def _draw(rows: list[EstimateRow], attribute: str, setting: Setting, canvas: Canvas) -> Figure:
    sheet = open_sheet(
        canvas,
        setting.headline or f"{attribute[:1].upper()}{attribute[1:]} by method",
        [
            "Small marks: single scores, equal ones side by side. Dot and line: mean over tasters "
            f"and cups, with its {setting.percent} interval, simultaneous over all methods. "
            "n: scores, not shots."
        ],
        rows_height(canvas, len(rows), ROW_EM),
        setting.mark,
    )
    label = f"{attribute[:1].upper()}{attribute[1:]} (score)"
    draw_estimate_rows(sheet, rows, setting, label, padded(*ends_of(rows)))
    return sheet.figure


def taste_against(
    cups: pd.DataFrame, measure: Measure, attribute: str, setting: Setting
) -> Picture:
    """A measure against a taste score: within each method as a line, between methods as its mean.

    The two may disagree: a method can taste better on the whole while, within it, more extraction
    tastes worse. Lines share one slope (analysis of covariance, as in the repeated-measures
    correlation of Bland and Altman 1995).

    Parameters
    ----------
    cups
        ``method, score`` and the column of the measure, one row a cup (scores averaged).

    Raises
    ------
    DataError
        If a column is missing, no cup has both values, or a method is unknown.
    """
    need(cups, ("method", "score", measure.column), "taste against extraction")
    drawn = in_order(cups.dropna(subset=["score", measure.column]), setting.methods)
    need(drawn, ("method",), "taste against extraction")
    centred = drawn[[measure.column, "score"]] - drawn.groupby("method")[
        [measure.column, "score"]
    ].transform("mean")
    x = centred[measure.column].to_numpy(float)
    slope = float(x @ centred["score"].to_numpy(float) / (x @ x)) if (x @ x) > 0 else np.nan
    centres = drawn.groupby("method", sort=False)[[measure.column, "score"]].mean()
    parts = [
        f"{name}: mean {measure.in_text} {say(row[measure.column], measure.decimals)}, "
        f"mean {attribute} {say(row['score'], 1)}"
        for name, row in centres.iterrows()
    ]
    return Picture(
        name=f"taste_{attribute}_against_{measure.column}",
        alt=f"{attribute} against {measure.in_text}, {len(drawn)} cups. Within methods "
        f"{attribute} changes by {say(slope, 2, True)} for each {measure.difference_unit or 'unit'}"
        f" more. {'. '.join(parts)}.",
        draw=partial(_draw_against, drawn, measure, attribute, slope, setting),
    )


def _draw_against(
    cups: pd.DataFrame,
    measure: Measure,
    attribute: str,
    slope: float,
    setting: Setting,
    canvas: Canvas,
) -> Figure:
    marks = method_marks(setting.methods, canvas.theme)
    keys = [KeyEntry(name, marks[name]) for name in dict.fromkeys(cups["method"])]
    room = key_height(canvas, keys)
    sheet = open_sheet(
        canvas,
        setting.headline or f"{attribute[:1].upper()}{attribute[1:]} against {measure.in_text}",
        [
            "Small marks: cups. Lines: the common trend within methods. Large marks: method "
            "means; what they show together is between methods, and may run the other way."
        ],
        24 * canvas.em + room,
        setting.mark,
    )
    em = sheet.em
    left, bottom = sheet.left + 3.6 * em, sheet.bottom + room + 3.2 * em
    axes = sheet.axes(left, bottom, sheet.right - left, sheet.top - bottom)
    axes.set_xlim(*padded(cups[measure.column].min(), cups[measure.column].max(), 0.05))
    axes.set_ylim(*padded(cups["score"].min(), cups["score"].max(), 0.08))
    value_axis(axes, canvas, measure.axis)
    value_axis(axes, canvas, "", "y")
    name_axis(axes, canvas, f"{attribute[:1].upper()}{attribute[1:]} (score)", "y")
    for name, group in cups.groupby("method", sort=False):
        x, y = group[measure.column].to_numpy(float), group["score"].to_numpy(float)
        mark = marks[str(name)]
        draw_points(axes, canvas, x, y, mark, 0.5)
        ends = np.array([x.min(), x.max()])
        axes.plot(ends, y.mean() + slope * (ends - x.mean()), color=mark.color,
                  linewidth=0.12 * canvas.font_pt, linestyle=mark.linestyle, zorder=2)  # fmt: skip
        draw_points(axes, canvas, [x.mean()], [y.mean()], mark, 1.3)
    draw_key(sheet, keys, sheet.bottom + room)
    return sheet.figure
