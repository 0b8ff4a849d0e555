"""Budgets against arithmetic done by hand."""

import pytest

from kit.errors import PlanError
from kit.planning.budget import cost_of, largest_plan, over_budget
from kit.trial import Trial
from tests.planning.trials import make_trial


def _with(trial: Trial, **parts) -> Trial:
    values = trial.model_dump(mode="json", exclude_none=True)
    for name, changes in parts.items():
        values[name] |= changes
    return Trial.model_validate(values)


def test_seventy_six_shots_by_hand():
    # 5 × 10 + 3 references × 3 sessions + 12 dial-in and warm-up + 5 spares = 76, about 1.6 kg.
    trial = make_trial(
        5,
        sessions=5,
        blocks_per_session=2,
        reference_shots_per_session=0,
        warm_up_shots_per_session=1,
        spares_per_session=1,
        dial_in_shots=16,
    )
    cost = cost_of(trial)
    assert cost.pulls == 76
    assert cost.coffee_g == pytest.approx(76 * 20.5)
    assert cost.minutes == 76 * 5


def test_caffeine_of_a_sip():
    # 18 g × 1.2 % × 80 % = 173 mg a shot; a 5 g sip of 36 g is 24 mg; six cups 144 mg.
    trial = _with(
        make_trial(3, sessions=2, blocks_per_session=2),
        tasting={
            "tasters": ["T1", "T2"],
            "attributes": [{"name": "liking"}],
            "discrimination": "triangle",
            "pair": ["m1", "m2"],
            "sets_per_taster": 2,
            "cups_per_sitting": 6,
            "sittings": 2,
        },
    )
    cost = cost_of(trial)
    assert cost.cups_per_taster == 2 * 6 + 2 * 3
    assert cost.sittings_per_taster == 3
    assert cost.caffeine_if_swallowed_mg == pytest.approx(6 * 24, abs=0.5)


def test_bags_round_up_and_follow_the_shots_a_bag_gives():
    trial = _with(make_trial(4, sessions=2, blocks_per_session=2), coffee={"bag_g": 250.0})
    assert cost_of(trial).coffee_g == pytest.approx(28 * 20.5)
    assert cost_of(trial).bags == 3
    fewer = _with(trial, layout={"study_shots_per_bag": 2})
    assert cost_of(fewer).bags == 8


def test_largest_plan_fits_and_the_next_does_not():
    trial = _with(
        make_trial(5, sessions=3, blocks_per_session=1), budget={"coffee_g": 1000.0, "sessions": 2}
    )
    fitted = largest_plan(trial)
    assert fitted.trial.layout.sessions == 2
    assert over_budget(fitted.trial) == []
    assert fitted.cost.coffee_g <= 1000
    layout = {"sessions": 2, "blocks_per_session": fitted.trial.layout.blocks_per_session + 1}
    assert over_budget(_with(trial, layout=layout)) == [fitted.limited_by]
    assert "1,000 g" in fitted.limited_by


def test_minutes_and_pulls_bound_a_session_too():
    trial = make_trial(4, sessions=2, blocks_per_session=1, longest_session_shots=25)
    fitted = largest_plan(trial)
    assert fitted.cost.pulls_per_session <= 25
    assert "pulls" in fitted.limited_by
    morning = _with(trial, budget={"minutes_per_session": 90.0})
    assert largest_plan(morning).cost.minutes_per_session <= 90
    assert "minutes" in largest_plan(morning).limited_by


def test_no_taster_means_no_cups():
    cost = cost_of(make_trial(3, sessions=1, blocks_per_session=2))
    assert (cost.cups_per_taster, cost.sittings_per_taster) == (0, 0)
    assert cost.bags is None


def test_a_budget_without_limits_or_too_small_is_refused_in_words():
    with pytest.raises(PlanError, match="sets no limit"):
        largest_plan(make_trial(3, sessions=1, blocks_per_session=2))
    poor = _with(make_trial(5, sessions=2, blocks_per_session=1), budget={"coffee_g": 100.0})
    with pytest.raises(PlanError, match="Not even the smallest plan fits"):
        largest_plan(poor)
