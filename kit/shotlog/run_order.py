"""What comes next: the run order as it stands after lost shots, skips and ended sessions.

The rule for a lost shot: the first unused spare of the same session takes its place, with its
method and block, at the end of the same block. Shots are lost to declared input faults only;
shot time, TDS, extraction, taste and faults of flow are outcomes and never a reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from kit.shotlog.state import Log, LoggedShot
from kit.shotlog.tables import plan_rows


@dataclass(frozen=True)
class Pull:
    """One pull still to be made, as it will be made."""

    planned_shot: int
    session: str
    role: str
    method: str
    code: str
    block: str | None = None
    bag: str | None = None
    whole_plot: str | None = None
    replaces: int | None = None
    plan: dict[str, Any] = field(default_factory=dict)
    """The row of the schedule it carries out, with the levels of factors."""


@dataclass(frozen=True)
class RunOrder:
    """The pulls still to be made in order, and the lost shots nothing can replace."""

    to_come: tuple[Pull, ...]
    unreplaced: tuple[int, ...]
    """Planned study shots that were lost and stay lost, with no spare in time."""

    @property
    def next_pull(self) -> Pull | None:
        """The next pull; None when the trial is complete."""
        return self.to_come[0] if self.to_come else None


def run_order(schedule: pd.DataFrame, log: Log) -> RunOrder:
    """The pulls still to be made, in the order in which to make them."""
    planned = plan_rows(schedule)
    ended = {
        str(row["session"])
        for row in planned.values()
        if log.session_state(str(row["session"])) == "ended"
    }
    settled = log.done | log.skipped
    to_come = [
        _as_planned(row)
        for number, row in planned.items()
        if row["role"] != "spare" and number not in settled and str(row["session"]) not in ended
    ]
    unreplaced = []
    spares = [row for number, row in planned.items() if _is_free_spare(number, row, settled)]
    for lost in _lost_study_shots(log, planned):
        original = planned[log.stands_for(lost) or 0]
        spare = next((row for row in spares if row["session"] == original["session"]), None)
        if spare is None or original["session"] in ended or _block_is_past(original, log, planned):
            unreplaced.append(lost.planned_shot or 0)
            continue
        spares.remove(spare)
        _insert_at_end_of_block(to_come, _in_place_of(spare, original, lost.planned_shot))
    return RunOrder(tuple(to_come), tuple(unreplaced))


def is_complete(schedule: pd.DataFrame, log: Log) -> bool:
    """Whether nothing is left to pull."""
    return run_order(schedule, log).next_pull is None


def _as_planned(row: dict[str, Any]) -> Pull:
    return Pull(
        planned_shot=int(row["planned_shot"]),
        session=str(row["session"]),
        role=str(row["role"]),
        method=row["method"] or "",
        code=row["code"] or "",
        block=row["block"],
        bag=row["bag"],
        whole_plot=row["whole_plot"],
        plan=row,
    )


def _in_place_of(spare: dict[str, Any], original: dict[str, Any], replaces: int | None) -> Pull:
    """The spare with its own number and code, and everything else of the shot it replaces."""
    own = {"planned_shot": spare["planned_shot"], "code": spare["code"]}
    return replace(_as_planned({**original, **own}), replaces=replaces)


def _is_free_spare(number: int, row: dict[str, Any], settled: set[int]) -> bool:
    return row["role"] == "spare" and number not in settled


def _lost_study_shots(log: Log, planned: dict[int, dict[str, Any]]) -> list[LoggedShot]:
    """Study shots lost and not replaced yet, in the order pulled."""
    return [
        shot
        for shot in log.shots
        if shot.is_lost
        and shot.planned_shot in planned
        and shot.planned_shot not in log.replaced
        and planned.get(log.stands_for(shot) or 0, {}).get("role") == "study"
    ]


def _block_is_past(original: dict[str, Any], log: Log, planned: dict[int, dict[str, Any]]) -> bool:
    """Whether a study shot of a later block has been pulled: the end of this block is over."""
    started = {
        planned[number]["block"]
        for number in (log.stands_for(shot) for shot in log.shots)
        if number in planned and planned[number]["role"] == "study"
    }
    first_of: dict[Any, int] = {}
    for number, row in planned.items():
        first_of.setdefault(row["block"], number)
    return any(first_of[block] > first_of[original["block"]] for block in started)


def _insert_at_end_of_block(to_come: list[Pull], pull: Pull) -> None:
    """After the last pull of the block still to come; if there is none, next of all."""
    last = [place for place, other in enumerate(to_come) if other.block == pull.block]
    to_come.insert(last[-1] + 1 if last else 0, pull)
