"""A bundle as one zip file: written with the same bytes every time, read as if it were hostile.

Entries are stored, not compressed: the bytes then depend on no compression library, and an
archive that swells when it is opened is refused on sight.
"""

from __future__ import annotations

import io
import re
import stat
import unicodedata
import zipfile
from pathlib import Path, PurePosixPath

from kit.errors import BundleError
from kit.files import write_atomically

LARGEST_BUNDLE_BYTES = 200 * 1024 * 1024
LARGEST_ENTRY_BYTES = 60 * 1024 * 1024
MOST_ENTRIES = 2_000
LONGEST_NAME = 200
# The zip format cannot hold an earlier time; a fixed one keeps the bytes the same.
_EPOCH = (1980, 1, 1, 0, 0, 0)
_WINDOWS_DEVICES = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)


def pack(entries: dict[str, bytes], path: Path) -> Path:
    """Write ``entries`` (name in the archive -> content) as a zip file, sorted by name."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(entries):
            info = zipfile.ZipInfo(name, _EPOCH)
            info.create_system = 3
            info.external_attr = (stat.S_IFREG | 0o644) << 16
            archive.writestr(info, entries[name])
    return write_atomically(path, buffer.getvalue())


def unpack(path: Path) -> dict[str, bytes]:
    """The entries of a bundle, in memory; nothing is written and nothing is run.

    Raises
    ------
    BundleError
        If the file is no zip archive, is damaged, or holds anything a bundle never holds: a
        path that leaves its folder, a link, an encrypted or compressed-beyond-reason entry,
        two entries of one name, too many or too large entries.
    """
    data = _read(path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = [info for info in archive.infolist() if not info.is_dir()]
            _check_all(infos, path)
            return {info.filename: _content(archive, info, path) for info in infos}
    except (zipfile.BadZipFile, NotImplementedError, EOFError, ValueError, OSError) as error:
        raise BundleError(
            f"{path.name} cannot be opened as a bundle: {error}. Ask for it again; "
            "it may have been cut short on its way."
        ) from error


def _read(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > LARGEST_BUNDLE_BYTES:
            raise BundleError(
                f"{path.name} has {size / 1e6:.0f} MB; a bundle has at most "
                f"{LARGEST_BUNDLE_BYTES / 1e6:.0f} MB. It was not opened."
            )
        return path.read_bytes()
    except OSError as error:
        raise BundleError(
            f"{path} cannot be read ({error.strerror or error}). Check the name and the folder."
        ) from error


def _check_all(infos: list[zipfile.ZipInfo], path: Path) -> None:
    if len(infos) > MOST_ENTRIES:
        raise BundleError(f"{path.name} holds {len(infos)} files; a bundle holds far fewer.")
    seen: dict[str, str] = {}
    total = 0
    for info in infos:
        _check_name(info.filename, path)
        _check_entry(info, path)
        # One name to a file system that ignores case or composes accents is one file.
        folded = unicodedata.normalize("NFC", info.filename).casefold()
        if folded in seen:
            raise BundleError(
                f"{path.name} holds two files called {info.filename!r}. A bundle never does."
            )
        seen[folded] = info.filename
        total += info.file_size
    for folded, name in seen.items():
        parents = [str(parent).casefold() for parent in PurePosixPath(folded).parents]
        if any(parent in seen for parent in parents):
            raise BundleError(f"{path.name}: {name!r} is both a file and a folder.")
    if total > LARGEST_BUNDLE_BYTES:
        raise BundleError(f"{path.name} would unpack to {total / 1e6:.0f} MB; that is refused.")


def _check_name(name: str, path: Path) -> None:
    parts = name.split("/")
    wrong = (
        not name
        or len(name) > LONGEST_NAME
        or name.startswith("/")
        or "\\" in name
        or ":" in name
        or any(part in {"", ".", ".."} for part in parts)
        or any(part != part.strip() or part.endswith(".") for part in parts)
        or any(_WINDOWS_DEVICES.match(part) for part in parts)
        or any(unicodedata.category(sign).startswith("C") for sign in name)
    )
    if wrong:
        raise BundleError(
            f"{path.name} holds an entry called {name[:80]!r}, a name that could leave the "
            "bundle's folder or confuse a computer. Nothing was written."
        )


def _check_entry(info: zipfile.ZipInfo, path: Path) -> None:
    mode = info.external_attr >> 16
    if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode) != 0:
        raise BundleError(f"{path.name}: {info.filename!r} is a link or device, not a file.")
    if info.flag_bits & 0x1:
        raise BundleError(f"{path.name}: {info.filename!r} is encrypted. A bundle never is.")
    if info.file_size > LARGEST_ENTRY_BYTES:
        raise BundleError(
            f"{path.name}: {info.filename!r} has {info.file_size / 1e6:.0f} MB; that is refused."
        )
    if info.file_size > 200 * max(info.compress_size, 1):
        raise BundleError(f"{path.name}: {info.filename!r} swells beyond reason when opened.")


def _content(archive: zipfile.ZipFile, info: zipfile.ZipInfo, path: Path) -> bytes:
    """The entry's bytes; a header that lies about the size is caught while reading."""
    with archive.open(info) as stream:
        data = stream.read(LARGEST_ENTRY_BYTES + 1)
    if len(data) != info.file_size:
        raise BundleError(f"{path.name}: {info.filename!r} is not as long as it says it is.")
    return data
