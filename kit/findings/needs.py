"""What it would take to say more: shots a method, from the noise this trial has shown."""

from __future__ import annotations

from kit.analysis.result import OutcomeResult
from kit.errors import PlanError
from kit.planning.comparisons import AgainstControl, AllPairs, Comparison
from kit.planning.consistency_power import shots_for_spread
from kit.planning.fault_power import lasting_shots_for_rates
from kit.planning.power import shots_needed
from kit.trial import Trial

CHANCE = 0.8


def shots_in_words(trial: Trial, result: OutcomeResult) -> str:
    """How many shots a method give an 80 % chance to show the smallest difference that matters.

    For means the noise is the residual SD of this very analysis; it is an estimate, and so is the
    number. For spread and fault rates the number depends on the size of the effect alone (and on
    the lowest rate seen).
    """
    try:
        count = _shots(trial, result)
    except PlanError as refusal:
        return str(refusal)
    now = result.n / max(len(result.groups), 1)
    unit = "cups" if result.outcome.aspect == "score" else "shots"
    return f"about {count} {unit} a method (now {now:.0f}) for an {CHANCE:.0%} chance".replace(
        "%", " %"
    )


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
