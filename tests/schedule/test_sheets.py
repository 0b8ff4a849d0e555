"""Sheets: each shows only what that person may know, and prints with every text escaped."""

import re
from pathlib import Path
from shutil import copy

import pytest

from kit.errors import PlanError
from kit.schedule import draw_schedule, make_schedule
from kit.schedule.card import shot_card
from kit.schedule.printing import all_sheets, sheet_html, write_sheets
from kit.schedule.sheets import (
    blinding_words,
    discrimination_sheet,
    fault_scorer_sheet,
    measurer_sheet,
    operator_sheet,
    taster_sheet,
)
from kit.schedule.tasting import discrimination_sets, tasting_orders
from kit.trial import Trial
from tests.schedule.trials import SAMPLES, sample


@pytest.fixture
def trial() -> Trial:
    return sample("seven_rivers")


def text_of(sheet: object) -> str:
    return sheet_html(sheet)  # type: ignore[arg-type]


def test_blind_sheets_name_no_method_role_or_order(trial: Trial) -> None:
    schedule = draw_schedule(trial, 1)
    orders = tasting_orders(trial, 1)
    sets = discrimination_sets(trial, 1)
    blind = [
        measurer_sheet(trial, schedule),
        fault_scorer_sheet(trial, schedule),
        taster_sheet(trial, orders, "T3"),
        discrimination_sheet(trial, sets, "T3"),
    ]
    for sheet in blind:
        page = text_of(sheet)
        # The word alone: “Glenn” would not count.
        for name in trial.method_names:
            assert not re.search(rf"\b{name}\b", page)
        for word in ("study", "spare", "block", "S1-B1", "Planned"):
            assert word not in page


def test_codes_on_blind_sheets_stand_in_an_order_that_says_nothing(trial: Trial) -> None:
    schedule = draw_schedule(trial, 1)
    for _, table in measurer_sheet(trial, schedule).pages:
        assert table["Cup code"].is_monotonic_increasing
    table = fault_scorer_sheet(trial, schedule).pages[0][1]
    assert table["Cup code"].is_monotonic_increasing
    measured = schedule[schedule["role"].isin(["study", "reference", "spare"])]
    assert set(table["Cup code"]) == set(measured["code"])


def test_a_taster_sees_only_their_own_cups(trial: Trial) -> None:
    orders = tasting_orders(trial, 1)
    sheet = taster_sheet(trial, orders, "T3")
    codes = [code for _, table in sheet.pages for code in table["Cup code"]]
    assert codes == orders.loc[orders["taster"] == "T3", "code"].tolist()
    with pytest.raises(PlanError, match="T1, T2"):
        taster_sheet(trial, orders, "T99")


def test_the_operator_sees_method_setting_and_code_in_run_order() -> None:
    trial = sample("disc_and_soak")
    schedule = draw_schedule(trial, 2)
    sheet = operator_sheet(trial, schedule)
    assert [heading for heading, _ in sheet.pages] == [f"Session S{n}" for n in range(1, 5)]
    shown = sheet.pages[0][1]
    first = schedule[schedule["session"] == "S1"]
    for column, name in [
        ("Method", "method"),
        ("temperature", "temperature"),
        ("Cup code", "code"),
    ]:
        assert shown[column].tolist() == first[name].tolist()


def test_hostile_text_is_escaped_on_paper(trial: Trial) -> None:
    bad = "<script>alert(1)</script>"
    methods = (trial.methods[0].model_copy(update={"name": bad, "recipe": bad}), *trial.methods[1:])
    hostile = trial.model_copy(update={"methods": methods, "title": bad})
    for sheet in all_sheets(hostile, draw_schedule(hostile, 3), 3).values():
        page = sheet_html(sheet, footer=bad)
        assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_pages_are_self_contained_and_made_for_the_paper_named(trial: Trial) -> None:
    sheet = operator_sheet(trial, draw_schedule(trial, 4))
    for paper, size in [("A4", "size: A4 landscape"), ("Letter", "size: letter landscape")]:
        page = sheet_html(sheet, paper)
        assert size in page
        assert not re.search(r"(src|href)=", page)
    with pytest.raises(PlanError, match="A4 or Letter"):
        sheet_html(sheet, "A0")


def test_every_sheet_of_a_folder_is_written(tmp_path: Path) -> None:
    copy(SAMPLES / "seven_rivers" / "trial.toml", tmp_path)
    make_schedule(tmp_path, 5)
    names = {path.stem for path in write_sheets(tmp_path, footer="seal abcde-fghjk")}
    assert names >= {"bench", "recipes", "readings", "faults", "taster_1", "taster_8", "sets_8"}
    assert "abcde-fghjk" in (tmp_path / "sheets" / "bench.html").read_text()


def test_blinding_is_recorded_as_it_is(trial: Trial) -> None:
    said = blinding_words(trial)
    assert said[0].startswith("The operator knew the method of every shot")
    # This trial blinds tasters and analyst, and neither measurer nor scorer.
    assert "The person who read the cups knew, or could know," in said[1]
    assert "The tasters did not know" in " ".join(said)
    assert "tasters" not in " ".join(blinding_words(sample("four_naps"))).lower()


def test_the_card_of_a_shot_names_method_recipe_place_and_what_to_change() -> None:
    trial = sample("disc_and_soak")
    schedule = draw_schedule(trial, 6)
    study = schedule[schedule["role"] == "study"].iloc[0]
    card = shot_card(trial, schedule, int(study["planned_shot"]))
    assert card.method == study["method"]
    assert card.recipe == next(m.recipe for m in trial.methods if m.name == study["method"])
    assert card.code == study["code"]
    assert "pull 4 of 22" in card.place
    assert card.settings == (f"temperature: {study['temperature']}",)
    assert card.changes == ()
    first_of_second_plot = schedule[schedule["whole_plot"] == "S1-W2"].iloc[0]
    changed = shot_card(trial, schedule, int(first_of_second_plot["planned_shot"]))
    setting = first_of_second_plot["temperature"]
    assert changed.changes == (f"Set temperature to {setting} and let the machine settle.",)
    with pytest.raises(PlanError, match="no planned shot 999"):
        shot_card(trial, schedule, 999)
