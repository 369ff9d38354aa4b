"""Wordings of everyday speech: those that are read, and those that are refused with what to say.

None of the refused ones may be taken for something else, as by turns for at once.
"""

from __future__ import annotations

import re

import pytest

from synth.errors import SynthError
from synth.goals import Goal
from synth.read.doubts import DOUBTS
from synth.read.phrases import parse_facts, parse_phrases
from synth.read.wordings import WORDINGS


def plainly(goal: Goal) -> object:
    return {k: v for k, v in vars(goal).items() if k not in ("number", "phrase", "place")}


@pytest.mark.parametrize(
    ("said", "same"),
    [
        ("heater switches on when cold and switches off when warm",
         "heater starts when cold and stops when warm"),
        ("lamp comes on when start is pressed and goes off when halt is pressed",
         "lamp starts when start is pressed and stops when halt is pressed"),
        ("motor started when low and stopped when high", "motor starts when low, stops when high"),
        ("pump runs when low and stops when high", "pump starts when low and stops when high"),
        ("alarm rings when fault and stops when ack is pressed",
         "alarm starts when fault and stops when ack is pressed"),
        ("fan while hot provided lid is closed", "fan while hot, only while lid is closed"),
        ("fan while hot, providing that lid is closed", "fan while hot, only while lid is closed"),
        ("fan whilst hot", "fan while hot"),
        ("max 6 units", "never more than 6 units"),
        ("pump started by start and stopped by stop, start has priority",
         "pump started by start and stopped by stop, start wins"),
        ("zone 2 for 9 min after zone 1 ends", "'zone 2' for 9 min after 'zone 1' ends"),
        ("fan so long as hot", "fan while hot"),
        ("heater as soon as cold", "heater when cold"),
        ("lamp between dusk and dawn", "lamp at night"),
        ("fan on at dawn and off at dusk", "fan by day"),
        ("lamp during the hours of darkness", "lamp at night"),
        ("fan while door is shut", "fan while door is closed"),
        ("fan while door, window and hatch are shut",
         "fan while door is closed and window is closed and hatch is closed"),
        ("wave pump 1 30 s on, 30 s off", "'wave pump 1' 30 s on, 30 s off"),
        ("bell 1 rings when front is pressed", "'bell 1' when front is pressed"),
        ("pump 1 and pump 2 run while low", "'pump 1' and 'pump 2' while low"),
        ("lamp a and lamp b blink 1 s on, 1 s off", "lamp a and lamp b 1 s on, 1 s off"),
        ("pump while upper tank or lower tank is low",
         "pump while upper tank is low or lower tank is low"),
        ("pump while tank a or tank b is low", "pump while tank a is low or tank b is low"),
        ("each time door opens, lamp for 2 min", "lamp for 2 min after door opens"),
        ("when hot, fan on unless it is night", "fan while hot, unless night"),
        ("pump on when low, off when high", "pump starts when low and stops when high"),
        ("pump stops when high and starts when low", "pump starts when low and stops when high"),
        ("pump stopped by halt, started by go", "pump started by go and stopped by halt"),
        ("motor must not run when it is raining", "motor never while raining"),
        ("motor not work when door open", "motor never while door open"),
        ("lamp when it is light", "lamp by day"),
        ("lamp as long as it is dark", "lamp at night"),
        ("lamp on at dusk and off at dawn", "lamp at night"),
        ("motor starts at sunset and stops at sunrise", "motor at night"),
        ("heater and cooler not together", "heater and cooler never together"),
        ("horn for 5 s after pushing go", "horn for 5 s after pressing go"),
        ("near push or far push toggles lamp", "lamp toggled by near push or far push"),
        ("pump for 1 h every week", "pump for 1 h every 7 d"),
        ("pump 1 h a week", "pump 1 h of every 168 h"),
        ("fan keeps running for 2 min after shower is over",
         "fan keeps running for 2 min after shower"),
        ("buzzer for 3 s after boil ends", "buzzer for 3 s after boil is off"),
        ("siren if tank 1 or tank 2 or tank 3 is empty",
         "siren if tank 1 is empty or tank 2 is empty or tank 3 is empty"),
        ("siren if tank 1, tank 2 or tank 3 is not empty",
         "siren if tank 1 is not empty or tank 2 is not empty or tank 3 is not empty"),
        ("lamp if door one or door two is open", "lamp if door one is open or door two is open"),
        ("fan runs if temp1 or temp2 is high", "fan if temp1 is high or temp2 is high"),
        ("lamp while hot or door is open", "lamp while door is open or hot"),
        ("lamp while button 1 and not button 2 is pressed",
         "lamp while button 1 is pressed and not button 2 is pressed"),
        ("siren if tank 1 or not tank 2 is empty",
         "siren if tank 1 is empty or tank 2 is not empty"),
        ("if heater is off for 5 min, alarm", "alarm once heater is off for 5 min"),
        ("horn 20 s after hot is off", "horn once hot is off for 20 s"),
        ("lamp once night has lasted 2 h", "lamp 2 h after dusk"),
        ("bell rings for 5 s after each press of push", "bell for 5 s after push is pressed"),
    ],
)  # fmt: skip
def test_reads_the_same(said: str, same: str) -> None:
    (one,), (other,) = parse_phrases(said), parse_phrases(same)
    if said == "lamp while hot or door is open":
        assert set(one.does.condition.of) == set(other.does.condition.of)  # type: ignore[attr-defined]
    else:
        assert plainly(one) == plainly(other)


@pytest.mark.parametrize(
    ("said", "same"),
    [
        ("night lasts no more than 16 h", "night lasts at most 16 h"),
        ("night lasts between 4 h and 600 min", "night lasts between 4 h and 10 h"),
        ("door is closed for at least 10 s", "door closed lasts at least 10 s"),
    ],
)
def test_facts_read_the_same(said: str, same: str) -> None:
    (one,), (other,) = parse_facts(said), parse_facts(same)
    assert one == other


REFUSED = [
    ("pump starts when low; pump stops when high", "what stops it stands with what starts it"),
    ("start pump when low and stop it when high", "are said of the load"),
    ("lamp for .5 s after bell", "a number begins with a figure"),
    ("never more than 2 pumps at once", "how many loads may run at once"),
    ("never more than 6 units at night", "holds at any time"),
    ("lamp when neither switch is on", "'neither' says not of which two"),
    ("lamp while any door is open", "'any' says not of which"),
    ("heater while cold, but never without filter", "'never without' is not read"),
    ("fan off 2 min after heater off", "'off' alone says nothing"),
    ("fan while hot and 5 min after", "'and 5 min after' is not read"),
    ("pump off for 5 min every hour", "how long it is off in each round"),
    ("pump off at night", "'off' alone says nothing"),
    ("alarm if door open 30 s", "has lasted is said in another way"),
    ("motor runs when start is pressed until stop is pressed", "when it stops is said"),
    ("lamp 1 and 2 at night", "'lamp 1 and 2' leaves a name out"),
    ("lamp all day", "'all day' may mean by day"),
    # By turns is not at once.
    ("left jet and right jet alternate 30 s on, 30 s off", "by turns"),
    ("pump one and pump two take turns 1 h on, 1 h off", "by turns"),
    # Words that mean nothing here make no load and no sensor.
    ("pump always, even at night", "'even' says nothing"),
    ("heater while cold despite rain", "'despite' says nothing"),
    ("lamp while a unlike b", "'unlike' is not read"),
    ("lamp if a alone", "'alone' is not read"),
    ("lamp flickers while hot", "how long on, and how long off"),
    ("pump once a fortnight for 2 h", "of the calendar"),
    ("heater during the week", "of the calendar"),
    ("lamp for 1 h after noon", "of the calendar"),
    ("pump for 10 s once a shift", "'once a shift' does not say how long"),
    ("pump twice every hour 5 min", "how often"),
    ("pump while both floats are on", "of which two"),
    ("pump started by go and stopped by the same button", "one button"),
    ("lamp for 5 min after the last motion", "'after the last' is not read"),
    # Two meanings.
    ("at dusk, lamp 2 h", "runs for that time, or comes on so much later"),
    ("after hot, fan 10 s", "runs for that time, or comes on so much later"),
    ("after min, fan 10 s", "runs for that time, or comes on so much later"),
    ("lamp 2 h from dusk", "runs for that time, or comes on so much later"),
    ("heater 2 h after night", "its begin or its end"),
    ("heater for 2 h after night", "its begin or its end"),
    ("horn for 3 s when up or down is pressed", "said of 'up' as well"),
    ("mill while hot and fan has been on for 5 min", "the last condition, or all"),
    ("fan for 2 min after shower is over", "the end of one"),
    ("fan on when hot then off", "'off' is not said of 'hot'"),
    ("fan on when hot and off", "'off' is not said of 'hot'"),
    # Two goals are not one, nor is what parts them a space.
    ("pump stops when high and fan starts when hot", "not expected here"),
    ("pump on when low and lamp off when high", "'off' alone"),
    ("pump starts when low and fan stops when cold", "not expected here"),
    ("pump must not run when dry and fan on when hot", "stands behind 'never'"),
    ("fan while hot, ignore lamp at night", "what this comma parts"),
    ("fan always, at night, pump 10 s on, 50 s off", "before it, or to the one behind"),
    ("fan while hot, when bell, lamp for 5 s after bell", "before it, or to the one behind"),
    # Not read.
    ("light at night even if door is open", "'even' says nothing"),
    ("- lamp at night", "does not stand before a goal"),
    ("lamp/fan at night", "'lamp/fan' is not read"),
    ("pump twenty-five seconds every two minutes", "'twenty-five' is not read"),
    ("pump every third minute for 10 s", "how often"),
    ("lamp blinks 1 Hz", "how often"),
    ("siren latched by leak, cleared by key", "how it depends"),
    ("pump 1:30 h on, 0:30 h off", "'1:30 h' is not read"),
    ("light 24/7", "'24/7' is not read"),
    ("pump never off", "'never off' is not read"),
    ("mister 20 s every quarter of an hour", "'quarter of an hour' is not read"),
    ("pump for two and a half minutes every hour", "'two and a half' is not read"),
    ("sprinkler 10 min each night", "'each night' does not say when"),
    ("buzzer for 5 s at dawn and at dusk", "counts from one moment"),
    ("auger runs 40 s when trough empty", "runs for that time, or"),
    ("siren if door is open longer than 20 s", "said in another way"),
    ("pump never runs for more than 5 min", "longest run"),
    ("green button starts motor, red button stops motor", "not what stops it"),
    ("button switches lamp on and off", "each press changes over"),
    ("saw started by go, stopped by halt or by guard", "what stops it is one condition"),
    ("saw only runs while guard is closed", "'only' stands before"),
    ("light while motion and 2 min afterwards", "'and 2 min afterwards' is not read"),
    ("at most one of heater and pump", "'at most one of' is not read"),
    ("master switch cuts all except fridge", "'all except' is not read"),
]  # fmt: skip


@pytest.mark.parametrize(("said", "message"), REFUSED)
def test_refused(said: str, message: str) -> None:
    with pytest.raises(SynthError) as caught:
        parse_phrases(said)
    assert message in caught.value.message
    assert caught.value.hint and caught.value.place is not None


def test_fact_refused() -> None:
    with pytest.raises(SynthError, match="said in another way"):
        parse_facts("go is never held longer than 2 s")


@pytest.mark.parametrize(
    "said",
    [
        "'even lamp' always",
        "fan while 'both floats'",
        "lamp while door is locked",
        "fan while line is dead",
        "feeder while 'morning' is on",
        "pump while morning is on",
        "lamp while siren is silent",
        "pump every second for 100 ms",
        "pump once a minute for 5 s",
        "both pump 1 and pump 2 at night",
        "alarm while pressure is over limit",
        "half a minute after hot, fan on",
        "fan while (hot or dry) or go is pressed",
        "pump 10 s on, 50 s off, while hot",
        "pump 10 s on, 50 s off, while hot, once started at least 5 s",
    ],
)
def test_still_read(said: str) -> None:
    assert len(parse_phrases(said)) == 1


def _examples(hint: str) -> list[str]:
    """Return the whole goals in a hint: what stands in quotes and names a load first."""
    return [
        said
        for said in re.findall(r"'([^']+)'", hint)
        if re.match(r"(?:pump|lamp|motor|saw|heater|alarm|fan)\b.+ ", said)
    ]


def test_what_a_hint_says_is_read() -> None:
    """Each whole goal that a hint proposes is read: who follows it must not be refused again."""
    hints = [wording.hint for wording in (*WORDINGS, *DOUBTS)]
    examples = [said for hint in hints for said in _examples(hint)]
    assert len(examples) >= 10
    for said in examples:
        if said in ("pump 1 and pump 2",):  # names, no goal
            continue
        assert parse_phrases(said), said
