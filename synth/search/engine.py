"""The cheapest design for one problem: parts lists in order, each asked for any wiring that works.

Lists come in order of a lower bound on the price of any design with just these parts, so the
first design that stands at its own bound is the cheapest. A list that works, but at a higher
price than its bound, is asked again at each price from its bound on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice

from synth.days import alone_in_words, loads_alone, unit_hours
from synth.design import Skeleton
from synth.parts.behaviour import CONTROLLED, LEVERS, SENSING, TIMED, PartType
from synth.problem import Objective, Problem
from synth.result import LeftOpen, OpenFor
from synth.search.alone import Alone, changes_alone, remembers
from synth.search.basics import Found, Progress, Working, design_key
from synth.search.beside import CORES, Beside
from synth.search.bounds import essential, lacks_time, on_together, sharing_totals, surplus
from synth.search.lists import Catalogue, Key, PartsList, Queue, free_joints
from synth.search.pending import timers_at_once
from synth.search.perpetual import cannot_go_on
from synth.search.phases import cannot_tell_phases
from synth.search.questions import Begun, Elsewhere, Questions, holds

LOOK_AHEAD = 24
"""How many lists to come are looked at when a model is made that is kept alive for them."""
LOOKED_AT = 400
"""How many lists to come are looked at for some that are not refuted without a question."""
SHORT = 24
"""After so many lists of which some wiring was asked for, the next ones are asked on both cores."""
ASKED_AHEAD = 6
"""So many lists to come at most are asked about while the search waits for one."""
ASKED_EARLY = 20
"""So many lists are asked about ahead of a search, see `Engine.early`."""
MOST_WIRINGS = 60
"""Most wirings of one list that are gone through one by one."""


@dataclass(frozen=True)
class Larger:
    """The whole that the engine's problem is a part of.

    `elsewhere` counts the inputs and outputs of the rest. `complete` makes a design of the whole
    from a circuit and checks it, if it can; it puts `on_supply` inputs more on the supply, and
    splitting costs `inside` coins in the nets that it adds. `dead` says that inputs may be held so
    that all other sensing parts are open, and `spare` is the least price of one more part of the
    rest: both bound what may be said about the whole, see `Engine._dearer`.
    """

    elsewhere: Elsewhere
    complete: Callable[[Working], Working | None]
    on_supply: int
    inside: int
    dead: bool
    spare: int | None


class Engine:
    """Searches one problem; see the module's text."""

    def __init__(
        self,
        questions: Questions,
        progress: Progress,
        larger: Larger | None = None,
        within: bool = False,
        dearest: int | None = None,
    ) -> None:
        """`within`: the problem is part of a larger one, whose other parts may leave a control
        input of this circuit dead for good; lists are refuted with that in mind. `dearest`: by
        price, dearer lists are not looked at; that there are any is no answer then."""
        self.questions = questions
        self.problem: Problem = questions.problem
        self.catalogue: Catalogue = questions.catalogue
        self.progress = progress
        self.larger = larger
        self.within = within or larger is not None
        self.dearest = dearest
        self.alone: list[Alone] = []
        self.waiting = timers_at_once(self.problem)
        questions.forced = self.waiting.perpetual.forced
        if self.waiting.count > 1:
            questions.drift(self.waiting.run)
        self.remembers = remembers(questions.scenarios)
        self.alone_changes = changes_alone(questions.scenarios)
        self._essential = sorted(essential(self.problem))
        self._totals = sharing_totals(self.problem.kit)
        self.feasible: list[tuple[int, ...]] = []
        self.refuted: list[tuple[int, ...]] = []
        self.dearer: list[tuple[tuple[int, ...], int]] = []
        """Lists of which no wiring costs as little as a price, and these prices."""
        self.known_before: frozenset[tuple[int, ...]] = frozenset()
        """Lists that an earlier run has refuted."""
        self.dearer_before: frozenset[tuple[tuple[int, ...], int]] = frozenset()
        """The same, of an earlier run."""
        self.found = Found(loads=tuple(r.load for r in self.problem.requirements))
        self._queue: Queue | None = None
        self._early: Beside[bool] | None = None

    @contextmanager
    def early(self) -> Iterator[None]:
        """In this context the first lists are asked about on the other core, ahead of `run`."""
        needed = self.needed()
        if not self.questions.drifts or needed is None or self._impossible():
            yield
            return
        # Time that is shared out here and there meanwhile is not the time of these questions.
        self.questions.progress = replace(self.progress, gap=None)
        with Beside(self._refuted_at_once, 1) as self._early:
            ahead = self._ahead(self._in_order(needed), ASKED_EARLY)
            self._early.ask(filter(self.questions.light, ahead))
            try:
                yield
            finally:
                self._early = None

    def run(self, upper: Key | None = None, known: tuple[int, ...] | None = None) -> Found:
        """Return the best design with a key below `upper`, and what was proven.

        `known` is a list (its items) that is known to have a working wiring, that of `upper`;
        without one, that of the design adopted.
        Where an earlier run had to end for want of time, this one goes on from there.
        """
        found = self.found
        needed = self.needed()
        reason = self._impossible()
        if needed is None or reason:
            found.closed = found.exhausted = True
            found.reasons.append(reason)
            return found
        queue = self._in_order(needed)
        queue.back()
        self.questions.progress = self.progress
        self.questions.ahead = lambda: (
            other.items for other in queue.ahead(LOOK_AHEAD) if not self.hopeless(other)
        )
        if known is None and found.best is not None and self.by_price:
            known = found.best.parts_list.items
        with ExitStack() as stack:
            begun = stack.enter_context(Beside(self.questions.begin))
            plainly = self._early or stack.enter_context(Beside(self._refuted_at_once))
            plainly.on_all()
            self._through(queue, self._lesser(upper, found), known, found, plainly, begun)
        found.late = not found.closed and (self.progress.over() or not found.left_open)
        if found.closed:
            self._queue = None
        return found

    def _in_order(self, needed: Sequence[int]) -> Queue:
        """Return the lists that are left, those that `needed` are in, in order."""
        if self._queue is None:
            self._queue = Queue(
                self.catalogue.in_order(needed, self.problem.objectives, self.waiting.count),
                self.problem.objectives,
            )
        return self._queue

    def adopt(self, working: Working) -> None:
        """Take a design from elsewhere as the best so far, if it is."""
        best = self.found.best
        if best is None or self._key(working) < self._key(best):
            self.found.best = working

    def stands(self, skeleton: Skeleton) -> Working | None:
        """Return the design of the problem that is wired so, if its power can be shared and the
        exact check says that it holds."""
        tools = self.questions.tools
        design = tools.share(skeleton, self.problem)
        verdict = tools.check(design, self.problem) if design is not None else None
        parts_list = self.catalogue.measure(self.catalogue.items_of(skeleton))
        if design is None or verdict is None or not verdict.holds or parts_list is None:
            return None
        return Working(skeleton, design, verdict, parts_list)

    def _through(
        self,
        queue: Queue,
        best: Key | None,
        known: tuple[int, ...] | None,
        found: Found,
        plainly: Beside[bool],
        begun: Beside[Begun],
    ) -> None:
        """Go through the lists of `queue`; see `run`.

        A list may have to be left open though there is time: its model would be too large, or what
        works does not stand at this price. The bound stays there, whatever is found out about
        later lists, which are only asked for a design from then on.
        """
        for key, parts_list, priced in queue:
            if not found.doubt and (found.floor is None or key > found.floor):
                found.floor = key
                self.progress.report("parts lists", None, key[0])
            if best is not None and (key[:1] >= best[:1] if self.by_price else key >= best):
                found.closed = not found.doubt
                return
            if self._too_dear(key):
                break
            if self.progress.over():
                return
            if priced:
                asked = parts_list.items, key[self._price_place]
                answer = asked not in self.dearer_before and self._dearer(parts_list, key, found)
                if answer is False:
                    self.dearer.append(asked)
                if answer is None:
                    if self.progress.over():
                        return
                    self._leave_open(parts_list, found)
                elif answer:
                    best = self._lesser(best, found)
                    if best is None or best[0] > key[0]:
                        # A wiring of this price may be there, but none was found that stands.
                        self._leave_open(parts_list, found, OpenFor.DEARER)
                        continue
                    found.first = min(found.first or key, key)
                elif best is None or key[0] < best[0]:
                    queue.again((self._dearer_price(parts_list, key[0]), *key[1:]), parts_list)
                continue
            reason = self.hopeless(parts_list)
            if reason:
                found.refuted += 1
                if reason not in found.reasons:
                    found.reasons.append(reason)
                continue
            if parts_list.items == known:
                self.feasible.append(parts_list.items)
                queue.again(key, parts_list)
                continue
            if parts_list.items in self.known_before:
                self._is_refuted(parts_list, found)
                continue
            if self.questions.drifts and self._refuted(parts_list, queue, plainly):
                self._is_refuted(parts_list, found)
                continue
            works = self._works(parts_list, found, self._begun(parts_list, queue, begun))
            if works is None:
                if self.progress.over():
                    return
                self._leave_open(parts_list, found)
                continue
            if not works:
                self._is_refuted(parts_list, found)
                continue
            best = self._lesser(best, found)
            if isinstance(works, Working) and self._key(works)[0] <= key[0]:
                found.first = min(found.first or key, key)
                continue
            if not self.by_price:
                found.first = min(found.first or key, key)
                works = self._all_of(parts_list, found)
                if works is None:
                    if not self.progress.over():
                        self._leave_open(parts_list, found, OpenFor.WIRINGS)
                    return
                best = self._lesser(best, found)
                continue
            queue.again(key, parts_list)
        found.reasons += [r for r in self.catalogue.reasons if r not in found.reasons]
        # A list that works only within the larger whole was not refuted.
        refuted = found.best is not None or not self.feasible
        found.closed = found.exhausted = refuted and not found.doubt

    def _leave_open(self, parts_list: PartsList, found: Found, why: OpenFor | None = None) -> None:
        """Keep that a list was left open, and why: as the questions say, if not said here."""
        found.doubt = True
        why = why or self.questions.open_for
        if why is not None:
            parts = tuple(part.name for part in self.catalogue.parts(parts_list.items))
            found.left_open.append(LeftOpen(why, found.loads, parts))

    def _is_refuted(self, parts_list: PartsList, found: Found) -> None:
        """Keep that a list was refuted; that no part of it works is known only where none of the
        lists before it was left open."""
        found.refuted += 1
        if not found.doubt:
            self.refuted.append(parts_list.items)

    def at_once(self) -> Found:
        """Return what bounds and limits alone tell, without a question: `closed` where they rule
        out all lists that there may be, else the `floor` of the first one that they leave, or that
        there is no time to look at."""
        found, needed = Found(), self.needed()
        reason = self._impossible()
        if needed is not None and not reason:
            for parts_list in self.catalogue.in_order(
                needed, self.problem.objectives, self.waiting.count
            ):
                why = self.hopeless(parts_list)
                if not why or self.progress.over():
                    found.floor = parts_list.key(self.problem.objectives)
                    return found
                found.reasons += [] if why in found.reasons else [why]
        found.reasons += [r for r in (reason, *self.catalogue.reasons) if r not in found.reasons]
        found.closed = found.exhausted = True
        return found

    # -- one list ----------------------------------------------------------------------------

    def _refuted(self, parts_list: PartsList, queue: Queue, beside: Beside[bool]) -> bool:
        """Return whether drifting runs alone refute this list; those to come are asked too."""
        light = self.questions.light(parts_list.items)
        ahead = self._ahead(queue, ASKED_AHEAD) if light else ()
        beside.ask([parts_list.items, *ahead])
        return bool(beside.answer(parts_list.items, self.progress.over))

    def _ahead(self, queue: Queue, count: int = CORES) -> list[tuple[int, ...]]:
        """Return the next lists of which nothing is known without a question, `count` at most."""
        ahead = (o.items for o in queue.ahead(LOOKED_AT) if not self.hopeless(o))
        return list(islice((items for items in ahead if items not in self.known_before), count))

    def _refuted_at_once(self, items: tuple[int, ...]) -> Callable[[Callable[[], bool]], bool]:
        return partial(self.questions.refuted_at_once, items, self._loose(items))

    def _begun(self, parts_list: PartsList, queue: Queue, beside: Beside[Begun]) -> Begun | None:
        """Return what is asked first about this list, with the answer; those to come are asked too.

        Only once the search has turned out to be a long one, where each question is a model by
        itself, and the first thing that is asked about a list.
        """
        questions = self.questions
        if (
            self.found.asked < SHORT
            or questions.drifts
            or questions.fast
            or not questions.light(parts_list.items)
        ):
            return None
        lists = [i for i in (parts_list.items, *self._ahead(queue)) if not self._loose(i)]
        beside.ask(lists)
        if parts_list.items not in lists:
            return None
        return beside.answer(parts_list.items, self.progress.over)

    def _loose(self, items: Sequence[int]) -> bool:
        """Return whether the reset of a bistable relay among these parts may be dead for good in
        the larger whole."""
        kinds = {part.type for part in self.catalogue.parts(items)}
        return self.within and PartType.BISTABLE in kinds

    def _lesser(self, best: Key | None, found: Found) -> Key | None:
        """Return the lesser of `best` and the key of the best design found."""
        actual = self._key(found.best) if found.best else None
        return actual if best is None or (actual is not None and actual < best) else best

    @property
    def _price_place(self) -> int:
        return self.problem.objectives.index(Objective.PRICE)

    @property
    def by_price(self) -> bool:
        """Whether the price counts first."""
        return self.problem.objectives[0] is Objective.PRICE

    def _works(
        self, parts_list: PartsList, found: Found, begun: Begun | None = None
    ) -> Working | bool | None:
        """Return a working design of this list (the best is kept in `found`), False when the list
        is refuted, True when it may work within the larger whole only, None when time is up."""
        for place, circuit in enumerate(self.alone):
            possible = circuit.possible(
                self.catalogue, parts_list.items, not self.questions.drifts
            )
            if not possible:
                # What refuted this list will often refute the next.
                self.alone.insert(0, self.alone.pop(place))
                return possible
        loosely: bool | None = False
        if self._loose(parts_list.items):
            loosely = self.questions.loosely(parts_list)
            if not loosely:
                return loosely
        found.asked += 1
        working = self.questions.working(parts_list, begun=begun)
        if working is None:
            return None
        if isinstance(working, Working):
            self.feasible.append(parts_list.items)
            return self._keep(working, found) or True
        if loosely:
            self.feasible.append(parts_list.items)
        return bool(loosely) or (
            self.within and any(holds(parts_list.items, items) for items in self.feasible)
        )

    def _all_of(self, parts_list: PartsList, found: Found) -> bool | None:
        """Go through all wirings of a list, the best kept in `found`: what a bound on its parts
        says of power or wires need not be met. None when there is no time for all of them."""
        if self.within:
            return None
        for _ in range(MOST_WIRINGS):
            working = self.questions.working(parts_list)
            if working is None:
                return None
            if not isinstance(working, Working):
                return True
            self._keep(working, found)
            self.questions.excluded.append(self.questions.bare(working))
        return None

    def _dearer(self, parts_list: PartsList, key: Key, found: Found) -> bool | None:
        """Return False when no wiring of this list costs as little as `key`; True when one does
        (kept in `found`) or may; None when time is up.

        Within a larger whole: hold all inputs that this circuit does not depend on so that all
        sensing parts of theirs are open (`dead`). Then all outputs elsewhere are dead, and the
        circuit does its work all the same. One that has more parts elsewhere costs more by
        `spare`, which is counted as well.
        """
        parts = self.catalogue.parts(parts_list.items)
        place = self._price_place
        rest = key[place] - self.catalogue.price((*parts, *self.catalogue.elsewhere))
        if rest < 0:
            return False
        larger = self.larger
        if larger is not None:
            if not larger.dead:
                return True
            measured = self.catalogue.measure(parts_list.items)
            spare = larger.spare
            if measured and spare is not None and key[place] >= measured.price + spare:
                return True
            found.asked += 1
            loosely = self.questions.loosely(parts_list, rest, larger.elsewhere)
            if not loosely:
                return loosely
            rest -= larger.inside
            if rest < 0:
                # As the rest is wired, that does not pay for it; in other ways it might.
                return True
        found.asked += 1
        working = self.questions.working(parts_list, rest, larger.on_supply if larger else 0)
        if working is None:
            return None
        if isinstance(working, Working):
            self._keep(working, found)
            return True
        return larger is not None

    def _dearer_price(self, parts_list: PartsList, price: int) -> int:
        """Return the next price after `price` that a design of this list may have."""
        parts = (*self.catalogue.parts(parts_list.items), *self.catalogue.elsewhere)
        own = self.catalogue.price(parts)
        outlets = surplus(parts, self.catalogue.loads)
        # Branches that stay idle, and joints that cost nothing, have to be made up for.
        idle = sum(part.type is PartType.RELAY_CHANGEOVER for part in parts)
        if self.catalogue.free:
            idle += free_joints(len(parts), self.catalogue.loads)
        dearer = {
            own + total
            for more in range(idle + 1)
            for total in self._totals(outlets + more)
            if own + total > price
        }
        if self.larger is not None and self.larger.spare is not None:
            dearer.add(max(price + 1, parts_list.price + self.larger.spare))
        return min(dearer, default=price + 1)

    def frugal(self, best: Working) -> Working | None:
        """Return a design of the parts and price of `best` whose nets mostly split without waste,
        if there is one; nothing is proven if there is none."""
        parts_list = self.catalogue.measure(self.catalogue.items_of(best.skeleton))
        if parts_list is None:
            return None
        parts = (*self.catalogue.parts(parts_list.items), *self.catalogue.elsewhere)
        price = best.design.price(self.problem.kit, self.problem.limits.stock)
        rest = price - self.catalogue.price(parts)
        larger = self.larger
        if larger is None:
            working = self.questions.working(parts_list, rest, frugal=True)
            return working if isinstance(working, Working) else None
        if rest < larger.inside:
            return None
        working = self.questions.working(
            parts_list, rest - larger.inside, larger.on_supply, frugal=True
        )
        return larger.complete(working) if isinstance(working, Working) else None

    def _keep(self, working: Working, found: Found) -> Working | None:
        """Return the design of the whole, kept in `found` if it is the best so far."""
        whole = self.larger.complete(working) if self.larger else working
        if whole is not None and (
            found.best is None or self._key(whole) < self._key(found.best)
        ):
            found.best = whole
            self.progress.report("design found", self._key(whole)[0], None)
        return whole

    def _key(self, working: Working) -> Key:
        return design_key(working.design, self.problem)

    # -- what is known of a list without a question ------------------------------------------

    def _too_dear(self, key: Key) -> bool:
        """Return whether this and all later lists are beyond the limit of the first objective."""
        limits = self.problem.limits
        dearest = limits.price if self.dearest is None else self.dearest
        bound = {Objective.PRICE: dearest, Objective.SUPPLY: limits.supply}.get(
            self.problem.objectives[0]
        )
        return bound is not None and key[0] > bound

    def needed(self) -> list[int] | None:
        """Return the offers that every design has: one sensing part for each input that any
        signal depends on (nothing else follows that input), and so many of a part as are asked
        for at least. None when there is none."""
        needed: list[int] = []
        for name in self._essential:
            options = [
                i
                for i, (part, follows) in enumerate(self.catalogue.offers)
                if follows == name and part.type in SENSING
            ]
            if not options:
                return None
            if len(options) == 1:
                needed.append(options[0])
        for part_name, least in self.problem.limits.least:
            options = self._called(part_name)
            if len(options) == 1:
                needed += options * (least - needed.count(options[0]))
        return needed

    def _called(self, part_name: str) -> list[int]:
        """Return the offers of a part: one, or one for each input that it may follow."""
        return [i for i, (p, _) in enumerate(self.catalogue.offers) if p.name == part_name]

    def _impossible(self) -> str:
        """Return why no parts list whatever will do, "" if that is not known."""
        offers, limits = self.catalogue.offers, self.problem.limits
        for name in self._essential:
            if all(follows != name for _, follows in offers):
                return f"nothing on offer follows '{name}'"
        for name, asked in limits.least:
            there = sum(self.catalogue.caps[i] for i in self._called(name))
            if there < asked:
                only = f"only {there} can be" if there else "none can be"
                return f"at least {asked} of '{name}' should be in use, and {only}"
        if self.alone_changes and not any(part.type in TIMED for part, _ in offers):
            return f"'{self.alone_changes}' has to keep a time, and no timer that can is on offer"
        most = sum(
            cap
            for (part, _), cap in zip(self.catalogue.offers, self.catalogue.caps, strict=True)
            if part.type in TIMED
        )
        if self.waiting.count > most:
            return (
                f"{self.waiting.count} timers must run at once, for "
                f"{', '.join(repr(load) for load in self.waiting.loads)}, and there are only {most}"
            )
        peak = self.problem.peak
        if peak is not None and on_together(self.problem) > peak.units:
            return (
                f"the loads on at one moment need {on_together(self.problem)} units, and goal "
                f"{peak.goal} allows {peak.units}"
            )
        energy = self.problem.energy
        alone = loads_alone(self.problem, energy.nights) if energy is not None else None
        if energy is not None and alone is not None and alone.total > energy.unit_hours:
            return (
                f"{alone_in_words(alone, self.problem)}; goal {energy.goal} allows "
                f"{unit_hours(energy.unit_hours)} a day"
            )
        least = self.catalogue.least_units
        if limits.supply is not None and least > limits.supply:
            return (
                f"the loads{' on at one moment' if self.catalogue.turning else ' alone'} need "
                f"{least - limits.spare} units"
                + (f", {limits.spare} are to be spare" if limits.spare else "")
                + f", and the supply is limited to {limits.supply}"
            )
        return ""

    def hopeless(self, parts_list: PartsList) -> str:
        """Return why this list is refuted without a question, "" if it is not."""
        parts = self.catalogue.parts(parts_list.items)
        reason = self.catalogue.beyond(parts_list)
        if reason:
            return reason
        follows = [self.catalogue.offers[i][1] for i in parts_list.items]
        for name in self._essential:
            if name not in follows:
                return f"nothing follows '{name}'"
        for name, least in self.problem.limits.least:
            if sum(part.name == name for part in parts) < least:
                return f"at least {least} of '{name}' should be in use"
        levers = [
            self.catalogue.offers[i][1]
            for i in parts_list.items
            if self.catalogue.offers[i][0].type in LEVERS
        ]
        if len(levers) != len(set(levers)):
            return "a lever is one part with one contact"
        if sum(part.type in TIMED for part in parts) < self.waiting.count:
            return f"{self.waiting.count} timers must run at once"
        if sum(part.type in CONTROLLED for part in parts) < self.waiting.controlled:
            return f"{self.waiting.controlled} relays and timers must be in use at once"
        if self.remembers and not any(part.type in CONTROLLED for part in parts):
            return self.remembers
        goes_on, times = self.waiting.perpetual, self.problem.times
        joints = bool(self.catalogue.joint or self.catalogue.free)
        return (
            lacks_time(parts, self.problem, self.alone_changes, joints)
            or cannot_go_on(parts, goes_on, times, joints)
            or cannot_tell_phases(parts, goes_on, times, joints)
        )
