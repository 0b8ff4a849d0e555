"""One module an aspect: how an outcome becomes an ``OutcomeResult``.

To add an aspect (a new kind of outcome), write a module with a function
``(trial, outcome, study, tastings) -> OutcomeResult`` and name it in ``ASPECTS``.
"""

from kit.analysis.outcomes.means import mean_outcome
from kit.analysis.outcomes.rates import rate_outcome
from kit.analysis.outcomes.scores import score_outcome
from kit.analysis.outcomes.spread import spread_outcome

ASPECTS = {
    "mean": mean_outcome,
    "spread": spread_outcome,
    "rate": rate_outcome,
    "score": score_outcome,
}

__all__ = ["ASPECTS", "mean_outcome", "rate_outcome", "score_outcome", "spread_outcome"]
