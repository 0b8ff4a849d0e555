"""When a bag runs out, a machine fails or shots are spoilt: plan what is left, and say the cost.

Nothing measured is looked at: of the log only which planned pulls were made, what they were for
and whether they were kept is read, so that no outcome can steer the new plan. The sealed schedule
stays as it is; the amended one stands beside it, and every change is a recorded deviation.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from kit import codebook
from kit.errors import PlanError
from kit.schedule.draw import as_schedule
from kit.schedule.loss import loss_words
from kit.schedule.refill import extra_sessions_of, insert_before_end, make_up_blocks
from kit.schedule.standing import Mishap, Standing, standing
from kit.trial import Trial


@dataclass(frozen=True)
class Rescue:
    """The plan for what is left."""

    schedule: pd.DataFrame
    """The whole amended schedule in run order; new pulls are numbered on from the last."""
    deviations: pd.DataFrame
    """Columns of ``codebook.DEVIATIONS``: one row a change."""
    lost: tuple[str, ...]
    """What the change costs in shots, balance and precision, a sentence each."""


def open_new_bag(
    trial: Trial, schedule: pd.DataFrame, shots: pd.DataFrame, mishap: Mishap
) -> Rescue:
    """The bag ran out after the last shot pulled: the rest of the session comes from a new bag.

    A block that is cut in two becomes two blocks, because no block may run across bags.

    Raises
    ------
    PlanError
        If no shot has been pulled yet, or the session has no shot left.
    """
    state = standing(trial, schedule, shots)
    rest = state.rest_of_session()
    if rest.empty:
        raise PlanError(
            f"Session {state.session} has no shot left, so nothing needs a new bag. Open the new "
            "bag at the start of the next session."
        )
    bag = f"{schedule['bag'].iloc[state.last] or state.session}, second"
    cut = schedule["block"].iloc[state.last]
    amended = schedule.copy()
    amended.loc[rest.index, "bag"] = bag
    split = rest.index[(rest["block"] == cut) & (rest["block"] != "")]
    amended.loc[split, "block"] = f"{cut}b"
    amended.loc[split, "position"] = range(1, len(split) + 1)
    what = "new bag opened within a session"
    done = f"block {cut} divided in two" if len(split) else "between two blocks"
    first = int(rest["planned_shot"].iloc[0])
    rows = [_deviation(mishap, first, what, "one bag", f"{bag}; {done}")]
    return _rescue(state, amended, rows)


def end_session_early(
    trial: Trial,
    schedule: pd.DataFrame,
    shots: pd.DataFrame,
    mishap: Mishap,
    extra_sessions: int,
) -> Rescue:
    """The session under way stops after the last shot pulled.

    The blocks not pulled are moved, in their drawn order, to ``extra_sessions`` further sessions
    of the usual length; what does not fit is given up. A block cut in two is finished as a block
    of its own if at least two of its shots are left.

    Raises
    ------
    PlanError
        If no shot has been pulled yet, or the number of sessions is negative.
    """
    if extra_sessions < 0:
        raise PlanError(f"{extra_sessions} extra sessions cannot be held. Give 0 or more.")
    state = standing(trial, schedule, shots)
    rest = state.rest_of_session()
    blocks = _blocks_left(state, rest)
    room = extra_sessions * trial.layout.blocks_per_session
    moved, given_up = blocks[:room], blocks[room:]
    kept = schedule.drop(index=rest.index)
    sessions = extra_sessions_of(state, kept, moved, mishap)
    rows = [
        _deviation(
            mishap,
            int(block["planned_shot"].iloc[0]),
            what,
            f"session {state.session}, {len(block)} shots",
            done,
        )
        for what, done, group in (
            ("block moved", "to an extra session", moved),
            ("block given up", "not pulled", given_up),
        )
        for block in group
    ]
    rows = rows or [_deviation(mishap, None, "session ended early", "", "no study shot was left")]
    return _rescue(state, pd.concat([kept, *sessions], ignore_index=True), rows)


def make_up_lost(
    trial: Trial,
    schedule: pd.DataFrame,
    shots: pd.DataFrame,
    mishap: Mishap,
    made_up: Collection[int] = (),
) -> Rescue:
    """Study shots lost without a spare are pulled again as a block of their own.

    The make-up block stands at the end of the last session (of a new one, where that is over).
    It is compared within itself: lost shots never return to their old block. Shots of one method
    alone get another beside them (of the reference method, if it is not that one), as they could
    not be compared with anything. In a split-plot each setting has a make-up block, a whole plot
    of its own.

    Parameters
    ----------
    made_up
        Planned numbers of lost shots for which an earlier amendment made up already.

    Raises
    ------
    PlanError
        If no shot has been pulled yet, or none was lost.
    """
    state = standing(trial, schedule, shots)
    missing = state.lost - set(made_up)
    if not missing:
        raise PlanError("No study shot is lost and not yet made up for, so nothing is to be done.")
    lost = schedule[schedule["planned_shot"].isin(missing)]
    blocks = make_up_blocks(state, lost, mishap)
    last_session = schedule["session"].iloc[-1]
    still_open = (
        schedule["session"].iloc[state.last] != last_session or not state.rest_of_session().empty
    )
    if still_open:
        amended = insert_before_end(state, blocks, str(last_session), mishap)
    else:
        amended = pd.concat(
            [schedule, *extra_sessions_of(state, schedule, blocks, mishap)], ignore_index=True
        )
    rows = [
        _deviation(mishap, int(n), "lost shot made up for", "in its block", "in a make-up block")
        for n in lost["planned_shot"]
    ]
    return _rescue(state, amended, rows)


def _blocks_left(state: Standing, rest: pd.DataFrame) -> list[pd.DataFrame]:
    """The blocks still to be pulled; the rest of a cut block only if two shots are left."""
    study = rest[rest["role"] == "study"]
    cut = state.schedule["block"].iloc[state.last]
    blocks = []
    for name, block in study.groupby("block", sort=False):
        if name != cut:
            blocks.append(block)
        elif len(block) >= 2:
            blocks.append(block.assign(block=str(name) + "b", position=range(1, len(block) + 1)))
    # In another session the bag is another bag and the setting is set anew.
    fresh = {column: lambda rows, c=column: _second(rows[c]) for column in ("bag", "whole_plot")}
    return [block.assign(**fresh) for block in blocks]


def _second(labels: pd.Series) -> pd.Series:
    return labels.where(labels == "", labels + "b")


def _deviation(
    mishap: Mishap, planned_shot: int | None, what: str, planned: str, done: str
) -> dict[str, object]:
    return {
        "at": mishap.at.isoformat(timespec="seconds"),
        "planned_shot": planned_shot,
        "what": what,
        "planned": planned,
        "done": done,
        "reason": mishap.reason,
    }


def _rescue(state: Standing, amended: pd.DataFrame, rows: list[dict[str, object]]) -> Rescue:
    table = pd.DataFrame(rows, columns=codebook.names(codebook.DEVIATIONS))
    table["planned_shot"] = table["planned_shot"].astype("Int64")
    final = as_schedule(amended.reset_index(drop=True))
    lost = loss_words(state.trial, state.schedule, final, state.lost)
    return Rescue(final, table, tuple(lost))
