"""The key under a figure, for the signs that cannot be named where they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from kit.figures.layout import Sheet
from kit.figures.points import draw_sign
from kit.figures.style import Canvas, Mark
from kit.figures.words import text_width, wrap

_LINE_EM = 1.7
_SIGN_EM = 1.5
_GAP_EM = 1.6


@dataclass(frozen=True)
class KeyEntry:
    """One sign and its name."""

    name: str
    mark: Mark


def _margin(canvas: Canvas) -> float:
    return (1.6 if canvas.height_in is None else 2.6) * canvas.em


def _lines(canvas: Canvas, entries: Sequence[KeyEntry]) -> list[list[tuple[KeyEntry, str, float]]]:
    """The entries with their place in inches from the left, broken into lines."""
    em = canvas.em
    width = canvas.width_in - 2 * _margin(canvas)
    lines: list[list[tuple[KeyEntry, str, float]]] = [[]]
    x = 0.0
    for entry in entries:
        name = wrap(entry.name, width - 3 * em, canvas, 1.0, "normal", 1)[0]
        room = _SIGN_EM * em + text_width(name, canvas)
        if lines[-1] and x + room > width:
            lines.append([])
            x = 0.0
        lines[-1].append((entry, name, x))
        x += room + _GAP_EM * em
    return lines


def key_height(canvas: Canvas, entries: Sequence[KeyEntry]) -> float:
    """Room the key takes, in inches."""
    return (len(_lines(canvas, entries)) * _LINE_EM + 0.6) * canvas.em if entries else 0.0


def draw_key(sheet: Sheet, entries: Sequence[KeyEntry], top: float) -> None:
    """Write the key below ``top`` (inches), from the left edge of the sheet."""
    em = sheet.em
    y = top - 0.9 * em
    for line in _lines(sheet.canvas, entries):
        for entry, name, x in line:
            draw_sign(sheet, sheet.left + x + 0.5 * em, y, entry.mark, 0.75)
            sheet.write(sheet.left + x + _SIGN_EM * em, y, name, va="center_baseline")
        y -= _LINE_EM * em
