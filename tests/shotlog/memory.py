"""A temporary folder in memory where the machine has one.

The log waits for the disk at every entry. What a killed process has written stays in either place,
so the tests need not wait too; the browser tests and benchmarks write to the real disk.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

MEMORY = Path("/dev/shm")


@contextmanager
def folder_in_memory() -> Iterator[Path]:
    place = MEMORY if os.access(MEMORY, os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=place) as folder:
        yield Path(folder)
