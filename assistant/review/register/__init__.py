"""Every record of the site in one index: what was done, what is due, what needs a look. The index can be made anew."""
