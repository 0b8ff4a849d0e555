"""A block design as a record: which methods stand in which block, and how often they meet.

Methods are numbered from 0. Nothing here is random and nothing here knows about sessions.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class BlockDesign:
    """Blocks of equal size; a method may stand in a block more than once (a replicated control)."""

    n_methods: int
    blocks: tuple[tuple[int, ...], ...]
    origin: str
    """How the design was made, in words for the certificate."""

    @property
    def n_blocks(self) -> int:
        """Number of blocks, b."""
        return len(self.blocks)

    @property
    def block_size(self) -> int:
        """Shots in a block, k."""
        return len(self.blocks[0])

    @cached_property
    def array(self) -> IntArray:
        """The design as blocks × places."""
        return np.array(self.blocks, dtype=np.int64)

    @cached_property
    def incidence(self) -> IntArray:
        """How often each method stands in each block (methods × blocks)."""
        counts = np.zeros((self.n_methods, self.n_blocks), dtype=np.int64)
        places = np.repeat(np.arange(self.n_blocks), self.block_size)
        np.add.at(counts, (self.array.ravel(), places), 1)
        return counts

    @property
    def replications(self) -> IntArray:
        """Shots of each method, r."""
        return self.incidence.sum(axis=1)

    @property
    def concurrences(self) -> IntArray:
        """How often two methods meet in a block (methods × methods; λ off the diagonal)."""
        return self.incidence @ self.incidence.T

    @property
    def is_balanced(self) -> bool:
        """Whether every pair of methods meets equally often, in equally many shots."""
        off_diagonal = self.concurrences[~np.eye(self.n_methods, dtype=bool)]
        return bool(np.ptp(self.replications) == 0 and np.ptp(off_diagonal) == 0)

    def times(self, copies: int) -> BlockDesign:
        """The design repeated ``copies`` times."""
        if copies == 1:
            return self
        words = f"{self.origin}, taken {copies} times"
        return BlockDesign(self.n_methods, self.blocks * copies, words)
