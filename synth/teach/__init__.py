"""How would a tutor build this circuit up? Goal by goal, by attempts that fail and their mends.

Rooms, in flow order: `stages` (which goals come together), `attempts` (what one tries first, and
how it fails), `adding` (to what is there), `questions` (made of facts), `lesson` (all of it in
order). Plans, checks and runs are handed in.
"""

from synth.teach.attempts import Trial
from synth.teach.lesson import TEST_REACTION, TEST_SECONDS, Tools, lesson_of
from synth.teach.questions import Facts

__all__ = ["TEST_REACTION", "TEST_SECONDS", "Facts", "Tools", "Trial", "lesson_of"]
