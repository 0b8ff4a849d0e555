"""The stated set of schedules a trial may get, every one of them equally likely.

The draw of a schedule and the re-randomisation test use the same scheme: a p value from redrawing
is valid because the schedule that was used came from this very set (Fisher 1935; Bailey 1981,
Biometrika 68, on restricted randomisation by permuting one plan).
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from kit.design.blockdesign import IntArray

LabelArray = npt.NDArray[np.object_]


@dataclass(frozen=True)
class WholePlots:
    """How the settings of hard-to-change factors fall on whole plots."""

    settings: tuple[tuple[str, ...], ...]
    """Each combination of levels once, in the order of the plan."""
    sessions: int
    plots_per_session: int

    def draw(self, rng: np.random.Generator) -> IntArray:
        """Number of the setting of every whole plot, in schedule order.

        Where a session holds every setting, their order is drawn anew in each session; where a
        session holds one whole plot, settings are drawn over the sessions.
        """
        count = len(self.settings)
        if self.plots_per_session == 1:
            return rng.permutation(np.arange(self.sessions) % count)
        one = np.arange(self.plots_per_session) % count
        rows = np.broadcast_to(one, (self.sessions, self.plots_per_session))
        return rng.permuted(rows, axis=1).ravel()

    @property
    def log10_size(self) -> float:
        """Common logarithm of the number of ways the settings can fall."""
        count = len(self.settings)
        if self.plots_per_session == 1:
            return log10_arrangements([self.sessions // count] * count)
        return self.sessions * log10_arrangements([self.plots_per_session // count] * count)

    def words(self) -> str:
        """The set of allowed orders in one sentence."""
        if self.plots_per_session == 1:
            return "Which session has which setting is drawn over all sessions."
        return "The order of the settings is drawn anew in each session."


@dataclass(frozen=True)
class Scheme(ABC):
    """A set of allowed schedules and a uniform draw from it."""

    names: tuple[str, ...]
    """Methods, in the order of the plan."""
    whole_plots: WholePlots | None

    @abstractmethod
    def draw_numbers(self, rng: np.random.Generator, n: int) -> IntArray:
        """``n`` draws of method numbers (n × study shots, in schedule order)."""

    @property
    @abstractmethod
    def log10_methods(self) -> float:
        """Common logarithm of the number of method orders in the set."""

    @abstractmethod
    def method_words(self) -> str:
        """How the method orders are drawn, in plain words."""

    def draw(self, rng: np.random.Generator) -> LabelArray:
        """One schedule: method labels of the study shots in schedule order."""
        return self.draw_many(rng, 1)[0]

    def draw_many(self, rng: np.random.Generator, n: int) -> LabelArray:
        """``n`` independent schedules (n × study shots)."""
        return np.array(self.names, dtype=object)[self.draw_numbers(rng, n)]

    def draw_whole_plots(self, rng: np.random.Generator) -> list[tuple[str, ...]]:
        """Levels of the hard-to-change factors for every whole plot, in schedule order."""
        if self.whole_plots is None:
            return []
        return [self.whole_plots.settings[i] for i in self.whole_plots.draw(rng)]

    @cached_property
    def log10_size(self) -> float:
        """Common logarithm of the number of schedules in the set."""
        outer = self.whole_plots.log10_size if self.whole_plots else 0.0
        return self.log10_methods + outer

    def words(self) -> str:
        """The set in plain words, with its size."""
        sentences = [self.method_words()]
        if self.whole_plots is not None:
            sentences.append(self.whole_plots.words())
        sentences.append(f"{_say_size(self.log10_size)} Each is equally likely.")
        return " ".join(sentences)


@dataclass(frozen=True)
class CompleteScheme(Scheme):
    """Every block holds the same methods; their order is drawn anew in each block."""

    block: tuple[int, ...]
    """The methods of a block; a method that stands twice is pulled twice."""
    blocks: int

    def draw_numbers(self, rng: np.random.Generator, n: int) -> IntArray:
        """See :class:`Scheme`."""
        rows = np.broadcast_to(np.array(self.block), (n, self.blocks, len(self.block)))
        return rng.permuted(rows, axis=2).reshape(n, -1)

    @property
    def log10_methods(self) -> float:
        """See :class:`Scheme`."""
        counts = np.bincount(self.block, minlength=len(self.names)).tolist()
        return self.blocks * log10_arrangements(counts)

    def method_words(self) -> str:
        """See :class:`Scheme`."""
        return "Every block holds every method, in an order drawn anew for each block."


def log10_factorial(n: int) -> float:
    """Common logarithm of n!."""
    return math.lgamma(n + 1) / math.log(10)


def log10_arrangements(counts: list[int]) -> float:
    """Common logarithm of the distinct orders of a collection with repeats (multinomial)."""
    return log10_factorial(sum(counts)) - sum(log10_factorial(c) for c in counts)


def _say_size(log10_size: float) -> str:
    if log10_size < 6:
        return f"The set holds {round(10**log10_size):,} schedules.".replace(",", " ")
    return f"The set holds about 10^{math.floor(log10_size)} schedules."
