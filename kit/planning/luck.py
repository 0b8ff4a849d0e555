"""What luck looks like: results of this very trial when the methods do not differ at all.

Seen before the first shot, so that a gap between averages, or one method that looks twice as even
as another, is known for what it mostly is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.planning.chunks import stream
from kit.planning.truth import Truth
from kit.planning.virtual import VirtualPlan, draw_faulty, draw_shots

Floats = NDArray[np.float64]

TYPICAL_LEVEL = 19.5
"""A level to show virtual extraction yields at, in percent (common practice: 18 to 22)."""


@dataclass(frozen=True)
class LuckSummary:
    """What to expect by luck alone: the median, and what one trial in twenty exceeds."""

    trials: int
    seed: int
    gap_median: float
    """Highest less lowest average, in the unit of the outcome."""
    gap_high: float
    sd_ratio_median: float
    """Largest over smallest sample SD."""
    sd_ratio_high: float
    fault_gap_median: float
    """Highest less lowest share of faulty shots."""
    fault_gap_high: float

    def sentences(self) -> list[str]:
        """The three figures in words."""
        return [
            f"With no difference at all, the best and the worst average typically lie "
            f"{self.gap_median:.2f} apart; in one trial of twenty {self.gap_high:.2f} or more.",
            f"The most uneven method typically looks {self.sd_ratio_median:.1f} times as uneven as "
            f"the most even one; in one trial of twenty {self.sd_ratio_high:.1f} times or more.",
            "The shares of faulty shots typically lie "
            f"{100 * self.fault_gap_median:.0f} percentage points apart; in one trial of twenty "
            f"{100 * self.fault_gap_high:.0f} or more.",
        ]


def luck_gallery(plan: VirtualPlan, truth: Truth, seed: int, pictures: int = 8) -> pd.DataFrame:
    """Virtual results of the coming trial, shot by shot, all methods alike.

    Columns ``picture, shot, session, block, method, value``: one row a study shot in run order.
    ``truth`` should be level (:meth:`Truth.level`).
    """
    rng = stream(seed, 0)
    values = TYPICAL_LEVEL + draw_shots(plan, truth, rng, pictures)[0]
    block = plan.rows["block"] if "block" in plan.rows else plan.rows["session"]
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "picture": picture + 1,
                    "shot": np.arange(1, len(plan.rows) + 1),
                    "session": plan.rows["session"].astype(str),
                    "block": block.astype(str),
                    "method": plan.rows["method"].astype(str),
                    "value": values[:, picture],
                }
            )
            for picture in range(pictures)
        ],
        ignore_index=True,
    )


def gallery_summary(gallery: pd.DataFrame) -> pd.DataFrame:
    """For each picture what a headline writer would see.

    Columns ``picture, highest, lowest, gap, sd_ratio``: the methods with the highest and lowest
    average, the gap between them, and the largest sample SD over the smallest.
    """
    by_method = gallery.groupby(["picture", "method"], sort=False)["value"].agg(["mean", "std"])
    rows = []
    for picture, table in by_method.groupby(level="picture"):
        one = table.droplevel("picture")
        rows.append(
            (
                picture,
                one["mean"].idxmax(),
                one["mean"].idxmin(),
                float(np.ptp(one["mean"])),
                float(one["std"].max() / one["std"].min()),
            )
        )
    return pd.DataFrame(rows, columns=["picture", "highest", "lowest", "gap", "sd_ratio"])


def luck_summary(plan: VirtualPlan, truth: Truth, seed: int, trials: int = 2000) -> LuckSummary:
    """Gaps between averages, ratios of SDs and gaps between fault rates by luck alone."""
    rng = stream(seed, 1)
    y, _ = draw_shots(plan, truth, rng, trials)
    faulty = draw_faulty(plan, truth, rng, trials).astype(float)
    methods = np.arange(len(truth.methods))
    members = [plan.method_of_shot == method for method in methods]
    means = np.array([y[shots].mean(axis=0) for shots in members])
    sds = np.array([y[shots].std(axis=0, ddof=1) for shots in members])
    rates = np.array([faulty[shots].mean(axis=0) for shots in members])
    gap, ratio, fault_gap = np.ptp(means, axis=0), sds.max(0) / sds.min(0), np.ptp(rates, axis=0)
    return LuckSummary(
        trials, seed, *_middle_and_high(gap), *_middle_and_high(ratio), *_middle_and_high(fault_gap)
    )


def _middle_and_high(values: Floats) -> tuple[float, float]:
    middle, high = np.quantile(values, [0.5, 0.95])
    return float(middle), float(high)
