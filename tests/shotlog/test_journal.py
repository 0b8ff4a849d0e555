"""The journal keeps every acknowledged entry, whatever happens to the program or the disk.

The faults are real ones: processes are killed, files are cut, a small file system is filled.
"""

from __future__ import annotations

import errno
import multiprocessing
import os
import random
import subprocess
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from kit.errors import DataError
from kit.shotlog import Event, append_event, append_events, new_event, read_journal
from kit.shotlog.events import decode, encode
from kit.shotlog.journal import JOURNAL_FILE

AT = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)

# Forked, so that a writer starts at once and dies as a process of its own.
FORK = multiprocessing.get_context("fork") if hasattr(os, "fork") else None
needs_fork = pytest.mark.skipif(FORK is None, reason="needs processes that can be forked")


def write_shots(folder: Path, name: str, numbers: range, said: int) -> None:
    """Append numbered shots, and say each number only after it was acknowledged."""
    for number in numbers:
        data = {"method": name, "dose_g": 18.0, "note": "x" * (number % 300)}
        append_event(folder, new_event("shot", data, AT, name, f"{name}-{number}"))
        os.write(said, b"%d\n" % number)


def shot(number: int, note: str = "") -> Event:
    data = {"planned_shot": number, "dose_g": 18.05, "note": note}
    return new_event("shot", data, AT, "op", f"e{number}")


def start_writer(folder: Path, name: str, numbers: range):
    """A process that writes, and the end of the pipe on which it says what is acknowledged."""
    heard, said = os.pipe()
    writer = FORK.Process(target=write_shots, args=(folder, name, numbers, said))
    writer.start()
    os.close(said)
    return writer, os.fdopen(heard, "rb")


def test_an_event_survives_its_line():
    event = new_event("shot", {"note": 'quoted "crc32" ü\n=1+1\u2028', "dose_g": 18.1}, AT, "op")
    line = encode(event)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    assert decode(line[:-1]) == event


def test_every_single_changed_byte_is_noticed():
    line = encode(shot(1))[:-1]
    for place in range(len(line)):
        changed = bytearray(line)
        changed[place] ^= 0x01
        assert decode(bytes(changed)) is None


def test_appending_keeps_order(tmp_path: Path):
    for number in range(20):
        append_event(tmp_path, shot(number))
    journal = read_journal(tmp_path)
    assert [event.data["planned_shot"] for event in journal.events] == list(range(20))
    assert journal.complaints == ()


def test_a_trial_without_journal_has_no_events(tmp_path: Path):
    assert read_journal(tmp_path).events == ()


def test_truncation_at_every_byte_of_the_last_200_loses_only_the_torn_entry(tmp_path: Path):
    append_events(tmp_path, [shot(number, "n" * 20) for number in range(12)])
    whole = (tmp_path / JOURNAL_FILE).read_bytes()
    ends = [place for place, byte in enumerate(whole) if byte == ord("\n")]
    for cut in range(len(whole) - 200, len(whole)):
        (tmp_path / JOURNAL_FILE).write_bytes(whole[:cut])
        complete = sum(end <= cut for end in ends)  # a line whole but for its line end counts
        kept = read_journal(tmp_path)
        assert [event.id for event in kept.events] == [f"e{n}" for n in range(complete)]
        append_event(tmp_path, shot(99))
        after = read_journal(tmp_path)
        assert [event.id for event in after.events] == [f"e{n}" for n in range(complete)] + ["e99"]
        torn = cut not in {*ends, *(end + 1 for end in ends)}
        assert len(after.complaints) == torn


def test_a_line_changed_afterwards_is_named(tmp_path: Path):
    append_events(tmp_path, [shot(number) for number in range(3)])
    path = tmp_path / JOURNAL_FILE
    path.write_bytes(path.read_bytes().replace(b"18.05", b"18.50", 1))
    journal = read_journal(tmp_path)
    assert [event.id for event in journal.events] == ["e1", "e2"]
    (complaint,) = journal.complaints
    assert complaint.sentence().startswith("shots.jsonl, row 1: this line is not whole")


def test_conflict_copies_are_merged_by_id_in_the_order_of_time(tmp_path: Path):
    early, late = (
        new_event("shot", {"planned_shot": n}, AT.replace(hour=hour), "op", f"x{n}")
        for n, hour in [(1, 9), (2, 11)]
    )
    between = new_event("shot", {"planned_shot": 3}, AT.replace(hour=10), "op", "x3")
    append_events(tmp_path, [early, late])
    (tmp_path / "shots (conflict 2026-05-02).jsonl").write_bytes(encode(early) + encode(between))
    assert [event.id for event in read_journal(tmp_path).events] == ["x1", "x3", "x2"]


def test_the_same_id_with_different_content_is_said(tmp_path: Path):
    append_event(tmp_path, shot(1))
    other = new_event("shot", {"planned_shot": 7}, AT, "op", "e1")
    (tmp_path / "shots-copy.jsonl").write_bytes(encode(other))
    journal = read_journal(tmp_path)
    assert journal.events == (shot(1),)
    assert "two copies" in journal.complaints[0].problem


@needs_fork
def test_killed_at_random_moments_during_1000_entries_no_acknowledged_entry_is_lost(
    tmp_path: Path,
):
    """SIGKILL at random moments (seed 6), as of a kernel or a server, and on with the next."""
    luck = random.Random(6)
    acknowledged: list[int] = []
    kills = 0
    while len(acknowledged) < 1000 or kills < 30:
        start = acknowledged[-1] + 1 if acknowledged else 0
        writer, heard = start_writer(tmp_path, "w", range(start, start + 100_000))
        with heard:
            said = [heard.readline()]
            time.sleep(luck.uniform(0.0, 0.03))
            writer.kill()
            said += heard.readlines()
        writer.join()
        kills += 1
        acknowledged += [int(line) for line in said if line.endswith(b"\n")]
    on_disk = [event.id for event in read_journal(tmp_path).events]
    assert {f"w-{number}" for number in acknowledged} <= set(on_disk)
    assert len(on_disk) == len(set(on_disk))
    assert len(on_disk) - len(acknowledged) <= kills  # at most the one under way at each kill


@needs_fork
def test_four_processes_append_at_once(tmp_path: Path):
    started = [start_writer(tmp_path, name, range(100)) for name in "abcd"]
    for writer, heard in started:
        with heard:
            assert [int(line) for line in heard] == list(range(100))
        writer.join()
        assert writer.exitcode == 0
    journal = read_journal(tmp_path)
    assert journal.complaints == ()
    for name in "abcd":
        own = [event.id for event in journal.events if event.by == name]
        assert own == [f"{name}-{number}" for number in range(100)]


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system of 64 kB that really fills up, where this machine lets us mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)],
        capture_output=True,
        check=False,
    )
    if mount.returncode != 0:
        pytest.skip("no file system can be mounted here; the next test fills a fake one")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_full_disk_loses_nothing_and_works_again_once_there_is_space(small_disk: Path):
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 30_000)
    acknowledged = 0
    refused = ""
    while not refused:
        try:
            append_event(small_disk, shot(acknowledged, "y" * 500))
            acknowledged += 1
        except DataError as error:
            refused = str(error)
    assert "Nothing was saved: shots.jsonl could not be written (No space left" in refused
    journal = read_journal(small_disk)
    assert acknowledged > 10
    assert [event.id for event in journal.events] == [f"e{n}" for n in range(acknowledged)]
    assert journal.complaints == ()
    ballast.unlink()
    append_event(small_disk, shot(acknowledged))
    assert len(read_journal(small_disk).events) == acknowledged + 1


@pytest.mark.parametrize("failing", ["write", "fsync"])
def test_a_disk_that_fails_half_way_leaves_the_journal_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
):
    append_event(tmp_path, shot(1))
    before = (tmp_path / JOURNAL_FILE).read_bytes()
    real_write = os.write

    def half_then_full(handle: int, data: memoryview) -> int:
        if len(data) < 40:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real_write(handle, data[: len(data) // 2])

    def no_sync(handle: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as patch:
        if failing == "write":
            patch.setattr("kit.shotlog.journal.os.write", half_then_full)
        else:
            patch.setattr("kit.shotlog.journal.os.fsync", no_sync)
        with pytest.raises(DataError, match="Nothing was saved"):
            append_event(tmp_path, shot(2))
    assert (tmp_path / JOURNAL_FILE).read_bytes() == before
    append_event(tmp_path, shot(2))
    assert [event.id for event in read_journal(tmp_path).events] == ["e1", "e2"]


def test_a_check_under_the_lock_stops_the_append(tmp_path: Path):
    append_event(tmp_path, shot(1))

    def refuse(journal: object) -> None:
        raise DataError("no")

    with pytest.raises(DataError, match="no"):
        append_events(tmp_path, [shot(2)], refuse)
    assert len(read_journal(tmp_path).events) == 1


def test_a_folder_one_may_not_write_to_is_said(tmp_path: Path):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(DataError, match="Nothing was saved"):
        append_event(tmp_path / "file", shot(1))


def test_a_time_without_zone_and_an_unknown_kind_are_refused():
    with pytest.raises(DataError, match="no time zone"):
        new_event("shot", {}, datetime(2026, 5, 2), "op")
    with pytest.raises(DataError, match="no kind of event"):
        new_event("espresso", {}, AT, "op")
