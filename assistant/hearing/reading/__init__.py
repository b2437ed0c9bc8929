"""Values from sounds: the model of phones and what reads paths through it; entry `reading.py`. Change it
only with figures."""
