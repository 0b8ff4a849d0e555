"""Invented result tables for the figures: nobody pulled these shots (recorded seeds)."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

NAMES = (
    "Harbour",
    "Fjord",
    "Thaw",
    "Cellar",
    "Esk with a slow double pause before the first drop",
    "Font",
    "Glen",
    "Breamish",
    "Coquet",
    "Derwent",
    "Stirred twelve times with a fine needle",
    "Aln",
)


def methods(count: int) -> tuple[str, ...]:
    return NAMES[:count]


def shots(count: int, blocks: int = 12, sessions: int = 3, seed: int = 90210) -> pd.DataFrame:
    """Complete blocks over sessions with reference shots, one replacement, one missed mass."""
    rng = np.random.default_rng(seed)
    names = methods(count)
    rows = []
    planned = 0
    for session in range(1, sessions + 1):
        level = rng.normal(0, 0.3)
        plan = [("reference", "", names[0])]
        for block in range(1, blocks // sessions + 1):
            order = rng.permutation(count)
            plan += [("study", f"{session}.{block}", names[place]) for place in order]
        plan.append(("reference", "", names[0]))
        for position, (role, block, method) in enumerate(plan, start=1):
            planned += 1
            place = names.index(method)
            sd = 0.75 if place == 2 else 0.42
            beverage = rng.normal(36, 0.4)
            value = 19.4 + 0.17 * (place % 4) + level - 0.01 * position + rng.normal(0, sd)
            rows.append(
                {
                    "shot": planned,
                    "planned_shot": planned,
                    "session": f"{session}",
                    "block": block,
                    "position": position,
                    "session_position": position,
                    "role": role,
                    "method": method,
                    "dose_g": 17.5 + rng.normal(0, 0.03),
                    "beverage_g": beverage,
                    "ey_pct": value,
                    "shot_time_s": rng.normal(28, 2),
                    "faults": int(rng.random() < 0.2),
                    "status": "kept",
                    "reason": "",
                    "replaces": None,
                }
            )
    table = pd.DataFrame(rows)
    study = table.index[table["role"] == "study"]
    table.loc[study[5], ["status", "reason"]] = ["replaced", "spill"]
    table.loc[study[9], "beverage_g"] = 37.6
    return table


def kept(table: pd.DataFrame) -> pd.DataFrame:
    return table[(table["role"] == "study") & (table["status"] == "kept")]


def means(table: pd.DataFrame, column: str = "ey_pct") -> pd.DataFrame:
    groups = kept(table).groupby("method", sort=False)[column]
    summary = groups.agg(n="count", estimate="mean", sd="std").reset_index()
    half = 2.6 * summary["sd"] / np.sqrt(summary["n"])
    return summary.assign(
        se=half / 2.6,
        df=30.0,
        lower=summary["estimate"] - half,
        upper=summary["estimate"] + half,
    )


def verdict(lower: float, upper: float, sdm: float) -> str:
    if lower > 0 or upper < 0:
        return "different"
    if -sdm < lower and upper < sdm:
        return "same within the SDM"
    return "cannot tell"


def pairs(table: pd.DataFrame, sdm: float = 0.5, column: str = "ey_pct") -> pd.DataFrame:
    average = means(table, column).set_index("method")
    rows = []
    for a, b in combinations(average.index, 2):
        estimate = average.loc[a, "estimate"] - average.loc[b, "estimate"]
        half = 1.15 * np.hypot(average.loc[a, "se"], average.loc[b, "se"]) * 2
        rows.append(
            {
                "a": a,
                "b": b,
                "estimate": estimate,
                "se": half / 2.6,
                "df": 30.0,
                "t": 0.0,
                "p": 0.1,
                "p_adjusted": 0.2,
                "lower": estimate - half,
                "upper": estimate + half,
                "verdict": verdict(estimate - half, estimate + half, sdm),
            }
        )
    return pd.DataFrame(rows)


def residuals(table: pd.DataFrame, column: str = "ey_pct") -> pd.DataFrame:
    study = kept(table)
    fitted = study.groupby("method")[column].transform("mean")
    return study.assign(fitted=fitted, residual=study[column] - fitted)


def spreads(table: pd.DataFrame) -> pd.DataFrame:
    average = means(table)
    return average[["method", "n", "sd"]].assign(
        df=10.0, lower=0.7 * average["sd"], upper=1.75 * average["sd"]
    )


def spread_ratios(table: pd.DataFrame) -> pd.DataFrame:
    each = spreads(table).set_index("method")["sd"]
    rows = []
    for a, b in combinations(each.index, 2):
        ratio = each[a] / each[b]
        lower, upper = ratio / 1.9, ratio * 1.9
        word = "different" if lower > 1 or upper < 1 else "cannot tell"
        rows.append(
            {
                "a": a,
                "b": b,
                "ratio": ratio,
                "lower": lower,
                "upper": upper,
                "p": 0.1,
                "p_adjusted": 0.3,
                "verdict": word,
            }
        )
    return pd.DataFrame(rows)
