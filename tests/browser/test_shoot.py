"""A whole session at the bench in a real browser: entries, accidents, a killed kernel, two tabs.

Every save is looked for in the journal on disk, not only on the screen.
"""

from __future__ import annotations

import re
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from kit.launcher import NotebookServer, notebook_server
from kit.results.gate import PEEK_REFUSED
from kit.shotlog import read_journal, read_log, read_shots, run_order, schedule_of
from kit.trial import read_trial
from tests.browser.bench import (
    box,
    end_process,
    fill_shot,
    kernel_of,
    press,
    save,
    sealed_trial,
    start_session,
)
from tests.browser.conftest import READY, START_MS, keep_screenshot
from tests.browser.test_forms import CUT_OFF, SCREENS, SIDEWAYS, TOO_SMALL

Opened = Callable[[Path], object]
needs_kill = pytest.mark.skipif(
    not hasattr(signal, "SIGKILL") or not shutil.which("ps"), reason="needs SIGKILL and ps"
)


@pytest.fixture(scope="module")
def trials(chromium, jupyter_home, tmp_path_factory) -> Iterator[tuple[Path, NotebookServer]]:
    """A folder of trials, and one server for all of them."""
    place = tmp_path_factory.mktemp("trials")
    with notebook_server(place) as server:
        yield place, server


@pytest.fixture
def folder(trials) -> Path:
    """A sealed trial of this test's own."""
    return sealed_trial(trials[0] / f"trial-{len(list(trials[0].iterdir()))}")


@pytest.fixture
def open_bench(trials, open_notebook) -> Opened:
    """Open the bench of a trial."""
    return lambda folder: open_notebook(f"{folder.name}/2_shoot", trials[1])


def test_a_session_of_sixteen_shots_with_all_that_goes_wrong(folder, open_bench, findings):
    page = open_bench(folder)
    keep_screenshot(page, "shoot-cautions")
    assert page.get_by_text("Never loosen a portafilter under pressure").is_visible()
    start_session(page)
    for _ in range(4):
        fill_shot(page)
        save(page, folder)
    keep_screenshot(page, "shoot-next")

    # A number that cannot be meant is refused where it stands, and nothing is saved.
    fill_shot(page, dose="185")
    press(page, "Save shot")
    page.get_by_role("alert").get_by_text("185.00 g cannot be right here").wait_for()
    assert len(read_log(folder).shots) == 4

    # Far from target: asked about once, saved when pressed again.
    fill_shot(page, beverage="63")
    press(page, "Save shot")
    page.get_by_role("alert").get_by_text("63 g is far from 36 g").wait_for()
    assert len(read_log(folder).shots) == 4
    fill_shot(page)
    save(page, folder)

    # A spill: the spare comes at the end of the same block.
    lost = run_order(schedule_of(folder), read_log(folder)).next_pull
    box(page, "What went wrong?").select_option(label="spill")
    page.get_by_text(f"replaced at the end of block {lost.block}").wait_for()
    save(page, folder)
    assert read_log(folder).shots[-1].entered["reason"] == "spill"

    # A correction: both values stay in the journal.
    box(page, "Logged shot").select_option(index=1)
    press(page, "Correct it")
    box(page, "Dose (g)").fill("17,6")
    box(page, "Why is it corrected?").fill("misread the scale")
    press(page, "Save the correction")
    page.get_by_role("status").get_by_text("The correction is saved").wait_for()
    assert read_shots(folder).iloc[4]["dose_g"] == 17.6
    kinds = [event.kind for event in read_journal(folder).events]
    assert kinds.count("correction") == 1

    while (pull := run_order(schedule_of(folder), read_log(folder)).next_pull) is not None:
        page.locator(".kit-card-code b").get_by_text(pull.code, exact=True).wait_for()
        if pull.replaces is not None:
            page.get_by_text(f"in place of planned shot {pull.replaces}").wait_for()
            keep_screenshot(page, "shoot-replacement")
        fill_shot(page, tds=f"9,{30 + pull.planned_shot}")
        save(page, folder)
    page.get_by_text("Every planned shot is pulled.").wait_for()
    keep_screenshot(page, "shoot-done")
    shots = read_shots(folder)
    assert len(shots) == 16
    assert sorted(shots["status"].unique()) == ["kept", "replaced"]
    spare = shots[shots["replaces"].notna()].iloc[0]
    assert (spare["block"], spare["method"]) == (lost.block, lost.method)
    page.get_by_role("img", name=re.compile("reference shots in the order pulled")).wait_for()
    assert findings.outside_requests == []
    assert findings.errors == []


@needs_kill
def test_a_killed_kernel_loses_no_letter_of_a_half_filled_form_and_two_tabs_agree(
    trials, folder, open_bench
):
    page = open_bench(folder)
    start_session(page)
    fill_shot(page)
    save(page, folder)
    box(page, "Dose (g)").fill("17,4")
    box(page, "Beverage (g)").fill("36,")
    page.get_by_text("Dose 17.4 g: within").wait_for()
    end_process(kernel_of(trials[1], f"{folder.name}/2_shoot.ipynb"))
    again = "Number(document.querySelector('.kit-notebook').dataset.kitRuns) >= 2"
    page.wait_for_function(again, timeout=START_MS)
    page.wait_for_selector(READY, timeout=START_MS)
    page.get_by_text("Dose 17.4 g: within").wait_for()
    assert box(page, "Dose (g)").input_value() == "17,4"
    assert box(page, "Beverage (g)").input_value() == "36,"
    save(page, folder)

    second = page.context.new_page()
    second.goto(page.url, wait_until="domcontentloaded")
    second.wait_for_selector(READY, timeout=START_MS)
    second.get_by_role("button", name="Save shot").wait_for(timeout=START_MS)
    fill_shot(second)
    page.wait_for_function(  # both windows hold the same form
        "[...document.querySelectorAll('input')].some(box => box.value === '9,4')"
    )
    save(second, folder)
    page.get_by_role("status").get_by_text("Shot 3 is saved.").wait_for()
    fill_shot(page)
    save(page, folder)
    shots = read_shots(folder)
    assert shots["planned_shot"].is_unique
    assert len(shots) == 4


def test_the_bench_by_keyboard_alone_on_every_screen(folder, open_bench, findings):
    page = open_bench(folder)
    box(page, "Your code").focus()
    page.keyboard.type("AB")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Save shot").wait_for()
    box(page, "Dose before preparation (g)").focus()
    for text in ("17,6", "17,5", "36,2", "7,5", "28", "9,4", "9,6"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    page.get_by_text("The readings are 0.20 % TDS apart.").wait_for()
    page.get_by_text("Preparation lost 0.10 g.").wait_for()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        light = "true" if scheme == "light" else "false"
        page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")
        for screen, (width, height) in SCREENS.items():
            page.set_viewport_size({"width": width, "height": height})
            page.wait_for_function(f"innerWidth === {width}")
            page.wait_for_function(f"({CUT_OFF})().length === 0")
            assert page.evaluate(SIDEWAYS) == []
            assert page.evaluate(TOO_SMALL) == []
            page.locator(".kit-card").scroll_into_view_if_needed()
            keep_screenshot(page, f"shoot-form-{screen}-{scheme}")
    unnamed = page.evaluate(
        """() => [...document.querySelectorAll('.kit-panel :is(button, input, select, textarea)')]
        .filter(node => node.getClientRects().length)
        .filter(node => !(node.labels?.length || node.getAttribute('aria-label')
                          || node.textContent.trim()))
        .map(node => node.outerHTML.slice(0, 120))"""
    )
    assert unnamed == []
    button = page.get_by_role("button", name="Save shot")
    button.focus()
    page.keyboard.press("Enter")
    page.get_by_role("status").get_by_text("Shot 1 is saved.").wait_for()
    assert read_log(folder).shots[0].entered["tds_readings"] == [9.4, 9.6]
    assert findings.errors == []


def test_asking_early_says_why_not_and_is_noted_and_the_other_desks_show_codes_only(
    folder, open_bench, findings
):
    page = open_bench(folder)
    start_session(page)
    for _ in range(3):
        fill_shot(page, tds="")
        save(page, folder)
    press(page, "How do the methods compare?")
    page.get_by_text(PEEK_REFUSED).wait_for()
    assert len(read_log(folder).peeks) == 1

    page.get_by_role("button", name="Measure", exact=True).click()
    page.get_by_label("Your code", exact=True).locator("visible=true").fill("M1")
    codes = read_shots(folder).query("role != 'warm-up'")["code"].tolist()
    page.get_by_text(re.compile("Cups without a reading")).wait_for()
    for name in read_trial(folder).method_names:
        assert not page.get_by_text(name, exact=True).locator("visible=true").count()
    box(page, "Cup code").fill(codes[0])
    page.get_by_label("TDS (%)", exact=True).locator("visible=true").fill("9,45")
    keep_screenshot(page, "shoot-measure")
    press(page, "Save readings")
    page.get_by_role("status").get_by_text(f"Cup {codes[0]} is saved.").wait_for()

    page.get_by_role("button", name="Score faults", exact=True).click()
    box(page, "Scorer's code").fill("S1")
    page.get_by_text(re.compile(r"Open clip \d+")).wait_for()
    press(page, "More: Flow faults")
    keep_screenshot(page, "shoot-score")
    press(page, "Save count")
    page.get_by_text(re.compile(r"Clip \d+ is scored")).wait_for()
    page.get_by_role("button", name="Measure", exact=True).click()
    press(page, "How good is the measuring?")
    page.get_by_role("table", name="What each change would bring").wait_for()
    keep_screenshot(page, "shoot-check")

    table = 'planned shot,method,dose (g),out,TDS\n9,Harbour,"17,5",36,9.4\n'
    (folder / "paper.csv").write_text(table, encoding="utf-8")
    page.get_by_role("button", name="Bring a table", exact=True).click()
    press(page, "Look at it")
    page.get_by_role("table", name="As understood").wait_for()
    keep_screenshot(page, "shoot-bring")
    assert len(read_log(folder).shots) == 3
    press(page, "Take the shots in")
    page.get_by_role("alert").or_(page.get_by_role("status")).get_by_text(
        re.compile("1 shot taken in|this method|planned shot")
    ).first.wait_for()

    shots = read_shots(folder)
    assert shots.query("planned_shot != 9")["tds_pct"].notna().sum() == 1
    assert shots["faults"].notna().sum() == 1
    assert findings.errors == []


def test_something_broke_unfolds_asks_why_and_says_the_cost(folder, open_bench, findings):
    page = open_bench(folder)
    start_session(page)
    for _ in range(3):
        fill_shot(page)
        save(page, folder)
    assert not box(page, "What happened?").is_visible()
    press(page, "Something broke")
    press(page, "End this session early")
    page.get_by_role("alert").get_by_text("Say why").wait_for()
    box(page, "What happened?").fill("grinder jammed")
    for screen, (width, height) in SCREENS.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_function(f"innerWidth === {width}")
        page.wait_for_function(f"({CUT_OFF})().length === 0")
        assert page.evaluate(SIDEWAYS) == []
        box(page, "What happened?").scroll_into_view_if_needed()
        keep_screenshot(page, f"shoot-broke-{screen}")
    press(page, "End this session early")
    page.get_by_text(re.compile("to an extra session")).first.wait_for()
    keep_screenshot(page, "shoot-broke-done")
    assert "grinder jammed" in (folder / "amendments.csv").read_text(encoding="utf-8")
    assert len(read_shots(folder)) == 3
    assert findings.errors == []
