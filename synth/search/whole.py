"""A whole problem: taken apart where it can be, solved, put together, and asked as one.

Loads that depend on no common input are circuits of their own. Each is solved exactly, the
cheapest circuits are put on one supply, and the sum is an upper bound. A sum of optima is no
optimum: it is called proven only where a lower bound on the whole meets it, or where every parts
list of the whole below it was refuted.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import SENSING, PartType
from synth.parts.kit import KitPart
from synth.problem import InputKind, Objective, Problem, Requirement
from synth.result import Outcome, Status, Verdict
from synth.search.bounds import essential
from synth.search.engine import DEPTH, Alone, Engine, Found, LearnedRun, Progress, Tools, floor_for
from synth.search.lists import Catalogue
from synth.search.polish import polished
from synth.search.stimuli import first_runs
from synth.signals import (
    OFF,
    And,
    Const,
    Cycle,
    Latch,
    Level,
    Not,
    OffDelay,
    OnDelay,
    Or,
    Pulse,
    Recently,
    Signal,
    Toggle,
    all_of,
    any_of,
    inputs_of,
    loads_of,
    negated,
    times_of,
)
from synth.ticks import format_duration


@dataclass
class Part:
    """A circuit of its own: its problem, catalogue and what was found for it."""

    problem: Problem
    catalogue: Catalogue
    found: Found
    engine: Engine

    @property
    def parts(self) -> list[KitPart]:
        """The kit parts of the design that was found."""
        assert self.found.parts_list is not None
        return self.catalogue.parts(self.found.parts_list.items)

    @property
    def plain(self) -> bool:
        """Whether the design has just one sensing part for each input: the least there can be."""
        follows = essential(self.problem)
        return all(p.type in SENSING for p in self.parts) and len(self.parts) == len(follows)


def solve_whole(problem: Problem, tools: Tools, progress: Progress, seed: int = 1) -> Outcome:
    """Return the best checked design for `problem` and what is proven about it."""
    began = time.monotonic()
    floor = floor_for(tools)
    circuits: list[Part] = []
    pieces = take_apart(problem)
    pieces.sort(key=lambda piece: (_has_times(piece.problem), len(piece.problem.requirements)))
    roots = [switch for switch, _ in roots_of(pieces)]
    for number, piece in enumerate(pieces):
        inner = piece.problem
        progress.report(f"circuit {number + 1} of {len(pieces)}", None, None)
        # The last circuit is solved with all the others counted in, so that its bound is one on
        # the whole.
        last = number == len(pieces) - 1
        others = [part for circuit in circuits for part in circuit.parts] + roots if last else []
        catalogue = Catalogue(
            inner,
            floor,
            others,
            len(problem.requirements) - len(inner.requirements) if last else 0,
            _needs(problem) - _needs(inner) if last else 0,
            most_of_each(problem),
        )
        if last and not all(circuit.plain for circuit in circuits):
            # The sum of separate optima bounds nothing, so it cannot exceed a limit either.
            inner = replace(inner, limits=replace(inner.limits, price=None))
        engine = Engine(inner, catalogue, tools, progress, seed)
        found = engine.run()
        circuits.append(Part(inner, catalogue, found, engine))
        if found.design is None:
            return _nothing(problem, found, began)
    apart = time.monotonic()
    wired = [circuit.found.skeleton for circuit in circuits if circuit.found.skeleton]
    joined = put_together([(p.path, s) for p, s in zip(pieces, wired, strict=True)])
    design = tools.share(joined, problem)
    verdict = tools.check(design, problem) if design is not None else None
    holds = design is not None and verdict is not None and verdict.holds
    closed = all(circuit.found.closed for circuit in circuits)
    hard = [circuit for circuit in circuits if not circuit.plain]
    bound = circuits[-1].found.parts_list
    assert bound is not None
    key = bound.key(problem.objectives)
    times = [("circuits", apart - began)]
    single = closed and len(hard) <= 1 and (not hard or hard[0] is circuits[-1])
    if holds and design is not None and verdict is not None:
        if _key_of(design, problem, key) != key:
            joined, design, verdict = polished(joined, design, verdict, problem, tools, progress)
        actual = _key_of(design, problem, key)
        if single and actual[0] == key[0]:
            times.append(("whole", time.monotonic() - apart))
            return _outcome(problem, design, verdict, True, actual[0], key, times)
    # The question about the whole, with the sum of the parts as the bound to beat.
    catalogue = Catalogue(problem, floor, most=most_of_each(problem))
    engine = Engine(problem, catalogue, tools, progress, seed)
    engine.alone = [Alone(c.engine, c.found) for c in circuits]
    if 1 < len(hard) < len(circuits):
        # The circuits that need more than a sensing part for each input, asked together.
        loads = {r.load for c in hard for r in c.problem.requirements}
        some = only(problem if not roots else _behind_all(problem, roots_of(pieces)), loads)
        some_catalogue = Catalogue(some, floor, most=most_of_each(problem))
        some_engine = Engine(some, some_catalogue, tools, progress, seed)
        engine.alone.append(Alone(some_engine, Found()))
    for piece, circuit in zip(pieces, circuits, strict=True):
        levers = [name for _, name in piece.path]
        moments, end = first_runs(circuit.problem, seed)[0]
        for run in (LearnedRun(moments, end), *circuit.engine.runs):
            engine.lift(run, levers)
    upper, known = None, None
    if holds and design is not None:
        upper = _key_of(design, problem, key)
        known = engine.items_of(joined)
        progress.report("whole circuit", upper[0], None)
    found = engine.run(upper, known)
    times.append(("whole", time.monotonic() - apart))
    if found.design is not None and found.verdict is not None:
        design, verdict, holds = found.design, found.verdict, True
    if not holds or design is None or verdict is None:
        return _nothing(problem, found, began)
    floor_key = found.floor
    bound_found = floor_key[0] if floor_key else None
    return _outcome(problem, design, verdict, found.closed, bound_found, None, times)


def most_of_each(problem: Problem) -> int:
    """Return the most parts of each kind, and in all beyond the needed ones, that are considered.

    By price this bounds nothing that matters, since longer lists are dearer; where another
    objective comes first, lists of parts that cost nothing of it would never end.
    """
    return 12 if problem.objectives[0] is Objective.PRICE else 4


def _has_times(problem: Problem) -> bool:
    return any(times_of(r.signal) for r in problem.requirements)


def _needs(problem: Problem) -> int:
    return sum(r.needs for r in problem.requirements)


def _key_of(design: Design, problem: Problem, like: tuple[int, ...]) -> tuple[int, ...]:
    """Return the objectives of a design; wires follow from the list, so they are taken as is."""
    values = {
        Objective.PRICE: design.price(problem.kit),
        Objective.SUPPLY: design.supply,
    }
    return tuple(values.get(o, like[i]) for i, o in enumerate(problem.objectives))


def _outcome(
    problem: Problem,
    design: Design,
    verdict: Verdict,
    closed: bool,
    bound: int | None,
    key: tuple[int, ...] | None,
    times: list[tuple[str, float]],
) -> Outcome:
    """Return the outcome; `key` is a bound on all objectives in order, where one is known."""
    first = problem.objectives[0]
    price = design.price(problem.kit)
    value = {Objective.PRICE: price, Objective.SUPPLY: design.supply}.get(first, len(design.wires))
    proven = [first.value] if closed else []
    second = problem.objectives[1] if len(problem.objectives) > 1 else None
    if closed and key and second and _key_of(design, problem, key)[:2] == key[:2]:
        proven.append(second.value)
    return Outcome(
        status=Status.PROVEN if closed else Status.BEST_FOUND,
        design=design,
        price=price,
        supply=design.supply,
        bound=value if closed else min(value, bound) if bound is not None else None,
        proven=tuple(proven),
        verdict=verdict,
        bounds=bounds_in_words(problem),
        times=tuple(times),
    )


def _nothing(problem: Problem, found: Found, began: float) -> Outcome:
    """Return the outcome when no design was found: impossible when all was refuted."""
    reasons = tuple(reason for reason in found.reasons if reason)
    impossible = found.exhausted and found.closed
    return Outcome(
        status=Status.IMPOSSIBLE if impossible else Status.UNDECIDED,
        bound=found.floor[0] if found.floor and not impossible else None,
        bounds=bounds_in_words(problem),
        clash=reasons if impossible else (),
        times=(("search", time.monotonic() - began),),
    )


def bounds_in_words(problem: Problem) -> tuple[str, ...]:
    """Return the bounds within which a proof holds."""
    told = [
        f"parts of the kit '{problem.kit.name}', at most {most_of_each(problem)} of each and as "
        "many in all beyond one for every input",
        f"circuits that settle within {DEPTH} steps after every event",
        "power split by trees of tap-offs and dividers, without joints",
    ]
    if problem.times and any(times_of(r.signal) for r in problem.requirements):
        offered = ", ".join(format_duration(t) for t in problem.times)
        told.append(f"timers set to one of {offered}")
    return tuple(told)


# -- taking apart and putting together -----------------------------------------------------------


def separate(problem: Problem) -> list[Problem]:
    """Return the circuits of `problem` that share no input but the supply, in a stable order."""
    groups: list[tuple[set[str], list[Requirement]]] = []
    for requirement in problem.requirements:
        tokens = {f"in {n}" for n in inputs_of(requirement.signal) - {"supply"}}
        tokens |= {f"load {n}" for n in loads_of(requirement.signal)} | {f"load {requirement.load}"}
        for pair in problem.apart:
            if requirement.load in (pair.first, pair.second):
                tokens |= {f"load {pair.first}", f"load {pair.second}"}
        if len(tokens) == 1:
            # What depends on the supply alone: equal wishes belong together.
            tokens.add(f"signal {requirement.signal}")
        same = [group for group in groups if group[0] & tokens]
        merged = (set(tokens), [requirement])
        for group in same:
            merged[0].update(group[0])
            merged[1].extend(group[1])
            groups.remove(group)
        groups.append(merged)
    order = {r.load: i for i, r in enumerate(problem.requirements)}
    pieces: list[Problem] = []
    for _, requirements in groups:
        requirements.sort(key=lambda r: order[r.load])
        loads = {r.load for r in requirements}
        whole = len(groups) == 1
        pieces.append(problem if whole else only(problem, loads))
    pieces.sort(key=lambda piece: order[piece.requirements[0].load])
    return pieces


def only(problem: Problem, loads: Collection[str]) -> Problem:
    """Return what `problem` asks of `loads` alone, with the inputs that matter to them."""
    requirements = tuple(r for r in problem.requirements if r.load in loads)
    named = frozenset().union(*(inputs_of(r.signal) for r in requirements)) | {"supply"}
    return replace(
        problem,
        requirements=requirements,
        inputs=tuple(item for item in problem.inputs if item.name in named),
        never_together=tuple(
            group
            for names in problem.never_together
            if len(group := tuple(n for n in names if n in named)) > 1
        ),
        apart=tuple(p for p in problem.apart if p.first in loads and p.second in loads),
        peak=None,
        limits=replace(problem.limits, supply=None),
    )


def _behind_all(problem: Problem, levers: Sequence[Lever]) -> Problem:
    """Return `problem` with the levers of common switches left on: an easier problem."""
    requirements = problem.requirements
    for _, name in levers:
        requirements = tuple(replace(r, signal=behind(r.signal, name)) for r in requirements)
    names = {name for _, name in levers}
    return replace(
        problem,
        requirements=requirements,
        inputs=tuple(item for item in problem.inputs if item.name not in names),
    )


def roots_of(pieces: Sequence[Piece]) -> list[Lever]:
    """Return the common switches of all pieces, each once, in a stable order."""
    return list(dict.fromkeys(lever for piece in pieces for lever in piece.path))


Lever = tuple[KitPart, str]
"""A switch of the kit and the outside input that works it."""


@dataclass(frozen=True)
class Piece:
    """A circuit of its own, and the switches in front of it, the one next to the supply first."""

    problem: Problem
    path: tuple[Lever, ...]


def take_apart(problem: Problem, path: tuple[Lever, ...] = ()) -> list[Piece]:
    """Return the circuits of `problem`: separated by inputs, each behind its common switches."""
    pieces: list[Piece] = []
    for piece in separate(problem):
        lever, inner = without_common_switch(piece)
        if lever is None:
            pieces.append(Piece(piece, path))
        else:
            pieces += take_apart(inner, (*path, lever))
    return pieces


def put_together(pieces: Sequence[tuple[tuple[Lever, ...], Skeleton]], depth: int = 0) -> Skeleton:
    """Return the circuits on one supply, each behind the switches of its path."""
    direct = [skeleton for path, skeleton in pieces if len(path) == depth]
    levers = dict.fromkeys(path[depth] for path, _ in pieces if len(path) > depth)
    for lever in levers:
        inside = [p for p in pieces if len(p[0]) > depth and p[0][depth] == lever]
        direct.append(behind_switch(put_together(inside, depth + 1), *lever))
    return join(direct)


def without_common_switch(problem: Problem) -> tuple[Lever | None, Problem]:
    """Return the switch that cuts off every load, and the problem behind it.

    Behind it the supply stands for "supply and lever". A design for that, put behind the switch,
    is one for the whole, and the least one: with the lever left on, any design of the whole is a
    design for the problem behind it plus at least that one switch. (None, problem) when no lever
    covers everything. (Whether the design put behind a switch does it is checked all the same.)
    """
    limits = dict(problem.limits.most)
    switches = [
        part
        for part in problem.kit.of_type(PartType.SWITCH)
        if part.most != 0 and limits.get(part.name) != 0 and "make" in part.options
    ]
    for item in problem.inputs if switches else ():
        bounded = item.least_on or item.least_off or item.most_on or item.most_off
        if item.kind is not InputKind.SWITCH or item.steady is not None or bounded:
            continue
        if any(item.name in group for group in problem.never_together):
            continue
        if any(item.name not in inputs_of(r.signal) for r in problem.requirements):
            continue
        if any(without(r.signal, item.name) != OFF for r in problem.requirements):
            continue
        if item.name not in essential(problem):
            continue
        signals = [behind(r.signal, item.name) for r in problem.requirements]
        if any(item.name in inputs_of(signal) for signal in signals):
            continue
        inner = replace(
            problem,
            requirements=tuple(
                replace(r, signal=s) for r, s in zip(problem.requirements, signals, strict=True)
            ),
            inputs=tuple(other for other in problem.inputs if other.name != item.name),
        )
        return (switches[0], item.name), inner
    return None, problem


def without(signal: Signal, lever: str) -> Signal:
    """Return what is left of `signal` while the input `lever` is 0 for good."""

    def inside(s: Signal) -> Signal:
        return without(s, lever)

    match signal:
        case Level(name):
            return OFF if name == lever else signal
        case And(of):
            return all_of(*(inside(piece) for piece in of))
        case Or(of):
            return any_of(*(inside(piece) for piece in of))
        case Not(of):
            return negated(inside(of))
        case Const():
            return signal
    if inside(signal.enable) == OFF:
        return OFF
    match signal:
        case Pulse(start=wish) | OnDelay(of=wish) | OffDelay(of=wish) | Cycle(gate=wish):
            finishing = isinstance(signal, Cycle) and signal.finish
            return OFF if inside(wish) == OFF and not finishing else signal
    return signal


def behind(signal: Signal, lever: str) -> Signal:
    """Return `signal` with "supply and lever" replaced by the supply alone."""

    def inside(s: Signal) -> Signal:
        return behind(s, lever)

    match signal:
        case And(of):
            if Level("supply") in of and Level(lever) in of:
                of = tuple(piece for piece in of if piece != Level(lever))
            return all_of(*(inside(piece) for piece in of))
        case Or(of):
            return any_of(*(inside(piece) for piece in of))
        case Not(of):
            return negated(inside(of))
        case Pulse():
            return replace(signal, start=inside(signal.start), enable=inside(signal.enable))
        case OnDelay() | OffDelay() | Toggle():
            return replace(signal, of=inside(signal.of), enable=inside(signal.enable))
        case Cycle():
            return replace(signal, gate=inside(signal.gate), enable=inside(signal.enable))
        case Latch():
            return replace(
                signal,
                set=inside(signal.set),
                reset=inside(signal.reset),
                enable=inside(signal.enable),
            )
        case Recently():
            return replace(signal, enable=inside(signal.enable))
        case Const() | Level():
            return signal


def join(skeletons: list[Skeleton]) -> Skeleton:
    """Return all circuits on one supply; parts are numbered anew where names clash."""
    parts: list[PartInUse] = [skeletons[0].parts[0]]
    feeds: list[tuple[Terminal, Terminal]] = []
    taken = {"supply"}
    for skeleton in skeletons:
        names = {"supply": "supply"}
        for part in skeleton.parts:
            if part.type is PartType.SUPPLY:
                continue
            name, number = part.name, 1
            while name in taken:
                number += 1
                name = f"{part.name.rsplit(' ', 1)[0]} {number}"
            taken.add(name)
            names[part.name] = name
            parts.append(replace(part, name=name))
        feeds += [
            (Terminal(names[s.part], s.terminal), Terminal(names[t.part], t.terminal))
            for s, t in skeleton.feeds
        ]
    return Skeleton(skeletons[0].kit, tuple(parts), tuple(feeds))


def behind_switch(skeleton: Skeleton, switch: KitPart, lever: str) -> Skeleton:
    """Return `skeleton` with everything on the supply moved behind a switch worked by `lever`."""
    name = f"{switch.name} {lever} 1"
    supply, out = Terminal("supply", "out"), Terminal(name, "out")
    settings: tuple[tuple[str, str | int], ...] = (("contact", "make"), ("input", lever))
    part = PartInUse(name, PartType.SWITCH, switch.name, settings)
    feeds = [(out if source == supply else source, target) for source, target in skeleton.feeds]
    return Skeleton(
        skeleton.kit,
        (skeleton.parts[0], part, *skeleton.parts[1:]),
        ((supply, Terminal(name, "in")), *feeds),
    )
