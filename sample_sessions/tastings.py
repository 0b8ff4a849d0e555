"""Invented tastings for a sample session: liking, bitterness, and a duo-trio test."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.discrimination import test_name
from kit.trial import Trial


def invented_tastings(
    trial: Trial, truth: dict[str, Any], shots: pd.DataFrame, rng: np.random.Generator
) -> Iterator[tuple[datetime, dict[str, Any]]]:
    """What each taster gave each cup, with the time it was entered.

    In each sitting every taster gets one cup of every method, in an order of their own that is
    balanced over the panel; the cups are pulled for the tasting, so each has luck of its own.
    """
    tasting = truth["tasting"]
    methods = trial.method_names
    start = pd.Timestamp(shots["pulled_at"].iloc[-1]).to_pydatetime() + timedelta(days=1)
    liked = {
        (taster, method): float(rng.normal(0, tasting["taster_method_sd"]))
        for taster in trial.tasting.tasters
        for method in methods
    }
    own_scale = {
        taster: float(rng.normal(0, tasting["taster_sd"])) for taster in trial.tasting.tasters
    }
    codes = iter(rng.permutation(np.arange(100, 1000)))
    for sitting in range(1, tasting["sittings"] + 1):
        orders = _balanced_orders(len(methods), len(trial.tasting.tasters), rng)
        for taster, order in zip(trial.tasting.tasters, orders, strict=True):
            for place, index in enumerate(order, start=1):
                method = methods[index]
                personal = own_scale[taster] + liked[taster, method]
                yield (
                    start + timedelta(days=sitting - 1, minutes=4 * place),
                    {
                        "taster": taster,
                        "sitting": f"{taster}-{sitting}",
                        "cup_position": place,
                        "code": str(next(codes)),
                        "method": method,
                        "scores": _scores(truth, method, personal, place, rng),
                    },
                )
    yield from _duo_trio(trial, tasting, start + timedelta(days=tasting["sittings"]), codes, rng)


def _scores(
    truth: dict[str, Any], method: str, personal: float, place: int, rng: np.random.Generator
) -> dict[str, float]:
    tasting = truth["tasting"]
    ey = float(
        rng.normal(
            truth["extraction"]["mean_pct"][method], truth["extraction"]["shot_sd"][method] / 3
        )
    )
    off_peak = ey - tasting["liking_peak_ey_pct"]
    liking = (
        tasting["liking_at_its_peak"]
        - tasting["liking_lost_a_squared_point"] * off_peak**2
        + personal
        + tasting["later_cup"] * (place - 1)
        + rng.normal(0, tasting["cup_sd"])
    )
    bitter = (
        tasting["bitterness_at_20"] + tasting["bitterness_a_point"] * (ey - 20) + rng.normal(0, 1.0)
    )
    return {
        "liking": float(np.clip(round(liking), 1, 9)),
        "bitterness": float(np.clip(round(2 * bitter) / 2, 0, 10)),
    }


def _balanced_orders(methods: int, tasters: int, rng: np.random.Generator) -> list[list[int]]:
    """Rows of a cyclic square and of its mirror, relabelled and shuffled for this sitting."""
    names = rng.permutation(methods)
    # 0, 1, n-1, 2, n-2, …: steps between neighbours that are all different (Williams 1949)
    first = [(place + 1) // 2 if place % 2 else -(place // 2) % methods for place in range(methods)]
    rows = [[(start + step) % methods for step in first] for start in range(methods)]
    rows += [row[::-1] for row in rows]
    chosen = rng.permutation(len(rows))[:tasters]
    return [[int(names[index]) for index in rows[row]] for row in chosen]


def _duo_trio(
    trial: Trial,
    tasting: dict[str, Any],
    at: datetime,
    codes: Iterator[Any],
    rng: np.random.Generator,
) -> Iterator[tuple[datetime, dict[str, Any]]]:
    """1 where the taster matched the reference cup, 0 where not."""
    pair = trial.tasting.pair or ("", "")
    for taster in trial.tasting.tasters:
        for number in range(1, trial.tasting.sets_per_taster + 1):
            tells = rng.random() < tasting["share_who_tell_the_pair"]
            right = tells or rng.random() < 0.5
            yield (
                at + timedelta(minutes=6 * number),
                {
                    "taster": taster,
                    "sitting": f"{taster}-{trial.tasting.discrimination}",
                    "cup_position": number,
                    "code": str(next(codes)),
                    "scores": {test_name(trial.tasting.discrimination, pair): float(right)},
                },
            )
