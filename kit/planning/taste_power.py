"""Taste scores: what a panel can tell, in closed form and as a plan for virtual tastings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.analysis.batch.layout import lay_out
from kit.planning import inputs
from kit.planning.comparisons import Contrast, tukey_critical
from kit.planning.truth import Truth
from kit.planning.virtual import VirtualPlan, all_pairs
from kit.trial import Trial

TASTER_SD = 0.9
TASTER_METHOD_SD = 0.3
CUP_SD = 0.8
"""On a nine-point scale: guesses without a source, to be replaced by the panel's own."""
SHOT_SD = 0.4
"""The part of the cup's SD that belongs to the shot, shared by all who taste it (a guess)."""


@dataclass(frozen=True)
class TasteScores:
    """All pairs of k methods scored by a panel; every taster scores every method m times.

    A taster's level cancels. What tasters think differently of a method (``taster_method_sd``)
    does not shrink with cups, only with tasters, so it sets the error: SE = √(2(σ²_tm + σ²/m)/T)
    on (k-1)(T-1) degrees of freedom (the mixed-model test of Montgomery 2013, section 13.3).
    """

    methods: int
    tasters: int
    taster_method_sd: float = TASTER_METHOD_SD
    cup_sd: float = CUP_SD
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        inputs.method_count(self.methods)
        inputs.assessment_count(self.tasters, "The number of tasters")
        if self.tasters < 2:
            raise inputs.PlanError(
                "One taster cannot speak for others: scores are planned for two or more. "
                "Ask a second person, or plan a triangle test."
            )
        inputs.not_negative(self.taster_method_sd, "The SD of tasters' opinions")
        inputs.positive(self.cup_sd, "The SD of a cup's score")

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "any two methods, all judged together"

    @property
    def fewest_shots(self) -> int:
        """One cup of each method for each taster."""
        return 1

    def contrast(self, shots: float) -> Contrast:
        """``shots`` is the number of cups of each method a taster scores."""
        cups = inputs.shot_count(shots, least=1)
        variance = self.taster_method_sd**2 + self.cup_sd**2 / cups
        df = (self.methods - 1) * (self.tasters - 1)
        se = float(np.sqrt(2 * variance / self.tasters))
        return Contrast(se, df, tukey_critical(self.methods, df, self.false_alarms))


def taste_plan(trial: Trial, sittings: int, rng: np.random.Generator) -> VirtualPlan:
    """A plan of virtual tastings: every taster, in every sitting, one cup of each method.

    Raises
    ------
    PlanError
        If there are fewer than two tasters, or no sitting.
    """
    tasters = trial.tasting.tasters
    TasteScores(len(trial.methods), len(tasters))
    inputs.assessment_count(sittings, "The number of sittings")
    rows = pd.DataFrame(
        [
            (taster, f"{taster} {sitting + 1}", place + 1, trial.method_names[method])
            for taster in tasters
            for sitting in range(sittings)
            for place, method in enumerate(rng.permutation(len(trial.methods)))
        ],
        columns=["taster", "sitting", "cup_position", "method"],
    )
    rows["method"] = pd.Categorical(rows["method"], trial.method_names)
    rows["taster_method"] = rows["taster"] + " × " + rows["method"].astype(str)
    random = ["taster", "taster_method"] if sittings > 1 else ["taster"]
    place = rows["cup_position"].to_numpy(dtype=float)
    layout = lay_out(
        rows["method"].astype(str).to_numpy(), {name: rows[name] for name in random}, place
    )
    codes = rows["method"].cat.codes.to_numpy().astype(np.intp)
    return VirtualPlan(rows, layout, codes, (all_pairs(layout),), place - place.mean())


def taste_truth(trial: Trial, position_effect: float = 0.0) -> Truth:
    """A panel that likes all methods alike, with the guessed SDs of a nine-point scale."""
    names = tuple(trial.method_names)
    level = (0.0,) * len(names)
    return Truth(
        names,
        level,
        (CUP_SD,) * len(names),
        level,
        0.0,
        0.0,
        drift_per_shot=position_effect,
        taster_sd=TASTER_SD,
        taster_method_sd=TASTER_METHOD_SD,
    )
