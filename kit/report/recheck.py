"""The re-randomisation check that a reader's browser repeats on the embedded shots.

For a pair of methods, the labels of their shots are dealt anew within each block in every way in
which the draw could have dealt them; all other shots stay where they are. The share of dealings
whose difference is at least as large as the one seen, in either direction, is the p value
(Fisher 1935, The Design of Experiments, section 21; Pitman 1937). It rests on the draw alone and
holds whatever the other methods do.

Counting is exact: values are taken as whole numbers of 1/10,000 of their unit, so a tie is a tie,
and the dealings are counted by adding up blocks one after the other. ``page.js`` does the same
arithmetic; its count, and so its p, is equal to the last digit as long as the number of dealings
is below 2^53.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import DataError
from kit.shotlog.spreadsheets import neutralised

SCALE = 10_000
EXACT_BELOW = 2.0**53
"""Whole numbers up to here are exact in the arithmetic of a browser."""
MOST_CELLS = 8_000_000
"""Longest table of sums that is counted through; beyond it the page samples instead."""


@dataclass(frozen=True)
class PairCheck:
    """The count of one pair.

    Attributes
    ----------
    blocks
        Blocks that hold a shot of both methods.
    difference
        Average over blocks of mean(a) − mean(b), blocks weighted alike.
    at_least, dealings
        Dealings with a difference at least as large as the one seen, of all.
    exact
        Whether the count is exact (below 2^53 dealings).
    """

    a: str
    b: str
    blocks: int
    difference: float
    at_least: float
    dealings: float
    exact: bool

    @property
    def p(self) -> float:
        """Two-sided p value."""
        return self.at_least / self.dealings


@dataclass(frozen=True)
class RelabellingCheck:
    """All pairs of one measure, and the names of the columns the page has to read."""

    measure: str
    label: str
    unit: str
    block: str
    pairs: tuple[PairCheck, ...]
    seed: int
    draws: int = 20_000

    def as_data(self) -> dict[str, object]:
        """What the page is given; method names as they stand in the raw data.

        The page reads from the CSV the rows with ``role`` study and ``status`` kept, columns
        ``method``, ``block`` and ``measure``; recomputes every pair; and compares with ``p``.
        ``seed`` and ``draws`` serve pairs with too many dealings to count.
        """
        return {
            "measure": self.measure,
            "block": self.block,
            "unit": self.unit,
            "scale": SCALE,
            "mostCells": MOST_CELLS,
            "seed": self.seed,
            "draws": self.draws,
            "pairs": [
                {
                    "a": neutralised(pair.a),
                    "b": neutralised(pair.b),
                    "p": pair.p,
                    "atLeast": pair.at_least,
                    "dealings": pair.dealings,
                    "exact": pair.exact,
                }
                for pair in self.pairs
            ],
        }


def relabelling_check(
    shots: pd.DataFrame,
    measure: str,
    label: str,
    unit: str,
    *,
    seed: int,
    methods: Sequence[str] = (),
    block: str = "block",
) -> RelabellingCheck:
    """Check every pair of methods that meet in at least two blocks.

    Only for schedules in which methods were dealt freely within blocks (complete blocks,
    split-plots); for other designs say in words why the page holds no check.

    Parameters
    ----------
    shots
        The raw shots, as they are embedded: ``role, status, method``, the block column and the
        measure. Rows with role study and status kept are used.
    label, unit
        Name of the measure, and unit of a difference.
    seed
        For the sampling in the page where counting is out of reach.
    methods
        The order in which pairs are listed; others follow as they come.

    Raises
    ------
    DataError
        If a column is missing, or no two methods meet in two blocks.
    """
    missing = [name for name in ("role", "status", "method", block, measure) if name not in shots]
    if missing:
        raise DataError(f"The check needs the column {missing[0]}; the shots do not have it.")
    rows = shots[(shots["role"] == "study") & (shots["status"] == "kept")]
    rows = rows.dropna(subset=[measure, block])
    whole = np.floor(rows[measure].to_numpy(float) * SCALE + 0.5).astype(np.int64)
    rows = pd.DataFrame(
        {
            "method": rows["method"].astype(str).to_numpy(),
            "block": rows[block].astype(str).to_numpy(),
            "value": whole,
        }
    )
    pairs = []
    present = set(rows["method"])
    known = [name for name in methods if name in present]
    for a, b in combinations(dict.fromkeys([*known, *rows["method"]]), 2):
        check = _pair(rows, a, b)
        if check is not None:
            pairs.append(check)
    if not pairs:
        raise DataError(
            "No two methods have shots in the same two blocks, so there is nothing to deal anew."
        )
    return RelabellingCheck(measure, label, unit, block, tuple(pairs), seed)


def _pair(rows: pd.DataFrame, a: str, b: str) -> PairCheck | None:
    """The check of one pair, or None where it meets in fewer than two blocks."""
    meetings = []
    for _, group in rows[rows["method"].isin([a, b])].groupby("block", sort=False):
        first = group.loc[group["method"] == a, "value"].tolist()
        second = group.loc[group["method"] == b, "value"].tolist()
        if first and second:
            meetings.append((first, second))
    if len(meetings) < 2:
        return None
    common = math.lcm(*(len(first) * len(second) for first, second in meetings))
    seen, dealt = 0, []
    for first, second in meetings:
        weight = common // (len(first) * len(second))
        dealt.append([weight * value for value in _dealings(first + second, len(first))])
        seen += weight * (len(second) * sum(first) - len(first) * sum(second))
    at_least, dealings = count_dealings(dealt, seen)
    return PairCheck(
        a,
        b,
        len(meetings),
        seen / (common * SCALE * len(meetings)),
        at_least,
        dealings,
        exact=dealings < EXACT_BELOW,
    )


def _dealings(values: Sequence[int], n_first: int) -> list[int]:
    """Every way to call ``n_first`` of ``values`` the first method: n₂·Σfirst − n₁·Σsecond."""
    n_second, total = len(values) - n_first, sum(values)
    return [
        (n_second + n_first) * sum(chosen) - n_first * total
        for chosen in combinations(values, n_first)
    ]


def count_dealings(blocks: Sequence[Sequence[int]], seen: int) -> tuple[float, float]:
    """How many sums of one number from each block are at least ``|seen|`` in size, and of how many.

    A table of counts over all reachable sums is built block by block (a convolution), so 2^30
    dealings cost no more than 30 passes over it. Sums are reached in steps of the greatest common
    divisor, from the lowest one up.

    Raises
    ------
    DataError
        If the table would be too long to count through.
    """
    lowest = sum(min(block) for block in blocks)
    rises = [[value - min(block) for value in block] for block in blocks]
    step = math.gcd(*(rise for block in rises for rise in block)) or 1
    length = sum(max(block) for block in rises) // step + 1
    if length > MOST_CELLS:
        raise DataError(
            f"The values lie so far apart that {length:,} different sums would have to be "
            f"counted, and the page counts at most {MOST_CELLS:,}. The page can hold no check."
        )
    counts: NDArray[np.float64] = np.zeros(length)
    counts[0] = 1.0
    for block in rises:
        longer = np.zeros(length)
        for rise in block:
            places = rise // step
            longer[places:] += counts[: length - places]
        counts = longer
    sums = lowest + step * np.arange(length)
    at_least = float(counts[np.abs(sums) >= abs(seen)].sum())
    return at_least, float(math.prod(len(block) for block in blocks))
