"""A run of the page that is steered: time, undo, days, links, and how the goals stand.

Runs the page's scripts in node. The scenario and all its numbers are invented.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from click.testing import CliRunner
from page_runs import data_of
from test_must_reject import read as read_rejected
from test_page import KEPT, in_node, kept, needs_node

from synth.cli import main
from synth.pipeline import read_design


def steer(problem_inputs: list[dict[str, Any]], script: str) -> Any:
    """Return what `script` gives of a player of the potting shed whose inputs know more."""
    data = data_of(*kept("potting-shed"))
    for known in problem_inputs:
        next(i for i in data["inputs"] if i["name"] == known["name"]).update(known)
    return in_node(f"(() => {{ const player = new Player(new Engine(data)); {script} }})()", data)


@needs_node
@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("load_short_of_units", "heater gets 1 unit, it needs 2"),
        ("supply_too_small", "pilot gets 0 units, it needs 1"),
    ],
)
def test_a_load_that_gets_too_little_is_not_called_kept(name: str, why: str) -> None:
    design, problem = read_rejected(name)
    told = in_node(
        "(() => { const player = new Player(new Engine(data)); const { model } = player;"
        " for (const { name } of model.inputs)"
        " if (!player.level(name)) player.act({ [name]: true });"
        " return goalsNow(player).map((goal) => [goal.status, goal.why]); })()",
        data_of(design, problem),
    )
    assert any(status == "broken" and text.endswith(why) for status, text in told)


@needs_node
def test_back_and_forth_gives_the_same_moments() -> None:
    there, back, again, changed = steer(
        [],
        "player.act({ master: true }); player.advance(115000);"
        "const state = () => [player.time, player.now.on, player.now.until];"
        "const there = state(); player.goTo(5000); const back = state(); player.goTo(115000);"
        "const again = state(); player.goTo(5000); player.act({ master: false });"
        "player.advance(115000); return [there, back, again, state()];",
    )
    assert there == again
    assert back[0] == 5000 and back[1] != there[1]
    assert changed[0] == 115000 and changed[2] != there[2], "nothing runs behind the master"


@needs_node
def test_one_instant_holds_one_event() -> None:
    """A second change at the same moment comes one millisecond later, or with what is due."""
    times = steer(
        [],
        "player.act({ master: true }); player.act({ night: true }); const first = player.time;"
        "player.goTo(1); player.advance(10000); player.step();"
        "player.act({ night: true });"
        "return [first, player.record.map((entry) => entry.now.time)];",
    )
    assert times[0] == 2
    assert times[1] == sorted(set(times[1]))


@needs_node
def test_what_is_known_of_inputs_is_honoured() -> None:
    refused, flipped = steer(
        [{"name": "night", "leastOn": 3000, "mostOff": 20_000}, {"name": "supply", "steady": True}],
        "const refused = [player.refusal('supply')]; player.advance(19999);"
        "const dark = [player.level('night')]; player.advance(20000);"
        "dark.push(player.level('night')); player.advance(22000);"
        "refused.push(player.refusal('night')); player.advance(23000);"
        "refused.push(player.refusal('night')); return [refused, dark];",
    )
    assert refused[0] == "known: 'supply' is always on"
    assert refused[1] == "known: 'night' stays on for at least 3 s"
    assert refused[2] == ""
    assert flipped == [False, True]


@needs_node
def test_goals_say_how_they_stand() -> None:
    before, running, pause, cut = steer(
        [],
        "const told = () => goalsNow(player).map((goal) => `${goal.status}: ${goal.why}`);"
        "const before = told(); player.act({ master: true }); player.advance(5000);"
        "const running = told(); player.advance(12001); const pause = told();"
        "player.act({ supply: false }); return [before, running, pause, told()];",
    )
    assert before[0] == "waiting: pump is off, as asked, until switch 'master' closes"
    assert before[1] == "kept: light is on, as asked, until the supply is cut"
    assert running[0] == "kept: pump is on, as asked; off in 5.1 s"
    assert pause[0].startswith("waiting: pump is off, as asked; on again in 48 s")
    assert cut[1] == "waiting: light is off, as asked, until the supply comes on"


@needs_node
def test_what_a_load_waits_for_may_be_two_things_or_a_while() -> None:
    told = in_node(
        "goalsNow(new Player(new Engine(data))).map((goal) => goal.why)",
        data_of(*kept("whole-yard")),
    )
    assert told[2] == "heater is off, as asked, until night falls and 'cold' comes on"
    assert told[3] == "hen lamp is off, as asked, until night falls"
    assert told[5] == "fan is off, as asked, until 5 s after 'hot' comes on"


@needs_node
def test_a_goal_once_broken_stays_so_until_the_run_goes_back() -> None:
    design, problem = kept("potting-shed")
    spoilt = replace(
        design,
        parts=tuple(
            replace(p, settings=(("time", 11_000),)) if p.name == "pulse timer 1" else p
            for p in design.parts
        ),
    )
    told = in_node(
        "(() => { const player = new Player(new Engine(data)); player.act({ master: true });"
        " const status = () => goalsNow(player)[0].status; const all = [status()];"
        " player.advance(15000); all.push(status()); const why = goalsNow(player)[0].why;"
        " player.goTo(9000); all.push(status()); return [all, why]; })()",
        data_of(spoilt, problem),
    )
    assert told[0] == ["kept", "broken", "kept"]
    assert told[1] == "broken at 0:00:10.001: pump is on, it must be off"


@needs_node
def test_a_day_is_quick() -> None:
    """A day of a cycle of 60 s: the start, then two events a cycle; the record keeps them all."""
    events = steer(
        [],
        "player.act({ master: true }); while (!player.advance(86400000)) ;"
        "return player.record.length;",
    )
    assert events == 1 + 2 * 24 * 60


@needs_node
def test_what_was_done_can_be_undone() -> None:
    runs, more = steer(
        [],
        "const told = () => [player.time, player.record.map((e) => [e.now.time, e.now.levels])];"
        "const all = [told()];"
        "player.act({ master: true }); player.advance(65000); all.push(told());"
        "player.goTo(5000); player.act({ night: true }); player.advance(9000);"
        "player.restart(); player.undo(); const again = player.time; player.undo();"
        "player.advance(65000); all.push(told()); player.undo(); all.push(told());"
        "return [all, [again, player.undo()]];",
    )
    assert runs[0] == runs[3]
    assert runs[1] == runs[2], "what was dropped by acting in the past is back"
    assert more == [9000, False]


@needs_node
def test_night_comes_by_itself() -> None:
    hour = 3_600_000
    told = steer(
        [],
        "player.days = player.daysAllowed(); const all = []; let before = false;"
        "while (player.nextTime() <= 49 * 3600000) { player.step();"
        " if (player.level('night') !== before) { before = !before; all.push(player.time); } }"
        "player.goTo(0); player.act({ night: true }); all.push(player.forced(player.record[1]));"
        "return all;",
    )
    assert told[:4] == [12 * hour, 24 * hour, 36 * hour, 48 * hour]
    assert told[4] == [24 * hour, {"night": False}], "night that came early ends when day breaks"


@needs_node
@pytest.mark.parametrize(
    ("known", "lengths"),
    [
        ({}, [12, 12]),
        ({"leastOn": 14}, [10, 14]),
        ({"mostOn": 9}, [15, 9]),
        ({"mostOff": 8}, [8, 16]),
        ({"leastOff": 13}, [13, 11]),
        ({"leastOn": 14, "leastOff": 11}, None),
        ({"steady": False}, None),
    ],
)
def test_lengths_of_night_agree_with_what_is_known(
    known: dict[str, Any], lengths: list[int] | None
) -> None:
    hour = 3_600_000
    hours = {k: v if isinstance(v, bool) else v * hour for k, v in known.items()}
    got = steer([{"name": "night", **hours}], "return player.daysAllowed();")
    wanted = lengths and {"name": "night", "day": lengths[0] * hour, "night": lengths[1] * hour}
    assert got == wanted


@needs_node
@pytest.mark.parametrize("name", KEPT)
def test_a_link_leads_to_the_same_moment(name: str) -> None:
    """A random run within what is known; its link, opened on a page of its own, gives the same."""
    told = in_node(
        "(() => { let seed = 7; const random = (n) => {"
        "  seed = (seed * 1103515245 + 12345) % 2147483648; return Math.floor(seed / 65536) % n; };"
        " const one = new Player(new Engine(data)); const names = data.inputs.map((i) => i.name);"
        " for (let k = 0; k < 40; k += 1) { const name = names[random(names.length)];"
        "  if (!one.refusal(name)) one.act({ [name]: !one.level(name) });"
        "  one.advance(one.time + [1, 400, 10000, 61000, 3600000][random(5)]); }"
        " const other = new Player(new Engine(data)); const link = linkTo(one);"
        " const read = readLink(link, data); const refused = other.follow(read.moments, read.at);"
        " const state = (p) => [p.time, p.now, p.record.length];"
        " return [refused, state(one), state(other), link.length, linkTo(other) === link]; })()",
        data_of(*kept(name)),
    )
    assert told[0] == ""
    assert told[1] == told[2] and told[4]
    assert 40 < told[3] < 2000


@needs_node
@pytest.mark.parametrize(
    ("link", "why"),
    [
        ("at=x&do=0:+supply", "'x' is no moment"),
        ("at=1e9&do=0:+supply", "'1e9' is no moment"),
        ("at=1&do=0:+supply;0:+night", "not in order"),
        ("at=1&do=0:+toString", "'toString' is no input"),
        ("at=1&do=0:+__proto__", "'__proto__' is no input"),
        ("at=1&do=0:%2Bsupply", "is no change"),
        ("at=1&do=0:+%E0%A4%A", "is no change"),
        ("at=1&do=0:+supply:1", "is no change"),
        ("at=1&do=-5:+supply", "'-5' is no moment"),
        ("at=1/0&do=0:+supply", "'1/0' is no moment"),
        ("at=1&wrong=1", "no such run"),
        ("at=1&wrong=constructor", "no such run"),
        ("do=0:+supply", "'' is no moment"),
        ("at=1&do=" + ";".join(f"{i}:+night" for i in range(500)), "too long"),
    ],
)
def test_bad_links_are_refused(link: str, why: str) -> None:
    data = data_of(*kept("potting-shed"))
    told = in_node(
        "(() => { try { readLink(data[0], data[1]); return 'read'; }"
        " catch (failure) { return failure.message; } })()",
        [link, data],
    )
    assert why in told


@needs_node
def test_a_link_does_nothing_against_what_is_known() -> None:
    refused, night, time = steer(
        [{"name": "night", "leastOn": 3000}],
        "const read = readLink('at=9000&do=0:+supply;1000:+night;2000:-night', data);"
        "return [player.follow(read.moments, read.at), player.level('night'), player.time];",
    )
    assert refused == "known: 'night' stays on for at least 3 s"
    assert (night, time) == (True, 2000)


@needs_node
@pytest.mark.parametrize(
    ("name", "link", "why"),
    [
        ("roof-vent", "at=9&do=0:+supply,+hot,+windy", "'hot' and 'windy' are never on together"),
        ("roof-vent", "at=9&do=0:+supply,+hot;5:+windy", "'windy' and 'hot' are never on together"),
        ("workbench", "at=9&do=0:+start", "'supply' is always on"),
        ("workbench", "at=9&do=0:+supply;4:-supply", "'supply' is always on"),
        pytest.param(
            "potting-shed", "at=999999999999999&do=0:+supply,+master", "it is too long",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_a_link_begins_within_what_is_known(name: str, link: str, why: str) -> None:
    told = in_node(
        "(() => { const player = new Player(new Engine(data[0]));"
        " const read = readLink(data[1], data[0]);"
        " return player.follow(read.moments, read.at); })()",
        [data_of(*kept(name)), link],
    )
    assert told.endswith(why)


@needs_node
def test_links_of_random_text_are_read_or_refused() -> None:
    """20 000 texts made of what links are made of, and the ends of good ones cut or changed."""
    random = Random(3)
    letters = "atdowrng=&:;,+-/%0129E supplynight\u00e9\U0001f414#'<"
    texts = [
        "at=" + "".join(random.choices(letters, k=random.randint(0, 50))) for _ in range(10_000)
    ]
    good = "at=90500&do=0:+supply;1000:+night;5000:+master,-night;90000/1:-master"
    for _ in range(10_000):
        at = random.randrange(len(good))
        texts.append(good[:at] + random.choice(letters) + good[at + random.randint(0, 2) :])
    told = in_node(
        "data[0].map((text) => { try { const read = readLink(text, data[1]);"
        " return read === null ? 'none' : read.moments.every((m) => Number.isSafeInteger(m.time)"
        " && Object.keys(m.inputs).every((n) => data[1].inputs.some((i) => i.name === n)))"
        " ? 'read' : 'badly read'; }"
        " catch (failure) { return failure.message.startsWith('this link cannot be read: ')"
        " ? 'refused' : failure.stack; } })",
        [texts, data_of(*kept("potting-shed"))],
    )
    assert set(told) == {"none", "read", "refused"}


@needs_node
def test_names_that_every_object_has_are_just_names(tmp_path: Path) -> None:
    """Loads, a sensor and a button called as what JavaScript's objects inherit."""
    goals = (
        "constructor on 10 s of every 60 s, valueof while tostring, "
        "__proto__ for 5 s after hasownproperty is pressed"
    )
    arguments = ["plan", "--kit", "full", "--goals", goals, "--out", str(tmp_path)]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    problem, design = read_design(str(tmp_path / "design.json"), None, goals, "full")
    told = in_node(
        "(() => { const player = new Player(new Engine(data)); player.advance(1000);"
        " const first = goalsNow(player).map((goal) => [goal.status, goal.why]);"
        " player.act({ tostring: true }); player.tap('hasownproperty'); player.advance(2500);"
        " return [first, goalsNow(player).map((goal) => goal.status), player.broken.size]; })()",
        data_of(design, problem),
    )
    assert told[0][0] == ["kept", "constructor is on, as asked; off in 9.0 s"]
    assert told[0][1][1].startswith("valueof is off, as asked, until 'tostring' comes on")
    assert told[1:] == [["kept", "kept", "kept"], 0]


@needs_node
def test_what_comes_with_the_supply_is_found_so() -> None:
    data = data_of(*kept("whole-yard"))
    told = in_node(
        "(() => { const player = new Player(new Engine(data));"
        "const was = player.now; const now = { ...was, levels: was.levels.map(() => true) };"
        "return [eventInWords(player, null, now), eventInWords(player, was, now)]; })()",
        data,
    )
    assert "it is night" in told[0] and "night falls" not in told[0]
    assert "night falls" in told[1]
