"""Goals with test times as a goal file."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from synth.goals import GoalList

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9 ,()/._-]*[A-Za-z0-9)]")
_NOT_TEXT = frozenset(
    ("y", "yes", "n", "no", "on", "off", "true", "false", "null", "none", "nan", "inf")
)
"""Words that a YAML reader may take for something else than text."""


def _text(value: str) -> str:
    """Return a text as YAML: as it is where that is safe, else in double quotes."""
    if _PLAIN.fullmatch(value) and value.lower() not in _NOT_TEXT:
        return value
    return json.dumps(value, ensure_ascii=False)


def goals_page(goals: GoalList, kit: str) -> str:
    """Return a goal file (YAML) that says what `goals` say; `kit` is a name or a file."""
    title = f"{goals.title}, test times"[:120]
    lines = [
        "# Goals with the short times of a bench test. Not for use: set the real times back.",
        f"title: {_text(title)}",
        f"kit: {_text(kit)}",
    ]
    if goals.loads:
        lines += ["loads:", *(f"  {_text(item.name)}: {item.needs}" for item in goals.loads)]
    if goals.inputs:
        lines += ["inputs:", *(f"  {_text(i.name)}: {i.kind.value}" for i in goals.inputs)]
    lines += ["goals:", *(f"  - {_text(goal.phrase)}" for goal in goals.goals)]
    if goals.facts:
        lines += ["known:", *(f"  - {_text(fact.phrase)}" for fact in goals.facts)]
    limits = _limits(goals)
    if limits:
        lines += ["limits:", *(f"  {line}" for line in limits)]
    if goals.stock:
        lines += ["stock:", *(f"  {_text(item.part)}: {item.number}" for item in goals.stock)]
    lines.append(f"minimise: [{', '.join(o.value for o in goals.minimise)}]")
    return "\n".join(lines) + "\n"


def _limits(goals: GoalList) -> list[str]:
    """Return the lines under 'limits', those of nothing left out."""
    # 'without' is a limit of 0 beside 'most', which may name the same part once more.
    most: dict[str, str] = {}
    without: list[str] = []
    for limit in goals.part_limits:
        if limit.part.lower() in most:
            without.append(_text(limit.part))
        else:
            most[limit.part.lower()] = f"  {_text(limit.part)}: {limit.most}"
    lines = ["most:", *most.values()] if most else []
    if without:
        lines.append(f"without: {_row(without)}")
    if goals.part_wishes:
        lines += ["least:", *(f"  {_text(w.part)}: {w.least}" for w in goals.part_wishes)]
    if goals.largest_supply is not None:
        lines.append(f"supply: {goals.largest_supply}")
    if goals.spare:
        lines.append(f"spare: {goals.spare}")
    if goals.largest_price is not None:
        lines.append(f"price: {goals.largest_price}")
    if goals.branches:
        lines += ["branches:", *(f"  - {_row(map(_text, one.loads))}" for one in goals.branches)]
    if any(not item.load for item in goals.untimed):
        lines.append("untimed: all")
    elif goals.untimed:
        lines.append(f"untimed: {_row(_text(item.load) for item in goals.untimed)}")
    return lines


def _row(words: Iterable[str]) -> str:
    """Return words as a YAML list on one line; a comma within one needs quotes there."""
    return f"[{', '.join(json.dumps(w) if ',' in w and w[0] != chr(34) else w for w in words)}]"
