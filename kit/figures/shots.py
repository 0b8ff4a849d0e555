"""Every shot in the order it was pulled, with sessions and blocks: the data before any model."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import name_axis, open_sheet, padded, value_axis, write_in
from kit.figures.measure import Measure
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.rows import data_per_inch
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import in_order, need, say, say_range, say_unit
from kit.figures.words import fitting_words
from kit.trial import Recipe

_PLOT_EM = 21.0
_OTHER_ROLES = ("reference", "warm-up", "dial-in")


def shots_in_order(
    shots: pd.DataFrame, measure: Measure, recipe: Recipe, setting: Setting
) -> Picture:
    """Each shot at its place in the run: methods, sessions, blocks, and what was set aside.

    Parameters
    ----------
    shots
        ``shot, session, block, role, method, status, dose_g, beverage_g`` and the column of the
        measure. Shots without a value are left out and counted in the notes.
    recipe
        Its tolerances mark the shots whose dose or beverage mass missed them.

    Raises
    ------
    DataError
        If a column is missing, no shot has a value, or a method is unknown.
    """
    columns = ("shot", "session", "block", "role", "method", "status", "dose_g", "beverage_g")
    need(shots, (*columns, measure.column), "shots in order")
    drawn = shots.dropna(subset=[measure.column]).sort_values("shot")
    need(drawn, columns, "shots in order")
    study = drawn[drawn["role"] == "study"]
    in_order(study, setting.methods)
    drawn = drawn.assign(missed=_missed(drawn, recipe))
    return Picture(
        name=f"shots_{measure.column}",
        alt=_alt(drawn, measure, setting),
        draw=partial(_draw, drawn, len(shots) - len(drawn), measure, setting),
    )


def _missed(shots: pd.DataFrame, recipe: Recipe) -> list[bool]:
    """Which shots have a weighed mass outside its tolerance."""
    return [
        not recipe.in_tolerance(
            recipe.dose_g if pd.isna(dose) else dose,
            recipe.beverage_g if pd.isna(beverage) else beverage,
        )
        for dose, beverage in zip(shots["dose_g"], shots["beverage_g"], strict=True)
    ]


def _draw(
    shots: pd.DataFrame, without: int, measure: Measure, setting: Setting, canvas: Canvas
) -> Figure:
    notes = ["Each mark is one shot. Shaded: every second block. Lines: sessions."]
    if without:
        notes.append(f"{without} pulled without a reading of {measure.in_text}, not drawn.")
    keys = _key_entries(shots, setting, canvas)
    sheet = open_sheet(
        canvas,
        setting.headline or f"{measure.label}, shot by shot",
        notes,
        _PLOT_EM * canvas.em + key_height(canvas, keys),
        setting.mark,
    )
    key_room = key_height(canvas, keys)
    em = sheet.em
    left, bottom = sheet.left + 3.8 * em, sheet.bottom + key_room + 3.2 * em
    axes = sheet.axes(left, bottom, sheet.right - left, sheet.top - 1.6 * em - bottom)
    numbers = np.arange(1, len(shots) + 1, dtype=float)
    axes.set_xlim(0.3, len(shots) + 0.7)
    axes.set_ylim(*padded(shots[measure.column].min(), shots[measure.column].max(), 0.06))
    value_axis(axes, canvas, measure.axis, "y")
    _name_run_axis(axes, canvas, shots)
    _draw_blocks(axes, canvas, shots)
    _draw_sessions(axes, canvas, shots)
    _draw_shots(axes, canvas, shots.assign(at=numbers), measure.column, setting)
    draw_key(sheet, keys, sheet.bottom + key_room)
    return sheet.figure


def _name_run_axis(axes: Axes, canvas: Canvas, shots: pd.DataFrame) -> None:
    """Shot numbers along the run (the place on the axis may differ where shots have no value)."""
    step = max(1, int(np.ceil(len(shots) / 8 / 5)) * 5) if len(shots) > 12 else 1
    numbers = shots["shot"].to_numpy(float)
    named = np.arange(step * np.ceil(numbers[0] / step), numbers[-1] + 1, step)
    places = np.interp(named, numbers, np.arange(1, len(numbers) + 1))
    axes.set_xticks(places, [f"{number:g}" for number in named])
    name_axis(axes, canvas, "Shot, in the order pulled")


def _runs(labels: pd.Series) -> list[tuple[str, float, float]]:
    """Runs of equal labels as (label, first place − ½, last place + ½)."""
    values = labels.fillna("").astype(str).tolist()
    runs: list[tuple[str, float, float]] = []
    start = 0
    for place in range(1, len(values) + 1):
        if place == len(values) or values[place] != values[start]:
            runs.append((values[start], start + 0.5, place + 0.5))
            start = place
    return runs


def _draw_blocks(axes: Axes, canvas: Canvas, shots: pd.DataFrame) -> None:
    blocks = [run for run in _runs(shots["block"]) if run[0]]
    for _, low, high in blocks[::2]:
        axes.axvspan(low, high, color=canvas.theme.shade, linewidth=0, zorder=0)


def _draw_sessions(axes: Axes, canvas: Canvas, shots: pd.DataFrame) -> None:
    sessions = _runs(shots["session"])
    per_inch = data_per_inch(axes)
    top = axes.get_ylim()[1]
    for number, (name, low, high) in enumerate(sessions):
        if number:
            axes.axvline(low, color=canvas.theme.muted, linewidth=0.09 * canvas.font_pt, zorder=1)
        words = fitting_words([f"Session {name}", name], (high - low) / per_inch, canvas, 0.92)
        write_in(axes, canvas, (low + high) / 2, top, words, size=0.92, ha="center",
                 va="bottom", color=canvas.theme.muted)  # fmt: skip


def other_mark(role: str, canvas: Canvas) -> Mark:
    """The sign of a pull that is no study shot."""
    color = canvas.theme.muted
    return Mark(color, "d" if role == "reference" else ".", (), hollow=role == "reference")


def _draw_shots(
    axes: Axes, canvas: Canvas, shots: pd.DataFrame, column: str, setting: Setting
) -> None:
    marks = method_marks(setting.methods, canvas.theme)
    for role in _OTHER_ROLES:
        pulls = shots[shots["role"] == role]
        draw_points(axes, canvas, pulls["at"], pulls[column], other_mark(role, canvas), 0.6)
    study = shots[~shots["role"].isin(_OTHER_ROLES)]
    kept = study[study["status"] == "kept"]
    for method, mark in marks.items():
        pulls = kept[kept["method"] == method]
        draw_points(axes, canvas, pulls["at"], pulls[column], mark, 0.75)
        aside = study[(study["status"] != "kept") & (study["method"] == method)]
        hollow = Mark(mark.color, mark.marker, mark.dashes, hollow=True)
        draw_points(axes, canvas, aside["at"], aside[column], hollow, 0.75)
    aside = study[study["status"] != "kept"]
    _sign(axes, canvas, aside["at"], aside[column], "x", 0.55)
    missed = study[study["missed"]]
    _sign(axes, canvas, missed["at"], missed[column], "o", 1.35)


def _sign(axes: Axes, canvas: Canvas, x: pd.Series, y: pd.Series, marker: str, size: float) -> None:
    """A ring or a cross over shots that were set aside or out of tolerance."""
    axes.plot(x, y, linestyle="none", marker=marker, markersize=size * canvas.font_pt,
              markerfacecolor="none", markeredgecolor=canvas.theme.alert,
              markeredgewidth=0.13 * canvas.font_pt, zorder=5, clip_on=False)  # fmt: skip


def _key_entries(shots: pd.DataFrame, setting: Setting, canvas: Canvas) -> list[KeyEntry]:
    present = set(shots["method"].dropna().astype(str))
    marks = method_marks(setting.methods, canvas.theme)
    entries = [KeyEntry(name, mark) for name, mark in marks.items() if name in present]
    for role in _OTHER_ROLES:
        if (shots["role"] == role).any():
            entries.append(KeyEntry(f"{role} shot", other_mark(role, canvas)))
    alert = canvas.theme.alert
    study = shots[~shots["role"].isin(_OTHER_ROLES)]
    if (study["status"] != "kept").any():
        entries.append(KeyEntry("replaced or lost", Mark(alert, "x", (), hollow=False)))
    if study["missed"].any():
        entries.append(KeyEntry("mass out of tolerance", Mark(alert, "o", (), hollow=True)))
    return entries


def _alt(shots: pd.DataFrame, measure: Measure, setting: Setting) -> str:
    study = shots[~shots["role"].isin(_OTHER_ROLES)]
    kept = study[study["status"] == "kept"]
    parts = []
    for method in setting.methods:
        values = kept.loc[kept["method"] == method, measure.column]
        if len(values):
            parts.append(
                f"{method}: {len(values)} shots from "
                f"{say_range(values.min(), values.max(), measure.decimals)}, "
                f"mean {say_unit(say(values.mean(), measure.decimals), measure.unit)}"
            )
    aside = study[study["status"] != "kept"]["shot"].astype(int).astype(str).tolist()
    missed = study[study["missed"]]["shot"].astype(int).astype(str).tolist()
    tail = f" Replaced or lost: shot {', '.join(aside)}." if aside else ""
    tail += f" Mass out of tolerance: shot {', '.join(missed)}." if missed else ""
    return (
        f"{measure.label} of {len(shots)} shots in the order pulled, in "
        f"{shots['session'].nunique()} sessions. {'. '.join(parts)}.{tail}"
    )
