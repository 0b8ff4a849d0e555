"""The small published trial and its bundle."""

from __future__ import annotations

from pathlib import Path

import pytest

from kit.bundle import write_bundle
from kit.bundle.archive import unpack
from tests.small_trial import publish_small


@pytest.fixture(scope="session")
def small_published(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small published trial; do not change it."""
    return publish_small(samples, tmp_path_factory.mktemp("small") / "small")


@pytest.fixture(scope="session")
def small_bundle(small_published: Path) -> Path:
    """Its bundle."""
    return write_bundle(small_published)


@pytest.fixture(scope="session")
def small_entries(small_bundle: Path) -> dict[str, bytes]:
    """The entries of its bundle."""
    return unpack(small_bundle)
