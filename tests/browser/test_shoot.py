"""The bench in a real browser: what follows from the numbers is shown as they are typed."""

from __future__ import annotations

import re

from tests.browser.conftest import keep_screenshot


def test_shot_is_computed_as_it_is_typed(open_notebook, findings):
    page = open_notebook("2_shoot")
    page.get_by_label("Dose (g)", exact=True).fill("17,5")
    page.get_by_label("Beverage (g)", exact=True).fill("35")
    page.get_by_label("TDS (%)", exact=True).fill("9,5 %")
    page.locator(".kit-values").get_by_text("19.00 %", exact=True).wait_for()  # 9.5 × 35 / 17.5
    page.locator(".kit-values").get_by_text("1 : 2.00", exact=True).wait_for()
    page.get_by_role("button", name="Start").click()
    page.get_by_role("button", name="First drip").click()
    page.get_by_text(re.compile(r"First drip at \d+\.\d s")).wait_for()
    page.wait_for_function("parseFloat(document.querySelector('output').textContent) >= 0.3")
    page.get_by_role("button", name="Stop").click()
    keep_screenshot(page, "shoot-filled")
    assert findings.errors == []
