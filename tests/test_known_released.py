"""What is known of buttons as power returns: the words, the claims, the check, and the page.

That nobody holds a button just as power returns is common practice to assume, no source; without
being told so, no tool may. All names and jobs are invented.
"""

from __future__ import annotations

import dataclasses

import pytest
from page_runs import data_of
from test_page import in_node, needs_node

from synth import pipeline
from synth.check import check
from synth.days import changes, flips
from synth.design import Design, PartInUse, Terminal, Wire
from synth.errors import GoalError, Undecided
from synth.parts.behaviour import PartType
from synth.pose import pose
from synth.pose.without import only
from synth.problem import Problem
from synth.read.goal_file import parse_goal_file
from synth.read.kit_file import load_kit
from synth.read.phrases import parse_facts
from synth.result import Fault, Outcome, Status
from synth.search.apart import take_apart
from synth.search.bounds import essential
from synth.search.stimuli import legal

TOGGLED = "lamp toggled by bell push, keeps its state"
RELEASED = "bell push is released when power returns"
BY_POWER, BY_MASTER = ("supply",), ("supply", "master")


def asked(*goals: str, known: tuple[str, ...] = (), kit: str = "full") -> Problem:
    lines = ["title: Porch", "goals:", *(f"  - {goal}" for goal in goals)]
    lines += ["known:", *(f"  - {fact}" for fact in known)] if known else []
    return pose(parse_goal_file("\n".join(lines) + "\n", "porch"), load_kit(kit))


def planned(problem: Problem) -> Outcome:
    return pipeline.plan(problem, seconds=30)


@pytest.mark.parametrize(
    ("said", "others"),
    [
        (RELEASED, BY_POWER),
        ("bell push is not pressed when supply comes on", BY_POWER),
        ("bell push not held as the power comes back", BY_POWER),
        ("bell push is never pressed when power is restored", BY_POWER),
        ("bell push is off whenever the mains returns", BY_POWER),
        ("bell push is released at power-up", BY_POWER),
        ("bell push not pressed on power up", BY_POWER),
        ("bell push is released when power or master comes on", BY_MASTER),
        ("bell push is open as power and master come on", BY_MASTER),
    ],
)
def test_how_it_is_said(said: str, others: tuple[str, ...]) -> None:
    problem = asked(TOGGLED, "master cutoff", known=(said,))
    assert problem.input("bell push").released_as == others
    assert f"known, and relied on: {said}" in problem.assumptions


def test_facts_add_up() -> None:
    both = (RELEASED, "bell push is released when master is thrown")
    assert asked(TOGGLED, "master cutoff", known=both).input("bell push").released_as == BY_MASTER


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        ("bell push is pressed when power returns", "cannot be relied on"),
        ("master is off when power returns", "'master' is not a push-button"),
        ("bell push is released when hot comes on", "'hot' is neither the supply nor a switch"),
        ("bell push is released when pump comes on", "no input that a goal asks for"),
        ("bell push is released", "when is that so?"),
        ("bell push is released when", "when is that so?"),
        ("bell push is released while power is off", "when is that so?"),
    ],
)
def test_what_cannot_be_known(fact: str, told: str) -> None:
    with pytest.raises(GoalError) as refused:
        asked(TOGGLED, "master cutoff", "fan while hot", known=(fact,))
    assert told in f"{refused.value} {refused.value.hint}"


def test_facts_end_where_the_next_begins() -> None:
    facts = parse_facts("bell push is released when power returns, supply never fails")
    assert [fact.about for fact in facts] == [("bell push", "power"), ("supply",)]


# -- the check -----------------------------------------------------------------------------------


def by_impulse_relay() -> Design:
    """The plain circuit of a lamp that each press changes over: a push-button and one relay."""
    kinds = {
        "supply": (PartType.SUPPLY, "supply", {"units": 2}),
        "tap": (PartType.TAP_OFF, "tap-off", {"units": 1}),
        "push": (PartType.PUSH_BUTTON, "push button", {"input": "bell push", "contact": "make"}),
        "relay": (PartType.IMPULSE, "impulse relay", {}),
        "lamp": (PartType.LOAD, "load", {"needs": 1}),
    }
    feeds = {
        "tap.in": "supply.out", "push.in": "tap.branch", "relay.pulse": "push.out",
        "relay.in": "tap.rest", "lamp.in": "relay.out",
    }  # fmt: skip
    parts = tuple(
        PartInUse(name, kind, part, tuple(settings.items()))
        for name, (kind, part, settings) in kinds.items()
    )
    wires = tuple(
        Wire(number, Terminal(*source.split(".")), Terminal(*target.split(".")))
        for number, (target, source) in enumerate(feeds.items(), 1)
    )
    return Design("full", parts, wires)


def test_a_held_button_makes_an_impulse_relay_blink_unless_it_is_known_to_be_released() -> None:
    design = by_impulse_relay()
    verdict = check(design, asked(TOGGLED))
    assert {defect.fault for defect in verdict.defects} == {Fault.BLIP}
    shown = verdict.defects[0].counterexample
    assert shown is not None and {*shown.moments[-1].inputs} <= {
        ("supply", True), ("bell push", True)
    }  # fmt: skip
    assert check(design, asked(TOGGLED, known=(RELEASED,))).holds


def test_that_it_is_released_then_says_nothing_of_later() -> None:
    """A press right after power has returned still counts: a lamp that missed it fails."""
    problem = asked(TOGGLED, known=(RELEASED,))
    design = by_impulse_relay()
    deaf = tuple(
        dataclasses.replace(wire, source=Terminal("tap", "branch"))
        if wire.target == Terminal("relay", "pulse")
        else wire
        for wire in design.wires
        if wire.target.part != "push"
    )
    parts = tuple(part for part in design.parts if part.name != "push")
    assert not check(Design("full", parts, deaf), problem).holds
    assert "bell push" in essential(problem)


# -- the search ----------------------------------------------------------------------------------


def test_a_toggled_lamp_is_a_button_and_a_relay() -> None:
    outcome = planned(asked(TOGGLED, known=(RELEASED,)))
    assert outcome.status is Status.PROVEN and outcome.design is not None
    assert sorted(part.part for part in outcome.design.parts) == [
        "impulse relay", "load", "push button", "supply", "tap-off",
    ]  # fmt: skip
    assert check(outcome.design, asked(TOGGLED)).holds is False


def test_behind_a_main_switch_it_must_be_known_of_that_too() -> None:
    both = asked(TOGGLED, "master cutoff", known=(RELEASED.replace("power", "power or master"),))
    outcome = planned(both)
    assert outcome.status is Status.PROVEN and outcome.price == 13
    assert [len(piece.path) for piece in take_apart(both)] == [1]
    # Where it is known of power alone, what is behind the switch is another question.
    power = asked(TOGGLED, "master cutoff", known=(RELEASED,))
    assert [len(piece.path) for piece in take_apart(power)] == [0]
    assert outcome.design is not None and not check(outcome.design, power).holds
    switch = asked(
        TOGGLED, "master cutoff", known=("bell push is released when master comes on",)
    )
    assert [len(piece.path) for piece in take_apart(switch)] == [1]
    assert not check(outcome.design, switch).holds


def test_runs_keep_to_it() -> None:
    problem = asked(TOGGLED, "master cutoff", known=("bell push is released when master comes on",))
    wanted = [
        (0, {"supply": True, "master": False, "bell push": True}),
        (1000, {"master": True}),
        (2000, {"master": False}),
        (3000, {"master": True, "bell push": True}),
    ]
    run = legal(problem, wanted, 4000)
    assert run is not None
    levels: dict[str, bool] = {}
    for moment in run[0]:
        after = levels | dict(moment.inputs)
        assert not (after["bell push"] and after["master"] and not levels.get("master", False))
        levels = after
    # What was wanted comes right after.
    assert [m.time for m in run[0] if ("bell push", True) in m.inputs] == [0, 1001, 3001]


# -- what is said of it --------------------------------------------------------------------------


def test_it_is_offered_where_it_would_help_and_not_once_it_is_said() -> None:
    free, known = asked(TOGGLED), asked(TOGGLED, known=(RELEASED,))
    offers = [line for line in free.assumptions if "already pressed when power returns" in line]
    assert len(offers) == 1 and "'bell push is released when power returns'" in offers[0]
    assert not any("already pressed" in line for line in known.assumptions)
    pulse = "lamp for 5 s after bell push is pressed"
    assert any("already holding" in line for line in asked(pulse).assumptions)
    assert not any("already holding" in x for x in asked(pulse, known=(RELEASED,)).assumptions)


def test_several_buttons_for_one_lamp() -> None:
    """Each press of any of them changes it over; common practice, no source."""
    known = (RELEASED, RELEASED.replace("bell push", "knob"))
    problem = asked("lamp toggled by bell push or knob, keeps its state", known=known)
    outcome = planned(problem)
    assert outcome.status is Status.PROVEN and outcome.design is not None
    machine = problem.machine
    state, lamp = machine.start, []
    for pressed in ((), ("knob",), (), ("bell push",), ("bell push", "knob"), ("knob",), ()):
        levels = {"supply": True, "bell push": False, "knob": False}
        state, loads, _ = machine.react(state, levels | dict.fromkeys(pressed, True))
        lamp.append(loads["lamp"])
    assert lamp == [False, True, True, False, False, False, False]
    alone = asked("lamp toggled by bell push or knob, keeps its state", known=known[:1])
    assert not check(outcome.design, alone).holds
    assert any("while one of the buttons is held" in line for line in problem.assumptions)


@needs_node
def test_the_page_keeps_to_it() -> None:
    problem = asked(TOGGLED, "master cutoff", known=(RELEASED.replace("power", "power or master"),))
    outcome = planned(problem)
    assert outcome.design is not None
    refused = in_node(
        "(() => { const player = new Player(new Engine(data));"
        " player.act({ supply: true, 'bell push': true });"
        " const told = [player.refusal('master')];"
        " player.act({ 'bell push': false }); told.push(player.refusal('master'));"
        " player.act({ master: true }); player.act({ supply: false });"
        " player.act({ 'bell push': true }); told.push(player.refusal('supply'));"
        " const read = readLink('at=9&do=0:+supply,+bell%20push', data);"
        " told.push(player.follow(read.moments, read.at)); return told; })()",
        data_of(outcome.design, problem),
    )
    assert refused == [
        "known: 'bell push' is released as 'master' comes on",
        "",
        "known: 'bell push' is released as power returns",
        "known: 'bell push' is released as power returns",
    ]


# -- facts together ------------------------------------------------------------------------------


@pytest.mark.parametrize("turned", [False, True])
def test_what_is_always_pressed_is_never_released(turned: bool) -> None:
    facts = ("bell push is always pressed", RELEASED)
    with pytest.raises(GoalError, match="always pressed and to be released"):
        asked("lamp while bell push is pressed", known=facts[::-1] if turned else facts)


def test_a_switch_called_mains_is_not_the_supply() -> None:
    goals, fact = ("lamp while bell push is pressed", "lamp only while mains"), "mains never fails"
    text = "goals: ['{}']\ninputs: {{mains: switch}}\nknown: [{}]\n"
    text = text.format("', '".join(goals), fact)
    problem = pose(parse_goal_file(text, "porch"), load_kit("full"))
    assert problem.input("mains").steady and problem.input("supply").steady is None
    assert asked(TOGGLED, known=(fact,)).input("supply").steady


def test_inputs_that_are_always_on_are_together() -> None:
    facts = ("a and b never together", "a is always on", "b is always on")
    with pytest.raises(GoalError, match="so they are together"):
        asked("lamp while a", "fan while b", known=facts)
    problem = asked("lamp while a", "fan while b", known=facts[1:])
    both = dataclasses.replace(problem, never_together=(("a", "b"),))
    outcome = planned(problem)
    assert outcome.design is not None
    with pytest.raises(Undecided, match="power can never come on"):
        check(outcome.design, both)


def test_facts_that_leave_no_run_prove_nothing() -> None:
    problem = asked(TOGGLED, known=(RELEASED,))
    stuck = tuple(
        dataclasses.replace(item, steady=True) if item.name == "bell push" else item
        for item in problem.inputs
    )
    with pytest.raises(Undecided, match="power can never come on"):
        check(by_impulse_relay(), dataclasses.replace(problem, inputs=stuck))


def test_a_goal_less_leaves_the_rest_of_a_fact() -> None:
    """Of the power it is known still where no goal names the switch any more."""
    text = (
        f"goals: ['{TOGGLED}', master cutoff]\n"
        f"known: ['{RELEASED.replace('power', 'power or master')}']\n"
    )
    goals = parse_goal_file(text, "porch")
    assert pose(only(goals, [1]), load_kit("full")).input("bell push").released_as == BY_POWER
    goals = parse_goal_file(text.replace("power or master", "master"), "porch")
    assert only(goals, [1]).facts == ()


def test_an_input_that_has_to_come_on_just_then_makes_no_run() -> None:
    problem = asked(TOGGLED, "master cutoff", known=("bell push is released when master comes on",))
    hasty = tuple(
        dataclasses.replace(item, most_off=1000) if item.name == "bell push" else item
        for item in problem.inputs
    )
    problem = dataclasses.replace(problem, inputs=hasty)
    assert legal(problem, [(0, {"supply": True}), (1000, {"master": True})], 3000) is None
    assert legal(problem, [(0, {"supply": True}), (900, {"master": True})], 3000) is not None


def test_held_days_begin_as_is_known() -> None:
    problem = asked(TOGGLED, known=(RELEASED,))
    levels = {"bell push": False}
    assert ("bell push",) in flips(problem, levels)
    pressed = changes(problem, ["supply", "bell push"], levels, ["bell push"], 0)
    assert [now["bell push"] for _, now in pressed] == [False, True, False]
    before: dict[str, bool] | None = None
    for _, now in pressed:
        assert problem.may_follow(before, now)
        before = now
