"""How often does the claim sheet support a false sentence? The sample scenarios and their nulls.

    python -m tests.benchmarks.claims [--quick] [--json] [--scenario NAME ...]

Trials are invented from the plan and the truth of each sample session, and from the same truth
without any difference (every method has the mean, SD, fault rate and shot time of the first); and
from four naps with two methods alone that do not differ, where a tie is easiest to call. The
schedule is drawn anew for each trial, noise and readings are those of the sample sessions, and
two study shots are lost without a spare, so that no layout stays perfect. Each trial goes through
the planned analysis and its claim sheet, as a real one does; the checks beside it, which carry no
claim, are left out.

A sheet is wrong when it supports a sentence that is false or contradicts one that is true. "Has
the highest" is false of methods that tie, which is also all that contradicting it says (not ahead
of all others); "there is no difference" is contradicted falsely of exact ties, and supported
falsely when the true difference is the smallest one that matters, or more (that is what the
wording claims). The sheet promises at most 5 % in each of an outcome's two families: the
comparisons, and the set that may be best. True means of taste scores, which are rounded to the
scale, are averages of 4,000 invented cups.

What the last runs printed (seed 7) is written down in ``claims_output.txt`` beside this file.
"""

from __future__ import annotations

import argparse
import copy
import json
import tomllib
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd
from joblib import Parallel, delayed

from kit.analysis.result import OutcomeResult
from kit.analysis.trial_analysis import analyse_outcomes
from kit.findings.claims import CONTRADICTED, SUPPORTED, Claim, claim_sheet
from kit.schedule import draw_schedule
from kit.schedule.tasting import discrimination_sets, tasting_orders
from kit.shipped import sample_session
from kit.shotlog import fold, shots_table, tastings_table
from kit.shotlog.run_order import Pull
from kit.trial import Outcome, Trial, read_trial
from sample_sessions.make_samples import MINUTES_A_SHOT, NAMES, Bench, invented_shot
from sample_sessions.tastings import cup_scores, invented_tastings, shot_yield

SEED = 7
LOST = 2
READING_SD, READINGS = 0.02, 3
FAMILIES = ("comparisons", "best")
CUPS = 4_000


@dataclass(frozen=True)
class Scenario:
    """A plan and what is true in it."""

    name: str
    trial: Trial
    truth: dict[str, Any]
    scores: dict[tuple[str, str], float]
    """True mean taste score by attribute and method."""


def scenarios() -> list[Scenario]:
    """The sample sessions, each followed by its version without a difference."""
    found = []
    for name in NAMES:
        folder = sample_session(name)
        truth = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))
        truth["accidents"] = []
        trial = read_trial(folder)
        alike = all_alike(truth)
        found += [
            Scenario(name, trial, truth, mean_scores(truth)),
            Scenario(f"{name}, no difference", trial, alike, mean_scores(alike)),
        ]
    naps = found[1]
    two = naps.trial.model_copy(update={"methods": naps.trial.methods[:2]})
    return [*found, Scenario("four_naps, two alike", two, naps.truth, {})]


def all_alike(truth: dict[str, Any]) -> dict[str, Any]:
    """The same truth with every method like the first."""
    alike = copy.deepcopy(truth)
    tables = [alike["extraction"]["mean_pct"], alike["extraction"]["shot_sd"],
              alike["faults"]["share_of_shots"]]  # fmt: skip
    for table in tables:
        table.update(dict.fromkeys(table, next(iter(table.values()))))
    for settings in (
        alike["extraction"].get("by_whole_plot_setting", {}),
        alike["shot_time"]["by_setting_s"],
    ):
        settings.update(dict.fromkeys(settings, 0.0))
    return alike


# -- what is true -------------------------------------------------------------------------------


def true_value(scenario: Scenario, outcome: Outcome, label: str) -> float:
    """Mean, SD or fault rate of a method, or of a level ``"disc: one"`` of a factor."""
    cells = [
        (method.name, levels)
        for method in scenario.trial.methods
        for levels in _hard_levels(scenario.trial)
        if label in _labels(method.name, {**method.settings, **levels})
    ]
    return float(np.mean([_of_cell(scenario, outcome, *cell) for cell in cells]))


def _hard_levels(trial: Trial) -> list[dict[str, str]]:
    hard = trial.hard_factors
    return [{hard[0].name: level} for level in hard[0].levels] if hard else [{}]


def _labels(method: str, settings: dict[str, str]) -> set[str]:
    return {method, *(f"{name}: {level}" for name, level in settings.items())}


def _of_cell(scenario: Scenario, outcome: Outcome, method: str, levels: dict[str, str]) -> float:
    truth = scenario.truth
    bench = truth["extraction"]
    if outcome.aspect == "rate":
        return float(truth["faults"]["share_of_shots"][method])
    if outcome.aspect == "score":
        return scenario.scores[outcome.measure, method]
    if outcome.aspect == "spread":
        reading = READING_SD / READINGS**0.5 * scenario.trial.recipe.beverage_g
        reading /= scenario.trial.recipe.dose_g
        mass = bench["per_gram_of_beverage"] * bench["beverage_sd_g"]
        return float(np.sqrt(bench["shot_sd"][method] ** 2 + mass**2 + reading**2))
    if outcome.measure == "shot_time_s":
        own = next(m for m in scenario.trial.methods if m.name == method)
        by_setting = truth["shot_time"]["by_setting_s"]
        return float(sum(by_setting.get(level, 0.0) for level in own.settings.values()))
    by_plot = bench.get("by_whole_plot_setting", {})
    return float(bench["mean_pct"][method] + sum(by_plot.get(v, 0.0) for v in levels.values()))


def mean_scores(truth: dict[str, Any]) -> dict[tuple[str, str], float]:
    """True mean of each attribute for each method; methods alike in the cup have the same."""
    if "tasting" not in truth:
        return {}
    tasting, bench = truth["tasting"], truth["extraction"]
    luck = np.hypot(tasting["taster_sd"], tasting["taster_method_sd"])
    means: dict[tuple[str, str], float] = {}
    for method in bench["mean_pct"]:
        rng = np.random.default_rng(0)  # the same luck for every method, so that ties stay ties
        cups = pd.DataFrame(
            [
                cup_scores(
                    truth,
                    shot_yield(truth, method, rng),
                    float(rng.normal(0, luck)),
                    1 + cup % len(truth["extraction"]["mean_pct"]),
                    rng,
                )
                for cup in range(CUPS)
            ]
        )
        means |= {(str(name), method): float(mean) for name, mean in cups.mean().items()}
    return means


# -- one trial ----------------------------------------------------------------------------------


def invented_trial(
    scenario: Scenario, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Shots and tastings of one trial of the scenario."""
    trial, truth = scenario.trial, scenario.truth
    seed = int(rng.integers(2**62))
    schedule = draw_schedule(trial, seed)
    bench = Bench(trial, truth, rng)
    rows = schedule[schedule["role"] != "spare"].astype(object)
    rows = rows.where(rows.notna() & (rows != ""), None)
    places: dict[str, int] = {}
    for row in rows.to_dict("records"):
        session = row["session"]
        places[session] = places.get(session, 0) + 1
        at = truth["first_session"] + timedelta(
            days=len(places) - 1, minutes=MINUTES_A_SHOT * places[session]
        )
        fields = ("planned_shot", "session", "role", "method", "code", "block", "bag", "whole_plot")
        pull = Pull(**{name: row.get(name) for name in fields}, plan=row)
        bench.record("shot", invented_shot(bench, pull, places[session], at, {}), at)
    shots = shots_table(fold(bench.events), schedule)
    if "tasting" in truth:
        drawn = tasting_orders(trial, seed), discrimination_sets(trial, seed)
        later = truth["first_session"] + timedelta(days=1 + trial.layout.sessions)
        for at, tasting in invented_tastings(trial, truth, drawn, later, rng):
            bench.record("tasting", tasting, at)
    tastings = tastings_table(fold(bench.events), schedule)
    study = np.flatnonzero(shots["role"] == "study")
    shots.loc[rng.choice(study, LOST, replace=False), "status"] = "lost"
    return shots, tastings


def judged(scenario: Scenario, seed: tuple[int, int, int]) -> dict[tuple[str, str], list[bool]]:
    """By outcome and family: whether anything was said falsely, and whether anything was said."""
    shots, tastings = invented_trial(scenario, np.random.default_rng(seed))
    analysis = analyse_outcomes(scenario.trial, shots, tastings)
    found: dict[tuple[str, str], list[bool]] = {}
    for result in analysis.results:
        for family, spoken in sheet_with_truth(scenario, result).items():
            if not spoken:
                continue
            found[result.outcome.name, family] = [
                any(
                    (claim.standing == SUPPORTED and not true)
                    or (claim.standing == CONTRADICTED and true)
                    for claim, true in spoken
                ),
                any(claim.standing == SUPPORTED for claim, _ in spoken),
            ]
    return found


def sheet_with_truth(
    scenario: Scenario, result: OutcomeResult
) -> dict[str, list[tuple[Claim, bool]]]:
    """The claims of both families, each with whether its sentence is true in the scenario."""
    sheet = claim_sheet(result, lambda _: "")
    first = len(result.groups) if result.may_be_best is not None else 0
    return {
        "comparisons": _pairs_with_truth(scenario, result, sheet[first:]),
        "best": _best_with_truth(scenario, result, sheet[:first]),
    }


def _best_with_truth(
    scenario: Scenario, result: OutcomeResult, claims: list[Claim]
) -> list[tuple[Claim, bool]]:
    if not claims:
        return []
    names = [str(name) for name in result.groups["method"]]
    values = [_cell_value(scenario, result.outcome, name) for name in names]
    top = max(values) if result.outcome.higher_is_better else min(values)
    tied = sum(abs(value - top) < 1e-9 for value in values) > 1
    truths = [abs(value - top) < 1e-9 and not tied for value in values]
    return list(zip(claims, truths, strict=True))


def _pairs_with_truth(
    scenario: Scenario, result: OutcomeResult, claims: list[Claim]
) -> list[tuple[Claim, bool]]:
    outcome = result.outcome
    told: list[tuple[Claim, bool]] = []
    rows = result.difference_rows()
    for row, at in zip(rows, range(0, len(claims), 3), strict=True):
        more, less, same = claims[at : at + 3]
        named = (row["a"], row["b"]) if row["b"] else row["a"].split(" with ")
        if not all(name in more.claim for name in named):
            raise RuntimeError("The claim sheet no longer goes pair by pair; teach this benchmark.")
        gap = true_gap(scenario, outcome, row)
        # Contradicting "no difference" is false of a tie; supporting it, of a gap that matters.
        none = abs(gap) < 1e-9
        small = _size(outcome, gap) < outcome.smallest_difference - 1e-9
        told += [
            (more, gap > 1e-9),
            (less, gap < -1e-9),
            (same, small if same.standing == SUPPORTED else none),
        ]
    return told


def true_gap(scenario: Scenario, outcome: Outcome, row: dict[str, Any]) -> float:
    """What a comparison would show without noise: a difference, for spread the log of a ratio."""
    if not row["b"]:
        return _true_interaction(scenario, outcome, *row["a"].split(" with "))
    left, right = (true_value(scenario, outcome, row[side]) for side in ("a", "b"))
    return float(np.log(left / right)) if outcome.aspect == "spread" else left - right


def _true_interaction(scenario: Scenario, outcome: Outcome, one: str, other: str) -> float:
    """The effect of one factor at the second level of the other, less that at its first."""
    levels = {factor.name: factor.levels for factor in scenario.trial.factors}
    total: dict[tuple[int, int], list[float]] = {}
    for method in scenario.trial.methods:
        for hard in _hard_levels(scenario.trial):
            settings = {**method.settings, **hard}
            at = tuple(levels[name].index(settings[name]) for name in (one, other))
            total.setdefault((at[0], at[1]), []).append(
                _of_cell(scenario, outcome, method.name, hard)
            )
    cell = {at: float(np.mean(values)) for at, values in total.items()}
    return cell[1, 1] - cell[0, 1] - cell[1, 0] + cell[0, 0]


def _cell_value(scenario: Scenario, outcome: Outcome, name: str) -> float:
    """A method, or a cell ``"one, 8 s"`` of a factorial."""
    settings = {", ".join(m.settings.values()): m.name for m in scenario.trial.methods}
    return true_value(scenario, outcome, settings.get(name, name))


def _size(outcome: Outcome, gap: float) -> float:
    return float(np.exp(abs(gap))) if outcome.aspect == "spread" else abs(gap)


# -- many trials --------------------------------------------------------------------------------


def table_of(scenario: Scenario, number: int, trials: int) -> pd.DataFrame:
    """One row an outcome and family: shares in per cent, with their Monte Carlo error."""
    told = Parallel(n_jobs=-1)(
        delayed(judged)(scenario, (SEED, number, trial)) for trial in range(trials)
    )
    rows = []
    for outcome in scenario.trial.outcomes:
        for family in FAMILIES:
            seen = [one[outcome.name, family] for one in told if (outcome.name, family) in one]
            if not seen:  # no direction was declared, or a factorial: nobody is best
                continue
            false, said = np.sum(seen, axis=0) / trials
            error = np.sqrt(max(false, 1 / trials) * (1 - false) / trials)
            rows.append(
                {
                    "scenario": scenario.name,
                    "outcome": outcome.name,
                    "family": family,
                    "false": round(100 * false, 2),
                    "error": round(100 * error, 2),
                    "something supported": round(100 * said, 1),
                }
            )
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table, or all as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="20 trials of each scenario")
    parser.add_argument("--trials", type=int, default=1000, help="trials of each scenario")
    parser.add_argument("--json", action="store_true")
    known = scenarios()
    names = [scenario.name for scenario in known]
    parser.add_argument("--scenario", nargs="+", choices=names, default=names, metavar="NAME")
    options = parser.parse_args()
    trials = 20 if options.quick else options.trials
    tables = []
    for number, scenario in enumerate(known):
        if scenario.name not in options.scenario:
            continue
        tables.append(table_of(scenario, number, trials))
        if not options.json:
            print(tables[-1].to_string(index=False), flush=True)
    table = pd.concat(tables, ignore_index=True)
    if options.json:
        print(json.dumps({"trials": trials, "seed": SEED, "rows": table.to_dict("records")}))
        return
    print(f"{trials} trials of each scenario, seed {SEED}; shares of trials in %.")
    print("false: at least one false statement in the family; error: one Monte Carlo SE.")
    over = table[table["false"] - 3 * table["error"] > 5]
    print("Over the 5 % promised by more than three errors:", len(over) or "none")


if __name__ == "__main__":
    main()
