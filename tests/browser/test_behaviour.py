"""What the forms do under the hands of a person, and when something breaks."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
from pathlib import Path

import nbformat
import pytest

from tests.browser.conftest import READY, START_MS, Bench, keep_screenshot

GALLERY = Path(__file__).with_name("gallery.py")


@pytest.fixture
def gallery(bench: Bench) -> str:
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(GALLERY.read_text(encoding="utf-8"))],
        metadata={"kit": {"autorun": True}, "kernelspec": {"name": "python3", "display_name": "P"}},
    )
    nbformat.write(notebook, bench.folder / "gallery.ipynb")
    return "gallery"


def kernels_of(bench: Bench) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=,args=", "--ppid", str(bench.server.process.pid)],
        capture_output=True, text=True, check=False,
    ).stdout.splitlines()  # fmt: skip
    return [int(line.split()[0]) for line in listed if "ipykernel_launcher" in line]


def test_keys_belong_to_the_controls_and_code_comes_back_on_request(open_notebook, gallery):
    page = open_notebook(gallery)
    page.get_by_role("button", name="Fail").focus()
    for key in ("d", "d", "x", "a"):  # in JupyterLab: delete, cut, insert a cell
        page.keyboard.press(key)
    assert page.locator(".jp-CodeCell").count() == 1
    assert page.get_by_role("button", name="Fail").is_visible()
    page.locator(".lm-MenuBar-itemLabel", has_text="View").click()
    page.locator('.lm-Menu-item[data-command="viewmenu:show-all"]').or_(
        page.locator(".lm-Menu-item", has_text="Expand All Code")
    ).first.click()
    page.get_by_text("class GalleryView").wait_for()


def test_controls_have_names_work_stops_and_failures_are_said(
    open_notebook, gallery, bench, findings
):
    page = open_notebook(gallery)
    page.get_by_role("group", name="Stage").wait_for()
    page.get_by_label("Grind", exact=True).select_option(label="re-dialled")
    page.get_by_role("status").get_by_text("re-dialled").wait_for()
    page.get_by_role("button", name="Work").click()
    page.get_by_role("progressbar", name="Counting").wait_for()
    page.get_by_role("slider", name="Blocks").focus()  # the page answers while the work runs
    page.keyboard.press("ArrowRight")
    image = page.get_by_role("img", name="A line over 5 blocks")
    image.wait_for()
    assert image.evaluate("node => node.complete && node.naturalWidth > 0")
    page.get_by_role("button", name="Stop").click()
    page.get_by_role("status").get_by_text("Stopped: Counting").wait_for()
    assert not page.get_by_role("progressbar").count()
    page.get_by_role("button", name="Fail").click()
    said = page.get_by_role("alert").filter(has_text="mistake in the program")
    said.wait_for()
    bottom = said.evaluate("node => node.getBoundingClientRect().bottom")
    assert bottom <= 800, "the sentence is out of view"
    keep_screenshot(page, "gallery-failed")
    log = (bench.folder / "diagnostics" / "errors.log").read_text(encoding="utf-8")
    assert "ZeroDivisionError" in log
    assert findings.outside_requests == []
    assert findings.errors == []


def test_what_is_done_arrives_in_the_order_in_which_it_was_done(open_notebook, gallery):
    """Widgets hold back text while the kernel is busy, but not clicks: digits would be lost."""
    page = open_notebook(gallery)
    slow, keep = page.get_by_label("Slow (s)", exact=True), page.get_by_role("button", name="Keep")
    slow.press_sequentially("18,5")
    keep.click()
    slow.fill("7")
    keep.click()
    said = page.get_by_role("status").filter(has_text="then")
    said.wait_for()
    assert said.inner_text() == "Kept 18,5 then 7"


@pytest.mark.skipif(not hasattr(signal, "SIGKILL") or not shutil.which("ps"), reason="needs ps")
def test_form_comes_back_after_its_kernel_was_killed(open_notebook, gallery, bench):
    page = open_notebook(gallery)
    for pid in kernels_of(bench):
        os.kill(pid, signal.SIGKILL)
    again = "Number(document.querySelector('.kit-notebook').dataset.kitRuns) >= 2"
    page.wait_for_function(again, timeout=START_MS)
    page.wait_for_selector(READY, timeout=START_MS)
    page.get_by_role("slider", name="Blocks").wait_for()
    assert page.locator(".jp-Dialog").count() == 0
    assert page.locator(".kit-banner").count() == 0


def test_lost_server_is_said_at_once(open_notebook, jupyter_home, tmp_path_factory, chromium):
    from kit.launcher import copy_missing_notebooks, notebook_server
    from kit.shipped import sample_session

    folder = tmp_path_factory.mktemp("lost")
    shutil.copy(sample_session("four_naps") / "trial.toml", folder)
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        page = open_notebook("4_publish", server)
    page.locator(".kit-banner").filter(has_text="Not connected").wait_for()
    assert page.locator(".jp-Notebook").first.evaluate("node => node.inert")
    keep_screenshot(page, "server-lost")
