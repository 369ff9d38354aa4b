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
class Answer:
    """What became of the design with one change.

    `part` and `told` name the changed part and the change ("without relay break 1"); a wire has
    its number in `wire`. `broken` is all that fails, the shortest counterexample first, each load
    once, by its own shortest: longer sequences may break further goals of the same load. Without
    anything broken the changed design holds if `decided`; else time ran out before all was looked
    at. `note` is what has to be said beside a change with which all goals hold.
    """

    part: str
    change: Change
    told: str
    broken: tuple[Broken, ...] = ()
    decided: bool = True
    wire: int | None = None
    note: str = ""

    @property
    def goals(self) -> tuple[int, ...]:
        """The numbers of the goals that break, ascending."""
        return tuple(sorted({goal for item in self.broken for goal in item.goals}))

    @property
    def holds(self) -> bool:
        """Whether every goal was shown to hold with this change."""
        return self.decided and not self.broken

    @property
    def sentence(self) -> str:
        """What the change does, in a sentence."""
        if self.broken:
            return self.broken[0].sentence
        lead = self.told[:1].upper() + self.told[1:]
        if self.holds and self.change is Change.UNITS:
            return f"{lead}, every consumer still gets enough."
        if self.holds:
            return f"{lead}, all goals hold{self.note}."
        return f"{lead}: not decided, it ended before."


@dataclass(frozen=True)
class PartReasons:
    """Why one part is there: `about` says what can be said without a change, `answers` the rest."""

    part: PartInUse
    about: str
    answers: tuple[Answer, ...] = ()

    @property
    def goals(self) -> tuple[int, ...]:
        """The numbers of the goals that need the part as it is wired: leaving it out or bridging
        a contact of it breaks them."""
        counted = (Change.LEFT_OUT, Change.BRIDGED)
        return tuple(sorted({g for a in self.answers if a.change in counted for g in a.goals}))

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
        """The change that shows that no goal needs the part, None if there is none: all goals
        hold without it, or with a plain wire in its place."""
        bridged = [a for a in self.answers if a.change is Change.BRIDGED]
        for answer in self.answers:
            alone = answer.change is Change.LEFT_OUT or (bridged == [answer])
            if answer.holds and alone:
                return answer
        return None


@dataclass(frozen=True)
class Reasons:
    """The reasons for a whole design that holds, part by part and wire by wire.

    `complete` is False when time ran out or the user stopped it; what was not looked at then says
    so itself. `whole` is False when only one part was asked about. `seconds` is how long it took.
    """

    parts: tuple[PartReasons, ...]
    wires: tuple[tuple[Wire, Answer], ...]
    complete: bool = True
    whole: bool = True
    seconds: float = 0.0

    def needed_by(self, goal: int) -> tuple[str, ...]:
        """Return the names of the parts that a goal needs, in the order of the design."""
        return tuple(item.part.name for item in self.parts if goal in item.goals)

    @property
    def needless(self) -> tuple[Answer, ...]:
        """The changes that show a part to be needless."""
        found = [item.needless for item in self.parts]
        return tuple(answer for answer in found if answer is not None)


@dataclass(frozen=True)
class Floor:
    """What bounds alone prove about the price of any circuit, and what they leave open.

    `reasons` are those that hold for every circuit, in sentences. `price` in coins is the least
    at which they leave a list of parts, `cheapest` that list in words (None: they leave none).
    `excluded` counts lists below `price` by what rules them out. `left` counts the lists that
    these reasons leave from `price` on and below `below` coins (None: not counted); `counted_all`
    is False when time ran out while counting.
    """

    reasons: tuple[str, ...]
    price: int | None
    cheapest: str = ""
    excluded: tuple[tuple[str, int], ...] = ()
    below: int | None = None
    left: int | None = None
    counted_all: bool = True
