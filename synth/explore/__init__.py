"""What else could be built: the front of price, power and parts, and really different designs.

Rooms, in flow order: `front` (the best of each kind), `different` (all designs of one kind),
`clash` (why there is none, and what would have to give).
"""

from synth.explore.clash import clash_of
from synth.explore.different import Different, telling
from synth.explore.front import front_of

__all__ = ["Different", "clash_of", "front_of", "telling"]
