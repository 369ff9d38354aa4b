"""Long searches ask lists to come on both cores: what they find is what they find on one."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
from test_known_designs import the_engine
from test_search_ahead import TWO_CYCLES

from synth import pipeline
from synth.result import Status
from synth.search import engine as searching
from synth.search.basics import Working
from synth.search.beside import Beside
from synth.search.questions import Begun, Questions

JOBS = [
    ("pump started by start and stopped by stop, lamp shows pump on", "starter"),
    ("lamp while hot and not damp, fan while damp or not hot", "starter"),
    ("fan 5 s after hot, lamp at night", "full"),
]


@pytest.mark.parametrize(("goals", "kit"), JOBS)
def test_both_cores_prove_the_same_price(
    goals: str, kit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = pipeline.read_problem(None, goals, kit)
    alone = pipeline.plan(problem)
    begun = told(monkeypatch, lambda: None)
    monkeypatch.setattr(searching, "SHORT", 0)
    together = pipeline.plan(problem)
    assert together.status is alone.status is Status.PROVEN
    assert (together.price, together.supply, together.proven) == (
        alone.price,
        alone.supply,
        alone.proven,
    )
    assert {name != threading.main_thread().name for name in begun} == {True}


def test_it_does_not_matter_which_core_is_faster(monkeypatch: pytest.MonkeyPatch) -> None:
    """Threads that wait now and then, differently each time, and the same is asked and found."""
    problem = pipeline.read_problem(None, JOBS[0][0], JOBS[0][1])
    monkeypatch.setattr(searching, "SHORT", 0)
    rng = random.Random(7)
    told(monkeypatch, lambda: time.sleep(rng.choice((0.0, 0.0, 0.02, 0.1))))
    runs = []
    for _ in range(3):
        engine = the_engine(problem)
        found = engine.run()
        assert found.closed and found.best is not None
        runs.append((found.best.design, found.asked, engine.refuted, engine.questions.runs))
    assert runs[0] == runs[1] == runs[2]


def told(monkeypatch: pytest.MonkeyPatch, wait: Callable[[], None]) -> list[str]:
    """Return the threads, to be filled, in which questions are begun; each begins with `wait`."""
    begin, threads = Questions.begin, list[str]()

    def slowly(self: Questions, items: tuple[int, ...]) -> Any:
        work = begin(self, items)

        def after(stopped: Callable[[], bool]) -> Begun:
            threads.append(threading.current_thread().name)
            wait()
            return work(stopped)

        return after

    monkeypatch.setattr(Questions, "begin", slowly)
    return threads


def test_what_is_ruled_out_meanwhile_is_not_the_answer() -> None:
    """Neither a wiring that was ruled out after the question was put, nor before the answer."""
    problem = pipeline.read_problem(None, "lamp while hot and damp", "starter")
    engine = the_engine(problem)
    needed = engine.needed()
    assert needed is not None
    lists = engine.catalogue.in_order(needed, problem.objectives)
    parts_list = next(x for x in lists if engine.questions.working(x))
    questions, seen = engine.questions, []
    while True:
        work = questions.begin(parts_list.items)
        begun = work(lambda: False)
        working = questions.working(parts_list, begun=begun)
        if not isinstance(working, Working):
            break
        bare = questions.bare(working)
        assert bare not in seen
        seen.append(bare)
        late = questions.begin(parts_list.items)
        questions.excluded.append(bare)
        again = questions.working(parts_list, begun=begun)
        assert again is False or (again and questions.bare(again) not in seen)
        early = late(lambda: False)
        assert early.live._excluded == len(questions.excluded) - 1
    # Two sensors in a row, either first, and nothing else.
    assert working is False and len(seen) == 2
    assert questions.working(parts_list, begun=questions.begin(parts_list.items)(lambda: True)) is (
        False
    )


def test_what_is_learned_meanwhile_is_asked_later() -> None:
    """A question is what it was when it was put, whenever a thread gets round to it."""
    problem = pipeline.read_problem(None, JOBS[0][0], JOBS[0][1])
    engine = the_engine(problem)
    found, questions = engine.run(), engine.questions
    assert found.best is not None and len(questions.learned) > 1
    items, last = found.best.parts_list.items, questions.learned.pop()
    work = questions.begin(items)
    questions.learned.append(last)
    live = work(lambda: False).live
    known = {id(scenario) for scenario in live.scenarios}
    assert id(last) not in known and id(questions.learned[-2]) in known
    assert live.left_out()[0] is last


def test_what_nobody_waits_for_is_told_to_end() -> None:
    ended = []

    def question(items: tuple[int, ...]) -> Callable[[Callable[[], bool]], int]:
        def work(stopped: Callable[[], bool]) -> int:
            while items[0] > 1 and not stopped():
                time.sleep(0.01)
            ended.append(items[0])
            return items[0]

        return work

    began = time.monotonic()
    with Beside(question) as beside:
        beside.ask([(1,), (2,), (3,), (4,)])
        assert beside.answer((1,), lambda: False) == 1
        assert beside.answer((2,), lambda: True) is None
    assert {1, 2} <= set(ended) <= {1, 2, 3} and time.monotonic() - began < 5


def test_one_at_a_time_until_all_cores_are_free() -> None:
    """Ahead of a search one question is asked at a time; then two, in the order they were put."""
    running, most, begun = 0, [0], list[tuple[int, ...]]()
    lock, free = threading.Lock(), threading.Event()

    def question(items: tuple[int, ...]) -> Callable[[Callable[[], bool]], tuple[int, ...]]:
        def work(stopped: Callable[[], bool]) -> tuple[int, ...]:
            nonlocal running
            with lock:
                running += 1
                most[-1] = max(most[-1], running)
                begun.append(items)
            free.wait(0.05)
            with lock:
                running -= 1
            return items

        return work

    lists = [(n,) for n in range(8)]
    with Beside(question, 1) as beside:
        beside.ask(lists[:4])
        assert [beside.answer(items, lambda: False) for items in lists[:4]] == lists[:4]
        most.append(0)
        beside.on_all()
        beside.on_all()  # a second time changes nothing
        beside.ask(lists[4:])
        assert [beside.answer(items, lambda: False) for items in lists[4:]] == lists[4:]
    assert most == [1, 2] and set(begun) == set(lists)


def test_what_is_asked_early_is_what_the_search_asks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some lists are answered before the search begins, none twice, and it finds the same."""
    problem = pipeline.read_problem(None, TWO_CYCLES, "full")
    refuted, asked = Questions.refuted_at_once, list[tuple[int, ...]]()

    def noted(self: Questions, items: tuple[int, ...], *words: Any) -> bool:
        asked.append(items)
        return refuted(self, items, *words)

    monkeypatch.setattr(Questions, "refuted_at_once", noted)
    late = the_engine(problem)
    expected = late.run()
    asked.clear()
    engine = the_engine(problem)
    with engine.early():
        while not asked:
            time.sleep(0.01)
        found = engine.run()
    assert len(asked) == len(set(asked))
    assert found.best is not None and expected.best is not None and found.closed
    assert found.best.design == expected.best.design
    assert (found.refuted, engine.refuted) == (expected.refuted, late.refuted)
    assert engine.questions.progress is engine.progress
    assert engine.run().best == found.best  # nothing is left of what was asked early
