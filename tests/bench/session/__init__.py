"""Measurements of the core."""
