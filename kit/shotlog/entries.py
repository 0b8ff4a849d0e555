"""Adding to the log: shots, corrections, readings, scores, tastings, and what became of a session.

Each function checks first, appends one event, and returns it when it is on disk. A correction or
a withdrawal is an event of its own: what was entered first stays in the journal.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from kit import codebook
from kit.errors import DataError
from kit.shotlog.events import Event, new_event
from kit.shotlog.journal import Journal, append_event, append_events
from kit.shotlog.run_order import run_order
from kit.shotlog.state import Log, LoggedShot, fold
from kit.shotlog.tables import factor_columns, plan_rows, read_log, schedule_of
from kit.shotlog.values import Place, one_of, read_value

ENTRY = Place("the entry")
_DERIVED = {"shot", "position", "session_position", "brew_ratio", "entered_by"}
_ENTERED = [column for column in codebook.SHOTS if column.name not in _DERIVED]
SESSION_KINDS = ("session start", "pause", "resume", "session end")


def log_shot(
    folder: Path, entry: dict[str, Any], at: datetime, by: str, event_id: str | None = None
) -> Event:
    """Log one pull; returns the event once it is on disk.

    Parameters
    ----------
    entry
        Columns of ``codebook.SHOTS`` as far as known: ``planned_shot`` and what was measured. What
        the schedule says (method, block, code …) need not be repeated. ``tds_readings``, a list
        of up to three, may stand for ``tds_pct``. A ``reason`` marks the shot as lost unless
        ``status`` says it was kept. ``pulled_at`` defaults to ``at``.
    at, by
        When it is entered (with time zone) and the code of the person.
    event_id
        The same for every attempt at one save; see ``new_event``.

    Raises
    ------
    TableError
        If a value cannot be true; each is named.
    DataError
        If the pull is not in the schedule, was logged already, or could not be written.
    """
    schedule = schedule_of(folder)
    values = checked_entry(entry, factor_columns(schedule))
    event = new_event("shot", values, at, by, event_id)

    def check(journal: Journal) -> None:
        log = fold(journal.events)
        if schedule is None:
            _check_unplanned(values)
            return
        planned = plan_rows(schedule)
        _check_planned(values, planned, log)
        if planned[values["planned_shot"]]["role"] == "spare" and "replaces" not in values:
            values["replaces"] = _replaced_by(values["planned_shot"], run_order(schedule, log))

    append_events(folder, [event], check)
    return event


def correct_shot(
    folder: Path, shot: int, changes: dict[str, Any], reason: str, at: datetime, by: str
) -> Event:
    """Correct values of the shot with number ``shot``; a value of None empties the cell."""
    shots = read_log(folder).shots
    if not 1 <= shot <= len(shots):
        raise DataError(f"There is no shot {shot}; the log holds {len(shots)}.")
    return correct_entry(folder, shots[shot - 1], changes, reason, at, by)


def correct_entry(
    folder: Path, shot: LoggedShot, changes: dict[str, Any], reason: str, at: datetime, by: str
) -> Event:
    """Correct values of a logged shot, with the reason why."""
    checked = checked_entry(changes, factor_columns(schedule_of(folder)))
    emptied = {name: None for name, value in changes.items() if value is None}
    if not checked and not emptied:
        raise DataError("Nothing was changed, so nothing was corrected.")
    data = {"target": shot.id, "changes": {**emptied, **checked}, "reason": reason}
    return append_event(folder, new_event("correction", data, at, by))


def withdraw(folder: Path, event_id: str, reason: str, at: datetime, by: str) -> Event:
    """Take back an entry that should never have been made; it stays readable in the journal."""
    data = {"target": event_id, "reason": reason}
    return append_event(folder, new_event("withdrawal", data, at, by))


def log_readings(
    folder: Path, code: str, readings: Sequence[float | str], at: datetime, by: str
) -> Event:
    """Record the TDS readings of a cup by its code; they take the place of earlier ones."""
    data = {"code": code, "tds_readings": _checked_readings(readings)}
    return append_event(
        folder,
        new_event("readings", data, at, by),
    )


def log_fault_score(
    folder: Path, code: str, faults: int | str, at: datetime, by: str, note: str = ""
) -> Event:
    """Record how many flow faults a scorer saw in the video of a cup."""
    count = read_value(codebook.FAULTS, faults, ENTRY)
    if count is None:
        raise DataError("Enter the number of faults; 0 if none was seen.")
    data = {"code": code, "faults": count, "note": note}
    return append_event(folder, new_event("fault score", data, at, by))


def log_tasting(folder: Path, tasting: dict[str, Any], at: datetime, by: str) -> Event:
    """Record what a taster gave one cup.

    ``tasting`` has ``taster``, ``sitting``, ``cup_position``, ``code``, where known ``shot`` and
    ``method``, ``scores`` (attribute to number) and ``note``.
    """
    columns = {column.name: column for column in codebook.TASTINGS}
    data: dict[str, Any] = {
        name: read_value(columns[name], tasting.get(name), ENTRY)
        for name in ("taster", "sitting", "cup_position", "code", "shot", "method", "note")
        if tasting.get(name) is not None
    }
    data["scores"] = {
        attribute: read_value(codebook.SCORE, score, ENTRY)
        for attribute, score in tasting["scores"].items()
    }
    return append_event(folder, new_event("tasting", data, at, by))


def skip_pull(folder: Path, planned_shot: int, reason: str, at: datetime, by: str) -> Event:
    """Pass over a planned pull; the reason becomes a deviation from the plan."""
    data = {"planned_shot": planned_shot, "reason": reason}
    return append_event(folder, new_event("skip", data, at, by))


def log_session_event(
    folder: Path, kind: str, session: str, at: datetime, by: str, reason: str = ""
) -> Event:
    """Record that a session starts, pauses, resumes or ends (``SESSION_KINDS``)."""
    if kind not in SESSION_KINDS:
        raise DataError(f"“{kind}” is nothing a session does; known are {SESSION_KINDS}.")
    return append_event(folder, new_event(kind, {"session": session, "reason": reason}, at, by))


def log_peek(folder: Path, asked_for: str, shots_done: int, at: datetime, by: str) -> Event:
    """Record that a comparison was asked for before the trial was complete."""
    data = {"asked_for": asked_for, "shots_done": shots_done}
    return append_event(folder, new_event("peek", data, at, by))


def log_imported(
    folder: Path, rows: Sequence[dict[str, Any]], about: dict[str, Any], at: datetime, by: str
) -> Event:
    """Log the shots of a file somebody brought, all of them or none.

    ``about`` says where they came from and what is not known of them (``source``, ``limitations``).
    The event of the import is written last: shots whose import did not finish do not count.
    """
    closing = new_event("import", {**about, "shots": len(rows)}, at, by)
    schedule = schedule_of(folder)
    factors = factor_columns(schedule)
    events = [
        new_event("shot", {**checked_entry(row, factors), "import": closing.id}, at, by)
        for row in rows
    ]

    def check(journal: Journal) -> None:
        done = fold(journal.events).done
        for event in events:
            if event.data.get("planned_shot") in done:
                raise _logged_already(event.data["planned_shot"])

    append_events(folder, [*events, closing], check)
    return closing


def checked_entry(entry: dict[str, Any], factors: Sequence[str] = ()) -> dict[str, Any]:
    """The entry with every value read by the codebook and empty ones left out.

    Raises
    ------
    TableError
        If a value cannot be true.
    DataError
        If a key is no column one can enter.
    """
    columns = {column.name: column for column in _ENTERED}
    checked: dict[str, Any] = {}
    for name, raw in entry.items():
        if name == "tds_readings":
            checked[name] = _checked_readings(raw)
        elif name == "order_unknown":
            checked[name] = bool(raw)
        elif name in factors:
            checked[name] = None if raw is None else str(raw)
        elif name in columns:
            checked[name] = read_value(columns[name], raw, ENTRY)
        else:
            raise DataError(f"“{name}” cannot be entered. {one_of(name, list(columns))}")
    return {name: value for name, value in checked.items() if value not in (None, [])}


def _checked_readings(readings: Sequence[float | str]) -> list[float]:
    values = [read_value(codebook.TDS, reading, ENTRY) for reading in readings]
    return [float(value) for value in values if value is not None]


def _check_unplanned(values: dict[str, Any]) -> None:
    if not values.get("method"):
        raise DataError("Without a schedule each shot must name its method.")


def _check_planned(values: dict[str, Any], planned: dict[int, dict[str, Any]], log: Log) -> None:
    """The pull is in the schedule, was not logged before, and what it replaces was lost."""
    number = values.get("planned_shot")
    if number not in planned:
        raise DataError(
            f"Planned shot {number} is not in the schedule, which has 1 to {max(planned)}."
        )
    if number in log.done:
        raise _logged_already(number)
    replaces = values.get("replaces")
    if replaces is not None and replaces not in log.done:
        raise DataError(f"Planned shot {replaces} was not pulled, so nothing can replace it.")


def _replaced_by(spare: int, order: Any) -> int:
    for pull in order.to_come:
        if pull.planned_shot == spare and pull.replaces is not None:
            return int(pull.replaces)
    raise DataError(
        f"Planned shot {spare} is a spare, and no lost shot is waiting for it. "
        "Mark the lost shot with its reason first."
    )


def _logged_already(planned_shot: int) -> DataError:
    return DataError(
        f"Planned shot {planned_shot} is in the log already, perhaps from another window. "
        "Nothing was saved twice; correct that entry if it is wrong."
    )
