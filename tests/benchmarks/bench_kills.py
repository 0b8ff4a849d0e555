"""Sessions at the bench during which the kernel, the server, or both are killed again and again.

``python -m tests.benchmarks.bench_kills [--quick] [--json]``. A real browser drives the notebook
``2_shoot`` of a real server: shots, corrections and pauses are entered as a person would. At
random moments (recorded seed) SIGKILL ends the kernel, the server, or the server with its kernels
in one go; the bench goes on where it stands then. An entry counts as acknowledged once the screen
has said so. Counted are acknowledged events that are not in the journal, or not with the values
that were typed, lines of the journal that are not whole, shots logged twice, and half-filled boxes
the screen had answered that did not come back. All four must be 0.
"""

from __future__ import annotations

import random
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from kit.launcher import NotebookServer, notebook_server
from kit.shotlog import Log, read_journal, read_log, read_shots
from tests.benchmarks.reporting import arguments, emit, machine
from tests.browser.bench import (
    ACKNOWLEDGED_MS,
    box,
    end_process,
    kernel_of,
    sealed_trial,
)
from tests.browser.conftest import READY, START_MS
from tests.chromium import CHROMIUM_SWITCHES, find_chromium

SEED = 1812
EVENTS = 1_000
QUICK_EVENTS = 60
EVENTS_A_TRIAL = 220
BLOCKS = 60
LONGEST_WAIT_S = 8.0
SHARE_AT_A_PRESS = 0.5
"""Of the kills, those that fall on a press of a button: the moment at which most could be lost."""
PRESSES_LURKED = 6
AFTER_A_PRESS_S = 0.2
LOOKED_AT_S = 0.2
PATIENCE_MS = 700
VICTIMS = ("kernel", "server", "server with its kernels")
_RUNS = "Number(document.querySelector('.kit-notebook')?.dataset.kitRuns || 0)"


Values = tuple[float, float, float]
"""Dose, beverage and TDS of a shot."""


@dataclass
class Record:
    """What was acknowledged, what was killed, and what went wrong."""

    acknowledged: int = 0
    kills: dict[str, int] = field(default_factory=lambda: dict.fromkeys(VICTIMS, 0))
    during_a_save: int = 0
    """Kills that came between pressing a button and its answer."""
    lost: list[str] = field(default_factory=list)
    damaged: int = 0
    doubled: int = 0
    unacknowledged: int = 0
    """Shots on disk whose acknowledgement the kill cut off; they are complete, and shown."""
    drafts_checked: int = 0
    drafts_lost: list[str] = field(default_factory=list)

    @property
    def killed(self) -> int:
        """All kills."""
        return sum(self.kills.values())

    def faults(self) -> int:
        """Everything that must not happen."""
        return len(self.lost) + self.damaged + self.doubled + len(self.drafts_lost)


class KilledError(Exception):
    """The program behind the page was killed while something was waited for."""


class Killer:
    """Ends the kernel or the server: at a random moment from now, or just after the next press."""

    def __init__(self, luck: random.Random, record: Record) -> None:
        self._luck, self._record = luck, record
        self.struck = threading.Event()
        self.victim = ""
        self._pids: list[int] = []
        self._lurks = False
        self._called_off = False
        self._deciding = threading.Lock()

    def arm(self, server: NotebookServer, notebook: str) -> None:
        """Choose a victim and a moment."""
        self.struck.clear()
        self.victim = self._luck.choice(VICTIMS)
        # The kernel is looked up while all are alive: afterwards nobody knows its number.
        kernel = kernel_of(server, notebook)
        self._pids = {
            "kernel": [kernel],
            "server": [server.process.pid],
            "server with its kernels": [server.process.pid, kernel],
        }[self.victim]
        self._lurks = self._luck.random() < SHARE_AT_A_PRESS
        if not self._lurks:
            self._strike_in(self._luck.uniform(0.2, LONGEST_WAIT_S))

    def pressed(self) -> None:
        """A button that writes to the log is being pressed."""
        if self._lurks and self._luck.random() < 1 / PRESSES_LURKED:
            self._lurks = False
            self._strike_in(self._luck.uniform(0.0, AFTER_A_PRESS_S))

    def disarm(self) -> bool:
        """Call the kill off; False if it came first."""
        with self._deciding:
            self._called_off = True
            return not self.struck.is_set()

    def _strike_in(self, seconds: float) -> None:
        timer = threading.Timer(seconds, self._strike)
        timer.daemon = True
        timer.start()

    def _strike(self) -> None:
        with self._deciding:
            if self._called_off:
                return
            for pid in self._pids:
                end_process(pid)
            self._record.kills[self.victim] += 1
            self.struck.set()


class Session:
    """One trial pulled in a browser, under fire."""

    def __init__(self, page: Any, folder: Path, luck: random.Random, record: Record) -> None:
        self.page, self.folder, self.luck, self.record = page, folder, luck, record
        self.killer = Killer(luck, record)
        self.typed: dict[str, list[Values]] = {}
        """What acknowledged shots may hold, by the number in their note: one set of values, or two
        while the acknowledgement of a correction was cut off."""
        self.draft: dict[str, str] = {}
        """Boxes whose content the screen has answered, of the shot not saved yet."""
        self._number = 0

    def pull(self, events: int) -> None:
        """Log ``events`` acknowledged events, going on after every kill; then look at the disk."""
        until = self.record.acknowledged + events
        while self.record.acknowledged < until:
            with notebook_server(self.folder) as server:
                self._open(server)
                while self.record.acknowledged < until and server.process.poll() is None:
                    self._work_until_killed(server, until)
        check_disk(self.folder, self.typed, self.record)

    def _open(self, server: NotebookServer) -> None:
        self.page.goto(server.link("2_shoot"), wait_until="domcontentloaded")
        self.page.wait_for_selector(READY, timeout=START_MS)
        self.page.locator(".kit-card-name").wait_for(timeout=START_MS)

    def _work_until_killed(self, server: NotebookServer, until: int) -> None:
        runs = self.page.evaluate(_RUNS)
        self._draft_is_back()
        self.killer.arm(server, "2_shoot.ipynb")
        try:
            while self.record.acknowledged < until:
                self._one_event()
                if self.killer.struck.is_set():
                    raise KilledError
            if self.killer.disarm():
                return
        except KilledError:
            pass
        if self.killer.victim == "kernel":
            again = f"{_RUNS} > {runs}"
            self.page.wait_for_function(again, timeout=START_MS)
            self.page.wait_for_selector(READY, timeout=START_MS)
            self.page.locator(".kit-card-name").wait_for(timeout=START_MS)
        else:
            server.process.wait()

    # -- what a person does --------------------------------------------------------------------

    def _one_event(self) -> None:
        if self.page.get_by_role("button", name="Save shot").is_visible():
            acts: list[Callable[[], None]] = [self._shot] * 10 + [self._pause]
            if len(read_log(self.folder).shots) > 1:
                acts.append(self._correction)
            self.luck.choice(acts)()
        elif self.page.get_by_role("button", name="Save the correction").is_visible():
            self._acknowledged("Do not correct", "Nothing was corrected.", counts=False)
        else:
            self._start()

    def _start(self) -> None:
        self._fill("Your code", "AB")
        name = "Go on" if self.page.get_by_role("button", name="Go on").is_visible() else ""
        self._acknowledged(name or "Start the session", "is running.")

    def _pause(self) -> None:
        self._acknowledged("Pause", "is paused.")

    def _shot(self) -> None:
        self._number += 1
        note = f"n{self._number}"
        dose, beverage = self.luck.randint(1741, 1759) / 100, self.luck.randint(352, 368) / 10
        tds = self.luck.randint(880, 1020) / 100
        self.draft = {}
        self._fill("Note", note)
        self._fill("TDS (%)", f"{tds:.2f}".replace(".", ","))
        self._fill("Beverage (g)", f"{beverage:.1f}".replace(".", ","))
        self._fill("Dose (g)", f"{dose:.2f}".replace(".", ","))
        self._wait_for(self.page.get_by_text(f"Dose {dose:g} g: within").first)
        self.draft = {"Dose (g)": f"{dose:.2f}".replace(".", ","), "Note": note}
        if self.killer.struck.wait(self.luck.uniform(0, LOOKED_AT_S)):
            raise KilledError
        number = len(read_log(self.folder).shots) + 1
        self._acknowledged("Save shot", f"Shot {number} is saved.")
        self.draft = {}
        self.typed[note] = [(dose, beverage, tds)]

    def _correction(self) -> None:
        """The latest shot; its note names it also where its acknowledgement was cut off."""
        entered = read_log(self.folder).shots[-1].entered
        beverage = self.luck.randint(352, 368) / 10
        while beverage == entered["beverage_g"]:
            beverage = self.luck.randint(352, 368) / 10
        self._press("Correct it")
        self._wait_for(self.page.get_by_role("button", name="Save the correction"))
        self._fill("Beverage (g)", f"{beverage:.1f}")
        self._fill("Why is it corrected?", "read the scale again")
        known = self.typed.get(entered["note"], [])
        corrected = [(dose, beverage, tds) for dose, _, tds in known[-1:]]
        known += corrected
        self._acknowledged("Save the correction", "The correction is saved")
        known[:] = corrected

    # -- under fire ----------------------------------------------------------------------------

    def _fill(self, label: str, text: str) -> None:
        self._try(lambda ms: box(self.page, label).fill(text, timeout=ms))

    def _press(self, name: str) -> None:
        button = self.page.get_by_role("button", name=name, exact=True)
        self._try(lambda ms: button.click(timeout=ms))

    def _acknowledged(self, button: str, sentence: str, counts: bool = True) -> None:
        said = self.page.get_by_role("status").get_by_text(sentence).first
        self.killer.pressed()
        self._press(button)
        try:
            self._wait_for(said)
        except KilledError:
            self.record.during_a_save += 1
            raise
        self.record.acknowledged += counts

    def _wait_for(self, locator: Any) -> None:
        self._try(lambda ms: locator.wait_for(timeout=ms))

    def _try(self, act: Callable[[int], object]) -> None:
        """Do it, or notice that there is nobody any more who would answer.

        Without a kill a page that does not answer is a failure of its own.
        """
        from playwright.sync_api import TimeoutError as NoAnswer

        deadline = time.monotonic() + ACKNOWLEDGED_MS / 1000
        while True:
            dead = self.killer.struck.is_set()
            try:
                act(PATIENCE_MS)
                return
            except NoAnswer:
                if dead:
                    raise KilledError from None
                if time.monotonic() > deadline:
                    raise

    def _draft_is_back(self) -> None:
        """What the screen had answered stands in the boxes again, unless it was saved after all."""
        note = self.draft.get("Note")
        saved = {shot.entered.get("note") for shot in read_log(self.folder).shots}
        if note is None or note in saved:
            return
        # Killed while a shot was being corrected: that form is back, the draft waits behind it.
        if self.page.get_by_role("button", name="Save the correction").is_visible():
            return
        self.record.drafts_checked += 1
        for label, text in self.draft.items():
            found = box(self.page, label).input_value()
            if found != text:
                self.record.drafts_lost.append(f"{note}, {label}: {text} became {found}")


def check_disk(folder: Path, typed: dict[str, list[Values]], record: Record) -> None:
    """Look for every acknowledged shot in the journal and in the tables made from it."""
    record.damaged += len(read_journal(folder).complaints)
    log: Log = read_log(folder)
    notes = [str(shot.entered.get("note")) for shot in log.shots]
    planned = [shot.planned_shot for shot in log.shots]
    record.doubled += len(notes) - len(set(notes)) + len(planned) - len(set(planned))
    record.unacknowledged += len(set(notes) - typed.keys())
    table = read_shots(folder).set_index("note")
    for note, allowed in typed.items():
        if note not in table.index:
            record.lost.append(note)
            continue
        found = table.loc[note, ["dose_g", "beverage_g", "tds_pct"]].tolist()
        if tuple(round(float(value), 6) for value in found) not in allowed:
            record.lost.append(f"{note}: {allowed} became {found}")


@contextmanager
def browser_page(chromium: str) -> Iterator[Any]:
    """A page of a headless browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium, headless=True, args=CHROMIUM_SWITCHES
        )
        yield browser.new_page(viewport={"width": 1280, "height": 800})
        browser.close()


def run(page: Any, place: Path, events: int, seed: int) -> Record:
    """Log ``events`` acknowledged events in one trial after another."""
    luck, record = random.Random(seed), Record()
    while record.acknowledged < events:
        folder = sealed_trial(place / f"trial-{record.acknowledged}", blocks_per_session=BLOCKS)
        wanted = min(EVENTS_A_TRIAL, events - record.acknowledged)
        Session(page, folder, luck, record).pull(wanted)
    return record


def main() -> None:
    """Run and print."""
    options = arguments(__doc__ or "")
    chromium = find_chromium()
    if chromium is None or not hasattr(signal, "SIGKILL"):
        raise SystemExit("This needs a Chromium and a system that knows SIGKILL.")
    events = QUICK_EVENTS if options.quick else EVENTS
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as place, browser_page(chromium) as page:
        record = run(page, Path(place), events, SEED)
    took = time.perf_counter() - start
    emit(
        {"seed": SEED, **vars(record), "minutes": round(took / 60, 1), "machine": machine()},
        _lines(record, took),
        options.json,
    )
    if record.faults():
        raise SystemExit(1)


def _lines(record: Record, took: float) -> list[str]:
    killed = ", ".join(f"{name} {count}" for name, count in record.kills.items())
    return [
        f"acknowledged events: {record.acknowledged} (seed {SEED}, {took / 60:.1f} minutes)",
        f"SIGKILLs: {record.killed} ({killed}); {record.during_a_save} between a press and its "
        "answer",
        f"acknowledged shots lost or changed: {len(record.lost)} {record.lost[:5] or ''}",
        f"lines of the journal not whole: {record.damaged}",
        f"shots logged twice: {record.doubled}",
        f"shots on disk whose acknowledgement was cut off: {record.unacknowledged}",
        f"half-filled forms looked for after a kill: {record.drafts_checked}, of which letters "
        f"were missing in {len(record.drafts_lost)} {record.drafts_lost[:5] or ''}",
    ]


if __name__ == "__main__":
    main()
