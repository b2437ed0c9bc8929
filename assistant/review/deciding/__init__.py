"""What a supervisor decides on a session, and the signatures that decisions become."""
