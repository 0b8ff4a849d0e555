"""The log of a trial on the screen: what is done, what comes next, and the state of the session.

The journal is read again whenever another window or program has written to it, so nothing is shown
or saved against a state that has passed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import DataError, KitError
from kit.schedule.amended import AMENDED_FILE
from kit.shotlog import (
    JOURNAL_FILE,
    Journal,
    Log,
    Pull,
    RunOrder,
    fold,
    log_session_event,
    read_draft,
    read_journal,
    run_order,
    save_draft,
    schedule_of,
    shots_table,
    skip_pull,
    write_tables,
)
from kit.shotlog.tables import plan_rows
from kit.widgets.panel_model import SCHEDULE_FILE, PanelModel

OPERATOR = "operator"


def now() -> datetime:
    """The clock of this computer, with its time zone."""
    return datetime.now().astimezone()


class TrialLog(PanelModel):
    """Schedule, journal and session of a trial. Methods that act return what to say."""

    def __init__(self, folder: Path, clock: Callable[[], datetime] = now) -> None:
        self.clock = clock
        self.schedule: pd.DataFrame | None = None
        self.planned: dict[int, dict[str, Any]] = {}
        """The rows of the schedule by planned shot."""
        self.journal = Journal((), ())
        self.log = Log()
        self.order: RunOrder | None = None
        self.operator = ""
        self._seen: tuple[int, int] = (0, 0)
        self._amended_seen: tuple[int, int] = (0, 0)
        self._tabulated: Log | None = None
        self._shots = pd.DataFrame()
        super().__init__(folder)

    def read_folder(self) -> None:
        """Read schedule, journal and the code of the person at the machine."""
        if self.trial is None:
            return
        self.read_schedule_again()
        self.read_log_again()
        self.operator = str(read_draft(self.folder, OPERATOR).get("code", ""))

    def catch_up(self) -> bool:
        """Read the journal again if it has changed; returns whether it had."""
        amended = self._amended() != self._amended_seen
        if self.trial is None or (self._stamp() == self._seen and not amended):
            return False
        if amended:
            self.read_schedule_again()
        self.read_log_again()
        self.touch()
        return True

    @property
    def next_pull(self) -> Pull | None:
        """The pull to be made next; None without a schedule, or when nothing is left."""
        return self.order.next_pull if self.order is not None else None

    @property
    def session_state(self) -> str:
        """``not started``, ``running``, ``paused``, or ``complete`` when nothing is left."""
        if self.next_pull is None:
            return "complete"
        return self.log.session_state(self.next_pull.session)

    def unmet(self) -> list[str]:
        """What is still missing before shots can be logged."""
        if self.trial is None:
            return super().unmet()
        unmet = []
        if not self.has(SCHEDULE_FILE):
            unmet.append("The schedule is not drawn yet. Draw it in 1_plan.")
        if not self.sealed:
            unmet.append("Plan and schedule are not sealed yet. Seal them in 1_plan.")
        return unmet + [complaint.sentence() for complaint in self.journal.complaints]

    def write_operator(self, code: str) -> None:
        """Remember the code of the person at the machine."""
        self.operator = code
        save_draft(self.folder, OPERATOR, {"code": code}, self.clock())

    def start_session(self) -> str:
        """Begin (or go on with) the session of the next pull."""
        self.catch_up()
        pull = self.needed_pull()
        if not self.operator.strip():
            raise DataError("Enter your code first: the log says who entered what.")
        kind = "resume" if self.session_state == "paused" else "session start"
        log_session_event(self.folder, kind, pull.session, self.clock(), self.operator)
        self.after_writing()
        return f"Session {pull.session} is running."

    def pause(self, why: str) -> str:
        """Interrupt the session; it goes on where it stopped."""
        return self._session("pause", why, "paused. Nothing is lost; it goes on where it stopped.")

    def end_session(self, why: str) -> str:
        """End the session; what was left of it is not pulled any more."""
        if self.next_pull and self._left_in_session() and not why.strip():
            raise DataError(
                f"{self._left_in_session()} pulls of this session are still to come. Say why it "
                "ends here: that goes into the deviations."
            )
        return self._session("session end", why, "ended.")

    def skip(self, why: str) -> str:
        """Pass over the next pull."""
        self.catch_up()
        pull = self.needed_pull()
        if not why.strip():
            raise DataError("Say why this pull is skipped: that goes into the deviations.")
        skip_pull(self.folder, pull.planned_shot, why.strip(), self.clock(), self.operator)
        self.after_writing()
        return f"Planned shot {pull.planned_shot} is skipped."

    def ask_for_comparison(self) -> str:
        """Refuse, and note that it was asked."""
        from kit.results.gate import note_early_look  # slow to load, and seldom asked for

        said = note_early_look(self.folder, self.clock(), self.operator)
        self.read_log_again()
        return said

    def session_under_way(self) -> str:
        """The session of the last shot pulled; empty before the first."""
        numbers = [shot.planned_shot for shot in self.log.shots if shot.planned_shot is not None]
        return str(self.planned[numbers[-1]]["session"]) if numbers else ""

    def read_schedule_again(self) -> None:
        """Read the schedule to pull by, amended where it had to be."""
        self._amended_seen = self._amended()
        self.schedule = schedule_of(self.folder)
        self.planned = plan_rows(self.schedule)
        self._tabulated = None

    def read_log_again(self) -> None:
        """Read the journal and work out what comes next."""
        self._seen = self._stamp()
        self.journal = read_journal(self.folder)
        self.log = fold(self.journal.events)
        self.order = None if self.schedule is None else run_order(self.schedule, self.log)

    def after_writing(self) -> None:
        """After a change in the journal: its state, then what follows from it."""
        self.read_log_again()
        self.settle()

    def settle(self) -> None:
        """Bring views and derived tables in line with the log."""
        self.touch()
        try:
            write_tables(self.folder)
        except KitError as error:
            raise DataError(
                f"The entry is safe in {JOURNAL_FILE}, but the tables were not written: {error}"
            ) from error

    def shots(self) -> pd.DataFrame:
        """The shots so far as a table; worked out once for each state of the log."""
        if self._tabulated is not self.log:
            self._tabulated = self.log
            self._shots = shots_table(self.log, self.schedule)
        return self._shots

    def needed_pull(self) -> Pull:
        """The next pull.

        Raises
        ------
        DataError
            If nothing is left to pull.
        """
        if self.next_pull is None:
            raise DataError("Every planned shot is done; there is nothing left to pull.")
        return self.next_pull

    def _session(self, kind: str, why: str, done: str) -> str:
        self.catch_up()
        session = self.needed_pull().session
        log_session_event(self.folder, kind, session, self.clock(), self.operator, why.strip())
        self.after_writing()
        return f"Session {session} is {done}"

    def _left_in_session(self) -> int:
        pull = self.next_pull
        if pull is None or self.order is None:
            return 0
        return sum(each.session == pull.session for each in self.order.to_come)

    def _stamp(self) -> tuple[int, int]:
        """Size and time of all journals together: changes with every append."""
        return _stamp_of(self.folder.glob("shots*.jsonl"))

    def _amended(self) -> tuple[int, int]:
        """The same for the amended schedule."""
        return _stamp_of(self.folder.glob(AMENDED_FILE))


def _stamp_of(paths: Iterable[Path]) -> tuple[int, int]:
    sizes = [path.stat() for path in paths]
    return sum(each.st_size for each in sizes), max((each.st_mtime_ns for each in sizes), default=0)
