"""Something broke at the bench: plan again what is left, and say what it costs. No widgets."""

from __future__ import annotations

from dataclasses import dataclass

from kit.errors import DataError
from kit.schedule import Rescue
from kit.shotlog import log_session_event
from kit.shotlog.rescue import (
    rescue_empty_bag,
    rescue_ended_session,
    rescue_lost_shots,
    rescue_words,
    what_happened,
)
from kit.widgets.shoot.model import ShootModel


@dataclass(frozen=True)
class Replanned:
    """What has changed, and what that costs; a sentence each."""

    changes: list[str]
    cost: list[str]


class BrokenBench:
    """The ways out; each returns what has changed and what it costs."""

    def __init__(self, bench: ShootModel) -> None:
        self._bench = bench

    def empty_bag(self, reason: str) -> Replanned:
        """What is left of the session comes from a new bag."""
        self._refuse_unsealed()
        mishap = what_happened(reason, self._bench.clock())
        return self._taken_over(rescue_empty_bag(self._bench.folder, mishap))

    def end_early(self, reason: str, extra_sessions: int) -> Replanned:
        """The session ends; what is left of it goes to further sessions as far as they hold it."""
        self._refuse_unsealed()
        bench = self._bench
        mishap = what_happened(reason, bench.clock())
        session = bench.session_under_way()
        found = rescue_ended_session(bench.folder, mishap, extra_sessions)
        log_session_event(
            bench.folder, "session end", session, mishap.at, bench.operator, mishap.reason
        )
        return self._taken_over(found)

    def lost(self, reason: str) -> Replanned:
        """Shots lost without a spare are pulled again as a block of their own."""
        self._refuse_unsealed()
        mishap = what_happened(reason, self._bench.clock())
        return self._taken_over(rescue_lost_shots(self._bench.folder, mishap))

    def _refuse_unsealed(self) -> None:
        self._bench.catch_up()
        if self._bench.unmet():
            raise DataError("\n".join(self._bench.unmet()))

    def _taken_over(self, found: Rescue) -> Replanned:
        self._bench.follow_new_schedule()
        return Replanned(rescue_words(found), list(found.lost))
