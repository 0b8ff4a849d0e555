"""The person's own plan, checked by simulation: the same questions, the actual schedule."""

from __future__ import annotations

import pandas as pd

from kit.planning.chunks import Run
from kit.planning.laid_out import LaidOut
from kit.planning.questions import questions_of
from kit.planning.simulated_power import chance_found
from kit.planning.simulation import Simulation, simulate
from kit.planning.truth import Truth
from kit.planning.virtual import virtual_plan
from kit.trial import Trial


def simulated_trial(
    trial: Trial, schedule: pd.DataFrame, run: Run, lost_share: float = 0.0
) -> Simulation:
    """Virtual trials of this schedule at the noise assumed, all methods alike."""
    truth = Truth.level(trial).losing(lost_share)
    return simulate(virtual_plan(schedule, trial), truth, run)


def simulated_answers(trial: Trial, layout: LaidOut, simulation: Simulation) -> pd.DataFrame:
    """The differences of the answer table as simulated, for the trial's own number of shots.

    Columns ``question, words, promised, chance, mc_error``. Only the families the trial is judged
    by are simulated; a pair named in advance is not among them.
    """
    asked = [q for q in questions_of(trial, layout) if q.kind == "difference"]
    shots = trial.shots_per_method_planned
    rows = []
    # The families of the plan stand in the order of the questions about them.
    for number, question in zip(range(len(simulation.plan.families)), asked, strict=False):
        found = chance_found(simulation, question.outcome.smallest_difference, number)
        promised = question.chance(shots, 1.0)
        rows.append((question.key, question.words, promised, found.chance, found.mc_error))
    return pd.DataFrame(rows, columns=["question", "words", "promised", "chance", "mc_error"])
