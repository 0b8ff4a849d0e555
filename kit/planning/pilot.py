"""The noise from a pilot: shots of the control in a logged session, or readings written down."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.errors import DataError, KitError, PlanError
from kit.numerals import parse_number
from kit.planning.variance import FEWEST_PILOT_SHOTS, NoiseEstimate, noise_from_pilot
from kit.shotlog import read_shots
from kit.trial import TRIAL_FILE, Noise, read_trial

MOST_FOLDERS = 200
ROLES = ("reference", "study")
"""Warm-up shots are pulled on a bench that is not steady yet, dial-in shots on other settings."""


@dataclass(frozen=True)
class Pilot:
    """A folder whose log holds enough shots of its control."""

    folder: Path
    title: str
    shots: pd.DataFrame
    """Kept reference and study shots of the control that were measured."""

    @property
    def words(self) -> str:
        """``Four naps (21 shots of Harbour)``."""
        return f"{self.title} ({len(self.shots)} shots of {self.shots['method'].iloc[0]})"

    def when(self) -> str:
        """The day or days, and where the log is, for the provenance."""
        days = sorted({str(moment)[:10] for moment in self.shots["pulled_at"].dropna()})
        if not days:
            return f"a day not written down ({self.title})"
        span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
        return f"{span} ({self.title})"


def pilots_near(folder: Path, measure: str = "ey_pct") -> list[Pilot]:
    """The pilots in ``folder`` itself and in the folders beside it, this folder first."""
    beside = sorted(path.parent for path in folder.parent.glob(f"*/{TRIAL_FILE}"))
    places = [folder, *(place for place in beside if place != folder)][:MOST_FOLDERS]
    return [pilot for place in places if (pilot := _pilot_in(place, measure)) is not None]


def noise_of_pilot(pilot: Pilot, assumed: Noise, measure: str = "ey_pct") -> NoiseEstimate:
    """The shot SD (and, over several sessions, the session SD) of a logged pilot."""
    return noise_from_pilot(pilot.shots, assumed, pilot.when(), measure)


def noise_of_readings(
    text: str, assumed: Noise, day: str, measure: str = "ey_pct"
) -> NoiseEstimate:
    """The shot SD of readings as typed, shots of one method in one session.

    Parameters
    ----------
    text
        One reading a shot, set apart by spaces, semicolons or lines; ``19,4`` is 19.4.
    day
        The day they were written down, for the provenance.

    Raises
    ------
    PlanError
        If a reading cannot be read or cannot be true, or there are too few.
    """
    values = [_reading(part, measure) for part in re.split(r"[;\s]+", text.strip()) if part]
    if len(values) < FEWEST_PILOT_SHOTS:
        raise PlanError(
            f"{len(values)} readings are too few to tell how much shots vary; at least "
            f"{FEWEST_PILOT_SHOTS} are needed, six to eight are common practice. Write one reading "
            "a shot."
        )
    shots = pd.DataFrame({measure: values})
    return noise_from_pilot(shots, assumed, f"{day}, written down by hand", measure)


def _reading(part: str, measure: str) -> float:
    column = codebook.column(measure)
    try:
        value = parse_number(part, column.unit)
    except DataError as error:
        raise PlanError(f"A reading cannot be read: {error}") from error
    low, high = column.minimum, column.maximum
    if value is None or (low is not None and value < low) or (high is not None and value > high):
        raise PlanError(
            f"“{part}” cannot be right for {column.label.lower()}, which lies between {low:g} and "
            f"{high:g} {column.unit}. Correct it."
        )
    return value


def _pilot_in(folder: Path, measure: str) -> Pilot | None:
    try:
        trial, shots = read_trial(folder), read_shots(folder)
    except KitError:
        return None  # unfinished or damaged: nothing to learn from here
    if measure not in shots:
        return None
    control = shots[
        shots["role"].isin(ROLES)
        & (shots["status"] == "kept")
        & (shots["method"].astype(str) == trial.reference_method)
        & shots[measure].notna()
    ]
    if len(control) < FEWEST_PILOT_SHOTS:
        return None
    return Pilot(folder, trial.title, control.reset_index(drop=True))
