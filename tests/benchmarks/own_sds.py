"""False alarms of comparisons of means where shots of one method scatter more than of others.

    python -m tests.benchmarks.own_sds [--quick] [--json]

No method differs in its mean. Every trial is fitted twice: with one residual SD for all methods
(the declared analysis) and with an SD for each (a row of the sensitivity table), all pairs by
Kenward and Roger with Tukey's adjustment. "family": trials with any pair called different;
"noisy": comparisons with the noisier method called different each on its own. Per cent, with one
Monte Carlo standard error.
"""

from __future__ import annotations

import argparse
import json

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model

SEED = 11
TRIALS, QUICK = 2_000, 100
SHOT_SD, RANDOM_SDS = 0.45, {"session": 0.3, "block": 0.12}
DESIGNS = {
    "5 x 12, one SD doubled": (12, (2.0, 1.0, 1.0, 1.0, 1.0)),
    "5 x 12, SDs alike": (12, (1.0, 1.0, 1.0, 1.0, 1.0)),
    "4 x 12, one SD doubled": (12, (2.0, 1.0, 1.0, 1.0)),
    "3 x 6, one SD doubled": (6, (2.0, 1.0, 1.0)),
    "3 x 6, SDs alike": (6, (1.0, 1.0, 1.0)),
}
MODELS = {"one SD for all": None, "an SD for each": "method"}


def invented(blocks: int, ratios: tuple[float, ...], rng: np.random.Generator) -> pd.DataFrame:
    """Complete blocks in three sessions, no difference between the methods."""
    rows = [
        (f"m{method}", f"b{block:02d}", f"s{3 * block // blocks}")
        for block in range(blocks)
        for method in range(len(ratios))
    ]
    table = pd.DataFrame(rows, columns=["method", "block", "session"])
    ey = rng.normal(size=len(table)) * np.tile(ratios, blocks) * SHOT_SD
    for name, sd in RANDOM_SDS.items():
        codes, levels = pd.factorize(table[name])
        ey += (sd * rng.normal(size=len(levels)))[codes]
    return table.assign(ey_pct=ey)


def alarms(blocks: int, ratios: tuple[float, ...], seed: list[int]) -> list[tuple[bool, float]]:
    """For each model: any pair called different, and the share of pairs with the first method."""
    table = invented(blocks, ratios, np.random.default_rng(seed))
    found = []
    for by in MODELS.values():
        fit = fit_mixed_model(table, "ey_pct", "method", list(RANDOM_SDS), residual_by=by)
        pairs = all_pairs(fit, "method")
        noisy = pairs[pairs["a"].eq("m0") | pairs["b"].eq("m0")]
        any_pair = bool((pairs["p_adjusted"] < 0.05).any())
        found.append((any_pair, float((noisy["p"] < 0.05).mean())))
    return found


def table_of(trials: int) -> pd.DataFrame:
    """One row a design and model."""
    rows = []
    for number, (name, (blocks, ratios)) in enumerate(DESIGNS.items()):
        told = Parallel(n_jobs=-1)(
            delayed(alarms)(blocks, ratios, [SEED, number, trial]) for trial in range(trials)
        )
        for place, model in enumerate(MODELS):
            both = np.array([trial[place] for trial in told], dtype=float)
            rate, error = 100 * both.mean(axis=0), 100 * both.std(axis=0) / np.sqrt(trials)
            rows.append((name, model, rate[0], error[0], rate[1], error[1]))
    columns = ["design", "model", "family", "± family", "noisy", "± noisy"]
    return pd.DataFrame(rows, columns=columns).round(2)


def main() -> None:
    """Print the table, or all as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help=f"{QUICK} trials a design")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    trials = QUICK if options.quick else TRIALS
    table = table_of(trials)
    if options.json:
        print(json.dumps({"trials": trials, "seed": SEED, "rows": table.to_dict("records")}))
        return
    print(table.to_string(index=False))
    print(f"{trials} trials a design, seed {SEED}; shares in %.")


if __name__ == "__main__":
    main()
