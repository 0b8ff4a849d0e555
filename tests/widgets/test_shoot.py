"""The bench without a browser: what it refuses, what becomes of accidents, what it never shows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from kit.analysis.taste import discrimination_results
from kit.errors import DataError, PlanError
from kit.results.gate import PEEK_REFUSED
from kit.schedule import discrimination_sets, freeze_trial, read_schedule, tasting_orders
from kit.shotlog import (
    log_readings,
    log_shot,
    read_draft,
    read_journal,
    read_log,
    read_shots,
    schedule_of,
    tastings_table,
)
from kit.trial import Attribute, Tasting, read_trial, write_trial
from kit.widgets.shoot import page, words
from kit.widgets.shoot.bringing import BringModel
from kit.widgets.shoot.broken import BrokenBench
from kit.widgets.shoot.by_code import MeasureModel, ScoreModel
from kit.widgets.shoot.drift import drift_picture
from kit.widgets.shoot.form import accidents
from kit.widgets.shoot.measuring_check import CheckModel
from kit.widgets.shoot.model import ShootModel
from kit.widgets.shoot.taste import TasteModel
from tests.shotlog.bench import small_trial
from tests.shotlog.memory import folder_in_memory

NOON = datetime(2026, 5, 2, 12, tzinfo=UTC)
GOOD = {"dose_g": "17,5", "beverage_g": "36", "tds_pct": "9,4"}


class Clock:
    """A clock that goes on five minutes with every look at it."""

    def __init__(self) -> None:
        self.time = NOON

    def __call__(self) -> datetime:
        self.time += timedelta(minutes=5)
        return self.time


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    with folder_in_memory() as folder:
        yield folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    small_trial(tmp_path)
    freeze_trial(tmp_path, NOON - timedelta(hours=1), 11)
    return tmp_path


@pytest.fixture
def bench(folder: Path) -> ShootModel:
    model = ShootModel(folder, Clock())
    model.write_operator("AB")
    model.start_session()
    return model


def fill(model: ShootModel, **texts: str) -> None:
    for name, text in {**GOOD, **texts}.items():
        model.type_in(name, text)


def pull(model: ShootModel, **texts: str) -> str:
    fill(model, **texts)
    said = model.save()
    model.settle()
    return said


def pull_until_study(model: ShootModel) -> None:
    while model.next_pull is not None and model.next_pull.role != "study":
        pull(model)


def test_nothing_is_logged_before_the_session_is_started_by_somebody(folder: Path):
    model = ShootModel(folder, Clock())
    fill(model)
    with pytest.raises(DataError, match="Start the session first"):
        model.save()
    with pytest.raises(DataError, match="Enter your code first"):
        model.start_session()


def test_without_a_seal_what_is_missing_is_said(folder: Path):
    (folder / "freeze.json").unlink()
    model = ShootModel(folder, Clock())
    assert model.unmet() == ["Plan and schedule are not sealed yet. Seal them in 1_plan."]
    assert not model.can_log


def test_a_shot_is_on_disk_when_it_is_acknowledged(bench: ShootModel):
    assert pull(bench, note="clean") == "Shot 1 is saved."
    (shot,) = read_log(bench.folder).shots
    assert (shot.entered["dose_g"], shot.entered["note"], shot.by) == (17.5, "clean", "AB")
    assert bench.form.is_empty
    assert (bench.folder / "shots.csv").exists()


@pytest.mark.parametrize(
    ("texts", "sentence"),
    [
        ({"dose_g": "185"}, "Dose: 185.00 g cannot be right here. Between 5.00 g and 30.00 g."),
        ({"dose_g": "1.850,0"}, "more than one way"),
        ({"beverage_g": "soon"}, "Beverage: “soon” is not a number."),
    ],
)
def test_what_cannot_be_right_is_not_saved(bench: ShootModel, texts, sentence: str):
    fill(bench, **texts)
    with pytest.raises(DataError) as caught:
        bench.save()
    assert sentence in str(caught.value)
    assert read_log(bench.folder).shots == ()


def test_a_study_shot_without_its_beverage_needs_a_reason(bench: ShootModel):
    pull_until_study(bench)
    done = len(bench.log.shots)
    fill(bench, beverage_g="")
    with pytest.raises(DataError, match=r"Beverage is empty\. Enter it, or choose what went wrong"):
        bench.save()
    bench.type_in("reason", "spill")
    assert bench.save() == f"Shot {done + 1} is saved. Lost: spill."


def test_a_mass_far_off_is_asked_about_once(bench: ShootModel):
    fill(bench, beverage_g="63")
    with pytest.raises(DataError, match="far from 36 g"):
        bench.save()
    fill(bench, beverage_g="62")
    with pytest.raises(DataError, match="far from 36 g"):
        bench.save()
    assert "is saved" in bench.save()


def test_out_of_tolerance_the_declared_rule_is_applied_and_said_before_saving(bench: ShootModel):
    pull_until_study(bench)
    waiting = bench.next_pull
    fill(bench, beverage_g="38,4")
    assert bench.form.masses_words(bench.trial) == [
        "Dose 17.5 g: within 17.5 ± 0.1 g.",
        "Beverage 38.4 g: 2.4 g over 36 g, out of tolerance (± 1 g).",
    ]
    verdict = bench.tolerance_verdict()
    assert f"replaced at the end of block {waiting.block} by the spare" in verdict
    assert bench.save().endswith("Lost: beverage out of tolerance.")
    spare = next(each for each in bench.order.to_come if each.replaces is not None)
    assert f"planned shot {spare.planned_shot}" in verdict
    assert (spare.method, spare.block) == (waiting.method, waiting.block)


def test_shot_time_and_tds_never_lose_a_shot(bench: ShootModel):
    pull_until_study(bench)
    pull(bench, shot_time_s="170", tds_pct="6", faults="4")
    assert not read_log(bench.folder).shots[-1].is_lost


def test_without_a_spare_the_shot_is_lost_and_this_is_said(bench: ShootModel):
    pull_until_study(bench)
    assert "No spare" not in pull(bench, reason="spill")
    fill(bench, reason="spill")
    assert "this shot is lost. No spare is left" in bench.tolerance_verdict()
    said = bench.save()
    assert "Lost: spill. No spare is left to replace it; “Something broke” below can plan" in said


def test_every_keystroke_survives_a_restart(bench: ShootModel):
    fill(bench, note="half a se")
    bench.type_in("beverage_g", "36,")
    again = ShootModel(bench.folder, Clock())
    assert again.form == bench.form
    assert again.entries["beverage_g"] == "36,"
    assert again.session_state == "running"
    assert again.operator == "AB"


def test_a_save_tried_twice_is_one_shot(bench: ShootModel):
    """The form keeps the id of its event, so that the second attempt is known for what it is."""
    fill(bench)
    draft = read_draft(bench.folder, "shot")
    pull_no = bench.next_pull.planned_shot
    log_shot(bench.folder, {"planned_shot": pull_no, "dose_g": 17.5}, NOON, "AB", draft["event_id"])
    with pytest.raises(DataError, match="Another window has logged this shot"):
        bench.save()
    assert len(read_log(bench.folder).shots) == 1


def test_two_windows_never_log_the_same_pull(bench: ShootModel):
    other = ShootModel(bench.folder, Clock())
    fill(bench)
    pull(other)
    with pytest.raises(DataError, match="Another window has logged this shot"):
        bench.save()
    assert bench.form.is_empty
    pull(bench)
    planned = [shot.planned_shot for shot in read_log(bench.folder).shots]
    assert len(planned) == len(set(planned)) == 2


def test_a_correction_needs_a_reason_and_keeps_what_was_entered_first(bench: ShootModel):
    pull(bench, note="first")
    bench.begin_correction(1)
    bench.type_in("dose_g", "17,4")
    with pytest.raises(DataError, match="Say why it is corrected"):
        bench.save()
    bench.type_in("why", "misread")
    bench.save()
    bench.settle()
    assert read_shots(bench.folder)["dose_g"].tolist() == [17.4]
    assert [event.kind for event in read_journal(bench.folder).events][-1] == "correction"
    assert bench.correcting is None


def test_a_half_filled_correction_survives_a_restart_until_it_is_saved_or_left(bench: ShootModel):
    pull(bench)
    bench.type_in("note", "of the next shot")
    bench.begin_correction(1)
    bench.type_in("dose_g", "17,")
    again = ShootModel(bench.folder, Clock())
    assert again.correcting == bench.correcting
    assert again.entries["dose_g"] == "17,"
    again.leave_correction()
    assert again.entries["note"] == "of the next shot"
    assert ShootModel(bench.folder, Clock()).correcting is None
    again.begin_correction(1)
    again.type_in("dose_g", "17,4")
    again.type_in("why", "misread")
    again.save()
    assert ShootModel(bench.folder, Clock()).correcting is None


def test_a_correction_may_bring_a_shot_back_into_tolerance(bench: ShootModel):
    pull_until_study(bench)
    pull(bench, beverage_g="38,4")
    number = len(bench.log.shots)
    bench.begin_correction(number)
    bench.type_in("beverage_g", "36,4")
    bench.type_in("why", "typed 8 for 6")
    bench.save()
    assert read_shots(bench.folder).iloc[-1]["status"] == "kept"
    assert all(each.replaces is None for each in bench.order.to_come)


def test_taking_back_puts_the_values_into_the_form_again(bench: ShootModel):
    pull(bench, note="oops")
    bench.take_back("")
    assert bench.log.shots == ()
    assert bench.entries["note"] == "oops"
    assert bench.entries["tds_pct"] == "9.4"
    pull(bench)
    assert len(read_journal(bench.folder).events) == 4  # start, shot, withdrawal, shot


def test_pause_resume_skip_and_end(bench: ShootModel):
    assert "paused" in bench.pause("lunch")
    assert bench.session_state == "paused"
    assert not bench.can_log
    assert "is running" in bench.start_session()
    first = bench.next_pull
    with pytest.raises(DataError, match="Say why this pull is skipped"):
        bench.skip(" ")
    bench.skip("machine cold")
    assert bench.next_pull != first
    with pytest.raises(DataError, match=r"still to come\. Say why it ends here"):
        bench.end_session("")
    bench.end_session("no coffee left")
    assert bench.next_pull.session != first.session
    assert bench.session_state == "not started"


def test_asking_for_a_comparison_is_refused_and_noted(bench: ShootModel):
    assert bench.ask_for_comparison() == PEEK_REFUSED
    (peek,) = read_log(bench.folder).peeks
    assert peek.data == {"asked_for": "comparison of methods", "shots_done": 0}


def test_what_broke_needs_a_reason_and_a_shot(bench: ShootModel):
    broken = BrokenBench(bench)
    with pytest.raises(PlanError, match="Say why"):
        broken.empty_bag(" ")
    with pytest.raises(DataError, match="No shot is logged"):
        broken.end_early("power cut", 1)
    assert not (bench.folder / "amended_schedule.csv").exists()
    assert bench.session_state == "running"


def test_a_session_that_ends_early_moves_its_blocks_and_another_window_follows(
    bench: ShootModel,
):
    other = ShootModel(bench.folder, Clock())
    pull_until_study(bench)
    pull(bench)
    sealed = (bench.folder / "schedule.csv").read_bytes()
    studies = len([each for each in bench.order.to_come if each.role == "study"])
    said = BrokenBench(bench).end_early("grinder jammed", 1)
    assert any("to an extra session" in line for line in said.changes)
    assert any("tudy shot" in line for line in said.cost)
    assert bench.next_pull.session == "S2"
    left = [each for each in bench.order.to_come if each.role == "study"]
    assert len(left) == studies  # the block begun goes on as a block of its own
    assert (bench.folder / "schedule.csv").read_bytes() == sealed
    assert other.catch_up()
    assert other.next_pull == bench.next_pull
    bench.start_session()
    pull(bench)
    assert words.ribbon_of(bench)


def test_a_new_bag_leaves_the_order_and_the_half_filled_form_alone(bench: ShootModel):
    pull_until_study(bench)
    pull(bench)
    fill(bench, dose_g="17,4")
    waiting = bench.next_pull
    BrokenBench(bench).empty_bag("bag torn")
    assert bench.next_pull.planned_shot == waiting.planned_shot
    assert bench.next_pull.bag != waiting.bag
    assert bench.entries["dose_g"] == "17,4"


def test_shots_lost_without_a_spare_are_pulled_again_once(bench: ShootModel):
    pull_until_study(bench)
    pull(bench, reason="spill")
    while bench.next_pull.replaces is None:
        pull(bench)
    pull(bench, reason="spill")  # the only spare is lost too
    broken = BrokenBench(bench)
    before = len(bench.order.to_come)
    broken.lost("two spills")
    assert len(bench.order.to_come) > before
    with pytest.raises(PlanError, match="not yet made up for"):
        broken.lost("once more")


def test_nothing_read_on_the_bench_tells_outcomes_apart(bench: ShootModel):
    """The same run with other readings gives the same card, ribbon, totals and list of shots."""
    pull_until_study(bench)
    pull(bench, tds_pct="7,0", faults="3", shot_time_s="20")
    before = (
        page.card_html(words.card_of(bench)),
        page.ribbon_html(words.ribbon_of(bench)),
        [words.entered_words(shot, 1) for shot in bench.log.shots],
    )
    bench.take_back("")
    bench.clock.time -= timedelta(minutes=5 * 12)
    fill(bench, tds_pct="11,0", faults="0", shot_time_s="40")
    bench.save()
    after = (
        page.card_html(words.card_of(bench)),
        page.ribbon_html(words.ribbon_of(bench)),
        [words.entered_words(shot, 1) for shot in bench.log.shots],
    )
    assert before[:2] == after[:2]
    assert [text.split(", ")[2:] for text in before[2]] == [
        text.split(", ")[2:] for text in after[2]
    ]


def test_the_ribbon_shows_every_pull_once_and_where_it_stands(bench: ShootModel):
    pull_until_study(bench)
    pull(bench, reason="spill")
    tiles = [tile for row in words.ribbon_of(bench).values() for tile in row]
    assert len(tiles) == len(bench.schedule)
    assert sum(tile.state == "next" for tile in tiles) == 1
    assert sum(tile.state == "lost" for tile in tiles) == 1
    assert sum(tile.state == "spare" for tile in tiles) == 1  # the other waits in its block


def test_a_tolerance_is_weighed_and_never_chosen(bench: ShootModel):
    """Choosing it by hand would be a way to have a shot of good mass replaced."""
    assert accidents(bench.trial) == ["spill", "power or machine failure"]


def test_totals_count_purges_and_leave_pauses_out(bench: ShootModel):
    pull(bench, dose_before_g="17,7")
    totals = words.totals_of(bench)
    assert totals["Coffee used in all"] == "20 g"  # 17.7 g + 2.5 g of purge
    assert totals["Pulls of this session"].startswith("1 done")


def test_text_of_the_trial_is_escaped(bench: ShootModel):
    hostile = words.Card("<script>", "<b>", "<i>", "<img>", "<u>", "<a>")
    assert "<script>" not in page.card_html(hostile)
    assert "&lt;script&gt;" in page.card_html(hostile)


def test_the_drift_chart_holds_reference_shots_only(folder: Path):
    small_trial(folder / "more", sessions=1, reference_shots_per_session=3)
    freeze_trial(folder / "more", NOON - timedelta(hours=1), 11)
    bench = ShootModel(folder / "more", Clock())
    bench.write_operator("AB")
    bench.start_session()
    assert drift_picture(bench) is None
    for number in range(len(bench.order.to_come)):
        pull(bench, tds_pct=f"9,{40 + number}")
    assert drift_picture(bench).alt.startswith("Extraction yield of 3 reference shots")


def test_readings_by_code_need_a_cup_that_was_pulled(bench: ShootModel):
    pull_until_study(bench)
    pull(bench, tds_pct="")
    code = read_shots(bench.folder).iloc[-1]["code"]
    desk = MeasureModel(bench.folder, Clock())
    assert desk.waiting() == [code]
    desk.type_in("code", "000")
    with pytest.raises(DataError, match="Enter your code first"):
        desk.save()
    desk.write_who("M1")
    with pytest.raises(DataError, match="No cup with the code “000”"):
        desk.save()
    for name, text in {"code": code, "tds_pct": "9,4", "tds_2": "9,6"}.items():
        desk.type_in(name, text)
    assert "0.20 % TDS apart" in desk.spread()
    again = MeasureModel(bench.folder, Clock())  # as after a crash
    assert (again.who, again.texts) == ("M1", desk.texts)
    assert desk.save() == f"Cup {code} is saved. 0 cups are waiting."
    assert read_shots(bench.folder).iloc[-1]["tds_pct"] == pytest.approx(9.5)


def test_each_scorer_has_an_order_of_their_own_and_two_are_compared(bench: ShootModel):
    while len(bench.log.shots) < 7:
        pull(bench)
    first, second = ScoreModel(bench.folder, Clock()), ScoreModel(bench.folder, Clock())
    first.write_who("S1")
    second.write_who("S2")
    assert sorted(first.waiting()) == sorted(second.waiting())
    assert first.waiting() != second.waiting()
    again = ScoreModel(bench.folder, Clock())
    again.write_who("S1")
    assert again.waiting() == first.waiting()
    assert "second scorer should see" in first.agreement()
    for desk in (first, second):
        while desk.catch_up() or desk.waiting():
            desk.type_in("faults", "1" if desk.waiting()[0] < "500" else "0")
            desk.save()
    first.catch_up()
    assert "gave the same count to" in first.agreement()
    with pytest.raises(DataError, match="scored every cup"):
        first.save()


def panel_trial(folder: Path, test: str) -> Path:
    """Two tasters, five cups of four methods (one is a hidden duplicate), two sets each."""
    trial, _ = small_trial(folder)
    liking = Attribute(name="liking", low=1, high=9)
    tasting = Tasting(
        tasters=("T1", "T2"), attributes=(liking,), cups_per_sitting=5, discrimination=test,
        pair=trial.method_names[:2], sets_per_taster=2,
    )  # fmt: skip
    write_trial(trial.model_copy(update={"tasting": tasting}), folder)
    freeze_trial(folder, NOON - timedelta(hours=1), 11)
    return folder


def test_a_taster_follows_the_drawn_order_and_sees_codes_only(tmp_path: Path):
    folder = panel_trial(tmp_path, "triangle")
    trial = read_trial(folder)
    drawn = tasting_orders(trial, 11, read_schedule(folder)["code"].tolist())
    desk = TasteModel(folder, Clock())
    desk.write_who("T3")
    with pytest.raises(DataError, match="“T3” is no taster of this trial; there are T1, T2"):
        desk.save()
    desk.write_who("T1")
    desk.type_in("liking", "12")
    with pytest.raises(DataError, match="cannot be right"):
        desk.save()
    own = drawn[drawn["taster"] == "T1"]
    assert own["duplicate"].eq("yes").sum() == 1
    for row in own.itertuples():
        assert (desk.cup.code, desk.cup.place, desk.cup.cups) == (row.code, row.cup_position, 5)
        desk.type_in("liking", "7")
        said = desk.save()
        assert row.code in said
        assert not any(name in said for name in trial.method_names)
    logged = tastings_table(read_log(folder), schedule_of(folder))
    assert logged["method"].tolist() == own["method"].tolist()
    # Five minutes lie between two looks at the clock: all five cups are of one sitting.
    assert desk.load().cups_sitting == 5
    bench = ShootModel(folder, desk.clock)
    assert words.tasters_of(bench) == {"T1": "5 cups, 117 mg"}  # 23.3 mg a sip
    assert words.caffeine_words(bench) == [
        "Caffeine as if every sip had been swallowed. The plan is to spit. Limits: 200 mg in a "
        "sitting and 400 mg in a day (EFSA 2015)."
    ]
    other = TasteModel(folder, Clock())
    other.write_who("T2")
    assert other.cup.code == drawn[drawn["taster"] == "T2"]["code"].iloc[0]


@pytest.mark.parametrize("test", ["triangle", "duo-trio", "paired"])
def test_sets_are_answered_by_code_and_the_answer_never_says_right_or_wrong(
    tmp_path: Path, test: str
):
    folder = panel_trial(tmp_path, test)
    trial = read_trial(folder)
    taken = read_schedule(folder)["code"].tolist()
    sets = discrimination_sets(trial, 11, [*taken, *tasting_orders(trial, 11, taken)["code"]])
    desk = TasteModel(folder, Clock())
    desk.write_who("T2")
    while desk.cup is not None:
        desk.type_in("liking", "5")
        desk.save()
    wanted, said = [1.0, 0.0], []
    for number, right in enumerate(wanted, start=1):
        cups = sets[(sets["taster"] == "T2") & (sets["set"] == number) & (sets["code"] != "")]
        # By the definition of each test, from the methods themselves.
        first = trial.tasting.pair[0]
        kinds = cups["method"].value_counts()
        reference = sets[(sets["taster"] == "T2") & (sets["set"] == number)]["method"].iloc[0]
        wants = {
            "triangle": kinds.idxmin(), "duo-trio": reference, "paired": first,
        }[test]  # fmt: skip
        assert sorted(desk.set.choices) == sorted(cups["code"])
        with pytest.raises(DataError, match="Choose one of the cups"):
            desk.save()
        named = cups[(cups["method"] == wants) == (right == 1)]["code"].iloc[0]
        desk.type_in("code", named)
        said.append(desk.save())
    assert said == ["Set 1 of 2 is saved.", "Set 2 of 2 is saved."]
    assert desk.set is None
    with pytest.raises(DataError, match="every cup that was planned"):
        desk.save()
    logged = tastings_table(read_log(folder), schedule_of(folder))
    name = f"{test} {'/'.join(trial.tasting.pair)}"
    assert logged.loc[logged["attribute"] == name, "score"].tolist() == wanted
    assert discrimination_results(logged)[name].correct == 1


def test_without_a_planned_panel_a_cup_is_scored_once_by_its_code(tmp_path: Path):
    trial, _ = small_trial(tmp_path)
    liking = Attribute(name="liking", low=1, high=9)
    tasting = Tasting(attributes=(liking,))
    write_trial(trial.model_copy(update={"tasting": tasting}), tmp_path)
    freeze_trial(tmp_path, NOON - timedelta(hours=1), 11)
    bench = ShootModel(tmp_path, Clock())
    bench.write_operator("AB")
    bench.start_session()
    pull_until_study(bench)
    pull(bench)
    code = read_shots(tmp_path).iloc[-1]["code"]
    desk = TasteModel(tmp_path, Clock())
    desk.write_who("T1")
    desk.type_in("code", code)
    desk.type_in("liking", "7")
    assert "cup 1 of this sitting" in desk.save()
    desk.type_in("code", code)
    desk.type_in("liking", "7")
    with pytest.raises(DataError, match="in this sitting already"):
        desk.save()


def test_a_brought_workbook_is_shown_changed_and_taken_in(tmp_path: Path):
    small_trial(tmp_path)
    (tmp_path / "schedule.csv").unlink()
    book = openpyxl.Workbook()
    for row in (["Method", "Dose", "Yield", "TDS"], ["Fjord", 17.5, 36, 9.4]):
        book.active.append(row)
    book.save(tmp_path / "mine.xlsx")
    desk = BringModel(tmp_path, Clock())
    assert desk.files() == ["mine.xlsx"]
    desk.choose("mine.xlsx")
    assert desk.understood()["Read as"].tolist() == [
        "Method",
        "Dose (g)",
        "not read: could mean two things; write its unit into the heading",
        "TDS (%)",
    ]
    assert desk.target_of(("Sheet", "B")) == "dose_g"
    assert desk.complaints
    assert desk.outlook.startswith("2 things stand against it")
    with pytest.raises(DataError, match="row 2, column beverage_g: Beverage is missing"):
        desk.check()
    assert not (tmp_path / "shots.jsonl").exists()
    with pytest.raises(DataError, match=r"Nothing was taken in\. 2 things stand against it"):
        desk.take_in()
    assert not (tmp_path / "shots.jsonl").exists()
    assert desk.change(("Sheet", "C"), "beverage_g") == "Column C is now read as Beverage (g)."
    assert desk.complaints == []
    assert desk.outlook.startswith("1 shot would be taken in.")
    assert "not drawn at random" in desk.outlook
    said = desk.take_in()
    assert said.startswith("1 shot taken in from mine.xlsx.")
    assert read_shots(tmp_path)["beverage_g"].tolist() == [36.0]


def test_an_uploaded_file_stays_in_the_folder_whatever_its_name(tmp_path: Path):
    small_trial(tmp_path)
    desk = BringModel(tmp_path, Clock())
    content = b"planned shot,dose,out,tds\n1,17.5,36,9.4\n"
    desk.keep("..\\..\\../mine.csv", content)
    assert (tmp_path / "brought/mine.csv").read_bytes() == content
    assert "1 shot taken in" in desk.take_in()
    with pytest.raises(DataError, match="no name for a file"):
        desk.keep("../.bashrc", content)


def test_the_check_of_the_measuring_says_what_it_rests_on(bench: ShootModel):
    desk = CheckModel(bench.folder)
    assert desk.check().sentences[0].startswith("No cup was read twice yet")
    pull_until_study(bench)
    pull(bench)
    code = read_shots(bench.folder).iloc[-1]["code"]
    log_readings(bench.folder, code, [9.4, 9.42, 9.38, 9.41, 9.39], NOON, "M1")
    desk.catch_up()
    found = desk.check()
    assert "SD of 0.016 % TDS" in found.sentences[0]  # SD of five readings 0.01 apart: 0.0158
    assert found.improvements["change"].iloc[0] == "as it is"
    desk.type_in("dose_step_g", "")
    with pytest.raises(DataError, match="Step of the dose scale is empty"):
        desk.check()
