"""Lists to come, asked on both cores while the search waits for the one at hand.

What a question is, is settled when it is put, and its answer is waited for when its list has its
turn. So what is found does not depend on which core was faster, but for how far the search comes in
a given time.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from types import TracebackType
from typing import Generic, TypeVar

Items = tuple[int, ...]
Stopped = Callable[[], bool]
"""Says when to give up."""
Result = TypeVar("Result")

CORES = 2
"""How many questions are asked at a time."""


class Beside(Generic[Result]):
    """Asks about lists to come: `question` of a list returns what is to be done in a thread.

    Use it as a context: on leaving, what still runs is told to give up.
    """

    def __init__(
        self, question: Callable[[Items], Callable[[Stopped], Result]], cores: int = CORES
    ) -> None:
        """`cores`: so many questions at a time for now, see `on_all`."""
        self._question = question
        self._cores = cores
        self._free = threading.Semaphore(cores)
        self._pool: ThreadPoolExecutor | None = None
        self._asked: dict[Items, Future[Result]] = {}
        self._ended = threading.Event()

    def __enter__(self) -> Beside[Result]:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ended.set()
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def ask(self, lists: Iterable[Items]) -> None:
        """Ask about these lists, those that come first before the others."""
        if self._pool is None:
            self._pool = ThreadPoolExecutor(CORES, thread_name_prefix="beside")
        for items in lists:
            if items not in self._asked:
                self._asked[items] = self._pool.submit(self._in_turn, self._question(items))

    def on_all(self) -> None:
        """Let as many questions be asked at a time as there are cores from now on."""
        if self._cores < CORES:
            self._free.release(CORES - self._cores)
            self._cores = CORES

    def _in_turn(self, work: Callable[[Stopped], Result]) -> Result:
        with self._free:
            return work(self._ended.is_set)

    def answer(self, items: Items, over: Stopped) -> Result | None:
        """Return the answer about a list that was asked about; None once `over` says so."""
        future = self._asked.pop(items)
        while not over():
            try:
                return future.result(timeout=0.05)
            except TimeoutError:
                continue
            except CancelledError:
                break
        return None
