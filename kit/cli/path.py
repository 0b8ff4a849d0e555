"""The path of a completed trial, step by step: what ``demo`` shows and ``publish`` does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from kit.errors import DataError, TableError
from kit.trial import Trial, read_trial

if TYPE_CHECKING:
    from kit.planning.laid_out import LaidOut

Say = Callable[[str, str], None]


@dataclass(frozen=True)
class Published:
    """Where a published trial ended up, and what it says."""

    headline: str
    report: Path
    bundle: Path


def walk(folder: Path, say: Say) -> Published:
    """Every step from the plan to the bundle, each said when it is done."""
    say("plan", plan_in_words(folder))
    say("schedule", schedule_in_words(folder))
    say("log", log_in_words(folder))
    say("validation", validation_in_words(folder))
    return publish_trial(folder, say)


def publish_trial(folder: Path, say: Say, licence: str = "CC-BY-4.0") -> Published:
    """Analysis, figures, findings, report, and a bundle under that licence of the data."""
    from kit.bundle import write_bundle
    from kit.results import (
        compute_results,
        pictures_of,
        write_figures,
        write_tables_and_findings,
    )
    from kit.results.page import write_report

    results = compute_results(folder)
    fitted = len(results.analysis.results)
    say("analysis", f"{fitted} of {len(results.trial.outcomes)} outcomes analysed.")
    pictures = pictures_of(results)
    say("figures", f"{len(write_figures(pictures, folder, ('page', 'still-wide')))} files drawn.")
    write_tables_and_findings(results, folder)
    say("findings", f"{len(results.findings.claims)} claims weighed; tables written.")
    report = write_report(results, pictures, folder)
    say("report", str(report))
    bundle = write_bundle(folder, licence)
    say("bundle", str(bundle))
    return Published(results.findings.headline, report, bundle)


def plan_in_words(folder: Path) -> str:
    """What the planned shots can and cannot tell, in one sentence."""
    from kit.planning.answers import answer_sentences

    trial = read_trial(folder)
    return answer_sentences(trial, laid_out(folder, trial))[0]


def laid_out(folder: Path, trial: Trial) -> LaidOut:
    """The layout of the schedule (of one drawn for the purpose, where none was drawn yet)."""
    from kit.planning.laid_out import LaidOut
    from kit.schedule import draw_schedule
    from kit.shotlog import schedule_of

    schedule = schedule_of(folder)
    if schedule is None:
        schedule = draw_schedule(trial, 0)
    return LaidOut.of_schedule(schedule, trial)


def schedule_in_words(folder: Path) -> str:
    """Whether the schedule is the one its recorded seed draws, and whether the seal holds."""
    from kit.schedule import draw_schedule, read_freeze, read_schedule, verify_freeze

    trial, schedule = read_trial(folder), read_schedule(folder)
    broken = verify_freeze(folder)
    if broken:
        raise DataError("\n".join(broken))
    sealed = read_freeze(folder)
    pd.testing.assert_frame_equal(draw_schedule(trial, sealed.seed), schedule)
    return f"{len(schedule)} pulls, as seed {sealed.seed} draws them. Seal {sealed.short} holds."


def log_in_words(folder: Path) -> str:
    """How many shots the log holds and how many were lost or replaced."""
    from kit.shotlog import read_shots, write_tables

    write_tables(folder)
    shots = read_shots(folder)
    study = shots[shots["role"] == "study"]
    lost = int((study["status"] != "kept").sum())
    return (
        f"{len(shots)} pulls logged, {len(study) - lost} study shots kept, {lost} lost or replaced."
    )


def validation_in_words(folder: Path) -> str:
    """Whether every value in the log can be true; complaints are raised with file, row, column."""
    from kit.schedule import FREEZE_FILE, read_freeze
    from kit.shotlog import read_shots, schedule_of, validate_shots

    sealed = read_freeze(folder) if (folder / FREEZE_FILE).exists() else None
    when = datetime.fromisoformat(sealed.at) if sealed else None
    shots = read_shots(folder)
    complaints = validate_shots(shots, read_trial(folder), schedule_of(folder), when)
    if complaints:
        raise TableError(complaints)
    return f"{len(shots)} rows checked, nothing wrong."
