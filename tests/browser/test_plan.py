"""The plan in a real browser: commas, answers at once, simulation, schedule, seal, three sizes."""

from __future__ import annotations

import tomllib

import pytest

from kit.trial import read_trial, write_trial
from tests.browser.conftest import START_MS, Bench, keep_screenshot

SIZES = {"laptop": (1280, 800), "tablet": (820, 1180), "phone": (390, 844)}


def saved(bench: Bench) -> dict:
    return tomllib.loads((bench.folder / "trial.toml").read_text(encoding="utf-8"))


def test_plan_saves_a_decimal_comma_and_leaves_without_asking(open_notebook, bench, findings):
    page = open_notebook("1_plan")
    box = page.get_by_label("Smallest difference that matters (points)", exact=True)
    assert box.get_attribute("inputmode") == "decimal"
    box.fill("0,5x")
    box.press("Tab")
    problem = page.locator(".kit-wrong .kit-problem")
    problem.wait_for()
    assert "0,5x" in problem.inner_text()
    assert box.get_attribute("aria-invalid") == "true"
    keep_screenshot(page, "plan-wrong-number")
    box.fill("0,4")
    page.get_by_role("button", name="More: Sessions").click()
    page.get_by_text("not saved yet").wait_for()
    page.get_by_role("button", name="Save the plan").click()
    page.get_by_text("The plan is saved in trial.toml.").wait_for()
    assert saved(bench)["outcomes"][0]["smallest_difference"] == 0.4
    assert saved(bench)["layout"]["sessions"] == 4
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.message), dialog.accept()))
    page.get_by_role("link", name="Shoot").click()
    page.wait_for_url("**/2_shoot.ipynb", wait_until="domcontentloaded")
    page.get_by_label("Dose (g)", exact=True).wait_for(timeout=START_MS)
    assert asked == []
    assert findings.errors == []


def test_answers_follow_the_blanks_and_can_be_simulated(open_notebook, bench, findings):
    page = open_notebook("1_plan")
    table = page.get_by_role("region", name="Chance to answer each question")
    table.wait_for()
    own = table.get_by_role("columnheader", name="your plan")
    before = own.inner_text()
    page.get_by_role("button", name="More: Blocks in a session").click()
    page.wait_for_function("old => !document.body.innerText.includes(old)", arg=before)
    assert own.count() == 1
    assert table.get_by_role("row").count() >= 6
    page.locator(".kit-figure img[alt*='Chance that each question']").wait_for()
    page.locator(".kit-figure img[alt*='without any true difference']").wait_for()
    page.get_by_role("button", name="Less: Blocks in a session").click()
    page.get_by_role("button", name="Check by simulation").click()
    page.get_by_text("4,000 virtual trials, seed").first.wait_for(timeout=START_MS)
    assert page.get_by_role("columnheader", name="Would be wrong").count() == 1
    assert findings.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_plan_fits_every_screen(page, open_notebook, bench, findings, size, scheme):
    width, height = SIZES[size]
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": height})
    page = open_notebook("1_plan")
    page.locator(".kit-figure img[alt*='without any true difference']").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    small = page.evaluate(
        "[...document.querySelectorAll('.kit-panel :is(button, input, select, textarea)')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []
    keep_screenshot(page, f"plan-{size}-{scheme}")
    for name, title in [("curve", "How the chances grow"), ("luck", "What luck looks like"),
                        ("schedule", "Schedule and seal")]:  # fmt: skip
        page.get_by_role("heading", name=title).scroll_into_view_if_needed()
        keep_screenshot(page, f"plan-{size}-{scheme}-{name}")
    assert findings.errors == []


def test_draw_and_seal(open_notebook, bench, findings):
    # The last test of this module: a sealed plan can no longer be changed.
    page = open_notebook("1_plan")
    page.get_by_role("button", name="Draw the schedule").click()
    page.get_by_text("saved in schedule.csv").wait_for()
    page.get_by_role("region", name="What the schedule balances").wait_for()
    page.get_by_role("button", name="Seal plan and schedule").click()
    page.get_by_text("Plan and schedule are sealed").wait_for()
    assert {"schedule.csv", "freeze.json", "plan.md"} <= {p.name for p in bench.folder.iterdir()}
    box = page.get_by_label("Smallest difference that matters (points)", exact=True)
    assert box.is_disabled()
    keep_screenshot(page, "plan-sealed")
    assert findings.errors == []
    # Other modules share this folder: give it back as it was, but for what was saved.
    trial = read_trial(bench.folder)
    for name in ("freeze.json", "schedule.csv", "plan.md"):
        (bench.folder / name).unlink()
    write_trial(trial, bench.folder)
