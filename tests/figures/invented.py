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


def rates(table: pd.DataFrame) -> pd.DataFrame:
    """Wilson intervals written out (Wilson 1927, from memory)."""
    groups = kept(table).groupby("method", sort=False)["faults"]
    n = groups.count()
    faulty = groups.agg(lambda column: int((column > 0).sum()))
    z = 1.959964
    rate = faulty / n
    centre = (rate + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * np.sqrt(rate * (1 - rate) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    return pd.DataFrame(
        {
            "method": n.index,
            "n": n.to_numpy(),
            "faulty": faulty.to_numpy(),
            "rate": rate.to_numpy(),
            "lower": (centre - half).clip(0, 1).to_numpy(),
            "upper": (centre + half).clip(0, 1).to_numpy(),
        }
    )


def fault_differences(table: pd.DataFrame) -> pd.DataFrame:
    each = rates(table).set_index("method")["rate"]
    rows = []
    for a, b in combinations(each.index, 2):
        value = each[a] - each[b]
        rows.append(
            {
                "a": a,
                "b": b,
                "difference": value,
                "lower": value - 0.33,
                "upper": value + 0.33,
                "verdict": "cannot tell",
            }
        )
    return pd.DataFrame(rows)


def tastings(table: pd.DataFrame, seed: int = 11) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    names = list(dict.fromkeys(kept(table)["method"]))
    rows = [
        {
            "taster": f"T{taster}",
            "method": method,
            "attribute": attribute,
            "score": float(np.clip(round(6 + 0.5 * (place % 3) + rng.normal(0, 1.4)), 1, 9)),
            "ey_pct": 19.4 + 0.2 * place + rng.normal(0, 0.4),
        }
        for attribute in ("liking", "bitterness")
        for taster in range(1, 9)
        for place, method in enumerate(names)
    ]
    return pd.DataFrame(rows)


def scores(given: pd.DataFrame) -> pd.DataFrame:
    groups = given.groupby(["attribute", "method"], sort=False)["score"]
    summary = groups.agg(n="count", estimate="mean", sd="std").reset_index()
    half = 2.7 * summary["sd"] / np.sqrt(summary["n"])
    return summary.assign(lower=summary["estimate"] - half, upper=summary["estimate"] + half)


def chart(table: pd.DataFrame) -> pd.DataFrame:
    rows = table[table["role"] == "reference"]
    value = rows["ey_pct"]
    centre, reach = value.mean(), 2.0 * value.std()
    return pd.DataFrame(
        {
            "shot": rows["shot"],
            "session": rows["session"],
            "value": value,
            "centre": centre,
            "lower": centre - reach,
            "upper": centre + reach,
            "signal": (value - centre).abs() > 0.8 * reach,
        }
    ).reset_index(drop=True)


VARIANTS = (
    "as planned",
    "blocks fixed",
    "replaced shots back in",
    "without shots out of tolerance",
    "beverage mass as covariate",
    "trend with position",
    "without session 1",
    "without session 2",
    "without session 3",
    "robust (Huber)",
)


def sensitivity(table: pd.DataFrame, sdm: float = 0.5, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for row in pairs(table, sdm).itertuples():
        for number, variant in enumerate(VARIANTS):
            shift = rng.normal(0, 0.12) if number else 0.0
            lower, upper = row.lower + shift, row.upper + shift
            rows.append(
                {
                    "variant": variant,
                    "a": row.a,
                    "b": row.b,
                    "estimate": row.estimate + shift,
                    "lower": lower,
                    "upper": upper,
                    "verdict": verdict(lower, upper, sdm),
                }
            )
    return pd.DataFrame(rows)


def power(shots_range: tuple[int, ...] = (4, 6, 8, 10, 12, 16, 20, 30, 40)) -> pd.DataFrame:
    """Curves of a plausible shape; the numbers mean nothing."""
    questions = {
        "0.5 points, one named pair": 5.0,
        "0.5 points, all pairs": 9.0,
        "SD ratio of 2, one pair": 12.0,
        "10 % against 40 % faults": 30.0,
        "Same within 0.5 points": 10.0,
    }
    return pd.DataFrame(
        [
            {"question": question, "shots": n, "power": float(1 - np.exp(-((n / size) ** 1.3)))}
            for question, size in questions.items()
            for n in shots_range
        ]
    )


def luck(count: int, seed: int = 7, panels: int = 12) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        [
            {"trial": trial, "method": method, "ey_pct": rng.normal(19.5, 0.45)}
            for trial in range(1, panels + 1)
            for method in methods(count)
            for _ in range(10)
        ]
    )


def kitchens(seed: int = 5, count: int = 7) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    se = rng.uniform(0.12, 0.4, count)
    estimate = rng.normal(0.45, 0.25, count)
    names = [f"Kitchen {letter}" for letter in "ABCDEFGHIJ"[:count]]
    return pd.DataFrame(
        {
            "kitchen": names,
            "estimate": estimate,
            "se": se,
            "lower": estimate - 2.1 * se,
            "upper": estimate + 2.1 * se,
        }
    )


def balance(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    study = kept(table)
    place = study.groupby("block").cumcount() + 1
    positions = pd.crosstab(study["method"], place)
    names = list(dict.fromkeys(study["method"]))
    together = pd.DataFrame(
        [[np.nan if a == b else study["block"].nunique() for b in names] for a in names],
        index=names,
        columns=names,
    )
    return {"Method by place in the block": positions.loc[names], "Pairs in one block": together}


def factorial(seed: int = 17) -> tuple[pd.DataFrame, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    shots_table = pd.DataFrame(
        [
            {
                "disc": disc,
                "soak": soak,
                "temperature": temperature,
                "ey_pct": 20.2 + 0.7 * (disc == "one") + 0.25 * (soak == "8 s")
                - 0.35 * (disc == "one") * (soak == "8 s") + 0.4 * (temperature == "94 °C")
                + rng.normal(0, 0.45),
            }
            for temperature in ("90 °C", "94 °C")
            for disc in ("none", "one")
            for soak in ("0 s", "8 s")
            for _ in range(8)
        ]
    )  # fmt: skip
    groups = shots_table.groupby(["disc", "soak", "temperature"], sort=False)["ey_pct"]
    cells = groups.agg(n="count", estimate="mean", sd="std").reset_index()
    half = 2.3 * cells["sd"] / np.sqrt(cells["n"])
    return cells.assign(lower=cells["estimate"] - half, upper=cells["estimate"] + half), shots_table


def schedule(table: pd.DataFrame) -> pd.DataFrame:
    rows = table[["planned_shot", "session", "block", "session_position", "role", "method"]].copy()
    rows.loc[rows["session_position"] == 1, "role"] = "warm-up"
    last = rows.groupby("session")["session_position"].transform("max")
    spare = rows["session_position"] == last
    rows.loc[spare, ["role", "method", "block"]] = ["spare", "", ""]
    return rows
