"""What numbers, lots and dates sound like and how words become one; entry `parsing.py`. No sound, no
engine."""
