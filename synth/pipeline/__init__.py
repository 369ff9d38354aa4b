"""The house's corridor: the only folder that joins rooms.

Rooms: `asking` (goals and designs read), `planning` (the search and the check put to work),
`choosing` (other designs, clashes), `changing` (what is wired), `telling` (why, test times,
lessons), `writing` (drawings, pages, packs, files).
"""

from synth.pipeline.asking import (
    goals_left_out,
    read_design,
    read_problem,
)
from synth.pipeline.changing import change
from synth.pipeline.choosing import (
    by_price,
    clash,
    clash_code,
    options,
)
from synth.pipeline.planning import (
    check_design,
    exit_code,
    fast_available,
    holds,
    least_price,
    open_memory,
    plan,
    remedies,
)
from synth.pipeline.telling import (
    bench,
    bench_wishes,
    explain_design,
    lesson,
    solved_alone,
    without_parts,
)
from synth.pipeline.writing import (
    drawings,
    hand_over_job,
    pack,
    running_page,
    store,
    verdict_pictures,
    write_folder,
)

__all__ = [
    "bench",
    "bench_wishes",
    "by_price",
    "change",
    "check_design",
    "clash",
    "clash_code",
    "drawings",
    "exit_code",
    "explain_design",
    "fast_available",
    "goals_left_out",
    "hand_over_job",
    "holds",
    "least_price",
    "lesson",
    "open_memory",
    "options",
    "pack",
    "plan",
    "read_design",
    "read_problem",
    "remedies",
    "running_page",
    "solved_alone",
    "store",
    "verdict_pictures",
    "without_parts",
    "write_folder",
]
