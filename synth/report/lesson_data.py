"""A lesson as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from synth import __version__
from synth.design import design_document
from synth.lesson import Lesson


def lesson_document(lesson: Lesson, folder: str, files: Sequence[str]) -> dict[str, Any]:
    """Return the lesson as plain data: prices in whole coins, power in whole units."""
    return {
        "synth": __version__,
        "title": lesson.title,
        "status": lesson.end.status.value,
        "folder": folder,
        "files": list(files),
        "stages": [
            {
                "number": stage.number,
                "goals": [goal.number for goal in stage.goals],
                "wishes": [{"wish": words, "unkept": told} for words, told in stage.wishes],
                "status": stage.outcome.status.value,
                "price": stage.changes.price[1],
                "supply": stage.changes.supply[1],
                "design": design_document(stage.design),
                "attempt": None
                if stage.attempt is None
                else {
                    "told": stage.attempt.told,
                    "natural": stage.attempt.natural,
                    "fault": stage.attempt.defect.fault.value,
                    "message": stage.attempt.defect.message,
                    "design": design_document(stage.attempt.design),
                },
                "simply": None
                if stage.simply is None
                else {
                    "told": stage.simply.told,
                    "price": stage.simply.price,
                    "supply": stage.simply.supply,
                },
                "questions": [
                    {"ask": question.ask, "answer": list(question.answer)}
                    for question in stage.questions
                ],
            }
            for stage in lesson.stages
        ],
        "notes": list(lesson.notes),
    }
