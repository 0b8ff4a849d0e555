"""A bundle against the short seal that was shown in public before the first shot."""

from __future__ import annotations

import tempfile
from pathlib import Path

from kit.bundle.archive import unpack
from kit.errors import BundleError
from kit.schedule import FREEZE_FILE, SCHEDULE_FILE, read_freeze, verify_freeze
from kit.trial import TRIAL_FILE


def seal_matches(bundle: Path, shown: str) -> tuple[bool, str]:
    """Whether the bundle's plan and schedule are those of the seal, and a sentence that says so.

    Raises
    ------
    BundleError
        If the bundle is unsafe, damaged, or was never sealed.
    """
    entries = unpack(bundle)
    if FREEZE_FILE not in entries:
        raise BundleError(f"{bundle.name} was never sealed: it holds no {FREEZE_FILE}.")
    with tempfile.TemporaryDirectory(prefix="fairpull-") as place:
        folder = Path(place)
        for name in (TRIAL_FILE, SCHEDULE_FILE, FREEZE_FILE):
            if name in entries:
                (folder / name).write_bytes(entries[name])
        sealed = read_freeze(folder)
        broken = verify_freeze(folder)
    if broken:
        return False, " ".join(broken)
    if _plain(shown) != _plain(sealed.short):
        return False, (
            f"The seal shown is {shown}, the bundle's is {sealed.short}: "
            "this is not the plan that was shown."
        )
    return (
        True,
        f"The bundle's plan and schedule are the ones sealed at {sealed.at} ({sealed.short}).",
    )


def _plain(seal: str) -> str:
    """Case, blanks and dashes do not count when a seal is typed off a screen."""
    return "".join(sign for sign in seal.lower() if sign.isalnum())
