"""What the loads of a job can do to somebody, as far as their names tell."""

from __future__ import annotations

from synth.handover.job import Job
from synth.parts.behaviour import PartType

_WATER = frozenset({"pump", "filler", "mister", "mist", "drip", "sump", "butt", "valve",
                    "sprinkler", "irrigation", "water", "tank", "trough", "well", "float"})
_HEAT = frozenset({"heater", "warmer", "heat", "kettle", "brooder"})
"""A lamp of a brooder, too, calls for the caution against heat."""


def _says(name: str, words: frozenset[str]) -> bool:
    return any(w.rstrip("0123456789") in words for w in name.lower().replace("-", " ").split())


def loads(job: Job) -> list[str]:
    """Return the loads, in the order of the design."""
    return [p.name for p in job.design.parts if p.type is PartType.LOAD]


def wet(job: Job) -> list[str]:
    """Return the loads and inputs that have to do with water."""
    return [name for name in (*loads(job), *(item.name for item in job.problem.inputs))
            if _says(name, _WATER)]


def heaters(job: Job) -> list[str]:
    """Return the loads that heat."""
    return [name for name in loads(job) if job.kinds[name] == "heater" or _says(name, _HEAT)]


def motors(job: Job) -> list[str]:
    """Return the loads that move something."""
    return [name for name in loads(job) if job.kinds[name] == "motor"]


def unknown(job: Job) -> list[str]:
    """Return the loads whose names do not tell what they are."""
    hot = heaters(job)
    return [name for name in loads(job) if not job.kinds[name] and name not in hot]


def may_carry_water(job: Job) -> bool:
    """Return whether water may be moved here: False where only lamps and the like are."""
    return bool(wet(job) or unknown(job))


def lamps_alone(job: Job) -> bool:
    """Return whether nothing here heats, moves, carries water, or might."""
    return not (wet(job) or heaters(job) or motors(job) or unknown(job))
