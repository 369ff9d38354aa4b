"""What splitting parts cost for a fan-out, whatever the needs behind it.

A splitting part with `m` outputs turns one outlet into 2, 3, ..., m, for a divider shares over
the outlets that are connected. So one part adds between 1 and m - 1 outlets, and the price of a
fan-out is a small knapsack: no needs, no amounts. With unlimited supply every such choice of
parts works, which makes this the exact least price; with any other limit it is a lower bound.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from synth.parts.behaviour import PartType
from synth.parts.kit import Kit


@dataclass(frozen=True)
class SharingPart:
    """A splitting part on offer: `outputs` at most, tap-off settings up to `largest` (None: any),
    `most` of them in a design (None: as many as wanted)."""

    name: str
    type: PartType
    price: int
    outputs: int
    largest: int | None
    most: int | None


def sharing_parts(kit: Kit, most: Mapping[str, int] | None = None) -> tuple[SharingPart, ...]:
    """Return the splitting parts of `kit` that may be used at all, in the kit's order.

    `most` limits the number of parts by kit name, beside the kit's own limits.
    """
    found = []
    for part in kit.parts:
        if part.type is PartType.TAP_OFF:
            outputs = 2
        elif part.type is PartType.DIVIDER:
            outputs = part.outputs
        else:
            continue
        bounds = [b for b in (part.most, (most or {}).get(part.name)) if b is not None]
        bound = min(bounds) if bounds else None
        if outputs >= 2 and (bound is None or bound > 0):
            largest = part.largest if part.type is PartType.TAP_OFF else None
            found.append(SharingPart(part.name, part.type, part.price, outputs, largest, bound))
    return tuple(found)


def fan_out_price(
    consumers: int, kit: Kit, most: Mapping[str, int] | None = None
) -> int | None:
    """Return the least price in coins of parts that let one output feed `consumers` inputs.

    None when the splitting parts on offer (`most`: of each kit name, beside the kit's own
    limits) cannot do it. The figure bounds several nets together as well: feeding c inputs from
    n outputs, each of which feeds something, adds c - n outlets in all and so costs at least
    ``fan_out_price(c - n + 1)``.
    """
    wanted = consumers - 1
    if wanted <= 0:
        return 0
    price: list[int | None] = [0] + [None] * wanted
    for part in sharing_parts(kit, most):
        reach = part.outputs - 1
        if part.most is None:
            for outlets in range(1, wanted + 1):
                for step in range(1, min(reach, outlets) + 1):
                    before = price[outlets - step]
                    now = price[outlets]
                    if before is not None and (now is None or before + part.price < now):
                        price[outlets] = before + part.price
            continue
        # Parts in short supply: n of them add anything between n and n * reach outlets.
        old = list(price)
        for count in range(1, min(part.most, wanted) + 1):
            for step in range(count, min(count * reach, wanted) + 1):
                for outlets in range(step, wanted + 1):
                    before = old[outlets - step]
                    now = price[outlets]
                    cost = count * part.price
                    if before is not None and (now is None or before + cost < now):
                        price[outlets] = before + cost
    return price[wanted]
