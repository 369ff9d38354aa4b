"""The wire list, the terminal list, the parts list and the settings sheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from synth.design import TIME_SETTINGS, PartInUse, Terminal
from synth.handover.job import Job
from synth.handover.words import duration, iso_duration, saves_little
from synth.parts.behaviour import LEVERS, SENSING, SHAPES, SPLITTING, TIMED, PartType
from synth.parts.markings import marking
from synth.settings_sheet import Place, order_said
from synth.sheet import Block, Heading, Points, Sheet, Table, Words
from synth.wording import counted, listed

_MAKE, _BREAK = "make", "break"


def contact_number(part: PartInUse, terminal: str) -> str:
    """Return the marking that a trade part of this type has at this terminal, empty where none."""
    return marking(part.type, terminal, *map(str, (part.setting("contact") or "",
                                                   part.setting("passes") or "")))


def contact_form(part: PartInUse) -> str:
    """Return the form of a part's contact in words, a dash where it has none."""
    if part.type is PartType.TWILIGHT:
        return f"closed by {part.setting('passes')}"
    if part.type in SENSING:
        return str(part.setting("contact") or _MAKE)
    return {
        PartType.RELAY_MAKE: _MAKE,
        PartType.RELAY_BREAK: _BREAK,
        PartType.RELAY_CHANGEOVER: "change-over",
        PartType.BISTABLE: "make, bistable",
        PartType.IMPULSE: "make, changes at each pulse",
        PartType.PULSE: "make, one pulse from each start (TP, not retriggerable)",
        PartType.RETRIGGERABLE: "make, pulse from the last start",
        PartType.ON_DELAY: "make, delayed on operation (TON)",
        PartType.OFF_DELAY: "make, delayed on release (TOF)",
        PartType.RECYCLER: f"make, {part.setting('first') or 'pulse'} first, then in turn",
    }.get(part.type, "none")


def purpose(job: Job, wire_target: Terminal) -> str:
    """Return what a wire is for: the consumer it ends on, or the loads beyond."""
    part = job.parts[wire_target.part]
    if part.type is PartType.LOAD:
        return f"feeds {part.name}"
    if wire_target.terminal in SHAPES[part.type].controls:
        loads = job.serves[part.name]
        what = f"{wire_target.terminal} of {part.name}"
        return f"{what}, for {listed(loads)}" if loads else what
    loads = job.serves[part.name]
    return f"on the way to {listed(loads)}" if loads else "feeds no load"


def wire_list(job: Job) -> Sheet:
    """Return the wire list: every wire of the design, once."""
    rows = []
    for wire in job.design.wires:
        control = wire.target.terminal in SHAPES[job.parts[wire.target.part].type].controls
        rows.append((
            str(wire.number),
            str(job.node_of[wire.number]),
            job.spot(wire.source),
            str(wire.source),
            job.spot(wire.target),
            str(wire.target),
            "control" if control else "power",
            "" if wire.units is None else str(wire.units),
            purpose(job, wire.target),
            "",
            "",
        ))
    columns = ("wire", "node", "from", "from (name)", "to", "to (name)", "kind", "units",
               "purpose", "colour", "size mm2")
    blocks: tuple[Block, ...] = (
        Words(
            "Wires with the same node number are electrically one: splitting parts share an amount "
            "but do not switch. Mark each wire with its number at both ends. Units are what the "
            "wire carries whenever it is live."
        ),
        Words(
            "Colour and size are left open on purpose: choose the size for the real current and "
            "length, the colour by the local code, and write both here.", strong=True,
        ),
        Words("Return wires (from each consumer back to the supply) are not counted: in this kit "
              "they are part of the parts. With loose parts, add one for each load"
              + (" and control input." if job.controlled else ".")),
        Table(columns, tuple(rows), "wires.csv"),
    )
    return Sheet(4, "wires", "Wire list", blocks)


def terminal_list(job: Job) -> Sheet:
    """Return the terminal list: every terminal of every part, spares included."""
    rows = []
    spares = []
    for part in job.design.parts:
        shape = job.offer(part.name).shape
        for side, names in (
            ("in", shape.power), ("control", shape.controls), ("out", shape.outputs)
        ):
            for name in names:
                end = Terminal(part.name, name)
                wire = job.wire_from.get(end) if side == "out" else job.wire_into.get(end)
                other = ""
                if wire is not None:
                    other = job.spot(wire.target if side == "out" else wire.source)
                else:
                    spares.append(f"{job.spot(end)} of {part.name}")
                rows.append((
                    job.designations[part.name], part.name, name, contact_number(part, name),
                    side, "" if wire is None else str(wire.number),
                    "" if wire is None else str(job.node_of[wire.number]),
                    other or "spare",
                ))
    blocks: tuple[Block, ...] = (
        Words("Each part is a strip of its own; its terminals stand in their order. 'Marking' is "
              "what a trade part with such a contact carries; the kit's own words stand beside."),
        Words(f"Spare terminals: {len(spares)}. " + (
            "Leave them open: a divider shares over the outputs that are connected, so a wire on "
            "a spare output changes what the others get." if spares else "None is free."
        )),
        *((Points(tuple(spares)),) if spares else ()),
        Table(("strip", "part", "terminal", "marking", "side", "wire", "node", "other end"),
              tuple(rows), "terminals.csv"),
    )
    return Sheet(5, "terminals", "Terminal list", blocks)


def _substitute(job: Job, part: PartInUse) -> str:
    """Return what else in the kit could take a part's place, without a change of wiring."""
    if part.type is PartType.LOAD:
        return "another load of the same need"
    own = job.offer(part.name)
    found = [
        line.name for line in job.kit.parts
        if line.type is part.type and line.name != own.name
        and line.shape == own.shape and set(own.options) <= set(line.options)
    ]
    changeover = job.kit.of_type(PartType.RELAY_CHANGEOVER)
    if part.type in (PartType.RELAY_MAKE, PartType.RELAY_BREAK) and changeover:
        side = _MAKE if part.type is PartType.RELAY_MAKE else _BREAK
        found.append(f"{changeover[0].name} (use its {side} side, leave the other open)")
    return listed(found, "or") or "none"


def _draw(job: Job, part: PartInUse) -> str:
    """Return the units that a part uses while its consumers are live."""
    units = dict(job.facts.needs.units)
    own = [(name, n) for name, n in units.items() if name.rpartition(":")[0] == part.name]
    if part.type is PartType.LOAD:
        return counted(own[0][1], "unit")
    if own:
        return ", ".join(f"{n} at {name.rpartition(':')[2]}" for name, n in own)
    return "none"


STARTED = TIMED - {PartType.RECYCLER}
"""Timers with a start input."""


def parts_list(job: Job) -> Sheet:
    """Return the parts list, with what each part is for and what could take its place."""
    rows = []
    used = Counter(part.part for part in job.design.parts)
    spare = {name: str(max(0, n - used[name])) for name, n in job.problem.limits.stock}
    for part in job.design.parts:
        loads = job.serves[part.name]
        what = "the load itself" if part.type is PartType.LOAD else f"for {listed(loads)}"
        rows.append((
            job.designations[part.name], part.name, part.part, what if loads else "feeds no load",
            ", ".join(map(str, job.goals_of[part.name])), contact_form(part), _draw(job, part),
            str(job.offer(part.name).price), spare.get(part.part, ""), _substitute(job, part),
        ))
    letters = "Letters of IEC 81346-2, from memory: B sensing, E light or heat, G source, K relay "
    letters += "or timer, M motor, P signal, S worked by hand, X sharing or joining, A where a "
    letters += "load's name does not tell. In drawings they carry the prefix - (product aspect)."
    blocks: tuple[Block, ...] = (
        Table(("designation", "name", "kit part", "function", "goals", "contact", "draw units",
               "coins", "spares in stock", "substitute"), tuple(rows), "parts.csv"),
        Words("Draw: what the kit counts. Substitute: what else of this kit fits without a change "
              "of wiring."),
        *([Words("A timer here heeds its start only while its in is live: its time counts from "
                 "when both are, and is lost when in goes dead. A trade part that counts whenever "
                 "its start is live, with its contact somewhere else, is another thing: feed it "
                 "so that both come together.")]
          if any(part.type in STARTED for part in job.design.parts) else []),
        Words(letters),
        Words("Spares in stock: what the goals say is in stock and this design does not use; "
              "empty where they say nothing of it, to be written in."),
        *_shopping(job),
    )
    return Sheet(6, "parts", "Parts list", blocks)


def _shopping(job: Job) -> list[Block]:
    """Return what has to be bought beside what is in stock, and what it costs."""
    used = Counter(part.part for part in job.design.parts)
    stock = dict(job.problem.limits.stock)
    rows, taken = [], []
    for name, number in used.items():
        line = job.kit.index[name]
        there = min(number, stock.get(name, 0))
        left = "as many as wanted" if line.most is None else str(line.most - number)
        rows.append((name, str(number), str(there), str(number - there), str(line.price),
                     str(line.price * (number - there)), left))
        if there:
            taken.append(f"{there} x {name}")
    total = job.design.price(job.kit)
    to_buy = job.design.price(job.kit, job.problem.limits.stock)
    said = f"Together {counted(total, 'coin')} from the kit '{job.kit.name}'"
    if stock:
        said += (
            f"; from stock: {listed(taken) or 'none of these parts'}, so {counted(to_buy, 'coin')} "
            f"{'is' if to_buy == 1 else 'are'} to be paid"
        )
    return [
        Heading("To be bought"),
        Table(("kit part", "number", "from stock", "to buy", "coins each", "coins to pay",
               "left in the kit"), tuple(rows), "shopping.csv"),
        Words(f"{said}. Contact rating, voltage and enclosure are not in the kit: choose them for "
              "the real load, inrush of motors and lamps included."),
    ]


def settings_sheet(job: Job) -> Sheet:
    """Return the settings sheet: each time and threshold, with room for what was found."""
    rows = []
    symbol = Counter[str]()
    for part in job.design.parts:
        # Which input first, then how: the order of a design's settings says nothing.
        for key, value in sorted(part.settings, key=lambda setting: setting[0] != "input"):
            if part.type is PartType.LOAD:
                continue
            if key in TIME_SETTINGS and isinstance(value, int):
                symbol["T"] += 1
                sign = f"T{symbol['T']}" + ("" if key == "time" else f" {key}")
                times = job.offer(part.name).times
                step = duration(times.step) if times else "not stated"
                test = None if job.bench is None else job.bench.test_time(part.name, key)
                rows.append((sign, job.designations[part.name], part.name, key, duration(value),
                             iso_duration(value), step, "" if test is None else duration(test)))
            else:
                symbol["N"] += 1
                rows.append((f"N{symbol['N']}", job.designations[part.name], part.name, key,
                             _setting_words(part, key, value), "", "fixed", "as real"))
    timed = any(row[0].startswith("T") for row in rows)
    goals = {part: ", ".join(map(str, job.goals_of[part])) for part in job.parts}
    table = tuple((*row, "", "", "", "", goals[row[2]]) for row in rows)
    thresholds = [
        p for p in job.design.parts
        if p.type in SENSING and p.type not in LEVERS and p.type is not PartType.TWILIGHT
    ]
    blocks: list[Block] = [
        Words(("T is a time, N any other setting. Real values are exact in the check; the kit "
               "states no tolerance, so write in what the part at hand keeps. Fill in by pencil: "
               "what was found, what was left, the date, who.") if timed else
              "There are no times to set. Fill in by pencil: what was left, the date, who."),
        *_settings_shown(table),
        Table(("symbol", "designation", "part", "setting", "real value", "ISO 8601", "steps of",
               "test value", "tolerance", "as found", "as left", "date and initials", "goals"),
              table, "settings.csv", 0),
        Points((*(("[ ] Real times set back after every test with short times.",) if timed
                  else ()), "[ ] Settings sealed or photographed after the last test.")),
    ]
    blocks += _test_values(job)
    if thresholds:
        blocks += [
            Heading("Thresholds, set on site"),
            Words("The goals say when these sensors are on, not at which value. Set each with a "
                  "switching difference wide enough that it does not hunt; write the value here."),
            Table(("designation", "part", "senses", "contact", "goes on at", "goes off at",
                   "date and initials"),
                  tuple((job.designations[p.name], p.name, str(p.setting("input")),
                         contact_form(p), "", "", "") for p in thresholds), "thresholds.csv"),
        ]
    return Sheet(7, "settings", "Settings sheet", tuple(blocks))


def _settings_shown(rows: Sequence[tuple[str, ...]]) -> list[Block]:
    """Return the settings as the page shows them: times first, with their test values."""
    blocks: list[Block] = []
    times = tuple((*row[:6], row[7], "", "", "", "") for row in rows if row[0].startswith("T"))
    if times:
        blocks += [
            Heading("Times"),
            Table(("symbol", "device", "part", "setting", "real value", "ISO 8601", "test value",
                   "tolerance", "as found", "as left", "date, initials"), times),
        ]
    fixed = tuple((*row[:3], row[4], "", "") for row in rows if row[0].startswith("N"))
    if fixed:
        blocks += [
            Heading("Other settings"),
            Table(("symbol", "device", "part", "real value", "as left", "date, initials"), fixed),
        ]
    return blocks


def _test_values(job: Job) -> list[Block]:
    """Return what the test values are good for, and what the goals become with them."""
    if not any(part.type in TIMED for part in job.design.parts):
        return []
    if job.bench is None:
        why = f": {job.bench_why}" if job.bench_why else ""
        return [Words(f"No test values are given{why}. Test at the real ones.")]
    sheet = job.bench.sheet
    unit, longest = duration(sheet.unit), duration(sheet.longest)
    least = (
        f"and none with a longest below {longest} keep that, the order of events and long times "
        "longer than short ones."
        if sheet.proven
        else "all of them are the real ones divided by one number. Shorter ones may exist."
    )
    blocks: list[Block] = [
        Heading("Test values"),
        Words(f"For a test without long waits. Every test value is a multiple of {unit}, which is "
              f"{sheet.factor} × {duration(sheet.reaction)}: long enough for the slowest part and "
              "for whoever moves the inputs and writes down what is seen (common practice, no "
              "source: with parts that are slower, make the pack anew with --reaction). Proven: "
              f"{sheet.every_goal} holds in its scaled form, in every reachable state; {least}"),
        Words(" ".join(order_said(sheet))),
    ]
    if sheet.notes:
        blocks.append(Points(sheet.notes))
    if job.bench_test is None:
        blocks.append(Words(saves_little(job)))
    if sheet.forced_by:
        blocks += [Words("The longest test value cannot be shorter because of:"),
                   Points(sheet.forced_by)]
    used = sorted(
        ((use, time) for time in sheet.times for use in time.uses if use.place is not Place.PART),
        key=lambda found: (found[0].place.value, len(found[0].of), found[0].of),
    )
    rows = tuple(
        (f"{use.place.value} {use.of}", use.what, duration(time.real), duration(time.test))
        for use, time in used
    )
    if rows:
        blocks += [
            Words("With them the goals and what is known of inputs read:"),
            Table(("where", "phrase", "real value", "test value"), rows, "test-values.csv"),
        ]
    return blocks


def _setting_words(part: PartInUse, key: str, value: str | int) -> str:
    """Return a setting that is no time in words."""
    match key:
        case "units" if part.type is PartType.TAP_OFF:
            return f"branch takes {counted(int(value), 'unit')}"
        case "units":
            return f"delivers {counted(int(value), 'unit')}"
        case "input":
            return f"follows {value}"
        case "passes":
            return f"passes by {value}"
        case "contact":
            return f"{value} contact"
        case "first" | "wins":
            return f"{value} {'first' if key == 'first' else 'wins'}"
    return str(value)


def sharing_note(job: Job) -> str:
    """Return a caution about splitting parts, empty when there are none."""
    splitting = [job.designations[p.name] for p in job.design.parts if p.type in SPLITTING]
    if not splitting:
        return ""
    if len(splitting) == 1:
        return (
            f"{splitting[0]} shares power by a fixed rule. Moving a wire from one of its outputs "
            "to another changes what every consumer behind it gets."
        )
    return (
        f"{listed(splitting)} share power by fixed rules. Moving a wire from one of their outputs "
        "to another changes what every consumer behind them gets."
    )
