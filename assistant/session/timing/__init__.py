"""What time brings: every threshold (`timers`), what happens at each (`due`: drying, re-wets, completions, cycles,
limits), and a state as ages for the proof (`ages`). All comparisons with time stand here, and no clock does."""
