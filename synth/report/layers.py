"""The passes of the layered drawing: columns, order within columns, heights, tracks.

They know nodes with a size and pieces of wire between them, nothing of parts. `layout` uses them.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import networkx as nx

TRACK = 10
"""Distance between vertical tracks, px."""
CLEAR = 8
"""Least distance between heights at which different wires enter a channel, px."""
LANE = 20
"""Height that a wire takes up where it passes through a column, px."""
_SMALL_ENOUGH = 400
"""Above this many parts and lanes the slower passes that only add beauty are left out."""


@dataclass
class Node:
    """A part (`index` from 0) or the lane of a wire (`index` -1) in a column."""

    column: int
    index: int = -1
    above: int = LANE // 2
    height: int = 0
    below: int = LANE // 2
    y: int = 0

    @property
    def extent(self) -> int:
        return self.above + self.height + self.below


@dataclass(frozen=True)
class End:
    """Where a piece of wire enters a channel: a node, px below its top, and at which side."""

    node: int
    offset: int
    left: bool
    """At the channel's left side, that is at the right edge of the node."""


@dataclass
class Piece:
    """A piece of a wire within one channel, from `start` to `end` as power flows."""

    wire: int
    start: End
    end: End
    track: int = 0


@dataclass
class Frame:
    """Work in progress: nodes, their order in columns, and the pieces in each channel.

    Channel c lies left of column c; the last one lies right of the last column.
    """

    nodes: list[Node]
    columns: list[list[int]]
    channels: list[list[Piece]]
    runs: list[list[tuple[int, Piece]]] = field(default_factory=list)
    """The pieces of each wire, from output to input, with their channels."""
    touching: dict[int, list[tuple[int, Piece]]] = field(default_factory=dict)

    def index(self) -> None:
        """Note which pieces touch each node, and in which channel."""
        touching: dict[int, list[tuple[int, Piece]]] = defaultdict(list)
        for channel, pieces in enumerate(self.channels):
            for piece in pieces:
                touching[piece.start.node].append((channel, piece))
                if piece.end.node != piece.start.node:
                    touching[piece.end.node].append((channel, piece))
        self.touching = dict(touching)


def columns_of(count: int, ends: Sequence[tuple[int, int]], control: Sequence[bool]) -> list[int]:
    """Return the column of each part: the longest path to it, then moved right where that
    shortens wires.

    Power wires count first, each as far as it closes no circle. Then control wires count, each as
    far as the drawing gets no wider by it: the rest run back.
    """
    graph: nx.MultiDiGraph[int] = nx.MultiDiGraph()
    graph.add_nodes_from(range(count))
    column = [0] * count
    widest = count
    for of_control in (False, True):
        for (source, target), is_control in zip(ends, control, strict=True):
            if is_control is not of_control:
                continue
            key = graph.add_edge(source, target)
            if column[source] < column[target]:
                continue  # No path gets longer by it.
            layers = _layers(graph)
            if layers is None or len(layers) > widest:
                graph.remove_edge(source, target, key)
                continue
            for i, layer in enumerate(layers):
                for node in layer:
                    column[node] = i
        widest = max(column) + 1
    for node in reversed(list(nx.topological_sort(graph))):
        if graph.out_degree(node) > graph.in_degree(node):
            column[node] = max(column[node], min(column[n] for n in graph[node]) - 1)
    return column


def _layers(graph: nx.MultiDiGraph[int]) -> list[list[int]] | None:
    """Return the nodes by the length of the longest path to them, from 0; None when paths go
    round in a circle."""
    try:
        return list(nx.topological_generations(graph))
    except nx.NetworkXUnfeasible:
        return None


# --- order within columns


def _crossings(pieces: Sequence[Piece], rank: Sequence[int]) -> int:
    """Return the least number of crossings in a channel, given the order of nodes at its sides."""
    spans = []
    for piece in pieces:
        a = (rank[piece.start.node], piece.start.offset)
        b = (rank[piece.end.node], piece.end.offset)
        sides = (piece.start.left, piece.end.left)
        if sides == (False, True):
            a, b = b, a
        spans.append((sides, a, b) if sides[0] != sides[1] else (sides, min(a, b), max(a, b)))
    total = 0
    for i, (sides, a, b) in enumerate(spans):
        for other, c, d in spans[i + 1 :]:
            if sides[0] != sides[1] and other[0] != other[1]:
                total += (a < c) != (b < d)
            elif sides[0] != sides[1]:
                total += c < (a if other[0] else b) < d
            elif other[0] != other[1]:
                total += a < (c if sides[0] else d) < b
            elif sides == other:
                total += (a < c < b) != (a < d < b)
    return total


def order_columns(frame: Frame) -> None:
    """Order each column so that few wires cross: sweeps by barycentre, then swaps."""
    nodes = frame.nodes
    rank = [0] * len(nodes)

    def note(column: int) -> None:
        for i, node in enumerate(frame.columns[column]):
            rank[node] = i

    def total() -> int:
        return sum(_crossings(pieces, rank) for pieces in frame.channels)

    def centre(node: int, channel: int) -> float:
        """The mean place of what `node` is wired to in `channel`, its own when nothing."""
        places = []
        for c, piece in frame.touching.get(node, ()):
            if c == channel:
                end = piece.end if piece.start.node == node else piece.start
                other = nodes[end.node]
                share = (end.offset + 1) / (other.height + 2)
                places.append((rank[end.node] + share) / len(frame.columns[other.column]))
        own = (rank[node] + 0.5) / len(frame.columns[nodes[node].column])
        return sum(places) / len(places) if places else own

    for column in range(len(frame.columns)):
        note(column)
    large = len(nodes) > _SMALL_ENOUGH
    best, kept = total() if not large else 0, [list(c) for c in frame.columns]
    for sweep in range(4 if large else 16):
        there = range(len(frame.columns))
        for column in there if sweep % 2 == 0 else reversed(there):
            channel = column if sweep % 2 == 0 else column + 1
            keys = {n: (centre(n, channel), rank[n]) for n in frame.columns[column]}
            frame.columns[column] = sorted(frame.columns[column], key=keys.__getitem__)
            note(column)
        if large:
            kept = [list(c) for c in frame.columns]
            continue
        now = total()
        if now < best:
            best, kept = now, [list(c) for c in frame.columns]
    frame.columns[:] = kept
    for column in range(len(frame.columns)):
        note(column)
    if not large:
        _swap(frame, rank)


def _swap(frame: Frame, rank: list[int]) -> None:
    """Swap neighbours in a column for as long as that saves crossings."""

    def around(column: int) -> int:
        return _crossings(frame.channels[column], rank) + _crossings(
            frame.channels[column + 1], rank
        )

    for _ in range(8):
        better = False
        for column, row in enumerate(frame.columns):
            now = around(column)
            for i in range(len(row) - 1):
                if not now:
                    break
                row[i], row[i + 1] = row[i + 1], row[i]
                rank[row[i]], rank[row[i + 1]] = i, i + 1
                then = around(column)
                if then < now:
                    now, better = then, True
                else:
                    row[i], row[i + 1] = row[i + 1], row[i]
                    rank[row[i]], rank[row[i + 1]] = i, i + 1
        if not better:
            return


# --- heights


def _leading(frame: Frame) -> list[Piece]:
    """Return the pieces that above all should run straight, at most one on each side of a node:
    lanes first, then the inner outputs."""
    nodes = frame.nodes
    chosen: list[Piece] = []
    for pieces in frame.channels:
        across = [p for p in pieces if p.start.left != p.end.left]
        outs: dict[int, list[int]] = defaultdict(list)
        for piece in across:
            outs[piece.start.node].append(piece.start.offset)

        def rank(piece: Piece, outs: dict[int, list[int]] = outs) -> tuple[int, int, int]:
            lanes = sum(nodes[end.node].index < 0 for end in (piece.start, piece.end))
            offsets = sorted(outs[piece.start.node])
            off_centre = abs(2 * offsets.index(piece.start.offset) - (len(offsets) - 1))
            return -lanes, off_centre, piece.end.offset

        taken: set[tuple[int, bool]] = set()
        for piece in sorted(across, key=rank):
            ends = {(piece.start.node, piece.start.left), (piece.end.node, piece.end.left)}
            if not taken & ends:
                taken |= ends
                chosen.append(piece)
    return chosen


class _Blocks:
    """Chains of nodes in one line, each moved as a whole.

    `block[n]` is the block of node n, which stands `shift[n]` px below the block's own height.
    `under` leads from each block to those that stand below it in some column.
    """

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        count = len(frame.nodes)
        self.block = list(range(count))
        self.shift = [0] * count
        self.members = {n: [n] for n in range(count)}
        self.under: nx.DiGraph[int] = nx.DiGraph()
        self.under.add_nodes_from(range(count))
        for row in frame.columns:
            self.under.add_edges_from(itertools.pairwise(row))
        for piece in _leading(frame):
            self._join(piece)
        self.order = list(nx.topological_sort(self.under))

    def _join(self, piece: Piece) -> None:
        """Put the two ends of `piece` in one line, unless some column's order forbids it: then
        one of them must stand below the other."""
        a, b = self.block[piece.start.node], self.block[piece.end.node]
        if nx.has_path(self.under, a, b) or nx.has_path(self.under, b, a):
            return
        down = (
            self.shift[piece.start.node] + piece.start.offset
            - piece.end.offset - self.shift[piece.end.node]
        )
        for n in self.members[b]:
            self.block[n] = a
            self.shift[n] += down
        self.members[a] += self.members.pop(b)
        self.under.add_edges_from([(upper, a) for upper in self.under.predecessors(b)])
        self.under.add_edges_from([(a, lower) for lower in self.under.successors(b)])
        self.under.remove_node(b)

    def below(self) -> Iterator[tuple[int, int, int]]:
        """Yield (upper block, lower block, least distance of their heights)."""
        for row in self.frame.columns:
            for u, v in itertools.pairwise(row):
                upper, lower = self.frame.nodes[u], self.frame.nodes[v]
                apart = upper.height + upper.below + lower.above
                yield self.block[u], self.block[v], apart + self.shift[u] - self.shift[v]

    def settle(self) -> None:
        """Move the blocks to where wires bend little, from the nodes' present heights."""
        nodes, block, shift = self.frame.nodes, self.block, self.shift
        order = self.order
        height = {
            b: round(sum(nodes[n].y - shift[n] for n in own) / len(own))
            for b, own in self.members.items()
        }
        above: dict[int, list[tuple[int, int]]] = {b: [] for b in order}
        under: dict[int, list[tuple[int, int]]] = {b: [] for b in order}
        for upper, lower, apart in self.below():
            above[lower].append((upper, apart))
            under[upper].append((lower, apart))
        for b in order:
            height[b] = max([height[b]] + [height[u] + apart for u, apart in above[b]])
        for n, node in enumerate(nodes):
            node.y = height[block[n]] + shift[n]
        still = 0
        for sweep in range(30):
            before = dict(height)
            for b in order if sweep % 2 else reversed(order):
                pulls = sorted(
                    (y - shift[n], weight)
                    for n in self.members[b]
                    for y, weight, far in _pulls(
                        self.frame, n, (nodes[n].column, nodes[n].column + 1)
                    )
                    if block[far] != b
                )
                wish = _median(pulls, height[b])
                most = min([height[u] - apart for u, apart in under[b]], default=wish)
                wish = min(wish, most)
                least = max([height[u] + apart for u, apart in above[b]], default=wish)
                height[b] = max(least, wish)
                for n in self.members[b]:
                    nodes[n].y = height[b] + shift[n]
            still = still + 1 if height == before else 0
            if still == 2:
                # Neither from above nor from below anything moves, nor will it.
                break


def _median(pulls: Sequence[tuple[int, int]], default: int) -> int:
    """Return the weighted median of (value, weight) in ascending order."""
    half = sum(weight for _, weight in pulls) / 2
    for value, weight in pulls:
        half -= weight
        if half <= 0:
            return value
    return default


def settle_heights(frame: Frame, margin: int) -> None:
    """Give every node a height at which few wires bend, in the order of its column; the topmost
    gets `margin` px above it."""
    nodes = frame.nodes
    for row in frame.columns:
        y = 0
        for n in row:
            nodes[n].y = y + nodes[n].above
            y += nodes[n].extent
    columns = range(len(frame.columns))
    still = 0
    for sweep in range(16):
        before = [node.y for node in nodes]
        for column in columns if sweep % 2 == 0 else reversed(columns):
            sides = (column,) if sweep % 2 == 0 else (column + 1,)
            _settle(frame, column, (column, column + 1) if sweep >= 4 else sides)
        still = still + 1 if sweep >= 4 and before == [node.y for node in nodes] else 0
        if still == 2:
            break
    if len(nodes) <= _SMALL_ENOUGH:
        _Blocks(frame).settle()
    for column in columns:
        _place(frame, column)
    top = min(node.y - node.above for node in nodes)
    for node in nodes:
        node.y += margin - top


def _pulls(frame: Frame, n: int, channels: Sequence[int]) -> list[tuple[int, int, int]]:
    """Return (height at which a wire of node `n` would run straight, weight, node at the other
    end) for each wire."""
    pulls = []
    for channel, piece in frame.touching.get(n, ()):
        if channel in channels:
            own, far = piece.start, piece.end
            if own.node != n:
                own, far = far, own
            lanes = (frame.nodes[n].index < 0) + (frame.nodes[far.node].index < 0)
            # Wires that turn round pull weakly: they cannot run straight anyway.
            weight = (2, 3, 8)[lanes] if own.left != far.left else 1
            pulls.append((frame.nodes[far.node].y + far.offset - own.offset, weight, far.node))
    return pulls


def _settle(frame: Frame, column: int, channels: Sequence[int]) -> None:
    """Move the nodes of a column to the least sum of squared bends, keeping order and distance.

    Least squares under an order: pooling of adjacent violators (Ayer et al. 1955).
    """
    blocks: list[tuple[float, float, int]] = []
    offset = 0
    offsets = []
    for n in frame.columns[column]:
        node = frame.nodes[n]
        offsets.append(offset + node.above)
        pulls = _pulls(frame, n, channels)
        weight = sum(w for _, w, _ in pulls) or 0.1
        wish = sum(y * w for y, w, _ in pulls) / weight if pulls else float(node.y)
        value, count = wish - offsets[-1], 1
        while blocks and blocks[-1][0] > value:
            above, heavy, many = blocks.pop()
            value = (above * heavy + value * weight) / (heavy + weight)
            weight += heavy
            count += many
        blocks.append((value, weight, count))
        offset += node.extent
    row = iter(zip(frame.columns[column], offsets, strict=True))
    for value, _, count in blocks:
        for _ in range(count):
            n, own = next(row)
            frame.nodes[n].y = round(value) + own


def _place(frame: Frame, column: int) -> None:
    """Make heights final: in order, apart, and no two wires entering the left channel at one
    height. Where a wire can run straight, it does."""
    entered: list[tuple[int, int]] = []
    for piece in frame.channels[column]:
        for end in (piece.start, piece.end):
            if end.left:
                entered.append((frame.nodes[end.node].y + end.offset, piece.wire))
    free_from: int | None = None
    for n in frame.columns[column]:
        node = frame.nodes[n]
        own = [
            ((piece.start if piece.start.node == n else piece.end).offset, piece.wire)
            for channel, piece in frame.touching.get(n, ())
            if channel == column
        ]
        least = node.y if free_from is None else free_from + node.above
        wish = max(node.y, least)
        straight = sorted(
            (
                (-weight, abs(y - wish), y)
                for y, weight, _ in _pulls(frame, n, (column,))
                if y >= least and abs(y - wish) <= 24
            )
        )
        node.y = next(
            y
            for y in itertools.chain((y for *_, y in straight), _outward(wish))
            if (free_from is None or y >= least)
            and all(
                abs(y + offset - other) >= CLEAR or (wire == whose and y + offset == other)
                for offset, wire in own
                for other, whose in entered
            )
        )
        free_from = node.y + node.height + node.below


def _outward(y: int) -> Iterator[int]:
    """Yield heights ever farther from `y`, below and above in turn."""
    yield y
    for step in itertools.count(2, 2):
        yield y + step
        yield y - step


# --- tracks


def assign_tracks(frame: Frame, pieces: Sequence[Piece]) -> list[Piece]:
    """Give each piece with an upright part a track; return them.

    Which of two pieces should lie left is decided by the crossings it saves, all together by
    the greedy order of Eades, Lin and Smyth (1993). Pieces that do not meet share a track.
    """

    def height(end: End) -> int:
        return frame.nodes[end.node].y + end.offset

    bent = [p for p in pieces if height(p.start) != height(p.end)]
    spans = [
        (min(height(p.start), height(p.end)), max(height(p.start), height(p.end))) for p in bent
    ]

    def met(left: int, right: int) -> int:
        """Crossings of two pieces when `left` lies left of `right`."""
        count = 0
        for upright, level, side in ((left, right, True), (right, left, False)):
            low, high = spans[upright]
            for end in (bent[level].start, bent[level].end):
                count += end.left is side and low < height(end) < high
        return count

    size = len(bent)
    saves = [[0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1, size):
            if spans[i][0] <= spans[j][1] and spans[j][0] <= spans[i][1]:
                saves[i][j] = met(j, i) - met(i, j)
                saves[j][i] = -saves[i][j]
    left_over = list(range(size))
    order = []
    scores = [sum(row) for row in saves]
    while left_over:
        best = max(left_over, key=lambda i: (scores[i], -spans[i][0], -i))
        left_over.remove(best)
        order.append(best)
        for i in left_over:
            scores[i] -= saves[i][best]
    for at, i in enumerate(order):
        bent[i].track = 1 + max(
            (
                bent[j].track
                for j in order[:at]
                if spans[j][0] - CLEAR < spans[i][1] and spans[i][0] - CLEAR < spans[j][1]
            ),
            default=-1,
        )
    return bent


