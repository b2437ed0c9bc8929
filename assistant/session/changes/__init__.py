"""What each kind of fact changes in the state, one module per family of facts. Old records are folded by these: a handler
may be added, but what one makes of an old fact stays."""
