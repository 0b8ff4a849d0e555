"""Blind codes: random three-digit numbers that cannot be taken for one another."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from kit.errors import PlanError

_READ_UPSIDE_DOWN = set("01689")
_ATTEMPTS = 40


@lru_cache(maxsize=4)
def _pool(digits: int) -> tuple[str, ...]:
    """Codes without a leading zero, without a digit twice, and not readable upside down."""
    return tuple(
        "".join(code)
        for code in itertools.permutations("0123456789", digits)
        if code[0] != "0" and not set(code) <= _READ_UPSIDE_DOWN
    )


def draw_codes(
    rng: np.random.Generator, tables: Sequence[int], taken: Sequence[str] = ()
) -> list[list[str]]:
    """Codes for the cups of each table (a session or a sitting), none used twice anywhere.

    On one table two codes differ in at least two digits and are no swap of neighbouring digits,
    as long as there are enough such codes; only a crowded table may hold closer ones. Trials with
    more cups than there are safe three-digit codes (about 600) get four digits.

    Parameters
    ----------
    tables
        Cups on each table.
    taken
        Codes already in use in this trial.

    Raises
    ------
    PlanError
        If the trial has more cups than even four digits can tell apart.
    """
    needed = sum(tables) + len(taken)
    digits = next((size for size in (3, 4) if len(_pool(size)) >= needed), None)
    if digits is None:
        raise PlanError(
            f"{needed} cups need a code each, and only {len(_pool(4))} codes of four digits can "
            "be told apart safely. Plan fewer cups or divide the trial in two."
        )
    used = set(taken)
    codes = []
    for cups in tables:
        drawn = _one_table(rng, [code for code in _pool(digits) if code not in used], cups)
        used.update(drawn)
        codes.append(drawn)
    return codes


def _one_table(rng: np.random.Generator, free: list[str], cups: int) -> list[str]:
    """Safe codes as far as they go; a crowded table is filled up with other unused ones."""
    chosen: list[str] = []
    for _ in range(_ATTEMPTS):
        order = [free[i] for i in rng.permutation(len(free))]
        chosen = []
        near: set[str] = set()
        for code in order:
            if len(chosen) == cups:
                return chosen
            if code not in near:
                chosen.append(code)
                near |= one_slip_away(code)
        if len(chosen) >= cups or cups > len(free) // 8:
            break
    return (chosen + [code for code in order if code not in set(chosen)])[:cups]


def one_slip_away(code: str) -> set[str]:
    """The code itself and what one slip makes of it: a wrong digit, or two neighbours swapped."""
    slips = {code}
    for place, _ in enumerate(code):
        slips |= {code[:place] + digit + code[place + 1 :] for digit in "0123456789"}
    for place in range(len(code) - 1):
        slips.add(code[:place] + code[place + 1] + code[place] + code[place + 2 :])
    return slips
