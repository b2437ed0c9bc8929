"""A record as others read it: PDF, CSV, archive, tag. Says nothing that the record doesn't hold."""
