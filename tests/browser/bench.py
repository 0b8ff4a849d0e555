"""A trial at the bench in a browser: what a person does there, and how its programs are killed."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import time
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

from kit.launcher import NotebookServer, copy_missing_notebooks
from kit.schedule import draw_schedule, freeze_trial, write_schedule
from kit.shipped import sample_session
from kit.shotlog import read_log
from kit.trial import Tasting, read_trial, write_trial

ACKNOWLEDGED_MS = 10_000


def sealed_trial(folder: Path, tasting: Tasting | None = None, **layout: int) -> Path:
    """One session: a warm-up, two reference shots, three blocks of four, one spare."""
    folder.mkdir(parents=True)
    trial = read_trial(sample_session("four_naps"))
    trial = trial.model_copy(update={"tasting": tasting or trial.tasting})
    one = {"sessions": 1, "blocks_per_session": 3, "reference_shots_per_session": 2,
           "warm_up_shots_per_session": 1, "spares_per_session": 1, **layout}  # fmt: skip
    write_trial(trial.model_copy(update={"layout": trial.layout.model_copy(update=one)}), folder)
    write_schedule(draw_schedule(read_trial(folder), 5), folder)
    freeze_trial(folder, datetime.now(UTC) - timedelta(hours=1), 5)
    copy_missing_notebooks(folder)
    return folder


def box(page, label: str):
    return page.get_by_label(label, exact=True)


def press(page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def fill_shot(page, dose: str = "17,5", beverage: str = "36", tds: str = "9,4") -> None:
    box(page, "Dose (g)").fill(dose)
    box(page, "Beverage (g)").fill(beverage)
    box(page, "TDS (%)").fill(tds)


def save(page, folder: Path) -> float:
    """Press Save; returns the seconds until the screen acknowledges what is on disk."""
    number = len(read_log(folder).shots) + 1
    start = time.perf_counter()
    press(page, "Save shot")
    page.get_by_role("status").get_by_text(f"Shot {number} is saved.").first.wait_for()
    took = time.perf_counter() - start
    assert len(read_log(folder).shots) == number
    return took


def kernel_of(server: NotebookServer, notebook: str) -> int:
    """The process of the kernel behind a notebook (its path under the server's folder)."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{server.port}/api/sessions",
        headers={"Authorization": f"token {server.token}"},
    )
    with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request) as reply:
        sessions = json.load(reply)
    kernel = next(each["kernel"]["id"] for each in sessions if each["path"] == notebook)
    listed = subprocess.run(
        ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(server.process.pid)],
        capture_output=True, text=True, check=True,
    ).stdout.splitlines()  # fmt: skip
    return next(int(line.split()[0]) for line in listed if kernel in line)


def end_process(pid: int) -> None:
    """SIGKILL: no chance to tidy up."""
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)


def start_session(page) -> None:
    box(page, "Your code").fill("AB")
    press(page, "Start the session")
    page.get_by_role("button", name="Save shot").wait_for()
