"""Everything that can be known of a completed trial, computed from the files of its folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from kit.analysis.masking import masked_table, masked_trial
from kit.analysis.result import Analysis
from kit.analysis.supplements.bench import repeated_readings
from kit.analysis.trial_analysis import Drawn, analyse_trial
from kit.deviations import deviations_from_log, read_deviations
from kit.errors import KitError
from kit.findings import Findings, Record, state_findings
from kit.findings.needs import shots_in_words
from kit.results.lock import mask_of, read_lock
from kit.schedule import Freeze, is_sealed, read_amendments, read_freeze, read_schedule
from kit.shotlog import (
    read_log,
    read_shots,
    readings_table,
    schedule_of,
    tastings_table,
)
from kit.shotlog.limitations import limitations_of
from kit.trial import Trial, read_trial

Progress = Callable[[str], None]
REDRAW_STREAM = 1
"""Second word of the seed that draws schedules again, so that it is not the draw itself."""


@dataclass(frozen=True)
class Results:
    """A completed trial with its analysis and findings."""

    trial: Trial
    shots: pd.DataFrame
    tastings: pd.DataFrame
    deviations: pd.DataFrame
    record: Record
    analysis: Analysis
    findings: Findings
    schedule: pd.DataFrame | None
    """As drawn; None where there is no schedule."""


@dataclass(frozen=True)
class TrialFiles:
    """Everything read from a trial folder."""

    trial: Trial
    shots: pd.DataFrame
    tastings: pd.DataFrame
    readings: pd.DataFrame
    schedule: pd.DataFrame | None
    seed: int
    """Of the schedule; 0 where none was sealed."""
    deviations: pd.DataFrame
    record: Record


def compute_results(folder: Path, progress: Progress | None = None) -> Results:
    """Read a trial folder, analyse every outcome, and state the findings. Writes nothing.

    Raises
    ------
    DataError, PlanError
        If a file of the trial cannot be read, or there is no study shot.
    """
    return _results(_read(folder), progress)


def compute_blind_results(folder: Path, progress: Progress | None = None) -> Results:
    """The same with letters for the names of the methods (and of the levels of factors)."""
    files = _read(folder)
    mask = mask_of(files.trial, files.seed)
    hidden = replace(
        files,
        trial=masked_trial(files.trial, mask),
        shots=masked_table(files.shots, mask),
        tastings=masked_table(files.tastings, mask),
        schedule=None if files.schedule is None else masked_table(files.schedule, mask),
    )
    return _results(hidden, progress)


def _read(folder: Path) -> TrialFiles:
    trial = read_trial(folder)
    shots = read_shots(folder)
    log, schedule = read_log(folder), schedule_of(folder)
    sealed = read_freeze(folder) if is_sealed(folder) else None
    deviations = _deviations(folder, trial, schedule, shots)
    # The draw is repeated as it was made, not as it was amended later.
    drawn = None if schedule is None else read_schedule(folder)
    return TrialFiles(
        trial,
        shots,
        tastings_table(log, schedule),
        readings_table(log, schedule),
        drawn,
        0 if sealed is None else sealed.seed,
        deviations,
        Record(
            randomised=schedule is not None,
            blocked=_blocked(shots),
            frozen_before_first_shot=_sealed_in_time(sealed, shots),
            peeks=len(log.peeks),
            deviations=deviations,
            unknown=tuple(limitations_of(log)),
            analyst_was_blind=trial.blinding.analyst and read_lock(folder) is not None,
        ),
    )


def _results(files: TrialFiles, progress: Progress | None) -> Results:
    trial = files.trial
    drawn = Drawn(files.schedule, np.random.default_rng([files.seed, REDRAW_STREAM]))
    analysis = analyse_trial(trial, files.shots, files.tastings, drawn, progress)
    analysis = _with_readings(analysis, files.readings)
    findings = state_findings(trial, analysis, files.record, partial(shots_in_words, trial))
    return Results(
        trial,
        files.shots,
        files.tastings,
        files.deviations,
        files.record,
        analysis,
        findings,
        files.schedule,
    )


def _with_readings(analysis: Analysis, readings: pd.DataFrame) -> Analysis:
    """The analysis with what repeated readings of a cup say, where cups were read again."""
    primary = analysis.primary
    if primary is None or primary.residual_sd is None or primary.outcome.measure != "ey_pct":
        return analysis
    try:
        table, said = repeated_readings(readings, analysis.study, primary.residual_sd)
    except KitError as refusal:
        return replace(analysis, extra_notes=analysis.extra_notes | {"readings": str(refusal)})
    return replace(
        analysis,
        extras=analysis.extras | {"readings": table},
        extra_notes=analysis.extra_notes | {"readings": said},
    )


def _deviations(
    folder: Path, trial: Trial, schedule: pd.DataFrame | None, shots: pd.DataFrame
) -> pd.DataFrame:
    """Deviations found in the log, joined with those that were recorded by hand or by a re-plan."""
    if schedule is None:
        return read_deviations(folder)
    found = deviations_from_log(trial, schedule, shots)
    changes = read_amendments(folder).astype(object)
    recorded = pd.concat([changes, read_deviations(folder).astype(object)], ignore_index=True)
    recorded = recorded.drop_duplicates(["what", "planned_shot"])
    known = set(zip(found["what"], found["planned_shot"].astype(str), strict=True))
    extra = [
        (what, str(shot)) not in known
        for what, shot in zip(recorded["what"], recorded["planned_shot"], strict=True)
    ]
    joined = pd.concat([found.astype(object), recorded[extra].astype(object)], ignore_index=True)
    return joined.fillna("")


def _blocked(shots: pd.DataFrame) -> bool:
    study = shots[shots["role"] == "study"]
    return bool(study["block"].notna().any()) if "block" in study else False


def _sealed_in_time(sealed: Freeze | None, shots: pd.DataFrame) -> bool:
    """Whether the seal is older than the first shot."""
    if sealed is None:
        return False
    times = pd.to_datetime(
        shots["pulled_at"].replace("", None).dropna(), utc=True, format="ISO8601"
    )
    moment = pd.Timestamp(sealed.at).tz_convert("UTC")
    return bool(times.empty or moment <= times.min())
