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
from kit.schedule.tasting import read_tasting
from kit.shotlog import read_journal, read_log, read_shots, run_order, schedule_of
from kit.trial import Attribute, Tasting, read_trial
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

    shots = read_shots(folder)
    assert shots["tds_pct"].notna().sum() == 1
    assert shots["faults"].notna().sum() == 1
    assert findings.errors == []


def test_a_brought_table_is_shown_as_understood_mended_and_taken_in(folder, open_bench, findings):
    table = 'planned shot,dose (g),yield,TDS\n9,"17,5",36,"9,40"\n10,"17,4","36,2","9,35"\n'
    (folder / "paper.csv").write_text(table, encoding="utf-8")
    (folder / "slips.csv").write_text(table.replace("17,4", "174"), encoding="utf-8")
    page = open_bench(folder)
    page.get_by_role("button", name="Bring a table", exact=True).click()
    page.get_by_role("button", name="Bring a file", exact=True).wait_for()
    press(page, "Look at it")
    understood = page.get_by_role("table", name="As understood; nothing is written yet")
    understood.get_by_text("could mean two things").wait_for()
    page.get_by_text("paper.csv, row 2, column beverage_g: Beverage is missing").wait_for()
    press(page, "Take the shots in")
    page.get_by_role("alert").get_by_text("Nothing was taken in. 3 things stand").wait_for()
    assert read_log(folder).shots == ()

    box(page, "Column").select_option(label="C: yield")
    reads = "value => [...document.querySelectorAll('select')].some(box => box.value === value)"
    page.wait_for_function(reads, arg="not read")
    box(page, "is read as").select_option(label="Beverage (g)")
    press(page, "Change")
    page.get_by_text("2 shots would be taken in.").wait_for()
    for screen in ("tablet", "phone"):
        fits(page, screen)
        keep_screenshot(page, f"shoot-bring-{screen}")
    press(page, "Take the shots in")
    page.get_by_role("status").get_by_text("2 shots taken in from paper.csv.").wait_for()
    assert read_shots(folder)["dose_g"].tolist() == [17.5, 17.4]

    box(page, "File in the trial folder").select_option(label="slips.csv")
    press(page, "Look at it")
    page.get_by_text("row 3, column B (dose (g)): dose must lie between 5 and 30 g").wait_for()
    assert len(read_log(folder).shots) == 2
    assert findings.errors == []


def test_a_taster_sees_codes_cautions_and_the_load_and_answers_every_set(
    trials, open_bench, findings
):
    tasting = Tasting(
        tasters=("T1", "T2"), attributes=(Attribute(name="liking", low=1, high=9),),
        cups_per_sitting=4, discrimination="duo-trio", pair=("Harbour", "Fjord"),
        sets_per_taster=1,
    )  # fmt: skip
    folder = sealed_trial(trials[0] / "panel", tasting)
    page = open_bench(folder)
    page.get_by_text("Nobody has tasted a cup today").wait_for()
    page.get_by_role("button", name="Taste", exact=True).click()
    page.get_by_text("Adults only, by taster code").wait_for()
    assert not page.get_by_role("button", name="Save cup").is_visible()
    box(page, "Taster's code").fill("T2")
    orders, sets = read_tasting(folder)
    own = orders[orders["taster"] == "T2"]
    for place, code in enumerate(own["code"], start=1):
        page.get_by_text(f"Taste cup {code}", exact=True).wait_for()
        for name in read_trial(folder).method_names:
            assert not page.get_by_text(name).locator("visible=true").count()
        if place == 2:
            box(page, "Liking").fill("12")
            press(page, "Save cup")
            page.get_by_role("alert").get_by_text("Liking: 12 cannot be right here").wait_for()
            for screen in ("tablet", "phone"):
                fits(page, screen)
                keep_screenshot(page, f"shoot-taste-{screen}")
        box(page, "Liking").fill("7")
        press(page, "Save cup")
        page.get_by_role("status").get_by_text(f"cup {place} of 4 of this sitting").wait_for()
    assert not page.get_by_text("Adults only, by taster code").is_visible()
    page.get_by_text("T2: 4 cups in this sitting, 4 today").wait_for()
    cups = sets[(sets["taster"] == "T2") & (sets["part"] != "reference")]["code"].tolist()
    page.get_by_text(f"reference · {cups[0]} · {cups[1]}").wait_for()
    press(page, "Save answer")
    page.get_by_role("alert").get_by_text("Choose one of the cups").wait_for()
    box(page, "Which cup?").select_option(label=cups[1])
    press(page, "Save answer")
    page.get_by_text("every cup that was planned for you. Thank you.").wait_for()
    page.get_by_role("button", name="Pull", exact=True).click()
    page.get_by_text("7 cups, 163 mg").wait_for()  # 23.3 mg a sip of 17.5 g in 36 g
    logged = read_log(folder).tastings
    assert [event.data["code"] for event in logged] == [*own["code"], cups[1]]
    assert findings.errors == []


def fits(page, screen: str) -> None:
    """Nothing is cut off, too small for a finger, or scrolls sideways on this screen."""
    width, height = SCREENS[screen]
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_function(f"innerWidth === {width}")
    page.wait_for_function(f"({CUT_OFF})().length === 0")
    assert page.evaluate(SIDEWAYS) == []
    assert page.evaluate(TOO_SMALL) == []


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
    said = page.get_by_role("status").filter(has_text="What is left is planned anew.")
    said.get_by_text("The expected standard error").wait_for()
    assert page.viewport_size["width"] == SCREENS["phone"][0]
    box_of = said.bounding_box()
    assert box_of["y"] >= 0
    assert box_of["y"] + box_of["height"] <= SCREENS["phone"][1] + 1
    keep_screenshot(page, "shoot-broke-done")
    assert page.get_by_text(re.compile("to an extra session")).first.is_visible()
    assert "grinder jammed" in (folder / "amendments.csv").read_text(encoding="utf-8")
    assert len(read_shots(folder)) == 3
    assert findings.errors == []


def by_keys(page, label: str, text: str = "") -> None:
    """Into the box, type, and on to what comes next, without a mouse."""
    box(page, label).focus()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type(text)
    page.keyboard.press("Tab")


def focus_and_press(page, name: str) -> None:
    """The button is reached by Tab alone from where the focus stands, then pressed with Enter."""
    for _ in range(60):
        focused = page.evaluate("document.activeElement?.textContent.trim()")
        if focused == name:
            page.keyboard.press("Enter")
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"“{name}” is not reached by the keyboard")


def test_pause_skip_correction_and_end_by_keyboard_alone(folder, open_bench, findings):
    page = open_bench(folder)
    by_keys(page, "Your code", "AB")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Save shot").wait_for()
    by_keys(page, "Dose (g)", "17,5")
    by_keys(page, "Beverage (g)", "36")
    by_keys(page, "TDS (%)", "9,4")
    focus_and_press(page, "Save shot")
    said = page.get_by_role("status")
    said.get_by_text("Shot 1 is saved.").wait_for()

    why = "Why (skip, pause, end, take back)"
    by_keys(page, why, "telephone")
    focus_and_press(page, "Pause")
    said.get_by_text("paused").wait_for()
    page.get_by_role("button", name="Go on").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Save shot").wait_for()

    by_keys(page, why, "out of beans of this jar")
    focus_and_press(page, "Skip this pull")
    page.wait_for_function("document.body.innerText.includes('kipped')")

    box(page, "Logged shot").focus()
    focus_and_press(page, "Correct it")
    box(page, "Why is it corrected?").wait_for()
    by_keys(page, "Dose (g)", "17,6")
    by_keys(page, "Why is it corrected?", "misread the scale")
    focus_and_press(page, "Save the correction")
    said.get_by_text("The correction is saved").wait_for()
    assert read_log(folder).shots[0].entered["dose_g"] == 17.6

    by_keys(page, why, "enough for today")
    focus_and_press(page, "End the session")
    page.wait_for_function("document.body.innerText.includes('ended')")
    kinds = [event.kind for event in read_journal(folder).events]
    for kind in ("pause", "resume", "skip", "correction", "session end"):
        assert kind in kinds, kind
    assert findings.errors == []


def test_every_box_of_the_form_says_what_is_wrong_with_what_was_typed(folder, open_bench):
    page = open_bench(folder)
    start_session(page)
    boxes = page.locator(".kit-panel input[inputmode=decimal]:visible")
    assert boxes.count() >= 8
    for number in range(boxes.count()):
        field = boxes.nth(number)
        field.fill("9,,x")
        page.wait_for_function("node => node.getAttribute('aria-invalid') === 'true'",
                               arg=field.element_handle())  # fmt: skip
    press(page, "Save shot")
    page.get_by_role("alert").get_by_text("9,,x").first.wait_for()
    assert len(read_log(folder).shots) == 0
