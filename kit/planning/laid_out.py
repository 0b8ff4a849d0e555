"""The comparisons of a trial in its own layout, for any number of shots a method.

The counterparts of :mod:`kit.planning.comparisons` where there is no closed form. Every record
gives the average over the contrasts of its family (pairs, comparisons with the control); in a
layout worth using these differ little.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import PlanError
from kit.planning import inputs
from kit.planning.comparisons import (
    Comparison,
    Contrast,
    dunnett_critical,
    t_critical,
    tukey_critical,
)
from kit.planning.layouts import ExpectedFit, expected_fit, expected_spread_df, rescaled, study_rows
from kit.trial import Noise, Trial

Floats = NDArray[np.float64]

SPREAD_BASE_SHOTS = 12
"""Shots a method at which the degrees of freedom of an SD are computed; they grow in step."""
_SMALLEST_TRIED = 40
MOST_ROWS = 4_000
LEAST_DF = 0.5
"""With fewer degrees of freedom no difference of any size could be found."""
ALIKE = 1.1
"""Contrasts whose standard errors differ by less than this factor count as alike."""


class LaidOut:
    """Study rows, trial and noise, with the expected fit for each number of shots kept."""

    def __init__(self, rows: pd.DataFrame, trial: Trial, noise: Noise) -> None:
        self.rows, self.trial, self.noise = rows, trial, noise
        self._fits: dict[float, ExpectedFit] = {}
        self._contrasts: dict[tuple[Comparison, float], Contrast] = {}
        self._grown: dict[float, pd.DataFrame] = {}

    def at_noise(self, noise: Noise) -> LaidOut:
        """The same rows at another noise; what was laid out for other numbers of shots is kept."""
        other = LaidOut(self.rows, self.trial, noise)
        other._grown = self._grown
        return other

    @classmethod
    def of_schedule(cls, schedule: pd.DataFrame, trial: Trial) -> LaidOut:
        """The study shots of a schedule, with the noise the trial assumes."""
        return cls(study_rows(schedule, trial), trial, trial.noise)

    def at(self, shots: float) -> ExpectedFit:
        """What ``shots`` shots a method (average) will let the analysis know."""
        count = inputs.shot_count(shots)
        if count not in self._fits:
            if count * self.trial_methods > MOST_ROWS:
                raise PlanError(
                    f"{count:,.0f} shots a method of {self.trial_methods} methods are more than a "
                    f"layout is computed for ({MOST_ROWS:,} shots). Plan a smaller trial."
                )
            if count not in self._grown:
                self._grown[count] = rescaled(self.rows, count)
            self._fits[count] = expected_fit(self._grown[count], self.trial, self.noise)
        return self._fits[count]

    def kept(
        self, comparison: Comparison, shots: float, compute: Callable[[float], Contrast]
    ) -> Contrast:
        """``compute(shots)``, once for each comparison and number of shots."""
        key = (comparison, shots)
        if key not in self._contrasts:
            self._contrasts[key] = compute(shots)
        return self._contrasts[key]

    @property
    def trial_methods(self) -> int:
        """Number of methods in the rows."""
        return int(self.rows["method"].nunique())

    @property
    def fewest_shots(self) -> int:
        """The fewest shots a method with which this layout can be analysed at all."""
        for shots in range(2, _SMALLEST_TRIED):
            try:
                self.at(shots)
            except PlanError:
                continue
            return shots
        raise PlanError("This layout cannot tell the methods apart at any size. Change it.")

    @cached_property
    def spread_df_share(self) -> float:
        """Degrees of freedom of one method's SD as a share of n - 1, blocks adjusted for."""
        base = rescaled(self.rows, SPREAD_BASE_SHOTS)
        shots = len(base) / self.trial_methods
        return expected_spread_df(base, self.trial, self.noise) / (shots - 1)

    @cached_property
    def block_size(self) -> float:
        """Shots a block, on average."""
        return len(self.rows) / self.rows["block"].nunique()

    def method_rows(self, shots: float) -> Floats:
        """One row for the mean of each method (a cell of a factorial)."""
        fit = self.at(shots)
        if "method" in fit.fixed.factors:
            return fit.level_rows("method")
        return fit.cell_rows(tuple(factor.name for factor in self.trial.easy_factors))


@dataclass(frozen=True)
class LaidOutPair:
    """One pair named in advance."""

    layout: LaidOut
    false_alarms: float = 0.05

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return "one pair named in advance"

    @property
    def fewest_shots(self) -> int:
        """See :attr:`LaidOut.fewest_shots`."""
        return self.layout.fewest_shots

    def contrast(self, shots: float) -> Contrast:
        """Average over all pairs."""
        return self.layout.kept(self, shots, self._contrast)

    def _contrast(self, shots: float) -> Contrast:
        se, df, alike = _average(self.layout.at(shots), _pairs(self.layout.method_rows(shots)))
        return Contrast(se, df, t_critical(df, self.false_alarms), alike)


@dataclass(frozen=True)
class LaidOutAllPairs:
    """All pairs judged together (Tukey-Kramer)."""

    layout: LaidOut
    false_alarms: float = 0.05

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        k = self.layout.trial_methods
        return f"any of the {k * (k - 1) // 2} pairs, all judged together"

    @property
    def fewest_shots(self) -> int:
        """See :attr:`LaidOut.fewest_shots`."""
        return self.layout.fewest_shots

    def contrast(self, shots: float) -> Contrast:
        """Average over all pairs."""
        return self.layout.kept(self, shots, self._contrast)

    def _contrast(self, shots: float) -> Contrast:
        rows = self.layout.method_rows(shots)
        se, df, alike = _average(self.layout.at(shots), _pairs(rows))
        return Contrast(se, df, tukey_critical(len(rows), df, self.false_alarms), alike)


@dataclass(frozen=True)
class LaidOutControl:
    """Every method against the control (Dunnett)."""

    layout: LaidOut
    false_alarms: float = 0.05

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return f"each of {self.layout.trial_methods - 1} methods against the control"

    @property
    def fewest_shots(self) -> int:
        """See :attr:`LaidOut.fewest_shots`."""
        return self.layout.fewest_shots

    def contrast(self, shots: float) -> Contrast:
        """Average over the comparisons, with their own correlations in the multiplier."""
        return self.layout.kept(self, shots, self._contrast)

    def _contrast(self, shots: float) -> Contrast:
        fit, rows = self.layout.at(shots), self.layout.method_rows(shots)
        control = self.layout.trial.method_names.index(self.layout.trial.reference_method)
        differences = np.delete(rows, control, axis=0) - rows[control]
        se, df, alike = _average(fit, differences)
        if len(differences) == 1:
            return Contrast(se, df, t_critical(df, self.false_alarms), alike)
        # The common correlation of the average comparison; the analysis uses each one's own.
        correlation = fit.correlation(differences)
        m = len(correlation)
        mean = (correlation.sum() - m) / (m * (m - 1))
        # Rounded so that the same layout asks for the same critical value again.
        critical = dunnett_critical(m, round(float(mean), 6), round(df, 6), self.false_alarms)
        return Contrast(se, df, critical, alike)


@dataclass(frozen=True)
class LaidOutMainEffect:
    """Two levels of one factor (each pair of levels, where there are more).

    ``false_alarms`` is that of one contrast: the analysis shares 5 % among all effects.
    """

    layout: LaidOut
    factor: str
    false_alarms: float = 0.05

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return f"the main effect of {self.factor}"

    @property
    def fewest_shots(self) -> int:
        """See :attr:`LaidOut.fewest_shots`."""
        return self.layout.fewest_shots

    def contrast(self, shots: float) -> Contrast:
        """Average over the pairs of levels."""
        return self.layout.kept(self, shots, self._contrast)

    def _contrast(self, shots: float) -> Contrast:
        fit = self.layout.at(shots)
        levels = fit.level_rows(self.factor)
        se, df, alike = _average(fit, _pairs(levels))
        return Contrast(se, df, t_critical(df, self.false_alarms), alike)


@dataclass(frozen=True)
class LaidOutInteraction:
    """The difference of differences of two factors."""

    layout: LaidOut
    factor_a: str
    factor_b: str
    false_alarms: float = 0.05

    @property
    def words(self) -> str:
        """What is compared, for a person."""
        return f"the interaction of {self.factor_a} and {self.factor_b}"

    @property
    def fewest_shots(self) -> int:
        """See :attr:`LaidOut.fewest_shots`."""
        return self.layout.fewest_shots

    def contrast(self, shots: float) -> Contrast:
        """The first two levels of each factor."""
        return self.layout.kept(self, shots, self._contrast)

    def _contrast(self, shots: float) -> Contrast:
        fit = self.layout.at(shots)
        cells = fit.cell_rows((self.factor_a, self.factor_b))
        levels_b = len(fit.fixed.factors[self.factor_b].levels)
        row = cells[0] - cells[1] - cells[levels_b] + cells[levels_b + 1]
        se, df, alike = _average(fit, row[None])
        return Contrast(se, df, t_critical(df, self.false_alarms), alike)


def _pairs(rows: Floats) -> Floats:
    return np.array([rows[i] - rows[j] for i, j in combinations(range(len(rows)), 2)])


def _average(fit: ExpectedFit, rows: Floats) -> tuple[float, float, bool]:
    """Root mean square of the standard errors, mean degrees of freedom, and whether alike."""
    se, df = fit.contrasts(rows)
    if not df.min() >= LEAST_DF:
        raise PlanError(
            f"{fit.shots} study shots in this layout leave next to nothing to estimate the noise "
            "from. Plan more blocks or sessions."
        )
    alike = bool(se.max() <= ALIKE * se.min())
    return float(np.sqrt((se**2).mean())), float(df.mean()), alike
