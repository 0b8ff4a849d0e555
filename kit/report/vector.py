"""A picture as SVG that stands inside a page: no outside address, ids of its own, page colours."""

from __future__ import annotations

import re
from hashlib import sha256
from html import escape

from kit.figures import Picture, to_svg
from kit.figures.style import DARK, LIGHT, Canvas, Theme

_OUTER = re.compile(r"<\?xml.*?\?>|<!DOCTYPE.*?>|<!--.*?-->|<metadata>.*?</metadata>", re.S)
_STYLE = re.compile(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.S)
_ROOT = re.compile(r"<svg[^>]*?viewBox=\"([^\"]+)\"[^>]*>", re.S)
_ID = re.compile(r'(\bid="|href="#|url\(#)([^")]+)')
_UNUSED_ID = re.compile(r'\sid="([^"]+)"')
_REFERENCE = re.compile(r'(?:href="#|url\(#)([^")]+)')
_PATH_STEP = re.compile(r"\n?([MLQC]) (?=[-\d])")
_LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")


def inline_svg(picture: Picture, canvas: Canvas, prefix: str) -> str:
    """The picture drawn on ``canvas``, named for a screen reader by its alternative text.

    Every colour of the light theme becomes a CSS variable (see :func:`color_variables`), so that
    one drawing serves a light page, a dark page and paper. ``prefix`` and the name of the picture
    keep the ids of one drawing apart from those of another.
    """
    text = to_svg(picture.draw(canvas), picture.name).decode("utf-8")
    text = _STYLE.sub("", _OUTER.sub("", text), count=1)
    text = _compact(text.replace("xlink:href", "href"), f"{prefix} {picture.name}")
    for variable, color in _colors(LIGHT).items():
        text = re.sub(re.escape(color), f"var({variable})", text, flags=re.I)
    alt = escape(picture.alt, quote=True)

    def opening(match: re.Match[str]) -> str:
        return (
            f'<svg viewBox="{match[1]}" role="img" aria-label="{alt}" class="figure" '
            'stroke-linejoin="round" stroke-linecap="butt">'
        )

    return re.sub(r"\s*\n\s*", "\n", _ROOT.sub(opening, text, count=1)).strip()


def _compact(text: str, name: str) -> str:
    """The same drawing in fewer signs, since a page holds dozens of them.

    Ids are kept where something refers to them, as short ones of this drawing's own; numbers keep
    five digits, a hundredth of a point on our canvases.
    """
    used = list(dict.fromkeys(_REFERENCE.findall(text)))
    own = f"f{sha256(name.encode()).hexdigest()[:6]}"
    short = {full: f"{own}-{number}" for number, full in enumerate(used)}
    text = _UNUSED_ID.sub(lambda match: match[0] if match[1] in short else "", text)
    text = _ID.sub(lambda match: f"{match[1]}{short[match[2]]}", text)
    text = _PATH_STEP.sub(r"\1", text)
    return _LONG_NUMBER.sub(lambda match: f"{float(match[0]):.5g}", text)


def _colors(theme: Theme) -> dict[str, str]:
    """The CSS variables of a theme and their colours."""
    named = {
        "--card": theme.card,
        "--ink": theme.ink,
        "--muted": theme.muted,
        "--hairline": theme.hairline,
        "--shade": theme.shade,
        "--accent": theme.accent,
        "--alert": theme.alert,
    }
    return named | {f"--method-{place}": color for place, color in enumerate(theme.methods, 1)}


def color_variables(name: str) -> str:
    """The declarations of all variables for “light” or “dark”."""
    theme = {"light": LIGHT, "dark": DARK}[name]
    return " ".join(f"{variable}: {color};" for variable, color in _colors(theme).items())
