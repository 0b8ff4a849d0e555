"""The planned shots as arrays: what every simulated trial of a batch has in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.errors import ModelError

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Layout:
    """n planned shots: the method of each, and its level of each random column.

    ``fixed`` (n, p): indicators of the k methods in its first k columns, then any covariates
    or position effects. ``codes[i]`` (n,): the level number, from 0, of random column
    ``names[i]``. Simulated data come as (n, T) arrays, one column a trial.
    """

    fixed: Floats
    methods: tuple[str, ...]
    names: tuple[str, ...]
    codes: tuple[Codes, ...]

    @property
    def n_shots(self) -> int:
        """Planned shots."""
        return self.fixed.shape[0]

    @property
    def n_fixed(self) -> int:
        """Columns of ``fixed``."""
        return self.fixed.shape[1]

    @property
    def n_methods(self) -> int:
        """Methods compared."""
        return len(self.methods)

    def levels(self, column: int) -> int:
        """Number of levels of a random column."""
        return int(self.codes[column].max()) + 1

    def all_pairs(self) -> Floats:
        """Contrasts a − b of all pairs of methods, a before b: (k(k−1)/2, p)."""
        first, second = np.triu_indices(self.n_methods, 1)
        return self._differences(first, second)

    def against(self, control: int) -> Floats:
        """Contrasts of every other method with method number ``control``: (k − 1, p)."""
        others = np.delete(np.arange(self.n_methods), control)
        return self._differences(others, np.full(others.size, control))

    def _differences(self, plus: Codes, minus: Codes) -> Floats:
        rows = np.arange(plus.size)
        out = np.zeros((plus.size, self.n_fixed))
        out[rows, plus] = 1.0
        out[rows, minus] = -1.0
        return out


def lay_out(
    method: ArrayLike, random: Mapping[str, ArrayLike], adjust: ArrayLike | None = None
) -> Layout:
    """A layout from the columns of a schedule, one entry a planned shot.

    Parameters: ``method`` labels (methods are numbered in order of first appearance);
    ``random`` labels of each random column, unique across the columns they are nested in;
    ``adjust`` (n,) or (n, q) further fixed columns, e.g. indicators of position less one.
    Raises ModelError when fewer than two methods, an outcome column of another length, or
    fixed columns that cannot be separated are given.
    """
    numbers, methods = _numbered(method)
    if len(methods) < 2:
        raise ModelError("A comparison needs at least two methods; the schedule holds one.")
    fixed = (numbers[:, None] == np.arange(len(methods))).astype(float)
    if adjust is not None:
        extra = np.asarray(adjust, dtype=float).reshape(len(numbers), -1)
        fixed = np.hstack([fixed, extra - extra.mean(axis=0)])
        if np.linalg.matrix_rank(fixed) < fixed.shape[1]:
            raise ModelError(
                "The adjustment columns of the simulated analysis repeat what the methods "
                "already say. Leave one of them out."
            )
    codes = {name: _numbered(labels)[0] for name, labels in random.items()}
    for name, values in codes.items():
        if values.size != numbers.size:
            raise ModelError(
                f"Column {name} has {values.size} entries for {numbers.size} planned shots."
            )
    return Layout(fixed, methods, tuple(codes), tuple(codes.values()))


def _numbered(labels: ArrayLike) -> tuple[Codes, tuple[str, ...]]:
    """Level numbers in order of first appearance, and the levels as text."""
    values = np.asarray(labels)
    levels, first, inverse = np.unique(values, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(order.size, dtype=np.intp)
    rank[order] = np.arange(order.size)
    return rank[inverse.reshape(-1)], tuple(str(level) for level in levels[order])


def nesting(layout: Layout) -> tuple[int, int | None] | None:
    """(inner, outer) numbers of random columns when one nests in the other, or None.

    One random column alone is (0, None).
    """
    if len(layout.codes) == 1:
        return 0, None
    if len(layout.codes) != 2:
        return None
    for inner, outer in ((1, 0), (0, 1)):
        pairs = np.unique(np.stack([layout.codes[inner], layout.codes[outer]]), axis=1)
        if pairs.shape[1] == layout.levels(inner):
            return inner, outer
    return None
