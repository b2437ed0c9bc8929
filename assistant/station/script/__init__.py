"""A session from a script, without sound; entry `run.py`. The same script must give the same bytes."""
