"""Readings in, measured numbers out."""
