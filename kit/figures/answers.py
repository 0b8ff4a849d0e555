"""The answer table: which questions so many shots can answer, in numbers and signs."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.figures.layout import open_sheet, write_in
from kit.figures.picture import Picture, Setting
from kit.figures.power import GOOD_POWER
from kit.figures.style import Canvas
from kit.figures.tables import need
from kit.figures.words import text_width, wrap

_LIKELY, _OPEN = "likely answered", "could go either way"
_UNLIKELY = "hardly answered"


def answer_table(answers: pd.DataFrame, setting: Setting) -> Picture:
    """Questions in rows, numbers of shots in columns: the chance of an answer, in words and signs.

    Parameters
    ----------
    answers
        ``question, shots, power``, every question at every number of shots.

    Raises
    ------
    DataError
        If a column is missing or the table is empty.
    """
    need(answers, ("question", "shots", "power"), "answer table")
    wide = answers.pivot_table(index="question", columns="shots", values="power", sort=False)
    wide = wide[sorted(wide.columns)]
    parts = [
        f"{question}: "
        + ", ".join(f"{100 * power:.0f} % with {shots} shots" for shots, power in row.items())
        for question, row in wide.iterrows()
    ]
    return Picture(
        name="answers",
        alt=f"Chance that each question is answered, by shots a method. {'. '.join(parts)}.",
        draw=partial(_draw_answers, wide, setting),
    )


def _draw_answers(wide: pd.DataFrame, setting: Setting, canvas: Canvas) -> Figure:
    em = canvas.em
    pitch_em = 2.7
    sheet = open_sheet(
        canvas,
        setting.headline or "Which questions can so many shots answer?",
        [
            "Numbers: chance in per cent that the question is answered if the difference is real. "
            f"Diamond: {_LIKELY} (80 or more). Circle: {_OPEN} (50 to 79). Grey: {_UNLIKELY}."
        ],
        (pitch_em * len(wide) + 3.4) * em,
        setting.mark,
    )
    questions = [str(one) for one in wide.index]
    columns = len(wide.columns)
    names_room = min(max(text_width(one, canvas) for one in questions) + em, 0.5 * sheet.width)
    cell = min((sheet.width - names_room) / columns, 7 * em)
    pitch = min((sheet.height - 3 * em) / len(wide), 1.6 * pitch_em * em)
    top = sheet.top - 2.6 * em
    axes = sheet.axes(sheet.left + names_room, top - pitch * len(wide), cell * columns,
                      pitch * len(wide))  # fmt: skip
    axes.set_xlim(0, columns)
    axes.set_ylim(len(wide), 0)
    axes.set_xticks([])
    axes.set_yticks([])
    sheet.write(sheet.left, sheet.top - 1.2 * em, "Shots a method", color=canvas.theme.muted)
    for column, shots in enumerate(wide.columns):
        write_in(axes, canvas, column + 0.5, -0.8 * em / pitch, f"{shots:g}", ha="center",
                 weight="bold")  # fmt: skip
    powers = wide.to_numpy(float)
    for row, question in enumerate(questions):
        lines = wrap(question, names_room - 0.6 * em, canvas, 1.0, "normal", 2)
        for number, line in enumerate(lines):
            y = top - pitch * (row + 0.5) + ((len(lines) - 1) / 2 - number) * 1.18 * em
            sheet.write(sheet.left, y, line, va="center_baseline")
        for column in range(columns):
            _draw_answer(axes, canvas, (column, row), powers[row, column], cell)
    return sheet.figure


def _draw_answer(
    axes: Axes, canvas: Canvas, place: tuple[int, int], power: float, cell: float
) -> None:
    """One chance with its sign."""
    theme = canvas.theme
    likely, open_ = power >= GOOD_POWER, power >= 0.5
    color = theme.accent if likely else theme.ink if open_ else theme.muted
    x, y = place[0] + 0.5, place[1] + 0.5
    if open_:
        axes.plot([x - 0.95 * canvas.em / cell], [y], linestyle="none",
                  marker="D" if likely else "o", markersize=0.66 * canvas.font_pt,
                  markerfacecolor=color if likely else theme.card, markeredgecolor=color,
                  markeredgewidth=0.13 * canvas.font_pt)  # fmt: skip
    write_in(axes, canvas, x - 0.25 * canvas.em / cell, y, f"{100 * power:.0f}", color=color,
             weight="bold" if likely else "normal", va="center_baseline")  # fmt: skip
