"""Planning: promised against simulated power, known figures, and how fast it answers.

    python -m tests.benchmarks.planning [--quick] [--json]

1. Figures known beforehand (five methods, complete blocks; computed apart from this code): as
   known, as found here, and which is right where they differ.
2. Power promised from the layout against power simulated from the same layout (REML with
   Kenward-Roger, all pairs by Tukey and so on), at the differences promised 50 % and 80 %.
3. Spread and faults promised against the tests of the analysis.
4. Differences of taste scores promised against the analysis of virtual tastings.
5. Seconds for one answer table, first call and later ones.
6. Virtual trials a second against the loop a user would write with statsmodels, on the very same
   trials.
"""

from __future__ import annotations

import sys
import time
import warnings
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from kit.planning.answers import answer_table
from kit.planning.chunks import Run, stream
from kit.planning.fault_power import within_blocks_power
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import complete_rows, expected_spread_df, study_rows
from kit.planning.power import difference_detected
from kit.planning.questions import questions_of
from kit.planning.simulated_power import chance_found, false_alarms
from kit.planning.simulation import simulate
from kit.planning.slow_findings import faults_found, spread_found
from kit.planning.truth import Truth
from kit.planning.virtual import draw_shots, virtual_plan
from kit.schedule import draw_schedule
from kit.shipped import sample_session
from kit.trial import read_trial
from tests.benchmarks.known_figures import known_figures
from tests.benchmarks.planned_designs import Case, cases
from tests.benchmarks.reporting import arguments, emit, machine, timed
from tests.benchmarks.virtual_tastings import taste_gaps
from tests.planning.trials import default_trial, make_trial

SEED = 20_260_411


def main() -> None:
    """Run and print."""
    options = arguments(__doc__ or "")
    trials = 2_000 if options.quick else 20_000
    slow = 40 if options.quick else 400
    result = {
        "machine": machine(),
        "seed": SEED,
        "answer_table": answer_times(),
        "known_figures": known_figures(),
        "promised_against_simulated": [
            row for case in cases() for row in compare(case, trials, SEED)
        ],
        "spread_and_faults": spread_and_faults(slow),
        "taste": taste_gaps(10 if options.quick else 120, SEED),
        "speed": speed(20 if options.quick else 100),
    }
    emit(result, _lines(result), options.json)


def compare(case: Case, trials: int, seed: int) -> list[dict[str, Any]]:
    """Promised and simulated power of every comparison of one layout."""
    truth = Truth.level(case.trial).losing(case.lost)
    simulation = simulate(case.plan, truth, Run(trials, seed))
    rows = []
    for number, comparison in enumerate(case.promised):
        alarms = false_alarms(simulation, number)
        for goal in (0.5, 0.8):
            difference = difference_detected(comparison, case.shots, goal)
            found = chance_found(simulation, difference, number)
            rows.append(
                {
                    "layout": case.name,
                    "comparison": comparison.words,
                    "df": comparison.contrast(case.shots).df,
                    "promised": goal,
                    "simulated": found.chance,
                    "mc_error": found.mc_error,
                    "gap": goal - found.chance,
                    "false_alarms": alarms.chance,
                    "false_alarms_mc_error": alarms.mc_error,
                    "not_converged": simulation.not_converged,
                }
            )
    return rows


def spread_and_faults(trials: int) -> list[dict[str, Any]]:
    """One method of five twice as uneven, or faulty in 50 % of shots: promised and simulated."""
    trial = default_trial()
    plan = virtual_plan(complete_rows(trial), trial)
    level = Truth.level(trial)
    promised = {q.key: q.chance(10, 1.0) for q in questions_of(trial, None)}
    uneven = spread_found(plan, level.one_uneven("m2", 2.0), Run(trials, SEED)).set_index(
        ["a", "b"]
    )
    even = spread_found(plan, level, Run(trials, SEED + 1)).set_index(["a", "b"])
    two = make_trial(2, sessions=2, blocks_per_session=10)
    faulty = faults_found(
        virtual_plan(complete_rows(two), two),
        Truth.level(two).one_faulty("m2", 0.5),
        Run(trials, SEED),
    ).set_index(["a", "b"])
    share = expected_spread_df(complete_rows(trial), trial, trial.noise)
    pair = uneven.loc[("m1", "m2")]
    return [
        {
            "question": f"SD × 2, one pair of ten ({share:.1f} df an SD)",
            "promised": promised["ey_pct spread pair"],
            "simulated": float(pair["found"]),
            "mc_error": float(pair["mc_error"]),
        },
        _any("SD × 2, the odd one stands out", promised["ey_pct spread odd one"], uneven),
        _any("all SDs alike, any pair called uneven", 0.05, even),
        _any(
            "faults 10 % v 50 %, two methods, 20 blocks", within_blocks_power(0.5, 0.1, 20), faulty
        ),
    ]


def answer_times() -> dict[str, float]:
    """Seconds of one answer table: first call in this process, then the best of ten."""
    closed = partial(answer_table, default_trial())
    first, _, _ = timed(closed)
    times = {"first call, default trial": first, "default trial": _best(closed)}
    for name in ("four_naps", "disc_and_soak", "seven_rivers"):
        trial = read_trial(sample_session(name))
        rows = study_rows(draw_schedule(trial, 1), trial)
        times[f"{name}, its own layout"] = _best(
            lambda trial=trial, rows=rows: answer_table(trial, LaidOut(rows, trial, trial.noise))
        )
    return times


def speed(fits: int) -> dict[str, float]:
    """Whole virtual trials a second, and the statsmodels loop on the first of the same trials."""
    trial = make_trial(5, sessions=3, blocks_per_session=4)
    plan, truth = virtual_plan(complete_rows(trial), trial), Truth.level(trial).losing(0.1)
    many = 10_000
    ours = min(timed(lambda: simulate(plan, truth, Run(many, SEED)))[0] for _ in range(3))
    two = timed(lambda: simulate(plan, truth, Run(4 * many, SEED, jobs=2)))[0] / 4
    theirs, failed = _statsmodels_loop(plan, truth, fits)
    return {
        "trials_per_second": many / ours,
        "trials_per_second_two_processes": many / two,
        "statsmodels_trials_per_second": fits / theirs,
        "statsmodels_failed_share": failed / fits,
        "ratio": (many / ours) / (fits / theirs),
    }


def _statsmodels_loop(plan: Any, truth: Truth, fits: int) -> tuple[float, int]:
    """Fit the same trials as chunk 0 of :func:`simulate`, the way a user would: one by one."""
    import statsmodels.formula.api as smf

    rng = stream(SEED, 0)
    y, kept = draw_shots(plan, truth, rng, 500)
    failed = 0
    start = time.perf_counter()
    for trial in range(fits):
        rows = plan.rows.loc[kept[:, trial]].assign(value=y[kept[:, trial], trial])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                model = smf.mixedlm(
                    "value ~ method", rows, groups="session", vc_formula={"block": "0 + C(block)"}
                )
                failed += not model.fit(reml=True).converged
            except (np.linalg.LinAlgError, ValueError):
                failed += 1
    return time.perf_counter() - start, failed


def _any(question: str, promised: float, found: pd.DataFrame) -> dict[str, Any]:
    row = found.loc[("any", "any")]
    return {
        "question": question,
        "promised": promised,
        "simulated": float(row["found"]),
        "mc_error": float(row["mc_error"]),
    }


def _best(action: Any) -> float:
    return min(timed(action)[0] for _ in range(10))


def _lines(result: dict[str, Any]) -> list[str]:
    where = result["machine"]
    lines = [
        f"{where['cores']} cores, load {where['load_at_start']}, Python {where['python']}, numpy "
        f"{where['numpy']}; seed {result['seed']}",
        "",
        "Seconds for one answer table",
        *(f"  {name}: {seconds:.3f}" for name, seconds in result["answer_table"].items()),
        "",
        "Figures known beforehand (five methods, complete blocks)",
    ]
    for row in result["known_figures"]:
        mark = "" if row["agree"] else f"   <- {row['why']}"
        lines.append(f"  {row['figure']:<40} known {row['known']:<6g} here {row['here']:.4g}{mark}")
    lines += ["", "Promised against simulated power (points; false alarms in %)"]
    for row in result["promised_against_simulated"]:
        lines.append(
            f"  {row['layout']:<34} {row['comparison']:<46} df {row['df']:6.1f}  "
            f"{100 * row['promised']:.0f} → {100 * row['simulated']:5.1f} ± "
            f"{100 * row['mc_error']:.1f}  gap {100 * row['gap']:+5.1f}   alarms "
            f"{100 * row['false_alarms']:.1f} ± {100 * row['false_alarms_mc_error']:.1f}"
        )
    return [*lines, *_closing_lines(result)]


def _closing_lines(result: dict[str, Any]) -> list[str]:
    lines = []
    worst = max(result["promised_against_simulated"], key=lambda row: abs(row["gap"]))
    lines.append(
        f"  largest gap {100 * worst['gap']:+.1f} points: {worst['layout']}, {worst['comparison']}"
    )
    lines += ["", "Spread (five methods, ten shots) and faults, by the tests of the analysis"]
    for row in result["spread_and_faults"]:
        lines.append(
            f"  {row['question']:<48} promised {100 * row['promised']:.1f}  simulated "
            f"{100 * row['simulated']:.1f} ± {100 * row['mc_error']:.1f}"
        )
    lines += ["", "Taste scores: a method ahead by what is promised 80 %, by the analysis"]
    for row in result["taste"]:
        lines.append(
            f"  {row['panel']:<48} df {row['df']:5.1f}  80 → {100 * row['simulated']:.1f} ± "
            f"{100 * row['mc_error']:.1f}   alarms {100 * row['false_alarms']:.1f} ± "
            f"{100 * row['false_alarms_mc_error']:.1f}"
        )
    fast = result["speed"]
    lines += [
        "",
        "Virtual trials, 5 × 12, 10 % lost, draw + REML + Kenward-Roger of all pairs",
        f"  {fast['trials_per_second']:,.0f} a second (two processes "
        f"{fast['trials_per_second_two_processes']:,.0f}); statsmodels loop, fit alone: "
        f"{fast['statsmodels_trials_per_second']:.1f} a second, "
        f"{100 * fast['statsmodels_failed_share']:.0f} % not converged; ratio "
        f"{fast['ratio']:,.0f}",
    ]
    return lines


if __name__ == "__main__":
    sys.exit(main())
