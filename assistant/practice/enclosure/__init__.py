"""The simulated enclosure and what goes wrong in it; entry `simulated.py`. It knows truths that no
assistant hears."""
