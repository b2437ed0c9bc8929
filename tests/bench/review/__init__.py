"""The figures of the pages, and the seeded sessions they are measured on."""
