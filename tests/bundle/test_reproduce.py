"""A replayed bundle matches to the last digit, and whatever was tampered with is named."""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from kit.bundle import reproduce, write_bundle
from kit.bundle.archive import pack, unpack
from kit.bundle.metadata import CHECKSUMS, checksums
from kit.bundle.seal import seal_matches
from kit.errors import BundleError
from kit.schedule import read_freeze

Entries = dict[str, bytes]


@pytest.fixture(scope="module")
def bundle(small_bundle: Path) -> Path:
    return small_bundle


@pytest.fixture(scope="module")
def entries(small_entries: Entries) -> Entries:
    return small_entries


def tampered(entries: Entries, path: Path, *, hide: bool, **changes: Callable[[str], str]) -> Path:
    """The bundle with entries changed; ``hide`` makes the checksums fit again."""
    changed = dict(entries)
    for name, change in changes.items():
        key = name.replace("__", "/").replace("_dot_", ".")
        before = changed[key].decode()
        after = change(before)
        assert after != before, f"the change to {key} changed nothing"
        changed[key] = after.encode()
    if hide:
        del changed[CHECKSUMS]
        changed[CHECKSUMS] = checksums(changed)
    return pack(changed, path)


def failures(path: Path) -> dict[str, str]:
    return {check.what: check.detail for check in reproduce(path).checks if not check.agrees}


def test_an_untouched_bundle_matches_in_every_check(bundle: Path) -> None:
    found = reproduce(bundle)
    assert found.succeeded
    names = {check.what for check in found.checks}
    assert {"checksums", "seal", "schedule", "journal", "shots.csv", "findings"} <= names
    assert "ey_pct_mean_differences" in names


def test_the_same_trial_gives_the_same_bytes(small_published: Path, bundle: Path) -> None:
    before = bundle.read_bytes()
    assert write_bundle(small_published).read_bytes() == before


def test_one_edited_datum_is_named_where_it_stands(entries: Entries, tmp_path: Path) -> None:
    def edit(text: str) -> str:
        lines = text.splitlines(keepends=True)
        lines[9] = re.sub(r",(9|10|8)\.(\d+),", r",\1.99,", lines[9], count=1)
        return "".join(lines)

    plain = failures(tampered(entries, tmp_path / "a.zip", hide=False, shots_dot_csv=edit))
    assert "shots.csv was changed after it was published" in plain["checksum of shots.csv"]
    assert "row 10, tds_pct: published" in plain["shots.csv"]
    # The journal is the truth: the edited table alone moves no number.
    assert "ey_pct_mean_differences" not in plain
    hidden = failures(tampered(entries, tmp_path / "b.zip", hide=True, shots_dot_csv=edit))
    assert set(hidden) == {"shots.csv"}


def test_an_edited_journal_line_is_named(entries: Entries, tmp_path: Path) -> None:
    def edit(text: str) -> str:
        return text.replace('"dose_g":17.5', '"dose_g":18.5', 1)

    found = failures(tampered(entries, tmp_path / "a.zip", hide=True, shots_dot_jsonl=edit))
    assert "shots.jsonl" in found["journal"]


def test_an_edited_schedule_is_named(entries: Entries, tmp_path: Path) -> None:
    def swap(text: str) -> str:
        return text.replace("Fjord", "X", 1).replace("Thaw", "Fjord", 1).replace("X", "Thaw", 1)

    found = failures(tampered(entries, tmp_path / "a.zip", hide=True, schedule_dot_csv=swap))
    assert "schedule.csv was changed after it was sealed" in found["seal"]
    assert "schedule.csv is not what seed" in found["schedule"]


def test_a_swapped_seed_is_named(entries: Entries, tmp_path: Path) -> None:
    def other_seed(text: str) -> str:
        return json.dumps(json.loads(text) | {"seed": 7})

    found = failures(tampered(entries, tmp_path / "a.zip", hide=True, freeze_dot_json=other_seed))
    assert "freeze.json itself was changed" in found["seal"]
    assert "not what seed 7 draws" in found["schedule"]


def test_a_removed_deviation_is_named(entries: Entries, tmp_path: Path) -> None:
    def drop_last(text: str) -> str:
        return "".join(text.splitlines(keepends=True)[:-1])

    found = failures(tampered(entries, tmp_path / "a.zip", hide=True, deviations_dot_csv=drop_last))
    assert found["deviations.csv"] == "1 rows published, 2 recomputed"


def test_deviations_found_in_the_log_are_in_the_bundle_without_a_file_of_them(
    small_published: Path, tmp_path: Path
) -> None:
    """Nobody writes ``deviations.csv`` during a real trial; what the log shows is handed over."""
    folder = tmp_path / "bare"
    shutil.copytree(small_published, folder)
    listed = (folder / "deviations.csv").read_text(encoding="utf-8")
    (folder / "deviations.csv").unlink()
    bare = write_bundle(folder)
    assert unpack(bare)["deviations.csv"].decode() == listed
    assert listed.count("\n") == 3
    assert reproduce(bare).succeeded


def test_an_edited_result_or_sentence_is_named(entries: Entries, tmp_path: Path) -> None:
    table = "results__tables__ey_pct_mean_differences_dot_csv"

    def flip(text: str) -> str:
        return text.replace("cannot tell", "different", 1)

    def boast(text: str) -> str:
        return text.replace("may have the highest", "has the highest", 1)

    path = tampered(
        entries, tmp_path / "a.zip", hide=True,
        **{table: flip, "results__findings_dot_json": boast},
    )  # fmt: skip
    found = failures(path)
    assert "published different, recomputed cannot tell" in found["ey_pct_mean_differences"]
    assert "different: headline" in found["findings"]


def test_removed_and_added_files_are_named(entries: Entries, tmp_path: Path) -> None:
    fewer = {name: data for name, data in entries.items() if name != "readings.csv"}
    found = failures(pack(fewer | {"extra.txt": b"x"}, tmp_path / "a.zip"))
    assert found["checksum of readings.csv"] == "readings.csv is missing"
    assert found["checksum of extra.txt"] == "extra.txt was added after publishing"


HOSTILE = {
    "trial.toml": [b"\x00\xff", b"title = ", b"a = " + b"[" * 5000, b""],
    "shots.jsonl": [b"", b"not json\n", b'{"a": ' * 5000, b"\xff\xfe"],
    "shots.csv": [b"", b'"unclosed', b"a,b\n" * 10],
    "freeze.json": [b"{}", b"[]", b"null", b"[" * 20000],
    "schedule.csv": [b"", b"planned_shot\n=1+1\n"],
    "results/findings.json": [b"{}", b"[]", b"nonsense"],
}


@pytest.mark.parametrize(
    ("name", "content"),
    [(name, content) for name, contents in HOSTILE.items() for content in contents],
    ids=lambda value: value if isinstance(value, str) else repr(value[:12]),
)
def test_hostile_content_is_refused_or_named_and_never_a_traceback(
    entries: Entries, tmp_path: Path, name: str, content: bytes
) -> None:
    path = pack(entries | {name: content}, tmp_path / "hostile.zip")
    try:
        found = reproduce(path)
    except BundleError as refusal:
        assert str(refusal).startswith("hostile.zip")
    else:
        assert not found.succeeded
    assert [entry.name for entry in tmp_path.iterdir()] == ["hostile.zip"]


def test_the_shown_seal_is_checked(bundle: Path, small_published: Path) -> None:
    short = read_freeze(small_published).short
    assert seal_matches(bundle, short.upper().replace("-", " "))[0]
    matches, sentence = seal_matches(bundle, "aaaaa-bbbbb")
    assert not matches
    assert short in sentence
