"""What a panel can tell: the answer table's counterpart for taste, by number of tasters.

Shots of the study do not help here: a taste score is uncertain by the tasters and the cups they
get, and a triangle, duo-trio or paired test by the number of its sets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from kit.errors import PlanError
from kit.numerals import say_number
from kit.planning import inputs
from kit.planning.answers import mark_of, plain_sentence
from kit.planning.comparisons import Reliability
from kit.planning.discrimination_power import difference_power, similarity_power
from kit.planning.power import two_sided_power
from kit.planning.taste_layout import attribute_of, taste_contrast
from kit.planning.taste_power import CUP_SD, TASTER_METHOD_SD
from kit.planning.words import label_of
from kit.trial import Outcome, Trial

TASTERS = (4, 6, 8, 10, 12, 16, 20, 30)
SHARE_WHO_TELL = 0.5
"""A difference worth planning for: half of the answers rest on taste, not on guessing (ISO 4120
calls more than 35 % a large share; from memory)."""
SHARE_TOO_FEW = 0.3
"""Similarity: fewer than this share can tell (ISO 4120 calls 25 to 35 % medium; from memory)."""
COLUMNS = (
    "question", "words", "kind", "outcome", "reliability", "tasters", "chance", "mark", "own",
)  # fmt: skip

Answer = Callable[[int], tuple[float, Reliability]]
"""The chance with a number of tasters, and how far it can be trusted."""


@dataclass(frozen=True)
class TasteTable:
    """Chances to answer each taste question, tidy: one row a question and number of tasters."""

    table: pd.DataFrame
    """Columns ``COLUMNS``; ``own`` marks the person's own number of tasters."""
    own_tasters: int
    remarks: tuple[str, ...]
    """What the chances rest on, and what cannot be planned and why."""

    def sentences(self) -> list[str]:
        """What the trial's own panel will and will not tell, a sentence each."""
        own = self.table[self.table["own"]]
        return [
            plain_sentence(str(words), float(chance))
            for words, chance in zip(own["words"], own["chance"], strict=True)
        ]


def taste_sentences(trial: Trial) -> list[str]:
    """What the trial's own panel will and will not tell; nothing where nothing is tasted."""
    table = taste_table(trial, ())
    return table.sentences() if table is not None else []


@dataclass(frozen=True)
class _TasteQuestion:
    key: str
    kind: str
    outcome: str
    words: str
    answer: Answer


def taste_table(trial: Trial, tasters: Sequence[int] = TASTERS) -> TasteTable | None:
    """Chances by number of tasters; None for a trial in which nothing is tasted."""
    own = len(trial.tasting.tasters)
    scores = [outcome for outcome in trial.outcomes if outcome.aspect == "score"]
    if not scores and not trial.tasting.discrimination:
        return None
    asked, remarks = _about_scores(trial, scores)
    asked += _about_telling_apart(trial)
    counts = sorted({*tasters, own} - {0})
    rows = [
        (question.key, question.words, question.kind, question.outcome, trust, n, chance,
         mark_of(chance), n == own)
        for question in asked
        for n in counts
        for chance, trust in [_answered(question, n)]
    ]  # fmt: skip
    if own > trial.tasting.portions_per_shot:
        remarks.insert(
            0,
            f"A shot serves {trial.tasting.portions_per_shot} tasters, and there are {own}: the "
            "cups cannot be poured as planned. Ask fewer, or plan two groups.",
        )
    if own == 0:
        remarks.insert(0, "Nobody tastes yet: say how many tasters there are.")
    return TasteTable(pd.DataFrame(rows, columns=list(COLUMNS)), own, tuple(remarks))


def _answered(question: _TasteQuestion, tasters: int) -> tuple[float, Reliability]:
    try:
        return question.answer(tasters)
    except PlanError:
        return 0.0, "exact"  # the analysis refuses such a panel, for the reason in the remarks


def _about_scores(trial: Trial, scores: list[Outcome]) -> tuple[list[_TasteQuestion], list[str]]:
    asked: list[_TasteQuestion] = []
    why_not: dict[str, list[str]] = {}
    guesses: list[str] = []
    for outcome in scores:
        name, attribute = label_of(outcome.measure), attribute_of(trial, outcome)
        try:
            taste_contrast(trial, outcome, max(2, len(trial.tasting.tasters)))
        except PlanError as error:
            why_not.setdefault(str(error), []).append(name)
        if attribute is None:
            continue
        asked.append(_score_question(trial, outcome))
        scale = (attribute.high - attribute.low) / 8
        guesses.append(
            f"{name} ({attribute.low:g} to {attribute.high:g}): cups of one method are taken to "
            f"vary by {say_number(CUP_SD * scale, 1)} for one taster, and tasters to differ over a "
            f"method by {say_number(TASTER_METHOD_SD * scale, 1)}: a guess without a source."
        )
    reasons = [f"{', '.join(names)}: {reason}" for reason, names in why_not.items()]
    return asked, [*reasons, *guesses]


def _score_question(trial: Trial, outcome: Outcome) -> _TasteQuestion:
    size = outcome.smallest_difference
    inputs.positive(size, "The smallest difference that matters")
    family = (
        "each method against the control"
        if outcome.family == "against control"
        else "any of the pairs, all judged together"
    )
    said = say_number(size, 1 if abs(size * 10 - round(size * 10)) < 1e-9 else 2)
    words = f"{label_of(outcome.measure)}: a difference of {said} in the mean score ({family})"

    def answer(tasters: int) -> tuple[float, Reliability]:
        contrast = taste_contrast(trial, outcome, tasters)
        return float(two_sided_power(size, contrast)), contrast.reliability

    return _TasteQuestion(f"{outcome.name} difference", "taste", outcome.name, words, answer)


def _about_telling_apart(trial: Trial) -> list[_TasteQuestion]:
    """The two readings of the test that is planned: a difference, and similarity."""
    tasting = trial.tasting
    test, sets = tasting.discrimination, tasting.sets_per_taster
    if not test or tasting.pair is None or not sets:
        return []
    name = f"{test} {' against '.join(tasting.pair)}"
    each = "one set each" if sets == 1 else f"{sets} sets each"
    # Several sets by one taster are no independent answers where tasters differ in what they can
    # taste; where all only guess they are.
    trust: Reliability = "exact" if sets == 1 else "rough"

    def told(tasters: int) -> tuple[float, Reliability]:
        return difference_power(test, tasters * sets, SHARE_WHO_TELL), trust

    def alike(tasters: int) -> tuple[float, Reliability]:
        return similarity_power(test, tasters * sets, SHARE_TOO_FEW), "exact"

    head = f"{name[:1].upper()}{name[1:]} ({each})"
    return [
        _TasteQuestion(
            f"{test} difference", "told apart", test,
            f"{head}: told apart, if {100 * SHARE_WHO_TELL:.0f} % of answers rest on taste", told,
        ),
        _TasteQuestion(
            f"{test} similarity", "similar", test,
            f"{head}: shown that fewer than {100 * SHARE_TOO_FEW:.0f} % can tell, if nobody can",
            alike,
        ),
    ]  # fmt: skip
