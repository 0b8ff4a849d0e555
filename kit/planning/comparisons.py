"""The comparisons a trial can make, as standard error, degrees of freedom and critical value.

Everything planning says of a mean difference follows from these three numbers, so each kind of
comparison is one small record that gives them for any number of shots a method. The records
here hold in closed form for randomised complete blocks, where block and session cancel;
:mod:`kit.planning.layouts` gives the same for every other layout.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, Protocol

import numpy as np
from scipy.special import stdtrit

from kit.analysis.distributions import multivariate_t_ppf, studentized_range_ppf
from kit.planning import inputs

Reliability = Literal["exact", "near", "rough"]
NEAR_FROM_DF = 60.0


@dataclass(frozen=True)
class Contrast:
    """One difference as the analysis will see it."""

    se: float
    """Standard error, in the unit of the outcome."""
    df: float
    multiplier: float
    """The |t| that must be passed; also the half-width of the interval in standard errors."""
    alike: bool = True
    """Whether all contrasts of the family are about as well known (within a tenth)."""

    @property
    def reliability(self) -> Reliability:
        """How far power computed from these numbers can be trusted.

        They are exact for an analysis with blocks as fixed effects. The mixed model of the
        analysis sets a block variance to zero where it comes out so, and then finds more; in
        small incomplete blocks it has to estimate how to weigh two kinds of information, and
        finds less. Simulated (``tests/benchmarks/planning.py``) both stay within 2 points of
        power from 60 degrees of freedom on; below they reach 4.5 in complete and 8 in incomplete
        blocks.
        """
        return "near" if self.alike and self.df >= NEAR_FROM_DF else "rough"


class Comparison(Protocol):
    """Anything that can say what its contrast is with ``shots`` shots a method."""

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        ...

    @property
    def fewest_shots(self) -> int:
        """The fewest shots a method with which noise can be estimated at all."""
        ...

    def contrast(self, shots: float) -> Contrast:
        """The contrast with ``shots`` shots a method."""
        ...


@dataclass(frozen=True)
class NamedPair:
    """One pair named in advance, in complete blocks: t with (k-1)(n-1) degrees of freedom.

    With two methods this is the paired t test.
    """

    methods: int
    shot_sd: float
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(self.methods, self.shot_sd, self.false_alarms)

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "one pair named in advance"

    @property
    def fewest_shots(self) -> int:
        """Two blocks."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """SE = SD √(2/n); source: any text on randomised blocks, e.g. Montgomery (2013), 4.1."""
        n = inputs.shot_count(shots)
        df = (self.methods - 1) * (n - 1)
        return Contrast(self.shot_sd * np.sqrt(2 / n), df, t_critical(df, self.false_alarms))


@dataclass(frozen=True)
class IndependentPair:
    """Two methods without blocks: t with 2(n-1) degrees of freedom.

    ``shot_sd`` then holds everything that varies from shot to shot.
    """

    shot_sd: float
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(2, self.shot_sd, self.false_alarms)

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "two methods, no blocks"

    @property
    def fewest_shots(self) -> int:
        """Two shots of each."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """SE = SD √(2/n)."""
        n = inputs.shot_count(shots)
        df = 2 * (n - 1)
        return Contrast(self.shot_sd * np.sqrt(2 / n), df, t_critical(df, self.false_alarms))


@dataclass(frozen=True)
class AllPairs:
    """Every pair of k methods in complete blocks, judged by Tukey's studentised range."""

    methods: int
    shot_sd: float
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(self.methods, self.shot_sd, self.false_alarms)

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return f"any of the {self.methods * (self.methods - 1) // 2} pairs, all judged together"

    @property
    def fewest_shots(self) -> int:
        """Two blocks."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """The multiplier is q/√2 (Tukey 1953)."""
        n = inputs.shot_count(shots)
        df = (self.methods - 1) * (n - 1)
        return Contrast(
            self.shot_sd * np.sqrt(2 / n), df, tukey_critical(self.methods, df, self.false_alarms)
        )


@dataclass(frozen=True)
class AgainstControl:
    """Each of k-1 methods against the control in complete blocks (Dunnett 1955).

    ``control_shots`` is the number of control shots in a block; n counts those of another method.
    """

    methods: int
    shot_sd: float
    control_shots: int = 1
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(self.methods, self.shot_sd, self.false_alarms)
        inputs.positive(self.control_shots, "The number of control shots in a block")

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return f"each of {self.methods - 1} methods against the control"

    @property
    def fewest_shots(self) -> int:
        """Two blocks."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """SE = SD √(1/n + 1/(cn)); the comparisons correlate by 1/(1 + c)."""
        n, c = inputs.shot_count(shots), self.control_shots
        df = n * (self.methods - 1 + c) - self.methods - (n - 1)
        se = self.shot_sd * np.sqrt((1 + 1 / c) / n)
        critical = dunnett_critical(self.methods - 1, 1 / (1 + c), df, self.false_alarms)
        return Contrast(se, df, critical)


@dataclass(frozen=True)
class MainEffect:
    """Two levels of one factor of a factorial in complete blocks, averaged over all else.

    With more than two levels every pair of levels is judged together (Tukey).
    """

    cells: int
    levels: int
    shot_sd: float
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(self.cells, self.shot_sd, self.false_alarms)
        _check_levels(self.cells, self.levels)

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "a main effect"

    @property
    def fewest_shots(self) -> int:
        """Two blocks."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """Every shot of the trial takes part: SE = SD √(2/(n cells/levels))."""
        n = inputs.shot_count(shots)
        df = (self.cells - 1) * (n - 1)
        per_level = n * self.cells / self.levels
        critical = tukey_critical(self.levels, df, self.false_alarms)
        return Contrast(self.shot_sd * np.sqrt(2 / per_level), df, critical)


@dataclass(frozen=True)
class Interaction:
    """A difference of differences of two factors, averaged over all other factors."""

    cells: int
    levels_a: int
    levels_b: int
    shot_sd: float
    false_alarms: float = 0.05

    def __post_init__(self) -> None:
        _check(self.cells, self.shot_sd, self.false_alarms)
        _check_levels(self.cells, self.levels_a * self.levels_b)

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "an interaction (difference of two differences)"

    @property
    def fewest_shots(self) -> int:
        """Two blocks."""
        return 2

    def contrast(self, shots: float) -> Contrast:
        """Four groups of n cells/(levels_a levels_b) shots: SE = 2 SD / √(shots a group)."""
        n = inputs.shot_count(shots)
        df = (self.cells - 1) * (n - 1)
        per_group = n * self.cells / (self.levels_a * self.levels_b)
        se = 2 * self.shot_sd / np.sqrt(per_group)
        return Contrast(se, df, t_critical(df, self.false_alarms))


def t_critical(df: float, false_alarms: float) -> float:
    """Two-sided critical value of Student's t."""
    return float(stdtrit(df, 1 - false_alarms / 2))


def tukey_critical(groups: int, df: float, false_alarms: float) -> float:
    """Critical |t| for all pairs of ``groups`` means: q/√2; t itself for one pair."""
    if groups == 2:
        return t_critical(df, false_alarms)
    return float(studentized_range_ppf(1 - false_alarms, groups, df)) / np.sqrt(2)


@lru_cache(maxsize=4096)
def dunnett_critical(comparisons: int, correlation: float, df: float, false_alarms: float) -> float:
    """Critical |t| for comparisons with one control that correlate equally."""
    if comparisons == 1:
        return t_critical(df, false_alarms)
    matrix = np.full((comparisons, comparisons), correlation)
    np.fill_diagonal(matrix, 1.0)
    return float(multivariate_t_ppf(1 - false_alarms, matrix, df))


def _check(methods: int, shot_sd: float, false_alarms: float) -> None:
    inputs.method_count(methods)
    inputs.positive(shot_sd, "The shot SD")
    inputs.error_rate(false_alarms)


def _check_levels(cells: int, levels: int) -> None:
    if levels < 2 or cells % levels:
        raise inputs.PlanError(
            f"A factorial of {cells} cells cannot have {levels} equal groups of cells. "
            "Every combination of levels is one cell; check the levels of the factors."
        )
