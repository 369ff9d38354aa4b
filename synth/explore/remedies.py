"""What would put a faulty design right: small changes, each checked until one holds.

A design that was built or typed by hand fails most often by one slip: two wires exchanged, a
contact that makes where it must break, a wrong time, a relay of the other kind. So single changes
are gone through, the simplest first, and where none of them is enough, those that leave less wrong
are tried with a second one. A change can only mend a load if it bears on that load: what touches
no part that feeds or controls it is passed over. Nothing is claimed but what the check says.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import CONTROLLED, LEVERS, SENSING, TIMED, PartType
from synth.problem import InputKind, Problem
from synth.remedy import Remedies, Remedy
from synth.result import Defect, Fault
from synth.ticks import format_duration

MOST_FOUND = 5
"""So many remedies are enough to choose from."""
MOST_CHECKED = 600
"""Most changes that are checked, of one design; most designs by hand have fewer that bear on what
is wrong."""
MOST_BEGUN = 60
"""Of the changes that leave less wrong, so many are tried with a second one."""
FOLLOWED = {
    PartType.SWITCH: InputKind.SWITCH,
    PartType.PUSH_BUTTON: InputKind.BUTTON,
    PartType.SENSOR: InputKind.SENSOR,
    PartType.TWILIGHT: InputKind.NIGHT,
}
"""Which kind of input each type of sensing part follows."""
MOST_UNITS = 4096
"""The supply is set to so many units at most."""

Built = Callable[[Design], tuple[Defect, ...]]
"""Says what is wrong with how a design is built."""
Judge = Callable[[Design, Sequence[str]], tuple[Defect, ...] | None]
"""Says what is wrong with a design that is well built: how some loads fail if any of these does,
else all that fails; None where it is not known in time."""


@dataclass(frozen=True)
class Change:
    """One small change: what is done, the design after it, and the parts that it bears on first."""

    step: str
    design: Design
    bears_on: frozenset[str]
    wires: tuple[int, ...] = ()
    parts: tuple[str, ...] = ()


def remedies(
    design: Design,
    defects: tuple[Defect, ...],
    problem: Problem,
    built: Built,
    judge: Judge,
    over: Callable[[], bool],
    changes: Callable[[Design, Problem], Iterator[Change]] | None = None,
    fit: Callable[[Design], Design] | None = None,
) -> Remedies:
    """Return small changes after which `design` holds, of which the check found `defects`.

    At most `MOST_CHECKED` changed designs are judged; no more once `over` says so. `changes`: those
    that are looked at, if not those of a slip. `fit` sets what splits power to what is needed;
    without it only the supply is.
    """
    return _Seeker(problem, built, judge, over, changes or _changes, fit).remedies(design, defects)


class _Seeker:
    def __init__(
        self,
        problem: Problem,
        built: Built,
        judge: Judge,
        over: Callable[[], bool],
        changes: Callable[[Design, Problem], Iterator[Change]],
        fit: Callable[[Design], Design] | None,
    ) -> None:
        self.changes, self.fit = changes, fit
        self.problem = problem
        self.built = built
        self.judge = judge
        self.over = over
        self.tried = 0
        self.checked = 0
        self.cut_short = False
        """Whether there was no time to say of some change what comes of it."""

    def remedies(self, design: Design, defects: tuple[Defect, ...]) -> Remedies:
        """See `remedies`."""
        if all(defect.fault is Fault.LIMIT for defect in defects):
            return Remedies()  # it does what it should; what it is made of is another question
        found: list[Remedy] = []
        better: list[tuple[_Wrong, int, Change, tuple[Defect, ...]]] = []
        before = _how_wrong(defects)
        for all_of_it in (True, False):
            for change, after in self._after(design, defects, all_of_it):
                if not after:
                    found.append(_remedy([change], design))
                elif (left := _how_wrong(after)) < before:
                    better.append((left, len(better), change, after))
                if _enough(found) or (found and not change.step):
                    return Remedies(_best(found), self.tried, False)
            if found:
                return Remedies(_best(found), self.tried, not self.cut_short)
        better.sort(key=lambda item: item[:2])
        for _, _, first, rest in better[:MOST_BEGUN]:
            for second, after in self._after(first.design, rest, True):
                if not after:
                    both = _remedy([first, second], design)
                    # The same two may be found the other way round.
                    if all(set(both.steps) != set(other.steps) for other in found):
                        found.append(both)
                    break
            if _enough(found):
                break
        return Remedies(_best(found), self.tried, not self.cut_short)

    def _after(
        self, design: Design, defects: tuple[Defect, ...], all_of_it: bool
    ) -> Iterator[tuple[Change, tuple[Defect, ...]]]:
        """Yield the changes of a design that may put right all that is wrong, or else only some of
        it, with what is wrong after each."""
        loads = sorted({d.counterexample.load for d in defects if d.counterexample} - {""})
        cones = [_upstream(design, load) for load in loads]
        unbuilt = _how_wrong(defects)[0]
        counted = sum(d.fault in (Fault.UNITS, Fault.LIMIT) for d in defects)
        for change in self.changes(design, self.problem):
            if self.over():
                self.cut_short = True
                return
            bears = [bool(cone & change.bears_on) for cone in cones]
            if all(bears) is not all_of_it or (cones and not any(bears)):
                continue
            self.tried += 1
            changed, wrong = self._with_enough(change.design)
            if left := _how_wrong(wrong)[0]:
                if left < unbuilt:
                    yield change, wrong
                continue
            if len(wrong) > counted:
                continue
            if self.checked == MOST_CHECKED:
                self.cut_short = True
                return
            self.checked += 1
            after = self.judge(changed, loads)
            if after is None:
                self.cut_short = True
            else:
                yield replace(change, design=changed), after

    def _with_enough(self, design: Design) -> tuple[Design, tuple[Defect, ...]]:
        """Return the design with a supply that is large enough, where that is all it lacks; and
        what is wrong with how it is built."""
        if self.fit is not None:
            design = self.fit(design)
        wrong = self.built(design)
        if self.fit is not None or not wrong or any(d.fault is not Fault.UNITS for d in wrong):
            return design, wrong
        low, high = design.supply, max(1, design.supply)
        while high < MOST_UNITS and self.built(_supplied(design, high)):
            low, high = high, 2 * high
        # Every rule of sharing hands on more where there is more, so this is the least.
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.built(_supplied(design, middle)) else (low, middle)
        enough = _supplied(design, high)
        return (design, wrong) if self.built(enough) else (enough, ())


_Wrong = tuple[int, int, Fraction]


def _how_wrong(defects: tuple[Defect, ...]) -> _Wrong:
    """Return how much is wrong: with the build, and with what the circuit does; what goes wrong
    later is less wrong."""
    build = sum(defect.fault is Fault.STRUCTURE for defect in defects)
    examples = [d.counterexample for d in defects if d.counterexample]
    until = sum((e.moments[-1].time for e in examples if e.moments), Fraction(0))
    return build, len(defects) - build, -until


def _enough(found: Sequence[Remedy]) -> bool:
    return sum(remedy.supply is None for remedy in found) >= MOST_FOUND


def _best(found: Sequence[Remedy]) -> tuple[Remedy, ...]:
    """Return the remedies to be told: those first for which the supply may stay as it is."""
    return tuple(sorted(found, key=lambda remedy: remedy.supply is not None)[:MOST_FOUND])


def _remedy(changes: list[Change], before: Design) -> Remedy:
    """Return what is done by some changes, one after the other."""
    supply = changes[-1].design.supply
    steps = [change.step for change in changes if change.step]
    if not steps and supply == before.supply:
        steps = ["correct the units that are written at the wires: all else is right"]
    return Remedy(
        tuple(steps),
        tuple(dict.fromkeys(number for change in changes for number in change.wires)),
        tuple(dict.fromkeys(name for change in changes for name in change.parts)),
        supply if supply != before.supply else None,
        changes[-1].design,
    )


def _upstream(design: Design, load: str) -> frozenset[str]:
    """Return a load and all parts that feed or control it."""
    behind: dict[str, set[str]] = {}
    for wire in design.wires:
        behind.setdefault(wire.target.part, set()).add(wire.source.part)
    found, waiting = set[str](), [load]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += behind.get(name, ())
    return frozenset(found)


def _supplied(design: Design, units: int) -> Design:
    """Return the design with its supply set to so many units, and no word of what wires carry."""
    return replace(
        design,
        parts=tuple(
            _set(part, "units", units) if part.type is PartType.SUPPLY else part
            for part in design.parts
        ),
        wires=tuple(replace(wire, units=None) for wire in design.wires),
    )


def _set(part: PartInUse, key: str, value: str | int) -> PartInUse:
    return replace(part, settings=tuple({**dict(part.settings), key: value}.items()))


# -- the changes ---------------------------------------------------------------------------------


def _changes(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield all single changes that are looked at, the simplest first."""
    design = _supplied(design, design.supply)
    # What is left out here of the wires' units may be all that is wrong, or that the supply is set
    # too small, which is looked at with every change.
    yield Change("", design, frozenset(part.name for part in design.parts))
    yield from settings(design, problem)
    yield from _exchanged(design)
    yield from _moved(design, problem)
    yield from other_parts(design, problem)


def settings(design: Design, problem: Problem, inputs: bool = True) -> Iterator[Change]:
    """Yield each other setting of one part: contact, time, what wins or comes first, and with
    `inputs` the input that it follows."""
    for part in design.parts:
        offer = problem.kit.index.get(part.part)
        if offer is None or offer.type is not part.type:
            continue
        values: dict[str, list[str | int]] = {}
        for key, now in part.settings:
            if key in ("contact", "passes", "wins", "first"):
                values[key] = [option for option in offer.options if option != now]
            elif key in TIME_SETTINGS and offer.times is not None:
                values[key] = [t for t in problem.times if t != now and t in offer.times]
            elif key == "input" and part.type in SENSING and inputs:
                values[key] = [*_inputs_for(part, problem, str(now))]
            elif key == "units" and part.type is PartType.TAP_OFF and isinstance(now, int):
                values[key] = [units for units in range(1, design.supply) if units != now]
        for key, others in values.items():
            for value in others:
                yield Change(
                    _set_in_words(part, key, value),
                    _with_part(design, part, _set(part, key, value)),
                    frozenset({part.name}),
                    parts=(part.name,),
                )


def _inputs_for(part: PartInUse, problem: Problem, now: str) -> Iterator[str]:
    """Yield the other inputs that a sensing part may follow."""
    if part.type is PartType.TWILIGHT:
        return
    for item in problem.inputs:
        if item.kind is FOLLOWED[part.type] and item.name != now:
            yield item.name


def _set_in_words(part: PartInUse, key: str, value: str | int) -> str:
    said = format_duration(value) if isinstance(value, int) and key != "units" else str(value)
    match key:
        case "contact":
            return f"use a {value} contact in {part.name}"
        case "input":
            what = "be worked by" if part.type in LEVERS else "sense"
            return f"let {part.name} {what} '{value}'"
        case "passes":
            return f"set {part.name} to pass by {value}"
        case "wins":
            return f"set {part.name} so that {value} wins"
        case "first":
            return f"set {part.name} so that the {value} comes first"
        case "on" | "off":
            return f"set the {key}-time of {part.name} to {said}"
        case "units":
            return f"set {part.name} to {value} {'unit' if value == 1 else 'units'}"
        case _:
            return f"set {part.name} to {said}"


def _with_part(design: Design, part: PartInUse, other: PartInUse) -> Design:
    return replace(design, parts=tuple(other if p is part else p for p in design.parts))


def _with_wires(design: Design, changed: dict[int, Wire]) -> Design:
    """Return the design with some wires, by their places, as they are in `changed`."""
    return replace(
        design, wires=tuple(changed.get(place, wire) for place, wire in enumerate(design.wires))
    )


def _exchanged(design: Design) -> Iterator[Change]:
    """Yield each design in which two wires end where the other one did."""
    for (i, one), (j, other) in combinations(enumerate(design.wires), 2):
        if one.target == other.target or one.source == other.source:
            continue
        changed = {
            i: replace(one, target=other.target),
            j: replace(other, target=one.target),
        }
        yield Change(
            f"exchange the ends of wires {one.number} and {other.number}: wire {one.number} to "
            f"{other.target}, wire {other.number} to {one.target}",
            _with_wires(design, changed),
            frozenset({one.target.part, other.target.part}),
            (one.number, other.number),
        )


def _moved(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield each design with one wire more, or less, or moved, where a terminal has too few wires
    or too many."""
    outputs, inputs = _terminals(design, problem)
    sources = Counter(wire.source for wire in design.wires)
    targets = Counter(wire.target for wire in design.wires)
    free = [end for end in outputs if not sources[end]]
    open_ = [end for end in inputs if not targets[end]]
    for place, wire in enumerate(design.wires):
        for end in open_:
            yield Change(
                f"let wire {wire.number} end at {end}, not at {wire.target}",
                _with_wires(design, {place: replace(wire, target=end)}),
                frozenset({end.part, wire.target.part}),
                (wire.number,),
            )
        for end in free:
            yield Change(
                f"let wire {wire.number} come from {end}, not from {wire.source}",
                _with_wires(design, {place: replace(wire, source=end)}),
                frozenset({wire.target.part}),
                (wire.number,),
            )
        if sources[wire.source] > 1 or targets[wire.target] > 1:
            yield Change(
                f"take away wire {wire.number}, from {wire.source} to {wire.target}",
                replace(design, wires=tuple(w for w in design.wires if w is not wire)),
                frozenset({wire.target.part}),
                (wire.number,),
            )
    number = design.highest + 1
    for target in open_:
        for source in free:
            yield Change(
                f"put a wire from {source} to {target}",
                replace(design, wires=(*design.wires, Wire(number, source, target))),
                frozenset({target.part}),
                (number,),
            )


def _terminals(design: Design, problem: Problem) -> tuple[list[Terminal], list[Terminal]]:
    """Return all outputs and all inputs of the parts that the kit has."""
    outputs: list[Terminal] = []
    inputs: list[Terminal] = []
    for part in design.parts:
        offer = problem.kit.index.get(part.part)
        if offer is not None and offer.type is part.type:
            outputs += [Terminal(part.name, name) for name in offer.shape.outputs]
            inputs += [
                Terminal(part.name, name) for name in (*offer.shape.power, *offer.shape.controls)
            ]
    return outputs, inputs


def other_parts(design: Design, problem: Problem) -> Iterator[Change]:
    """Yield each design with a relay or timer of another kind, with the same terminals, in place
    of one."""
    for part in design.parts:
        offer = problem.kit.index.get(part.part)
        if offer is None or part.type not in CONTROLLED or offer.type is not part.type:
            continue
        for other in problem.kit.parts:
            if other is offer or other.type not in CONTROLLED or other.shape != offer.shape:
                continue
            if (other.type in TIMED) is not (part.type in TIMED):
                continue
            yield Change(
                f"put a {other.name} in place of {part.name}",
                _with_part(design, part, replace(part, type=other.type, part=other.name)),
                frozenset({part.name}),
                parts=(part.name,),
            )
