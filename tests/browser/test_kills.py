"""The programs behind the bench are killed: nothing acknowledged is lost, what was typed is back.

``tests.benchmarks.bench_kills`` does the same at random moments during a thousand events.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from kit.launcher import notebook_server
from kit.shotlog import read_log, read_shots, run_order, schedule_of
from tests.benchmarks.bench_kills import Record, Session
from tests.browser.bench import box, end_process, fill_shot, save, sealed_trial
from tests.browser.bench import start_session as start
from tests.browser.test_shoot import needs_kill

EVENTS = 6


@needs_kill
def test_after_the_server_was_killed_the_form_and_the_next_shot_are_back(
    tmp_path: Path, jupyter_home, open_notebook
):
    folder = sealed_trial(tmp_path / "trial")
    with notebook_server(folder) as server:
        page = open_notebook("2_shoot", server)
        start(page)
        for tds in ("9,41", "9,42", "9,43"):
            fill_shot(page, tds=tds)
            save(page, folder)
        fill_shot(page, dose="17,45", beverage="36,4", tds="9,")
        box(page, "Note").fill("slow st")
        page.get_by_text("Dose 17.45 g: within").wait_for()
        waiting = run_order(schedule_of(folder), read_log(folder)).next_pull
        end_process(server.process.pid)
        page.locator(".kit-banner").filter(has_text="Not connected").wait_for()
        assert page.locator(".jp-Notebook").first.evaluate("node => node.inert")
    with notebook_server(folder) as server:
        page = open_notebook("2_shoot", server)
        page.locator(".kit-card-code b").get_by_text(waiting.code, exact=True).wait_for()
        page.get_by_text("Dose 17.45 g: within").wait_for()
        labels = ("Dose (g)", "Beverage (g)", "TDS (%)", "Note")
        found = [box(page, label).input_value() for label in labels]
        assert found == ["17,45", "36,4", "9,", "slow st"]
        assert read_shots(folder)["tds_pct"].tolist() == [9.41, 9.42, 9.43]
        box(page, "TDS (%)").fill("9,44")
        save(page, folder)
    last = read_log(folder).shots[-1]
    assert (last.planned_shot, last.entered["dose_g"]) == (waiting.planned_shot, 17.45)
    assert len(read_log(folder).shots) == 4


@needs_kill
def test_a_kernel_killed_at_a_random_moment_loses_no_acknowledged_event(
    tmp_path: Path, jupyter_home, page, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("tests.benchmarks.bench_kills.VICTIMS", ("kernel",))
    monkeypatch.setattr("tests.benchmarks.bench_kills.LONGEST_WAIT_S", 1.5)
    record = Record()
    Session(page, sealed_trial(tmp_path / "trial"), random.Random(3), record).pull(EVENTS)
    assert record.acknowledged == EVENTS
    assert record.killed >= 1
    assert record.faults() == 0, record
