"""Virtual tastings by the orders the kit draws, analysed by the analysis of taste scores."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.outcomes import score_outcome
from kit.planning.power import contrast_detected
from kit.planning.taste_layout import taste_contrast
from kit.planning.taste_power import CUP_SD, SHOT_SD, TASTER_METHOD_SD, TASTER_SD
from kit.schedule import tasting_orders
from kit.trial import Trial
from tests.planning.trials import make_trial

PANELS = (  # methods, tasters, cups in a sitting, sittings, whole points only
    (4, 8, 4, 3, False),
    (4, 8, 4, 3, True),
    (7, 8, 7, 4, True),
    (7, 8, 4, 4, False),
    (3, 6, 5, 2, True),
)


def taste_gaps(trials: int, seed: int) -> list[dict[str, Any]]:
    """Chance promised and found that a method ahead is told from each other one."""
    return [_gap(panel, trials, np.random.default_rng([seed, i])) for i, panel in enumerate(PANELS)]


def _gap(
    panel: tuple[int, int, int, int, bool], trials: int, rng: np.random.Generator
) -> dict[str, Any]:
    methods, tasters, cups, sittings, whole = panel
    trial = _trial(panel)
    liking = next(outcome for outcome in trial.outcomes if outcome.aspect == "score")
    contrast = taste_contrast(trial, liking, tasters)
    ahead = contrast_detected(contrast, 0.8)
    orders = tasting_orders(trial, 1)
    found = np.empty((trials, methods - 1))
    alarms = np.empty(trials)
    for number in range(trials):
        for lead in (ahead, 0.0):
            scored = orders.assign(attribute="liking", score=_scores(orders, lead, whole, rng))
            table = score_outcome(trial, liking, orders, scored).differences
            apart = (table["lower"] > 0) | (table["upper"] < 0)
            if lead:
                best = (table["a"] == "m1") | (table["b"] == "m1")
                found[number] = apart[best]
            else:
                alarms[number] = apart.any()
    each = found.mean(axis=1)
    return {
        "panel": f"{methods} methods, {tasters} tasters, {sittings} × {cups} cups"
        + (", whole points" if whole else ""),
        "df": contrast.df,
        "promised": 0.8,
        "simulated": float(each.mean()),
        "mc_error": float(each.std(ddof=1) / np.sqrt(trials)),
        "false_alarms": float(alarms.mean()),
        "false_alarms_mc_error": float(np.sqrt(alarms.mean() * (1 - alarms.mean()) / trials)),
    }


def _scores(orders: pd.DataFrame, lead: float, whole: bool, rng: np.random.Generator) -> np.ndarray:
    second = orders.groupby(["taster", "sitting", "method"]).cumcount()
    shot = pd.factorize(orders["sitting"] + orders["method"] + second.astype(str))[0]
    taster = pd.factorize(orders["taster"])[0]
    both = pd.factorize(orders["taster"] + orders["method"])[0]
    rest = np.sqrt(CUP_SD**2 - SHOT_SD**2)
    score = (
        5.0
        + lead * (orders["method"] == "m1").to_numpy(dtype=float)
        + TASTER_SD * rng.normal(size=taster.max() + 1)[taster]
        + TASTER_METHOD_SD * rng.normal(size=both.max() + 1)[both]
        + SHOT_SD * rng.normal(size=shot.max() + 1)[shot]
        + rest * rng.normal(size=len(orders))
    )
    return np.clip(np.round(score), 1, 9) if whole else score


def _trial(panel: tuple[int, int, int, int, bool]) -> Trial:
    methods, tasters, cups, sittings, whole = panel
    values = make_trial(methods, sessions=2, blocks_per_session=5).model_dump(
        mode="json", exclude_none=True
    )
    values["outcomes"].append({"measure": "liking", "aspect": "score", "smallest_difference": 1})
    values["tasting"] |= {
        "tasters": [f"T{i + 1}" for i in range(tasters)],
        "attributes": [{"name": "liking", "low": 1, "high": 9, "whole_points": whole}],
        "cups_per_sitting": cups,
        "sittings": sittings,
    }
    return Trial.model_validate(values)
