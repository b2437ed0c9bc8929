"""The static rules, one family a file; a new rule needs a mutation that breaks it and, where it looks further than one
step, a line in `needs`. Findings that are the same in every way are told once, so a rule needn't remember."""
