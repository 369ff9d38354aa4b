"""What hangs at the panel: the one-page card, the cautions, how to start anew, the log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from synth.choices import parts_in_words
from synth.design import PartInUse, handed_over, sensed_alike
from synth.handover.hazards import heaters, lamps_alone, motors, unknown, wet
from synth.handover.job import Job
from synth.handover.kept import first_at_rest, kept_loads, remanent, ways_to_rest
from synth.handover.lists import contact_form
from synth.handover.testing import not_covered
from synth.handover.words import (
    duration,
    say_begin,
    say_levels,
    say_loads,
    say_move,
    say_press,
    say_that,
    say_while,
)
from synth.modes import Mode, ModeGraph
from synth.parts.behaviour import CONTROLLED, SENSING, SPLITTING, TIMED, PartType
from synth.problem import InputKind
from synth.sheet import Block, Heading, Picture, Points, Sheet, Table, Words
from synth.wording import counted, listed

_POWER = "when the supply comes on"


_ON_THE_CARD = ("goal ", "after a power cut", "the sensor ", "known, and relied on")
"""How an assumption begins that whoever keeps the thing meets."""


def card(job: Job) -> Sheet:
    """Return the one-page card: what it does, how to stop it, how to start it, what is normal."""
    cuts = job.cut_by()
    harmless = {name for name, kind in job.kinds.items() if kind == "lamp"}
    stops = [f"Everything: {say_move(job, 'supply', False)} and lock it off."]
    for (name, level), loads in cuts.items():
        kind = job.kind(name)
        others = _also_on(job, name, level)
        if kind in (InputKind.SWITCH, InputKind.BUTTON) and all(x in harmless for x in others):
            press = kind is InputKind.BUTTON and level and _stays_off(job, name, loads)
            does = say_press(job, name) if press else say_move(job, name, level)
            then = f"; {listed(others)} may come on" if others else ""
            stops.append(f"Only {listed(loads)}: {does}{then}.")
    for name, toggled in _toggled_off(job):
        it = "it is" if len(toggled) == 1 else "they are"
        stops.append(f"Only {listed(toggled)}: {say_press(job, name)}, while {it} on.")
    steady = [item.name for item in job.problem.inputs if item.steady is not None]
    blocks: list[Block] = [
        Heading("What it does"),
        Points(tuple(goal.phrase for goal in job.problem.goals), numbered=True),
        Heading("How to stop it"),
        Points((*stops, ("No switch here is an emergency stop, and none makes" if len(stops) > 1
                         else "Nothing else makes") + " it safe to touch wires or what they work: "
                "only a supply off, locked off and tested dead does.")),
        Heading("How to start again"),
        Points(_start(job), numbered=True),
        Heading("What is normal"),
        Points((*(_waiting(job) or ("Every load follows its inputs at once; nothing waits.",)),
                "More that looks like a fault but is not: item 12.")),
        Heading("Whom to ask"),
        Table(("who", "name", "telephone", "for what"),
              (("keeper", "", "", "daily running"), ("builder", "", "", "wiring, changes"),
               ("licensed person", "", "", "mains, gas, fixed wiring"))),
        *_taken_so(job),
        Words(f"Design {job.key}. Keep this card at the panel; write every change on it by hand, "
              "with date and name, and carry it over into the pack."),
    ]
    if steady:
        blocks.insert(-1, Words(f"All this holds only as long as {listed(_promises(job))}."))
    return Sheet(1, "card", f"Card: {job.problem.title or 'this circuit'}", tuple(blocks))


def _moves(job: Job, button: str, level: bool) -> Iterator[tuple[ModeGraph, Mode, Mode]]:
    """Yield (circuit, mode before, mode after) of each press (`level`) or letting go of a button
    that happens while no other button is held."""
    others = {item.name for item in job.problem.inputs if item.kind is InputKind.BUTTON} - {button}
    for graph in job.facts.graphs:
        for change in graph.changes:
            before, after = graph.modes[change.start], graph.modes[change.end]
            held = any(on for name, on in before.levels if name in others)
            if change.input == button and change.level is level and not held:
                yield graph, before, after


def _also_on(job: Job, name: str, level: bool) -> list[str]:
    """Return the loads that may come on as an input is moved so: a stop that starts one is none,
    but for a lamp."""
    found: dict[str, None] = {}
    for graph in job.facts.graphs:
        for change in graph.changes:
            if change.input == name and change.level is level:
                before, after = graph.modes[change.start], graph.modes[change.end]
                found.update(dict.fromkeys(x for x in after.on if x not in before.on))
    return list(found)


def _stays_off(job: Job, button: str, loads: Sequence[str]) -> bool:
    """Return whether each of `loads` may be on while no other button is held, and none of them
    comes on as this one is let go, nor by itself after that."""
    running = {load for _, before, _ in _moves(job, button, True) for load in before.on}
    return running.issuperset(loads) and not any(
        load in later.on
        for graph, before, after in _moves(job, button, False)
        for load in loads
        if load not in before.on
        for later in _by_itself(graph, after)
    )


def _by_itself(graph: ModeGraph, mode: Mode) -> list[Mode]:
    """Return a mode, and all that it comes to while nothing moves but time."""
    found = [mode]
    for here in found:
        for change in graph.changes:
            end = graph.modes[change.end]
            if change.start == here.number and change.expired and end not in found:
                found.append(end)
    return found


def _toggled_off(job: Job) -> list[tuple[str, list[str]]]:
    """Return buttons of which a press turns loads off whenever they are on, and on again when they
    are off; with these loads. None of which a press may turn on a load while another is on."""
    found: list[tuple[str, list[str]]] = []
    for item in job.problem.inputs:
        if item.kind is not InputKind.BUTTON:
            continue
        off: dict[str, None] = {}
        other: set[str] = set()
        on_again: set[str] = set()
        for _, before, after in _moves(job, item.name, True):
            off.update(dict.fromkeys(x for x in before.on if x not in after.on))
            other.update(x for x in before.on if x in after.on)
            on_again.update(x for x in after.on if x not in before.on)
        loads = [load for load in off if load in on_again and load not in other]
        alike = all(
            len({load in before.on for load in loads}) == 1
            for _, before, _ in _moves(job, item.name, True)
            if {*loads} & {*before.on}
        )
        if loads and alike and on_again <= {*loads}:
            found.append((item.name, loads))
    return found


def _taken_so(job: Job) -> list[Block]:
    """Return how the goals' words were taken, as far as a keeper meets it; all is in item 15."""
    lines = [
        line.partition("; say ")[0] for line in job.problem.assumptions
        if line.startswith(_ON_THE_CARD)
    ]
    if not lines:
        return []
    return [Heading("How the goals are meant"), Points(tuple(f"{line}." for line in lines))]


def _further_assumptions(job: Job) -> list[str]:
    """Return what else was assumed of this job; what is to be kept cheap is no limit of it."""
    return [
        line.partition("; say ")[0] for line in job.problem.assumptions
        if not line.startswith((*_ON_THE_CARD, "the cheapest price", "the kit is"))
    ]


def _promises(job: Job) -> list[str]:
    lasting = [(item.name, item.steady) for item in job.problem.inputs if item.steady is not None]
    return [
        "the supply never fails" if name == "supply" and level
        else f"{say_that(job, name, level)} all the time"
        for name, level in lasting
    ]


def _start(job: Job) -> tuple[str, ...]:
    """Return how to start from nothing, and what is to be seen."""
    on: dict[str, None] = {}
    off: dict[str, None] = {}
    held = kept_loads(job)
    for graph, mode in first_at_rest(job):
        for load in graph.loads:
            (on if load in mode.on else off).setdefault(load)
    reach = "" if lamps_alone(job) else " Nobody in reach of what moves, heats or pumps."
    rest = [say_move(job, i.name, False) for i in job.problem.inputs
            if i.kind in (InputKind.SWITCH, InputKind.BUTTON) and i.steady is None]
    steps = [f"Find out why it was stopped.{reach}"]
    if rest:
        steps.append(f"{_capital(listed(rest))}.")
    steps.append("Switch the supply on: whatever is to run starts by itself.")
    if on or off:
        kinds = {i.kind for i in job.problem.inputs if i.steady is None}
        when = [word for word, kind in (("by day", InputKind.NIGHT),
                                        ("with every sensor at rest", InputKind.SENSOR))
                if kind in kinds]
        steps.append(_capital(", ".join([*when, "at once: "]))
                     + say_loads(list(on), [name for name in off if name not in on]) + ".")
    for item in job.problem.inputs:
        if item.kind is InputKind.SWITCH and item.steady is None:
            gain = _switched_on_with(job, item.name)
            if gain:
                steps.append(f"{_capital(say_move(job, item.name, True))}: {listed(gain)} may then "
                             "run, each as its own goal asks.")
    return tuple(steps) if not held else (*steps, _come_back(held))


def _come_back(held: Sequence[str]) -> str:
    """Say that loads may come on as the supply returns: how they are found is as they were left."""
    return (f"But what was on when the supply went may come on again at once: {listed(held)}. "
            "What switches it keeps its position without power.")


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _switched_on_with(job: Job, name: str) -> list[str]:
    """Return the loads that are on only in modes with this input on."""
    return list(job.cut_by().get((name, False), ()))


def _waiting(job: Job) -> tuple[str, ...]:
    """Return the normal waits: loads off, or still on, while a time runs."""
    lines: dict[str, int] = {}
    for graph in job.facts.graphs:
        powered = [mode for mode in graph.modes if mode.powered]
        for load in graph.loads:
            for mode in powered:
                alike = {load in m.on for m in powered if m.levels == mode.levels}
                time = job.run(graph, mode.number, load)
                if len(alike) == 2 and time is not None:
                    word = "on" if load in mode.on else "off"
                    key = f"{load} {word} while a time runs: for up to"
                    lines[key] = max(lines.get(key, 0), time)
    return tuple(f"{line} {duration(time)}." for line, time in lines.items())


def cautions(job: Job) -> Sheet:
    """Return the cautions that this very design calls for."""
    moving, hot, water, other = motors(job), heaters(job), wet(job), unknown(job)
    selfish = _starting_alone(job)
    released = _let_go(job)
    by_supply = [name for name, why in selfish if name in moving and _POWER in why]
    by_lever = [
        (name, [load for load in loads if load in moving]) for name, _, loads in released
    ]
    blocks: list[Block] = [
        Words("This design says what switches when. It is no safety device, and it was not checked "
              "against broken parts. Local codes come first; mains voltage, gas and fixed wiring "
              "are for licensed people.", strong=True),
        Heading("Supply"),
        Points((
            "Before work on wires: switch off, lock off, test dead. Tell others.",
            f"The supply is set to {counted(job.design.supply, 'unit')}. Fuse it at the source for "
            "the thinnest wire behind it; a branch with a thinner wire needs a fuse of its own.",
            "A battery can give hundreds of amperes into a short: cover its poles, first off and "
            "last on is the pole that is joined to the frame.",
        )),
        *_rests_on(job),
        Heading("Starts by itself"),
        Points((*(tuple(f"{name}: {why}" for name, why in selfish)
                  or ("No load starts without somebody moving an input.",)),
                *(f"{_capital(say_move(job, name, level))}, and {listed(loads)} may start at "
                  "once: see first that nobody can be hurt by it."
                  for name, level, loads in released))),
    ]
    if water:
        blocks += [Heading("Water"), Points((
            f"{listed(water)}: keep water and electricity apart; drip loops on cables, connections "
            "above the highest level, residual-current protection where mains is near.",
            "A float, a timer or a switch of this design is no protection against flooding: give "
            "tanks an overflow that leads somewhere safe.",
        ))]
    if hot:
        blocks += [Heading("Heat"), Points((
            f"{listed(hot)}: a thermal cut-out of its own, independent of this circuit; "
            "nothing that burns within its stated distance.",
        ))]
    if moving:
        blocks += [Heading("Moving parts"), Points((
            f"{listed(moving)}: guards that need a tool; an emergency stop, where one is needed, "
            "is hard-wired and not part of this design (ISO 13850).",
            *((f"Resetting must not restart (IEC 60204-1): here the supply's return can restart "
               f"{listed(by_supply)}, so lock it off.",) if by_supply else ()),
            *(f"Moving '{name}' back can restart {listed(loads)}, too: it is neither a start "
              "button nor a lock." for name, loads in by_lever if loads),
        ))]
    if other:
        blocks += [Heading("Loads of unknown kind"), Points((
            f"{listed(other)}: the name does not tell whether it heats, moves or carries water; "
            "judge it before it is connected.",
        ))]
    # A lamp that flickers as a relay moves hurts nobody.
    brief = [i for i in job.instants if i.partner or job.kinds[i.load] != "lamp"]
    if brief:
        blocks += [Heading("For an instant"), Points((
            *(_capital(f"{instant.in_words(job.label)}.") for instant in brief),
            "What must not start, stop or meet even for milliseconds needs a means of its own "
            "against it: an interlock, a delay, a part that is known to be quicker.",
        ))]
    blocks += [Heading("Stored energy"), Points(_stored(job)),
               Heading("Never bridge"), Points(_never_bridge(job))]
    return Sheet(2, "cautions", "Cautions", tuple(blocks))


def _meet(job: Job, one: str, other: str) -> bool:
    """Return whether something in the circuit may keep two loads apart: a relay or timer that
    bears on both, or contacts of one input that close in turn. A switch before both does not."""
    if any({one, other} <= {*job.serves[p.name]} for p in job.design.parts
           if p.type in CONTROLLED):
        return True
    sensed = [
        {(p.setting("input") or p.type, contact_form(p)) for p in job.design.parts
         if p.type in SENSING and load in job.serves[p.name]}
        for load in (one, other)
    ]
    return any(a == b and form != turned for a, form in sensed[0] for b, turned in sensed[1])


def _rests_on(job: Job) -> list[Block]:
    """Return what the circuit does not do itself: it rests on what is known of the inputs."""
    lead = "known, and relied on: "
    known = [line.removeprefix(lead) for line in job.problem.assumptions if line.startswith(lead)]
    lines = [f"What was said to be known: {listed(known)}. Where that fails, nothing here was "
             "checked; see to it that it holds."] if known else []
    lines += [
        f"Nothing in this circuit keeps {apart.first} and {apart.second} from being on together "
        f"(goal {apart.goal}): they are apart only as long as what is known holds."
        for apart in job.problem.apart if not _meet(job, apart.first, apart.second)
    ]
    lines += [
        f"{listed(job.label(part) for part in parts)} sense '{name}' and are taken to change over "
        "at the same moment: mount them at one place, set them alike, and test them together."
        for name, parts in sensed_alike(job.design).items()
    ]
    lines += [
        f"{job.label(relay)} hands power over from one contact to the other: for a moment "
        f"{listed(ends)} {'is' if len(ends) == 1 else 'are'} without it. Where that matters, as "
        "for a coil that holds itself, take one that makes before it breaks."
        for relay, ends in handed_over(job.design).items()
    ]
    return [Heading("Rests on"), Points(tuple(lines))] if lines else []


def _starting_alone(job: Job) -> list[tuple[str, str]]:
    """Return the loads that come on with nobody touching anything, and by what."""
    found: dict[str, dict[str, set[tuple[str, bool]]]] = {}
    for graph in job.facts.graphs:
        for load, ways in _on_with_power(graph).items():
            found_so = ", or ".join(
                listed(say_while(job, name, True) for name in way) for way in ways if way
            )
            found.setdefault(load, {})[_POWER + (f" {found_so}" if found_so else "")] = set()
        for change in graph.changes:
            before, after = graph.modes[change.start], graph.modes[change.end]
            if change.expired:
                why = f"when the time of {listed(change.expired)} is up"
            elif job.kind(change.input) in (InputKind.NIGHT, InputKind.SENSOR):
                why = say_begin(job, change.input, change.level)
            else:
                continue
            there: set[tuple[str, bool]] = {
                (i, level) for i, level in after.levels if level and i != "supply"
            }
            for load in after.on:
                if load not in before.on:
                    always = found.setdefault(load, {}).setdefault(why, there)
                    always &= there
    held = kept_loads(job)
    for load in held:
        if not any(why == _POWER for why in found.get(load, {})):
            found.setdefault(load, {})["when the supply comes back, if it was on before"] = set()
    loads = [p.name for p in job.design.parts if p.type is PartType.LOAD]
    return [
        (name, "; ".join(why + _condition(job, why, always) for why, always in found[name].items()))
        for name in loads if name in found
    ]


def _on_with_power(graph: ModeGraph) -> dict[str, list[list[str]]]:
    """Return the loads that may be on as the supply comes on, each with the inputs that have to be
    on for that, in every way there is; one that holds all of another says nothing more."""
    found: dict[str, list[list[str]]] = {}
    for number in graph.first:
        mode = graph.modes[number]
        on = [name for name, level in mode.levels if level and name != "supply"]
        for load in mode.on:
            ways = found.setdefault(load, [])
            if on not in ways:
                ways.append(on)
    return {
        load: [
            way for way in sorted(ways, key=lambda w: (len(w), w))
            if not any({*other} < {*way} for other in ways)
        ]
        for load, ways in found.items()
    }


def _condition(job: Job, why: str, always: set[tuple[str, bool]]) -> str:
    """Return what has to be so besides, whenever a load starts so."""
    more = [say_while(job, name, level) for name, level in sorted(always)
            if say_begin(job, name, level) != why]
    return f" {listed(more)}" if more else ""


def _let_go(job: Job) -> list[tuple[str, bool, list[str]]]:
    """Return the levers that hold loads off, the level at which they let go, and the loads that
    may come on in the moment in which they do."""
    found: list[tuple[str, bool, list[str]]] = []
    for (name, level), held in job.cut_by().items():
        if job.kind(name) is not InputKind.SWITCH:
            continue
        at_once: dict[str, None] = {}
        for graph in job.facts.graphs:
            for change in graph.changes:
                if change.input == name and change.level is not level and not change.expired:
                    before, after = graph.modes[change.start], graph.modes[change.end]
                    at_once.update(
                        dict.fromkeys(x for x in after.on if x in held and x not in before.on)
                    )
        if at_once:
            found.append((name, not level, [load for load in held if load in at_once]))
    return found


def _stored(job: Job) -> tuple[str, ...]:
    keeping = remanent(job)
    other = unknown(job)
    left = ["batteries and capacitors stay charged"]
    left += ["tanks and hoses stay under pressure"] if wet(job) or other else []
    left += ["what heats stays hot"] if heaters(job) or other else []
    left += ["a raised part can fall"] if motors(job) or other else []
    lines = [f"With the supply off {'; '.join(left)}."]
    if keeping:
        lines.append(f"Without power these stay as they are: {listed(keeping)}. What they switch "
                     "may come on at once when the supply returns.")
    else:
        lines.append("No part of this design keeps its position without power"
                     + (": after a cut every time begins anew." if job.timed else "."))
    return tuple(lines)


def _open_at(part: PartInUse, level: bool) -> bool:
    """Return whether the contact of a sensing part is open while its input is so; one that is
    closed then stops a load by what it feeds, and bridged it would never let it on."""
    closed = {"make": True, "night": True, "break": False, "day": False}
    form = str(part.setting("contact") or part.setting("passes") or "make")
    return closed.get(form, True) is not level


def _never_bridge(job: Job) -> tuple[str, ...]:
    """Return the contacts whose bridging takes away what stops a load."""
    lines = []
    for (name, level), loads in job.cut_by().items():
        contacts = [
            job.label(p.name) for p in job.design.parts
            if (p.setting("input") or ("night" if p.type is PartType.TWILIGHT else "")) == name
            and any(load in job.serves[p.name] for load in loads)
            and _open_at(p, level)
        ]
        if contacts:
            lines.append(f"{listed(contacts)}: nothing but {'it' if len(contacts) == 1 else 'them'}"
                         f" stops {listed(loads)} {say_while(job, name, level)}.")
    for apart in job.problem.apart:
        if _meet(job, apart.first, apart.second):
            lines.append(f"Whatever keeps {apart.first} and {apart.second} from being on together "
                         f"(goal {apart.goal}).")
    splitting = [job.designations[p.name] for p in job.design.parts if p.type in SPLITTING]
    if splitting:
        lines.append(f"The outputs of {listed(splitting)} with one another.")
    joints = [job.designations[p.name] for p in job.design.parts if p.type is PartType.JOINT]
    if joints:
        lines.append(f"The two inputs of {listed(joints)}: power would run backwards into what "
                     "must be dead.")
    lines.append("Any fuse, thermal cut-out, guard switch or emergency stop.")
    return tuple(lines)


def diagrams(job: Job) -> Sheet:
    """Return the sheet of the circuit diagram, the ladder view and the layout picture."""
    blocks: tuple[Block, ...] = (
        Words("Drawn de-energised: nothing pressed, no power, dark, no time running. Supply rail "
              "on top, return below; current paths are numbered along the foot. Below each coil "
              "stands its mirror: which contacts it works, make (m) or break (b), in which path. "
              "Symbols after IEC 60617, letters after IEC 81346-2, both from memory."),
        Picture("circuit.svg", f"circuit diagram, {counted(job.paths, 'current path')}"),
        Heading("The same, as a ladder"),
        Words("Rungs from left to right, as many teach it. Same numbers, same designations."),
        Picture("ladder.svg", f"ladder diagram, {counted(job.paths, 'rung')}"),
        Heading("Layout"),
        Words("Every part with its terminals, every wire with its number, power from left to "
              "right. Keep to this order in the box and the wires stay short."),
        Picture("layout.svg", f"layout of {parts_in_words(job.design)}"),
    )
    return Sheet(3, "circuit", "Circuit diagram and layout", blocks)


def reset(job: Job) -> Sheet:
    """Return how to bring it to a known state for the next session, and what a power cut does."""
    keeping = remanent(job)
    times = [p for p in job.design.parts if p.type in TIMED]
    rest = first_at_rest(job)
    longest = max((t for graph in job.facts.graphs for m in graph.modes for _, t in m.running),
                  default=0)
    steps = [
        "Switch the supply off and lock it off. Every load goes off"
        + ("; every running time is lost." if job.timed else "."),
        "Bring each input to rest: "
        + (listed(say_move(job, i.name, False) for i in job.problem.inputs
                  if i.kind is not InputKind.SUPPLY and i.steady is None) or "there is none") + ".",
        "Look: " + ", ".join([
            "nothing left in reach",
            *(["guards on"] if not lamps_alone(job) else []),
            *(["tank filled"] if wet(job) else []),
            *(["a store, where there is one, full", "settings as on the sheet (item 7)"]),
        ]) + ".",
        "Switch the supply on.",
        *(f"What keeps its position may have to be brought to rest. {way}"
          for way in ways_to_rest(job)),
    ]
    for graph, mode in rest:
        running = listed(f"{job.designations[n]} ({duration(t)})" for n, t in mode.running)
        off = [load for load in graph.loads if load not in mode.on]
        steps.append(f"See: {say_loads(mode.on, off)}" + (f"; the time of {running} runs" if running
                                                         else "") + ".")
    blocks: list[Block] = [
        Words(f"To begin a session from a known state. {counted(len(times), 'timer')}, longest "
              f"time {duration(longest)}." if times else
              "To begin a session from a known state. There are no timers."),
        Points(tuple(steps), numbered=True),
        Heading("What a power cut does"),
    ]
    if any(i.kind is InputKind.SUPPLY and i.steady is not None for i in job.problem.inputs):
        blocks.append(Words("The goals say that the supply never fails: what a cut does was not "
                            "checked.", strong=True))
    else:
        blocks.append(_returns(job))
    blocks.append(Heading("Parts that keep their position"))
    blocks.append(Words(
        f"{listed(job.label(name) for name in keeping)}: a cut does not reset them; bring them "
        "back by their own inputs with the supply on (step chart, item 9)." if keeping else
        "None: switching the supply off and on is a full reset."
    ))
    return Sheet(14, "reset", "Set-up and reset", tuple(blocks))


def _returns(job: Job) -> Table:
    """Return for each circuit and setting of its inputs what is on when power returns."""
    rows: dict[tuple[str, ...], None] = {}
    for g, graph in enumerate(job.facts.graphs, 1):
        for change in graph.changes:
            if change.input == "supply" and change.level:
                mode = graph.modes[change.end]
                kept = listed(job.designations[n] for n in graph.modes[change.start].operated)
                levels = [(n, level) for n, level in mode.levels if n != "supply"]
                off = [load for load in graph.loads if load not in mode.on]
                rows[str(g), say_levels(job, levels), kept or "none",
                     say_loads(mode.on, off)] = None
    return Table(("circuit", "inputs when power returns", "kept operated", "at once"),
                 tuple(rows), "after-a-cut.csv", 40)


def change_log(job: Job, blank: int = 8) -> Sheet:
    """Return the change log with its first entry, what is known to be limited, what not tested."""
    first = ("1", "", f"as designed; design {job.key}, made by synth {job.version}", "", "")
    rows: Sequence[tuple[str, ...]] = (first, *((str(n), "", "", "", "") for n in range(2, blank)))
    blocks: list[Block] = [
        Table(("no.", "date", "change, and why", "settings and wires touched, tests repeated",
               "name"), tuple(rows), "change-log.csv"),
        Words("[ ] As built: this pack agrees with what stands at the site. Date, name: "),
        Heading("What was checked"),
        Points((
            f"Exact check: every reachable state in dense time, {job.facts.states} states, every "
            "input at any moment, every order of moving: all goals hold.",
            counted(sum(m.powered for g in job.facts.graphs for m in g.modes), "mode")
            + f" with the supply on, in {counted(len(job.facts.graphs), 'circuit')}: item 9.",
        )),
        Heading("Known limits"),
        Points((
            "Broken parts, stuck contacts, loose wires, worn settings: not looked at.",
            "Volts, amperes, inrush, wire sizes, fuses, reaction times of real parts: not in it.",
            *(f"Assumed: {line}" for line in _further_assumptions(job)),
            "How else the goals were taken is on the card (item 1).",
            *(f"Promised: {line}" for line in _promises(job)),
        )),
        Heading("What the test sheet leaves out"),
        *(not_covered(job, job.facts.tour, job.facts.graphs)
          or [Words("Nothing that a hand can bring about: the end of item 10 counts it.")]),
        Heading("After a change"),
        Words("Give the changed design and all goals, old and new, to the check; make the pack "
              "anew; lay both side by side (same input gives the same bytes); repeat the test "
              "sheet of every circuit that a moved wire touches."),
    ]
    return Sheet(15, "change-log", "Change log and limits", tuple(blocks))
