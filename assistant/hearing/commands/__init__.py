"""The commands of this room: arguments in, lines out. What is decided is decided elsewhere."""
