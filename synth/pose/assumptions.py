"""What goals leave open and how it was taken, one line each, with the words to say otherwise."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from synth.goals import (
    AfterTime,
    Choice,
    Cutoff,
    Cycles,
    Every,
    ForTime,
    Gap,
    Goal,
    GoalList,
    Is,
    KeepsRunning,
    LoadGoal,
    NeverTogether,
    NeverWhile,
    Only,
    Released,
    Some,
    StartStop,
    State,
    SwitchedFrom,
    Toggles,
)
from synth.pose.lower import Plan, is_one
from synth.pose.names import SUPPLY, Names, a_kind, inputs_in
from synth.problem import Energy, InputKind, Limits, OutsideInput
from synth.ticks import format_duration


def assumptions(
    goal_list: GoalList, names: Names, plans: dict[str, Plan], limits: Limits
) -> tuple[str, ...]:
    """Return the assumptions: those of the file, of the names, of each goal in order, of all, and
    how the wishes under 'limits' and 'stock' were taken."""
    lines = [*goal_list.defaults, *_about_names(goal_list, names)]
    let_go = {
        fact.name
        for fact in goal_list.facts
        if isinstance(fact, Released) and SUPPLY in fact.others
    }
    for goal in goal_list.goals:
        said = _about_goal(goal, names, plans, let_go)
        lines += [f"goal {goal.number}: {text}" for text in said]
    lines += _about_all(goal_list, names, plans)
    lines += _about_wishes(limits)
    return tuple(dict.fromkeys(lines))


def _about_names(goal_list: GoalList, names: Names) -> list[str]:
    lines = [
        f"'{load}' needs 1 unit; say otherwise under 'loads' in a goal file"
        for load in names.unsaid
    ]
    lines += [
        f"'{name}' is {a_kind(names.inputs[name])}, named in goal {number}; "
        "say otherwise under 'inputs'"
        for name, number in names.guessed.items()
    ]
    words: dict[str, list[State]] = {}
    for goal in goal_list.goals:
        for item, _ in inputs_in(goal):
            if item.state in (State.OPEN, State.CLOSED):
                words.setdefault(item.name, []).append(item.state)
    for name in words:
        kind = names.inputs.get(name)
        if kind is InputKind.SENSOR:
            lines.append(f"the sensor '{name}' is on while '{name}' is open")
        elif kind is not None and is_one(State.CLOSED, kind):
            lines.append(f"'{name}' is on while its contact is closed")
    return lines


def _about_goal(
    goal: Goal, names: Names, plans: dict[str, Plan], let_go: Collection[str]
) -> list[str]:
    match goal:
        case LoadGoal():
            return _about_load_goal(goal, names, plans, let_go)
        case Cutoff(lever, loads):
            covered = " and ".join(f"'{load}'" for load in loads) if loads else "every load"
            return [
                f"{covered} may run while '{lever}' is on (closed); while it is off, all goals "
                "of what it covers are off at once, and start afresh when it is back"
            ]
        case NeverTogether(loads, first):
            if first or _goes_first(loads, plans) != loads[0]:
                return []  # which goes first is said, in this goal or in another
            rest = " and ".join(f"'{load}'" for load in loads[1:])
            return [
                f"'{loads[0]}' goes first: where both are asked for, {rest} is held off and "
                f"starts afresh when free; say '…, {loads[1]} goes first' for another order"
            ]
        case Gap(_, loads):
            first = _goes_first(loads, plans)
            at_once = f"both at once: '{first}' goes first; " if first else ""
            return [
                "who comes first runs and the other waits (a delay of its own goes on counting); "
                f"{at_once}a power cut, or a cutoff of both, ends the wait"
            ]
    return []


def _goes_first(loads: Sequence[str], plans: dict[str, Plan]) -> str:
    """Return the load that goes before all others of `loads`, "" if none does."""
    return next(
        (
            load
            for load in loads
            if all(load in plans[other].before for other in loads if other != load)
        ),
        "",
    )


def _about_load_goal(
    goal: LoadGoal, names: Names, plans: dict[str, Plan], let_go: Collection[str]
) -> list[str]:
    lines: list[str] = []

    def by_default(one: Choice, other: Choice, line: str) -> None:
        """Add `line` about the loads of which neither choice is said, in this goal or another."""
        unsaid = [load for load in goal.loads if not {one, other} & plans[load].choices.keys()]
        if unsaid:
            named = " and ".join(f"'{load}'" for load in unsaid)
            lines.append(line if len(unsaid) == len(goal.loads) else f"{named}: {line}")

    match goal.does:
        case Cycles():
            by_default(
                Choice.PULSE_FIRST,
                Choice.PAUSE_FIRST,
                "the pulse comes first; say 'starting with the pause' for the other",
            )
            if any(plans[load].only for load in goal.loads):
                by_default(
                    Choice.CUT,
                    Choice.FINISH,
                    "a running pulse is cut at once when its condition fails; say 'finish the "
                    "pulse' for the other",
                )
                lines.append("the cycle starts afresh when its condition holds again")
        case ForTime(time, trigger):
            by_default(
                Choice.IGNORE,
                Choice.EXTEND,
                f"a new start within the {format_duration(time)} is ignored; say 'pressing "
                "again extends' for the other",
            )
            word = _words(trigger)
            if not (isinstance(trigger, Is) and trigger.name in let_go):
                lines.append(f"{word} already holding when power returns counts as a start")
        case AfterTime(time, condition):
            lines.append(
                f"on once {_words(condition)} has held for {format_duration(time)}, off with it; "
                f"say 'for {format_duration(time)} after …' for a run of that length"
            )
        case KeepsRunning(time, condition):
            lines.append(
                f"on while {_words(condition)} holds and for {format_duration(time)} after it"
            )
        case StartStop():
            by_default(
                Choice.STOP_WINS,
                Choice.START_WINS,
                "stop wins while both are pressed; say 'start wins' for the other",
            )
            by_default(
                Choice.FORGET,
                Choice.KEEP,
                "off after a power cut until started again; say 'keeps its state through a "
                "power cut' for the other",
            )
        case Toggles(buttons):
            if len(buttons) > 1:
                lines.append("while one of the buttons is held, to press another changes nothing")
            by_default(
                Choice.FORGET,
                Choice.KEEP,
                "off after a power cut; say 'keeps its state through a power cut' for the other",
            )
            held = next((item.name for item in buttons if item.name not in let_go), "")
            if held:
                line = "a button already pressed when power returns counts as a press"
                if names.inputs.get(held) is InputKind.BUTTON:
                    line += (
                        f"; where nobody holds it then, say '{held} is released when power "
                        "returns' under 'known'"
                    )
                lines.append(line)
        case SwitchedFrom(switches):
            if len(switches) > 1:
                lines.append("off while none of the switches is on; each change of one flips it")
    for addition in goal.additions:
        if isinstance(addition, Only | NeverWhile) and not isinstance(goal.does, Cycles):
            timed = any(_remembers(plans[load]) for load in goal.loads)
            if timed:
                lines.append(
                    "while its condition fails it is off and forgets; it starts afresh afterwards"
                )
                break
    return lines


def _remembers(plan: Plan) -> bool:
    kinds = AfterTime | ForTime | KeepsRunning | StartStop | Toggles
    return isinstance(plan.does, kinds) and Choice.KEEP not in plan.choices


def _words(condition: object) -> str:
    """Return a condition in a few words."""
    match condition:
        case Is(name, state):
            return f"'{name}'" if state is State.ON else f"'{name} {state.value}'"
        case Every() | Some():
            return "its condition"
    return "its condition"


def _about_all(goal_list: GoalList, names: Names, plans: dict[str, Plan]) -> list[str]:
    lines = [
        "after a power cut every goal starts afresh"
        + (
            ", but for those that keep their state"
            if any(Choice.KEEP in plan.choices for plan in plans.values())
            else ""
        )
    ]
    lines += [f"known, and relied on: {fact.phrase}" for fact in goal_list.facts]
    known = {
        name
        for fact in goal_list.facts
        # When a button is released says nothing of the supply and the switches that come on.
        for name in ((fact.name,) if isinstance(fact, Released) else fact.about)
    }
    free = [name for name in names.inputs if name not in known]
    if free:
        lines.append(
            "nothing is known of "
            + ", ".join(f"'{name}'" for name in free)
            + f": {'each' if len(free) > 1 else 'it'} may change at any moment; say more under "
            "'known'"
        )
    return lines


def _about_wishes(limits: Limits) -> list[str]:
    lines = [
        f"at least {number} of '{part}' {'is' if number == 1 else 'are'} in use, "
        f"{'feeding' if number == 1 else 'each feeding'} another part"
        for part, number in limits.least
    ]
    if limits.stock:
        there = ", ".join(f"{number} of '{part}'" for part, number in limits.stock)
        lines.append(
            f"{there} in stock cost nothing where designs are compared, so the cheapest design is "
            "the one for which least has to be bought, and a largest price limits what is bought; "
            "the price shown is that of all parts"
        )
    if limits.spare:
        units = "1 unit" if limits.spare == 1 else f"{limits.spare} units"
        lines.append(
            f"the supply delivers {units} more than the design needs, and a largest supply counts "
            "them"
        )
    lines += [
        f"'{one}' and '{other}' are on separate branches: no part but the supply and those that "
        "split power carries power to both"
        for one, other in limits.branches
    ]
    if limits.untimed:
        loads = ", ".join(f"'{load}'" for load in limits.untimed)
        lines.append(f"no timer carries power to {loads}; timers may work the controls before them")
    return lines


def about_energy(energy: Energy | None, inputs: Sequence[OutsideInput]) -> tuple[str, ...]:
    """Return what a goal about energy counts, and on which days."""
    if energy is None:
        return ()
    lead = f"goal {energy.goal}: "
    lines = [
        lead + "counted are all loads, at their need, and every control input of relays and "
        "timers, on a day on which no input but the night moves, the others at any level, every "
        "button released; not counted are what a timer or recycler draws besides, losses, inrush "
        "and the supply's own draw",
        lead + "the day before is let pass first; it begins at dusk, in any state that the design "
        "can be in, its running times just begun, or as power comes up; days on which inputs move "
        "may use more",
    ]
    dark = [item for item in inputs if item.kind is InputKind.NIGHT]
    if dark and dark[0].steady is None:
        nights = " and ".join(format_duration(night) for night in energy.nights)
        known = dark[0]
        stated = any((known.least_on, known.most_on, known.least_off, known.most_off))
        lines.append(
            lead + f"reckoned for a night of {nights}"
            + ("" if stated else "; say for example 'night lasts at most 16 h' under 'known'")
        )
    return tuple(lines)
