"""What a pack says to somebody who was not there: nothing about what the job does not have, nothing
twice, and figures that hold from the worst moment. All jobs are invented.
"""

from __future__ import annotations

import csv
import re
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from synth import pipeline
from synth.bench import scale
from synth.bench.least import GaveUp
from synth.check import simulate
from synth.check.tour import BRISK
from synth.cli import main
from synth.report.symbols import load_kind
from synth.ticks import parse_duration
from synth.trace import Moment

LAMP = "title: Gate lamp\ngoals: [gate lamp at night]\n"
POND = """\
title: Duck pond
kit: full
loads: {pond pump: 2, call lamp: 1}
goals:
  - pond pump on 20 min of every 2 h
  - call lamp for 45 s after visitor button is pressed
  - master cutoff for pond pump
"""
NIGHTLY = """\
title: Night water
loads: {pump: 1}
goals: [pump at night]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("packs")


def packed(folder: Path, title: str, goals: str, *more: str) -> Path:
    """Plan and pack a job; return the folder of the pack."""
    out = folder / title
    if out.exists():
        return out
    file = folder / f"{title}.yaml"
    file.write_text(goals, encoding="utf-8")
    plan, pack = str(folder / f"{title}-plan"), str(out)
    for words in (("plan", str(file), "--no-cache", "--out", plan),
                  ("pack", f"{plan}/design.json", str(file), "--out", pack, *more)):
        ran = CliRunner().invoke(main, words)
        assert ran.exit_code == 0, ran.output
    return out


def lamp(folder: Path) -> Path:
    return packed(folder, "lamp", LAMP)


def pond(folder: Path) -> Path:
    return packed(folder, "pond", POND, "--night", "13 h", "--flow", "pond pump=4.5", "--tank",
                  "400")


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def words_of(pack: Path) -> str:
    return "\n".join(p.read_text("utf-8") for p in sorted(pack.glob("[01]*.md")))


class TestNothingThatIsNotThere:
    @pytest.mark.parametrize("word", [
        "timer", "recycler", "motor", "pump", "heater", "guards on", "hose", "tank", "raised",
        "button", "test value", "real times", "sensor", "ON or off", "## Water", "divider",
        "Every mode that can be aimed at is visited, in each everything a person can do is done "
        "once, and every time",
    ])
    def test_a_lamp_at_night(self, folder: Path, word: str) -> None:
        """A lamp behind a twilight switch has none of these."""
        said = words_of(lamp(folder))
        # These two say what is *not* there, or where somebody may look for the kinds of the kit.
        for line in ("There are no timers.", "timers and relays in place without use",
                     "K relay or timer, M motor, P signal", "inrush of motors and lamps"):
            said = said.replace(line, "")
        assert re.findall(rf".*(?<!\w){re.escape(word)}.*", said) == []

    def test_they_are_there_where_the_job_has_them(self, folder: Path) -> None:
        said = words_of(pond(folder))
        for word in ("real times", "guards on", "tanks and hoses", "ON or off", "## Water",
                     "and every time is seen to be up", "test loads in place of"):
            assert word in said, word

    def test_one_of_a_thing_is_one(self, folder: Path) -> None:
        assert not re.search(r"(?<![\d.,])1 (units|rungs|current paths|modes|circuits)\b",
                             words_of(lamp(folder)))

    def test_how_to_start_names_the_levers(self, folder: Path) -> None:
        card = (pond(folder) / "01-card.md").read_text("utf-8")
        assert "Release 'visitor button' (S1) and switch 'master' (S2) off." in card
        assert "By day" not in card and "sensor" not in card
        assert "By day, at once: gate lamp off." in (lamp(folder) / "01-card.md").read_text("utf-8")


class TestNothingTwice:
    def test_limits_leave_to_the_card_what_it_says(self, folder: Path) -> None:
        for pack in (lamp(folder), pond(folder)):
            said = (pack / "15-change-log.md").read_text("utf-8")
            card = (pack / "01-card.md").read_text("utf-8")
            told = re.findall(r"^- Assumed: (.*)$", said, re.M)
            assert told and not any(line in card for line in told)
            assert "minimise" not in said and "goal 1" not in said

    def test_loads_that_go_together_are_checked_once(self, folder: Path) -> None:
        both = packed(folder, "both", "goals: [pump at night, pilot shows pump on]\n")
        steps = [row["do"] for row in rows(both / "13-build-steps.csv")]
        checks = [step for step in steps if step.startswith("CHECK")]
        assert len(checks) == len(set(checks)) == 2


def test_steps_leave_time_to_move_and_to_look(folder: Path) -> None:
    """Waits of the test with test values: the pulse of 10 s is cut, pressed and released in."""
    steps = [row["do"] for row in rows(pond(folder) / "10-bench-test.csv")]
    waits = [parse_duration(w) for s in steps for w in re.findall(r"^(?:after|wait) ([^:,]+)", s)]
    assert len(waits) > 30 and min(waits) >= BRISK
    # How long it says that it takes is the sum of what it says to wait.
    (said,) = re.findall(r"item 7\)\. (\d+) steps, ([^.]*)\.",
                         (pond(folder) / "10-test-sheet.md").read_text("utf-8"))
    assert int(said[0]) == len(steps) - 1 and parse_duration(said[1]) == sum(waits)


def follow(pack: Path, goals: Path, sheet: str) -> int:
    """Do what a test sheet says, by its words alone; compare what it says that is to be seen."""
    problem, design = pipeline.read_design(str(pack / "design.json"), str(goals), None, None)
    time = Fraction(0)
    moments: list[Moment] = []
    looks: list[tuple[Fraction, str]] = []
    for row in rows(pack / sheet)[:-1]:
        what = row["do"]
        if match := re.match(r"(?:after|wait) ([^:,]+)[:,] (.*)", what):
            time += parse_duration(match[1])
            what = match[2]
        if not what.startswith("until"):
            name = "supply" if "the supply" in what else "night" if "the twilight" in what else ""
            name = name or re.findall("'(.*?)'", what)[0]
            on = what.startswith(("press", "make it dark")) or what.endswith(" on")
            moments.append(Moment(time, ((name, on),)))
        looks.append((time, row["expect"]))
    trace = simulate(design, problem, moments, time + 1)
    tracks = {track.name: track for track in trace.tracks if track.role == "load"}
    for time, said in looks:
        for names, state in re.findall(r"(?:^|; )([^;]*?) (?:goe?s?|stays?) (ON|off)", said):
            for name in re.split(", | and ", names):
                assert tracks[name].level(time) == (state == "ON"), (time, said)
    return len(looks)


def test_the_sheet_followed_by_its_words_alone(folder: Path) -> None:
    assert follow(lamp(folder), folder / "lamp.yaml", "10-test-sheet.csv") == 7
    assert follow(pond(folder), folder / "pond.yaml", "10-test-sheet.csv") > 30


def test_what_an_earlier_pack_left_is_told(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "03-layout-sheet-7.svg").write_text("<svg/>")
    (tmp_path / "notes.txt").write_text("mine")
    lamp(folder)
    ran = CliRunner().invoke(main, [
        "pack", str(folder / "lamp-plan" / "design.json"), str(folder / "lamp.yaml"),
        "--out", str(tmp_path),
    ])
    assert ran.exit_code == 0
    assert "no part of this one: 03-layout-sheet-7.svg\n" in ran.output
    assert (tmp_path / "notes.txt").read_text() == "mine" and "notes.txt" not in ran.output


class TestWater:
    def test_a_tank_from_the_worst_moment(self, folder: Path) -> None:
        """400 L at 4.5 L/min, 20 min of every 2 h, beginning with a run: four runs of 90 L are
        over at 6 h 20 min, the fifth begins at 8 h, and 40 L are gone after 8.9 min of it."""
        held, ceiling = rows(pond(folder) / "11-tank.csv")
        time = 8 + Fraction(40) / Fraction("4.5") / 60
        assert time - Fraction(2, 100) <= Fraction(held["hours"]) <= time
        assert Fraction(held["litres a day"]) == 12 * 90
        # Somebody who turns the cutoff to and fro can have it run on and on: 88.9 min.
        assert Fraction(ceiling["hours"]) == Fraction("1.48")

    def test_a_pump_that_runs_half_the_day(self, folder: Path) -> None:
        """At night alone, 3 L/min into 270 L: gone after 1.5 h of the night, not of an average
        day."""
        pack = packed(folder, "night", NIGHTLY, "--night", "12 h", "--flow", "pump=3",
                      "--tank", "270")
        assert [row["hours"] for row in rows(pack / "11-tank.csv")] == ["1.5", "1.5"]


@pytest.mark.parametrize(("name", "kind"), [
    ("sump pilot", "signal"), ("pump pilot", "signal"), ("pilot lamp", "lamp"),
    ("fodder belt", "motor"), ("extractor", "motor"),
])
def test_kinds_by_their_names(name: str, kind: str) -> None:
    """The last telling word counts: what shows that a pump runs is none."""
    assert load_kind(name) == kind


def test_what_stops_a_load_is_told_as_people_say_it(folder: Path) -> None:
    """Heaters stop by day and while a switch is off; nothing is 'at day' or 'at no 'cold''."""
    goals = (
        "title: Trough\nkit: full\ngoals: [trough heater at night and while cold, "
        "master cutoff for trough heater]\n"
    )
    cautions = (packed(folder, "trough", goals) / "02-cautions.md").read_text(encoding="utf-8")
    assert "nothing but it stops trough heater by day." in cautions
    assert "nothing but it stops trough heater while 'cold' does not hold." in cautions
    assert "nothing but it stops trough heater while 'master' is off." in cautions
    assert "when the supply comes on by night, while 'cold' holds" in cautions
    assert "Switch 'master' (S1) on, and trough heater may start at once" in cautions
    assert " at day" not in cautions and " at no " not in cautions


def test_why_there_are_no_shorter_times(folder: Path) -> None:
    """What is long for the slowest part leaves nothing to shorten; both sheets say so."""
    goals = "title: Slow\nkit: full\ngoals: [lamp for 2 min after start is pressed]\n"
    out = packed(folder, "slow", goals, "--reaction", "30 s")
    why = "with those that were found the test is no shorter"
    for sheet in ("07-settings.md", "10-test-sheet.md"):
        told = " ".join((out / sheet).read_text(encoding="utf-8").split())
        assert why in told


def test_times_in_proportion_are_given_where_the_least_are_not_proven(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without time to prove the least, all are divided by one number: no wait of hours is left."""

    def no_time(*asked: object, **more: object) -> None:
        raise GaveUp

    monkeypatch.setattr(scale._Search, "_least", no_time)
    goals = "title: Long\nkit: full\ngoals: [lamp for 2 h after start is pressed]\n"
    out = packed(folder, "long", goals)
    told = " ".join((out / "07-settings.md").read_text(encoding="utf-8").split())
    assert "divided by one number" in told and "none with a longest below" not in told
    assert "with test values" in (out / "10-test-sheet.md").read_text(encoding="utf-8")


def test_symptoms_and_runs_are_told_in_whole_sentences(folder: Path) -> None:
    """A symptom shows when one does something; no cut is told of where the supply never fails."""
    goals = (
        "title: Sluice\nkit: full\ngoals: [sluice on while wet and start]\n"
        "inputs: {start: switch}\nknown: [supply never fails]\n"
    )
    out = packed(folder, "sluice", goals)
    symptoms = (out / "12-symptoms.csv").read_text(encoding="utf-8")
    assert "when you switch 'start'" in symptoms and "at: " not in symptoms
    assert "power cut" not in (out / "08-timing.md").read_text(encoding="utf-8")
    plain = packed(folder, "lamp-again", LAMP)
    assert "power cut" in (plain / "08-timing.md").read_text(encoding="utf-8")


def test_the_card_says_what_all_of_it_rests_on(folder: Path) -> None:
    goals = (
        "goals: [lamp while hall door is open]\n"
        "known: [supply never fails, hall door is always open]\n"
    )
    card = (packed(folder, "hall", goals) / "01-card.md").read_text(encoding="utf-8")
    rests = "only as long as the supply never fails and 'hall door' is open all the time."
    assert f"All this holds {rests}" in " ".join(card.split())


PROMISED = """\
title: Damp door
kit: full
goals: [opener while up is pressed, closer while down is pressed, opener and closer never together]
"""


def test_what_rests_on_a_promise_is_told(folder: Path) -> None:
    """Nothing in the circuit keeps the two apart, where they are said never to be asked for
    together: whoever takes it over has to know. With an interlock it is one not to bridge."""
    known = PROMISED + "known: [up and down never together, a press of up lasts at most 20 s]\n"
    pack = packed(folder, "promised", known)
    card, cautions = ((pack / name).read_text("utf-8") for name in ("01-card.md", "02-cautions.md"))
    for promise in ("up and down never together", "a press of up lasts at most 20 s"):
        assert promise in card and promise in cautions
    assert "Nothing in this circuit keeps opener and closer from being on together" in cautions
    assert "Whatever keeps opener" not in cautions
    assert "nothing is known of 'supply':" in (pack / "15-change-log.md").read_text("utf-8")
    cautions = (packed(folder, "locked", PROMISED) / "02-cautions.md").read_text("utf-8")
    assert "Whatever keeps opener and closer from being on together" in cautions
    assert "Rests on" not in cautions


def test_what_keeps_its_position_may_come_on_with_the_supply(folder: Path) -> None:
    goals = (
        "title: Wash\nkit: full\ngoals: [wash pump toggled by foot button, stirrer always]\n"
        "known: [supply never fails]\n"
    )
    pack = packed(folder, "wash", goals)
    told = "may come on again at once: wash pump."
    assert told in (pack / "01-card.md").read_text("utf-8")
    # Every test, trial and check counts from the position of rest; how to get there is told.
    way = "If wash pump is ON: press 'foot button' (S1) and hold it; release 'foot button' (S1)."
    for sheet in ("10-test-sheet.md", "12-troubleshooting.md", "14-reset.md"):
        assert way in (pack / sheet).read_text("utf-8"), sheet
    building = (pack / "13-build-steps.md").read_text("utf-8")
    assert "each check counts from its position of rest" in building
    plain = packed(folder, "wash-plain", goals.replace("toggled by", "while"))
    for sheet in ("10-test-sheet.md", "13-build-steps.md"):
        assert "position of rest" not in (plain / sheet).read_text("utf-8"), sheet
    cautions = (pack / "02-cautions.md").read_text("utf-8")
    assert "wash pump: when the supply comes on while 'foot button' is pressed; when the supply " \
        "comes back, if it was on before" in cautions


def test_parts_that_sense_the_same_are_to_be_set_alike(folder: Path) -> None:
    goals = "title: Two\nkit: full\ngoals: [lamp while hot, fan while not hot]\n"
    cautions = (packed(folder, "alike", goals) / "02-cautions.md").read_text("utf-8")
    assert "sense 'hot' and are taken to change over at the same moment" in cautions


def test_what_starts_by_itself_says_when(folder: Path) -> None:
    """By hand: that the tank is no longer full starts the pump only while start is held."""
    goals = (
        "title: Fill\nkit: full\ngoals: [feed pump started by start and stopped by stop, "
        "feed pump never while full, lamp at night]\n"
    )
    cautions = (packed(folder, "fill", goals) / "02-cautions.md").read_text("utf-8")
    line = next(line for line in cautions.splitlines() if line.startswith("- feed pump: when"))
    assert "when 'full' ends while 'start' is pressed" in line


def test_what_opens_is_opened_and_closed(folder: Path) -> None:
    goals = "title: Lid\nkit: full\ngoals: ['wheel always, unless lid is open', lamp while wet]\n"
    pack = packed(folder, "lid", goals)
    test = (pack / "10-test-sheet.md").read_text("utf-8")
    assert "open 'lid' (B1)" in test and "close 'lid' (B1)" in test
    assert "bring about 'wet'" in test and "bring about 'lid'" not in test
    cautions = (pack / "02-cautions.md").read_text("utf-8")
    assert "wheel: when the supply comes on; when 'lid' closes" in cautions
    assert "stops wheel while 'lid' is open." in cautions


def test_a_switch_before_both_keeps_nothing_apart(folder: Path) -> None:
    """They share the main switch and no relay: the promise alone keeps them apart."""
    goals = PROMISED.replace("never together]", "never together, master cutoff]")
    known = "known: [up and down never together]\n"
    cautions = (packed(folder, "behind", goals + known) / "02-cautions.md").read_text("utf-8")
    assert "Nothing in this circuit keeps opener and closer from being on together" in cautions
    assert "Whatever keeps opener" not in cautions
    sensed = (
        "title: Vent\nkit: full\ngoals: [opener while hot, closer while not hot, "
        "opener and closer never together]\n"
    )
    cautions = (packed(folder, "in turn", sensed) / "02-cautions.md").read_text("utf-8")
    assert "Whatever keeps opener and closer from being on together" in cautions


def test_what_is_not_always_so_is_no_condition(folder: Path) -> None:
    """Heat starts the fan while it is wet, or while the door is open: neither of them always."""
    goals = "title: Either\nkit: full\ngoals: [vent fan while hot and (wet or smoky)]\n"
    cautions = (packed(folder, "either", goals) / "02-cautions.md").read_text("utf-8")
    line = next(line for line in cautions.splitlines() if line.startswith("- vent fan: when"))
    assert re.search(r"when 'hot' begins(;|$)", line)
    assert "when 'wet' begins while 'hot' holds" in line


def test_bringing_one_to_rest_leaves_the_others_there(folder: Path) -> None:
    """The lamp and the fan are toggled by one push, the fan by a knob as well: pressing the push
    for the one would turn the other on, so the fan is brought to rest by the knob."""
    goals = (
        "kit: full\nknown: [supply never fails]\n"
        "goals: ['lamp toggled by push, keeps its state',"
        " 'fan toggled by push or knob, keeps its state']\n"
    )
    reset = (packed(folder, "two-toggled", goals) / "14-reset.md").read_text("utf-8")
    ways = [line for line in reset.splitlines() if "What keeps its position" in line]
    assert ways and all("press 'push'" not in line for line in ways)
    assert any("If fan is ON: press 'knob'" in line for line in ways)


def test_a_steady_input_is_at_rest_as_it_is(folder: Path) -> None:
    goals = (
        "kit: full\nknown: [door is always on, supply never fails]\n"
        "goals: ['lamp toggled by push, keeps its state', fan while lamp is on and door]\n"
    )
    reset = (packed(folder, "steady-door", goals) / "14-reset.md").read_text("utf-8")
    assert "press 'push'" in reset and "See: lamp" in reset


def test_what_takes_hours_is_no_check_of_a_block(folder: Path) -> None:
    """A night is known to last 7 h, so that a lamp on at night goes off after 7 h at the soonest:
    whoever builds is not told to stand there so long."""
    goals = "goals: [beacon at night, fan while damp]\nknown: [night lasts between 7 h and 17 h]\n"
    building = (packed(folder, "beacon", goals) / "13-build-steps.md").read_text("utf-8")
    assert "beacon: to see it go off takes 7 h; that is left to the test sheet" in building
    assert "after 7 h" not in building and "expect fan off" in building


@pytest.mark.parametrize(
    ("goals", "told", "never"),
    [
        (
            "[rinse pump started by go and stopped by halt]",
            "Only rinse pump: press 'halt' (S2) and release it.",
            "and hold it.",
        ),
        (
            "[hood lamp toggled by near push, fan while hot]",
            "Only hood lamp: press 'near push' (S1) and release it, while it is on.",
            "Only fan",
        ),
        # It comes on again when that button is let go.
        (
            "[horn while go is pressed unless halt is pressed]",
            "'halt' (S2) and hold it.",
            "and release",
        ),
        # It comes on again by itself, some time after.
        (
            "[saw once halt has been released for 5 s]",
            "'halt' (S1) and hold it.",
            "and release",
        ),
        (
            "['pump 10 s of every 60 s while halt is released, pause first']",
            "'halt' (S1) and hold it.",
            "and release",
        ),
        # A press that turns one of them off may turn the other on.
        (
            "['lamp toggled by push, keeps its state', "
            "'fan toggled by push or knob, keeps its state']",
            "Everything: switch the supply off",
            "Only lamp",
        ),
        # A press while it runs does not stop it.
        ("[horn for 5 s after each press of go]", "Everything: switch the supply off", "Only horn"),
    ],
)
def test_the_card_says_how_to_stop_one_load(
    goals: str, told: str, never: str, folder: Path
) -> None:
    text = f"kit: full\ngoals: {goals}\nknown: [supply never fails]\n"
    name = f"stop-{abs(hash(goals))}"
    card = (packed(folder, name, text) / "01-card.md").read_text("utf-8")
    stops = card.partition("## How to stop it")[2].partition("## How to start")[0]
    assert told in stops and never not in stops
