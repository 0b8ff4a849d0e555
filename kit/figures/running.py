"""Chance at work: the running mean of each method, shot by shot, as stills or as an animation."""

from __future__ import annotations

import io
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.figure import Figure
from PIL import Image

from kit.errors import DataError
from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import open_sheet, padded, value_axis
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting, canvas_of, to_png
from kit.figures.points import draw_points
from kit.figures.style import Canvas, method_marks
from kit.figures.tables import in_order, need, say
from kit.files import write_atomically


def running_means(shots: pd.DataFrame, measure: Measure, setting: Setting) -> Picture:
    """Each shot, and the mean of its method so far, after every shot pulled.

    Parameters
    ----------
    shots
        ``shot, method`` and the column of the measure: the shots analysed.

    Raises
    ------
    DataError
        If a column is missing, no shot has a value, or a method is unknown.
    """
    rows = _rows(shots, measure, setting)
    return _picture(rows, len(rows), measure, setting, f"running_{measure.column}")


def running_stills(shots: pd.DataFrame, measure: Measure, setting: Setting) -> list[Picture]:
    """The same figure after the first shot, after the second, and so on, on the same axes.

    Raises
    ------
    DataError
        As :func:`running_means`.
    """
    rows = _rows(shots, measure, setting)
    width = len(str(len(rows)))
    return [
        _picture(rows, count, measure, setting, f"running_{measure.column}_{count:0{width}d}")
        for count in range(1, len(rows) + 1)
    ]


def save_animation(
    stills: list[Picture], folder: Path, format_name: str, milliseconds: int
) -> Path:
    """Write the stills as one GIF, each shown for ``milliseconds``, the last five times as long.

    Raises
    ------
    DataError
        If there is no still, or the file cannot be written.
    PlanError
        If there is no format of that name.
    """
    if not stills:
        raise DataError("There are no stills to animate: no shot has a value yet.")
    canvas = canvas_of(format_name)
    frames = [
        Image.open(io.BytesIO(to_png(still.draw(canvas), 75))).convert("RGB") for still in stills
    ]
    stream = io.BytesIO()
    durations = [milliseconds] * (len(frames) - 1) + [5 * milliseconds]
    frames[0].save(stream, "GIF", save_all=True, append_images=frames[1:], duration=durations,
                   loop=0, optimize=False)  # fmt: skip
    name = stills[-1].name.rsplit("_", 1)[0]
    return write_atomically(folder / f"{name}_{format_name}.gif", stream.getvalue())


def _rows(shots: pd.DataFrame, measure: Measure, setting: Setting) -> pd.DataFrame:
    need(shots, ("shot", "method", measure.column), "running means")
    rows = shots.dropna(subset=[measure.column]).sort_values("shot")
    need(rows, ("shot",), "running means")
    in_order(rows, setting.methods)
    rows = rows.assign(method=rows["method"].astype(str), at=np.arange(1, len(rows) + 1))
    so_far = rows.groupby("method")[measure.column].expanding().mean()
    return rows.assign(mean=so_far.droplevel(0).reindex(rows.index))


def _picture(
    rows: pd.DataFrame, count: int, measure: Measure, setting: Setting, name: str
) -> Picture:
    last = rows.iloc[:count].groupby("method")["mean"].last()
    parts = [
        f"{method} {say(last[method], measure.decimals)}"
        for method in setting.methods
        if method in last.index
    ]
    return Picture(
        name=name,
        alt=f"Running mean of {measure.in_text} after {count} of {len(rows)} shots: "
        f"{', '.join(parts)}.",
        draw=partial(_draw, rows, count, measure, setting),
    )


def _draw(
    rows: pd.DataFrame, count: int, measure: Measure, setting: Setting, canvas: Canvas
) -> Figure:
    marks = method_marks(setting.methods, canvas.theme)
    keys = [KeyEntry(name, marks[name]) for name in setting.methods if name in set(rows["method"])]
    room = key_height(canvas, keys)
    sheet = open_sheet(
        canvas,
        setting.headline or f"{measure.label}: the averages settle slowly",
        [
            f"After {count} of {len(rows)} shots. Small marks: shots. Lines: mean of the method "
            "so far, not adjusted for blocks."
        ],
        22 * canvas.em + room,
        setting.mark,
    )
    em = sheet.em
    left, bottom = sheet.left + 3.8 * em, sheet.bottom + room + 3.2 * em
    axes = sheet.axes(left, bottom, sheet.right - left, sheet.top - bottom)
    axes.set_xlim(0.3, len(rows) + 0.7)
    axes.set_ylim(*padded(rows[measure.column].min(), rows[measure.column].max(), 0.05))
    value_axis(axes, canvas, "Study shot, in the order pulled")
    value_axis(axes, canvas, measure.axis, "y")
    shown = rows.iloc[:count]
    for method, group in shown.groupby("method", sort=False):
        mark = marks[str(method)]
        draw_points(axes, canvas, group["at"], group[measure.column], mark, 0.55)
        x = [*group["at"], count]
        y = [*group["mean"], group["mean"].iloc[-1]]
        axes.plot(x, y, color=mark.color, linestyle=mark.linestyle, drawstyle="steps-post",
                  linewidth=0.2 * canvas.font_pt, zorder=4)  # fmt: skip
        draw_points(axes, canvas, [count], [y[-1]], mark, 0.95)
    draw_key(sheet, keys, sheet.bottom + room)
    return sheet.figure
