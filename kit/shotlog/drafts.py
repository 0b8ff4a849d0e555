"""Drafts: what stands half-filled in a form, kept at every edit, so that a crash loses no typing.

Drafts live in a journal of their own, ``drafts.jsonl``. They are not data: nothing is ever
computed from them, and a form that was saved clears its draft.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from kit.files import write_atomically
from kit.shotlog.events import Event, encode, new_event
from kit.shotlog.journal import append_events, locked, read_event_file

DRAFTS_FILE = "drafts.jsonl"
_COMPACT_ABOVE_BYTES = 65_536


def save_draft(folder: Path, form: str, values: dict[str, Any], at: datetime) -> None:
    """Keep what stands in ``form`` (raw text, as typed) as its latest draft."""
    append_events(
        folder, [new_event("draft", {"form": form, "values": values}, at, "")], file=DRAFTS_FILE
    )


def clear_draft(folder: Path, form: str, at: datetime) -> None:
    """Forget the draft of ``form``: its content was saved, or thrown away on purpose."""
    if read_draft(folder, form):
        save_draft(folder, form, {}, at)
    if (folder / DRAFTS_FILE).exists() and (
        (folder / DRAFTS_FILE).stat().st_size > _COMPACT_ABOVE_BYTES
    ):
        _compact(folder)


def read_draft(folder: Path, form: str) -> dict[str, Any]:
    """The latest draft of ``form``; empty where there is none."""
    latest = _latest(folder).get(form)
    return dict(latest.data["values"]) if latest else {}


def _latest(folder: Path) -> dict[str, Event]:
    events, _ = read_event_file(folder / DRAFTS_FILE)
    return {event.data["form"]: event for event in events}


def _compact(folder: Path) -> None:
    """Keep only the latest draft of each form."""
    with locked(folder / DRAFTS_FILE):
        kept = [event for event in _latest(folder).values() if event.data["values"]]
        write_atomically(folder / DRAFTS_FILE, b"".join(encode(event) for event in kept))
