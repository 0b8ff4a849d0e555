"""What was planned beside what was done: the methods compared, the plan, the deviations."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from kit import codebook
from kit.findings.wording import outcome_label, smallest_difference_words
from kit.report import Table, table_of
from kit.results.compute import Results
from kit.trial import Trial


def methods_compared(results: Results) -> Table:
    """Every method with its recipe, so that somebody else can prepare a puck the same way."""
    trial = results.trial
    easy = [factor.name for factor in trial.easy_factors]
    rows = tuple(
        (
            f"{method.name} (control)" if method.control else method.name,
            *(method.settings[name] for name in easy),
            method.recipe,
        )
        for method in trial.methods
    )
    return Table("The methods compared", ("Method", *easy, "How it was prepared"), rows)


def planned_and_done(results: Results, sealed: bool) -> Table:
    """The plan as it stood before the first shot, against what was done."""
    trial, shots = results.trial, results.shots
    study = shots[shots["role"] == "study"]
    kept = study[study["status"] == "kept"]
    counts = kept["method"].astype(str).value_counts()
    per_method = ", ".join(f"{name} {counts.get(name, 0)}" for name in trial.method_names)
    rows = (
        ("Coffee", _coffee(trial), ""),
        *_outcome_rows(results),
        ("Design", trial.layout.design, "as planned" if sealed else "not sealed"),
        ("Study shots a method", f"{trial.shots_per_method_planned:g}", per_method),
        ("Noise assumed", _noise(trial), _noise_found(results)),
        ("Sessions", str(trial.layout.sessions), _sessions(shots)),
        (
            "Dose to beverage",
            f"{trial.recipe.dose_g:g} ± {trial.recipe.dose_tolerance_g:g} g to "
            f"{trial.recipe.beverage_g:g} ± {trial.recipe.beverage_tolerance_g:g} g",
            f"{kept['dose_g'].mean():.2f} g to {kept['beverage_g'].mean():.1f} g on average",
        ),
        ("Grind", trial.recipe.grind, ""),
        ("Replaced for", ", ".join(trial.rules.replace_for), _lost_words(study)),
        ("Stopping", trial.rules.stopping, f"{len(kept)} study shots kept"),
        (
            "Looks before the end",
            "none",
            str(results.record.peeks) if results.record.peeks else "none",
        ),
    )
    return Table("The plan as sealed, against what was done", ("Item", "Planned", "Done"), rows)


def deviations_table(deviations: pd.DataFrame) -> Table:
    """Every deviation with its reason; no row where there is none."""
    shown = deviations.drop(columns=["at"], errors="ignore")
    headings = {column.name: column.label or column.name for column in codebook.DEVIATIONS}
    table = table_of(shown, "Deviations from the plan, each with its reason", headings)
    return replace(table, numeric=frozenset())


def _coffee(trial: Trial) -> str:
    roasted = f", roasted {trial.coffee.roast_date}" if trial.coffee.roast_date else ""
    return f"{trial.coffee.name}{roasted}"


def _outcome_rows(results: Results) -> list[tuple[str, str, str]]:
    """Each outcome with the smallest difference that matters, and what it was judged on."""
    rows = []
    found = {result.outcome.name: result for result in results.analysis.results}
    for outcome in results.trial.outcomes:
        smallest = smallest_difference_words(outcome)
        planned = f"{outcome_label(outcome)}; smallest difference that matters: {smallest}"
        result = found.get(outcome.name)
        things = "scores" if outcome.aspect == "score" else "shots"
        done = "not analysed: see Limits" if result is None else f"judged on {result.n} {things}"
        rows.append((f"{outcome.role} outcome".capitalize(), planned, done))
    return rows


def _noise(trial: Trial) -> str:
    return f"shot-to-shot SD {trial.noise.shot_sd:g} ({trial.noise.provenance})"


def _noise_found(results: Results) -> str:
    primary = results.analysis.primary
    sd = None if primary is None else primary.residual_sd
    return "" if sd is None else f"shot-to-shot SD {sd:.2f}"


def _sessions(shots: pd.DataFrame) -> str:
    """How many sessions, and when: the day of the first pull and of the last."""
    pulled = shots["pulled_at"].astype(str)
    days = pulled.str.extract(r"^(\d{4}-\d{2}-\d{2})", expand=False).dropna()
    count = str(shots["session"].nunique())
    return f"{count}, from {days.min()} to {days.max()}" if len(days) else count


def _lost_words(study: pd.DataFrame) -> str:
    lost = study[study["status"] != "kept"]
    if lost.empty:
        return "no shot lost"
    return "; ".join(f"shot {row.shot}: {row.reason}, {row.status}" for row in lost.itertuples())
