"""What it would take to say more: shots a method, from the noise this trial has shown."""

from __future__ import annotations

import math

from kit.analysis.result import OutcomeResult
from kit.errors import PlanError
from kit.findings.wording import listed
from kit.planning.comparisons import (
    AgainstControl,
    AllPairs,
    Comparison,
    Contrast,
    Interaction,
    MainEffect,
)
from kit.planning.consistency_power import shots_for_spread
from kit.planning.fault_power import lasting_shots_for_rates
from kit.planning.power import contrast_detected, shots_needed
from kit.trial import Trial

CHANCE = 0.8


def shots_in_words(trial: Trial, result: OutcomeResult) -> str:
    """How many shots a method give an 80 % chance to show the smallest difference that matters.

    For means the noise is the residual SD of this very analysis; it is an estimate, and so is the
    number. For spread and fault rates the number depends on the size of the effect alone (and on
    the lowest rate seen).
    """
    now = result.n / max(len(result.groups), 1)
    chance = f"(now {now:.0f}) for an {100 * CHANCE:.0f} % chance"
    try:
        if trial.factors and result.outcome.family == "factorial":
            return f"{_factorial_shots(trial, result)} {chance}{_whole_plots(trial)}"
        if result.outcome.aspect == "score":
            count = _cups(result, now)
            return f"about {count} cups a method {chance}, of more tasters and shots in proportion"
        return f"about {_shots(trial, result)} shots a method {chance}"
    except PlanError as refusal:
        return str(refusal)


def _cups(result: OutcomeResult, now: float) -> int:
    """Cups a method, were every source of noise to fall with their number as it stands now."""
    table = result.differences
    se = float(table["se"].mean())
    multiplier = float(((table["upper"] - table["lower"]) / 2 / table["se"]).mean())
    found = contrast_detected(Contrast(se, float(table["df"].mean()), multiplier), CHANCE)
    return math.ceil(now * (found / result.outcome.smallest_difference) ** 2)


def _factorial_shots(trial: Trial, result: OutcomeResult) -> str:
    """For a main effect and for an interaction, each at its share of the 5 % of all effects."""
    easy, cells = trial.easy_factors, len(trial.methods)
    noise = float(result.residual_sd or trial.noise.shot_sd)
    size, share = result.outcome.smallest_difference, 0.05 / len(result.differences)
    most = max(len(factor.levels) for factor in easy)
    main = shots_needed(MainEffect(cells, most, noise, share), size, CHANCE)
    if len(easy) < 2:
        return f"about {main} shots a method for a main effect"
    one, other = (len(factor.levels) for factor in easy[:2])
    both = shots_needed(Interaction(cells, one, other, noise, share), size, CHANCE)
    return f"about {main} shots a method for a main effect and {both} for an interaction"


def _whole_plots(trial: Trial) -> str:
    hard = [factor.name for factor in trial.hard_factors]
    return f"; for {listed(hard)}, more whole plots and not more shots" if hard else ""


def _shots(trial: Trial, result: OutcomeResult) -> int:
    outcome = result.outcome
    methods = len(result.groups)
    if outcome.aspect == "spread":
        return shots_for_spread(outcome.smallest_difference, CHANCE, pairs=len(result.differences))
    if outcome.aspect == "rate":
        low = min(max(float(result.groups["estimate"].min()), 0.02), 0.95)
        high = min(low + outcome.smallest_difference, 0.98)
        return lasting_shots_for_rates(low, high, CHANCE, 0.05 / len(result.differences))
    noise = float(result.residual_sd or trial.noise.shot_sd)
    comparison: Comparison = AllPairs(methods, noise)
    if outcome.family == "against control":
        comparison = AgainstControl(methods, noise, trial.layout.control_shots_per_block)
    return shots_needed(comparison, outcome.smallest_difference, CHANCE)
