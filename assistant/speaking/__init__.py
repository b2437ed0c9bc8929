"""Text to sound: a voice behind one port, chimes, sinks that can be interrupted, one mixed time line.

Entry `open_voice.py`. Another voice or sink goes here; equal text must stay equal samples."""
