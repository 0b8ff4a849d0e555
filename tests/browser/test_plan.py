"""The plan in a real browser: a decimal comma is saved as meant, and leaving asks nothing."""

from __future__ import annotations

import tomllib

from tests.browser.conftest import START_MS, Bench, keep_screenshot


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
