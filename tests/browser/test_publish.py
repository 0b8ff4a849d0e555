"""Publishing in a real browser: pictures follow the format, report and bundle are written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from kit.bundle import reproduce
from kit.launcher import NotebookServer, copy_missing_notebooks, notebook_server
from tests.accessibility import axe_source, serious_findings
from tests.browser.conftest import START_MS, keep_screenshot
from tests.small_trial import make_small

SIZES = {"laptop": (1280, 800), "tablet": (820, 1180), "phone": (390, 844)}
NOTEBOOKS = ("1_plan", "2_shoot", "3_analyse", "4_publish")


@pytest.fixture(scope="module")
def finished(
    chromium: str, jupyter_home: Path, samples: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Path, NotebookServer]]:
    """A small trial, pulled and complete, with its own server."""
    folder = make_small(samples, tmp_path_factory.mktemp("finished") / "small")
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        yield folder, server


def shown_image(page) -> str:
    return page.locator(".kit-preview img").get_attribute("src")


def test_pictures_follow_the_format_and_everything_is_written(open_notebook, finished, findings):
    folder, server = finished
    page = open_notebook("4_publish", server)
    preview = page.locator(".kit-preview img")
    preview.wait_for(timeout=START_MS)
    image = "document.querySelector('.kit-preview img')"
    size = f"({image}.naturalHeight / {image}.naturalWidth)"
    assert page.evaluate(size) == pytest.approx(1080 / 1920, abs=0.01)
    before = shown_image(page)
    page.get_by_label("Format", exact=True).select_option("Tall, 1080 × 1920")
    page.wait_for_function(f"{size} > 1.7")
    tall = shown_image(page)
    assert tall != before
    page.get_by_label("Ground", exact=True).select_option("Dark card")
    page.wait_for_function(
        "old => document.querySelector('.kit-preview img').src !== old", arg=tall
    )
    page.get_by_label("Picture", exact=True).select_option("Differences: extraction yield")
    page.locator(".kit-preview img[alt^='Difference in extraction yield']").wait_for()
    assert "Extraction" in page.get_by_label("What may be said, to copy").input_value()
    page.get_by_role("button", name="Write report and bundle").click()
    page.get_by_text("results/report.html").first.wait_for(state="attached", timeout=START_MS)
    bundle = folder / "small-bundle.zip"
    page.get_by_text(str(bundle)).first.wait_for(timeout=START_MS)
    assert (
        folder / "results/figures/differences_ey_pct_still-tall-dark.png"
    ).stat().st_size > 10_000
    assert reproduce(bundle).succeeded
    keep_screenshot(page, "publish-written")
    assert findings.outside_requests == []
    assert findings.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_publish_fits_every_screen(page, open_notebook, finished, findings, scheme):
    page.emulate_media(color_scheme=scheme)
    page = open_notebook("4_publish", finished[1])
    page.locator(".kit-preview img").wait_for(timeout=START_MS)
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_function("document.documentElement.scrollWidth <= window.innerWidth")
        small = page.evaluate(
            "[...document.querySelectorAll('.kit-panel :is(button, input, select, textarea)')]"
            ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
            ".map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == [], size
        keep_screenshot(page, f"publish-{size}-{scheme}")
        page.locator(".kit-preview").scroll_into_view_if_needed()
        keep_screenshot(page, f"publish-{size}-{scheme}-picture")
    assert findings.errors == []


def test_a_press_copies_what_may_be_said(page, open_notebook, finished, findings):
    origin = f"http://127.0.0.1:{finished[1].port}"
    page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=origin)
    page = open_notebook("4_publish", finished[1])
    page.locator(".kit-preview img").wait_for(timeout=START_MS)
    page.get_by_role("button", name="Copy what may be said").click()
    page.get_by_text("Copied", exact=True).wait_for()
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied == page.get_by_label("What may be said, to copy").input_value()
    assert copied.startswith("Extraction")
    assert findings.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", NOTEBOOKS)
def test_axe_finds_nothing_serious_in_a_panel(page, open_notebook, finished, name, scheme):
    axe_source()  # skip before a notebook is opened
    page.emulate_media(color_scheme=scheme)
    page = open_notebook(name, finished[1])
    if name in ("3_analyse", "4_publish"):
        page.locator(".kit-panel .kit-figure img").first.wait_for(timeout=START_MS)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    assert serious_findings(page, ".kit-panel") == []
