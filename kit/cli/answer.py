"""What a command gives back: words for a person, the same as data for a program."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Answer:
    """The result of one command.

    ``text`` is printed as it stands; with ``--json`` the ``data`` is printed instead.
    """

    text: str
    data: dict[str, Any] = field(default_factory=dict)
    exit_code: int = 0
