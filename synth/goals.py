"""Goals as the user wrote them, typed: what was said, and where; nothing is decided here.

`synth.read` makes these from phrases and goal files, `synth.pose` gives them their exact meaning.
Two phrases that say the same thing become equal goals (number, phrase and place do not count).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TypeAlias

from synth.errors import Place
from synth.problem import InputKind, Objective

# ---- conditions -----------------------------------------------------------------------------


class State(StrEnum):
    """The word that was used for the state of a named thing."""

    ON = "on"
    """Also when no word was used at all: 'while hot'."""
    OFF = "off"
    OPEN = "open"
    CLOSED = "closed"
    PRESSED = "pressed"
    RELEASED = "released"


@dataclass(frozen=True)
class Is:
    """The input or load `name` is in `state` ('night' is an input like any other)."""

    name: str
    state: State = State.ON
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class Negation:
    """`of` does not hold."""

    of: Condition


@dataclass(frozen=True)
class Every:
    """All of `of` hold."""

    of: tuple[Condition, ...]


@dataclass(frozen=True)
class Some:
    """At least one of `of` holds."""

    of: tuple[Condition, ...]


Condition: TypeAlias = Is | Negation | Every | Some

# ---- what a load does (behaviours) ----------------------------------------------------------


@dataclass(frozen=True)
class Always:
    """On as long as the supply is healthy."""


@dataclass(frozen=True)
class While:
    """On exactly while `condition` holds."""

    condition: Condition


@dataclass(frozen=True)
class Cycles:
    """`on` ticks on and `off` ticks off in turn, for ever."""

    on: int
    off: int


@dataclass(frozen=True)
class ForTime:
    """On for `time` ticks after each moment at which `trigger` begins to hold."""

    time: int
    trigger: Condition


@dataclass(frozen=True)
class AfterTime:
    """On while `condition` has held for `time` ticks without a break."""

    time: int
    condition: Condition


@dataclass(frozen=True)
class KeepsRunning:
    """On while `condition` holds and for `time` ticks after it has ceased."""

    time: int
    condition: Condition


@dataclass(frozen=True)
class StartStop:
    """Set by `start`, reset by `stop`, held between. `by_hand`: said as 'started by …', which
    speaks of buttons, and not as 'starts when …'."""

    start: Condition
    stop: Condition
    by_hand: bool = field(default=True, compare=False)
    sensed: tuple[str, ...] = field(default=(), compare=False)
    """Of these, though, a state is said that no hand makes: 'stopped by stop or when tank is
    empty'."""


@dataclass(frozen=True)
class Fills:
    """Set while the `low` mark is not reached, reset while the `high` mark is reached."""

    low: Condition
    high: Condition


@dataclass(frozen=True)
class Empties:
    """Set while the `high` mark is reached, reset while the `low` mark is not reached."""

    low: Condition
    high: Condition


@dataclass(frozen=True)
class Toggles:
    """Changes over at each press of one of `buttons`, while none of the others is held."""

    buttons: tuple[Is, ...]


@dataclass(frozen=True)
class SwitchedFrom:
    """Changes over whenever any of `switches` is moved; off while none of them is on."""

    switches: tuple[Is, ...]


Behaviour: TypeAlias = (
    Always
    | While
    | Cycles
    | ForTime
    | AfterTime
    | KeepsRunning
    | StartStop
    | Fills
    | Empties
    | Toggles
    | SwitchedFrom
)

# ---- what may be added to it (additions) ----------------------------------------------------


@dataclass(frozen=True)
class Only:
    """The rest of the load's goals is asked only while `condition` holds; else it is off."""

    condition: Condition


@dataclass(frozen=True)
class NeverWhile:
    """Off while `condition` holds, whatever else is asked (cuts even a shortest run)."""

    condition: Condition


@dataclass(frozen=True)
class AtLeast:
    """Once on, it stays on for at least `time` ticks."""

    time: int


class Choice(StrEnum):
    """A word about what a phrase otherwise leaves open; the first of each pair is the default."""

    PULSE_FIRST = "pulse first"
    PAUSE_FIRST = "pause first"
    CUT = "cut at once"
    FINISH = "finish the pulse"
    IGNORE = "pressing again is ignored"
    EXTEND = "pressing again extends"
    STOP_WINS = "stop wins"
    START_WINS = "start wins"
    FORGET = "starts afresh after a power cut"
    KEEP = "keeps its state through a power cut"

    @property
    def other(self) -> Choice:
        """The choice that contradicts this one."""
        order = list(Choice)
        return order[order.index(self) ^ 1]


Addition: TypeAlias = Only | NeverWhile | AtLeast | Choice

# ---- goals ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Said:
    """Number (from 1), phrase as written, and place of a goal."""

    number: int = field(default=0, compare=False, kw_only=True)
    phrase: str = field(default="", compare=False, kw_only=True)
    place: Place = field(default_factory=Place, compare=False, kw_only=True, repr=False)


@dataclass(frozen=True)
class LoadGoal(_Said):
    """What `loads` do (`does` None: only additions to what other goals say of them)."""

    loads: tuple[str, ...]
    does: Behaviour | None
    additions: tuple[Addition, ...] = ()


@dataclass(frozen=True)
class Cutoff(_Said):
    """While `lever` is open, `loads` are off at once and stay off; no loads named: every load.
    `cuts`: said as 'LEVER stops LOADS', which is clear only of a switch."""

    lever: str
    loads: tuple[str, ...] = ()
    cuts: bool = field(default=False, compare=False)


@dataclass(frozen=True)
class NeverTogether(_Said):
    """No two of `loads` are ever on together; `first`, when named, goes before the others."""

    loads: tuple[str, ...]
    first: str = ""


@dataclass(frozen=True)
class Gap(_Said):
    """Between one of `loads` going off and another coming on pass at least `time` ticks."""

    time: int
    loads: tuple[str, ...]


@dataclass(frozen=True)
class AtMostUnits(_Said):
    """All that is live together never uses more than `units`."""

    units: int


@dataclass(frozen=True)
class AtMostUnitHours(_Said):
    """On a day on which no input but the night moves, no more than `unit_hours` are used."""

    unit_hours: Fraction


Goal: TypeAlias = LoadGoal | Cutoff | NeverTogether | Gap | AtMostUnits | AtMostUnitHours

# ---- what is known of the inputs ------------------------------------------------------------


@dataclass(frozen=True)
class Lasts(_Said):
    """`name` stays in `state` (ON or OFF) for at least `least` and at most `most` ticks."""

    name: str
    state: State
    least: int | None = None
    most: int | None = None

    @property
    def about(self) -> tuple[str, ...]:
        """The inputs that it is about."""
        return (self.name,)


@dataclass(frozen=True)
class Stays(_Said):
    """`name` is always in `state`."""

    name: str
    state: State

    @property
    def about(self) -> tuple[str, ...]:
        """The inputs that it is about."""
        return (self.name,)


@dataclass(frozen=True)
class InputsApart(_Said):
    """No two of the inputs `names` are ever at 1 together."""

    names: tuple[str, ...]

    @property
    def about(self) -> tuple[str, ...]:
        """The inputs that it is about."""
        return self.names


@dataclass(frozen=True)
class Released(_Said):
    """`name` is in `state` whenever one of the inputs `others` comes on."""

    name: str
    state: State
    others: tuple[str, ...]

    @property
    def about(self) -> tuple[str, ...]:
        """The inputs that it is about."""
        return (self.name, *self.others)


Fact: TypeAlias = Lasts | Stays | InputsApart | Released

# ---- the whole list -------------------------------------------------------------------------


@dataclass(frozen=True)
class DeclaredLoad:
    """A load and its need in whole units."""

    name: str
    needs: int
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class DeclaredInput:
    """An outside input and what it is."""

    name: str
    kind: InputKind
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class PartLimit:
    """At most `most` of the kit's part `part` (0: not to be used)."""

    part: str
    most: int
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class PartLeast:
    """At least `least` of the kit's part `part` are to be used."""

    part: str
    least: int
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class InStock:
    """`number` of the kit's part `part` are there already and need not be bought."""

    part: str
    number: int
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class Branches:
    """Each of `loads` is on a branch of its own."""

    loads: tuple[str, ...]
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class Untimed:
    """No timer carries power to `load` ("": to any load)."""

    load: str
    place: Place = field(default_factory=Place, compare=False, repr=False)


@dataclass(frozen=True)
class GoalList:
    """All that one goal file (or one list on the command line) says.

    `kit` is a bundled kit's name or a path. `defaults` are the file's own defaults that were
    used, in words.
    """

    title: str
    kit: str
    goals: tuple[Goal, ...]
    loads: tuple[DeclaredLoad, ...] = ()
    inputs: tuple[DeclaredInput, ...] = ()
    facts: tuple[Fact, ...] = ()
    part_limits: tuple[PartLimit, ...] = ()
    largest_supply: int | None = None
    largest_price: int | None = None
    part_wishes: tuple[PartLeast, ...] = ()
    stock: tuple[InStock, ...] = ()
    spare: int = 0
    """Units of the supply beyond what is needed."""
    branches: tuple[Branches, ...] = ()
    untimed: tuple[Untimed, ...] = ()
    minimise: tuple[Objective, ...] = (Objective.PRICE, Objective.SUPPLY, Objective.WIRES)
    defaults: tuple[str, ...] = ()
    place: Place = field(default_factory=Place, compare=False, repr=False)
