"""Which browser the tests drive, and how it is started: whatever Chromium the machine has."""

from __future__ import annotations

import shutil

CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
CHROMIUM_SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    "--force-device-scale-factor=1",
]


def find_chromium() -> str | None:
    """The program's path, or None where there is no Chromium."""
    return next(filter(None, map(shutil.which, CHROMIUM_NAMES)), None)
