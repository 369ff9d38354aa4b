"""The exit code says what was found, whether or not anyone reads the output to its end.

What a shell does with `tool | head` is in POSIX (XCU 2.9.2, XSH write(): EPIPE once no reader is
left); that the code counts under `set -o pipefail` is in POSIX.1-2024.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PLAN = ("plan", "--time-limit", "20", "--goals")


def unread(*words: str, messages: bool = False) -> tuple[int, str]:
    """Return code and messages of the tool, nobody reading its output (nor its messages)."""
    reader, writer = os.pipe()
    os.close(reader)
    try:
        ran = subprocess.run(
            [sys.executable, "-c", "from synth.start import main; main()", *words],
            env={**os.environ, "PYTHONPATH": str(ROOT), "SYNTH_CACHE": ""},
            stdout=writer,
            stderr=writer if messages else subprocess.PIPE,
            text=True,
            timeout=60,
        )
    finally:
        os.close(writer)
    return ran.returncode, ran.stderr or ""


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("kit", "full"), 0),
        (("--help",), 0),
        ((*PLAN, "light always", "--format", "json"), 0),
        ((*PLAN, "lamp at night, fan at night, at most 1 unit"), 1),
        (("kit", "nowhere"), 2),
    ],
    ids=lambda given: given if isinstance(given, int) else " ".join(given),
)
def test_the_code_is_what_was_found(words: tuple[str, ...], code: int) -> None:
    assert unread(*words)[0] == code


def test_the_code_where_nobody_reads_the_messages_either() -> None:
    assert unread("kit", "nowhere", messages=True)[0] == 2
    assert unread(*PLAN, "lamp at night", messages=True)[0] == 0


def test_files_are_written_all_the_same_and_a_design_may_fail(tmp_path: Path) -> None:
    assert unread(*PLAN, "heater at night", "--out", str(tmp_path / "plan")) == (0, "")
    design = str(tmp_path / "plan" / "design.json")
    assert unread("check", design, "heater at night") == (0, "")
    assert unread("check", design, "heater by day") == (1, "")


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&- >&- 2>&-"])
@pytest.mark.parametrize(("goals", "code"), [("lamp at night", 0), ("lamp at nihgt", 2)])
def test_streams_may_be_closed_from_the_start(
    closed: str, goals: str, code: int, tmp_path: Path
) -> None:
    """POSIX leaves to the program what it does then (XCU 2.7.6, 'n>&-'); files come out right."""
    out = tmp_path / "plan"
    ran = subprocess.run(
        f'{sys.executable} -c "from synth.start import main; main()" plan --goals "{goals}" '
        f"--out {out} {closed}",
        shell=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "SYNTH_CACHE": ""},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.returncode == code, ran.stderr
    assert "Traceback" not in ran.stderr and "mistake in synth" not in ran.stderr
    if not code:
        assert (out / "design.json").read_text("utf-8").startswith("{")
        assert (out / "wiring.svg").read_text("utf-8").startswith("<")
