"""Parts lists that are put off, because a wiring costs more than the bound, are taken up again."""

from __future__ import annotations

from typing import Any

import pytest
from test_known_designs import the_engine

from synth import pipeline
from synth.search.basics import Found, Progress, Tools, Working, floor_for
from synth.search.engine import Engine
from synth.search.lists import Catalogue, PartsList
from synth.search.questions import Begun, Questions
from synth.share import fan_out_price


def test_lists_put_off_at_one_price_come_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every list may have a wiring, none at its bound: each is asked again at one coin more."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    asked: list[tuple[tuple[int, ...], bool, tuple[int, ...]]] = []
    progress = Progress(asked_to_stop=lambda: len(asked) >= 60)

    def works(self: Engine, parts_list: PartsList, found: object, begun: object) -> bool:
        asked.append((parts_list.key(problem.objectives), False, parts_list.items))
        return True

    def dearer(self: Engine, parts_list: PartsList, key: tuple[int, ...], found: object) -> bool:
        asked.append((key, True, parts_list.items))
        return False

    monkeypatch.setattr(Engine, "_works", works)
    monkeypatch.setattr(Engine, "_dearer", dearer)
    catalogue = Catalogue(problem, floor_for(tools))
    found = Engine(Questions(problem, catalogue, tools, progress, 1), progress).run()
    keys = [key for key, _, _ in asked]
    assert keys == sorted(keys)
    assert found.floor is not None and found.floor >= keys[-1] and not found.closed
    again = [(key, items) for key, priced, items in asked if priced]
    assert len({key for key, _ in again}) < len(again), "no two lists were put off at one price"


def test_a_run_that_had_to_end_goes_on_where_it_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """At whatever list time is up, new or put off: all lists are asked in the same order, that one
    twice."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    asked: list[tuple[bool, tuple[int, ...]]] = []
    ends: list[int] = []
    late: list[bool] = []

    def answer(priced: bool, parts_list: PartsList) -> bool | None:
        asked.append((priced, parts_list.items))
        if len(asked) - 1 not in ends:
            return not priced
        late.append(True)
        return None

    monkeypatch.setattr(Engine, "_works", lambda self, items, found, begun: answer(False, items))
    monkeypatch.setattr(Engine, "_dearer", lambda self, items, key, found: answer(True, items))

    def run(*stops: int) -> list[tuple[bool, tuple[int, ...]]]:
        asked.clear()
        ends[:] = [*stops, 40]
        catalogue = Catalogue(problem, floor_for(tools))
        progress = Progress(asked_to_stop=lambda: bool(late))
        engine = Engine(Questions(problem, catalogue, tools, progress, 1), progress)
        for _ in ends:
            late.clear()
            assert not engine.run().closed
        return list(asked)

    plain = run()
    assert any(priced for priced, _ in plain)
    for stop in range(39):
        broken = run(stop)
        assert broken[stop] == broken[stop + 1]
        assert [*broken[:stop], *broken[stop + 1 :]] == plain[:40]
    places = [place for place, (priced, _) in enumerate(plain) if priced]
    assert places and len(plain) == 41


def test_a_list_left_open_is_the_bound_whatever_comes_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A list whose model would be too large is passed over: later ones give a design, but no claim
    beyond it."""
    problem = pipeline.read_problem(None, "pump started by start and stopped by stop", "full")
    plain = the_engine(problem)
    proven = plain.run()
    assert proven.closed and proven.floor is not None
    works = Engine._works
    assert plain.refuted
    for place in range(len(plain.refuted)):
        engine, asked, left_open = the_engine(problem), list[PartsList](), list[PartsList]()

        def one_is_too_large(
            self: Engine,
            parts_list: PartsList,
            found: Found,
            begun: Begun | None,
            asked: list[PartsList] = asked,
            left_open: list[PartsList] = left_open,
            place: int = place,
        ) -> Any:
            asked.append(parts_list)
            if len(asked) - 1 == place:
                left_open.append(parts_list)
                return None
            return works(self, parts_list, found, begun)

        monkeypatch.setattr(Engine, "_works", one_is_too_large)
        found = engine.run()
        monkeypatch.undo()
        assert found.best is not None and proven.best is not None and found.doubt
        assert found.best.design.price(problem.kit) == proven.best.design.price(problem.kit)
        assert not found.closed and not found.exhausted
        assert found.floor == left_open[0].key(problem.objectives)
        assert engine.refuted == plain.refuted[: len(engine.refuted)]
        assert len(engine.refuted) < len(plain.refuted)


@pytest.mark.parametrize("priced", [False, True])
@pytest.mark.parametrize("answer", [None, True])
def test_all_lists_are_refuted_only_if_none_was_left_open(
    priced: bool, answer: bool | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One question after the other has no answer, or a wiring at that price that does not stand;
    whatever else is asked is refuted, up to the largest price."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    asked: list[tuple[int, ...]] = []

    def answers(open_at: int, feasible: bool = False) -> Found:
        def reply(key: tuple[int, ...]) -> bool | None:
            asked.append(key)
            return answer if len(asked) - 1 == open_at else False

        def works(
            self: Engine, parts_list: PartsList, found: Found, begun: object
        ) -> bool | None:
            self.feasible += [parts_list.items] * feasible
            return True if priced else reply(parts_list.key(problem.objectives))

        asked.clear()
        monkeypatch.setattr(Engine, "_works", works)
        monkeypatch.setattr(Engine, "_dearer", lambda self, items, key, found: reply(key))
        catalogue = Catalogue(problem, floor_for(tools), most=3)
        questions = Questions(problem, catalogue, tools, Progress(), 1)
        return Engine(questions, Progress(), dearest=12).run()

    found = answers(-1)
    assert found.closed and found.exhausted and len(asked) > 4
    # A list that may work without a price is asked again at one, where it is refuted.
    harmless = bool(answer) and not priced
    for place in range(0, len(asked), 3):
        found = answers(place)
        assert found.closed is found.exhausted is harmless
        assert harmless or found.floor == asked[place]
    # What may work within a larger whole, if not by itself, is not refuted.
    found = answers(-1, feasible=True)
    assert not found.closed and not found.exhausted


def test_a_question_without_an_answer_refutes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor are all wirings of a list seen where one more comes each time, or where some may work
    within a larger whole only."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    engine = the_engine(problem)
    needed = engine.needed()
    assert needed is not None
    parts_list = next(iter(engine.catalogue.in_order(needed, problem.objectives)))
    key = parts_list.key(problem.objectives)
    one = engine.questions.working(parts_list)
    assert isinstance(one, Working)

    def asked(answer: Any) -> tuple[Any, Any, Any]:
        monkeypatch.setattr(engine.questions, "working", lambda *args, **more: answer)
        return (
            engine._works(parts_list, Found()),
            engine._dearer(parts_list, key, Found()),
            engine._all_of(parts_list, Found()),
        )

    assert asked(None) == (None, None, None)
    assert asked(False) == (False, False, True)
    assert asked(one) == (one, True, None)
    engine.within = True
    assert asked(False)[2] is None


def test_bounds_alone_close_nothing_when_time_is_up() -> None:
    """The first list is ruled out at once; what comes after it was not looked at."""
    problem = pipeline.read_problem(None, "lamp on 10 s of every 60 s", "starter")
    engine = the_engine(problem)
    needed = engine.needed()
    assert needed is not None
    order = engine.catalogue.in_order(needed, problem.objectives, engine.waiting.count)
    first = next(iter(order))
    assert engine.hopeless(first)
    far = engine.at_once()
    engine.progress.asked_to_stop = lambda: True
    found = engine.at_once()
    assert not found.closed and not found.exhausted
    assert found.floor == first.key(problem.objectives) and far.floor is not None
    assert found.floor < far.floor


@pytest.mark.slow
def test_a_race_rules_out_more_than_one_wiring() -> None:
    """Two make and two break relays cannot change a lamp over at each press: of the wirings that
    do when all parts move together, each has a race, and a few orders of moving show them all."""
    problem = pipeline.read_problem(None, "lamp toggled by button", "starter")
    engine = the_engine(problem)
    offers = {part.name: place for place, (part, _) in enumerate(engine.catalogue.offers)}
    names = ("push button", *(2 * ("relay make", "relay break")), "joint")
    parts_list = engine.catalogue.measure(tuple(sorted(offers[name] for name in names)))
    assert parts_list is not None
    assert engine.questions.working(parts_list) is False
    races = [run for run in engine.questions.runs if run.orders]
    assert races and len(engine.questions.runs) < 15 and not engine.questions.excluded
