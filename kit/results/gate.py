"""When results may be seen: after the last pull; names once the analysis is settled."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from kit.errors import DataError
from kit.results.lock import names_hidden
from kit.shotlog import is_complete, log_peek, read_log, schedule_of

PEEK_REFUSED = (
    "Not yet: results looked at along the way tempt one to stop at a lucky moment. Testing after "
    "every block turns a 5 % chance of a false alarm into about 18 %. "
    "That you asked is noted in the log and will stand in the report."
)


def still_to_pull(folder: Path) -> int:
    """How many pulls of the schedule are still to be made; 0 for data without a schedule."""
    schedule = schedule_of(folder)
    log = read_log(folder)
    if schedule is None or not log.shots or is_complete(schedule, log):
        return 0
    planned = schedule[schedule["role"] != "spare"]
    return max(len(planned) - len(log.done) - len(log.skipped), 1)


def note_early_look(folder: Path, at: datetime, by: str) -> str:
    """Note that somebody asked before the end; returns why there is no answer."""
    log_peek(folder, "comparison of methods", len(read_log(folder).shots), at, by)
    return PEEK_REFUSED


def refuse_early_look(folder: Path, at: datetime, by: str) -> None:
    """Refuse results while pulls are still to be made, and note that they were asked for.

    Raises
    ------
    DataError
        If the trial is not complete.
    """
    left = still_to_pull(folder)
    if left:
        raise DataError(f"{left} pulls are still to be made. {note_early_look(folder, at, by)}")


def refuse_unsettled(folder: Path) -> None:
    """Refuse to publish names while the blind analysis is open.

    Raises
    ------
    DataError
        If the analyst is to be blind and has not settled the analysis.
    """
    if names_hidden(folder):
        raise DataError(
            f"The blind analysis of {folder} is still open. Look at it (“fairpull analyse "
            f"{folder}” shows letters for names), then settle it: fairpull settle {folder}"
        )
