"""A small trial on a real schedule, and pulls that follow it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from kit.schedule import draw_schedule, write_schedule
from kit.shotlog import Event, Pull, log_shot, read_log, run_order
from kit.trial import Trial, read_trial, write_trial

START = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)


def small_trial(folder: Path, **layout: Any) -> tuple[Trial, pd.DataFrame]:
    """Four methods, two sessions of two blocks, one reference and one spare each."""
    trial = read_trial(Path("sample_sessions/four_naps"))
    small = {
        "sessions": 2,
        "blocks_per_session": 2,
        "reference_shots_per_session": 1,
        "warm_up_shots_per_session": 1,
        "spares_per_session": 1,
        **layout,
    }
    trial = trial.model_copy(update={"layout": trial.layout.model_copy(update=small)})
    write_trial(trial, folder)
    schedule = draw_schedule(trial, 11)
    write_schedule(schedule, folder)
    return trial, schedule


def next_pull(folder: Path, schedule: pd.DataFrame) -> Pull:
    pull = run_order(schedule, read_log(folder)).next_pull
    assert pull is not None
    return pull


def log_next(folder: Path, schedule: pd.DataFrame, **entry: Any) -> Event:
    """Pull whatever comes next, five minutes after the one before."""
    pull = next_pull(folder, schedule)
    done = len(read_log(folder).shots)
    good: dict[str, Any] = {
        "planned_shot": pull.planned_shot,
        "dose_g": 17.5,
        "beverage_g": 36.0,
        "shot_time_s": 28.0,
        "tds_pct": 9.4,
    }
    if pull.replaces is not None:
        good["replaces"] = pull.replaces
    return log_shot(folder, good | entry, START + timedelta(minutes=5 * done), "op")
