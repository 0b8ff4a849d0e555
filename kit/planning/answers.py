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
from kit.planning.assurance import assurance, detected_on_average
from kit.planning.comparisons import Comparison
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import has_closed_form
from kit.planning.power import contrast_detected, difference_detected, two_sided_power
from kit.planning.precision import half_width
from kit.planning.questions import (
    Question,
    comparison_family,
    effects_judged_together,
    named_pair,
    not_planned,
    outcome_of_means,
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
    noise_df: float | None
    """Degrees of freedom of the shot SD over which chances are averaged; None: it is a guess."""
    remarks: tuple[str, ...]
    """What is judged together, and which outcomes are not in the table and why."""
    questions: tuple[Question, ...]

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
    """Chances at the noise of ``trial.noise``.

    A guess is taken as it stands. Where the degrees of freedom of the SD are on record, chances
    are averaged over what is not known about it (:func:`assured_answer_table`).

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
    if trial.noise.shot_sd_df is not None:
        return assured_answer_table(trial, trial.noise.shot_sd_df, layout, shots)
    return _table(trial, layout, shots, lambda question, n: question.chance(n, 1.0), None)


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

    return _table(trial, layout, shots, chance, noise_df)


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
    return sentences_of(answer_table(trial, layout, [trial.shots_per_method_planned]))


def sentences_of(answers: AnswerTable) -> list[str]:
    """The same from a table that is computed already."""
    own = answers.own()
    chances = dict(zip(own["question"], own["chance"].astype(float), strict=True))
    sentences = []
    for question in answers.questions:
        chance = chances[question.key]
        if question.headline:
            sentences.append(_difference_sentence(question, answers, chance))
        elif question.kind in _PLAIN:
            sentences.append(plain_sentence(question.words, chance))
    return sentences


def intervals_shown(
    trial: Trial, layout: LaidOut | None = None, shots: Sequence[float] = SHOTS
) -> pd.DataFrame:
    """The half-width of the interval that will be shown, and the difference found at 80 %.

    Columns ``comparison, shots, half_width, detected, own`` in the unit of the primary outcome.
    """
    counts = _counts(trial, shots)
    family = _family_of_means(trial, layout)
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
    family = _family_of_means(trial, layout)
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
    noise_df: float | None,
) -> AnswerTable:
    own = trial.shots_per_method_planned
    questions = tuple(questions_of(trial, _checked(trial, layout)))
    rows = [
        _cell(question, n, chance_of, own) for question in questions for n in _counts(trial, shots)
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    remarks = (*_judged_together(trial), *not_planned(trial))
    return AnswerTable(table, own, noise_df, remarks, questions)


def _judged_together(trial: Trial) -> list[str]:
    if not any(outcome.family == "factorial" for outcome in trial.outcomes):
        return []
    return [
        f"The {effects_judged_together(trial)} effects are judged together (Bonferroni), as in the "
        "analysis: each takes its share of the 5 % false alarms."
    ]


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


def _family_of_means(trial: Trial, layout: LaidOut | None) -> list[Comparison]:
    outcome = outcome_of_means(trial) or trial.primary
    return comparison_family(trial, outcome, _checked(trial, layout))


def _checked(trial: Trial, layout: LaidOut | None) -> LaidOut | None:
    if layout is None and not has_closed_form(trial):
        raise PlanError(
            f"The chances of a layout in {trial.layout.design} depend on the schedule. "
            "Draw the schedule first."
        )
    return layout


def _difference_sentence(question: Question, answers: AnswerTable, chance: float) -> str:
    outcome, comparison = question.outcome, question.compared
    size = outcome.smallest_difference
    contrast = comparison.contrast(answers.own_shots)
    df = answers.noise_df
    found = contrast_detected(contrast) if df is None else detected_on_average(contrast, df)
    seen = say_difference(round(found, 2), outcome.measure)
    where = f" in {comparison.words}" if outcome.family == "factorial" else ""
    shots = _say_shots(answers.own_shots)
    start = f"With {shots} of each method you will see a difference of {seen}{where}"
    if chance >= YES:
        return f"{start}, less than the {say_difference(size, outcome.measure)} that matter."
    missed = say_difference(size, outcome.measure)
    return (
        f"{start}; you will not reliably see the {missed} that matter (chance "
        f"{say_chance(chance)})."
    )


def plain_sentence(words: str, chance: float) -> str:
    """A question and whether it will be answered."""
    verdict = {"yes": "yes", "maybe": "perhaps", "no": "no"}[mark_of(chance)]
    return f"{words}: {verdict}, {say_chance(chance)}."


def _say_shots(shots: float) -> str:
    return f"{say_number(shots, 0 if shots == round(shots) else 1)} shots"
