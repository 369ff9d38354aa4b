"""Files and folders on the command line: what is wrong with one is said before the work."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from synth import pipeline
from synth.cli import main
from synth.commands.places import goals_given
from synth.errors import OutputError

ROOT = Path(__file__).parent.parent
SHED = str(ROOT / "goals" / "potting-shed.yaml")


def run(*words: str) -> Result:
    ran = CliRunner().invoke(main, words)
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    return ran


@pytest.fixture
def never(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is planned."""

    def planned(*given: object, **more: object) -> None:
        raise AssertionError("the work was begun")

    for name in ("plan", "options", "lesson", "read_problem"):
        monkeypatch.setattr(pipeline, name, planned)


@pytest.mark.parametrize(
    "words",
    [("plan", SHED), ("options", SHED), ("lesson", SHED), ("why", "d.json", SHED),
     ("bench", "d.json", SHED), ("page", "d.json", SHED), ("pack", "d.json", SHED),
     ("check", "d.json", SHED)],
    ids=lambda words: words[0],
)  # fmt: skip
@pytest.mark.parametrize("out", ["", "  ", "file", "file/below", "name" * 80])
def test_where_nothing_can_be_written(
    words: tuple[str, ...], out: str, never: None, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    given = str(tmp_path / out) if out.strip() else out
    if words[0] == "page" and out == "file":
        return  # a page may take the place of a file
    ran = run(*words, "--out", given)
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert "--out" in ran.stderr
    assert "choose another folder" in ran.stderr or "the name given is empty" in ran.stderr


@pytest.mark.parametrize("words", [("plan", SHED), ("clash", SHED), ("check", "d.json", SHED)])
def test_a_kit_has_a_name(words: tuple[str, ...], never: None) -> None:
    ran = run(*words, "--kit", "")
    assert ran.exit_code == 2 and "a kit is expected" in ran.stderr


def test_files_are_written_all_or_none(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="'b' is a folder there"):
        pipeline.write_folder(str(tmp_path), {"a": "1", "b": "2", "c": "3"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]
    pipeline.write_folder(str(tmp_path), {"a": "1", "c": b"3"})
    assert (tmp_path / "a").read_text() == "1" and (tmp_path / "c").read_bytes() == b"3"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b", "c"]


def test_a_plan_that_cannot_be_written_is_shown(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def full(folder: str, files: object) -> None:
        raise OutputError(f"cannot write into '{folder}': no room")

    monkeypatch.setattr(pipeline, "write_folder", full)
    ran = run("plan", "--goals", "light always", "--out", str(tmp_path))
    assert ran.exit_code == 2
    assert "Proven cheapest" in ran.stdout and "Written to" not in ran.stdout
    assert "no room" in ran.stderr


@pytest.mark.parametrize(
    ("given", "is_file"),
    [(SHED, True), ("none.yaml", True), ("lamp always", False), ("lamp always, " * 60, False),
     ("lamp\0always", False), ("lamp always\nfan at night.yaml", False)],
)  # fmt: skip
def test_goals_are_a_file_or_words(given: str, is_file: bool) -> None:
    assert goals_given(given) == ((given, None) if is_file else (None, given))
