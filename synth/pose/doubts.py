"""Names that are hardly meant as names: a phrase that parses, and would be taken for another.

Whatever may stand where a name is expected is one, unless some word of it tells that more was
meant. Names that a goal file declares, or that stand in quotes, are never doubted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from synth.errors import GoalError, Place
from synth.goals import Cutoff, ForTime, Goal, Is, LoadGoal, State
from synth.problem import InputKind

_HOLD_OFF = frozenset({
    "don't", "dont", "doesn't", "can't", "cannot", "won't", "mustn't", "shouldn't",
    "wouldn't", "stop", "stopped", "disable", "disabled", "block", "blocked", "blocks",
    "prevent", "prevented", "inhibit", "inhibited", "inhibits", "forbid", "forbidden", "skip",
    "avoid", "suppress", "suppressed", "halt", "shut", "shuts", "lockout", "deactivate",
    "de-energise", "de-energize", "disarm", "unplug", "shutdown",
})  # fmt: skip
"""Words that hold a load off; in a load's name they would be lost, and the opposite be built."""
_OFF = frozenset({
    "locked", "blocked", "halted", "disabled", "silent", "quiet", "muted", "silenced", "idle",
    "suspended", "cancelled", "canceled", "skipped", "dead", "rests", "resting", "sleeps",
    "sleeping", "still", "inhibited", "interrupted", "forbidden", "prevented", "deactivated",
    "unpowered", "isolated", "killed", "tripped", "shutdown", "lockout", "prohibited",
    "unavailable", "extinguished", "stationary", "de-energised", "de-energized", "disarmed",
    "pauses", "quits", "halts", "waits", "trips", "skips",
})  # fmt: skip
"""What is said behind a load that is to be off, or of one named before; at the end of a load's name
that would be lost as well."""
_SET_OFF = frozenset({
    "start", "let", "ring", "run", "sound", "operate", "switch", "turn", "i", "activate",
    "enable", "make", "want", "please", "ensure", "let's", "when", "open", "close",
})  # fmt: skip
"""Words that begin an order, where the name of a load is expected."""
_ALONE = frozenset({
    "cancel", "reset", "interlock", "hold", "trip", "mute", "override", "cut", "kill", "isolate",
    "silence", "interrupt",
})  # fmt: skip
"""Words that are no name of a load by themselves, and with others hold it off where they come
first."""
_BESIDE = frozenset({
    "come", "comes", "remain", "remains", "can", "may", "alternately", "roughly",
    "approximately", "approx", "about", "within", "with", "all", "each", "both", "either",
    "i'd",
})  # fmt: skip
"""Words that say something of a load, and are no part of its name."""
_SMALL = frozenset({
    "it", "its", "it's", "there", "longer", "yet", "still", "already", "nothing", "something",
    "anything", "others", "they", "them", "with", "too", "very", "somebody", "someone", "nobody",
})  # fmt: skip
"""Words that stand for something else, or for nothing, in the name of an input."""
_LEVERS = frozenset({
    "master", "main", "mains", "switch", "lever", "isolator", "cutoff", "cut-off", "breaker",
    "knob", "key", "kill", "toggle",
})  # fmt: skip
"""Words that tell, last in a name, a switch which stays as it is put."""
_SENSED = frozenset({
    "float", "pressure", "flow", "limit", "overload", "smoke", "rain", "level", "dry-run", "reed",
    "proximity", "door", "motion", "temperature", "humidity", "frost", "vacuum", "tilt", "end",
    "presence", "light", "twilight", "wind", "heat", "moisture", "position", "gate",
})  # fmt: skip
"""Words that tell, before 'switch', one that no hand works: a sensor."""


def in_quotes(name: str, phrase: str) -> bool:
    """Return whether a name stands in quotes in a phrase: then it is meant as one."""
    return re.search(rf"""['"‘’“”]{re.escape(name)}['"‘’“”]""", phrase, re.IGNORECASE) is not None


_OVER = frozenset({"ends", "ended", "ceases", "ceased", "finishes", "finished", "falls", "breaks"})
"""Words that tell that something is over, or begins."""


def refuse_orders(load: str, place: Place) -> None:
    """Refuse an undeclared load whose name holds an order or more: 'stop pump', 'bell remains'."""
    words = load.split(" ")
    if words[0] in ("nothing", "none", "nobody"):
        raise GoalError(
            f"'{words[0]}' is no load",
            place,
            "what switches everything off is said of its switch, as in 'master cutoff'",
        )
    if load in ("all", "both", "each", "it", "they", "them", "this", "that", "others", "rest"):
        hint = "say which, as in 'pump and fan at night'"
        raise GoalError(f"'{load}' names no load", place, hint)
    if words[-1] in _OFF:
        raise GoalError(
            f"'{words[-1]}' does not say that it is off: '{load}' would be the name of a load",
            place,
            "to hold a load off, say for example 'saw never while guard is open'; if it is a name, "
            f"declare '{load}' under 'loads'",
        )
    declare = f"if it is a name, declare '{load}' under 'loads'"
    if load in _HOLD_OFF or load in _ALONE:
        raise GoalError(
            f"'{load}' names no load",
            place,
            f"to hold a load off say for example 'pump never while dry'; {declare}",
        )
    if len(words) < 2:
        return
    for word in words:
        if word in _HOLD_OFF or (word == words[0] and word in _ALONE):
            raise GoalError(
                f"'{word}' would be taken for a part of the name '{load}'",
                place,
                f"to hold a load off say for example 'pump never while dry'; {declare}",
            )
        if word in _BESIDE or (word == words[0] and word in _SET_OFF):
            raise GoalError(
                f"'{word}' would be taken for a part of the name '{load}'",
                place,
                f"say the load, then when it is on, as in 'pump while low'; {declare}",
            )


def refuse_small_words(name: str, place: Place) -> None:
    """Refuse an undeclared input whose name holds a word such as 'it', 'no longer', 'there'."""
    last = name.split(" ")[-1]
    if last in _OVER and last != name:
        raise GoalError(
            f"'{last}' would be taken for a part of the name '{name}'",
            place,
            "say for example 'keeps running for 2 min after hot', or '2 min after not hot'; if it "
            f"is a name, declare '{name}' under 'inputs'",
        )
    for word in name.split(" "):
        if word in _SMALL:
            raise GoalError(
                f"'{word}' stands for no input"
                + (f", and would be taken for a part of the name '{name}'" if word != name else ""),
                place,
                "say the input itself, as in 'while hot', 'while not full'; if it is a name, "
                f"declare '{name}' under 'inputs'",
            )


def expect_a_lever(goal: Cutoff, declared: InputKind | None) -> None:
    """Refuse a cutoff by what is no switch: 'rain stops sprinkler' means the reverse of a cutoff,
    which lets a load run while its switch is on."""
    named = goal.loads and goal.loads[0] not in _SMALL
    covered = goal.loads[0] if named else "pump"
    if declared not in (None, InputKind.SWITCH):
        raise GoalError(
            f"'{goal.lever}' is declared as a {declared}, and a cutoff is a switch",
            goal.place,
            f"say '{covered} never while {goal.lever}'",
        )
    words = _unnumbered(goal.lever)
    if goal.cuts and declared is None and (words[-1] not in _LEVERS or _SENSED & {*words}):
        raise GoalError(
            f"it is not clear whether '{goal.lever}' stops it while on, or while off",
            goal.place,
            f"say '{covered} never while {goal.lever}'; a switch that has to be on for it to run "
            f"is said as '{goal.lever} cutoff for {covered}'",
        )


def expect_begin_or_end(item: Is, goal: Goal) -> None:
    """Refuse 'zone 2 for 10 min after zone 1', of a load: after it comes on, or goes off?"""
    if not (isinstance(goal, LoadGoal) and isinstance(goal.does, ForTime)):
        return
    alone = rf"\b(?:after|following|since) (?:the )?{re.escape(item.name)} *(?:$|[,;)]|(?:and|or|at"
    said = " ".join(goal.phrase.lower().split())
    if item.state is State.ON and re.search(alone + r"|by|only|unless|never|while)\b)", said):
        raise GoalError(
            f"it is not clear whether that is counted from when '{item.name}' comes on or goes off",
            item.place,
            f"say 'after {item.name} starts' or 'after {item.name} stops'",
        )


_DOES = frozenset({
    "idle", "working", "operating", "live", "energised", "energized", "powered", "lit", "burning",
    "ringing", "turning", "resting", "busy", "dead", "going", "heating",
})  # fmt: skip
"""What is said of a load that is on, or off, in words of which no state is made."""


def refuse_states_of_loads(name: str, loads: Iterable[str], place: Place) -> None:
    """Refuse an undeclared input that says how a load is: 'pump idle'."""
    load, _, word = name.rpartition(" ")
    if word in _DOES and load in loads:
        raise GoalError(
            f"'{name}' would be an input of its own, and says nothing of the load '{load}'",
            place,
            f"say '{load} is on' or '{load} is off'; if it is a name, declare '{name}' under "
            "'inputs'",
        )


def kind_told(name: str) -> InputKind | None:
    """Return the kind of input that an undeclared name tells by its last word, if any; numbers
    behind it are left out: 'switch 1' is a switch, 'float switch 2' a sensor."""
    *before, last = _unnumbered(name)
    if last.endswith("button"):
        return InputKind.BUTTON
    if last.endswith(("switch", "lever")):
        return InputKind.SENSOR if _SENSED & {*before} else InputKind.SWITCH
    return None


def _unnumbered(name: str) -> list[str]:
    """Return the words of a name without the numbers, or single letters, at its end."""
    words = name.split(" ")
    while len(words) > 1 and (words[-1].isdigit() or len(words[-1]) == 1):
        words.pop()
    return words
