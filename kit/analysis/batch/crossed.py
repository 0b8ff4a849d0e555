"""Cross-products for any independent random columns: crossed tasters, whole plots, cells.

With S = [Z X y]'[Z X y] and R = Γ^½, W'H⁻¹W = S − S_z R (I + R Z'Z R)⁻¹ R S_z' for every
pair of columns of W = [Z X y] at once, by one Cholesky factor a trial.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from kit.analysis.batch.layout import Layout
from kit.analysis.batch.moments import Products, shots_to_spare
from kit.errors import ModelError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class CrossedTrials:
    """T trials: s (T, q + p + 1, q + p + 1) with the random columns first; degrees (T,)."""

    layout: Layout
    starts: tuple[int, ...]
    s: Floats
    degrees: Floats

    def subset(self, which: Codes) -> CrossedTrials:
        """The trials with these numbers."""
        return CrossedTrials(self.layout, self.starts, self.s[which], self.degrees[which])

    def products(self, gamma: Floats) -> Products:
        """The cross-products at γ (K, T)."""
        q = self.starts[-1]
        root = np.sqrt(np.repeat(gamma, np.diff(self.starts), axis=0)).T
        inner = root[:, :, None] * self.s[:, :q, :q] * root[:, None, :] + np.eye(q)
        factor = np.linalg.cholesky(inner)
        half = np.linalg.solve(factor, root[:, :, None] * self.s[:, :q])
        c = self.s - half.transpose(0, 2, 1) @ half
        spans = [slice(i, j) for i, j in zip(self.starts, self.starts[1:], strict=False)]
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
    sizes = [layout.levels(i) for i in range(len(layout.codes))]
    starts = (0, *np.cumsum(sizes).tolist())
    z = np.zeros((layout.n_shots, starts[-1]))
    for first, codes in zip(starts, layout.codes, strict=False):
        z[np.arange(layout.n_shots), first + codes] = 1.0
    columns = np.hstack([z, layout.fixed])
    width, trials = columns.shape[1], y.shape[1]
    weight, outcome = kept.astype(float), np.where(kept, y, 0.0)
    pairs = np.einsum("na,nb->nab", columns, columns).reshape(layout.n_shots, -1)
    s = np.empty((trials, width + 1, width + 1))
    s[:, :width, :width] = (csr_array(pairs.T) @ weight).T.reshape(trials, width, width)
    s[:, width, :width] = outcome.T @ columns
    s[:, :width, width] = s[:, width, :width]
    s[:, width, width] = np.einsum("nt,nt->t", outcome, outcome)
    return CrossedTrials(layout, starts, s, shots_to_spare(weight, layout.n_fixed))
