from datetime import UTC, datetime
from pathlib import Path

from kit.shotlog import clear_draft, read_draft, read_journal, save_draft
from kit.shotlog.drafts import DRAFTS_FILE

AT = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)


def test_the_latest_draft_of_each_form_comes_back_as_typed(tmp_path: Path):
    save_draft(tmp_path, "shot", {"dose_g": "18,"}, AT)
    save_draft(tmp_path, "measure", {"code": "417"}, AT)
    save_draft(tmp_path, "shot", {"dose_g": "18,5"}, AT)
    assert read_draft(tmp_path, "shot") == {"dose_g": "18,5"}
    assert read_draft(tmp_path, "measure") == {"code": "417"}
    assert read_draft(tmp_path, "never opened") == {}


def test_a_draft_is_no_data(tmp_path: Path):
    save_draft(tmp_path, "shot", {"dose_g": "18,5"}, AT)
    assert read_journal(tmp_path).events == ()


def test_a_cleared_draft_is_gone_and_the_others_stay(tmp_path: Path):
    save_draft(tmp_path, "shot", {"dose_g": "18"}, AT)
    save_draft(tmp_path, "measure", {"code": "417"}, AT)
    clear_draft(tmp_path, "shot", AT)
    assert read_draft(tmp_path, "shot") == {}
    assert read_draft(tmp_path, "measure") == {"code": "417"}


def test_a_torn_draft_falls_back_to_the_one_before(tmp_path: Path):
    save_draft(tmp_path, "shot", {"dose_g": "18"}, AT)
    save_draft(tmp_path, "shot", {"dose_g": "18,5"}, AT)
    path = tmp_path / DRAFTS_FILE
    path.write_bytes(path.read_bytes()[:-9])
    assert read_draft(tmp_path, "shot") == {"dose_g": "18"}


def test_the_draft_file_does_not_grow_for_ever(tmp_path: Path):
    save_draft(tmp_path, "measure", {"code": "417"}, AT)
    for number in range(40):
        save_draft(tmp_path, "shot", {"note": f"{number} " + "x" * 3000}, AT)
    clear_draft(tmp_path, "shot", AT)
    assert (tmp_path / DRAFTS_FILE).stat().st_size < 1000
    assert read_draft(tmp_path, "measure") == {"code": "417"}
