"""The shared parts of the panels, looked at from the Python side."""

from __future__ import annotations

import html.parser
import threading
from pathlib import Path

import pandas as pd
import pytest
from matplotlib.figure import Figure

from kit.errors import DataError
from kit.figures.picture import Picture
from kit.widgets import frame
from kit.widgets.entry import NumberRule
from kit.widgets.fields import NumberField, StepField
from kit.widgets.guard import LOG_FILE, Guard
from kit.widgets.images import PictureWidget, svg_data_uri
from kit.widgets.panel_model import PanelModel
from kit.widgets.progress import LongWork
from kit.widgets.status import StatusLine
from kit.widgets.stopwatch import Stopwatch
from kit.widgets.tables import html_table

HOSTILE = '<img src=x onerror="alert(1)">&'


class Tags(html.parser.HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


# -- guard -----------------------------------------------------------------------------------------


def test_our_own_refusal_is_said_as_it_stands(tmp_path: Path) -> None:
    status = StatusLine()

    @Guard(status, tmp_path)
    def refuse() -> None:
        raise DataError("Row 3 holds no dose.")

    refuse()
    assert (status.message, status.urgent) == ("Row 3 holds no dose.", True)
    assert not (tmp_path / LOG_FILE).exists()


def test_a_mistake_of_the_program_is_said_and_logged(tmp_path: Path) -> None:
    status = StatusLine()
    fail = Guard(status, tmp_path)(lambda: {}["gone"])
    fail()
    fail()
    assert "Traceback" not in status.message
    assert "diagnostics/errors.log" in status.message
    assert (tmp_path / LOG_FILE).read_text(encoding="utf-8").count("KeyError: 'gone'") == 2


def test_a_log_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / LOG_FILE.parent).write_text("a file where the folder should be", encoding="utf-8")
    status = StatusLine()
    Guard(status, tmp_path)(lambda: 1 / 0)()
    assert "could not be written" in status.message


def test_a_result_passes_through(tmp_path: Path) -> None:
    assert Guard(StatusLine(), tmp_path)(lambda a, b=1: a + b)(2, b=3) == 5


# -- fields ----------------------------------------------------------------------------------------


def test_the_text_is_kept_as_typed_and_judged() -> None:
    heard: list[str] = []
    field = NumberField(NumberRule("Dose", "g", 5, 30), "", heard.append)
    field.box.value = "185"
    assert heard == ["185"]
    assert field.text == "185"
    assert "kit-wrong" in field.widget._dom_classes
    field.box.value = "18,5"
    assert "kit-wrong" not in field.widget._dom_classes


def test_steps_stop_at_the_limits_and_leave_a_wrong_text_alone() -> None:
    field = StepField(NumberRule("Blocks", minimum=1, maximum=3, whole=True), "2", lambda _: None)
    more, less = field._more, field._less
    more.click()
    more.click()
    assert field.text == "3"
    for _ in range(4):
        less.click()
    assert field.text == "1"
    field.put("many")
    more.click()
    assert field.text == "many"
    field.put("")
    more.click()
    assert field.text == "1"


def test_labels_are_escaped() -> None:
    field = NumberField(NumberRule(HOSTILE, HOSTILE), HOSTILE, lambda _: None, hint=HOSTILE)
    for text in (field.box.description, field._message.value):
        assert "img" not in [tag for tag, _ in Tags(text).found]


# -- tables and images -----------------------------------------------------------------------------


def test_table_has_caption_heads_and_escaped_text() -> None:
    table = pd.DataFrame(
        {"method": [HOSTILE, "Fjord"], "shots": [12, 11], "ey_pct": [19.456, None]}
    )
    text = html_table(table, HOSTILE, {"ey_pct": 1})
    tags = Tags(text).found
    assert [tag for tag, _ in tags].count("caption") == 1
    assert [attributes.get("scope") for tag, attributes in tags if tag == "th"] == [
        "col", "col", "col", "row", "row",
    ]  # fmt: skip
    assert "img" not in [tag for tag, _ in tags]
    assert ">12<" in text
    assert ">19.5<" in text
    assert ">–<" in text


def test_a_picture_carries_its_words() -> None:
    figure = Figure(figsize=(2, 1))
    figure.add_subplot().plot([1, 2, 4])
    picture = Picture("line", HOSTILE, lambda _: figure)
    image = PictureWidget()
    image.show(picture)
    ((_, _), (tag, attributes)) = Tags(image.widget.value).found
    assert tag == "img"
    assert attributes["alt"] == HOSTILE
    assert attributes["src"] == svg_data_uri(picture)


# -- long work -------------------------------------------------------------------------------------


@pytest.fixture
def long_work(tmp_path: Path) -> LongWork:
    status = StatusLine()
    return LongWork(status, Guard(status, tmp_path))


def test_work_reports_and_hands_over_its_result(long_work: LongWork) -> None:
    results: list[int] = []

    def work(report) -> int:
        report(1.0)
        assert 'value="1.000"' in long_work._bar.value
        return 42

    long_work.start("Simulating", work, results.append)
    long_work.join()
    assert results == [42]
    assert long_work.widget.layout.display == "none"


def test_work_can_be_stopped(long_work: LongWork) -> None:
    begun, results = threading.Event(), []

    def work(report) -> None:
        while True:
            report(0.1)
            begun.set()

    long_work.start("Simulating", work, results.append)
    assert begun.wait(10)
    assert long_work.running
    long_work._stop_button.click()
    long_work.join()
    assert results == []
    assert long_work._status.message == "Stopped: Simulating"


def test_failing_work_is_said_and_the_bar_goes_away(long_work: LongWork) -> None:
    long_work.start("Simulating", lambda _: 1 / 0, lambda _: None)
    long_work.join()
    assert long_work._status.urgent
    assert long_work.widget.layout.display == "none"


def test_stopwatch_times_not_taken_are_none() -> None:
    watch = Stopwatch()
    assert (watch.first_drip, watch.shot_time) == (None, None)
    watch.started_ms, watch.first_drip_s, watch.shot_time_s = 1.0, 6.5, 28.0
    assert (watch.first_drip, watch.shot_time) == (6.5, 28.0)
    watch.reset()
    assert (watch.started_ms, watch.shot_time) == (0.0, None)


# -- frame -----------------------------------------------------------------------------------------


class Broken(frame.PanelView):
    notebook = "1_plan"

    def body(self):
        raise RuntimeError("no body")

    def update(self) -> None:
        pass


def test_a_panel_that_cannot_be_made_is_said(trial_folder: Path, capsys) -> None:
    frame.present(Broken, PanelModel, trial_folder)
    (panel,) = frame._shown
    status = next(child for child in panel.children if isinstance(child, StatusLine))
    assert "mistake in the program" in status.message
    assert "Traceback" not in capsys.readouterr().out


def test_a_cell_run_again_shows_the_same_panel_so_two_windows_hold_one_form(
    trial_folder: Path, capsys
) -> None:
    from kit.widgets.publish import show

    show(trial_folder)
    (first,) = frame._shown
    show(trial_folder)
    assert frame._shown == [first]
    assert first.comm is not None


def test_another_panel_closes_the_one_before(trial_folder: Path, capsys) -> None:
    from kit.widgets import plan, publish

    publish.show(trial_folder)
    (first,) = frame._shown
    inside = first.children[2].children[0]
    plan.show(trial_folder)
    assert first.comm is None
    assert inside.comm is None
    assert len(frame._shown) == 1


def test_text_of_the_trial_is_escaped(trial_folder: Path, capsys) -> None:
    from kit.widgets.publish.model import PublishModel
    from kit.widgets.publish.view import PublishView

    path = trial_folder / "trial.toml"
    text = path.read_text(encoding="utf-8").replace('"Four naps"', f"'{HOSTILE}'")
    path.write_text(text, encoding="utf-8")
    view = PublishView(PublishModel(trial_folder))
    assert HOSTILE not in view._head.value
    assert "&lt;img" in view._head.value
