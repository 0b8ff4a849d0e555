"""Recomputing a published bundle: checksums, seal, schedule, log, and every number.

The bundle is data. It is unpacked in memory, its known files are written to a folder of our own
making, and the kit's own code is run on them; nothing that came with the bundle is executed.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from kit.bundle.archive import unpack
from kit.bundle.compare import Check, compare_table
from kit.bundle.contents import NEEDED, TRIAL_FILES
from kit.bundle.metadata import CHECKSUMS
from kit.errors import BundleError, KitError
from kit.files import sha256_of
from kit.results import (
    Results,
    compute_blind_results,
    compute_results,
    read_lock,
    result_tables,
)
from kit.results.lock import LOCK_FILE
from kit.results.tables import csv_of
from kit.results.write import FINDINGS_FILE, RESULTS_FOLDER, TABLES_FOLDER, findings_text
from kit.schedule import FREEZE_FILE, SCHEDULE_FILE, read_freeze, read_schedule, verify_freeze
from kit.schedule.draw import draw_schedule
from kit.schedule.files import schedule_text
from kit.schedule.tasting import ORDERS_FILE, SETS_FILE, discrimination_sets, tasting_orders
from kit.shotlog import SHOTS_FILE, read_journal, read_log, schedule_of, shots_table
from kit.shotlog.spreadsheets import csv_text
from kit.trial import read_trial

TABLES_PATH = f"{RESULTS_FOLDER}/{TABLES_FOLDER}/"
FINDINGS_PATH = f"{RESULTS_FOLDER}/{FINDINGS_FILE}"


@dataclass(frozen=True)
class Reproduction:
    """Everything that was checked, and the results as recomputed here."""

    checks: tuple[Check, ...]
    results: Results

    @property
    def succeeded(self) -> bool:
        """Whether every check agrees."""
        return all(check.agrees for check in self.checks)


def reproduce(bundle: Path) -> Reproduction:
    """Verify a bundle and recompute everything in it.

    Raises
    ------
    BundleError
        If the archive is unsafe or damaged, or its files cannot be analysed at all. Whatever
        merely disagrees is a failed check instead.
    """
    entries = unpack(bundle)
    with trial_in(entries, bundle) as folder:
        results = compute_results(folder)
        checks = (
            *checksum_checks(entries),
            *seal_checks(folder),
            *tasting_checks(folder),
            *log_checks(folder),
            *deviation_checks(entries, results),
            *blinding_checks(folder),
            *number_checks(entries, results),
        )
    return Reproduction(checks, results)


@contextmanager
def trial_in(entries: dict[str, bytes], bundle: Path) -> Iterator[Path]:
    """A folder of our own making with the trial's known files and nothing else of the bundle.

    Raises
    ------
    BundleError
        If a needed file is missing, or whatever is done with the files shows that one of them is
        not what its name says.
    """
    absent = [name for name in NEEDED if name not in entries]
    if absent:
        raise BundleError(f"{bundle.name} lacks {absent[0]}: it is no bundle of a trial.")
    with tempfile.TemporaryDirectory(prefix="fairpull-") as place:
        folder = Path(place)
        for name in TRIAL_FILES:
            if name in entries:
                (folder / name).write_bytes(entries[name])
        try:
            yield folder
        except KitError as error:
            raise BundleError(f"{bundle.name} cannot be recomputed: {error}") from error
        except (RecursionError, ValueError, TypeError, KeyError, AttributeError) as error:
            raise BundleError(
                f"{bundle.name} holds a file that is not what its name says ({error}). "
                "Nothing in it was run."
            ) from error


def checksum_checks(entries: dict[str, bytes]) -> Iterator[Check]:
    """Every file against the list of checksums, in both directions."""
    if CHECKSUMS not in entries:
        yield Check("checksums", False, f"{CHECKSUMS} is missing")
        return
    listed: dict[str, str] = {}
    for line in entries[CHECKSUMS].decode("utf-8", errors="replace").splitlines():
        digest, _, name = line.partition("  ")
        listed[name] = digest
    wrong = [name for name, digest in listed.items() if _digest(entries, name) != digest]
    unlisted = sorted(set(entries) - set(listed) - {CHECKSUMS})
    for name in wrong:
        what = "is missing" if name not in entries else "was changed after it was published"
        yield Check(f"checksum of {name}", False, f"{name} {what}")
    for name in unlisted:
        yield Check(f"checksum of {name}", False, f"{name} was added after publishing")
    yield Check("checksums", not wrong and not unlisted, f"{len(listed)} files")


def _digest(entries: dict[str, bytes], name: str) -> str:
    return sha256_of(entries[name]) if name in entries else ""


def seal_checks(folder: Path) -> Iterator[Check]:
    """Plan and schedule against the seal; the schedule against its own seed."""
    if not (folder / FREEZE_FILE).exists():
        yield Check("seal", True, "this trial was never sealed; its findings say so")
        return
    broken = verify_freeze(folder)
    sealed = read_freeze(folder)
    yield Check("seal", not broken, " ".join(broken) or f"{sealed.short}, sealed {sealed.at}")
    redrawn = schedule_text(draw_schedule(read_trial(folder), sealed.seed))
    same = (folder / SCHEDULE_FILE).read_text(encoding="utf-8") == redrawn
    detail = f"redrawn from seed {sealed.seed}"
    if not same:
        detail = f"{SCHEDULE_FILE} is not what seed {sealed.seed} draws from this plan"
    yield Check("schedule", same, detail)


def tasting_checks(folder: Path) -> Iterator[Check]:
    """The cups of the tasters, where they were published, against the sealed seed."""
    if not (folder / FREEZE_FILE).exists():
        return
    trial, seed = read_trial(folder), read_freeze(folder).seed
    taken = read_schedule(folder)["code"].tolist()
    published = [name for name in (ORDERS_FILE, SETS_FILE) if (folder / name).is_file()]
    for name in published:
        cups = tasting_orders(trial, seed, taken)
        if name == SETS_FILE:
            cups = discrimination_sets(trial, seed, [*taken, *cups["code"]])
        same = (folder / name).read_text(encoding="utf-8") == schedule_text(cups)
        words = f"redrawn from seed {seed}" if same else f"not what seed {seed} draws"
        yield Check(name, same, words)


def log_checks(folder: Path) -> Iterator[Check]:
    """The journal's own checksums, and the table of shots against the journal."""
    damaged = read_journal(folder).complaints
    yield Check(
        "journal",
        not damaged,
        damaged[0].sentence() if damaged else "every line has its checksum",
    )
    derived = csv_text(shots_table(read_log(folder), schedule_of(folder)))
    yield compare_table(SHOTS_FILE, (folder / SHOTS_FILE).read_bytes(), derived)


def deviation_checks(entries: dict[str, bytes], results: Results) -> Iterator[Check]:
    """What was not done as planned, found again in the log, against what was published."""
    found = results.deviations
    published = entries.get("deviations.csv")
    if published is None:
        yield Check(
            "deviations.csv", found.empty, f"missing; the log shows {len(found)} deviations"
        )
    else:
        yield compare_table("deviations.csv", published, csv_of(found))


def blinding_checks(folder: Path) -> Iterator[Check]:
    """What a blind analyst settled in letters, found again from the log.

    The letters follow from the seed of the schedule. While they stood there was no settlement
    yet, so the findings are those of the folder without its file.
    """
    settled = read_lock(folder)
    if settled is None:
        return
    (folder / LOCK_FILE).rename(folder / f"{LOCK_FILE}.set-aside")
    said = findings_text(compute_blind_results(folder))
    (folder / f"{LOCK_FILE}.set-aside").rename(folder / LOCK_FILE)
    same = sha256_of(said.encode("utf-8")) == settled.findings_sha256
    detail = (
        f"the findings in letters, settled {settled.at}"
        if same
        else f"{LOCK_FILE} seals other findings than these shots give in letters"
    )
    yield Check("blind analysis", same, detail)


def number_checks(entries: dict[str, bytes], results: Results) -> Iterator[Check]:
    """Every published table, and the sentences, against those recomputed here."""
    recomputed = {name: csv_of(table) for name, table in result_tables(results).items()}
    for name, text in recomputed.items():
        path = f"{TABLES_PATH}{name}.csv"
        if path in entries:
            yield compare_table(name, entries[path], text)
        else:
            yield Check(name, False, "this table was not published")
    for path in sorted(entries):
        name = path.removeprefix(TABLES_PATH).removesuffix(".csv")
        if path.startswith(TABLES_PATH) and name not in recomputed:
            yield Check(name, False, "published, but nothing here computes such a table")
    yield _findings_check(entries.get(FINDINGS_PATH), results)


def _findings_check(published: bytes | None, results: Results) -> Check:
    if published is None:
        return Check("findings", False, "not published")
    said = json.loads(published)
    now = json.loads(json.dumps(results.findings.as_data(), default=str))
    different = [part for part in now if said.get(part) != now[part]]
    detail = f"different: {', '.join(different)}" if different else "every sentence"
    return Check("findings", not different, detail)
