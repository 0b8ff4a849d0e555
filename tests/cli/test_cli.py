"""The command line as a person meets it: the whole path, and a clear sentence for every mistake."""

import json
import shutil
from pathlib import Path

import pytest

from kit.cli import main
from kit.schedule import read_freeze


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return code, said.out, said.err


@pytest.fixture(scope="module")
def demos(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo run twice, into two folders of the same name."""
    folders = tuple(tmp_path_factory.mktemp(name) / "four_naps" for name in ("one", "two"))
    for folder in folders:
        assert main(["demo", str(folder)]) == 0
    return folders  # type: ignore[return-value]


def test_demo_twice_gives_the_same_bytes(demos: tuple[Path, Path]) -> None:
    one, two = demos
    files = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(two) for path in two.rglob("*") if path.is_file())
    names = {path.as_posix() for path in files}
    assert {"schedule.csv", "results/findings.json", "results/report.html"} <= names
    assert any(name.startswith("results/tables/ey_pct_mean") for name in names)
    differing = [
        str(path) for path in files if (one / path).read_bytes() != (two / path).read_bytes()
    ]
    assert differing == []


def test_demo_says_verdict_report_and_notebooks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    demos: tuple[Path, Path],
) -> None:  # fmt: skip
    (tmp_path / "four_naps").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("kit.cli.path.publish_trial", lambda *_: _published(demos[0]))
    code, out, err = run(capsys, "demo")
    assert code == 0
    # A folder that is there is never written into: the next free name is taken.
    assert (tmp_path / "four_naps-2" / "trial.toml").exists()
    assert not list((tmp_path / "four_naps").iterdir())
    for step in ("question", "plan", "schedule", "log", "validation"):
        assert step in err
    assert "fairpull open four_naps-2" in out
    assert "report.html" in out
    assert "Extraction: " in out


def _published(folder: Path) -> object:
    from kit.cli.path import Published

    findings = json.loads((folder / "results/findings.json").read_text(encoding="utf-8"))
    return Published(
        findings["headline"], folder / "results/report.html", folder / "four_naps-bundle.zip"
    )


def test_reproduce_says_every_number_matches(
    demos: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "reproduce", demos[0] / "four_naps-bundle.zip")
    assert code == 0
    assert "Every number matches" in out
    seal = read_freeze(demos[0]).short
    assert run(capsys, "verify", demos[0] / "four_naps-bundle.zip", seal)[0] == 0
    assert run(capsys, "verify", demos[0] / "four_naps-bundle.zip", "aaaaa-aaaaa")[0] == 1


def test_json_is_the_same_as_data(
    demos: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "check", demos[0], "--json")
    assert code == 0
    assert json.loads(out) == {"complaints": []}
    code, out, _ = run(capsys, "plan", demos[0], "--json")
    assert code == 0
    assert json.loads(out)["sentences"][0].startswith("With 12 shots")


def test_an_own_trial_from_new_to_seal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "mine"
    assert run(capsys, "new", folder)[0] == 0
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    assert "invented = false" in text
    assert "An invented example" not in text
    code, out, _ = run(capsys, "schedule", folder, "--seed", 7)
    assert code == 0
    first = (folder / "schedule.csv").read_bytes()
    assert run(capsys, "schedule", folder, "--seed", 7)[0] == 0
    assert (folder / "schedule.csv").read_bytes() == first
    code, out, _ = run(capsys, "freeze", folder)
    assert code == 0
    assert "Seal: " in out
    code, _, err = run(capsys, "schedule", folder)
    assert code == 2
    assert "This plan is sealed" in err


def test_a_repeat_starts_from_a_bundle(
    demos: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "repeat"
    bundle = demos[0] / "four_naps-bundle.zip"
    assert run(capsys, "new", folder, "--from", bundle)[0] == 0
    assert run(capsys, "schedule", folder, "--seed", 3)[0] == 0
    assert "Harbour" in (folder / "schedule.csv").read_text(encoding="utf-8")
    assert (folder / "schedule.csv").read_bytes() != (demos[0] / "schedule.csv").read_bytes()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["plan", "nowhere"], "is not there"),
        (["analyse", "nowhere"], "is not there"),
        (["reproduce", "nowhere.zip"], "cannot be read"),
        (["publish"], "arguments are required"),
        (["publish", "x", "--licence", "GPL"], "invalid choice"),
        (["plna"], "invalid choice"),
        (["new", ".", "--like", "five_naps"], "There is no sample session “five_naps”"),
        (["schedule", "nowhere", "--seed", "x"], "invalid int value"),
    ],
)
def test_a_mistake_is_one_sentence_and_exit_2(
    words: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, *words)
    assert code == 2
    assert sentence in err
    assert out == ""
    code, out, err = run(capsys, *words, "--json")
    assert code == 2
    assert sentence in json.loads(out)["error"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (",17.5", ",97.5", ["shots.csv", "dose_g", "97.5"]),
        ("Fjord", "Fiord", ["shots.csv", "method", "Fiord"]),
        (",study,", ",studio,", ["shots.csv", "role", "studio"]),
        ("2026-05-04T08:50", "2026-05-01T08:50", ["pulled_at", "before the plan was frozen"]),
    ],
)
def test_a_wrong_table_is_refused_with_row_and_column(
    old: str, new: str, words: list[str], samples: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    folder = tmp_path / "trial"
    folder.mkdir()
    for name in ("trial.toml", "schedule.csv", "freeze.json"):
        shutil.copy(samples / "four_naps" / name, folder)
    text = (samples / "four_naps" / "shots.csv").read_text(encoding="utf-8")
    assert old in text
    sheet = tmp_path / "shots.csv"
    sheet.write_text(text.replace(old, new, 1), encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    code, _, err = run(capsys, "import", folder, sheet)
    assert code == 2
    assert "row" in err
    for word in words:
        assert word in err
    assert {
        path.name: path.read_bytes() for path in folder.iterdir() if not path.name.endswith(".lock")
    } == before


def test_what_nobody_foresaw_goes_to_a_file(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, samples: Path
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr("kit.cli.before.read_trial", broken)
    code, _, err = run(capsys, "plan", samples / "four_naps")
    assert code == 2
    log = Path(err.split("details are in ")[1].split("; send")[0])
    assert "ZeroDivisionError" in log.read_text(encoding="utf-8")
    log.unlink()
