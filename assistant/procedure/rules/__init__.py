"""Static rules: what `assistant check` looks for. `every` registers them all."""
