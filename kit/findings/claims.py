"""The claim sheet: for each sentence one might want to say, whether the shots support it.

A claim is supported only by a simultaneous statement: the chance of supporting any false claim is
at most 5 % in each of an outcome's two families (the declared comparisons; the set that may be
best). The primary outcome carries the claim; sentences of other outcomes are marked as secondary
or exploratory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from kit.analysis.result import DIFFERENT, SAME, OutcomeResult
from kit.findings.sentences import comparative, pair_sentence
from kit.findings.wording import listed, scale_of, smallest_difference_words
from kit.trial import Outcome

SUPPORTED = "supported"
CONTRADICTED = "contradicted"
SILENT = "the shots are silent"


@dataclass(frozen=True)
class Claim:
    """One sentence somebody may want to say, and what the shots say to it."""

    outcome: str
    role: str
    claim: str
    standing: str
    strongest: str
    needs: str


ShotsNeeded = Callable[[OutcomeResult], str]
"""How many shots a method a stronger statement would take, in words (from planning)."""


def claim_sheet(result: OutcomeResult, shots_needed: ShotsNeeded) -> list[Claim]:
    """Every claim of one outcome: which is best; of each pair, both directions and no difference;
    of each interaction, that the parts do more together, or less, or simply add up."""
    claims = [_best_claim(result, str(name), shots_needed) for name in result.groups["method"]]
    if result.may_be_best is None:
        claims = []
    for row in result.difference_rows():
        if not row["b"]:
            claims += _interaction_claims(result, row, shots_needed)
            continue
        claims.append(_more_claim(result, row, shots_needed))
        claims.append(_more_claim(result, _turned(result.outcome, row), shots_needed))
        claims.append(_same_claim(result, row, shots_needed))
    return claims


def by_wording(claims: Sequence[Claim]) -> list[tuple[tuple[str, ...], Claim]]:
    """Claims that bear the very same wording, told together: their texts, and the first of them."""
    together: dict[tuple[str, str, str, str], list[Claim]] = {}
    for claim in claims:
        key = (claim.outcome, claim.standing, claim.strongest, claim.needs)
        together.setdefault(key, []).append(claim)
    return [(tuple(claim.claim for claim in same), same[0]) for same in together.values()]


def _best_claim(result: OutcomeResult, name: str, shots_needed: ShotsNeeded) -> Claim:
    best = result.may_be_best or ()
    outcome = result.outcome
    text = _best_words(outcome, name)
    if best == (name,):
        return _claim(outcome, text, SUPPORTED, text + ".", "")
    if name not in best:
        # Hsu's limits say so much, also where methods tie: another is at least as good.
        verb = "is" if len(best) == 1 else "may be"
        strongest = f"{name} is not ahead of all others; {listed(best, 'or')} {verb} the best."
        return _claim(outcome, text, CONTRADICTED, strongest, "")
    strongest = f"{listed(best, 'or')} may be the best; these shots do not say which."
    return _claim(outcome, text, SILENT, strongest, shots_needed(result))


def _more_claim(result: OutcomeResult, row: dict[str, Any], shots_needed: ShotsNeeded) -> Claim:
    outcome = result.outcome
    text = _more_words(outcome, row["a"], row["b"])
    sentence = pair_sentence(outcome, row)
    if row["verdict"] == DIFFERENT:
        above = row["estimate"] > (1 if scale_of(outcome).is_ratio else 0)
        return _claim(outcome, text, SUPPORTED if above else CONTRADICTED, sentence, "")
    needs = "" if row["verdict"] == SAME else shots_needed(result)
    return _claim(outcome, text, SILENT, sentence, needs)


def _same_claim(result: OutcomeResult, row: dict[str, Any], shots_needed: ShotsNeeded) -> Claim:
    outcome = result.outcome
    text = f"There is no difference in {scale_of(outcome).noun} between {row['a']} and {row['b']}"
    if row["verdict"] == DIFFERENT:
        return _claim(outcome, text, CONTRADICTED, pair_sentence(outcome, row), "")
    if row["verdict"] == SAME:
        strongest = (
            f"Any difference between {row['a']} and {row['b']} in {scale_of(outcome).noun} is "
            f"smaller than {smallest_difference_words(outcome)}. (Never: there is none.)"
        )
        return _claim(outcome, text, SUPPORTED, strongest, "")
    needs = shots_needed(result)
    return _claim(outcome, text, SILENT, pair_sentence(outcome, row), needs)


def _interaction_claims(
    result: OutcomeResult, row: dict[str, Any], shots_needed: ShotsNeeded
) -> list[Claim]:
    """``estimate``: how much more both together are worth than the sum of each alone."""
    parts = row["a"].replace(" with ", " and ")
    more = f"{parts} do more together than the sum of what each does"
    less = f"{parts} do less together than the sum of what each does"
    sentence, needs = pair_sentence(result.outcome, row), ""
    standings = (SILENT, SILENT, SUPPORTED if row["verdict"] == SAME else SILENT)
    if row["verdict"] == DIFFERENT:
        above = row["estimate"] > 0
        standings = (
            SUPPORTED if above else CONTRADICTED,
            CONTRADICTED if above else SUPPORTED,
            CONTRADICTED,
        )
    elif row["verdict"] != SAME:
        needs = shots_needed(result)
    texts = (more, less, f"{parts} simply add up")
    return [
        _claim(result.outcome, text, standing, sentence, needs)
        for text, standing in zip(texts, standings, strict=True)
    ]


def _claim(outcome: Outcome, text: str, standing: str, strongest: str, needs: str) -> Claim:
    return Claim(outcome.name, outcome.role, text, standing, strongest, needs)


def _best_words(outcome: Outcome, name: str) -> str:
    if outcome.aspect == "spread":
        return f"{name} is the most consistent"
    if outcome.aspect == "rate":
        return (
            f"{name} has the fewest shots with {scale_of(outcome).noun.removeprefix('shots with ')}"
        )
    direction = "highest" if outcome.higher_is_better else "lowest"
    return f"{name} has the {direction} {scale_of(outcome).noun}"


def _more_words(outcome: Outcome, a: str, b: str) -> str:
    verb = "is less consistent" if outcome.aspect == "spread" else comparative(outcome)
    return f"{a} {verb} than {b}"


def _turned(outcome: Outcome, row: dict[str, Any]) -> dict[str, Any]:
    """The same pair seen from the other side."""
    turned = dict(row, a=row["b"], b=row["a"])
    if scale_of(outcome).is_ratio:
        turned.update(estimate=1 / row["estimate"], lower=1 / row["upper"], upper=1 / row["lower"])
    else:
        turned.update(estimate=-row["estimate"], lower=-row["upper"], upper=-row["lower"])
    return turned
