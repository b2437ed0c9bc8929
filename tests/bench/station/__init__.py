"""Figures of the whole station."""
