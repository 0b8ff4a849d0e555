"""The answer in a real browser: letters until settled, no answer before the end, a rehearsal."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from kit.launcher import NotebookServer, copy_missing_notebooks, notebook_server
from kit.results import read_lock
from kit.shipped import sample_session
from kit.shotlog import read_log
from tests.browser.conftest import START_MS, keep_screenshot
from tests.browser.test_forms import CUT_OFF, SCREENS, SIDEWAYS


@pytest.fixture(scope="module")
def trials(
    chromium: str, jupyter_home: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Path, NotebookServer]]:
    """A finished trial that is not settled, and one that was begun; one server each in turn."""
    folder = tmp_path_factory.mktemp("open") / "four_naps"
    shutil.copytree(sample_session("four_naps"), folder)
    (folder / "analysis_lock.json").unlink()
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        yield folder, server


def test_answer_first_letters_until_settled(open_notebook, trials, findings) -> None:
    folder, server = trials
    page = open_notebook("3_analyse", server)
    answer = page.locator(".kit-answer")
    answer.wait_for(timeout=START_MS)
    assert "Method " in answer.inner_text()
    assert "Fjord" not in page.locator(".kit-panel").inner_text()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for screen, (width, height) in SCREENS.items():
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_function(f"({CUT_OFF})().length === 0")
            page.wait_for_function(f"({SIDEWAYS})().length === 0")
            keep_screenshot(page, f"3_analyse_{screen}_{scheme}")
    page.get_by_role("button", name="Settle the analysis and show the names").click()
    page.locator(".kit-answer", has_text="Fjord").wait_for(timeout=START_MS)
    assert read_lock(folder) is not None
    # The answer is drawn before the details: those under names must stand before one is unfolded.
    page.locator("details.kit-outcome", has_text="Fjord").first.wait_for(timeout=START_MS)
    checks = page.locator("details", has_text="Checks on shots and model").last
    checks.locator("summary").first.click()
    checks.get_by_text(re.compile("(no|the) verdict moves")).wait_for()
    said = checks.inner_text()
    assert "no verdict moves" in said or "the verdict moves" in said
    assert findings.outside_requests == []
    assert findings.errors == []


def test_no_answer_before_the_end_but_a_rehearsal(
    open_notebook, jupyter_home: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "begun"
    folder.mkdir()
    source = sample_session("four_naps")
    for name in ("trial.toml", "schedule.csv", "freeze.json"):
        shutil.copy(source / name, folder)
    first = (source / "shots.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)[:5]
    (folder / "shots.jsonl").write_text("".join(first), encoding="utf-8")
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        page = open_notebook("3_analyse", server)
        page.get_by_role("button", name="Show a comparison now").click()
        page.get_by_text("Testing after every block", exact=False).wait_for(timeout=START_MS)
        assert len(read_log(folder).peeks) == 1
        before = (folder / "shots.jsonl").read_bytes()
        page.get_by_role("button", name="Rehearse on invented shots").click()
        page.locator(".kit-answer").wait_for(timeout=START_MS)
        assert page.get_by_text("Whatever shows here is luck", exact=False).is_visible()
        assert not page.get_by_role("button", name="Settle the analysis").is_visible()
        assert (folder / "shots.jsonl").read_bytes() == before
