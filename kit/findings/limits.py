"""What the shots cannot speak for: said with every verdict, never left to the reader."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.findings.wording import listed, sentence_case
from kit.trial import Trial


@dataclass(frozen=True)
class Record:
    """What is known about how the trial was run, beyond its shots.

    Attributes
    ----------
    randomised
        The order came from a recorded seed (a schedule that was frozen before the first shot).
    blocked
        Methods were compared within blocks.
    frozen_before_first_shot
        The seal is older than the first shot.
    peeks
        Times a comparison was asked for before the trial was complete.
    deviations
        Rows of ``codebook.DEVIATIONS``.
    analyst_was_blind
        The analysis was settled on letters, before names were shown.
    unknown
        Sentences on what is not known of shots that were imported.
    """

    randomised: bool = True
    blocked: bool = True
    frozen_before_first_shot: bool = True
    peeks: int = 0
    deviations: pd.DataFrame | None = None
    analyst_was_blind: bool = False
    unknown: tuple[str, ...] = ()


def limits_of(trial: Trial, study: pd.DataFrame, record: Record) -> list[str]:
    """Every limit that applies, the most serious first, one sentence each."""
    return [
        *_design_limits(record),
        *_conduct_limits(record),
        *_blinding_limits(trial, record),
        *_scope_limits(trial, study, record),
    ]


def _design_limits(record: Record) -> list[str]:
    words = list(record.unknown)
    if not record.randomised and not words:
        words.append(
            "The order of the shots was not drawn at random, so anything that changed along the "
            "way (grinder, beans, hands) may stand behind a difference shown here."
        )
    if not record.blocked and not record.unknown:
        words.append(
            "The shots were not arranged in blocks, so methods were not compared like with like."
        )
    if record.randomised and not record.frozen_before_first_shot:
        words.append("The plan was not sealed before the first shot.")
    return words


def _conduct_limits(record: Record) -> list[str]:
    words = []
    if record.peeks:
        times = "once" if record.peeks == 1 else f"{record.peeks} times"
        words.append(
            f"Results were looked at {times} before the trial was complete; "
            "looking early raises the chance of a false alarm."
        )
    if record.deviations is not None and len(record.deviations):
        kinds = record.deviations["what"].value_counts(sort=False)
        said = ", ".join(f"{count} × {what}" for what, count in sorted(kinds.items()))
        words.append(f"Not everything went as planned: {said}. Each is listed with its reason.")
    return words


def _blinding_limits(trial: Trial, record: Record) -> list[str]:
    if record.unknown:
        return ["Who knew which method a cup came from is not recorded."]
    blinding = trial.blinding
    knew = ["the person who pulled the shots"]
    knew += ["the person who measured"] if not blinding.measurer else []
    knew += ["the person who counted faults"] if not blinding.fault_scorer else []
    knew += ["the tasters"] if trial.tasting.tasters and not blinding.taster else []
    knew += ["the person who analysed"] if not record.analyst_was_blind else []
    verb = "was" if len(knew) == 1 else "were"
    joined = listed(knew)
    return [f"{sentence_case(joined)} {verb} not blind to the method."]


def _scope_limits(trial: Trial, study: pd.DataFrame, record: Record) -> list[str]:
    sessions = int(study["session"].nunique()) if "session" in study else 0
    over = f", over {sessions} {'session' if sessions == 1 else 'sessions'}" if sessions else ""
    words = [
        f"One coffee ({trial.coffee.name}), one grinder, one machine and one pair of hands{over}: "
        "the answer is about that set-up, not about every kitchen."
    ]
    if record.unknown:
        words.append("Whether the grind was the same for every method is not recorded.")
    elif trial.recipe.grind == "untouched":
        words.append(
            "The grind stayed the same for every method. That isolates the preparation, and is "
            "hard on a method that changes the flow: re-dialled, the answer may be another."
        )
    else:
        words.append(
            "The grind was dialled in again for each method, so a difference is that of the "
            "method together with its own grind."
        )
    if trial.invented:
        words.insert(0, "An invented example: nobody pulled these shots.")
    return words
