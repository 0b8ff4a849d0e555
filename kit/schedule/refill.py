"""Sessions and blocks that are added to a schedule half-way."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.schedule.codes import draw_codes
from kit.schedule.draw import as_schedule, generator
from kit.schedule.frame import reference_places
from kit.schedule.standing import Mishap, Standing

_RESCUE_STREAM = 3


def extra_sessions_of(
    state: Standing, schedule: pd.DataFrame, blocks: list[pd.DataFrame], mishap: Mishap
) -> list[pd.DataFrame]:
    """Further sessions with warm-up, reference and spare shots around the blocks given."""
    size = state.trial.layout.blocks_per_session
    held_before = schedule.loc[schedule["session"].str.startswith("X"), "session"].nunique()
    sessions: list[pd.DataFrame] = []
    for start in range(0, len(blocks), size):
        label = f"X{held_before + len(sessions) + 1}"
        rows = _session_rows(state, label, blocks[start : start + size])
        sessions.append(_numbered(pd.concat([state.schedule, *sessions]), rows, mishap))
    return sessions


def _session_rows(state: Standing, label: str, blocks: list[pd.DataFrame]) -> pd.DataFrame:
    layout = state.trial.layout
    references = reference_places(layout.reference_shots_per_session, len(blocks))
    parts = [_around(state, "warm-up", blocks[0])] * layout.warm_up_shots_per_session
    for place in range(len(blocks) + 1):
        near = blocks[min(place, len(blocks) - 1)]
        parts += [_around(state, "reference", near)] * references.count(place)
        if place < len(blocks):
            parts.append(blocks[place])
    parts += [_around(state, "spare", blocks[-1])] * layout.spares_per_session
    rows = pd.concat(parts, ignore_index=True)
    return rows.assign(session=label, session_position=range(1, len(rows) + 1))


def _around(state: Standing, role: str, block: pd.DataFrame) -> pd.DataFrame:
    """One warm-up, reference or spare shot beside a block, not yet numbered."""
    row = _of_method(state, block.iloc[[0]], state.trial.reference_method)
    row = row.assign(role=role, block="", position=None)
    if role != "spare":
        return row
    factors = [factor.name for factor in state.trial.factors]
    return row.assign(**dict.fromkeys(["method", "whole_plot", *factors], ""))


def _of_method(state: Standing, row: pd.DataFrame, method: str) -> pd.DataFrame:
    """The same place for another method: its name, its settings, no number yet."""
    settings = next(m.settings for m in state.trial.methods if m.name == method)
    return row.assign(method=method, planned_shot=None, **settings)


def _numbered(everyone: pd.DataFrame, rows: pd.DataFrame, mishap: Mishap) -> pd.DataFrame:
    """New pulls get numbers after the last and codes of their own; moved ones keep theirs."""
    new = rows["planned_shot"].isna()
    first = int(everyone["planned_shot"].max()) + 1
    numbered = rows.copy()
    numbered.loc[new, "planned_shot"] = range(first, first + int(new.sum()))
    rng = generator(mishap.seed, _RESCUE_STREAM)
    taken = list(dict.fromkeys(everyone["code"]))
    numbered.loc[new, "code"] = draw_codes(rng, [int(new.sum())], taken)[0]
    return as_schedule(numbered)


def make_up_blocks(state: Standing, lost: pd.DataFrame, mishap: Mishap) -> list[pd.DataFrame]:
    """The lost shots in a fresh random order, one block for each hard-to-change setting."""
    rng = generator(mishap.seed, _RESCUE_STREAM)
    hard = [factor.name for factor in state.trial.hard_factors]
    groups = [rows for _, rows in lost.groupby(hard, sort=False)] if hard else [lost]
    before = state.schedule.loc[state.schedule["block"].str.startswith("M"), "block"].nunique()
    blocks = []
    for number, group in enumerate(groups, start=before + 1):
        rows = _with_a_rival(state, group)
        rows = rows.iloc[rng.permutation(len(rows))]
        label = f"M{number}"
        blocks.append(
            rows.assign(
                planned_shot=None,
                block=label,
                whole_plot=label if hard else "",
                bag="",
                position=range(1, len(rows) + 1),
            )
        )
    return blocks


def _with_a_rival(state: Standing, rows: pd.DataFrame) -> pd.DataFrame:
    """Shots of one method alone are joined by one of another, so that they can be compared."""
    if rows["method"].nunique() > 1:
        return rows
    only = rows["method"].iloc[0]
    names = [state.trial.reference_method, *state.trial.method_names]
    rival = next(name for name in names if name != only)
    return pd.concat([rows, _of_method(state, rows.iloc[[0]], rival)], ignore_index=True)


def insert_before_end(
    state: Standing, blocks: list[pd.DataFrame], session: str, mishap: Mishap
) -> pd.DataFrame:
    """Put blocks after the last block of a session, before what closes it."""
    schedule = state.schedule
    study = np.flatnonzero((schedule["session"] == session) & (schedule["role"] == "study"))
    cut = int(study.max()) + 1
    placed = pd.concat(blocks).assign(session=session, bag=schedule["bag"].iloc[cut - 1])
    placed = _numbered(schedule, placed, mishap)
    whole = pd.concat([schedule.iloc[:cut], placed, schedule.iloc[cut:]], ignore_index=True)
    here = whole["session"] == session
    whole.loc[here, "session_position"] = range(1, int(here.sum()) + 1)
    return whole
