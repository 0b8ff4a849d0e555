"""A bundle's zip file: the same bytes every time, and no hostile archive is ever unpacked."""

import io
import stat
import struct
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.bundle.archive import pack, unpack
from kit.errors import BundleError

LINK = (stat.S_IFLNK | 0o777) << 16
FIFO = (stat.S_IFIFO | 0o644) << 16


def zip_of(path: Path, entries: list[tuple[object, bytes]], compression: int = 0) -> Path:
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in entries:
            archive.writestr(name, content)  # type: ignore[arg-type]
    return path


def special(name: str, attributes: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.create_system = 3
    info.external_attr = attributes
    return info


HOSTILE_NAMES = [
    "../out.txt", "a/../../out.txt", "/etc/passwd", "..\\out.txt", "C:\\out.txt", "C:/out.txt",
    "a\\b.txt", "./a.txt", "a//b.txt", "..", "a/..", "nul", "results/CON.txt", "aux.csv", "com1",
    "a\u202etxt.exe", "a\nb.txt", "trailing.", "trailing /x", "x" * 300, "file.txt:stream",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE_NAMES)
def test_a_name_that_could_escape_is_refused(tmp_path: Path, name: str) -> None:
    path = zip_of(tmp_path / "b.zip", [("trial.toml", b"x"), (name, b"x")])
    with pytest.raises(BundleError):
        unpack(path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["b.zip"]


@pytest.mark.parametrize(
    ("entries", "compression", "words"),
    [
        ([(special("link", LINK), b"/etc/passwd")], 0, "link or device"),
        ([(special("pipe", FIFO), b"")], 0, "link or device"),
        ([("a.csv", b"1"), ("A.CSV", b"2")], 0, "two files called"),
        ([("e\u0301.csv", b"1"), ("\u00e9.csv", b"2")], 0, "two files called"),
        ([("a", b"1"), ("a/b", b"2")], 0, "both a file and a folder"),
        ([("bomb.csv", b"0" * 30_000_000)], zipfile.ZIP_DEFLATED, "swells beyond reason"),
        ([(f"{number}.txt", b"") for number in range(2_001)], 0, "far fewer"),
        ([("large.bin", b"0" * (61 * 1024 * 1024))], 0, "that is refused"),
    ],
)
def test_an_archive_that_is_no_bundle_is_refused(
    tmp_path: Path, entries: list, compression: int, words: str
) -> None:
    path = zip_of(tmp_path / "b.zip", entries, compression)
    with pytest.raises(BundleError, match=words):
        unpack(path)


def test_encrypted_truncated_and_foreign_files_are_refused(tmp_path: Path) -> None:
    whole = zip_of(tmp_path / "whole.zip", [("a.txt", b"hello")]).read_bytes()
    cases = {"cut.zip": whole[:-30], "text.zip": b"hello", "empty.zip": b""}
    locked = bytearray(whole)
    locked[6] |= 1
    central = whole.index(b"PK\x01\x02")
    locked[central + 8] |= 1
    cases["locked.zip"] = bytes(locked)
    flipped = bytearray(whole)
    flipped[whole.index(b"hello")] ^= 1
    cases["flipped.zip"] = bytes(flipped)
    lying = bytearray(whole)
    struct.pack_into("<I", lying, central + 24, 4)
    cases["lying.zip"] = bytes(lying)
    for name, data in cases.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(BundleError):
            unpack(tmp_path / name)
    with pytest.raises(BundleError, match="cannot be read"):
        unpack(tmp_path / "absent.zip")
    with pytest.raises(BundleError, match="cannot be read"):
        unpack(tmp_path)


@given(
    st.dictionaries(
        st.from_regex(r"[a-z]{1,8}(/[a-z]{1,8}){0,2}\.(csv|json)", fullmatch=True),
        st.binary(max_size=200),
        max_size=6,
    )
)
def test_what_is_packed_is_unpacked_and_bytes_do_not_depend_on_order(
    tmp_path_factory: pytest.TempPathFactory, entries: dict[str, bytes]
) -> None:
    folder = tmp_path_factory.mktemp("bundle")
    one = pack(entries, folder / "one.zip")
    other = pack(dict(reversed(entries.items())), folder / "other.zip")
    assert one.read_bytes() == other.read_bytes()
    assert unpack(one) == entries
    assert zipfile.ZipFile(io.BytesIO(one.read_bytes())).testzip() is None
