"""Planned against done: what was not pulled as scheduled, and why, as rows one can publish."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd

from kit import codebook
from kit.errors import DataError
from kit.files import read_text, write_atomically
from kit.trial import Trial

DEVIATIONS_FILE = "deviations.csv"


def deviations_from_log(trial: Trial, schedule: pd.DataFrame, shots: pd.DataFrame) -> pd.DataFrame:
    """Every way in which the log departs from the schedule, in the order pulled.

    Found are: shots lost or replaced, study shots kept although out of tolerance, planned study
    and reference shots never pulled, and shots pulled out of the planned order.

    Returns
    -------
    DataFrame
        Columns of ``codebook.DEVIATIONS``.
    """
    rows = [
        *_lost_or_replaced(shots),
        *_kept_out_of_tolerance(trial, shots),
        *_never_pulled(schedule, shots),
        *_out_of_order(shots),
    ]
    table = pd.DataFrame(rows, columns=codebook.names(codebook.DEVIATIONS))
    return table.sort_values(["planned_shot", "what"], kind="stable").reset_index(drop=True)


def write_deviations(table: pd.DataFrame, folder: Path) -> Path:
    """Write ``deviations.csv`` in one step."""
    return write_atomically(
        folder / DEVIATIONS_FILE, table.to_csv(index=False, lineterminator="\n")
    )


def read_deviations(folder: Path) -> pd.DataFrame:
    """The recorded deviations of a trial; an empty table where none were written.

    Raises
    ------
    DataError
        If the file is there and lacks a column.
    """
    path = folder / DEVIATIONS_FILE
    columns = codebook.names(codebook.DEVIATIONS)
    if not path.exists():
        return pd.DataFrame(columns=columns)
    table = pd.read_csv(io.StringIO(read_text(path)), dtype=str, keep_default_na=False)
    missing = [name for name in columns if name not in table]
    if missing:
        raise DataError(
            f"{DEVIATIONS_FILE} lacks the column “{missing[0]}”. "
            f"Its columns are {', '.join(columns)}."
        )
    return table[columns]


def _row(shot: pd.Series, what: str, planned: str, done: str, reason: object) -> dict[str, object]:
    said = "" if pd.isna(reason) else str(reason)  # type: ignore[call-overload]
    return {
        "at": shot.get("pulled_at", ""),
        "planned_shot": int(shot["planned_shot"]),
        "what": what,
        "planned": planned,
        "done": done,
        "reason": said,
    }


def _lost_or_replaced(shots: pd.DataFrame) -> list[dict[str, object]]:
    stands_in = {
        int(spare): int(lost)
        for lost, spare in zip(shots["planned_shot"], shots["replaces"], strict=True)
        if pd.notna(spare)
    }
    rows = []
    for _, shot in shots[shots["status"].isin(["replaced", "lost"])].iterrows():
        spare = stands_in.get(int(shot["planned_shot"]))
        if spare is not None:
            done = f"replaced by planned shot {spare} at the end of the same block"
        else:
            done = "not replaced"
        rows.append(
            _row(
                shot,
                f"shot {shot['status']}",
                f"one shot of {shot['method']}",
                done,
                shot["reason"],
            )
        )
    return rows


def _kept_out_of_tolerance(trial: Trial, shots: pd.DataFrame) -> list[dict[str, object]]:
    kept = shots[(shots["status"] == "kept") & (shots["role"] == "study")]
    recipe = trial.recipe
    rows = []
    for _, shot in kept.dropna(subset=["dose_g", "beverage_g"]).iterrows():
        if not recipe.in_tolerance(float(shot["dose_g"]), float(shot["beverage_g"])):
            planned = (
                f"{recipe.dose_g:g} ± {recipe.dose_tolerance_g:g} g to "
                f"{recipe.beverage_g:g} ± {recipe.beverage_tolerance_g:g} g"
            )
            done = f"{shot['dose_g']:g} g to {shot['beverage_g']:g} g, kept"
            rows.append(_row(shot, "kept out of tolerance", planned, done, shot["reason"]))
    return rows


def _never_pulled(schedule: pd.DataFrame, shots: pd.DataFrame) -> list[dict[str, object]]:
    wanted = schedule[schedule["role"].isin(["study", "reference"])]
    absent = wanted[~wanted["planned_shot"].isin(shots["planned_shot"])]
    return [
        _row(
            shot,
            "planned shot not pulled",
            f"{shot['role']} shot of {shot['method']}",
            "nothing",
            "",
        )
        for _, shot in absent.iterrows()
    ]


def _out_of_order(shots: pd.DataFrame) -> list[dict[str, object]]:
    """Scheduled pulls (spares excepted) that came after one planned later."""
    in_plan = shots[shots["replaces"].isna()].sort_values("shot")
    latest = in_plan["planned_shot"].cummax().shift(1)
    late = in_plan[in_plan["planned_shot"] < latest]
    return [
        _row(shot, "pulled out of order", f"as planned shot {int(shot['planned_shot'])}",
             f"as shot {int(shot['shot'])}", shot["reason"])
        for _, shot in late.iterrows()
    ]  # fmt: skip
