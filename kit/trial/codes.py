"""Codes for people: who tasted or scored what is told without names."""

from __future__ import annotations

from collections.abc import Iterable

LONGEST_INITIALS = 3
"""A code holds a digit (“T1”, “panel-07”) or is no longer than initials (common practice, no
source); anything else reads as a name."""


def is_code(person: str) -> bool:
    """Whether a person is told by a code rather than by a name."""
    return any(sign.isdigit() for sign in person) or len(person.strip()) <= LONGEST_INITIALS


def refuse_names(tasters: Iterable[str]) -> None:
    """Refuse tasters that are told by name.

    Raises
    ------
    ValueError
        For the first of them; a trial turns it into words about its file.
    """
    for taster in tasters:
        if not is_code(taster):
            raise ValueError(
                f"the taster “{taster}” looks like a name, and names never enter the folder; give "
                "tasters codes, such as T1 and T2"
            )
