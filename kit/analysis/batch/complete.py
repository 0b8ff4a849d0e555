"""Complete designs without lost shots: REML in closed form, no iteration.

Every method equally often in every block, equally many blocks in every session. The sums of
squares of the strata (within blocks, between blocks, between sessions) are then independent,
and REML with variances >= 0 is isotonic regression of their mean squares, weighted by their
df: neighbours out of order are pooled (Thompson 1962). A pair of methods is compared within
blocks: SE² = 2σ²/replicates, and the Kenward–Roger df are those of the within-block stratum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.analysis.batch.layout import Layout, nesting

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class CompleteDesign:
    """k methods, each ``per_block`` times in every one of ``blocks`` blocks; ``sessions``
    of equally many blocks (1: no session column); ``columns`` tells which random column of
    the layout is the block and which the session.
    """  # fmt: skip

    methods: int
    per_block: int
    blocks: int
    sessions: int
    columns: tuple[int, ...]

    @property
    def replicates(self) -> int:
        """Shots of each method."""
        return self.per_block * self.blocks

    @property
    def strata_df(self) -> Floats:
        """df within blocks, between blocks within sessions, and between sessions."""
        within = self.replicates * self.methods - self.methods - self.blocks + 1
        between = [self.blocks - self.sessions] + ([self.sessions - 1] * (self.sessions > 1))
        return np.array([within, *between], dtype=float)

    @property
    def multipliers(self) -> Floats:
        """Shots in a block, and in a session: what multiplies their variances."""
        block = self.per_block * self.methods
        sizes = [block] + ([block * self.blocks // self.sessions] * (self.sessions > 1))
        return np.array(sizes, dtype=float)

    def strata_variances(self, random: Floats, residual: float) -> Floats:
        """Expected mean squares for variances of blocks (and sessions), within first."""
        return np.cumsum(np.concatenate([[residual], self.multipliers * random]))


@dataclass(frozen=True)
class CompleteTrials:
    """T trials: means (k, T); variances of block, session (if any), residual (K + 1, T);
    se (T,) of every pair, with the same df for all.
    """  # fmt: skip

    means: Floats
    variances: Floats
    se: Floats
    df: float

    def f(self, design: CompleteDesign) -> Floats:
        """F of the methods on k − 1 and ``df`` degrees of freedom (T,)."""
        spread = np.var(self.means, axis=0, ddof=1) * design.replicates
        return np.asarray(spread / self.variances[-1])


def complete_design(layout: Layout) -> CompleteDesign | None:
    """The complete design that a layout is, or None."""
    pair = nesting(layout)
    if pair is None or layout.n_fixed != layout.n_methods:
        return None
    blocks = layout.levels(pair[0])
    table = np.zeros((blocks, layout.n_methods), dtype=int)
    np.add.at(table, (layout.codes[pair[0]], layout.fixed.argmax(axis=1)), 1)
    sessions = 1
    if pair[1] is not None:
        sizes = np.bincount(layout.codes[pair[1]])
        sessions = sizes.size
        if np.ptp(sizes) or sessions == 1:
            return None
    if np.ptp(table) or blocks <= sessions:
        return None
    columns = pair[:1] if pair[1] is None else (pair[0], pair[1])
    return CompleteDesign(layout.n_methods, int(table[0, 0]), blocks, sessions, columns)


def fit_complete(design: CompleteDesign, layout: Layout, y: Floats) -> CompleteTrials:
    """Fit outcomes (n, T) of a layout for which ``complete_design`` gave ``design``."""
    centred = y - y.mean(axis=0)
    means = layout.fixed.T @ centred / design.replicates
    squares = []
    for column, size in zip(design.columns, design.multipliers, strict=True):
        level_means = _indicator(layout, column).T @ centred / size
        squares.append(size * np.einsum("jt,jt->t", level_means, level_means))
    if len(squares) == 2:
        squares[0] = squares[0] - squares[1]
    methods = design.replicates * np.einsum("mt,mt->t", means, means)
    within = np.einsum("nt,nt->t", centred, centred) - methods - sum(squares)
    strata = np.stack([within, *squares])
    return _from_strata(design, means + y.mean(axis=0), strata)


def _indicator(layout: Layout, column: int) -> Floats:
    return (layout.codes[column][:, None] == np.arange(layout.levels(column))).astype(float)


def draw_complete(
    design: CompleteDesign,
    means: Floats,
    random: Floats,
    residual: float,
    rng: np.random.Generator,
    trials: int,
) -> CompleteTrials:
    """Simulated fits drawn straight from the sums of squares: no shot is ever drawn.

    ``means`` (k,), ``random`` variances of block (and session), ``residual`` variance. The
    method means returned leave out what all methods share.
    """
    df = design.strata_df
    expected = design.strata_variances(random, residual)
    strata = expected[:, None] * np.stack([2.0 * rng.standard_gamma(d / 2.0, trials) for d in df])
    noise = rng.standard_normal((design.methods, trials))
    error = np.sqrt(residual / design.replicates) * noise
    return _from_strata(design, means[:, None] + error, strata)


def _from_strata(design: CompleteDesign, means: Floats, squares: Floats) -> CompleteTrials:
    """REML from the sums of squares of the strata (2 or 3, T)."""
    df = design.strata_df
    pooled = _isotonic(squares, df)
    random = np.diff(pooled, axis=0) / design.multipliers[:, None]
    variances = np.vstack([random, pooled[:1]])
    se = np.sqrt(2.0 * pooled[0] / design.replicates)
    return CompleteTrials(means, variances, se, float(df[0]))


def _isotonic(squares: Floats, df: Floats) -> Floats:
    """Mean squares made non-decreasing by pooling, by the max–min formula (2 or 3 strata)."""
    count = len(df)
    out = np.full(squares.shape, -np.inf)
    for i in range(count):
        for start in range(i + 1):
            stops = range(i + 1, count + 1)
            means = [squares[start:j].sum(axis=0) / df[start:j].sum() for j in stops]
            np.maximum(out[i], np.minimum.reduce(means), out=out[i])
    return out
