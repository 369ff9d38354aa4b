"""Of the wirings that differ in names alone at least one is kept, and mostly few more."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import islice
from random import Random

import pytest
from search_tools import KITS, a_problem, a_skeleton, slots_of
from test_search_ahead import TWO_CYCLES, two_loops, wiring

from synth import pipeline
from synth.design import Skeleton, Terminal
from synth.parts.behaviour import CONTROLLED, PartType
from synth.problem import Problem
from synth.search.alike import in_order
from synth.search.formula import Formula
from synth.search.slots import Wiring
from synth.search.solver import CpSat

MOST_NAMINGS = 400


def namings(skeleton: Skeleton, problem: Problem) -> tuple[int, int]:
    """Return in how many ways the parts of a wiring can be named along the flow of power, and how
    many of them are kept."""
    plain, kept = (Wiring(problem, slots_of(skeleton, problem.kit), Formula()) for _ in range(2))
    in_order(kept)
    counts = []
    for model in (plain, kept):
        solver, found = CpSat(model.formula), set()
        for renamed in islice(model.renamings(skeleton), MOST_NAMINGS):
            chosen = model.assignment(turned(renamed, model))
            assert chosen is not None
            fixed = tuple(sorted(v if value else -v for v, value in chosen.items()))
            if fixed not in found and solver.ask(60.0, fixed).satisfiable:
                found.add(fixed)
        counts.append(len(found))
    return counts[0], counts[1]


def turned(skeleton: Skeleton, model: Wiring) -> Skeleton:
    """Return the wiring with the inputs of joints exchanged where the model has them so."""
    names = {slot.name: index for index, slot in enumerate(model.slots)} | {"supply": -1}
    rank = {output: place for place, output in enumerate(model.outputs)}
    fed = {target: source for source, target in skeleton.feeds}
    for part in skeleton.parts:
        if part.type is PartType.JOINT:
            ends = [Terminal(part.name, end) for end in ("in1", "in2")]
            fed |= zip(
                ends,
                sorted((fed[e] for e in ends), key=lambda s: rank[names[s.part], s.terminal]),
                strict=True,
            )
    return replace(skeleton, feeds=tuple((source, target) for target, source in fed.items()))


def sample(seeds: range) -> Counter[str]:
    """Count namings of random wirings with several parts that are alike."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        random = Random(seed)
        kit = KITS[random.choice(sorted(KITS))]
        loads = ("lamp", "fan")[: random.choice((1, 2))]
        problem = a_problem(kit, loads)
        skeleton = a_skeleton(random, kit, random.randrange(2, 7), loads)
        alike = Counter(part.part for part in skeleton.parts if part.type in CONTROLLED)
        if max(alike.values(), default=0) < 2:
            continue
        before, after = namings(skeleton, problem)
        assert 0 < after <= before, seed
        counts["all"] += before
        counts["kept"] += after
        counts["fewer"] += after < before
        counts["wirings"] += 1
    return counts


def test_some_naming_is_kept() -> None:
    counts = sample(range(260))
    assert counts["wirings"] > 30 and counts["fewer"] > 5, counts


@pytest.mark.slow
def test_some_naming_is_kept_at_length() -> None:
    counts = sample(range(1000, 6000))
    assert counts["wirings"] > 600 and counts["fewer"] > 100, counts


def test_a_design_for_two_clocks_is_kept() -> None:
    """The timers in 4! orders, of which one goes by their times, and the relays of the two loops by
    the timers that their coils hang on: where all but the switch hangs on the supply or behind it,
    nothing but names is lost."""
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    parts, feeds = two_loops(problem.kit)
    assert namings(wiring(parts, feeds, problem.kit), problem) == (48, 1)
