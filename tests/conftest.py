"""What many tests share: the sample sessions, copied and analysed once."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from kit.results import Results, compute_results, write_tables_and_findings
from kit.shotlog import write_tables
from tests.chromium import CHROMIUM_NAMES, find_chromium

# No test is timed, and every run tries the same examples: a red run can be repeated.
settings.register_profile("fairpull", deadline=None, derandomize=True)
settings.load_profile("fairpull")

SAMPLES = Path(__file__).parents[1] / "sample_sessions"


@pytest.fixture(scope="session")
def samples() -> Path:
    """The folder of the sample sessions: read it, never write there."""
    return SAMPLES


@pytest.fixture(scope="session")
def four_naps_results() -> Results:
    """The analysis of ``four_naps``, made once."""
    return compute_results(SAMPLES / "four_naps")


@pytest.fixture(scope="session")
def published_four_naps(
    tmp_path_factory: pytest.TempPathFactory, four_naps_results: Results
) -> Path:
    """A copy of ``four_naps`` with tables and findings written; do not change it."""
    folder = tmp_path_factory.mktemp("published") / "four_naps"
    shutil.copytree(SAMPLES / "four_naps", folder)
    write_tables(folder)
    write_tables_and_findings(four_naps_results, folder)
    return folder


@pytest.fixture
def unsettled_four_naps(tmp_path: Path) -> Path:
    """A copy of ``four_naps`` of its own, complete, its blind analysis still open."""
    folder = tmp_path / "four_naps"
    shutil.copytree(SAMPLES / "four_naps", folder)
    (folder / "analysis_lock.json").unlink()
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser; tests that need it skip with a plain reason where there is none."""
    found = find_chromium()
    if found:
        return found
    reason = f"no Chromium on this machine (looked for {', '.join(CHROMIUM_NAMES)})"
    if os.environ.get("FAIRPULL_REQUIRE_BROWSER") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def browser_driver(chromium: str) -> Iterator:
    """One driver for the whole run: a second one in the same process is refused."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        yield driver
