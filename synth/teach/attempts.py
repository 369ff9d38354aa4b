"""What one tries first: the circuit there is with the new thing simply added, or nearly the new
one; and of those that fail, the one nearest to what there was whose failure tells most."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction

from synth.design import Design, PartInUse, Skeleton, Terminal, Wire
from synth.errors import DesignError, Undecided
from synth.parts.behaviour import SENSING, SPLITTING, TIMED, PartType
from synth.parts.kit import Kit
from synth.problem import Apart, Peak, Problem
from synth.result import Counterexample, Defect, Fault, Verdict
from synth.ticks import format_duration
from synth.trace import Moment, Trace

Subject = str | Apart | Peak
"""One thing that is asked: a load's goals, two loads never on together, a peak."""

MOST_TRIED = 250
"""Attempts looked at for one stage, the nearest to the circuit before first: a number, not a
time, so that the same goals give the same lesson."""
MOST_STATES = 20_000
"""States explored for one attempt; one that needs more is passed over."""
MOST_RIGHT = 6
"""Changes of a load that an attempt has right: more do not make it more telling."""
MOST_BUILT = 12
"""Failing attempts for which power is shared until one can be built."""


@dataclass(frozen=True)
class Trial:
    """What the attempts need of other rooms.

    `failure`: the shortest way in which one thing asked fails, by the exact check, until a
    reading of `time.monotonic()`, within so many states. `share`: a wiring with its power shared.
    `check`: the exact check. `bare`, `pruned`: a design without its splitting parts, without what
    no load depends on. `run`: one run. `required`: whether a load must be on right after some
    moments. `showing_run`: inputs that show a problem at work, and the end of the run.
    """

    failure: Callable[[Design, Problem, Subject, float, int], Defect | None]
    share: Callable[[Skeleton, Problem], Design | None]
    check: Callable[[Design, Problem, float], Verdict]
    bare: Callable[[Design], Design]
    pruned: Callable[[Design, Kit], Design]
    run: Callable[[Design, Problem, Sequence[Moment], Fraction], Trace]
    required: Callable[[Problem, str, Sequence[Moment]], bool | None]
    showing_run: Callable[[Problem], tuple[tuple[Moment, ...], Fraction]]


@dataclass(frozen=True)
class Failed:
    """An attempt that fails: in words, built with its power shared, and how."""

    told: str
    design: Design
    defect: Defect
    example: Counterexample
    nearly: bool
    """Made from the new circuit, not from the one before."""


@dataclass(frozen=True)
class _Candidate:
    told: str
    design: Design
    far: int
    """How many parts and wires are different from those before."""
    nearly: bool
    missing: int
    """Inputs that the new circuit follows and this one does not."""
    place: int
    """Its place in the order in which attempts come to mind: from the supply outwards."""


_AS_IT_WAS = "everything is left as it was"
_Rank = tuple[bool, bool, bool, int, int, int, int, bool, int, float, int]


def first_attempt(
    old: Design,
    new: Design,
    problem: Problem,
    before: Problem | None,
    subjects: Sequence[Subject],
    trial: Trial,
    deadline: float,
) -> tuple[Failed | None, int]:
    """Return the attempt to show on the way from `old` to `new`, which holds, and how many were
    looked at.

    `before` is the problem without what is newly asked, `subjects`. What comes first is an
    attempt in which a load is on or off when it should not be, and which would be right there
    without the new goals; then one that follows each input that is asked for; then one that does
    more right in the run that shows the problem at
    work, up to on and off again; then the one nearest to `old`; then the shortest failure.
    """
    candidates = sorted(_candidates(old, new, problem, trial, subjects), key=lambda c: c.far)
    others = [s for s in _subjects(problem) if s not in subjects]
    moments, end = trial.showing_run(problem)
    shown = trial.run(new, problem, moments, end)

    def rank(candidate: _Candidate, subject: Subject, defect: Defect) -> _Rank:
        right = (0, 0)
        if isinstance(subject, str):
            run = trial.run(candidate.design, problem, moments, end)
            right = (_before_it_fails(defect, subject), _right(run, shown, subject))
        return _rank(candidate, subject, defect, subjects, right, _old_fault(defect))

    def _old_fault(defect: Defect) -> bool:
        example = defect.counterexample
        if before is None or example is None or not example.load:
            return False
        wanted = trial.required(before, example.load, example.moments)
        return wanted is not None and wanted != example.got

    failing: list[tuple[_Rank, _Candidate, Subject]] = []
    tried = 0
    for candidate in candidates[:MOST_TRIED]:
        if time.monotonic() >= deadline:
            break
        tried += 1
        for subject in (*subjects, *others):
            with suppress(DesignError, Undecided):
                defect = trial.failure(candidate.design, problem, subject, deadline, MOST_STATES)
                if defect is not None and defect.counterexample is not None:
                    failing.append((rank(candidate, subject, defect), candidate, subject))
                    break
    failing.sort(key=lambda item: item[0])
    for _, candidate, subject in failing[:MOST_BUILT]:
        with suppress(DesignError, Undecided):
            built = _built(candidate, problem, subject, trial, deadline)
            if built is not None:
                return built, tried
    return None, tried


def _rank(
    candidate: _Candidate,
    subject: Subject,
    defect: Defect,
    subjects: Sequence[Subject],
    right: tuple[int, int],
    old_fault: bool,
) -> _Rank:
    example = defect.counterexample
    assert example is not None
    in_its_run, in_the_other = (-min(count, MOST_RIGHT) for count in right)
    return (
        defect.fault not in (Fault.GOAL, Fault.TOGETHER, Fault.PEAK),
        # Only a new part left out: that is what there was before, no attempt.
        candidate.far == 0 and candidate.told != _AS_IT_WAS,
        old_fault,
        candidate.missing,
        in_its_run,
        in_the_other,
        candidate.far,
        subject not in subjects,
        len(example.moments),
        float(example.moments[-1].time),
        candidate.place,
    )


def _right(run: Trace, shown: Trace, load: str) -> int:
    """Return how often `load` changes as it should before it first does not, in one run."""
    ways = []
    for trace in (run, shown):
        track = next(t for t in trace.tracks if t.role == "load" and t.name == load)
        started = [(Fraction(0), True)] if track.start else []
        ways.append([*started, *track.changes])
    for count, (got, wanted) in enumerate(zip(*ways, strict=False)):
        if got != wanted:
            return count
    return min(len(way) for way in ways)


def _before_it_fails(defect: Defect, load: str) -> int:
    """Return how often `load` changes in the failing run, all of them right, before it fails."""
    example = defect.counterexample
    if example is None or example.trace is None:
        return 0
    last = example.moments[-1].time
    track = next(t for t in example.trace.tracks if t.role == "load" and t.name == load)
    return (track.start and last > 0) + sum(moment < last for moment, _ in track.changes)


def _built(
    candidate: _Candidate, problem: Problem, subject: Subject, trial: Trial, deadline: float
) -> Failed | None:
    """Return the attempt with its power shared; None when it cannot be built within the limits."""
    plain = candidate.design
    feeds = tuple((wire.source, wire.target) for wire in plain.wires)
    design = trial.share(Skeleton(plain.kit, plain.parts, feeds), problem)
    if design is None:
        return None
    verdict = trial.check(design, problem, deadline)
    build = (Fault.STRUCTURE, Fault.LIMIT, Fault.UNITS)
    if verdict.holds or any(defect.fault in build for defect in verdict.defects):
        return None
    defect = trial.failure(design, problem, subject, deadline, MOST_STATES)
    if defect is None or defect.counterexample is None:
        return None
    return Failed(candidate.told, design, defect, defect.counterexample, candidate.nearly)


def _subjects(problem: Problem) -> list[Subject]:
    peak = [problem.peak] if problem.peak is not None else []
    return [*(r.load for r in problem.requirements), *problem.apart, *peak]


def new_subjects(problem: Problem, goals: Sequence[int]) -> list[Subject]:
    """Return what the goals of these numbers ask."""
    found: list[Subject] = [r.load for r in problem.requirements if set(r.goals) & set(goals)]
    found += [apart for apart in problem.apart if apart.goal in goals]
    if problem.peak is not None and problem.peak.goal in goals:
        found.append(problem.peak)
    return found


# -- what one may try --------------------------------------------------------------------------


def _candidates(
    old: Design, new: Design, problem: Problem, trial: Trial, subjects: Sequence[Subject]
) -> Iterator[_Candidate]:
    """Yield each different attempt of which every input is fed; `old` and `new` with their
    splitting parts, the attempts without."""
    kit = problem.kit
    before, after = trial.bare(old), trial.bare(new)
    seen = {(_parts(after), _feeds(after))}
    added = list(_added(before, after, kit, subjects))
    for at, (told, design) in enumerate([*added, *_nearly(after, problem, subjects)]):
        changed = trial.pruned(design, kit)
        inputs = {
            Terminal(part.name, name)
            for part in changed.parts
            for shape in (kit.index[part.part].shape,)
            for name in shape.power + shape.controls
        }
        key = (_parts(changed), _feeds(changed))
        if key in seen or {wire.target for wire in changed.wires} != inputs:
            continue
        seen.add(key)
        far = len(key[0] ^ _parts(before)) + len(key[1] ^ _feeds(before))
        missing = len(_followed(after) - _followed(changed))
        yield _Candidate(told, changed, far, at >= len(added), missing, len(seen))


def _parts(design: Design) -> frozenset[PartInUse]:
    return frozenset(part for part in design.parts if part.type is not PartType.SUPPLY)


def _followed(design: Design) -> set[str | int | None]:
    return {part.setting("input") or part.part for part in design.parts if part.type in SENSING}


def _feeds(design: Design) -> frozenset[tuple[Terminal, Terminal]]:
    return frozenset((wire.source, wire.target) for wire in design.wires)


def _outputs(design: Design, kit: Kit) -> list[Terminal]:
    return [
        Terminal(part.name, output)
        for part in design.parts
        for output in kit.index[part.part].shape.outputs
    ]


def _added(
    old: Design, new: Design, kit: Kit, subjects: Sequence[Subject]
) -> Iterator[tuple[str, Design]]:
    """Yield the circuit there is, with the new loads and contacts simply added."""
    known = {part.name for part in old.parts}
    fed = {wire.target for wire in old.wires}
    loads = [p for p in new.parts if p.type is PartType.LOAD and Terminal(p.name, "in") not in fed]
    contacts = [p for p in new.parts if p.type in SENSING and p.name not in known]
    reached = _before(old, subjects)
    names = " and ".join(part.name for part in loads)
    ends = [Terminal(part.name, "in") for part in loads]

    def more(parts: Sequence[PartInUse], wires: Sequence[tuple[Terminal, Terminal]]) -> Design:
        again = {target for _, target in wires}
        kept = [wire for wire in old.wires if wire.target not in again]
        laid = [Wire(1000 + i, source, target) for i, (source, target) in enumerate(wires)]
        fresh = [part for part in parts if part.name not in known]
        return replace(old, parts=(*old.parts, *fresh), wires=(*kept, *laid))

    if not loads and not contacts:
        yield _AS_IT_WAS, old
    for output in _outputs(old, kit):
        if loads:
            told = f"{names} is hung straight on {output}"
            yield told, more(loads, [(output, end) for end in ends])
        for contact in contacts:
            way, behind = Terminal(contact.name, "in"), Terminal(contact.name, "out")
            if loads:
                wires = [(output, way), *((behind, end) for end in ends)]
                told = f"{contact.name} is hung on {output}, and {names} behind it"
                yield told, more([*loads, contact], wires)
                continue
            consumers = [wire.target for wire in old.wires if wire.source == output]
            if all(target.part not in reached for target in consumers):
                continue  # what is behind it has nothing to do with what is asked
            for target in (t for t in consumers if t.part in reached):
                told = f"{contact.name} is put into the wire from {output} to {target}"
                yield told, more([contact], [(output, way), (behind, target)])
            if len(consumers) > 1:
                told = f"{contact.name} is put behind {output}, before all that it feeds"
                yield told, more([contact], [(output, way), *((behind, t) for t in consumers)])


def _nearly(
    new: Design, problem: Problem, subjects: Sequence[Subject]
) -> Iterator[tuple[str, Design]]:
    """Yield the new circuit with one contact bridged, one wire moved, one time set otherwise."""
    kit = problem.kit
    source = {wire.target: wire.source for wire in new.wires}
    reached = _before(new, subjects)
    for part in new.parts:
        if part.name not in reached or part.type in SPLITTING or part.type is PartType.LOAD:
            continue
        way = source.get(Terminal(part.name, "in"))
        outputs = kit.index[part.part].shape.outputs
        for contact in outputs if way is not None else ():
            assert way is not None
            end = Terminal(part.name, contact)
            wires = [replace(w, source=way) if w.source == end else w for w in new.wires]
            which = part.name if len(outputs) == 1 else f"the {contact} contact of {part.name}"
            told = f"{which} is left out, with a plain wire in its place"
            yield told, replace(new, wires=tuple(wires))
        for key, value in part.settings if part.type in TIMED else ():
            for other in problem.times if isinstance(value, int) else ():
                if other != value:
                    settings = tuple((k, other if k == key else v) for k, v in part.settings)
                    parts = [replace(p, settings=settings) if p is part else p for p in new.parts]
                    times = f"{format_duration(other)} instead of {format_duration(int(value))}"
                    yield f"{part.name} is set to {times}", replace(new, parts=tuple(parts))
    near = [output for output in _outputs(new, kit) if output.part in reached]
    for wire in new.wires:
        for output in near if wire.target.part in reached else ():
            if output != wire.source:
                moved = [replace(w, source=output) if w is wire else w for w in new.wires]
                told = f"{wire.target} is fed from {output} instead of {wire.source}"
                yield told, replace(new, wires=tuple(moved))


def _before(design: Design, subjects: Sequence[Subject]) -> set[str]:
    """Return the parts that the subjects depend on, themselves among them."""
    found = set[str]()
    for subject in subjects:
        if isinstance(subject, str):
            found.add(subject)
        elif isinstance(subject, Apart):
            found |= {subject.first, subject.second}
        else:
            found |= {part.name for part in design.parts}
    waiting = list(found)
    while waiting:
        name = waiting.pop()
        more = {w.source.part for w in design.wires if w.target.part == name} - found
        found |= more
        waiting += more
    return found
