"""Virtual technicians; entry `person.py`, their habits in `persona.py`. New habits are data in
`personas/`, not code."""
