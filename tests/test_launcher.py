"""The start of the notebooks: what is copied, who is let in, how it ends."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from kit import launcher
from kit.errors import DataError
from kit.shipped import sample_session, shipped_notebooks

ROOT = Path(__file__).parents[1]
OPEN = "import sys; from pathlib import Path; from kit.launcher import open_notebooks; "
OPEN += "sys.exit(open_notebooks(Path(sys.argv[1]), browser=False))"
START_SECONDS = 60


@pytest.fixture
def own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setenv("HOME", str(home))
    for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
        monkeypatch.setenv(f"JUPYTER_{name}", str(home / name.lower()))
    return home


@pytest.fixture
def trial_folder(tmp_path: Path, own_home: Path) -> Path:
    folder = tmp_path / "my trial"
    folder.mkdir()
    shutil.copy(sample_session("four_naps") / "trial.toml", folder)
    return folder


def test_a_folder_without_trial_and_an_unknown_notebook_are_refused(trial_folder: Path) -> None:
    with pytest.raises(DataError, match=r"holds no trial.*fairpull new elsewhere"):
        launcher.open_notebooks(trial_folder / "elsewhere")
    with pytest.raises(DataError, match="There are: 1_plan, 2_shoot, 3_analyse, 4_publish"):
        launcher.open_notebooks(trial_folder, which="5_win")


def test_notebooks_are_copied_once_and_never_overwritten(trial_folder: Path) -> None:
    assert len(launcher.copy_missing_notebooks(trial_folder)) == 4
    mine = trial_folder / "1_plan.ipynb"
    mine.write_text("mine", encoding="utf-8")
    assert launcher.copy_missing_notebooks(trial_folder) == []
    assert mine.read_text(encoding="utf-8") == "mine"


def test_refresh_keeps_the_changed_notebook_under_another_name(trial_folder: Path) -> None:
    launcher.copy_missing_notebooks(trial_folder)
    mine = trial_folder / "1_plan.ipynb"
    for number in (1, 2):
        mine.write_text(f"mine {number}", encoding="utf-8")
        (kept,) = launcher.refresh_notebooks(trial_folder)
        assert kept.name == f"1_plan.old-{number}.ipynb"
        assert kept.read_text(encoding="utf-8") == f"mine {number}"
        assert mine.read_bytes() == (shipped_notebooks() / mine.name).read_bytes()
    assert launcher.refresh_notebooks(trial_folder) == []


@pytest.fixture
def opened(trial_folder: Path) -> Iterator[subprocess.Popen[str]]:
    # Held by somebody else, the first port is passed over.
    with socket.socket() as taken:
        try:
            taken.bind(("127.0.0.1", launcher.FIRST_PORT))
            taken.listen()
        except OSError:
            pass  # it is taken by another program already: just as well
        process = subprocess.Popen(
            [sys.executable, "-c", OPEN, str(trial_folder)],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        yield process
        process.kill()
        process.wait()


def _status(url: str) -> int:
    try:
        with urllib.request.urlopen(url, timeout=10) as reply:
            return int(reply.status)
    except urllib.error.HTTPError as error:
        return error.code


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C is sent as a signal here")
def test_one_link_lets_in_and_ctrl_c_ends_cleanly(opened: subprocess.Popen[str]) -> None:
    assert opened.stdout is not None
    said = ""
    while "Ctrl-C" not in said:
        line = opened.stdout.readline()
        assert line, f"it ended by itself: {said}"
        said += line
    (link,) = re.findall(r"http\S+", said)
    found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/doc/tree/1_plan\.ipynb\?token=(\w+)", link)
    assert found is not None
    port, token = found.groups()
    assert int(port) != launcher.FIRST_PORT
    assert _status(link) == 200
    assert _status(f"http://127.0.0.1:{port}/api/contents") == 403
    listed = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=True)
    assert token not in listed.stdout  # every user of the machine can read a command line
    opened.send_signal(signal.SIGINT)
    rest = opened.stdout.read()
    assert opened.wait(30) == 0
    assert "closed" in rest
    assert "Traceback" not in rest
    with pytest.raises(OSError, match="refused"):
        urllib.request.urlopen(link, timeout=5)


def test_settings_that_switch_the_token_off_are_refused(trial_folder: Path, own_home: Path) -> None:
    settings = own_home / "config_dir" / "jupyter_server_config.py"
    settings.parent.mkdir()
    settings.write_text("c.IdentityProvider.token = ''\n", encoding="utf-8")
    with (
        pytest.raises(launcher.KitError, match="switch the token off"),
        launcher.notebook_server(trial_folder),
    ):
        pytest.fail("it was let through")
