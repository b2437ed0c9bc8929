"""Gauntlet: a voice- and timer-driven, hands-free step assistant for cleaning glove-port enclosures."""

__version__ = "0.1.0"
