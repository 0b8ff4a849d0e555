"""The page in a real browser: it asks for nothing, fits every screen, counts as the kit does."""

from __future__ import annotations

import html
import json
import re
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.report import ReportContent, raw_data, relabelling_check, render_report, table_of
from tests.accessibility import axe_source, serious_findings
from tests.chromium import CHROMIUM_SWITCHES
from tests.report import invented

SCREENS = [(1280, 800), (820, 1180), (390, 844)]


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(render_report(invented.content(4)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def hostile_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("hostile") / "report.html"
    path.write_text(render_report(invented.content(2, invented.HOSTILE)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def browser(browser_driver, chromium: str) -> Iterator[object]:
    opened = browser_driver.chromium.launch(executable_path=chromium, args=CHROMIUM_SWITCHES)
    yield opened
    opened.close()


class Visit:
    """A page opened from its file, with everything it asked for and every error it raised."""

    def __init__(self, browser, path: Path, **settings) -> None:
        self.context = browser.new_context(**settings)
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda message: self.errors.append(message.text))
        self.started = time.perf_counter()
        self.page.goto(path.as_uri())

    def __enter__(self) -> Visit:
        return self

    def __exit__(self, *_) -> None:
        self.context.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_the_page_asks_for_nothing_and_fits(browser, page_file, width, height, scheme):
    viewport = {"width": width, "height": height}
    with Visit(browser, page_file, viewport=viewport, color_scheme=scheme) as visit:
        assert visit.asked == [page_file.as_uri()]
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
        assert visit.page.locator("svg.figure:visible").count() == 5
        assert visit.page.get_by_role("button", name="Deal every label anew").bounding_box()[
            "height"
        ] >= 44  # fmt: skip
        visit.page.get_by_role("link", name="Check it yourself").focus()
        visit.page.keyboard.press("Enter")
        visit.page.wait_for_url("**#check")
        assert visit.errors == []


@pytest.mark.browser
def test_every_p_is_found_again_to_the_last_digit(browser, page_file):
    check = invented.content(4).check
    with Visit(browser, page_file) as visit:
        visit.page.get_by_role("button", name="Deal every label anew").click()
        found = visit.page.locator("[data-p]").all_inner_texts()
        assert [float(text) for text in found] == [pair.p for pair in check.pairs]
        said = visit.page.locator("[data-equal]").all_inner_texts()
        assert set(said) == {"equal to the last digit"}
        assert "6 of 6 p values found again" in visit.page.inner_text("#check-status")


def bare_report(table: pd.DataFrame, seed: int = 4711) -> ReportContent:
    """A report with nothing on it but shots and their check."""
    from dataclasses import replace

    return replace(
        invented.content(2),
        figures=(),
        tables=(),
        data=raw_data(table, "shots.csv", "Raw shots"),
        check=relabelling_check(table, "ey_pct", "extraction yield", "points", seed=seed),
    )


def many_blocks(blocks: int, seed: int = 99) -> pd.DataFrame:
    """Awkward shots: names that spreadsheets take for formulas, commas, quotes, doubled methods."""
    rng = np.random.default_rng(seed)
    names = ['=1+1, "sum"', "-minus\nline", '=1+1, "sum"']
    return pd.DataFrame(
        [
            {"block": f"-{block}", "method": name, "role": "study", "status": "kept",
             "ey_pct": rng.normal(19.5, 0.4) + 0.2 * (name[0] == "=")}
            for block in range(blocks)
            for name in (names[:2] if block % 3 else names)
        ]
    )  # fmt: skip


@pytest.mark.browser
@pytest.mark.parametrize(("blocks", "exact"), [(3, True), (24, True), (60, False)])
def test_awkward_shots_are_counted_alike_and_too_many_are_sampled(
    browser, tmp_path: Path, blocks: int, exact: bool
):
    content = bare_report(many_blocks(blocks))
    assert content.check.pairs[0].exact == exact
    path = tmp_path / "bare.html"
    path.write_text(render_report(content), encoding="utf-8")
    with Visit(browser, path) as visit:
        visit.page.get_by_role("button", name="Deal every label anew").click()
        said = visit.page.locator("[data-equal]").inner_text()
        found = float(visit.page.locator("[data-p]").inner_text())
        published = content.check.pairs[0].p
        if exact:
            assert said == "equal to the last digit"
            assert found == published
        else:
            assert said.startswith("agrees within the error of 20000 dealings drawn (±")
            assert abs(found - published) <= 4 * np.sqrt(published * (1 - published) / 20000)


@pytest.mark.browser
def test_a_changed_shot_is_noticed(browser, page_file, tmp_path: Path):
    """One value of the embedded data is changed: the published p no longer holds."""
    text = page_file.read_text(encoding="utf-8")
    csv = html.unescape(re.search(r'<pre id="raw-csv">(.*?)</pre>', text, re.S)[1])
    column = csv.splitlines()[0].split(",").index("ey_pct")
    value = csv.splitlines()[2].split(",")[column]
    changed = tmp_path / "changed.html"
    changed.write_text(text.replace(value, "25.0"), encoding="utf-8")
    with Visit(browser, changed) as visit:
        visit.page.get_by_role("button", name="Deal every label anew").click()
        assert "NOT equal" in visit.page.locator("#check").inner_text()


@pytest.mark.browser
def test_the_download_is_the_embedded_text(browser, page_file, tmp_path: Path):
    with Visit(browser, page_file, accept_downloads=True) as visit:
        with visit.page.expect_download() as waiting:
            visit.page.get_by_role("link", name="Download four_naps_shots.csv").click()
        waiting.value.save_as(tmp_path / "shots.csv")
    read = pd.read_csv(tmp_path / "shots.csv", dtype={"session": str, "block": str})
    shots = invented.shots(4)
    np.testing.assert_array_equal(read["ey_pct"], shots["ey_pct"])
    assert list(read["method"]) == list(shots["method"])


@pytest.mark.browser
def test_hostile_text_stays_text(browser, hostile_file):
    with Visit(browser, hostile_file) as visit:
        assert visit.page.locator("img").count() == 0
        assert visit.page.locator("script").count() == 2
        assert visit.page.title() == f"Four naps {invented.HOSTILE}"
        assert visit.asked == [hostile_file.as_uri()]
        assert visit.errors == []


@pytest.mark.browser
def test_without_javascript_the_shots_and_counts_are_there(browser, page_file):
    with Visit(browser, page_file, java_script_enabled=False) as visit:
        assert visit.page.get_by_text("The check needs JavaScript").is_visible()
        assert not visit.page.get_by_role("button", name="Deal every label anew").is_visible()
        visit.page.get_by_text("Every shot as a table").click()
        rows = visit.page.get_by_role("table", name="Raw shots").get_by_role("row").count()
        assert rows == len(invented.shots(4)) + 1


@pytest.mark.browser
def test_paper_shows_every_section_and_no_button(browser, page_file):
    with Visit(browser, page_file) as visit:
        visit.page.emulate_media(media="print")
        assert not visit.page.get_by_role("button").is_visible()
        assert visit.page.locator("svg.figure:visible").count() == 5
        assert len(visit.page.pdf()) > 20_000


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing_serious(browser, page_file, scheme, width):
    axe_source()  # skip before a page is opened
    viewport = {"width": width, "height": 900}
    with Visit(
        browser, page_file, viewport=viewport, color_scheme=scheme, bypass_csp=True
    ) as visit:
        visit.page.get_by_role("button", name="Deal every label anew").click()
        visit.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        assert serious_findings(visit.page, "html") == []


def test_the_file_is_small_and_holds_no_outside_address(page_file):
    text = page_file.read_text(encoding="utf-8")
    assert len(text.encode("utf-8")) < 3_000_000
    assert not re.findall(r"https?://", text)
    assert not re.findall(r'\b(?:src|href)="(?!#)', text)


def test_ids_are_unique(page_file):
    ids = re.findall(r'\bid="([^"]+)"', page_file.read_text(encoding="utf-8"))
    assert len(ids) == len(set(ids))


def test_drawings_follow_the_page_from_light_to_dark(page_file):
    """No colour of a theme is left in a drawing: all are variables of the page."""
    drawings = re.findall(r"<svg.*?</svg>", page_file.read_text(encoding="utf-8"), re.S)
    assert len(drawings) == 10
    assert not [one for one in drawings if re.search(r"(?:fill|stroke): #[0-9a-f]{6}", one)]


def test_the_data_of_the_check_cannot_end_their_script(hostile_file):
    text = hostile_file.read_text(encoding="utf-8")
    data = re.search(r'id="check-data">(.*?)</script>', text, re.S)[1]
    assert json.loads(data)["measure"] == "ey_pct"


def test_a_p_value_is_never_nought():
    frame = pd.DataFrame({"p": [0.0, 0.00004, 0.00006, 0.5, None], "x": [0.0] * 5})
    table = table_of(frame, "t", decimals=4)
    assert [row[0] for row in table.rows] == ["< 0.0001", "< 0.0001", "0.0001", "0.5000", ""]
    assert {row[1] for row in table.rows} == {"0.0000"}


def test_tables_are_rounded_for_people():
    frame = pd.DataFrame({"n": [3], "x": [-0.004], "who": [None], "kept": [True], "y": [1.005e3]})
    table = table_of(frame, "t", {"x": "X"}, {"x": 2, "y": 0})
    assert table.rows == (("3", "0.00", "", "yes", "1005"),)
    assert table.columns == ("n", "X", "who", "kept", "y")
    assert table.numeric == {0, 1, 4}
