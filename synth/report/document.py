"""The plan as one JSON document: what `--format json` prints and design.json is a part of.

Deterministic but for `times`: the same goals and kit give the same bytes.
"""

from __future__ import annotations

import json
from typing import Any

from synth import __version__
from synth.design import design_document
from synth.errors import OutputError
from synth.problem import Objective, Problem
from synth.remedy import Remedies
from synth.result import Ending, Outcome, Status, Verdict
from synth.ticks import format_duration

CLAIMED = frozenset({Status.PROVEN, Status.BEST_FOUND})
"""The statuses that claim a design which was checked."""


def expect_sound(outcome: Outcome) -> None:
    """Raise OutputError when the outcome claims more than was checked or proven.

    A design is handed out only with a check that holds, and "cheapest" only with a proof.
    """
    checked = outcome.verdict is not None and outcome.verdict.holds
    if outcome.status in CLAIMED and (outcome.design is None or not checked):
        raise OutputError(
            f"a result that says '{outcome.status.value}' has no design that passed the check; "
            "nothing is shown, for nothing more may be claimed"
        )
    if outcome.status is Status.PROVEN and not outcome.proven:
        raise OutputError("a result that says 'proven-cheapest' does not say what was proven")


def value_of(outcome: Outcome, objective: Objective) -> int | None:
    """Return what the design of `outcome` takes of `objective` (None without a design); of the
    price, what counts: the coins to pay for what is not in stock."""
    if outcome.design is None:
        return None
    if objective is Objective.PRICE:
        return outcome.price if outcome.to_buy is None else outcome.to_buy
    if objective is Objective.SUPPLY:
        return outcome.design.supply if outcome.supply is None else outcome.supply
    return len(outcome.design.wires)


def plan_document(outcome: Outcome, problem: Problem) -> dict[str, Any]:
    """Return the plan as plain data (docs/plan.schema.json): prices in whole coins, power in
    whole units, times of stages in seconds. Raises OutputError for an outcome that claims more
    than it shows."""
    expect_sound(outcome)
    shown = outcome.design if outcome.status in CLAIMED else None
    verdict = outcome.verdict if shown is not None else None
    times: dict[str, float] = {}
    for stage, seconds in outcome.times:
        times[stage] = round(times.get(stage, 0.0) + seconds, 3)
    return {
        "synth": __version__,
        "title": problem.title,
        "status": outcome.status.value,
        "price": outcome.price if shown is not None else None,
        **({} if shown is None or outcome.to_buy is None else {"to_buy": outcome.to_buy}),
        "bound": outcome.bound,
        "supply": value_of(outcome, Objective.SUPPLY) if shown is not None else None,
        "design": design_document(shown) if shown is not None else None,
        "check": None
        if verdict is None
        else {
            "verdict": "holds" if verdict.holds else "fails",
            "states": verdict.states,
            "notes": list(verdict.notes),
        },
        "assumptions": list(problem.assumptions),
        "goals": [{"number": goal.number, "phrase": goal.phrase} for goal in problem.goals],
        "proven": list(outcome.proven),
        "bounds": list(outcome.bounds),
        "clash": list(outcome.clash),
        **({} if outcome.ending is None else {"ending": ending_document(outcome.ending, problem)}),
        "times": times,
    }


def ending_document(ending: Ending, problem: Problem) -> dict[str, Any]:
    """Return why a search ended before all was proven, as a code and in sentences."""
    from synth.report.undecided import why_ended

    return {"why": ending.why.value, "said": why_ended(ending, problem)}


def verdict_document(verdict: Verdict) -> dict[str, Any]:
    """Return a verdict as plain data: each defect with its goals and, moment by moment, the
    input sequence that shows it. A time between ticks is a text of the form "21/2 ms"."""
    defects = []
    for defect in verdict.defects:
        example = defect.counterexample
        moments = [
            {
                "time": format_duration(int(moment.time))
                if moment.time.denominator == 1
                else f"{moment.time} ms",
                "inputs": dict(moment.inputs),
            }
            for moment in (example.moments if example else ())
        ]
        defects.append(
            {
                "fault": defect.fault.value,
                "message": defect.message,
                "goals": list(defect.goals),
                "load": example.load if example else "",
                "expected": example.expected if example else None,
                "got": example.got if example else None,
                "orders": list(example.orders) if example else [],
                "moments": moments,
            }
        )
    return {
        "verdict": "holds" if verdict.holds else "fails",
        "states": verdict.states,
        "defects": defects,
        "notes": list(verdict.notes),
        "times": {"check": round(verdict.seconds, 3)},
    }


def remedies_document(remedies: Remedies) -> dict[str, Any]:
    """Return what would put a design right as plain data; `supply` is what it has to be set to
    besides, null where it may stay as it is."""
    return {
        "found": [
            {
                "steps": list(remedy.steps),
                "wires": list(remedy.wires),
                "parts": list(remedy.parts),
                "supply": remedy.supply,
            }
            for remedy in remedies.found
        ],
        "tried": remedies.tried,
        "all_tried": remedies.all_tried,
    }


def to_json(document: dict[str, Any]) -> str:
    """Return `document` as JSON text with a final newline, plain ASCII, keys in their order."""
    return json.dumps(document, indent=2, ensure_ascii=True, allow_nan=False) + "\n"
