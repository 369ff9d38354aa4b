"""Moves, levels and times as a person would say them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from synth.handover.job import Job
from synth.modes import TourStep
from synth.problem import InputKind
from synth.ticks import format_duration
from synth.wording import listed


def duration(ticks: Fraction | int) -> str:
    """Return a time in words, exactly; parts of a tick as a fraction of 1 ms."""
    time = Fraction(ticks)
    whole = int(time)
    rest = time - whole
    words = format_duration(whole) if whole or not rest else ""
    return words if not rest else f"{words} + {rest} ms".removeprefix(" + ")


def saves_little(job: Job) -> str:
    """Return why the test sheet uses the real times though there are test values."""
    assert job.bench is not None
    return (
        f"With the test values the test would take {duration(job.bench.tour.end)} in place of "
        f"{duration(job.facts.tour.end)}: less than a third of the time is saved, so the test "
        "sheet (item 10) uses the real times."
    )


def iso_duration(ticks: int) -> str:
    """Return a time after ISO 8601.

    >>> iso_duration(5_410_500)
    'PT1H30M10.5S'
    """
    hours, rest = divmod(ticks, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    seconds = f"{rest // 1000}.{rest % 1000:03}".rstrip("0").rstrip(".")
    pieces = [(str(hours), "H"), (str(minutes), "M"), (seconds, "S")]
    return "PT" + ("".join(n + unit for n, unit in pieces if n != "0") or "0S")


def say_move(job: Job, name: str, level: bool) -> str:
    """Return what a person does to bring an input to a level, and at which devices."""
    devices = job.devices(name)
    at = f" ({listed(devices)})" if devices else ""
    match job.kind(name):
        case InputKind.SUPPLY:
            return "switch the supply on" if level else "switch the supply off"
        case InputKind.NIGHT:
            switch = f"the twilight switch{'es' if len(devices) > 1 else ''}{at}"
            return f"make it dark at {switch}" if level else f"let light onto {switch}"
        case InputKind.BUTTON:
            return f"press '{name}'{at} and hold it" if level else f"release '{name}'{at}"
        case InputKind.SWITCH:
            return f"switch '{name}'{at} {'on' if level else 'off'}"
    if name in job.opened:
        return f"{'open' if level else 'close'} '{name}'{at}"
    return f"bring about '{name}'{at}" if level else f"end '{name}'{at}"


def say_press(job: Job, name: str) -> str:
    """Return what a person does to press a button once, and at which devices."""
    devices = job.devices(name)
    at = f" ({listed(devices)})" if devices else ""
    return f"press '{name}'{at} and release it"


def say_begin(job: Job, name: str, level: bool) -> str:
    """Return when a condition of the world begins or ends, in words."""
    if job.kind(name) is InputKind.NIGHT:
        return "when it gets dark" if level else "when it gets light"
    if name in job.opened:
        return f"when '{name}' {'opens' if level else 'closes'}"
    return f"when '{name}' {'begins' if level else 'ends'}"


def say_level(job: Job, name: str, level: bool) -> str:
    """Return the level of an input as a state."""
    match job.kind(name):
        case InputKind.NIGHT:
            return "night" if level else "day"
        case InputKind.SENSOR if name in job.opened:
            return f"'{name}' {'open' if level else 'closed'}"
        case InputKind.SENSOR:
            return f"'{name}'" if level else f"no '{name}'"
    return f"{_called(job, name)} {_state(job, name, level)}"


def say_that(job: Job, name: str, level: bool) -> str:
    """Return that an input is at a level, as a clause: 'it is night', 'the supply is on'."""
    match job.kind(name):
        case InputKind.NIGHT:
            return f"it is {say_level(job, name, level)}"
        case InputKind.SENSOR if name in job.opened:
            return f"'{name}' is {'open' if level else 'closed'}"
        case InputKind.SENSOR:
            return f"'{name}' {'holds' if level else 'does not hold'}"
    the = "the " if job.kind(name) is InputKind.SUPPLY else ""
    return f"{the}{_called(job, name)} is {_state(job, name, level)}"


def say_while(job: Job, name: str, level: bool) -> str:
    """Return when an input is at a level, as the end of a sentence: 'by night', 'by day'."""
    if job.kind(name) is InputKind.NIGHT:
        return f"by {say_level(job, name, level)}"
    return f"while {say_that(job, name, level)}"


def _called(job: Job, name: str) -> str:
    return name if job.kind(name) is InputKind.SUPPLY else f"'{name}'"


def _state(job: Job, name: str, level: bool) -> str:
    """Return the level of the supply, a button or a switch in a word."""
    if job.kind(name) is InputKind.BUTTON:
        return "pressed" if level else "released"
    return "on" if level else "off"


def say_levels(job: Job, levels: Sequence[tuple[str, bool]]) -> str:
    """Return the levels of several inputs in words."""
    return ", ".join(say_level(job, name, level) for name, level in levels) or "nothing to set"


def say_step(job: Job, step: TourStep) -> str:
    """Return what one step of a test does, its wait included."""
    if step.moves:
        # The first step of all waits for nothing.
        did = listed(say_move(job, name, level) for name, level in step.moves)
        wait = f"after {duration(step.wait)}: " if step.wait and step.wait != step.time else ""
        return wait + did
    if not step.expired:
        return f"wait {duration(step.wait)}: nothing may change"
    names = listed(job.designations[name] for name in step.expired)
    return f"wait {duration(step.wait)}, until the time of {names} is up"


def say_way(job: Job, steps: Sequence[TourStep]) -> str:
    """Return a way in one line, from the supply off and all inputs at rest."""
    return "; ".join(say_step(job, step) for step in steps) or "nothing to do"


def say_loads(on: Sequence[str], off: Sequence[str]) -> str:
    """Return which loads must be on and which off."""
    words = [f"{listed(on)} ON" if on else "", f"{listed(off)} off" if off else ""]
    return "; ".join(filter(None, words)) or "no load here"


def say_seen(step: TourStep) -> str:
    """Return what is to be seen of each load just after a step: what changes first."""
    words = []
    for state, names in (("ON", step.on), ("off", step.off)):
        turned = [name for name in names if name in step.turned]
        if turned:
            words.append(f"{listed(turned)} {'goes' if len(turned) == 1 else 'go'} {state}")
    for state, names in (("ON", step.on), ("off", step.off)):
        same = [name for name in names if name not in step.turned]
        if same:
            words.append(f"{listed(same)} {'stays' if len(same) == 1 else 'stay'} {state}")
    return "; ".join(words) or "no load here"



def decimal(value: Fraction, places: int = 2) -> str:
    """Return a value rounded half up to `places` decimals, without needless zeros.

    >>> decimal(Fraction(2, 3)), decimal(Fraction(4)), decimal(Fraction(2401, 10))
    ('0.67', '4', '240.1')
    """
    scaled = int(abs(value) * 10**places + Fraction(1, 2))
    whole, rest = divmod(scaled, 10**places)
    text = f"{whole}.{rest:0{places}}".rstrip("0").rstrip(".") if places else str(whole)
    return f"-{text}" if value < 0 and scaled else text
