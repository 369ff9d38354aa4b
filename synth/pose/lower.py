"""Afterwards, each load has one signal that says exactly when it is on.

One method for each behaviour; the meaning of a signal is in `synth.signals`. For a load,

- *permit*: supply healthy, its cutoffs closed, and nothing that must cut it (never while,
  never together, gap);
- *asked*: permit, and its 'only' and 'unless' conditions.

Every memory is enabled by *asked*: while that fails the load is off and the goal forgets; when
it returns the goal starts afresh. With 'keeps its state' the memory is never forgotten, and
*asked* gates its inputs and its output instead.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations

from synth.errors import Contradiction, GoalError
from synth.goals import (
    AfterTime,
    Always,
    AtLeast,
    Behaviour,
    Choice,
    Condition,
    Cutoff,
    Cycles,
    Empties,
    Every,
    Fills,
    ForTime,
    Gap,
    GoalList,
    Is,
    KeepsRunning,
    LoadGoal,
    Negation,
    NeverTogether,
    NeverWhile,
    Only,
    Some,
    StartStop,
    State,
    SwitchedFrom,
    Toggles,
    While,
)
from synth.pose.canonical import SUPPLY, both, either, inverse
from synth.pose.contradiction import contradiction, met
from synth.pose.names import Names, asked_of
from synth.problem import InputKind
from synth.signals import (
    OFF,
    ON,
    Cycle,
    Latch,
    Level,
    OffDelay,
    OnDelay,
    Pulse,
    Recently,
    Signal,
    Toggle,
)
from synth.ticks import format_duration

_APPLIES: dict[Choice, tuple[type, ...]] = {
    Choice.PULSE_FIRST: (Cycles,),
    Choice.PAUSE_FIRST: (Cycles,),
    Choice.CUT: (Cycles,),
    Choice.FINISH: (Cycles,),
    Choice.IGNORE: (ForTime,),
    Choice.EXTEND: (ForTime,),
    Choice.STOP_WINS: (StartStop,),
    Choice.START_WINS: (StartStop,),
    Choice.KEEP: (StartStop, Fills, Empties, Toggles),
}
_KINDS = {
    Cycles: "a cycle ('10 s of every 60 s')",
    ForTime: "a run of a fixed time ('for 30 s after …')",
    StartStop: "start and stop ('started by … stopped by …')",
    Fills: "filling",
    Empties: "emptying",
    Toggles: "toggling",
}


@dataclass
class Plan:
    """All that the goals say of one load."""

    load: str
    goal: LoadGoal | None = None
    """The goal that says what it does."""
    only: list[Condition] = field(default_factory=list)
    never: list[Condition] = field(default_factory=list)
    at_least: AtLeast | None = None
    at_least_goal: int = 0
    """The number of the goal that says so."""
    choices: dict[Choice, LoadGoal] = field(default_factory=dict)
    levers: list[str] = field(default_factory=list)
    before: list[str] = field(default_factory=list)
    """Loads that go first: while one of them is on, this one is off."""
    gaps: dict[str, int] = field(default_factory=dict)
    """Other load to the gap after it, in ticks."""
    goals: set[int] = field(default_factory=set)

    @property
    def does(self) -> Behaviour:
        """What the load does."""
        assert self.goal is not None and self.goal.does is not None
        return self.goal.does


def plans(
    goal_list: GoalList, names: Names, against: list[Contradiction] | None = None
) -> dict[str, Plan]:
    """Return all that is said of each load. Raises GoalError for what cannot go together; goals
    that contradict each other are added to `against` instead, where it is given."""
    found = {load: Plan(load) for load in names.loads}
    for goal in goal_list.goals:
        match goal:
            case LoadGoal():
                for load in goal.loads:
                    _add(found[load], goal, against)
            case Cutoff():
                for load in goal.loads or names.loads:
                    plan = found[load]
                    plan.goals.add(goal.number)
                    if goal.lever not in plan.levers:
                        plan.levers.append(goal.lever)
            case NeverTogether():
                for load in goal.loads:
                    found[load].goals.add(goal.number)
            case Gap():
                for load in goal.loads:
                    plan = found[load]
                    plan.goals.add(goal.number)
                    for other in goal.loads:
                        if other != load:
                            plan.gaps[other] = max(goal.time, plan.gaps.get(other, 0))
    _order(goal_list, found, against)
    for plan in found.values():
        _check(plan, goal_list, against)
    return found


def _order(
    goal_list: GoalList, found: dict[str, Plan], against: list[Contradiction] | None
) -> None:
    """Find out which of two loads goes first: the one of which that is said, in whichever goal;
    else the one that is named first in the first goal about both."""
    said: dict[tuple[str, str], NeverTogether] = {}
    others: list[tuple[str, str]] = []
    for goal in goal_list.goals:
        if not isinstance(goal, NeverTogether | Gap):
            continue
        for first, second in combinations(goal.loads, 2):
            if not isinstance(goal, NeverTogether) or first != goal.first:
                others.append((first, second))
                continue
            other = said.get((second, first))
            if other is None:
                said.setdefault((first, second), goal)
                continue
            met(
                contradiction(
                    (other.number, goal.number),
                    f"one says that '{second}' goes first, and one that '{first}' does",
                    goal.place,
                ),
                against,
            )
    known: set[tuple[str, str]] = set()
    for first, second in (*said, *others):
        if (second, first) not in known and (first, second) not in known:
            known.add((first, second))
            found[second].before.append(first)


def _add(plan: Plan, goal: LoadGoal, against: list[Contradiction] | None) -> None:
    plan.goals.add(goal.number)
    if goal.does is not None:
        if plan.goal is None:
            plan.goal = goal
        elif plan.goal.does != goal.does:
            met(
                contradiction(
                    (plan.goal.number, goal.number),
                    f"goals {plan.goal.number} and {goal.number} both say when '{plan.load}' is on",
                    goal.place,
                    _in_one_goal(plan.does, goal.does),
                    told=True,
                ),
                against,
            )
    for addition in goal.additions:
        match addition:
            case Only(condition):
                plan.only.append(condition)
            case NeverWhile(condition):
                plan.never.append(condition)
            case AtLeast():
                if plan.at_least is None or plan.at_least.time < addition.time:
                    plan.at_least = addition
                    plan.at_least_goal = goal.number
            case Choice():
                plan.choices.setdefault(addition, goal)


def _in_one_goal(one: Behaviour, other: Behaviour) -> str:
    """Return what to say instead of two goals that say when one load is on."""
    limits = (
        "begin the second with 'only' where both must hold, with 'never while' where it holds the "
        "load off"
    )
    if isinstance(one, While) and isinstance(other, While):
        return f"join them in one goal with 'or'; {limits}"
    times = [does for does in (one, other) if isinstance(does, ForTime)]
    if times and isinstance(one if times[0] is other else other, While):
        about = [{item.name for item, _ in asked_of(does)} for does in (one, other)]
        if about[0] == about[1]:
            time = format_duration(times[0].time)
            return f"say both in one goal, as 'while … and for {time} after'; {limits}"
    return (
        "one goal says when a load is on, and only conditions are joined by 'or': give each a load "
        f"of its own, or leave one out; {limits}"
    )


def _check(plan: Plan, goal_list: GoalList, against: list[Contradiction] | None) -> None:
    """Refuse what is said of a load but cannot be: no behaviour, a word that does not apply."""
    about = [
        goal
        for goal in goal_list.goals
        if isinstance(goal, LoadGoal) and plan.load in goal.loads
    ]
    if plan.goal is None:
        raise GoalError(
            f"no goal says when '{plan.load}' is on; goal {about[0].number} only limits it",
            about[0].place,
            f"add a goal such as '{plan.load} always'",
        )
    for choice, goal in plan.choices.items():
        other = plan.choices.get(choice.other)
        if other is not None and choice.value < choice.other.value:
            met(
                contradiction(
                    (goal.number, other.number),
                    f"'{choice.value}' and '{choice.other.value}' cannot both be asked of "
                    f"'{plan.load}'",
                    max(goal, other, key=lambda said: said.number).place,
                ),
                against,
            )
        kinds = _APPLIES.get(choice)
        if kinds and not isinstance(plan.does, kinds):
            raise GoalError(
                f"'{choice.value}' means nothing for what '{plan.load}' does",
                goal.place,
                f"it belongs to {' or '.join(_KINDS[kind] for kind in kinds)}",
            )
    if Choice.FINISH in plan.choices and not plan.only:
        raise GoalError(
            f"'finish the pulse': no condition ever interrupts '{plan.load}'",
            plan.choices[Choice.FINISH].place,
            "add one with 'only while …'; a cutoff and 'never while' always cut at once",
        )
    if plan.at_least and isinstance(plan.does, Cycles | ForTime):
        run = plan.does.on if isinstance(plan.does, Cycles) else plan.does.time
        if run < plan.at_least.time:
            met(
                contradiction(
                    (plan.goal.number, plan.at_least_goal),
                    f"'{plan.load}' is to run for {format_duration(run)} and for at least "
                    f"{format_duration(plan.at_least.time)}; it cannot do both",
                    about[-1].place,
                ),
                against,
            )
            plan.at_least = None


class Lowering:
    """Makes signals from plans; each load's signal once, after those that it looks at."""

    def __init__(self, names: Names, found: dict[str, Plan]) -> None:
        self.names = names
        self.plans = found
        self.signals: dict[str, Signal] = {}
        """Finished signals, in the order of evaluation."""
        self.never: list[str] = []
        """Loads that could never be on, those first that others look at."""
        self._open: list[str] = []

    def all(self) -> dict[str, Signal]:
        """Return the signal of every load, each after those that it looks at."""
        for load in self.plans:
            self.signal(load)
        return self.signals

    def signal(self, load: str) -> Signal:
        """Return the signal of `load`; GoalError when loads wait for each other in a circle."""
        if load in self.signals:
            return self.signals[load]
        plan = self.plans[load]
        assert plan.goal is not None
        if load in self._open:
            circle = [*self._open[self._open.index(load) :], load]
            raise GoalError(
                "each of these depends on the next: " + ", ".join(f"'{name}'" for name in circle),
                plan.goal.place,
                "say at least one of them by inputs alone",
            )
        self._open.append(load)
        signal = self.lowered(plan)
        self._open.pop()
        if signal == OFF:
            self.never.append(load)
        self.signals[load] = signal
        return signal

    # conditions

    def condition(self, condition: Condition) -> Signal:
        """Return the signal of a condition."""
        match condition:
            case Is():
                level = self.level(condition.name)
                return level if self.positive(condition) else inverse(level)
            case Negation(of):
                return inverse(self.condition(of))
            case Every(of):
                return both(*(self.condition(piece) for piece in of))
            case Some(of):
                return either(*(self.condition(piece) for piece in of))

    def level(self, name: str) -> Signal:
        """Return the signal of a name: the required value of a load, the level of an input."""
        return self.signal(name) if name in self.plans else Level(name)

    def positive(self, item: Is) -> bool:
        """Return whether the word used for a state means level 1 (see `is_one`)."""
        kind = None if item.name in self.plans else self.names.inputs.get(item.name)
        return is_one(item.state, kind)

    # one load

    def ok(self, plan: Plan) -> Signal:
        """Return: the supply is healthy and every cutoff of the load closed."""
        return both(SUPPLY, *(Level(lever) for lever in plan.levers))

    def gap_after(self, plan: Plan, other: str) -> Signal:
        """Return: `other` has been off for the gap. It is forgotten in a power cut, and while a
        cutoff that covers both loads is open; a cutoff of one of them leaves it counting."""
        levers = [lever for lever in plan.levers if lever in self.plans[other].levers]
        enable = both(SUPPLY, *(Level(lever) for lever in levers))
        return inverse(Recently(other, plan.gaps[other], enable))

    def lowered(self, plan: Plan) -> Signal:
        """Return the signal of one load."""
        free = both(
            self.ok(plan),
            *(inverse(self.condition(condition)) for condition in plan.never),
            *(inverse(self.signal(other)) for other in plan.before),
        )
        permit = both(free, *(self.gap_after(plan, other) for other in plan.gaps))
        wish = both(*(self.condition(condition) for condition in plan.only))
        asked = both(permit, wish)
        signal = self.behaviour(plan, permit, wish, asked, both(free, wish))
        if plan.at_least:
            # Every run begins with a rise of `signal`, and so with this pulse.
            signal = either(signal, Pulse(signal, plan.at_least.time, enable=permit))
        return signal

    def behaviour(
        self, plan: Plan, permit: Signal, wish: Signal, asked: Signal, counted: Signal
    ) -> Signal:
        """Return the signal of what a load does, without its shortest run.

        `asked` says when it may do so; `counted` is `asked` without the gaps after other loads.
        """
        does, choices = plan.does, plan.choices
        match does:
            case Always():
                return asked
            case While(condition):
                return both(asked, self.condition(condition))
            case Cycles(on, off):
                first = Choice.PAUSE_FIRST not in choices
                if Choice.FINISH in choices:
                    return Cycle(wish, on, off, first, finish=True, enable=permit)
                return Cycle(asked, on, off, first)
            case ForTime(time, trigger):
                return Pulse(self.condition(trigger), time, Choice.EXTEND in choices, asked)
            case AfterTime(time, condition):
                # The delay counts how long the condition has held, also while a gap is waited for.
                return both(OnDelay(self.condition(condition), time, counted), asked)
            case KeepsRunning(time, condition):
                return OffDelay(self.condition(condition), time, asked)
            case StartStop(start, stop):
                return self.latch(
                    plan, asked, self.condition(start), self.condition(stop),
                    Choice.START_WINS in choices,
                )  # fmt: skip
            case Fills(low, high):
                return self.latch(
                    plan, asked, inverse(self.condition(low)), self.condition(high), False
                )
            case Empties(low, high):
                return self.latch(
                    plan, asked, self.condition(high), inverse(self.condition(low)), False
                )
            case Toggles(buttons):
                pressed = either(*(self.condition(button) for button in buttons))
                if Choice.KEEP in choices:
                    return both(asked, Toggle(both(asked, pressed)))
                return Toggle(pressed, asked)
            case SwitchedFrom(switches):
                return both(asked, parity([Level(item.name) for item in switches]))

    def latch(
        self, plan: Plan, asked: Signal, set_: Signal, reset: Signal, wins_set: bool
    ) -> Signal:
        """Return a latch that forgets with *asked*, or one that keeps its state."""
        if Choice.KEEP in plan.choices:
            return both(asked, Latch(both(asked, set_), both(asked, reset), wins_set))
        return Latch(set_, reset, wins_set, asked)


def is_one(state: State, kind: InputKind | None) -> bool:
    """Return whether a state, said of an input of `kind` (None: of a load), means level 1.

    A switch or button is open at 0 and closed at 1, as its contact is. What a sensor watches (a
    door, a valve) is open at 1: the sensor's level is 1 while the door is open.
    """
    if state in (State.OPEN, State.CLOSED):
        lever = kind in (InputKind.SWITCH, InputKind.BUTTON)
        return (state is State.CLOSED) == lever
    return state in (State.ON, State.PRESSED)


def parity(levels: list[Signal]) -> Signal:
    """Return the exclusive disjunction: every change of any one of them flips it."""
    result: Signal = OFF
    for level in levels:
        result = either(both(result, inverse(level)), both(inverse(result), level))
    return result


__all__ = ["ON", "Lowering", "Plan", "is_one", "parity", "plans"]
