"""One plain formulation of a job, as a process of its own; prints its answer as JSON.

    python tests/bench/plain_run.py JOB OFFERS priced|explicit CP-SAT|clingo|Glucose SECONDS SEED
"""

from __future__ import annotations

import json
import resource
import sys
from dataclasses import asdict

from plain_jobs import JOBS, PlainAnswer

MOST_BYTES = 12 * 1024**3
"""Address space; three times what the tool gets."""


def answer(
    job: str, offered: str, sharing: str, solver: str, seconds: float, seed: int
) -> PlainAnswer:
    """Return what a solver makes of a job, within about `seconds` of solving."""
    asked = (JOBS[job], offered, sharing == "explicit", seconds)
    if solver == "CP-SAT":
        from plain_model import solve_plain

        return solve_plain(*asked, seed=seed)
    if solver == "clingo":
        from plain_rules import OPTIONS, WHOLE_OPTIONS, solve_rules

        best = WHOLE_OPTIONS if offered == "whole kit" else OPTIONS
        return solve_rules(*asked, options=(*best, "--rand-freq=0.01", f"--seed={seed}"))
    from plain_clauses import solve_clauses

    return solve_clauses(*asked)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    *words, seconds, seed = sys.argv[1:]
    found = answer(words[0], words[1], words[2], words[3], float(seconds), int(seed))
    print(json.dumps(asdict(found)))
