"""Which blocks share a session and a bag, so that each holds its share of every method."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kit.design.blockdesign import BlockDesign, IntArray

_SEARCH_SEED = 20_002
_TRIES_A_BLOCK = 200


@lru_cache(maxsize=64)
def grouped_blocks(
    design: BlockDesign, sessions: int, bags: int
) -> tuple[tuple[tuple[tuple[int, ...], ...], ...], ...]:
    """The blocks of a design laid out as sessions of bags of blocks.

    Sessions are made as even as can be first, then bags within sessions: the sum of squares of
    the shots of a method in a group is brought down by swapping blocks. Sessions and bags are of
    equal size.
    """
    incidence = design.incidence.T
    order = np.arange(design.n_blocks)
    order = _even_groups(incidence, order, sessions)
    per_session = design.n_blocks // sessions
    parts = [
        _even_groups(incidence, order[i * per_session : (i + 1) * per_session], bags)
        for i in range(sessions)
    ]
    return tuple(
        tuple(
            tuple(design.blocks[block] for block in bag)
            for bag in part.reshape(bags, per_session // bags)
        )
        for part in parts
    )


def _even_groups(incidence: IntArray, order: IntArray, groups: int) -> IntArray:
    """Reorder blocks so that consecutive groups of equal size hold methods evenly."""
    size = len(order) // groups
    if groups == 1 or size == 0:
        return order
    rng = np.random.Generator(np.random.PCG64(_SEARCH_SEED))
    order = rng.permutation(order)
    totals = incidence[order].reshape(groups, size, -1).sum(axis=1)
    for i, j in rng.integers(0, len(order), size=(_TRIES_A_BLOCK * len(order), 2)).tolist():
        g, h = i // size, j // size
        if g == h:
            continue
        move = incidence[order[j]] - incidence[order[i]]
        # Change of the sum of squares when the two blocks change groups.
        if (totals[g] * move).sum() - (totals[h] * move).sum() + (move * move).sum() < 0:
            totals[g] += move
            totals[h] -= move
            order[i], order[j] = order[j], order[i]
    return order
