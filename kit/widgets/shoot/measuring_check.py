"""The check of the measuring: how readings repeat, and what would make results sharper.

It looks at repeated readings of the same cup and at the instruments, never at a method.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit.analysis.measurement import (
    Instruments,
    Repeatability,
    measurement_sentence,
    repeatability,
    uncertainty_budget,
    what_buys_more,
)
from kit.errors import DataError, ModelError
from kit.shotlog import readings_table
from kit.trial import Trial
from kit.widgets.entry import NumberRule
from kit.widgets.shoot.trial_log import TrialLog, now

TYPICAL_TDS_PCT = 9.5
"""Where no cup has been read yet (common practice, no source)."""
STEPS = {
    "dose_step_g": NumberRule("Step of the dose scale", "g", 0.001, 1.0, True, decimals=2),
    "beverage_step_g": NumberRule("Step of the beverage scale", "g", 0.001, 1.0, True, decimals=2),
    "tds_step_pct": NumberRule("Step of the TDS meter", "%", 0.001, 1.0, True, decimals=2),
}


@dataclass(frozen=True)
class Check:
    """What the check found."""

    sentences: list[str]
    budget: pd.DataFrame
    improvements: pd.DataFrame


class CheckModel(TrialLog):
    """The steps of the instruments as typed, and the readings so far."""

    def __init__(self, folder: Path) -> None:
        usual = Instruments()
        self.texts = {name: f"{getattr(usual, name):g}" for name in STEPS}
        super().__init__(folder, now)

    def type_in(self, name: str, text: str) -> None:
        """Take the text of a box as typed."""
        self.texts[name] = text
        self.touch()

    def check(self) -> Check:
        """Repeatability, uncertainty budget and what buys more, for this trial.

        Raises
        ------
        DataError
            If a step is missing or cannot be right.
        """
        if self.trial is None:
            raise DataError(self.trouble)
        steps = {name: float(rule.read(self.texts[name]) or 0) for name, rule in STEPS.items()}
        readings = readings_table(self.log, self.schedule)
        found = _repeatability(readings)
        instruments = _instruments(steps, found, readings)
        typical = _typical(self.trial, readings)
        budget = uncertainty_budget(
            *typical, instruments.uncertainty(), instruments.repeatability_df
        )
        shot_sd = self.trial.noise.shot_sd
        improvements = what_buys_more(
            shot_sd, max(1, round(self.trial.shots_per_method_planned)), instruments, typical
        )
        return Check(
            [
                _repeat_words(found),
                f"An extraction yield of {budget.ey_pct:.1f} % is known to "
                f"± {budget.expanded_points:.2f} points (95 %).",
                measurement_sentence(improvements, shot_sd),
                f"The SD of a shot is the one assumed in the plan: {self.trial.noise.provenance}.",
            ],
            budget.table,
            improvements,
        )


def _repeatability(readings: pd.DataFrame) -> Repeatability | None:
    try:
        return repeatability(readings)
    except ModelError:
        return None


def _instruments(
    steps: dict[str, float], found: Repeatability | None, readings: pd.DataFrame
) -> Instruments:
    """The instruments with the repeatability that was found, else the usual one."""
    each = readings.groupby("shot")["reading"].max()
    a_cup = max(1, round(float(each.mean()))) if len(each) else 1
    if found is None:
        return Instruments(**steps, readings=a_cup)
    return Instruments(
        **steps,
        repeatability_sd_pct=found.sd,
        repeatability_df=float(found.df),
        readings=a_cup,
    )


def _typical(trial: Trial, readings: pd.DataFrame) -> tuple[float, float, float]:
    tds = float(readings["tds_pct"].mean()) if len(readings) else TYPICAL_TDS_PCT
    return tds, trial.recipe.beverage_g, trial.recipe.dose_g


def _repeat_words(found: Repeatability | None) -> str:
    if found is None:
        return (
            "No cup was read twice yet, so an SD of 0.03 % TDS between readings is assumed. Read "
            "one cup five times, then three cups three times each."
        )
    return (
        f"Readings of one cup have an SD of {found.sd:.3f} % TDS (95 % interval {found.lower:.3f} "
        f"to {found.upper:.3f}; {found.readings} readings of {found.cups} cups). Two readings "
        f"rarely differ by more than {found.limit:.2f} % TDS."
    )
