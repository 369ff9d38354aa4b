"""Short times for a test on the bench that keep the order of events, and every goal.

Rooms, in the order in which a design walks through them:

- `times`: every time of a design and its goals, and the same with others
- `orders`: from a run of events to the orders of sums of times that it hangs on
- `least`: the least whole numbers that keep given orders
- `scale`: the search for test times, and the proof of what it returns
- `goals_page`: the goals with test times as a goal file
"""

from synth.bench.goals_page import goals_page
from synth.bench.scale import BenchTest, Tools, Wishes, bench_test

__all__ = ["BenchTest", "Tools", "Wishes", "bench_test", "goals_page"]
