"""What supplements are made from."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.designed_model import DesignedModel, designed_model, measured
from kit.analysis.result import OutcomeResult
from kit.errors import ModelError
from kit.trial import Trial

Supplement = tuple[pd.DataFrame, str]
"""A tidy table and the sentence that says what it shows."""


@dataclass(frozen=True)
class Given:
    """The trial, its tables, the planned results, and the draw of its schedule."""

    trial: Trial
    shots: pd.DataFrame
    study: pd.DataFrame
    tastings: pd.DataFrame | None
    schedule: pd.DataFrame | None
    results: tuple[OutcomeResult, ...]
    rng: np.random.Generator

    @property
    def primary(self) -> OutcomeResult:
        """The primary result.

        Raises
        ------
        ModelError
            If it could not be had.
        """
        for item in self.results:
            if item.outcome.role == "primary":
                return item
        raise ModelError("The primary outcome could not be analysed.")

    def primary_rows(self) -> tuple[pd.DataFrame, DesignedModel]:
        """The shots of the primary analysis and its model."""
        measure = self.primary.outcome.measure
        rows, _ = measured(self.study, measure)
        return rows, designed_model(self.trial, rows, measure)


Maker = Callable[[Given], Supplement]


def records(table: pd.DataFrame) -> Iterator[Any]:
    """The rows of a table as named tuples."""
    yield from table.itertuples(index=False)
