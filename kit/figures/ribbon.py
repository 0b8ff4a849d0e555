"""The ribbon of a trial: every pull of the schedule at its place, done, next, or to come."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.figures.key import KeyEntry, draw_key, key_height
from kit.figures.layout import open_sheet
from kit.figures.picture import Picture, Setting
from kit.figures.points import draw_points
from kit.figures.style import Canvas, Mark, method_marks
from kit.figures.tables import each, in_order, need
from kit.figures.words import text_width

_TILE_EM, _LEAST_TILE_EM = 2.1, 1.5
_READING = (
    "Filled: done. Ringed: next. Empty: to come. Upright strokes: a new block. "
    "Underlined: reference shots."
)


def trial_ribbon(schedule: pd.DataFrame, done: Collection[int], setting: Setting) -> Picture:
    """Sessions in rows, pulls along them; filled tiles are done, the ringed one is next.

    No outcome is in it, so it may stand on the screen while shots are pulled.

    Parameters
    ----------
    schedule
        ``planned_shot, session, block, session_position, role, method`` in run order.
    done
        Planned shots already pulled.

    Raises
    ------
    DataError
        If a column is missing, the table is empty, or a method is unknown.
    """
    columns = ("planned_shot", "session", "block", "session_position", "role", "method")
    need(schedule, columns, "ribbon")
    rows = schedule.assign(method=schedule["method"].fillna("").astype(str))
    in_order(rows[rows["method"] != ""], setting.methods)
    pulled = {int(number) for number in done}
    to_come = [int(number) for number in rows["planned_shot"] if int(number) not in pulled]
    waiting = rows[rows["planned_shot"].isin(to_come) & (rows["role"] != "spare")]
    following = int(waiting["planned_shot"].iloc[0]) if len(waiting) else None
    word = f"Next: planned shot {following}." if following else "Every planned shot is done."
    return Picture(
        name="ribbon",
        alt=f"{len(rows)} planned pulls in {rows['session'].nunique()} sessions; "
        f"{len(rows) - len(to_come)} done. {word}",
        draw=partial(_draw, rows, frozenset(pulled), following, setting),
    )


def _draw(
    rows: pd.DataFrame,
    done: frozenset[int],
    following: int | None,
    setting: Setting,
    canvas: Canvas,
) -> Figure:
    marks = method_marks(setting.methods, canvas.theme)
    keys = [KeyEntry(name, mark) for name, mark in marks.items() if (rows["method"] == name).any()]
    keys += [
        KeyEntry(f"{role}", _role_mark(role, canvas))
        for role in ("warm-up", "spare")
        if (rows["role"] == role).any()
    ]
    room = key_height(canvas, keys)
    em = canvas.em
    margin = (1.6 if canvas.height_in is None else 2.6) * em
    sessions = list(dict.fromkeys(rows["session"].astype(str)))
    names_room = max(text_width(f"Session {name}", canvas) for name in sessions) + 1.2 * em
    width = canvas.width_in - 2 * margin - names_room
    longest = int(rows.groupby("session")["session_position"].max().max())
    along = min(longest, int(width / (_LEAST_TILE_EM * em)))
    tile = min(_TILE_EM * em, width / along)
    lines = _lines(rows, sessions, along)
    title = setting.headline or "The run of the trial"
    sheet = open_sheet(canvas, title, [_READING], len(lines) * 1.4 * tile + room, setting.mark)
    fitting = (sheet.height - room) / len(lines)
    pitch = 1.4 * tile if canvas.height_in is None else min(fitting, 2.0 * tile)
    height = pitch * len(lines)
    axes = sheet.axes(sheet.left + names_room, sheet.top - height, width, height)
    axes.set_xlim(-0.6, -0.6 + width / tile)
    axes.set_ylim(len(lines) - 0.5, -0.5)
    axes.set_xticks([])
    axes.set_yticks([])
    for row, (name, pulls) in enumerate(lines):
        sheet.write(sheet.left, sheet.top - pitch * (row + 0.5), name, va="center_baseline")
        for column, pull in enumerate(pulls):
            state = (int(pull.planned_shot) in done, int(pull.planned_shot) == following)
            place = _Place(axes, canvas, column, row, tile, pitch)
            _draw_pull(place, pull, marks, state)
            if column and str(pulls[column - 1].block) != str(pull.block):
                axes.plot([column - 0.5] * 2, [row - 0.36, row + 0.36], zorder=3,
                          color=canvas.theme.muted, linewidth=0.09 * canvas.font_pt)  # fmt: skip
    draw_key(sheet, keys, sheet.top - height - 0.3 * em)
    return sheet.figure


def _lines(rows: pd.DataFrame, sessions: list[str], along: int) -> list[tuple[str, list[Any]]]:
    """The pulls of each session, broken into lines of at most ``along``."""
    lines = []
    for name in sessions:
        pulls = list(each(rows[rows["session"].astype(str) == name]))
        for start in range(0, len(pulls), along):
            lines.append(("" if start else f"Session {name}", pulls[start : start + along]))
    return lines


@dataclass(frozen=True)
class _Place:
    """Where one pull is drawn: column and row, with the sizes of a tile and a row in inches."""

    axes: Axes
    canvas: Canvas
    x: int
    y: int
    tile: float
    pitch: float


def _role_mark(role: str, canvas: Canvas) -> Mark:
    """The sign of a pull without a method: a dot for a warm-up, a bar for an open spare."""
    return Mark(canvas.theme.muted, "." if role == "warm-up" else "_", (), hollow=False)


def _draw_pull(place: _Place, pull: Any, marks: dict[str, Mark], state: tuple[bool, bool]) -> None:
    """One tile; ``state`` says whether it is done and whether it is next."""
    done, following = state
    axes, canvas, theme = place.axes, place.canvas, place.canvas.theme
    half = 0.43
    high = half * place.tile / place.pitch
    axes.add_patch(
        Rectangle(
            (place.x - half, place.y - high),
            2 * half,
            2 * high,
            facecolor=theme.shade if done else "none",
            edgecolor=theme.accent if following else theme.hairline,
            linewidth=(0.26 if following else 0.08) * canvas.font_pt,
            zorder=4 if following else 2,
        )
    )
    named = pull.role in ("study", "reference") and pull.method in marks
    mark = marks[pull.method] if named else _role_mark(pull.role, canvas)
    shown = mark if done else Mark(mark.color, mark.marker, mark.dashes, hollow=True)
    size = min(0.72, 0.42 * place.tile / canvas.em)
    draw_points(axes, canvas, [place.x], [place.y], shown, size)
    if pull.role == "reference":
        axes.plot([place.x - 0.26, place.x + 0.26], [place.y + 0.76 * high] * 2, color=theme.ink,
                  linewidth=0.13 * canvas.font_pt, zorder=5)  # fmt: skip
