"""A second model of a session, second by second, written for clearness. It shares no code with the core."""
