"""Whoever practises, typing or at a headset; entries `typed.py` and `headset.py`. Words and waits stay as
at work."""
