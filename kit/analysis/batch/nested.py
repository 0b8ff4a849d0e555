"""Cross-products for blocks, alone or nested in sessions: sums over blocks, nothing larger.

With n_j shots left in block j, x_j = Z_j'U, r_j = 1/(1 + γ_b n_j) and d_j = n_j r_j, the
blocks are swept by rank-one updates; then sessions, with a_s = Σ r_j x_j, c_s = Σ d_j and
v_s = γ_s/(1 + γ_s c_s). A zero variance costs nothing and is no special case.

Blocks with equally many shots left share r_j, so their x_jx_j' (and, within a session, their
x_j) are added up once for each number of shots left; an iteration runs over those few sums
however many blocks there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from kit.analysis.batch.layout import Layout, nesting
from kit.analysis.batch.moments import Products, shots_to_spare
from kit.analysis.batch.products import both_ways, gram, packed_gram, packed_index
from kit.errors import ModelError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class NestedPlan:
    """What a layout fixes for all its trials: the blocks of each session, and how to sum.

    ``sessions`` holds first and last-plus-one of the sorted blocks of each session (empty
    without sessions); ``order`` the place of block and session among the random columns.
    """

    layout: Layout
    sums_x: csr_array
    sums_one: csr_array
    sums_xx: Floats
    sessions: tuple[tuple[int, int], ...]
    order: tuple[int, ...]


@dataclass(frozen=True)
class NestedTrials:
    """T trials, by number of shots left in a block (V values ``sizes``) and session (S).

    blocks (V, Q, T): Σ x_jx_j', packed; firsts (S, V, P, T): Σ x_j; counts (S, V, T): blocks;
    whole (P, P, T): U'U; degrees (T,): n − p.
    """

    plan: NestedPlan
    sizes: Floats
    blocks: Floats
    firsts: Floats
    counts: Floats
    whole: Floats
    degrees: Floats

    def subset(self, which: Codes) -> NestedTrials:
        """The trials with these numbers."""
        return NestedTrials(
            self.plan,
            self.sizes,
            self.blocks.take(which, axis=-1),
            self.firsts.take(which, axis=-1),
            self.counts.take(which, axis=-1),
            self.whole.take(which, axis=-1),
            self.degrees[which],
        )

    def products(self, gamma: Floats) -> Products:
        """The cross-products at γ (K, T)."""
        gamma_b = gamma[self.plan.order[0]]
        v = self.sizes[:, None]
        r = 1.0 / (1.0 + gamma_b * v)
        d = v * r
        d2, r2 = d * d, r * r
        index = packed_index(self.blocks.shape[1])
        block_part = [
            np.einsum("vt,vqt->qt", weight, self.blocks)[index]
            for weight in (gamma_b * r, r2, d * r2)
        ]
        block_part[0] = self.whole - block_part[0]
        c = np.einsum("wvt,svt->wst", np.stack([d, d2, d2 * d]), self.counts)
        log_h = -np.einsum("svt,vt->t", self.counts, np.log(r))
        if not self.plan.sessions:
            a, d_b, e_bb = block_part
            return Products(log_h, a, (d_b,), ((e_bb,),), c[0], c[1][None])
        sums = [np.einsum("vt,svbt->sbt", weight, self.firsts) for weight in (r, d * r, d2 * r)]
        return _sessions_swept(self.plan.order, gamma, block_part, sums, c, log_h)


def _sessions_swept(
    order: tuple[int, ...],
    gamma: Floats,
    block_part: list[Floats],
    sums: list[Floats],
    c: Floats,
    log_h: Floats,
) -> Products:
    """Sweep the sessions too: ``block_part`` is A, D_bb, E_bb after the blocks alone,
    ``sums`` Σ (r, dr, d²r) x_j and ``c`` Σ (d, d², d³) over the blocks of each session.
    """  # fmt: skip
    a, w, y = sums
    c1, c2, c3 = c
    q = 1.0 / (1.0 + gamma[order[1]] * c1)
    v = gamma[order[1]] * q
    qc, vc2 = q * c1, v * c2
    va, qa = v[:, None] * a, q[:, None] * a
    h = w - c2[:, None] * va
    d_b = block_part[1] + both_ways(gram(va, 0.5 * c2[:, None] * va - w))
    e_bb = block_part[2] + both_ways(gram(va, 0.5 * c3[:, None] * va - y))
    e_bb -= gram(v[:, None] * h, h)
    e_bs = 0.5 * both_ways(gram(q[:, None] * h, qa))
    d = (d_b, gram(qa, qa))
    e = (e_bb, e_bs, gram(qc[:, None] * qa, qa))
    trace = ((c1 - vc2).sum(axis=0), qc.sum(axis=0))
    traces = (
        (c2 - 2.0 * v * c3 + vc2 * vc2).sum(axis=0),
        (q * q * c2).sum(axis=0),
        (qc * qc).sum(axis=0),
    )
    pair = [[0, 1], [1, 2]]
    return Products(
        log_h=log_h - np.log(q).sum(axis=0),
        a=block_part[0] - gram(va, a),
        d=tuple(d[i] for i in order),
        e=tuple(tuple(e[pair[i][j]] for j in order) for i in order),
        trace=np.array([trace[i] for i in order]),
        traces=np.array([[traces[pair[i][j]] for j in order] for i in order]),
    )


@lru_cache(maxsize=16)
def nested_plan(layout: Layout) -> NestedPlan | None:
    """The plan of a layout with one random column or two nested ones; None for others."""
    pair = nesting(layout)
    if pair is None:
        return None
    inner, outer = pair
    blocks = layout.codes[inner]
    spans: tuple[tuple[int, int], ...] = ()
    if outer is not None:
        session_of = np.zeros(layout.levels(inner), dtype=np.intp)
        session_of[blocks] = layout.codes[outer]
        rank = np.argsort(np.argsort(session_of, kind="stable"), kind="stable")
        blocks = rank[blocks]
        ends = np.cumsum(np.bincount(session_of)).tolist()
        spans = tuple(zip([0, *ends[:-1]], ends, strict=True))
    return NestedPlan(
        layout,
        _block_sums(blocks, layout.fixed),
        _block_sums(blocks, np.ones((layout.n_shots, 1))),
        np.einsum("na,nb->nab", layout.fixed, layout.fixed).reshape(layout.n_shots, -1),
        spans,
        (inner,) if outer is None else (inner, outer),
    )


def _block_sums(blocks: Codes, values: Floats) -> csr_array:
    """Matrix that sums weighted shots: (blocks × columns, n)."""
    shot, column = np.nonzero(values)
    rows = blocks[shot] * values.shape[1] + column
    size = (int(blocks.max()) + 1) * values.shape[1]
    return csr_array((values[shot, column], (rows, shot)), shape=(size, values.shape[0]))


def nested_trials(plan: NestedPlan, y: Floats, kept: Bools) -> NestedTrials:
    """Reduce outcomes (n, T), with ``kept`` (n, T) False where a shot was lost."""
    fixed = plan.layout.fixed
    if y.shape != kept.shape or y.shape[0] != fixed.shape[0]:
        raise ModelError(
            f"Outcomes and losses must both be {fixed.shape[0]} shots by trials, found "
            f"{y.shape} and {kept.shape}."
        )
    weight, outcome = kept.astype(float), np.where(kept, y, 0.0)
    trials, p, blocks = y.shape[1], fixed.shape[1], plan.sums_one.shape[0]
    x = np.empty((blocks, p + 1, trials))
    x[:, :p] = (plan.sums_x @ weight).reshape(blocks, p, trials)
    x[:, p] = plan.sums_one @ outcome
    whole = np.empty((p + 1, p + 1, trials))
    whole[:p, :p] = (plan.sums_xx.T @ weight).reshape(p, p, trials)
    whole[:p, p] = fixed.T @ outcome
    whole[p, p] = np.einsum("nt,nt->t", outcome, outcome)
    whole[p, :p] = whole[:p, p]
    return _by_size(plan, x, plan.sums_one @ weight, whole, shots_to_spare(weight, p))


def _by_size(
    plan: NestedPlan, x: Floats, shots: Floats, whole: Floats, degrees: Floats
) -> NestedTrials:
    """Add up the blocks that have equally many shots left."""
    sizes = np.unique(shots)
    sizes = sizes[sizes > 0.0]
    spans = plan.sessions or ((0, shots.shape[0]),)
    size, trials = x.shape[1], x.shape[2]
    blocks = np.empty((sizes.size, size * (size + 1) // 2, trials))
    firsts = np.empty((len(spans), sizes.size, size, trials))
    counts = np.empty((len(spans), sizes.size, trials))
    for v, value in enumerate(sizes):
        here = (shots == value).astype(float)
        chosen = x * here[:, None]
        blocks[v] = packed_gram(chosen, x)
        for s, (i, j) in enumerate(spans):
            firsts[s, v] = chosen[i:j].sum(axis=0)
            counts[s, v] = here[i:j].sum(axis=0)
    return NestedTrials(plan, sizes, blocks, firsts, counts, whole, degrees)
