"""What people take away: a PDF report, a CSV of facts, one self-contained archive."""
