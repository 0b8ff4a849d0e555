"""A real notebook server and a real browser for the tests in this folder.

The server is the one the kit's own launcher starts, token and all, on a copy of a sample session
in a temporary folder and with a home folder of its own. The browser is whatever Chromium the
machine has; without one the tests are skipped, unless FAIRPULL_REQUIRE_BROWSER=1 makes that a
failure. FAIRPULL_SCREENSHOTS=FOLDER keeps the screenshots.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from kit.launcher import NotebookServer, copy_missing_notebooks, notebook_server
from kit.shipped import sample_session
from tests.chromium import CHROMIUM_SWITCHES

READY = ".jp-NotebookPanel[data-kit=ready]"
START_MS = 60_000
REACTION_MS = 10_000


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def jupyter_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A home folder of its own: nobody's Jupyter settings, history or signatures are touched."""
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for name in [name for name in os.environ if name.startswith("JUPYTER")]:
            patch.delenv(name)
        patch.setenv("HOME", str(home))
        for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
            patch.setenv(f"JUPYTER_{name}", str(home / name.lower()))
        patch.setenv("IPYTHONDIR", str(home / "ipython"))
        patch.setenv("MPLCONFIGDIR", str(home / "matplotlib"))
        root = str(Path(__file__).parents[2])  # the kernel finds the kit also where not installed
        patch.setenv("PYTHONPATH", os.pathsep.join([root, os.environ.get("PYTHONPATH", "")]))
        yield home


@dataclass
class Bench:
    """A trial folder and the server that serves it."""

    folder: Path
    server: NotebookServer


@pytest.fixture(scope="session")
def bench(chromium: str, jupyter_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator:
    folder = tmp_path_factory.mktemp("trial") / "four_naps"
    folder.mkdir()
    shutil.copy(sample_session("four_naps") / "trial.toml", folder)
    copy_missing_notebooks(folder)
    with notebook_server(folder) as server:
        yield Bench(folder, server)


@dataclass
class Findings:
    """What went wrong in a page without a test asking: all must stay empty."""

    outside_requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@pytest.fixture
def findings() -> Findings:
    return Findings()


@pytest.fixture
def page(browser_driver, chromium: str, tmp_path: Path, findings: Findings) -> Iterator:
    """A page in a fresh browser profile, cut off from everything but this machine."""
    context = browser_driver.chromium.launch_persistent_context(
        tmp_path / "profile",
        executable_path=chromium,
        headless=True,
        viewport={"width": 1280, "height": 800},
        locale="en-GB",
        reduced_motion="reduce",
        args=CHROMIUM_SWITCHES,
    )
    context.set_default_timeout(REACTION_MS)

    def guard(route) -> None:
        url = route.request.url
        if url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            route.continue_()
        else:
            findings.outside_requests.append(url)
            route.abort()

    def listen(page) -> None:
        page.on("pageerror", lambda error: findings.errors.append(str(error)))
        page.on(
            "console",
            lambda entry: findings.errors.append(entry.text) if entry.type == "error" else None,
        )

    context.route("**/*", guard)
    context.on("page", listen)
    first = context.pages[0] if context.pages else context.new_page()
    listen(first)
    yield first
    context.close()


@pytest.fixture
def open_notebook(page, bench: Bench) -> Callable:
    """Open a notebook by its link with the token and wait until it has run and is drawn."""

    def open_it(name: str, server: NotebookServer = bench.server):
        page.goto(server.link(name), wait_until="domcontentloaded")
        page.wait_for_selector(READY, timeout=START_MS)
        page.locator(".kit-panel h1").wait_for(timeout=START_MS)
        return page

    return open_it


def keep_screenshot(page, name: str) -> None:
    if folder := os.environ.get("FAIRPULL_SCREENSHOTS"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=Path(folder) / f"{name}.png")
