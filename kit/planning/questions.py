"""The questions of a trial: what each asks for, and the chance to answer it with n shots a method.

A question is a sentence and a function of the number of shots. The outcomes of the trial decide
which questions are asked; the layout decides how well each can be answered.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from kit import codebook
from kit.numerals import say_number
from kit.planning import comparisons as closed
from kit.planning import laid_out
from kit.planning.comparisons import Comparison, Contrast
from kit.planning.consistency_power import odd_one_power_on, ratio_power
from kit.planning.equivalence_power import chance_inside, exact_tost_power
from kit.planning.fault_power import MOST_FAULT_SHOTS, fisher_power
from kit.planning.layouts import (
    Reliability,
    complete_rows,
    expected_spread_df,
    reliability,
    rescaled,
)
from kit.planning.power import two_sided_power
from kit.planning.selection import chance_best_stands_alone, chance_first_at, one_leads
from kit.trial import Outcome, Trial

Kind = Literal["difference", "same", "first", "alone", "spread", "faults"]
Chance = Callable[[float, float], float]
"""chance(shots a method, factor on all SDs)."""

BASE_FAULT_RATE = 0.10
"""Share of faulty shots of the cleaner method (a guess without a source)."""
SPREAD_BASE_SHOTS = 12
"""Shots a method at which the degrees of freedom of an SD are computed; they grow in step."""


@dataclass(frozen=True)
class Question:
    """One thing the trial might tell."""

    key: str
    """Outcome and kind, unique in a trial: ``ey_pct mean difference``."""
    kind: Kind
    outcome: Outcome
    words: str
    reliability: Reliability
    chance: Chance
    comparison: Comparison | None = None
    """For differences: what gives the detectable difference and the interval."""


def questions_of(trial: Trial, layout: laid_out.LaidOut | None) -> list[Question]:
    """The questions of a trial, those of its primary outcome first.

    ``layout`` may be None for complete blocks without factors, which have a closed form. Means
    are planned for the primary measure only, the one whose noise the trial states.
    """
    ordered = sorted(trial.outcomes, key=lambda outcome: outcome.role != "primary")
    asked: list[Question] = []
    for outcome in ordered:
        if outcome.aspect == "mean" and outcome.measure == trial.primary.measure:
            asked += _about_means(trial, outcome, layout)
        elif outcome.aspect == "spread" and outcome.measure == trial.primary.measure:
            asked += _about_spread(trial, outcome, layout)
        elif outcome.aspect == "rate":
            asked.append(_about_faults(outcome))
    return asked


def not_planned(trial: Trial) -> list[str]:
    """The outcomes no question is asked about, each with the reason."""
    reasons = []
    for outcome in trial.outcomes:
        if outcome.aspect == "score":
            reasons.append(
                f"{label_of(outcome.measure)}: taste scores depend on the tasters, not only on "
                "the shots; simulate the trial to plan them."
            )
        elif outcome.aspect in ("mean", "spread") and outcome.measure != trial.primary.measure:
            reasons.append(
                f"{label_of(outcome.measure)}: its noise is not stated, so nothing is promised."
            )
    return reasons


def label_of(measure: str) -> str:
    """The name of a measure for people."""
    try:
        return codebook.column(measure).label
    except KeyError:
        return measure[:1].upper() + measure[1:]


def unit_of(measure: str) -> str:
    """The unit of a difference; percentages differ by points."""
    try:
        unit = codebook.column(measure).unit
    except KeyError:
        return "points"
    return "points" if unit == "%" else unit


def say_difference(size: float, measure: str) -> str:
    """``0.5 points``: as many digits as it takes, two at most."""
    decimals = 1 if abs(size * 10 - round(size * 10)) < 1e-9 else 2
    return f"{say_number(size, decimals)} {unit_of(measure)}".strip()


def comparison_family(
    trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None
) -> list[Comparison]:
    """The comparisons an outcome is judged by, in its own family."""
    if layout is None:
        return [_closed_comparison(trial, outcome)]
    if outcome.family == "factorial":
        return _effects(trial, layout)
    if outcome.family == "against control":
        return [laid_out.LaidOutControl(layout)]
    return [laid_out.LaidOutAllPairs(layout)]


def named_pair(trial: Trial, layout: laid_out.LaidOut | None) -> Comparison:
    """One pair named in advance, in this trial."""
    if layout is None:
        return closed.NamedPair(len(trial.methods), trial.noise.shot_sd)
    return laid_out.LaidOutPair(layout)


def _closed_comparison(trial: Trial, outcome: Outcome) -> Comparison:
    methods, sd = len(trial.methods), trial.noise.shot_sd
    if outcome.family == "against control":
        return closed.AgainstControl(methods, sd, trial.layout.control_shots_per_block)
    return closed.AllPairs(methods, sd)


def _effects(trial: Trial, layout: laid_out.LaidOut) -> list[Comparison]:
    names = [factor.name for factor in trial.factors]
    effects: list[Comparison] = [laid_out.LaidOutMainEffect(layout, name) for name in names]
    return effects + [
        laid_out.LaidOutInteraction(layout, a, b)
        for i, a in enumerate(names)
        for b in names[i + 1 :]
    ]


def _about_means(trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None) -> list[Question]:
    size = outcome.smallest_difference
    said = say_difference(size, outcome.measure)
    trust = reliability(trial)
    asked = [
        Question(
            f"{outcome.name} difference {place}",
            "difference",
            outcome,
            f"A difference of {said} ({comparison.words})",
            trust,
            _difference_chance(comparison, size),
            comparison,
        )
        for place, comparison in enumerate(comparison_family(trial, outcome, layout))
    ]
    pair = named_pair(trial, layout)
    if outcome.family == "all pairs" and len(trial.methods) > 2:
        words = f"A difference of {said} ({pair.words})"
        key = f"{outcome.name} difference pair"
        chance = _difference_chance(pair, size)
        asked.append(Question(key, "difference", outcome, words, trust, chance, pair))
    if outcome.family != "factorial":
        asked += _about_the_best(trial, outcome, pair, trust)
    same = f"Two equal methods shown to be the same within ±{said}"
    family = comparison_family(trial, outcome, layout)[0]
    asked.append(
        Question(
            f"{outcome.name} same",
            "same",
            outcome,
            f"{same} ({pair.words})",
            trust,
            _same_chance(pair, size),
            pair,
        )
    )
    if outcome.family != "factorial" and len(trial.methods) > 2:
        key, words = f"{outcome.name} same together", f"{same} ({family.words})"
        chance = _all_same_chance(family, size)
        asked.append(Question(key, "same", outcome, words, trust, chance, family))
    return asked


def _about_the_best(
    trial: Trial, outcome: Outcome, pair: Comparison, trust: Reliability
) -> list[Question]:
    methods, size = len(trial.methods), outcome.smallest_difference
    said = say_difference(size, outcome.measure)

    def first(shots: float, factor: float) -> float:
        se = pair.contrast(shots).se * factor
        return chance_first_at(size / se, methods)

    def alone(shots: float, factor: float) -> float:
        # An SD that gives the same standard error in complete blocks.
        sd = pair.contrast(shots).se * factor * (shots / 2) ** 0.5
        return chance_best_stands_alone(one_leads(size, methods), sd, shots)

    lead = f"The best method, ahead by {said},"
    return [
        Question(f"{outcome.name} first", "first", outcome, f"{lead} ranks first", trust, first),
        Question(
            f"{outcome.name} alone",
            "alone",
            outcome,
            f"{lead} is the only one left that may be best",
            trust,
            alone,
        ),
    ]


def _about_spread(
    trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None
) -> list[Question]:
    ratio, methods = outcome.smallest_difference, len(trial.methods)
    pairs = methods * (methods - 1) // 2
    share = _spread_df_share(trial, layout)

    def any_pair(shots: float, factor: float) -> float:  # noqa: ARG001 - a ratio has no scale
        df = share * (shots - 1)
        return ratio_power(ratio, df, df, 0.05 / pairs)

    def odd_one(shots: float, factor: float) -> float:  # noqa: ARG001 - a ratio has no scale
        return odd_one_power_on(share * (shots - 1), ratio, methods)

    said = say_number(ratio, 1 if abs(ratio * 10 - round(ratio * 10)) < 1e-9 else 2)
    asked = [
        Question(
            f"{outcome.name} pair",
            "spread",
            outcome,
            f"One method {said} times as uneven as another (all pairs judged together)",
            "near",
            any_pair,
        )
    ]
    if methods > 2:
        words = f"One method {said} times as uneven as all the others stands out"
        asked.append(Question(f"{outcome.name} odd one", "spread", outcome, words, "near", odd_one))
    return asked


def _about_faults(outcome: Outcome) -> Question:
    high = min(1.0, BASE_FAULT_RATE + outcome.smallest_difference)

    def chance(shots: float, factor: float) -> float:  # noqa: ARG001 - counts have no SD
        count = min(MOST_FAULT_SHOTS, max(2, int(shots)))
        return fisher_power(high, BASE_FAULT_RATE, count, count)

    words = (
        f"{100 * BASE_FAULT_RATE:.0f} % of shots with faults told from {100 * high:.0f} % "
        "(one pair named in advance)"
    )
    return Question(f"{outcome.name} pair", "faults", outcome, words, "exact", chance)


def _difference_chance(comparison: Comparison, size: float) -> Chance:
    def chance(shots: float, factor: float) -> float:
        # All SDs times a factor: the same as the difference divided by it.
        return float(two_sided_power(size / factor, comparison.contrast(shots)))

    return chance


def _same_chance(pair: Comparison, margin: float) -> Chance:
    def chance(shots: float, factor: float) -> float:
        found = pair.contrast(shots)
        scaled = Contrast(found.se * factor, found.df, found.multiplier)
        return exact_tost_power(scaled, margin, 0.0, 0.05)

    return chance


def _all_same_chance(family: Comparison, margin: float) -> Chance:
    """The verdict "same" rests on the simultaneous interval of the family."""

    def chance(shots: float, factor: float) -> float:
        found = family.contrast(shots)
        scaled = Contrast(found.se * factor, found.df, found.multiplier)
        return chance_inside(scaled, margin, 0.0, found.multiplier)

    return chance


def _spread_df_share(trial: Trial, layout: laid_out.LaidOut | None) -> float:
    """Degrees of freedom of an SD, as a share of n - 1, once blocks are adjusted for."""
    rows = layout.rows if layout is not None else complete_rows(trial)
    base = rescaled(rows, SPREAD_BASE_SHOTS)
    shots = len(base) / base["method"].nunique()
    return expected_spread_df(base, trial, trial.noise) / (shots - 1)
