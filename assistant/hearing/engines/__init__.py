"""Recognisers behind one port (`recogniser.py`); `choosing.py` picks one. Another engine goes here and
nothing else changes."""
