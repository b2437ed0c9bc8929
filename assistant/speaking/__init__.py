"""Text to sound: the synthesiser behind one port, chimes, sinks that can be interrupted, one mixed time line."""
