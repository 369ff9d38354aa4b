"""Lists to come, asked on both cores while the search waits for the one at hand.

Only a "no" is taken over: it is a proof, whoever gets it and whenever. So what is found does not
depend on which core was faster, but for how far the search comes in a given time.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from types import TracebackType

Items = tuple[int, ...]

CORES = 2
"""How many questions are asked at a time."""


class Beside:
    """Asks `refuted` (list, when to give up -> whether no wiring of it works) about lists to come.

    Use it as a context: on leaving, what still runs is told to give up.
    """

    def __init__(self, refuted: Callable[[Items, Callable[[], bool]], bool]) -> None:
        self._refuted = refuted
        self._pool: ThreadPoolExecutor | None = None
        self._asked: dict[Items, Future[bool]] = {}
        self._ended = threading.Event()

    def __enter__(self) -> Beside:
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
                self._asked[items] = self._pool.submit(self._refuted, items, self._ended.is_set)

    def refuted(self, items: Items, over: Callable[[], bool]) -> bool:
        """Return whether a list that was asked about is refuted; False once `over` says so."""
        future = self._asked.pop(items)
        while not over():
            try:
                return future.result(timeout=0.05)
            except TimeoutError:
                continue
            except CancelledError:
                break
        return False
