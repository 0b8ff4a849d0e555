"""The state of a trial from its events: what was pulled, measured, scored, skipped, withdrawn.

Nothing here reads a file or a clock; the same events give the same state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from kit.shotlog.events import Event


@dataclass(frozen=True)
class LoggedShot:
    """One pull as it stands after all corrections."""

    id: str
    at: str
    by: str
    entered: dict[str, Any]
    corrections: tuple[Event, ...] = ()

    @property
    def planned_shot(self) -> int | None:
        """The planned pull it carries out; None for data without a schedule."""
        return self.entered.get("planned_shot")

    @property
    def pulled_at(self) -> str | None:
        """When it was pulled: as said, or else when it was entered; unknown for imported data."""
        if self.entered.get("pulled_at") or self.entered.get("import"):
            return self.entered.get("pulled_at")
        return self.at

    @property
    def is_lost(self) -> bool:
        """Whether the shot was lost to an input fault: said so, or given a reason and no status."""
        status = self.entered.get("status") or ("lost" if self.entered.get("reason") else "kept")
        return bool(status != "kept")


@dataclass(frozen=True)
class Log:
    """Everything the events of a trial amount to."""

    shots: tuple[LoggedShot, ...] = ()
    """In the order pulled."""
    readings: dict[str, Event] = field(default_factory=dict)
    """The latest readings by cup code."""
    scores: tuple[Event, ...] = ()
    """Fault scores in the order entered."""
    tastings: tuple[Event, ...] = ()
    skips: tuple[Event, ...] = ()
    session_events: tuple[Event, ...] = ()
    """Starts, ends, pauses and resumptions in the order entered."""
    peeks: tuple[Event, ...] = ()
    imports: tuple[Event, ...] = ()

    @cached_property
    def skipped(self) -> set[int]:
        """Planned pulls that were passed over."""
        return {event.data["planned_shot"] for event in self.skips}

    @cached_property
    def done(self) -> set[int]:
        """Planned pulls that were carried out, whatever became of them."""
        return {shot.planned_shot for shot in self.shots if shot.planned_shot is not None}

    @cached_property
    def _instead_of(self) -> dict[int | None, int | None]:
        return {shot.planned_shot: shot.entered.get("replaces") for shot in self.shots}

    @cached_property
    def replaced(self) -> set[int]:
        """Planned pulls for which another was pulled in their stead."""
        return {shot.entered["replaces"] for shot in self.shots if shot.entered.get("replaces")}

    def stands_for(self, shot: LoggedShot) -> int | None:
        """The planned study pull a shot carries out: its own, or that of the shot it replaces.

        A spare may itself be lost and replaced; the chain is followed to its start.
        """
        planned, seen = shot.planned_shot, set[int | None]()
        while self._instead_of.get(planned) and planned not in seen:
            seen.add(planned)
            planned = self._instead_of[planned]
        return planned

    def session_state(self, session: str) -> str:
        """``not started``, ``running``, ``paused`` or ``ended``."""
        states = {
            "session start": "running",
            "resume": "running",
            "pause": "paused",
            "session end": "ended",
        }
        latest = [event for event in self.session_events if event.data["session"] == session]
        return states[latest[-1].kind] if latest else "not started"


def fold(events: Sequence[Event]) -> Log:
    """The state the events amount to, in one pass over them and one over the shots."""
    by_kind: dict[str, list[Event]] = {}
    for event in events:
        by_kind.setdefault(event.kind, []).append(event)
    withdrawn = {event.data["target"] for event in by_kind.get("withdrawal", [])}

    def live(*kinds: str) -> list[Event]:
        return [
            event for kind in kinds for event in by_kind.get(kind, []) if event.id not in withdrawn
        ]

    imports = live("import")
    session_kinds = ("session start", "session end", "pause", "resume")
    sessions = [event for event in events if event.kind in session_kinds]
    return Log(
        shots=_shots(live("shot"), live("correction"), {event.id for event in imports}),
        readings={event.data["code"]: event for event in live("readings")},
        scores=tuple(live("fault score")),
        tastings=tuple(live("tasting")),
        skips=tuple(live("skip")),
        session_events=tuple(event for event in sessions if event.id not in withdrawn),
        peeks=tuple(live("peek")),
        imports=tuple(imports),
    )


def _shots(
    shots: list[Event], corrections: list[Event], imports: set[str]
) -> tuple[LoggedShot, ...]:
    """Shots with their corrections applied, in the order pulled (ties: in the order entered)."""
    by_target: dict[str, list[Event]] = {}
    for correction in corrections:
        by_target.setdefault(correction.data["target"], []).append(correction)
    corrected = []
    for event in shots:
        if event.data.get("import", None) not in imports | {None}:
            continue  # an import that was cut off before its end does not count
        values = dict(event.data)
        applied = tuple(by_target.get(event.id, ()))
        for correction in applied:
            values.update(correction.data["changes"])
        corrected.append(LoggedShot(event.id, event.at, event.by, values, applied))
    corrected.sort(key=lambda shot: datetime.fromisoformat(shot.pulled_at or shot.at))
    return tuple(corrected)
