"""The version of the core's rules, written into every line of a record.

Raise it whenever `decide` or `evolve` would answer an old input differently: a record made under another
version is still folded, but its decisions aren't re-derived.
"""

RULES_VERSION = 4
