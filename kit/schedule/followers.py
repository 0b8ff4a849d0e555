"""The scheme for carry-over: Williams's orders, drawn so that no method follows itself."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from kit.design.blockdesign import IntArray
from kit.design.carryover import part_of_williams, williams_rows
from kit.schedule.scheme import Scheme, log10_factorial

_COUNT_SEED = 20_004
_COUNTED = 4_000
_COUNTED_EXACTLY = 8

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Unit:
    """One whole set of Williams's rows (or the remaining part), with its place in the run."""

    rows: tuple[tuple[int, ...], ...]
    joined: tuple[bool, ...]
    """For each block of the unit: whether a study shot came directly before it."""

    @cached_property
    def array(self) -> IntArray:
        """Rows × places."""
        return np.array(self.rows, dtype=np.int64)

    def permuted(self, rng: np.random.Generator, n: int, t: int) -> IntArray:
        """``n`` units with rows in random order and methods renamed at random."""
        order = rng.permuted(
            np.broadcast_to(np.arange(len(self.rows)), (n, len(self.rows))), axis=1
        )
        labels = rng.permuted(np.broadcast_to(np.arange(t), (n, t)), axis=1)
        flat = self.array[order].reshape(n, -1)
        return np.take_along_axis(labels, flat, axis=1).reshape(n, len(self.rows), t)

    def allowed(self, drawn: IntArray, before: IntArray) -> BoolArray:
        """Which of the drawn units let no method follow itself, ``before`` standing in front."""
        last = np.concatenate([before[:, None], drawn[:, :-1, -1]], axis=1)
        repeats = (drawn[:, :, 0] == last) & np.array(self.joined)
        return ~repeats.any(axis=1)

    @cached_property
    def log10_allowed(self) -> float:
        """Common logarithm of the distinct allowed units, whatever stands in front.

        Renamings times row orders, over those that leave the rows as they are, times the share of
        row orders in which no method follows itself. That share is exact for up to eight rows;
        for more it is counted among 4 000 orders at random (good to about two hundredths). Of the
        renamings, (t − 1)/t start with another method than the one that stands in front.
        """
        t = self.array.shape[1]
        share = self._share_exact() if len(self.rows) <= _COUNTED_EXACTLY else self._share_sampled()
        if self.joined[0]:
            share *= (t - 1) / t
        moves = log10_factorial(t) + log10_factorial(len(self.rows))
        return moves - math.log10(self._unchanged()) + math.log10(share)

    def _share_sampled(self) -> float:
        rng = np.random.Generator(np.random.PCG64(_COUNT_SEED))
        drawn = self.permuted(rng, _COUNTED, self.array.shape[1])
        inside = self.allowed(drawn, np.full(_COUNTED, -1, dtype=np.int64))
        return max(float(inside.mean()), 1 / _COUNTED)

    def _share_exact(self) -> float:
        """Row orders without a repeat at a join, counted by which rows are used and the last."""
        n, follows = len(self.rows), self.array[:, -1][:, None] != self.array[:, 0][None, :]
        ways = {(1 << row, row): 1 for row in range(n)}
        for place in range(1, n):
            longer: dict[tuple[int, int], int] = {}
            for (used, last), count in ways.items():
                for row in range(n):
                    free = not used >> row & 1
                    if free and (follows[last, row] or not self.joined[place]):
                        key = (used | 1 << row, row)
                        longer[key] = longer.get(key, 0) + count
            ways = longer
        return sum(ways.values()) / math.factorial(n)

    def _unchanged(self) -> int:
        """Renamings (each with its row orders) that give the same set of rows again."""
        rows = sorted(self.rows)
        doubled = math.prod(math.factorial(rows.count(row)) for row in set(rows))
        renamings = {
            tuple(image for _, image in sorted(zip(rows[0], target, strict=True)))
            for target in rows
        }
        same = sum(sorted(tuple(new[m] for m in row) for row in rows) == rows for new in renamings)
        return same * doubled


@dataclass(frozen=True)
class FollowersScheme(Scheme):
    """Units of Williams's rows, each renamed and put in order at random.

    An order in which a method would directly follow itself from one block to the next is drawn
    again, unit by unit. Because methods are renamed anew in each unit, equally many orders are
    left whatever stands in front, so that drawing unit by unit is uniform over the whole set.
    """

    units: tuple[Unit, ...]

    def draw_numbers(self, rng: np.random.Generator, n: int) -> IntArray:
        """See :class:`Scheme`."""
        t = len(self.names)
        before = np.full(n, -1, dtype=np.int64)
        parts = []
        for unit in self.units:
            drawn = np.empty((n, len(unit.rows), t), dtype=np.int64)
            waiting = np.arange(n)
            while len(waiting):
                proposed = unit.permuted(rng, len(waiting), t)
                good = unit.allowed(proposed, before[waiting])
                drawn[waiting[good]] = proposed[good]
                waiting = waiting[~good]
            before = drawn[:, -1, -1]
            parts.append(drawn.reshape(n, -1))
        return np.concatenate(parts, axis=1)

    @cached_property
    def log10_methods(self) -> float:
        """See :class:`Scheme`."""
        return sum(unit.log10_allowed for unit in self.units)

    def method_words(self) -> str:
        """See :class:`Scheme`."""
        return (
            "Blocks are runs of Williams’s orders, in which every method follows every other "
            "equally often (or as nearly as the number of blocks allows); methods and the order "
            "of the blocks are permuted at random, and orders in which a method would directly "
            "follow itself are drawn again."
        )


def follower_units(n_methods: int, joined: list[bool]) -> tuple[Unit, ...]:
    """The blocks of a trial divided into whole Williams sets and a remaining part.

    Parameters
    ----------
    joined
        For each block, whether a study shot came directly before it. With two methods a method
        has to follow itself at some joins, so none is ruled out.
    """
    whole = [tuple(row) for row in williams_rows(n_methods).tolist()]
    joins = joined if n_methods > 2 else [False] * len(joined)
    units = []
    for start in range(0, len(joins), len(whole)):
        part = tuple(joins[start : start + len(whole)])
        rows = tuple(whole) if len(part) == len(whole) else part_of_williams(n_methods, len(part))
        units.append(Unit(rows, part))
    return tuple(units)
