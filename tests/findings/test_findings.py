"""Sentences and claims: they say what the verdict says, never more, and carry their interval."""

import math

import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kit.analysis.result import VERDICTS, Analysis, OutcomeResult
from kit.analysis.verdict import ratio_verdict, verdict
from kit.findings.claims import CONTRADICTED, SILENT, SUPPORTED, by_wording, claim_sheet
from kit.findings.findings import verdict_grid
from kit.findings.sentences import outcome_headline, pair_sentence
from kit.findings.wording import listed, scale_of
from kit.trial import Outcome

MEAN = Outcome(
    measure="ey_pct", aspect="mean", role="primary", smallest_difference=0.5, higher_is_better=True
)
SPREAD = Outcome(measure="ey_pct", aspect="spread", smallest_difference=1.5, higher_is_better=False)
RATE = Outcome(measure="faults", aspect="rate", smallest_difference=0.2, higher_is_better=False)


def result_of(outcome: Outcome, rows: list[tuple], best: tuple[str, ...] | None) -> OutcomeResult:
    judge = ratio_verdict if outcome.aspect == "spread" else verdict
    table = pd.DataFrame(rows, columns=["a", "b", "estimate", "lower", "upper"])
    table["p"] = table["p_adjusted"] = 0.01
    table["verdict"] = [
        judge(low, high, outcome.smallest_difference)
        for low, high in zip(table["lower"], table["upper"], strict=True)
    ]
    names = list(dict.fromkeys([*table["a"], *table["b"]]))
    groups = pd.DataFrame(
        {"method": names, "n": 12, "estimate": 19.5, "lower": 19.2, "upper": 19.8}
    )
    return OutcomeResult(outcome, groups, table, best, pd.DataFrame())


THREE = [("A", "B", 0.9, 0.6, 1.2), ("A", "C", 0.1, -0.3, 0.45), ("B", "C", -0.3, -0.8, 0.2)]


def needs(_: OutcomeResult) -> str:
    return "about 22 shots a method"


def test_each_verdict_has_its_own_sentence() -> None:
    sentences = [pair_sentence(MEAN, row) for row in result_of(MEAN, THREE, None).difference_rows()]
    assert sentences[0] == (
        "A extracts more than B: by 0.90 points (95 % simultaneous interval 0.60 to 1.20 points, "
        "p = 0.010). That is at least the smallest difference that matters (0.5 points)."
    )
    assert "A and C are the same for practical purposes" in sentences[1]
    assert "smaller than 0.5 points" in sentences[1]
    # A negative estimate is told from the side of the larger one.
    assert sentences[2].startswith("C and B: cannot tell. The estimate is 0.30 points")


def test_ratios_and_rates_are_spoken_of_in_their_own_units() -> None:
    row = result_of(SPREAD, [("A", "B", 0.4, 0.2, 0.8)], None).difference_rows()[0]
    assert pair_sentence(SPREAD, row).startswith(
        "A is more consistent than B: the shot-to-shot spread of extraction of B is 2.50 times"
    )
    assert "1.25 to 5.00 times" in pair_sentence(SPREAD, row)
    row = result_of(RATE, [("A", "B", 0.25, -0.1, 0.55)], None).difference_rows()[0]
    assert "25 percentage points" in pair_sentence(RATE, row)
    assert "−10 to 55 percentage points" in pair_sentence(RATE, row)


def test_a_pair_has_one_row_in_the_grid_whichever_way_round_it_was_compared() -> None:
    first = result_of(MEAN, [("B", "A", 0.9, 0.6, 1.2)], None)
    second = result_of(SPREAD, [("A", "B", 1.1, 0.4, 3.0), ("B", "C", 3.0, 2.0, 4.0)], None)
    grid = verdict_grid(Analysis((first, second), (), pd.DataFrame()))
    assert grid["pair"].tolist() == ["B against A", "B against C"]
    assert grid.iloc[0, 1:].tolist() == ["different", "cannot tell"]
    assert grid.iloc[1, 1:].tolist() == ["", "different"]


@pytest.mark.parametrize(
    ("best", "words"),
    [
        (("A",), "A comes out highest; B and C are behind"),
        (("A", "C"), "A or C may have the highest; B is ruled out as highest"),
        (("A", "B", "C"), "any of A, B or C may have the highest"),
    ],
)
def test_headline_names_the_set_that_may_be_best(best: tuple[str, ...], words: str) -> None:
    assert words in outcome_headline(result_of(MEAN, THREE, best))


def test_claim_sheet_sorts_every_claim() -> None:
    claims = {
        claim.claim: claim for claim in claim_sheet(result_of(MEAN, THREE, ("A", "C")), needs)
    }
    assert claims["A extracts more than B"].standing == SUPPORTED
    assert claims["B extracts more than A"].standing == CONTRADICTED
    assert claims["A extracts more than C"].standing == SILENT
    same = claims["There is no difference in extraction between A and C"]
    assert same.standing == SUPPORTED
    assert "smaller than 0.5 points" in same.strongest
    assert claims["There is no difference in extraction between A and B"].standing == CONTRADICTED
    assert claims["A has the highest extraction"].standing == SILENT
    assert claims["A has the highest extraction"].needs == "about 22 shots a method"
    assert claims["B has the highest extraction"].standing == CONTRADICTED
    assert len(claims) == 3 + 3 * 3


def test_a_winner_needs_to_stand_alone() -> None:
    claims = {claim.claim: claim for claim in claim_sheet(result_of(MEAN, THREE, ("A",)), needs)}
    assert claims["A has the highest extraction"].standing == SUPPORTED


@given(
    estimate=st.floats(-3, 3),
    half=st.floats(0.01, 3),
    outcome=st.sampled_from([MEAN, RATE]),
)
def test_no_sentence_claims_what_its_interval_does_not(
    estimate: float, half: float, outcome: Outcome
) -> None:
    result = result_of(outcome, [("A", "B", estimate, estimate - half, estimate + half)], None)
    row = result.difference_rows()[0]
    assert row["verdict"] in VERDICTS
    claims = claim_sheet(result, needs)
    supported = [claim.claim for claim in claims if claim.standing == SUPPORTED]
    more = "extracts more than" if outcome is MEAN else "has more shots with flow faults than"
    if f"A {more} B" in supported:
        assert estimate - half > 0
    if f"B {more} A" in supported:
        assert estimate + half < 0
    if any("no difference" in claim for claim in supported):
        assert max(abs(estimate - half), abs(estimate + half)) < outcome.smallest_difference
    sentence = pair_sentence(outcome, row)
    assert "simultaneous interval" in sentence
    assert "p " in sentence


@given(ratio=st.floats(0.05, 20), spread=st.floats(1.01, 10))
def test_a_ratio_reads_the_same_from_both_sides(ratio: float, spread: float) -> None:
    one = result_of(SPREAD, [("A", "B", ratio, ratio / spread, ratio * spread)], None)
    back = result_of(SPREAD, [("B", "A", 1 / ratio, 1 / ratio / spread, 1 / ratio * spread)], None)
    for edge in (1.0, spread, 1 / spread, 1.5 / spread, spread / 1.5, 1.5 * spread):
        assume(not math.isclose(ratio, edge, rel_tol=1e-6))
    assert pair_sentence(SPREAD, one.difference_rows()[0]) == pair_sentence(
        SPREAD, back.difference_rows()[0]
    )


def test_lists_and_scales_in_words() -> None:
    assert listed(["A"]) == "A"
    assert listed(["A", "B", "C"], "or") == "A, B or C"
    assert scale_of(RATE).noun == "shots with flow faults"


def test_claims_of_one_wording_are_told_together_and_none_is_lost() -> None:
    sheet = claim_sheet(result_of(MEAN, THREE, ("A", "C")), needs)
    together = by_wording(sheet)
    assert sorted(text for texts, _ in together for text in texts) == sorted(
        claim.claim for claim in sheet
    )
    assert len(together) < len(sheet)
    silent = next(texts for texts, claim in together if claim.strongest.startswith("A or C"))
    assert silent == ("A has the highest extraction", "C has the highest extraction")
