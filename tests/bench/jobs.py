"""The jobs of the benchmark as goal files: written here where they are large. All of it invented.

A smallholding with a potting shed, a hen house and a yard. Nothing here is a plan for a real
one: water, heat and moving parts need more than a circuit that switches at the right moment.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

SHED = "goals/potting-shed.yaml"
GLASSHOUSE = "goals/glasshouse.yaml"


def cycle(load: str, on: str, every: str) -> str:
    """Return the phrase of a cycle."""
    return f"{load} on {on} of every {every}"


def cutoff(name: str, loads: Iterable[str]) -> str:
    """Return the phrase of a cutoff for some loads."""
    return f"{name} cutoff for {' and '.join(loads)}"


def goal_file(title: str, goals: Iterable[str], loads: Sequence[str] = ()) -> str:
    """Return a goal file (YAML); `loads` are declared, each with a need of 1 unit."""
    lines = ["# Invented, for the benchmark.", f"title: {title}"]
    if loads:
        lines += ["loads:", *(f"  {load}: 1" for load in loads)]
    lines += ["goals:", *(f"  - {goal}" for goal in goals), ""]
    return "\n".join(lines)


TWO_CUT = goal_file(
    "Two cycles, one behind a cutoff",
    [cycle("pump", "10 s", "60 s"), "master cutoff for pump", cycle("mister", "15 s", "15 min")],
)
TWO_UNCUT = goal_file("Two cycles", [cycle("pump", "10 s", "60 s"), cycle("mister", "5 s", "20 s")])
THREE_CUT = goal_file(
    "Three cycles, one behind a cutoff",
    [
        cycle("pump", "10 s", "60 s"),
        "master cutoff for pump",
        cycle("mister", "15 s", "15 min"),
        cycle("stirrer", "5 s", "20 s"),
    ],
)


def beside_a_minute(every: str) -> str:
    """Return a goal file of a cycle of 10 s in so long a time, and one of 10 s in a minute."""
    return goal_file(
        f"10 s of every {every} beside 10 s of every minute",
        [cycle("mister", "10 s", every), cycle("pump", "10 s", "60 s")],
    )


BEHAVIOURS = (
    ("pump", "on 10 s of every 60 s"),
    ("light", "always"),
    ("heater", "at night"),
    ("fan", "while hot"),
    ("egg lamp", "by day"),
    ("vent motor", "5 s after damp"),
    ("porch lamp", "while door is open and for 2 min after"),
    ("mixer", "started by start and stopped by stop"),
    ("mister", "on 15 s of every 15 min"),
    ("bell", "for 30 s after bell push is pressed"),
)
"""Ten things that loads do, the plainest four first; the first is behind a cutoff."""


def many(count: int, behaviours: int) -> str:
    """Return a goal file of `count` loads that do the first so many of BEHAVIOURS in turn."""
    groups: list[list[str]] = [[] for _ in range(behaviours)]
    for number in range(count):
        place = number % behaviours
        groups[place].append(f"{BEHAVIOURS[place][0]} {number // behaviours + 1}")
    goals = [
        f"{' and '.join(group)} {does}"
        for group, (_, does) in zip(groups, BEHAVIOURS, strict=False)
        if group
    ]
    goals.append(cutoff("master", groups[0]))
    loads = [load for group in groups for load in group]
    return goal_file(f"{count} loads, {behaviours} behaviours", goals, loads)
