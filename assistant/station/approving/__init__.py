"""Approving a procedure for live use: needs the check, the proof and the keys, so it stands where rooms meet."""
