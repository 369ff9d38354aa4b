"""Few timers for loads that drift: what the search says they need, beside machines that do it.

A machine here is no circuit: from which timers run, which of them expire, and a position it gives
what starts, what is lost, and the next position. Circuits are such machines, with at most as many
positions as their relays have; so what any machine can do must not be ruled out.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from itertools import combinations_with_replacement, pairwise, product
from math import lcm

import pytest
from check_designs import FULL, asked, load, part, wired

from synth import pipeline
from synth.check import check
from synth.parts.behaviour import PartType
from synth.parts.kit import Times
from synth.problem import InputKind, OutsideInput
from synth.search.pending import timers_at_once
from synth.search.perpetual import Perpetual, Repeating, positions
from synth.search.phases import (
    Pattern,
    Question,
    Timings,
    cannot_tell_phases,
    patterns,
    positions_needed,
)
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


def test_what_is_to_be_seen_of_a_class() -> None:
    """By hand: in twelve steps a load of period 4 changes at 0, 2, 4, ..., one of 6 at 0, 1, 6, 7;
    one of 60 comes round too late to be seen of all phases."""
    seen = patterns(repeating([[one_pulse(2, 2), one_pulse(1, 5)], [one_pulse(1, 1)]]))
    both, every = frozenset({0, 1, 2, 4, 6, 7, 8, 10}), frozenset({0, 1})
    assert seen == ((Pattern(12, both, 12), Pattern(2, every, 2)), 6)
    seen = patterns(repeating([[one_pulse(2, 2)], [one_pulse(30, 30)]]))
    assert seen == ((Pattern(4, frozenset({0, 2}), 4), Pattern(1, frozenset(), 60)), 4)


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
        ([[C], [A]], (1, 2, 20), 2),
        ([[A], [A], []], (1, 1, 1), 2),
        # Two that are too slow: all is told by which of them run.
        ([[A], [A]], (1, 1, 14, 14), 1),
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
        return positions_needed(len(settings), goes_on, times) > most
    # Of settings that come more than once another choice may do: ask of this one alone.
    seen = patterns(goes_on)
    assert seen is not None
    return Question.of(settings, *seen).needed() > most


def goes_on(
    timing: Timing,
    phases: tuple[int, ...],
    steps: int,
    settings: Sequence[int],
    wanted: Sequence[Pattern],
    busy: Sequence[bool],
    kind: int = 0,
) -> bool:
    """Return whether there is a way on for so many steps, whatever is started or lost at an event:
    the next instant is that of class `kind`, `phases` are of the steps begun last."""
    if kind == len(wanted):
        return goes_on(timing, phases, steps - 1, settings, wanted, busy)
    if not all(any(t and t[0] == k for t in timing) for k, must in enumerate(busy) if must):
        return False
    if not steps:
        return True
    later = list(phases)
    later[kind] = (phases[kind] + 1) % wanted[kind].period
    rest = (tuple(later), steps, settings, wanted, busy, kind + 1)
    left = [
        None if t == (kind, 1) else (kind, t[1] - 1) if t and t[0] == kind else t for t in timing
    ]
    if (kind, 1) not in timing:
        return later[kind] not in wanted[kind].changes and goes_on(tuple(left), *rest)
    acts = [{None, old, (kind, setting)} for old, setting in zip(left, settings, strict=True)]
    return any(goes_on(after, *rest) for after in product(*acts))


@pytest.mark.parametrize(
    ("classes", "settings"),
    [
        ([[A], [A]], (1, 2)),
        ([[B], [A]], (2, 2)),
        ([[C], [A], []], (1, 2)),
        ([[A], [B]], (1, 1, 2)),
        ([[A], []], (2, 3)),
        # There is a way on only if two timers may start at one instant.
        ([[A], [B]], (1, 2, 2)),
        # As many phases as a word has bits.
        ([[one_pulse(1, 7)], [one_pulse(3, 5)]], (1, 2)),
    ],
)
def test_timings_go_on_as_all_that_may_happen_does(
    classes: list[list[Word]], settings: tuple[int, ...]
) -> None:
    """Step by step, with timers that are lost as well, of which the search does without."""
    seen = patterns(repeating([words for words in classes if words]))
    assert seen is not None
    wanted = (*seen[0], *[Pattern(1, frozenset(), 1)] * classes.count([]))
    busy = [pattern.whole > 1 for pattern in wanted]
    timings = Timings(settings, wanted, busy)
    phases = list(product(*(range(pattern.period) for pattern in wanted)))
    runs: list[list[tuple[int, int] | None]] = [
        [None, *product(range(len(wanted)), range(1, setting + 1))] for setting in settings
    ]
    changed, before = True, None
    for steps in range(4):
        alive = {
            (timing, phase)
            for timing, word in zip(product(*runs), timings.alive.flat, strict=True)
            for bit, phase in enumerate(phases)
            if int(word) >> bit & 1
        }
        assert alive == {
            (timing, phase)
            for timing in product(*runs)
            for phase in phases
            if goes_on(timing, phase, steps, settings, wanted, busy)
        }
        each = [sum(phase == of for _, phase in alive) for of in phases]
        assert timings.left() == (min(each), len({timing for timing, _ in alive}))
        assert changed == (alive != before)
        changed, before = timings.thin_out(1), alive


def steps_seen(classes: Sequence[Sequence[Word]]) -> int:
    """Return how many steps in a row it takes until loads have been in all phases that they come
    to, with enough steps left at each that it differs from all other phases."""
    words = [(kind, word) for kind, group in enumerate(classes) for word in group]
    lengths = [lcm(*(len(word) for word in group)) for group in classes]
    around = lcm(*lengths)
    runs = {
        phases: [
            tuple(word[(phases[kind] + i) % len(word)] for kind, word in words)
            for i in range(around)
        ]
        for phases in product(*(range(length) for length in lengths))
    }
    enough = next(
        steps for steps in range(1, around + 1)
        if len({tuple(run[:steps]) for run in runs.values()}) == len(runs)
    )
    return around - 1 + enough


@pytest.mark.parametrize("slow", [1, 2, 3])
@pytest.mark.parametrize(
    "classes",
    [[[A], [A]], [[one_pulse(1, 2)], [one_pulse(1, 3)]], [[one_pulse(1, 5)], [one_pulse(1, 5)]]],
)
def test_slow_timers_leave_as_many_steps_alone(classes: list[list[Word]], slow: int) -> None:
    """Where each starts again at once, and they are spread evenly, none leaves more."""
    seen = patterns(repeating(classes))
    assert seen is not None
    ahead = set()
    for setting in range(4, 120):
        question = Question.of((1, 1, *[setting] * slow), *seen)
        if question.slow != slow:
            assert question.slow < slow and not ahead
            continue
        expire = [setting * i // slow for i in range(slow + 1)]
        alone = max(b - a - 1 for a, b in pairwise(expire))
        assert steps_seen(classes) + question.ahead <= alone, setting
        ahead.add(question.ahead)
    assert min(ahead) == 0 and len(ahead) > 1


@pytest.mark.parametrize("settings", [(1, 1), (1, 2, 20), (2, 2, 300), (2, 3, 300)])
@pytest.mark.parametrize("period", [2, 3, 60])
def test_what_takes_no_effort_is_below_what_does(settings: tuple[int, ...], period: int) -> None:
    wanted = Pattern(period, frozenset({0, 1}), period), Pattern(1, frozenset(), 1)
    question = Question.of(settings, wanted, period)
    assert question.at_least <= question.needed()


@pytest.mark.parametrize(
    ("classes", "timers", "offered"),
    [
        ([[A], [A]], 2, (1, 2, 3)),
        ([[A], [B]], 2, (1, 2)),
        ([[A, C], [one_pulse(1, 3)]], 2, (1, 2, 3, 30)),
        ([[one_pulse(3, 3)], [one_pulse(1, 9)]], 2, (1, 3, 40, 50)),
        ([[one_pulse(1, 7)], [one_pulse(1, 7)]], 3, (1, 2, 7)),
    ],
)
def test_as_many_positions_as_the_best_choice_of_settings_needs(
    classes: list[list[Word]], timers: int, offered: tuple[int, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Whatever is looked at first; and where there is no effort left for all, no more."""
    loads = repeating(classes)
    seen, times = patterns(loads), tuple(STEP * setting for setting in offered)
    assert seen is not None
    asked = [Question.of(c, *seen) for c in combinations_with_replacement(offered, timers)]
    least = max(1, min(question.needed() for question in asked))
    cheap = max(1, min(question.at_least for question in asked))
    assert positions_needed.__wrapped__(timers, loads, times) == least
    for effort in (0, *(question.timings for question in asked)):
        monkeypatch.setattr("synth.search.phases.MOST_EFFORT", effort)
        assert cheap <= positions_needed.__wrapped__(timers, loads, times) <= least


def test_too_little_effort_for_any_choice_still_tells_something(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """64 phases; each of two timers of a step is idle, or runs in one of two classes."""
    loads = repeating([[one_pulse(1, 7)], [one_pulse(1, 7)]])
    monkeypatch.setattr("synth.search.phases.MOST_EFFORT", 0)
    assert positions_needed.__wrapped__(2, loads, (STEP,)) == 64 / 9


def test_nothing_is_said_of_loads_that_no_timer_keeps() -> None:
    """Of loads that are on for less than a step, all phases are one."""
    short = [(Repeating(name, 3, 4, i),) for i, name in enumerate(("lamp", "fan"))]
    loads = Perpetual(tuple(short), STEP, "", (), 0)
    assert patterns(loads) is None
    assert positions_needed(2, loads, (STEP,)) == 1


# -- circuits -------------------------------------------------------------------------------------

THREE = (
    "pump 10 s of every 60 s, master cutoff for pump, mister 15 s of every 15 min, "
    "stirrer 5 s of every 20 s"
)


def why_not(goals: str, *names: str, joints: bool = True) -> str:
    problem = pipeline.read_problem(None, goals, "full")
    parts = [problem.kit.index[name] for name in names]
    return cannot_tell_phases(parts, timers_at_once(problem).perpetual, problem.times, joints)


def test_three_timers_for_three_cycles() -> None:
    """As many phases as 60 s, and 20 s, have steps of 5 s: a relay or two do not tell them."""
    three, four = ["pulse timer"] * 3, ["relay make"] * 4
    said = why_not(THREE, *three, "relay break", "relay break")
    assert said.startswith("3 pulse timers and relays with 2 positions in all cannot tell")
    assert why_not(THREE, *three, *four[:3])
    assert not why_not(THREE, *three, *four)
    # Without joints make relays remember nothing, and with joints no more than these.
    assert why_not(THREE, *three, *four, joints=False)
    assert why_not(THREE, *three, *four, *["joint"] * 3, joints=False)
    assert not why_not(THREE, *three, *four, *["joint"] * 4, joints=False)
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
    perpetual = timers_at_once(pipeline.read_problem(None, goals, "full")).perpetual
    assert perpetual.others == others
    seen = patterns(perpetual)
    assert seen is not None and len(seen[0]) == len(perpetual.classes) + others


def test_phases_are_not_free_where_an_input_does_not_last() -> None:
    problem = pipeline.read_problem(None, THREE, "full")
    inputs = tuple(
        dataclasses.replace(item, most_off=60_000) if item.name == "master" else item
        for item in problem.inputs
    )
    lasting = timers_at_once(dataclasses.replace(problem, inputs=inputs)).perpetual
    assert lasting.classes and lasting.others is None
    parts = [problem.kit.index[name] for name in [*["pulse timer"] * 3, "relay break"]]
    assert not cannot_tell_phases(parts, lasting, problem.times, True)


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
    assert not cannot_tell_phases(kinds, perpetual, problem.times, False)
    # Nor where the two settings are those of different kinds of pulse timer.
    lines = {1000: Times(1000, 1000, 1000), 3000: Times(2000, 9000, 1000)}
    narrow = [
        dataclasses.replace(FULL.index[item.part], times=lines.get(int(item.setting("time") or 0)))
        for item in parts
    ]
    assert not cannot_tell_phases(narrow, perpetual, problem.times, False)


def test_slow_timers_keep_a_cycle_of_their_own() -> None:
    """One timer starts itself again, and an impulse relay makes a cycle of it; two slow ones take
    turns behind a switch. What is to be seen soon is up to the fast one, which serves one load."""
    parts = [
        *(part(f"T{time}", PartType.PULSE, time=1000 * time) for time in (1, 30, 60)),
        *(part(name, PartType.RELAY_BREAK) for name in ("Q", "R")),
        part("I", PartType.IMPULSE),
        part("go", PartType.SWITCH, input="go", contact="make"),
    ]
    feeds = {"T1.in": "supply", "Q.in": "supply", "T1.start": "Q.out", "Q.coil": "T1.out"}
    feeds |= {"I.in": "supply", "I.pulse": "Q.out", "go.in": "supply", "R.in": "go.out"}
    feeds |= {"T30.in": "go.out", "T60.in": "go.out", "T30.start": "R.out", "T60.start": "R.out"}
    feeds |= {"R.coil": "T60.out", "lamp.in": "I.out", "fan.in": "T30.out"}
    supply = Level("supply")
    wishes = {
        "lamp": Cycle(supply, 1000, 1000),
        "fan": Cycle(all_of(supply, Level("go")), 30_000, 30_000),
    }
    lasting = OutsideInput("supply", InputKind.SUPPLY, steady=True)
    switch = OutsideInput("go", InputKind.SWITCH)
    problem = asked(wishes, lasting, switch, times=(1000, 30_000, 60_000))
    assert check(wired([*parts, load("lamp"), load("fan")], feeds), problem).holds
    perpetual = timers_at_once(problem).perpetual
    seen = patterns(perpetual)
    assert seen is not None and len(perpetual.classes) == 2
    question = Question.of((1, 30, 60), *seen)
    assert question.slow == 2
    assert question.needed() <= positions([FULL.index[item.part] for item in parts], joints=False)
