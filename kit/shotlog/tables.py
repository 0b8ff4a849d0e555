"""The tables made from the journal: ``shots.csv``, ``readings.csv``, ``tastings.csv``.

They are always derived: the journal is the truth, and writing them again changes nothing.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from statistics import fmean
from typing import Any

import pandas as pd

from kit import codebook
from kit.codebook import Column
from kit.errors import DataError
from kit.extraction import brew_ratio, extraction_yield_pct
from kit.files import write_atomically
from kit.schedule import SCHEDULE_FILE, current_schedule
from kit.shotlog.journal import JOURNAL_FILE, read_journal
from kit.shotlog.spreadsheets import csv_text
from kit.shotlog.state import Log, LoggedShot, fold

SHOTS_FILE = "shots.csv"
READINGS_FILE = "readings.csv"
TASTINGS_FILE = "tastings.csv"
_DTYPES: dict[str, Any] = {
    "string": "str",
    "datetime": "str",
    "integer": "Int64",
    "number": "float64",
}
_BY_PLAN = ("session", "bag", "whole_plot", "block", "role", "method", "code")


def read_log(folder: Path) -> Log:
    """The state of a trial from its journal."""
    return fold(read_journal(folder).events)


def read_shots(folder: Path) -> pd.DataFrame:
    """The shots of a trial, one row each, in the order pulled.

    Returns
    -------
    DataFrame
        Columns of ``codebook.SHOTS``, then one column for each factor of a factorial. Times are
        ISO 8601 text with time zone; whole numbers are nullable integers.

    Raises
    ------
    DataError
        If no shot was logged yet, or a file of the trial cannot be read.
    """
    log = read_log(folder)
    if not log.shots:
        raise DataError(
            f"No shot is logged in {folder.name or folder} yet ({JOURNAL_FILE} is missing or "
            "empty). Log shots in the notebook 2_shoot, or import a table."
        )
    return shots_table(log, schedule_of(folder))


def schedule_of(folder: Path) -> pd.DataFrame | None:
    """The schedule to pull by (amended where it had to be), or None for data without one."""
    return current_schedule(folder) if (folder / SCHEDULE_FILE).exists() else None


def shots_table(log: Log, schedule: pd.DataFrame | None) -> pd.DataFrame:
    """One row a shot in the order pulled; see ``read_shots``."""
    planned = plan_rows(schedule)
    factors = factor_columns(schedule)
    scored = _faults_by_code(log)
    rows = [_shot_row(log, shot, planned, factors) for shot in log.shots]
    for row in rows:
        row["faults"] = scored.get(row["code"] or "", row["faults"])
    _number(rows)
    columns = (*codebook.SHOTS, *(Column(name, "string", "Factor level.") for name in factors))
    return typed_table(rows, columns)


def readings_table(log: Log, schedule: pd.DataFrame | None) -> pd.DataFrame:
    """One row a reading of a cup (columns of ``codebook.READINGS``)."""
    return _readings_of_shots(log, shots_table(log, schedule))


def _readings_of_shots(log: Log, shots: pd.DataFrame) -> pd.DataFrame:
    rows = [
        {"shot": number, "code": code, "reading": place, "tds_pct": value, "at": at, **by}
        for shot, number, code in zip(log.shots, shots["shot"], shots["code"], strict=True)
        for at, by, values in [_readings_of(log, shot, code)]
        for place, value in enumerate(values, start=1)
    ]
    return typed_table(rows, codebook.READINGS)


def tastings_table(log: Log, schedule: pd.DataFrame | None) -> pd.DataFrame:
    """One row a score (columns of ``codebook.TASTINGS``); shot and method follow from the log."""
    return _tastings_of_shots(log, shots_table(log, schedule))


def _tastings_of_shots(log: Log, shots: pd.DataFrame) -> pd.DataFrame:
    of_shot = dict(zip(shots["shot"], shots["method"], strict=True))
    rows = []
    for event in log.tastings:
        cup = event.data
        for attribute, score in cup["scores"].items():
            rows.append(
                {
                    **{name: cup.get(name) for name in codebook.names(codebook.TASTINGS)},
                    "method": cup.get("method") or of_shot.get(cup.get("shot")),
                    "attribute": attribute,
                    "score": score,
                    "at": event.at,
                }
            )
    return typed_table(rows, codebook.TASTINGS)


def fault_scores_table(log: Log) -> pd.DataFrame:
    """One row a score of a video: ``code, scorer, faults, at``, in the order entered."""
    rows = [(event.data["code"], event.by, event.data["faults"], event.at) for event in log.scores]
    return pd.DataFrame(rows, columns=["code", "scorer", "faults", "at"])


def write_tables(folder: Path) -> list[Path]:
    """Write the three tables of a trial from its journal, each in one step; returns their paths.

    Readings and tastings are written only where there are any.
    """
    log = read_log(folder)
    shots = shots_table(log, schedule_of(folder))
    written = [write_atomically(folder / SHOTS_FILE, csv_text(shots))]
    for name, table in [
        (READINGS_FILE, _readings_of_shots(log, shots)),
        (TASTINGS_FILE, _tastings_of_shots(log, shots)),
    ]:
        if len(table) or (folder / name).exists():
            written.append(write_atomically(folder / name, csv_text(table)))
    return written


def plan_rows(schedule: pd.DataFrame | None) -> dict[int, dict[str, Any]]:
    """The rows of the schedule by planned shot, empty cells as None."""
    if schedule is None:
        return {}
    known = schedule.astype(object)
    known = known.where(known.notna() & (known != ""), None)
    return {int(row["planned_shot"]): row for row in known.to_dict("records")}  # type: ignore[misc]


def cells_of(column: pd.Series) -> list[Any]:
    """The values of a column as plain Python objects, None where one is missing."""
    values = column.astype(object)
    return values.where(column.notna(), None).tolist()


def factor_columns(schedule: pd.DataFrame | None) -> list[str]:
    """The columns of a schedule that hold levels of factors."""
    if schedule is None:
        return []
    known = codebook.names(codebook.SCHEDULE)
    return [name for name in schedule.columns if name not in known]


def typed_table(rows: list[dict[str, Any]], columns: tuple[Column, ...]) -> pd.DataFrame:
    """Rows as a table with exactly these columns, each of the type the codebook gives it."""
    return pd.DataFrame(
        {
            column.name: pd.Series(
                [row.get(column.name) for row in rows], dtype=_DTYPES[column.kind]
            )
            for column in columns
        }
    )


def _shot_row(
    log: Log, shot: LoggedShot, planned: dict[int, dict[str, Any]], factors: list[str]
) -> dict[str, Any]:
    """A shot with its place in the plan, its measurements and what follows from them."""
    plan = _plan_of(log, shot, planned)
    row = {name: shot.entered.get(name) for name in codebook.names(codebook.SHOTS)}
    for name in (*_BY_PLAN, *factors):
        row[name] = shot.entered.get(name) or plan.get(name)
    row["pulled_at"] = shot.pulled_at
    row["entered_by"] = shot.by
    row["status"] = _status(log, shot)
    row["order_unknown"] = bool(shot.entered.get("order_unknown"))
    _, _, readings = _readings_of(log, shot, row["code"])
    row["tds_pct"] = fmean(readings) if readings else None
    dose, beverage, tds = row["dose_g"], row["beverage_g"], row["tds_pct"]
    if dose and beverage:
        row["brew_ratio"] = brew_ratio(dose, beverage)
        row["ey_pct"] = extraction_yield_pct(tds, beverage, dose) if tds else row["ey_pct"]
    return row


def _plan_of(log: Log, shot: LoggedShot, planned: dict[int, dict[str, Any]]) -> dict[str, Any]:
    """Where the shot stands; a spare stands where the shot it replaces was to stand."""
    own = planned.get(shot.planned_shot or 0, {})
    stands_for = log.stands_for(shot)
    if stands_for == shot.planned_shot or stands_for not in planned:
        return own
    return {**planned[stands_for], "code": own.get("code"), "role": "study"}


def _status(log: Log, shot: LoggedShot) -> str:
    if not shot.is_lost:
        return "kept"
    if shot.entered.get("status") == "replaced" or shot.planned_shot in log.replaced:
        return "replaced"
    return "lost"


def _faults_by_code(log: Log) -> dict[str, int]:
    """The counts of the scorer who began scoring the video, by cup code."""
    first = log.scores[0].by if log.scores else ""
    return {event.data["code"]: event.data["faults"] for event in log.scores if event.by == first}


def _readings_of(
    log: Log, shot: LoggedShot, code: Any
) -> tuple[str, dict[str, str], tuple[float, ...]]:
    """When, by whom and what was read of a cup; later readings take the place of earlier ones."""
    measured = log.readings.get(code) if isinstance(code, str) else None
    if measured is not None:
        return measured.at, {"entered_by": measured.by}, tuple(measured.data["tds_readings"])
    values = shot.entered.get("tds_readings") or []
    if not values and shot.entered.get("tds_pct") is not None:
        values = [shot.entered["tds_pct"]]
    return shot.at, {"entered_by": shot.by}, tuple(values)


def _number(rows: list[dict[str, Any]]) -> None:
    """Number the shots as they were pulled: over all, in their session, in their block."""
    in_session: Counter[Any] = Counter()
    in_block: Counter[Any] = Counter()
    for number, row in enumerate(rows, start=1):
        row["shot"] = number
        row["position"] = row["session_position"] = None
        if row.pop("order_unknown"):
            continue
        in_session[row["session"]] += 1
        row["session_position"] = in_session[row["session"]]
        if row["block"] is not None and row["role"] == "study":
            in_block[row["block"]] += 1
            row["position"] = in_block[row["block"]]
