"""Where lines go: files, locks, folders, and the store in memory that keeps the same contract."""
