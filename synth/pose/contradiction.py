"""Afterwards, goals that contradict each other are told from a goal that no one could fulfil."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from synth.errors import Contradiction, GoalError, Place


def goals_in_words(numbers: Sequence[int]) -> str:
    """Return 'goals 1, 2 and 4' for numbers in ascending order."""
    words = [str(number) for number in numbers]
    return f"goals {', '.join(words[:-1])} and {words[-1]}"


def contradiction(
    numbers: Sequence[int], message: str, place: Place, hint: str = "", told: bool = False
) -> GoalError:
    """Return the error of goals that cannot go together: of one goal alone it is a mistake in its
    words, of several a contradiction. `told`: the message names the goals."""
    numbers = tuple(sorted(set(numbers)))
    if len(numbers) < 2:
        return GoalError(message, place, hint)
    if not told:
        message = f"{goals_in_words(numbers)} contradict each other: {message}"
    return Contradiction(numbers, message, place, hint)


def met(error: GoalError, against: list[Contradiction] | None) -> None:
    """Add a contradiction to `against`; raise it where there is no such list, or if it is none."""
    if against is None or not isinstance(error, Contradiction):
        raise error
    against.append(error)


def smallest(numbers: Sequence[int], still: Callable[[Sequence[int]], bool]) -> tuple[int, ...]:
    """Return a set of goals of which `still` holds, as it does of `numbers`, but of no set with
    one goal less."""
    kept = list(numbers)
    for number in reversed(numbers):
        fewer = [other for other in kept if other != number]
        if fewer and still(fewer):
            kept = fewer
    return tuple(kept)
