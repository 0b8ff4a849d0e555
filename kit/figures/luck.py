"""What luck alone looks like: simulated trials of a plan in which no method is better."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.layout import open_sheet, padded
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points, swarm
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import need, say


def luck_gallery(trials: pd.DataFrame, measure: Measure, setting: Setting) -> Picture:
    """Simulated trials in which all methods are equal: every gap seen here is luck.

    Parameters
    ----------
    trials
        ``trial, method`` and the column of the measure; one small panel a trial (at most 12 are
        drawn on a page, 6 on a still).

    Raises
    ------
    DataError
        If a column is missing, the table is empty, or a method is unknown.
    """
    need(trials, ("trial", "method", measure.column), "luck")
    means = trials.groupby(["trial", "method"], sort=False)[measure.column].mean()
    gaps = means.groupby("trial").max() - means.groupby("trial").min()
    return Picture(
        name="luck",
        alt=f"{len(gaps)} simulated trials without any true difference. The best and the worst "
        f"average of a trial differ by {say(gaps.min(), 2)} to {say(gaps.max(), 2)} "
        f"{measure.difference_unit} by luck alone, typically {say(gaps.median(), 2)}.",
        draw=partial(_draw_luck, trials, measure, setting),
    )


def _draw_luck(trials: pd.DataFrame, measure: Measure, setting: Setting, canvas: Canvas) -> Figure:
    em = canvas.em
    narrow = canvas.width_in / em < 40
    columns, most = (2, 8) if narrow else (4, 12 if canvas.height_in is None else 8)
    names = list(dict.fromkeys(trials["trial"]))[:most]
    rows = -(-len(names) // columns)
    present = [name for name in setting.methods if name in set(trials["method"])]
    panel_em = 1.15 * len(present) + 4.0
    sheet = open_sheet(
        canvas,
        setting.headline or "No method is better here: all of this is luck",
        [
            f"Each panel is one simulated trial of this plan without any true difference in "
            f"{measure.in_text}. Marks: shots. Upright strokes: averages. Bold: the gap between "
            "the best and the worst average.",
        ],
        rows * panel_em * em,
        setting.mark,
    )
    gap = 1.4 * em
    width = (sheet.width - gap * (columns - 1)) / columns
    height = sheet.height / rows
    limits = padded(trials[measure.column].min(), trials[measure.column].max(), 0.05)
    for place, name in enumerate(names):
        left = sheet.left + (place % columns) * (width + gap)
        top = sheet.top - (place // columns) * height
        axes = sheet.axes(left, top - height + 0.6 * em, width, height - 2.6 * em)
        axes.set_xlim(*limits)
        axes.set_ylim(len(present) - 0.4, -0.6)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.patch.set_facecolor(canvas.theme.shade)
        gap_size = _draw_trial(axes, canvas, trials[trials["trial"] == name], measure, present)
        sheet.write(left, top - 1.4 * em, f"gap {say(gap_size, 2)} {measure.difference_unit}",
                    weight="bold")  # fmt: skip
    return sheet.figure


def _draw_trial(
    axes: Axes, canvas: Canvas, trial: pd.DataFrame, measure: Measure, methods: list[str]
) -> float:
    """One panel; returns the gap between the best and the worst average."""
    marks = method_marks(methods, canvas.theme)
    means = []
    for row, method in enumerate(methods):
        values = trial.loc[trial["method"] == method, measure.column].to_numpy(float)
        low, high = axes.get_xlim()
        offsets = swarm(values, 0.02 * (high - low), 1)
        draw_points(axes, canvas, values, row + 0.12 * offsets, marks[method], 0.36)
        means.append(values.mean())
        axes.plot([means[-1]] * 2, [row - 0.42, row + 0.42], color=canvas.theme.ink,
                  linewidth=0.22 * canvas.font_pt, zorder=5)  # fmt: skip
    return float(max(means) - min(means))
