"""The energy and water budget: peak, day, and how long a store lasts, each with its assumption.

Two kinds of figure, never mixed. A *ceiling* holds whatever the inputs do: in no reachable mode do
the consumers use more. A *held day* is exact, but for days on which no input but the night moves.
Power is in whole units, energy in unit-hours.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm

from synth.design import Terminal
from synth.handover.hazards import may_carry_water
from synth.handover.job import Job
from synth.handover.words import decimal, duration, say_levels
from synth.modes import Held
from synth.parts.behaviour import TIMED, PartType
from synth.sheet import Block, Heading, Points, Sheet, Table, Words
from synth.wording import counted, listed

DAY = 86_400_000
HOUR = 3_600_000
_FINE = 1000
"""How finely the hours on a store are sought, in ticks: a second, always rounded down."""


@dataclass(frozen=True)
class Store:
    """What the budget is reckoned with: unit-hours in the store, watts in one unit, litres a
    minute of loads that move water, litres in the tank. None: not stated."""

    unit_hours: Fraction | None = None
    watts: Fraction | None = None
    flows: tuple[tuple[str, Fraction], ...] = ()
    tank: Fraction | None = None


@dataclass(frozen=True)
class Ceiling:
    """The most units that the consumers of the design use by night, by day, and at any moment."""

    night: int
    day: int

    @property
    def peak(self) -> int:
        """The larger of the two."""
        return max(self.night, self.day)

    def unit_hours(self, night: int) -> Fraction:
        """Return the most in a day whose night is `night` ticks long."""
        return Fraction(self.night * night + self.day * (DAY - night), HOUR)


def ceiling(job: Job) -> Ceiling:
    """Return the ceiling: the sum over circuits of the most in any reachable mode of each. What a
    goal keeps below a peak is one circuit, so there it is no sum."""
    total = {True: 0, False: 0}
    for g, graph in enumerate(job.facts.graphs):
        for dark in total:
            modes = [
                m for m in graph.modes
                if m.powered and ("night" not in graph.inputs or m.level("night") == dark)
            ]
            total[dark] += max((job.mode_units(g, m) for m in modes), default=0)
    return Ceiling(total[True], total[False])


def energy(held: Held) -> Fraction:
    """Return the unit-hours of a held day.

    >>> energy(Held(0, (), (), ((0, 7_200_000, 3),)))
    Fraction(6, 1)
    """
    return Fraction(sum((end - begin) * units for begin, end, units in held.stretches), HOUR)


def worst_days(job: Job) -> tuple[Held | None, ...]:
    """Return for each circuit the held day that uses most, None where none was run."""
    found: list[Held | None] = []
    for g in range(len(job.facts.graphs)):
        own = [day for day in job.facts.days if day.circuit == g]
        found.append(max(own, key=energy, default=None))
    return tuple(found)


class Profile:
    """A held day that repeats for ever: the most that is used in any window of it."""

    def __init__(self, held: Held) -> None:
        self.begins = [begin for begin, _, _ in held.stretches]
        self.units = [units for _, _, units in held.stretches]
        self.sums = [0]
        for begin, end, units in held.stretches:
            self.sums.append(self.sums[-1] + (end - begin) * units)
        self.day = self.sums[-1]

    def until(self, time: int) -> int:
        """Return what is used in [0, `time`), in unit-ticks."""
        days, rest = divmod(time, DAY)
        place = bisect_right(self.begins, rest) - 1
        return days * self.day + self.sums[place] + (rest - self.begins[place]) * self.units[place]

    def most(self, window: int) -> int:
        """Return the most used in any window of this length, in unit-ticks."""
        days, rest = divmod(window, DAY)
        starts = [*self.begins, *((begin - rest) % DAY for begin in self.begins)]
        return days * self.day + max(self.until(s + rest) - self.until(s) for s in starts)


def lasts(profiles: Sequence[Sequence[Profile]], steady: int, store: int) -> int | None:
    """Return how long `store` (unit-ticks) lasts from the worst starting moment, in ticks, rounded
    down to a second; None: longer than 100 years. `profiles` are the held days of each circuit,
    of which the worst counts; `steady` units are used besides."""

    def used(window: int) -> int:
        return steady * window + sum(max(p.most(window) for p in own) for own in profiles)

    # In n whole days just n times the day is used, so no more than three days are left to search.
    day = steady * DAY + sum(max(p.day for p in own) for own in profiles)
    if not day or store // day > 36_525:
        return None
    low = max(0, store // day - 1) * (DAY // _FINE)
    high = low + 3 * (DAY // _FINE)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if used(middle * _FINE) <= store else (low, middle)
    return low * _FINE


def ceiling_lasts(top: Ceiling, night: int, store: Fraction) -> Fraction | None:
    """Return how long `store` (unit-hours) lasts at the ceiling, in ticks, from the worst start:
    at dusk or at dawn, whichever is the dearer half. None: for ever."""
    day = top.unit_hours(night)
    if not day:
        return None
    first, second = (top.night, night), (top.day, DAY - night)
    if top.day > top.night:
        first, second = second, first
    days, rest = divmod(store, day)
    time = Fraction(days) * DAY
    for units, length in (first, second):
        full = Fraction(units * length, HOUR)
        if rest < full:
            return time + rest * HOUR / units
        rest -= full
        time += length
    return time


def budget_sheet(job: Job, store: Store) -> Sheet:
    """Return the energy and water budget."""
    night, top, worst = job.facts.night, ceiling(job), worst_days(job)
    run = [day for day in worst if day is not None]
    missing = [g for g, day in enumerate(worst) if day is None]
    spare = sum(
        max((job.mode_units(g, m) for m in job.facts.graphs[g].modes if m.powered), default=0)
        for g in missing
    )
    held_day = sum(map(energy, run), Fraction(0)) + 24 * spare
    supply = job.design.supply
    torn = _held_two_ways(run)
    rows = [
        ("peak", counted(top.peak, "unit"), _watts(store, Fraction(top.peak)),
         "no reachable mode of any circuit uses more"
         + ("; the circuits' largest are added up, though they may not come together"
            if len(job.facts.graphs) > 1 else "")),
        ("setting of the supply", counted(supply, "unit"), _watts(store, Fraction(supply)),
         "what has to be pushed in so that every consumer gets its need"
         + (" through the parts that share power" if job.sharing else "")),
        ("a day, all inputs held", _unit_hours(held_day), _watts(store, held_day, "Wh"),
         (f"{'no day uses more' if torn else 'exact for a day'} with a night of "
          f"{duration(night)} on which no input but the night moves")
         + (", in the worst of all settings with every button released (below)"
            if any(day.levels for day in run) else "")
         + (f"; each circuit at its own worst, though {listed(torn)} cannot stand in two ways at "
            "once" if torn else "")),
        ("a day, whatever the inputs do", _unit_hours(top.unit_hours(night)),
         _watts(store, top.unit_hours(night), "Wh"),
         f"ceiling: {_halves(top, night)}; a guarantee for that length of night"
         + (", and far above what is usual where loads cycle" if top.unit_hours(night) > held_day
            else "")),
        ("a day, supply pushing its whole setting", _unit_hours(Fraction(24 * supply)),
         _watts(store, Fraction(24 * supply), "Wh"),
         "for a supply that delivers its setting whether it is used or not"),
    ]
    if job.problem.peak is not None:
        limit = job.problem.peak.units
        rows.insert(1, ("peak, as goals allow", counted(limit, "unit"),
                        _watts(store, Fraction(limit)), "proven by the check: never more at once"))
    asked = job.problem.energy
    if asked is not None:
        nights = listed(duration(length) for length in asked.nights)
        place = [row[0] for row in rows].index("a day, all inputs held") + 1
        rows.insert(place, (
            "a day, inputs held, as goals allow", _unit_hours(asked.unit_hours),
            _watts(store, asked.unit_hours, "Wh"),
            f"proven by the check for a night of {nights}, circuits that share inputs at the same "
            "levels (above, each is taken at its own worst)",
        ))
    blocks: list[Block] = [
        Table(("figure", "value", "in watts", "assumption behind it"), tuple(rows), "energy.csv"),
        Words(_counted(job)),
    ]
    if missing:
        blocks.append(Words(f"Circuits {listed(str(g + 1) for g in missing)} have too many "
                            "settings to run a day of each; their ceiling is taken all day."))
    blocks += [Heading("Who uses it, on the worst held day"), _consumers(job, run)]
    blocks += _started(job, run)
    set_so = tuple(f"circuit {day.circuit + 1}: {say_levels(job, day.levels)}"
                   for day in run if day.levels)
    if set_so:
        blocks += [Words("Each circuit uses most with its inputs held so:" if torn else
                         "On that day the inputs are held so, for nothing uses more:"),
                   Points(set_so)]
    blocks += _autonomy(job, store, top, spare, missing)
    blocks += _water(job, store) if store.flows or may_carry_water(job) else []
    blocks += _spare(job)
    return Sheet(11, "budget", "Energy and water budget", tuple(blocks))


def _held_two_ways(run: Sequence[Held]) -> list[str]:
    """Return the inputs that stand otherwise on the worst day of one circuit than of another: all
    of these days together are none."""
    levels: dict[str, set[bool]] = {}
    for day in run:
        for name, level in day.levels:
            levels.setdefault(name, set()).add(level)
    return sorted(f"'{name}'" for name, both in levels.items() if len(both) > 1)


def _halves(top: Ceiling, night: int) -> str:
    """Return the ceiling of night and day in words."""
    if top.night == top.day:
        return f"{counted(top.day, 'unit')} day and night"
    return (f"{counted(top.night, 'unit')} all night of {duration(night)}, "
            f"{counted(top.day, 'unit')} all day")


def _counted(job: Job) -> str:
    """Return what the figures count, and what they leave out, as far as this design has it."""
    controls = sum(1 for name, _ in job.facts.needs.units
                   if job.parts[name.rpartition(":")[0]].type is not PartType.LOAD)
    types = {part.type for part in job.design.parts}
    itself = [word for word, found in (
        ("recycler", PartType.RECYCLER in types),
        ("timer's power input", bool(types & (TIMED - {PartType.RECYCLER}))),
    ) if found]
    left = [f"what a {listed(itself, 'or')} uses itself"] if itself else []
    left += ["losses in wires", "inrush", "the supply's own idle draw"]
    also = " and every control input of relays and timers" if controls else ""
    return (f"Counted: every load at its need{also}. Not counted: {listed(left)}; add them from "
            "the parts at hand.")


def _unit_hours(value: Fraction) -> str:
    return f"{decimal(value)} unit-hours"


def _watts(store: Store, units: Fraction, unit: str = "W") -> str:
    return "" if store.watts is None else f"{decimal(units * store.watts, 1)} {unit}"


def _consumers(job: Job, run: Sequence[Held]) -> Table:
    """Return one row for each consumer, with its hours on the worst held day of its circuit."""
    units, owners = dict(job.facts.needs.units), dict(job.facts.needs.owners)
    rows = []
    for day in run:
        on = dict(day.fed)
        for name, owner in owners.items():
            if owner == day.circuit:
                part = name.rpartition(":")[0]
                what = "load" if job.parts[part].type is PartType.LOAD else "control"
                hours = on.get(name, Fraction(0)) / HOUR
                rows.append((job.spot(name), name, what, str(units[name]), decimal(hours),
                             decimal(hours * 100 / 24, 1), decimal(hours * units[name])))
    return Table(("consumer", "name", "kind", "units", "hours a day", "% of the day",
                  "unit-hours a day"), tuple(rows), "consumers.csv")


def _started(job: Job, run: Sequence[Held]) -> list[Block]:
    """Return what one run costs of each load that runs only when an input is moved."""
    held = {name for day in run for name, time in day.fed if time}
    units = dict(job.facts.needs.units)
    lines = []
    for part in job.design.parts:
        consumer = f"{part.name}:in"
        if part.type is PartType.LOAD and consumer not in held and consumer in units:
            time = job.longest_run(part.name, on=True)
            each = counted(units[consumer], "unit")
            if time is not None:
                used = Fraction(units[consumer] * time, HOUR)
                lines.append(f"{part.name}: {each}; a run lasts at most {duration(time)} while no "
                             f"input moves, and uses {decimal(used, 4)} unit-hours")
            else:
                lines.append(f"{part.name}: {each}; it runs for as long as an input keeps it on")
    if not lines:
        return []
    return [Words("On the worst held day these do not run: an input that moves sets them off, or "
                  "what runs then holds them off. Add as many runs as you expect:"),
            Points(tuple(lines))]


def _spare(job: Job) -> list[Block]:
    """Return what is left for a goal more, as numbers: nothing, too, is told."""
    free = Counter[str]()
    taken = {*job.wire_from, *job.wire_into}
    for part in job.design.parts:
        shape = job.offer(part.name).shape
        for end in (*shape.power, *shape.controls, *shape.outputs):
            if Terminal(part.name, end) not in taken:
                changes = part.type is PartType.RELAY_CHANGEOVER and end in ("make", "break")
                free["contact" if changes else "other"] += 1
    kit = [
        (line.name, line.most - used)
        for line in job.kit.parts if line.most is not None
        for used in (sum(part.part == line.name for part in job.design.parts),)
    ]
    rows = [
        ("power at the supply", counted(job.problem.limits.spare, "unit"),
         "kept free, as the goals ask" if job.problem.limits.spare else
         "the goals ask for none ('spare' under 'limits')"),
        ("sides of change-over contacts", str(free["contact"]), "terminal list, item 5"),
        ("other terminals", str(free["other"]), "terminal list, item 5"),
        ("timers and relays in place without use", "0", "every part in the design is in use"),
        *((f"kit part: {name}", str(left), "left of those that the kit holds")
          for name, left in kit),
    ]
    return [Heading("To spare"), Table(("what", "spare", "where from"), tuple(rows), "spare.csv")]


def _autonomy(
    job: Job, store: Store, top: Ceiling, spare: int, missing: Sequence[int]
) -> list[Block]:
    """Return how long the store lasts."""
    blocks: list[Block] = [Heading("How long a store lasts")]
    if store.unit_hours is None:
        return [*blocks, Words("No store was stated. Made anew with --store UNIT-HOURS, this says "
                               "for how many hours it is sure to last from the worst starting "
                               "moment.")]
    sure = ceiling_lasts(top, job.facts.night, store.unit_hours)
    own = [
        [Profile(day) for day in job.facts.days if day.circuit == g]
        for g in range(len(job.facts.graphs)) if g not in missing
    ]
    held = lasts(own, spare, int(store.unit_hours * HOUR))

    def hours(time: Fraction | int | None) -> str:
        return "for ever" if time is None else f"{_down(_seconds(time) / HOUR, 2)} h"

    rows = (
        ("guaranteed, whatever the inputs do", hours(sure),
         f"at the ceiling, from {'dawn' if top.day > top.night else 'dusk'}, the worst moment"),
        ("no input moves but the night", hours(held),
         "the worst window of the worst held day of each circuit, whenever it begins; the day is "
         "taken to repeat"),
    )
    return [
        *blocks,
        Table(("figure", f"a store of {_unit_hours(store.unit_hours)} lasts at least",
               "assumption behind it"), rows, "store.csv"),
        Words("The store is taken as full, usable to the last unit-hour, and not being filled "
              "meanwhile. Most batteries must not be emptied: state only the usable part, and less "
              "in the cold."),
    ]


def _seconds(time: Fraction | int) -> Fraction:
    """Return a time in ticks rounded down to whole seconds, as finely as any of these is known."""
    return Fraction(time // _FINE * _FINE)


def _down(value: Fraction, places: int) -> str:
    """Return a value rounded down: never told longer than it lasts."""
    return decimal(max(Fraction(0), value - Fraction(1, 2 * 10**places)), places)


def _flowing(day: Held, load: str, units: int) -> Held:
    """Return a held day of which one load alone uses `units` while it is on."""
    stretches: list[tuple[int, int, int]] = []
    time = 0
    for begin, end in dict(day.runs).get(load, ()):
        if begin > time:
            stretches.append((time, begin, 0))
        stretches.append((begin, end, units))
        time = end
    if time < DAY:
        stretches.append((time, DAY, 0))
    return replace(day, stretches=tuple(stretches))


def _water(job: Job, store: Store) -> list[Block]:
    """Return litres a day of each load that moves water, and days until the tank is empty."""
    blocks: list[Block] = [Heading("Water")]
    if not store.flows:
        return [*blocks, Words("No flow was stated. Made anew with --flow LOAD=LITRES_A_MINUTE "
                               "(and --tank LITRES), this says how much water goes in a day.")]
    night, rows = job.facts.night, []
    total = {"held": Fraction(0), "ceiling": Fraction(0)}
    # One unit is what makes every flow a whole number of units.
    fine = lcm(*(flow.denominator for _, flow in store.flows))
    profiles: list[list[Profile]] = []
    steady, most_by = 0, {True: 0, False: 0}
    for load, flow in store.flows:
        g, graph = job.graph_of(load)
        consumer = f"{load}:in"
        own = [day for day in job.facts.days if day.circuit == g]
        on = max((dict(day.fed).get(consumer, Fraction(0)) for day in own), default=Fraction(DAY))
        ever = {
            dark: any(load in m.on for m in graph.modes
                      if m.powered and ("night" not in graph.inputs or m.level("night") == dark))
            for dark in (True, False)
        }
        longest = Fraction(night * ever[True] + (DAY - night) * ever[False])
        held, most = flow * on / 60_000, flow * longest / 60_000
        units = int(flow * fine)
        for dark in most_by:
            most_by[dark] += units * ever[dark]
        if own:
            profiles.append([Profile(_flowing(day, load, units)) for day in own])
        else:
            steady += units
        total["held"] += held
        total["ceiling"] += most
        once = job.longest_run(load, on=True)
        run = ("until an input moves", "") if once is None else (
            duration(once), decimal(flow * once / 60_000, 3)
        )
        rows.append((load, decimal(flow, 3), decimal(on / HOUR), decimal(held),
                     decimal(longest / HOUR), decimal(most), *run))
    blocks += [
        Table(("load", "litres a minute, stated", "h a day, inputs held", "litres a day, inputs "
               "held", "h a day, at most", "litres a day, at most", "one run, at most",
               "litres a run"), tuple(rows), "water.csv"),
        Words("'Inputs held': exact for a day on which no input but the night moves, in the worst "
              "setting. 'At most': as if on whenever any mode of that half of the day has it on. "
              "'One run': of those that end by themselves while no input moves. "
              "The flow is as stated, at once and steady; real pumps need time to prime."),
    ]
    if store.tank is not None:
        litres = store.tank * fine
        top = Ceiling(most_by[True], most_by[False])
        times = {
            "held": lasts(profiles, steady, int(litres * 60_000)),
            "ceiling": ceiling_lasts(top, night, litres / 60),
        }
        lasting = []
        for word, key in (("inputs held", "held"), ("whatever the inputs do", "ceiling")):
            time = times[key]
            days, hours = ("for ever", "for ever") if time is None else (
                _down(_seconds(time) / DAY, 3), _down(_seconds(time) / HOUR, 2))
            lasting.append((word, decimal(total[key]), days, hours))
        blocks += [
            Table(("case", "litres a day", f"{decimal(store.tank)} litres last at least, days",
                   "hours"), tuple(lasting), "tank.csv"),
            Words(f"Taken to draw from the tank: {listed(load for load, _ in store.flows)}. What "
                  "fills it is no draw: state no flow for that."),
            Words("From the worst starting moment, just before a run, with nothing flowing in. A "
                  "pump that runs dry can be ruined and can start by itself when water returns: "
                  "unless a goal stops it, somebody has to.",
                  strong=True),
        ]
    return blocks
