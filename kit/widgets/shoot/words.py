"""What the bench says about the run of the trial: the card, the ribbon, the totals. No widgets.

Nothing here depends on an outcome: no reading, no extraction, no fault, no taste.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from kit.cautions import (
    DAY_LIMIT_MG,
    SITTING_LIMIT_MG,
    Caution,
    TasterLoad,
    fatigue_caution,
)
from kit.shotlog import Log, LoggedShot, Pull, RunOrder
from kit.trial import Trial
from kit.widgets.shoot.tasting import loads_of
from kit.widgets.shoot.trial_log import TrialLog

ROLE_WORDS = {
    "warm-up": "Warm-up shot, never analysed",
    "dial-in": "Dial-in shot, never analysed",
    "reference": "Reference shot: shows drift",
    "study": "Study shot",
}


@dataclass(frozen=True)
class Tile:
    """One pull on the ribbon."""

    state: str
    """``done``, ``lost``, ``skipped``, ``next``, ``to come`` or ``spare``."""
    role: str
    block: str
    planned_shot: int


@dataclass(frozen=True)
class Card:
    """What to do now, to be read at arm's length."""

    headline: str
    place: str
    role: str
    recipe: str
    code: str
    because: str = ""
    """Why a spare is pulled."""


def card_of(model: TrialLog) -> Card | None:
    """The card of the next pull; None when nothing is left."""
    pull = model.next_pull
    if pull is None or model.trial is None or model.order is None:
        return None
    settings = [f"{factor.name}: {pull.plan[factor.name]}" for factor in model.trial.hard_factors
                if pull.plan.get(factor.name)]  # fmt: skip
    recipe = next((each.recipe for each in model.trial.methods if each.name == pull.method), "")
    because = ""
    if pull.replaces is not None:
        because = f"Spare in place of planned shot {pull.replaces}, which was lost."
    return Card(
        headline=pull.method or model.trial.reference_method,
        place=_place(model.log, model.order, pull),
        role=ROLE_WORDS.get(pull.role, pull.role),
        recipe=". ".join([*settings, recipe]) if settings else recipe,
        code=pull.code,
        because=because,
    )


def next_words(model: TrialLog) -> str:
    """What comes next, in one short sentence."""
    pull = model.next_pull
    if pull is None:
        return "Every planned shot is done."
    return f"Next: {pull.method or pull.role}, cup {pull.code}."


def ribbon_of(model: TrialLog) -> dict[str, list[Tile]]:
    """The whole trial by session: what is done, what is next, what is to come, what is spare."""
    if model.schedule is None or model.order is None:
        return {}
    planned = model.planned
    sessions: dict[str, list[Tile]] = {str(row["session"]): [] for row in planned.values()}
    for shot in model.log.shots:
        row = planned.get(model.log.stands_for(shot) or 0)
        if row is not None:
            sessions[str(row["session"])].append(_done_tile(shot, row))
    for number in sorted((model.log.skipped - model.log.done) & planned.keys()):
        row = planned[number]
        sessions[str(row["session"])].append(
            Tile("skipped", row["role"], row["block"] or "", number)
        )
    waiting = {pull.planned_shot for pull in model.order.to_come}
    for place, pull in enumerate(model.order.to_come):
        state = "to come" if place else "next"
        sessions[pull.session].append(Tile(state, pull.role, pull.block or "", pull.planned_shot))
    for number, row in planned.items():
        if row["role"] == "spare" and number not in waiting | model.log.done:
            sessions[str(row["session"])].append(Tile("spare", "spare", "", number))
    return sessions


def ribbon_words(ribbon: dict[str, list[Tile]]) -> str:
    """The ribbon in one sentence."""
    tiles = [tile for row in ribbon.values() for tile in row]
    done = sum(tile.state in ("done", "lost") for tile in tiles)
    left = sum(tile.state in ("next", "to come") for tile in tiles)
    return f"{len(ribbon)} sessions; {done} pulls done, {left} still to come."


def totals_of(model: TrialLog) -> dict[str, str]:
    """Running totals of the session: pulls, coffee, time."""
    if model.trial is None or model.order is None:
        return {}
    session = current_session(model)
    shots = shots_of_session(model, session)
    left = sum(pull.session == session for pull in model.order.to_come)
    minutes = left * model.trial.budget.minutes_per_shot
    totals = {
        "Pulls of this session": f"{len(shots)} done, {left} to come",
        "Coffee used in all": f"{coffee_used_g(model.trial, model.log):.0f} g",
        "Running for": _minutes(_running_for(model.log, session, model.clock())),
    }
    if left:
        totals["About to go"] = _minutes(timedelta(minutes=minutes))
    return totals


def tasters_of(model: TrialLog) -> dict[str, str]:
    """Cups and caffeine today of every taster who has had any."""
    return {
        load.taster: f"{load.cups_day} cup{'' if load.cups_day == 1 else 's'}, {load.mg_day:.0f} mg"
        for load in _loads(model)
        if load.cups_day
    }


def caffeine_words(model: TrialLog) -> list[str]:
    """What the totals of the tasters mean, and a caution for each at a limit; empty without any."""
    loads = _loads(model)
    if model.trial is None or not loads:
        return []
    limits = f"{SITTING_LIMIT_MG:.0f} mg in a sitting and {DAY_LIMIT_MG:.0f} mg in a day"
    plan = "The plan is to spit. " if model.trial.tasting.spit else ""
    said = f"Caffeine as if every sip had been swallowed. {plan}Limits: {limits} (EFSA 2015)."
    if not any(load.cups_day for load in loads):
        return [f"Nobody has tasted a cup today. Limits for caffeine: {limits} (EFSA 2015)."]
    cautions = [load.caution() for load in loads]
    return [said, *(caution.text for caution in cautions if caution is not None)]


def rest_caution(model: TrialLog) -> Caution | None:
    """A reminder to rest after a long run of pulls."""
    return fatigue_caution(len(shots_of_session(model, current_session(model))))


def coffee_used_g(trial: Trial, log: Log) -> float:
    """Coffee put through the grinder so far, purges included, in g."""
    doses = [
        shot.entered.get("dose_before_g") or shot.entered.get("dose_g") or trial.recipe.dose_g
        for shot in log.shots
    ]
    return float(sum(doses) + trial.recipe.purge_g * len(doses))


def current_session(model: TrialLog) -> str:
    """The session of the next pull, or the last one."""
    if model.next_pull is not None:
        return model.next_pull.session
    return list(ribbon_of(model))[-1] if model.schedule is not None else ""


def shots_of_session(model: TrialLog, session: str) -> list[LoggedShot]:
    """The shots pulled in a session."""
    return [
        shot
        for shot in model.log.shots
        if str(model.planned.get(shot.planned_shot or 0, {}).get("session")) == session
    ]


def entered_words(shot: LoggedShot, number: int) -> str:
    """A logged shot by what was weighed: enough to recognise it, nothing to compare."""
    dose, beverage = shot.entered.get("dose_g"), shot.entered.get("beverage_g")
    masses = " to ".join(f"{mass:g} g" for mass in (dose, beverage) if mass is not None)
    reason = shot.entered.get("reason")
    at = datetime.fromisoformat(shot.pulled_at or shot.at).strftime("%H:%M")
    parts = [f"Shot {number}", at, masses, f"lost: {reason}" if reason else ""]
    return ", ".join(part for part in parts if part)


def _loads(model: TrialLog) -> list[TasterLoad]:
    return [] if model.trial is None else loads_of(model.trial, model.log, model.clock())


def _place(log: Log, order: RunOrder, pull: Pull) -> str:
    left = sum(each.session == pull.session for each in order.to_come)
    parts = [f"Session {pull.session}", f"{left} pulls to go in it"]
    if pull.block and pull.role == "study":
        parts.insert(1, f"block {pull.block}")
    return f"Shot {len(log.shots) + 1} · " + " · ".join(parts)


def _done_tile(shot: LoggedShot, row: dict[str, str]) -> Tile:
    role = "study" if shot.entered.get("replaces") else row["role"]
    state = "lost" if shot.is_lost else "done"
    return Tile(state, role, row["block"] or "", shot.planned_shot or 0)


def _running_for(log: Log, session: str, now: datetime) -> timedelta:
    """How long the session has run, pauses left out."""
    total, since = timedelta(), None
    for event in log.session_events:
        if event.data["session"] != session:
            continue
        at = datetime.fromisoformat(event.at)
        if event.kind in ("session start", "resume"):
            since = since or at
        elif since is not None:
            total, since = total + (at - since), None
    return total + (now - since) if since is not None else total


def _minutes(span: timedelta) -> str:
    minutes = round(span.total_seconds() / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
