"""The parts of the bench that are only read, as HTML; all text in them is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from markupsafe import Markup

from kit.cautions import Caution
from kit.errors import Complaint
from kit.widgets.shoot.words import Card, Tile, ribbon_words

_SIGNS = {"done": "", "lost": "×", "skipped": "–", "next": "", "to come": "", "spare": "+"}
MOST_SHOWN = 20
"""Complaints listed on the screen; the command line lists them all."""
_KEY = "Filled: done. Ringed: next. Empty: to come. Underlined: reference. ×: lost. +: spare."


def card_html(card: Card | None) -> str:
    """The next-shot card."""
    if card is None:
        return str(
            Markup('<div class="kit-card"><p class="kit-card-name">{}</p><p>{}</p></div>').format(
                "All done", "Every planned shot is pulled. Go on in 3_analyse."
            )
        )
    because = Markup('<p class="kit-card-because">{}</p>').format(card.because)
    return str(
        Markup(
            '<div class="kit-card" role="group" aria-label="Next shot">'
            '<p class="kit-quiet">{place}</p>'
            '<p class="kit-card-name">{headline}</p>'
            '<p class="kit-card-recipe">{recipe}</p>{because}'
            '<p class="kit-card-code"><span class="kit-quiet">Cup code</span> <b>{code}</b></p>'
            '<p class="kit-quiet">{role}</p></div>'
        ).format(
            place=card.place,
            headline=card.headline,
            recipe=card.recipe,
            because=because if card.because else "",
            code=card.code or "–",
            role=card.role,
        )
    )


def next_code_html(place: str, what: str, code: str, task: str = "") -> str:
    """What somebody at a desk takes up next, by its code; readable at arm's length."""
    asked = Markup("<p>{}</p>").format(task) if task else Markup("")
    return str(
        Markup(
            '<div class="kit-card kit-card-small" role="status"><p class="kit-quiet">{}</p>'
            '<p class="kit-card-code">{} <b>{}</b></p>{}</div>'
        ).format(place, what, code, asked)
    )


def complaints_html(complaints: Sequence[Complaint]) -> str:
    """What stands against a table: where, what was found, what to do."""
    if not complaints:
        return ""
    entries = Markup("").join(
        Markup("<li>{}</li>").format(complaint.sentence()) for complaint in complaints[:MOST_SHOWN]
    )
    more = len(complaints) - MOST_SHOWN
    rest = Markup("<p>And {} more like these.</p>").format(more) if more > 0 else Markup("")
    return str(Markup('<ul class="kit-list kit-complaints">{}</ul>{}').format(entries, rest))


def ribbon_html(ribbon: Mapping[str, list[Tile]]) -> str:
    """The ribbon: one row a session, a gap between blocks."""
    rows = Markup("").join(
        Markup('<div class="kit-ribbon-row"><span>{}</span><span>{}</span></div>').format(
            session, Markup("").join(_tiles(tiles))
        )
        for session, tiles in ribbon.items()
    )
    return str(
        Markup(
            '<div class="kit-ribbon" role="img" aria-label="{}">{}</div><p class="kit-quiet">{}</p>'
        ).format(ribbon_words(dict(ribbon)), rows, _KEY)
    )


def values_html(values: Mapping[str, str], large: bool) -> str:
    """Names over values, side by side."""
    look = "kit-figure-number" if large else "kit-total"
    pairs = Markup("").join(
        Markup('<div><dt>{}</dt><dd class="{}">{}</dd></div>').format(name, look, value)
        for name, value in values.items()
    )
    return str(Markup('<dl class="kit-values">{}</dl>').format(pairs))


def sentences_html(sentences: Iterable[str], role: str = "") -> str:
    """A paragraph for each sentence."""
    marked = Markup(' role="{}"').format(role) if role else Markup("")
    body = Markup("").join(Markup("<p>{}</p>").format(text) for text in sentences if text)
    return str(Markup("<div{}>{}</div>").format(marked, body))


def cautions_html(cautions: Iterable[Caution], last: str) -> str:
    """Cautions as a short list."""
    entries = Markup("").join(
        Markup("<li><b>{}.</b> {}</li>").format(caution.topic, caution.text) for caution in cautions
    )
    return str(
        Markup('<ul class="kit-list">{}</ul><p class="kit-quiet">{}</p>').format(entries, last)
    )


def _tiles(tiles: list[Tile]) -> Iterable[Markup]:
    previous = tiles[0].block if tiles else ""
    for tile in tiles:
        gap = " kit-gap" if tile.block != previous else ""
        previous = tile.block
        state = tile.state.replace(" ", "-")
        yield Markup('<i class="kit-tile kit-{} kit-{}{}">{}</i>').format(
            state, tile.role, gap, _SIGNS[tile.state]
        )
