"""Which column is meant by a heading: names people use, and the unit written beside them.

The words are those of the trade as commonly used (common practice, no single source). A heading
that could mean two columns (“yield”, “time”) is decided by its unit, or not at all: then it is
shown as not understood and the person decides.
"""

from __future__ import annotations

import re

from kit import codebook

# Two targets that together make the time of a pull.
DATE, CLOCK = "date", "clock"
NOT_KNOWN = "not a known heading"

_WORDS: dict[str, tuple[str, ...]] = {
    "shot": ("shot no", "shot number", "shot nr", "shot #", "no", "nr", "#", "run", "pull"),
    "planned_shot": ("planned", "plan no"),
    "session": ("day", "sitting", "sitzung", "sessione", "séance"),
    "bag": ("bag no", "tüte", "sacchetto", "sachet"),
    "block": ("round", "set", "runde", "blocco", "bloc"),
    "method": (
        "technique", "prep", "preparation", "puck prep", "treatment", "variant", "recipe",
        "methode", "metodo", "méthode", "technik",
    ),
    "code": ("blind code", "cup"),
    "dose_g": (
        "dose in", "in", "grounds", "ground coffee", "coffee", "coffee in", "dose after",
        "dose after preparation", "dosis", "einwaage", "dosi",
    ),
    "dose_before_g": ("dose before", "beans", "beans in", "weighed in"),
    "beverage_g": (
        "out", "beverage mass", "beverage weight", "drink", "espresso", "liquid", "mass out",
        "weight out", "beverage out", "getränk", "auswaage", "bevanda", "boisson",
    ),
    "tds_pct": ("tds", "total dissolved solids", "strength", "tds mean", "stärke"),
    "ey_pct": (
        "ey", "ext", "extraction", "ext yield", "extraction yield", "extraktion", "estrazione",
    ),
    "brew_ratio": ("ratio",),
    "first_drip_s": ("first drop", "first drip", "first drops", "time to first drop"),
    "shot_time_s": (
        "shot time", "brew time", "pull time", "extraction time", "total time", "duration",
        "seconds", "secs", "bezugszeit", "tempo", "durée",
    ),
    "faults": ("fault", "flow faults", "defects", "channels", "channeling", "channelling"),
    "note": ("notes", "comment", "comments", "remark", "remarks", "bemerkung", "commento"),
    "video_time": ("video", "time code", "timecode", "clip"),
    "reason": ("why lost", "reason lost"),
    "replaces": ("replaces shot", "replacement for"),
    DATE: (
        "date", "datum", "data", "when", "pulled", "timestamp", "date time", "date/time",
        "datetime", "date and time", "zeitpunkt",
    ),
    CLOCK: ("clock", "time of day", "pulled at", "uhrzeit", "ora"),
}  # fmt: skip
# Words whose meaning hangs on the unit.
_BY_UNIT: dict[str, dict[str, str]] = {
    "yield": {"g": "beverage_g", "%": "ey_pct"},
    "time": {"s": "shot_time_s"},
    "zeit": {"s": "shot_time_s"},
    "drip": {"s": "first_drip_s"},
}
_UNITS = {
    "g": "g", "gr": "g", "gram": "g", "grams": "g", "%": "%", "pct": "%", "percent": "%",
    "s": "s", "sec": "s", "secs": "s", "seconds": "s",
}  # fmt: skip
_IN_BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")


def target_of(heading: object) -> str | None:
    """The column a heading means, or None if it means none, or could mean several."""
    words, unit, unit_is_known = _split(str(heading))
    if not words or not unit_is_known:
        return None
    if words in _BY_UNIT:
        return _BY_UNIT[words].get(unit)
    target = _NAMES.get(words) or _reading(words)
    if target is None or not unit:
        return target
    expected = "" if target in (DATE, CLOCK) else codebook.column(target).unit
    return target if unit == expected else None


def _reading(words: str) -> str | None:
    """``tds 2`` is one of several readings of a cup."""
    base, _, number = words.rpartition(" ")
    is_reading = number.isdigit() and base.removesuffix(" reading") in ("tds", "tds pct")
    return "tds_pct" if is_reading else None


def why_unread(heading: object) -> str:
    """Why a heading without a target means none."""
    words, unit, unit_is_known = _split(str(heading))
    if words in _BY_UNIT and unit_is_known and unit not in _BY_UNIT[words]:
        return "could mean two things; write its unit into the heading"
    if words in _NAMES or words in _BY_UNIT:
        return "its unit is not the one that is read here"
    return NOT_KNOWN


def normalised(text: object) -> str:
    """Text for comparing: lower case, single spaces, no underscores."""
    return " ".join(str(text).replace("_", " ").casefold().split())


def _split(heading: str) -> tuple[str, str, bool]:
    """The words of a heading, its unit, and whether what stands in brackets is a known unit."""
    text = normalised(heading)
    bracketed = _IN_BRACKETS.search(text)
    if bracketed:
        inner = bracketed[1].strip()
        words = " ".join(_IN_BRACKETS.sub(" ", text).split())
        return words.strip(" .:"), _UNITS.get(inner, ""), inner in _UNITS
    for mark in (" in ", ", ", " / ", " "):
        words, _, unit = text.rpartition(mark)
        if words and unit in _UNITS and text not in _NAMES:
            return words.strip(" .:,/"), _UNITS[unit], True
    return text.strip(" .:"), "", True


def _all_names() -> dict[str, str]:
    names = {}
    for column in codebook.SHOTS:
        names[normalised(column.name)] = column.name
        names[normalised(column.label)] = column.name
    for target, words in _WORDS.items():
        names.update({normalised(word): target for word in words})
    # Two labels of the codebook are also everyday words for something else.
    names.pop("time", None)
    return names


_NAMES = _all_names()
