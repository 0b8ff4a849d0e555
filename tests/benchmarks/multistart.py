"""Is the reported REML optimum the best one? Many data sets, many starts.

Run: python -m tests.benchmarks.multistart [--quick] [--json]

For every simulated data set the model is fitted as an analysis would fit it, and then from
further random starts. "missed" counts data sets in which any of those found a criterion
lower by more than 1e-6 (must be 0); "local optima" counts those in which some descent ended
at a worse point that meets the optimality conditions (the fit reports them); "not converged"
those whose certificate says so.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd

from kit.analysis.mixedmodel import MixedModelFit, fit_mixed_model
from kit.analysis.reml import minimise, reml_objective

SEED = 20_261
BETTER = 1e-6
EXTRA_STARTS = 4
Draw = Callable[[np.random.Generator], tuple[pd.DataFrame, str, list[str], str | None]]


@dataclass(frozen=True)
class Outcome:
    """Counts over the data sets of one design."""

    design: str
    data_sets: int
    missed: int
    worst_miss: float
    local_optima: int
    not_converged: int
    at_boundary: int
    seconds: float


def layout(methods: int, blocks: int, sessions: int) -> pd.DataFrame:
    """Complete blocks, nested in sessions of equal length."""
    rows = [
        (f"m{m}", f"b{b:02d}", f"s{b * sessions // blocks}")
        for b in range(blocks)
        for m in range(methods)
    ]
    return pd.DataFrame(rows, columns=["method", "block", "session"])


def with_outcome(
    table: pd.DataFrame, random: list[str], rng: np.random.Generator, sd: np.ndarray | float = 1.0
) -> pd.DataFrame:
    """Add an outcome whose component variances are themselves drawn, zero in one case of three."""
    y = sd * rng.normal(size=len(table))
    for name in random:
        codes, levels = pd.factorize(table[name])
        size = rng.choice([0.0, 0.3, 1.0]) * np.exp(0.3 * rng.normal())
        y = y + size * rng.normal(size=len(levels))[codes]
    return table.assign(ey=y)


def lose(table: pd.DataFrame, share: float, rng: np.random.Generator) -> pd.DataFrame:
    """Drop a fixed share of the shots, drawn at random, until every method is left."""
    while True:
        kept = table.iloc[np.sort(rng.permutation(len(table))[: round(len(table) * (1 - share))])]
        if kept.groupby("method").size().min() >= 2 and kept.method.nunique() == len(
            set(table.method)
        ):
            return kept.reset_index(drop=True)


def complete(rng: np.random.Generator) -> tuple[pd.DataFrame, str, list[str], str | None]:
    """5 methods × 12 blocks in 3 sessions, nothing lost."""
    random = ["session", "block"]
    return with_outcome(layout(5, 12, 3), random, rng), "method", random, None


def lost_shots(rng: np.random.Generator) -> tuple[pd.DataFrame, str, list[str], str | None]:
    """5 × 12 with two shots of each method in a block, 15 % lost, method × session random too."""
    table = pd.concat([layout(5, 12, 4)] * 2, ignore_index=True)
    table = table.assign(cell=table.session + table.method)
    random = ["session", "block", "cell"]
    return with_outcome(lose(table, 0.15, rng), random, rng), "method", random, None


def incomplete(rng: np.random.Generator) -> tuple[pd.DataFrame, str, list[str], str | None]:
    """7 methods in 14 bags of 4 (a balanced incomplete block design twice), 7 sessions."""
    base = [[0, 1, 2, 4], [1, 2, 3, 5], [2, 3, 4, 6], [3, 4, 5, 0], [4, 5, 6, 1], [5, 6, 0, 2]]
    base.append([6, 0, 1, 3])
    rows = [(f"m{m}", f"b{b:02d}", f"s{b // 2}") for b, bag in enumerate(base * 2) for m in bag]
    table = pd.DataFrame(rows, columns=["method", "block", "session"])
    random = ["session", "block"]
    return with_outcome(table, random, rng), "method", random, None


def tiny_crossed(rng: np.random.Generator) -> tuple[pd.DataFrame, str, list[str], str | None]:
    """5 × 5 Latin square, rows and columns random, 20 % of the shots lost."""
    rows = [(f"m{(i + j) % 5}", f"r{i}", f"c{j}") for i in range(5) for j in range(5)]
    table = lose(pd.DataFrame(rows, columns=["method", "row", "column"]), 0.2, rng)
    random = ["row", "column"]
    return with_outcome(table, random, rng), "method", random, None


def own_sds(rng: np.random.Generator) -> tuple[pd.DataFrame, str, list[str], str | None]:
    """4 methods × 8 blocks in 2 sessions, 10 % lost, a residual SD for each method."""
    table = lose(layout(4, 8, 2), 0.1, rng)
    sd = np.exp(0.4 * rng.normal(size=4))[table.method.str[1:].astype(int)]
    random = ["session", "block"]
    return with_outcome(table, random, rng, sd), "method", random, "method"


DESIGNS: dict[str, tuple[Draw, int]] = {
    "5x12 complete": (complete, 10_000),
    "5x12x2, 15 % lost, three components": (lost_shots, 10_000),
    "7 in 14 bags of 4": (incomplete, 10_000),
    "5x5 crossed, 20 % lost": (tiny_crossed, 10_000),
    "4x8, own SDs, 10 % lost": (own_sds, 2_000),
}
QUICK = 200


def random_start(fit: MixedModelFit, rng: np.random.Generator) -> np.ndarray:
    """Log-uniform over five decades for the random columns, one in four of them zero."""
    start = 10.0 ** rng.uniform(-3.0, 2.0, size=len(fit.theta))
    k = len(fit.random)
    start[:k] *= rng.random(k) > 0.25
    start[k:] = 10.0 ** rng.uniform(-1.5, 0.5, size=len(start) - k)
    return start


def study(name: str, draw: Draw, data_sets: int) -> Outcome:
    """All data sets of one design, each with its own random stream."""
    missed = local = stopped = boundary = 0
    worst, began = 0.0, time.perf_counter()
    for i in range(data_sets):
        rng = np.random.default_rng([SEED, list(DESIGNS).index(name), i])
        table, fixed, random, by = draw(rng)
        fit = fit_mixed_model(table, "ey", fixed, random, residual_by=by)
        objective, other = reml_objective(fit.model), False
        for _ in range(EXTRA_STARTS):
            reached = minimise(objective, random_start(fit, rng))
            if reached is None:
                continue
            gain = fit.optimum.criterion.value - reached.criterion.value
            worst = max(worst, gain)
            missed += gain > BETTER
            other |= bool(reached.converged and gain < -BETTER)
        local += bool(other or fit.certificate.other_optima)
        stopped += not fit.certificate.converged
        boundary += fit.at_boundary
    seconds = time.perf_counter() - began
    return Outcome(name, data_sets, missed, worst, local, stopped, boundary, seconds)


def main() -> None:
    """Print the study, one line a design."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="200 data sets a design")
    parser.add_argument("--json", action="store_true", help="print data instead of text")
    chosen = parser.parse_args()
    found = []
    for name, (draw, data_sets) in DESIGNS.items():
        one = study(name, draw, QUICK if chosen.quick else data_sets)
        found.append(asdict(one))
        if not chosen.json:
            print(
                f"{one.design}: {one.data_sets} data sets x {EXTRA_STARTS} random starts, "
                f"missed {one.missed} (largest gain {one.worst_miss:.1e}), local optima "
                f"{one.local_optima}, not converged {one.not_converged}, at the boundary "
                f"{one.at_boundary}; {one.seconds:.0f} s, seed {SEED}",
                flush=True,
            )
    if chosen.json:
        print(json.dumps({"seed": SEED, "extra_starts": EXTRA_STARTS, "designs": found}))


if __name__ == "__main__":
    main()
