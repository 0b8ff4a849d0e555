"""Writing files so that a crash, a full disk or a second program never leaves half of one."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from kit.errors import DataError


def write_atomically(path: Path, content: str | bytes) -> Path:
    """Replace ``path`` by ``content`` in one step: readers see the old file or the new, never half.

    Text is written as UTF-8 with ``\\n`` line ends on every system, so that the same content
    has the same bytes (and the same checksum) everywhere.

    Raises
    ------
    DataError
        If the file cannot be written (disk full, folder read-only); the old file is untouched.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, _mode_of_new_files())
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise DataError(
            f"{path} could not be written ({error.strerror or error}). The file as it was before "
            "is untouched. Free some space or choose a folder you may write to, then try again."
        ) from error
    return path


def _mode_of_new_files() -> int:
    """The permissions an ordinary new file would get (mkstemp makes private ones)."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def read_text(path: Path) -> str:
    """The text of ``path`` as UTF-8 (a byte-order mark is accepted).

    Raises
    ------
    DataError
        If the file is missing, is a folder, may not be read, or is not UTF-8 text.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise DataError(f"{path} is not there. Check the name and the folder.") from error
    except UnicodeDecodeError as error:
        raise DataError(
            f"{path} is not plain text in UTF-8 (byte {error.start + 1} cannot be read). "
            "Save it again as UTF-8, or as CSV UTF-8 from your spreadsheet."
        ) from error
    except OSError as error:
        raise DataError(f"{path} cannot be read ({error.strerror or error}).") from error


def sha256_of(content: bytes) -> str:
    """SHA-256 of ``content`` in hexadecimal (FIPS 180-4)."""
    return hashlib.sha256(content).hexdigest()
