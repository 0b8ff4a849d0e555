"""Numbers, units and lists in words, by one rule for the whole kit.

An uncertainty is given to two significant digits and its estimate to the same decimals
(JCGM 100:2008, 7.2.6). A p value never stands without its estimate and interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from kit.numerals import round_uncertainty, say_number
from kit.trial import Outcome

MEASURE_WORDS = {
    "ey_pct": "extraction",
    "tds_pct": "strength (TDS)",
    "faults": "flow faults",
    "shot_time_s": "shot time",
    "beverage_g": "beverage mass",
    "brew_ratio": "brew ratio",
}


@dataclass(frozen=True)
class Scale:
    """How one outcome is spoken of."""

    noun: str
    unit: str
    factor: float = 1.0
    """A rate is kept as a share and spoken of in percentage points: 100."""
    is_ratio: bool = False

    def value(self, value: float, decimals: int) -> str:
        """A value with its unit."""
        return f"{say_number(value * self.factor, decimals)}{self.unit}"

    def interval(self, lower: float, upper: float) -> tuple[str, int]:
        """An interval as text, and the decimals that its width calls for."""
        half_width = (upper - lower) / 2 * self.factor
        if not math.isfinite(half_width) or half_width == 0:
            decimals = 2
        else:
            decimals = min(round_uncertainty(half_width)[1], 3)
        ends = [
            say_number(end * self.factor, decimals) if math.isfinite(end) else "∞"
            for end in (lower, upper)
        ]
        return f"{ends[0]} to {ends[1]}{self.unit}", decimals


def scale_of(outcome: Outcome) -> Scale:
    """How to speak of an outcome: its noun and the unit of its differences."""
    noun = MEASURE_WORDS.get(outcome.measure, outcome.measure.replace("_", " "))
    if outcome.aspect == "spread":
        return Scale(f"shot-to-shot spread of {noun}", "", is_ratio=True)
    if outcome.aspect == "rate":
        return Scale(f"shots with {noun}", " percentage points", factor=100.0)
    if outcome.aspect == "score":
        return Scale(noun, " scale points")
    units = {
        "ey_pct": " points",
        "tds_pct": " points of TDS",
        "shot_time_s": " s",
        "beverage_g": " g",
    }
    return Scale(noun, units.get(outcome.measure, ""))


def outcome_label(outcome: Outcome) -> str:
    """A heading for an outcome: ``Extraction (mean)``, ``Liking (score)``."""
    noun = MEASURE_WORDS.get(outcome.measure, outcome.measure.replace("_", " "))
    return f"{sentence_case(noun)} ({outcome.aspect})"


def listed(names: Sequence[str], last: str = "and") -> str:
    """``A``, ``A and B``, ``A, B and C``."""
    if len(names) <= 1:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def sentence_case(text: str) -> str:
    """The text with its first letter as a capital, the rest untouched."""
    return text[:1].upper() + text[1:]


def smallest_difference_words(outcome: Outcome) -> str:
    """The declared smallest difference that matters, in words."""
    scale = scale_of(outcome)
    if scale.is_ratio:
        return f"a ratio of {outcome.smallest_difference:g}"
    size = outcome.smallest_difference * scale.factor
    unit = (
        scale.unit.removesuffix("s") if size == 1 and scale.unit.endswith("points") else scale.unit
    )
    return f"{size:g}{unit}"
