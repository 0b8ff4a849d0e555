"""Where the notebooks and sample sessions lie that come with the kit.

In a source tree they are folders beside ``kit/``; in an installed wheel they are inside it.
"""

from __future__ import annotations

from pathlib import Path

import kit
from kit.errors import DataError

_PACKAGE = Path(kit.__file__).resolve().parent


def shipped_notebooks() -> Path:
    """The folder with the notebooks as they were shipped. Read them, never write there.

    Raises
    ------
    DataError
        If the installation is incomplete.
    """
    return _shipped_folder("notebooks")


def sample_session(name: str) -> Path:
    """The folder of the sample session called ``name``. Read it, never write there.

    Raises
    ------
    DataError
        If there is no such sample session; the message lists those there are.
    """
    folder = _shipped_folder("sample_sessions")
    known = sorted(entry.name for entry in folder.iterdir() if (entry / "trial.toml").is_file())
    if name not in known:
        listed = ", ".join(known) or "none"
        raise DataError(f"There is no sample session “{name}”. There are: {listed}.")
    return folder / name


def _shipped_folder(name: str) -> Path:
    in_source_tree = _PACKAGE.parent / name
    if (_PACKAGE.parent / "pyproject.toml").is_file() and in_source_tree.is_dir():
        return in_source_tree
    in_wheel = _PACKAGE / "_shipped" / name
    if in_wheel.is_dir():
        return in_wheel
    raise DataError(
        f"The folder “{name}” that comes with fairpull is missing from this installation. "
        "Install fairpull again."
    )
