"""A rehearsal before the shoot: the whole analysis on invented shots in the drawn order.

The shots follow the noise the plan assumes and no method is better than another, so whatever the
rehearsal shows is luck. Nothing is written; everything is marked as invented.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from kit import codebook
from kit.analysis.trial_analysis import Drawn, analyse_trial
from kit.errors import PlanError
from kit.extraction import brew_ratio
from kit.findings import Record, state_findings
from kit.findings.needs import shots_in_words
from kit.planning.truth import Truth
from kit.planning.virtual import draw_faulty, draw_shots, virtual_plan
from kit.results.compute import Progress, Results
from kit.shotlog import schedule_of
from kit.trial import Trial, read_trial

USUAL_EY_PCT = 19.5
"""Extraction every method has in a rehearsal (common practice, no source)."""
MASS_SD_G = 0.4


def rehearse(folder: Path, rng: np.random.Generator, progress: Progress | None = None) -> Results:
    """Analyse an invented completed trial in the order of this folder's schedule.

    Raises
    ------
    PlanError
        If no schedule was drawn yet.
    """
    schedule = schedule_of(folder)
    if schedule is None:
        raise PlanError("There is no schedule to rehearse yet. Draw it in 1_plan.")
    planned = read_trial(folder)
    trial = planned.model_copy(
        update={"title": f"Rehearsal: {planned.title}"[:120], "invented": True}
    )
    shots = invented_shots(planned, schedule, rng)
    drawn = Drawn(schedule, rng)
    analysis = analyse_trial(trial, shots, None, drawn, progress)
    record = Record(analyst_was_blind=True)
    findings = state_findings(trial, analysis, record, partial(shots_in_words, trial))
    none = pd.DataFrame(columns=codebook.names(codebook.TASTINGS))
    deviations = pd.DataFrame(columns=codebook.names(codebook.DEVIATIONS))
    return Results(
        trial=trial,
        shots=shots,
        tastings=none,
        schedule=schedule,
        deviations=deviations,
        record=record,
        analysis=analysis,
        findings=findings,
    )


def invented_shots(trial: Trial, schedule: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Study and reference shots of a schedule with invented results: ``codebook.SHOTS`` columns."""
    plan, truth = virtual_plan(schedule, trial), Truth.level(trial)
    pulled = schedule[schedule["role"].isin(["study", "reference"])].reset_index(drop=True)
    shots = pulled.reindex(columns=[*codebook.names(codebook.SHOTS), *_factors(trial, schedule)])
    study = (shots["role"] == "study").to_numpy()
    shots["shot"] = np.arange(1, len(shots) + 1)
    shots["status"] = "kept"
    shots["dose_g"] = trial.recipe.dose_g
    shots["beverage_g"] = np.round(
        trial.recipe.beverage_g + rng.normal(0, MASS_SD_G, len(shots)), 1
    )
    ey = USUAL_EY_PCT + rng.normal(0, trial.noise.shot_sd, len(shots))
    ey[study] = USUAL_EY_PCT + draw_shots(plan, truth, rng, 1)[0][:, 0]
    shots["ey_pct"] = ey
    shots["tds_pct"] = ey * shots["dose_g"] / shots["beverage_g"]
    shots["brew_ratio"] = brew_ratio(shots["dose_g"], shots["beverage_g"])
    shots["shot_time_s"] = np.round(rng.normal(28, 2, len(shots)), 1)
    faulty = np.zeros(len(shots), dtype=int)
    faulty[study] = draw_faulty(plan, truth, rng, 1)[:, 0]
    shots["faults"] = faulty
    return shots


def _factors(trial: Trial, schedule: pd.DataFrame) -> list[str]:
    return [factor.name for factor in trial.factors if factor.name in schedule]
