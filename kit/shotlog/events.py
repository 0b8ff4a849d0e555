"""One event of the log, and its line in the journal: JSON with an id, a time and a checksum."""

from __future__ import annotations

import json
import uuid
import zlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from kit.errors import DataError

KINDS = (
    "shot",
    "correction",
    "withdrawal",
    "readings",
    "fault score",
    "tasting",
    "skip",
    "session start",
    "session end",
    "pause",
    "resume",
    "peek",
    "import",
    "draft",
)
# The checksum stands last, so that it covers every byte before it exactly as it was written.
_SEAL = ',"crc32":"'
_SEAL_LENGTH = len(_SEAL) + 8 + len('"}')


@dataclass(frozen=True)
class Event:
    """Something that was entered: what, by whom, when. It is never changed afterwards."""

    id: str
    kind: str
    at: str
    """ISO 8601 with time zone."""
    by: str
    data: dict[str, Any]


def new_event(
    kind: str, data: dict[str, Any], at: datetime, by: str, event_id: str | None = None
) -> Event:
    """An event ready to be appended.

    Parameters
    ----------
    kind
        One of ``KINDS``.
    data
        What was entered; anything JSON can hold.
    at
        When, with time zone.
    by
        Code of the person.
    event_id
        Left out, a fresh one is made. A form gives the same id to every attempt at one save, so
        that a save tried twice is one event.

    Raises
    ------
    DataError
        If the kind is unknown or the time has no time zone.
    """
    if kind not in KINDS:
        raise DataError(f"“{kind}” is no kind of event; there are {', '.join(KINDS)}.")
    if at.tzinfo is None:
        raise DataError(f"The time {at} has no time zone. Give it one, so that it can be compared.")
    return Event(
        event_id or uuid.uuid4().hex, kind, at.isoformat(timespec="milliseconds"), by, data
    )


def encode(event: Event) -> bytes:
    """The event as one line, with the CRC-32 of everything before the checksum, and a line end."""
    record = {
        "id": event.id,
        "kind": event.kind,
        "at": event.at,
        "by": event.by,
        "data": event.data,
    }
    body = json.dumps(record, ensure_ascii=False, separators=(",", ":"), allow_nan=False)[:-1]
    checksum = zlib.crc32(body.encode("utf-8"))
    return f'{body}{_SEAL}{checksum:08x}"}}\n'.encode()


def decode(line: bytes) -> Event | None:
    """The event of one line (without its line end), or None if the line is not whole."""
    body, seal = line[:-_SEAL_LENGTH], line[-_SEAL_LENGTH:]
    if not seal.startswith(_SEAL.encode()) or not seal.endswith(b'"}'):
        return None
    if seal[len(_SEAL) : -2] != f"{zlib.crc32(body):08x}".encode():
        return None
    try:
        record = json.loads(body + b"}")
        return Event(record["id"], record["kind"], record["at"], record["by"], record["data"])
    except (ValueError, KeyError, TypeError):
        return None
