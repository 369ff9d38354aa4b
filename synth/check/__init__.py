"""Does this design do what is asked? Exactly, in dense time; knows nothing of the search.

Rooms, in the order in which a design walks through them:

- `structure`: well formed, within limits, enough units at every consumer
- `circuit`: the design as nets, contacts and reacting parts, ready to be stepped through
- `settle`: from one settled state to the next, all together and in every other order
- `cones`: what has to be explored together
- `zones`: sets of clock values
- `explore`: every reachable state of a cone, the shortest way to a defect first
- `simulate`: one concrete run
- `witness`: a finding as exact moments, a sentence and a run
- `replay`: in which order the parts move in a counterexample's run
- `notes`: remarks on a design that holds
- `verdict`: all of it in order
- `instants`: what loads may do for an instant, where parts are not equally quick
- `showing`: a run that shows each goal at work, for a picture
- `modes`: every settled state that can be reached, and what leads where
- `tour`: a test by hand that visits them all
- `day`: how long each consumer is on in a day with the inputs held
"""

from synth.check.instants import check_with_instants, not_looked_at
from synth.check.simulate import simulate
from synth.check.structure import amounts, power_loop, structure
from synth.check.verdict import check, first_failure

__all__ = [
    "amounts",
    "check",
    "check_with_instants",
    "first_failure",
    "not_looked_at",
    "power_loop",
    "simulate",
    "structure",
]
