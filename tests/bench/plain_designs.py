"""Designs for the main scenario with parts that the cheapest one lacks, right ones and wrong ones.

Each is the cheapest design with some parts more, and wires put in place of those that end on the
same inputs. What is right and what is wrong is not taken from here: the exact check says it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

SUPPLY = 12
"""Units: the cheapest design has some to spare then, 3 on each output of its second divider."""


@dataclass(frozen=True)
class Variant:
    """Parts as name to type and settings, wires as input to output."""

    name: str
    right: bool
    parts: dict[str, tuple[str, dict[str, Any]]]
    wires: dict[str, str]

    def of(self, design: dict[str, Any]) -> dict[str, Any]:
        """Return the cheapest design (a document), changed."""
        parts = [
            {"name": part["name"], "type": part["type"], "settings": dict(part["settings"])}
            for part in design["parts"]
        ]
        for part in parts:
            if part["type"] == "supply":
                part["settings"]["units"] = SUPPLY
        parts += [
            {"name": name, "type": kind, "settings": settings}
            for name, (kind, settings) in self.parts.items()
        ]
        wires = {wire["to"]: wire["from"] for wire in design["wires"]} | self.wires
        joined = [{"from": source, "to": target} for target, source in wires.items()]
        return {"kit": "starter", "parts": parts, "wires": joined}


LIGHT, DUSK = "divider 2:out2", "twilight switch night 1:out"
"""Outputs of the cheapest design: what feeds the light, and what feeds the heater."""


def _tap(units: int) -> tuple[str, dict[str, Any]]:
    return "tap-off", {"units": units}


def _heater_by_relay(kind: str) -> Variant:
    return Variant(
        f"heater by a {kind}",
        kind == "relay-make",
        {"t": _tap(1), "r": (kind, {})},
        {"t:in": LIGHT, "light:in": "t:branch", "r:in": "t:rest", "r:coil": DUSK,
         "heater:in": "r:out"},
    )  # fmt: skip


def _heater_by_bistable(right: bool) -> Variant:
    set_, reset = ("set", "reset") if right else ("reset", "set")
    return Variant(
        f"bistable relay, {set_} by night",
        right,
        {
            "t": _tap(1),
            "u": _tap(1),
            "dawn": ("twilight-switch", {"passes": "day"}),
            "b": ("bistable-relay", {"wins": "reset"}),
        },
        {"t:in": LIGHT, "light:in": "t:branch", "dawn:in": "t:rest", f"b:{reset}": "dawn:out",
         "u:in": DUSK, f"b:{set_}": "u:branch", "b:in": "u:rest", "heater:in": "b:out"},
    )  # fmt: skip


def _held_by_set(wins: str) -> Variant:
    return Variant(
        f"light by a bistable relay, set and reset at night, {wins} wins",
        wins == "set",
        {"t": _tap(1), "u": _tap(1), "b": ("bistable-relay", {"wins": wins})},
        {"t:in": LIGHT, "b:set": "t:branch", "b:in": "t:rest", "light:in": "b:out",
         "u:in": DUSK, "b:reset": "u:branch", "heater:in": "u:rest"},
    )  # fmt: skip


def _night_and(passes: str) -> Variant:
    return Variant(
        f"light by a joint of night and {passes}",
        passes == "day",
        {
            "other": ("twilight-switch", {"passes": passes}),
            "u": _tap(1),
            "j": ("joint", {}),
        },
        {"other:in": LIGHT, "u:in": DUSK, "heater:in": "u:branch", "j:in1": "u:rest",
         "j:in2": "other:out", "light:in": "j:out"},
    )  # fmt: skip


def _short_at_joint(units: int) -> Variant:
    """A joint hands on the least of what reaches it; here two inputs want a unit each."""
    return Variant(
        f"joint of 3 and {units} units before two inputs",
        units >= 2,
        {"t": _tap(units), "u": _tap(1), "j": ("joint", {}), "r": ("relay-make", {})},
        {"t:in": "divider 2:out3", "j:in1": LIGHT, "j:in2": "t:branch",
         "twilight switch night 1:in": "t:rest", "u:in": "j:out", "light:in": "u:branch",
         "r:coil": "u:rest", "r:in": DUSK, "heater:in": "r:out"},
    )  # fmt: skip


VARIANTS = (
    _heater_by_relay("relay-make"),
    _heater_by_relay("relay-break"),
    _heater_by_bistable(True),
    _heater_by_bistable(False),
    _held_by_set("set"),
    _held_by_set("reset"),
    _night_and("day"),
    _night_and("night"),
    Variant(
        "pump at night too, by a joint",
        False,
        {"u": _tap(1), "j": ("joint", {})},
        {"u:in": DUSK, "heater:in": "u:branch", "j:in1": "u:rest", "j:in2": "pulse timer 2:out",
         "pump:in": "j:out"},
    ),  # fmt: skip
)
UNITS = (_short_at_joint(2), _short_at_joint(1))
"""Only where amounts are modelled is the second one wrong."""
