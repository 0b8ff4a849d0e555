"""What was done: the journal and everything made from it.

The journal (``journal``, ``events``) is the truth. ``state`` is what its events amount to,
``tables`` writes it as tables, ``run_order`` says what comes next, ``entries`` adds to it, and
``validation`` says what is wrong with a table somebody brings.
"""

from kit.shotlog.drafts import clear_draft, read_draft, save_draft
from kit.shotlog.entries import (
    correct_entry,
    correct_shot,
    log_fault_score,
    log_imported,
    log_peek,
    log_readings,
    log_session_event,
    log_shot,
    log_tasting,
    skip_pull,
    withdraw,
)
from kit.shotlog.events import Event, new_event
from kit.shotlog.journal import JOURNAL_FILE, Journal, append_event, append_events, read_journal
from kit.shotlog.limitations import limitations_of
from kit.shotlog.run_order import Pull, RunOrder, is_complete, run_order
from kit.shotlog.state import Log, LoggedShot, fold
from kit.shotlog.tables import (
    READINGS_FILE,
    SHOTS_FILE,
    TASTINGS_FILE,
    fault_scores_table,
    read_log,
    read_shots,
    readings_table,
    schedule_of,
    shots_table,
    tastings_table,
    write_tables,
)
from kit.shotlog.validation import read_shots_csv, validate_shots

__all__ = [
    "JOURNAL_FILE",
    "READINGS_FILE",
    "SHOTS_FILE",
    "TASTINGS_FILE",
    "Event",
    "Journal",
    "Log",
    "LoggedShot",
    "Pull",
    "RunOrder",
    "append_event",
    "append_events",
    "clear_draft",
    "correct_entry",
    "correct_shot",
    "fault_scores_table",
    "fold",
    "is_complete",
    "limitations_of",
    "log_fault_score",
    "log_imported",
    "log_peek",
    "log_readings",
    "log_session_event",
    "log_shot",
    "log_tasting",
    "new_event",
    "read_draft",
    "read_journal",
    "read_log",
    "read_shots",
    "read_shots_csv",
    "readings_table",
    "run_order",
    "save_draft",
    "schedule_of",
    "shots_table",
    "skip_pull",
    "tastings_table",
    "validate_shots",
    "withdraw",
    "write_tables",
]
