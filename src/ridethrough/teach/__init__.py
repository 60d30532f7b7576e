"""Figures, panels, exercises and the invented scenario."""
