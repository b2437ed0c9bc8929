"""One person's hearing profile and how it is learnt; entry `profile.py`. Files kept before must stay
readable."""
