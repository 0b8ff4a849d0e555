"""Level and power of tests for consistency: which one holds its level when shots are not normal?

    python -m tests.benchmarks.consistency [--quick] [--json]

Simulated trials with shot SD 0.45 (one method's times the ratio), session SD 0.3 and block SD as
stated; shots normal, long-tailed (t on 5 df) or leaning (gamma of shape 2), each with SD 1 before
scaling. "alarms": share of trials without a true difference called different at 5 %. "power":
share found when one method's SD is doubled. "cover": share of 95 % intervals of one pair's ratio
(alone, without the adjustment for the family) and of the SDs that hold the truth.

What it printed (600 trials a cell, seed 7, Monte Carlo error of a share at most 2.0 points,
0.9 at 5 %) is written down in ``consistency_output.txt`` beside this file.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.adjusted_variances import (
    AdjustedVariances,
    adjusted_variances,
    corrected_bartlett,
    variance_ratios,
)
from kit.analysis.heteroscedastic import (
    VarianceFits,
    fit_variances,
    indicators,
    layout_of,
    predicted_residuals,
    separable,
)
from kit.errors import ModelError

SHOT_SD, SESSION_SD, ALPHA = 0.45, 0.3, 0.05
CYCLIC = (0, 3, 5, 6)
"""Difference set modulo 7: every pair of methods meets equally often."""
NOISE: dict[str, Callable[[np.random.Generator, tuple[int, int]], np.ndarray]] = {
    "normal": lambda rng, shape: rng.standard_normal(shape),
    "long tails": lambda rng, shape: rng.standard_t(5, shape) / np.sqrt(5 / 3),
    "leaning": lambda rng, shape: (rng.gamma(2, 1, shape) - 2) / np.sqrt(2),
}


@dataclass(frozen=True)
class Design:
    """Methods in blocks in sessions; ``size`` of the methods in each block, the rest waiting."""

    methods: int
    blocks: int
    size: int
    sessions: int
    block_sd: float

    @property
    def name(self) -> str:
        held = "" if self.size == self.methods else f" in blocks of {self.size}"
        return f"{self.methods} methods{held} × {self.blocks} blocks, block SD {self.block_sd}"

    def rows(self) -> pd.DataFrame:
        """The layout; incomplete blocks hold the cyclic plan of 7 methods in blocks of 4."""
        incomplete = self.size < self.methods
        start = np.arange(self.blocks)[:, None] * int(incomplete)
        held = np.array(CYCLIC) if incomplete else np.arange(self.methods)
        method = (start + held) % self.methods
        block = np.repeat(np.arange(self.blocks), self.size)
        return pd.DataFrame(
            {
                "method": method.ravel(),
                "block": block,
                "session": block * self.sessions // self.blocks,
            }
        )


DESIGNS = (
    Design(2, 12, 2, 3, 0.15),
    Design(2, 30, 2, 3, 0.45),
    Design(4, 12, 4, 3, 0.15),
    Design(4, 12, 4, 3, 0.45),
    Design(5, 10, 5, 2, 0.15),
    Design(7, 28, 4, 7, 0.35),
)


def simulate(
    design: Design, ratio: float, noise: str, trials: int, rng: np.random.Generator
) -> np.ndarray:
    """Shots of all trials, shape (trials, n); the last method has ``ratio`` times the SD."""
    rows = design.rows()
    sd = np.where(rows["method"] == design.methods - 1, ratio, 1.0) * SHOT_SD
    shots = NOISE[noise](rng, (trials, len(rows))) * sd
    shots += rng.normal(0, design.block_sd, (trials, design.blocks))[:, rows["block"]]
    return shots + rng.normal(0, SESSION_SD, (trials, design.sessions))[:, rows["session"]]


def judge(design: Design, ratio: float, shots: np.ndarray) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The p value of every candidate, and what the chosen intervals hold; one row a trial."""
    rows = design.rows().astype("category")
    groups = rows["method"].cat.codes.to_numpy().astype(np.intp)
    random = separable(rows, ["session", "block"])
    common = layout_of(rows, groups * 0, random)
    null = fit_variances(common, shots)
    full = fit_variances(layout_of(rows, groups, random), shots, 1e-5)
    statistic = null.criterion - full.criterion
    p, held = [], []
    for i, y in enumerate(shots):
        one = VarianceFits(
            null.group_variances[i : i + 1],
            null.random_variances[i : i + 1],
            null.criterion[i : i + 1],
            null.log_covariance[i : i + 1],
            null.converged[i : i + 1],
        )
        predicted, H = predicted_residuals(common, one, y)
        try:
            found = adjusted_variances(predicted, H, groups, float(one.group_variances[0, 0]))
        except ModelError:  # blocks hide the spread: no verdict, and no wrong one
            found = None
        p.append(_p_values(design, rows, y, predicted, statistic[i], found))
        if found is not None:
            held.append(_held(found, ratio, design.methods - 1))
    return pd.DataFrame(p), pd.DataFrame(held)


def _p_values(
    design: Design,
    rows: pd.DataFrame,
    y: np.ndarray,
    predicted: np.ndarray,
    statistic: float,
    found: AdjustedVariances | None,
) -> dict[str, float]:
    k, groups = design.methods, rows["method"].cat.codes.to_numpy()

    def parts(values: np.ndarray) -> list[np.ndarray]:
        return [values[groups == g] for g in range(k)]

    def levene(values: np.ndarray) -> float:
        return float(stats.levene(*parts(values), center="median").pvalue)

    return {
        "likelihood ratio, chi-square": float(stats.chi2.sf(statistic, k - 1)),
        "likelihood ratio, simulated": float(statistic),  # set against the null's own, later
        "Pitman-Morgan, pairs by Holm": _pitman_morgan(rows, y, k),
        "Brown-Forsythe, raw": levene(y - _fitted(rows, y, ["session"])),
        "Brown-Forsythe, blocks taken out": levene(y - _fitted(rows, y, ["method", "block"])),
        "Brown-Forsythe, predicted blocks out": levene(predicted),
        "Bartlett, predicted blocks out": float(stats.bartlett(*parts(predicted)).pvalue),
        "corrected Bartlett (chosen)": 1.0 if found is None else corrected_bartlett(found)[2],
    }


def _fitted(rows: pd.DataFrame, y: np.ndarray, columns: list[str]) -> np.ndarray:
    X = np.hstack([indicators(rows[column]) for column in columns])
    return X @ np.linalg.lstsq(X, y, rcond=None)[0]


def _held(found: AdjustedVariances, ratio: float, last: int) -> dict[str, float]:
    """Whether the intervals hold the truth: one pair's ratio, and the SDs of its two methods."""
    log_ratio, lower, upper, _ = variance_ratios(found, np.array([0]), np.array([last]), 1 - ALPHA)
    truth = -2 * np.log(ratio)
    held = {"cover ratio": float(lower[0] <= truth <= upper[0])}
    for name, method, sd in (("cover SD", 0, SHOT_SD), ("cover SD doubled", last, ratio * SHOT_SD)):
        df, s2 = found.df[method], np.exp(found.log_s2[method])
        limits = s2 * df / stats.chi2.isf([ALPHA / 2, 1 - ALPHA / 2], df)
        held[name] = float(limits[0] <= sd**2 <= limits[1])
    return {**held, "median ratio": float(np.exp(-log_ratio[0] / 2))}


def _pitman_morgan(rows: pd.DataFrame, y: np.ndarray, k: int) -> float:
    """Smallest Holm p over pairs of the correlation of sums and differences, session means out."""
    block, method = rows["block"].cat.codes.to_numpy(), rows["method"].cat.codes.to_numpy()
    wide = np.full((block.max() + 1, k), np.nan)
    wide[block, method] = y
    session = np.zeros(len(wide), dtype=int)
    session[block] = rows["session"].cat.codes
    p = []
    for i in range(k):
        for j in range(i + 1, k):
            both = ~np.isnan(wide[:, i] + wide[:, j])
            at = np.eye(session.max() + 1)[session[both]]
            pair = wide[both][:, [i, j]]
            a, b = (pair - at @ np.linalg.lstsq(at, pair, rcond=None)[0]).T
            df = len(a) - len(np.unique(session[both])) - 1
            if df < 3:  # too few blocks hold both, within sessions
                continue
            r = np.corrcoef(a + b, a - b)[0, 1]
            p.append(2 * stats.t.sf(abs(r) * np.sqrt(df / (1 - r * r)), df))
    return min(p) * len(p) if p else 1.0


def run(
    design: Design, noise: str, limit: float, trials: int, rng: np.random.Generator
) -> pd.DataFrame:
    """One row a test (alarms and power), then the coverage; shares of trials."""
    columns: dict[str, dict[str, float]] = {}
    for name, ratio in (("alarms", 1.0), ("power", 2.0)):
        p, held = judge(design, ratio, simulate(design, ratio, noise, trials, rng))
        found = p < ALPHA
        found["likelihood ratio, simulated"] = p["likelihood ratio, simulated"] > limit
        middle = held.pop("median ratio").median()
        columns[name] = {**found.mean(), **held.mean(), "median ratio": middle}
    return pd.DataFrame(columns)


def null_limit(design: Design, trials: int, rng: np.random.Generator) -> float:
    """The 5 % point of the likelihood-ratio statistic for normal shots with equal SDs."""
    rows = design.rows().astype("category")
    groups = rows["method"].cat.codes.to_numpy().astype(np.intp)
    random = separable(rows, ["session", "block"])
    shots = simulate(design, 1.0, "normal", trials, rng)
    common, own = (layout_of(rows, part, random) for part in (groups * 0, groups))
    statistic = fit_variances(common, shots).criterion - fit_variances(own, shots, 1e-5).criterion
    return float(np.quantile(statistic, 1 - ALPHA))


def main() -> None:
    """Print every design and noise as a table, or all as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="200 trials a cell")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    trials = 200 if options.quick else 600
    rng = np.random.default_rng(7)
    results = {}
    for design in DESIGNS:
        limit = null_limit(design, trials, rng)
        tables = {noise: run(design, noise, limit, trials, rng) for noise in NOISE}
        table = pd.concat(tables, axis=1)
        results[design.name] = {noise: part.to_dict() for noise, part in tables.items()}
        if not options.json:
            print(f"\n{design.name}, {trials} trials a cell, shares in %")
            shown = table.mul(100).round(1)
            shown.loc["median ratio"] = table.loc["median ratio"].round(2)
            print(shown.to_string(), flush=True)
    if options.json:
        print(json.dumps({"trials": trials, "seed": 7, "designs": results}, indent=1))


if __name__ == "__main__":
    main()
