"""Entries on disk: one file for each question, whole or not there, of this very code or not used.

A file holds a digest and, below it, one line of JSON: the version of the code that wrote it, the
question in full, and the answer. An entry is used only when its digest is right (it is whole and
unchanged), the version is this one (no claim outlives the code that proved it), and the question
is the one that is asked. Whatever is wrong with a file or with the folder, the search is done as
if it were not there.

The digest finds accidents, not forgery: who may write into the folder could forge a claim that
nothing is cheaper. So a folder that is another user's, or that everyone may write into, is not
used. A circuit that does not do what is asked cannot be forged: every one is checked again.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from hashlib import sha256
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeVar

import synth
from synth.memory.plain import Unfit, essence, from_plain, to_plain
from synth.problem import Problem

VARIABLE = "SYNTH_CACHE"
"""Names another folder; empty: nothing is kept."""
MOST_BYTES = 32_000_000
"""Most bytes of all entries; beyond, those that were not used for longest are dropped."""
LARGEST_ENTRY = 4_000_000
"""Most bytes of one entry."""
ABANDONED = 3600.0
"""Seconds after which an unfinished file of another process is taken for left behind."""
OURS = re.compile(r"[a-z]+-[0-9a-f]{64}\.kept")
UNFINISHED = re.compile(r"\.kept-\w+\.part")
SOLVERS = {"ortools": "ortools-*.dist-info", "pysat": "python_sat-*.dist-info"}
"""Packages whose answers a proof rests on, and the name of the folder that tells their version."""

Form = TypeVar("Form")


def open_memory() -> Memory | None:
    """Return the memory in the user's folder for such things, None where there is none to use."""
    folder = usual_folder()
    if folder is None:
        return None
    try:
        files = modules()
        before = stamps(files)
        version = code_version(files)
    except OSError:
        return None
    # Code that is changed while it runs must not sign for what its older self proved.
    return Memory(folder, version, lambda: stamps(files) == before)


def usual_folder() -> Path | None:
    """Return the folder for what may be lost: that of SYNTH_CACHE, else the system's usual place.

    Source on Linux: XDG Base Directory Specification 0.8, which ignores paths that are not
    absolute. The places on macOS and Windows are common practice, from memory.
    """
    named = os.environ.get(VARIABLE)
    if named is not None:
        return Path(named).absolute() if named else None
    home = os.environ.get("HOME", "")
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA", "")
    elif sys.platform == "darwin":
        base = f"{home}/Library/Caches" if home else ""
    else:
        base = os.environ.get("XDG_CACHE_HOME", "")
        if not os.path.isabs(base):
            base = f"{home}/.cache" if home else ""
    return Path(base) / "synth" if os.path.isabs(base) else None


def modules() -> list[Path]:
    """Return the files of all modules of this package. Raises OSError where there are none."""
    found = sorted(_root().rglob("*.py"))
    if not found:
        raise FileNotFoundError(_root())
    return found


def code_version(files: Sequence[Path]) -> str:
    """Return a digest of all that a proof rests on: the text of every module, and the versions of
    the solvers and of Python. Raises OSError where a module cannot be read."""
    digest = sha256()
    for file in files:
        text = file.read_bytes()
        digest.update(f"{file.relative_to(_root()).as_posix()} {len(text)}\n".encode())
        digest.update(text)
    told = [sys.version]
    for package, pattern in SOLVERS.items():
        spec = find_spec(package)
        if spec is not None and spec.origin is not None:
            told += sorted(p.name for p in Path(spec.origin).parent.parent.glob(pattern))
    digest.update("\n".join(told).encode())
    return digest.hexdigest()


def stamps(files: Sequence[Path]) -> list[tuple[int, int]]:
    """Return size and time of change (ns) of each file: a quick way to see that none changed."""
    found = (file.stat() for file in files)
    return [(about.st_size, about.st_mtime_ns) for about in found]


def _root() -> Path:
    return Path(synth.__file__).parent


class Memory:
    """What earlier runs proved, in one folder.

    `known` names what was recalled and confirmed in this run, `notes` says in a sentence each what
    was dropped and why, `seconds` is the time spent reading.
    """

    def __init__(
        self, folder: Path, version: str, unchanged: Callable[[], bool] = lambda: True
    ) -> None:
        """`version` is that of the code that runs, `unchanged` says whether it is still the code
        on disk: only then is anything kept."""
        self.folder = folder
        self.version = version
        self.known: list[str] = []
        self.notes: list[str] = []
        self.seconds = 0.0
        self._unchanged = unchanged
        self._bytes: int | None = None

    def entry(self, what: str, problem: Problem, also: tuple[int, ...]) -> Entry:
        """Return the entry for `what` ("plan", "circuit") about `problem`; `also` holds all else
        that the answer depends on."""
        return Entry(self, what, problem, also)

    def readable(self) -> bool:
        """Return whether the folder is there, and is this user's alone to write into."""
        try:
            about = self.folder.stat()
        except (OSError, ValueError):
            return False
        if not stat.S_ISDIR(about.st_mode):
            return False
        # On Windows the modes say nothing, and the folder lies in the user's own profile.
        if sys.platform == "win32":
            return True
        return about.st_uid == os.getuid() and not about.st_mode & stat.S_IWOTH

    def write(self, name: str, content: bytes) -> None:
        """Write one file, whole or not at all; do nothing where that cannot be done."""
        if len(content) > LARGEST_ENTRY:
            return
        try:
            if not self._unchanged():
                return
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not self.readable():
                return
            handle, unfinished = tempfile.mkstemp(dir=self.folder, prefix=".kept-", suffix=".part")
            try:
                with os.fdopen(handle, "wb") as stream:
                    stream.write(content)
                os.replace(unfinished, self.folder / name)
            except BaseException:
                Path(unfinished).unlink(missing_ok=True)
                raise
            if self._bytes is not None:
                self._bytes += len(content)
            if self._bytes is None or self._bytes > MOST_BYTES:
                self._bytes = self._tidied(name)
        except (OSError, ValueError):
            return

    def _tidied(self, kept: str) -> int:
        """Drop the entries that were not used for longest until the rest is small enough, `kept`
        apart, and what others left unfinished; return the bytes that stay. Nothing else in the
        folder is touched."""
        now = time.time()
        entries: list[tuple[float, str, int]] = []
        with os.scandir(self.folder) as found:
            for item in found:
                # Another process may have dropped it meanwhile.
                with contextlib.suppress(OSError):
                    about = item.stat(follow_symlinks=False)
                    if OURS.fullmatch(item.name):
                        entries.append((about.st_mtime, item.name, about.st_size))
                    elif UNFINISHED.fullmatch(item.name) and now - about.st_mtime > ABANDONED:
                        os.unlink(item.path)
        total = sum(size for _, _, size in entries)
        for _, name, size in sorted(entries):
            if total <= MOST_BYTES:
                break
            if name != kept:
                with contextlib.suppress(OSError):
                    (self.folder / name).unlink(missing_ok=True)
                    total -= size
        return total


class Entry:
    """One question and its place in the folder."""

    def __init__(self, memory: Memory, what: str, problem: Problem, also: tuple[int, ...]) -> None:
        self.memory = memory
        self.what = what
        self.question = {"of": what, "also": list(also), "problem": to_plain(essence(problem))}
        self.name = f"{what}-{sha256(_text(self.question)).hexdigest()}.kept"
        self.file = memory.folder / self.name

    def recall(self, form: type[Form]) -> Form | None:
        """Return the answer that is kept, of type `form`; None where there is none to use.

        It is what was written, by this code, for this question; `confirm` it once it is checked.
        """
        began = time.monotonic()
        try:
            return self._read(form)
        finally:
            self.memory.seconds += time.monotonic() - began

    def _read(self, form: type[Form]) -> Form | None:
        if not self.memory.readable():
            return None
        try:
            with open(self.file, "rb") as stream:
                told = stream.read(LARGEST_ENTRY + 1)
        except (OSError, ValueError):
            return None
        digest, _, body = told.partition(b"\n")
        if len(told) > LARGEST_ENTRY or digest != sha256(body).hexdigest().encode():
            self.drop("it is damaged")
            return None
        try:
            content = json.loads(body)
            if content["version"] != self.memory.version:
                # No fault, nor worth a word: another version of the code wrote it.
                self._remove()
                return None
            if content["question"] != self.question:
                self.drop("it answers another question")
                return None
            answer: Form = from_plain(form, content["answer"])
            return answer
        except (Unfit, ValueError, TypeError, KeyError, RecursionError):
            self.drop("it cannot be read")
            return None

    def confirm(self) -> None:
        """Count what was recalled as used: it was checked again and holds."""
        self.memory.known.append(self.what)
        with contextlib.suppress(OSError):
            os.utime(self.file)

    def drop(self, why: str) -> None:
        """Drop the entry, with a note that says why."""
        self.memory.notes.append(f"a {self.what} kept from an earlier run is dropped: {why}")
        self._remove()

    def _remove(self) -> None:
        with contextlib.suppress(OSError):
            self.file.unlink(missing_ok=True)

    def keep(self, answer: object) -> None:
        """Write `answer` to disk if that can be done."""
        content = {
            "version": self.memory.version,
            "question": self.question,
            "answer": to_plain(answer),
        }
        self.memory.write(self.name, sealed(content))


def sealed(content: Any) -> bytes:
    """Return the bytes of an entry: the digest, and below it the content."""
    body = _text(content)
    return sha256(body).hexdigest().encode() + b"\n" + body


def _text(content: Any) -> bytes:
    return json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
