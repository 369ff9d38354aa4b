"""The meaning of signals, against the vectors of the standards that name the same functions."""

from __future__ import annotations

import pytest
from signal_runs import run

from synth.signals import (
    Cycle,
    Latch,
    Level,
    OffDelay,
    OnDelay,
    Pulse,
    Recently,
    Signal,
    SignalMachine,
    Toggle,
    all_of,
    inputs_of,
    loads_of,
    negated,
    times_of,
)

IN, SUPPLY = Level("in"), Level("supply")
STANDARD = "+0 -8 +10 -12 +13 -14 +20 -30"


def once(signal: Signal, until: int = 500, **inputs: str) -> str:
    return run([("q", signal)], inputs, until)["q"]


class TestTimers:
    """IEC 61131-3:2013, 6.6.3.5, Table 46 and Fig. 15: one input for all three, PT = 5. (Seen in
    a secondary text; the outputs were worked from the rules.)"""

    @pytest.mark.parametrize(
        ("signal", "expected"),
        [
            (Pulse(IN, 5), "+0 -5 +10 -15 +20 -25"),
            (OnDelay(IN, 5), "+5 -8 +25 -30"),
            (OffDelay(IN, 5), "+0 -19 +20 -35"),
        ],
    )
    def test_standard_vectors(self, signal: Signal, expected: str) -> None:
        assert once(signal, **{"in": STANDARD}) == expected

    def test_delays_in_a_row(self) -> None:
        """IEC 60050-351, delay element t1 = 3, t2 = 2 (secondary text)."""
        both = OffDelay(OnDelay(IN, 3), 2)
        assert once(both, **{"in": "+0 -10"}) == "+3 -12"
        assert once(both, **{"in": "+0 -2"}) == ""

    def test_retriggerable(self) -> None:
        assert once(Pulse(IN, 5, retrigger=True), **{"in": STANDARD}) == "+0 -5 +10 -18 +20 -25"

    def test_as_wide_as_the_time(self) -> None:
        """The standard's diagrams leave this open; here the fall wins over the expiry."""
        assert once(OnDelay(IN, 5), **{"in": "+0 -5"}) == ""
        assert once(Pulse(IN, 5), **{"in": "+0 -5"}) == "+0 -5"

    def test_an_edge_at_the_expiry_begins_anew(self) -> None:
        assert once(Pulse(IN, 5), **{"in": "+0 -2 +5 -6"}) == "+0 -10"


class TestLatches:
    """IEC 61131-3:2013, Table 43: SR: Q1 := S1 OR (NOT R AND Q1); RS: Q1 := NOT R1 AND (S OR Q1).
    (Secondary text.)"""

    @pytest.mark.parametrize(
        ("wins_set", "expected"), [(True, "+0 -12 +20"), (False, "+0 -5 +30 -40")]
    )
    def test_both(self, wins_set: bool, expected: str) -> None:
        latch = Latch(Level("s"), Level("r"), wins_set)
        if wins_set:
            inputs = {"s": "+0 -3 +20 -25", "r": "+12 -15 +20 -22"}
        else:
            inputs = {"s": "+0 -3 +20 -22 +30 -31", "r": "+5 -8 +20 -25 +40"}
        assert once(latch, **inputs) == expected

    def test_impulse(self) -> None:
        """IEC 60050-444 impulse relay: S +0 +3 +7 (secondary text)."""
        assert once(Toggle(IN), **{"in": "+0 -1 +3 -4 +7 -9"}) == "+0 -3 +7"

    def test_high_at_power_up_is_an_edge(self) -> None:
        """R_TRIG, Table 44: CLK = 1 at cold start gives one pulse (secondary text)."""
        pulse = Pulse(IN, 4, enable=SUPPLY)
        assert once(pulse, **{"in": "+0", "supply": "+2 -10 +20"}) == "+2 -6 +20 -24"


class TestCycles:
    """IEC 60050-445 recycler, on 10, off 50 (secondary text); the restart is from memory."""

    def test_pulse_first(self) -> None:
        assert once(Cycle(SUPPLY, 10, 50), 125, supply="+0") == "+0 -10 +60 -70 +120"

    def test_pause_first(self) -> None:
        assert once(Cycle(SUPPLY, 10, 50, False), 125, supply="+0") == "+50 -60 +110 -120"

    def test_begins_again_after_a_cut(self) -> None:
        assert once(Cycle(SUPPLY, 10, 50), 95, supply="+0 -5 +30") == "+0 -5 +30 -40 +90"
        assert once(Cycle(SUPPLY, 10, 50), 60, supply="+0 -20 +25") == "+0 -10 +25 -35"

    def test_finishes_the_pulse(self) -> None:
        finishing = Cycle(IN, 10, 50, finish=True, enable=SUPPLY)
        assert once(finishing, 200, supply="+0", **{"in": "+0 -5"}) == "+0 -10"
        assert once(finishing, 65, supply="+0", **{"in": "+0 -5 +7"}) == "+0 -10 +60"
        assert once(finishing, 100, supply="+0 -6", **{"in": "+0 -5"}) == "+0 -6"

    def test_cut_exactly_at_the_end(self) -> None:
        assert once(Cycle(SUPPLY, 10, 50), 300, supply="+0 -10") == "+0 -10"
        assert once(Cycle(SUPPLY, 10, 50), 65, supply="+0 -60") == "+0 -10"


class TestRecently:
    def test_blocks_while_on_and_for_the_time_after(self) -> None:
        signals = [
            ("b", all_of(Level("y"), negated(Recently("a", 5)))),
            ("a", Level("x")),
        ]
        found = run(signals, {"x": "+10 -20", "y": "+0"}, 100)
        # At the instant 10 'a' was not on just before, and nothing happens until 20.
        assert found == {"a": "+10 -20", "b": "+0 -20 +25"}

    def test_looks_back(self) -> None:
        signal = Recently("a", 3)
        assert loads_of(signal) == {"a"} and times_of(signal) == {3}


class TestMachine:
    def test_equal_nodes_share_one_state(self) -> None:
        machine = SignalMachine((("a", Pulse(IN, 5)), ("b", negated(Pulse(IN, 5)))))
        assert len(machine.nodes) == 1

    def test_inputs(self) -> None:
        assert inputs_of(all_of(SUPPLY, Pulse(IN, 5, enable=SUPPLY))) == {"in", "supply"}
