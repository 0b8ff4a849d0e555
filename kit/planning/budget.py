"""What a plan costs: coffee, bags, minutes, sessions, cups and caffeine; and what fits a budget."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kit.errors import PlanError
from kit.trial import Layout, Trial

CAFFEINE_SHARE = 0.012
"""Caffeine in roasted arabica by mass (from memory)."""
CAFFEINE_EXTRACTED = 0.8
"""Share of it that ends in the cup (from memory)."""
SIP_G = 5.0
"""One tasting sip (common practice, no source)."""
MOST_BLOCKS = 200
"""Blocks a session, the limit of the trial file."""
CUPS_IN_SET = {"triangle": 3, "duo-trio": 3, "paired": 2}


@dataclass(frozen=True)
class Cost:
    """Everything one plan uses up."""

    study_shots: int
    reference_shots: int
    warm_up_shots: int
    dial_in_shots: int
    spare_shots: int
    sessions: int
    coffee_g: float
    """Doses and purges of all pulls, spares included."""
    bags: int | None
    """None where bags are not tracked."""
    minutes: float
    minutes_per_session: float
    pulls_per_session: int
    """In the longest session."""
    cups_per_taster: int
    sittings_per_taster: int
    caffeine_if_swallowed_mg: float
    """Per taster and sitting, one sip a cup; next to nothing where cups are spat."""

    @property
    def pulls(self) -> int:
        """All pulls, spares included."""
        return (
            self.study_shots
            + self.reference_shots
            + self.warm_up_shots
            + self.dial_in_shots
            + self.spare_shots
        )


@dataclass(frozen=True)
class FittedPlan:
    """The largest plan that fits a budget, what it costs, and what keeps it from being larger."""

    trial: Trial
    cost: Cost
    limited_by: str


def cost_of(trial: Trial) -> Cost:
    """The cost of a plan as it stands.

    Coffee: (dose + purge) for each pull. Minutes: pulls times minutes a shot. Caffeine: dose ×
    1.2 % × 80 % spread over the beverage, one 5 g sip a cup.
    """
    layout = trial.layout
    study = layout.sessions * layout.blocks_per_session * _block_size(trial)
    reference = layout.sessions * layout.reference_shots_per_session
    warm_up = layout.sessions * layout.warm_up_shots_per_session
    spare = layout.sessions * layout.spares_per_session
    pulls = study + reference + warm_up + spare + layout.dial_in_shots
    coffee_g = pulls * (trial.recipe.dose_g + trial.recipe.purge_g)
    longest = _longest_session(trial)
    per_shot = trial.budget.minutes_per_shot
    cups, sittings = _tasting_load(trial)
    return Cost(
        study_shots=study,
        reference_shots=reference,
        warm_up_shots=warm_up,
        dial_in_shots=layout.dial_in_shots,
        spare_shots=spare,
        sessions=layout.sessions,
        coffee_g=coffee_g,
        bags=_bags(trial, coffee_g),
        minutes=pulls * per_shot,
        minutes_per_session=longest * per_shot,
        pulls_per_session=longest,
        cups_per_taster=cups,
        sittings_per_taster=sittings,
        caffeine_if_swallowed_mg=_caffeine_a_sitting(trial, cups, sittings),
    )


def over_budget(trial: Trial) -> list[str]:
    """What the plan exceeds, a sentence each; empty when it fits."""
    cost, budget = cost_of(trial), trial.budget
    found = []
    if budget.coffee_g is not None and cost.coffee_g > budget.coffee_g:
        found.append(
            f"The plan takes {cost.coffee_g:,.0f} g of coffee; there are {budget.coffee_g:,.0f} g."
        )
    if budget.sessions is not None and cost.sessions > budget.sessions:
        found.append(f"The plan takes {cost.sessions} sessions; there are {budget.sessions}.")
    most = budget.minutes_per_session
    if most is not None and cost.minutes_per_session > most:
        found.append(
            f"The longest session takes {cost.minutes_per_session:.0f} minutes; there are "
            f"{most:.0f}."
        )
    limit = trial.layout.longest_session_shots
    if limit is not None and cost.pulls_per_session > limit:
        found.append(f"The longest session has {cost.pulls_per_session} pulls; you allow {limit}.")
    return found


def largest_plan(trial: Trial) -> FittedPlan:
    """The plan with the most study shots that fits ``trial.budget``, sessions alike.

    Sessions are those of the budget (or of the layout); the number of blocks in each grows until
    coffee, time or the longest session allowed runs out.

    Raises
    ------
    PlanError
        If the budget names no limit at all, or not even one block a session fits.
    """
    budget = trial.budget
    bounded = (budget.coffee_g, budget.minutes_per_session, trial.layout.longest_session_shots)
    if all(limit is None for limit in bounded):
        raise PlanError(
            "The budget sets no limit to coffee, minutes or pulls a session, so no plan is the "
            "largest. Say what there is."
        )
    sessions = budget.sessions or trial.layout.sessions
    step = trial.layout.whole_plots_per_session
    best: Trial | None = None
    reasons = ["A session holds 200 blocks at most."]
    for blocks in range(step, MOST_BLOCKS + 1, step):
        candidate = _with_size(trial, sessions, blocks)
        too_much = over_budget(candidate)
        if too_much:
            reasons = too_much
            break
        best = candidate
    if best is None:
        raise PlanError("Not even the smallest plan fits. " + " ".join(reasons))
    return FittedPlan(best, cost_of(best), reasons[0])


def _with_size(trial: Trial, sessions: int, blocks: int) -> Trial:
    size = {"sessions": sessions, "blocks_per_session": blocks}
    layout: Layout = trial.layout.model_copy(update=size)
    return trial.model_copy(update={"layout": layout})


def _block_size(trial: Trial) -> int:
    layout = trial.layout
    if layout.shots_per_block is not None:
        return layout.shots_per_block
    return len(trial.methods) + layout.control_shots_per_block - 1


def _longest_session(trial: Trial) -> int:
    """The first session: it holds the dial-in shots as well."""
    layout = trial.layout
    return (
        layout.blocks_per_session * _block_size(trial)
        + layout.reference_shots_per_session
        + layout.warm_up_shots_per_session
        + layout.spares_per_session
        + layout.dial_in_shots
    )


def _bags(trial: Trial, coffee_g: float) -> int | None:
    """Bags by mass, or by the study shots a bag gives where that is laid down."""
    if trial.coffee.bag_g is None:
        return None
    by_mass = math.ceil(coffee_g / trial.coffee.bag_g - 1e-9)
    each = trial.layout.study_shots_per_bag
    if each is None:
        return by_mass
    in_session = trial.layout.blocks_per_session * _block_size(trial)
    return max(by_mass, trial.layout.sessions * math.ceil(in_session / each))


def _tasting_load(trial: Trial) -> tuple[int, int]:
    """Cups and sittings of one taster: those that are scored, then the discrimination sets."""
    tasting = trial.tasting
    if not tasting.tasters:
        return 0, 0
    sittings = tasting.sittings if tasting.attributes else 0
    sets = tasting.sets_per_taster * CUPS_IN_SET.get(tasting.discrimination, 0)
    cups = sittings * tasting.cups_per_sitting + sets
    return cups, sittings + math.ceil(sets / tasting.cups_per_sitting)


def _caffeine_a_sitting(trial: Trial, cups: int, sittings: int) -> float:
    if not sittings:
        return 0.0
    in_shot_mg = trial.recipe.dose_g * 1000 * CAFFEINE_SHARE * CAFFEINE_EXTRACTED
    sip_mg = in_shot_mg * min(1.0, SIP_G / trial.recipe.beverage_g)
    return min(cups, trial.tasting.cups_per_sitting) * sip_mg
