"""Invented trials for tests: a schedule drawn from a plan, and shots with known truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from kit import codebook
from kit.schedule import draw_schedule
from kit.trial import Trial, read_trial

SAMPLES = Path(__file__).parents[2] / "sample_sessions"


def four_naps() -> Trial:
    """The plan of the first sample session: four methods, twelve blocks, three sessions."""
    return read_trial(SAMPLES / "four_naps")


def invented_shots(
    trial: Trial, rng: np.random.Generator, truth: dict[str, float], sd: float = 0.3
) -> pd.DataFrame:
    """Every planned pull, spares apart, with session SD 0.3, block SD 0.1 and no loss."""
    schedule = draw_schedule(trial, 11)
    shots = schedule[schedule["role"].ne("spare")].reset_index(drop=True)
    n = len(shots)
    shots["shot"] = np.arange(1, n + 1)
    ey = shots["method"].astype(str).map(truth).to_numpy(dtype=float) + rng.normal(0, sd, n)
    for column, spread in (("session", 0.3), ("block", 0.1)):
        labels = shots[column].astype(str)
        shift = {label: rng.normal(0, spread) for label in labels.unique()}
        ey += labels.map(shift).to_numpy(dtype=float)
    shots["dose_g"] = trial.recipe.dose_g
    shots["beverage_g"] = trial.recipe.beverage_g + rng.normal(0, 0.3, n).round(1)
    shots["ey_pct"] = ey
    shots["tds_pct"] = ey * shots["dose_g"] / shots["beverage_g"]
    shots["faults"] = (rng.uniform(size=n) < 0.2).astype(int)
    shots["status"] = "kept"
    return shots.reindex(columns=[*codebook.names(codebook.SHOTS)])
