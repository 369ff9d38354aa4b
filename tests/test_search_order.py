"""Parts lists that are put off, because a wiring costs more than the bound, are taken up again."""

from __future__ import annotations

from typing import Any

import pytest

from synth import pipeline
from synth.search.engine import Engine, Found, Progress, Tools, floor_for
from synth.search.lists import Catalogue, PartsList
from synth.share import fan_out_price


class Dear:
    """Stands for a design that costs more than any bound."""

    supply = 1

    def price(self, kit: object) -> int:
        return 1000


def test_lists_put_off_at_one_price_come_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every list has a wiring, none at its bound: each is asked again at one coin more."""
    problem = pipeline.read_problem(None, "lamp while hot", "starter")
    nothing: Any = None
    tools = Tools(nothing, nothing, nothing, lambda n: fan_out_price(n, problem.kit))
    asked: list[tuple[tuple[int, ...], bool, tuple[int, ...]]] = []
    progress = Progress(asked_to_stop=lambda: len(asked) >= 60)

    def ask(
        self: Engine, parts_list: PartsList, key: tuple[int, ...], priced: bool, found: Found
    ) -> bool:
        asked.append((key, priced, parts_list.items))
        dear: Any = Dear()
        found.design, found.parts_list = dear, parts_list
        return not priced

    monkeypatch.setattr(Engine, "_ask", ask)
    Engine(problem, Catalogue(problem, floor_for(tools)), tools, progress, 1).run()
    keys = [key for key, _, _ in asked]
    assert keys == sorted(keys)
    again = [(key, items) for key, priced, items in asked if priced]
    assert len({key for key, _ in again}) < len(again), "no two lists were put off at one price"
