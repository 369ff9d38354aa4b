"""Goals with test times as a goal file."""

from __future__ import annotations

import json
import re

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
    limits = []
    if goals.part_limits:
        limits += ["  most:", *(f"    {_text(p.part)}: {p.most}" for p in goals.part_limits)]
    if goals.largest_supply is not None:
        limits.append(f"  supply: {goals.largest_supply}")
    if goals.largest_price is not None:
        limits.append(f"  price: {goals.largest_price}")
    if limits:
        lines += ["limits:", *limits]
    lines.append(f"minimise: [{', '.join(o.value for o in goals.minimise)}]")
    return "\n".join(lines) + "\n"
