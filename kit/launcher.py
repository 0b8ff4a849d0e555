"""The notebook server for one trial: copy the notebooks, start it, print one link, stop cleanly.

The server listens on this machine only and asks for a token, which is in the printed link. Its
settings come from the package, so the person's own Jupyter settings stay as they are and still
win where the two differ.
"""

from __future__ import annotations

import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from kit.errors import DataError, KitError
from kit.files import write_atomically
from kit.shipped import shipped_notebooks

FIRST_PORT = 8890
PORTS_TRIED = 50
START_SECONDS = 60
STOP_SECONDS = 8
_LAB = Path(__file__).resolve().parent / "widgets" / "lab"
_NO_PROXY = urllib.request.build_opener(urllib.request.ProxyHandler({}))


@dataclass(frozen=True)
class NotebookServer:
    """A running server: its process, where it listens, its token, and the file it logs to."""

    process: subprocess.Popen[bytes]
    port: int
    token: str
    log: Path

    def link(self, notebook: str) -> str:
        """The address of ``notebook`` (without its ending) with the token."""
        return f"http://127.0.0.1:{self.port}/doc/tree/{notebook}.ipynb?token={self.token}"


def open_notebooks(folder: Path, which: str = "1_plan", browser: bool = True) -> int:
    """Open the notebook ``which`` on the trial in ``folder`` and serve until Ctrl-C.

    Returns 0 after a clean end and 1 if the server stopped by itself.

    Raises
    ------
    KitError
        If the folder holds no trial, there is no such notebook, or the server does not start.
    """
    folder = _trial_folder(folder)
    copy_missing_notebooks(folder)
    _known_notebook(which)
    if _is_root():
        print(
            "You are root here, where Jupyter refuses to start unless told otherwise. It is told: "
            "it listens on this machine only and wants the token. Outside a container, better use "
            "your own account."
        )
    with notebook_server(folder) as server, _stop_signals():
        link = server.link(which)
        print(f"The notebooks of {folder} are open at\n\n  {link}\n\nCtrl-C ends.", flush=True)
        if browser:
            _open_browser(link)
        try:
            server.process.wait()
        except KeyboardInterrupt:
            print("\nThe notebooks are closed. The trial is in its folder.", flush=True)
            return 0
    print(f"The notebook server stopped by itself. Its log: {server.log}", file=sys.stderr)
    return 1


def copy_missing_notebooks(folder: Path) -> list[Path]:
    """Copy the shipped notebooks that ``folder`` does not have yet; nothing is overwritten."""
    return [
        _copy(source, folder / source.name)
        for source in sorted(shipped_notebooks().glob("*.ipynb"))
        if not (folder / source.name).exists()
    ]


def refresh_notebooks(folder: Path) -> list[Path]:
    """Bring the shipped notebooks into ``folder`` again; a changed old one is kept, renamed.

    Returns the old notebooks under their new names (``1_plan.old-1.ipynb``).
    """
    kept = []
    for source in sorted(shipped_notebooks().glob("*.ipynb")):
        target = folder / source.name
        if target.exists() and target.read_bytes() != source.read_bytes():
            kept.append(target.replace(_free_name(target)))
    copy_missing_notebooks(folder)
    return kept


@contextmanager
def notebook_server(folder: Path) -> Iterator[NotebookServer]:
    """A notebook server on ``folder`` for the time of a ``with`` block.

    Raises
    ------
    KitError
        If it does not start; the message ends with the last lines of its log.
    """
    with tempfile.TemporaryDirectory(prefix="fairpull-", ignore_cleanup_errors=True) as workspaces:
        server = _start_on_free_port(folder, Path(workspaces))
        try:
            yield server
        finally:
            _stop(server.process)


def _trial_folder(folder: Path) -> Path:
    folder = folder.expanduser().resolve()
    if not (folder / "trial.toml").is_file():
        raise DataError(
            f"{folder} holds no trial (there is no trial.toml in it). "
            f"Start one with: fairpull new {folder.name or 'my-trial'}"
        )
    return folder


def _known_notebook(which: str) -> None:
    known = sorted(path.stem for path in shipped_notebooks().glob("*.ipynb"))
    if which not in known:
        raise DataError(f"There is no notebook “{which}”. There are: {', '.join(known)}.")


def _copy(source: Path, target: Path) -> Path:
    import nbformat
    from nbformat.sign import NotebookNotary

    write_atomically(target, source.read_bytes())
    # Signed, the results saved in the copy later are shown when it is opened again.
    NotebookNotary().sign(nbformat.read(target, as_version=4))
    return target


def _free_name(target: Path) -> Path:
    number = 1
    while (free := target.with_name(f"{target.stem}.old-{number}{target.suffix}")).exists():
        number += 1
    return free


def _start_on_free_port(folder: Path, workspaces: Path) -> NotebookServer:
    first = FIRST_PORT
    while True:
        server = _start(folder, workspaces, _free_port(first))
        try:
            _wait_until_ready(server)
            return server
        except BaseException as error:
            _stop(server.process)
            # Another program took the port between our look and the server's start.
            if not (isinstance(error, KitError) and "already in use" in str(error)):
                raise
        first = server.port + 1


def _start(folder: Path, workspaces: Path, port: int) -> NotebookServer:
    log = folder / "diagnostics" / "notebook-server.log"
    write_atomically(log, "")
    token = secrets.token_hex(24)
    with log.open("ab") as stream:
        process = subprocess.Popen(
            _command(folder, port),
            env=_environment(token, workspaces),
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=subprocess.STDOUT,
            start_new_session=True,  # Ctrl-C reaches this program only, which then stops the server
        )
    return NotebookServer(process, port, token, log)


def _command(folder: Path, port: int) -> list[str]:
    return [
        *(sys.executable, "-m", "jupyterlab"),
        f"--ServerApp.root_dir={folder}",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        "--ServerApp.open_browser=False",
        "--LabApp.extension_manager=readonly",
        "--KernelRestarter.time_to_dead=1.0",
        *(["--allow-root"] if _is_root() else []),
    ]


def _environment(token: str, workspaces: Path) -> dict[str, str]:
    """The caller's environment with our settings in front.

    The token goes this way because a command line can be read by every user of the machine.
    """
    own = dict(os.environ)
    # The matrices here are small: threads of the linear algebra library would only wait.
    own.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name in ("JUPYTER_CONFIG_PATH", "JUPYTER_PATH"):
        own[name] = os.pathsep.join(filter(None, (str(_LAB), own.get(name))))
    own |= {
        "JUPYTER_TOKEN": token,
        "JUPYTER_PREFER_ENV_PATH": "1",  # the kernel of this environment, where the kit is
        "JUPYTERLAB_WORKSPACES_DIR": str(workspaces),  # opens with the notebook asked for, alone
    }
    own.pop("JUPYTER_TOKEN_FILE", None)
    return own


def _free_port(first: int) -> int:
    for port in range(first, FIRST_PORT + PORTS_TRIED):
        with socket.socket() as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise KitError(
        f"All ports from {FIRST_PORT} to {FIRST_PORT + PORTS_TRIED - 1} of this machine are taken. "
        "Close notebooks that are still open, then try again."
    )


def _wait_until_ready(server: NotebookServer) -> None:
    deadline = time.monotonic() + START_SECONDS
    while time.monotonic() < deadline and server.process.poll() is None:
        if _status(server, server.token) == 200:
            if _status(server, "") == 200:
                raise KitError(
                    "Your own Jupyter settings switch the token off, so the notebooks would be "
                    "open to every program on this machine. They were not started. Remove "
                    "“IdentityProvider.token” from jupyter_server_config."
                )
            return
        time.sleep(0.05)
    tail = "\n".join(server.log.read_text(encoding="utf-8", errors="replace").splitlines()[-8:])
    raise KitError(f"The notebook server did not start. The end of its log ({server.log}):\n{tail}")


def _status(server: NotebookServer, token: str) -> int:
    """The HTTP status of the server's own page about itself; 0 while nothing answers."""
    request = urllib.request.Request(f"http://127.0.0.1:{server.port}/api/status")
    if token:
        request.add_header("Authorization", f"token {token}")
    try:
        with _NO_PROXY.open(request, timeout=2) as reply:
            return int(reply.status)
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0


def _stop(process: subprocess.Popen[bytes]) -> None:
    """Ask the server to end (it ends its kernels), and end it if it does not."""
    process.terminate()
    try:
        process.wait(STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


@contextmanager
def _stop_signals() -> Iterator[None]:
    """A closed terminal or a ``kill`` ends as cleanly as Ctrl-C."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), _interrupt) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def _open_browser(link: str) -> None:
    """Open the person's browser where there is a screen; the printed link works anyway."""
    no_screen = not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    if sys.platform.startswith("linux") and no_screen:
        return  # a text browser would take over the terminal
    webbrowser.open(link)


def _is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0
