"""Figures, panels, exercises and the invented scenario: what the lessons import."""

from .exercises import answer_key, exercise, guess
from .scenario import example_bench, protocol, reading_sheet, write_templates

__all__ = ["answer_key", "example_bench", "exercise", "guess", "protocol", "reading_sheet", "write_templates"]
