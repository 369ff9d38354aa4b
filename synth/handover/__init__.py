"""What does another person need who builds, tests, keeps and repairs this design?

Rooms, in the order in which the pack is read:

- `job`: all facts handed in, the names of things, and where power comes from and goes to
- `words`: moves, levels and times as a person would say them
- `card`: the one-page card, the cautions, the start-up and reset procedure, the change log
- `lists`: wires, terminals, parts, settings
- `behaviour`: cause and effect, the modes, the timing chart
- `testing`: the test sheet
- `budget`: energy and water
- `faults`: the troubleshooting table
- `building`: the build steps
- `pack`: all of it in order
"""

from synth.handover.budget import Store
from synth.handover.job import BenchRun, Job
from synth.handover.pack import pack_sheets, step_cases

__all__ = ["BenchRun", "Job", "Store", "pack_sheets", "step_cases"]
