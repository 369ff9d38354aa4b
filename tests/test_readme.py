"""The commands in README.md and DEVELOPERS.md run as they stand, and print what the README shows.

`python tests/test_readme.py` writes what the commands print now into README.md.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from synth.cli import main

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
KEPT = ("PYTHONDONTWRITEBYTECODE", "PYTHONPYCACHEPREFIX")
"""Of the environment: where, if at all, what was compiled is kept."""
COMMAND = [sys.executable, "-c", "from synth.cli import main; main(prog_name='synth')"]


def blocks(language: str, file: Path = README) -> list[str]:
    """Return the fenced blocks in `language` of a page."""
    return [text for kind, text in BLOCK.findall(file.read_text("utf-8")) if kind == language]


def synth(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run one `synth` command line of the page in `folder`."""
    words = shlex.split(line)
    assert words[0] == "synth"
    return subprocess.run(
        [*COMMAND, *words[1:]],
        cwd=folder,
        env={
            **{name: os.environ[name] for name in KEPT if name in os.environ},
            **{"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", "PATH": "/usr/bin:/bin"},
        },
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def without_times(text: str) -> str:
    """Return `text` with the figure of each stage on the line that tells the time taken masked,
    and no blanks at line ends. Times in goals and settings stay as they are."""
    lines = [line.rstrip() for line in text.strip().splitlines()]
    for number, line in enumerate(lines):
        if number and lines[number - 1] == "Time taken":
            lines[number] = re.sub(r"\d+\.\d\d s", "# s", line)
    return "\n".join(lines)


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """A folder with what the commands read, in which they may write."""
    shutil.copytree(ROOT / "goals", tmp_path / "goals")
    return tmp_path


class TestReadme:
    def test_outputs_are_real(self, clone: Path) -> None:
        shown = blocks("console")
        assert shown
        for block in shown:
            line, _, output = block.partition("\n")
            done = synth(line.removeprefix("$ "), clone)
            assert (done.returncode, done.stderr) == (0, "")
            assert without_times(output) == without_times(done.stdout), (
                "README.md shows an old output; python tests/test_readme.py writes a new one"
            )

    def test_commands_run(self, clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        lines = [
            line
            for block in blocks("sh")
            for line in block.splitlines()
            if line.startswith("synth ")
        ]
        assert {shlex.split(line)[1] for line in lines} >= {"plan", "check", "kit", "--help"}
        monkeypatch.chdir(clone)
        for line in lines:
            done = CliRunner().invoke(main, shlex.split(line)[1:])
            assert (line, done.exit_code, done.stderr) == (line, 0, "")
            assert done.stdout.strip()
        written = {file.name for file in (clone / "plan").iterdir()}
        assert written == {"design.json", "wiring.svg", "timing.svg"}

    def test_set_up_is_two_commands(self) -> None:
        set_up = [block.strip() for block in blocks("sh") if block.startswith("pip ")]
        assert set_up == [
            "pip install . && synth plan goals/potting-shed.yaml",
            "pip install '.[test]' && pytest -n 2",
        ]

    def test_files_named_are_there(self) -> None:
        for page in (README, ROOT / "DEVELOPERS.md"):
            text = page.read_text("utf-8")
            named = re.findall(r"`((?:docs|goals|tests|synth)/[\w./-]*\w)`", text)
            assert named, page
            missing = [name for name in named if not (ROOT / name).exists()]
            assert missing == [], page

    def test_rooms_are_described(self) -> None:
        text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
        rooms = sorted(
            entry.stem
            for entry in (ROOT / "synth").iterdir()
            if entry.name not in ("__init__.py", "__pycache__")
        )
        assert [name for name in rooms if f"`{name}`" not in text] == []

    def test_every_dependency_is_explained_and_bounded(self) -> None:
        project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
        text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
        for needed in (*project["dependencies"], *project["optional-dependencies"]["test"]):
            bounded = re.fullmatch(r"([\w-]+)>=[\w.]+,<[\w.]+", needed)
            assert bounded, f"{needed} needs a lower and an upper bound"
            assert bounded[1] in text, f"DEVELOPERS.md does not say why {bounded[1]}"

    def test_exit_codes(self, clone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """As the README lists them; that a process ends with them is seen in `test_outlet`."""
        asked = {
            'synth plan --goals "light always"': 0,
            'synth plan --goals "light by day, light at night"': 1,
            "synth plan --goals light": 2,
            "synth plan goals/no-such-file.yaml": 2,
            "synth plan": 2,
            "synth kit --check goals/potting-shed.yaml": 2,
        }
        monkeypatch.chdir(clone)
        for line, code in asked.items():
            done = CliRunner().invoke(main, shlex.split(line)[1:])
            assert (line, done.exit_code) == (line, code)
            assert done.exception is None or isinstance(done.exception, SystemExit)
            assert (done.stderr == "") is (code != 2)


def test_time_alone_is_masked() -> None:
    page = "pump 10.00 s\nTime taken\nsearch 1.25 s, total 2.50 s\n"
    assert without_times(page) == "pump 10.00 s\nTime taken\nsearch # s, total # s"


def rewrite() -> None:
    """Write what the commands print now into README.md."""

    def block(match: re.Match[str]) -> str:
        if match[1] != "console":
            return match[0]
        line = match[2].partition("\n")[0]
        done = synth(line.removeprefix("$ "), ROOT)
        if done.returncode:
            sys.exit(done.stderr)
        output = "\n".join(text.rstrip() for text in done.stdout.strip().splitlines())
        return f"```console\n{line}\n{output}\n```"

    README.write_text(BLOCK.sub(block, README.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    rewrite()
