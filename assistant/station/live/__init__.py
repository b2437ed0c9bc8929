"""A session at the gauntlets; entry `session.py`. Devices come through `devices.py`, so tests put others
in."""
