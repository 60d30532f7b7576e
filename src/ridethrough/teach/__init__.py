"""Figures, panels, exercises and the invented scenario: what the lessons import."""

from .exercises import answer_key, exercise, guess
from .protocols import protocol, reading_sheet, write_template

__all__ = ["answer_key", "exercise", "guess", "protocol", "reading_sheet", "write_template"]
