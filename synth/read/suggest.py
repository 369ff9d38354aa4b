"""The nearest word for a misspelling, and words from outside made fit to be shown."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

LONGEST_SHOWN = 60
"""Characters of a foreign word that a message shows at most."""


def quoted(text: object) -> str:
    """Return `text` in quotes, cut to a sane length, with nothing a terminal would act upon.

    >>> quoted("pump"), quoted("a\\x1b[2J")
    ("'pump'", "'a?[2J'")
    """
    word = str(text)
    if len(word) > LONGEST_SHOWN:
        word = word[: LONGEST_SHOWN - 3] + "..."
    return "'" + "".join(c if c.isprintable() else "?" for c in word) + "'"


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """Return the one of `choices` that `word` is most likely a misspelling of, None if none is.

    Upper and lower case count as the same; of equally near choices the first wins.

    >>> nearest("alwyas", ["always", "at night"])
    'always'
    """
    folded: dict[str, str] = {}
    for choice in choices:
        folded.setdefault(choice.lower(), choice)
    found = get_close_matches(word[:LONGEST_SHOWN].lower(), list(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def did_you_mean(word: str, choices: Iterable[str]) -> str:
    """Return a hint: the nearest of `choices`, or all of them when none is near.

    >>> did_you_mean("prise", ["price", "type"])
    "did you mean 'price'?"
    >>> did_you_mean("x", ["price", "type"])
    'possible here: price, type'
    """
    known = list(choices)
    near = nearest(word, known)
    if near is not None:
        return f"did you mean '{near}'?"
    return f"possible here: {', '.join(known)}" if known else ""
