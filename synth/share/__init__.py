"""How power is shared: exactly, cheapest, then least wasteful.

Rooms, in flow order: `price` (what splitting costs, whatever the needs), `split` (one output
to several needs), `power` (a whole skeleton to a design).
"""

from synth.share.power import least_units, share_power
from synth.share.price import fan_out_price
from synth.share.split import Fork, Leaf, Split, Tree, split_front

__all__ = [
    "Fork",
    "Leaf",
    "Split",
    "Tree",
    "fan_out_price",
    "least_units",
    "share_power",
    "split_front",
]
