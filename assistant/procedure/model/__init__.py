"""The kinds of site files and the compiled plan, as plain values. Pure: a new field needs a default, the schema and a rule."""
