"""Goals to a problem: the exact meaning of each pattern, and what is refused."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signal_runs import run

from synth.errors import GoalError
from synth.parts.kit import Kit, Times
from synth.pose import pose
from synth.pose.canonical import both, either, inverse
from synth.pose.settings import _in_a_row
from synth.problem import Apart, InputKind, Objective, Peak, Problem
from synth.read.goal_file import goals_from_text, parse_goal_file
from synth.read.kit_file import load_kit, parse_kit
from synth.signals import (
    OFF,
    ON,
    And,
    Cycle,
    Latch,
    Level,
    Not,
    OffDelay,
    OnDelay,
    Or,
    Pulse,
    Recently,
    Signal,
    SignalMachine,
    Toggle,
)

FULL = load_kit("full")
SUPPLY, NIGHT, HOT, COLD = Level("supply"), Level("night"), Level("hot"), Level("cold")
MASTER = Level("master")
S, MIN = 1000, 60_000


def posed(text: str, kit: Kit = FULL) -> Problem:
    return pose(goals_from_text(text), kit)


def signal(text: str, load: str = "x") -> Signal:
    return next(r.signal for r in posed(text).requirements if r.load == load)


def ran(text: str, until: int = 10_000, **inputs: str) -> dict[str, str]:
    """Return the edges of all loads, in seconds; input edges are in seconds too."""
    signals = [(r.load, r.signal) for r in posed(text).requirements]
    inputs.setdefault("supply", "+0")
    scaled = {
        name.replace("_", " "): " ".join(f"{w[0]}{int(w[1:]) * S}" for w in text.split())
        for name, text in inputs.items()
    }
    found = run(signals, scaled, until * S)
    return {
        load: " ".join(f"{w[0]}{int(w[1:]) / S:g}" for w in text.split())
        for load, text in found.items()
    }


class TestMeaning:
    """The signal of each pattern, exactly."""

    @pytest.mark.parametrize(
        ("text", "expected"),
        [
            ("x always", SUPPLY),
            ("x at night", And((SUPPLY, NIGHT))),
            ("x by day", And((SUPPLY, Not(NIGHT)))),
            ("x at night and cold", And((SUPPLY, COLD, NIGHT))),
            ("x while hot, only at night", And((SUPPLY, HOT, NIGHT))),
            ("x while hot unless cold", And((SUPPLY, HOT, Not(COLD)))),
            ("x while hot never while cold", And((SUPPLY, HOT, Not(COLD)))),
            ("x 10 s of every 60 s", Cycle(SUPPLY, 10 * S, 50 * S)),
            ("x 50 s off, 10 s on", Cycle(SUPPLY, 10 * S, 50 * S, pulse_first=False)),
            (
                "x 10 s of every 60 s, master cutoff for x",
                Cycle(And((SUPPLY, MASTER)), 10 * S, 50 * S),
            ),
            (
                "x 10 s of every 60 s only while hot",
                Cycle(And((SUPPLY, HOT)), 10 * S, 50 * S),
            ),
            (
                "x 10 s of every 60 s only while hot, finish the pulse, master cutoff",
                Cycle(HOT, 10 * S, 50 * S, finish=True, enable=And((SUPPLY, MASTER))),
            ),
            ("x for 30 s after go is pressed", Pulse(Level("go"), 30 * S, enable=SUPPLY)),
            (
                "x for 30 s after go is pressed, press again extends",
                Pulse(Level("go"), 30 * S, True, SUPPLY),
            ),
            ("x from dusk for 2 h", Pulse(NIGHT, 120 * MIN, enable=SUPPLY)),
            ("x from dawn for 2 h", Pulse(Not(NIGHT), 120 * MIN, enable=SUPPLY)),
            ("x 5 s after hot", OnDelay(HOT, 5 * S, SUPPLY)),
            ("x while hot and for 5 s after", OffDelay(HOT, 5 * S, SUPPLY)),
            (
                "x started by go and stopped by halt",
                Latch(Level("go"), Level("halt"), False, SUPPLY),
            ),
            (
                "x started by go and stopped by halt, start wins",
                Latch(Level("go"), Level("halt"), True, SUPPLY),
            ),
            (
                "x started by go and stopped by halt, keeps its state through a power cut",
                And(
                    (SUPPLY, Latch(And((SUPPLY, Level("go"))), And((SUPPLY, Level("halt")))))
                ),
            ),
            (
                "x fills between low and high",
                Latch(Not(Level("low")), Level("high"), False, SUPPLY),
            ),
            (
                "x empties between low and high",
                Latch(Level("high"), Not(Level("low")), False, SUPPLY),
            ),
            ("x toggled by go", Toggle(Level("go"), SUPPLY)),
            (
                "x while hot, once started at least 5 min",
                Or((And((SUPPLY, HOT)), Pulse(And((SUPPLY, HOT)), 5 * MIN, enable=SUPPLY))),
            ),
            ("x while door is open", And((SUPPLY, Level("door")))),
            ("x while door is closed", And((SUPPLY, Not(Level("door"))))),
            ("x while s switch is closed", And((SUPPLY, Level("s switch")))),
            ("x while s switch is open", And((SUPPLY, Not(Level("s switch"))))),
            ("x shows y on, y while hot", And((SUPPLY, HOT))),
            ("x shows y off, y while hot", And((SUPPLY, Not(HOT)))),
        ],
    )
    def test_signal(self, text: str, expected: Signal) -> None:
        assert signal(text) == expected

    def test_never_together(self) -> None:
        problem = posed("a while hot, b while cold, a and b never together")
        assert problem.apart == (Apart("a", "b", 3),)
        assert [(r.load, r.goals) for r in problem.requirements] == [("a", (1, 3)), ("b", (2, 3))]
        assert problem.requirements[1].signal == And((SUPPLY, COLD, Not(HOT)))

    def test_the_other_goes_first(self) -> None:
        problem = posed("a while hot, b while cold, a and b never together, b goes first")
        assert problem.apart == (Apart("b", "a", 3),)
        assert [r.load for r in problem.requirements] == ["b", "a"]

    def test_gap(self) -> None:
        found = {r.load: r.signal for r in posed(
            "a while hot, b while cold, leave 2 s between a and b"
        ).requirements}  # fmt: skip
        assert found["a"] == And((SUPPLY, HOT, Not(Recently("b", 2 * S, SUPPLY))))
        blocked = Not(Recently("a", 2 * S, SUPPLY))
        assert isinstance(found["b"], And)
        assert {COLD, blocked} <= set(found["b"].of)

    def test_a_gap_outlasts_a_cutoff_of_one_but_not_of_both(self) -> None:
        text = "a while hot, b while cold, leave 2 s between a and b, m cutoff"
        assert Recently("b", 2 * S, And((SUPPLY, Level("m")))) in SignalMachine(
            tuple((r.load, r.signal) for r in posed(text).requirements)
        ).order
        assert Recently("b", 2 * S, SUPPLY) in SignalMachine(
            tuple((r.load, r.signal) for r in posed(text + " for a").requirements)
        ).order

    def test_peak(self) -> None:
        problem = posed("a always, never more than 6 units, never more than 4 units")
        assert problem.peak == Peak(4, 3)

    def test_equal_wishes_are_equal_signals(self) -> None:
        problem = posed(
            "a while hot and (cold or dry), b while (dry or cold) and hot, "
            "c while hot only while cold or dry"
        )
        assert len({r.signal for r in problem.requirements}) == 1

    def test_master_covers_every_load(self) -> None:
        problem = posed("a always, b at night, master cutoff")
        assert [r.signal for r in problem.requirements] == [
            And((SUPPLY, MASTER)),
            And((SUPPLY, MASTER, NIGHT)),
        ]
        assert all(3 in r.goals for r in problem.requirements)


class TestOverTime:
    """What the signals do on a trace, in seconds (the meanings in words, from memory)."""

    def test_main_example(self) -> None:
        found = ran(
            "pump on 10 s of every 60 s, light always, heater at night, master cutoff for pump",
            130,
            master="+0 -5 +20",
            night="+30 -90",
        )
        assert found == {
            "pump": "+0 -5 +20 -30 +80 -90",
            "light": "+0",
            "heater": "+30 -90",
        }

    def test_gap_first_come(self) -> None:
        text = "a while hot, b while cold, leave 2 s between a and b"
        assert ran(text, 60, hot="+5 -20", cold="+0 -10") == {"a": "+12 -20", "b": "+0 -10"}
        assert ran(text, 60, hot="+0 -10", cold="+5") == {"a": "+0 -10", "b": "+12"}

    def test_gap_tie(self) -> None:
        text = "a while hot, b while cold, leave 2 s between a and b"
        assert ran(text, 60, hot="+0 -10", cold="+0") == {"a": "+0 -10", "b": "+12"}
        # Both fall, and both are wanted again as the gap ends.
        assert ran(text, 60, hot="+0 -10 +12 -20", cold="+0") == {"a": "+0 -10 +12 -20", "b": "+22"}

    def test_shortest_run(self) -> None:
        text = "x while hot, once started at least 10 s, never while dry"
        assert ran(text, 99, hot="+0 -3 +20 -35")["x"] == "+0 -10 +20 -35"
        assert ran(text, 99, hot="+0 -3", dry="+5 -6")["x"] == "+0 -5"
        assert ran(text, 99, hot="+0 -3 +5 -12")["x"] == "+0 -12"

    def test_fill(self) -> None:
        found = ran("x fills between low and high", 99, low="+5 -30 +35", high="+10 -20 +40")
        assert found["x"] == "+0 -10 +30 -40"

    def test_empty(self) -> None:
        found = ran("x empties between low and high", 99, low="+5 -30", high="+10 -20")
        assert found["x"] == "+10 -30"

    def test_power_cut(self) -> None:
        plain = "x started by go and stopped by halt"
        keeps = plain + ", keeps its state through a power cut"
        inputs = {"go": "+1 -2", "halt": "+30 -31", "supply": "+0 -10 +20"}
        assert ran(plain, 99, **inputs)["x"] == "+1 -10"
        assert ran(keeps, 99, **inputs)["x"] == "+1 -10 +20 -30"

    def test_two_places(self) -> None:
        assert ran("x switched from a and b", 99, a="+1 -5", b="+3 -9")["x"] == "+1 -3 +5 -9"

    def test_never_together_starts_over_when_free(self) -> None:
        text = "a while hot, b 10 s of every 60 s, a and b never together"
        assert ran(text, 50, hot="+5 -20") == {"a": "+5 -20", "b": "+0 -5 +20 -30"}

    def test_from_dusk(self) -> None:
        assert ran("x from dusk for 20 s", 99, night="+10 -80")["x"] == "+10 -30"


LEVELS = st.sampled_from("abc").map(Level)
EXPRESSIONS = st.recursive(
    LEVELS,
    lambda inner: st.one_of(
        inner.map(lambda s: ("not", s)), st.lists(inner, min_size=1, max_size=3).map(
            lambda s: ("and", *s)), st.lists(inner, min_size=1, max_size=3).map(
            lambda s: ("or", *s))),
    max_leaves=10,
)  # fmt: skip


def canonical(tree: object, reverse: bool = False) -> Signal:
    if isinstance(tree, Level):
        return tree
    assert isinstance(tree, tuple)
    pieces = [canonical(piece, reverse) for piece in tree[1:]]
    if reverse:
        pieces.reverse()
    match tree[0]:
        case "not":
            return inverse(pieces[0])
        case "and":
            return both(*pieces)
    return either(*pieces)


def truth(tree: object, levels: dict[str, bool]) -> bool:
    match tree:
        case Level(name):
            return levels[name]
        case ("not", piece):
            return not truth(piece, levels)
        case ("and", *pieces):
            return all(truth(piece, levels) for piece in pieces)
        case ("or", *pieces):
            return any(truth(piece, levels) for piece in pieces)
    raise AssertionError(tree)


class TestCanonical:
    @settings(max_examples=200, deadline=None)
    @given(EXPRESSIONS)
    def test_keeps_the_value(self, tree: object) -> None:
        machine = SignalMachine((("x", canonical(tree)),))
        for bits in product((False, True), repeat=3):
            levels = dict(zip("abc", bits, strict=True))
            assert machine.react(machine.start, levels)[1]["x"] == truth(tree, levels)

    @settings(max_examples=200, deadline=None)
    @given(EXPRESSIONS)
    def test_order_does_not_matter(self, tree: object) -> None:
        assert canonical(tree) == canonical(tree, reverse=True)

    def test_folds(self) -> None:
        assert both(HOT, inverse(HOT)) == OFF
        assert either(HOT, inverse(HOT)) == ON
        assert both(HOT, either(HOT, COLD)) == HOT
        assert either(HOT, both(HOT, COLD)) == HOT
        assert both(SUPPLY, Pulse(HOT, 5, enable=SUPPLY)) == Pulse(HOT, 5, enable=SUPPLY)


class TestInputs:
    def test_kinds(self) -> None:
        problem = posed(
            "a while hot, b for 3 s after bell is pressed, c toggled by knob, d switched from u "
            "and v, e started by go and stopped by halt, f fills between low and high, "
            "g while lamp button, h at night, master cutoff"
        )
        assert {item.name: item.kind for item in problem.inputs} == {
            "supply": InputKind.SUPPLY,
            "night": InputKind.NIGHT,
            "hot": InputKind.SENSOR,
            "bell": InputKind.BUTTON,
            "knob": InputKind.BUTTON,
            "u": InputKind.SWITCH,
            "v": InputKind.SWITCH,
            "go": InputKind.BUTTON,
            "halt": InputKind.BUTTON,
            "low": InputKind.SENSOR,
            "high": InputKind.SENSOR,
            "lamp button": InputKind.BUTTON,
            "master": InputKind.SWITCH,
        }
        assert [item.name for item in problem.inputs[:2]] == ["supply", "night"]

    def test_no_night_unless_asked(self) -> None:
        assert [item.name for item in posed("x always").inputs] == ["supply"]

    def test_facts(self) -> None:
        goals = parse_goal_file(
            "goals: [x at night and while hot, y for 3 s after go is pressed, z while wet]\n"
            "known: [night lasts at least 4 h, day lasts between 3 h and 9 h, go lasts at most 2 s,"
            " supply never fails, hot and wet never together, night lasts at least 5 h]",
            "x",
        )
        problem = pose(goals, FULL)
        night, go = problem.input("night"), problem.input("go")
        assert (night.least_on, night.most_on) == (300 * MIN, None)
        assert (night.least_off, night.most_off) == (180 * MIN, 540 * MIN)
        assert (go.least_on, go.most_on) == (None, 2 * S)
        assert problem.input("supply").steady is True
        assert problem.never_together == (("hot", "wet"),)


class TestProblem:
    def test_goals_needs_and_objectives(self) -> None:
        goals = parse_goal_file(
            "loads: {b: 3}\ngoals: [a always, b at night]\nminimise: power\n"
            "limits: {most: {Relay Make: 2}, without: [divider], supply: 9, price: 7}",
            "x",
        )
        problem = pose(goals, FULL)
        assert [(g.number, g.phrase) for g in problem.goals] == [(1, "a always"), (2, "b at night")]
        assert {r.load: r.needs for r in problem.requirements} == {"a": 1, "b": 3}
        assert problem.objectives[0] is Objective.SUPPLY
        assert problem.limits.most == (("relay make", 2), ("divider", 0))
        assert (problem.limits.supply, problem.limits.price) == (9, 7)

    def test_times(self) -> None:
        assert posed("x 10 s of every 60 s").times == (10 * S, 40 * S, 50 * S, 60 * S)
        assert posed("x 10 s on, 10 s off").times == (10 * S, 20 * S)
        assert posed("x 5 s after hot, y for 30 s after go is pressed").times == (5 * S, 30 * S)
        assert posed("x always").times == ()

    def test_a_time_beyond_every_timer_is_offered_in_equal_parts(self) -> None:
        kit = parse_kit(WITH_SENSOR, "slow.yaml")  # its timers take 1 min to 10 min, in minutes
        assert posed("x 25 min after hot", kit).times == (8 * MIN, 9 * MIN)  # 8 + 8 + 9
        assert posed("x 30 min after hot", kit).times == (10 * MIN,)
        # The cycle of 11 min is longer than a timer takes, its pause of 10 min is not.
        assert posed("x 1 min of every 11 min", kit).times == (
            1 * MIN, 5 * MIN, 6 * MIN, 9 * MIN, 10 * MIN,
        )  # fmt: skip

    def test_a_time_between_the_settings_is_offered_in_parts(self) -> None:
        odd = WITH_SENSOR.replace("10 min, step: 1 min", "9 min, step: 2 min")
        assert posed("x 4 min after hot", parse_kit(odd, "odd.yaml")).times == (
            1 * MIN, 3 * MIN,
        )  # fmt: skip

    def test_what_is_left_of_a_time_after_that_of_another_load_is_offered(self) -> None:
        kit = parse_kit(WITH_SENSOR, "slow.yaml")
        times = posed("x 12 min after hot, y 5 min after hot", kit).times
        assert times == (5 * MIN, 6 * MIN, 7 * MIN)  # 6 + 6, or 5 and then 7
        assert posed("x 8 min after hot, y 5 min after hot", kit).times == (5 * MIN, 8 * MIN)
        # And what is left may itself be more than a timer takes.
        times = posed("x 29 min after hot, y 5 min after hot", kit).times
        assert times == (5 * MIN, 8 * MIN, 9 * MIN, 10 * MIN)  # 9 + 10 + 10, 5 + 8 + 8 + 8

    def test_a_timer_that_is_asked_for_has_a_time(self) -> None:
        goals = "goals: [x while hot]\nlimits: {least: {pulse timer: 1}}"
        assert pose(parse_goal_file(goals, "x"), FULL).times == (1 * S,)
        goals = goals.replace("while hot", "20 s after hot")
        assert pose(parse_goal_file(goals, "x"), FULL).times == (20 * S,)

    def test_timers_that_the_limits_rule_out_do_not_count(self) -> None:
        text = WITH_SENSOR.replace("10 min", "90 min", 1)
        goals = "goals: [x 30 min after hot]\nlimits: {without: [pulse timer]}"
        both = pose(parse_goal_file(goals, "x"), parse_kit(text, "slow.yaml"))
        assert both.times == (10 * MIN, 30 * MIN)
        assert "goals of 'x' name 30 min" in both.assumptions[-1]
        alone = pose(parse_goal_file(goals.split("\n")[0], "x"), parse_kit(text, "slow.yaml"))
        assert alone.times == (10 * MIN, 30 * MIN)  # three of the timers that take less may do
        assert "name 30 min" not in alone.assumptions[-1]

    @pytest.mark.parametrize("text", ["x 10 s of every 60 s", "x 90 s after hot"])
    def test_a_time_between_the_settings_is_no_bad_input(self, text: str) -> None:
        problem = posed(text, parse_kit(WITH_SENSOR, "slow.yaml"))
        assert problem.times == ((60 * S,) if "60 s" in text else ())
        told = "(they take 60 s to 10 min in steps of 60 s)"
        assert told in problem.assumptions[-1]

    @settings(max_examples=300, deadline=None, derandomize=True)
    @given(*(st.integers(1, top) for top in (400, 20, 9)), st.integers(0, 8))
    def test_so_few_in_a_row_as_can_be(self, time: int, least: int, step: int, more: int) -> None:
        """Against all sums of settings, a timer more at a time, as they come."""
        times = Times(least, least + more * step, step)
        every = range(times.least, times.most + 1, times.step)
        sums, number = {0}, 0
        while sums and time not in sums:
            sums = {a + b for a in sums for b in every if a + b <= time}
            number += 1
        found = _in_a_row(time, times)
        if not sums:
            assert found == ()
            return
        assert all(setting in times for setting in found)
        short, long = found[0], found[-1]
        assert long - short == (len(found) - 1) * step
        assert any(number * short + longer * (long - short) == time for longer in range(number))

    def test_same_input_same_problem(self) -> None:
        text = "a while hot or cold, b 5 s after hot, master cutoff"
        assert repr(posed(text)) == repr(posed(text))

    def test_assumptions(self) -> None:
        lines = posed(
            "pump on 10 s of every 60 s only while hot, lamp for 30 s after go is pressed, "
            "fan toggled by knob, up while u, down while d, up and down never together, "
            "leave 2 s between up and down, master cutoff for pump"
        ).assumptions
        text = "\n".join(lines)
        for part in (
            "the kit is 'starter'",
            "'pump' needs 1 unit",
            "'go' is a push-button, named in goal 2",
            "'master' is a switch, named in goal 8",
            "goal 1: the pulse comes first; say 'starting with the pause'",
            "goal 1: a running pulse is cut at once",
            "goal 2: a new start within the 30 s is ignored; say 'pressing again extends'",
            "goal 3: off after a power cut; say 'keeps its state through a power cut'",
            "goal 6: 'up' goes first",
            "goal 7: who comes first runs",
            "goal 8: 'pump' may run while 'master' is on",
            "after a power cut every goal starts afresh",
            "nothing is known of 'supply'",
        ):
            assert part in text
        assert len(lines) == len(set(lines))

    def test_choices_silence_assumptions(self) -> None:
        said = posed("pump on 10 s of every 60 s only while hot, pulse first, cut at once")
        assert not any("pulse" in line for line in said.assumptions)

    def test_the_words_to_say_otherwise_are_understood(self) -> None:
        """Each phrase that an assumption offers parses where it is offered."""
        for text in (
            "x 10 s of every 60 s, starting with the pause",
            "x 10 s of every 60 s while hot, finish the pulse",
            "x for 30 s after go is pressed, pressing again extends",
            "x started by go and stopped by halt, start wins",
            "x toggled by go, keeps its state through a power cut",
        ):
            posed(text)


SLOW_KIT = """\
kit: slow
parts:
  supply: {type: supply}
  pulse timer: {type: pulse-timer, price: 8, time: {least: 1 min, most: 10 min, step: 1 min}}
  second timer: {type: on-delay-timer, price: 8, time: {least: 1 min, most: 10 min, step: 1 min}}
  load: {type: load}
"""
WITH_SENSOR = SLOW_KIT + "  sensor: {type: sensor, price: 4, contact: [make]}\n"

REFUSED = [
    # goals, part of the message, part of the hint, column
    ("x always, x at night", "goals 1 and 2 both say when 'x' is on", "'or'", 11),
    ("x only at night", "no goal says when 'x' is on", "'x always'", 1),
    ("x never while hot, y always", "no goal says when 'x' is on", "", 1),
    ("pump always, master cutoff for pmp", "'pmp' is not among the loads", "'pump'", 14),
    ("x always, x and y never together", "'y' is not among the loads", "", 11),
    ("x always, hot and cold never together", "is not among the loads", "'known'", 11),
    ("x always, leave 2 s between x and y", "'y' is not among the loads", "", 11),
    ("x while y is on, y while x is on", "each of these depends on the next", "inputs alone", 1),
    ("x shows x off", "each of these depends on the next", "", 1),
    ("x while hot and not hot", "could never be on", "", 1),
    ("x always, x never by day, x never at night", "could never be on", "", 1),
    ("x always, finish the pulse", "'finish the pulse' means nothing", "cycle", 1),
    ("x 10 s of every 60 s, finish the pulse", "no condition ever interrupts", "'only", 1),
    ("x at night, keeps its state", "means nothing for what 'x' does", "start and stop", 1),
    ("x while hot, extends", "means nothing for what 'x' does", "", 1),
    ("x 10 s of every 60 s, once started at least 5 min", "cannot do both", "", 1),
    ("x 10 s of every 60 s, x only while hot, pause first; x only while cold, pulse first",
     "cannot both be asked", "", 54),
    ("pump always, lamp while pmp is on", "'pmp' is not known", "'pump'", 25),
    ("x while nigth", "'nigth' is not known", "'night'", 9),
    ("x 1 s of every 5 s, only whlie dry", "'whlie dry' is not known", "'while dry'?", 26),
    ("x at night and whlie cold", "'whlie cold' is not known", "'while cold'?", 16),
    ("x 1 s of every 5 s, only unles dry", "'unles dry' is not known", "'unless dry'?", 26),
    ("x while hot adn damp", "'hot adn damp' is not known", "'hot and damp'?", 9),
    ("x while hot or nto damp", "'nto damp' is not known", "'not damp'? If not, declare", 16),
    ("x while hot an cold", "'hot an cold' is not known", "'hot and cold'?", 9),
    ("x an y at night", "'x an y' is not known", "'x and y'?", 1),
    ("x while hot and noot cold", "'noot cold' is not known", "'not cold'?", 17),
    ("x onyl while hot", "'x onyl' is not known", "'x only'?", 1),
    ("x ofr 5 s after go is pressed", "'x ofr' is not known", "'x for'?", 1),
    ("y always, x nevr while hot", "'x nevr' is not known", "'x never'?", 11),
    ("x while door is opne", "'door opne' is not known", "'door open'?", 9),
    ("pump always, pmup only at night", "'pmup' is not known", "'pump'? If not, declare", 14),
    ("x while hot, y while hto", "'hto' is not known", "'hot'? If not, declare", 22),
    ("x adn y at night", "'x adn y' is not known", "'x and y'? If not, declare 'x adn y' under "
     "'loads'", 1),
    ("x toggled by b, y switched from b and c", "'b' is a push-button in goal 1 and a switch",
     "declare it", 33),
    ("x always, y toggled by x", "'x' is a load", "", 24),
    ("x toggled by 'night'", "not the night", "", 14),
    ("supply always", "'supply' cannot be the name of a load", "", 1),
    ("'night' always", "'night' cannot be the name of a load", "", 1),
]  # fmt: skip

FILES = [
    # file, line, part of the message, part of the hint
    ("loads: {pump: 1}\ngoals: [pmup always]", 2, "'pmup' is not among the loads", "'pump'"),
    ("loads: {pump: 1}\ngoals: [light always]", 1, "no goal says when the load 'pump'", ""),
    ("inputs: {hot: sensor}\ngoals: [x while hto]", 2, "'hto' is not among", "'hot'"),
    ("inputs: {hot: sensor, cold: sensor}\ngoals: [x while cold and htot]", 2,
     "'htot' is not among the inputs", "'hot'"),
    ("inputs: {damp: sensor}\ngoals: [x always]", 1, "'damp' is declared, but no goal", ""),
    ("loads: {x: 1}\ninputs: {x: sensor}\ngoals: [x always]", 1, "both as a load and as an", ""),
    ("inputs: {x: sensor}\ngoals: [x always]", 2, "'x' is declared as an input", ""),
    ("goals: [x always]\nknown: [hot lasts at most 2 s]", 2, "'hot' is no input", ""),
    ("goals: [x always]\nknown: [x lasts at most 2 s]", 2, "'x' is a load", ""),
    ("goals: [x at night]\nknown: [night lasts at least 4 h, night lasts at most 3 h]", 2,
     "cannot last", ""),
    ("goals: [x while hot]\nknown: [hot always on, hot always off]", 2, "always on and always", ""),
    ("goals: [x while hot]\nknown: [supply always off]", 2, "without any supply", ""),
    ("goals: [x always]\nlimits: {without: [joimt]}", 2, "no part 'joimt'", "'joint'"),
    ("goals: [x always]\nlimits: {most: {supply: 1}}", 2, "cannot be limited", ""),
]  # fmt: skip


class TestRefused:
    @pytest.mark.parametrize(("text", "message", "hint", "column"), REFUSED)
    def test_goals(self, text: str, message: str, hint: str, column: int) -> None:
        with pytest.raises(GoalError) as caught:
            posed(text)
        assert message in caught.value.message
        assert hint in caught.value.hint
        assert caught.value.place is not None
        assert caught.value.place.column == column

    @pytest.mark.parametrize(("text", "line", "message", "hint"), FILES)
    def test_files(self, text: str, line: int, message: str, hint: str) -> None:
        with pytest.raises(GoalError) as caught:
            pose(parse_goal_file(text, "x"), FULL)
        assert message in caught.value.message
        assert hint in caught.value.hint
        assert caught.value.place is not None and caught.value.place.line == line

    def test_no_part_follows_an_input(self) -> None:
        kit = parse_kit(SLOW_KIT, "slow.yaml")
        with pytest.raises(GoalError, match="asks for 'night', but the kit 'slow' has no twilight"):
            posed("x at night", kit)
        with pytest.raises(GoalError, match="asks for 'master', but the kit 'slow' has no switch"):
            posed("x always, master cutoff", kit)


@pytest.mark.parametrize(
    "name",
    ["hand switch", "white door", "ro tank", "hen house door", "sand box", "nether lid",
     "fork note", "pen hen", "whole wheel", "oven", "fog horn", "four form", "on-line fan"],
)  # fmt: skip
def test_names_near_a_word_that_joins_are_names(name: str) -> None:
    """A letter in place of another, and one more at the front, make words of their own."""
    problem = pose(goals_from_text(f"x while {name} is on, {name} lamp always"), FULL)
    assert name in {item.name for item in problem.inputs}


def test_names_with_other_numbers_are_names() -> None:
    text = "vent 12 while wet 12, vent 21 while wet 21, vent 1 while wet 1, lamp1 at night"
    problem = pose(goals_from_text(text + ", lamp always"), FULL)
    assert len(problem.requirements) == 5


def test_a_name_that_looks_misspelt_may_be_declared() -> None:
    goals = "inputs: {adn valve: sensor}\nloads: {nad pump: 1}\ngoals: [nad pump while adn valve]"
    problem = pose(parse_goal_file(goals, "x"), FULL)
    assert [r.load for r in problem.requirements] == ["nad pump"]
