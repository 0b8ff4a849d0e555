"""Extraction against taste, within methods and between methods apart.

The two can disagree, even in sign: methods that extract more may taste better while, among shots
of one method, the stronger ones do not. A single correlation over all shots mixes the two (the
ecological fallacy: Robinson 1950, American Sociological Review 15, 351-357).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.usable import usable_rows
from kit.errors import ModelError


@dataclass(frozen=True)
class Association:
    """A correlation with its slope. ``n``: shots within methods, or methods between them."""

    r: float
    df: int
    p: float
    lower: float
    upper: float
    slope: float
    n: int


def within_groups(
    table: pd.DataFrame, x: str, y: str, group: str = "method", level: float = 0.95
) -> Association:
    """The repeated-measures correlation: one common slope, a level of its own for each group.

    The interval is Fisher's z with standard error 1/√(df − 1), not rounded.

    Source: Bland & Altman (1995), BMJ 310, 446; Bakdash & Marusich (2017), Frontiers in
    Psychology 8, 456.

    Raises
    ------
    ModelError
        If fewer than three degrees of freedom are left, or ``x`` or ``y`` never varies.
    """
    rows = _both(table, x, y, group)
    means = rows.groupby(group, observed=True)[[x, y]].transform("mean")
    a, b = (rows[x] - means[x]).to_numpy(), (rows[y] - means[y]).to_numpy()
    df = len(rows) - rows[group].nunique() - 1
    return _association(a, b, df, len(rows), level, f"within each {group}")


def between_groups(
    table: pd.DataFrame, x: str, y: str, group: str = "method", level: float = 0.95
) -> Association:
    """The correlation of group means, each group one point whatever its number of shots.

    Raises
    ------
    ModelError
        With fewer than five groups (df below three): a few points always lie near some line.
    """
    rows = _both(table, x, y, group)
    means = rows.groupby(group, observed=True)[[x, y]].mean()
    centred = means - means.mean()
    return _association(
        centred[x].to_numpy(),
        centred[y].to_numpy(),
        len(means) - 2,
        len(means),
        level,
        f"between the means of {group}s",
    )


def _both(table: pd.DataFrame, x: str, y: str, group: str) -> pd.DataFrame:
    rows = usable_rows(table, x, [group])
    rows[y] = usable_rows(table, y, [group])[y].reindex(rows.index)
    rows = rows.dropna()
    if rows.empty:
        raise ModelError(f"No shot has both “{x}” and “{y}”, so they cannot be set side by side.")
    return rows


def _association(
    a: np.ndarray, b: np.ndarray, df: int, n: int, level: float, where: str
) -> Association:
    if df < 3:
        raise ModelError(
            f"A correlation {where} has only {max(df, 0)} degrees of freedom here; with fewer "
            "than three, any line fits. Look at the picture and claim nothing from it."
        )
    size = np.sqrt((a @ a) * (b @ b))
    if size == 0:
        raise ModelError(f"One of the two never varies {where}, so they cannot be correlated.")
    r = float(np.clip((a @ b) / size, -1, 1))
    reach = stats.norm.isf((1 - level) / 2) / np.sqrt(df - 1)
    z = np.arctanh(r) if abs(r) < 1 else np.copysign(np.inf, r)
    t = r * np.sqrt(df / (1 - r * r)) if abs(r) < 1 else np.copysign(np.inf, r)
    return Association(
        r=r,
        df=df,
        p=float(2 * stats.t.sf(abs(t), df)),
        lower=float(np.tanh(z - reach)),
        upper=float(np.tanh(z + reach)),
        slope=float((a @ b) / (a @ a)),
        n=n,
    )
