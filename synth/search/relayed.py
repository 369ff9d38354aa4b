"""Loads that follow what other loads do: relays on what feeds those, for a first design.

A goal about one load often holds what a goal about another asks for: what runs while a winch does,
or never then. By itself the circuit of such a load would have to do all over again what that of
the other does. Here it is asked for with the other load as if that were sensed, and each such
sensing part becomes a relay with its coil on what feeds that load. A relay moves a step later than
what it follows, so there are several ways to go about it; whether one of them does what is asked
is for the exact check to say. This proves nothing; it gives a design to begin with.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

from synth.design import PartInUse, Skeleton, Terminal
from synth.parts.behaviour import LEVERS, PartType
from synth.parts.kit import Kit
from synth.problem import InputKind, OutsideInput, Problem, Requirement
from synth.signals import (
    MEMORY,
    OFF,
    And,
    Level,
    Not,
    OffDelay,
    Or,
    Recently,
    Signal,
    all_of,
    changed,
    inputs_of,
    loads_of,
)

SENSED = "\0feeds "
"""The input that stands for a load is called so, and by the load's name: no name of a user's."""
STEP = "\0step "
"""A load that stands for a step of what a goal asks is called so, and by a number."""
MAKE, BREAK = PartType.RELAY_MAKE, PartType.RELAY_BREAK
ON_LINE = Terminal("supply", "out")


def following(group: Problem, there: Mapping[str, Signal]) -> Problem | None:
    """Return what is asked of some loads with the loads that are `there` as inputs, where what is
    asked of those is part of it; None where it is not, or the kit has not what it takes."""
    kit = group.kit
    if not (kit.offers(PartType.SENSOR) and kit.offers(MAKE) and kit.offers(BREAK)):
        return None
    # The larger ones first: what one load follows may be part of what the next one follows.
    known = sorted(there.items(), key=lambda item: -len(repr(item[1])))
    known = [(load, signal) for load, signal in known if len(inputs_of(signal) - {"supply"})]
    requirements = tuple(
        replace(r, signal=_fed(_plainer(_sensing(r.signal, known, r.load), group)))
        for r in group.requirements
    )
    if any(loads_of(r.signal) for r in requirements):
        return None
    named = frozenset().union(*(inputs_of(r.signal) for r in requirements))
    sensed = sorted(name for name in named if name.startswith(SENSED))
    if not sensed:
        return None
    inputs = tuple(item for item in group.inputs if item.name in {*named, "supply"})
    left = {item.name for item in inputs}
    return replace(
        group,
        requirements=requirements,
        inputs=(*inputs, *(OutsideInput(name, InputKind.SENSOR) for name in sensed)),
        never_together=tuple(
            found
            for names in group.never_together
            if len(found := tuple(name for name in names if name in left)) > 1
        ),
    )


def in_steps(problem: Problem) -> list[Problem]:
    """Return what is asked of one load in steps: each part of its signal that remembers something
    and is part of another one, as a load of its own that the rest follows."""
    (requirement,) = problem.requirements
    steps: list[Requirement] = []

    def cut(signal: Signal, inner: bool) -> Signal:
        remembers = isinstance(signal, MEMORY)
        signal = changed(signal, lambda piece: cut(piece, inner or remembers))
        if not (remembers and inner):
            return signal
        known = [step.load for step in steps if step.signal == signal]
        if not known:
            known = [f"{STEP}{len(steps) + 1} of {requirement.load}"]
            steps.append(replace(requirement, load=known[0], needs=1, signal=signal))
        return Level(SENSED + known[0])

    main = replace(requirement, signal=cut(requirement.signal, False))
    found = []
    for item in (*steps, main):
        named = inputs_of(item.signal) | {"supply"}
        inputs = tuple(i for i in problem.inputs if i.name in named)
        sensed = sorted(named - {i.name for i in problem.inputs})
        inputs += tuple(OutsideInput(name, InputKind.SENSOR) for name in sensed)
        found.append(replace(problem, requirements=(item,), inputs=inputs))
    return found


def without_steps(skeleton: Skeleton) -> Skeleton:
    """Return a wiring without the loads that stand for steps."""
    return Skeleton(
        skeleton.kit,
        tuple(part for part in skeleton.parts if not part.name.startswith(STEP)),
        tuple(feed for feed in skeleton.feeds if not feed[1].part.startswith(STEP)),
    )


def _sensing(signal: Signal, known: Sequence[tuple[str, Signal]], own: str) -> Signal:
    """Return a signal of the load `own` with the inputs of loads in place of what is asked of
    them."""
    for load, other in known:
        sensed = Level(SENSED + load)
        if isinstance(signal, Recently) and signal.load == load and signal.time:
            return OffDelay(sensed, signal.time, signal.enable)
        if load == own or isinstance(signal, Level):
            continue
        # What is off without the supply may be taken for what is so with it.
        wanted = other.of if isinstance(other, And) else (other,)
        wanted = tuple(piece for piece in wanted if piece != Level("supply"))
        if signal in (other, all_of(*wanted)):
            return sensed
        if isinstance(signal, And) and len(wanted) > 1 and set(wanted) <= set(signal.of):
            rest = (piece for piece in signal.of if piece not in wanted)
            return all_of(sensed, *(_sensing(piece, known, own) for piece in rest))
    return changed(signal, lambda inner: _sensing(inner, known, own))


def _fed(signal: Signal) -> Signal:
    """Return a signal that is off without the supply, as that of each load is."""
    supplied = "supply" in inputs_of(signal)
    return signal if supplied else all_of(Level("supply"), signal)


def _plainer(signal: Signal, problem: Problem) -> Signal:
    """Return a signal without what never is: inputs that are never on with one that must be."""
    if not isinstance(signal, And):
        return signal
    on = {piece.name for piece in signal.of if isinstance(piece, Level)}
    off = {name for group in problem.never_together if on & {*group} for name in group} - on

    def plainer(inner: Signal) -> Signal:
        if isinstance(inner, Level):
            return OFF if inner.name in off else inner
        return changed(inner, plainer) if isinstance(inner, And | Or | Not) else inner

    return plainer(signal)


def relayed(
    joined: Skeleton, new: Collection[str], kit: Kit, apart: Collection[tuple[str, str]]
) -> Iterator[Skeleton]:
    """Yield ways to have relays in a wiring in place of the parts that sense loads in it.

    `new`: the loads for which these parts are there. `apart`: pairs of loads that are never on
    together. What only asks whether a load is fed hangs on what feeds it, without a relay. The
    loads that are followed hang where they did, or behind a relay of their own, so that they change
    when those do that follow them; and what is never on together with one of them may have a
    contact of that relay right before it.
    """
    followed = {
        name.removeprefix(SENSED): part.name
        for part in joined.parts
        if (name := str(part.setting("input") or "")).startswith(SENSED)
    }
    pairs = {pair for a, b in apart for pair in ((a, b), (b, a))}
    held_off = [(x, y) for x in followed for y in new if (x, y) in pairs]
    for behind, before in product((False, True), (False, True) if held_off else (False,)):
        wiring = _Wiring(joined, kit)
        for part in joined.parts:
            sensed = str(part.setting("input") or "")
            if sensed.startswith(SENSED):
                wiring.follow(part, wiring.feeds[Terminal(sensed.removeprefix(SENSED), "in")])
        feeding = {load: wiring.feeds[Terminal(load, "in")] for load in followed}
        for load in (load for load in followed if behind and not load.startswith(STEP)):
            wiring.put_before(load, MAKE, ON_LINE, feeding[load])
        for load, other in held_off if before else ():
            own = wiring.feeds[Terminal(other, "in")]
            wiring.put_before(other, BREAK, own, feeding[load])
        yield without_steps(wiring.skeleton())


def levers_once(skeleton: Skeleton, kit: Kit) -> Skeleton:
    """Return a wiring in which a lever that would have to be in several places is in one, on the
    supply, and works relays in the others."""
    wiring = _Wiring(skeleton, kit)
    levers = [part for part in skeleton.parts if part.type in LEVERS]
    count = Counter(part.setting("input") for part in levers)
    for name in [name for name, number in count.items() if number > 1]:
        places = [part for part in levers if part.setting("input") == name]
        ready = [p for p in places if p.setting("contact") != "break"] or places
        first = min(ready, key=lambda p: wiring.feeds[Terminal(p.name, "in")] != ON_LINE)
        wiring.put_on_line(first)
        for part in places:
            if part is not first:
                same = part.setting("contact") == first.setting("contact")
                wiring.replace(part, MAKE if same else BREAK, Terminal(first.name, "out"))
    return wiring.skeleton()


class _Wiring:
    """A wiring that is being changed: its parts by name, and what feeds each input."""

    def __init__(self, skeleton: Skeleton, kit: Kit) -> None:
        self.kit, self.name = kit, skeleton.kit
        self.parts = {part.name: part for part in skeleton.parts}
        self.feeds = {target: source for source, target in skeleton.feeds}

    def skeleton(self) -> Skeleton:
        """Return the wiring as it is now."""
        feeds = tuple((source, target) for target, source in self.feeds.items())
        return Skeleton(self.name, tuple(self.parts.values()), feeds)

    def _add(self, kind: PartType, power: Terminal, coil: Terminal) -> Terminal:
        offer = self.kit.of_type(kind)[0]
        number = 1
        while f"{offer.name} {number}" in self.parts:
            number += 1
        name = f"{offer.name} {number}"
        self.parts[name] = PartInUse(name, kind, offer.name)
        self.feeds[Terminal(name, "in")] = power
        self.feeds[Terminal(name, "coil")] = coil
        return Terminal(name, "out")

    def put_before(self, load: str, kind: PartType, power: Terminal, coil: Terminal) -> None:
        """Put a relay right before a load."""
        self.feeds[Terminal(load, "in")] = self._add(kind, power, coil)

    def put_on_line(self, part: PartInUse) -> None:
        """Put a lever on the supply, if it is not, with a relay where it was."""
        before, out = self.feeds[Terminal(part.name, "in")], Terminal(part.name, "out")
        if before != ON_LINE:
            fed = [target for target, source in self.feeds.items() if source == out]
            self.feeds[Terminal(part.name, "in")] = ON_LINE
            contact = self._add(MAKE, before, out)
            self.feeds |= dict.fromkeys(fed, contact)

    def follow(self, part: PartInUse, coil: Terminal) -> None:
        """Have what a part senses from `coil`: by a relay, or, where it only passes on from the
        supply that this is live, from there itself."""
        if part.setting("contact") == "break":
            self.replace(part, BREAK, coil)
        elif self.feeds[Terminal(part.name, "in")] != ON_LINE or coil.part == part.name:
            self.replace(part, MAKE, coil)
        else:
            self._out(part, coil)

    def replace(self, part: PartInUse, kind: PartType, coil: Terminal) -> None:
        """Put a relay in the place of a sensing part or lever."""
        self._out(part, self._add(kind, self.feeds[Terminal(part.name, "in")], coil))

    def _out(self, part: PartInUse, instead: Terminal) -> None:
        """Take a part out; what it fed hangs on `instead`."""
        del self.parts[part.name], self.feeds[Terminal(part.name, "in")]
        for target, source in self.feeds.items():
            if source.part == part.name:
                self.feeds[target] = instead
