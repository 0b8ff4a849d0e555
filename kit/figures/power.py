"""Power curves: the chance that each question is answered, against the number of shots."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import Sheet, open_sheet, size_in, value_axis, write_in
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import need, say
from kit.figures.words import text_width, wrap

GOOD_POWER = 0.8
"""The customary aim (common practice, no source)."""


def power_curves(curves: pd.DataFrame, planned_shots: int, setting: Setting) -> Picture:
    """Chance that each question is answered, against the number of shots a method.

    Parameters
    ----------
    curves
        ``question, shots, power``; optionally ``lower, upper`` (Monte Carlo interval).
    planned_shots
        Shots a method in the plan.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(curves, ("question", "shots", "power"), "power")
    parts = []
    for question, group in curves.groupby("question", sort=False):
        at = float(np.interp(planned_shots, group["shots"], group["power"]))
        parts.append(f"{question}: {say(100 * at, 0)} %")
    return Picture(
        name="power",
        alt=f"Chance that each question is answered with {planned_shots} shots a method. "
        f"{'. '.join(parts)}.",
        draw=partial(_draw_curves, curves, planned_shots, setting),
    )


def _draw_curves(
    curves: pd.DataFrame, planned_shots: int, setting: Setting, canvas: Canvas
) -> Figure:
    questions = list(dict.fromkeys(curves["question"].astype(str)))
    marks = method_marks(questions, canvas.theme)
    keys = [KeyEntry(one, marks[one]) for one in questions] if canvas.narrow else []
    sheet = open_sheet(
        canvas,
        setting.headline or "What can so many shots tell?",
        [
            f"Lines: chance that the question is answered if the difference is real. Dashed: "
            f"the customary {100 * GOOD_POWER:g} %. Upright line: {planned_shots} shots a method, "
            "as planned.",
        ],
        20 * canvas.em + key_height(canvas, keys),
        setting.mark,
    )
    _draw_lines(sheet, curves, planned_shots, marks, keys)
    return sheet.figure


def _draw_lines(
    sheet: Sheet,
    curves: pd.DataFrame,
    planned_shots: int,
    marks: dict[str, Mark],
    keys: list[KeyEntry],
) -> None:
    """The axes with a line a question, named at its end, or in a key where there is one."""
    canvas, em, theme = sheet.canvas, sheet.em, sheet.canvas.theme
    label_room = 0.0
    if not keys:
        widest = max(text_width(one, canvas, 0.95, "bold") for one in marks)
        label_room = min(widest, 0.34 * sheet.width) + 0.8 * em
    left, bottom = sheet.left + 3.8 * em, sheet.bottom + key_height(canvas, keys) + 3.2 * em
    axes = sheet.axes(left, bottom, sheet.right - label_room - left, sheet.top - bottom)
    axes.set_xlim(curves["shots"].min(), curves["shots"].max())
    axes.set_ylim(0, 100)
    value_axis(axes, canvas, "Shots a method")
    value_axis(axes, canvas, "Chance of an answer (%)", "y")
    thin, dashed = 0.08 * canvas.font_pt, (0, (4, 3))
    axes.axhline(100 * GOOD_POWER, color=theme.muted, linewidth=thin, linestyle=dashed)
    axes.axvline(planned_shots, color=theme.accent, linewidth=0.16 * canvas.font_pt)
    ends = {}
    for question, mark in marks.items():
        group = curves[curves["question"].astype(str) == question].sort_values("shots")
        ends[question] = _draw_line(axes, canvas, group, planned_shots, mark)
    if keys:
        draw_key(sheet, keys, sheet.bottom + key_height(canvas, keys))
    else:
        _label_ends(sheet, axes, ends, label_room - 0.7 * em, marks)


def _draw_line(
    axes: Axes, canvas: Canvas, group: pd.DataFrame, planned_shots: int, mark: Mark
) -> float:
    """One question; returns where its line ends."""
    power = 100 * group["power"].to_numpy(float)
    width = 0.2 * canvas.font_pt
    axes.plot(group["shots"], power, color=mark.color, linestyle=mark.linestyle, linewidth=width,
              zorder=3)  # fmt: skip
    if {"lower", "upper"} <= set(group.columns):
        low, high = 100 * group["lower"], 100 * group["upper"]
        axes.fill_between(group["shots"], low, high, color=mark.color, alpha=0.18, linewidth=0)
    at = float(np.interp(planned_shots, group["shots"], power))
    draw_points(axes, canvas, [planned_shots], [at], mark, 0.8)
    return float(power[-1])


def _label_ends(
    sheet: Sheet, axes: Axes, ends: dict[str, float], room: float, marks: dict[str, Mark]
) -> None:
    """The name of each line at its right end, moved apart where ends are close."""
    canvas = sheet.canvas
    per_em = 100 * sheet.em / size_in(axes)[1]
    wrapped = {name: wrap(name, room, canvas, 0.95, "bold", 3) for name in ends}
    heights = {name: (len(lines) * 1.15 + 0.35) * per_em for name, lines in wrapped.items()}
    places = moved_apart(ends, heights, (-3.0, 103.0))
    low, high = axes.get_xlim()
    x = high + 0.015 * (high - low)
    for name, lines in wrapped.items():
        for number, line in enumerate(lines):
            y = places[name] + ((len(lines) - 1) / 2 - number) * 1.15 * per_em
            looks = {"color": marks[name].color, "weight": "bold"}
            write_in(axes, canvas, x, y, line, size=0.95, **looks)


def moved_apart(
    wanted: dict[str, float], heights: dict[str, float], ends: tuple[float, float]
) -> dict[str, float]:
    """Places as near as may be to those wanted, so that no two labels touch; inside ``ends``."""
    order = sorted(wanted, key=lambda name: wanted[name])
    places: dict[str, float] = {}
    floor, ceiling = ends
    for name in order:
        places[name] = max(wanted[name], floor + heights[name] / 2)
        floor = places[name] + heights[name] / 2
    for name in reversed(order):
        places[name] = min(places[name], ceiling - heights[name] / 2)
        ceiling = places[name] - heights[name] / 2
    return places
