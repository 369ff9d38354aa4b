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
from synth.problem import Apart, Energy, Peak, Problem
from synth.result import Counterexample, Defect, Fault, Verdict
from synth.ticks import format_duration
from synth.trace import Moment, Trace

Subject = str | Apart | Peak | Energy
"""One thing that is asked: a load's goals, two loads never on together, a peak, the
energy of a day."""

MOST_TRIED = 250
"""Attempts looked at for one stage, the nearest to the circuit before first: a number, not a
time, so that the same goals give the same lesson."""
MOST_STATES = 20_000
"""States explored for one attempt; one that needs more is passed over."""
MOST_RIGHT = 6
"""Changes of a load that an attempt has right: more do not make it more telling."""
MOST_RIGHT_AT_FIRST = 2
"""The same in the first stage, where fewer parts are more telling: on, and off again."""
LATER = 1_000
"""How much later an input changes, in ticks, so that it is not just when a timer expires."""
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
    natural: bool
    """What one would do without thinking."""


@dataclass(frozen=True)
class _Candidate:
    told: str
    design: Design
    far: int
    """How many parts and wires are different from those before."""
    nearly: bool
    natural: bool
    """The new load is hung on the supply, or the new contact is put right before the load."""
    alters: bool
    """A part that was there, and stays as it is in the end, is left out or set otherwise."""
    missing: int
    """Inputs that the new circuit follows and this one does not."""
    place: int
    """Its place in the order in which attempts come to mind: from the supply outwards."""


@dataclass(frozen=True)
class _Try:
    """What one may try: in words, the circuit, whether it comes to mind before all others."""

    told: str
    design: Design
    natural: bool = False


_AS_IT_WAS = "everything is left as it was"
_Rank = tuple[bool, bool, bool, bool, bool, int, int, int, int, bool, int, float, int]


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
    more right in the run that shows the problem at work, up to a number of changes; then the one
    nearest to `old`; then the shortest failure. What one would do without thinking comes before the
    inputs that are asked for: hang the new on the supply, or put a contact right before its load.
    """
    candidates = sorted(_candidates(old, new, problem, trial, subjects), key=lambda c: c.far)
    others = [s for s in subjects_of(problem) if s not in subjects]
    moments, end = trial.showing_run(problem)
    shown = trial.run(new, problem, moments, end)
    most_right = MOST_RIGHT if before is not None else MOST_RIGHT_AT_FIRST

    def rank(candidate: _Candidate, subject: Subject, defect: Defect) -> _Rank:
        right = (0, 0)
        if isinstance(subject, str):
            run = trial.run(candidate.design, problem, moments, end)
            right = (_before_it_fails(defect, subject), _right(run, shown, subject))
        fault = _old_fault(defect)
        return _rank(candidate, subject, defect, subjects, right, fault, most_right)

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
    most_right: int,
) -> _Rank:
    example = defect.counterexample
    assert example is not None
    in_its_run, in_the_other = (-min(count, most_right) for count in right)
    return (
        defect.fault not in (Fault.GOAL, Fault.TOGETHER, Fault.PEAK),
        # Only a new part left out: that is what there was before, no attempt.
        candidate.far == 0 and candidate.told != _AS_IT_WAS,
        old_fault,
        candidate.alters,
        not candidate.natural,
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
    """Return the attempt with its power shared, and the shortest way in which it fails, at
    `subject` if it is as short there; None when it cannot be built within the limits."""
    plain = candidate.design
    feeds = tuple((wire.source, wire.target) for wire in plain.wires)
    design = trial.share(Skeleton(plain.kit, plain.parts, feeds), problem)
    if design is None:
        return None
    verdict = trial.check(design, problem, deadline)
    build = (Fault.STRUCTURE, Fault.LIMIT, Fault.UNITS)
    if verdict.holds or any(defect.fault in build for defect in verdict.defects):
        return None
    # What shows soonest, whatever load it is at: nothing goes wrong before it in its run.
    found: list[tuple[int, Fraction, bool, Defect]] = []
    for each in subjects_of(problem):
        failed = trial.failure(design, problem, each, deadline, MOST_STATES)
        if failed is not None and failed.counterexample is not None:
            moments = failed.counterexample.moments
            found.append((len(moments), moments[-1].time, each != subject, failed))
    if not found:
        return None
    defect = min(found, key=lambda item: item[:3])[3]
    assert defect.counterexample is not None
    near, natural = candidate.nearly, candidate.natural
    example = _clearer(design, problem, defect.counterexample, trial)
    return Failed(candidate.told, design, defect, example, near, natural)


def _clearer(
    design: Design, problem: Problem, example: Counterexample, trial: Trial
) -> Counterexample:
    """Return the example with its last input a little later where a timer expires just when it
    changes, if it is right until then and fails there all the same: two things at once are hard to
    follow. Not where something is known of how long inputs stay."""
    last, trace = example.moments[-1], example.trace
    known = any(
        i.least_on or i.most_on or i.least_off or i.most_off or i.released_as
        for i in problem.inputs
    )
    if known or trace is None or not last.inputs or not example.load or example.got is None:
        return example
    if not any(t.role == "timer" and last.time in dict(t.changes) for t in trace.tracks):
        return example
    moments = (*example.moments[:-1], replace(last, time=last.time + LATER))
    end = trace.end + LATER
    run = trial.run(design, problem, moments, end)
    tracks = {t.name: t for t in run.tracks if t.role == "load"}
    between = {t for track in run.tracks for t, _ in track.changes if t < moments[-1].time}
    for time_ in sorted(t for t in between if t >= last.time):
        so_far = (*example.moments[:-1], Moment(time_))
        for load, track in tracks.items():
            if trial.required(problem, load, so_far) not in (None, track.level(time_)):
                return example
    got = tracks[example.load].level(moments[-1].time)
    wanted = trial.required(problem, example.load, moments)
    if (got, wanted) != (example.got, example.expected):
        return example
    return replace(example, moments=moments, trace=run)


def subjects_of(problem: Problem) -> list[Subject]:
    """Return all that a problem asks."""
    peak = [problem.peak] if problem.peak is not None else []
    energy = [problem.energy] if problem.energy is not None else []
    return [*(r.load for r in problem.requirements), *problem.apart, *peak, *energy]


def new_subjects(problem: Problem, goals: Sequence[int]) -> list[Subject]:
    """Return what the goals of these numbers ask."""
    found: list[Subject] = [r.load for r in problem.requirements if set(r.goals) & set(goals)]
    found += [apart for apart in problem.apart if apart.goal in goals]
    if problem.peak is not None and problem.peak.goal in goals:
        found.append(problem.peak)
    if problem.energy is not None and problem.energy.goal in goals:
        found.append(problem.energy)
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
    for at, each in enumerate([*added, *_nearly(after, problem, subjects)]):
        changed = trial.pruned(each.design, kit)
        key = (_parts(changed), _feeds(changed))
        if key in seen or not whole(changed, kit):
            continue
        seen.add(key)
        far = len(key[0] ^ _parts(before)) + len(key[1] ^ _feeds(before))
        missing = len(_followed(after) - _followed(changed))
        nearly = at >= len(added)
        alters = not _parts(before) & _parts(after) <= _parts(changed)
        yield _Candidate(each.told, changed, far, nearly, each.natural, alters, missing, len(seen))


def whole(design: Design, kit: Kit) -> bool:
    """Return whether every input of a bare design is fed."""
    inputs = {
        Terminal(part.name, name)
        for part in design.parts
        for shape in (kit.index[part.part].shape,)
        for name in shape.power + shape.controls
    }
    return {wire.target for wire in design.wires} == inputs


def added(
    old: Design, new: Design, kit: Kit, subjects: Sequence[Subject]
) -> Iterator[tuple[str, Design]]:
    """Yield (in words, bare design) for each way simply to add the loads and contacts of `new`
    to `old`, both bare; what comes to mind first comes first."""
    ways = sorted(_added(old, new, kit, subjects), key=lambda way: not way.natural)
    yield from ((way.told, way.design) for way in ways)


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


def _added(old: Design, new: Design, kit: Kit, subjects: Sequence[Subject]) -> Iterator[_Try]:
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
        yield _Try(_AS_IT_WAS, old)
    supplies = {part.name for part in old.parts if part.type is PartType.SUPPLY}
    hung = "is hung" if len(loads) == 1 else "are hung"
    for output in _outputs(old, kit):
        first = output.part in supplies
        if loads:
            told = f"{names} {hung} straight on {output}"
            yield _Try(told, more(loads, [(output, end) for end in ends]))
        for contact in contacts:
            way, behind = Terminal(contact.name, "in"), Terminal(contact.name, "out")
            if loads:
                wires = [(output, way), *((behind, end) for end in ends)]
                told = f"{contact.name} is hung on {output}, and {names} behind it"
                yield _Try(told, more([*loads, contact], wires), first)
                continue
            consumers = [wire.target for wire in old.wires if wire.source == output]
            if all(target.part not in reached for target in consumers):
                continue  # what is behind it has nothing to do with what is asked
            for target in (t for t in consumers if t.part in reached):
                told = f"{contact.name} is put into the wire from {output} to {target}"
                wires = [(output, way), (behind, target)]
                yield _Try(told, more([contact], wires), target.part in subjects)
            if len(consumers) > 1:
                told = f"{contact.name} is put behind {output}, before all that it feeds"
                wires = [(output, way), *((behind, t) for t in consumers)]
                yield _Try(told, more([contact], wires))


def _nearly(new: Design, problem: Problem, subjects: Sequence[Subject]) -> Iterator[_Try]:
    """Yield the new circuit with one contact bridged or of the other kind, one wire moved, one time
    set otherwise."""
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
            yield _Try(told, replace(new, wires=tuple(wires)))
        for key, value in part.settings if part.type in SENSING else ():
            for option in kit.index[part.part].options if key in ("contact", "passes") else ():
                if option != value:
                    settings = tuple((k, option if k == key else v) for k, v in part.settings)
                    parts = [replace(p, settings=settings) if p is part else p for p in new.parts]
                    how = (f"passes {option}, not {value}" if key == "passes" else
                           f"has a {option} contact, not a {value} contact")  # fmt: skip
                    yield _Try(f"{part.name} {how}", replace(new, parts=tuple(parts)))
        for key, value in part.settings if part.type in TIMED else ():
            for other in problem.times if isinstance(value, int) else ():
                if other != value:
                    settings = tuple((k, other if k == key else v) for k, v in part.settings)
                    parts = [replace(p, settings=settings) if p is part else p for p in new.parts]
                    times = f"{format_duration(other)} instead of {format_duration(int(value))}"
                    told = f"{part.name} is set to {times}"
                    yield _Try(told, replace(new, parts=tuple(parts)))
    near = [output for output in _outputs(new, kit) if output.part in reached]
    for wire in new.wires:
        for output in near if wire.target.part in reached else ():
            if output != wire.source:
                moved = [replace(w, source=output) if w is wire else w for w in new.wires]
                told = f"{wire.target} is fed from {output} instead of {wire.source}"
                yield _Try(told, replace(new, wires=tuple(moved)))


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
