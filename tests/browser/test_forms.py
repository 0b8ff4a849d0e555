"""Every notebook opens as a form: it runs by itself, shows no code, fits every screen.

Sizes: 44 px is the target size of WCAG 2.2, success criterion 2.5.5. Screens: a laptop, a tablet
held upright, a phone.
"""

from __future__ import annotations

import pytest

from tests.browser.conftest import keep_screenshot

NOTEBOOKS = ["1_plan", "2_shoot", "3_analyse", "4_publish"]
SCREENS = {"laptop": (1280, 800), "tablet": (820, 1180), "phone": (390, 844)}
CONTROLS = ".kit-panel :is(button, input, select, textarea, nav a)"
TOO_SMALL = f"""() => [...document.querySelectorAll('{CONTROLS}')]
    .map(node => [node.outerHTML.slice(0, 120), node.getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && (box.height < 44 || box.width < 44))
    .map(([html, box]) => `${{html}}: ${{box.width}} x ${{box.height}}`)"""
CUT_OFF = """() => [...document.querySelectorAll('.kit-panel *')]
    .filter(node => !node.closest('.kit-table, .kit-hidden') && node.getClientRects().length)
    .filter(node => node.getBoundingClientRect().right > innerWidth + 1)
    .map(node => node.outerHTML.slice(0, 120))"""
SIDEWAYS = """() => ['html', '.jp-WindowedPanel-outer, .jp-Notebook']
    .map(selector => document.querySelector(selector))
    .filter(node => node && node.scrollWidth > node.clientWidth + 1)
    .map(node => node.className)"""
CODE = ".jp-CodeCell .jp-Cell-inputWrapper, .jp-Placeholder, .jp-InputPrompt, .jp-OutputPrompt"


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_notebook_opens_as_a_form(name: str, open_notebook, findings) -> None:
    page = open_notebook(name)
    assert page.locator(".kit-panel h1").inner_text().startswith("Four naps")
    assert [node for node in page.locator(CODE).all() if node.is_visible()] == []
    assert not page.locator(".jp-SideBar").locator("visible=true").count()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        light = "true" if scheme == "light" else "false"
        page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")
        page.wait_for_selector("#jupyterlab-splash", state="detached")
        for screen, (width, height) in SCREENS.items():
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_function(f"innerWidth === {width}")
            page.wait_for_function(f"({CUT_OFF})().length === 0")
            keep_screenshot(page, f"{name}-{screen}-{scheme}")
            assert page.evaluate(SIDEWAYS) == [], f"scrolls sideways on a {screen}"
            assert page.evaluate(TOO_SMALL) == [], f"too small on a {screen}"
    assert findings.outside_requests == []
    assert findings.errors == []
