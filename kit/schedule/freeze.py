"""The seal: plan and schedule fixed before the first shot, by checksum, seed and time."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

import kit
from kit.errors import DataError, PlanError
from kit.files import read_text, sha256_of, write_atomically
from kit.schedule.draw import BIT_GENERATOR, draw_schedule
from kit.schedule.files import (
    FREEZE_FILE,
    SCHEDULE_FILE,
    refuse_if_sealed,
    schedule_text,
)
from kit.schedule.randomisation import randomisation_scheme
from kit.trial import TRIAL_FILE, read_trial

_JOURNAL = "shots.jsonl"
# Crockford's base 32 (2019): no i, l, o or u, so nothing can be misread on a screen.
_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"


@dataclass(frozen=True)
class Freeze:
    """What was sealed."""

    at: str
    """ISO 8601, with the offset from UTC."""
    kit: str
    seed: int
    numpy: str
    bit_generator: str
    drawn_from: str
    """The set of allowed schedules in words."""
    files: dict[str, str]
    """SHA-256 of each sealed file."""

    @property
    def seal(self) -> str:
        """SHA-256 over everything sealed."""
        return sha256_of(json.dumps(asdict(self), sort_keys=True).encode("utf-8"))

    @property
    def short(self) -> str:
        """Ten characters of the seal in two groups: to be held up to a camera."""
        number = int.from_bytes(hashlib.sha256(bytes.fromhex(self.seal)).digest()[:7], "big") >> 6
        signs = "".join(_ALPHABET[(number >> shift) & 31] for shift in range(45, -1, -5))
        return f"{signs[:5]}-{signs[5:]}"


def freeze_trial(folder: Path, at: datetime, seed: int | None = None) -> Freeze:
    """Seal ``trial.toml`` and ``schedule.csv`` by writing ``freeze.json``.

    Parameters
    ----------
    at
        The moment of sealing, with a time zone.
    seed
        Seed the schedule was drawn with; left out: ``layout.seed`` of the trial.

    Raises
    ------
    PlanError
        If the trial is sealed already, shots have been pulled, or the schedule is not the one
        that this trial and seed give.
    """
    refuse_if_sealed(folder)
    _refuse_after_first_shot(folder)
    if at.tzinfo is None:
        raise PlanError("The time of sealing needs a time zone, so that it means one moment.")
    trial = read_trial(folder)
    seed = trial.layout.seed if seed is None else seed
    if seed is None:
        raise PlanError(
            "The seed of the draw is not known (layout.seed is empty). Draw the schedule again "
            "with a seed, or name the one it was drawn with."
        )
    if read_text(folder / SCHEDULE_FILE) != schedule_text(draw_schedule(trial, seed)):
        raise PlanError(
            f"{SCHEDULE_FILE} is not the schedule that {TRIAL_FILE} and the seed {seed} give: one "
            "of them was changed after the draw. Draw the schedule again, then seal."
        )
    freeze = Freeze(
        at=at.isoformat(timespec="seconds"),
        kit=kit.__version__,
        seed=int(seed),
        numpy=np.__version__,
        bit_generator=BIT_GENERATOR,
        drawn_from=randomisation_scheme(trial).words(),
        files={name: _checksum(folder, name) for name in (TRIAL_FILE, SCHEDULE_FILE)},
    )
    content = {"short": freeze.short, **asdict(freeze), "seal": freeze.seal}
    text = json.dumps(content, ensure_ascii=False, indent=2)
    write_atomically(folder / FREEZE_FILE, text + "\n")
    return freeze


def _refuse_after_first_shot(folder: Path) -> None:
    journal = folder / _JOURNAL
    if journal.exists() and journal.stat().st_size > 0:
        raise PlanError(
            f"Shots have been logged already ({_JOURNAL}); a plan is sealed before the first "
            "shot. Say in the report that this one was not sealed."
        )


def read_freeze(folder: Path) -> Freeze:
    """What was sealed in a folder.

    Raises
    ------
    DataError
        If the folder is not sealed or ``freeze.json`` cannot be read as a seal.
    """
    text = read_text(folder / FREEZE_FILE)
    try:
        values = json.loads(text)
        freeze = Freeze(**{name: values[name] for name in Freeze.__dataclass_fields__})
        complete = isinstance(freeze.files, dict) and isinstance(freeze.seed, int)
    except (json.JSONDecodeError, KeyError, TypeError) as error:
        raise DataError(f"{FREEZE_FILE} is damaged: it cannot be read as a seal.") from error
    if not complete:
        raise DataError(f"{FREEZE_FILE} is damaged: it does not name seed and files.")
    return freeze


def verify_freeze(folder: Path) -> list[str]:
    """What no longer matches the seal, a sentence each; an empty list means all is as sealed."""
    freeze = read_freeze(folder)
    found = []
    for name in (TRIAL_FILE, SCHEDULE_FILE):
        if not (folder / name).exists():
            found.append(f"{name} was sealed and is not there any more.")
        elif name not in freeze.files or _checksum(folder, name) != freeze.files[name]:
            found.append(f"{name} was changed after it was sealed.")
    written = json.loads(read_text(folder / FREEZE_FILE))
    if written.get("seal") != freeze.seal or written.get("short") != freeze.short:
        found.append(f"{FREEZE_FILE} itself was changed after sealing.")
    return found


def _checksum(folder: Path, name: str) -> str:
    """Checksum of a file's text: line ends are not counted, so that a copy through another system
    with other line ends still matches."""
    return sha256_of(read_text(folder / name).replace("\r\n", "\n").encode("utf-8"))
