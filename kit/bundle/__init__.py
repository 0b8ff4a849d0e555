"""One package with which a stranger gets the same numbers: write, verify, reproduce."""

from kit.bundle.compare import Check
from kit.bundle.own_report import reproduced_folder, write_own_report
from kit.bundle.reproduce import Reproduction, reproduce
from kit.bundle.write import write_bundle

__all__ = [
    "Check",
    "Reproduction",
    "reproduce",
    "reproduced_folder",
    "write_bundle",
    "write_own_report",
]
