"""schedule.csv: hostile or damaged files are refused by row and column, hostile text survives."""

from datetime import UTC, datetime
from pathlib import Path
from shutil import copy

import pandas as pd
import pytest

from kit.errors import DataError, TableError
from kit.schedule import (
    draw_schedule,
    freeze_trial,
    make_schedule,
    read_schedule,
    write_schedule,
)
from kit.trial import read_trial
from tests.schedule.trials import SAMPLES, sample


def test_making_a_schedule_keeps_its_seed_and_the_comments(tmp_path: Path) -> None:
    copy(SAMPLES / "four_naps" / "trial.toml", tmp_path)
    drawn = make_schedule(tmp_path, 77)
    text = (tmp_path / "trial.toml").read_text(encoding="utf-8")
    assert text.startswith("# An invented example")
    assert read_trial(tmp_path).layout.seed == 77
    pd.testing.assert_frame_equal(read_schedule(tmp_path), drawn)
    # The seal finds the seed where it was kept.
    assert freeze_trial(tmp_path, datetime(2026, 5, 9, tzinfo=UTC)).seed == 77


def test_a_method_called_like_anything_comes_back_as_it_is(tmp_path: Path) -> None:
    trial = sample("four_naps")
    names = ['=1+1, "quoted"', "NA", "  1.0", "zwei\tWörter"]
    methods = tuple(
        method.model_copy(update={"name": name})
        for method, name in zip(trial.methods, names, strict=True)
    )
    schedule = draw_schedule(trial.model_copy(update={"methods": methods}), 1)
    write_schedule(schedule, tmp_path)
    pd.testing.assert_frame_equal(read_schedule(tmp_path), schedule)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (",study,", ",stduy,", "row 5, column role"),
        ("\n4,S1,", "\nfour,S1,", "row 5, column planned_shot"),
        ("\n4,S1,", "\n3,S1,", "row 5, column planned_shot"),
        ("\n4,S1,", "\n4,,", "row 5, column session"),
    ],
)
def test_a_damaged_cell_is_named_by_row_and_column(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    path = write_schedule(draw_schedule(sample("four_naps"), 1), tmp_path)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(TableError, match=said):
        read_schedule(tmp_path)


@pytest.mark.parametrize("text", ["", "session,block\nS1,B1\n", 'a,b\n"1,2\n3,4,5\n'])
def test_a_file_that_is_no_schedule_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "schedule.csv").write_text(text)
    with pytest.raises(DataError, match=r"schedule\.csv"):
        read_schedule(tmp_path)
