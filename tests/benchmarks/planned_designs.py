"""The layouts on which promised power is held against simulated power."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from kit.planning.comparisons import Comparison
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import study_rows
from kit.planning.questions import comparison_family
from kit.planning.virtual import VirtualPlan, virtual_plan
from kit.schedule import draw_schedule
from kit.trial import Trial
from tests.planning.trials import make_trial, split_plot_trial

NO_BLOCK_SD = {"session_sd": 0.0, "block_sd": 0.0}


@dataclass(frozen=True)
class Case:
    """One layout with its promised and its simulated comparisons, in the same order."""

    name: str
    trial: Trial
    plan: VirtualPlan
    promised: list[Comparison]
    shots: float
    lost: float = 0.0


def cases() -> list[Case]:
    """Complete, boundary, lossy, control, incomplete, row-column, carry-over, split, unequal."""
    complete, five_by_ten = make_trial(5, **_layout(3, 4)), make_trial(5, **_layout(2, 5))
    control = make_trial(5, "against control", control_shots_per_block=2, **_layout(2, 4))
    balanced = make_trial(4, design="carry-over balanced", **_layout(3, 4))
    unequal = [(0, 1, 2, 3), (0, 1), (0, 1, 2), (0, 1, 2, 3), (0, 1), (0, 1, 2)] * 2
    return [
        _drawn("complete 5 × 12", complete),
        _drawn("complete 5 × 10, no block variance", _noise(five_by_ten, **NO_BLOCK_SD)),
        _drawn("complete 3 × 4", make_trial(3, **_layout(2, 2))),
        _drawn("complete 5 × 12, 10 % lost", complete, lost=0.1),
        _drawn("control doubled, 5 × 8", control),
        _drawn("incomplete 7 in 4, 28 blocks", _incomplete(7, 4, 7, 4)),
        _drawn("incomplete 6 in 3, 10 blocks", _incomplete(6, 3, 2, 5)),
        _by_hand("incomplete 5 in 2, 10 blocks", 5, list(combinations(range(5), 2))),
        _drawn("incomplete 7 in 4, block SD 0.6", _noise(_incomplete(7, 4, 7, 4), block_sd=0.6)),
        _drawn("Latin square 5 × 5", make_trial(5, design="latin square", **_layout(1, 5))),
        _drawn("carry-over balanced 4 × 12", balanced),
        _drawn("split plot, 4 sessions", split_plot_trial(4)),
        _drawn("split plot, 8 sessions", split_plot_trial(8)),
        _by_hand("unequal numbers, 4 methods", 4, unequal),
    ]


def _layout(sessions: int, blocks: int) -> dict[str, int]:
    return {"sessions": sessions, "blocks_per_session": blocks}


def _incomplete(methods: int, block: int, sessions: int, blocks: int) -> Trial:
    return make_trial(
        methods,
        sessions=sessions,
        blocks_per_session=blocks,
        shots_per_block=block,
        design="incomplete blocks",
    )


def _noise(trial: Trial, **changes: float) -> Trial:
    return trial.model_copy(update={"noise": trial.noise.model_copy(update=changes)})


def _drawn(name: str, trial: Trial, lost: float = 0.0) -> Case:
    return _case(name, trial, draw_schedule(trial, 1), lost)


def _by_hand(name: str, methods: int, blocks: list[tuple[int, ...]]) -> Case:
    trial = make_trial(methods, sessions=1, blocks_per_session=len(blocks))
    rows = [
        ("s1", f"b{b + 1}", place + 1, "study", f"m{method + 1}")
        for b, block in enumerate(blocks)
        for place, method in enumerate(block)
    ]
    columns = ["session", "block", "position", "role", "method"]
    return _case(name, trial, pd.DataFrame(rows, columns=columns))


def _case(name: str, trial: Trial, schedule: pd.DataFrame, lost: float = 0.0) -> Case:
    rows = study_rows(schedule, trial)
    layout = LaidOut(rows, trial, trial.noise)
    shots = len(rows) / rows["method"].nunique()
    # Lost shots: the promise is the one for as many blocks as shots are left.
    left = float(np.round(shots * (1 - lost)))
    return Case(
        name,
        trial,
        virtual_plan(schedule, trial),
        comparison_family(trial, trial.primary, layout),
        left,
        lost,
    )
