"""How fast the log is: rebuilding its state, appending, and a save seen in a real browser.

``python -m tests.benchmarks.bench_log [--quick] [--json]``. Targets: the state of 300 shots in
50 ms; a save acknowledged on the screen within 300 ms, when the entry is on the real disk of this
machine. Without a Chromium the last figures are left out.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from kit.launcher import notebook_server
from kit.shotlog import append_event, append_events, fold, new_event, read_shots, run_order
from kit.shotlog.tables import read_log
from tests.browser.bench import fill_shot, save, sealed_trial, start_session
from tests.browser.conftest import READY, START_MS
from tests.chromium import CHROMIUM_SWITCHES, find_chromium
from tests.shotlog.bench import START, small_trial

SHOTS = 300
SAVES = 40


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    repeats = 3 if options.quick else 15
    with tempfile.TemporaryDirectory() as folder:
        result = {**log_times(Path(folder), repeats), **browser_times(Path(folder), options.quick)}
    if options.json:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name}: {value}")


def log_times(folder: Path, repeats: int) -> dict[str, Any]:
    """State of 300 shots and one append, best and median of several."""
    place = folder / "log"
    place.mkdir()
    _, schedule = small_trial(place, sessions=9, blocks_per_session=8)
    _log_shots(place, schedule)
    reading = _timed(lambda: read_shots(place), repeats)
    appending = _timed(
        lambda: append_event(place, new_event("peek", {"asked_for": "x"}, START, "b")), repeats
    )
    return {
        "shots": len(read_shots(place)),
        "read_shots_ms_best": round(1000 * min(reading), 1),
        "read_shots_ms_median": round(1000 * statistics.median(reading), 1),
        "append_ms_best": round(1000 * min(appending), 2),
        "append_ms_median": round(1000 * statistics.median(appending), 2),
    }


def _log_shots(folder: Path, schedule: pd.DataFrame) -> None:
    """The whole schedule as kept shots, in one append."""
    order = run_order(schedule, fold([])).to_come[:SHOTS]
    values = {"dose_g": 17.5, "beverage_g": 36.0, "tds_readings": [9.4, 9.41], "shot_time_s": 28.0}
    append_events(
        folder,
        [new_event("shot", {"planned_shot": pull.planned_shot, **values}, START, "b")
         for pull in order],
    )  # fmt: skip


def browser_times(folder: Path, quick: bool) -> dict[str, Any]:
    """Seconds from pressing Save to the sentence on the screen, over a session."""
    chromium = find_chromium()
    if chromium is None:
        return {"save": "no Chromium on this machine"}
    from playwright.sync_api import sync_playwright

    trial = sealed_trial(folder / "trial", blocks_per_session=12)
    took = []
    with notebook_server(trial) as server, sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium, headless=True, args=CHROMIUM_SWITCHES
        )
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(server.link("2_shoot"), wait_until="domcontentloaded")
        page.wait_for_selector(READY, timeout=START_MS)
        start_session(page)
        for _ in range(5 if quick else SAVES):
            fill_shot(page)
            page.get_by_text("Dose and beverage are within tolerance.").wait_for()
            took.append(save(page, trial))
        browser.close()
    return {
        "saves": len(read_log(trial).shots),
        "save_acknowledged_s_best": round(min(took), 3),
        "save_acknowledged_s_median": round(statistics.median(took), 3),
        "save_acknowledged_s_slowest": round(max(took), 3),
    }


def _timed(act: Callable[[], object], repeats: int) -> list[float]:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return times


if __name__ == "__main__":
    main()
