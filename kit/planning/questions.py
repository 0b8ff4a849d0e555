"""The questions of a trial: what each asks for, and the chance to answer it with n shots a method.

A question is a sentence and a function of the number of shots. The outcomes of the trial decide
which questions are asked; the layout decides how well each can be answered.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from kit.errors import PlanError
from kit.numerals import say_number
from kit.planning import comparisons as closed
from kit.planning import laid_out
from kit.planning.comparisons import Comparison, Contrast, Reliability
from kit.planning.consistency_power import jackknife_odd_one_power, jackknife_pair_power
from kit.planning.equivalence_power import chance_inside, exact_tost_power
from kit.planning.fault_power import MOST_FAULT_SHOTS, within_blocks_power
from kit.planning.layouts import complete_rows
from kit.planning.power import two_sided_power
from kit.planning.selection import chance_best_stands_alone, chance_first_at, one_leads
from kit.planning.words import label_of, say_difference
from kit.trial import Outcome, Trial

Kind = Literal["difference", "same", "first", "alone", "spread", "faults"]
Chance = Callable[[float, float], float]
"""chance(shots a method, factor on all SDs)."""

BASE_FAULT_RATE = 0.10
"""Share of faulty shots of the cleaner method (a guess without a source)."""


@dataclass(frozen=True)
class Question:
    """One thing the trial might tell."""

    key: str
    """Outcome and kind, unique in a trial: ``ey_pct mean difference``."""
    kind: Kind
    outcome: Outcome
    words: str
    chance: Chance
    trust: Callable[[float], Reliability]
    """How far the chance can be trusted, at a number of shots a method."""
    comparison: Comparison | None = None
    """For differences: what gives the detectable difference and the interval."""
    headline: bool = False
    """Whether the outcome is judged by it, so that it is what the plan is summed up by."""

    @property
    def compared(self) -> Comparison:
        """The comparison of a question that has one."""
        if self.comparison is None:
            raise PlanError(f"“{self.words}” compares nothing by its standard error.")
        return self.comparison


def questions_of(trial: Trial, layout: laid_out.LaidOut | None) -> list[Question]:
    """The questions of a trial, those of its primary outcome first.

    ``layout`` may be None for complete blocks without factors, which have a closed form. Means
    are planned for one measure only, the one whose noise the trial states; a ratio of SDs has no
    scale and is planned for any. Taste is planned by tasters, in :mod:`kit.planning.taste_answers`.
    """
    ordered = sorted(trial.outcomes, key=lambda outcome: outcome.role != "primary")
    asked: list[Question] = []
    for outcome in ordered:
        if outcome.aspect == "mean" and outcome.measure == noise_measure(trial):
            asked += _about_means(trial, outcome, layout)
        elif outcome.aspect == "spread":
            asked += _about_spread(trial, outcome, layout)
        elif outcome.aspect == "rate":
            asked += _about_faults(trial, outcome, layout)
    return asked


def noise_measure(trial: Trial) -> str:
    """The measure whose noise the trial states: that of the primary outcome where it has an SD."""
    primary = trial.primary
    return primary.measure if primary.aspect in ("mean", "spread") else "ey_pct"


def outcome_of_means(trial: Trial) -> Outcome | None:
    """The outcome about the mean of that measure, the primary one first; None where none is."""
    measure = noise_measure(trial)
    about = [o for o in trial.outcomes if o.aspect == "mean" and o.measure == measure]
    return min(about, key=lambda outcome: outcome.role != "primary", default=None)


def not_planned(trial: Trial) -> list[str]:
    """The outcomes no question is asked about, each with the reason."""
    measure = noise_measure(trial)
    return [
        f"{label_of(outcome.measure)}, mean: the trial states the noise of "
        f"{label_of(measure).lower()} only, so nothing is promised."
        for outcome in trial.outcomes
        if outcome.aspect == "mean" and outcome.measure != measure
    ]


def effects_judged_together(trial: Trial) -> int:
    """Contrasts among which the analysis of a factorial shares its 5 % (Bonferroni)."""
    levels = [len(factor.levels) for factor in trial.factors]
    both_two = sum(a == b == 2 for a, b in combinations(levels, 2))
    return sum(count * (count - 1) // 2 for count in levels) + both_two


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
    each = 0.05 / effects_judged_together(trial)
    effects: list[Comparison] = [
        laid_out.LaidOutMainEffect(layout, factor.name, each) for factor in trial.factors
    ]
    return effects + [
        laid_out.LaidOutInteraction(layout, a.name, b.name, each)
        for a, b in combinations(trial.factors, 2)
        if len(a.levels) == len(b.levels) == 2
    ]


def _about_means(trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None) -> list[Question]:
    size = outcome.smallest_difference
    said = say_difference(size, outcome.measure)
    family = comparison_family(trial, outcome, layout)
    pair = named_pair(trial, layout)
    wants_pair = outcome.family == "all pairs" and len(trial.methods) > 2
    asked = [
        Question(
            f"{outcome.name} difference {comparison.words}",
            "difference",
            outcome,
            f"A difference of {said} ({comparison.words})",
            _difference_chance(comparison, size),
            _trust(comparison),
            comparison,
            comparison is not pair,
        )
        for comparison in [*family, *([pair] if wants_pair else [])]
    ]
    if outcome.family != "factorial":
        asked += _about_the_best(trial, outcome, pair)
    together = family[:1] if outcome.family != "factorial" and len(trial.methods) > 2 else []
    asked += [
        Question(
            f"{outcome.name} same {comparison.words}",
            "same",
            outcome,
            f"Two equal methods shown to be the same within ±{said} ({comparison.words})",
            chance,
            _trust(comparison),
            comparison,
        )
        for comparison, chance in [
            (pair, _same_chance(pair, size)),
            *((each, _all_same_chance(each, size)) for each in together),
        ]
    ]
    return asked


def _about_the_best(trial: Trial, outcome: Outcome, pair: Comparison) -> list[Question]:
    methods, size = len(trial.methods), outcome.smallest_difference
    said = say_difference(size, outcome.measure)

    def first(shots: float, factor: float) -> float:
        se = pair.contrast(shots).se * factor
        return chance_first_at(size / se, methods)

    def alone(shots: float, factor: float) -> float:
        # An SD that gives the same standard error in complete blocks.
        sd = pair.contrast(shots).se * factor * (shots / 2) ** 0.5
        return chance_best_stands_alone(one_leads(size, methods), sd, shots)

    lead, trust = f"The best method, ahead by {said},", _trust(pair)
    only = f"{lead} is the only one left that may be best"
    return [
        Question(f"{outcome.name} first", "first", outcome, f"{lead} ranks first", first, trust),
        Question(f"{outcome.name} alone", "alone", outcome, only, alone, trust),
    ]


def _about_spread(
    trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None
) -> list[Question]:
    ratio, methods = outcome.smallest_difference, len(trial.methods)
    pairs = methods * (methods - 1) // 2
    laid = layout or laid_out.LaidOut(complete_rows(trial), trial, trial.noise)

    def units(shots: float) -> float:
        return max(1.0, round(shots * methods / laid.block_size))

    def any_pair(shots: float, factor: float) -> float:  # noqa: ARG001 - a ratio has no scale
        df = laid.spread_df_share * (shots - 1)
        return jackknife_pair_power(ratio, df, units(shots), pairs)

    def odd_one(shots: float, factor: float) -> float:  # noqa: ARG001 - a ratio has no scale
        df = laid.spread_df_share * (shots - 1)
        return jackknife_odd_one_power(ratio, df, units(shots), methods)

    said = say_number(ratio, 1 if abs(ratio * 10 - round(ratio * 10)) < 1e-9 else 2)
    about = "" if outcome.measure == "ey_pct" else f" in {label_of(outcome.measure).lower()}"
    words = f"One method {said} times as uneven{about} as another (all pairs judged together)"
    name = f"{outcome.name} pair"
    asked = [Question(name, "spread", outcome, words, any_pair, lambda _: "rough")]
    if methods > 2:
        words = f"One method {said} times as uneven{about} as all the others stands out"
        name = f"{outcome.name} odd one"
        asked.append(Question(name, "spread", outcome, words, odd_one, lambda _: "rough"))
    return asked


def _about_faults(
    trial: Trial, outcome: Outcome, layout: laid_out.LaidOut | None
) -> list[Question]:
    """One pair, by the exact test within blocks, as the analysis does it."""
    high = min(1.0, BASE_FAULT_RATE + outcome.smallest_difference)
    others = len(trial.methods) - 1
    meeting = 1.0 if layout is None else min(1.0, (layout.block_size - 1) / others)

    def chance(shots: float, factor: float) -> float:  # noqa: ARG001 - counts have no SD
        blocks = min(MOST_FAULT_SHOTS, max(2, round(shots * meeting)))
        return within_blocks_power(high, BASE_FAULT_RATE, blocks)

    words = (
        f"{100 * BASE_FAULT_RATE:.0f} % of shots with faults told from {100 * high:.0f} % "
        "(one pair named in advance)"
    )
    trust: Reliability = "exact" if meeting == 1.0 else "near"
    return [Question(f"{outcome.name} pair", "faults", outcome, words, chance, lambda _: trust)]


def _trust(comparison: Comparison) -> Callable[[float], Reliability]:
    return lambda shots: comparison.contrast(shots).reliability


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
