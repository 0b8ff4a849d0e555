"""The answer table: figures computed beforehand, the marks, the sentence, and what is refused."""

import pytest

from kit.analysis.designed_model import study_shots
from kit.analysis.outcomes import mean_outcome
from kit.errors import PlanError
from kit.planning.answers import (
    COLUMNS,
    answer_sentences,
    answer_table,
    assured_answer_table,
    intervals_shown,
    mark_of,
    power_curve,
    say_chance,
)
from kit.planning.comparisons import t_critical
from kit.planning.fault_power import fisher_power
from kit.planning.laid_out import LaidOut
from kit.planning.layouts import complete_rows
from kit.planning.questions import comparison_family, effects_judged_together, noise_measure
from kit.schedule import read_schedule
from kit.shipped import sample_session
from kit.shotlog import read_shots
from kit.trial import read_trial
from tests.benchmarks.known_figures import WHY, known_figures
from tests.planning.trials import default_trial, make_trial, split_plot_trial


def _chance(table, kind, shots, place=0):
    rows = table.table[(table.table["kind"] == kind) & (table.table["shots"] == shots)]
    return rows["chance"].iloc[place]


def test_default_trial_answers_as_computed_beforehand():
    # Computed apart from this code (tests/benchmarks/known_figures.py). 0.36 and 0.67 for the
    # difference of 0.5 follow from R's noncentral t with qtukey(.95, 5, 36) = 4.0620.
    table = answer_table(default_trial())
    assert _chance(table, "same", 10) == pytest.approx(0.57, abs=0.005)
    # The 15 % known beforehand is Fisher's test without blocks; the analysis compares within
    # blocks of one shot each, which finds 40 % against 10 % in half as many trials
    # (test_fault_power.py).
    assert _chance(table, "faults", 10) == pytest.approx(
        fisher_power(0.4, 0.1, 10, 10) / 2, abs=0.002
    )
    assert _chance(table, "difference", 10) == pytest.approx(0.36, abs=0.01)
    assert _chance(table, "difference", 10, 1) == pytest.approx(0.67, abs=0.01)


def test_every_known_figure_agrees_or_is_explained():
    differing = {row["figure"] for row in known_figures() if not row["agree"]}
    assert differing == set(WHY)


def test_intervals_and_detectable_differences_are_those_known_beforehand():
    shown = intervals_shown(default_trial(), shots=[10, 30]).set_index(["comparison", "shots"])
    single = shown.xs("one pair named in advance")
    assert single.loc[10, "half_width"] == pytest.approx(0.41, abs=0.005)
    assert single.loc[30, "half_width"] == pytest.approx(0.23, abs=0.005)
    assert single.loc[10, "detected"] == pytest.approx(0.58, abs=0.005)
    family = shown.iloc[0]
    assert family["detected"] == pytest.approx(0.75, abs=0.005)


def test_own_number_of_shots_is_in_the_table_and_marked():
    table = answer_table(make_trial(4, sessions=3, blocks_per_session=3))
    assert list(table.table.columns) == list(COLUMNS)
    assert set(table.table.loc[table.table["own"], "shots"]) == {9}
    assert table.own()["question"].is_unique
    assert list(table.wide().columns) == [6, 8, 9, 10, 12, 16, 20, 30, 50]


def test_chances_rise_with_shots():
    wide = answer_table(default_trial()).wide()
    assert (wide.diff(axis=1).iloc[:, 1:] >= -1e-9).all().all()


def test_less_certain_chances_are_marked():
    trial = default_trial()
    means = answer_table(trial).table.query("kind == 'difference'")
    # (5 - 1)(n - 1) degrees of freedom: from sixteen shots on at least 60.
    assert set(means.loc[means["shots"] < 16, "reliability"]) == {"rough"}
    assert set(means.loc[means["shots"] >= 16, "reliability"]) == {"near"}


def test_marks_follow_the_chances():
    assert [mark_of(c) for c in (0.8, 0.79, 0.5, 0.49)] == ["yes", "maybe", "maybe", "no"]
    assert [say_chance(c) for c in (0.999, 0.5, 0.001)] == ["> 99 %", "50 %", "< 1 %"]


def test_sentence_says_what_will_and_will_not_be_seen():
    first, *rest = answer_sentences(default_trial())
    assert first == (
        "With 10 shots of each method you will see a difference of 0.75 points; "
        "you will not reliably see the 0.5 points that matter (chance 36 %)."
    )
    assert any(sentence.startswith("Two equal methods") for sentence in rest)
    large = answer_sentences(make_trial(5, sessions=3, blocks_per_session=10))
    assert "less than the 0.5 points that matter" in large[0]


def test_uncertain_noise_pulls_high_chances_down_and_low_ones_up():
    plain, assured = answer_table(default_trial()), assured_answer_table(default_trial(), 8)
    assert _chance(assured, "difference", 50) < _chance(plain, "difference", 50)
    assert assured.noise_df == 8
    # A ratio of SDs does not depend on their size.
    assert _chance(assured, "spread", 20) == _chance(plain, "spread", 20)


def test_layout_and_closed_form_give_the_same_table():
    trial = default_trial()
    layout = LaidOut(complete_rows(trial), trial, trial.noise)
    closed = answer_table(trial, shots=[8, 10]).table
    laid = answer_table(trial, layout, shots=[8, 10]).table
    assert laid["chance"].to_numpy() == pytest.approx(closed["chance"].to_numpy(), abs=1e-7)


def test_power_curve_starts_at_the_false_alarm_rate():
    curve = power_curve(default_trial(), [0.0, 0.5, 1.0])
    single = curve[curve["comparison"] == "one pair named in advance"]
    assert single["chance"].iloc[0] == pytest.approx(0.05, abs=1e-9)
    assert single["chance"].is_monotonic_increasing


def test_outcomes_without_noise_are_named_not_guessed():
    values = default_trial().model_dump(mode="json", exclude_none=True)
    values["outcomes"].append(
        {"measure": "shot_time_s", "aspect": "mean", "smallest_difference": 3}
    )
    values["outcomes"].append(
        {"measure": "shot_time_s", "aspect": "spread", "smallest_difference": 2}
    )
    table = answer_table(type(default_trial()).model_validate(values), shots=[10])
    assert [remark.split(":")[0] for remark in table.remarks] == ["Shot time, mean"]
    # A ratio of SDs has no scale: it is as easily seen in any measure.
    chances = table.table.set_index("question")["chance"]
    assert chances["shot_time_s spread pair"] == chances["ey_pct spread pair"]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: answer_table(split_plot_trial()), "Draw the schedule first"),
        (lambda: answer_table(default_trial(), shots=[10**9]), "cannot be pulled"),
        (lambda: answer_table(default_trial(), shots=[0]), "at least 2"),
    ],
)
def test_bad_input_is_refused_in_words(call, words):
    with pytest.raises(PlanError, match=words):
        call()


def test_effects_of_a_factorial_are_planned_by_the_limits_of_the_analysis():
    # The multiplier of the plan against that of the analysis of an invented completed trial:
    # half the interval over its standard error, for every main effect and interaction.
    folder = sample_session("disc_and_soak")
    trial = read_trial(folder)
    rows, _ = study_shots(read_shots(folder), trial)
    found = mean_outcome(trial, trial.primary, rows, None).differences
    assert effects_judged_together(trial) == len(found) == 6
    layout = LaidOut.of_schedule(read_schedule(folder), trial)
    family = comparison_family(trial, trial.primary, layout)
    for comparison, (_, row) in zip(family, found.iterrows(), strict=True):
        multiplier = (row["upper"] - row["lower"]) / 2 / row["se"]
        contrast = comparison.contrast(trial.shots_per_method_planned)
        planned = t_critical(row["df"], 0.05 / 6)
        assert planned == pytest.approx(multiplier, rel=1e-6)
        assert contrast.multiplier == pytest.approx(t_critical(contrast.df, 0.05 / 6), rel=1e-12)


def test_a_layout_too_small_to_know_its_noise_counts_as_no_answer():
    # Four shots a method leave a whole-plot factor next to no degrees of freedom.
    folder = sample_session("disc_and_soak")
    trial = read_trial(folder)
    layout = LaidOut.of_schedule(read_schedule(folder), trial)
    small = answer_table(trial, layout, shots=[4]).table.query("shots == 4")
    temperature = small[small["words"].str.contains("temperature")]
    assert (temperature["chance"] == 0).any()
    assert set(temperature["reliability"]) == {"rough"}


def test_another_primary_outcome_leaves_the_noise_to_extraction():
    values = default_trial().model_dump(mode="json", exclude_none=True)
    values["outcomes"][0]["role"], values["outcomes"][2]["role"] = "secondary", "primary"
    trial = type(default_trial()).model_validate(values)
    assert noise_measure(trial) == "ey_pct"
    first, *rest = answer_sentences(trial)
    assert "of shots with faults" in first
    assert any(sentence.startswith("With 10 shots") for sentence in rest)
