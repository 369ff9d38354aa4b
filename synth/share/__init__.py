"""How power is shared: exactly, cheapest, then least wasteful.

Rooms, in flow order: `price` (what splitting costs, whatever the needs), `split` (one output
to several needs), `power` (a whole skeleton to a design), `trees` (all ways to split, counted).
"""

from synth.share.power import least_units, share_power
from synth.share.price import fan_out_price
from synth.share.refit import refitted
from synth.share.split import Fork, Leaf, Split, Tree, split_front
from synth.share.trees import every_tree, ways_to_share

__all__ = [
    "Fork",
    "Leaf",
    "Split",
    "Tree",
    "every_tree",
    "fan_out_price",
    "least_units",
    "refitted",
    "share_power",
    "split_front",
    "ways_to_share",
]
