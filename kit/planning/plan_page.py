"""The plan as one readable page, to publish before the first shot (a pre-registration)."""

from __future__ import annotations

import pandas as pd

from kit.numerals import say_number
from kit.planning.answers import AnswerTable, answer_sentences, answer_table, say_chance
from kit.planning.budget import cost_of
from kit.planning.laid_out import LaidOut
from kit.planning.taste_answers import taste_sentences
from kit.planning.variance import noise_assumed
from kit.planning.words import label_of, say_difference
from kit.trial import Outcome, Trial

_SHOWN = (10, 20, 30)


def plan_page(trial: Trial, schedule: pd.DataFrame, drawn_from: str, seal: str) -> str:
    """The whole plan as Markdown text.

    Parameters
    ----------
    schedule
        As drawn (columns of ``codebook.SCHEDULE``).
    drawn_from
        The set of allowed schedules in words (``Scheme.words()``).
    seal
        Seal and time in words, or why there is none yet.
    """
    layout = LaidOut.of_schedule(schedule, trial)
    sections = [
        _head(trial, seal),
        _section("Question", [trial.question]),
        _section("Methods", _methods(trial)),
        _section("Held still", _recipe(trial)),
        _section("What will be judged", [_outcome(outcome) for outcome in trial.outcomes]),
        _section("Order of the shots", _order(trial, schedule, drawn_from)),
        _section("Noise assumed", [noise_assumed(trial.noise).sentence()]),
        _section("What this many shots can tell", _can_tell(trial, layout)),
        _section("Rules", _rules(trial)),
        _section("Who does not know the method", _blinding(trial)),
        _section("What it takes", _cost(trial)),
    ]
    return "\n\n".join(sections) + "\n"


def answer_rows(table: AnswerTable) -> list[list[str]]:
    """The table as text, header first: chance and mark in each cell."""
    shots = sorted(set(table.table["shots"]))
    header = ["Question", *(_count(float(n), table.own_shots) for n in shots)]
    rows = []
    for words, cells in table.table.groupby("words", sort=False):
        marked = zip(cells["chance"].to_list(), cells["mark"].to_list(), strict=True)
        rows.append([str(words), *(f"{say_chance(chance)} {mark}" for chance, mark in marked)])
    return [header, *rows]


def _head(trial: Trial, seal: str) -> str:
    invented = "\n\n*An invented example: nobody will pull these shots.*" if trial.invented else ""
    return f"# {_plain(trial.title)}: the plan{invented}\n\n{_plain(seal)}"


def _section(title: str, lines: list[str]) -> str:
    bullets = "\n".join(f"- {_plain(line)}" for line in lines if not line.startswith("|"))
    table = "\n".join(line for line in lines if line.startswith("|"))
    return f"## {title}\n\n" + "\n\n".join(part for part in (bullets, table) if part)


def _methods(trial: Trial) -> list[str]:
    lines = []
    for method in trial.methods:
        mark = " (control)" if method.control else ""
        recipe = method.recipe or "no recipe written down"
        lines.append(f"{method.name}{mark}: {recipe}")
    for factor in trial.factors:
        how = "set once a whole plot" if factor.hard_to_change else "changed from shot to shot"
        lines.append(f"Factor {factor.name}: {', '.join(factor.levels)}; {how}")
    return lines


def _recipe(trial: Trial) -> list[str]:
    recipe = trial.recipe
    return [
        f"Coffee: {trial.coffee.name}",
        f"Dose {recipe.dose_g:g} ± {recipe.dose_tolerance_g:g} g, beverage {recipe.beverage_g:g} "
        f"± {recipe.beverage_tolerance_g:g} g, weighed",
        f"Grind {recipe.grind}; {recipe.purge_g:g} g purged before each dose",
        *([recipe.notes] if recipe.notes else []),
    ]


def _outcome(outcome: Outcome) -> str:
    size = {
        "spread": f"an SD {outcome.smallest_difference:g} times another",
        "rate": f"{100 * outcome.smallest_difference:g} percentage points",
    }.get(outcome.aspect, say_difference(outcome.smallest_difference, outcome.measure))
    return (
        f"{label_of(outcome.measure)}, {outcome.aspect} ({outcome.role}): smallest difference that "
        f"matters {size}; judged by {outcome.family}"
    )


def _order(trial: Trial, schedule: pd.DataFrame, drawn_from: str) -> list[str]:
    roles = schedule["role"].value_counts()
    counted = ", ".join(f"{count} {role}" for role, count in roles.items())
    seed = trial.layout.seed
    return [
        f"Design: {trial.layout.design}, {trial.layout.sessions} sessions of "
        f"{trial.layout.blocks_per_session} blocks",
        f"Pulls: {counted}",
        f"The set of schedules it was drawn from: {drawn_from}",
        *([f"Seed of the draw: {seed}"] if seed is not None else []),
    ]


def _can_tell(trial: Trial, layout: LaidOut) -> list[str]:
    rows = answer_rows(answer_table(trial, layout, _SHOWN))
    head, *body = ["| " + " | ".join(_plain(text) for text in row) + " |" for row in rows]
    rule = "|" + " --- |" * len(rows[0])
    return [*answer_sentences(trial, layout), *taste_sentences(trial), head, rule, *body]


def _rules(trial: Trial) -> list[str]:
    rules = trial.rules
    covariate = (
        "Extraction yield is adjusted for beverage mass, centred at its target"
        if rules.mass_covariate
        else "Extraction yield is not adjusted for beverage mass in the primary analysis"
    )
    return [
        f"Stopping: {rules.stopping}",
        f"A shot is replaced only for: {', '.join(rules.replace_for)}",
        f"A flow fault: {rules.fault_definition}",
        covariate,
    ]


def _blinding(trial: Trial) -> list[str]:
    blind = trial.blinding
    who = {
        "the measurer": blind.measurer,
        "the scorer of faults": blind.fault_scorer,
        "the taster": blind.taster,
        "the analyst": blind.analyst,
    }
    blinded = [name for name, does_not_know in who.items() if does_not_know]
    return [f"{', '.join(blinded) or 'nobody'}; the operator always knows"]


def _cost(trial: Trial) -> list[str]:
    cost = cost_of(trial)
    lines = [
        f"{cost.pulls} pulls in {cost.sessions} sessions, the longest {cost.pulls_per_session} "
        f"pulls and {cost.minutes_per_session:.0f} minutes",
        f"{say_number(cost.coffee_g, 0)} g of coffee"
        + (f", {cost.bags} bags" if cost.bags is not None else ""),
    ]
    if cost.cups_per_taster:
        lines.append(f"{cost.cups_per_taster} cups a taster in {cost.sittings_per_taster} sittings")
    return lines


def _count(shots: float, own: float) -> str:
    shown = say_number(shots, 0 if shots == round(shots) else 1)
    return f"**{shown} (planned)**" if shots == own else shown


def _plain(text: str) -> str:
    """One line that Markdown shows as written: no mark-up, no HTML from a trial's text."""
    line = " ".join(str(text).split())
    for sign in "\\`_|[]#":
        line = line.replace(sign, f"\\{sign}")
    return line.replace("<", "&lt;").replace(">", "&gt;")
