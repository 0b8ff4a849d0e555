"""Schemes that randomise one base plan by permuting its labels, blocks and places."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kit.design.blockdesign import IntArray
from kit.design.symmetry import OrderedTree, Tree, log10_stabiliser
from kit.schedule.scheme import Scheme, log10_factorial


@dataclass(frozen=True)
class PermutedScheme(Scheme):
    """One base plan (sessions × bags × blocks × places); its orbit under permutation is the set.

    Permuted are: names of the methods that are free to swap, whole sessions, bags within a
    session, blocks within a bag, and shots within each block.
    """

    base: tuple[tuple[tuple[tuple[int, ...], ...], ...], ...]
    held: tuple[int, ...]
    """Methods that keep their part in the plan (a control that stands in every block)."""

    @cached_property
    def _array(self) -> IntArray:
        return np.array(self.base, dtype=np.int64)

    def draw_numbers(self, rng: np.random.Generator, n: int) -> IntArray:
        """See :class:`Scheme`."""
        plan = np.broadcast_to(self._array, (n, *self._array.shape))
        for axis in (1, 2, 3):
            plan = _permute_units(rng, plan, axis)
        plan = self._permute_places(rng, plan).reshape(n, -1)
        return np.take_along_axis(self._relabellings(rng, n), plan, axis=1)

    def _permute_places(self, rng: np.random.Generator, plan: IntArray) -> IntArray:
        return rng.permuted(plan, axis=4)

    def _relabellings(self, rng: np.random.Generator, n: int) -> IntArray:
        """For each draw, the method that takes each part of the plan."""
        labels = np.tile(np.arange(len(self.names)), (n, 1))
        free = [m for m in range(len(self.names)) if m not in self.held]
        labels[:, free] = rng.permuted(labels[:, free], axis=1)
        return labels

    @cached_property
    def log10_methods(self) -> float:
        """Distinct plans: the permutations over those that leave the base plan as it is."""
        places = self._array[..., 0].size * log10_factorial(self._array.shape[-1])
        return self._log10_unit_moves + places - self._log10_fixing(Tree(self.base))

    @property
    def _log10_unit_moves(self) -> float:
        """Ways to permute method names and whole sessions, bags and blocks."""
        sessions, bags, blocks, _ = self._array.shape
        moves = log10_factorial(len(self.names) - len(self.held)) + log10_factorial(sessions)
        return moves + sessions * log10_factorial(bags) + sessions * bags * log10_factorial(blocks)

    def _log10_fixing(self, tree: Tree) -> float:
        return log10_stabiliser(tree, len(self.names), self.held)

    def method_words(self) -> str:
        """See :class:`Scheme`."""
        parts = [*self._unit_words(), "the order of the shots in each block"]
        return f"One plan of blocks is drawn out at random: {', '.join(parts)}."

    def _unit_words(self) -> list[str]:
        sessions, bags, blocks, _ = self._array.shape
        words = {
            "which method plays which part in the plan": len(self.names) - len(self.held),
            "the order of the sessions": sessions,
            "the order of the bags in a session": bags,
            "the order of the blocks": blocks,
        }
        return [text for text, units in words.items() if units > 1]


@dataclass(frozen=True)
class OrderedPlanScheme(PermutedScheme):
    """One base plan in which the order of the shots within a block is balanced, and kept."""

    def _permute_places(self, rng: np.random.Generator, plan: IntArray) -> IntArray:  # noqa: ARG002
        return plan

    @cached_property
    def log10_methods(self) -> float:
        """See :class:`PermutedScheme`; the places within a block stay."""
        return self._log10_unit_moves - self._log10_fixing(OrderedTree(self.base))

    def method_words(self) -> str:
        """See :class:`Scheme`."""
        return (
            "One plan of blocks with balanced orders is drawn out at random: "
            f"{', '.join(self._unit_words())}."
        )


def _permute_units(rng: np.random.Generator, plan: IntArray, axis: int) -> IntArray:
    """Permute whole units along ``axis``, independently for everything outside it."""
    if plan.shape[axis] == 1:
        return plan
    order = rng.permuted(
        np.broadcast_to(np.arange(plan.shape[axis]), plan.shape[: axis + 1]), axis=axis
    )
    spread = order.reshape(order.shape + (1,) * (plan.ndim - axis - 1))
    return np.take_along_axis(plan, spread, axis=axis)


def log10_orbit_of_latin_square(n: int) -> float:
    """Common logarithm of the squares reached from the cyclic one by permuting rows, columns and
    symbols: (n!)³ / (n² φ(n)).

    The cyclic square is the table of the cyclic group, whose autotopisms number |G|² |Aut G|
    (Dénes and Keedwell 1974, section 4.2).
    """
    totient = sum(math.gcd(i, n) == 1 for i in range(1, n + 1))
    return 3 * log10_factorial(n) - math.log10(n * n * totient)


@dataclass(frozen=True)
class LatinScheme(Scheme):
    """Squares of n blocks in which every method stands once in every place."""

    squares: int

    def draw_numbers(self, rng: np.random.Generator, n: int) -> IntArray:
        """See :class:`Scheme`."""
        t = len(self.names)
        cyclic = (np.arange(t)[:, None] + np.arange(t)) % t
        shape = (n, self.squares, t)
        rows, columns, symbols = (
            rng.permuted(np.broadcast_to(np.arange(t), shape), axis=2) for _ in range(3)
        )
        square = cyclic[rows[..., :, None], columns[..., None, :]]
        flat = np.take_along_axis(symbols, square.reshape(n, self.squares, t * t), axis=2)
        return flat.reshape(n, -1)

    @property
    def log10_methods(self) -> float:
        """See :class:`Scheme`."""
        return self.squares * log10_orbit_of_latin_square(len(self.names))

    def method_words(self) -> str:
        """See :class:`Scheme`."""
        t = len(self.names)
        return (
            f"Every run of {t} blocks is a Latin square: each method once in each block and once "
            "in each place. Rows, columns and methods of each square are permuted at random."
        )
