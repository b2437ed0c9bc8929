"""From a fresh clone to a running command: checks the Python, makes the environment, starts inside it.

Everything here uses the standard library alone. Exit codes of its own, beside those of `assistant.errors`:
2 for a Python or platform that can't be used, 6 for a folder or disk, 11 for packages that didn't come.
"""
