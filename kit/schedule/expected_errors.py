"""The standard error each comparison of a schedule will have, before any shot is pulled."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.design.blockdesign import FloatArray
from kit.design.factorial import Contrast, factorial_contrasts
from kit.design.variance import (
    contrast_variances,
    indicator,
    information_with_fixed,
    information_with_random,
    pair_weights,
)
from kit.trial import Trial

_MOST_EFFECTS = 60
COLUMNS = ["kind", "contrast", "a", "b", "efficiency", "se_within_blocks", "se_expected"]


def expected_errors(trial: Trial, study: pd.DataFrame) -> pd.DataFrame:
    """Efficiency and expected standard error of every pair and every factorial effect.

    ``se_within_blocks`` is per unit of shot SD with blocks (and the places or predecessors that
    the design balances) taken out as fixed; infinite where a comparison lies between blocks.
    ``se_expected`` is in the unit of the outcome under the trial's assumed noise, with sessions
    and blocks as random. ``efficiency`` compares the variance with that of the same shots
    without any blocks: 1 means that blocks cost nothing.

    Parameters
    ----------
    study
        Study shots of the schedule with ``predecessor``.
    """
    methods = indicator_of(study["method"], trial.method_names)
    pairs, weights = pair_weights(len(trial.methods))
    names = trial.method_names
    contrasts = [
        Contrast("method", names[a], names[b], tuple(row))
        for (a, b), row in zip(pairs, weights.tolist(), strict=True)
    ]
    tables = [_table("pair", trial, study, methods, contrasts)]
    if trial.factors:
        cells, columns = _cells(trial, study)
        levels = {factor.name: factor.levels for factor in trial.factors}
        effects = factorial_contrasts(levels, cells)[:_MOST_EFFECTS]
        tables.append(_table("effect", trial, study, columns, effects))
    return pd.concat(tables, ignore_index=True)


def indicator_of(values: pd.Series, levels: Sequence[str]) -> FloatArray:
    """One column a level, in the order given (shots × levels)."""
    return (values.to_numpy()[:, None] == np.array(levels, dtype=object)[None, :]).astype(float)


def _cells(trial: Trial, study: pd.DataFrame) -> tuple[list[dict[str, str]], FloatArray]:
    """Every combination of levels that is pulled, and its indicator columns."""
    names = [factor.name for factor in trial.factors]
    labels = [tuple(row) for row in study[names].itertuples(index=False)]
    found = list(dict.fromkeys(labels))
    cells = [dict(zip(names, label, strict=True)) for label in found]
    return cells, indicator(labels)


def _table(
    kind: str,
    trial: Trial,
    study: pd.DataFrame,
    treatments: FloatArray,
    contrasts: Sequence[Contrast],
) -> pd.DataFrame:
    weights = np.array([contrast.weights for contrast in contrasts])
    blocks = indicator(study["block"].tolist())
    fixed = information_with_fixed(treatments, blocks, _taken_out(trial, study))
    within = contrast_variances(fixed, weights)
    noise = trial.noise
    random = information_with_random(treatments, _random(trial, study))
    expected = contrast_variances(random, weights)
    # Without any blocks each corner of a contrast is a plain mean of its shots.
    plain = (weights**2 / np.maximum(treatments.sum(axis=0), 1)).sum(axis=1)
    return pd.DataFrame(
        {
            "kind": kind,
            "contrast": [contrast.name for contrast in contrasts],
            "a": [contrast.a for contrast in contrasts],
            "b": [contrast.b for contrast in contrasts],
            "efficiency": np.round(plain / within, 9),
            "se_within_blocks": np.sqrt(within),
            "se_expected": noise.shot_sd * np.sqrt(expected),
        }
    )[COLUMNS]


def _taken_out(trial: Trial, study: pd.DataFrame) -> list[FloatArray]:
    """Columns that the design balances and the model therefore holds, besides blocks."""
    balanced = {"latin square": "position", "carry-over balanced": "predecessor"}
    column = balanced.get(trial.layout.design)
    return [] if column is None else [indicator(study[column].tolist())]


def _random(trial: Trial, study: pd.DataFrame) -> list[tuple[FloatArray, float]]:
    """Groups of shots that share an error, with the assumed variance over the shot variance.

    The assumed block SD belongs to the finest run of shots that was randomised as a whole: the
    whole plot in a split-plot, otherwise the block.
    """
    noise, unit = trial.noise, math.pow(trial.noise.shot_sd, 2)
    finest = "whole_plot" if trial.layout.design == "split-plot" else "block"
    found = [(indicator(study["session"].tolist()), noise.session_sd**2 / unit)]
    return [*found, (indicator(study[finest].tolist()), noise.block_sd**2 / unit)]
