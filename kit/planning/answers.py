"""The answer table: one row a question, one column a number of shots, each cell the chance.

And the same in one sentence. This is what a person sees first when they plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from kit.errors import PlanError
from kit.numerals import say_number
from kit.planning import inputs
from kit.planning.assurance import assurance
from kit.planning.comparisons import Comparison
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import has_closed_form
from kit.planning.power import difference_detected, power, two_sided_power
from kit.planning.precision import half_width
from kit.planning.questions import (
    Question,
    comparison_family,
    named_pair,
    not_planned,
    questions_of,
)
from kit.planning.words import say_difference
from kit.trial import Trial

Mark = Literal["yes", "maybe", "no"]

SHOTS = (6, 8, 10, 12, 16, 20, 30, 50)
YES, MAYBE = 0.8, 0.5
"""From 80 % a question counts as answered, below 50 % as not (a design choice)."""
_PLAIN = {"same", "first", "spread", "faults"}
COLUMNS = ("question", "words", "kind", "outcome", "reliability", "shots", "chance", "mark", "own")


@dataclass(frozen=True)
class AnswerTable:
    """Chances to answer each question, tidy: one row a question and number of shots."""

    table: pd.DataFrame
    """Columns ``COLUMNS``; ``own`` marks the person's own number of shots."""
    own_shots: float
    averaged_over_noise: bool
    remarks: tuple[str, ...]
    """Outcomes that are not in the table, and why."""

    def wide(self) -> pd.DataFrame:
        """Chances with questions as rows and numbers of shots as columns."""
        return self.table.pivot_table(
            index="words", columns="shots", values="chance", sort=False, dropna=False
        )

    def own(self) -> pd.DataFrame:
        """The rows for the person's own number of shots."""
        return self.table[self.table["own"]].reset_index(drop=True)


def answer_table(
    trial: Trial, layout: LaidOut | None = None, shots: Sequence[float] = SHOTS
) -> AnswerTable:
    """Chances at the noise assumed in ``trial.noise``.

    Parameters
    ----------
    layout
        The layout of the schedule; may be left out for complete blocks without factors.
    shots
        Numbers of shots a method to show; the trial's own number is added.

    Raises
    ------
    PlanError
        If the layout is needed and missing, or a number cannot be true.
    """
    return _table(trial, layout, shots, lambda question, n: question.chance(n, 1.0), False)


def assured_answer_table(
    trial: Trial, noise_df: float, layout: LaidOut | None = None, shots: Sequence[float] = SHOTS
) -> AnswerTable:
    """Chances averaged over the noise: its SD is known from ``noise_df`` degrees of freedom only.

    All SDs are uncertain by the same factor (see :mod:`kit.planning.assurance`).
    """

    def chance(question: Question, n: float) -> float:
        if question.kind in ("spread", "faults"):
            return question.chance(n, 1.0)
        return assurance(lambda factor: question.chance(n, factor), 1.0, noise_df)

    return _table(trial, layout, shots, chance, True)


def mark_of(chance: float) -> Mark:
    """yes from 80 %, maybe from 50 %, no below."""
    return "yes" if chance >= YES else "maybe" if chance >= MAYBE else "no"


def say_chance(chance: float) -> str:
    """A chance in whole per cent that never claims certainty."""
    percent = round(100 * chance)
    if percent >= 100:
        return "> 99 %"
    return f"{percent} %" if percent > 0 else "< 1 %"


def answer_sentences(trial: Trial, layout: LaidOut | None = None) -> list[str]:
    """What the trial's own number of shots will and will not tell, a sentence each.

    The first is the one to quote: ``With 10 shots of each method …``.
    """
    shots = trial.shots_per_method_planned
    found = answer_table(trial, layout, [shots]).own().set_index("question")
    outcome = trial.primary
    sentences = []
    if outcome.aspect == "mean":
        family = comparison_family(trial, outcome, _checked(trial, layout))
        sentences += [_difference_sentence(trial, comparison, shots) for comparison in family]
    sentences += [_plain_sentence(row) for _, row in found.iterrows() if row["kind"] in _PLAIN]
    return sentences


def intervals_shown(
    trial: Trial, layout: LaidOut | None = None, shots: Sequence[float] = SHOTS
) -> pd.DataFrame:
    """The half-width of the interval that will be shown, and the difference found at 80 %.

    Columns ``comparison, shots, half_width, detected, own`` in the unit of the primary outcome.
    """
    counts = _counts(trial, shots)
    family = comparison_family(trial, trial.primary, _checked(trial, layout))
    rows = [
        {
            "comparison": comparison.words,
            "shots": n,
            "half_width": half_width(comparison, n),
            "detected": difference_detected(comparison, n),
            "own": n == trial.shots_per_method_planned,
        }
        for comparison in [*family, named_pair(trial, layout)]
        for n in counts
        if n >= comparison.fewest_shots
    ]
    return pd.DataFrame(rows)


def power_curve(
    trial: Trial, differences: Sequence[float], layout: LaidOut | None = None
) -> pd.DataFrame:
    """Chance over true difference, for the trial's own number of shots.

    Columns ``comparison, difference, chance``.
    """
    shots = trial.shots_per_method_planned
    family = comparison_family(trial, trial.primary, _checked(trial, layout))
    curves = [
        pd.DataFrame(
            {
                "comparison": comparison.words,
                "difference": list(differences),
                "chance": two_sided_power(differences, comparison.contrast(shots)),
            }
        )
        for comparison in [*family, named_pair(trial, layout)]
    ]
    return pd.concat(curves, ignore_index=True)


def _table(
    trial: Trial,
    layout: LaidOut | None,
    shots: Sequence[float],
    chance_of: Callable[[Question, float], float],
    averaged: bool,
) -> AnswerTable:
    own = trial.shots_per_method_planned
    rows = [
        _cell(question, n, chance_of, own)
        for question in questions_of(trial, _checked(trial, layout))
        for n in _counts(trial, shots)
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return AnswerTable(table, own, averaged, tuple(not_planned(trial)))


def _cell(
    question: Question, n: float, chance_of: Callable[[Question, float], float], own: float
) -> tuple[object, ...]:
    try:
        chance, trust = chance_of(question, n), question.trust(n)
    except PlanError:
        if n == own:
            raise
        chance, trust = 0.0, "rough"  # too few shots for this layout: nothing can be told
    start = question.key, question.words, question.kind, question.outcome.name
    return *start, trust, n, chance, mark_of(chance), n == own


def _counts(trial: Trial, shots: Sequence[float]) -> list[float]:
    own = inputs.shot_count(trial.shots_per_method_planned)
    return sorted({*(inputs.shot_count(n) for n in shots), own})


def _checked(trial: Trial, layout: LaidOut | None) -> LaidOut | None:
    if layout is None and not has_closed_form(trial):
        raise PlanError(
            f"The chances of a layout in {trial.layout.design} depend on the schedule. "
            "Draw the schedule first."
        )
    return layout


def _difference_sentence(trial: Trial, comparison: Comparison, shots: float) -> str:
    outcome = trial.primary
    size = outcome.smallest_difference
    found = difference_detected(comparison, shots)
    seen = say_difference(round(found, 2), outcome.measure)
    where = f" in {comparison.words}" if outcome.family == "factorial" else ""
    start = f"With {_say_shots(shots)} of each method you will see a difference of {seen}{where}"
    if found <= size:
        return f"{start}, less than the {say_difference(size, outcome.measure)} that matter."
    chance = say_chance(power(comparison, size, shots))
    missed = say_difference(size, outcome.measure)
    return f"{start}; you will not reliably see the {missed} that matter (chance {chance})."


def _plain_sentence(row: pd.Series) -> str:
    verdict = {"yes": "Yes", "maybe": "Perhaps", "no": "No"}[row["mark"]]
    return f"{row['words']}: {verdict.lower()}, {say_chance(row['chance'])}."


def _say_shots(shots: float) -> str:
    return f"{say_number(shots, 0 if shots == round(shots) else 1)} shots"
