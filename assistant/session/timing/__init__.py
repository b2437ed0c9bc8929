"""What time brings: every threshold (`timers`), what happens at each (`wet_times`: drying, re-wets, completions, cycles,
limits), and a state as ages for the proof (`ages`). All comparisons with time stand here, and no clock does."""
