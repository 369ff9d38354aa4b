"""A lesson: a circuit built up goal by goal, each stage with an attempt that fails and its mend."""

from __future__ import annotations

from dataclasses import dataclass

from synth.changes import Changes
from synth.design import Design
from synth.parts.behaviour import SENSING, PartType
from synth.problem import Goal, Problem
from synth.result import Counterexample, Defect, Outcome, Verdict
from synth.settings_sheet import SettingsSheet
from synth.trace import Trace


@dataclass(frozen=True)
class Attempt:
    """A well-formed design that looks right at first and fails.

    `told` says in words how it was made, `nearly` that it was made from the circuit that holds,
    not from the one before, `natural` that it is what one would do without thinking. `changes` is
    what mends it, splitting parts left aside in both circuits (an output then feeds any number of
    inputs). `run` is the failing run up to the failure and a little on, `mended` what the design
    that holds does with the same inputs.
    """

    told: str
    nearly: bool
    natural: bool
    design: Design
    defect: Defect
    example: Counterexample
    changes: Changes
    run: Trace
    mended: Trace


@dataclass(frozen=True)
class Simply:
    """The circuit before with the new loads and contacts simply added, which holds as well (by the
    exact check) but costs more: `told` in words, prices in coins, supplies in units."""

    told: str
    price: int
    supply: int


@dataclass(frozen=True)
class Question:
    """A question to the reader, and its answer in sentences."""

    ask: str
    answer: tuple[str, ...]


@dataclass(frozen=True)
class Stage:
    """One step of a lesson: `goals` are new in it, `problem` asks them and all before.

    `design` holds (`verdict`), its parts named as in the stage before where they stay. `changes`
    are from that stage (in the first, from nothing), `inner` the same, splitting parts left aside.
    `attempt` is None where none of the `tried` attempts fails and can be built, and where what
    comes to mind first holds: `at_once` says what that is ("" if it does not hold). `times` are
    for a test on the bench, None where there are none to tell. `simply` is told where the circuit
    was laid out anew though adding to it would have done, `by_adding` says that the circuit was
    made by adding to the one before, since the search found none in time. A stage without new goals
    takes up the `wishes` for how it is built: each in words, and how the circuit before fails to
    keep it ("" if it does not fail).
    """

    number: int
    goals: tuple[Goal, ...]
    problem: Problem
    outcome: Outcome
    design: Design
    verdict: Verdict
    changes: Changes
    inner: Changes
    attempt: Attempt | None
    tried: int
    shown: Trace
    times: SettingsSheet | None
    questions: tuple[Question, ...]
    simply: Simply | None = None
    wishes: tuple[tuple[str, str], ...] = ()
    by_adding: bool = False
    at_once: str = ""

    @property
    def same(self) -> bool:
        """Whether the circuit is that of the stage before."""
        c = self.changes
        return not (c.added or c.taken_out or c.set_anew or c.moved or c.new or c.gone)

    @property
    def plain(self) -> bool:
        """Whether the new loads and contacts are simply hung on outputs that were there."""
        idle = SENSING | {PartType.LOAD}
        c = self.inner
        return not (self.same or c.moved or c.gone or c.taken_out) and all(
            part.type in idle for part in c.added
        )


@dataclass(frozen=True)
class Lesson:
    """All stages that came about, in order; `end` is the outcome of the last one that was asked.

    `notes` say what is missing and why.
    """

    title: str
    goals: tuple[Goal, ...]
    stages: tuple[Stage, ...]
    end: Outcome
    notes: tuple[str, ...] = ()
