"""Keys, signatures on a sealed record and their withdrawal, and the check of one signed line."""
