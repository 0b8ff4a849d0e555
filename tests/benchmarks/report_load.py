"""Report and bundle of every sample trial: size, and how soon the page is usable from a file.

    python -m tests.benchmarks.report_load [--quick] [--json]

Each sample session is published into a temporary folder; its report is opened from the file in
headless Chromium with a fresh profile, on a laptop's window and on a phone's. Measured by the
page's own navigation timing, from the start of the navigation: first paint of content, the end of
parsing and scripts (the page is usable: text there, links and button work), and everything loaded.
Best and median of the repeats; a busy machine makes them longer, never shorter. Then the check
that runs in the page is pressed, where the page holds one: its time, and whether every p is equal
to the published one.

--quick: one trial, three repeats.
"""

from __future__ import annotations

import shutil
import statistics
import tempfile
from pathlib import Path
from typing import Any

from kit.cli.path import publish_trial
from tests.benchmarks.reporting import arguments, emit, machine, timed
from tests.chromium import find_chromium

ROOT = Path(__file__).parents[2]
NAMES = ("four_naps", "disc_and_soak", "seven_rivers")
WINDOWS = {"laptop": (1280, 800), "phone": (390, 844)}
MOST_MEGABYTES, MOST_SECONDS = 3.0, 1.0
FLAGS = ["--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage"]
EQUAL = "#check [data-equal]"
TIMING = """() => {
  const all = performance.getEntriesByType('navigation')[0];
  const paint = performance.getEntriesByName('first-contentful-paint')[0];
  return {paint: paint ? paint.startTime : null, usable: all.domContentLoadedEventEnd,
          loaded: all.loadEventEnd};
}"""


def publish(home: Path, name: str) -> tuple[Path, Path, float]:
    """Report and bundle of one sample session, and the seconds it took to make them."""
    folder = home / name
    shutil.copytree(ROOT / "sample_sessions" / name, folder)
    seconds, _, done = timed(lambda: publish_trial(folder, lambda *_: None))
    return done.report, done.bundle, seconds


def load(driver: Any, page_file: Path, window: tuple[int, int], repeats: int) -> dict[str, Any]:
    """Milliseconds from the start of the navigation; a browser of its own for each repeat."""
    rows = []
    for _ in range(repeats):
        browser = driver.chromium.launch(executable_path=find_chromium(), args=FLAGS)
        size = {"width": window[0], "height": window[1]}
        page = browser.new_context(viewport=size).new_page()
        page.goto(page_file.as_uri(), wait_until="load")
        page.wait_for_function(f"() => ({TIMING})().paint !== null")
        rows.append(page.evaluate(TIMING))
        browser.close()
    return {
        key: {
            "best_ms": round(min(row[key] for row in rows)),
            "median_ms": round(statistics.median(row[key] for row in rows)),
        }
        for key in rows[0]
    }


def pressed(driver: Any, page_file: Path) -> dict[str, Any] | None:
    """Seconds of the check in the page, and how many of its p values are equal; None without."""
    browser = driver.chromium.launch(executable_path=find_chromium(), args=FLAGS)
    page = browser.new_page()
    page.goto(page_file.as_uri())
    button = page.get_by_role("button", name="Deal every label anew")
    found = None
    if button.count():
        rows = page.locator("#check tr[data-pair]").count()
        done = f"() => [...document.querySelectorAll('{EQUAL}')].every(c => c.textContent)"

        def check() -> None:
            button.click()
            page.wait_for_function(done)

        seconds, _, _ = timed(check)
        cells = page.locator(EQUAL).all_inner_texts()
        found = {"pairs": rows, "equal": sum(cell.startswith("equal") for cell in cells),
                 "seconds": round(seconds, 2)}  # fmt: skip
    browser.close()
    return found


def main() -> None:
    """Run everything and print it."""
    from playwright.sync_api import sync_playwright

    chosen = arguments(__doc__ or "")
    if not find_chromium():
        raise SystemExit("No Chromium on this machine, so no page can be opened.")
    names, repeats = (NAMES[:1], 3) if chosen.quick else (NAMES, 7)
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory(prefix="report-") as where, sync_playwright() as driver:
        for name in names:
            report, bundle, seconds = publish(Path(where), name)
            found[name] = {
                "published_in_seconds": round(seconds, 1),
                "report_megabytes": round(report.stat().st_size / 1e6, 2),
                "bundle_megabytes": round(bundle.stat().st_size / 1e6, 2),
                "load": {one: load(driver, report, size, repeats) for one, size in WINDOWS.items()},
                "check": pressed(driver, report),
            }
    result = {"machine": machine(), "repeats": repeats, "trials": found}
    emit(result, lines_of(result), chosen.json)
    raise SystemExit(0 if all(map(_reached, found.values())) else 1)


def _reached(one: dict[str, Any]) -> bool:
    usable = max(load["usable"]["best_ms"] for load in one["load"].values())
    return one["report_megabytes"] < MOST_MEGABYTES and usable < 1000 * MOST_SECONDS


def lines_of(result: dict[str, Any]) -> list[str]:
    """The result as text."""
    lines = [
        f"{result['repeats']} cold openings each; to reach: under {MOST_MEGABYTES:g} MB, usable "
        f"within {MOST_SECONDS:g} s; load of the machine {result['machine']['load_at_start']}"
    ]
    for name, one in result["trials"].items():
        lines.append(
            f"{name}: report {one['report_megabytes']} MB, bundle {one['bundle_megabytes']} MB, "
            f"published in {one['published_in_seconds']} s"
        )
        for window, load_times in one["load"].items():
            words = ", ".join(
                f"{key} {times['best_ms']} ms (median {times['median_ms']})"
                for key, times in load_times.items()
            )
            lines.append(f"  {window}: {words}")
        check = one["check"]
        lines.append(
            "  no check in the page (it says why)" if check is None else
            f"  check in the page: {check['equal']} of {check['pairs']} p values equal to the "
            f"published ones, {check['seconds']} s"
        )  # fmt: skip
    return lines


if __name__ == "__main__":
    main()
