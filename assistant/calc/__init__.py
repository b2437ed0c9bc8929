"""Trade arithmetic, pure. Every function says its formula's source."""
