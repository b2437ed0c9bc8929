"""What is said to the core: which words count now (`allowed`), and what each does (`talk` first, then confirming, values,
corrections, answers). Commands are added in the language room and here; nothing here decides by time."""
