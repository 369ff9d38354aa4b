"""Of the wirings that differ in names alone at least one is kept, and mostly few more."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import islice, permutations
from random import Random

import pytest
from check_designs import STARTER, load, part
from search_tools import KITS, a_problem, a_skeleton, slots_of
from test_search_ahead import TWO_CYCLES, two_loops, wiring
from test_search_sets import FREE, with_more_joints

from synth import pipeline
from synth.design import Skeleton, Terminal
from synth.parts.behaviour import CONTROLLED, PartType
from synth.problem import Problem
from synth.search.alike import in_order
from synth.search.formula import Formula
from synth.search.slots import Wiring, joint_of_sets
from synth.search.solver import CpSat

MOST_NAMINGS = 400


def namings(skeleton: Skeleton, problem: Problem) -> tuple[int, int]:
    """Return in how many ways the parts of a wiring can be named along the flow of power, and how
    many of them are kept."""
    slots = slots_of(skeleton, problem.kit)
    if joint_of_sets(problem) is not None:
        slots = tuple(slot for slot in slots if slot.kind is not PartType.JOINT)
    plain, kept = (Wiring(problem, slots, Formula()) for _ in range(2))
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
    if model.joint is not None:
        return skeleton
    names = {slot.name: index for index, slot in enumerate(model.slots)} | {"supply": -1}
    rank = {output: place for place, output in enumerate(model.outputs)}
    fed = {target: source for source, target in skeleton.feeds}
    for item in skeleton.parts:
        if item.type is PartType.JOINT:
            ends = [Terminal(item.name, end) for end in ("in1", "in2")]
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
        free = seed % 4 == 0
        kit = (FREE if free else KITS)[random.choice(sorted(KITS))]
        loads = ("lamp", "fan")[: random.choice((1, 2))]
        problem = a_problem(kit, loads)
        skeleton = a_skeleton(random, kit, random.randrange(2, 7), loads)
        if free:
            skeleton = with_more_joints(random, skeleton, kit)
        alike = Counter(item.part for item in skeleton.parts if item.type in CONTROLLED)
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


def test_who_comes_first_may_be_settled_by_parts_of_another_kind() -> None:
    """By its time T1 comes before T2. Power flows from A to T1 and from T2 to B, so A comes before
    B, though its coil hangs on the later timer. With T2 first, A and B may come in any order."""
    problem = a_problem(STARTER, ("lamp",))
    parts = [
        part("A", PartType.RELAY_MAKE, STARTER),
        part("B", PartType.RELAY_MAKE, STARTER),
        part("T1", PartType.PULSE, STARTER, time=1000),
        part("T2", PartType.PULSE, STARTER, time=2000),
        load("lamp", kit=STARTER),
    ]
    feeds = {"A.in": "supply", "A.coil": "T2.out", "T1.in": "A.out", "T1.start": "supply"}
    feeds |= {"T2.in": "supply", "T2.start": "supply", "B.in": "T2.out", "B.coil": "T1.out"}
    assert namings(wiring(parts, feeds | {"lamp.in": "B.out"}), problem) == (3, 1)


def test_inputs_that_hang_on_several_outputs_say_nothing() -> None:
    """One coil hangs on two sensing parts, and that of the other relay on one in between."""
    kit = FREE["held"]
    problem = a_problem(kit, ("lamp", "fan"))
    sensing = {"night": PartType.TWILIGHT, "hot": PartType.SENSOR, "lever": PartType.SWITCH}
    for order in permutations(sensing):
        first, between, last = order
        parts = [
            part("night", PartType.TWILIGHT, kit, passes="night"),
            part("hot", PartType.SENSOR, kit, input="hot", contact="make"),
            part("lever", PartType.SWITCH, kit, input="lever", contact="make"),
            part("A", PartType.RELAY_MAKE, kit),
            part("B", PartType.RELAY_MAKE, kit),
            part("J", PartType.JOINT, kit),
            *(load(name, kit=kit) for name in ("lamp", "fan")),
        ]
        feeds = {f"{name}.in": "supply" for name in (*sensing, "A", "B")}
        feeds |= {"J.in1": f"{first}.out", "J.in2": f"{last}.out", "A.coil": "J.out"}
        feeds |= {"B.coil": f"{between}.out", "lamp.in": "A.out", "fan.in": "B.out"}
        assert namings(wiring(parts, feeds, kit), problem) == (2, 2)


def test_a_design_for_two_clocks_is_kept() -> None:
    """The timers in 4! orders, of which one goes by their times, and the relays of the two loops by
    the timers that their coils hang on: where all but the switch hangs on the supply or behind it,
    nothing but names is lost."""
    problem = pipeline.read_problem(None, TWO_CYCLES, None)
    parts, feeds = two_loops(problem.kit)
    assert namings(wiring(parts, feeds, problem.kit), problem) == (48, 1)
