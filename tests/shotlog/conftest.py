"""Temporary folders of these tests are in memory; see ``memory.py``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shotlog.memory import folder_in_memory


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    with folder_in_memory() as folder:
        yield folder
