"""The command line: translates, never calculates."""
