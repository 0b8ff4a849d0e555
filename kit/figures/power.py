"""Power curves: the chance that each question is answered, against the number of shots."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import Sheet, open_sheet, text_width, value_axis, wrap, write_in
from kit.figures.picture import Picture, Setting
from kit.figures.rows import draw_points, is_narrow
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import need, say

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
    theme = canvas.theme
    questions = list(dict.fromkeys(curves["question"].astype(str)))
    marks = method_marks(questions, theme)
    keys = [KeyEntry(one, marks[one]) for one in questions] if is_narrow(canvas) else []
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
    em = sheet.em
    label_room = 0.0
    if not is_narrow(canvas):
        widest = max(text_width(one, canvas, 0.95, "bold") for one in questions)
        label_room = min(widest, 0.34 * sheet.width) + 0.8 * em
    left, bottom = sheet.left + 3.8 * em, sheet.bottom + key_height(canvas, keys) + 3.2 * em
    right = sheet.right - label_room
    axes = sheet.axes(left, bottom, right - left, sheet.top - bottom)
    axes.set_xlim(curves["shots"].min(), curves["shots"].max())
    axes.set_ylim(0, 100)
    value_axis(axes, canvas, "Shots a method")
    value_axis(axes, canvas, "Chance of an answer (%)", "y")
    axes.axhline(100 * GOOD_POWER, color=theme.muted, linewidth=0.08 * canvas.font_pt,
                 linestyle=(0, (4, 3)))  # fmt: skip
    axes.axvline(planned_shots, color=theme.accent, linewidth=0.16 * canvas.font_pt)
    ends = []
    for question in questions:
        group = curves[curves["question"].astype(str) == question].sort_values("shots")
        mark = marks[question]
        power = 100 * group["power"].to_numpy(float)
        axes.plot(group["shots"], power, color=mark.color, linestyle=mark.linestyle,
                  linewidth=0.2 * canvas.font_pt, zorder=3)  # fmt: skip
        if {"lower", "upper"} <= set(group.columns):
            axes.fill_between(group["shots"], 100 * group["lower"], 100 * group["upper"],
                              color=mark.color, alpha=0.18, linewidth=0)  # fmt: skip
        at = float(np.interp(planned_shots, group["shots"], power))
        draw_points(axes, canvas, [planned_shots], [at], mark, 0.8)
        ends.append(power[-1])
    if keys:
        draw_key(sheet, keys, sheet.bottom + key_height(canvas, keys))
    else:
        _label_ends(sheet, axes, questions, ends, (label_room - 0.7 * em, marks))
    return sheet.figure


def _label_ends(sheet: Sheet, axes: Axes, names: list[str], ends: list[float], rest) -> None:  # type: ignore[no-untyped-def]
    """The name of each line at its right end, moved apart where ends are close."""
    label_room, marks = rest
    canvas, em = sheet.canvas, sheet.em
    box = axes.get_position()
    height = box.height * sheet.figure.get_size_inches()[1]
    wrapped = {name: wrap(name, label_room, canvas, 0.95, "bold", 3) for name in names}
    order = np.argsort(ends, kind="stable")
    needed = {
        name: (len(lines) * 1.15 + 0.35) * em * 100 / height for name, lines in wrapped.items()
    }
    floor = -3.0
    places: dict[str, float] = {}
    for index in order:
        name = names[index]
        places[name] = max(ends[index], floor + needed[name] / 2)
        floor = places[name] + needed[name] / 2
    ceiling = 103.0
    for index in order[::-1]:
        name = names[index]
        places[name] = min(places[name], ceiling - needed[name] / 2)
        ceiling = places[name] - needed[name] / 2
    x = axes.get_xlim()[1]
    width = x - axes.get_xlim()[0]
    for name, lines in wrapped.items():
        for number, line in enumerate(lines):
            y = places[name] + ((len(lines) - 1) / 2 - number) * 1.15 * em * 100 / height
            write_in(axes, canvas, x + 0.015 * width, y, line, size=0.95, color=marks[name].color,
                     weight="bold")  # fmt: skip
