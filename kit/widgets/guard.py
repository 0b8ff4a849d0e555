"""What happens when a callback fails: a plain sentence on the screen, a traceback in a file.

Without this a failing callback leaves no trace on the page at all: the person presses, and
nothing happens.
"""

from __future__ import annotations

import functools
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from kit.errors import KitError
from kit.widgets.status import StatusLine

LOG_FILE = Path("diagnostics") / "errors.log"
Callback = Callable[..., Any]


class Guard:
    """A decorator for the callbacks of one panel.

    >>> guard = Guard(status, folder)              # doctest: +SKIP
    >>> button.on_click(guard(self._save_clicked)) # doctest: +SKIP
    """

    def __init__(self, status: StatusLine, folder: Path) -> None:
        self._status = status
        self._folder = folder

    def __call__(self, callback: Callback) -> Callback:
        """``callback``, with every failure said on the status line; it then returns None."""

        @functools.wraps(callback)
        def guarded(*arguments: Any, **named: Any) -> Any:
            try:
                return callback(*arguments, **named)
            except Exception as error:
                self._status.alert(failure_sentence(error, self._folder))
                return None

        return guarded


def failure_sentence(error: Exception, folder: Path) -> str:
    """What to tell the person; an error that is not ours is also written to the log file."""
    if isinstance(error, KitError):
        return str(error)
    return (
        "This did not work, through a mistake in the program and not by your doing. "
        f"What was saved before is safe. {_write_to_log(error, folder)}"
    )


def _write_to_log(error: Exception, folder: Path) -> str:
    """Append the traceback to the log file; returns a sentence that says where it is."""
    entry = f"{datetime.now(UTC).isoformat()}\n{''.join(traceback.format_exception(error))}\n"
    try:
        (folder / LOG_FILE).parent.mkdir(exist_ok=True)
        with (folder / LOG_FILE).open("a", encoding="utf-8") as log:
            log.write(entry)
    except OSError as unwritable:
        return f"The details could not be written to {LOG_FILE} ({unwritable.strerror})."
    return f"The details are in {LOG_FILE.as_posix()} in the trial folder."
