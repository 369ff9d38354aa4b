"""How whole units divide: the fixed rules of tap-off, divider and joint.

Sources: equal share with the remainder first, Graham, Knuth, Patashnik, *Concrete Mathematics*,
eq. (3.24); the tap-off rule is common practice, no source.
"""

from __future__ import annotations


def tap_off(units: int, setting: int) -> tuple[int, int]:
    """Return what a tap-off set to `setting` hands on: (branch, rest).

    >>> tap_off(5, 2), tap_off(1, 2)
    ((2, 3), (1, 0))
    """
    branch = min(setting, units)
    return branch, units - branch


def equal_share(units: int, outputs: int) -> tuple[int, ...]:
    """Return the shares of `units` over `outputs` connected outputs, remainder to the first.

    >>> equal_share(37, 5), equal_share(4, 3)
    ((8, 8, 7, 7, 7), (2, 1, 1))
    """
    return tuple(-(-(units - i) // outputs) for i in range(outputs))
