"""The search for the cheapest design; the only room that knows ortools.

Rooms, in flow order: `whole` (a problem solved in parts and as one), `apart` (taking apart and
putting together), `engine` (parts lists in order), `questions` (one list asked for a wiring),
`lists`, `bounds` and `pending` (which parts, and the least they cost), `stimuli` and `scenario`
(runs of the inputs, and what the loads must do in them), `slots` (parts and wires as variables),
`unroll` (the circuit's reaction in clauses), `formula`, `solver`; `remembered` (circuits that an
earlier run has closed), `thrift` (less power where it counts first), `others` (all designs at one
price), `keeping` (designs that keep what is wired), `within` (the bounds of every proof).
"""

from synth.search.basics import Progress, Tools
from synth.search.others import Others
from synth.search.whole import solve_whole

__all__ = ["Others", "Progress", "Tools", "solve_whole"]
