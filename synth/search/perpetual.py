"""What goes on for ever: bounds on the parts of circuits that keep changing while no input does.

Let the inputs stay as they are from some instant T on. All that happens later is the expiry of a
running time, and what follows one. (For *class* and *step* see `synth.search.pending`: the start
and the expiry of a timer have the same class, so of each class in which loads go on changing some
timer runs at every moment, and is started at an instant of that class.)

**Something must close.** At an expiry a timer's contact opens. Of all parts but those of CLOSING
the contacts only open when what feeds them and their control inputs goes dead, and edges are only
seen where something rises. So without a part of CLOSING nothing ever goes live after T: no load
goes on, and no timer starts again.

**As many timers as classes.** Let there be n classes in each of which loads change for ever, and
just n parts with a running time. All of them run at every moment, each in a class of its own; at
its expiry a part is started anew at once, for the sake of its class, and so it never leaves it. A
part with one setting t then expires every t ticks for ever: t divides all intervals between
changes of loads in its class, and between settled states at a distance that is a multiple of all
these t it runs as it did. A part with two settings (a recycler) may be made to begin with its
first phase at any expiry, so its course is not known; but at a change of a load of its own class
it has just begun one of two phases, and at any other moment it runs in one of two, with at most
the longest interval between two changes of loads left, in steps. What else tells two states apart
are the positions of the relays. The loads of all classes together have period L, and at instants
that are D apart, with D a multiple of all those t, and of the period of one load, so that the
recycler of its class is known at them but for its phase, there are L / gcd(L, D) different
futures: at least so many states are needed.

**One closing part for two classes.** Let the controlled parts be pulse timers and one part N that
closes: a break relay, or a bistable relay where reset wins (where set wins none ever closes at an
expiry), with "coil" for its reset. Let loads of two classes change for ever.

1. Before N closes nothing rises, so timers start only when N does, which is when its coil goes
   dead. The coil is live again at the end of that instant, or nothing would ever rise again. So N
   is open at all settled instants, and no live path to the coil leads through it.
2. Let t and u be instants that follow each other at which timers start, of classes a and b. Each
   live path to the coil between them holds a timer started at t (none was live before these
   started) and one that expires at u (else the coil would not go dead).
3. Let P be such a path and X the last on it that started at t. None that expires at u is on P
   behind X: if Y were, it ran through t, fed by a path that held nothing started at t, nor N; it
   and the rest of P behind Y would be a live path that holds nothing started at t.
4. So at u, X loses power: else what feeds it and the rest of P would be live still. It forgets its
   time. At each change from one class to the other, a timer of the first is lost, behind (on the
   way of power) one of the second that expires.
5. *Without joints* the coil has one path. When timers start, the foremost on it that expired and
   all behind it, which lost power, start in the class of that instant. What expires at a change
   of class is further to the front than all timers of the last class, so the front moves on at
   every change of class and never back; a path has an end.
6. *With three timers and joints*: let (e, k, s) be what expires, is lost, and goes on in the
   other class at a change of class. At the next s expires, and k' and s' are e and k in some
   order. Power is acyclic and k is behind e. k' = k and s' = e is left out: s and e go on through
   the expiry of each other by paths of their own, and both are on every live path, since between
   both changes the same contacts are closed; the way around one and the rest of the path would
   hold just one of them. k' = e and s' = k: e is behind s, and next k expires with e or s lost
   behind it: both ways power runs in a circle. With two timers the class of what is lost is left
   without any.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import permutations
from math import comb, gcd, lcm

from synth.parts.behaviour import CONTROLLED, TIMED, PartType
from synth.parts.kit import KitPart
from synth.ticks import format_duration

CLOSING = frozenset(
    {
        PartType.RELAY_BREAK,
        PartType.RELAY_CHANGEOVER,
        PartType.BISTABLE,
        PartType.ON_DELAY,
        PartType.RECYCLER,
    }
)
"""Parts of which a contact may close while what they are fed with goes dead or stays as it is: a
bistable relay when its reset goes dead and its set does not."""
TWO_STATES = frozenset(
    {PartType.RELAY_MAKE, PartType.RELAY_CHANGEOVER, PartType.BISTABLE, PartType.IMPULSE}
)

MOST_STEPS = 1_000_000
"""Sums of settings are looked at up to so many steps."""
MOST_CLASSES = 5
"""Up to so many classes, all ways to give each a timer are gone through."""


@dataclass(frozen=True)
class Repeating:
    """A load that alternates for ever, once the inputs stay as they are, in ticks."""

    load: str
    on: int
    off: int
    first: int
    """An instant at which it goes on."""

    @property
    def period(self) -> int:
        """How often the pulse comes."""
        return self.on + self.off


@dataclass(frozen=True)
class Perpetual:
    """What goes on for ever after some run of the inputs: the repeating loads of each class.

    `step` divides all settings. `closing` names a load that goes on at an instant at which no
    input changes ("" if none is known). `forced` are settings that some timer must have each.
    `others`: so many further classes there are, since some input changed then; None unless the
    inputs that start the classes may as well change any number of steps apart.
    """

    classes: tuple[tuple[Repeating, ...], ...] = ()
    step: int = 1
    closing: str = ""
    forced: tuple[int, ...] = ()
    others: int | None = None

    @property
    def loads(self) -> list[str]:
        """The loads that repeat for ever."""
        return sorted(item.load for items in self.classes for item in items)


def positions(parts: Sequence[KitPart], joints: bool = True) -> int:
    """Return an upper bound on the settled positions of all relays among `parts` while all else
    (inputs, running times) is the same. `joints`: there may be more joints than are among them.

    Proof: let the contacts of all parts but make and break relays be as they are, a choice of 2
    for each change-over, bistable and impulse relay.

    1. Let the make relays be as they are, too. The coil of a break relay goes dead or stays as it
       is when further ones operate. So of two settled states neither operates all that the other
       does and more: an antichain of b things, of at most C(b, b/2) members (Sperner 1928).
    2. Or let the outputs of the joints be as they are. Each terminal has one way back, up to the
       supply or the first joint on it, and is live if this is and all contacts on it are closed.
       Make relays of which each has a contact of the next on the way of its coil, in a circle,
       never operate, in whatever order they move: each waits for the next, and at power-up none
       is operated. The others depend on the break relays alone. Then the coil of each break relay
       is live unless some of certain break relays operate, or is dead anyway. Draw a line
       between two relays of which one keeps the other from operating: those that operate have no
       lines between them, and any other that could has a line to one of them. Of such sets there
       are at most 3^(b/3), and 4, or 2, in place of 4/3 of 3, or 2/3 (Moon and Moser 1965).
    """
    breaks = sum(part.type is PartType.RELAY_BREAK for part in parts)
    makes = sum(part.type is PartType.RELAY_MAKE for part in parts)
    others = sum(part.type in TWO_STATES for part in parts) - makes
    enough = comb(breaks, breaks // 2) << makes
    if not joints:
        joined = sum(part.type is PartType.JOINT for part in parts)
        enough = min(enough, most_independent(breaks) << joined)
    return enough << others


def most_independent(count: int) -> int:
    """Return the most maximal independent sets of a graph of so many vertices (Moon and Moser
    1965, from memory)."""
    threes, rest = divmod(count, 3)
    if rest == 1 and threes:
        threes, rest = threes - 1, 4
    return int(3**threes) * max(1, rest)


def forced_settings(waits: Collection[int], times: Collection[int]) -> tuple[int, ...]:
    """Return those of the settings `times` without which some of the times `waits` cannot be had.

    Proof: a change of a load that comes after the first instant of a class is the expiry of a
    timer of that class, started at the expiry of another one of the class or at its first
    instant: the time between the two is a sum of settings in use.
    """
    return tuple(t for t in sorted(times) if not _sums(waits, [x for x in times if x != t]))


def _sums(waits: Collection[int], times: Sequence[int]) -> bool:
    """Return whether each of `waits` is a sum of members of `times`, each as often as needed."""
    if not waits or not times:
        return not waits
    step = gcd(*waits, *times)
    # Bit n of `reached`: n steps are a sum. Adding t again and again is doubling the shift.
    longest = max(waits) // step
    if longest > MOST_STEPS:
        return True  # nothing is said
    reached = 1
    for shift in {t // step for t in times if t <= max(waits)}:
        while shift <= longest:
            reached |= (reached << shift) & ((2 << longest) - 1)
            shift *= 2
    return all(reached >> (wait // step) & 1 for wait in waits)


def cannot_go_on(
    parts: Sequence[KitPart], perpetual: Perpetual, times: Sequence[int], joints: bool
) -> str:
    """Return why circuits of just `parts` cannot do what goes on for ever, "" if that is not
    known. `times`: the settings on offer, in ticks. `joints`: there may be more joints."""
    if perpetual.closing and not any(part.type in CLOSING for part in parts):
        return f"nothing can make '{perpetual.closing}' go on while no input changes"
    timed = [part for part in parts if part.type in TIMED]
    settings = sum(2 if part.type is PartType.RECYCLER else 1 for part in timed)
    if settings < len(perpetual.forced):
        told = ", ".join(format_duration(t) for t in perpetual.forced)
        number = "one timer" if settings == 1 else f"{settings or 'no'} timers"
        return f"{number} cannot be set to all of {told}"
    if _one_closing_part(parts, joints) and len(perpetual.classes) > 1:
        return (
            f"one part that closes, and {len(timed)} x pulse timer, cannot start timers again for "
            + " and for ".join(f"'{group[0].load}'" for group in perpetual.classes)
        )
    if not 0 < len(timed) == len(perpetual.classes) <= MOST_CLASSES:
        return ""
    enough = positions(parts, joints)
    for owners in dict.fromkeys(permutations(timed)):
        if _least_states(owners, perpetual, times) <= enough:
            return ""
    return (
        f"{len(timed)} timer{'s' if len(timed) > 1 else ''} and relays with {enough} "
        f"position{'s' if enough > 1 else ''} in all cannot tell apart what follows when, for "
        + ", ".join(f"'{load}'" for load in perpetual.loads)
    )


def _one_closing_part(parts: Sequence[KitPart], joints: bool) -> bool:
    """Return whether one part that closes would have to serve, by turns, two classes of pulse
    timers, which it cannot; see the module's text."""
    controlled = [part.type for part in parts if part.type in CONTROLLED]
    closing = [kind for kind in controlled if kind in CLOSING]
    if len(closing) != 1 or closing[0] not in (PartType.RELAY_BREAK, PartType.BISTABLE):
        return False
    timers = controlled.count(PartType.PULSE)
    joints = joints or any(part.type is PartType.JOINT for part in parts)
    return timers == len(controlled) - 1 and (timers <= 3 or not joints)


def _least_states(owners: Sequence[KitPart], perpetual: Perpetual, times: Sequence[int]) -> float:
    """Return how many positions of relays are needed if each class has the part of its place:
    infinitely many where that part cannot do it at all."""
    items = [item for group in perpetual.classes for item in group]
    period = lcm(*(item.period for item in items))
    least = float("inf")
    recyclers = [i for i, part in enumerate(owners) if part.type is PartType.RECYCLER]
    for distance in _distances(owners, perpetual, times):
        if not recyclers:
            least = min(least, period // gcd(period, distance))
            continue
        most = 0
        for known in recyclers:
            states = 2
            for other in recyclers:
                if other != known:
                    # Some load of the class changes at least so often.
                    longest = min(max(item.on, item.off) for item in perpetual.classes[other])
                    states *= 2 * max(1, longest // perpetual.step)
            for item in perpetual.classes[known]:
                apart = lcm(distance, item.period)
                most = max(most, -(-period // (gcd(period, apart) * states)))
        least = min(least, most)
    return least


def _distances(
    owners: Sequence[KitPart], perpetual: Perpetual, times: Sequence[int]
) -> Iterator[int]:
    """Yield, for each choice of settings of the parts with one, a distance over which they all
    come to run as before."""
    found = {1}
    for part, group in zip(owners, perpetual.classes, strict=True):
        if part.type is PartType.RECYCLER:
            continue
        common = 0
        for item in group:
            common = gcd(common, item.on, item.off, item.first - group[0].first)
        allowed = [t for t in times if common % t == 0 and part.times and t in part.times]
        found = {lcm(before, t) for before in found for t in allowed}
    yield from sorted(found)
