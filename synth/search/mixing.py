"""Which of several equally cheap circuits for each signal cost least on one supply.

The price of splitting depends on all that hangs on one output, so circuits of one price may merge
at different prices. This proves nothing; it gives a cheaper design to begin with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from synth.design import Skeleton
from synth.search.basics import Progress, Working
from synth.search.engine import Engine
from synth.search.lists import Key


def alternatives(engine: Engine, best: Working) -> list[Working]:
    """Return `best` and other wirings of its parts that cost no more, with fewer inputs on the
    supply, as far as time allows: it is the supply's net in which circuits meet."""
    parts_list = engine.catalogue.measure(engine.catalogue.items_of(best.skeleton))
    if parts_list is None:
        return [best]
    parts = engine.catalogue.parts(parts_list.items)
    rest = best.design.price(engine.problem.kit) - sum(part.price for part in parts)
    on_supply = sum(source.part == "supply" for source, _ in best.skeleton.feeds)
    return [best, *engine.questions.fewer_on_supply(parts_list, rest, on_supply)]


def best_mix(
    kinds: Sequence[Sequence[Working]],
    put: Callable[[Sequence[Skeleton]], Key | None],
    progress: Progress,
) -> Iterator[tuple[int, ...]]:
    """Yield ever better choices of one kind for each circuit, by place, from the first of each.

    `put` returns the key of the whole with these wirings, None when its power cannot be shared.
    One circuit is changed at a time, until no such change is any better.
    """
    chosen = [0] * len(kinds)
    best = put([options[0].skeleton for options in kinds])
    improved = True
    while improved and not progress.over():
        improved = False
        for place, options in enumerate(kinds):
            for number in range(len(options)):
                if number == chosen[place] or progress.over():
                    continue
                trial = [*chosen[:place], number, *chosen[place + 1 :]]
                key = put([o[n].skeleton for o, n in zip(kinds, trial, strict=True)])
                if key is not None and (best is None or key < best):
                    chosen, best, improved = trial, key, True
                    yield tuple(chosen)
