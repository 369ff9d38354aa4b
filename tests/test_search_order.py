"""Parts lists that are put off, because a wiring costs more than the bound, are taken up again."""

from __future__ import annotations

from typing import Any

import pytest

from synth import pipeline
from synth.search.basics import Progress, Tools, floor_for
from synth.search.engine import Engine
from synth.search.lists import Catalogue, PartsList
from synth.search.questions import Questions
from synth.share import fan_out_price


def test_lists_put_off_at_one_price_come_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every list may have a wiring, none at its bound: each is asked again at one coin more."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    asked: list[tuple[tuple[int, ...], bool, tuple[int, ...]]] = []
    progress = Progress(asked_to_stop=lambda: len(asked) >= 60)

    def works(self: Engine, parts_list: PartsList, found: object) -> bool:
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
