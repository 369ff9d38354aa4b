"""Test times of circuits that share an input, and the wish that longer times stay longer.

The order is worked out by hand beside each case from the lengths of pulses (TP, IEC 61131-3), or
simulated by a few lines written here. The scenario is invented.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from check_designs import FULL, part, wired
from test_bench import MIN, TWO_CYCLES, S, bench, posed, two_cycles

from synth import pipeline
from synth.bench.scale import Wishes
from synth.check.order import Events
from synth.design import Design
from synth.parts.behaviour import PartType
from synth.pipeline.telling import _bench_tools
from synth.pose import pose
from synth.read.goal_file import parse_goal_file
from synth.report.settings_page import sheet_page
from synth.settings_sheet import Claim


def one_button(pump: int, bell: int, light: int) -> Design:
    """Three pulse timers on one push button, each with a load of its own."""
    times = {"pump": pump, "bell": bell, "light": light}
    return wired(
        [
            part("button", PartType.PUSH_BUTTON, input="button", contact="make"),
            *(part(f"{name} time", PartType.PULSE, time=time) for name, time in times.items()),
            *(part(name, PartType.LOAD, needs=1) for name in times),
        ],
        {"button.in": "supply.out",
         **{f"{name} time.in": "supply.out" for name in times},
         **{f"{name} time.start": "button.out" for name in times},
         **{f"{name}.in": f"{name} time.out" for name in times}},
    )  # fmt: skip


ONE_BUTTON = (
    "pump for 10 s after button is pressed; light for 65 s after button is pressed;"
    " bell for 27 s after button is pressed"
)


class TestCircuitsThatShareAnInput:
    def test_runs_of_one_within_a_run_of_another(self, tmp_path: Path) -> None:
        """By hand, of pulses that ignore a new start (TP, IEC 61131-3): pressed again and again,
        the pump ends twice while the bell rings once, 2 x 10 < 27 < 3 x 10, and the bell twice
        while the light is on, 2 x 27 < 65 < 3 x 27. With 1, 2 and 3 s neither can be."""
        design, problem = one_button(10 * S, 27 * S, 65 * S), posed(ONE_BUTTON)
        order = Events(design, problem)
        assert [set(each.loads) for each in order.together] == [{"pump", "bell", "light"}]
        assert order.differences_with({10 * S: S, 27 * S: 2 * S, 65 * S: 3 * S})
        sheet = bench(design, ONE_BUTTON, tmp_path)
        pump, bell, light = (t.test for t in sheet.times)
        assert 2 * pump < bell < 3 * pump and 2 * bell < light < 3 * bell
        assert pump + 2 * bell < light and 6 * pump < light < 7 * pump
        for times in ((10 * S, 27 * S, 65 * S), (pump, bell, light)):
            assert self.ends(*times) == self.ends(10 * S, 27 * S, 65 * S)
        assert self.ends(S, 2 * S, 3 * S) != self.ends(10 * S, 27 * S, 65 * S)

    def ends(self, pump: int, bell: int, light: int) -> str:
        """Return in which order the loads go off while the button is pressed all the time anew, a
        tick after each end of the pump: a simulation written here."""
        word, now, ends = "", 0, {"pump": pump, "bell": bell, "light": light}
        lengths = dict(ends)
        while "l" not in word:
            now = min(ends.values())
            for name in [name for name, end in ends.items() if end == now]:
                word += name[0]
                del ends[name]
                if name == "pump":
                    for idle in [n for n in lengths if n not in ends]:
                        ends[idle] = now + 1 + lengths[idle]
        return word

    def test_the_sheet_says_how_far(self, tmp_path: Path) -> None:
        said = sheet_page(bench(one_button(10 * S, 27 * S, 65 * S), ONE_BUTTON, tmp_path))
        assert "share an input, relay or timer: between them the order is proven for the first" in (
            said
        )
        short = one_button(10 * S, 10 * S, 10 * S)
        text = ONE_BUTTON.replace("65", "10").replace("27", "10")
        said = sheet_page(bench(short, text, tmp_path))
        assert "Proven also between the circuits of pump, light and bell" in said
        apart = sheet_page(bench(two_cycles(), TWO_CYCLES, tmp_path))
        assert "between the" not in apart and "share nothing but the supply" in apart

    @pytest.mark.slow
    def test_no_smaller_ones_keep_it_so_far(self, tmp_path: Path) -> None:
        """All smaller vectors are tried."""
        design, problem = one_button(10 * S, 27 * S, 65 * S), posed(ONE_BUTTON)
        sheet = bench(design, ONE_BUTTON, tmp_path)
        assert sheet.claim is Claim.SMALLEST
        best = [t.test // S for t in sheet.times]
        order = Events(design, problem)
        for numbers in itertools.combinations(range(1, best[-1] + 1), 3):
            if (numbers[-1], sum(numbers)) < (best[-1], sum(best)):
                a, b, c = numbers
                assert not (2 * a < b < 3 * a and 2 * b < c < 3 * b) or order.differences_with(
                    {10 * S: a * S, 27 * S: b * S, 65 * S: c * S}
                ), numbers

    def test_a_wish_is_not_called_an_order(self) -> None:
        """Two times of circuits that share nothing: any lengths keep the order of each, by hand."""
        design = wired(
            [
                part("b", PartType.PUSH_BUTTON, input="b", contact="make"),
                part("s", PartType.SENSOR, input="s", contact="make"),
                part("run", PartType.PULSE, time=45 * S),
                part("wait", PartType.ON_DELAY, time=20 * MIN),
                part("horn", PartType.LOAD, needs=1),
                part("vent", PartType.LOAD, needs=1),
            ],
            {"b.in": "supply.out", "s.in": "supply.out", "run.in": "supply.out",
             "wait.in": "supply.out", "run.start": "b.out", "wait.start": "s.out",
             "horn.in": "run.out", "vent.in": "wait.out"},
        )  # fmt: skip
        text = "kit: full\ninputs: {s: sensor}\ngoals: [horn for 45 s after b is pressed, "
        goals = parse_goal_file(text + "vent 20 min after s]\n", "goals.yaml")
        problem = pose(goals, FULL)
        for longest, ranked in ((2 * S, True), (1 * S, False)):
            wishes = Wishes(longest=longest)
            found, _ = pipeline.bench(
                design, problem, None, "horn for 45 s after b is pressed; vent 20 min after s",
                wishes,
            )  # fmt: skip
            assert found.sheet.claim is Claim.SMALLEST and found.sheet.ranks_kept is ranked
            assert not found.sheet.too_long and found.sheet.longest == longest
            assert found.sheet.forced_by == ()
        tools = _bench_tools(problem, Wishes())
        order = tools.order(design, problem, 1e12)
        assert order.together == () and not order.differences_with({45 * S: S, 20 * MIN: S})
