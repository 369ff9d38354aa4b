"""The outcome of a whole plan, kept where all of it is proven, and checked again when recalled."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from synth.design import Design
from synth.memory.folder import Memory
from synth.problem import Objective, Problem
from synth.result import Outcome, Status, Verdict

Check = Callable[[Design, Problem], Verdict | None]
PLAN = "plan"


@dataclass(frozen=True)
class KeptPlan:
    """An outcome without its verdict and times, and how long its search might have taken (ms)."""

    outcome: Outcome
    limit: int


def keep_plan(
    memory: Memory, problem: Problem, also: tuple[int, ...], outcome: Outcome, seconds: float
) -> None:
    """Keep `outcome` of a search that might have taken `seconds` and did not use them up, if it is
    a proof: the best by the first objective, or impossible.

    What is only the best found so far is not kept: another run might find better.
    """
    if outcome.status in (Status.PROVEN, Status.IMPOSSIBLE):
        bare = replace(outcome, verdict=None, times=())
        memory.entry(PLAN, problem, also).keep(KeptPlan(bare, round(1000 * seconds)))


def known_plan(
    memory: Memory, problem: Problem, also: tuple[int, ...], check: Check, seconds: float
) -> Outcome | None:
    """Return what an earlier run proved about `problem`, None where nothing is known.

    Its design is checked anew, and must cost what is claimed. Whatever is wrong with it, nothing
    is known. That nothing is cheaper, or that nothing does it at all, rests on the earlier proof.
    Where some objectives are not proven and there are more `seconds` than then, nothing is known
    either: more time might do better by those.
    """
    entry = memory.entry(PLAN, problem, also)
    kept = entry.recall(KeptPlan)
    if kept is None:
        return None
    outcome = kept.outcome
    all_proven = len(outcome.proven) == len(problem.objectives)
    if outcome.design is not None and not all_proven and round(1000 * seconds) > kept.limit:
        return None
    wrong = _inconsistent(outcome, problem)
    if not wrong and outcome.design is not None:
        try:
            verdict = check(outcome.design, problem)
        except Exception as failure:  # whatever it is, the search is there to answer
            wrong = f"its check failed ({type(failure).__name__})"
        else:
            if verdict is None:  # that is no fault of what was kept
                return None
            wrong = "" if verdict.holds else "its design does not hold"
            outcome = replace(outcome, verdict=verdict)
    if wrong:
        entry.drop(wrong)
        return None
    entry.confirm()
    return outcome


def _inconsistent(outcome: Outcome, problem: Problem) -> str:
    """Return why `outcome` cannot be what was kept for `problem`, "" if it can."""
    design = outcome.design
    if outcome.status is Status.IMPOSSIBLE:
        return "an impossible plan has a design" if design is not None or outcome.proven else ""
    if outcome.status is not Status.PROVEN or design is None or outcome.verdict is not None:
        return "it is no proof"
    order = tuple(objective.value for objective in problem.objectives)
    if not outcome.proven or outcome.proven != order[: len(outcome.proven)]:
        return "it proves something else"
    if any(part.part not in problem.kit.index for part in design.parts):
        return "its parts are not in the kit"
    stock = problem.limits.stock
    costs = {
        Objective.PRICE: design.price(problem.kit, stock),
        Objective.SUPPLY: design.supply,
        Objective.WIRES: len(design.wires),
    }
    claimed = (outcome.price, outcome.to_buy, outcome.supply, outcome.bound)
    really = (
        design.price(problem.kit),
        costs[Objective.PRICE] if stock else None,
        design.supply,
        costs[problem.objectives[0]],
    )
    if claimed != really:
        return "its design does not cost what is claimed"
    return ""
