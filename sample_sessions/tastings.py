"""Invented tastings for a sample session: scores of the drawn cups, and the drawn taste tests."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from kit.schedule.tasting import name_of_test
from kit.trial import Trial

Tasted = tuple[datetime, dict[str, Any]]


def invented_tastings(
    trial: Trial,
    truth: dict[str, Any],
    drawn: tuple[pd.DataFrame, pd.DataFrame],
    start: datetime,
    rng: np.random.Generator,
) -> Iterator[Tasted]:
    """What each taster gave each cup and answered to each set, with the time it was entered.

    ``drawn``: the cups and the sets of the panel, as the kit draws them. In a sitting each method
    is pulled once for all tasters, so they share the luck of that shot.
    """
    orders, sets = drawn
    tasting = truth["tasting"]
    sittings = list(dict.fromkeys(orders["sitting"]))
    palates = {
        taster: float(rng.normal(0, tasting["taster_sd"])) for taster in trial.tasting.tasters
    }
    tastes = {
        (taster, method): float(rng.normal(0, tasting["taster_method_sd"]))
        for taster in trial.tasting.tasters
        for method in trial.method_names
    }
    yields = {
        (sitting, method): shot_yield(truth, method, rng)
        for sitting in sittings
        for method in trial.method_names
    }
    for taster, sitting, place, code, method, _ in orders.itertuples(index=False, name=None):
        ey_pct = yields[sitting, method]
        own = palates[taster] + tastes[taster, method]
        at = start + timedelta(days=sittings.index(sitting), minutes=4 * int(place))
        yield (
            at,
            {
                "taster": taster,
                "sitting": sitting,
                "cup_position": int(place),
                "code": code,
                "method": method,
                "scores": cup_scores(truth, ey_pct, own, int(place), rng),
            },
        )
    yield from _answers(trial, truth, sets, start + timedelta(days=len(sittings)), rng)


def shot_yield(truth: dict[str, Any], method: str, rng: np.random.Generator) -> float:
    """The extraction of a shot pulled for the tasters, who get only well-made ones."""
    bench = truth["extraction"]
    return float(rng.normal(bench["mean_pct"][method], bench["shot_sd"][method] / 3))


def cup_scores(
    truth: dict[str, Any], ey_pct: float, own: float, place: int, rng: np.random.Generator
) -> dict[str, float]:
    """Liking and bitterness of one cup, on their scales."""
    tasting = truth["tasting"]
    off_peak = ey_pct - tasting["liking_peak_ey_pct"]
    liking = (
        tasting["liking_at_its_peak"]
        - tasting["liking_lost_a_squared_point"] * off_peak**2
        + own
        + tasting["later_cup"] * (place - 1)
        + rng.normal(0, tasting["cup_sd"])
    )
    bitter = tasting["bitterness_at_20"] + tasting["bitterness_a_point"] * (ey_pct - 20)
    bitter += rng.normal(0, tasting["cup_sd"])
    return {
        "liking": float(np.clip(round(liking), 1, 9)),
        "bitterness": float(np.clip(round(2 * bitter) / 2, 0, 10)),
    }


def _answers(
    trial: Trial,
    truth: dict[str, Any],
    sets: pd.DataFrame,
    at: datetime,
    rng: np.random.Generator,
) -> Iterator[Tasted]:
    """1 where the taster named the right cup of a set, 0 where not."""
    name = name_of_test(trial.tasting.discrimination, trial.tasting.pair or ())
    for (taster, number), cups in sets.groupby(["taster", "set"], sort=False):
        tells = rng.random() < truth["tasting"]["share_who_tell_the_pair"]
        right = tells or rng.random() < 0.5
        named = cups[(cups["part"] == "sample") & (cups["answer"].eq("yes") == right)].iloc[0]
        yield (
            at + timedelta(minutes=6 * int(number)),
            {
                "taster": taster,
                "sitting": trial.tasting.discrimination,
                "cup_position": int(number),
                "code": named["code"],
                "scores": {name: float(right)},
            },
        )
