"""What the report of a sample trial says: methods, plan, sources and questions."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from kit.report import ReportContent
from kit.results import Results
from kit.results.page import report_content
from kit.results.sources import CITED, works_cited
from kit.results.viewers import viewers_questions

ITEMS_OF_CONSORT_2010 = [
    "1", "2", "3a", "3b", "4a", "4b", "5", "6a", "6b", "7a", "7b", "8a", "8b", "9", "10", "11a",
    "11b", "12a", "12b", "13a", "13b", "14a", "14b", "15", "16", "17a", "17b", "18", "19", "20",
    "21", "22", "23", "24", "25",
]  # fmt: skip
"""Schulz, Altman, Moher (2010), BMJ 340:c332, the checklist; 1a and 1b are answered as one here."""
NOT_APPLICABLE = {"11b", "14b"}
"""Similarity of interventions to the blinded, and an early end: asked only where they apply."""


@pytest.fixture(scope="module")
def content(four_naps_results: Results, samples: Path) -> ReportContent:
    return report_content(four_naps_results, [], samples / "four_naps")


def test_every_method_is_told_so_that_it_can_be_repeated(
    content: ReportContent, four_naps_results: Results
) -> None:
    rows = dict(content.compared.rows)
    assert rows["Harbour (control)"].startswith("Weighed into a jar with its lid on")
    assert len(rows) == len(four_naps_results.trial.methods)


def test_the_plan_stands_beside_what_was_done(content: ReportContent) -> None:
    rows = {item: (planned, done) for item, planned, done in content.plan.rows}
    assert rows["Coffee"][0] == "Brannock Lot 3, roasted 2026-05-02"
    assert rows["Primary outcome"] == (
        "Extraction (mean); smallest difference that matters: 0.5 points",
        "judged on 47 shots",
    )
    assert rows["Sessions"] == ("3", "3, from 2026-05-04 to 2026-05-06")
    assert rows["Noise assumed"][0].startswith("shot-to-shot SD 0.45 (a guess")
    assert [row[0] for row in content.deviations.rows] == ["31", "39"]


def test_each_item_of_the_checklist_is_answered(content: ReportContent) -> None:
    items = [item for item, _, _ in content.consort.rows]
    assert items == [item for item in ITEMS_OF_CONSORT_2010 if item not in NOT_APPLICABLE]
    assert all(where for _, _, where in content.consort.rows)


def test_every_work_named_in_the_methods_is_among_the_sources(content: ReportContent) -> None:
    text = " ".join(content.methods)
    for name in re.findall(r"([A-Z][a-z]+)(?: and [A-Z][a-z]+)?(?:'s)?,? \(?(?:19|20)\d\d\b", text):
        assert any(name in work for work in content.sources), name
    assert not any(work.startswith("Dunnett") for work in content.sources)


def test_a_source_is_listed_once_and_only_where_it_is_cited() -> None:
    assert len(works_cited(["Holm (1979)", "by Holm"])) == len(works_cited(["Holm"]))
    assert set(works_cited([" ".join(CITED)])) >= set(CITED.values())
    assert not set(works_cited(["Holmes"])) & {CITED["Holm"]}


def test_viewers_are_answered_from_the_data(four_naps_results: Results) -> None:
    answers = {one.question: one.answer for one in viewers_questions(four_naps_results)}
    assert list(answers) == [
        "Was it randomised?",
        "Were you blind?",
        "Were the shots enough?",
        "Which one should I use?",
        "Could anyone taste it?",
        "What about the combination?",
        "What would change your mind?",
    ]
    assert answers["Was it randomised?"].startswith("Yes.")
    assert answers["What about the combination?"].startswith("Not asked here")
    assert answers["Were the shots enough?"].count("80 % chance") == 1
    record = replace(four_naps_results.record, randomised=False, unknown=("who was blind",))
    unplanned = replace(four_naps_results, record=record)
    answers = {one.question: one.answer for one in viewers_questions(unplanned)}
    assert answers["Was it randomised?"].startswith("No.")
    assert answers["Were you blind?"].endswith("nothing is recorded.")
