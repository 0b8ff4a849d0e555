"""Questions viewers ask, answered from the data of the trial."""

from __future__ import annotations

from kit.findings.needs import shots_in_words
from kit.findings.sentences import outcome_headline, pair_sentence
from kit.findings.wording import listed, scale_of, smallest_difference_words
from kit.report import Question
from kit.results.compute import Results


def viewers_questions(results: Results) -> tuple[Question, ...]:
    """The questions that apply to this trial, each with its answer."""
    asked = [
        Question("Was it randomised?", _randomised(results)),
        Question("Were you blind?", _blind(results)),
        Question("Were the shots enough?", _enough(results)),
        Question("Which one should I use?", _which(results)),
        Question("Could anyone taste it?", _taste(results)),
        Question("What about the combination?", _combination(results)),
        Question("What would change your mind?", _change(results)),
    ]
    return tuple(asked)


def _randomised(results: Results) -> str:
    record = results.record
    if not record.randomised:
        return "No. The order was not drawn by a recorded plan."
    sealed = (
        "Plan and order were sealed before the first shot."
        if record.frozen_before_first_shot
        else "The plan was not sealed before the first shot."
    )
    return (
        "Yes. The order was drawn from a stated set with a recorded seed, so anybody can draw it "
        f"again. {sealed}"
    )


def _blind(results: Results) -> str:
    blinding = results.trial.blinding
    who = ["the measurer"] if blinding.measurer else []
    who += ["the scorer of faults"] if blinding.fault_scorer else []
    who += ["the tasters"] if results.trial.tasting.tasters and blinding.taster else []
    who += ["the analyst"] if results.record.analyst_was_blind else []
    barista = "Whoever prepares the puck always knows the method."
    if results.record.unknown:
        return f"{barista} About the others nothing is recorded."
    if not who:
        return f"{barista} Nobody else was blind either."
    return f"{barista} By the plan, {listed(who)} did not know it."


def _enough(results: Results) -> str:
    primary = results.analysis.primary
    if primary is None:
        return "No: the main question could not be answered at all."
    widths = (primary.differences["upper"] - primary.differences["lower"]) / 2
    scale = scale_of(primary.outcome)
    margin = smallest_difference_words(primary.outcome)
    reached = (
        "no wider than" if widths.max() <= primary.outcome.smallest_difference else "wider than"
    )
    return (
        f"{primary.n} shots gave intervals of ± {widths.max() * scale.factor:.2f}{scale.unit} at "
        f"most, {reached} the smallest difference that matters ({margin}). To show such a "
        f"difference it takes {shots_in_words(results.trial, primary)}."
    )


def _which(results: Results) -> str:
    primary = results.analysis.primary
    if primary is None:
        return "These shots do not say."
    others = [
        outcome_headline(result)
        for result in results.analysis.results
        if result is not primary and result.may_be_best is not None
    ]
    return " ".join([outcome_headline(primary), *others])


def _taste(results: Results) -> str:
    scores = [item for item in results.analysis.results if item.outcome.aspect == "score"]
    told = [outcome_headline(item) for item in scores]
    if results.trial.tasting.discrimination:
        told.insert(0, results.analysis.extra_notes["discrimination"])
    return " ".join(told) or "Nobody tasted in this trial, so nothing is said about taste."


def _combination(results: Results) -> str:
    if not results.trial.factors:
        return (
            "Not asked here: each method was tried as a whole, and no two were put together. What "
            "two of them do together is not the sum of what each does; it takes a trial of its own."
        )
    primary = results.analysis.primary
    rows = [] if primary is None else [row for row in primary.difference_rows() if not row["b"]]
    if primary is None or not rows:
        return "The combination was not tested."
    return " ".join(pair_sentence(primary.outcome, row) for row in rows)


def _change(results: Results) -> str:
    primary = results.analysis.primary
    words = "The same trial in other kitchens (this page's bundle starts one), with another coffee"
    if primary is not None and (primary.differences["verdict"] == "cannot tell").any():
        words += ", and more shots where the answer was “cannot tell”"
    return f"{words}. A difference the other way round in such a repeat would."
