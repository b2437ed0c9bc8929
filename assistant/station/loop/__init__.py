"""What live, media and script sessions share; entry `keeper.py`. Decided, written, then acted on: keep
that order."""
