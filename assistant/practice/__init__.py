"""Drills: a simulated enclosure, virtual operators, mishaps on cue, scoring. Nothing here can pass for live work."""
