"""One shot as it is typed in: texts as they stand, what they mean, and what follows from them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from kit.codebook import column
from kit.errors import DataError
from kit.extraction import brew_ratio, extraction_yield_pct
from kit.numerals import say_number
from kit.trial import Trial
from kit.widgets.entry import NumberRule

NOTHING = "nothing went wrong"
_OUT_OF_TOLERANCE = " out of tolerance"
READINGS = ("tds_pct", "tds_2", "tds_3")
TEXTS = ("reason", "note", "video_time", "why")
_DECIMALS = {
    "dose_before_g": 2,
    "dose_g": 2,
    "beverage_g": 1,
    "first_drip_s": 1,
    "shot_time_s": 1,
    "faults": 0,
    "tds_pct": 2,
}
_AGAIN = {"tds_2": "Second reading", "tds_3": "Third reading"}
RULES = {name: NumberRule.of_column(column(name), places) for name, places in _DECIMALS.items()}
RULES |= {name: replace(RULES["tds_pct"], label=label) for name, label in _AGAIN.items()}
# Two readings of one cup rarely differ by more (repeatability limit at an SD of 0.03 % TDS).
READINGS_APART_PCT = 0.08
# A mass this far from its target is asked about once more before it is saved.
DOUBTFUL_SHARE = 0.2


@dataclass(frozen=True)
class ShotForm:
    """The texts of the boxes; a change makes a new form."""

    texts: dict[str, str]

    @classmethod
    def empty(cls) -> ShotForm:
        """All boxes empty."""
        return cls({**dict.fromkeys(RULES, ""), **dict.fromkeys(TEXTS, ""), "reason": NOTHING})

    @classmethod
    def of_draft(cls, draft: dict[str, Any]) -> ShotForm:
        """A form with what a draft holds of it."""
        texts = cls.empty().texts
        return cls({name: str(draft.get(name, text)) for name, text in texts.items()})

    @classmethod
    def of_entry(cls, entered: dict[str, Any]) -> ShotForm:
        """A form with the values of a logged shot, to correct them."""
        texts = cls.empty().texts
        for name in (*_DECIMALS, "note", "video_time"):
            if entered.get(name) is not None:
                texts[name] = _as_typed(entered[name])
        for name, value in zip(READINGS, entered.get("tds_readings", []), strict=False):
            texts[name] = _as_typed(value)
        reason = entered.get("reason") or NOTHING
        # What the tolerances said is worked out again from the masses as corrected.
        texts["reason"] = NOTHING if reason.endswith(_OUT_OF_TOLERANCE) else reason
        return cls(texts)

    def typed(self, name: str, text: str) -> ShotForm:
        """The form with one box changed."""
        return ShotForm({**self.texts, name: text})

    @property
    def is_empty(self) -> bool:
        """Whether nothing has been typed."""
        return self.texts == ShotForm.empty().texts

    def value(self, name: str) -> float | None:
        """The number in a box; None while it is empty or cannot be right."""
        try:
            return RULES[name].read(self.texts[name])
        except DataError:
            return None

    def problems(self) -> list[str]:
        """What is wrong with the numbers, a sentence each."""
        found = [(rule, rule.problem(self.texts[name])) for name, rule in RULES.items()]
        return [f"{rule.label}: {problem}" for rule, problem in found if problem]

    def readings(self) -> list[float]:
        """The TDS readings that are there, in percent."""
        values = [self.value(name) for name in READINGS]
        return [value for value in values if value is not None]

    def computed(self) -> dict[str, str]:
        """Brew ratio and extraction yield in words for as much as is known."""
        dose, beverage = self.value("dose_g"), self.value("beverage_g")
        readings = self.readings()
        said = {"Brew ratio": "–", "Extraction yield": "–"}
        if dose is not None and beverage is not None:
            said["Brew ratio"] = f"1 : {say_number(float(brew_ratio(dose, beverage)), 2)}"
            if readings:
                tds = sum(readings) / len(readings)
                ey = float(extraction_yield_pct(tds, beverage, dose))
                said["Extraction yield"] = f"{say_number(ey, 2)} %"
        return said

    def spread_words(self) -> str:
        """How far the readings of this cup are apart; empty with fewer than two."""
        readings = self.readings()
        if len(readings) < 2:
            return ""
        apart = max(readings) - min(readings)
        said = f"The readings are {say_number(apart, 2)} % TDS apart."
        if apart > READINGS_APART_PCT + 1e-9:
            return said + " That is more than one cup usually shows: stir, wipe, read once more."
        return said

    def loss_words(self) -> str:
        """How much coffee preparation cost; empty unless both doses are known."""
        before, after = self.value("dose_before_g"), self.value("dose_g")
        if before is None or after is None:
            return ""
        return f"Preparation lost {say_number(before - after, 2)} g."

    def masses_words(self, trial: Trial) -> list[str]:
        """Each mass against its target, a sentence each, for as much as is known."""
        said = []
        for name, target, tolerance in targets(trial):
            value = self.value(name)
            if value is None:
                continue
            off = value - target
            what = RULES[name].label
            if abs(off) <= tolerance + 1e-9:
                said.append(f"{what} {value:g} g: within {target:g} ± {tolerance:g} g.")
            else:
                side = "over" if off > 0 else "under"
                said.append(
                    f"{what} {value:g} g: {say_number(abs(off), _DECIMALS[name])} g {side} "
                    f"{target:g} g, out of tolerance (± {tolerance:g} g)."
                )
        return said

    def doubts(self, trial: Trial) -> list[str]:
        """Masses so far from target that a slip of the finger is likelier than the mass."""
        return [
            f"{RULES[name].label} {value:g} g is far from {target:g} g."
            for name, target, _ in targets(trial)
            if (value := self.value(name)) is not None
            and abs(value - target) > DOUBTFUL_SHARE * target
        ]

    def reason(self, trial: Trial) -> str:
        """Why the shot is lost, by what was chosen or by the declared tolerances; else empty."""
        if self.texts["reason"] != NOTHING:
            return self.texts["reason"]
        for name, target, tolerance in targets(trial):
            declared = RULES[name].label.lower() + _OUT_OF_TOLERANCE
            value = self.value(name)
            if value is None or declared not in trial.rules.replace_for:
                continue
            if abs(value - target) > tolerance + 1e-9:
                return declared
        return ""

    def values(self) -> dict[str, Any]:
        """What was typed, as ``log_shot`` takes it; the reason is decided elsewhere."""
        numbers = {name: self.value(name) for name in _DECIMALS if name != "tds_pct"}
        texts = {name: self.texts[name].strip() for name in ("note", "video_time")}
        known = {name: value for name, value in numbers.items() if value is not None}
        if "faults" in known:
            known["faults"] = int(known["faults"])
        said = {name: text for name, text in texts.items() if text}
        readings = {"tds_readings": self.readings()} if self.readings() else {}
        return {**known, **said, **readings}


def accidents(trial: Trial) -> list[str]:
    """The declared reasons a person may name; whether a mass is out of tolerance is weighed."""
    return [each for each in trial.rules.replace_for if not each.endswith(_OUT_OF_TOLERANCE)]


def targets(trial: Trial) -> list[tuple[str, float, float]]:
    """The masses the recipe holds still: column, target, tolerance (all in g)."""
    recipe = trial.recipe
    return [
        ("dose_g", recipe.dose_g, recipe.dose_tolerance_g),
        ("beverage_g", recipe.beverage_g, recipe.beverage_tolerance_g),
    ]


def _as_typed(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
