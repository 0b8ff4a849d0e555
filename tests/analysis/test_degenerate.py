"""Data that cannot answer: said in words for each outcome, never a traceback or a bare warning."""

import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analysis.result import Analysis
from kit.analysis.trial_analysis import analyse_outcomes, analyse_trial
from kit.errors import KitError
from kit.findings import Record, state_findings
from kit.shotlog import read_shots
from kit.trial import Trial, read_trial

Change = Callable[[pd.DataFrame], pd.DataFrame]


def kept(shots: pd.DataFrame) -> pd.Series:
    return (shots["role"] == "study") & (shots["status"] == "kept")


def with_value(column: str, value: float) -> Change:
    def change(shots: pd.DataFrame) -> pd.DataFrame:
        shots.loc[kept(shots), column] = value
        return shots

    return change


def one_a_method(shots: pd.DataFrame) -> pd.DataFrame:
    return shots[kept(shots)].drop_duplicates("method")


def spoilt(value: float) -> Change:
    def change(shots: pd.DataFrame) -> pd.DataFrame:
        shots.loc[shots.index[kept(shots)][3], "ey_pct"] = value
        return shots

    return change


CASES: dict[str, Change] = {
    "one method": lambda shots: shots[shots["method"] == "Fjord"],
    "two methods": lambda shots: shots[shots["method"].isin(["Fjord", "Thaw"])],
    "one shot a method": one_a_method,
    "two shots a method": lambda shots: shots[kept(shots)].groupby("method").head(2),
    "all equal": with_value("ey_pct", 19.5),
    "all faults": with_value("faults", 2),
    "zero faults": with_value("faults", 0),
    "one session": lambda shots: shots[shots["session"] == "S1"],
    "one block": lambda shots: shots[shots["block"] == shots["block"].dropna().iloc[0]],
    "a method lost entirely": lambda shots: shots[~((shots["method"] == "Thaw") & kept(shots))],
    "one missing": spoilt(np.nan),
    "one infinite": spoilt(np.inf),
    "no yield at all": with_value("ey_pct", np.nan),
    "no faults counted": with_value("faults", np.nan),
    "no reason column": lambda shots: shots.drop(columns="reason"),
    "no blocks": lambda shots: shots.assign(block=None),
    "doubled rows": lambda shots: pd.concat([shots, shots], ignore_index=True),
}


@pytest.fixture(scope="module")
def trial(samples: Path) -> Trial:
    return read_trial(samples / "four_naps")


@pytest.fixture(scope="module")
def shots(samples: Path) -> pd.DataFrame:
    return read_shots(samples / "four_naps")


def said(trial: Trial, analysis: Analysis) -> str:
    found = state_findings(trial, analysis, Record(), lambda _: "more shots")
    return " ".join([found.headline, *(part.headline for part in found.outcomes)])


@pytest.mark.parametrize("name", CASES)
def test_degenerate_shots_are_answered_in_words(
    name: str, trial: Trial, shots: pd.DataFrame
) -> None:
    changed = CASES[name](shots.copy()).reset_index(drop=True)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            analysis = analyse_trial(trial, changed)
        except KitError as refusal:
            assert len(str(refusal)) > 20
            return
        words = said(trial, analysis)
    assert len(analysis.results) + len(analysis.not_analysed) == len(trial.outcomes)
    assert all(len(item.reason) > 20 for item in analysis.not_analysed)
    assert "nan" not in words.lower().split()
    assert "inf" not in words.lower().split()


def test_no_study_shot_is_refused(trial: Trial, shots: pd.DataFrame) -> None:
    with pytest.raises(KitError, match="no study shot"):
        analyse_outcomes(trial, shots[shots["role"] != "study"])


def test_zero_faults_are_never_called_safe(trial: Trial, shots: pd.DataFrame) -> None:
    analysis = analyse_outcomes(trial, CASES["zero faults"](shots.copy()))
    rates = analysis.result("faults rate").groups
    # Wilson's upper limit of 0 of 12 at 95 % is 24.2 % (notes: 0 of 10 still allows 26 to 31 %).
    assert rates.loc[rates["n"] == 12, "upper"].iloc[0] == pytest.approx(0.2425, abs=5e-4)
