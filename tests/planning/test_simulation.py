"""Virtual trials: against closed forms, against the reported analysis, and reproducible."""

import joblib
import numpy as np
import pytest

from kit.analysis.batch.fit import fit_batch
from kit.analysis.contrasts import all_pairs
from kit.analysis.mixedmodel import fit_mixed_model
from kit.errors import PlanError
from kit.planning.chunks import Run, timed
from kit.planning.comparisons import AllPairs, dunnett_critical, tukey_critical
from kit.planning.layouts import complete_rows
from kit.planning.power import power
from kit.planning.simulated_power import chance_found, false_alarms, headlines, simulated_curve
from kit.planning.simulation import run_chunk, simulate
from kit.planning.slow_findings import faults_found, spread_found
from kit.planning.taste_power import TasteScores, taste_plan, taste_truth
from kit.planning.truth import Truth
from kit.planning.virtual import draw_shots, virtual_plan
from kit.schedule import draw_schedule
from tests.planning.trials import default_trial, make_trial, split_plot_trial


def _plan(trial):
    return virtual_plan(complete_rows(trial), trial)


def test_simulated_power_agrees_with_the_exact_one():
    # Complete blocks with real block variance; 4,000 trials, seed 1. The level of REML with
    # Kenward-Roger is up to 0.6 points above nominal where a block variance comes out as zero.
    trial = default_trial()
    simulation = simulate(_plan(trial), Truth.level(trial), Run(4000, 1))
    for difference in (0.3, 0.5, 0.8):
        found = chance_found(simulation, difference)
        exact = power(AllPairs(5, 0.45), difference, 10)
        assert found.mc_error < 0.005
        assert found.chance == pytest.approx(exact, abs=0.01 + 3 * found.mc_error)
    alarms = false_alarms(simulation)
    assert alarms.chance == pytest.approx(0.05, abs=0.006 + 3 * alarms.mc_error)


def test_a_virtual_trial_is_analysed_as_the_real_one():
    # The same virtual shots through the reported analysis: estimate, SE and df of every pair.
    trial = split_plot_trial()
    schedule = draw_schedule(trial, 3)
    plan = virtual_plan(schedule, trial)
    truth = Truth.level(trial)
    y = draw_shots(plan, truth, np.random.default_rng(5), 1)[0][:, 0]
    rows = plan.rows.assign(
        value=y, cell=plan.rows["method"].astype(str) + " / " + plan.rows["temperature"].astype(str)
    )
    fit = fit_mixed_model(rows, "value", "cell", list(plan.layout.names))
    table = all_pairs(fit, "cell").set_index(["a", "b"])
    batch = fit_batch(plan.layout, y[:, None]).kenward_roger(plan.layout.all_pairs())
    names = plan.layout.methods
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    for i, (a, b) in enumerate(pairs):
        row, sign = (table.loc[(a, b)], 1) if (a, b) in table.index else (table.loc[(b, a)], -1)
        assert sign * batch.estimate[i, 0] == pytest.approx(row["estimate"], abs=1e-7)
        assert batch.se[i, 0] == pytest.approx(row["se"], rel=1e-6)
        assert batch.df[i, 0] == pytest.approx(row["df"], rel=1e-5)


def test_fast_critical_values_are_the_exact_ones():
    pairs = _plan(default_trial()).families[0]
    control = _plan(make_trial(5, "against control", sessions=2, blocks_per_session=5)).families[0]
    df = np.array([0.8, 1.7, 4.2, 11.5, 36.0, 250.0])
    exact = [tukey_critical(5, x, 0.05) for x in df]
    assert pairs.critical(df) == pytest.approx(exact, rel=1e-4)
    exact = [dunnett_critical(4, 0.5, x, 0.05) for x in df]
    assert control.critical(df) == pytest.approx(exact, rel=1e-4)


def test_counting_and_smoothing_agree():
    # An unmeasurable drift makes the model false in name only, so findings are counted.
    trial = make_trial(4, sessions=3, blocks_per_session=3)
    truth = Truth.level(trial).losing(0.1)
    smooth = chance_found(simulate(_plan(trial), truth, Run(3000, 2)), 0.6)
    counted = chance_found(simulate(_plan(trial), truth.drifting(1e-9), Run(3000, 2)), 0.6)
    assert counted.chance == pytest.approx(smooth.chance, abs=4 * counted.mc_error)
    assert smooth.mc_error < 0.7 * counted.mc_error


def test_same_seed_same_result_however_it_is_run():
    trial = make_trial(3, sessions=2, blocks_per_session=3)
    plan, truth = _plan(trial), Truth.level(trial).losing(0.15)
    alone = simulate(plan, truth, Run(1200, 42))
    again = run_chunk(plan, truth, 42, 2, 200)
    np.testing.assert_array_equal(alone.chunks[2].families[0].error, again.families[0].error)
    with joblib.parallel_config(backend="threading"):
        many = simulate(plan, truth, Run(1200, 42, jobs=2))
    np.testing.assert_array_equal(alone.cell_errors, many.cell_errors)
    other = simulate(plan, truth, Run(1200, 43))
    assert not np.array_equal(alone.cell_errors[:, :5], other.cell_errors[:, :5])


def test_a_dask_cluster_gives_the_same_result():
    distributed = pytest.importorskip("distributed", reason="needs the extra “cluster”")
    trial = make_trial(3, sessions=2, blocks_per_session=3)
    plan, truth = _plan(trial), Truth.level(trial)
    alone = simulate(plan, truth, Run(1500, 8))
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster),
        joblib.parallel_config(backend="dask"),
    ):
        spread = simulate(plan, truth, Run(1500, 8, jobs=None))
    np.testing.assert_array_equal(alone.cell_errors, spread.cell_errors)


def test_stopping_keeps_what_is_done_and_time_left_is_told():
    trial = make_trial(3, sessions=2, blocks_per_session=3)
    ticks = iter(range(100))
    shown = []
    watch = timed(shown.append, lambda: float(next(ticks)))
    run = Run(10_000, 5, watch=watch, stop=lambda: len(shown) == 3)
    simulation = simulate(_plan(trial), Truth.level(trial), run)
    assert simulation.trials == 1500
    assert simulation.words() == "1,500 virtual trials of 10,000 asked for, seed 5"
    assert [(p.done, p.total, p.seconds) for p in shown] == [
        (500, 10_000, 1.0),
        (1000, 10_000, 2.0),
        (1500, 10_000, 3.0),
    ]
    assert shown[0].seconds_left == pytest.approx(19.0)


def test_lost_shots_cost_power_and_hopeless_trials_are_counted():
    trial = make_trial(3, sessions=1, blocks_per_session=3)
    plan = _plan(trial)
    whole = simulate(plan, Truth.level(trial), Run(1000, 6))
    lossy = simulate(plan, Truth.level(trial).losing(0.4), Run(1000, 6))
    assert whole.not_usable == 0
    assert 0 < lossy.not_usable < 500
    assert lossy.trials + lossy.not_usable == 1000
    assert chance_found(lossy, 1.0).chance < chance_found(whole, 1.0).chance


def test_headlines_without_a_test_mislead():
    # No difference: any method named best is named wrongly; the tested headline is held to 5 %.
    trial = default_trial()
    level = headlines(simulate(_plan(trial), Truth.level(trial), Run(2000, 9)), 0.5)
    wrong = level.set_index("headline")["wrong"]
    assert wrong.iloc[0] == pytest.approx(0.05, abs=0.02)
    assert wrong.iloc[1] == 0.0
    assert wrong.iloc[2] == 1.0
    ahead = headlines(
        simulate(_plan(trial), Truth.level(trial).one_ahead("m2", 0.3), Run(2000, 9)), 0.5
    )
    # Bechhofer's integral: the true best ahead by 0.3 ranks first in 81 % of trials.
    assert 1 - ahead["wrong"].iloc[2] == pytest.approx(0.81, abs=0.03)


def test_curve_is_one_run_for_every_difference():
    trial = make_trial(3, sessions=2, blocks_per_session=4)
    curve = simulated_curve(simulate(_plan(trial), Truth.level(trial), Run(500, 3)), [0, 0.5, 1])
    assert list(curve.columns) == ["comparison", "difference", "chance", "mc_error"]
    assert curve["chance"].is_monotonic_increasing


def test_unequal_spread_and_drift_are_in_the_virtual_shots():
    # Truth: SD doubled for m2; drift 0.1 a pull. 3,000 trials, seed 4.
    trial = make_trial(3, sessions=1, blocks_per_session=8)
    plan = _plan(trial)
    truth = Truth.level(trial).one_uneven("m2", 2.0).drifting(0.1)
    y, _ = draw_shots(plan, truth, np.random.default_rng(4), 3000)
    residual = y - y.mean(axis=1, keepdims=True)
    within = [residual[plan.method_of_shot == m] for m in range(3)]
    # One session is no random column of the model: its level is the same for all shots.
    common = trial.noise.block_sd**2
    sds = [np.sqrt(w.var() - common) for w in within]
    assert sds == pytest.approx([0.45, 0.9, 0.45], abs=0.03)
    slope = np.polyfit(plan.place_in_session, y.mean(axis=1), 1)[0]
    assert slope == pytest.approx(0.1, abs=0.01)


def test_spread_and_fault_findings_come_from_the_reported_tests():
    # A gross difference in either is found nearly always, and only where it is.
    trial = make_trial(3, sessions=2, blocks_per_session=6)
    plan = _plan(trial)
    uneven = spread_found(plan, Truth.level(trial).one_uneven("m1", 8.0), Run(10, 1))
    found = uneven.set_index(["a", "b"])["found"]
    assert found["m1", "m2"] >= 0.9
    assert found["m2", "m3"] <= 0.3
    faulty = faults_found(plan, Truth.level(trial, 0.02).one_faulty("m3", 0.98), Run(5, 1))
    found = faulty.set_index(["a", "b"])["found"]
    assert found["m1", "m3"] == found["m2", "m3"] == found["any", "any"] == 1.0
    assert found["m1", "m2"] == 0.0


def test_taste_scores_simulated_and_in_closed_form():
    # A position effect is modelled, so that only the exact closed form and 2,000 trials differ.
    trial = _with_tasters(make_trial(4, sessions=2, blocks_per_session=2), 8)
    plan = taste_plan(trial, 3, np.random.default_rng(2))
    simulation = simulate(plan, taste_truth(trial), Run(2000, 3))
    found = chance_found(simulation, 1.0)
    closed = power(TasteScores(4, 8), 1.0, 3)
    assert found.chance == pytest.approx(closed, abs=0.02)


def _with_tasters(trial, count):
    values = trial.model_dump(mode="json", exclude_none=True)
    values["tasting"]["tasters"] = [f"T{i + 1}" for i in range(count)]
    return type(trial).model_validate(values)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Run(10**9, 1), "1 to 1,000,000 virtual trials"),
        (lambda: Run(0, 1), "1 to 1,000,000"),
        (lambda: Run(10, -1), "seed is a whole number"),
        (lambda: Truth.level(default_trial()).losing(0.9), "between 0 and 50 %"),
        (lambda: Truth.level(default_trial()).one_ahead("m9", 1), "no method “m9”"),
        (lambda: Truth.level(default_trial()).one_uneven("m1", 0), "above zero"),
        (lambda: Truth(("a", "b"), (0.0,), (1.0, 1.0), (0.1, 0.1), 0, 0), "1 values were given"),
        (lambda: taste_plan(default_trial(), 2, np.random.default_rng(1)), "must be at least 1"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()
