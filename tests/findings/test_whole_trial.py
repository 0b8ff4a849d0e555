"""Who wins, and whether anybody can taste it: supported only by what the shots bear."""

from dataclasses import asdict

import pandas as pd
import pytest

from kit.analysis.discrimination import discrimination_test
from kit.analysis.result import Analysis, OutcomeResult
from kit.findings.claims import CONTRADICTED, SILENT, SUPPORTED, Claim, claim_sheet
from kit.findings.whole_trial import WHOLE, whole_trial_claims
from kit.trial import Outcome, Trial, read_trial
from tests.findings.test_findings import MEAN, RATE, SPREAD, THREE, needs, result_of

LIKING = Outcome(measure="liking", aspect="score", smallest_difference=1.0)
TIED = [("A", "B", 0.1, -0.9, 1.1)]
EVEN = [("A", "B", 1.1, 0.4, 3.0)]


@pytest.fixture(scope="module")
def trial(samples) -> Trial:
    return read_trial(samples / "seven_rivers")


def claims_of(trial: Trial, *results: OutcomeResult, tests: pd.DataFrame | None = None):
    extras = {} if tests is None else {"discrimination": tests}
    analysis = Analysis(results, (), pd.DataFrame(), extras=extras)
    return {claim.claim: claim for claim in whole_trial_claims(trial, analysis, needs)}


def taste_tests(correct: int, n: int, test: str = "duo-trio") -> pd.DataFrame:
    return pd.DataFrame([asdict(discrimination_test(correct, n, test))])


def test_the_one_that_leads_alone_wins_and_nothing_else_does(trial):
    found = claims_of(trial, result_of(MEAN, THREE, ("A",)), result_of(SPREAD, EVEN, ("A", "B")))
    assert found["A wins"].standing == SUPPORTED
    assert found["A wins"].strongest == (
        "A leads in extraction, and is not ruled out as the best in shot-to-shot spread of "
        "extraction."
    )
    assert found["B wins"].standing == CONTRADICTED
    assert all(claim.outcome == WHOLE for claim in found.values())


def test_a_lead_that_costs_evenness_is_no_win(trial):
    found = claims_of(trial, result_of(MEAN, THREE, ("A",)), result_of(RATE, TIED, ("B",)))
    assert found["A wins"].standing == SILENT
    assert "ruled out as the best in shots with flow faults" in found["A wins"].strongest


def test_of_two_that_may_lead_neither_wins(trial):
    found = claims_of(trial, result_of(MEAN, THREE, ("A", "C")))
    assert found["A wins"].standing == found["C wins"].standing == SILENT
    assert found["A wins"].needs == "about 22 shots a method"


def test_few_duo_trios_prove_nothing_either_way(trial):
    """24 duo-trios, 12 right: exactly as guessing, and still up to 36 % may tell them apart."""
    found = claims_of(trial, tests=taste_tests(12, 24))
    pair = "Glen and Aln"
    assert {claim.standing for claim in found.values()} == {SILENT}
    few = found[f"Hardly anybody can taste the difference between {pair}"]
    assert few.strongest == (
        "12 of 24 duo-trio tests were right (p = 0.58). At most 36 % of tastings tell Glen and "
        "Aln apart (each limit at 95 %)."
    )
    assert few.needs.startswith("about ")
    assert found[f"Nobody can taste the difference between {pair}"].strongest.endswith(
        "(Never: nobody can.)"
    )


def test_what_tasters_told_apart_somebody_can_taste(trial):
    found = claims_of(trial, tests=taste_tests(20, 24))
    assert found["Tasters can tell Glen and Aln apart"].standing == SUPPORTED
    assert found["Nobody can taste the difference between Glen and Aln"].standing == CONTRADICTED


def test_many_tests_at_guessing_show_that_hardly_anybody_can_and_never_that_nobody(trial):
    found = claims_of(trial, tests=taste_tests(50, 100))
    few = "Hardly anybody can taste the difference between Glen and Aln"
    assert found[few].standing == SUPPORTED
    assert found["Nobody can taste the difference between Glen and Aln"].standing == SILENT


def test_naming_the_other_cup_in_pairs_is_telling_them_apart(trial):
    """2 of 24 choices are far from guessing, if on the other side of what was expected."""
    found = claims_of(trial, tests=taste_tests(2, 24, "paired"))
    few = found["Hardly anybody can taste the difference between Glen and Aln"]
    assert few.standing == SILENT
    assert "At most 97 %" in few.strongest


def test_a_difference_in_scores_is_a_taste_somebody_had(trial):
    scored = [("A", "B", 1.5, 0.4, 2.6)]
    text = "Nobody can taste a difference between the methods"
    found = claims_of(trial, result_of(LIKING, scored, None))
    assert found[text].standing == CONTRADICTED
    found = claims_of(trial, result_of(LIKING, TIED, None))
    assert found[text].standing == SILENT


@pytest.mark.parametrize(
    ("row", "standings"),
    [
        (("disc with soak", "", 0.9, 0.6, 1.2), (SUPPORTED, CONTRADICTED, CONTRADICTED)),
        (("disc with soak", "", -0.9, -1.2, -0.6), (CONTRADICTED, SUPPORTED, CONTRADICTED)),
        (("disc with soak", "", 0.0, -0.3, 0.3), (SILENT, SILENT, SUPPORTED)),
        (("disc with soak", "", 0.2, -0.6, 1.0), (SILENT, SILENT, SILENT)),
    ],
)
def test_a_combination_does_more_or_less_or_adds_up(row, standings):
    result = result_of(MEAN, [row], None)
    sheet: list[Claim] = claim_sheet(result, needs)
    assert tuple(claim.standing for claim in sheet) == standings
    assert sheet[0].claim == "disc and soak do more together than the sum of what each does"
    assert sheet[2].claim == "disc and soak simply add up"
    assert (sheet[2].needs != "") == (standings == (SILENT, SILENT, SILENT))
