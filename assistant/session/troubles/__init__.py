"""What goes wrong: mishaps and their branches, devices, breaks (`recovery`), surfaces that dry time and again
(`remedies`), safe stops (`stopping`), and what must be done again after any of them (`owing`)."""
