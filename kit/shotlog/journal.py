"""The journal ``shots.jsonl``: an append-only file in which nothing acknowledged is ever lost.

An append returns only after the line is on disk. It holds a lock for the time of that one
append. If the disk is full, or the program is killed half-way, the file keeps every line that was
whole before; a torn line is recognised by its checksum and the next append starts a new line.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from filelock import FileLock, SoftFileLock, Timeout

from kit.errors import Complaint, DataError
from kit.shotlog.events import Event, decode, encode

JOURNAL_FILE = "shots.jsonl"
LOCK_WAIT_S = 10.0


@dataclass(frozen=True)
class Journal:
    """What a journal holds: its whole events in order, and the lines that are not whole."""

    events: tuple[Event, ...]
    complaints: tuple[Complaint, ...]


def append_event(folder: Path, event: Event) -> Event:
    """Append one event to the journal of a trial; returns it once it is safely on disk.

    Raises
    ------
    DataError
        If it could not be written (disk full, folder read-only, journal locked); the journal is
        then exactly as it was.
    """
    append_events(folder, [event])
    return event


def append_events(
    folder: Path,
    events: Sequence[Event],
    check: Callable[[Journal], None] | None = None,
    file: str = JOURNAL_FILE,
) -> None:
    """Append several events in one step: all of them are on disk, or none is.

    ``check`` is called with the journal as it stands while the lock is held; what it raises stops
    the append. Two programs can therefore not log the same shot at the same moment.
    """
    path = folder / file
    with locked(path):
        if check is not None:
            check(read_journal(folder))
        _append(path, b"".join(encode(event) for event in events))


def read_journal(folder: Path) -> Journal:
    """Every whole event of ``shots.jsonl`` and of the conflict copies beside it, each once.

    Programs that synchronise folders keep a second copy (``shots (conflict …).jsonl``) when two
    computers wrote at once. All ``shots*.jsonl`` are read and merged by the id of the event; in a
    merge the order is that of time. A trial without a journal has no events.

    Raises
    ------
    DataError
        If a journal is there but cannot be read.
    """
    paths = sorted(folder.glob("shots*.jsonl"), key=lambda path: (path.name != JOURNAL_FILE, path))
    merged: dict[str, Event] = {}
    complaints: list[Complaint] = []
    for path in paths:
        events, damaged = read_event_file(path)
        complaints += damaged
        for event in events:
            known = merged.setdefault(event.id, event)
            if known != event:
                complaints.append(_two_versions(path.name, event))
    in_order = list(merged.values())
    if len(paths) > 1:
        in_order.sort(key=lambda event: _instant(event.at))
    return Journal(tuple(in_order), tuple(complaints))


def read_event_file(path: Path) -> tuple[list[Event], list[Complaint]]:
    """The whole events of one journal file, and a complaint for each line that is not whole."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return [], []
    except OSError as error:
        raise DataError(f"{path} cannot be read ({error.strerror or error}).") from error
    lines = content.split(b"\n")
    events, complaints = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        event = decode(line.rstrip(b"\r"))
        if event is not None:
            events.append(event)
        elif number < len(lines):  # a last line without its end was never acknowledged
            complaints.append(_not_whole(path.name, number, line))
    return events, complaints


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold the lock of a journal; where the folder cannot lock files, a lock file stands in."""
    lock_file = str(path.with_name(f".{path.name}.lock"))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            lock = FileLock(lock_file, timeout=LOCK_WAIT_S)
            lock.acquire()
        except NotImplementedError:
            lock = SoftFileLock(lock_file, timeout=LOCK_WAIT_S)
            lock.acquire()
    except Timeout as error:
        raise DataError(
            f"Another program has held {path.name} for {LOCK_WAIT_S:.0f} s, so nothing was saved. "
            "Close other windows that have this trial open, then save again."
        ) from error
    except OSError as error:
        raise _not_saved(path, error) from error
    try:
        yield
    finally:
        lock.release()


def _append(path: Path, lines: bytes) -> None:
    """Write, flush to disk, or put the file back as it was."""
    try:
        is_new = not path.exists()
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
    except OSError as error:
        raise _not_saved(path, error) from error
    try:
        size = os.lseek(handle, 0, os.SEEK_END)
        try:
            _write_all(handle, _line_end_if_torn(handle, size) + lines)
            os.fsync(handle)
        except OSError as error:
            with suppress(OSError):  # a torn line that stays is known by its checksum
                os.ftruncate(handle, size)
            raise _not_saved(path, error) from error
    finally:
        os.close(handle)
    if is_new:
        _sync_folder(path.parent)


def _line_end_if_torn(handle: int, size: int) -> bytes:
    """A line end, if the last line was torn off before its own."""
    if size == 0:
        return b""
    os.lseek(handle, size - 1, os.SEEK_SET)
    return b"" if os.read(handle, 1) == b"\n" else b"\n"


def _write_all(handle: int, data: bytes) -> None:
    os.lseek(handle, 0, os.SEEK_END)
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]


def _sync_folder(folder: Path) -> None:
    """Make the name of a new file durable too, where the system allows it (POSIX)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _instant(at: str) -> float:
    return datetime.fromisoformat(at).timestamp()


def _not_saved(path: Path, error: OSError) -> DataError:
    return DataError(
        f"Nothing was saved: {path.name} could not be written ({error.strerror or error}). "
        "What was saved before is safe. Free some space or choose a folder you may write to, "
        "then save again."
    )


def _not_whole(file: str, number: int, line: bytes) -> Complaint:
    found = line[:40].decode("utf-8", "replace")
    return Complaint(
        file,
        number,
        None,
        found,
        "this line is not whole; it was cut off while being written, or changed afterwards",
        "It is left out. If the entry is missing, enter it again.",
    )


def _two_versions(file: str, event: Event) -> Complaint:
    return Complaint(
        file,
        None,
        None,
        event.id,
        "one entry stands in two copies of the journal with different content",
        "The one in shots.jsonl counts. Check that shot.",
    )
