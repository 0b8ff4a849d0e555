"""The models of the panels: values, rules, and what is missing, all without a widget."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from kit.errors import PlanError
from kit.trial import read_trial
from kit.widgets.analyse.model import AnalyseModel
from kit.widgets.panel_model import FREEZE_FILE, PanelModel
from kit.widgets.plan.model import PlanModel
from kit.widgets.publish.model import PublishModel
from kit.widgets.shoot.model import ShootModel

MODELS = [PlanModel, ShootModel, AnalyseModel, PublishModel]


def test_models_load_no_widget() -> None:
    modules = ", ".join(model.__module__ for model in MODELS)
    script = f"import sys, {modules}; sys.exit('ipywidgets' in sys.modules)"
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", script], cwd=root, check=False).returncode == 0


@pytest.mark.parametrize("model", MODELS)
def test_a_folder_without_trial_is_said(model: type[PanelModel], tmp_path: Path) -> None:
    (sentence,) = model(tmp_path).unmet()
    assert "holds no trial" in sentence
    assert "fairpull new" in sentence


@pytest.mark.parametrize("model", MODELS)
def test_a_broken_trial_is_said_and_mended_by_a_second_look(
    model: type[PanelModel], trial_folder: Path
) -> None:
    path = trial_folder / "trial.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(good.replace("dose_g = 17.5", 'dose_g = "much"'), encoding="utf-8")
    panel = model(trial_folder)
    assert "recipe.dose_g" in panel.unmet()[0]
    path.write_text(good, encoding="utf-8")
    seen = panel.version
    panel.refresh()
    assert panel.trial is not None
    assert panel.version > seen


def test_plan_is_saved_with_its_comments(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    assert not plan.changed
    plan.type_in("smallest_difference", "0,4")
    plan.type_in("coffee_g", "")
    plan.write_question("Is it worth the wait?")
    assert "What you changed is not saved yet." in plan.unmet()
    plan.save()
    trial = read_trial(trial_folder)
    assert trial.primary.smallest_difference == 0.4
    assert trial.budget.coffee_g is None
    assert trial.question == "Is it worth the wait?"
    assert (trial_folder / "trial.toml").read_text(encoding="utf-8").startswith("# An invented")
    assert not plan.changed


def test_a_wrong_blank_is_named_and_nothing_is_written(trial_folder: Path) -> None:
    before = (trial_folder / "trial.toml").read_bytes()
    plan = PlanModel(trial_folder)
    plan.type_in("smallest_difference", "1.850,0")
    plan.type_in("sessions", "")
    with pytest.raises(PlanError) as refused:
        plan.save()
    assert "Smallest difference that matters: “1.850,0” can be read in more than one way" in str(
        refused.value
    )
    assert "Sessions is empty" in str(refused.value)
    assert (trial_folder / "trial.toml").read_bytes() == before


def test_a_sealed_plan_stays_as_it_is(trial_folder: Path) -> None:
    (trial_folder / FREEZE_FILE).write_text("{}", encoding="utf-8")
    plan = PlanModel(trial_folder)
    assert not plan.editable
    with pytest.raises(PlanError, match="sealed"):
        plan.save()


def test_shot_arithmetic(trial_folder: Path) -> None:
    bench = ShootModel(trial_folder)
    assert set(bench.computed().values()) == {"–"}
    for name, text in {"dose_g": "17,5", "beverage_g": "35", "tds_pct": "9,5 %"}.items():
        bench.type_in(name, text)
    # 9.5 × 35 / 17.5 = 19.0, by the definition of extraction yield
    assert bench.computed() == {"Brew ratio": "1 : 2.00", "Extraction yield": "19.00 %"}
    assert bench.tolerance_verdict() == "Dose and beverage are within tolerance."
    bench.type_in("beverage_g", "37,1")
    assert bench.tolerance_verdict().startswith("Out of tolerance")
    bench.type_in("beverage_g", "371")
    assert bench.computed()["Brew ratio"] == "–"
