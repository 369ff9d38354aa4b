"""Other designs, and what clashes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from synth.errors import GoalError
from synth.pipeline.asking import _posed_alone, _retimed
from synth.pipeline.planning import _tools, plan
from synth.problem import Objective, Problem
from synth.read.goal_file import goals_from_text, load_goal_file
from synth.result import Outcome, Status

if TYPE_CHECKING:
    from synth.choices import Choice, Choices
    from synth.conflict import Conflict
    from synth.design import Design
    from synth.memory import Memory
    from synth.search import Tools
    from synth.search.basics import Working


def options(
    problem: Problem,
    seconds: float = 60.0,
    designs: int = 0,
    point: int = 1,
    seed: int = 1,
    fast: bool = False,
    memory: Memory | None = None,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Choices, Outcome]:
    """Return the front of price, power and parts, and the outcome of planning by price.

    With `designs`, up to so many really different designs for the choice number `point` (from 1)
    as well. Raises GoalError when there is no choice of that number.
    """
    from synth.explore import front_of

    problem = by_price(problem)

    def planned(asked: Problem, within: float) -> Outcome:
        return plan(asked, None, within, seed, stopped, fast, memory)

    began = time.monotonic()
    share = 0.5 if designs else 1.0
    choices, outcome = front_of(problem, planned, share * seconds, report, stopped)
    if not designs or not choices.front:
        return choices, outcome
    if point > len(choices.front):
        raise GoalError(
            f"there is no choice {point}",
            hint=f"the front has {len(choices.front)}; say --point 1 to {len(choices.front)}",
        )
    report("different designs")
    left = began + seconds - time.monotonic()
    return _different(problem, choices, point, designs, left, seed, fast, stopped), outcome


def by_price(problem: Problem) -> Problem:
    """Return the problem with the price first, then power and wires: the order of a front."""
    return replace(problem, objectives=(Objective.PRICE, Objective.SUPPLY, Objective.WIRES))


def clash(
    file: str | None,
    text: str | None,
    problem: Problem,
    seconds: float = 60.0,
    seed: int = 1,
    fast: bool = False,
    report: Callable[[str], None] = lambda stage: None,
    stopped: Callable[[], bool] = lambda: False,
    memory: Memory | None = None,
) -> Conflict:
    """Return why the goals of a file or text, posed as `problem`, cannot be had together.

    With `memory`, circuits that several of the questions share are proven once.
    """
    from synth.explore import clash_of
    from synth.pose.without import altering

    goal_list = load_goal_file(file) if file is not None else goals_from_text(text or "")

    def any_design(asked: Problem, within: float) -> Outcome:
        # Whatever it costs, it is within 100 % of the bound.
        return plan(asked, None, within, seed, stopped, fast, memory, 100.0)

    def cheapest(asked: Problem, within: float) -> Outcome:
        return plan(asked, None, within, seed, stopped, fast, memory)

    posed = _posed_alone(goal_list, problem)
    return clash_of(
        problem, posed, any_design, seconds, report, stopped, cheapest,
        _retimed(goal_list, problem), altering(goal_list),
    )  # fmt: skip


def _different(
    problem: Problem,
    choices: Choices,
    point: int,
    designs: int,
    seconds: float,
    seed: int,
    fast: bool,
    stopped: Callable[[], bool],
) -> Choices:
    """Return `choices` with really different designs for one of them."""
    from synth.choices import Choice, parts_counted
    from synth.explore import Different, telling, told_apart, unshared
    from synth.search import Others, Progress
    from synth.share import ways_to_share

    chosen = choices.front[point - 1]
    progress = Progress(deadline=time.monotonic() + seconds)
    progress.asked_to_stop = stopped
    tools = _tools(problem, {"check": 0.0, "share": 0.0}, seconds, fast, None)
    asked = replace(problem, limits=replace(problem.limits, supply=chosen.supply))
    others = Others(asked, chosen.price, chosen.supply, tools, progress, seed)
    # The choice itself is one of them, the first.
    seen, whole = Different(), True
    seen.add(unshared(chosen.design))
    found = [replace(chosen, differs="", sharings=ways_to_share(chosen.design, problem.kit))]
    for working in others if designs > 1 else ():
        if not seen.add(working.skeleton):
            continue
        design, sure = _shared(working, asked, chosen, tools)
        if design is None:
            whole = whole and sure
            continue
        stock = problem.limits.stock
        found.append(
            Choice(
                design,
                design.price(problem.kit, stock),
                design.supply,
                parts_counted(design),
                states=working.verdict.states,
                differs=telling(design, found[0].design, problem.kit, stock),
                sharings=ways_to_share(design, problem.kit),
            )
        )
        if len(found) == designs:
            break
    wired = told_apart([choice.design for choice in found], problem.kit)
    found = [
        replace(choice, differs=f"{choice.differs}; {line}" if choice.differs else line)
        if line
        else choice
        for choice, line in zip(found, wired, strict=True)
    ]
    return replace(
        choices,
        designs=tuple(found),
        chosen=point,
        all_designs=others.complete and whole,
        stopped=len(found) == designs and not others.complete,
        in_time=progress.over(),
    )


def _shared(
    working: Working, problem: Problem, chosen: Choice, tools: Tools
) -> tuple[Design | None, bool]:
    """Return the design of a wiring with no more coins, units and parts than the chosen one; None
    where no way to share its power does, and whether that is sure."""
    from synth.choices import parts_counted
    from synth.explore import weighed

    design = working.design
    if parts_counted(design) <= chosen.parts:
        return design, True
    # Shared out with fewer parts it may be dearer, and yet not too dear.
    kit = weighed(problem.kit, 1, 1 + chosen.price)
    limits = replace(problem.limits, price=None)  # which are true coins
    few = tools.share(working.skeleton, replace(problem, kit=kit, limits=limits))
    if few is None or parts_counted(few) > chosen.parts:
        return None, True
    if few.price(problem.kit, problem.limits.stock) > chosen.price:
        return None, False  # a way between the two was not looked for
    verdict = tools.check(few, problem)
    return (few, True) if verdict is not None and verdict.holds else (None, False)


def clash_code(conflict: Conflict) -> int:
    """Return the exit code of a clash: 0 none, 1 there is one, 3 undecided."""
    if conflict.status is Status.IMPOSSIBLE:
        return 1
    return 3 if conflict.status is Status.UNDECIDED else 0
