"""The trial file: what it holds, what it refuses, and that comments survive."""

from pathlib import Path

import pytest

from kit.errors import DataError, PlanError
from kit.trial import Method, read_trial, trial_from_toml, trial_to_toml, write_trial

SAMPLES = Path(__file__).parents[2] / "sample_sessions"
NAMES = ["four_naps", "disc_and_soak", "seven_rivers"]


@pytest.mark.parametrize("name", NAMES)
def test_sample_trials_survive_a_round_trip_with_their_comments(name: str) -> None:
    text = (SAMPLES / name / "trial.toml").read_text(encoding="utf-8")
    trial = trial_from_toml(text)
    again = trial_to_toml(trial, text)
    assert trial_from_toml(again) == trial
    assert "# An invented example" in again
    assert trial_from_toml(trial_to_toml(trial)) == trial


def test_writing_replaces_only_what_changed(tmp_path: Path) -> None:
    text = (SAMPLES / "four_naps" / "trial.toml").read_text(encoding="utf-8")
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    trial = read_trial(tmp_path)
    longer = trial.model_copy(update={"layout": trial.layout.model_copy(update={"sessions": 5})})
    write_trial(longer, tmp_path)
    assert read_trial(tmp_path).layout.sessions == 5
    after = (tmp_path / "trial.toml").read_text(encoding="utf-8")
    assert after.startswith("# An invented example")


def _with_notes() -> str:
    text = (SAMPLES / "four_naps" / "trial.toml").read_text(encoding="utf-8")
    return text.replace('name = "Thaw"', 'name = "Thaw"  # the slow one')


def test_a_renamed_method_keeps_its_notes() -> None:
    before = _with_notes()
    trial = trial_from_toml(before)
    methods = list(trial.methods)
    methods[2] = methods[2].model_copy(update={"name": "Slow thaw"})
    renamed = trial.model_copy(update={"methods": tuple(methods)})
    after = trial_to_toml(renamed, before)
    assert 'name = "Slow thaw"  # the slow one' in after
    assert trial_from_toml(after) == renamed


@pytest.mark.parametrize("kept", [(0, 2), (2, 3), (2, 0, 1), (3, 2, 1, 0)])
def test_methods_taken_out_added_and_moved_are_written_as_they_are(kept: tuple[int, ...]) -> None:
    before = _with_notes()
    trial = trial_from_toml(before)
    added = Method(name="New one", recipe="As it comes.")
    methods = (*(trial.methods[place] for place in kept), added)
    changed = trial.model_copy(update={"methods": methods})
    after = trial_to_toml(changed, before)
    assert trial_from_toml(after) == changed
    assert "settings" not in after.split("[[outcomes]]")[0]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "sessions = 3\nblocks",
            "sesions = 3\nblocks",
            ["layout.sesions", "Did you mean “sessions”"],
        ),
        ("dose_g = 17.5", "dose_g = 185", ["recipe.dose_g is 185", "less than or equal to 30"]),
        ('name = "Thaw"', 'name = "Fjord"', ["two methods are called “Fjord”"]),
        ('role = "primary"', 'role = "secondary"', ["exactly one outcome must be primary, 0 are"]),
        ("smallest_difference = 1.5", "smallest_difference = 0.9", ["ratio of two SDs", "entry 2"]),
        ("smallest_difference = 0.5", "smallest_difference = -0.5", ["greater than 0"]),
        ("dose_g = 17.5", "dose_g = 17,5", ["not valid TOML"]),
        ("[recipe]", "[receipe]", ["recipe is missing", "Did you mean “recipe”"]),
    ],
)
def test_mistakes_are_said_in_words(old: str, new: str, words: list[str]) -> None:
    text = (SAMPLES / "four_naps" / "trial.toml").read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(PlanError) as refusal:
        trial_from_toml(text.replace(old, new, 1))
    for word in words:
        assert word in str(refusal.value)


def test_a_missing_or_binary_file_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="is not there"):
        read_trial(tmp_path)
    (tmp_path / "trial.toml").write_bytes(b"\xff\xfe\x00title")
    with pytest.raises(DataError, match="not plain text in UTF-8"):
        read_trial(tmp_path)


def test_tolerance_includes_its_own_limit() -> None:
    trial = read_trial(SAMPLES / "four_naps")
    assert trial.recipe.in_tolerance(17.6, 37.0)
    assert not trial.recipe.in_tolerance(17.5, 37.1)
    assert not trial.recipe.in_tolerance(17.7, 36.0)


@pytest.mark.parametrize(
    ("taster", "is_one"), [("T1", True), ("panel-07", True), ("MK", True), ("Marta", False)]
)
def test_tasters_have_codes_and_no_names(taster: str, is_one: bool, samples: Path) -> None:
    text = (samples / "seven_rivers" / "trial.toml").read_text(encoding="utf-8")
    changed = text.replace('"T1"', f'"{taster}"')
    assert text.count('"T1"') == 1
    if is_one:
        assert taster in trial_from_toml(changed).tasting.tasters
    else:
        with pytest.raises(PlanError, match=f"the taster “{taster}” looks like a name"):
            trial_from_toml(changed)
