"""Procedures as a site writes them: read, compiled to a plan, checked and printed. Nothing here runs one or knows a session."""
