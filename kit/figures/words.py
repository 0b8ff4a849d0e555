"""Words on a figure, measured in the very font they are drawn in: width, lines, short forms."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.textpath import text_to_path

from kit.figures.style import FONT, Canvas

_HINTING = 1.03  # letters set on whole pixels take up to 3 % more room than their outlines


@lru_cache(maxsize=4)
def _font(weight: str) -> FontProperties:
    return FontProperties(family=FONT, weight=weight, size=100)


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    return frozenset(get_font(findfont(_font("normal"))).get_charmap())


def clean(text: object) -> str:
    """``text`` on one line, each character that the font lacks as an empty box."""
    known = _known_characters()
    joined = " ".join(str(text).split())
    return "".join(sign if ord(sign) in known else "□" for sign in joined)


@lru_cache(maxsize=4096)
def _ems(text: str, weight: str) -> float:
    width, _, _ = text_to_path.get_text_width_height_descent(text, _font(weight), ismath=False)
    return float(width) / 100 * _HINTING


def text_width(text: str, canvas: Canvas, size: float = 1.0, weight: str = "normal") -> float:
    """Width of one line of ``text`` in inches; ``size`` is a factor on the canvas's text."""
    return _ems(clean(text), weight) * canvas.em * size


def wrap(
    text: object,
    width_in: float,
    canvas: Canvas,
    size: float = 1.0,
    weight: str = "normal",
    most_lines: int = 99,
) -> list[str]:
    """``text`` broken into lines no wider than ``width_in``.

    A word that is too long is broken inside; what does not fit in ``most_lines`` ends in “…”.
    """
    room = width_in / (canvas.em * size)
    lines: list[str] = []
    line = ""
    for word in clean(text).split(" "):
        for piece in _pieces(word, room, weight):
            candidate = f"{line} {piece}" if line else piece
            if line and _ems(candidate, weight) > room:
                lines.append(line)
                line = piece
            else:
                line = candidate
    lines.append(line)
    if len(lines) > most_lines:
        last = lines[most_lines - 1]
        while last and _ems(last + "…", weight) > room:
            last = last[:-1]
        lines = [*lines[: most_lines - 1], last.rstrip() + "…"]
    return lines


def _pieces(word: str, room: float, weight: str) -> list[str]:
    """``word`` in pieces that each fit in ``room`` ems."""
    if _ems(word, weight) <= room:
        return [word]
    pieces, piece = [], ""
    for sign in word:
        if piece and _ems(piece + sign, weight) > room:
            pieces.append(piece)
            piece = sign
        else:
            piece += sign
    return [*pieces, piece]


def fitting_words(choices: Sequence[str], room_in: float, canvas: Canvas, size: float) -> str:
    """The first of several wordings that fits with a gap to its neighbours; else nothing."""
    room = room_in - 0.8 * canvas.em * size
    return next((words for words in choices if text_width(words, canvas, size) <= room), "")


def short_names(names: Sequence[str], most: int = 12) -> dict[str, str]:
    """Names cut at a word to about ``most`` characters, and still all different."""
    short: dict[str, str] = {}
    for name in names:
        words = clean(name).split(" ")
        for count in range(1, len(words) + 1):
            cut = " ".join(words[:count])
            following = " ".join(words[: count + 1])
            if len(following) > most and f"{cut}…" not in short.values():
                break
        cut = cut if len(cut) <= 2 * most else cut[: 2 * most]
        whole = cut == clean(name)
        short[name] = cut if whole else f"{cut}…"
    if len(set(short.values())) < len(short):
        return {name: clean(name) for name in names}
    return short
