"""Shots from a file somebody brought: read exactly as meant, matched with the plan, marked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import Complaint, TableError
from kit.schedule import is_sealed, read_freeze
from kit.shotlog.entries import log_imported
from kit.shotlog.events import Event
from kit.shotlog.importing.cells import read_sheets
from kit.shotlog.importing.headers import NOT_KNOWN
from kit.shotlog.importing.mapping import Mapping, understand
from kit.shotlog.importing.records import Row, read_records
from kit.shotlog.limitations import SENTENCES
from kit.shotlog.tables import plan_rows, schedule_of
from kit.shotlog.validation import doubled_values, row_complaints
from kit.shotlog.values import Place
from kit.trial import Trial, read_trial


@dataclass(frozen=True)
class ImportedShots:
    """Shots read from a file, ready to be logged."""

    source: str
    rows: tuple[Row, ...]
    """One dictionary a shot, keys as in ``log_shot``, in the order pulled as far as known."""
    limitations: tuple[str, ...]
    """Keys of ``limitations.SENTENCES``: what is not known of these shots."""
    notes: tuple[str, ...]
    """What was set aside, in words."""

    @property
    def shots(self) -> int:
        """How many shots there are."""
        return len(self.rows)

    def words(self) -> str:
        """What was taken in, what was set aside, and what is not known, one sentence a line."""
        return "\n".join([f"{self._counted} taken in from {self.source}.", *self._besides])

    def outlook(self) -> str:
        """The same before anything is written."""
        return "\n".join([f"{self._counted} would be taken in.", *self._besides])

    @property
    def _counted(self) -> str:
        return f"{self.shots} shot{'s' if self.shots != 1 else ''}"

    @property
    def _besides(self) -> list[str]:
        return [*self.notes, *(SENTENCES[name] for name in self.limitations)]

    @property
    def table(self) -> pd.DataFrame:
        """The shots as a table to look at."""
        return pd.DataFrame(list(self.rows))


def preview_import(path: Path, trial: Trial) -> Mapping:
    """How the file would be read: the mapping to show before anything is written.

    Raises
    ------
    DataError
        If the file cannot be read, or holds no table of shots.
    """
    return understand(read_sheets(path), trial)


def import_shots(
    path: Path,
    trial: Trial,
    schedule: pd.DataFrame | None = None,
    mapping: Mapping | None = None,
    zone: tzinfo | None = None,
    freeze_time: datetime | None = None,
) -> ImportedShots:
    """The shots of a file, each value exactly as meant.

    Parameters
    ----------
    schedule
        The trial's own schedule, if the file records shots of it: each row must then say which
        planned shot (or which cup code) it is. None: the data are accepted without a plan and
        marked so.
    mapping
        As shown and perhaps changed by the person; left out, the file is understood afresh.
    zone
        Time zone of times that carry none.
    freeze_time
        When the plan was sealed; a shot pulled before it is complained about.

    Raises
    ------
    DataError
        If the file cannot be read, or holds no table of shots.
    TableError
        With every complaint (file and sheet, row, column, what was found, what to do), if
        anything in the table cannot be taken as it stands. Nothing is guessed or left out.
    """
    mapping = mapping or preview_import(path, trial)
    records = read_records(mapping, trial, zone)
    complaints = list(records.complaints)
    rows = records.rows
    if schedule is not None:
        complaints += _match_with_schedule(rows, schedule)
    for place, row in rows:
        complaints += row_complaints({**row, **_mean_tds(row)}, place, trial, freeze_time)
    for name in ("shot", "planned_shot"):
        complaints += doubled_values(rows, name)
    complaints += _half_known(rows)
    if not rows and not complaints:
        complaints.append(
            Complaint(
                path.name,
                None,
                None,
                "",
                "there is no shot in this file",
                "Fill in at least one row under the headings.",
            )
        )
    if complaints:
        raise TableError([*_misunderstood(mapping), *complaints])
    return _in_order(path.name, rows, schedule is not None, records.notes)


def import_into(folder: Path, path: Path, at: datetime, by: str) -> ImportedShots:
    """Read a file and write its shots into the journal of the trial in ``folder``.

    Times without a zone are taken as in the zone of ``at``. Raises as ``import_shots`` does, and
    then nothing is written.
    """
    sealed = datetime.fromisoformat(read_freeze(folder).at) if is_sealed(folder) else None
    imported = import_shots(
        path, read_trial(folder), schedule_of(folder), zone=at.tzinfo, freeze_time=sealed
    )
    log_import(folder, imported, at, by)
    return imported


def log_import(folder: Path, imported: ImportedShots, at: datetime, by: str) -> Event:
    """Write imported shots into the journal of a trial, all of them or none."""
    about = {
        "source": imported.source,
        "limitations": list(imported.limitations),
        "notes": list(imported.notes),
    }
    return log_imported(folder, imported.rows, about, at, by)


def _misunderstood(mapping: Mapping) -> list[Complaint]:
    """Columns that were nearly understood: what is missing in the rows may well stand there."""
    return [
        Place(sheet.sheet.title).complaint(
            f"{use.letter} ({use.heading})",
            "",
            f"this column is not read: {use.why}",
            "Change its heading, or say in the notebook 2_shoot what it is read as.",
        )
        for sheet in mapping.sheets
        for use in sheet.columns
        if use.target is None and use.why not in ("", NOT_KNOWN)
    ]


def _mean_tds(row: Row) -> dict[str, Any]:
    readings = row.get("tds_readings")
    return {"tds_pct": sum(readings) / len(readings)} if readings else {}


def _match_with_schedule(rows: list[tuple[Place, Row]], schedule: pd.DataFrame) -> list[Complaint]:
    """Give each row its planned shot (by its number, or by its cup code), or complain."""
    planned = plan_rows(schedule)
    by_code = {row["code"]: number for number, row in planned.items() if row.get("code")}
    if rows and not any(row.get("planned_shot") or row.get("code") for _, row in rows):
        return [_no_planned_shots(rows[0][0])]
    complaints = []
    for place, row in rows:
        number = row.get("planned_shot") or by_code.get(row.get("code"))
        if number is None:
            complaints.append(
                place.complaint(
                    "planned shot",
                    row.get("code") or "",
                    "this row names no planned shot",
                    "Add a column “planned shot” or “cup code” with the numbers of the schedule.",
                )
            )
        elif number not in planned:
            complaints.append(
                place.complaint(
                    "planned shot",
                    number,
                    "the schedule has no such planned shot",
                    f"It has 1 to {max(planned)}. Check the number.",
                )
            )
        else:
            complaints += _contradicts_plan(place, row, planned[number])
            row["planned_shot"] = number
    return complaints


def _no_planned_shots(first: Place) -> Complaint:
    """Said once for the file, not for each of its rows."""
    return first.complaint(
        "planned shot",
        "",
        "no row says which planned shot it is, and this trial has a schedule",
        "Add a column “planned shot” or “cup code” with the numbers of the schedule. Shots that "
        "were pulled without this schedule belong into a trial of their own: start one with "
        "“fairpull new”, and bring them there.",
    )


def _contradicts_plan(place: Place, row: Row, plan: dict[str, Any]) -> list[Complaint]:
    """A cup code that belongs to another planned shot: one of the two is a slip of the pen."""
    code = row.get("code")
    if code is None or code == plan["code"]:
        row["method"] = row.get("method") or plan["method"]
        return []
    return [
        place.complaint(
            "code",
            code,
            f"planned shot {plan['planned_shot']} has the cup code {plan['code']}",
            "Check which of the two is right.",
        )
    ]


def _half_known(rows: list[tuple[Place, Row]]) -> list[Complaint]:
    """A time or number that only some rows have gives no order."""
    complaints = []
    for name in ("pulled_at", "shot"):
        without = [place for place, row in rows if row.get(name) is None]
        if 0 < len(without) < len(rows):
            complaints.append(
                without[0].complaint(
                    name,
                    "",
                    "other rows have this and this row has not, so there is no order",
                    "Fill it in for every row, or leave the column out.",
                )
            )
    return complaints


def _in_order(
    source: str, rows: list[tuple[Place, Row]], planned: bool, notes: list[str]
) -> ImportedShots:
    """The rows in the order pulled, marked with what is not known."""
    shots = [{key: value for key, value in row.items() if key != "unreadable"} for _, row in rows]
    order = next((name for name in ("pulled_at", "shot") if shots[0].get(name) is not None), None)
    if order == "pulled_at":
        shots.sort(key=lambda shot: datetime.fromisoformat(shot["pulled_at"]))
    elif order == "shot":
        shots.sort(key=lambda shot: shot["shot"])
    elif planned:
        shots.sort(key=lambda shot: shot["planned_shot"])
    limitations = [] if planned else ["no schedule"]
    if order is None and not planned:
        limitations.append("no order")
    for name, absent in (("block", "no blocks"), ("session", "no sessions")):
        if not planned and any(shot.get(name) is None for shot in shots):
            limitations.append(absent)
    cleaned = [_without_derived(shot, order is None and not planned) for shot in shots]
    return ImportedShots(source, tuple(cleaned), tuple(limitations), tuple(notes))


def _without_derived(shot: Row, order_unknown: bool) -> Row:
    """Only what is entered: numbers that follow from others are computed again."""
    derived = {"shot", "position", "session_position", "brew_ratio", "entered_by"}
    kept = {name: value for name, value in shot.items() if name not in derived}
    kept = {name: value for name, value in kept.items() if value is not None}
    return {**kept, "order_unknown": True} if order_unknown else kept
