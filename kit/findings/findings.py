"""All that may be said of a completed trial, as data: one record, made from tables alone."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from kit.analysis.result import DIFFERENT, Analysis, OutcomeResult
from kit.findings.claims import Claim, ShotsNeeded, claim_sheet
from kit.findings.limits import Record, limits_of
from kit.findings.sentences import contrast_name, outcome_headline, pair_sentence, verdict_words
from kit.findings.whole_trial import whole_trial_claims
from kit.findings.wording import outcome_label
from kit.trial import Trial


@dataclass(frozen=True)
class OutcomeFinding:
    """What may be said of one outcome."""

    outcome: str
    role: str
    headline: str
    pairs: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Findings:
    """The verdict in words, outcome by outcome, with claim sheet and limits."""

    question: str
    headline: str
    outcomes: tuple[OutcomeFinding, ...]
    claims: tuple[Claim, ...]
    limits: tuple[str, ...]
    set_aside: tuple[str, ...]
    checks: tuple[str, ...]
    """What stands beside the planned outcomes and carries no claim."""

    def as_data(self) -> dict[str, Any]:
        """Plain lists and dictionaries, ready for JSON."""
        return asdict(self)


def state_findings(
    trial: Trial, analysis: Analysis, record: Record, shots_needed: ShotsNeeded
) -> Findings:
    """Turn a whole analysis into sentences.

    Parameters
    ----------
    record
        How the trial was run: randomised or not, sealed or not, peeks, deviations.
    shots_needed
        Says how many shots a stronger statement would take (made from planning).
    """
    aside = [part.sentence() for part in _set_aside(analysis)]
    return Findings(
        question=trial.question,
        headline=_headline(analysis),
        outcomes=tuple(_outcome_finding(result) for result in analysis.results)
        + tuple(
            OutcomeFinding(item.outcome.name, item.outcome.role, item.reason, (), ())
            for item in analysis.not_analysed
        ),
        claims=(
            *whole_trial_claims(trial, analysis, shots_needed),
            *(c for result in analysis.results for c in claim_sheet(result, shots_needed)),
        ),
        limits=tuple(limits_of(trial, analysis.study, record)),
        set_aside=tuple(dict.fromkeys(aside)),
        checks=tuple(analysis.extra_notes.values()),
    )


def verdict_grid(analysis: Analysis) -> pd.DataFrame:
    """Pairs in rows, outcomes in columns, verdicts in the cells; empty where not compared.

    A pair has one row, whichever way round an outcome compares it: verdicts have no direction.
    """
    names: dict[frozenset[str], str] = {}
    columns: dict[str, dict[str, str]] = {}
    for result in analysis.results:
        cells = columns.setdefault(outcome_label(result.outcome), {})
        for row in result.difference_rows():
            name = names.setdefault(frozenset((row["a"], row["b"])), contrast_name(row))
            cells[name] = verdict_words(row["verdict"])
    grid = pd.DataFrame(columns).reindex(list(names.values()))
    return grid.fillna("").rename_axis("pair").reset_index()


def _headline(analysis: Analysis) -> str:
    """The primary answer first, then what the spread adds, in at most two sentences."""
    primary = analysis.primary
    if primary is None:
        reason = next(
            (item.reason for item in analysis.not_analysed if item.outcome.role == "primary"), ""
        )
        return f"The main question cannot be answered from these shots. {reason}".strip()
    sentences = [outcome_headline(primary)]
    for result in analysis.results:
        if result.outcome.role == "secondary" and _says_something(result):
            sentences.append(outcome_headline(result))
    return " ".join(sentences[:3])


def _says_something(result: OutcomeResult) -> bool:
    return bool((result.differences["verdict"] == DIFFERENT).any())


def _outcome_finding(result: OutcomeResult) -> OutcomeFinding:
    rows = result.difference_rows()
    label = {"primary": "", "secondary": "Secondary: ", "exploratory": "Exploratory: "}
    return OutcomeFinding(
        outcome=result.outcome.name,
        role=result.outcome.role,
        headline=label[result.outcome.role] + outcome_headline(result),
        pairs=tuple(pair_sentence(result.outcome, row) for row in rows),
        notes=result.notes,
    )


def _set_aside(analysis: Analysis) -> list[Any]:
    return [part for result in analysis.results for part in result.set_aside]
