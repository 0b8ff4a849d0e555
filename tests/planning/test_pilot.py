"""The noise from a pilot: the control's shots of a log, or readings as typed."""

import shutil

import numpy as np
import pytest

from kit.errors import PlanError
from kit.planning.answers import answer_sentences, answer_table
from kit.planning.assurance import detected_on_average
from kit.planning.comparisons import AllPairs
from kit.planning.pilot import noise_of_pilot, noise_of_readings, pilots_near
from kit.planning.power import contrast_detected
from kit.shipped import sample_session
from kit.shotlog import read_shots
from kit.trial import Noise
from tests.planning.trials import default_trial


def test_readings_give_the_sample_sd_with_its_degrees_of_freedom():
    readings = [19.1, 19.8, 19.4, 18.9, 19.6, 19.9, 19.2, 19.5]
    text = "19,1 19.8; 19,4\n18.9 19.6 19,9 19.2 19.5"
    found = noise_of_readings(text, Noise(session_sd=0.2), "2026-05-02")
    assert found.shot_sd == pytest.approx(np.std(readings, ddof=1), rel=1e-6)
    assert found.df == pytest.approx(7, rel=1e-6)
    assert found.provenance == "from 8 control shots on 2026-05-02, written down by hand"
    noise = found.as_noise()
    assert noise.shot_sd_df == found.df
    assert noise.session_sd == 0.2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("19.1 19.2", "2 readings are too few"),
        ("", "0 readings are too few"),
        ("19 19 19 19", "never all alike"),
        ("19,1 x 19 20", "cannot be read"),
        ("19,1 1910 19 20", "“1910” cannot be right for extraction yield"),
    ],
)
def test_bad_readings_are_refused_in_words(text, words):
    with pytest.raises(PlanError, match=words):
        noise_of_readings(text, Noise(), "today")


def test_a_pilot_is_found_beside_the_trial_and_uses_the_control_only(tmp_path):
    for name in ("four_naps", "seven_rivers"):
        shutil.copytree(sample_session(name), tmp_path / name)
    (tmp_path / "new").mkdir()
    shutil.copy(sample_session("four_naps") / "trial.toml", tmp_path / "new")
    found = pilots_near(tmp_path / "new")
    assert [pilot.title for pilot in found] == ["Four naps", "Seven rivers"]
    shots = read_shots(tmp_path / "four_naps")
    control = shots[
        (shots["method"] == "Harbour")
        & (shots["status"] == "kept")
        & shots["role"].isin(["reference", "study"])
    ]
    assert len(found[0].shots) == len(control)
    noise = noise_of_pilot(found[0], Noise())
    # Sessions differ: the shot SD is the spread within them (one-way layout, unequal numbers).
    within = sum(rows["ey_pct"].var() * (len(rows) - 1) for _, rows in control.groupby("session"))
    assert noise.shot_sd == pytest.approx(np.sqrt(within / (len(control) - 3)), rel=0.02)
    assert "(Four naps)" in noise.provenance


def test_a_measured_noise_is_averaged_over_in_the_table_and_in_the_sentence():
    plain = default_trial()
    measured = plain.model_copy(
        update={"noise": plain.noise.model_copy(update={"shot_sd_df": 7.0})}
    )
    table, averaged = answer_table(plain), answer_table(measured)
    assert table.noise_df is None
    assert averaged.noise_df == 7.0
    row = averaged.own().iloc[0]
    assert row["chance"] != pytest.approx(table.own()["chance"].iloc[0], abs=0.005)
    assert f"chance {100 * row['chance']:.0f} %" in answer_sentences(measured)[0]


def test_the_difference_found_on_average_is_that_of_the_sd_once_it_is_known():
    contrast = AllPairs(5, 0.45).contrast(10)
    known = contrast_detected(contrast)
    assert detected_on_average(contrast, 1e7) == pytest.approx(known, rel=1e-4)
    assert detected_on_average(contrast, 7) > known
