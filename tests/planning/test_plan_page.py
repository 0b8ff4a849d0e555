"""The page to publish in advance: everything decided is on it, and nothing can break out of it."""

import pytest

from kit.planning.plan_page import plan_page
from kit.schedule import draw_schedule, randomisation_scheme
from kit.shipped import sample_session
from kit.trial import Trial, read_trial
from tests.planning.trials import default_trial


def _page(trial: Trial) -> str:
    schedule = draw_schedule(trial, 1)
    return plan_page(trial, schedule, randomisation_scheme(trial).words(), "Not sealed yet.")


@pytest.mark.parametrize("name", ["four_naps", "disc_and_soak", "seven_rivers"])
def test_page_holds_everything_that_was_decided(name):
    trial = read_trial(sample_session(name))
    page = _page(trial)
    for method in trial.method_names:
        assert f"- {method}" in page
    assert trial.question in page
    assert trial.rules.stopping in page
    assert "a guess without a source" in page
    assert "(planned)**" in page
    assert page.count("\n## ") == 10
    assert "invented example" in page


def test_text_of_a_trial_stays_text():
    values = default_trial().model_dump(mode="json", exclude_none=True)
    values["question"] = "Is <script>alert(1)</script> | [better](http://x) \n# than `this`?"
    page = _page(Trial.model_validate(values))
    assert "<script>" not in page
    assert "- Is &lt;script&gt;alert(1)&lt;/script&gt; \\| \\[better\\](http://x) \\# than" in page
