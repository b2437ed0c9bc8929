"""Files beside a record that it names by hash: clips, scans, approvals, and how long clips are kept."""
