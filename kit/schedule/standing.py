"""Where a trial stands half-way, read from the log without looking at anything measured."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from kit.errors import PlanError
from kit.trial import Trial

_READ_FROM_LOG = ["planned_shot", "status", "replaces"]


@dataclass(frozen=True)
class Mishap:
    """What happened, when, and the seed for whatever has to be drawn anew."""

    reason: str
    at: datetime
    seed: int


@dataclass(frozen=True)
class Standing:
    """Where the trial stands: the schedule, which rows are pulled, and who was lost."""

    trial: Trial
    schedule: pd.DataFrame
    pulled: frozenset[int]
    lost: frozenset[int]
    last: int
    """Row of the last pull made, spares aside: a used spare stands for an earlier place."""

    @property
    def session(self) -> str:
        """The session under way."""
        return str(self.schedule["session"].iloc[self.last])

    def rest_of_session(self) -> pd.DataFrame:
        """Rows of the session under way that come after the last pull."""
        after = self.schedule.iloc[self.last + 1 :]
        open_rows = ~after["planned_shot"].isin(self.pulled)
        return after[(after["session"] == self.session) & open_rows]


def standing(trial: Trial, schedule: pd.DataFrame, shots: pd.DataFrame) -> Standing:
    """Where the trial stands, from the columns of the log that say nothing about outcomes."""
    log = shots.reindex(columns=_READ_FROM_LOG)
    pulled = frozenset(log["planned_shot"].dropna().astype(int))
    rows = np.flatnonzero(schedule["planned_shot"].isin(pulled) & (schedule["role"] != "spare"))
    if len(rows) == 0:
        raise PlanError(
            "No shot has been pulled yet, so there is nothing to rescue. Change the plan and draw "
            "a new schedule."
        )
    study = frozenset(schedule.loc[schedule["role"] == "study", "planned_shot"].astype(int))
    reset = schedule.reset_index(drop=True)
    return Standing(trial, reset, pulled, _lost(log) & study, int(rows.max()))


def _lost(log: pd.DataFrame) -> frozenset[int]:
    """Lost pulls; where a spare was lost too, the shot that it was to stand for."""
    pulls = log.dropna(subset=["planned_shot"])
    stands_for = {
        int(spare): int(shot)
        for spare, shot in zip(pulls["planned_shot"], pulls["replaces"], strict=True)
        if pd.notna(shot)
    }
    lost = set()
    for pull in pulls.loc[pulls["status"] == "lost", "planned_shot"].astype(int):
        for _ in range(len(stands_for)):  # a spare of a spare, to the start of the chain
            pull = stands_for.get(pull, pull)
        lost.add(pull)
    return frozenset(lost)
