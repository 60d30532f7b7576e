"""Figures, panels, exercises and the invented scenario: what the lessons import."""

from .exercises import answer_key, exercise, guess

__all__ = ["answer_key", "exercise", "guess"]
