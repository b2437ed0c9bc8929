"""One session as the pages tell it: digest, lanes, steps, and two sessions beside each other."""
