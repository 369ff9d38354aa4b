"""The memory on disk: where it lies, which code may use it, two runs at once, folders that refuse.

Names of folders on Linux are those of the XDG Base Directory Specification 0.8 (from memory); of
macOS and Windows common practice, no source.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

import synth
from synth.cli import main
from synth.memory import Memory, folder, open_memory
from synth.memory.folder import code_version, modules, stamps, usual_folder
from synth.pipeline import read_problem
from synth.problem import Problem
from synth.search.basics import LearnedRun

ROOT = Path(__file__).parent.parent
PLAN_SCHEMA = json.loads((ROOT / "docs" / "plan.schema.json").read_text("utf-8"))
GOALS = "light at night, fan while hot or damp"


def problem(goals: str = GOALS) -> Problem:
    return read_problem(None, goals, None)


def run(*words: str) -> Result:
    """Run the tool in this process; a traceback would be an exception of another kind."""
    ran = CliRunner().invoke(main, ["plan", "--goals", GOALS, *words])
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.exception
    return ran


def untimed(text: str) -> dict[str, Any]:
    """Return a plan's document without its times, after a look whether it follows its schema."""
    document: dict[str, Any] = json.loads(text)
    jsonschema.validate(document, PLAN_SCHEMA)
    del document["times"]
    return document


@pytest.fixture
def copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the package, taken for the code that runs: what is edited meanwhile is another."""
    place = tmp_path / "code" / "synth"
    shutil.copytree(
        Path(synth.__file__).parent, place, ignore=shutil.ignore_patterns("__pycache__")
    )
    monkeypatch.setattr(folder, "_root", lambda: place)
    return place


@pytest.fixture
def cache(tmp_path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for the memory, not made yet, that the tool is told to use."""
    monkeypatch.setenv("SYNTH_CACHE", str(tmp_path / "deep" / "cache"))
    return tmp_path / "deep" / "cache"


class TestAtTheCommandLine:
    def test_says_when_a_plan_is_known(self, cache: Path) -> None:
        cold, warm = run(), run()
        assert (cold.exit_code, warm.exit_code) == (0, 0)
        assert "nown from an earlier run" not in cold.stdout
        assert "Known from an earlier run, and checked again." in warm.stdout
        assert "known from earlier" in warm.stdout
        assert warm.stderr == ""

    def test_documents_are_the_same_but_for_times(self, cache: Path) -> None:
        cold, warm = run("--format", "json"), run("--format", "json")
        assert untimed(cold.stdout) == untimed(warm.stdout)
        assert "known from earlier" not in json.loads(cold.stdout)["times"]
        assert "known from earlier" in json.loads(warm.stdout)["times"]
        assert warm.stderr == ""

    def test_says_when_circuits_are_known(self, cache: Path) -> None:
        run()
        for plan in cache.glob("plan-*"):
            plan.unlink()
        assert "2 circuits known from an earlier run, and checked again." in run().stdout

    def test_says_when_something_is_dropped(self, cache: Path) -> None:
        cold = run("--format", "json")
        for file in cache.iterdir():
            file.write_bytes(b"x" + file.read_bytes())
        warm = run("--format", "json")
        assert untimed(warm.stdout) == untimed(cold.stdout)
        assert warm.stderr.count("is dropped: it is damaged") == 5
        assert "Traceback" not in warm.stderr

    def test_no_cache_writes_nothing_and_reads_nothing(self, cache: Path) -> None:
        ran = run("--no-cache", "--format", "json")
        assert ran.exit_code == 0 and not cache.exists()
        run()
        before = {file: file.stat().st_mtime_ns for file in cache.iterdir()}
        assert len(before) == 5
        again = run("--no-cache", "--format", "json")
        assert untimed(again.stdout) == untimed(ran.stdout)
        assert "known from earlier" not in json.loads(again.stdout)["times"]
        assert {file: file.stat().st_mtime_ns for file in cache.iterdir()} == before

    def test_another_seed_is_another_question(self, cache: Path) -> None:
        run()
        assert "nown from an earlier run" not in run("--seed", "2").stdout

    def test_help_does_not_load_it(self) -> None:
        code = (
            "import sys\nfrom synth.cli import main\n"
            "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
            "assert 'synth.memory' not in sys.modules and 'synth.cli' in sys.modules"
        )
        done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True)
        assert done.returncode == 0, done.stderr


class TestWhere:
    @pytest.mark.parametrize(
        ("platform", "environment", "expected"),
        [
            ("linux", {"HOME": "/home/ann"}, "/home/ann/.cache/synth"),
            ("linux", {"HOME": "/home/ann", "XDG_CACHE_HOME": "/fast"}, "/fast/synth"),
            ("linux", {"HOME": "/home/ann", "XDG_CACHE_HOME": "here"}, "/home/ann/.cache/synth"),
            ("linux", {"HOME": "/home/ann", "XDG_CACHE_HOME": ""}, "/home/ann/.cache/synth"),
            ("linux", {"XDG_CACHE_HOME": "/fast"}, "/fast/synth"),
            ("linux", {}, None),
            ("linux", {"HOME": ""}, None),
            ("linux", {"HOME": "somewhere"}, None),
            ("darwin", {"HOME": "/Users/ann"}, "/Users/ann/Library/Caches/synth"),
            ("darwin", {}, None),
            ("win32", {"HOME": "/home/ann"}, None),
            ("win32", {"LOCALAPPDATA": "/Local"}, "/Local/synth"),
            ("linux", {"HOME": "/home/ann", "SYNTH_CACHE": "/mine"}, "/mine"),
            ("linux", {"HOME": "/home/ann", "SYNTH_CACHE": ""}, None),
        ],
    )
    def test_usual_places(
        self,
        platform: str,
        environment: dict[str, str],
        expected: str | None,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        for name in ("HOME", "XDG_CACHE_HOME", "LOCALAPPDATA", "SYNTH_CACHE"):
            monkeypatch.delenv(name, raising=False)
        for name, value in environment.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr(sys, "platform", platform)
        found = usual_folder()
        assert (None if found is None else str(found)) == expected
        assert (open_memory() is None) is (expected is None)

    def test_the_tests_run_cold(self) -> None:
        assert os.environ["SYNTH_CACHE"] == ""
        assert open_memory() is None


class TestFoldersThatRefuse:
    """The plan is there all the same, nothing is said, and nothing is kept."""

    def good(self, ran: Result) -> None:
        assert (ran.exit_code, ran.stderr) == (0, "")
        assert "nown from an earlier run" not in ran.stdout

    def test_a_file_in_its_place(self, cache: Path) -> None:
        cache.parent.mkdir(parents=True)
        cache.write_text("mine")
        self.good(run())
        assert cache.read_text() == "mine"

    def test_a_name_that_cannot_be(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("SYNTH_CACHE", "x" * 5000)
        self.good(run())

    @pytest.mark.skipif(
        not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere"
    )
    def test_a_folder_that_is_read_only(self, cache: Path) -> None:
        run()
        kept = sorted(cache.iterdir())
        cache.chmod(0o500)
        try:
            assert "Known from an earlier run" in run().stdout
            self.good(run("--seed", "2"))
            assert sorted(cache.iterdir()) == kept
        finally:
            cache.chmod(0o700)

    def test_a_disk_that_is_full(self, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Nothing half written stays behind."""

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(folder.os, "replace", full)
        self.good(run())
        assert list(cache.iterdir()) == []

    def test_a_disk_that_does_not_delete(
        self, cache: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A damaged entry stays in place there, and is not trusted the second time either."""
        cold = run("--format", "json")
        for file in cache.iterdir():
            file.write_bytes(file.read_bytes()[:-1])

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(folder.Path, "unlink", refuse)
        monkeypatch.setattr(folder.os, "replace", refuse)
        for _ in range(2):
            warm = run("--format", "json")
            assert untimed(warm.stdout) == untimed(cold.stdout)
            assert warm.stderr.count("it is damaged") == 5

    @pytest.mark.skipif(sys.platform == "win32", reason="modes say nothing on Windows")
    def test_a_folder_that_everyone_may_write_into(self, cache: Path) -> None:
        run()
        assert "Known from an earlier run" in run().stdout
        cache.chmod(0o777)
        self.good(run())
        self.good(run("--seed", "2"))
        assert len(list(cache.iterdir())) == 5

    @pytest.mark.skipif(not hasattr(os, "getuid"), reason="no users with numbers")
    def test_a_folder_of_another_user(self, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        run()
        mine = os.getuid()
        monkeypatch.setattr(folder.os, "getuid", lambda: mine + 1)
        self.good(run())

    def test_no_source_to_read(self, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(folder, "_root", lambda: cache / "nowhere")
        self.good(run())
        assert not cache.exists()


class TestVersion:
    def test_the_same_code_has_the_same(self, copy: Path) -> None:
        assert code_version(modules()) == code_version(modules())
        for file in copy.rglob("*.py"):
            os.utime(file, (1, 1))
        before = code_version(modules())
        (copy / "notes.txt").write_text("no module")
        assert code_version(modules()) == before

    @pytest.mark.parametrize(
        "name", ["search/engine.py", "check/explore.py", "share/power.py", "parts/behaviour.py"]
    )
    def test_any_change_of_the_code_makes_another(self, copy: Path, name: str) -> None:
        before = code_version(modules())
        file = copy / name
        text = file.read_bytes()
        file.write_bytes(text[:-1] + b" \n")
        assert code_version(modules()) != before
        file.write_bytes(text)
        assert code_version(modules()) == before
        file.rename(copy / "search" / "other.py")
        assert code_version(modules()) != before

    def test_another_solver_makes_another(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        before = code_version(modules())
        monkeypatch.setattr(folder, "SOLVERS", {"ortools": "click-*.dist-info"})
        assert code_version(modules()) != before

    def test_solvers_are_found(self) -> None:
        """A renamed package would leave its version out without a word."""
        for package, pattern in folder.SOLVERS.items():
            spec = folder.find_spec(package)
            assert spec is not None and spec.origin is not None
            assert len(list(Path(spec.origin).parent.parent.glob(pattern))) == 1

    def test_code_changed_while_it_runs_keeps_nothing(self, copy: Path, cache: Path) -> None:
        memory = open_memory()
        assert memory is not None
        memory.entry("plan", problem(), ()).keep(LearnedRun((), 1))
        assert len(list(cache.iterdir())) == 1
        (copy / "ticks.py").write_text("changed")
        memory.entry("plan", problem("light always"), ()).keep(LearnedRun((), 1))
        assert len(list(cache.iterdir())) == 1
        assert stamps(modules()) == stamps(modules())


class TestRoom:
    def keep(self, place: Path, number: int) -> str:
        entry = Memory(place, "v").entry("circuit", problem("light always"), (number,))
        entry.keep(LearnedRun((), number, ()))
        os.utime(entry.file, (1000 + number, 1000 + number))
        return entry.name

    def test_what_was_not_used_for_longest_goes(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        names = [self.keep(tmp_path, number) for number in range(4)]
        size = (tmp_path / names[0]).stat().st_size
        entry = Memory(tmp_path, "v").entry("circuit", problem("light always"), (0,))
        assert entry.recall(LearnedRun) == LearnedRun((), 0, ())
        entry.confirm()
        monkeypatch.setattr(folder, "MOST_BYTES", 3 * size + 100)
        names.append(self.keep(tmp_path, 9))
        assert {file.name for file in tmp_path.iterdir()} == {names[0], names[3], names[4]}

    def test_nothing_else_is_touched(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Also where somebody names a folder of other things."""
        monkeypatch.setattr(folder, "MOST_BYTES", 0)
        others = ("mine.txt", "plan-1.kept", "x.kept", ".part", ".kept-x.txt", ".other.part")
        for name in others:
            (tmp_path / name).write_text("mine" * 100)
            os.utime(tmp_path / name, (1, 1))
        old, young = tmp_path / ".kept-aaa.part", tmp_path / ".kept-bbb.part"
        old.write_text("left behind")
        os.utime(old, (1, 1))
        young.write_text("being written")
        last = [self.keep(tmp_path, number) for number in range(3)][-1]
        assert {f.name for f in tmp_path.iterdir()} == {*others, young.name, last}

    def test_nothing_too_large_is_kept_or_read(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        name = self.keep(tmp_path, 1)
        monkeypatch.setattr(folder, "LARGEST_ENTRY", (tmp_path / name).stat().st_size - 1)
        assert (
            Memory(tmp_path, "v").entry("circuit", problem("light always"), (1,)).recall(LearnedRun)
            is None
        )
        entry = Memory(tmp_path, "v").entry("circuit", problem("light always"), (2,))
        entry.keep(LearnedRun((), 2, ()))
        assert list(tmp_path.iterdir()) == []


WRITER = """
import sys
import time
from pathlib import Path
from synth.memory import Memory
from synth.pipeline import read_problem
from synth.search.basics import LearnedRun
from synth.trace import Moment
from fractions import Fraction

memory = Memory(Path(sys.argv[1]), "v")
entry = memory.entry("circuit", read_problem(None, "light always", None), ())
length = int(sys.argv[2])
lesson = LearnedRun((Moment(Fraction(length)),) * length, length)
print("ready", flush=True)
sys.stdin.readline()
until = time.monotonic() + 0.8
while time.monotonic() < until:
    entry.keep(lesson)
"""


class TestTwoAtOnce:
    def test_a_reader_never_sees_half_an_entry(self, tmp_path: Path) -> None:
        """Two processes write the same entry over and over, a short and a long one."""
        lengths = (1, 1000)
        writers = [
            subprocess.Popen(
                [sys.executable, "-c", WRITER, str(tmp_path), str(length)],
                cwd=ROOT,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
            for length in lengths
        ]
        for writer in writers:
            assert writer.stdout is not None and writer.stdout.readline() == "ready\n"
        for writer in writers:
            assert writer.stdin is not None
            writer.stdin.write("go\n")
            writer.stdin.close()
        memory = Memory(tmp_path, "v")
        entry = memory.entry("circuit", problem("light always"), ())
        seen: set[int] = set()
        deadline = time.monotonic() + 60
        while any(writer.poll() is None for writer in writers) and time.monotonic() < deadline:
            found = entry.recall(LearnedRun)
            if found is not None:
                assert len(found.moments) == found.last
                seen.add(found.last)
        for writer in writers:
            assert writer.wait(60) == 0
            assert writer.stdout is not None
            writer.stdout.close()
        assert memory.notes == []
        assert seen == set(lengths)
        assert [file.name for file in tmp_path.iterdir()] == [entry.name]

    def test_two_plans(self, cache: Path, copy: Path) -> None:
        command = [sys.executable, "-m", "synth.cli", "plan", "--goals", GOALS, "--format", "json"]

        def start() -> subprocess.Popen[str]:
            return subprocess.Popen(
                command,
                cwd=copy.parent,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                text=True,
            )

        done = [(p, *p.communicate(timeout=120)) for p in (start(), start())]
        assert [p.returncode for p, _, _ in done] == [0, 0]
        assert [errors for _, _, errors in done] == ["", ""]
        assert untimed(done[0][1]) == untimed(done[1][1])
        assert len(list(cache.iterdir())) == 5
        third = start()
        told, _ = third.communicate(timeout=120)
        assert untimed(told) == untimed(done[0][1])
        assert "known from earlier" in json.loads(told)["times"]
