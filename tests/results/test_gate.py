"""Results come after the last pull, and names once the blind analysis is settled."""

import shutil
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analysis.masking import draw_mask, masked_table, masked_trial
from kit.errors import DataError
from kit.results import compute_blind_results, lock_analysis, names_hidden, read_lock
from kit.results.gate import refuse_early_look, refuse_unsettled, still_to_pull
from kit.results.lock import mask_of
from kit.results.write import findings_text
from kit.schedule.tasting import name_of_test
from kit.shotlog import log_shot, read_log
from kit.trial import read_trial

NOW = datetime.fromisoformat("2026-05-07T10:00:00+01:00")


def test_letters_until_settled_and_settled_once(unsettled_four_naps: Path) -> None:
    assert names_hidden(unsettled_four_naps)
    with pytest.raises(DataError, match="still open"):
        refuse_unsettled(unsettled_four_naps)
    blind = compute_blind_results(unsettled_four_naps)
    said = findings_text(blind)
    for name in read_trial(unsettled_four_naps).method_names:
        assert name not in said
    lock_analysis(unsettled_four_naps, said, NOW, "P2")
    assert read_lock(unsettled_four_naps) is not None
    assert not names_hidden(unsettled_four_naps)
    refuse_unsettled(unsettled_four_naps)
    with pytest.raises(DataError, match="settled once"):
        lock_analysis(unsettled_four_naps, said, NOW, "P2")


def test_letters_hide_names_and_change_no_number(
    unsettled_four_naps: Path, four_naps_results
) -> None:
    blind = compute_blind_results(unsettled_four_naps)
    mask = mask_of(read_trial(unsettled_four_naps), 20260504).methods
    open_means = four_naps_results.analysis.result("ey_pct mean").groups.set_index("method")
    blind_means = blind.analysis.result("ey_pct mean").groups.set_index("method")
    for name, letter in mask.items():
        assert blind_means.loc[letter, "estimate"] == pytest.approx(
            open_means.loc[name, "estimate"], rel=1e-9
        )
    assert list(blind_means.index) == sorted(mask.values())


def test_every_factor_level_is_hidden_too(samples: Path) -> None:
    trial = read_trial(samples / "disc_and_soak")
    mask = draw_mask(trial, np.random.default_rng(3))
    shots = pd.read_csv(samples / "disc_and_soak" / "shots.csv", dtype=str)
    hidden = masked_table(shots, mask)
    assert not set(hidden["method"].dropna()) & set(trial.method_names)
    assert not set(hidden["disc"].dropna()) & {"none", "one"}
    masked = masked_trial(trial, mask)
    assert {level for factor in masked.factors for level in factor.levels} == {
        letter for letters in mask.levels.values() for letter in letters.values()
    }


def test_asking_early_is_refused_and_noted(samples: Path, tmp_path: Path) -> None:
    folder = tmp_path / "early"
    folder.mkdir()
    for name in ("trial.toml", "schedule.csv", "freeze.json"):
        shutil.copy(samples / "four_naps" / name, folder)
    assert still_to_pull(folder) == 0  # nothing logged: that is said elsewhere
    log_shot(folder, {"planned_shot": 1, "dose_g": 17.5, "beverage_g": 36}, NOW, "P1")
    assert still_to_pull(folder) == 62
    with pytest.raises(DataError, match="62 pulls are still to be made"):
        refuse_early_look(folder, NOW, "P2")
    assert len(read_log(folder).peeks) == 1


def test_the_pair_of_a_taste_test_is_hidden_too(samples: Path) -> None:
    trial = read_trial(samples / "seven_rivers")
    mask = draw_mask(trial, np.random.default_rng(2))
    name = name_of_test("duo-trio", ("Glen", "Aln"))
    hidden = masked_table(pd.DataFrame({"attribute": ["liking", name]}), mask)
    letters = (mask.methods["Glen"], mask.methods["Aln"])
    assert hidden["attribute"].tolist() == ["liking", name_of_test("duo-trio", letters)]
