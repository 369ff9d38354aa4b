"""Really different designs: not the same one with its parts renamed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from synth.design import Design, Skeleton
from synth.parts.behaviour import SENSING, PartType
from synth.parts.kit import Kit
from synth.wording import listed

if TYPE_CHECKING:
    from networkx import DiGraph

MIRRORED = {"in1": "in", "in2": "in"}
"""Inputs of a joint, which may be exchanged."""


class Different:
    """Wirings seen so far; two are the same if one is the other with parts renamed.

    How power is split does not make a design different, nor the order of contacts in series.
    """

    def __init__(self) -> None:
        self._seen: dict[str, list[DiGraph[str]]] = {}

    def add(self, skeleton: Skeleton) -> bool:
        """Return whether `skeleton` is new, and keep it."""
        from networkx import is_isomorphic
        from networkx.algorithms.isomorphism import categorical_node_match

        graph = graph_of(skeleton)
        alike = self._seen.setdefault(_around(graph), [])
        match = categorical_node_match("label", "")
        if any(is_isomorphic(graph, other, match) for other in alike):
            return False
        alike.append(graph)
        return True


def graph_of(skeleton: Skeleton) -> DiGraph[str]:
    """Return the graph of a wiring: a node for each part, labelled with its type and settings
    (loads by their names), and one for each wire, labelled with its terminals. Contacts of sensing
    parts in series are one node, for their order does not matter."""
    from networkx import DiGraph

    graph: DiGraph[str] = DiGraph()
    members: dict[str, list[str]] = {}
    row = _rows(skeleton)
    for part in skeleton.parts:
        own = part.name if part.type is PartType.LOAD else ""
        settings = () if part.type is PartType.SUPPLY else tuple(sorted(part.settings))
        members.setdefault(row.get(part.name, part.name), []).append(
            repr((part.part, own, settings))
        )
    for node, labels in members.items():
        graph.add_node(node, label=repr(sorted(labels)))
    for number, (source, target) in enumerate(skeleton.feeds):
        one, other = row.get(source.part, source.part), row.get(target.part, target.part)
        if one == other and target.part in row:
            continue  # within the row
        wire = f"\0{number}"
        end = MIRRORED.get(target.terminal, target.terminal)
        graph.add_node(wire, label=f"{source.terminal}>{end}")
        graph.add_edge(one, wire)
        graph.add_edge(wire, other)
    return graph


def _rows(skeleton: Skeleton) -> dict[str, str]:
    """Return, for each sensing part that is in series with others and nothing between them, the
    first of them."""
    sensing = {part.name for part in skeleton.parts if part.type in SENSING}
    fed = Counter(source.part for source, _ in skeleton.feeds)
    before = {
        target.part: source.part
        for source, target in skeleton.feeds
        if source.part in sensing and target.part in sensing and fed[source.part] == 1
    }
    found = {}
    for name in {*before, *before.values()}:
        first = name
        while first in before:
            first = before[first]
        found[name] = first
    return found


def _around(graph: DiGraph[str]) -> str:
    """Return what is the same for graphs that are: the labels on both sides of each node."""
    labels = {node: str(data["label"]) for node, data in graph.nodes.items()}
    return repr(
        sorted(
            (
                label,
                sorted(labels[one] for one in graph.predecessors(node)),
                sorted(labels[one] for one in graph.successors(node)),
            )
            for node, label in labels.items()
        )
    )


def telling(design: Design, first: Design, kit: Kit, stock: Iterable[tuple[str, int]] = ()) -> str:
    """Return in a line how `design` differs from `first` in parts and figures, what is in `stock`
    costing nothing."""
    told: list[str] = []
    for amount, unit in (
        (design.price(kit, stock) - first.price(kit, stock), "coin"),
        (design.supply - first.supply, "unit"),
    ):
        if amount:
            plural = "" if abs(amount) == 1 else "s"
            told.append(f"{abs(amount)} {unit}{plural} {'more' if amount > 0 else 'less'}")
    own, other = _counted(design), _counted(first)
    # A kit's own names are not inflected.
    more = [f"{own[n] - other[n]} x {n}" for n in own if own[n] > other.get(n, 0)]
    less = [f"{other[n] - own.get(n, 0)} x {n}" for n in other if other[n] > own.get(n, 0)]
    if more and less:
        told.append(f"{listed(more)} in place of {listed(less)}")
    elif more or less:
        told.append(f"{listed(more or less)} {'more' if more else 'less'}")
    if not told:
        return "the same parts"
    return "; ".join(told)


def _counted(design: Design) -> Mapping[str, int]:
    return Counter(
        part.part for part in design.parts if part.type not in (PartType.SUPPLY, PartType.LOAD)
    )
