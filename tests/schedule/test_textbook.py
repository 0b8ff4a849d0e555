"""Textbook layouts taken through the trial's own design, certificate and model.

Each published data set is written as a trial of the kit; the model that the layout calls for must
give the F test that R gives (lmerTest with Kenward-Roger; tests/reference/lmm).
"""

import json
from pathlib import Path

import pandas as pd
import pytest

from kit.analysis.designed_model import designed_model
from kit.analysis.mixedmodel import fit_mixed_model
from kit.schedule import certificate
from kit.trial import Factor, Layout, Method, Trial
from tests.schedule.trials import sample

REFERENCE = Path(__file__).parents[1] / "reference"


def published(case: str) -> tuple[pd.DataFrame, dict]:
    values = json.loads((REFERENCE / "lmm" / f"{case}.json").read_text())
    return pd.read_csv(REFERENCE / "data" / f"{case}.csv"), values


def as_trial(methods: list[str], design: str, sessions: int, blocks: int, **more: object) -> Trial:
    layout = {"design": design, "sessions": sessions, "blocks_per_session": blocks, **more}
    return sample("four_naps").model_copy(
        update={
            "methods": tuple(Method(name=name) for name in methods),
            "layout": Layout.model_validate(layout),
        }
    )


def as_study(table: pd.DataFrame) -> pd.DataFrame:
    """The columns of a schedule that the data leave out."""
    whole = {"session": "S1", "bag": "", "whole_plot": "", "role": "study", "method": ""}
    filled = table.assign(**{name: value for name, value in whole.items() if name not in table})
    filled["planned_shot"] = range(1, len(filled) + 1)
    place = filled.groupby("block").cumcount() + 1
    return filled.assign(position=filled.get("position", place))


def f_of_method(trial: Trial, table: pd.DataFrame, term: str = "method") -> pd.Series:
    model = designed_model(trial, table, "ey_pct")
    fit = fit_mixed_model(table, model.response, model.fixed, list(model.random))
    return fit.terms().set_index("term").loc[term]


def test_a_balanced_taste_design() -> None:
    # R package DAAG, appletaste: 20 panelists, each 3 of 4 products.
    table, values = published("appletaste_bibd")
    renamed = table.rename(
        columns={"aftertaste": "ey_pct", "product": "method", "panelist": "block"}
    )
    study = as_study(renamed)
    trial = as_trial(sorted(study["method"].unique()), "incomplete blocks", 1, 20,
                     shots_per_block=3)  # fmt: skip
    found = certificate(trial, study)
    assert found.concurrences["blocks"].unique().tolist() == [10]
    assert found.contrasts["efficiency"].to_numpy() == pytest.approx(8 / 9)
    expected = values["anova_type3"]["kr"][0]
    row = f_of_method(trial, study)
    assert row["F"] == pytest.approx(expected["F"], rel=1e-5)
    assert row["den_df"] == pytest.approx(expected["den_df"], rel=1e-4)


def test_a_latin_square() -> None:
    # Finney (1947), R's OrchardSprays: 8×8 square, F(7, 42) = 21.07 whether rows and columns are
    # taken as fixed or random.
    table, values = published("orchard_latin")
    renamed = table.rename(
        columns={"decrease": "ey_pct", "treatment": "method", "row": "block", "col": "position"}
    )
    study = as_study(renamed)
    study["position"] = study["position"].str[1:].astype(int)
    trial = as_trial(sorted(study["method"].unique()), "latin square", 1, 8)
    found = certificate(trial, study)
    assert (found.cross_table("position") == 1).all(axis=None)
    assert found.contrasts["efficiency"].to_numpy() == pytest.approx(1.0)
    expected = values["anova_type3"]["kr"][0]
    row = f_of_method(trial, study.assign(position=study["position"].astype(str)))
    assert row["F"] == pytest.approx(expected["F"], rel=1e-5)
    assert row["den_df"] == pytest.approx(42, rel=1e-4)


def test_a_split_plot() -> None:
    # Yates (1935), oats: variety on whole plots, nitrogen within them.
    table, values = published("oats_splitplot")
    renamed = table.rename(
        columns={"yield": "ey_pct", "nitro": "method", "block": "session", "plot": "whole_plot"}
    )
    study = as_study(renamed.assign(block=renamed["whole_plot"], nitro=renamed["method"]))
    levels = tuple(sorted(study["nitro"].unique()))
    trial = as_trial(list(levels), "split-plot", 6, 3, whole_plots_per_session=3)
    trial = trial.model_copy(
        update={
            "methods": tuple(Method(name=name, settings={"nitro": name}) for name in levels),
            "factors": (
                Factor(name="variety", levels=tuple(sorted(study["variety"].unique())),
                       hard_to_change=True),
                Factor(name="nitro", levels=levels),
            ),
        }
    )  # fmt: skip
    # 18 whole plots less 6 blocks less 2: the 10 degrees of freedom of the book.
    assert "about 10 degrees of freedom" in " ".join(certificate(trial, study).confounding)
    for entry in values["anova_type3"]["kr"]:
        row = f_of_method(trial, study, entry["term"])
        assert row["F"] == pytest.approx(entry["F"], rel=1e-5)
        assert row["den_df"] == pytest.approx(entry["den_df"], rel=1e-4)
