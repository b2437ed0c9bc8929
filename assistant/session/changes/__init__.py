"""What each kind of fact changes in the state, one module per family of facts."""
