"""Sentences about a trial as a whole: who wins, and whether anybody can taste it.

They add no chance of a false claim of their own. "Wins" needs to stand alone in the primary
outcome, which the claims of that outcome already answer for; a taste test is one test.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from kit.analysis.discrimination import DiscriminationResult
from kit.analysis.result import DIFFERENT, Analysis, OutcomeResult
from kit.errors import PlanError
from kit.findings.claims import CONTRADICTED, SILENT, SUPPORTED, Claim, ShotsNeeded
from kit.findings.sentences import pair_sentence
from kit.findings.wording import listed, scale_of
from kit.numerals import say_p
from kit.planning.discrimination_power import (
    lasting_tests_for_difference,
    lasting_tests_for_similarity,
)
from kit.planning.taste_answers import SHARE_TOO_FEW, SHARE_WHO_TELL
from kit.trial import Trial

WHOLE = "the whole trial"


def whole_trial_claims(trial: Trial, analysis: Analysis, shots_needed: ShotsNeeded) -> list[Claim]:
    """Every claim about the trial as a whole that its outcomes bear on."""
    return [
        *_winning(analysis, shots_needed),
        *_telling_apart(trial, analysis.extras.get("discrimination")),
        *_tasting(analysis),
    ]


def _winning(analysis: Analysis, shots_needed: ShotsNeeded) -> list[Claim]:
    primary = analysis.primary
    if primary is None or primary.may_be_best is None:
        return []
    judged = [
        result
        for result in analysis.results
        if result.outcome.role == "secondary" and result.may_be_best is not None
    ]
    names = [str(name) for name in primary.groups["method"]]
    return [_wins(name, primary, judged, shots_needed) for name in names]


def _wins(
    name: str, primary: OutcomeResult, judged: list[OutcomeResult], shots_needed: ShotsNeeded
) -> Claim:
    best, noun = primary.may_be_best or (), scale_of(primary.outcome).noun
    text = f"{name} wins"
    if name not in best:
        strongest = f"{name} does not lead in {noun}."
        return Claim(WHOLE, "primary", text, CONTRADICTED, strongest, "")
    if len(best) > 1:
        strongest = f"{listed(best, 'or')} may lead in {noun}; these shots do not say which."
        return Claim(WHOLE, "primary", text, SILENT, strongest, shots_needed(primary))
    behind = [scale_of(r.outcome).noun for r in judged if name not in (r.may_be_best or ())]
    leads = f"{name} leads in {noun}"
    if behind:
        strongest = f"{leads}, and is ruled out as the best in {listed(behind)}."
        return Claim(WHOLE, "primary", text, SILENT, strongest, "")
    others = [scale_of(r.outcome).noun for r in judged]
    rest = f", and is not ruled out as the best in {listed(others)}" if others else ""
    return Claim(WHOLE, "primary", text, SUPPORTED, f"{leads}{rest}.", "")


def _telling_apart(trial: Trial, tests: pd.DataFrame | None) -> list[Claim]:
    """What a triangle, duo-trio or paired test of the plan bears out."""
    if tests is None or trial.tasting.pair is None:
        return []
    pair = " and ".join(trial.tasting.pair)
    results = tests.drop(columns="attribute", errors="ignore").to_dict("records")
    return [
        claim
        for result in results
        for claim in _claims_of_test(
            pair, DiscriminationResult(**{str(name): value for name, value in result.items()})
        )
    ]


def _claims_of_test(pair: str, found: DiscriminationResult) -> list[Claim]:
    told = found.p_difference < 0.05
    evidence = (
        f"{found.correct} of {found.n} {found.test} tests were right "
        f"({say_p(found.p_difference)}). {found.limits_in_words()} of tastings tell {pair} apart "
        "(each limit at 95 %)."
    )
    few = found.most_discriminators < SHARE_TOO_FEW
    many = found.fewest_discriminators >= SHARE_TOO_FEW
    more = (
        ""
        if few or many
        else _tests_needed(
            lasting_tests_for_similarity,
            found.test,
            SHARE_TOO_FEW,
            f"to rule out that {100 * SHARE_TOO_FEW:.0f} % can tell",
        )
    )
    apart = (
        ""
        if told
        else _tests_needed(
            lasting_tests_for_difference,
            found.test,
            SHARE_WHO_TELL,
            f"if {100 * SHARE_WHO_TELL:.0f} % of answers rest on taste",
        )
    )
    return [
        Claim(WHOLE, "taste", f"Tasters can tell {pair} apart", SUPPORTED if told else SILENT,
              evidence, apart),
        Claim(WHOLE, "taste", f"Hardly anybody can taste the difference between {pair}",
              SUPPORTED if few else CONTRADICTED if many else SILENT, evidence, more),
        Claim(WHOLE, "taste", f"Nobody can taste the difference between {pair}",
              CONTRADICTED if told else SILENT, evidence if told else
              f"{evidence} (Never: nobody can.)", ""),
    ]  # fmt: skip


def _tests_needed(count: Callable[[str, float], int], test: str, share: float, aim: str) -> str:
    try:
        return f"about {count(test, share)} tests, {aim} (80 % chance)"
    except PlanError as refusal:
        return str(refusal)


def _tasting(analysis: Analysis) -> list[Claim]:
    """What the scores bear out; those of exploratory outcomes carry no claim."""
    scored = [
        result
        for result in analysis.results
        if result.outcome.aspect == "score" and result.outcome.role != "exploratory"
    ]
    if not scored:
        return []
    text = "Nobody can taste a difference between the methods"
    for result in scored:
        for row in result.difference_rows():
            if row["verdict"] == DIFFERENT:
                sentence = pair_sentence(result.outcome, row)
                return [Claim(WHOLE, "taste", text, CONTRADICTED, sentence, "")]
    strongest = (
        f"No difference in {listed([scale_of(r.outcome).noun for r in scored])} was shown. Whether "
        "cups can be told apart is not asked by scores."
    )
    return [Claim(WHOLE, "taste", text, SILENT, strongest, "a triangle or duo-trio test")]
