"""How often is a verdict wrong? Means, consistency and faults, at and between the hard places.

    python -m tests.benchmarks.verdicts [--quick] [--json]

Complete blocks, 12 of them, shot SD 0.45. A verdict is wrong when it says "different" of equals
or in the wrong direction, or "same within the SDM" of two that differ by the SDM or more. The
hard places are no difference at all and a difference of exactly the SDM. "any wrong": share of
trials with at least one wrong verdict among all pairs. The rule that is used reads one interval,
the 95 % simultaneous one. Beside it stands the usual equivalence rule, which says "same" by the
90 % simultaneous interval (two one-sided 5 % tests): how often it is wrong, and what it gains.

What it printed (seed 3) is written down in ``verdicts_output.txt`` beside this file.
"""

from __future__ import annotations

import argparse
import json
from itertools import combinations

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.defects import fault_differences
from kit.analysis.repeatability import spread_ratios
from kit.analysis.verdict import (
    ratio_verdict,
    verdict,
    verdict_with_equivalence,
    verdict_with_test,
)

BLOCKS, SHOT_SD, SDM = 12, 0.45, 0.5
MEANS = {
    "four equal": [0, 0, 0, 0],
    "one ahead by the SDM": [SDM, 0, 0, 0],
    "two and two, the SDM apart": [SDM, SDM, 0, 0],
    "ladder in steps of the SDM": [0, SDM, 2 * SDM, 3 * SDM],
    "ladder in steps of half the SDM": [0, SDM / 2, SDM, 1.5 * SDM],
    "two equal": [0, 0],
    "two the SDM apart": [0, SDM],
}


def means(truth: list[float], trials: int, sd: float, rng: np.random.Generator) -> dict[str, float]:
    """Shares of trials: any wrong verdict (both rules), and of equal pairs called the same."""
    k = len(truth)
    y = np.array(truth) + rng.normal(0, sd, (trials, BLOCKS, k))
    centred = y - y.mean(axis=2, keepdims=True)
    average = centred.mean(axis=1)
    df = (k - 1) * (BLOCKS - 1)
    s2 = ((centred - average[:, None]) ** 2).sum(axis=(1, 2)) / df
    se = np.sqrt(2 * s2 / BLOCKS)
    reach = {p: stats.studentized_range.isf(1 - p, k, df) / np.sqrt(2) * se for p in (0.95, 0.90)}
    wrong, wrong_90 = np.zeros(trials, bool), np.zeros(trials, bool)
    same, same_90, equals = 0.0, 0.0, 0
    for i, j in combinations(range(k), 2):
        d, true = average[:, i] - average[:, j], truth[i] - truth[j]
        said = np.array([verdict(x - r, x + r, SDM) for x, r in zip(d, reach[0.95], strict=True)])
        both = zip(d, reach[0.95], reach[0.90], strict=True)
        said_90 = np.array(
            [verdict_with_equivalence((x - r, x + r), (x - q, x + q), SDM) for x, r, q in both]
        )
        inside_90 = said_90 == "same within the SDM"
        false_same = abs(true) >= SDM
        false_different = (said == "different") & (np.sign(d) != np.sign(true))
        wrong |= false_different | ((said == "same within the SDM") & false_same)
        wrong_90 |= (false_different & ~inside_90) | (inside_90 & false_same)
        if true == 0:
            equals += 1
            same += float(np.mean(said == "same within the SDM"))
            same_90 += float(np.mean(inside_90))
    return {
        "any wrong": float(wrong.mean()),
        "any wrong, equivalence rule": float(wrong_90.mean()),
        "equal pairs called the same": same / equals if equals else float("nan"),
        "the same, equivalence rule": same_90 / equals if equals else float("nan"),
    }


def spreads(ratio: float, noise: str, trials: int, rng: np.random.Generator) -> float:
    """Share of trials with any wrong verdict on four SDs, the last ``ratio`` times the others."""
    wrong = 0
    for _ in range(trials):
        shots = (
            rng.standard_normal((BLOCKS, 4))
            if noise == "normal"
            else rng.standard_t(5, (BLOCKS, 4)) / np.sqrt(5 / 3)
        )
        shots = shots * SHOT_SD * np.array([1, 1, 1, ratio]) + rng.normal(0, 0.15, (BLOCKS, 1))
        table = pd.DataFrame(
            {
                "method": np.tile(list("ABCD"), BLOCKS),
                "block": np.repeat(np.arange(BLOCKS), 4),
                "ey_pct": shots.ravel(),
            }
        )
        found = spread_ratios(table, random=["block"])
        wrong += any(
            _wrong_ratio(row.lower, row.upper, row.ratio, 1 / ratio if row.b == "D" else 1.0)
            for row in found.itertuples()
        )
    return wrong / trials


def _wrong_ratio(lower: float, upper: float, ratio: float, truth: float) -> bool:
    said = ratio_verdict(lower, upper, 1.5)
    if said == "different":
        return truth == 1 or (ratio < 1) != (truth < 1)
    return said == "same within the SDM" and max(truth, 1 / truth) >= 1.5


def faults(rates: list[float], trials: int, rng: np.random.Generator) -> dict[str, float]:
    """Share of trials with any wrong verdict on fault rates; SDM 20 percentage points."""
    k = len(rates)
    wrong = {"interval alone": 0, "with the exact test": 0}
    for _ in range(trials):
        seen = (rng.uniform(size=(BLOCKS, k)) < np.array(rates)).astype(int)
        table = pd.DataFrame(
            {
                "method": np.tile(np.arange(k), BLOCKS),
                "block": np.repeat(np.arange(BLOCKS), k),
                "faults": seen.ravel(),
            }
        )
        found = fault_differences(table, strata="block")
        truth = np.array(
            [rates[int(a)] - rates[int(b)] for a, b in zip(found.a, found.b, strict=True)]
        )
        alone = [verdict(row.lower, row.upper, 0.2) for row in found.itertuples()]
        tested = [
            verdict_with_test(row.lower, row.upper, row.p_adjusted, 0.2)
            for row in found.itertuples()
        ]
        for rule, said in (("interval alone", alone), ("with the exact test", tested)):
            different = (np.array(said) == "different") & (
                np.sign(found.difference) != np.sign(truth)
            )
            same = (np.array(said) == "same within the SDM") & (np.abs(truth) >= 0.2 - 1e-12)
            wrong[rule] += bool((different | same).any())
    return {rule: count / trials for rule, count in wrong.items()}


def main() -> None:
    """Print the tables, or all as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    many, few = (2_000, 50) if options.quick else (20_000, 400)
    rng = np.random.default_rng(3)
    result: dict[str, object] = {"trials_means": many, "trials_others": few}
    for sd in (SHOT_SD, SHOT_SD / 2.5):
        result[f"means, shot SD {sd:.2f}"] = {
            name: means([float(x) for x in truth], many, sd, rng) for name, truth in MEANS.items()
        }
    result["consistency, any wrong"] = {
        f"{noise}, one SD times {ratio}": spreads(ratio, noise, few, rng)
        for noise in ("normal", "long tails")
        for ratio in (1.0, 1.5, 2.0)
    }
    result["faults, any wrong"] = {
        str(rates): faults(rates, few, rng)
        for rates in ([0.15] * 4, [0.15, 0.15, 0.15, 0.35], [0.0] * 4, [0.4, 0.4], [0.1, 0.3])
    }
    if options.json:
        print(json.dumps(result, indent=1))
        return
    error = 100 * np.sqrt(0.05 * 0.95 / np.array([many, few]))
    print(f"{many} trials for means, {few} for the others; shares in %.")
    print(f"Monte Carlo error at 5 %: {error[0]:.2f} and {error[1]:.2f} points.")
    for name, part in result.items():
        if isinstance(part, dict):
            nested = any(isinstance(value, dict) for value in part.values())
            table = pd.DataFrame(part).T if nested else pd.Series(part)
            print(f"\n{name}\n{table.mul(100).round(2).to_string()}")


if __name__ == "__main__":
    main()
