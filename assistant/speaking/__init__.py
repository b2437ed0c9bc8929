"""Text to sound: a voice behind one port, chimes, sinks that can be interrupted, one mixed time line."""
