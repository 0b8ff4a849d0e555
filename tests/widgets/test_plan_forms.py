"""Methods, outcomes, tasters and noise as forms: what is typed ends in the trial, or is named."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from kit.errors import PlanError
from kit.schedule import make_schedule
from kit.shipped import sample_session
from kit.trial import read_trial
from kit.widgets.plan.model import PlanModel
from kit.widgets.plan.view import PlanView


@pytest.fixture
def plan(trial_folder: Path) -> PlanModel:
    return PlanModel(trial_folder)


@pytest.fixture
def tmp_path(tmp_path: Path) -> Path:
    """A folder with no other trial beside it: those would be offered as pilots."""
    folder = tmp_path / "kitchen" / "trial"
    folder.mkdir(parents=True)
    return folder


def plan_of(name: str, tmp_path: Path) -> PlanModel:
    shutil.copy(sample_session(name) / "trial.toml", tmp_path)
    return PlanModel(tmp_path)


@pytest.mark.parametrize("name", ["four_naps", "disc_and_soak", "seven_rivers"])
def test_forms_filled_from_a_trial_make_that_trial(name: str, tmp_path: Path) -> None:
    plan = plan_of(name, tmp_path)
    assert not plan.changed
    assert plan.problems() == []
    assert plan.trial_as_typed() == plan.trial


def test_a_renamed_method_stays_the_control_and_in_the_taste_test(tmp_path: Path) -> None:
    plan = plan_of("seven_rivers", tmp_path)
    before = plan.outlook.answers.table["chance"].tolist()
    for number, name in ((0, "Usual pour"), (6, "Long pause")):
        plan.forms.methods.entry(number).name = name
    plan.reconsider()
    assert plan.outlook.answers.table["chance"].tolist() == before  # a name changes no chance
    plan.save()
    trial = read_trial(tmp_path)
    assert trial.control == "Usual pour"
    assert trial.tasting.pair == ("Long pause", "Usual pour")


def test_a_method_is_added_named_and_taken_out(plan: PlanModel) -> None:
    number = plan.forms.methods.add()
    plan.reconsider()
    assert plan.outlook is None
    assert "Method 5: This method has no name yet. Name it, or remove it." in plan.problems()
    plan.forms.methods.entry(number).name = "Thaw"
    assert any("Another method is called “Thaw” too" in text for text in plan.problems())
    plan.forms.methods.entry(number).name = "Shelf"
    plan.reconsider()
    assert "any of the 10 pairs" in plan.outlook.answers.table["words"].iloc[0]
    plan.save()
    assert read_trial(plan.folder).method_names == ["Harbour", "Fjord", "Thaw", "Cellar", "Shelf"]
    plan.forms.methods.remove(number)
    plan.reconsider()
    assert "any of the 6 pairs" in plan.outlook.answers.table["words"].iloc[0]


def test_one_method_is_no_comparison(plan: PlanModel) -> None:
    for number in (1, 2, 3):
        plan.forms.methods.remove(number)
    plan.reconsider()
    assert plan.outlook is None
    assert "There is one method; a comparison needs two or more." in plan.problems()[0]
    with pytest.raises(PlanError, match="needs two or more"):
        plan.save()


def test_a_control_that_is_asked_for_is_missed_where_it_is_asked_for(plan: PlanModel) -> None:
    plan.forms.outcomes.primary.family = "against control"
    plan.forms.methods.control = None
    plan.reconsider()
    assert any("no method is the control. Mark one." in text for text in plan.problems())
    plan.forms.methods.control = 2
    plan.reconsider()
    plan.save()
    assert read_trial(plan.folder).control == "Thaw"


def test_factors_are_changed_in_the_file(tmp_path: Path) -> None:
    plan = plan_of("disc_and_soak", tmp_path)
    with pytest.raises(PlanError, match=r"combinations of its factors .*trial\.toml"):
        plan.forms.methods.add()
    with pytest.raises(PlanError, match="combinations of its factors"):
        plan.forms.methods.remove(1)
    plan.forms.methods.entry(3).name = "both"
    plan.reconsider()
    plan.save()
    assert read_trial(tmp_path).methods[3].settings == {"disc": "one", "soak": "8 s"}


def test_outcomes_are_added_changed_and_taken_out(plan: PlanModel) -> None:
    outcomes = plan.forms.outcomes
    outcomes.add("shot_time_s", "mean")
    outcomes.entries[-1].size = "2,5"
    outcomes.entries[2].size = "25"  # percentage points of shots with faults
    outcomes.remove(1)
    plan.reconsider()
    plan.save()
    saved = {outcome.name: outcome for outcome in read_trial(plan.folder).outcomes}
    assert set(saved) == {"ey_pct mean", "faults rate", "shot_time_s mean"}
    assert saved["faults rate"].smallest_difference == 0.25
    assert saved["shot_time_s mean"].smallest_difference == 2.5
    assert saved["shot_time_s mean"].higher_is_better is None


def test_the_primary_outcome_cannot_be_taken_out(plan: PlanModel) -> None:
    plan.forms.outcomes.remove(plan.forms.outcomes.primary.number)
    assert plan.forms.outcomes.primary.measure == "ey_pct"


def test_another_measure_as_primary_asks_for_its_own_noise(plan: PlanModel) -> None:
    plan.forms.outcomes.add("shot_time_s", "mean")
    plan.forms.make_primary(plan.forms.outcomes.entries[-1].number)
    plan.reconsider()
    assert plan.forms.entries["shot_sd"] == ""
    assert plan.forms.rules["shot_sd"].unit == "s"
    assert "Shot-to-shot SD is empty. Fill it in." in plan.problems()
    plan.type_in("shot_sd", "1.5")
    plan.type_in("smallest_difference", "3")
    assert plan.outlook.answers.table["words"].iloc[0].startswith("A difference of 3.0 s (")
    assert any("Extraction yield, mean" in remark for remark in plan.outlook.answers.remarks)
    plan.save()
    assert read_trial(plan.folder).primary.name == "shot_time_s mean"


def test_a_taste_attribute_is_scored_by_a_panel(plan: PlanModel) -> None:
    plan.forms.outcomes.add("", "score")
    plan.reconsider()
    said = " ".join(plan.problems())
    assert "This taste attribute has no name yet." in said
    assert "A taste score is judged, but nobody tastes." in said
    entry = plan.forms.outcomes.entries[-1]
    entry.measure, entry.low, entry.high = "sweetness", "9", "1"
    plan.reconsider()
    assert any("high end of the scale" in text for text in plan.problems())
    entry.low, entry.high, entry.whole = "1", "9", True
    plan.forms.panel.entries |= {"tasters": "6", "sittings": "4", "cups_per_sitting": "4"}
    plan.reconsider()
    assert plan.outlook.taste is not None
    assert plan.outlook.taste.own_tasters == 6
    plan.save()
    tasting = read_trial(plan.folder).tasting
    assert tasting.tasters == ("T1", "T2", "T3", "T4", "T5", "T6")
    assert tasting.attributes[0].name == "sweetness"
    assert (tasting.attributes[0].low, tasting.attributes[0].high) == (1, 9)
    plan.forms.outcomes.remove(plan.forms.outcomes.entries[-1].number)
    plan.reconsider()
    plan.save()
    assert read_trial(plan.folder).tasting.attributes == ()


@pytest.mark.parametrize(
    ("test", "pair", "tasters", "sets", "words"),
    [
        ("triangle", (0, None), "8", "1", "needs two methods to tell apart"),
        ("triangle", (0, 0), "8", "1", "the same one"),
        ("duo-trio", (0, 1), "0", "1", "but nobody tastes"),
        ("paired", (0, 1), "8", "0", "without a set of cups"),
        ("", (None, None), "-2", "1", "cannot be right here. Between 0 and 200."),
        ("", (None, None), "1000000000", "1", "Tasters: 1000000000 cannot be right here"),
    ],
)
def test_a_taste_test_that_cannot_be_is_named(plan, test, pair, tasters, sets, words) -> None:
    panel = plan.forms.panel
    panel.test, panel.pair = test, pair
    panel.entries |= {"tasters": tasters, "sets_per_taster": sets}
    plan.reconsider()
    assert any(words in text for text in plan.problems()), plan.problems()
    assert plan.outlook is None


@pytest.mark.parametrize(
    ("blank", "text", "words"),
    [
        ("shot_sd", "0", "Shot-to-shot SD: 0.00 points cannot be right here"),
        ("smallest_difference", "-0,5", "cannot be right here. Between"),
        ("smallest_difference", "", "Smallest difference that matters is empty"),
        ("sessions", "1000000000", "Sessions: 1000000000 cannot be right here"),
        ("blocks_per_session", "2,5", "“2,5” is not a whole number"),
        ("coffee_g", "lots", "Coffee there is: “lots”"),
    ],
)
def test_what_cannot_be_is_said_at_once(plan: PlanModel, blank, text, words) -> None:
    plan.type_in(blank, text)
    assert plan.outlook is None
    assert any(words in problem for problem in plan.problems()), plan.problems()


def test_the_largest_plan_is_taken_and_fits(plan: PlanModel) -> None:
    plan.type_in("coffee_g", "2500")
    assert plan.largest_in_words().startswith("The largest plan that fits: 3 sessions of")
    said = plan.take_largest()
    assert plan.outlook.too_much == []
    assert plan.forms.blanks["blocks_per_session"] in said
    assert plan.largest_in_words().startswith("Your plan is the largest that fits.")
    blocks = int(plan.forms.blanks["blocks_per_session"])
    plan.type_in("blocks_per_session", str(blocks + 1))
    assert plan.outlook.too_much != []


def test_the_largest_plan_can_be_laid_out_in_its_design(plan: PlanModel) -> None:
    # A Latin square of four methods comes in sets of four blocks.
    text = (plan.folder / "trial.toml").read_text(encoding="utf-8")
    text = text.replace('design = "complete blocks"', 'design = "latin square"')
    (plan.folder / "trial.toml").write_text(text, encoding="utf-8")
    plan.refresh()
    plan.type_in("coffee_g", "2400")
    plan.take_largest()
    plan.save()
    schedule = make_schedule(plan.folder, 3)
    blocks = schedule.loc[schedule["role"] == "study", "block"].nunique()
    assert blocks % 4 == 0


def test_sessions_in_the_sentence_are_the_budget(plan: PlanModel) -> None:
    plan.type_in("sessions", "5")
    plan.type_in("coffee_g", "")
    assert plan.outlook.too_much == []
    plan.save()
    trial = read_trial(plan.folder)
    assert trial.layout.sessions == trial.budget.sessions == 5


def test_a_schedule_drawn_for_another_plan_is_said(plan: PlanModel) -> None:
    plan.draw(3)
    assert not plan.stale
    plan.type_in("blocks_per_session", "5")
    plan.save()
    assert plan.stale
    assert any("drawn for another plan" in text for text in plan.unmet())
    plan.draw(4)
    assert not plan.stale


def test_a_measured_noise_is_kept_until_another_sd_is_typed(tmp_path: Path) -> None:
    for name in ("seven_rivers", "new"):
        (tmp_path / name).mkdir()
    for path in sample_session("seven_rivers").iterdir():
        shutil.copy(path, tmp_path / "seven_rivers")
    shutil.copy(sample_session("four_naps") / "trial.toml", tmp_path / "new")
    view = PlanView(PlanModel(tmp_path / "new"))
    noise = view._forms[3]
    assert noise._which.box.options[0][0] == "Seven rivers (30 shots of Aln)"
    noise._pilot.click()
    plan = view.plan
    assert "from 30 control shots" in view.status.message
    assert plan.outlook.answers.noise_df == pytest.approx(23, abs=0.5)
    assert "averaged over where the true SD may lie" in view._answers.value
    assert "from 30 control shots" in plan.noise_in_words()
    plan.save()
    assert read_trial(plan.folder).noise.shot_sd_df == pytest.approx(23, abs=0.5)
    plan.type_in("shot_sd", "0,5")
    assert plan.outlook.answers.noise_df is None
    assert plan.noise_in_words().endswith("a guess without a source.")


def test_readings_are_asked_for_before_they_are_used(plan: PlanModel) -> None:
    view = PlanView(plan)
    noise = view._forms[3]
    noise._pilot.click()
    assert "Write the readings of the pilot" in view.status.message
    noise._readings.value = "19,1 19,8 19,4 18,9 19,6 19,9"
    noise._pilot.click()
    assert "from 6 control shots" in view.status.message


def test_a_sealed_plan_is_read_only(plan: PlanModel) -> None:
    (plan.folder / "freeze.json").write_text("{}", encoding="utf-8")
    plan.refresh()
    view = PlanView(plan)
    inputs = [
        box
        for box in _all(view.widget)
        if type(box).__name__ in ("Text", "Textarea", "Dropdown", "Checkbox")
    ]
    assert len(inputs) > 20
    assert [box.description for box in inputs if not box.disabled] == []


def _all(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from _all(child)
