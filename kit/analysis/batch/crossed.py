"""Cross-products for any independent random columns: crossed tasters, whole plots, cells.

With S = [Z X y]'[Z X y] and R = Γ^½, W'H⁻¹W = S − S_z R (I + R Z'Z R)⁻¹ R S_z' for every
pair of columns of W = [Z X y] at once, by one Cholesky factor a trial. Shots that share no
level with others, directly or through a chain (all shots of one taster or one session,
where every column nests in it), are independent of them: each such group is reduced alone,
which keeps the matrices small, and the results add up.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from kit.analysis.batch.layout import Layout
from kit.analysis.batch.moments import Products, shots_to_spare
from kit.errors import ModelError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class CrossedTrials:
    """T trials: for each independent group of shots, first column of each random column in
    ``starts`` and s (T, q + p + 1, q + p + 1); degrees (T,).
    """  # fmt: skip

    starts: tuple[tuple[int, ...], ...]
    s: tuple[Floats, ...]
    degrees: Floats

    def subset(self, which: Codes) -> CrossedTrials:
        """The trials with these numbers."""
        return CrossedTrials(self.starts, tuple(s[which] for s in self.s), self.degrees[which])

    def products(self, gamma: Floats) -> Products:
        """The cross-products at γ (K, T)."""
        parts = [_products(*part, gamma) for part in zip(self.starts, self.s, strict=True)]
        columns = range(gamma.shape[0])
        return Products(
            log_h=_sum([p.log_h for p in parts]),
            a=_sum([p.a for p in parts]),
            d=tuple(_sum([p.d[i] for p in parts]) for i in columns),
            e=tuple(tuple(_sum([p.e[i][j] for p in parts]) for j in columns) for i in columns),
            trace=_sum([p.trace for p in parts]),
            traces=_sum([p.traces for p in parts]),
        )


def _sum(arrays: list[Floats]) -> Floats:
    return np.asarray(np.add.reduce(arrays))


def _products(starts: tuple[int, ...], s: Floats, gamma: Floats) -> Products:
    """The cross-products of one independent group of shots."""
    q = starts[-1]
    root = np.sqrt(np.repeat(gamma, np.diff(starts), axis=0)).T
    inner = root[:, :, None] * s[:, :q, :q] * root[:, None, :] + np.eye(q)
    factor = np.linalg.cholesky(inner)
    half = np.linalg.solve(factor, root[:, :, None] * s[:, :q])
    c = s - half.transpose(0, 2, 1) @ half
    spans = [slice(i, j) for i, j in pairwise(starts)]
    zz, zu, count = c[:, :q, :q], c[:, :q, q:], len(spans)
    d: list[Floats] = []
    e: list[list[Floats]] = []
    traces = np.empty((count, count, c.shape[0]))
    for i, at in enumerate(spans):
        d.append(_last(zu[:, at].transpose(0, 2, 1) @ zu[:, at]))
        e.append([])
        for j, to in enumerate(spans):
            block = zz[:, at, to]
            both = zu[:, at].transpose(0, 2, 1) @ block @ zu[:, to]
            e[i].append(_last(0.5 * (both + both.transpose(0, 2, 1))))
            traces[i, j] = np.einsum("tab,tab->t", block, block)
    diagonal = np.einsum("taa->at", zz)
    return Products(
        log_h=2.0 * np.log(np.einsum("taa->ta", factor)).sum(axis=1),
        a=_last(c[:, q:, q:]),
        d=tuple(d),
        e=tuple(map(tuple, e)),
        trace=np.stack([diagonal[at].sum(axis=0) for at in spans]),
        traces=traces,
    )


def _last(matrices: Floats) -> Floats:
    """(T, P, P) to (P, P, T)."""
    return np.ascontiguousarray(np.moveaxis(matrices, 0, -1))


def crossed_trials(layout: Layout, y: Floats, kept: Bools) -> CrossedTrials:
    """Reduce outcomes (n, T), with ``kept`` (n, T) False where a shot was lost."""
    if y.shape != kept.shape or y.shape[0] != layout.n_shots:
        raise ModelError(
            f"Outcomes and losses must both be {layout.n_shots} shots by trials, found "
            f"{y.shape} and {kept.shape}."
        )
    weight, outcome = kept.astype(float), np.where(kept, y, 0.0)
    groups = independent_groups(layout)
    parts = [
        _reduced(layout, np.flatnonzero(groups == g), weight, outcome)
        for g in range(groups.max() + 1)
    ]
    starts, s = zip(*parts, strict=True)
    return CrossedTrials(starts, s, shots_to_spare(weight, layout.n_fixed))


def independent_groups(layout: Layout) -> Codes:
    """Number of the group of each shot (n,): shots joined by a chain of shared levels."""
    indicators = [codes[:, None] == np.arange(codes.max() + 1) for codes in layout.codes]
    shared = csr_array(np.hstack(indicators).astype(float))
    return np.asarray(connected_components(shared @ shared.T, directed=False)[1], dtype=np.intp)


def _reduced(
    layout: Layout, shots: Codes, weight: Floats, outcome: Floats
) -> tuple[tuple[int, ...], Floats]:
    """First columns and s (T, q + p + 1, q + p + 1) of one group of shots."""
    levels = [np.unique(codes[shots]) for codes in layout.codes]
    blocks = [
        (codes[shots, None] == found).astype(float)
        for codes, found in zip(layout.codes, levels, strict=True)
    ]
    starts = (0, *np.cumsum([found.size for found in levels]).tolist())
    columns = np.hstack([*blocks, layout.fixed[shots]])
    width, trials = columns.shape[1], weight.shape[1]
    pairs = np.einsum("na,nb->nab", columns, columns).reshape(shots.size, -1)
    s = np.empty((trials, width + 1, width + 1))
    s[:, :width, :width] = (csr_array(pairs.T) @ weight[shots]).T.reshape(trials, width, width)
    s[:, width, :width] = outcome[shots].T @ columns
    s[:, :width, width] = s[:, width, :width]
    s[:, width, width] = np.einsum("nt,nt->t", outcome[shots], outcome[shots])
    return starts, s
