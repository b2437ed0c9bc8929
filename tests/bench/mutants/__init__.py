"""Mutants: small faults put into the code one at a time, to see whether a test notices.

The operators are the project's own (`operators`): so a mutant needs no process or copied tree of its
own. It goes into a forked, warm test run (`warm`), and only against the tests that
touch its line.
"""
