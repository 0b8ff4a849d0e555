"""The largest plan that fits the budget and can be laid out, and how it is spoken of."""

from __future__ import annotations

from kit.errors import PlanError
from kit.numerals import say_number
from kit.planning.budget import FittedPlan, cost_of, largest_plan
from kit.schedule import draw_schedule
from kit.trial import Trial


def drawable_plan(trial: Trial) -> FittedPlan:
    """The largest plan within ``trial.budget`` for which there is a fair schedule.

    Not every number of blocks can be laid out in every design; the next smaller one that can is
    taken.

    Raises
    ------
    PlanError
        If there is none.
    """
    fitted = largest_plan(trial)
    step = trial.layout.whole_plots_per_session
    for blocks in range(fitted.trial.layout.blocks_per_session, 0, -step):
        layout = fitted.trial.layout.model_copy(update={"blocks_per_session": blocks})
        candidate = trial.model_copy(update={"layout": layout})
        try:
            draw_schedule(candidate, 0)
        except PlanError:
            continue
        return FittedPlan(candidate, cost_of(candidate), fitted.limited_by)
    raise PlanError("No number of blocks within the budget can be laid out in this design.")


def fitted_words(trial: Trial) -> str:
    """The largest plan by the budget alone and what keeps it from being larger, or the reason."""
    try:
        fitted = largest_plan(trial)
    except PlanError as error:
        return str(error)
    layout, own = fitted.trial.layout, trial.layout
    alike = (layout.sessions, layout.blocks_per_session) == (own.sessions, own.blocks_per_session)
    start = (
        "Your plan is the largest that fits."
        if alike
        else f"The largest plan that fits: {size_words(fitted)}"
    )
    reason = fitted.limited_by[:1].lower() + fitted.limited_by[1:]
    return f"{start} With one block more in each session {reason}"


def size_words(fitted: FittedPlan) -> str:
    """``3 sessions of 5 blocks, 15 shots of each method, 1,480 g.``"""
    layout = fitted.trial.layout
    shots = fitted.trial.shots_per_method_planned
    said = say_number(shots, 0 if shots == round(shots) else 1)
    sessions = f"{layout.sessions} session{'' if layout.sessions == 1 else 's'}"
    blocks = f"{layout.blocks_per_session} block{'' if layout.blocks_per_session == 1 else 's'}"
    return (
        f"{sessions} of {blocks}, {said} shots of each method, {fitted.cost.coffee_g:,.0f} g of "
        "coffee."
    )
