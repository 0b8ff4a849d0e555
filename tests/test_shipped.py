"""What comes with the kit is found in a source tree; the wheel is looked at file by file."""

from __future__ import annotations

import pytest

from kit.errors import DataError
from kit.shipped import sample_session, shipped_notebooks


def test_the_four_notebooks_are_there() -> None:
    names = sorted(path.stem for path in shipped_notebooks().glob("*.ipynb"))
    assert names == ["1_plan", "2_shoot", "3_analyse", "4_publish"]


def test_an_unknown_sample_session_lists_the_known_ones() -> None:
    assert (sample_session("four_naps") / "trial.toml").is_file()
    with pytest.raises(DataError, match=r"four_naps, seven_rivers"):
        sample_session("five_naps")
