"""What did an earlier run prove about just this question? Kept on disk, never trusted unchecked.

Rooms, in flow order: `plain` (questions and answers as plain data, and back), `folder` (entries on
disk: written whole or not at all, read only where whole and of this code), `plans` (the outcome of
a whole plan, checked again).
"""

from synth.memory.folder import Memory, open_memory
from synth.memory.plans import keep_plan, known_plan

__all__ = ["Memory", "keep_plan", "known_plan", "open_memory"]
