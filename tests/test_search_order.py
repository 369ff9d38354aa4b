"""Two parts lists of one price, both asked a second time, are taken in a stable order."""

from __future__ import annotations

from synth import pipeline


def test_lists_that_tie_are_put_off_and_taken_up_again() -> None:
    """Even fan-outs cost half a coin more than the bound, so lists of one price are put off."""
    problem = pipeline.read_problem(
        None,
        "door lamp switched from front switch and back switch",
        "full",
    )
    outcome = pipeline.plan(problem, seconds=6.0)
    assert outcome.status.value in ("proven-cheapest", "best-found", "undecided")
    assert outcome.design is None or (outcome.verdict is not None and outcome.verdict.holds)
