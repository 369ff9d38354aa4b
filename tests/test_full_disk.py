"""A result that cannot be written is no mistake of the tool: one message, code 2.

`/dev/full` is a device of Linux (its manual page full(4)): whoever writes to it is told that the
disk is full.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="needs the device /dev/full")


def run(*words: str, out: Path | None, told: Path | None = None, limit: int = 0) -> tuple[int, str]:
    """Return code and messages of the tool when it writes to `out`, and messages to `told`; no
    file that it writes may get larger than `limit` bytes, unless that is 0."""
    begin = (
        f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))\n"
        if limit
        else ""
    )
    with open(out or os.devnull, "w") as stream, open(told or os.devnull, "w") as other:
        ran = subprocess.run(
            # No compiled modules: they would be cut short for whoever reads them next.
            [sys.executable, "-B", "-c", f"{begin}from synth.start import main; main()", *words],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=stream,
            stderr=other if told is not None else subprocess.PIPE,
            text=True,
            timeout=60,
        )
    return ran.returncode, ran.stderr or ""


PLAN = ("plan", "--goals", "light always")


@needs_full
@pytest.mark.parametrize(
    "words", [PLAN, (*PLAN, "--format", "json"), ("kit",), ("plan", "--help")], ids=" ".join
)
def test_output_on_a_full_disk(words: tuple[str, ...]) -> None:
    assert run(*words, out=FULL) == (
        2,
        "synth: the result cannot be written: the disk is full\n",
    )


@needs_full
def test_messages_on_a_full_disk() -> None:
    assert run("kit", "nowhere", out=None, told=FULL) == (2, "")
    assert run("kit", out=FULL, told=FULL) == (2, "")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit for the size of files")
def test_a_folder_that_cannot_hold_the_files(tmp_path: Path) -> None:
    """A limit for each file stands for a full disk: both fail while the data are written."""
    code, told = run(*PLAN, "--out", str(tmp_path), out=None, limit=1000)
    assert code == 2
    assert told.startswith("synth: cannot write into '") and "--out" in told
    # All of them or none; nothing is left of what did not fit.
    assert list(tmp_path.iterdir()) == []
