"""Questions about one parts list: is there a wiring of exactly these parts, at this price?

A question is put to CP-SAT on a set of scenarios. "No" is a proof for all of that list. "Yes"
gives a wiring; it is shared out, checked exactly, and either stands or teaches a new scenario.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from synth.design import Design, PartInUse, Skeleton, Terminal
from synth.parts.behaviour import CONTROLLED, SPLITTING, PartType
from synth.problem import Objective, Problem
from synth.result import OpenFor, Verdict
from synth.search.basics import DEPTH, LARGEST, POINTS, LearnedRun, Progress, Tools, Working
from synth.search.choice import open_solver
from synth.search.formula import Formula
from synth.search.lists import Catalogue, PartsList
from synth.search.live import Live, too_large
from synth.search.scenario import Scenario, build_scenario
from synth.search.slots import Slot, Wiring
from synth.search.stimuli import drifting_runs, first_runs
from synth.search.unroll import Unrolled
from synth.signals import times_of
from synth.trace import Moment

FRUGAL_EFFORT = 6.0
"""Effort (see `Solver.ask`) that may go into a design of a known price that needs less power: what
was found in the examples took less than a tenth of it."""
LONGEST_QUESTION = 5.0
"""Seconds that a question may take which only spares another one."""

LIGHT = 150_000
"""Most clauses, by estimate, of a model that others may be asked beside."""
ASIDE = 75_000
"""Most clauses, by estimate, of a model for other wirings of a price that is known."""
MOST_MORE = 8
"""Parts that a model kept alive has more than the first list it is asked about, at most."""
FEW_LOADS = 16
"""Up to so many loads, a model holds all of them."""
MOST_INPUTS = 32
"""Inputs of parts on one output, beside the loads, that are reckoned with at most."""


@dataclass(frozen=True)
class Elsewhere:
    """What else the whole holds beside the circuit asked about: a number of inputs to be fed
    (loads included) and of outputs that feed something, see `Wiring.price_sharing`."""

    inputs: int = 0
    outputs: int = 0


Assigned = tuple[bool, ...] | Literal[False] | None
"""An assignment (by variable), False where there is none, None where time was up."""


@dataclass(frozen=True)
class Begun:
    """A question about a list that was put already, as far as it is: its model and the answer."""

    live: Live
    answer: Assigned


class Questions:
    """Asks about the wirings of one problem and keeps what the answers taught."""

    def __init__(
        self, problem: Problem, catalogue: Catalogue, tools: Tools, progress: Progress, seed: int
    ) -> None:
        self.problem = problem
        self.catalogue = catalogue
        self.tools = tools
        self.progress = progress
        self.seed = seed
        self.loads = representatives(problem, tools.fan_out)
        self.excluded: list[Skeleton] = []
        self.learned: list[Scenario] = []
        self.runs: list[LearnedRun] = []
        times = sorted(set().union(*(times_of(r.signal) for r in problem.requirements)))
        self.scenarios = [
            build_scenario(
                problem, moments, problem.times or times, horizon, POINTS, cut=2 * POINTS
            )
            for moments, horizon in first_runs(problem, seed)
        ]
        self.plain = self.scenarios[:1]
        self.drifting: list[list[Scenario]] = []
        """Sets of runs that most lists do not stand, if there are any; see `drift`."""
        self.forced: tuple[int, ...] = ()
        """Settings that some timer of every design has, each."""
        self.fast = tools.fast
        self.largest = (2 if self.fast else 1) * LARGEST
        self.ahead: Callable[[], Iterable[tuple[int, ...]]] = tuple
        """Lists that are likely to be asked about next."""
        self._live: Live | None = None
        self.open_for: OpenFor | None = None
        """Why the last question has no answer, where it is not for want of time."""

    def drift(self, changes: Sequence[tuple[str, bool]]) -> None:
        """Begin with runs in which loads follow clocks of their own, which these changes start."""
        for runs in drifting_runs(self.problem, changes):
            plain = [
                build_scenario(self.problem, moments, (), end, len(grid), 0, grid)
                for (moments, end), grid in runs
            ]
            self.drifting.append([replace(scenario, in_time=True) for scenario in plain])
        if self.drifting:
            self.plain = self.drifting[0]

    @property
    def drifts(self) -> bool:
        """Whether lists are asked about runs that most of them do not stand, see `drift`."""
        return bool(self.drifting)

    def lift(self, run: LearnedRun, also_on: Sequence[str]) -> None:
        """Ask of this problem what taught something about a circuit of it.

        All inputs that the run does not mention stay at 0 but for `also_on`, which are at 1.
        """
        mentioned = {name for moment in run.moments for name, _ in moment.inputs}
        others = [item for item in self.problem.inputs if item.name not in mentioned]
        if not run.moments or any(
            item.most_off is not None
            or (item.steady is True and item.name != "supply")
            or (item.steady is False and item.name in also_on)
            for item in others
        ):
            return
        first = run.moments[0]
        names = {item.name for item in self.problem.inputs}
        on = {**dict(first.inputs), **dict.fromkeys(also_on, True)}
        if not self.problem.may_follow(None, on):
            return
        levels = (*first.inputs, *((name, True) for name in also_on if name in names))
        moments = (Moment(first.time, levels), *run.moments[1:])
        scenario = build_scenario(
            self.problem,
            moments,
            self.problem.times,
            run.last,
            POINTS,
            also=run.instants,
            orders=run.orders,
        )
        if len(scenario.points) <= 4 * POINTS:
            self.learned.append(scenario)

    def working(
        self,
        parts_list: PartsList,
        rest: int | None = None,
        on_supply: int = 0,
        frugal: bool = False,
        effort: float | None = None,
        given: Skeleton | None = None,
        begun: Begun | None = None,
    ) -> Working | Literal[False] | None:
        """Return a wiring of exactly these parts that stands the exact check, in which splitting
        costs at most `rest` coins if given, with `on_supply` inputs more on the supply; False
        when there is none, None when time is up, or the `effort` (see `Solver.ask`).

        `frugal`: wired so that the cheapest splits mostly waste no units (see `Wiring.spare`), as
        far as that shows soon. A guess at what needs little power; "no" then proves nothing.
        `given`: wired so as far as its parts go, loads apart. `begun`: this very question, see
        `begin`.
        """
        self.open_for = None
        if begun is not None and not begun.live.too_large:
            return self._stands(begun.live, parts_list.items, begun=begun.answer)
        live = self._live_for(parts_list.items) if rest is None and given is None else None
        if live is None:
            live = Live(self, parts_list.items, ordered=given is None)
            if live.too_large:
                self.open_for = OpenFor.TOO_LARGE
                return None
            if rest is not None:
                # Loads that the model leaves out are fed as well, each by some output.
                twins = len(self.problem.requirements) - len(self.loads)
                live.wiring.price_sharing(self.tools.fan_out, rest, twins, on_supply=on_supply)
                if frugal:
                    live.wiring.spare(self.tools.wastes)
                    effort = FRUGAL_EFFORT
        live.effort = effort
        held: list[int] = []
        if given is not None:
            chosen = live.wiring.assignment(without_loads(given))
            if chosen is None:
                return False
            held = [v if value else -v for v, value in chosen.items()]
        parts = self.catalogue.parts(parts_list.items)
        dearest = None if rest is None or on_supply else self.catalogue.price(parts) + rest
        return self._stands(live, parts_list.items, dearest, held)

    def begin(self, items: tuple[int, ...]) -> Callable[[Callable[[], bool]], Begun]:
        """Return what is to be done to begin with the question whether some wiring of exactly
        these parts works. It may be done in a thread of its own, whatever is learned meanwhile."""
        learned, ruled_out = tuple(self.learned), len(self.excluded)

        def work(stopped: Callable[[], bool]) -> Begun:
            live = Live(self, items, learned=learned)
            if live.too_large or stopped():
                return Begun(live, None)
            live.refresh(ruled_out)
            return Begun(live, live.ask(live.exactly(items), stopped=stopped))

        return work

    def refuted_at_once(
        self, items: tuple[int, ...], loose: bool, stopped: Callable[[], bool]
    ) -> bool:
        """Return whether some set of drifting runs alone shows that no wiring of these parts works;
        `loose`: some of them perhaps idle within a larger whole. May be asked in a thread of its
        own."""
        for runs in self.drifting:
            live = Live(self, items, loose=loose, only=runs)
            answer = None if live.too_large else live.ask(stopped=stopped)
            if not answer:
                return answer is False
        return False

    def light(self, items: tuple[int, ...]) -> bool:
        """Return whether there is room for several models of such lists at a time."""
        return not too_large(self.catalogue.slots(items, self.loads), self.plain, LIGHT)

    def every(
        self, parts_list: PartsList, rest: int, frugal: bool = False
    ) -> Iterator[Working | None]:
        """Yield one wiring after the other of exactly these parts that stands the exact check, in
        which splitting costs at most `rest` coins; last of all None when time is up.

        Wirings that differ in the names of parts alone come once, as far as parts that are alike
        are concerned. `frugal`: only those of which the cheapest splits mostly waste no units.
        """
        live = Live(self, parts_list.items)
        if live.too_large:
            yield None
            return
        twins = len(self.problem.requirements) - len(self.loads)
        live.wiring.price_sharing(self.tools.fan_out, rest, twins)
        if frugal:
            live.wiring.spare(self.tools.wastes)
        dearest = self.catalogue.price(self.catalogue.parts(parts_list.items)) + rest
        while True:
            working = self._stands(live, parts_list.items, dearest)
            if not isinstance(working, Working):
                if working is None:
                    yield None
                return
            yield working
            for renamed in live.wiring.renamings(self.bare(working)):
                live.wiring.exclude(renamed)

    def fewer_on_supply(self, parts_list: PartsList, rest: int, count: int) -> Iterator[Working]:
        """Yield wirings of exactly these parts that stand the exact check, in which splitting
        costs at most `rest` coins, with ever fewer than `count` inputs on the supply."""
        live = Live(self, parts_list.items, largest=ASIDE)
        if live.too_large:
            return
        twins = len(self.problem.requirements) - len(self.loads)
        live.wiring.price_sharing(self.tools.fan_out, rest, twins)
        dearest = self.catalogue.price(self.catalogue.parts(parts_list.items)) + rest
        over = live.wiring.more.get((-1, "out"), [])
        while 1 < count <= len(over) + 1:
            fewer = [-literal for literal in over[count - 2 :]]
            working = self._stands(live, parts_list.items, dearest, fewer)
            if not isinstance(working, Working):
                return
            yield working
            supply = Terminal("supply", "out")
            count = sum(source == supply for source, _ in self.bare(working).feeds)

    def stands(
        self, live: Live, items: tuple[int, ...], also: Sequence[int]
    ) -> Working | Literal[False] | None:
        """Return a wiring of exactly `items` within a model that stands the exact check, in which
        the literals `also` hold; False when there is none, None when time is up."""
        self.open_for = None
        return self._stands(live, items, also=also)

    def _stands(
        self,
        live: Live,
        items: tuple[int, ...],
        dearest: int | None = None,
        also: Sequence[int] = (),
        begun: Assigned = None,
    ) -> Working | Literal[False] | None:
        """Return a wiring of exactly `items` within a model that stands the exact check, costs no
        more than `dearest`, and of which the literals `also` hold; `begun` is what it said first.

        A wiring may cost more than the model counts, since the needs of its consumers do not
        always let its nets be split at the least price, or not within a limit of the supply.
        """
        while True:
            answer, begun = begun, None
            if (live.refresh() and answer is not False) or answer is None:
                answer = live.ask([*live.exactly(items), *also])
            if answer is None or isinstance(answer, bool):
                return answer
            bare = live.wiring.decode(answer)
            known = next((s for s in live.left_out() if self.refutes(s, bare, live.slots)), None)
            if known is None:
                skeleton = with_equal_loads(bare, self.problem)
                design = self.tools.share(skeleton, self.problem)
                if design is None:
                    self.excluded.append(bare)
                    continue
                verdict = self.tools.check(design, self.problem)
                if verdict is None:
                    self.open_for = OpenFor.UNCHECKED
                    return None
                price = design.price(self.problem.kit, self.problem.limits.stock)
                if verdict.holds and dearest is not None and price > dearest:
                    # At a higher price it does: it is ruled out of this question alone.
                    live.wiring.exclude(bare)
                    if self.progress.over():
                        return None
                    continue
                if verdict.holds:
                    parts_list = self.catalogue.measure(self.catalogue.items_of(bare))
                    assert parts_list is not None
                    return Working(skeleton, design, verdict, parts_list)
                if self.progress.over():
                    return None
                known = self._learn(design, verdict, bare, live.slots)
            else:
                # What was needed last is tried first.
                self.learned.remove(known)
                self.learned.append(known)
            if known is not None and not live.add(known):
                alone = self._alone(live, items, known)
                if alone is None:
                    self.open_for = OpenFor.TOO_LARGE
                    return None
                live = alone

    def _alone(self, full: Live, items: tuple[int, ...], scenario: Scenario) -> Live | None:
        """Return a model of one list alone in place of one that is full, with this scenario."""
        if self._live is not full:
            return None
        self._live = None
        live = Live(self, items)
        live.effort = full.effort
        return live if not live.too_large and live.add(scenario) else None

    def loosely(
        self, parts_list: PartsList, rest: int | None = None, elsewhere: Elsewhere | None = None
    ) -> bool | None:
        """Return whether these parts, some of them perhaps idle within a larger whole, might do.

        False is a proof that no design of the whole has exactly these parts for this circuit (at
        a price of splitting, of all nets of the whole, of `rest`). True claims nothing. None: no
        time to say.
        """
        self.open_for = None
        live = Live(self, parts_list.items, loose=True)
        if live.too_large:
            self.open_for = OpenFor.TOO_LARGE
            return None
        if rest is not None:
            more = elsewhere or Elsewhere()
            twins = len(self.problem.requirements) - len(self.loads)
            live.wiring.price_sharing(
                self.tools.fan_out, rest, more.inputs + twins, more.outputs
            )
        answer = live.ask()
        return None if answer is None else answer is not False

    def any_wiring(self, parts_list: PartsList) -> tuple[int, ...] | bool | None:
        """Return whether some wiring of some of these parts may do (None: no time to say): the
        parts that it uses, where they are known.

        "Some of": the list of a whole may have more than these loads use. A control input may
        stay without power: in the whole it may hang on something that is dead all the time.
        """
        used: tuple[int, ...] | bool = True
        live = Live(self, parts_list.items, loose=True, optional=True, only=self.plain)
        if live.too_large:
            return True
        first = {id(scenario) for scenario in self.plain}
        rest = [scenario for scenario in self.scenarios if id(scenario) not in first]
        for more in ([], self.learned[::-1], rest):
            if not all(live.add(scenario) for scenario in more):
                break
            answer = live.ask(most=LONGEST_QUESTION)
            if answer is None:
                return None if self.progress.over() else True
            if answer is False:
                return False
            used = self.catalogue.items_of(live.wiring.decode(answer))
        return used

    def _live_for(self, items: tuple[int, ...]) -> Live | None:
        """Return a model that is kept alive for this list and those to come, if that pays."""
        if not self.fast:
            return None
        if self._live is None or not holds(self._live.items, items):
            union = Counter(items)
            for other in self.ahead():
                more = union | Counter(other)
                if more.total() <= len(items) + MOST_MORE:
                    union = more
            self._live = Live(self, tuple(sorted(union.elements())), optional=True)
            if self._live.too_large:
                self._live = Live(self, items, optional=True)
        return None if self._live.too_large else self._live

    def _learn(
        self, design: Design, verdict: Verdict, bare: Skeleton, slots: Sequence[Slot]
    ) -> Scenario | None:
        """Return the scenario of a counterexample, kept, or rule out this very wiring."""
        for defect in verdict.defects:
            if defect.use is not None and defect.use.runs:
                self.excluded.append(drawing(bare))
                return None
            shown = defect.counterexample
            if shown is None or not shown.moments:
                continue
            last = max(m.time for m in shown.moments)
            orders = tuple(self.tools.orders(design, self.problem, shown).items())
            if shown.orders and (not orders or shown.trace is None):
                continue
            if shown.orders and shown.trace is not None:
                instants: Sequence[Fraction] = [t for t in shown.trace.instants if t <= last]
            else:
                instants = self.tools.instants(design, self.problem, shown.moments, last + 1)
            scenario = build_scenario(
                self.problem,
                shown.moments,
                self.problem.times,
                int(last),
                POINTS,
                also=instants,
                orders=orders,
            )
            if self.refutes(scenario, bare, slots):
                self.learned.append(scenario)
                self.runs.append(LearnedRun(shown.moments, int(last), tuple(instants), orders))
                return scenario
        self.excluded.append(bare)
        return None

    def refutes(self, scenario: Scenario, bare: Skeleton, slots: Sequence[Slot]) -> bool:
        """Return whether the scenario rules out this wiring of some of these slots (asked of the
        model itself). One that no model could hold, of a whole day by the minute, rules out
        nothing."""
        if too_large(slots, [scenario], self.largest):
            return False
        names = {part.name for part in bare.parts}
        own = tuple(
            slot if slot.load else replace(slot, fixed=True)
            for slot in slots
            if slot.load or slot.name in names
        )
        wiring = Wiring(self.problem, own, Formula())
        Unrolled(wiring, scenario, DEPTH)
        chosen = wiring.assignment(bare)
        assert chosen is not None
        formula = wiring.formula
        fixed = [v if value else -v for v, value in chosen.items() if v <= formula.count]
        solver = open_solver(formula, self.seed, self.fast)
        return solver.ask(max(1.0, self.progress.left()), fixed).satisfiable is False

    def bare(self, working: Working) -> Skeleton:
        """Return the wiring without the loads that the model leaves out."""
        out = {r.load for r in self.problem.requirements} - set(self.loads)
        parts = tuple(part for part in working.skeleton.parts if part.name not in out)
        feeds = tuple(feed for feed in working.skeleton.feeds if feed[1].part not in out)
        return replace(working.skeleton, parts=parts, feeds=feeds)


def without_loads(skeleton: Skeleton) -> Skeleton:
    """Return a wiring without its loads."""
    loads = {part.name for part in skeleton.parts if part.type is PartType.LOAD}
    return replace(
        skeleton,
        parts=tuple(part for part in skeleton.parts if part.name not in loads),
        feeds=tuple(feed for feed in skeleton.feeds if feed[1].part not in loads),
    )


def drawing(bare: Skeleton) -> Skeleton:
    """Return what decides how much the control inputs of a wiring use: its relays and timers with
    all that bears on them. A wiring that holds it, and does what is asked of its loads, uses no
    less on a day that is run from power up; the wiring itself where it has no relay or timer.

    Proof: what bears on these parts is theirs alone, so they go through the same states in any
    wiring that holds them, whatever else there is, and their control inputs are live at the same
    times. The loads are on as their goals ask, in a run that is the same for all designs.
    """
    kinds = {part.name: part.type for part in bare.parts}
    behind: dict[str, list[str]] = {}
    for source, target in bare.feeds:
        behind.setdefault(target.part, []).append(source.part)
    waiting = [name for name, kind in kinds.items() if kind in CONTROLLED]
    if not waiting:
        return bare
    kept: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name not in kept:
            kept.add(name)
            waiting += behind.get(name, ())
    return replace(
        bare,
        parts=tuple(part for part in bare.parts if part.name in kept),
        feeds=tuple(feed for feed in bare.feeds if feed[1].part in kept),
    )


def holds(items: Sequence[int], wanted: Sequence[int]) -> bool:
    """Return whether the multiset `items` holds all of `wanted`."""
    return all(items.count(i) >= wanted.count(i) for i in set(wanted))


def representatives(
    problem: Problem, fan_out: Callable[[int], int | None]
) -> tuple[str, ...]:
    """Return the loads that a model holds: where there are many, one for each distinct signal,
    and every load that some rule names; all of them where it may matter which output a load hangs
    on (see `may_hang_together`). `fan_out` prices a net."""
    limits = problem.limits
    loose = limits.price is None and limits.supply is None
    if (
        len(problem.requirements) <= FEW_LOADS
        or not loose
        or problem.objectives[0] is not Objective.PRICE
        or not may_hang_together(problem, fan_out)
    ):
        # Where a limit or the power decides, it matters which output a load hangs on.
        return tuple(r.load for r in problem.requirements)
    seen: dict[object, str] = {}
    for requirement in problem.requirements:
        seen.setdefault(requirement.signal, requirement.load)
    kept = set(seen.values())
    for pair in problem.apart:
        kept |= {pair.first, pair.second}
    kept |= {load for pair in limits.branches for load in pair} | set(limits.untimed)
    return tuple(r.load for r in problem.requirements if r.load in kept)


def may_hang_together(problem: Problem, fan_out: Callable[[int], int | None]) -> bool:
    """Return whether loads of one signal may as well hang where one of them does, for the price.

    A model without the others asks that every part feeds something that it holds. So let a part X
    of a design feed nothing but loads that the model leaves out, m of them at one output, all of
    which can hang at the output of one that it holds, with f inputs on it: X can go. That costs
    fan_out(f + m) - fan_out(f), and saves X's price, fan_out(m), and what its inputs take. So where
    no part costs less than the most of fan_out(f + m) - fan_out(f) - fan_out(m), for each of its
    outputs, a design that the model has costs no more. What is in stock or asked for costs nothing.
    """
    limits = problem.limits
    if limits.least or limits.stock:
        return False
    loads = len(problem.requirements)
    prices = [fan_out(number) for number in range(2 * loads + MOST_INPUTS + 1)]
    most = 0
    for left_out in range(1, loads):
        for there in range(1, loads + MOST_INPUTS):
            together, alone = prices[there + left_out], prices[there]
            apart = prices[left_out]
            if together is None or alone is None or apart is None:
                return False
            most = max(most, together - alone - apart)
    return all(
        part.price >= most * len(part.shape.outputs)
        for part in problem.kit.parts
        if part.type not in (*SPLITTING, PartType.SUPPLY)
    )


def with_equal_loads(skeleton: Skeleton, problem: Problem) -> Skeleton:
    """Return `skeleton` with all loads, each fed where a load of the same signal is."""
    fed = {target.part: source for source, target in skeleton.feeds if target.terminal == "in"}
    present = {part.name for part in skeleton.parts if part.type is PartType.LOAD}
    parts, feeds = list(skeleton.parts), list(skeleton.feeds)
    load = problem.kit.of_type(PartType.LOAD)[0]
    for requirement in problem.requirements:
        if requirement.load in present:
            continue
        twin = next(
            r.load
            for r in problem.requirements
            if r.signal == requirement.signal and r.load in present
        )
        parts.append(
            PartInUse(requirement.load, PartType.LOAD, load.name, (("needs", requirement.needs),))
        )
        feeds.append((fed[twin], Terminal(requirement.load, "in")))
    return Skeleton(skeleton.kit, tuple(parts), tuple(feeds))
