"""What will be judged, as a form: outcomes, their smallest differences, and which one is primary.

No widgets here. A taste attribute is kept together with the outcome that judges it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from kit.errors import DataError
from kit.planning.words import label_of, unit_of
from kit.trial import Attribute, Outcome, Trial
from kit.trial.model import Aspect
from kit.widgets.entry import NumberRule

DEFAULT_SIZES = {
    ("ey_pct", "mean"): "0.5",
    ("ey_pct", "spread"): "1.5",
    ("faults", "rate"): "20",
    ("shot_time_s", "mean"): "3",
    ("shot_time_s", "spread"): "1.5",
    ("tds_pct", "mean"): "0.3",
    ("first_drip_s", "mean"): "1",
}
"""What can be added besides taste, with a first suggestion (design choices)."""
NEW_TASTE = ("", "score")
FAMILIES = {
    "all pairs": "all with each other",
    "against control": "all with the control",
    "factorial": "effects of the factors",
}
BETTER = {"more": True, "less": False, "neither": None}
"""What stands in the choice, and what is written into ``trial.toml``."""
ASPECT_WORDS = {
    "mean": "average",
    "spread": "evenness",
    "rate": "share of shots",
    "score": "taste",
}
_SCALE = NumberRule("", "", -1000, 1000, required=True)


@dataclass
class OutcomeEntry:
    """One outcome as typed."""

    number: int
    measure: str
    aspect: Aspect
    role: str
    size: str
    family: str
    better: str
    """A key of ``BETTER``."""
    low: str = "0"
    high: str = "10"
    whole: bool = False
    """The scale of a taste attribute."""

    @property
    def words(self) -> str:
        """``Extraction yield, average``."""
        name = label_of(self.measure) if self.measure.strip() else "New taste attribute"
        return f"{name}, {ASPECT_WORDS[self.aspect]}"

    @property
    def rule(self) -> NumberRule:
        """Which smallest differences can be true."""
        label = "Smallest difference that matters"
        if self.aspect == "spread":
            return NumberRule(label, "times", 1.01, 100, required=True, decimals=2)
        if self.aspect == "rate":
            return NumberRule(label, "percentage points", 1, 99, required=True, decimals=0)
        unit = "points" if self.aspect == "score" else unit_of(self.measure)
        return NumberRule(label, unit, 0.01, 100, required=True, decimals=2)

    def scale_problem(self) -> str:
        """What is wrong with the ends of a taste scale; empty when nothing is."""
        try:
            low, high = _SCALE.read(self.low), _SCALE.read(self.high)
        except DataError as error:
            return f"The scale: {error}"
        if low is None or high is None or high <= low:
            return "The high end of the scale must be above its low end."
        return ""

    def value(self) -> dict[str, Any]:
        """The outcome as it stands in ``trial.toml``."""
        size = self.rule.read(self.size) or 0.0
        given = {
            "measure": self.measure.strip(),
            "aspect": self.aspect,
            "role": self.role,
            "smallest_difference": size / 100 if self.aspect == "rate" else size,
            "family": self.family,
        }
        better = BETTER[self.better]
        return given | ({} if better is None else {"higher_is_better": better})


@dataclass
class OutcomesForm:
    """All outcomes as typed; equal forms say the same."""

    entries: list[OutcomeEntry] = field(default_factory=list)
    _next: int = field(default=0, compare=False)

    @classmethod
    def of(cls, trial: Trial | None) -> OutcomesForm:
        """The form filled from a trial."""
        if trial is None:
            return cls()
        scales = {attribute.name: attribute for attribute in trial.tasting.attributes}
        entries = [
            _entry_of(number, outcome, scales.get(outcome.measure))
            for number, outcome in enumerate(trial.outcomes)
        ]
        return cls(entries, len(entries))

    @property
    def primary(self) -> OutcomeEntry:
        """The outcome the claim rests on."""
        return next(entry for entry in self.entries if entry.role == "primary")

    @property
    def noise_measure(self) -> str:
        """The measure whose noise is asked for (see :mod:`kit.planning.questions`)."""
        primary = self.primary
        return primary.measure if primary.aspect in ("mean", "spread") else "ey_pct"

    @property
    def numbers(self) -> list[int]:
        """The numbers of the outcomes in their order."""
        return [entry.number for entry in self.entries]

    def entry(self, number: int) -> OutcomeEntry:
        """The outcome with this number."""
        return next(entry for entry in self.entries if entry.number == number)

    def make_primary(self, number: int) -> None:
        """Let the claim rest on this outcome; the one before becomes secondary."""
        for entry in self.entries:
            if entry.number == number:
                entry.role = "primary"
            elif entry.role == "primary":
                entry.role = "secondary"

    def to_add(self) -> list[tuple[str, Aspect]]:
        """What can still be judged: measures and aspects; last a taste attribute."""
        there = {(entry.measure, entry.aspect) for entry in self.entries}
        left: list[tuple[str, Aspect]] = [key for key in DEFAULT_SIZES if key not in there]  # type: ignore[misc]
        return [*left, NEW_TASTE]  # type: ignore[list-item]

    def add(self, measure: str, aspect: Aspect) -> None:
        """One more outcome, secondary, judged like the primary one."""
        number, self._next = self._next, self._next + 1
        family = self.primary.family if aspect in ("mean", "score") else "all pairs"
        if aspect == "score" and family == "factorial":
            family = "all pairs"
        better = {"spread": "less", "rate": "less", "score": "more"}.get(aspect, "neither")
        better = "more" if (measure, aspect) == ("ey_pct", "mean") else better
        size = DEFAULT_SIZES.get((measure, aspect), "1")
        self.entries.append(
            OutcomeEntry(number, measure, aspect, "secondary", size, family, better)
        )

    def remove(self, number: int) -> None:
        """Judge this outcome no more; the primary one stays."""
        if self.primary.number != number:
            self.entries = [entry for entry in self.entries if entry.number != number]

    def problem(self, number: int, has_control: bool) -> str:
        """What is wrong with an outcome besides its size; empty when nothing is."""
        entry = self.entry(number)
        if entry.aspect == "score" and not entry.measure.strip():
            return "This taste attribute has no name yet. Name it, or remove it."
        if any(
            (other.measure.strip(), other.aspect) == (entry.measure.strip(), entry.aspect)
            for other in self.entries
            if other.number != number
        ):
            return f"“{entry.measure.strip()}” is judged twice. Rename one, or remove it."
        if entry.family == "against control" and not has_control:
            return "It is judged against the control, and no method is the control. Mark one."
        return entry.scale_problem() if entry.aspect == "score" else ""

    def problems(self, has_control: bool) -> list[str]:
        """Everything that is wrong, a sentence each."""
        found = []
        for entry in self.entries:
            size = entry.rule.problem(entry.size)
            if size:
                start = "" if size.startswith(entry.rule.label) else f"{entry.rule.label}: "
                found.append(f"{entry.words}: {start}{size}")
            if problem := self.problem(entry.number, has_control):
                found.append(f"{entry.words}: {problem}")
        return found

    def values(self) -> list[dict[str, Any]]:
        """The outcomes as they stand in ``trial.toml``."""
        return [entry.value() for entry in self.entries]

    def attributes(self) -> list[dict[str, Any]]:
        """The taste attributes that are judged, with their scales."""
        return [
            {
                "name": entry.measure.strip(),
                "low": _SCALE.read(entry.low),
                "high": _SCALE.read(entry.high),
                "whole_points": entry.whole,
            }
            for entry in self.entries
            if entry.aspect == "score"
        ]


def _entry_of(number: int, outcome: Outcome, scale: Attribute | None) -> OutcomeEntry:
    size = outcome.smallest_difference
    entry = OutcomeEntry(
        number,
        outcome.measure,
        outcome.aspect,
        outcome.role,
        f"{100 * size:g}" if outcome.aspect == "rate" else f"{size:g}",
        outcome.family,
        next(word for word, meant in BETTER.items() if meant is outcome.higher_is_better),
    )
    if scale is not None:
        entry.low, entry.high = f"{scale.low:g}", f"{scale.high:g}"
        entry.whole = scale.whole_points
    return entry
