"""The plan panel without a browser: what the blanks do to the answers, the schedule, the seal."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from kit.errors import PlanError
from kit.planning.answers import answer_table
from kit.planning.chunks import Run
from kit.schedule import verify_freeze
from kit.shipped import sample_session
from kit.trial import read_trial
from kit.widgets.plan.model import PLAN_PAGE, PlanModel
from kit.widgets.plan.pages import answer_page, headline_frame, simulated_frame
from kit.widgets.plan.view import PlanView


def test_answers_follow_what_is_typed_before_it_is_saved(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    assert plan.outlook is not None
    before = plan.outlook.answers.own_shots
    plan.type_in("blocks_per_session", "8")
    assert plan.outlook is not None
    assert plan.outlook.answers.own_shots == 2 * before
    plan.type_in("shot_sd", "0,9")
    noisy = plan.outlook.answers.own()["chance"].iloc[0]
    plan.type_in("shot_sd", "0,3")
    assert plan.outlook.answers.own()["chance"].iloc[0] > noisy
    assert read_trial(trial_folder).noise.shot_sd == 0.45


def test_page_shows_the_same_numbers_as_the_library(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    assert plan.outlook is not None
    table = answer_table(read_trial(trial_folder)).table
    page = answer_page(plan.outlook.answers)
    first = table.iloc[0]
    assert f"{100 * first['chance']:.0f} %" in page
    assert page.count('scope="row"') == table["question"].nunique()
    assert page.count("your plan") == 1
    assert 'class="kit-hidden"> yes' in page  # said, not only coloured


def test_the_width_of_the_intervals_is_said(trial_folder: Path) -> None:
    # ± q(.95; 4, 33) / √2 × SE and ± t(.975; 33) × SE, SE = 0.45 √(2/12); quantiles by scipy.
    plan = PlanModel(trial_folder)
    assert plan.outlook is not None
    together, alone = plan.outlook.interval_sentences()
    assert together.endswith("will reach about ±0.5 points.")
    assert alone.endswith("will reach about ±0.37 points.")


def test_a_wrong_blank_keeps_the_last_answers_off_and_says_why(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    plan.type_in("shot_sd", "0")
    assert plan.outlook is None
    assert any("Shot-to-shot SD" in problem for problem in plan.problems())
    plan.type_in("shot_sd", "0,45")
    assert plan.outlook is not None


def test_more_than_the_budget_is_said_at_once(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    plan.type_in("coffee_g", "500")
    plan.type_in("minutes_per_session", "60")
    assert plan.outlook is not None
    over = " ".join(plan.outlook.too_much)
    assert "500 g" in over
    assert "60" in over


def test_draw_and_seal_leave_a_schedule_a_seal_and_a_page(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    at = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)
    with pytest.raises(PlanError, match="no schedule yet"):
        plan.seal(at)
    plan.type_in("sessions", "4")
    with pytest.raises(PlanError, match="Save the plan first"):
        plan.draw(7)
    plan.save()
    plan.draw(7)
    assert read_trial(trial_folder).layout.seed == 7
    assert len(plan.certificate_summary()) > 3
    sealed = plan.seal(at)
    assert verify_freeze(trial_folder) == []
    assert sealed.short in plan.seal_in_words()
    page = (trial_folder / PLAN_PAGE).read_text(encoding="utf-8")
    assert sealed.short in page
    assert "Seed of the draw: 7" in page
    assert not plan.editable


def test_noise_is_taken_from_past_trials_with_its_provenance(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    sample = sample_session("seven_rivers")
    said = plan.take_noise_from(sample.parent)
    assert "own past trials" in said
    assert plan.changed
    plan.save()
    noise = read_trial(trial_folder).noise
    assert "Seven rivers" in noise.provenance
    assert 0.3 < noise.shot_sd < 0.8
    plan.type_in("shot_sd", "0,5")
    plan.save()
    assert read_trial(trial_folder).noise.provenance == "a guess without a source"


def test_simulation_is_shown_beside_the_promise(trial_folder: Path) -> None:
    plan = PlanModel(trial_folder)
    answers, told, words = plan.simulated(Run(500, 3))
    assert words == "500 virtual trials, seed 3"
    shown = simulated_frame(answers)
    assert list(shown.columns) == ["Question", "Promised", "Simulated"]
    assert "±" in shown["Simulated"].iloc[0]
    assert len(headline_frame(told)) == len(told)


def test_view_draws_curve_and_luck(trial_folder: Path) -> None:
    view = PlanView(PlanModel(trial_folder))
    view._curve.join()
    view._luck.join()
    assert "data:image/svg+xml" in view._curve.widget.value
    assert "simulated trials without any true difference" in view._luck.widget.value
    before = view._luck.widget.value
    view._luck_clicked(None)
    view._luck.join()
    assert view._luck.widget.value != before
    view._simulate_clicked(None)
    view._work.join()
    assert "4,000 virtual trials" in view._simulated.value
