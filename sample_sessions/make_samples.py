"""Make the sample sessions from plan and known truth: ``python -m sample_sessions.make_samples``.

Nobody pulled these shots. Each folder holds a plan (``trial.toml``) and a truth (``truth.toml``,
with the seeds); this script draws the schedule, seals it, invents what happened at the bench and
writes it through the very log that a real shoot uses. The same seeds give the same files.
"""

from __future__ import annotations

import tomllib
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from kit.deviations import deviations_from_log, write_deviations
from kit.results import compute_blind_results, lock_analysis
from kit.results.write import findings_text
from kit.schedule import draw_schedule, freeze_trial, write_schedule
from kit.schedule.tasting import ORDERS_FILE, SETS_FILE, draw_missing_tasting, read_tasting
from kit.shotlog import Event, append_events, fold, new_event, read_shots, run_order, write_tables
from kit.trial import Trial, read_trial
from sample_sessions.tastings import invented_tastings

HERE = Path(__file__).parent
NAMES = ("four_naps", "disc_and_soak", "seven_rivers")
MADE = ("schedule.csv", "freeze.json", "shots.jsonl", "shots.csv", "readings.csv", "tastings.csv",
        "deviations.csv", "analysis_lock.json", ORDERS_FILE, SETS_FILE)  # fmt: skip
# So that the ids of events, random in a real log, are the same each time the samples are made.
NAMESPACE = uuid.UUID("6f1d1f7e-2f0a-4f5e-9c3b-0d6a3c1b9e57")
MINUTES_A_SHOT = 5


@dataclass
class Bench:
    """The invented bench: its truth, its luck, its clock, and the events so far."""

    trial: Trial
    truth: dict[str, Any]
    rng: np.random.Generator
    shifts: dict[str, float] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def shift(self, kind: str, label: object) -> float:
        """The random shift that a session, bag, whole plot or block gives to all its shots."""
        if label is None or pd.isna(label):
            return 0.0
        key = f"{kind}:{label}"
        if key not in self.shifts:
            self.shifts[key] = float(self.rng.normal(0, self.truth["extraction"][f"{kind}_sd"]))
        return self.shifts[key]

    def record(self, kind: str, data: dict[str, Any], at: datetime) -> None:
        """Add an event with an id that depends on the trial and its number alone."""
        number = f"{self.trial.title} {len(self.events)}"
        event_id = uuid.uuid5(NAMESPACE, number).hex
        self.events.append(new_event(kind, data, at, self.truth["operator"], event_id))


def make_sample(folder: Path) -> None:
    """Write every made file of one sample session into ``folder``."""
    for name in MADE:
        (folder / name).unlink(missing_ok=True)
    trial = read_trial(folder)
    truth = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))
    schedule = draw_schedule(trial, truth["schedule_seed"])
    write_schedule(schedule, folder)
    start = truth["first_session"]
    freeze_trial(folder, start - timedelta(hours=14), truth["schedule_seed"])
    bench = Bench(trial, truth, np.random.default_rng(truth["shots_seed"]))
    pull_everything(bench, schedule, start)
    if "tasting" in truth:
        draw_missing_tasting(folder)
        later = datetime.fromisoformat(bench.events[-1].at) + timedelta(days=1)
        luck = np.random.default_rng(truth["tasting_seed"])
        for at, tasting in invented_tastings(trial, truth, read_tasting(folder), later, luck):
            bench.record("tasting", tasting, at)
    append_events(folder, bench.events)
    write_tables(folder)
    write_deviations(deviations_from_log(trial, schedule, read_shots(folder)), folder)
    settled = datetime.fromisoformat(bench.events[-1].at) + timedelta(hours=1)
    lock_analysis(folder, findings_text(compute_blind_results(folder)), settled, "P2")


def pull_everything(bench: Bench, schedule: pd.DataFrame, start: datetime) -> None:
    """Pull the schedule in its order, one session a day, with the accidents of the truth."""
    sessions = list(dict.fromkeys(schedule["session"]))
    place, study, current = 0, 0, ""
    while (pull := run_order(schedule, fold(bench.events)).next_pull) is not None:
        if pull.role == "spare":  # no lost shot is waiting for it
            _end_session(
                bench, pull.session, start + timedelta(days=sessions.index(pull.session), hours=4)
            )
            continue
        if pull.session != current:
            place, study, current = 0, 0, pull.session
        place += 1
        study += pull.role == "study" and pull.replaces is None
        at = start + timedelta(days=sessions.index(current), minutes=MINUTES_A_SHOT * place)
        accident = _accident(bench.truth, sessions.index(current) + 1, study, pull)
        bench.record("shot", invented_shot(bench, pull, place, at, accident), at)


def _end_session(bench: Bench, session: str, at: datetime) -> None:
    bench.record("session end", {"session": session, "reason": ""}, at)


def _accident(truth: dict[str, Any], session: int, study: int, pull: Any) -> dict[str, Any]:
    if pull.role != "study" or pull.replaces is not None:
        return {}
    for accident in truth.get("accidents", []):
        if (accident["session"], accident["study_shot"]) == (session, study):
            return dict(accident)
    return {}


def invented_shot(
    bench: Bench, pull: Any, place: int, at: datetime, accident: dict[str, Any]
) -> dict[str, Any]:
    """One pull as the bench would have logged it: masses, times, three readings, faults."""
    truth, rng, recipe = bench.truth, bench.rng, bench.trial.recipe
    dose = round(recipe.dose_g + float(np.clip(rng.normal(0, 0.035), -0.09, 0.09)), 2)
    swing = float(np.clip(rng.normal(0, truth["extraction"]["beverage_sd_g"]), -0.95, 0.95))
    beverage = accident.get("beverage_g", round(recipe.beverage_g + swing, 1))
    ey = true_yield(bench, pull, place, beverage)
    tds = ey * dose / beverage
    readings = [round(tds + float(rng.normal(0, 0.02)), 2) for _ in range(3)]
    seconds = invented_time(bench, pull)
    faulty = rng.random() < truth["faults"]["share_of_shots"][pull.method]
    faults = int(faulty) * int(1 + (rng.random() < 0.25))
    entry: dict[str, Any] = {
        "planned_shot": pull.planned_shot,
        "pulled_at": at.isoformat(timespec="seconds"),
        "dose_g": dose,
        "beverage_g": beverage,
        "shot_time_s": seconds,
        "tds_readings": readings,
    }
    if rng.random() > 0.1:  # people forget the first drop now and then
        entry["first_drip_s"] = round(seconds * float(rng.normal(0.27, 0.02)), 1)
    if pull.role in {"study", "reference"}:
        entry["faults"] = faults
    if pull.replaces is not None:
        entry["replaces"] = pull.replaces
    if accident:
        entry |= {"reason": accident["reason"], "note": accident["note"]}
    if accident.get("reason") == "spill":
        del entry["beverage_g"], entry["tds_readings"]
    return entry


def true_yield(bench: Bench, pull: Any, place: int, beverage_g: float) -> float:
    """The extraction yield this pull would truly have, in percent."""
    truth = bench.truth["extraction"]
    settings = truth.get("by_whole_plot_setting", {})
    hard = [pull.plan.get(factor.name) for factor in bench.trial.hard_factors]
    return (
        truth["mean_pct"][pull.method]
        + sum(settings.get(level, 0.0) for level in hard)
        + bench.shift("session", pull.session)
        + bench.shift("bag", pull.bag)
        + bench.shift("whole_plot", pull.whole_plot)
        + bench.shift("block", pull.block)
        + truth["drift_a_shot"] * (place - 1)
        + truth["per_gram_of_beverage"] * (beverage_g - bench.trial.recipe.beverage_g)
        + float(bench.rng.normal(0, truth["shot_sd"][pull.method]))
    )


def invented_time(bench: Bench, pull: Any) -> float:
    """Shot time in seconds: longer or shorter by the settings of the method."""
    truth = bench.truth["shot_time"]
    method = next(entry for entry in bench.trial.methods if entry.name == pull.method)
    extra = sum(truth["by_setting_s"].get(level, 0.0) for level in method.settings.values())
    return round(float(bench.rng.normal(truth["mean_s"] + extra, truth["sd_s"])), 1)


def main() -> None:
    """Make all sample sessions."""
    for name in NAMES:
        make_sample(HERE / name)
        shots = read_shots(HERE / name)
        print(f"{name}: {len(shots)} pulls, {(shots['role'] == 'study').sum()} of them study shots")


if __name__ == "__main__":
    main()
