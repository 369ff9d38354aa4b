"""The jobs that plain formulations get: a run of the inputs, what loads do in it, parts on offer.

Written from the meaning of goals and parts; no code is shared with the package. Parts are offered
in two ways. *Fitting*: those of the answer, and a few more of them. *Whole kit*: all of the kit
`starter` that may serve the job, with the settings that it offers; 3 of each, where the tool may
use 12, and of parts that split as many more as the answer has and some to spare.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

STEPS = 6
"""Settling steps in each second; the tool gives 8."""

SHAPES: dict[str, tuple[list[str], list[str], list[str]]] = {
    "switch": (["in"], [], ["out"]),
    "push-button": (["in"], [], ["out"]),
    "sensor": (["in"], [], ["out"]),
    "twilight-switch": (["in"], [], ["out"]),
    "relay-make": (["in"], ["coil"], ["out"]),
    "relay-break": (["in"], ["coil"], ["out"]),
    "bistable-relay": (["in"], ["set", "reset"], ["out"]),
    "pulse-timer": (["in"], ["start"], ["out"]),
    "tap-off": (["in"], [], ["branch", "rest"]),
    "divider": (["in"], [], ["out1", "out2", "out3"]),
    "joint": (["in1", "in2"], [], ["out"]),
    "load": (["in"], [], []),
}
"""Type of part to power inputs, control inputs and outputs."""
SENSING = ("switch", "push-button", "sensor", "twilight-switch")
SPLITTING = ("tap-off", "divider")

Wires = set[tuple[str, str]]
"""Wires as ("part:output", "part:input")."""
Settings = dict[str, int | str]
"""Timer to seconds, tap-off to units, any other part to the option that it is set to."""
Levels = Mapping[str, bool]


@dataclass(frozen=True)
class Offer:
    """At most `most` parts of a type, called "`name` 1" and so on, for `price` coins each.

    A sensing part follows `input`. `options` are what its setting may be, the plain one first:
    make before break, night before day, set before reset; none where it can only be the first.
    """

    name: str
    kind: str
    most: int
    price: int
    input: str = ""
    options: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """The names of the parts."""
        return [f"{self.name} {number + 1}" for number in range(self.most)]


Offers = tuple[Offer, ...]


@dataclass(frozen=True)
class Job:
    """A job: `goals` for the tool, and the same for a plain formulation.

    `loads` with their needs; `does` tells from the levels of the inputs, and the seconds since the
    master was last closed, which loads are on; `events` are the changes of inputs by second, in a
    run of `horizon` seconds; `times` are the seconds a timer may be set to, those that the tool
    offers itself; no terminal carries more than `units`.
    """

    name: str
    goals: str
    loads: Mapping[str, int]
    does: Callable[[Levels, int], Levels]
    events: Mapping[int, Levels]
    offers: Mapping[str, Offers]
    units: int
    horizon: int = 80
    times: tuple[int, ...] = (10, 40, 50, 60)

    def course(self) -> list[tuple[Levels, Levels]]:
        """Return the levels of the inputs, and what each load must do, second by second."""
        levels = dict.fromkeys((i for change in self.events.values() for i in change), False)
        since = 0
        course: list[tuple[Levels, Levels]] = []
        for second in range(self.horizon):
            change = self.events.get(second, {})
            levels.update(change)
            since = second if change.get("master") else since
            course.append((dict(levels), self.does(levels, second - since)))
        return course


def _splitting(tap_offs: int, dividers: int) -> Offers:
    return (Offer("tap-off", "tap-off", tap_offs, 2), Offer("divider", "divider", dividers, 3))


FITTING: Offers = (
    Offer("relay-break", "relay-break", 2, 4),
    Offer("pulse-timer", "pulse-timer", 2, 8),
)
WHOLE: Offers = (
    Offer("relay-make", "relay-make", 3, 4),
    Offer("relay-break", "relay-break", 3, 4),
    Offer("bistable-relay", "bistable-relay", 3, 7, options=("set", "reset")),
    Offer("pulse-timer", "pulse-timer", 3, 8),
    Offer("joint", "joint", 3, 2),
)
"""What the kit has beside parts that follow inputs or split power."""


def _lever(kind: str, name: str) -> Offer:
    """A switch or push button: one lever is one part, and the kit has make contacts only."""
    return Offer(f"{kind} {name}", kind, 1, 2, name)


def _sensors(kind: str, price: int, name: str, most: int, *options: str) -> Offer:
    return Offer(f"{kind} {name}", kind, most, price, name, options)


def _shed(levels: Levels, since: int) -> Levels:
    pump = levels["master"] and since % 60 < 10
    return {"pump": pump, "light": True, "heater": levels["night"]}


MAIN = Job(
    name="main scenario",
    goals="goals/potting-shed.yaml",
    loads={"pump": 1, "light": 1, "heater": 1},
    does=_shed,
    events={
        0: {"master": True, "night": True},
        20: {"night": False},
        # The pump runs, and has to stop at once.
        63: {"master": False},
        66: {"master": True},
    },
    offers={
        "fitting": (
            _lever("switch", "master"),
            _sensors("twilight-switch", 5, "night", 1),
            *FITTING,
            *_splitting(3, 3),
        ),
        "whole kit": (
            _lever("switch", "master"),
            _sensors("twilight-switch", 5, "night", 3, "night", "day"),
            *WHOLE,
            *_splitting(4, 4),
        ),
    },
    units=12,
)


def _glasshouse(levels: Levels, since: int) -> Levels:
    pump = levels["master"] and since % 60 < 10
    return {
        "pump": pump,
        "light": True,
        "heater": levels["night"] and levels["cold"],
        "path lamp": levels["night"],
        "grow lamp": levels["dull"],
        "fan": levels["hot"],
        "vent motor": levels["damp"],
        "pilot": pump,
        "bell": levels["bell push"],
        "door lamp": levels["door"],
        "bench lamp": levels["bench switch"],
    }


_WATCHED = ("cold", "dull", "hot", "damp", "door")
_LEVERS = (
    _lever("switch", "master"),
    _lever("switch", "bench switch"),
    _lever("push-button", "bell push"),
)

TWELVE = Job(
    name="twelve goals",
    goals="goals/glasshouse.yaml",
    loads={
        "pump": 1,
        "light": 1,
        "heater": 2,
        "path lamp": 1,
        "grow lamp": 2,
        "fan": 1,
        "vent motor": 1,
        "pilot": 1,
        "bell": 1,
        "door lamp": 1,
        "bench lamp": 1,
    },
    does=_glasshouse,
    events={
        0: {"master": True, "night": True},
        2: {"cold": True},
        4: {"dull": True},
        6: {"hot": True},
        8: {"damp": True},
        12: {"bell push": True},
        13: {"bell push": False},
        15: {"door": True},
        17: {"bench switch": True},
        20: {"night": False},
        22: {"cold": False},
        24: {"night": True},
        26: {"dull": False},
        28: {"hot": False},
        30: {"damp": False},
        32: {"door": False},
        34: {"bench switch": False},
        63: {"master": False},
        66: {"master": True},
    },
    offers={
        "fitting": (
            *_LEVERS,
            *(_sensors("sensor", 4, name, 1) for name in _WATCHED),
            _sensors("twilight-switch", 5, "night", 1),
            *FITTING,
            *_splitting(3, 7),
        ),
        "whole kit": (
            *_LEVERS,
            *(_sensors("sensor", 4, name, 3, "make", "break") for name in _WATCHED),
            _sensors("twilight-switch", 5, "night", 3, "night", "day"),
            *WHOLE,
            *_splitting(4, 8),
        ),
    },
    units=24,
)

JOBS = {job.name: job for job in (MAIN, TWELVE)}


@dataclass(frozen=True)
class PlainAnswer:
    """What a plain formulation came to, in the words of CP-SAT; `building` are the seconds until
    the solver was asked."""

    status: str
    price: int | None
    bound: int
    building: float

    @property
    def proven(self) -> bool:
        """Whether its price is proven to be the least."""
        return self.status == "OPTIMAL"


def contracted(wires: Wires) -> Wires:
    """Return the wires without splitting parts: each input at the output that feeds it at last."""
    behind = {target.rpartition(":")[0]: source for source, target in wires}
    found = set()
    for first, target in wires:
        source = first
        while source.startswith(SPLITTING):
            source = behind[source.rpartition(":")[0]]
        if not target.startswith(SPLITTING):
            found.add((source, target))
    return found


def translated(design: dict[str, Any], offers: Offers) -> tuple[Wires, Settings]:
    """Return wires and settings of a design (its document), in the names of `offers`."""
    names: dict[str, str] = {}
    counts: dict[str, int] = {}
    settings: Settings = {}
    kinds = {(offer.kind, offer.input): offer.name for offer in offers}
    for part in design["parts"]:
        kind, name, own = part["type"], part["name"], part["settings"]
        names[name] = name
        follows = own.get("input", "night") if kind in SENSING else ""
        if kind in ("load", "supply"):
            continue
        offer = kinds[kind, follows]
        counts[offer] = counts.get(offer, 0) + 1
        names[name] = f"{offer} {counts[offer]}"
        for key, value in own.items():
            if key == "time":
                settings[names[name]] = int(value.removesuffix(" s"))
            elif key != "input":
                settings[names[name]] = value

    def terminal(text: str) -> str:
        name, _, end = text.rpartition(":")
        return f"{names[name]}:{end}"

    wires = {(terminal(w["from"]), terminal(w["to"])) for w in design["wires"]}
    return wires, settings
