"""The demo: a whole clean with a virtual operator. It wires practice, record and station; no room knows of it."""
