"""One sentence for each pair and one for each outcome: what the shots say, and how surely."""

from __future__ import annotations

from typing import Any

from kit.analysis.result import CANNOT_TELL, DIFFERENT, SAME, OutcomeResult
from kit.findings.wording import (
    listed,
    scale_of,
    sentence_case,
    smallest_difference_words,
)
from kit.numerals import say_number, say_p
from kit.trial import Outcome

INTERVAL = "95 % simultaneous interval"


def outcome_headline(result: OutcomeResult) -> str:
    """The answer for one outcome in one sentence: the set that may be best, or who differs."""
    noun = scale_of(result.outcome).noun
    methods = [str(name) for name in result.groups["method"]]
    if result.may_be_best is None:
        return _differences_headline(result, noun)
    candidates = [name for name in methods if name in result.may_be_best]
    ruled_out = [name for name in methods if name not in result.may_be_best]
    aim = "highest" if result.outcome.higher_is_better else "lowest"
    if len(candidates) == 1:
        return (
            f"{sentence_case(noun)}: {candidates[0]} comes out {aim}; "
            f"{listed(ruled_out)} {_are(ruled_out)} behind."
        )
    if not ruled_out:
        return (
            f"{sentence_case(noun)}: any of {listed(candidates, 'or')} may have the {aim}; "
            "these shots rule none out."
        )
    return (
        f"{sentence_case(noun)}: {listed(candidates, 'or')} may have the {aim}; "
        f"{listed(ruled_out)} {_are(ruled_out)} ruled out as {aim}."
    )


def _differences_headline(result: OutcomeResult, noun: str) -> str:
    pairs = [contrast_name(row) for row in result.difference_rows() if row["verdict"] == DIFFERENT]
    if not pairs:
        return f"{sentence_case(noun)}: no difference was shown; see which ones cannot be told."
    return f"{sentence_case(noun)}: a difference is shown for {listed(pairs)}."


def _are(names: list[str]) -> str:
    return "is" if len(names) == 1 else "are"


def contrast_name(row: dict[str, Any]) -> str:
    """``Fjord against Harbour``; an interaction contrast has no second side."""
    return f"{row['a']} against {row['b']}" if row["b"] else str(row["a"])


def pair_sentence(outcome: Outcome, row: dict[str, Any]) -> str:
    """What the shots say of one pair, with estimate, interval and p value together.

    ``row`` is a row of ``OutcomeResult.differences``.
    """
    if not row["b"]:
        return _interaction_sentence(outcome, row)
    scale = scale_of(outcome)
    return _ratio_sentence(outcome, row) if scale.is_ratio else _difference_sentence(outcome, row)


def _difference_sentence(outcome: Outcome, row: dict[str, Any]) -> str:
    scale = scale_of(outcome)
    ahead, behind, estimate, lower, upper = _oriented(row)
    interval, decimals = scale.interval(lower, upper)
    evidence = f"{INTERVAL} {interval}, {say_p(row['p_adjusted'])}"
    size = scale.value(estimate, decimals)
    if row["verdict"] == DIFFERENT:
        verb = comparative(outcome)
        return (
            f"{ahead} {verb} than {behind}: by {size} ({evidence}). "
            f"{_size_against_margin(outcome, lower)}"
        )
    if row["verdict"] == SAME:
        shown = "a difference is there, but it" if lower > 0 else "any difference"
        return (
            f"{ahead} and {behind} are the same for practical purposes: {shown} is smaller "
            f"than {smallest_difference_words(outcome)} ({evidence})."
        )
    return (
        f"{ahead} and {behind}: cannot tell. The estimate is {size}, "
        f"and anything in the interval fits the shots ({evidence})."
    )


def _ratio_sentence(outcome: Outcome, row: dict[str, Any]) -> str:
    wider, narrower, ratio, lower, upper = _oriented_ratio(row)
    noun = scale_of(outcome).noun
    ends = " to ".join(say_number(end, 1 if end >= 10 else 2) for end in (lower, upper))
    evidence = f"{INTERVAL} {ends} times, {say_p(row['p_adjusted'])}"
    if row["verdict"] == DIFFERENT:
        return (
            f"{narrower} is more consistent than {wider}: the {noun} of {wider} is "
            f"{ratio:.2f} times as large ({evidence})."
        )
    if row["verdict"] == SAME:
        return (
            f"{wider} and {narrower} are equally consistent for practical purposes: the ratio of "
            f"their spreads is smaller than {outcome.smallest_difference:g} ({evidence})."
        )
    return (
        f"{wider} and {narrower}: cannot tell which is more consistent. The estimate is "
        f"{ratio:.2f} times, and anything in the interval fits the shots ({evidence})."
    )


def _interaction_sentence(outcome: Outcome, row: dict[str, Any]) -> str:
    scale = scale_of(outcome)
    interval, decimals = scale.interval(row["lower"], row["upper"])
    evidence = f"{INTERVAL} {interval}, {say_p(row['p_adjusted'])}"
    size = scale.value(row["estimate"], decimals)
    if row["verdict"] == DIFFERENT:
        return (
            f"{row['a']}: the parts do not simply add up; together they differ from their sum "
            f"by {size} ({evidence})."
        )
    if row["verdict"] == SAME:
        return f"{row['a']}: the parts add up for practical purposes ({evidence})."
    return f"{row['a']}: cannot tell whether the parts add up; the estimate is {size} ({evidence})."


def _oriented(row: dict[str, Any]) -> tuple[str, str, float, float, float]:
    """The pair turned round so that the estimate is not negative."""
    if row["estimate"] >= 0:
        return row["a"], row["b"], row["estimate"], row["lower"], row["upper"]
    return row["b"], row["a"], -row["estimate"], -row["upper"], -row["lower"]


def _oriented_ratio(row: dict[str, Any]) -> tuple[str, str, float, float, float]:
    """The pair turned round so that the ratio is at least one."""
    if row["estimate"] >= 1:
        return row["a"], row["b"], row["estimate"], row["lower"], row["upper"]
    inverse = [
        1 / value if value > 0 else float("inf")
        for value in (row["estimate"], row["upper"], row["lower"])
    ]
    return row["b"], row["a"], inverse[0], inverse[1], inverse[2]


def comparative(outcome: Outcome) -> str:
    """What a larger value of the measure means, as a verb phrase."""
    phrases = {
        "ey_pct": "extracts more",
        "tds_pct": "is stronger",
        "faults": "shows more shots with flow faults",
        "shot_time_s": "runs longer",
        "beverage_g": "gives more beverage",
    }
    return phrases.get(outcome.measure, f"scores higher in {scale_of(outcome).noun}")


def _size_against_margin(outcome: Outcome, lower: float) -> str:
    """Whether a shown difference is as large as matters; ``lower`` is its lower bound, above 0."""
    margin = smallest_difference_words(outcome)
    if lower >= outcome.smallest_difference:
        return f"That is at least the smallest difference that matters ({margin})."
    return f"Whether it reaches the smallest difference that matters ({margin}) is open."


def verdict_words(verdict: str) -> str:
    """The verdict as a short label for a grid."""
    return {DIFFERENT: "different", SAME: "same", CANNOT_TELL: "cannot tell"}[verdict]
