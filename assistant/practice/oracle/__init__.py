"""What an honest observer would say of a session; entry `judge.py`. Never ask the core's predicates here."""
