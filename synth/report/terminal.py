"""What the terminal shows: a plan, a verdict, a kit. Readable at 80 columns, without colour too.

Every text that a user wrote (titles, phrases, names) is printed as text, never as markup, and
made harmless to a terminal first. On a terminal that knows only ASCII, only ASCII is written.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from synth.choices import parts_in_words
from synth.design import TIME_SETTINGS, Design, PartInUse, Terminal, Wire
from synth.parts.behaviour import LEVERS, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit, KitPart, Trigger
from synth.problem import InputKind, Objective, Problem
from synth.remedy import Remedies
from synth.report.document import expect_sound, value_of
from synth.report.strips import timing_text
from synth.report.svg import visible
from synth.report.time_axis import exact_time
from synth.result import Counterexample, Defect, Fault, Outcome, Status, Verdict
from synth.ticks import format_duration
from synth.trace import Moment
from synth.wording import counted, listed

CAUTIONS = (
    "This plan is about what switches when. It does not rate wires, contacts, fuses or pipes: "
    "choose those for the real currents, voltages and pressures.",
    "Switch the supply off, lock it off and test that it is dead before you work on wires. Keep "
    "electricity and water apart; protect every circuit against overload and earth faults.",
    "Heaters need a thermal cut-out of their own, and pumps and other moving parts guards: they "
    "start by themselves. A cutoff in this plan is no emergency stop.",
    "Local codes come first. Mains voltage, gas and fixed wiring are for licensed people.",
)
"""Usual cautions of the trade, in general words; local codes and licensed practice come first."""

_LEAST = {
    Objective.PRICE: "a lower price",
    Objective.SUPPLY: "a smaller supply",
    Objective.WIRES: "fewer wires",
}
_AMOUNT = {Objective.PRICE: "coin", Objective.SUPPLY: "unit", Objective.WIRES: "wire"}
_NAMES = {
    Objective.PRICE: "price",
    Objective.SUPPLY: "supply units",
    Objective.WIRES: "number of wires",
}


# --- a plan ----------------------------------------------------------------------------------


def print_plan(console: Console, problem: Problem, outcome: Outcome) -> None:
    """Print the outcome of a search: what is claimed, the design, how it is wired and set,
    what was assumed, checked and proven, how long it took, and cautions.

    Raises OutputError for an outcome that claims more than it shows.
    """
    expect_sound(outcome)
    page = _Page(console)
    page.heading(problem.title or "Plan")
    page.say(_status(outcome, problem.objectives))
    if outcome.status is Status.IMPOSSIBLE:
        page.items("What clashes", outcome.clash)
        page.say("synth clash tells the smallest clash, and the ways out.")
    if outcome.status is Status.UNDECIDED:
        from synth.report import undecided

        if outcome.ending is not None:
            page.items("Why it ended", undecided.why_ended(outcome.ending, problem))
        page.items("Tried", undecided.tried(outcome))
        page.items("Known so far", undecided.known(outcome, problem))
        helps = undecided.what_may_help(problem, ending=outcome.ending)
        page.items("What may help", helps)
    claimed = outcome.status in (Status.PROVEN, Status.BEST_FOUND)
    if claimed and outcome.design is not None:
        page.say(_figures(outcome, outcome.design))
        if outcome.verdict is not None and outcome.verdict.never_on:
            page.say(_never_on(outcome.verdict.never_on))
        if outcome.to_buy is not None:
            page.say(_from_stock(outcome.to_buy, outcome.design, problem))
    page.section("Goals")
    for goal in problem.goals:
        page.item(f"{goal.number}.", goal.phrase)
    if claimed and outcome.design is not None:
        _print_design(page, outcome.design, problem.kit)
    page.items("Assumptions", problem.assumptions)
    if outcome.status is Status.BEST_FOUND and outcome.ending is not None:
        from synth.report import undecided

        page.items("Why not more is proven", undecided.why_ended(outcome.ending, problem))
    if claimed and outcome.verdict is not None:
        page.section("Checked")
        page.say(_checked(outcome.verdict))
        for note in outcome.verdict.notes:
            page.item("-", note)
    proven = outcome.status in (Status.PROVEN, Status.IMPOSSIBLE) or (
        outcome.status is Status.BEST_FOUND and outcome.bound is not None
    )
    page.items("Proven within these bounds" if proven else "Searched within", outcome.bounds)
    if outcome.times:
        page.section("Time taken")
        page.say(", ".join(f"{stage} {seconds:.2f} s" for stage, seconds in outcome.times))
    if claimed:
        page.items("Cautions", CAUTIONS)


def _status(outcome: Outcome, objectives: Sequence[Objective]) -> str:
    """Return the claim in a sentence: what was proven, and nothing more."""
    first = objectives[0] if objectives else Objective.PRICE
    match outcome.status:
        case Status.PROVEN:
            proven = [o for o in objectives if o.value in outcome.proven]
            rest = [_NAMES[o] for o in objectives if o.value not in outcome.proven]
            words = "cheapest" if first is Objective.PRICE else "best"
            least = ", then ".join(_LEAST[o] for o in proven) or _LEAST[first]
            text = f"Proven {words}: within the bounds below no circuit has {least}."
            if rest:
                verb = "is" if len(rest) == 1 else "are"
                text += f" Not proven: that the {' and the '.join(rest)} {verb} the least."
            return text
        case Status.BEST_FOUND:
            text = "Best found{}: checked, not proven to be the best."
            value = value_of(outcome, first)
            if outcome.bound is None or value is None:
                return text.format(", gap unknown") + " How much better one could be is not known."
            gap = 100 * (value - outcome.bound) / value if value else 0.0
            shown = f", gap {gap:.1f} %".replace(".0 %", " %")
            least = counted(outcome.bound, _AMOUNT[first])
            return text.format(shown) + (
                f" Proven: within the bounds below none does with less than {least}."
            )
        case Status.IMPOSSIBLE if not outcome.bounds:
            return "Impossible: whatever the kit, no circuit fulfils all goals."
        case Status.IMPOSSIBLE:
            return (
                "Impossible: proven that within the bounds below no circuit fulfils all goals."
            )
        case Status.UNDECIDED:
            return (
                "Undecided: the search ended before a circuit was found that passes the check, and "
                "before it was proven that there is none. Nothing else can be said."
            )


def _figures(outcome: Outcome, design: Design) -> str:
    price = outcome.price if outcome.price is not None else 0
    units = value_of(outcome, Objective.SUPPLY) or 0
    return (
        f"Price {counted(price, 'coin')}. The supply must deliver {counted(units, 'unit')}. "
        f"{parts_in_words(design)}, {counted(len(design.wires), 'wire')}."
    )


def _from_stock(to_buy: int, design: Design, problem: Problem) -> str:
    """Return which parts are taken from stock and what is left to be paid."""
    used = Counter(part.part for part in design.parts)
    taken = [
        f"{min(used[name], number)} x {name}"
        for name, number in problem.limits.stock
        if used[name]
    ]
    return (
        f"In stock: {', '.join(taken) or 'none of these parts'}. "
        f"To be bought: {counted(to_buy, 'coin')}; that is what counts."
    )


def _never_on(loads: Sequence[str]) -> str:
    """Return the warning that goals ask for nothing, which is seldom meant."""
    named = listed(f"'{load}'" for load in loads)
    verb = "is" if len(loads) == 1 else "are"
    return f"Mind: {named} {verb} never on, as the goals have it. See under 'Checked'."


def _checked(verdict: Verdict) -> str:
    return (
        f"{counted(verdict.states, 'state')}, every input sequence, any moment: all goals hold, "
        "and at rest they do whichever part moves first."
    )



# --- a design --------------------------------------------------------------------------------


def _print_design(page: _Page, design: Design, kit: Kit) -> None:
    parts = page.table("Parts", "Part", "From the kit", "Settings", ">Coins")
    for part in design.parts:
        line = kit.index.get(part.part)
        price = "" if line is None else str(line.price)
        page.row(parts, part.name, part.part, settings_in_words(part), price)
    page.show(parts)
    wires = page.table("Wires, in the order in which to build", ">No.", "From", "To", ">Units")
    for wire in design.wires:
        units = "" if wire.units is None else str(wire.units)
        page.row(wires, str(wire.number), str(wire.source), str(wire.target), units)
    page.show(wires)
    _print_sharing(page, design, kit)


def _print_sharing(page: _Page, design: Design, kit: Kit) -> None:
    """Print which output of each splitting part feeds what."""
    splitting = [part for part in design.parts if part.type in SPLITTING]
    if not splitting:
        return
    table = page.table("How power is shared", "Part", "Output", ">Units", "Feeds")
    behind = {wire.source: wire for wire in design.wires}
    arriving = {wire.target: wire for wire in design.wires}
    for part in splitting:
        page.row(table, *_sharing_row(part, arriving.get(Terminal(part.name, "in"))))
        line = kit.index.get(part.part)
        for output in line.shape.outputs if line else ():
            wire = behind.get(Terminal(part.name, output))
            units = "" if wire is None or wire.units is None else str(wire.units)
            feeds = "leave open" if wire is None else str(wire.target)
            page.row(table, "", output, units, feeds)
    page.show(table)
    if any(part.type is PartType.DIVIDER for part in splitting):
        page.say(
            "A divider shares equally over the outputs that are connected; what is left over "
            "goes one unit each to the first of them. So keep its outputs as listed."
        )


def _sharing_row(part: PartInUse, wire: Wire | None) -> tuple[str, str, str, str]:
    units = "" if wire is None or wire.units is None else str(wire.units)
    if part.type is PartType.TAP_OFF:
        return part.name, "in", units, f"set to {part.setting('units')}"
    return part.name, "in", units, "shares equally"


def settings_in_words(part: PartInUse) -> str:
    """Return the settings of a part as a person would write them on a list.

    >>> settings_in_words(PartInUse("a", PartType.TAP_OFF, "tap", (("units", 2),)))
    'branch takes 2 units'
    """
    words = []
    for key, value in part.settings:
        shown = str(value)
        if key in TIME_SETTINGS and isinstance(value, int):
            shown = format_duration(value)
        number = value if isinstance(value, int) else 0
        match key:
            case "units" if part.type is PartType.TAP_OFF:
                words.append(f"branch takes {counted(number, 'unit')}")
            case "units":
                words.append(f"delivers {counted(number, 'unit')}")
            case "needs":
                words.append(f"needs {counted(number, 'unit')}")
            case "input":
                words.append(f"worked by {shown}" if part.type in LEVERS else f"senses {shown}")
            case "contact":
                words.append(f"{shown} contact")
            case "wins":
                words.append(f"{shown} wins")
            case "first":
                words.append(f"{shown} first")
            case "time":
                words.append(shown)
            case _:
                words.append(f"{key} {shown}")
    return ", ".join(words)


# --- a verdict -------------------------------------------------------------------------------


def print_verdict(console: Console, design: Design, problem: Problem, verdict: Verdict) -> None:
    """Print the answer of the exact check: holds, or each defect with the shortest input
    sequence that shows it, as a list of moments and as a timing picture."""
    page = _Page(console)
    page.heading(problem.title or "Check")
    unknown = [part for part in design.parts if part.part not in problem.kit.index]
    price = "" if unknown else f", price {counted(design.price(problem.kit), 'coin')}"
    page.say(
        f"Design: {parts_in_words(design)}, {counted(len(design.wires), 'wire')}"
        f"{price}, supply {counted(design.supply, 'unit')}."
    )
    if verdict.holds:
        page.say(f"Holds. {_checked(verdict)}")
    else:
        defects = counted(len(verdict.defects), "defect")
        explored = (
            f", {counted(verdict.states, 'state')} explored" if verdict.states else ""
        )
        page.say(f"Does not hold: {defects}{explored}.")
    phrases = {goal.number: goal.phrase for goal in problem.goals}
    for number, defect in enumerate(verdict.defects, 1):
        page.section(f"Defect {number}: {defect.fault.value}")
        page.say(defect.message)
        for goal in defect.goals:
            page.item("-", f"goal {goal}: {phrases.get(goal, '')}".rstrip(": "))
        if defect.counterexample is not None:
            _print_example(page, problem, defect, defect.counterexample)
    page.items("Notes", verdict.notes)
    page.section("Time taken")
    page.say(f"check {verdict.seconds:.2f} s")


def print_remedies(console: Console, remedies: Remedies) -> None:
    """Print what would put a design right, and what was looked at for that."""
    if not remedies.tried:
        return
    page = _Page(console)
    page.section("What would put it right")
    if not remedies.found:
        page.say(
            f"Nothing was found among {counted(remedies.tried, 'small change')} (a setting, two "
            "wires exchanged, a wire more or less, a relay or timer of another kind)"
            + ("." if remedies.all_tried else " that there was time for.")
        )
        return
    several = len(remedies.found) > 1
    page.say(
        "Any one of these; each was checked, and all goals hold after it."
        if several
        else "This was checked, and all goals hold after it."
    )
    for number, remedy in enumerate(remedies.found, 1):
        steps = list(remedy.steps)
        if remedy.supply is not None:
            steps.append(f"set the supply to {counted(remedy.supply, 'unit')}")
        page.item(f"{number}." if several else "-", ", and ".join(steps))


def _print_example(
    page: _Page, problem: Problem, defect: Defect, example: Counterexample
) -> None:
    if example.moments:
        table = page.table("How to see it", "At", "What happens")
        for moment in example.moments:
            page.row(table, exact_time(moment.time), _happening(moment, problem))
        if example.load and example.got is not None and example.expected is not None:
            match defect.fault:
                case Fault.BLIP:
                    seen = f"for an instant {example.load} is {_on(example.got)}"
                case Fault.TOGETHER:
                    seen = "for an instant, or longer, both are on"
                case _:
                    seen = (
                        f"{example.load} is {_on(example.got)}; it must be {_on(example.expected)}"
                    )
            page.row(table, "then", seen)
        page.show(table)
    if example.orders:
        page.say("Which part moves first decides:")
        for order in example.orders:
            page.item("-", order)
    if example.trace is not None:
        page.say("The run:")
        trace = example.trace
        if example.moments:
            # The sentence stands above already; here a word at the moment is enough.
            trace = replace(trace, marks=((example.moments[-1].time, "wrong from here"),))
        page.picture(timing_text(trace, page.width, page.ascii))


def _on(level: bool) -> str:
    return "on" if level else "off"


def _happening(moment: Moment, problem: Problem) -> str:
    """Return in words what changes at a moment."""
    kinds = {item.name: item.kind for item in problem.inputs}
    words = []
    # What comes with the supply does not change then: it is found so.
    found = any(kinds.get(n) is InputKind.SUPPLY and level for n, level in moment.inputs)
    for name, level in moment.inputs:
        match kinds.get(name):
            case kind if found and kind is not InputKind.SUPPLY:
                it = "it" if kind is InputKind.NIGHT else name
                state = ("night" if level else "day") if kind is InputKind.NIGHT else _on(level)
                words.append(f"{it} is {state}")
            case InputKind.SUPPLY:
                words.append("the supply comes on" if level else "the supply fails")
            case InputKind.NIGHT:
                words.append("night falls" if level else "day breaks")
            case InputKind.BUTTON:
                words.append(f"{name} is {'pressed' if level else 'released'}")
            case InputKind.SWITCH:
                words.append(f"{name} is switched {_on(level)}")
            case _:
                words.append(f"{name} goes {_on(level)}")
    return ", ".join(words) or "a time is up"


# --- a kit -----------------------------------------------------------------------------------


def print_kit(console: Console, kit: Kit) -> None:
    """Print a kit: its parts, their types, prices, terminals, settings and limits."""
    page = _Page(console)
    page.heading(f"{kit.name}: {kit.title}" if kit.title else kit.name)
    if kit.about:
        page.say(kit.about)
    page.say(
        "Power comes in whole units and each output feeds one wire. "
        + (
            "Edge-sensitive parts see a level only once nothing else moves."
            if kit.trigger is Trigger.HELD
            else "Edge-sensitive parts see even a level of one settling step."
        )
    )
    table = page.table("Parts", "Part", ">Coins", "Terminals", "Settings and limits")
    for part in kit.parts:
        name = part.name
        if part.type.value.replace("-", " ") != name.replace("-", " "):
            name += f" ({part.type.value})"
        page.row(table, name, str(part.price), _terminals(part), _limits(part))
    page.show(table)
    page.say(
        "Types stand in brackets where the name does not say them. Terminals: inputs -> outputs. "
        "A control input uses 1 unit where nothing else is said. A timer heeds its start only "
        "while its in is live: the time counts from when both are, and is lost when in goes dead."
    )


def _terminals(part: KitPart) -> str:
    shape = part.shape
    inputs = ", ".join(shape.power + shape.controls) or "none"
    return f"{inputs} -> {', '.join(shape.outputs) or 'none'}"


def _limits(part: KitPart) -> str:
    words = []
    if part.times is not None:
        times = part.times
        keys = "on, off" if part.type is PartType.RECYCLER else "time"
        words.append(
            f"{keys} {format_duration(times.least)} to {format_duration(times.most)} in steps "
            f"of {format_duration(times.step)}"
        )
    elif part.type in TIMED:
        words.append("time")
    if part.options:
        words.append(" or ".join(part.options))
    if part.largest is not None:
        words.append(f"set to at most {part.largest} units")
    if part.shape.controls and part.units != 1:
        words.append(f"each control input uses {counted(part.units, 'unit')}")
    elif part.type is PartType.LOAD:
        words.append(f"uses {counted(part.units, 'unit')} or more")
    if part.most is not None:
        words.append("not on offer" if part.most == 0 else f"at most {part.most}")
    if part.about:
        words.append(part.about)
    return "; ".join(words)


# --- the page --------------------------------------------------------------------------------


class _Page:
    """Writes texts and tables to a console; the one place where text meets the terminal."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.ascii = console.options.ascii_only
        self.width = console.width

    def text(self, words: str, style: str = "") -> Text:
        """Return `words` as text that the terminal can show and that cannot harm it."""
        shown = visible(words)
        if self.ascii:
            shown = shown.replace("\u2026", "...").replace("\ufffd", "?")
            shown = shown.encode("ascii", "replace").decode()
        return Text(shown, style=style, overflow="fold")

    def say(self, words: str) -> None:
        """Print a paragraph."""
        self._lines("", words)

    def heading(self, words: str) -> None:
        """Print the title of the page, underlined."""
        title = self.text(words, "bold")
        self.console.print(title)
        longest = min(title.cell_len, self.width)
        self.console.print(Text(("=" if self.ascii else "\u2550") * longest))

    def section(self, words: str) -> None:
        """Print an empty line and the title of a section."""
        self.console.print()
        self.console.print(self.text(words, "bold"))

    def items(self, title: str, texts: Iterable[str]) -> None:
        """Print a section with a list, nothing when it is empty."""
        texts = tuple(texts)
        if texts:
            self.section(title)
        for words in texts:
            self.item("-", words)

    def item(self, sign: str, words: str) -> None:
        """Print one item of a list, its further lines indented."""
        self._lines(f"{sign} ", words)

    def _lines(self, lead: str, words: str) -> None:
        """Print `words` in lines of the page's width, `lead` before the first of them."""
        width = max(self.width - len(lead), 1)
        for line in self.text(words).wrap(self.console, width, overflow="fold"):
            self.console.print(Text(lead + line.plain.rstrip()))
            lead = " " * len(lead)

    def table(self, title: str, *columns: str) -> Table:
        """Return a table with these columns; one that begins with ">" holds numbers."""
        self.section(title)
        table = Table(box=box.ASCII2 if self.ascii else box.SQUARE, header_style="bold")
        for column in columns:
            justify = "right" if column.startswith(">") else "left"
            table.add_column(
                column.removeprefix(">"),
                justify=justify,  # type: ignore[arg-type]
                overflow="fold",
                no_wrap=justify == "right",
            )
        return table

    def row(self, table: Table, *cells: str) -> None:
        """Add a row."""
        table.add_row(*(self.text(cell) for cell in cells))

    def show(self, table: Table) -> None:
        """Print a table."""
        self.console.print(table)

    def picture(self, lines: str) -> None:
        """Print lines that are laid out already."""
        for line in lines.split("\n"):
            self.console.print(Text(line), no_wrap=True, overflow="crop", crop=True)
