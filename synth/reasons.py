"""Why each part of a design is there, and why nothing cheaper will do: answers as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from synth.design import PartInUse, Wire
from synth.result import Counterexample, Fault


class Change(StrEnum):
    """What is changed in a design to see what it was needed for."""

    LEFT_OUT = "left out"
    """The part and its wires are left out; what it fed gets nothing."""
    BRIDGED = "bridged"
    """A contact is bridged: its output is live whenever the part's power input is."""
    DIRECT = "direct"
    """What works a relay or timer feeds straight what its contact fed."""
    SHARED = "shared"
    """An equal part, worked by the same, feeds what the part fed."""
    SETTING = "setting"
    """One setting has another value that the kit offers."""
    UNITS = "units"
    """One unit more or less; judged by what each consumer gets, not by what the circuit does."""
    WIRE = "wire"
    """A wire is left out; what is behind it gets nothing."""


@dataclass(frozen=True)
class Broken:
    """One thing that the changed design no longer does, with the shortest way to see it.

    `goals` are those that ask for it at that moment; `load` is empty where no single load is at
    fault. `example` is None where a consumer gets too few units: that shows at once.
    """

    fault: Fault
    load: str
    goals: tuple[int, ...]
    sentence: str
    example: Counterexample | None = None


@dataclass(frozen=True)
class Unkept:
    """A wish for how a design is built, in words ("the wish for at least 1 x joint"), and how a
    changed design fails to keep it."""

    wish: str
    told: str


@dataclass(frozen=True)
class Answer:
    """What became of the design with one change.

    `part` and `told` name the changed part and the change ("without relay break 1"); a wire has
    its number in `wire`. `broken` is all that fails, the shortest counterexample first, each load
    once, by its own shortest: longer sequences may break further goals of the same load. Without
    anything broken the changed design holds if `decided`; else time ran out before all was looked
    at. `note` is what has to be said beside a change with which all goals hold. `unkept` are the
    wishes for how a design is built that this change does not keep. `gone`: the changed design
    does not have the part at all.
    """

    part: str
    change: Change
    told: str
    broken: tuple[Broken, ...] = ()
    decided: bool = True
    wire: int | None = None
    note: str = ""
    unkept: tuple[Unkept, ...] = ()
    gone: bool = False

    @property
    def goals(self) -> tuple[int, ...]:
        """The numbers of the goals that break, ascending."""
        return tuple(sorted({goal for item in self.broken for goal in item.goals}))

    @property
    def holds(self) -> bool:
        """Whether every goal was shown to hold with this change, wishes apart."""
        return self.decided and not self.broken

    @property
    def harmless(self) -> bool:
        """Whether every goal was shown to hold with this change, and every wish is kept."""
        return self.holds and not self.unkept

    @property
    def sentence(self) -> str:
        """What the change does, in a sentence."""
        if self.broken:
            return self.broken[0].sentence
        lead = self.told[:1].upper() + self.told[1:]
        if self.holds:
            units = self.change is Change.UNITS
            told = f"{lead}, {'every consumer still gets enough' if units else 'all goals hold'}"
            if self.unkept:
                wishes = " and ".join(item.wish for item in self.unkept)
                found = "; ".join(item.told for item in self.unkept)
                is_not = "is" if len(self.unkept) == 1 else "are"
                return f"{told}, but {wishes} {is_not} not kept: {found}."
            return f"{told}{self.note}."
        return f"{lead}: not decided, it ended before."


@dataclass(frozen=True)
class PartReasons:
    """Why one part is there: `about` says what can be said without a change, `answers` the rest."""

    part: PartInUse
    about: str
    answers: tuple[Answer, ...] = ()

    @property
    def goals(self) -> tuple[int, ...]:
        """The numbers of the goals that need the part: leaving it out or bridging a contact of it
        breaks them. None where all goals hold with a plain wire in its place."""
        if self.spared is not None:
            return ()
        counted = (Change.LEFT_OUT, Change.BRIDGED)
        return tuple(sorted({g for a in self.answers if a.change in counted for g in a.goals}))

    @property
    def wishes(self) -> tuple[str, ...]:
        """The wishes for which the part, or a setting of it, is as it is: with a change all goals
        hold, but these are not kept."""
        found = (item.wish for a in self.answers if a.holds for item in a.unkept)
        return tuple(dict.fromkeys(found))

    @property
    def telling(self) -> Answer | None:
        """The change whose run is worth a picture: a contact bridged, else the part left out."""
        for change in (Change.BRIDGED, Change.LEFT_OUT, Change.SETTING):
            for answer in self.answers:
                example = answer.broken[0].example if answer.broken else None
                if answer.change is change and example is not None and example.trace is not None:
                    return answer
        return None

    @property
    def needless(self) -> Answer | None:
        """The change that shows that no goal and no wish needs the part, None if there is none:
        all hold without it, or with a plain wire in its place."""
        found = (a for a in self.answers if a.harmless and a.gone and not a.note)
        return next(found, None)

    @property
    def spared(self) -> Answer | None:
        """The change with which all goals hold, wishes apart, though the part is gone: without it,
        or with a plain wire in its place; None if there is none."""
        # What has to be said beside it is that an input would be left open, or that another part
        # feeds more wires, which may cost more than it saves.
        found = (a for a in self.answers if a.holds and a.gone and not a.note)
        return next(found, None)


@dataclass(frozen=True)
class Reasons:
    """The reasons for a whole design that holds, part by part and wire by wire.

    `complete` is False when time ran out or the user stopped it; what was not looked at then says
    so itself. `whole` is False when only one part was asked about. `seconds` is how long it took.
    `wishes` are all for how the design is built, in words.
    """

    parts: tuple[PartReasons, ...]
    wires: tuple[tuple[Wire, Answer], ...]
    complete: bool = True
    whole: bool = True
    seconds: float = 0.0
    wishes: tuple[str, ...] = ()

    def kept_for(self, wish: str) -> tuple[str, ...]:
        """Return the names of the parts that are there, or set as they are, for this wish."""
        return tuple(item.part.name for item in self.parts if wish in item.wishes)

    def needed_by(self, goal: int) -> tuple[str, ...]:
        """Return the names of the parts that a goal needs, in the order of the design."""
        return tuple(item.part.name for item in self.parts if goal in item.goals)

    @property
    def needless(self) -> tuple[Answer, ...]:
        """The changes that show a part to be needless."""
        found = [item.needless for item in self.parts]
        return tuple(answer for answer in found if answer is not None)


@dataclass(frozen=True)
class SolvedAlone:
    """Some loads of a job solved by themselves, as if the rest were not asked for: the cheapest
    circuit for them costs `price` coins, proven, with nothing in stock; `parts` in words."""

    loads: tuple[str, ...]
    goals: tuple[int, ...]
    price: int
    parts: str


@dataclass(frozen=True)
class Floor:
    """What bounds alone prove about the price of any circuit, and what they leave open.

    `reasons` are those that hold for every circuit, in sentences. `price` in coins is the least
    at which they leave a list of parts, `cheapest` that list in words (None: they leave none).
    `excluded` counts lists below `price` by what rules them out. `left` counts the lists that
    these reasons leave from `price` on and below `below` coins (None: not counted); `counted_all`
    is False when time ran out while counting. `alone`: what some loads cost by themselves, as far
    as it was found in time; that they share parts or a supply with others is not in it, so these
    prices are facts beside the bound and no part of it.
    """

    reasons: tuple[str, ...]
    price: int | None
    cheapest: str = ""
    excluded: tuple[tuple[str, int], ...] = ()
    below: int | None = None
    left: int | None = None
    counted_all: bool = True
    alone: tuple[SolvedAlone, ...] = ()
