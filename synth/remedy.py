"""What would put a faulty design right, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, field

from synth.design import Design


@dataclass(frozen=True)
class Remedy:
    """One change, or two, after which a design holds: the check has said so.

    `steps` say in words what is to be done. `wires` are the numbers of the wires that it changes,
    `parts` the names of the parts, `supply` the units that the supply has to be set to besides
    (None: it may stay as it is). `design` is what comes of it.
    """

    steps: tuple[str, ...]
    wires: tuple[int, ...] = ()
    parts: tuple[str, ...] = ()
    supply: int | None = None
    design: Design | None = field(default=None, compare=False)


@dataclass(frozen=True)
class Remedies:
    """Some remedies, the simplest first, of `tried` changes; `all_tried`: it was looked for
    more among all changes of the kinds that are looked at, and there are none."""

    found: tuple[Remedy, ...] = ()
    tried: int = 0
    all_tried: bool = True
