"""Spread and faults in virtual trials, by the very tests of the analysis.

These tests leave out blocks one by one, or sum over all tables of a layout, and take a tenth of a
second each; a few hundred virtual trials are a matter of a minute. The chances of means come
from :mod:`kit.planning.simulation`, which is thousands of times faster.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd

from kit.analysis.defects import fault_differences
from kit.analysis.repeatability import spread_ratios
from kit.errors import ModelError
from kit.planning.chunks import Run, in_chunks, stream
from kit.planning.truth import Truth
from kit.planning.virtual import FALSE_ALARMS, VirtualPlan, draw_faulty, draw_shots

CHUNK = 5
"""Virtual trials a chunk: about a second."""


def spread_found(plan: VirtualPlan, truth: Truth, run: Run) -> pd.DataFrame:
    """How often the analysis finds a ratio of SDs, pair by pair and in any pair.

    Returns columns ``a, b, found, mc_error``; the row ``any, any`` counts trials in which at
    least one pair was found (under a level truth: the rate of false alarms).
    """
    return _counted(plan, run, partial(_spread_chunk, plan, truth))


def faults_found(plan: VirtualPlan, truth: Truth, run: Run) -> pd.DataFrame:
    """How often the analysis finds a difference of fault rates; columns as above."""
    return _counted(plan, run, partial(_fault_chunk, plan, truth))


def _spread_chunk(
    plan: VirtualPlan, truth: Truth, seed: int, number: int, trials: int
) -> np.ndarray:
    rng = stream(seed, number)
    means = dict(zip(truth.methods, truth.means, strict=True))
    y, kept = draw_shots(plan, truth, rng, trials)
    y = y + plan.rows["method"].map(means).to_numpy(dtype=float)[:, None]
    return _findings(plan, y, kept, lambda rows: spread_ratios(rows, "value", plan.layout.names))


def _fault_chunk(
    plan: VirtualPlan, truth: Truth, seed: int, number: int, trials: int
) -> np.ndarray:
    rng = stream(seed, number)
    faulty = draw_faulty(plan, truth, rng, trials).astype(float)
    kept = draw_shots(plan, truth, rng, trials)[1]
    # The finest restriction is the stratum, as in the analysis of the real trial.
    stratum = plan.layout.names[-1] if plan.layout.names else None
    return _findings(
        plan, faulty, kept, lambda rows: fault_differences(rows, "value", strata=stratum)
    )


def _findings(
    plan: VirtualPlan,
    values: np.ndarray,
    kept: np.ndarray,
    analyse: Callable[[pd.DataFrame], pd.DataFrame],
) -> np.ndarray:
    """(trials, pairs) booleans: adjusted p at or below 5 %; nothing found where it cannot run."""
    pairs = _pairs(plan)
    found = np.zeros((values.shape[1], len(pairs)), dtype=bool)
    columns = ["method", *plan.layout.names]
    for trial in range(values.shape[1]):
        rows = plan.rows.loc[kept[:, trial], columns].copy()
        for name in plan.layout.names:
            rows[name] = pd.Categorical(rows[name].astype(str))
        rows["value"] = values[kept[:, trial], trial]
        try:
            table = analyse(rows)
        except ModelError:
            continue
        for a, b in table.loc[table["p_adjusted"] <= FALSE_ALARMS, ["a", "b"]].itertuples(
            index=False
        ):
            found[trial, pairs.index((a, b))] = True
    return found


def _pairs(plan: VirtualPlan) -> list[tuple[str, str]]:
    names = list(plan.rows["method"].cat.categories)
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def _counted(
    plan: VirtualPlan, run: Run, work: Callable[[int, int, int], np.ndarray]
) -> pd.DataFrame:
    found = np.vstack(in_chunks(work, run, CHUNK))
    with_any = np.column_stack([found, found.any(axis=1)]).astype(float)
    pairs = [*_pairs(plan), ("any", "any")]
    share = with_any.mean(axis=0)
    return pd.DataFrame(
        {
            "a": [a for a, _ in pairs],
            "b": [b for _, b in pairs],
            "found": share,
            "mc_error": np.sqrt(share * (1 - share) / len(found)),
        }
    )
