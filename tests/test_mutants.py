"""Designs with one thing wrong: the exact check rejects each that does not do its job.

A planned, checked design is spoilt in one place: a wire moved to another output, two wires
swapped, a setting changed, a part swapped for another type with the same terminals. What the
check lets pass must also pass a plain simulation written apart from it, which tries all input
sequences at whole steps as far as it can see. What the check rejects must show a moment that the
concrete run reproduces.
"""

from __future__ import annotations

import dataclasses
import itertools
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from random import Random

import pytest
from check_designs import wired
from plain_simulation import STEP, first_failure, wanted_levels

from synth.check import check, simulate
from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal
from synth.parts.behaviour import SHAPES, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.pipeline import plan, read_problem
from synth.problem import Problem
from synth.result import Fault, Status, Verdict
from synth.signals import times_of

ROOT = Path(__file__).parent.parent

# The times are the files' own, shortened so that the plain simulation reaches the second turn.
SHORT = {
    "potting shed": "pump on 1 s of every 3 s, light always, heater at night, "
    "master cutoff for pump",
    "hen house": "lamp from dusk for 2 s, heater at night and while cold",
    "fan": "fan while damp or not cold",
    "bell": "bell for 2 s after bell push is pressed, light by day",
    "vent": "vent motor 2 s after hot",
}
KITS = {"vent": "full"}
PLANNED: dict[str, tuple[Design, Problem]] = {}


def planned(name: str) -> tuple[Design, Problem]:
    """Return the design planned for `name` (a file of goals, or one of SHORT), planned once."""
    if name not in PLANNED:
        if name in SHORT:
            problem = read_problem(None, SHORT[name], KITS.get(name))
        else:
            problem = read_problem(str(ROOT / "goals" / f"{name}.yaml"), None, None)
        outcome = plan(problem, seconds=30.0)
        assert outcome.status in (Status.PROVEN, Status.BEST_FOUND)
        assert outcome.design is not None and outcome.verdict is not None
        assert outcome.verdict.holds
        PLANNED[name] = outcome.design, problem
    return PLANNED[name]


def with_part(design: Design, part: PartInUse) -> Design:
    parts = tuple(part if old.name == part.name else old for old in design.parts)
    return dataclasses.replace(design, parts=parts)


def moved_wires(design: Design) -> Iterator[tuple[str, Design]]:
    """Each wire's beginning exchanged with another's; each wire moved to an unused output.

    Exchanging keeps one wire at each output, so that the mutant gets past the question whether
    it is well formed. Amounts stated at wires are left out: they are those of the old design.
    """
    wires = [dataclasses.replace(wire, units=None) for wire in design.wires]
    for first, second in itertools.combinations(range(len(wires)), 2):
        changed = list(wires)
        changed[first] = dataclasses.replace(wires[first], source=wires[second].source)
        changed[second] = dataclasses.replace(wires[second], source=wires[first].source)
        told = f"{wires[first].source} <-> {wires[second].source}"
        yield told, dataclasses.replace(design, wires=tuple(changed))
    outputs = [wire.source for wire in wires]
    for number, source in itertools.product(range(len(wires)), outputs):
        if source != wires[number].source:
            changed = list(wires)
            changed[number] = dataclasses.replace(wires[number], source=source)
            told = f"{wires[number].target} from {source}"
            yield told, dataclasses.replace(design, wires=tuple(changed))


def changed_settings(design: Design) -> Iterator[tuple[str, Design]]:
    """Each time a second longer, a second shorter and doubled; each choice the other way; each
    number of units one more and one less."""
    bare = dataclasses.replace(
        design, wires=tuple(dataclasses.replace(wire, units=None) for wire in design.wires)
    )
    other = {"make": "break", "break": "make", "night": "day", "day": "night"}
    other |= {"set": "reset", "reset": "set", "pulse": "pause", "pause": "pulse"}
    for part in design.parts:
        for key, value in part.settings:
            values: list[str | int] = []
            if key in TIME_SETTINGS and isinstance(value, int):
                values = [v for v in (value + 1000, value - 1000, 2 * value) if v > 0]
            elif key == "units" and isinstance(value, int):
                values = [value + 1, value - 1]
            elif value in other:
                values = [other[str(value)]]
            for new in values:
                settings = tuple((k, new if k == key else v) for k, v in part.settings)
                yield (
                    f"{part.name}: {key} {value} -> {new}",
                    with_part(bare, dataclasses.replace(part, settings=settings)),
                )


def swapped_parts(design: Design, kit: Kit) -> Iterator[tuple[str, Design]]:
    """Each part swapped for each other type of the kit that has the same terminals."""
    for part in design.parts:
        for offer in kit.parts:
            if offer.type is part.type or SHAPES[offer.type] != SHAPES[part.type]:
                continue
            if offer.type in (PartType.SWITCH, PartType.PUSH_BUTTON, PartType.SENSOR):
                continue  # they follow inputs of another kind
            if offer.type in TIMED and part.setting("time") is None:
                settings: tuple[tuple[str, str | int], ...] = (("time", 1000),)
            elif offer.type is PartType.TWILIGHT:
                settings = (("passes", "night"),)
            else:
                settings = part.settings
            if offer.type is PartType.RECYCLER:
                settings = (("on", 1000), ("off", 1000), ("first", "pulse"))
            new = PartInUse(part.name, offer.type, offer.name, settings)
            yield f"{part.name}: {part.type} -> {offer.type}", with_part(design, new)


def rewired(design: Design, kit: Kit) -> Iterator[tuple[str, Design]]:
    """Each consumer fed from each other contact, with power shared anew so that all get enough.

    These are well formed and short of nothing: only what they do can be wrong with them. Those
    with a ring of power wires cannot be shared out and are left away.
    """
    source = {wire.target: wire.source for wire in design.wires}
    kinds = {part.name: part.type for part in design.parts}
    parts = [p for p in design.parts if p.type not in SPLITTING and p.type is not PartType.SUPPLY]

    def behind(output: Terminal) -> Terminal:
        while kinds[output.part] in SPLITTING:
            output = source[Terminal(output.part, "in")]
        return output

    feeds = {t: behind(s) for t, s in source.items() if kinds[t.part] not in SPLITTING}
    outputs = list(dict.fromkeys(feeds.values()))

    power = {p.name: kit.index[p.part].shape.power for p in parts}

    def ring(fed: dict[Terminal, Terminal], start: str, at: str) -> bool:
        ways = [fed[Terminal(at, terminal)].part for terminal in power.get(at, ())]
        return any(way == start or ring(fed, start, way) for way in ways)

    for target, output in itertools.product(feeds, outputs):
        if output != feeds[target] and output.part != target.part:
            fed = {**feeds, target: output}
            is_power = target.terminal in power[target.part]
            if not (is_power and ring(fed, target.part, target.part)):
                words = {f"{t.part}.{t.terminal}": f"{o.part}.{o.terminal}" for t, o in fed.items()}
                yield f"{target} behind {output}", wired(parts, words, kit)


def mutants(design: Design, kit: Kit) -> list[tuple[str, Design]]:
    return [*moved_wires(design), *changed_settings(design), *swapped_parts(design, kit)]


def shows_why(design: Design, problem: Problem, verdict: Verdict) -> None:
    """Assert that every rejected design's goal defects go wrong in a concrete run."""
    assert verdict.defects
    chatters = any(defect.fault is Fault.CHATTER for defect in verdict.defects)
    for defect in verdict.defects:
        shown = defect.counterexample
        if defect.fault is not Fault.GOAL or shown is None or chatters:
            assert defect.message
            continue
        end = shown.moments[-1].time
        run = simulate(design, problem, shown.moments, end + 1)
        track = next(t for t in run.tracks if t.role == "load" and t.name == shown.load)
        wanted = wanted_levels(problem, shown.moments, end)[shown.load][-1]
        assert wanted == (end, shown.expected)
        assert track.level(end) is shown.got is not shown.expected


def survivors(
    design: Design, problem: Problem, spoilt: Iterable[tuple[str, Design]]
) -> tuple[int, list[tuple[str, Design]]]:
    """Return how many mutants the check rejects, and those it lets pass."""
    rejected, passed = 0, []
    for told, mutant in spoilt:
        verdict = check(mutant, problem)
        if verdict.holds:
            passed.append((told, mutant))
        else:
            rejected += 1
            shows_why(mutant, problem, verdict)
    return rejected, passed


def steps_needed(problem: Problem) -> int:
    """Return the steps of the plain simulation that see every time run out twice."""
    times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
    return 2 * sum(times) // STEP + 2 if times else 4


def test_plain_simulation_sees_a_spoilt_design() -> None:
    """The reference itself has teeth: it finds the failure of a timer one second too long."""
    design, problem = planned("potting shed")
    told, mutant = next(
        (told, mutant) for told, mutant in changed_settings(design) if ": time 3000 -> 4000" in told
    )
    assert first_failure(mutant, problem, steps_needed(problem), 0) is not None, told
    assert first_failure(design, problem, steps_needed(problem), 1) is None


@pytest.mark.parametrize("name", SHORT)
def test_what_passes_passes_the_plain_simulation_too(name: str) -> None:
    design, problem = planned(name)
    everything = mutants(design, problem.kit)
    sample = Random(1).sample(everything, min(60, len(everything)))
    rejected, passed = survivors(design, problem, sample)
    for told, mutant in passed:
        assert first_failure(mutant, problem, steps_needed(problem), 1) is None, told
    assert rejected >= 0.9 * len(sample), [told for told, _ in passed]


@pytest.mark.parametrize("name", [*SHORT, "potting-shed"])
def test_rewired_circuits_fail_in_what_they_do(name: str) -> None:
    design, problem = planned(name)
    everything = list(rewired(design, problem.kit))
    rejected, passed = survivors(design, problem, everything)
    for told, mutant in everything:
        faults = {defect.fault for defect in check(mutant, problem).defects}
        assert not faults & {Fault.UNITS, Fault.STRUCTURE}, told
    if name in SHORT:
        for told, mutant in passed:
            assert first_failure(mutant, problem, steps_needed(problem), 2) is None, told
    assert rejected >= 0.8 * len(everything), [told for told, _ in passed]


@pytest.mark.parametrize("name", ["potting-shed"])
def test_files_of_goals(name: str) -> None:
    """At the true times; what passes is only what cannot matter: more power than is needed, or
    an exchange of two ways that carry the same."""
    design, problem = planned(name)
    everything = mutants(design, problem.kit)
    sample = Random(1).sample(everything, min(60, len(everything)))
    rejected, passed = survivors(design, problem, sample)
    assert rejected >= 0.9 * len(sample), [told for told, _ in passed]
    for told, _ in passed:
        assert " <-> " in told or re.fullmatch(r"supply: units (\d+) -> \d+", told), told


@pytest.mark.slow
@pytest.mark.parametrize("name", [*SHORT, "potting-shed", "hen-house"])
def test_all_mutants(name: str) -> None:
    design, problem = planned(name)
    everything = mutants(design, problem.kit)
    rejected, passed = survivors(design, problem, everything)
    assert rejected >= 0.9 * len(everything), [told for told, _ in passed]
    if name in SHORT:
        for told, mutant in passed:
            assert first_failure(mutant, problem, steps_needed(problem), 2) is None, told
