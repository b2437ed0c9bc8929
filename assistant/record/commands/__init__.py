"""The record's commands: verify, export, tag, transcribe, keys. They reach the core through the station
only."""
