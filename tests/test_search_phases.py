"""Few timers for loads that drift: what the search says they need, beside machines that do it.

A machine here is no circuit: from which timers run, which of them expire, and a position it gives
what starts, what is lost, and the next position. Circuits are such machines, with at most as many
positions as their relays have; so what any machine can do must not be ruled out.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from itertools import combinations_with_replacement, product
from math import lcm

import pytest
from check_designs import FULL, asked, load, part, wired

from synth import pipeline
from synth.check import check
from synth.parts.behaviour import PartType
from synth.problem import InputKind, OutsideInput
from synth.search.pending import timers_at_once
from synth.search.perpetual import Perpetual, Repeating
from synth.search.phases import Question, cannot_tell_phases, patterns, too_few_positions
from synth.signals import Cycle, Level, all_of

STEP = 10
Word = tuple[bool, ...]
"""The level of a load in each step of its period, from when its class begins."""
Timing = tuple[tuple[int, int] | None, ...]
"""For each timer its class and after how many instants of it it expires, if it runs."""


def repeating(classes: Sequence[Sequence[Word]], others: int = 0) -> Perpetual:
    """Return loads of these words, in classes that begin a tick apart."""
    groups = []
    for kind, words in enumerate(classes):
        group = []
        for number, word in enumerate(words):
            rise = next(i for i, level in enumerate(word) if level and not word[i - 1])
            length = len(word) * STEP
            on = sum(word) * STEP
            group.append(Repeating(f"{kind}.{number}", on, length - on, kind + rise * STEP))
        groups.append(tuple(group))
    return Perpetual(tuple(groups), STEP, "", (), others)


def one_pulse(on: int, off: int) -> Word:
    return (True,) * on + (False,) * off


# -- machines found step by step ------------------------------------------------------------------


class Machines:
    """Looks for a machine of timers of these settings and so many positions that does what is
    asked of all loads, however many steps the classes are apart; it is made up as it runs."""

    def __init__(self, settings: Sequence[int], count: int, classes: Sequence[Sequence[Word]]):
        self.settings, self.count, self.classes = settings, count, classes
        self.periods = [lcm(*(len(word) for word in words)) for words in classes]
        self.then: dict[tuple[object, ...], tuple[str, int]] = {}
        self.loads: dict[tuple[object, ...], tuple[bool, ...]] = {}
        kinds = range(len(classes))
        ways = [[None, *product(kinds, range(1, s + 1))] for s in settings]
        self.starts = [(timing, q) for timing in product(*ways) for q in range(count)]

    def any(self) -> bool:
        """Return whether there is such a machine."""
        apart = list(product(range(1), *(range(p) for p in self.periods[1:])))
        return self._all(apart)

    def _all(self, apart: Sequence[tuple[int, ...]]) -> bool:
        if not apart:
            return True
        # With phases as they are now, or a whole number of steps later: each comes round.
        return any(self._on(apart[1:], apart[0], 0, start, set()) for start in self.starts)

    def _on(
        self,
        rest: Sequence[tuple[int, ...]],
        phases: tuple[int, ...],
        kind: int,
        state: tuple[Timing, int],
        been: set[object],
    ) -> bool:
        """Return whether the machine can go on: the next instant is that of class `kind`."""
        timing, q = state
        key = (tuple(t is not None for t in timing), q)
        wanted = tuple(
            word[phase % len(word)]
            for phase, words in zip(phases, self.classes, strict=True)
            for word in words
        )
        if self.loads.get(key, wanted) != wanted:
            return False
        told = key not in self.loads
        self.loads[key] = wanted
        try:
            around = tuple(p % n for p, n in zip(phases, self.periods, strict=True))
            if (around, kind, state) in been:
                return self._all(rest)
            seen = been | {(around, kind, state)}
            return self._event(rest, phases, kind, state, seen)
        finally:
            if told:
                del self.loads[key]

    def _event(
        self,
        rest: Sequence[tuple[int, ...]],
        phases: tuple[int, ...],
        kind: int,
        state: tuple[Timing, int],
        been: set[object],
    ) -> bool:
        timing, q = state
        later = tuple(p + (i == kind) for i, p in enumerate(phases))
        following = (kind + 1) % len(self.classes)
        expired = tuple(t == (kind, 1) for t in timing)
        left = tuple(
            None if t == (kind, 1) else (kind, t[1] - 1) if t and t[0] == kind else t
            for t in timing
        )
        if not any(expired):
            return self._on(rest, later, following, (left, q), been)
        key = (tuple(t is not None for t in timing), expired, q)
        known = self.then.get(key)
        acts = [("s-" if t is None else "skl") for t in left]
        for what, to in [known] if known else self._ways(acts):
            after = tuple(
                (kind, s) if act == "s" else t if act == "k" else None
                for act, t, s in zip(what, left, self.settings, strict=True)
            )
            self.then[key] = (what, to)
            if self._on(rest, later, following, (after, to), been):
                return True
            if known is None:
                del self.then[key]
        return False

    def _ways(self, acts: Sequence[str]) -> Iterator[tuple[str, int]]:
        for what in product(*acts):
            for to in range(self.count):
                yield "".join(what), to


A, B, C = one_pulse(1, 1), one_pulse(1, 2), one_pulse(2, 2)
TINY = [
    *(([[a], [b]], timers) for timers in (2, 3) for a, b in ((A, A), (A, B), (B, B), (A, C))),
    ([[A], [A], []], 3),
    ([[A, C], [A]], 3),
    ([[A, B], [B]], 3),
]


@pytest.mark.parametrize(("classes", "timers"), TINY)
def test_what_is_ruled_out_no_machine_does(
    classes: list[list[Word]], timers: int
) -> None:
    for settings in combinations_with_replacement((1, 2), timers):
        for most in (1, 2) if timers == 2 or [A] in classes and [B] not in classes else (1,):
            if ruled_out(classes, settings, most):
                assert not Machines(settings, most, classes).any(), (settings, most)


@pytest.mark.parametrize(
    ("classes", "settings", "fewest"),
    [
        ([[A], [A]], (1, 1), 4),
        ([[A], [C]], (1, 2), 4),
        ([[A], [A]], (1, 1, 1), 2),
        ([[A], [A]], (1, 1, 2), 2),
        ([[A], [C]], (1, 2, 2), 2),
        # The third is too slow for what is to be seen: a bit is all that it is good for.
        ([[A], [A]], (1, 1, 12), 2),
        ([[A], [A], []], (1, 1, 1), 2),
    ],
)
def test_what_a_machine_does_is_not_ruled_out(
    classes: list[list[Word]], settings: tuple[int, ...], fewest: int
) -> None:
    assert Machines(settings, fewest, classes).any()
    assert not ruled_out(classes, settings, fewest)


@pytest.mark.parametrize(
    ("classes", "settings", "most"),
    [
        # Two timers alone count 2 x 3 phases, or 3 x 3.
        ([[A], [B]], (1, 1), 2),
        ([[B], [B]], (1, 1), 4),
        # Two of them cannot serve both, whatever is remembered.
        ([[A], [A]], (1, 2), 9),
        ([[A], [A, one_pulse(2, 14)]], (1, 2, 14), 9),
    ],
)
def test_what_is_ruled_out(
    classes: list[list[Word]], settings: tuple[int, ...], most: int
) -> None:
    assert ruled_out(classes, settings, most)
    if most < 3:
        assert not Machines(settings, most, classes).any()


def ruled_out(classes: Sequence[Sequence[Word]], settings: Sequence[int], most: int) -> bool:
    """Return what the search says of timers of just these settings."""
    with_loads = [words for words in classes if words]
    times = tuple(sorted({setting * STEP for setting in settings}))
    goes_on = repeating(with_loads, len(classes) - len(with_loads))
    goes_on = dataclasses.replace(goes_on, forced=times)
    if len(times) == len(settings):
        return too_few_positions(most, len(settings), goes_on, times)
    # Of settings that come more than once another choice may do: ask of this one alone.
    seen = patterns(goes_on)
    assert seen is not None
    return Question(tuple(settings), *seen).needed() > most


# -- circuits -------------------------------------------------------------------------------------

THREE = (
    "pump 10 s of every 60 s, master cutoff for pump, mister 15 s of every 15 min, "
    "stirrer 5 s of every 20 s"
)


def why_not(goals: str, *names: str) -> str:
    problem = pipeline.read_problem(None, goals, "full")
    parts = [problem.kit.index[name] for name in names]
    return cannot_tell_phases(parts, timers_at_once(problem).perpetual, problem.times)


def test_three_timers_for_three_cycles() -> None:
    """As many phases as 60 s, and 20 s, have steps of 5 s: a relay or two do not tell them."""
    three, four = ["pulse timer"] * 3, ["relay make"] * 4
    said = why_not(THREE, *three, "relay break", "relay break")
    assert said.startswith("3 pulse timers and relays with 2 positions in all cannot tell")
    assert why_not(THREE, *three, *four[:3])
    assert not why_not(THREE, *three, *four)
    assert not why_not(THREE, *three, "pulse timer", "relay break")
    # Of other parts with a running time nothing is said.
    assert not why_not(THREE, "pulse timer", "pulse timer", "recycler", "relay break")
    assert not why_not(THREE, "pulse timer", "pulse timer", "on-delay timer", "relay break")


@pytest.mark.parametrize(
    ("goals", "others"),
    [
        (THREE, 0),
        ("pump 10 s of every 60 s, m cutoff for pump, fan 5 s of every 20 s, n cutoff for fan", 1),
        ("pump 10 s of every 60 s, fan 5 s of every 20 s", 0),
    ],
)
def test_classes_without_loads_are_counted(goals: str, others: int) -> None:
    """Something may also start when the supply comes on, though no load does."""
    assert timers_at_once(pipeline.read_problem(None, goals, "full")).perpetual.others == others


def test_phases_are_not_free_where_an_input_does_not_last() -> None:
    problem = pipeline.read_problem(None, THREE, "full")
    inputs = tuple(
        dataclasses.replace(item, most_off=60_000) if item.name == "master" else item
        for item in problem.inputs
    )
    lasting = timers_at_once(dataclasses.replace(problem, inputs=inputs)).perpetual
    assert lasting.classes and lasting.others is None
    parts = [problem.kit.index[name] for name in [*["pulse timer"] * 3, "relay break"]]
    assert not cannot_tell_phases(parts, lasting, problem.times)


@pytest.mark.parametrize("halvings", [1, 2, 3])
def test_a_timer_with_relays_that_count_beside_two_that_take_turns(halvings: int) -> None:
    """One timer starts itself again, and impulse relays halve its pace; two others make a cycle
    behind a switch. The circuit passes the exact check, and nothing is said against its parts."""
    parts = [
        part("T", PartType.PULSE, time=1000),
        part("A", PartType.PULSE, time=1000),
        part("B", PartType.PULSE, time=3000),
        part("go", PartType.SWITCH, input="go", contact="make"),
        *(part(name, PartType.RELAY_BREAK) for name in ("Q", "R")),
        *(part(f"I{i}", PartType.IMPULSE) for i in range(halvings)),
    ]
    feeds = {"T.in": "supply", "Q.in": "supply", "T.start": "Q.out", "Q.coil": "T.out"}
    for i in range(halvings):
        feeds |= {f"I{i}.in": "supply", f"I{i}.pulse": f"I{i - 1}.out" if i else "Q.out"}
    feeds |= {"go.in": "supply", "A.in": "go.out", "B.in": "go.out", "R.in": "go.out"}
    feeds |= {"R.coil": "B.out", "A.start": "R.out", "B.start": "R.out"}
    feeds |= {"lamp.in": f"I{halvings - 1}.out", "fan.in": "A.out"}
    supply, half = Level("supply"), 1000 * 2 ** (halvings - 1)
    wishes = {
        "lamp": Cycle(supply, half, half),
        "fan": Cycle(all_of(supply, Level("go")), 1000, 2000),
    }
    lasting = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    switch = OutsideInput("go", InputKind.SWITCH)
    problem = asked(wishes, lasting, switch, times=(1000, 3000))
    design = wired([*parts, load("lamp"), load("fan")], feeds)
    assert check(design, problem).holds
    perpetual = timers_at_once(problem).perpetual
    assert len(perpetual.classes) == 2 and perpetual.others == 0
    kinds = [FULL.index[item.part] for item in parts]
    assert not cannot_tell_phases(kinds, perpetual, problem.times)
