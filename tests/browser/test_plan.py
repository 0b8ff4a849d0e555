"""The plan in a real browser: commas, answers at once, simulation, schedule, seal, three sizes."""

from __future__ import annotations

import shutil
import tomllib

import pytest

from kit.launcher import copy_missing_notebooks, notebook_server
from kit.shipped import sample_session
from kit.trial import read_trial, write_trial
from tests.accessibility import axe_source, serious_findings
from tests.browser.conftest import START_MS, Bench, keep_screenshot
from tests.browser.test_forms import CUT_OFF, SIDEWAYS, TOO_SMALL

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
    page.get_by_text("There is no answer to this plan yet.").wait_for()
    keep_screenshot(page, "plan-wrong-number")
    box.fill("0,4")
    page.get_by_label("Sessions", exact=True).fill("4")
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


def test_blanks_stand_in_the_sentence_and_say_what_is_wrong_there(open_notebook, bench, findings):
    page = open_notebook("1_plan")
    sentence = page.locator(".kit-sentence")
    assert sentence.inner_text().split()[:4] == ["I", "compare", "4", "methods."]
    for label in ("Smallest difference that matters (points)", "Coffee there is (g)", "Sessions",
                  "Minutes a session (min)", "Blocks in a session",
                  "Shot-to-shot SD (points)"):  # fmt: skip
        box = sentence.get_by_label(label, exact=True)
        assert box.bounding_box()["height"] >= 44
    answer = page.locator(".kit-answer").first
    before = answer.inner_text()
    sentence.get_by_label("Smallest difference that matters (points)", exact=True).fill("0,3")
    page.wait_for_function("old => !document.body.innerText.includes(old)", arg=before)
    assert "the 0.3 points that matter" in answer.inner_text()
    for label, text, words in [
        ("Shot-to-shot SD (points)", "0", "cannot be right here"),
        ("Smallest difference that matters (points)", "-0,5", "cannot be right here"),
        ("Blocks in a session", "1000000000", "Between 1 and 200"),
        ("Sessions", "", "Sessions is empty. Fill it in."),
    ]:
        box = sentence.get_by_label(label, exact=True)
        good = box.input_value()
        box.fill(text)
        box.press("Tab")
        sentence.locator(".kit-wrong .kit-problem", has_text=words).wait_for()
        page.get_by_text("There is no answer to this plan yet.").wait_for()
        keep_screenshot(page, f"plan-wrong-{label.split()[0].lower()}")
        box.fill(good)
        sentence.locator(".kit-wrong").wait_for(state="detached")
    assert findings.errors == []


def test_methods_are_renamed_added_and_one_is_the_control(open_notebook, bench, findings):
    before = read_trial(bench.folder)
    page = open_notebook("1_plan")
    page.get_by_label("Method 2", exact=True).fill("Harbour")
    page.get_by_label("Method 2", exact=True).press("Tab")
    page.locator(".kit-entry .kit-problem", has_text="Another method is called").first.wait_for()
    page.get_by_label("Method 2", exact=True).fill("Deep freeze")
    page.get_by_role("button", name="Add a method").click()
    added = page.get_by_label("Method 5", exact=True)
    added.wait_for()
    page.get_by_text("Method 5: This method has no name yet").first.wait_for()
    added.fill("Shelf")
    page.get_by_label("How method 5 is done").fill("On the shelf, bag open.")
    page.get_by_text("I compare 5 methods.").wait_for()
    page.get_by_role("rowheader", name="any of the 10 pairs").first.wait_for()
    page.get_by_label("Which is the control").select_option(label="Deep freeze")
    page.get_by_role("button", name="Save the plan").click()
    page.get_by_text("The plan is saved in trial.toml.").wait_for()
    after = read_trial(bench.folder)
    assert after.method_names == ["Harbour", "Deep freeze", "Thaw", "Cellar", "Shelf"]
    assert after.control == "Deep freeze"
    assert after.methods[4].recipe == "On the shelf, bag open."
    page.get_by_role("button", name="Remove method 5").click()
    page.get_by_text("I compare 4 methods.").wait_for()
    write_trial(before, bench.folder)
    assert findings.errors == []


def test_outcomes_and_tasters_are_chosen_on_the_screen(open_notebook, bench, findings):
    before = read_trial(bench.folder)
    page = open_notebook("1_plan")
    page.get_by_label("Something else to judge").select_option(label="Shot time, average")
    page.get_by_role("button", name="Judge this too").click()
    page.get_by_role("heading", name="Shot time, average").wait_for()
    page.get_by_title("Remove Extraction yield, evenness").click()
    page.get_by_role("heading", name="Extraction yield, evenness").wait_for(state="detached")
    page.get_by_label("Something else to judge").select_option(
        label="a taste attribute, scored by tasters"
    )
    page.get_by_role("button", name="Judge this too").click()
    page.get_by_text("This taste attribute has no name yet").first.wait_for()
    page.get_by_label("What is tasted").fill("sweetness")
    page.get_by_text("A taste score is judged, but nobody tastes.").first.wait_for()
    page.get_by_label("Tasters", exact=True).fill("8")
    page.get_by_label("Sittings of each taster", exact=True).fill("3")
    page.get_by_label("Can two methods be told apart?").select_option(
        label="triangle: which of three is the odd one"
    )
    page.get_by_label("This method").select_option(label="Harbour")
    page.get_by_label("and this one").select_option(label="Fjord")
    table = page.get_by_role("region", name="Chance to answer each taste question")
    table.wait_for()
    assert table.get_by_role("columnheader", name="your panel").inner_text().startswith("8")
    assert table.get_by_role("row").count() == 4
    table.scroll_into_view_if_needed()
    keep_screenshot(page, "plan-taste")
    page.get_by_role("button", name="Save the plan").click()
    page.get_by_text("The plan is saved in trial.toml.").wait_for()
    after = read_trial(bench.folder)
    assert [outcome.name for outcome in after.outcomes] == [
        "ey_pct mean", "faults rate", "shot_time_s mean", "sweetness score"
    ]  # fmt: skip
    assert after.tasting.pair == ("Harbour", "Fjord")
    write_trial(before, bench.folder)
    assert findings.errors == []


def test_the_sd_of_a_pilot_and_the_largest_plan_are_taken(open_notebook, bench, findings):
    before = read_trial(bench.folder)
    page = open_notebook("1_plan")
    assert page.get_by_text("a guess without a source.").count() >= 1
    page.get_by_label("Readings of the pilot, one a shot").fill("19,1 19,8 19,4 18,9 19,6 19,9")
    page.get_by_role("button", name="Take the SD from a pilot session").click()
    page.get_by_role("status").get_by_text("from 6 control shots").wait_for()
    page.get_by_text("averaged over where the true SD may lie").wait_for()
    page.get_by_label("Coffee there is (g)", exact=True).fill("2500")
    page.get_by_text("The largest plan that fits: ").wait_for()
    page.get_by_role("button", name="Take the largest plan that fits").click()
    page.get_by_text("Your plan is the largest that fits.").wait_for()
    page.get_by_role("button", name="Save the plan").click()
    page.get_by_text("The plan is saved in trial.toml.").wait_for()
    after = read_trial(bench.folder)
    assert after.noise.shot_sd_df == pytest.approx(5)
    assert after.layout.blocks_per_session > before.layout.blocks_per_session
    write_trial(before, bench.folder)
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


@pytest.mark.parametrize("sample", ["disc_and_soak", "seven_rivers"])
def test_every_sample_can_be_planned_on_every_screen(
    page, open_notebook, bench, findings, tmp_path, sample
):
    folder = tmp_path / sample
    folder.mkdir()
    shutil.copy(sample_session(sample) / "trial.toml", folder)
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        page = open_notebook("1_plan", server)
        page.locator(".kit-figure img[alt*='without any true difference']").wait_for()
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            light = "true" if scheme == "light" else "false"
            page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")
            for screen, (width, height) in SIZES.items():
                page.set_viewport_size({"width": width, "height": height})
                page.wait_for_function(f"innerWidth === {width}")
                page.wait_for_function(f"({CUT_OFF})().length === 0")
                assert page.evaluate(SIDEWAYS) == [], f"scrolls sideways on a {screen}"
                assert page.evaluate(TOO_SMALL) == [], f"too small on a {screen}"
                keep_screenshot(page, f"plan-{sample}-{screen}-{scheme}")
        combined = sample == "disc_and_soak"
        assert page.get_by_role("button", name="Add a method").is_disabled() == combined
        assert page.get_by_text("Each method is one combination").is_visible() == combined
    assert findings.errors == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_a_plan_that_can_be_changed(
    page, open_notebook, bench, findings, scheme
):
    axe_source()  # skip before a notebook is opened
    page.emulate_media(color_scheme=scheme)
    page = open_notebook("1_plan")
    page.get_by_role("button", name="Add a method").click()
    page.get_by_label("Something else to judge").select_option(
        label="a taste attribute, scored by tasters"
    )
    page.get_by_role("button", name="Judge this too").click()
    page.get_by_label("Sessions", exact=True).fill("many")
    page.get_by_text("There is no answer to this plan yet.").wait_for()
    assert serious_findings(page, ".kit-panel") == []


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
