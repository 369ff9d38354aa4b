"""What else could be built: the front of price, power and parts, and really different designs.

Rooms, in flow order: `front` (the best of each kind), `different` (all designs of one kind),
`apart` (what tells those of the same parts apart), `clash` (why there is none), `figures` (what it
takes at least), `ways` (what would have to give), `mended` (a design for the goals alone, changed
until it is built as was wished), `remedies` (what would put a faulty design right).
"""

from synth.explore.apart import told_apart
from synth.explore.as_wired import left_out, small_changes, tapped, trimmed
from synth.explore.clash import clash_of
from synth.explore.different import Different, telling
from synth.explore.front import front_of, weighed
from synth.explore.mended import mended, unshared, wished, without_wishes
from synth.explore.remedies import remedies

__all__ = [
    "Different",
    "clash_of",
    "front_of",
    "left_out",
    "mended",
    "remedies",
    "small_changes",
    "tapped",
    "telling",
    "told_apart",
    "trimmed",
    "unshared",
    "weighed",
    "wished",
    "without_wishes",
]
