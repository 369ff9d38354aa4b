"""The plain answer-set program as clauses, for a SAT solver that descends in price.

What clingo grounds is completed (Clark, *Negation as Failure*, 1978): an atom holds if, and only
if, the body of one of its rules does. That is exact for a program in which no atom rests on itself
(Fages, *Consistency of Clark's Completion*, 1994), which is checked. Sums become decision diagrams
(Een and Sorensson, *Translating Pseudo-Boolean Constraints into SAT*, 2006, section 5.3).
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from graphlib import TopologicalSorter

from plain_jobs import Job, PlainAnswer, Settings, Wires
from plain_rules import grounded
from second_solver import Clauses
from whole_question import Question, descend


class Completion:
    """Told every ground rule by clingo, in the way of its `Observer`; gives the clauses."""

    def __init__(self) -> None:
        self.rules: list[tuple[bool, Sequence[int], int, Sequence[tuple[int, int]]]] = []
        """(is it a choice, head, least weight of what holds of the body, the body weighed)."""
        self.edges: list[tuple[int, int, list[int]]] = []
        self.priced: list[tuple[int, int]] = []
        self.clauses: Clauses = []
        self.count = 0

    def rule(self, choice: bool, head: Sequence[int], body: Sequence[int]) -> None:
        self.rules.append((choice, list(head), len(body), [(literal, 1) for literal in body]))

    def weight_rule(
        self, choice: bool, head: Sequence[int], lower_bound: int, body: Sequence[tuple[int, int]]
    ) -> None:
        self.rules.append((choice, list(head), lower_bound, list(body)))

    def minimize(self, priority: int, literals: Sequence[tuple[int, int]]) -> None:
        self.priced += literals

    def acyc_edge(self, node_u: int, node_v: int, condition: Sequence[int]) -> None:
        self.edges.append((node_u, node_v, list(condition)))

    def question(self) -> Question:
        """Return the completed program."""
        atoms = [abs(literal) for _, _, _, body in self.rules for literal, _ in body]
        atoms += [atom for _, head, _, _ in self.rules for atom in head]
        self.count = max(atoms)
        bodies: dict[int, list[int]] = {atom: [] for atom in atoms}
        rests: dict[int, set[int]] = {}
        for choice, head, least, weighed in self.rules:
            holds = self._at_least(least, weighed)
            if not head:
                self.clauses.append([-holds])
            for atom in head:
                bodies[atom].append(holds)
                rests.setdefault(atom, set()).update(one for one, _ in weighed if one > 0)
                if not choice:
                    self.clauses.append([-holds, atom])
        for atom, found in bodies.items():
            self.clauses.append([-atom, *found])
        # Raises CycleError where the completion would say less than the program.
        list(TopologicalSorter(rests).static_order())
        self._no_circles()
        return Question(self.clauses, self.count, tuple(self.priced))

    def _fresh(self) -> int:
        self.count += 1
        return self.count

    def _at_least(self, least: int, weighed: Sequence[tuple[int, int]]) -> int:
        """Return a literal that holds if, and only if, enough of `weighed` does."""
        rest = [sum(weight for _, weight in weighed[at:]) for at in range(len(weighed) + 1)]
        if rest[0] == least and len(weighed) == 1:
            return weighed[0][0]
        if rest[0] == least:
            every = self._fresh()
            self.clauses += [[-every, literal] for literal, _ in weighed]
            self.clauses.append([every, *(-literal for literal, _ in weighed)])
            return every
        nodes: dict[tuple[int, int], int] = {}

        def node(at: int, need: int) -> int:
            if (at, need) not in nodes:
                here = nodes[at, need] = self._fresh()
                if need <= 0 or rest[at] < need:
                    self.clauses.append([here if need <= 0 else -here])
                else:
                    literal, weight = weighed[at]
                    for one, after in ((literal, need - weight), (-literal, need)):
                        below = node(at + 1, after)
                        self.clauses += [[-one, -here, below], [-one, here, -below]]
            return nodes[at, need]

        return node(0, least)

    def _no_circles(self) -> None:
        nodes = sorted({node for u, v, _ in self.edges for node in (u, v)})
        ahead = {(u, v): self._fresh() for u in nodes for v in nodes}
        self.clauses += [[-ahead[u, u]] for u in nodes]
        for u, v, condition in self.edges:
            self.clauses.append([*(-literal for literal in condition), ahead[u, v]])
        for u, v in ahead:
            self.clauses += [[-ahead[u, v], -ahead[v, w], ahead[u, w]] for w in nodes]


def solve_clauses(
    job: Job,
    offered: str,
    explicit: bool,
    seconds: float,
    fixed: tuple[Wires, Settings] | None = None,
) -> PlainAnswer:
    """Ground, complete and descend within about `seconds` of solving."""
    began = time.perf_counter()
    seen = Completion()
    grounded(job, offered, explicit, fixed, observer=seen)
    question = seen.question()
    building = time.perf_counter() - began
    least = descend(question, seconds)
    if least.proven:
        status = "INFEASIBLE" if least.price is None else "OPTIMAL"
    else:
        status = "UNKNOWN" if least.price is None else "FEASIBLE"
    bound = (least.price or 0) if least.proven else 0
    return PlainAnswer(status, least.price, bound, building)
