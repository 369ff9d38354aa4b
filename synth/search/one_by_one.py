"""Circuits solved one by one, each exactly, or as far as its share of the time goes.

A circuit is asked for as one. Where that takes long and it has several signals, each of them is
asked for by itself first: what comes of that is a design to begin with (see
`synth.search.side_by_side`), and what each signal needs refutes parts lists of the circuit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from synth.parts.behaviour import PartType
from synth.problem import Problem
from synth.search.alone import Alone
from synth.search.apart import Piece, may_be_held, put_together, separate, take_apart
from synth.search.basics import Found, LearnedRun, Progress, Tools, Working, design_key, floor_for
from synth.search.circuits import Circuit, wirings_of
from synth.search.engine import Engine
from synth.search.lists import Catalogue
from synth.search.questions import Questions
from synth.search.remembered import found_by
from synth.search.side_by_side import follows_itself, side_by_side
from synth.search.stimuli import first_runs
from synth.search.within import most_of_each

FIRST_SHARE = 0.15
"""Part of the time left that may go into a circuit of several signals, asked for as one, before
each of them is asked for by itself."""
BY_SIGNAL_SHARE = 0.7
"""Part of the time left that may go into a design to begin with, where there was none in time."""
APART_SHARE = 0.5
"""Part of the time that may go into the circuits of a whole, once all of them have a design."""
KEPT_SHARE = 0.1
KEPT_SECONDS = 2.0
"""Part of the time, and seconds at most, that are kept for what comes after a circuit that is the
whole: its wires are moved for less power (0.1 s for 14 parts, 0.35 s for 27), then it goes on."""


class OneByOne:
    """The circuits of one problem, on their way to a design each; see the module's text."""

    def __init__(
        self,
        problem: Problem,
        pieces: Sequence[Piece],
        tools: Tools,
        progress: Progress,
        seed: int,
        limit: int | None = None,
        within: bool = False,
        hard_to_find: Callable[[], None] = lambda: None,
    ) -> None:
        """`limit`: the largest price, where the price counts first. `within`: the problem is itself
        part of a larger one (see `Engine`). `hard_to_find` is called once, before circuits that
        have no design yet are given the rest of the time."""
        self.problem = problem
        self.pieces = pieces
        self.tools = tools
        self.progress = progress
        self.seed = seed
        self.limit = limit
        self.within = within
        self.hard_to_find = hard_to_find
        self.circuits: list[Circuit] = []

    def solve(self) -> Found | None:
        """Seek a design for each circuit, kept in `circuits`; return what is known of the whole
        where one has none.

        One that takes more than its share of the time is put off until all others have a design;
        then it may take what is left, and again when others that were put off have one.
        """
        put_off: list[Circuit] = []
        whole = len(self.pieces) == 1 and not self.pieces[0].path
        kept = min(KEPT_SHARE, KEPT_SECONDS / max(self.progress.left(), KEPT_SECONDS))
        most = 1 - kept if whole else 1.0
        with self.progress.sharing(most if whole else APART_SHARE):
            for number, piece in enumerate(self.pieces):
                self.progress.report(f"circuit {number + 1} of {len(self.pieces)}", None, None)
                circuit = Circuit(piece, engine := self._engine_of(piece), engine.found)
                self.circuits.append(circuit)
                share = 1 / (len(self.pieces) - number)
                aside = engine.within or bool(piece.path)
                with self.progress.aside(aside), self.progress.sharing(share):
                    self._solve(circuit)
                if circuit.found.best is None and not circuit.found.closed:
                    put_off.append(circuit)
                elif self._rules_out(engine):
                    return self._no_circuit(engine)
        if put_off:
            self.hard_to_find()
        while put_off:
            for number, circuit in enumerate(put_off):
                self._solve_again(circuit, most / (len(put_off) - number))
                if self._rules_out(circuit.engine):
                    return self._no_circuit(circuit.engine)
            hard = [circuit for circuit in put_off if circuit.found.best is None]
            if hard and (len(hard) == len(put_off) or self.progress.over()):
                return self._no_circuit(hard[0].engine)
            put_off = hard
        return None

    def _solve_again(self, circuit: Circuit, share: float) -> None:
        """Ask for a circuit that was put off, within a share of the time that is left."""
        engine = circuit.engine
        aside = engine.within or bool(circuit.piece.path)
        with self.progress.aside(aside), self.progress.sharing(share):
            groups = separate(engine.problem, by_signal=True)
            if engine.by_price and self._in_parts(engine.problem, groups):
                # Any design is worth more than a better bound; there is more time for it now.
                with self.progress.sharing(BY_SIGNAL_SHARE):
                    self._by_signal(circuit, groups)
            circuit.found = found_by(engine, self.tools)

    def _engine_of(self, piece: Piece) -> Engine:
        inner = piece.problem
        catalogue = Catalogue(inner, floor_for(self.tools), most=most_of_each(self.problem))
        questions = Questions(inner, catalogue, self.tools, self.progress, self.seed)
        within = self.within or len(self.pieces) > 1 or not only_makes(piece)
        # What the whole holds costs no more than the whole, but for what is in stock.
        bounded = not self.problem.limits.stock and self._held(inner)
        dearest = self.limit if bounded or not within else None
        return Engine(questions, self.progress, within=within, dearest=dearest)

    def _held(self, circuit: Problem) -> bool:
        """Return whether a design of the whole always holds one of this circuit."""
        return may_be_held(self.problem, outside(self.problem) - outside(circuit))

    def _solve(self, circuit: Circuit) -> None:
        """Ask for a circuit as one, and one signal after the other where that takes long, for a
        design to begin with."""
        engine = circuit.engine
        groups = separate(engine.problem, by_signal=True)
        several = engine.by_price and self._in_parts(engine.problem, groups)
        with self.progress.sharing(FIRST_SHARE if several else 1):
            circuit.found = found_by(engine, self.tools)
        if circuit.found.best is not None or circuit.found.closed or not several:
            return
        self._by_signal(circuit, groups)
        circuit.found = found_by(engine, self.tools)

    def _in_parts(self, problem: Problem, groups: Sequence[Problem]) -> bool:
        """Return whether a design to begin with may be made of several: those of several signals,
        or of loads that look back at each other."""
        return len(groups) > 1 or (follows_itself(problem) and not self.within)

    def _by_signal(self, circuit: Circuit, groups: Sequence[Problem]) -> None:
        """Seek a design to begin with, one signal after the other."""
        engine = circuit.engine
        with self.progress.aside():
            best = side_by_side(
                engine,
                groups,
                lambda group: self._first_design(group, circuit),
                self._first_design,
            )
        if best is not None:
            engine.adopt(best)
        make_known(engine, circuit.within)

    def _first_design(self, problem: Problem, larger: Circuit | None = None) -> Working | None:
        """Return a design for some loads of a circuit: their circuits, put together. What these
        are is kept with the larger one, if they are of one."""
        asked = replace(problem, limits=replace(problem.limits, price=None))
        pieces = take_apart(asked)
        inner = OneByOne(asked, pieces, self.tools, self.progress, self.seed, within=True)
        failed = inner.solve()
        if larger is not None:
            known = {_loads(circuit) for circuit in inner.circuits}
            larger.within = [c for c in larger.within if _loads(c) not in known] + inner.circuits
        if failed is not None:
            return None
        whole = self._engine_of(Piece(asked, ()))
        return whole.stands(put_together(wirings_of(inner.circuits)))

    def _rules_out(self, engine: Engine) -> bool:
        """Return whether what was found of a circuit shows that the whole has no design."""
        found, dearest = engine.found, engine.dearest
        if found.best is None or dearest is None:
            return found.best is None and found.closed
        return found.closed and design_key(found.best.design, engine.problem)[0] > dearest

    def _no_circuit(self, engine: Engine) -> Found:
        """Return what is known of the whole where a circuit has no design.

        What a circuit costs by itself bounds the whole only where that always holds one, and not
        the price where the whole has something in stock.
        """
        found, dearest = engine.found, engine.dearest
        if found.best is not None:
            return Found(closed=True, exhausted=True, reasons=[too_dear(self.limit)])
        if dearest is not None and found.floor and found.floor[0] > dearest:
            found.reasons.append(too_dear(self.limit))
        held = not engine.within or self._held(engine.problem)
        if not held or (engine.within and self.problem.limits.stock and engine.by_price):
            return replace(found, closed=found.closed and held, floor=None, first=None)
        return found


def only_makes(piece: Piece) -> bool:
    """Return whether the parts that may follow the switches over this circuit only have make
    contacts: then any design of all that is behind them holds one of the circuit, and these parts.

    Proof: put a wire in place of each of them, as if it was on for good. Nothing is dead that was
    not, and the circuit does what is asked behind the switches. (A break contact would be open for
    good, and what it feeds might be an input that no circuit by itself can leave dead.) Two nets
    that become one are split at no higher a price: each at the place of the input of the switch.
    """
    switches = piece.problem.kit.of_type(PartType.SWITCH) if piece.path else ()
    return all("break" not in part.options for part in switches)


def _loads(circuit: Circuit) -> frozenset[str]:
    return frozenset(requirement.load for requirement in circuit.problem.requirements)


def make_known(engine: Engine, circuits: Sequence[Circuit]) -> None:
    """Let an engine know what was found out about circuits that any of its designs holds."""
    questions, asked = engine.questions, engine.problem
    circuits = [*circuits, *(inner for circuit in circuits for inner in circuit.all_within())]
    for circuit in circuits:
        levers = [name for _, name in circuit.piece.path]
        first = first_runs(circuit.problem, questions.seed)[:1]
        for run in (*(LearnedRun(*run) for run in first), *circuit.engine.questions.runs):
            questions.lift(run, levers)
    engine.alone = [
        Alone(circuit.engine, circuit.found)
        for circuit in circuits
        if may_be_held(asked, outside(asked) - circuit.inputs)
    ]


def outside(problem: Problem) -> frozenset[str]:
    """Return the outside inputs of a problem, the supply apart."""
    return frozenset(item.name for item in problem.inputs) - {"supply"}


def too_dear(limit: int | None) -> str:
    """Return the reason why there is nothing within the largest price."""
    return f"more than {limit} coins are needed"
