"""A trial as arrays: its schedule, the model that will be fitted, and draws of virtual shots."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import stdtrit

from kit.analysis.batch.layout import Layout, lay_out
from kit.analysis.batch.simulate import Truth as BatchTruth
from kit.analysis.batch.simulate import draw_trials
from kit.analysis.designed_model import designed_model
from kit.planning.comparisons import dunnett_critical, tukey_critical
from kit.planning.laid_out import LEAST_DF
from kit.planning.layouts import study_rows
from kit.planning.questions import outcome_of_means
from kit.planning.truth import Truth
from kit.trial import Factor, Trial

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Multiplier = Literal["bonferroni", "tukey", "dunnett"]

FALSE_ALARMS = 0.05
CELL_MARK = " / "
"""Between the method and the levels of hard-to-change factors in the name of a cell."""


@dataclass(frozen=True)
class Family:
    """Contrasts that are judged together, and by which multiplier."""

    words: str
    rows: Floats
    """(contrasts, columns of the layout)."""
    labels: tuple[tuple[str, str], ...]
    """What stands on either side of each contrast."""
    multiplier: Multiplier
    size: int
    """Levels compared (Tukey) or comparisons judged together (Dunnett, Bonferroni)."""

    def critical(self, df: Floats) -> Floats:
        """The |t| to pass, for each df."""
        if self.multiplier == "bonferroni" or self.size == 1:
            return np.asarray(stdtrit(df, 1 - FALSE_ALARMS / (2 * self.size)))
        spline = _critical_spline(self.multiplier, self.size)
        return np.asarray(np.exp(spline(1 / np.maximum(df, LEAST_DF))))


@dataclass(frozen=True)
class VirtualPlan:
    """Everything virtual trials of one schedule have in common."""

    rows: pd.DataFrame
    """Study shots in run order."""
    layout: Layout
    method_of_shot: NDArray[np.intp]
    """Number of the method (not the cell) of each shot, in the order of the trial."""
    families: tuple[Family, ...]
    """The family that means are judged by first, then all pairs of methods (if another)."""
    place_in_session: Floats
    """Place of each shot in its session (of each cup in its sitting), centred within it."""


def virtual_plan(schedule: pd.DataFrame, trial: Trial) -> VirtualPlan:
    """The plan of a trial with this schedule (or with study rows only)."""
    rows = study_rows(schedule, trial)
    model = designed_model(trial, rows)
    cells = rows["method"].astype(str)
    for factor in trial.hard_factors:
        cells = cells + CELL_MARK + rows[factor.name].astype(str)
    layout = lay_out(
        cells.to_numpy(),
        {name: rows[name].astype(str) for name in model.random},
        _adjust(model.fixed, rows),
    )
    place = (
        rows["session_position"].astype(float)
        if "session_position" in rows
        else rows.groupby("session").cumcount().astype(float)
    )
    centred = place - place.groupby(rows["session"]).transform("mean")
    return VirtualPlan(
        rows,
        layout,
        rows["method"].cat.codes.to_numpy().astype(np.intp),
        _families(trial, layout),
        centred.to_numpy(),
    )


def draw_shots(
    plan: VirtualPlan, truth: Truth, rng: np.random.Generator, trials: int
) -> tuple[Floats, Bools]:
    """Virtual outcomes and which shots were not lost, both (shots, trials).

    Session, block and shot noise and drift, but no means: standard errors and degrees of freedom
    do not depend on the means, so they are added to the estimates afterwards, for any means at
    no cost.
    """
    y, kept = draw_trials(plan.layout, assumed(plan, truth), rng, trials)
    return np.asarray(y + truth.drift_per_shot * plan.place_in_session[:, None]), kept


def assumed(plan: VirtualPlan, truth: Truth) -> BatchTruth:
    """The truth in the terms of the layout: one entry a cell, one a random column."""
    sds = dict(zip(truth.methods, truth.shot_sds, strict=True))
    cells, names = plan.layout.methods, plan.layout.names
    return BatchTruth(
        means=(0.0,) * len(cells),
        random_sds=tuple(truth.sd_of(name, names) for name in names),
        residual_sds=tuple(sds[cell.split(CELL_MARK)[0]] for cell in cells),
        loss=truth.lost_share,
    )


def draw_faulty(plan: VirtualPlan, truth: Truth, rng: np.random.Generator, trials: int) -> Bools:
    """Which shots (shots, trials) show a fault."""
    rates = np.array(truth.fault_rates)[plan.method_of_shot, None]
    return rng.random((len(plan.rows), trials)) < rates


def cell_means(plan: VirtualPlan, truth: Truth) -> Floats:
    """True mean of each column of the layout: cells first, zero for adjustments."""
    means = np.zeros(plan.layout.n_fixed)
    by_name = dict(zip(truth.methods, truth.means, strict=True))
    for i, cell in enumerate(plan.layout.methods):
        means[i] = by_name[cell.split(CELL_MARK)[0]]
    return means


def _adjust(fixed: str, rows: pd.DataFrame) -> Floats | None:
    """Indicator columns of position and previous method, one level less, where modelled."""
    named = [name for name in ("position", "previous_method") if f" + {name}" in fixed]
    if not named:
        return None
    columns = [pd.get_dummies(rows[name].astype(str), drop_first=True) for name in named]
    return np.hstack([column.to_numpy(dtype=float) for column in columns])


def _families(trial: Trial, layout: Layout) -> tuple[Family, ...]:
    judged = outcome_of_means(trial) or trial.primary
    if judged.family == "factorial":
        return tuple(_effects(trial, layout))
    pairs = all_pairs(layout)
    if judged.family == "against control":
        return _against_control(trial, layout), pairs
    return (pairs,)


def all_pairs(layout: Layout) -> Family:
    """All pairs of methods (of cells, in a factorial), judged together."""
    labels = tuple(combinations(layout.methods, 2))
    count = layout.n_methods
    return Family("all pairs", layout.all_pairs(), labels, "tukey", count)


def _against_control(trial: Trial, layout: Layout) -> Family:
    control = layout.methods.index(trial.reference_method)
    others = tuple(name for name in layout.methods if name != trial.reference_method)
    labels = tuple((name, trial.reference_method) for name in others)
    return Family("against control", layout.against(control), labels, "dunnett", len(others))


def _effects(trial: Trial, layout: Layout) -> list[Family]:
    """Main effects and two-factor interactions as contrasts of the cells, judged together."""
    settings = {method.name: dict(method.settings) for method in trial.methods}
    cells = []
    for cell in layout.methods:
        method, *hard = cell.split(CELL_MARK)
        levels = dict(zip((f.name for f in trial.hard_factors), hard, strict=True))
        cells.append({**settings[method], **levels})
    effects = [_main_effect(factor.name, factor.levels, cells, layout) for factor in trial.factors]
    effects += [
        _interaction(a, b, cells, layout)
        for a, b in combinations(trial.factors, 2)
        if len(a.levels) == len(b.levels) == 2
    ]
    together = sum(len(effect.labels) for effect in effects)
    return [replace(effect, size=together) for effect in effects]


def _level_mean(name: str, level: str, cells: list[dict[str, str]], layout: Layout) -> Floats:
    inside = np.array([cell[name] == level for cell in cells], dtype=float)
    return np.concatenate([inside / inside.sum(), np.zeros(layout.n_fixed - len(cells))])


def _main_effect(
    name: str, levels: tuple[str, ...], cells: list[dict[str, str]], layout: Layout
) -> Family:
    means = {level: _level_mean(name, level, cells, layout) for level in levels}
    pairs = tuple(combinations(levels, 2))
    rows = np.array([means[a] - means[b] for a, b in pairs])
    return Family(f"main effect of {name}", rows, pairs, "bonferroni", len(pairs))


def _interaction(a: Factor, b: Factor, cells: list[dict[str, str]], layout: Layout) -> Family:
    def mean(level_a: str, level_b: str) -> Floats:
        inside = np.array(
            [cell[a.name] == level_a and cell[b.name] == level_b for cell in cells], dtype=float
        )
        return np.concatenate([inside / inside.sum(), np.zeros(layout.n_fixed - len(cells))])

    (a0, a1), (b0, b1) = a.levels[:2], b.levels[:2]
    row = mean(a0, b0) - mean(a0, b1) - mean(a1, b0) + mean(a1, b1)
    words, label = f"interaction of {a.name} and {b.name}", (a.name, b.name)
    return Family(words, row[None], (label,), "bonferroni", 1)


@lru_cache(maxsize=32)
def _critical_spline(multiplier: Multiplier, size: int) -> CubicSpline:
    """Log critical |t| over 1/df, for millions of decisions (comparisons with a control correlate
    by one half); relative error below 1e-4 (tests/planning/test_simulation.py measures it).
    """
    inverse = np.linspace(0.0, 1 / LEAST_DF, 41) ** 2 * LEAST_DF
    inverse[0] = 1e-7
    if multiplier == "tukey":
        values = [tukey_critical(size, 1 / float(x), FALSE_ALARMS) for x in inverse]
    else:
        values = [dunnett_critical(size, 0.5, 1 / float(x), FALSE_ALARMS) for x in inverse]
    return CubicSpline(inverse, np.log(values))
