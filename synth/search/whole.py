"""A whole problem: taken apart where it can be, solved, put together, and asked as one.

1. Each circuit is solved exactly by itself, and the cheapest circuits are put on one supply: a
   design, whose price is an upper bound. A sum of optima is no optimum.
2. The circuits that need more than a sensing part for each input are asked together, with all the
   rest counted in: a lower bound on the whole, and perhaps a cheaper design.
3. Where the bound does not meet the best design, every parts list of the whole between the two is
   asked for a wiring.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import replace
from math import inf

from synth.design import Skeleton
from synth.parts.behaviour import PartType
from synth.problem import Objective, Problem
from synth.result import Ending, Outcome, Status, Why
from synth.search.apart import (
    Lever,
    put_together,
    take_apart,
)
from synth.search.basics import (
    Found,
    Progress,
    Tools,
    Working,
    design_key,
    floor_for,
)
from synth.search.bounds import never_seen_on
from synth.search.circuits import Circuit, wirings_of
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.merging import merged
from synth.search.mixing import alternatives, best_mix
from synth.search.one_by_one import OneByOne, make_known, too_dear
from synth.search.polish import polished
from synth.search.questions import Questions
from synth.search.remembered import Going, found_by, keep_wired, wired_before
from synth.search.thrift import less_energy, thriftier
from synth.search.together import always_held, asked_together, hard_ones
from synth.search.within import MOST_PARTS, bounds_in_words, most_of_each
from synth.signals import times_of

CHEAPEST_SHARE = 0.4
"""Part of the time that may go into the cheapest design where something else counts first."""
THRIFT_SHARE = 0.7
"""Part of the time left that may go into circuits with less power, where power counts first."""
ASKED_SHARE = 0.5
"""Part of the time left that may go into circuits with the parts that are asked for at least."""
MERGE_SHARE = 0.3
"""Part of the time left that may go into wiring circuits as one."""
MIX_SECONDS = 3.0
MIX_SHARE = 0.3
"""Seconds, and part of the time left, that may go into other wirings of the circuits, for what
they cost together."""
POLISH_SHARE = 0.3
"""Part of the time left that may go into moving wires each time that circuits were put together."""
MOVED_ASIDE = 200
"""Designs checked at most while two wires are moved for what circuits cost together; the largest
of the examples takes 150 of them and half a second."""
AS_LONG = 1.5
"""What circuits cost together is sought again with so many times the time of an earlier run."""
LATER_AT_LEAST = 2.0
"""Seconds at least that may go into what counts later, where the first is proven already."""
AT_ONCE = 1.0
AT_ONCE_SHARE = 1 / 3
"""Seconds, and part of the time left, that may go into what bounds and limits alone say of the
parts lists of the whole; it took 0.6 s on the largest example, on most of them some hundredths."""


def solve_whole(problem: Problem, tools: Tools, progress: Progress, seed: int = 1) -> Outcome:
    """Return the best checked design for `problem` and what is proven about it."""
    return _Whole(problem, tools, progress, seed).solve()


class _Whole:
    """One problem on its way through the three steps above."""

    def __init__(self, problem: Problem, tools: Tools, progress: Progress, seed: int) -> None:
        self.problem = problem
        self.tools = tools
        self.progress = progress
        self.seed = seed
        self.floor = floor_for(tools)
        by_price = problem.objectives[0] is Objective.PRICE
        self.limit = problem.limits.price if by_price else None
        """The largest price, where the price counts first."""
        self.pieces = take_apart(self._free())
        self.pieces.sort(key=lambda p: (_has_times(p.problem), len(p.problem.requirements)))
        self.circuits: list[Circuit] = []
        self.merged: list[Circuit] = []
        """The circuits, or some of them as one where that is cheaper."""
        self.best: Working | None = None
        self.at_least = 0
        """What bounds alone prove that any design takes of the first objective, as far as known."""
        self.times: list[tuple[str, float]] = []
        self._began = time.monotonic()
        self._time = 0.0
        """Seconds that were left once every circuit had a design."""

    def solve(self) -> Outcome:
        """Go through the steps until the best design is proven or time is up."""
        problem = self.problem
        self.progress.bounded = self._ordered()
        ruled_out = self._ruled_out()
        if ruled_out is not None:
            return self._nothing(ruled_out)
        # A largest price is asked as a bound on the cheapest: what is found beyond it tells what
        # the rest must cost, and is refuted as a whole rather than wiring by wiring.
        problem = self.problem = self._free()
        self.progress.limit = self.limit
        if self.problem.objectives[0] is not Objective.PRICE:
            with self.progress.aside():
                self._cheapest_first()
            if self.best is not None:
                least = self._least(Found(), self._ordered())
                self.progress.report("by price", self._key(self.best)[0], least)
        failed = self._apart()
        self._clock("circuits")
        if failed is not None:
            alone = len(self.pieces) == 1 and not self.pieces[0].path
            if not failed.closed:
                self._recalled(failed)
            return self._nothing(failed, alone) if self.best is None else self._outcome(failed)
        if len(self.circuits) == 1 and not self.circuits[0].piece.path:
            return self._outcome(self._alone(self.circuits[0]))
        hard = hard_ones(self.circuits)
        # What a part in stock saves can only be told of the whole.
        counted = not problem.limits.stock and always_held(problem, hard)
        joint = self._joint(hard) if counted else None
        if joint:
            self._bounded(joint)
        self._together()
        known = self._known_before()
        found, proven = Found(), self._done(Found())
        with joint.early() if joint and self.best and not proven else nullcontext():
            if not known and not proven:
                self._merge()
                self._mix()
            if joint and self.best is not None:
                # For what counts next, no more time than it took to prove what counts first.
                spent = sum(seconds for stage, seconds in self.times if stage == "circuits")
                most = max(LATER_AT_LEAST, spent) if proven else inf
                with self.progress.sharing(1, most):
                    found = self._ask(joint, hard)
                self._clock("joint circuits")
        if not self._done(found) and not self.progress.over():
            found = self._as_one(found)
            self._clock("whole")
        self._recalled(found)
        if self.best is None:
            return self._nothing(found)
        return self._outcome(found)

    def _free(self) -> Problem:
        """Return the problem without a largest price that the search keeps to by itself."""
        if self.limit is None:
            return self.problem
        return replace(self.problem, limits=replace(self.problem.limits, price=None))

    def _ruled_out(self) -> Found | None:
        """Return why nothing is within the limits, if that shows at once."""
        limits, kit = self.problem.limits, self.problem.kit
        limited = limits.most or limits.least or any(part.most is not None for part in kit.parts)
        sums = (limits.supply, limits.price, self.problem.peak, self.problem.energy)
        if not limited and sums == (None,) * 4:
            return None
        found = self._at_once()
        self._clock("limits")
        return found if found.closed else None

    def _at_once(self) -> Found:
        """Return what bounds and limits alone say of the whole."""
        catalogue = Catalogue(self.problem, self.floor, most=most_of_each(self.problem))
        questions = Questions(self.problem, catalogue, self.tools, self.progress, self.seed)
        with self.progress.sharing(AT_ONCE_SHARE, AT_ONCE):
            found = Engine(questions, self.progress).at_once()
        if found.floor:
            self.at_least = found.floor[0]
            self.progress.report("bounds", None, self.at_least)
        return found

    def _bounded(self, joint: Engine) -> None:
        """See what bounds alone prove of circuits together, before time goes into the design."""
        with self.progress.sharing(AT_ONCE_SHARE, AT_ONCE):
            floor = joint.at_once().floor
        if floor and self._ordered():
            self.at_least = max(self.at_least, floor[0])
            self.progress.report("bounds", None, self.at_least)

    def _hard_to_find(self) -> None:
        """Where a circuit has no design yet, see what bounds alone prove: circuits that there is
        time for, each by itself, may prove less.

        One that is the whole goes through the same lists; of a question aside nothing is told.
        """
        single = len(self.pieces) == 1 and not self.pieces[0].path
        known = single or self.at_least or not self.progress.counts
        if not known and self.progress.left() >= AT_ONCE:
            self._at_once()

    def _cheapest_first(self) -> None:
        """Plan by price, which is far quicker, for a first design to improve upon."""
        others = (o for o in self.problem.objectives if o is not Objective.PRICE)
        objectives = (Objective.PRICE, *others)
        by_price = replace(self.problem, objectives=objectives)
        planner = _Whole(by_price, self.tools, self.progress, self.seed)
        with self.progress.sharing(CHEAPEST_SHARE):
            planner.solve()
        self.progress.limit = self.limit
        self.best = None if planner._too_dear() else planner.best
        self._clock("by price")
        if self.best is not None and self.problem.objectives[0] is Objective.SUPPLY:
            self._thriftier(planner.circuits)
            self._clock("less power")

    def _thriftier(self, circuits: Sequence[Circuit]) -> None:
        """Seek circuits that need less power than these, the cheapest; put them together."""
        wired: list[tuple[tuple[Lever, ...], Skeleton]] = []
        for number, (circuit, piece) in enumerate(zip(circuits, self.pieces, strict=True)):
            best = circuit.found.best
            assert best is not None
            catalogue = Catalogue(piece.problem, self.floor, most=MOST_PARTS)
            with self.progress.sharing(THRIFT_SHARE / (len(circuits) - number)):
                best = thriftier(piece.problem, catalogue, self.tools, self.progress, best)
            wired.append((piece.path, best.skeleton))
            self._try(put_together(wired + wirings_of(circuits[number + 1 :])))
        if self.best is not None:
            self._polish()

    # -- step 1 ------------------------------------------------------------------------------

    def _apart(self) -> Found | None:
        """Solve each circuit by itself; return what is known of the whole where one has no
        design."""
        each = OneByOne(
            self.problem,
            self.pieces,
            self.tools,
            self.progress,
            self.seed,
            self.limit,
            hard_to_find=self._hard_to_find,
        )
        failed, self.circuits = each.solve(), each.circuits
        return failed

    def _alone(self, circuit: Circuit) -> Found:
        """Take the design of a circuit that is the whole, with wires moved; where it is not proven,
        go on with the time that is left of what was kept for that."""
        self._take(circuit.found)
        self._polish()
        self._clock("moving wires")
        if not circuit.found.closed and not self.progress.over():
            if self.best is not None:
                circuit.engine.adopt(self.best)
            circuit.found = found_by(circuit.engine, self.tools)
            if self._take(circuit.found):
                self._polish()
            self._clock("circuits")
        self._frugal(circuit.engine, circuit.found)
        self._recalled(circuit.found)
        return circuit.found

    def _take(self, found: Found) -> bool:
        """Take the design that was found as the best, if it is; return whether it is."""
        better = found.best is not None and (
            self.best is None or self._key(found.best) < self._key(self.best)
        )
        if better:
            self.best = found.best
        return better

    # -- step 2 ------------------------------------------------------------------------------

    def _together(self) -> None:
        """Put the cheapest circuits on one supply: the first design of the whole."""
        self._try(put_together(wirings_of(self.circuits)))
        if self.best is None and self.problem.limits.least:
            self._with_parts_asked_for()
        if self.best is None and self.problem.energy is not None:
            self._with_less_energy()
        if self.best is not None:
            self.progress.report("whole circuit", self._key(self.best)[0], None)
            self._polish()
            self.progress.report("whole circuit", self._key(self.best)[0], None)

    def _merge(self) -> None:
        """Wire circuits as one where they can share a clock."""
        self.merged = self.circuits
        if self.best is None or self.problem.objectives[0] is not Objective.PRICE:
            return
        best = self.best
        with self.progress.aside(), self.progress.sharing(MERGE_SHARE):
            found = merged(self.circuits, self.problem, self.progress)
        if len(found) < len(self.circuits):
            self._try(put_together(wirings_of(found)))
            if self.best is not best:
                self.merged = found
                self._polish()
                self.progress.report("merged circuits", self._key(self.best)[0], None)
            self._clock("merging")

    def _mix(self) -> None:
        """Try other wirings of the same price for the circuits, for what they cost together."""
        problem, hard = self.problem, [c for c in self.merged if not c.plain]
        if self.best is None or len(hard) < 2 or problem.objectives[0] is not Objective.PRICE:
            return
        if self.progress.over():
            return
        kinds: list[list[Working]] = []
        for circuit in hard:
            assert circuit.found.best is not None
            with (
                self.progress.aside(),
                self.progress.sharing(MIX_SHARE / len(hard), MIX_SECONDS / len(hard)),
            ):
                kinds.append(alternatives(circuit.engine, circuit.found.best))

        def wired(skeletons: Sequence[Skeleton]) -> list[tuple[tuple[Lever, ...], Skeleton]]:
            chosen = {id(c): skeleton for c, skeleton in zip(hard, skeletons, strict=True)}
            return [
                (path, chosen.get(id(c), skeleton))
                for c, (path, skeleton) in zip(self.merged, wirings_of(self.merged), strict=True)
            ]

        def key(skeletons: Sequence[Skeleton]) -> tuple[int, ...] | None:
            design = self.tools.share(put_together(wired(skeletons)), problem)
            return None if design is None else design_key(design, problem)

        for choice in best_mix(kinds, key, self.progress):
            mixed = [options[n] for options, n in zip(kinds, choice, strict=True)]
            if self._try(put_together(wired([working.skeleton for working in mixed]))) is None:
                continue
            for circuit, working in zip(hard, mixed, strict=True):
                circuit.found = replace(circuit.found, best=working)
        self._polish(MOVED_ASIDE)
        self.progress.report("mixed circuits", self._key(self.best)[0], None)
        self._clock("mixing")

    def _with_parts_asked_for(self) -> None:
        """Put the circuits together with one of them that holds what is asked for besides.

        This proves nothing: parts asked for might be of more use spread over several.
        """
        whole = put_together(wirings_of(self.circuits))
        used = Counter(part.part for part in whole.parts)
        missing = {name: n - used[name] for name, n in self.problem.limits.least if n > used[name]}
        for number, circuit in enumerate(self.circuits):
            own = Counter(part.name for part in circuit.parts)
            least = tuple((name, own[name] + more) for name, more in missing.items())
            asked = replace(circuit.problem, limits=replace(circuit.problem.limits, least=least))
            catalogue = Catalogue(asked, self.floor, most=most_of_each(self.problem))
            questions = Questions(asked, catalogue, self.tools, self.progress, self.seed)
            with (
                self.progress.aside(),
                self.progress.sharing(ASKED_SHARE / (len(self.circuits) - number)),
            ):
                found = Engine(questions, self.progress).run()
            if found.best is not None:
                wired = wirings_of(self.circuits)
                wired[number] = (circuit.piece.path, found.best.skeleton)
                self._try(put_together(wired))

    def _with_less_energy(self) -> None:
        """Put circuits together that each leave the loads of all others what they use alone."""
        wired = wirings_of(self.circuits)
        pieces = [circuit.problem for circuit in self.circuits]
        done = [number for number, circuit in enumerate(self.circuits) if circuit.plain]
        for number, asked in less_energy(self.problem, pieces, done):
            catalogue = Catalogue(asked, self.floor, most=most_of_each(self.problem))
            questions = Questions(asked, catalogue, self.tools, self.progress, self.seed)
            with (
                self.progress.aside(),
                self.progress.sharing(ASKED_SHARE / (len(pieces) - number)),
            ):
                found = Engine(questions, self.progress).run()
            if found.best is not None:
                wired[number] = (self.circuits[number].piece.path, found.best.skeleton)
                if self._try(put_together(wired)) is not None:
                    break
        self._clock("less energy")

    def _try(self, skeleton: Skeleton) -> Working | None:
        """Return the checked design of the whole that is wired so, if it stands."""
        design = self.tools.share(skeleton, self.problem)
        if design is None:
            return None
        verdict = self.tools.check(design, self.problem)
        if verdict is None or not verdict.holds:
            return None
        catalogue = Catalogue(self.problem, self.floor, most=most_of_each(self.problem))
        measured = catalogue.measure(catalogue.items_of(skeleton))
        assert measured is not None
        working = Working(skeleton, design, verdict, measured)
        if self.best is None or self._key(working) < self._key(self.best):
            self.best = working
        return working

    def _polish(self, aside: int = 0) -> None:
        best = self.best
        assert best is not None
        if self._key(best) == best.parts_list.key(self.problem.objectives):
            return
        wired = best.skeleton, best.design, best.verdict
        with self.progress.sharing(POLISH_SHARE):
            skeleton, design, verdict = polished(
                wired, self.problem, self.tools, self.progress, aside
            )
        self.best = Working(skeleton, design, verdict, best.parts_list)

    def _joint(self, hard: Sequence[Circuit]) -> Engine | None:
        """Return what asks for the circuits `hard` together; see `asked_together`."""
        plain = [circuit for circuit in self.circuits if circuit not in hard]
        return asked_together(
            self.problem, hard, plain, self.tools, self.progress, self.seed, self._try
        )

    def _ask(self, engine: Engine, circuits: Sequence[Circuit]) -> Found:
        """Ask for designs below the best; what the circuits have taught is known."""
        make_known(engine, circuits)
        upper, known = None, None
        if self.best is not None:
            upper = self._key(self.best)
            if engine.by_price:
                known = engine.catalogue.items_of(self.best.skeleton)
        if self.limit is not None and (upper is None or upper[0] > self.limit):
            upper = (self.limit + 1,)
        loads = {r.load for r in engine.problem.requirements}
        own = tuple(n for n, r in enumerate(self.problem.requirements) if r.load in loads)
        going = Going(engine, self.tools, "together", self.problem, own)
        found = engine.run(upper, known)
        going.keep()
        if self._take(found):
            self._polish()
        self._frugal(engine, found)
        return found

    def _frugal(self, engine: Engine, found: Found) -> None:
        """Seek a design of the proven price that needs less power."""
        best, least = self.best, found.least
        if self.problem.objectives[:2] != (Objective.PRICE, Objective.SUPPLY) or self._too_dear():
            return
        if best is None or least is None or not self._done(found):
            return
        if best.design.supply <= max(best.parts_list.units, least[1]):
            return
        other = engine.frugal(best)
        if other is not None and self._key(other) < self._key(best):
            self.best = other
            self._polish()

    def _known_before(self) -> bool:
        """Take the design of an earlier run that ended without a proof, if it is better; return
        whether that run had about as much time to merge and mix circuits as there is now."""
        self._time = self.progress.left()
        earlier = wired_before(self.problem, self.tools, self.best, self._try)
        if earlier is None:
            return False
        self.progress.report("known design", self._key(earlier[0])[0], None)
        self.merged = self.circuits
        return self._time <= AS_LONG * earlier[1]

    def _recalled(self, found: Found) -> None:
        """Where nothing is proven, take a better design that an earlier run has found, and keep
        the best for the next one. With a proof a run gives the same answer whatever is kept."""
        if not self._done(found):
            wired_before(self.problem, self.tools, self.best, self._try)
            keep_wired(self.problem, self.tools, self.best, self._time)

    # -- step 3 ------------------------------------------------------------------------------

    def _as_one(self, before: Found) -> Found:
        """Ask for the whole; return what is proven, `before` included."""
        catalogue = Catalogue(self.problem, self.floor, most=most_of_each(self.problem))
        questions = Questions(self.problem, catalogue, self.tools, self.progress, self.seed)
        found = self._ask(Engine(questions, self.progress), self.circuits)
        found.first = max((k for k in (before.least, found.least) if k), default=None)
        found.floor = max((k for k in (before.floor, found.floor) if k), default=None)
        return found

    # -- what came out -----------------------------------------------------------------------

    def _ordered(self) -> bool:
        """Return whether lists come in order of true bounds.

        Joints that cost nothing, where a model holds a slot for each of them (see
        `joint_of_sets`): a circuit alone is refuted with as many as its own parts allow,
        and may have more of them within the whole. A load that is never on may hang on anything
        that is dead in the whole.
        """
        if len(self.pieces) == 1 and not self.pieces[0].path:
            return True
        offers = Catalogue(self.problem, self.floor)
        return not offers.free and not never_seen_on(self.problem)

    def _key(self, working: Working) -> tuple[int, ...]:
        return design_key(working.design, self.problem)

    def _too_dear(self) -> bool:
        """Return whether the best design is beyond the largest price."""
        best = self.best
        return best is not None and self.limit is not None and self._key(best)[0] > self.limit

    def _done(self, found: Found) -> bool:
        """Return whether the best design meets the bound on the first objective, or that bound is
        beyond the largest price."""
        if self.best is None or not self._ordered():
            return False
        enough = self._key(self.best)[0]
        if self.limit is not None:
            enough = min(enough, self.limit + 1)
        return found.closed or self._least(found, True) >= enough

    def _least(self, found: Found, ordered: bool) -> int:
        """Return the bound on the first objective (0: none known): that of bounds alone, and where
        lists come in order, what was refuted."""
        least = self.at_least
        if ordered:
            floor = found.floor[0] if found.floor else 0
            least = max(least, floor, self._dearest_circuit())
        elif not Catalogue(self.problem, self.floor).free:
            # A load that is never on may cost nothing in the whole; the circuits of others do.
            least = max(least, self._dearest_circuit(lambda c: not never_seen_on(c.problem)))
        if self.problem.objectives[0] is Objective.SUPPLY:
            least = max(least, Catalogue(self.problem, self.floor).least_units)
        return least

    def _dearest_circuit(self, counts: Callable[[Circuit], bool] = lambda circuit: True) -> int:
        """Return what is known that some circuit that counts costs at least by itself, where a
        design of the whole always holds one of it, and a part for each switch over it: the whole
        costs no less, but for what is in stock."""
        if self.problem.limits.stock:
            return 0
        price = self.problem.objectives[0] is Objective.PRICE
        switch = min((p.price for p in self.problem.kit.of_type(PartType.SWITCH)), default=0)
        return max(
            (
                circuit.least + (switch * len(circuit.piece.path) if price else 0)
                for circuit in self.circuits
                if counts(circuit) and always_held(self.problem, [circuit])
            ),
            default=0,
        )

    def _clock(self, stage: str) -> None:
        """Put down the seconds since the last stage ended; those of one name are counted together,
        at its first place."""
        spent = dict(self.times)
        now = time.monotonic() - self._began - sum(spent.values())
        self.times = list({**spent, stage: spent.get(stage, 0.0) + now}.items())

    def _outcome(self, found: Found) -> Outcome:
        """Return the outcome: the best design, and what was found out about all others."""
        problem, best = self.problem, self.best
        assert best is not None
        if self._too_dear():
            return self._nothing(found)
        key, ordered, stock = self._key(best), self._ordered(), problem.limits.stock
        least = self._least(found, ordered)
        proven: list[str] = []
        if self._done(found) or least >= key[0]:
            proven.append(problem.objectives[0].value)
            for place in range(1, len(key)):
                if not found.least or found.least[: place + 1] != key[: place + 1]:
                    break
                proven.append(problem.objectives[place].value)
        return Outcome(
            status=Status.PROVEN if proven else Status.BEST_FOUND,
            design=best.design,
            price=best.design.price(problem.kit),
            supply=best.design.supply,
            bound=key[0] if proven else min(key[0], least) if least else None,
            proven=tuple(proven),
            verdict=best.verdict,
            bounds=bounds_in_words(problem),
            times=tuple(self.times),
            to_buy=best.design.price(problem.kit, stock) if stock else None,
            ending=None if proven else self._ending(found),
        )

    def _nothing(self, found: Found, whole: bool = True) -> Outcome:
        """Return the outcome when no design was found: impossible when all was refuted, or when all
        that is left is too dear. `whole`: what is found speaks of the whole."""
        # Without a list refuted one by one the reason stands by itself, whatever their order.
        ordered = found.refuted == 0 or self._ordered()
        impossible = found.exhausted and found.closed and ordered
        if not impossible and self.limit is not None and whole and self._ordered():
            impossible = found.closed or bool(found.floor and found.floor[0] > self.limit)
            if impossible and too_dear(self.limit) not in found.reasons:
                found.reasons.append(too_dear(self.limit))
        least = self._least(found, ordered)
        known = not impossible and bool(least or (ordered and found.floor))
        return Outcome(
            status=Status.IMPOSSIBLE if impossible else Status.UNDECIDED,
            bound=least if known else None,
            bounds=bounds_in_words(self.problem),
            clash=tuple(reason for reason in found.reasons if reason) if impossible else (),
            times=tuple(self.times),
            ending=None if impossible else self._ending(found),
        )

    def _ending(self, found: Found) -> Ending | None:
        """Return why not all was proven; None where it is near enough, as was asked for."""
        progress = self.progress
        if progress.near():
            return None
        if progress.asked_to_stop():
            why = Why.STOPPED
        elif found.late or progress.over():
            why = Why.TIME
        else:
            why = Why.LEFT_OPEN if found.left_open else Why.UNORDERED
        solved = tuple(
            requirement.load
            for circuit in self.circuits
            if self.best is None and circuit.found.best is not None
            for requirement in circuit.problem.requirements
        )
        return Ending(why, found.loads, tuple(found.left_open), solved, fast=self.tools.fast)


def _has_times(problem: Problem) -> bool:
    return any(times_of(r.signal) for r in problem.requirements)
