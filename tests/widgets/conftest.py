"""A trial folder to look at, copied from a sample session."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from kit.shipped import sample_session


@pytest.fixture
def trial_folder(tmp_path: Path) -> Path:
    shutil.copy(sample_session("four_naps") / "trial.toml", tmp_path)
    return tmp_path
